"""Layers on seams: which stretch of a seam each sealing part covers, where pieces meet, where something is missing.

A `Layer` says which roles it is made of, on which seams it is expected and in which zone of the seam's section it must
lie. `cover` answers for all seams at once; every rule about a layer reads the same `Cover`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import Facade, Layer, OpeningSeams, Seams, Subjects, Zone, unique
from checker.model import Bools, Floats, Ints

SEARCH: Final = 0.25
"""A part of the right role this near to a zone was meant for it, though it lies wrong."""
THROUGH: Final = 0.7
"""A piece runs through a zone, from inside outwards, when the cosine of its direction with out is above this."""
LONGEST_LAP: Final = 0.30
"""Pieces of one strip lie on top of each other for no longer than this."""
SHORT_BREAK: Final = 0.30
"""A layer runs on where its line is broken by no more than this; a longer break is an opening."""
WIDEST_STRIP: Final = 0.30
"""A part no wider than this, and three times as long, has one direction."""
CORNER_STRETCH: Final = 0.15
"""What runs along an edge of a frame so near to its corner must meet what runs along the next edge."""
TOUCH: Final = 5e-4
"""A part lies in a zone when it reaches further into it than this."""


@dataclass(frozen=True)
class Cover:
    """How a layer covers n seams.

    ``share`` (n,) of the length covered (the worse lane). ``gap`` and ``lap`` (n,) the longest missing stretch and the
    longest overlap of pieces that touch a seam, in metres; ``gap_from`` and ``gap_to``, ``lap_at`` coordinates along;
    ``own`` (n,) is what of the gap lies on the seam, all of it where it is the only one; ``lane`` the lane of the gap.
    ``astray`` is a piece that lies beside its zone where the layer is missing, ``piece`` and ``other`` the pieces that
    overlap, or between which the gap lies (element numbers, -1 for none).
    ``doubtful`` is a piece on the seam whose body cannot be measured. ``modelled`` says whether any piece is there.
    ``joints`` are all places where pieces follow each other.
    """

    share: Floats
    gap: Floats
    own: Floats
    gap_from: Floats
    gap_to: Floats
    lap: Floats
    lap_at: Floats
    lane: Ints
    astray: Ints
    piece: Ints
    other: Ints
    doubtful: Ints
    modelled: bool
    joints: "Joints"


@dataclass(frozen=True)
class Joints:
    """Where pieces follow each other (m,): the ``seam`` there, ``first`` and ``second`` piece, ``lap``, ``at`` along.

    Laps in metres; a negative one is an open gap between the pieces.
    """

    seam: Ints
    first: Ints
    second: Ints
    lap: Floats
    at: Floats


def cover(facade: Facade, layer: Layer, kind: type[Seams]) -> Cover:
    """How ``layer`` covers the seams of one kind (kept: asked by rules and by the seam table)."""
    key = f"{layer.name}/{kind.__name__}"
    if key not in facade.kept:
        facade.kept[key] = _cover(facade, layer, kind)
    result: Cover = facade.kept[key]
    return result


@dataclass(frozen=True)
class _Pieces:
    """Stretches of parts in lanes: lane key, element, start and end along, and whether the part runs along the seam.

    ``low`` and ``high`` (k, 2) tell what of the zone's section, across and out, the part takes.
    """

    lane: Ints
    element: Ints
    start: Floats
    end: Floats
    parallel: Bools
    low: Floats
    high: Floats

    def astray(self, placed: set[int]) -> "_Pieces":
        """Pieces that run along their line and lie in their place nowhere."""
        return self.take(self.parallel & np.array([e not in placed for e in self.element.tolist()], bool))

    def take(self, keep: Bools) -> "_Pieces":
        """Some of the pieces."""
        return _Pieces(*(getattr(self, name)[keep] for name in _Pieces.__dataclass_fields__))


@dataclass(frozen=True)
class _Lane:
    """One lane of a layer on the lines of seams: pieces in it, in or near it, and stretches filled by other parts."""

    inside: _Pieces
    around: _Pieces
    fills: _Pieces


def _lanes(facade: Facade, layer: Layer, kind: type[Seams]) -> tuple[_Lane, ...]:
    """Where the parts of a layer lie, per lane."""
    own = {each: _lanes_of(facade, layer, each, layer.roles) for each in layer.seams}
    if not layer.stands_in or any(len(lane.inside.lane) for lanes in own.values() for lane in lanes):
        return own[kind]
    others = _lanes_of(facade, layer, kind, layer.stands_in)
    return tuple(replace(mine, inside=other.inside) for mine, other in zip(own[kind], others, strict=True))


def _lanes_of(facade: Facade, layer: Layer, kind: type[Seams], roles: tuple[str, ...]) -> tuple[_Lane, ...]:
    """Where parts of some roles lie in the lanes of a layer (kept)."""
    key = f"{'/'.join(roles)} in the lanes of {layer.name}/{kind.__name__}"
    if key not in facade.kept:
        seams = facade.seams[kind]
        first, last = _ends(seams)
        lanes = []
        for zone in layer.lanes(seams):
            hull = Zone(
                g.lowest(zone.across_low, seams.line, len(first)),
                g.highest(zone.across_high, seams.line, len(first)),
                g.lowest(zone.out_low, seams.line, len(first)),
                g.highest(zone.out_high, seams.line, len(first)),
            )
            inside, around = _pieces(facade, seams, hull, first, last, facade.elements_of(*roles))
            crosses = _crosses(facade, inside, _frames(seams, len(first)))
            if kind is OpeningSeams:
                # The strip along the next edge of the frame fills the corner.
                near = inside.start >= last[inside.lane] - CORNER_STRETCH
                crosses &= ~(near | (inside.end <= first[inside.lane] + CORNER_STRETCH))
            inside = inside.take(~crosses)
            # What lies behind the parts of a seam is not in the way of what lies between them.
            inner = g.lowest(seams.inner, seams.line, len(first)) + TOUCH
            between = replace(hull, out_low=np.maximum(hull.out_low, inner))
            fills, _ = _pieces(facade, seams, between, first, last, facade.elements_of(*layer.yields_to))
            lanes.append(_Lane(inside, around, fills))
        facade.kept[key] = tuple(lanes)
    result: tuple[_Lane, ...] = facade.kept[key]
    return result


def _ends(seams: Seams) -> tuple[Floats, Floats]:
    """First and last coordinate of each line of seams."""
    lines = int(seams.line.max()) + 1 if len(seams) else 0
    return g.lowest(seams.start, seams.line, lines), g.highest(seams.end, seams.line, lines)


def _placed(facade: Facade, layer: Layer) -> set[int]:
    """Parts that lie in their place in this layer or another of the same roles: they are not gone astray."""
    alike = [layer, *(each for each in facade.layers if each.name != layer.name and each.any_role & layer.any_role)]
    lanes = [lane for each in alike for kind in each.seams for lane in _lanes(facade, each, kind)]
    return {element for lane in lanes for element in lane.inside.element.tolist()}


def _cover(facade: Facade, layer: Layer, kind: type[Seams]) -> Cover:
    seams = facade.seams[kind]
    count = len(seams)
    first, last = _ends(seams)
    lanes = _lanes(facade, layer, kind)
    placed = _placed(facade, layer)
    share = np.ones(count)
    gap, own, gap_from, gap_to = np.zeros(count), np.zeros(count), seams.start.copy(), seams.start.copy()
    lap, lap_at = np.zeros(count), seams.start.copy()
    worst_lane, astray = np.zeros(count, np.int64), np.full(count, -1)
    piece, other, doubtful = np.full(count, -1), np.full(count, -1), np.full(count, -1)
    broken = np.array([bool(fault) for fault in facade.model.faults], bool)
    modelled = False
    joints: list[Joints] = []
    for number, lane in enumerate(lanes):
        inside, fills = lane.inside, lane.fills
        beside = lane.around.astray(placed)
        # What only crosses the zone belongs to another seam.
        modelled |= bool(inside.parallel.any()) or len(beside.lane) > 0
        unsure = inside.take(broken[inside.element])
        seam, which = _on_seams(seams, g.Intervals(unsure.lane, unsure.start, unsure.end))
        doubtful[seam] = unsure.element[which]
        union = g.merge(
            np.concatenate([inside.lane, fills.lane]),
            np.concatenate([inside.start, fills.start]),
            np.concatenate([inside.end, fills.end]),
        )
        missing = g.complement(union, first, last)
        # Share of each seam: its own stretch less what is missing of it.
        seam, hole = _over_breaks(seams, missing, *_on_seams(seams, missing))
        lost = np.minimum(seams.end[seam], missing.end[hole]) - np.maximum(seams.start[seam], missing.start[hole])
        lane_share = 1.0 - g.total(np.maximum(lost, 0.0), seam, count) / np.maximum(seams.length, 1e-9)
        share = np.minimum(share, np.clip(lane_share, 0.0, 1.0))
        long = missing.end - missing.start
        touches = np.bincount(hole, minlength=len(long))
        order = np.lexsort((long[hole], seam))
        lead = order[np.append(np.diff(seam[order]) > 0, True)] if len(order) else order
        # Where both are as long, the gap is told: whichever lane comes first.
        worse = lead[(long[hole[lead]] > gap[seam[lead]]) & (long[hole[lead]] > lap[seam[lead]] - g.SAME_LENGTH)]
        s, h = seam[worse], hole[worse]
        gap[s], gap_from[s], gap_to[s], worst_lane[s] = long[h], missing.start[h], missing.end[h], number
        own[s] = np.where(touches[h] == 1, long[h], lost[worse])
        astray[s] = _astray(beside, seams.line[s], missing.start[h], missing.end[h])
        piece[s] = _ending(inside, inside.end, seams.line[s], missing.start[h])
        other[s] = _ending(inside, inside.start, seams.line[s], missing.end[h])
        meets = _joints(inside)
        at_seam = _seam_at(seams, meets.seam, meets.at)
        joints.append(Joints(at_seam, meets.first, meets.second, meets.lap, meets.at))
        order = np.argsort(meets.lap, kind="stable")
        order = order[meets.lap[order] > np.maximum(lap, gap + g.SAME_LENGTH)[at_seam[order]]]
        s = at_seam[order]  # ascending laps: the longest one of a seam is written last and stays
        lap[s], lap_at[s] = meets.lap[order], meets.at[order]
        piece[s], other[s] = meets.first[order], meets.second[order]
    merged = Joints(*(np.concatenate([getattr(j, name) for j in joints]) for name in Joints.__dataclass_fields__))
    share = share if modelled else np.zeros(count)
    if kind is OpeningSeams and modelled:
        for s, at, wide, first_piece, second_piece in _open_corners(facade, seams, lanes[0].inside):
            if wide > max(gap[s], lap[s]):
                gap[s], own[s], gap_from[s], gap_to[s] = wide, wide, at, at
                piece[s], other[s] = first_piece, second_piece
    return Cover(
        share, gap, own, gap_from, gap_to, lap, lap_at, worst_lane, astray, piece, other, doubtful, modelled, merged
    )


def _open_corners(facade: Facade, seams: Seams, pieces: _Pieces) -> Iterator[tuple[int, float, float, int, int]]:
    """Corners of frames at which the pieces along two edges do not meet.

    For each the seam whose piece stays further away from the corner, where along it, the clear distance in the plane of
    the facade, and both pieces. The edges of a frame follow each other as sill, head, left and right.
    """
    bounds = np.searchsorted(pieces.lane, np.arange(len(seams) + 1))

    def reaching(seam: int, corner: float, way: float) -> set[int]:
        """The pieces on the last stretch of a seam before a corner, from where ``way`` leads into the seam."""
        mine = slice(int(bounds[seam]), int(bounds[seam + 1]))
        near, far = sorted((corner, corner + way * CORNER_STRETCH))
        shared = np.minimum(pieces.end[mine], far) - np.maximum(pieces.start[mine], near)
        return set(pieces.element[mine][shared > 0.4 * CORNER_STRETCH].tolist())

    for sill in range(0, len(seams), 4):
        here = np.unique(pieces.element[bounds[sill] : bounds[sill + 4]]).tolist()
        whole = {element: _outline(facade, element, seams.frame[sill, :2]) for element in here}
        for lying, upright in ((sill, sill + 2), (sill, sill + 3), (sill + 1, sill + 2), (sill + 1, sill + 3)):
            at_end, on_top = upright == sill + 3, lying == sill + 1
            u = float((seams.end if at_end else seams.start)[lying])
            z = float((seams.end if on_top else seams.start)[upright])
            corner = shapely.Point(u, z)
            near = {e: shapely.intersection(shape, corner.buffer(CORNER_STRETCH)) for e, shape in whole.items()}
            near = {e: shape for e, shape in near.items() if not shape.is_empty}
            one = reaching(lying, u, -1.0 if at_end else 1.0) & near.keys()
            two = reaching(upright, z, -1.0 if on_top else 1.0) & near.keys()
            if not (one and two) or one & two:
                continue
            wide, first, second = _shortest_way(near, one, two)
            lying_is_off = shapely.distance(near[first], corner) >= shapely.distance(near[second], corner)
            yield (lying, u, wide, first, second) if lying_is_off else (upright, z, wide, first, second)


def _outline(facade: Facade, element: int, plane: Floats) -> Any:
    """What is seen of a part in a plane, given by two unit vectors (2, 3)."""
    m = facade.model.meshes
    corners = m.points[m.triangles[m.triangle_start[element] : m.triangle_start[element + 1]]] @ plane.T
    triangles = shapely.polygons(corners)
    return shapely.union_all(triangles[shapely.area(triangles) > 1e-9], grid_size=1e-6)


def _shortest_way(outlines: dict[int, Any], start: set[int], goal: set[int]) -> tuple[float, int, int]:
    """The widest step on the way of smallest steps from one group of outlines to another, and what it is between."""
    steps = sorted((float(shapely.distance(outlines[a], outlines[b])), a, b) for a, b in combinations(outlines, 2))
    group = {element: -1 if element in start else -2 if element in goal else element for element in outlines}
    for wide, a, b in steps:
        group = {element: group[b] if each == group[a] else each for element, each in group.items()}
        if len({group[element] for element in start | goal}) == 1:
            return (wide, a, b) if a in start or b in goal else (wide, b, a)
    return 0.0, min(start), min(goal)


def _pieces(
    facade: Facade, seams: Seams, zone: Zone, first: Floats, last: Floats, elements: Ints
) -> tuple[_Pieces, _Pieces]:
    """Stretches of parts that lie in the zone of each line, and of all that lie in or near it."""
    frame = _frames(seams, len(first))
    line, element = _near(facade, frame, zone, first, last, elements)
    entries, pair = g.spread(facade.model.meshes.triangle_start, element)
    corners = facade.model.meshes.points[facade.model.meshes.triangles[entries]]
    local = np.einsum("tij,tkj->tki", frame[line[pair]], corners)
    results = []
    for grow in (0.0, SEARCH):
        low = np.stack([zone.across_low - grow, zone.out_low - grow], axis=1)[line[pair]]
        high = np.stack([zone.across_high + grow, zone.out_high + grow], axis=1)[line[pair]]
        results.append(_stretches(facade, local, pair, line, element, frame, low, high, zone, strict=grow == 0.0))
    inside, around = results
    # Behind a piece that runs through, at an inner corner, the line has come to its end.
    deep = (zone.out_high - zone.out_low)[inside.lane]
    through = _runs_through(facade, inside.element, frame[inside.lane])
    first, last = first[inside.lane], last[inside.lane]
    start = np.where(through & (inside.start - first < deep), np.minimum(inside.start, first), inside.start)
    end = np.where(through & (last - inside.end < deep), np.maximum(inside.end, last), inside.end)
    return replace(inside, start=start, end=end), around


def _frames(seams: Seams, lines: int) -> Floats:
    """The frame (l, 3, 3) of each line of seams."""
    frame = np.zeros((lines, 3, 3))
    frame[seams.line] = seams.frame
    return frame


def _crosses(facade: Facade, pieces: _Pieces, frame: Floats) -> Bools:
    """Which pieces are of strips that only cross their line: they belong to another seam and fill nothing here."""
    axis = np.einsum("mj,mij->mi", facade.boxes.axes[pieces.element, 0], frame[pieces.lane])
    length, width = facade.boxes.size[pieces.element, 0], facade.boxes.size[pieces.element, 1]
    slender = (width < WIDEST_STRIP) & (length > 3 * width)
    result: Bools = slender & (np.abs(axis[:, 0]) < 0.5) & (np.abs(axis[:, 2]) <= THROUGH)
    return result


def _runs_through(facade: Facade, element: Ints, frame: Floats) -> Bools:
    """Whether parts (m,) run from inside outwards in frames (m, 3, 3)."""
    result: Bools = np.abs(np.einsum("mj,mj->m", facade.boxes.axes[element, 0], frame[:, 2])) > THROUGH
    return result


def _near(facade: Facade, frame: Floats, zone: Zone, first: Floats, last: Floats, elements: Ints) -> tuple[Ints, Ints]:
    """Pairs (line, element) whose boxes meet, found in plan and then in height."""
    if len(first) == 0 or len(elements) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    ends = np.stack([first, last], axis=1)
    across = np.stack([zone.across_low - SEARCH, zone.across_high + SEARCH], axis=1)
    out = np.stack([zone.out_low - SEARCH, zone.out_high + SEARCH], axis=1)
    corner = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    local = np.stack([ends[:, corner[:, 0]], across[:, corner[:, 1]], out[:, corner[:, 2]]], axis=2)
    world = np.einsum("lij,lci->lcj", frame, local)
    low, high = world.min(axis=1), world.max(axis=1)
    box_low, box_high = facade.boxes.low[elements], facade.boxes.high[elements]
    tree = shapely.STRtree(shapely.box(box_low[:, 0], box_low[:, 1], box_high[:, 0], box_high[:, 1]))
    line, found = tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    keep = (box_low[found, 2] <= high[line, 2]) & (box_high[found, 2] >= low[line, 2])
    order = np.lexsort((found[keep], line[keep]))
    return line[keep][order], elements[found[keep][order]]


def _stretches(
    facade: Facade,
    local: Floats,
    pair: Ints,
    line: Ints,
    element: Ints,
    frame: Floats,
    low: Floats,
    high: Floats,
    zone: Zone,
    strict: bool,
) -> _Pieces:
    """What each part covers along its line between ``low`` and ``high`` across and out, as merged stretches."""
    reach, met = g.clip_triangles(local, low, high)
    clipped_low = np.clip(local[:, :, 1:].min(axis=1), low, high)
    clipped_high = np.clip(local[:, :, 1:].max(axis=1), low, high)
    m = len(line)
    part_low, part_high = g.lowest(clipped_low[met], pair[met], m), g.highest(clipped_high[met], pair[met], m)
    deep = part_high - part_low
    good = (deep[:, 0] > TOUCH) & (deep[:, 1] > TOUCH)
    if strict:
        # A part that pokes into the zone from elsewhere does not count: the middle of its section must lie inside.
        whole_low, whole_high = (
            g.lowest(local[:, :, 2].min(axis=1), pair, m),
            g.highest(local[:, :, 2].max(axis=1), pair, m),
        )
        near_low = g.lowest(local[met][:, :, 2].min(axis=1), pair[met], m)
        near_high = g.highest(local[met][:, :, 2].max(axis=1), pair[met], m)
        middle = 0.5 * (
            np.where(np.isfinite(near_low), near_low, whole_low)
            + np.where(np.isfinite(near_high), near_high, whole_high)
        )
        inside = (middle > zone.out_low[line] - TOUCH) & (middle < zone.out_high[line] + TOUCH)
        # At an inner corner the piece of the other side, which runs outwards here, fills its own width.
        good &= inside | _runs_through(facade, element, frame[line])
    keep = met & good[pair]
    merged = g.merge(pair[keep], reach[keep, 0], reach[keep, 1])
    size, axes = facade.boxes.size[element], facade.boxes.axes[element]
    along = np.abs(np.einsum("mj,mj->m", axes[:, 0], frame[line][:, 0])) if m else np.zeros(0)
    # Compact parts and rings have no direction of their own and may continue any seam.
    parallel = (along > 0.85) | (size[:, 0] < 2.0 * size[:, 1])
    owner = merged.group
    return _Pieces(
        line[owner], element[owner], merged.start, merged.end, parallel[owner], part_low[owner], part_high[owner]
    )


def _on_seams(seams: Seams, stretches: g.Intervals) -> tuple[Ints, Ints]:
    """Pairs (seam, stretch) of one line that share more than nothing."""
    order = np.lexsort((seams.start, seams.line))
    bounds = np.searchsorted(seams.line[order], np.arange(int(seams.line.max()) + 2 if len(seams) else 1))
    found_seam, found = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    if len(stretches.group):
        entries, which = g.spread(bounds, stretches.group)
        seam = order[entries]
        shared = np.minimum(seams.end[seam], stretches.end[which]) - np.maximum(
            seams.start[seam], stretches.start[which]
        )
        keep = shared > g.SAME_LENGTH
        found_seam.append(seam[keep])
        found.append(which[keep])
    return np.concatenate(found_seam), np.concatenate(found)


def _over_breaks(seams: Seams, stretches: g.Intervals, seam: Ints, which: Ints) -> tuple[Ints, Ints]:
    """The pairs, and those of stretches in a short break of a line (behind two panel ends) with the nearest seam."""
    lone = np.setdiff1d(np.arange(len(stretches.group)), which)
    middle = 0.5 * (stretches.start + stretches.end)[lone]
    nearest = _seam_at(seams, stretches.group[lone], middle)
    near = np.maximum(seams.start[nearest] - middle, middle - seams.end[nearest]) < 0.5 * SHORT_BREAK
    return np.concatenate([seam, nearest[near]]), np.concatenate([which, lone[near]])


def _seam_at(seams: Seams, line: Ints, at: Floats) -> Ints:
    """The seam of a line nearest to a place along it; -1 where the line has none."""
    result = np.full(len(line), -1, np.int64)
    if len(line) == 0:
        return result
    order = np.lexsort((seams.start, seams.line))
    bounds = np.searchsorted(seams.line[order], np.arange(int(seams.line.max()) + 2))
    entries, which = g.spread(bounds, line)
    seam = order[entries]
    off = np.maximum(np.maximum(seams.start[seam] - at[which], at[which] - seams.end[seam]), 0.0)
    best = np.lexsort((seam, off.round(9), which))
    lead = best[np.append(True, np.diff(which[best]) > 0)]
    result[which[lead]] = seam[lead]
    return result


def _astray(beside: _Pieces, line: Ints, start: Floats, end: Floats) -> Ints:
    """For each missing stretch a part beside the zone that covers more than half of it; -1 for none."""
    result = np.full(len(line), -1, np.int64)
    for i, mine in _on_lines(beside, line):
        shared = np.minimum(beside.end[mine], end[i]) - np.maximum(beside.start[mine], start[i])
        if shared.max() > 0.5 * (end[i] - start[i]):
            result[i] = beside.element[mine][shared.argmax()]
    return result


def _ending(pieces: _Pieces, ends: Floats, line: Ints, at: Floats) -> Ints:
    """For each line and place the piece that has an end there (``ends`` of all pieces); -1 for none."""
    result = np.full(len(line), -1, np.int64)
    for i, mine in _on_lines(pieces, line):
        near = np.abs(ends[mine] - at[i])
        if near.min() < 2 * g.SAME_LENGTH:
            result[i] = pieces.element[mine][near.argmin()]
    return result


def _on_lines(pieces: _Pieces, line: Ints) -> Iterator[tuple[int, slice]]:
    """For each line that has any the stretch of its pieces; pieces are sorted by line."""
    first, last = np.searchsorted(pieces.lane, line, "left"), np.searchsorted(pieces.lane, line, "right")
    for i in np.flatnonzero(last > first):
        yield int(i), slice(int(first[i]), int(last[i]))


def _joints(pieces: _Pieces) -> Joints:
    """Where pieces that run along a line follow each other; ``seam`` holds the line here."""
    keep = np.flatnonzero(pieces.parallel)
    tracks = _tracks(pieces, keep)
    order = np.lexsort((pieces.element[keep], pieces.end[keep], pieces.start[keep], tracks))
    track, order = tracks[order], keep[order]
    lane, element, start, end = pieces.lane[order], pieces.element[order], pieces.start[order], pieces.end[order]
    count = len(order)
    leader = np.arange(count)
    for i in range(1, count):  # the piece that reaches furthest so far is the one that the next piece meets
        if track[i] == track[i - 1] and end[leader[i - 1]] > end[i]:
            leader[i] = leader[i - 1]
    before, after = leader[: max(count - 1, 0)], np.arange(1, max(count, 1))
    same = (track[before] == track[after]) & (element[before] != element[after])
    before, after = before[same], after[same]
    lap = np.minimum(end[before], end[after]) - start[after]
    return Joints(lane[after], element[before], element[after], lap, start[after] + 0.5 * lap)


def _tracks(pieces: _Pieces, keep: Ints) -> Ints:
    """Number of the track each kept piece runs in: pieces of a lane that lie side by side follow no others there.

    Strips are flat: they lie side by side in the direction in which most of them are wide, and on top of each other in
    the other one. What lies on top of another piece for longer than any lap is a second strip with a track of its own.
    """
    lane, low, high = pieces.lane[keep], pieces.low[keep], pieces.high[keep]
    lanes = int(lane.max(initial=-1)) + 1
    wide = g.total(high - low, lane, lanes).argmax(axis=1)[lane]
    rows = np.arange(len(keep))
    order = np.lexsort((low[rows, wide], lane))
    fresh = np.ones(len(order), bool)
    furthest = g.running_highest(lane[order], high[rows, wide][order])
    fresh[1:] = (np.diff(lane[order]) > 0) | (low[rows, wide][order][1:] > furthest[:-1] - TOUCH)
    beside = np.empty(len(order), np.int64)
    beside[order] = np.cumsum(fresh)
    below, above = low[rows, 1 - wide], high[rows, 1 - wide]
    start, end = pieces.start[keep], pieces.end[keep]
    result = np.empty(len(order), np.int64)
    leader: dict[int, int] = {}
    group = count = -1
    for i in np.lexsort((end, start, beside)).tolist():
        if beside[i] != group:
            leader, group = {}, beside[i]
        # The furthest piece of each track so far; the piece goes on with the nearest of those it does not lie upon.
        free = [
            track
            for track, k in leader.items()
            if end[k] - start[i] <= LONGEST_LAP or min(above[k], above[i]) - max(below[k], below[i]) > TOUCH
        ]
        if free:
            track = min(free, key=lambda t: abs(below[leader[t]] + above[leader[t]] - below[i] - above[i]))
        else:
            track = count = count + 1
        result[i] = track
        if track not in leader or end[i] > end[leader[track]]:
            leader[track] = i
    return result


@dataclass(frozen=True)
class Laps(Subjects):
    """Places where pieces of a layer follow each other: ``lap`` in metres, negative for an open gap between them.

    A layer that is in no model has no such place, and is one subject without parts.
    """

    first: Ints
    second: Ints
    lap: Floats
    along: Floats


def laps(facade: Facade, layer: Layer) -> Laps:
    """All places where pieces of a layer follow each other, on every kind of seam it belongs to."""
    covers = [cover(facade, layer, kind) for kind in layer.seams]
    if not any(each.modelled for each in covers):
        return _absent(facade, layer)
    found = [(facade.seams[kind], _once(each.joints)) for kind, each in zip(layer.seams, covers, strict=True)]
    seam = [joints.seam for _, joints in found]

    def gather(pick: Callable[[Seams, Ints], Any]) -> Any:
        return np.concatenate([np.asarray(pick(seams, s)) for (seams, _), s in zip(found, seam, strict=True)])

    def texts(pick: Callable[[Seams, int], str]) -> tuple[str, ...]:
        return tuple(pick(seams, int(i)) for (seams, _), s in zip(found, seam, strict=True) for i in s)

    first, second, lap = (
        np.concatenate([getattr(joints, name) for _, joints in found]) for name in ("first", "second", "lap")
    )
    point = np.concatenate(
        [
            seams.take(s).world(joints.at, 0.5 * (seams.near + seams.far)[s], seams.outer[s])
            for (seams, joints), s in zip(found, seam, strict=True)
        ]
    )
    return Laps(
        kind=texts(lambda seams, i: seams.kind[i]),
        ids=unique([f"{layer.name}/{name}" for name in texts(lambda seams, i: seams.ids[i])]),
        side=gather(lambda seams, s: seams.side[s]),
        axis=texts(lambda seams, i: seams.axis[i]),
        row=gather(lambda seams, s: seams.row[s]),
        length=np.abs(lap),
        parts=np.stack([first, second], axis=1),
        point=point,
        fault=tuple(facade.fault_of(pair) for pair in np.stack([first, second], axis=1)),
        first=first,
        second=second,
        lap=lap,
        along=gather(lambda seams, s: seams.frame[s, 0]).reshape(-1, 3),
    )


def _once(joints: Joints) -> Joints:
    """Joints without those that a second line, round a slight bend, sees again."""
    pair = np.sort(np.stack([joints.first, joints.second], axis=1), axis=1)
    _, first = np.unique(pair, axis=0, return_index=True)
    keep = np.sort(first)
    return Joints(*(getattr(joints, name)[keep] for name in Joints.__dataclass_fields__))


def _absent(facade: Facade, layer: Layer) -> Laps:
    """The one subject of a layer that is in no model; none where there is no seam for it either."""
    seams = [facade.seams[kind] for kind in layer.seams]
    count = int(any(len(each) for each in seams))
    nobody = np.full(count, -1, np.int64)
    return Laps(
        kind=(layer.name,) * count,
        ids=(layer.name,) * count,
        side=np.zeros(count, np.int64),
        axis=("",) * count,
        row=np.zeros(count, np.int64),
        length=np.zeros(count),
        parts=np.full((count, 2), -1, np.int64),
        point=np.concatenate([each.point for each in seams])[:count],
        fault=("",) * count,
        first=nobody,
        second=nobody,
        lap=np.full(count, np.nan),
        along=np.zeros((count, 3)),
    )
