"""The faults that can be put into the sample hall, each with what a check has to find because of it.

A defect edits parts by their key; nothing else of the hall changes. The defects stand at distinct places, so that any
of them can be combined.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from checker.demo.hall import FOOT_MM, ROW_MM, Hall, HallSeam, Part, Place, snapped

Parts = dict[str, Part]
Severity = Literal["error", "warning"]

END_OFFSET, SEAM_WIDTH = "panel-end-offset", "seam-width"
PLINTH_LEVEL, PLINTH_STEP, RAIL_OFFSET = "plinth-level", "plinth-step", "base-rail-offset"
COLUMN_SEAL, PLINTH_SEAL, SEAM_FOAM = "column-seal", "plinth-seal", "seam-foam"
FLASHING_LAP, OPENING_SEAL, THRESHOLD_SEAL = "flashing-lap", "opening-seal", "door-threshold-seal"

LIMITS: Final[Mapping[str, tuple[float | None, float | None]]] = {
    END_OFFSET: (10.0, 20.0),
    SEAM_WIDTH: (25.0, 35.0),
    PLINTH_LEVEL: (-10.0, 10.0),
    PLINTH_STEP: (None, 10.0),
    RAIL_OFFSET: (7.0, 9.0),
    COLUMN_SEAL: (-1.0, 1.0),
    PLINTH_SEAL: (-1.0, 1.0),
    SEAM_FOAM: (-1.0, 1.0),
    FLASHING_LAP: (100.0, None),
    OPENING_SEAL: (-1.0, 1.0),
    THRESHOLD_SEAL: (-1.0, 1.0),
}
"""Least and greatest value in mm the sample hall is made for. Of layers the value is the longest stretch without
cover (round an opening along the frame), negative where two pieces overlap."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One verdict a check must come to.

    ``elements`` are keys of parts, ``place`` is (u, v, n) in the frame ``facade``; ``seam`` indexes `Hall.seams` where
    the verdict is about the seam between two panels; ``side`` says which of its sides, ``""`` for both.
    """

    rule: str
    facade: str
    elements: tuple[str, ...]
    value_mm: float
    place: Place
    says: str
    severity: Severity = "error"
    seam: int | None = None
    side: str = ""
    minimum_mm: float | None = None
    maximum_mm: float | None = None


@dataclass(frozen=True)
class Defect:
    """A named fault: ``what`` was done, which ``rules`` must fire and how often, the worst value each must report.

    ``verdicts`` counts (rule, seam side or part), ``issues`` the things a person has to act on.
    """

    name: str
    what: str
    rules: tuple[str, ...]
    verdicts: int
    issues: int
    value_mm: Mapping[str, float]
    edit: Callable[[Parts], None]
    faults: Callable[[Hall], list[Fault]]


def _fault(
    rule: str, facade: str, elements: tuple[str, ...], value: float, place: Place, says: str, **more: object
) -> Fault:
    low, high = LIMITS[rule]
    fault = Fault(rule, facade, elements, snapped(value), place, says, minimum_mm=low, maximum_mm=high)
    return replace(fault, **more)  # type: ignore[arg-type]


# Edits


def _stretched(part: Part, axis: Literal["u", "v"], low: float = 0.0, high: float = 0.0) -> Part:
    """The part with its ends along u or v moved by ``low`` and ``high`` mm."""
    bodies = []
    for body in part.bodies:
        if axis not in body.plane:
            bodies.append(replace(body, start=body.start + low, depth=snapped(body.depth - low + high)))
            continue
        index = body.plane.index(axis)
        ends = [corner["uvn".index(axis)] for corner in body.bounds()]
        moved = []
        for point in body.outline:
            pair = list(point)
            pair[index] = snapped(pair[index] + {ends[0]: low, ends[1]: high}.get(pair[index], 0.0))
            moved.append((pair[0], pair[1]))
        bodies.append(replace(body, outline=tuple(moved)))
    return replace(part, bodies=tuple(bodies))


def _stretch(key: str, axis: Literal["u", "v"], low: float = 0.0, high: float = 0.0) -> Callable[[Parts], None]:
    def edit(parts: Parts) -> None:
        parts[key] = _stretched(parts[key], axis, low, high)

    return edit


def _move(key: str, du: float = 0.0, dv: float = 0.0, dn: float = 0.0) -> Callable[[Parts], None]:
    def edit(parts: Parts) -> None:
        parts[key] = parts[key].moved(du, dv, dn)

    return edit


def _drop(key: str) -> Callable[[Parts], None]:
    def edit(parts: Parts) -> None:
        del parts[key]

    return edit


def _both(*edits: Callable[[Parts], None]) -> Callable[[Parts], None]:
    def edit(parts: Parts) -> None:
        for one in edits:
            one(parts)

    return edit


def _unsealed(*keys: str) -> Callable[[Parts], None]:
    def edit(parts: Parts) -> None:
        for key in keys:
            parts[key] = replace(parts[key], sealed=False)

    return edit


def _rake(key: str, by: float) -> Callable[[Parts], None]:
    """Lean the left end of a panel over the seam, by so much at its top."""

    def edit(parts: Parts) -> None:
        body = parts[key].bodies[0]
        a, b, c, d = body.outline
        parts[key] = replace(parts[key], bodies=(replace(body, outline=(a, b, c, (snapped(d[0] - by), d[1]))),))

    return edit


# What follows from them

ACROSS: Final = {"left": -40.0, "": 0.0, "right": 40.0}
"""Where the layers of an upright seam lie from its middle, in mm."""


def _seams(hall: Hall, facade: str, axis: str) -> list[tuple[int, HallSeam]]:
    return [(i, seam) for i, seam in enumerate(hall.seams) if (seam.facade, seam.axis) == (facade, axis)]


def _ends_and_width(facade: str, axis: str, rows: tuple[int, ...] = ()) -> Callable[[Hall], list[Fault]]:
    """What the widths and offsets along one axis break, by the measured seams themselves."""

    def faults(hall: Hall) -> list[Fault]:
        found = []
        for index, seam in _seams(hall, facade, axis):
            if rows and seam.row not in rows:
                continue
            low, high = LIMITS[SEAM_WIDTH]
            assert low is not None
            assert high is not None
            if not (low <= seam.width_min_mm and seam.width_max_mm <= high):
                value = seam.width_min_mm if seam.width_min_mm < low else seam.width_max_mm
                says = f"seam {value:g} mm wide"
                parts = (seam.left, seam.right)
                found.append(_fault(SEAM_WIDTH, facade, parts, value, seam.place, says, seam=index))
            low, high = LIMITS[END_OFFSET]
            assert low is not None
            assert high is not None
            for side, key, value in (
                ("left", seam.left, seam.offset_left_mm),
                ("right", seam.right, seam.offset_right_mm),
            ):
                if not low <= value <= high:
                    says = f"end of the {side} panel {value:g} mm from the column's centre line"
                    parts = (key, seam.column)
                    found.append(_fault(END_OFFSET, facade, parts, value, seam.place, says, seam=index, side=side))
        return found

    return faults


def _sum(*finders: Callable[[Hall], list[Fault]]) -> Callable[[Hall], list[Fault]]:
    return lambda hall: [fault for finder in finders for fault in finder(hall)]


def _uncovered(
    rule: str, facade: str, axis: str, v0: float, v1: float, elements: tuple[str, ...], place_n: float, side: str = ""
) -> Callable[[Hall], list[Fault]]:
    """A layer of an upright seam is not there from v0 to v1: a fault for each row it touches, of its share."""

    def faults(hall: Hall) -> list[Fault]:
        found = []
        seen = _seen(hall, side)
        for index, seam in _seams(hall, facade, axis):
            low, high = max(v0, _foot(seam)), min(v1, _foot(seam) + seam.length_mm)
            if high > low:
                place = (seam.place[0] + ACROSS[seen], (low + high) / 2, place_n)
                parts = (*elements, seam.left, seam.right)
                length = round(high - low, 3)
                says = f"nothing there over {length:g} mm of row {seam.row}"
                found.append(_fault(rule, facade, parts, length, place, says, seam=index, side=seen))
        return found

    return faults


def _foot(seam: HallSeam) -> float:
    return FOOT_MM + (seam.row - 1) * ROW_MM


def _seen(hall: Hall, side: str) -> str:
    """Left and right change places where the hall is mirrored."""
    return {"left": "right", "right": "left"}.get(side, side) if hall.is_mirrored else side


def _doubled(
    facade: str, axis: str, row: int, v: float, overlap: float, pieces: tuple[str, ...], side: str
) -> Callable[[Hall], list[Fault]]:
    """Two pieces of the column seal overlap about the height v."""

    def faults(hall: Hall) -> list[Fault]:
        index, seam = next((i, s) for i, s in _seams(hall, facade, axis) if s.row == row)
        seen = _seen(hall, side)
        place = (seam.place[0] + ACROSS[seen], v, 4.0)
        says = f"two pieces overlap by {overlap:g} mm"
        return [_fault(COLUMN_SEAL, facade, pieces, -overlap, place, says, seam=index, side=seen)]

    return faults


def _at(
    rule: str,
    facade: str,
    elements: tuple[str, ...],
    value: float,
    place: Place,
    says: str,
    **more: object,
) -> Callable[[Hall], list[Fault]]:
    """One fault at a fixed place of the hall as drawn, before any mirroring."""

    def faults(hall: Hall) -> list[Fault]:
        u, v, n = place
        if hall.is_mirrored:
            u = hall.frames[facade].length - u
        return [_fault(rule, facade, elements, value, (u, v, n), says, **more)]

    return faults


def _defects() -> list[Defect]:
    step = {"maximum_mm": 7.0, "severity": "warning"}
    return [
        Defect(
            "short-panel",
            "The right end of a panel is cut 12 mm short.",
            (END_OFFSET, SEAM_WIDTH),
            2,
            2,
            {END_OFFSET: 27.0, SEAM_WIDTH: 42.0},
            _stretch("A/panel/1/2", "u", high=-12.0),
            _ends_and_width("A", "2", (2,)),
        ),
        Defect(
            "wide-seam",
            "Two neighbours are each 4 mm short: both ends are still in place, the seam between them is too wide.",
            (SEAM_WIDTH,),
            1,
            1,
            {SEAM_WIDTH: 38.0},
            _both(_stretch("A/panel/1/5", "u", high=-4.0), _stretch("A/panel/2/5", "u", low=4.0)),
            _ends_and_width("A", "2", (5,)),
        ),
        Defect(
            "raked-end",
            "The left end of a panel leans over the seam: 30 mm wide at its foot, 21.4 mm at its top.",
            (END_OFFSET, SEAM_WIDTH),
            2,
            2,
            {END_OFFSET: 6.4, SEAM_WIDTH: 21.4},
            _rake("D/panel/3/1", 8.6),
            _ends_and_width("D", "3", (1,)),
        ),
        Defect(
            "column-off",
            "A column stands 12 mm along the facade from its axis; the panels follow the axis.",
            (END_OFFSET,),
            12,
            1,
            {END_OFFSET: 27.0},
            _move("D/column/2", du=12.0),
            _ends_and_width("D", "2"),
        ),
        Defect(
            "panel-shifted",
            "A whole panel sits 8 mm too far to the right.",
            (END_OFFSET, SEAM_WIDTH),
            4,
            2,
            {END_OFFSET: 7.0, SEAM_WIDTH: 38.0},
            _move("1/panel/2/4", du=8.0),
            _sum(_ends_and_width("1", "C", (4,)), _ends_and_width("1", "B", (4,))),
        ),
        Defect(
            "overlap-panels",
            "Two panels run into each other by 6 mm.",
            (END_OFFSET, SEAM_WIDTH),
            3,
            2,
            {END_OFFSET: -3.0, SEAM_WIDTH: -6.0},
            _both(_stretch("5/panel/1/3", "u", high=18.0), _stretch("5/panel/2/3", "u", low=-18.0)),
            _ends_and_width("5", "B", (3,)),
        ),
        Defect(
            "plinth-low",
            "One plinth element lies 14 mm too low.",
            (PLINTH_LEVEL, PLINTH_STEP),
            3,
            1,
            {PLINTH_LEVEL: -14.0, PLINTH_STEP: 14.0},
            _move("D/plinth/2", dv=-14.0),
            _sum(
                _at(PLINTH_LEVEL, "D", ("D/plinth/2",), -14.0, (6790.0, 286.0, 63.0), "top of the plinth 14 mm low"),
                _at(PLINTH_STEP, "D", ("D/plinth/1", "D/plinth/2"), 14.0, (3790.0, 293.0, 63.0), "step of 14 mm"),
                _at(PLINTH_STEP, "D", ("D/plinth/2", "D/plinth/3"), 14.0, (9790.0, 293.0, 63.0), "step of 14 mm"),
            ),
        ),
        Defect(
            "plinth-step-8",
            "One plinth element lies 8 mm low: inside the level limit, but a step to both neighbours.",
            (PLINTH_STEP,),
            2,
            1,
            {PLINTH_STEP: 8.0},
            _move("1/plinth/2", dv=-8.0),
            _sum(
                _at(PLINTH_STEP, "1", ("1/plinth/1", "1/plinth/2"), 8.0, (6000.0, 296.0, 63.0), "step of 8 mm", **step),
                _at(
                    PLINTH_STEP, "1", ("1/plinth/2", "1/plinth/3"), 8.0, (12000.0, 296.0, 63.0), "step of 8 mm", **step
                ),
            ),
        ),
        Defect(
            "rail-off",
            "One base rail stands 13 mm off the columns.",
            (RAIL_OFFSET,),
            2,
            1,
            {RAIL_OFFSET: 13.0},
            _move("5/base-rail/2", dn=5.0),
            _sum(
                *(
                    _at(
                        RAIL_OFFSET,
                        "5",
                        ("5/base-rail/2", f"5/column/{axis}"),
                        13.0,
                        (u, 340.0, 6.5),
                        "13 mm between base rail and column",
                    )
                    for axis, u in (("B", 6045.0), ("C", 12090.0))
                )
            ),
        ),
        Defect(
            "column-seal-missing",
            "The lower piece of the left seal strip on one column is missing.",
            (COLUMN_SEAL,),
            4,
            1,
            {COLUMN_SEAL: 999.0},
            _drop("A/column-seal/4/left/lower"),
            _uncovered(COLUMN_SEAL, "A", "4", 370.0, 3870.0, ("A/column/4",), 4.0, "left"),
        ),
        Defect(
            "column-seal-gap-5",
            "The two pieces of a seal strip on a column do not meet: 5 mm are open.",
            (COLUMN_SEAL,),
            1,
            1,
            {COLUMN_SEAL: 5.0},
            _stretch("D/column-seal/4/right/upper", "v", low=5.0),
            _uncovered(
                COLUMN_SEAL,
                "D",
                "4",
                3870.0,
                3875.0,
                ("D/column-seal/4/right/lower", "D/column-seal/4/right/upper"),
                4.0,
                "right",
            ),
        ),
        Defect(
            "column-seal-overlap",
            "The two pieces of a seal strip on a column overlap by 30 mm instead of butting.",
            (COLUMN_SEAL,),
            1,
            1,
            {COLUMN_SEAL: -30.0},
            _stretch("A/column-seal/3/left/lower", "v", high=30.0),
            _doubled("A", "3", 4, 3885.0, 30.0, ("A/column-seal/3/left/lower", "A/column-seal/3/left/upper"), "left"),
        ),
        Defect(
            "column-seal-outside",
            "The upper piece of the right seal strip sits on the outside of the panels.",
            (COLUMN_SEAL,),
            4,
            1,
            {COLUMN_SEAL: 999.0},
            _move("5/column-seal/C/right/upper", dn=133.0),
            _uncovered(
                COLUMN_SEAL, "5", "C", 3870.0, 9999.0, ("5/column-seal/C/right/upper", "5/column/C"), 4.0, "right"
            ),
        ),
        Defect(
            "plinth-seal-gap",
            "Two pieces of the seal strip on the plinth do not meet: 5 mm are open.",
            (PLINTH_SEAL,),
            1,
            1,
            {PLINTH_SEAL: 5.0},
            _stretch("A/plinth-seal/2", "u", low=5.0),
            _at(
                PLINTH_SEAL,
                "A",
                ("A/plinth-seal/1", "A/plinth-seal/2"),
                5.0,
                (4702.5, 305.0, 28.0),
                "nothing there over 5 mm",
            ),
        ),
        Defect(
            "plinth-seal-outer-edge",
            "One piece of the seal strip on the plinth lies at its outer edge.",
            (PLINTH_SEAL,),
            1,
            1,
            {PLINTH_SEAL: 5000.0},
            _move("D/plinth-seal/2", dn=70.0),
            _at(PLINTH_SEAL, "D", ("D/plinth-seal/2",), 5000.0, (6800.0, 305.0, 28.0), "nothing there over 5000 mm"),
        ),
        Defect(
            "foam-missing-row",
            "The foam in the seam is missing over the height of one row.",
            (SEAM_FOAM,),
            1,
            1,
            {SEAM_FOAM: 999.0},
            _stretch("1/foam/B/2", "v", high=-ROW_MM),
            _uncovered(SEAM_FOAM, "1", "B", 4370.0, 5370.0, ("1/foam/B/2", "1/foam/B/3"), 33.0),
        ),
        Defect(
            "foam-gap-3",
            "Two pieces of foam do not meet: 3 mm are open.",
            (SEAM_FOAM,),
            1,
            1,
            {SEAM_FOAM: 3.0},
            _stretch("D/foam/4/2", "v", low=3.0),
            _uncovered(SEAM_FOAM, "D", "4", 2870.0, 2873.0, ("D/foam/4/1", "D/foam/4/2"), 33.0),
        ),
        Defect(
            "flashing-lap-60",
            "Two pieces of the plinth flashing lap by 60 mm.",
            (FLASHING_LAP,),
            1,
            1,
            {FLASHING_LAP: 60.0},
            _stretch("D/plinth-flashing/3", "u", high=-40.0),
            _lap("D/plinth-flashing/3", "D/plinth-flashing/4", 60.0, 100.0),
        ),
        Defect(
            "flashing-lap-vertical-80",
            "Two pieces of the flashing over an upright seam lap by 80 mm.",
            (FLASHING_LAP,),
            1,
            1,
            {FLASHING_LAP: 80.0},
            _stretch("A/seam-flashing/2/1", "v", high=-20.0),
            _lap("A/seam-flashing/2/1", "A/seam-flashing/2/2", 80.0, 100.0),
        ),
        Defect(
            "flashing-lap-unsealed-120",
            "Two pieces of the plinth flashing lap by 120 mm and are not sealed, which takes 150 mm.",
            (FLASHING_LAP,),
            1,
            1,
            {FLASHING_LAP: 120.0},
            _both(
                _stretch("5/plinth-flashing/1", "u", high=20.0),
                _stretch("5/plinth-flashing/2", "u", high=60.0),
                _unsealed("5/plinth-flashing/1", "5/plinth-flashing/2"),
            ),
            _lap("5/plinth-flashing/1", "5/plinth-flashing/2", 120.0, 150.0),
        ),
        Defect(
            "opening-seal-no-sill",
            "A window has no seal strip along its sill.",
            (OPENING_SEAL,),
            1,
            1,
            {OPENING_SEAL: 1980.0},
            _drop("A/window/1/seal/sill"),
            _at(OPENING_SEAL, "A", ("A/window/1/window",), 1980.0, (3000.0, 2675.0, 28.0), "no strip along the sill"),
        ),
        Defect(
            "opening-seal-corner-gap",
            "The left strip round a window ends 6 mm above the sill strip.",
            (OPENING_SEAL,),
            1,
            1,
            {OPENING_SEAL: 6.0},
            _stretch("5/window/1/seal/left", "v", low=6.0),
            _at(
                OPENING_SEAL,
                "5",
                ("5/window/1/window", "5/window/1/seal/left", "5/window/1/seal/sill"),
                6.0,
                (8405.0, 2583.0, 28.0),
                "nothing there over 6 mm",
            ),
        ),
        Defect(
            "door-threshold-seal-missing",
            "The lifting door has no seal strip at its bottom edge.",
            (THRESHOLD_SEAL,),
            1,
            1,
            {THRESHOLD_SEAL: 4000.0},
            _drop("A/door/1/seal/sill"),
            _at(THRESHOLD_SEAL, "A", ("A/door/1/door",), 4000.0, (15000.0, -5.0, 28.0), "no strip along the threshold"),
        ),
    ]


def _lap(one: str, other: str, value: float, minimum: float) -> Callable[[Hall], list[Fault]]:
    """Two pieces of flashing lap too little; the place is the middle of the lap."""

    def faults(hall: Hall) -> list[Fault]:
        boxes = [hall.parts[key].bounds() for key in (one, other)]
        low = [max(box[0][i] for box in boxes) for i in range(3)]
        high = [min(box[1][i] for box in boxes) for i in range(3)]
        middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
        place = (middle[0], middle[1], middle[2])
        says = f"lap of {value:g} mm"
        facade = hall.parts[one].frame
        return [_fault(FLASHING_LAP, facade, (one, other), value, place, says, minimum_mm=minimum)]

    return faults


DEFECTS: Final[Mapping[str, Defect]] = {defect.name: defect for defect in _defects()}
"""Every known defect by its name, in the order in which they are applied."""
