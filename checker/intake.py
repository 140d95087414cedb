"""The intake gate: what arrived in each file, before any rule is asked.

What cannot be checked is refused here with one sentence; what is odd gets a remark that is told above all results. A
model that lies wrong is told by how much, and is never moved.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np
import shapely

from checker.alignment import fits
from checker.errors import BadModel
from checker.model import (
    NO_BODY,
    NO_VOLUME,
    Element,
    Fit,
    Floats,
    GridAxis,
    Intake,
    Ints,
    Meshes,
    Remark,
    Role,
    Severity,
    Source,
    is_global_id,
)

MEET_WITHIN_M: Final = 10.0
"""Models of one building overlap; a neighbour that stands apart by more was exported about another point."""
ONE_SITE_M: Final = 300.0
"""Buildings that are whole, walls and columns, may stand this far apart (common practice, no source)."""
STRAY_M: Final = 10_000.0
STRAY_LENGTHS: Final = 100.0
"""A body this far, and so many times its own length, from the middle of its file is no part of the building."""
FAR_M: Final = 10_000.0
"""Farther from the origin, programs that reckon in single precision round to a millimetre and more."""
LONGEST_BODY_M: Final = 200.0
SHORTEST_BODY_M: Final = 0.02
"""Parts of a facade are between these long; where three quarters are not, the unit is not the one stated."""
SMALLEST_HALL_M: Final = 3.0
LONGEST_PART_M: Final = 40.0
FEWEST_PARTS: Final = 10
"""So many parts that are together smaller, or longer each, are remarked: 1 cm may have been taken for 1 mm."""
USUAL_BODY_M: Final = (0.3, 40.0)
"""Lengths of most panels and columns, by which the unit that was meant is guessed."""
UNITS: Final[Mapping[str, float]] = {
    "mm": 0.001, "m": 1.0, "cm": 0.01, "inch": 0.0254, "foot": 0.3048, "dm": 0.1, "km": 1000.0
}  # fmt: skip
"""Sizes of units in metres, those that are most often meant first."""
REFUSED_BELOW: Final = 0.1
"""A file that lies off is refused where less than this part of what a shift would make meet does meet, else told."""
SAME_MODEL: Final = 0.5
"""Two files that share this part of their GlobalIds are two states of one model..."""
SAME_BODIES: Final = 0.8
"""... as are those with this part of their bodies in one place, whatever their GlobalIds are..."""
ONE_BODY_M: Final = 0.05
"""... give or take this: models are raised and lowered a little from state to state."""
FEWEST_SHARED: Final = 10
"""... when they share so many at least."""

_FORBIDDEN: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
"""Characters that no XML file may hold."""

Told = Iterator[tuple[int, Remark]]
"""Remarks, each with the number of the file it is about."""


def examine(
    sources: Sequence[Source],
    elements: Sequence[Element],
    meshes: Meshes,
    origin: Floats,
    grids: Sequence[Sequence[GridAxis]],
) -> tuple[Intake, ...]:
    """What arrived in each file; roles are counted later (`counted`). ``grids`` are the axes each file draws.

    Raises:
        BadModel: The unit of a file cannot be the one it states, or a file meets none of the others.
    """
    source = np.array([element.source for element in elements], np.int64)
    bodies = _bodies(meshes, source)
    built = [bodies.of(s) for s in range(len(sources))]
    for one, mine in zip(sources, built, strict=True):
        _refuse_unit(one, mine)
    found = fits(meshes, source, len(sources), grids)
    same = _states(sources, elements, built)
    # Held against another state of itself alone, a file seems to lie where walls would stand one upon the other.
    twins = {s: pair for pair in same for s in pair}
    found = tuple(
        replace(fit, state="meets", shift_m=(0.0, 0.0, 0.0))
        if s in twins and fit.state != "unknown" and set(fit.against) <= set(twins[s])
        else fit
        for s, fit in enumerate(found)
    )
    beside = _refuse_apart(sources, built, origin, found)
    _refuse_misfit(sources, found)
    remarks = [list(one.remarks) for one in sources]
    for s, remark in beside:
        remarks[s].append(remark)
    for (_, b), shared in same.items():
        remarks[b].append(Remark("error", f"{shared}: they are two states of one model. Name only one of them."))
    for tell in (
        _tiny(sources, built),
        _misfits(sources, found),
        _strays(sources, bodies, built),
        _far_away(sources, built, origin),
        _identities(sources, elements),
        _letters(sources, elements),
    ):
        for s, remark in tell:
            remarks[s].append(remark)
    return tuple(
        Intake(
            elements=int(np.count_nonzero(source == s)),
            bodies=len(mine.low),
            size_m=mine.size(),
            distance_m=mine.distance(origin),
            doubles=sum(times - 1 for times in _guids(elements, s).values()),
            fit=found[s],
            remarks=tuple(remarks[s]),
        )
        for s, mine in enumerate(built)
    )


def counted(intake: Sequence[Intake], elements: Sequence[Element], roles: Sequence[Role]) -> tuple[Intake, ...]:
    """The same with the number of elements of each role."""
    counts = [Counter[str]() for _ in intake]
    for element, role in zip(elements, roles, strict=True):
        if role.role:
            counts[element.source][role.role] += 1
    return tuple(
        replace(one, roles=dict(sorted(count.items(), key=lambda each: (-each[1], each[0]))))
        for one, count in zip(intake, counts, strict=True)
    )


def unread(
    intake: Sequence[Intake],
    sources: Sequence[Source],
    elements: Sequence[Element],
    meshes: Meshes,
    faults: Sequence[str],
) -> tuple[Intake, ...]:
    """The same with a remark on bodies that came to nothing: what is not there is missed by no rule."""
    lost: list[list[int]] = [[] for _ in intake]
    for i, empty in enumerate((np.diff(meshes.triangle_start) == 0).tolist()):
        if faults[i] == NO_VOLUME or (empty and faults[i] not in ("", NO_BODY)):
            lost[elements[i].source].append(i)
    return tuple(
        replace(one, remarks=(*one.remarks, Remark("warning", _lost(source, elements, which, faults))))
        if which
        else one
        for one, source, which in zip(intake, sources, lost, strict=True)
    )


def _lost(source: Source, elements: Sequence[Element], which: Sequence[int], faults: Sequence[str]) -> str:
    first = elements[which[0]]
    such = f"'{first.name[:40]}' ({first.ifc_class} {first.guid[:22]}): {faults[which[0]]}"
    number = _count(len(which), "body could", "bodies could")
    return f"{source.file}: {number} not be read and counted as nothing, such as that of {such}."


# ---- size, unit and place -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Bodies:
    """Boxes of bodies: ``low`` and ``high`` (n, 3) in metres, world less origin; ``outline`` what they cover in plan.

    ``strays`` counts those that lie too far away to belong to them and were left out.
    """

    source: Ints
    low: Floats
    high: Floats
    outline: shapely.Geometry
    strays: int = 0

    def of(self, source: int) -> "_Bodies":
        """Those of one file, without the strays."""
        mine = self.source == source
        low, high, outline = self.low[mine], self.high[mine], self.outline[mine]
        middle = 0.5 * (low + high)
        centre = np.median(middle, axis=0) if len(middle) else np.zeros(3)
        # Where all is too large the unit is wrong, and nothing has gone astray.
        reach = max(STRAY_M, STRAY_LENGTHS * _usual(low, high))
        near = np.linalg.norm(middle - centre, axis=1) <= reach
        whole = shapely.convex_hull(shapely.geometrycollections(outline[near]))
        return _Bodies(self.source[mine][near], low[near], high[near], whole, int(np.count_nonzero(~near)))

    def size(self) -> tuple[float, float, float] | None:
        """Length, width and height of all together, whatever way they are turned."""
        if not len(self.low):
            return None
        corners = shapely.get_coordinates(shapely.oriented_envelope(self.outline))[:3]
        sides = sorted(np.linalg.norm(np.diff(corners, axis=0), axis=1).tolist())
        width, length = [0.0, 0.0, *sides][-2:]
        return length, width, float(self.high[:, 2].max() - self.low[:, 2].min())

    def middle(self) -> Floats:
        """The middle (3,) of all together."""
        result: Floats = 0.5 * (self.low.min(axis=0) + self.high.max(axis=0))
        return result

    def among(self, others: "_Bodies") -> int:
        """How many have a box like one of the others."""
        mine, theirs = (np.hstack([one.low, one.high]) for one in (self, others))
        near = {"predicate": "dwithin", "distance": 2.0 * ONE_BODY_M}
        i, j = shapely.STRtree(shapely.points(theirs[:, :2])).query(shapely.points(mine[:, :2]), **near)
        return len(np.unique(i[(np.abs(mine[i] - theirs[j]) <= ONE_BODY_M).all(axis=1)]))

    def distance(self, origin: Floats) -> float:
        """How far the middle lies from the origin of the common coordinates in plan."""
        return float(np.linalg.norm((self.middle() + origin)[:2])) if len(self.low) else 0.0

    def usual(self) -> float:
        """The length that three quarters of the bodies do not exceed."""
        return _usual(self.low, self.high)


def _usual(low: Floats, high: Floats) -> float:
    return float(np.quantile((high - low).max(axis=1), 0.75)) if len(low) else 0.0


def _bodies(meshes: Meshes, source: Ints) -> _Bodies:
    filled = np.flatnonzero(np.diff(meshes.point_start))
    if not len(filled):
        return _Bodies(np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, object))
    starts = meshes.point_start[filled]
    count = np.diff(meshes.point_start)[filled]
    low, high = (np.asarray(take.reduceat(meshes.points, starts)) for take in (np.minimum, np.maximum))
    group = np.repeat(np.arange(len(filled)), count)
    points = shapely.multipoints(meshes.points[:, :2], indices=group)
    return _Bodies(source[filled], low, high, shapely.convex_hull(points))


def _refuse_unit(source: Source, bodies: _Bodies) -> None:
    size = bodies.size()
    if size is None or SHORTEST_BODY_M <= bodies.usual() <= LONGEST_BODY_M:
        return
    length, _, height = size
    stated = UNITS.get(source.length_unit, 0.0)
    meant = ""
    for word, metres in UNITS.items():
        if stated and USUAL_BODY_M[0] <= bodies.usual() * metres / stated <= USUAL_BODY_M[1]:
            share = metres / stated
            meant = f"; in {word} it would be {_metres(length * share)} long and {_metres(height * share)} high"
            break
    than = "larger" if bodies.usual() > LONGEST_BODY_M else "smaller"
    raise BadModel(
        f"{source.file} is {_metres(length)} long and {_metres(height)} high by its unit ({source.length_unit}), "
        f"{than} than any building{meant}. Export it with the right length unit."
    )


def _tiny(sources: Sequence[Source], built: Sequence[_Bodies]) -> Told:
    """Units that may be wrong: parts of this size occur, but no hall is so small, or made of such."""
    for s, one in enumerate(built):
        size = one.size()
        if size is None or len(one.low) < FEWEST_PARTS:
            continue
        length, _, height = size
        if max(length, height) < SMALLEST_HALL_M or one.usual() > LONGEST_PART_M:
            unit = f"by its unit ({sources[s].length_unit})"
            told = f"{sources[s].file} is {_metres(length)} long and {_metres(height)} high {unit}, its parts mostly"
            yield s, Remark("warning", f"{told} {_metres(one.usual())} long. See whether the length unit is right.")


def _metres(value: float) -> str:
    """A length as people write it, with three digits or more.

    >>> _metres(24000.4), _metres(7.2), _metres(0.024)
    ('24000 m', '7.2 m', '0.024 m')
    """
    return f"{value:.0f} m" if value >= 100.0 else f"{value:.3g} m"


def _refuse_apart(
    sources: Sequence[Source], built: Sequence[_Bodies], origin: Floats, found: Sequence[Fit]
) -> list[tuple[int, Remark]]:
    """Refuses files that do not meet in space, but for buildings that are whole: of these it tells how they stand."""
    told: list[tuple[int, Remark]] = []
    boxes = {s: np.stack([one.low.min(axis=0), one.high.max(axis=0)]) for s, one in enumerate(built) if len(one.low)}
    if not boxes:
        return told
    first, *apart = sorted(boxes)
    together = {first}
    while apart:
        gap, near, far = min((_gap(boxes[a], boxes[b]), a, b) for a in together for b in apart)
        buildings = found[near].whole and found[far].whole and gap <= ONE_SITE_M
        if gap > MEET_WITHIN_M and not buildings:
            places = ", ".join(_place(sources[s], built[s].middle() + origin) for s in (near, far))
            off = [s for s in (near, far) if found[s].state == "off"]
            shift = f"shift_mm = {_shift(sources[off[0]], found[off[0]])} for {sources[off[0]].file}" if off else ""
            remedy = f"set {shift}, which would make walls and columns meet" if off else "set shift_mm for one of them"
            raise BadModel(
                f"Models do not meet: {places}, {gap:.1f} m apart. Export both about the same base point, or {remedy}."
            )
        if gap > MEET_WITHIN_M:
            stands = f"{sources[far].file} stands {gap:.1f} m from {sources[near].file}"
            told.append((far, Remark("note", f"{stands} and was taken for a part of another building.")))
        together.add(far)
        apart.remove(far)
    return told


def _gap(one: Floats, other: Floats) -> float:
    """Distance in metres between two boxes (2, 3)."""
    return float(np.linalg.norm(np.maximum(0.0, np.maximum(one[0] - other[1], other[0] - one[1]))))


def _place(source: Source, middle: Floats) -> str:
    x, y, z = middle
    return f"{source.name} lies at x {x:.1f} m, y {y:.1f} m, height {z:.1f} m"


def _strays(sources: Sequence[Source], bodies: _Bodies, built: Sequence[_Bodies]) -> Told:
    for s, one in enumerate(built):
        if one.strays:
            lie = f"{_count(one.strays, 'body lies', 'bodies lie')} more than {STRAY_M / 1000.0:.0f} km from the rest"
            yield s, Remark("warning", f"{sources[s].file}: {lie}; see what was exported with the building.")


def _far_away(sources: Sequence[Source], built: Sequence[_Bodies], origin: Floats) -> Told:
    for s, one in enumerate(built):
        distance = one.distance(origin)
        if distance > FAR_M:
            lies = f"lies {distance / 1000.0:.0f} km from the origin of its coordinates"
            yield s, Remark("note", f"{sources[s].file} {lies}. Nothing is lost here; other programs may round.")


# ---- how files lie to each other ------------------------------------------------------------------------------------


def _refuse_misfit(sources: Sequence[Source], found: Sequence[Fit]) -> None:
    """Refuses a file of which nothing meets the others, where a shift would make it; not one the project has placed."""
    for s, fit in enumerate(found):
        if fit.state == "off" and fit.met < REFUSED_BELOW * fit.best and sources[s].shift_mm is None:
            raise BadModel(
                f"{_misfit(sources, s, fit)} Nothing was checked: export it about the base point of the others, or "
                "set that shift; shift_mm = [0, 0, 0] has it checked as it lies."
            )


def _misfits(sources: Sequence[Source], found: Sequence[Fit]) -> Told:
    for s, fit in enumerate(found):
        # What the project has placed itself is its own matter.
        grave: Severity = "error" if sources[s].shift_mm is None else "warning"
        file, others = sources[s].file, _others(sources, fit)
        if fit.state == "off":
            yield s, Remark(grave, _misfit(sources, s, fit))
        elif fit.state == "turned":
            none = f"only {fit.met} of its joints and columns meet theirs" if fit.met else "no wall ends at a column"
            turned = f"{file} is turned by {abs(fit.turn_deg):.2f} degrees against {others}, and {none}"
            yield s, Remark(grave, f"{turned}. No shift mends that: export it in the directions of the others.")
        elif fit.state == "unknown" and fit.joints >= 2 and not fit.met:
            none = f"none of its {fit.joints} wall joints lies at a column of {others}"
            yield s, Remark("warning", f"{file}: {none}, and no shift was found that would bring them there.")


def _misfit(sources: Sequence[Source], s: int, fit: Fit) -> str:
    """How far a file lies off, how that is known, and the setting that would mend it."""
    about = "" if fit.exact else "about "
    # The file lies where the shift would take it away from. In height seals decide, which not everybody draws.
    ways = ((about, "west", "east"), (about, "south", "north"), ("about ", "below", "above"))
    told = zip(fit.shift_m, ways, strict=True)
    parts = [f"{sure}{abs(v):.3f} m {more if v < 0.0 else less}" for v, (sure, less, more) in told if v]
    words = f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]
    of = "" if fit.shift_m[2] else " of"
    lies = f"{sources[s].file} lies {words}{of} {_others(sources, fit)}"
    set_it = f"shift_mm = {_shift(sources[s], fit)} under [models]"
    if fit.by_grid:
        return f"{lies}, to judge by grid axes of the same name; {set_it} would bring those together."
    if not any(fit.shift_m[:2]):
        return f"{lies}, where walls do not stand on what carries them; {set_it} would bring them together."
    doubt = " Where bays repeat another shift does as well: look at the ends of the rows." if fit.alike else ""
    met = f"{fit.met} of its {fit.best} wall joints and columns meet those of the others"
    return f"{lies}: {met}; {set_it} would make {fit.best} meet.{doubt}"


def _shift(source: Source, fit: Fit) -> str:
    """The whole setting, what the project has set already included."""
    before = source.shift_mm or (0.0, 0.0, 0.0)
    return "[" + ", ".join(f"{old + 1000.0 * more:.10g}" for old, more in zip(before, fit.shift_m, strict=True)) + "]"


def _others(sources: Sequence[Source], fit: Fit) -> str:
    names = [sources[s].file for s in fit.against]
    return " and ".join(names) if 0 < len(names) <= 2 else "the others"


# ---- identities and letters -----------------------------------------------------------------------------------------


def _guids(elements: Sequence[Element], source: int) -> Counter[str]:
    return Counter(element.guid for element in elements if element.source == source and element.guid)


def _identities(sources: Sequence[Source], elements: Sequence[Element]) -> Told:
    guids = [_guids(elements, s) for s in range(len(sources))]
    for s, known in enumerate(guids):
        file, lost = sources[s].file, sum(1 for element in elements if element.source == s and not element.guid)
        if lost:
            none = _count(lost, "element has no GlobalId", "elements have no GlobalId")
            yield s, Remark("warning", f"{file}: {none}. Nobody can be pointed to them.")
        odd = sorted(guid for guid in known if not is_global_id(guid))
        if odd:
            none = _count(sum(known[guid] for guid in odd), "element has a GlobalId", "elements have GlobalIds")
            which = f"{none} that the standard does not allow, such as {odd[0][:40]!a}"
            yield s, Remark("warning", f"{file}: {which}. Nobody can be pointed to them.")
        double = sorted(guid for guid, times in known.items() if times > 1)
        if double:
            more = _count(len(double), "GlobalId stands", "GlobalIds stand")
            such = f"for more than one element, such as {double[0][:40]}"
            yield s, Remark("warning", f"{file}: {more} {such}. Every occurrence was kept.")
    for a, b in combinations(range(len(sources)), 2):
        shared = sorted(guids[a].keys() & guids[b].keys())
        if 0 < len(shared) < max(FEWEST_SHARED, SAME_MODEL * min(len(guids[a]), len(guids[b]))):
            more = f"{_count(len(shared), 'GlobalId', 'GlobalIds')}, such as {shared[0][:40]}"
            shares = f"{sources[b].file} shares {more}, with {sources[a].file}"
            yield b, Remark("warning", f"{shares}. Every occurrence was kept.")


def _states(
    sources: Sequence[Source], elements: Sequence[Element], built: Sequence[_Bodies]
) -> dict[tuple[int, int], str]:
    """Pairs of files that are two states of one model, and how that is known: by GlobalIds, else by their bodies."""
    guids = [_guids(elements, s) for s in range(len(sources))]
    result = {}
    for a, b in combinations(range(len(sources)), 2):
        both = f"{sources[a].file} and {sources[b].file}"
        shared, fewer = len(guids[a].keys() & guids[b].keys()), min(len(guids[a]), len(guids[b]))
        if shared >= max(FEWEST_SHARED, SAME_MODEL * fewer):
            result[a, b] = f"{both} share {shared} of {fewer} GlobalIds"
            continue
        small, large = sorted((built[a], built[b]), key=lambda one: len(one.low))
        shared, fewer = small.among(large), len(small.low)
        if shared >= max(FEWEST_SHARED, SAME_BODIES * fewer):
            result[a, b] = f"{both} have {shared} of {fewer} bodies in the same place"
    return result


def _letters(sources: Sequence[Source], elements: Sequence[Element]) -> Told:
    odd = Counter(
        element.source
        for element in elements
        if any(
            map(_FORBIDDEN.search, (element.guid, element.name, element.object_type, element.type_name, element.tag))
        )
    )
    for s, number in sorted(odd.items()):
        hold = _count(number, "element has a name", "elements have names")
        told = "characters that no XML file may hold; they are replaced where it is written"
        yield s, Remark("note", f"{sources[s].file}: {hold} with {told}.")


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
