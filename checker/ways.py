"""Ways of building: what panels or walls meet at their upright ends. Rules of panel seams belong to one of them.

A run is a side of the building (or facets of a slight bend) as far as its panels are of one thickness. Its way is
judged by most of its metres, never by one seam: among many seams on column axes one that is narrow, closed, overlapping
or without a column is a fault of this way and not another one.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import OfKind, Seams
from checker.model import Bools, Floats, Ints
from checker.occupancy import OCCUPIED, Fillings
from checker.result import WayFound
from checker.rule import MM
from checker.walls import APART, BEYOND, COLUMN_REACH, Walls, cluster

ON_COLUMNS: Final = "on-columns"
BETWEEN_MULLIONS: Final = "between-mullions"
BETWEEN_COLUMNS: Final = "between-columns"
BUTTING: Final = "butting"
BEFORE_COLUMNS: Final = "before-columns"
WITHOUT_COLUMNS: Final = "without-columns"
WAYS: Final = {
    ON_COLUMNS: "meeting on columns",
    BETWEEN_MULLIONS: "between mullions",
    BETWEEN_COLUMNS: "between columns",
    BUTTING: "butting",
    BEFORE_COLUMNS: "in front of columns, out of their rhythm",
    WITHOUT_COLUMNS: "without columns",
}
"""Each way of building with the words for panels that are built so."""

ONE_THICKNESS: Final = 0.03
"""Panels of one run differ in thickness by less than this from the next thicker ones."""
BEARING: Final = 0.10
"""A panel end lies on a column when it is no further from its axis than half the column's width, or than this."""
AT_FACE: Final = 0.06
"""A wall that ends in a column, or no further from its face, stops at it."""
IN_PLANE: Final = 0.5
"""A column that reaches further than this share of the panels' thickness into them stands between them."""
STANDS_IN: Final = 0.5
"""A gap is filled when more than this share of it is."""
DEEPER: Final = 1.3
"""A mullion is by this factor deeper than the panels it holds; posts and strips in a seam are not."""
TOUCHING: Final = 1e-3
"""Ends butt when they are nowhere further apart, or further one in the other, than this."""
MOST: Final = 0.5
"""A run is built in a way when this share of its metres is."""
BESIDE_ALL: Final = 0.8
"""Where this share of the ends keeps the columns' rhythm beside their axes, they are meant to meet on them."""
RHYTHM: Final = 0.125
"""Ends keep the rhythm of columns when they lie off their axes by less than this share of the columns' spacing."""
FEW: Final = 3
"""So many places of a run are needed to tell its way against that of panels alike elsewhere."""
LAST_COLUMN: Final = 0.60
"""A column no further than this from the outer end of a run stands at it."""


@dataclass(frozen=True)
class Run:
    """Metres of panel ends by what they meet; what lies on columns may butt as well.

    ``places`` counts where along the run panels meet each other or a column, ``columns`` the columns they meet.
    ``backed`` says whether columns stand behind it anywhere, ``framed`` the way that columns at both outer ends tell.
    """

    total: float
    axis: float
    rhythm: float
    member: float
    column: float
    butt: float
    places: int
    columns: int
    backed: bool
    framed: str

    def way(self) -> str:
        """The way this run tells of itself; nothing where it is too short for that."""
        if self.total == 0:
            return ""
        if self.column >= MOST * self.total and self.column > self.axis:
            return BETWEEN_COLUMNS
        if self.member >= MOST * self.total and self.member > self.axis:
            return BETWEEN_MULLIONS
        if self.butt >= MOST * self.total and self.places >= FEW:
            return BUTTING
        if self.columns > 1 and self.axis >= MOST * self.total:
            return ON_COLUMNS
        if self.places >= FEW and self.rhythm >= BESIDE_ALL * self.total:
            return ON_COLUMNS
        return "" if self.places < FEW else self.other()

    def alone(self) -> str:
        """The way of a short run where no other run of such panels tells more."""
        if self.total > 0 and self.axis >= MOST * self.total:
            return ON_COLUMNS
        return self.framed or self.other()

    def other(self) -> str:
        """The way of a run that has nothing to do with columns."""
        if self.total > 0 and self.butt >= MOST * self.total:
            return BUTTING
        return BEFORE_COLUMNS if self.backed else WITHOUT_COLUMNS


def ways_of(walls: Walls, ends: Seams, fillings: Fillings) -> tuple[str, ...]:
    """The way in which each panel is built; ``ends`` are the upright gaps, ``fillings`` what lies in them."""
    p = walls.panels
    thick = p.high[:, 2] - p.low[:, 2]
    run = _runs(walls, ends, thick)
    evidence = _evidence(walls, ends, fillings, run, thick)
    told = [each.way() for each in evidence]
    middle = np.array([np.median(thick[run == k]) for k in range(len(evidence))])

    def way(k: int) -> str:
        alike = {told[j] for j in np.flatnonzero(np.abs(middle - middle[k]) < ONE_THICKNESS)} - {""}
        if told[k] or ON_COLUMNS in alike:
            return told[k] or ON_COLUMNS
        return evidence[k].other() if alike else evidence[k].alone()

    final = [way(k) for k in range(len(evidence))]
    return tuple(final[k] for k in run)


def without_crossed(ends: OfKind, fillings: Fillings, panel: Bools) -> tuple[OfKind, Fillings]:
    """The gaps in which no other panel or wall stands, and what lies in them; ``panel`` (e,) marks such elements."""
    keep = np.flatnonzero(fillings.by(panel[fillings.element]) < OCCUPIED)
    number = np.full(len(ends), -1, np.int64)
    number[keep] = np.arange(len(keep))
    pairs = number[fillings.seam] >= 0
    rest = Fillings(
        fillings.share[keep],
        number[fillings.seam[pairs]],
        fillings.element[pairs],
        fillings.part[pairs],
        fillings.depth[pairs],
        fillings.into[pairs],
    )
    return ends.take(keep), rest


def way_of_seams(walls: Walls, ways: Sequence[str], seams: Seams, checked: Collection[str]) -> tuple[str, ...]:
    """The way of each seam: that of its panels, or of its side. Where two ways meet, one that is not checked."""
    at = np.full(len(walls.model.elements), -1, np.int64)
    at[walls.panels.element] = np.arange(len(walls.panels.element))
    result = []
    for parts, side in zip(seams.parts.tolist(), seams.side.tolist(), strict=True):
        known = [ways[at[part]] for part in parts if part >= 0 and at[part] >= 0]
        known = known or [way for way, mine in zip(ways, walls.panels.side, strict=True) if mine == side]
        result.append(next((way for way in known if way not in checked), known[0]) if known else "")
    return tuple(result)


def _runs(walls: Walls, ends: Seams, thick: Floats) -> Ints:
    """Number of the run of each panel: sides that a slight bend joins, cut by thickness."""
    p = walls.panels
    side_of = np.full(len(walls.model.elements), -1, np.int64)
    side_of[p.element] = p.side
    chain = np.arange(len(walls.sides.names))
    for a, b in {(int(side_of[a]), int(side_of[b])) for a, b in zip(ends.left, ends.right, strict=True)}:
        chain[chain == chain[b]] = chain[a]
    key = np.stack([chain[p.side], np.zeros(len(p.side), np.int64)], axis=1)
    for each in np.unique(chain):
        mine = key[:, 0] == each
        key[mine, 1] = cluster(thick[mine], ONE_THICKNESS)
    run: Ints = np.unique(key, axis=0, return_inverse=True)[1].reshape(-1)
    return run


def _evidence(walls: Walls, ends: Seams, fillings: Fillings, run: Ints, thick: Floats) -> list[Run]:
    p, count = walls.panels, len(walls.panels.element)
    at = np.full(len(walls.model.elements), -1, np.int64)
    at[p.element] = np.arange(count)
    left, right = at[ends.left], at[ends.right]
    one_run = run[left] == run[right]
    meets = _columns_at_ends(walls)
    column = np.array([role.role == "column" for role in walls.model.roles], bool)[fillings.element]
    deep = fillings.depth > DEEPER * np.minimum(thick[left], thick[right])[fillings.seam]
    # Panels that run a little into the column in front of which they meet do not stand beside it.
    by_column = fillings.by(column & (fillings.into > IN_PLANE)) > STANDS_IN
    by_mullion = ~by_column & (fillings.by(~column & deep) > STANDS_IN)
    empty = ~by_column & ~by_mullion
    right_end, left_end = 2 * left + 1, 2 * right
    on_axis = empty & (meets.axis[right_end] | meets.axis[left_end])
    on_rhythm = empty & (meets.rhythm[right_end] | meets.rhythm[left_end])
    filled = np.nan_to_num(fillings.share) > STANDS_IN
    by_member = by_mullion | (empty & ~on_axis & filled)
    butts = empty & (np.maximum(np.abs(ends.width_min), np.abs(ends.width_max)) < TOUCHING)
    # Panel ends that face no other panel tell something only where there is a column.
    free = np.ones(2 * count, bool)
    free[right_end], free[left_end] = False, False
    free &= meets.axis | meets.face
    height = np.repeat(p.high[:, 1] - p.low[:, 1], 2)
    result = []
    for k in range(int(run.max(initial=-1)) + 1):
        mine = one_run & (run[left] == k)
        lone = free & (np.repeat(run, 2) == k)
        metres, alone = 2.0 * ends.length[mine], height[lone]

        def share(seams: Bools, lone_ends: Bools, mine: Bools = mine, lone: Bools = lone) -> float:
            return float(2.0 * ends.length[mine & seams].sum() + height[lone & lone_ends].sum())

        borne = np.concatenate([right_end[mine & on_axis], left_end[mine & on_axis], np.flatnonzero(lone)])
        met = np.unique(meets.column[borne])
        panels = run == k
        result.append(
            Run(
                total=float(metres.sum() + alone.sum()),
                axis=share(on_axis, meets.axis),
                rhythm=share(on_rhythm, meets.rhythm),
                member=share(by_member, np.zeros(2 * count, bool)),
                column=share(by_column, meets.face),
                butt=share(butts, np.zeros(2 * count, bool)),
                places=len(np.unique(ends.line[mine])) + len(np.unique(meets.column[lone])),
                columns=len(met[met >= 0]),
                backed=bool(np.isin(walls.columns.side, np.unique(p.side[panels])).any()),
                framed=_framed(walls, panels),
            )
        )
    return result


@dataclass(frozen=True)
class _Meets:
    """Which ends (2 p,) of panels, left and right in turn, lie on a column, keep the rhythm of columns, stop at a face.

    ``column`` numbers the columns (pieces of one stand on one place) they meet, -1 for none.
    """

    axis: Bools
    rhythm: Bools
    face: Bools
    column: Ints


def _columns_at_ends(walls: Walls) -> _Meets:
    p, c = walls.panels, walls.columns
    count = len(p.element)
    middle = 0.5 * (p.low[:, 1:2] + p.high[:, 1:2])
    place = np.stack([g.sample(p.left, middle, 1)[:, 0], g.sample(p.right, middle, 1)[:, 0]], axis=1).reshape(-1)
    panel = np.repeat(np.arange(count), 2)
    z = 0.5 * (walls.boxes.low[p.element, 2] + walls.boxes.high[p.element, 2])[panel]
    axis, rhythm, face = (np.zeros(2 * count, bool) for _ in range(3))
    met = np.full(2 * count, -1, np.int64)
    if len(c.element) == 0 or count == 0:
        return _Meets(axis, rhythm, face, met)
    centre = c.centre_at(np.arange(len(c.element)), 0.5 * (c.low + c.high))
    stand, spacing = np.zeros(len(c.element), np.int64), np.full(len(walls.sides.names), np.inf)
    for side in np.unique(c.side):
        mine = c.side == side
        group = cluster(centre[mine], BEARING)
        stand[mine] = stand.max() + 1 + group
        places = np.array([centre[mine][group == k].mean() for k in range(int(group.max()) + 1)])
        if len(places) > 1:
            spacing[side] = np.median(np.diff(places))
    reach = np.maximum(c.half + AT_FACE, COLUMN_REACH)
    tree = shapely.STRtree(
        shapely.box(centre - reach + APART * c.side, c.low - BEYOND, centre + reach + APART * c.side, c.high + BEYOND)
    )
    end, k = tree.query(shapely.points(place + APART * p.side[panel], z))
    off = c.centre_at(k, z[end]) - place[end]
    inner, outer = p.low[panel[end], 2], p.high[panel[end], 2]
    between = _stands_between(c.front_at(k, z[end]), inner, outer)
    borne = ~between & (np.abs(off) <= np.maximum(c.half[k], BEARING))
    near = ~between & (np.abs(off) <= np.minimum(COLUMN_REACH, RHYTHM * spacing[c.side[k]]))
    stops = between & (np.abs(off) <= c.half[k] + AT_FACE)
    for flag, pairs in ((axis, borne), (rhythm, near | borne), (face, stops)):
        flag[end[pairs]] = True
    telling = borne | stops
    met[end[telling]] = stand[k[telling]]
    return _Meets(axis, rhythm, face, met)


def _framed(walls: Walls, panels: Bools) -> str:
    """What columns at both outer ends tell of a run that has no seam, such as a side of one bay; nothing without."""
    p, c = walls.panels, walls.columns
    for side in np.unique(p.side[panels]):
        mine, behind = np.flatnonzero(panels & (p.side == side)), np.flatnonzero(c.side == side)
        if len(mine) < 2:
            continue  # a single panel may stand anywhere
        z = 0.5 * (c.low + c.high)[behind]
        centre, front = c.centre_at(behind, z), c.front_at(behind, z)
        edges = p.low[mine, 0].min(), p.high[mine, 0].max()
        at_end = [np.abs(centre - edge) < LAST_COLUMN for edge in edges]
        if all(each.any() for each in at_end):
            between = _stands_between(
                front[at_end[0] | at_end[1]], *np.median([p.low[mine, 2], p.high[mine, 2]], axis=1)
            )
            return BETWEEN_COLUMNS if between.mean() > MOST else ON_COLUMNS
    return ""


def _stands_between(front: Floats, inner: Any, outer: Any) -> Bools:
    """Whether columns with these outer faces reach so far into panels that they stand between them."""
    result: Bools = front > inner + IN_PLANE * (outer - inner)
    return result


# ---- what was found, in numbers and words ---------------------------------------------------------------------------


def tally(
    walls: Walls, ways: Sequence[str], ends: Seams, way_of_ends: Sequence[str], checked: Collection[str]
) -> tuple[WayFound, ...]:
    """For each way of building that occurs how many panels, gaps and metres are built so."""
    p = walls.panels
    by_panel, by_seam = np.array(ways, dtype=object), np.array(way_of_ends, dtype=object)
    walled = np.array([e.ifc_class.startswith("IfcWall") for e in walls.model.elements], bool)[p.element]
    result = []
    for way in WAYS:
        panels, gaps = by_panel == way, ends.take(by_seam == way)
        if not panels.any() and not len(gaps):
            continue
        asked = way in checked
        noun = "wall" if not asked and walled[panels].mean() > 0.5 else "panel"
        filled = int((np.nan_to_num(gaps.filled) >= OCCUPIED).sum())
        butt = int((np.maximum(np.abs(gaps.width_min), np.abs(gaps.width_max)) < TOUCHING).sum())
        narrow = float(gaps.width_min.min()) * MM if len(gaps) else None
        wide = float(gaps.width_max.max()) * MM if len(gaps) else None
        result.append(
            WayFound(
                way=way,
                panels=int(panels.sum()),
                gaps=len(gaps),
                length_m=float(gaps.length.sum()),
                width_min_mm=narrow,
                width_max_mm=wide,
                occupied=filled,
                closed=butt,
                checked=asked,
                facades=tuple(walls.sides.names[s] for s in np.unique(p.side[panels])),
                says=_sentence(way, noun, int(panels.sum()), len(gaps), narrow, wide, filled, butt, asked),
            )
        )
    return tuple(result)


def _sentence(
    way: str,
    noun: str,
    panels: int,
    gaps: int,
    narrow: float | None,
    wide: float | None,
    filled: int,
    butt: int,
    checked: bool,
) -> str:
    """One way of building in words."""

    def many(number: int, what: str) -> str:
        return f"{number} {what}" + ("" if number == 1 else "s")

    seam = "seam" if checked else "gap"
    text = f"{many(panels, noun)} {WAYS[way]}: "
    if narrow is None or wide is None:
        text += f"no upright {seam} between them"
    else:
        low, high = (f"{round(value, 1) + 0.0:.1f}" for value in (narrow, wide))
        text += f"{many(gaps, f'upright {seam}')} of " + (f"{low} mm" if low == high else f"{low} to {high} mm")
        if filled:
            text += ", all occupied" if filled == gaps else f", {filled} of them occupied"
        if butt:
            text += ", all closed" if butt == gaps else f", {butt} of them closed"
    return text if checked else f"{text}; rules of panel seams do not apply"
