"""Layers on seams: which stretch of a seam each sealing part covers, where pieces meet, where something is missing.

A `Layer` says which roles it is made of, on which seams it is expected and in which zone of the seam's section it must
lie. `cover` answers for all seams at once; every rule about a layer reads the same `Cover`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.corners import CornerMeets, at_corners
from checker.facade import BaseSeams, Facade, FootCorners, Layer, Seams, Sides, Subjects, unique
from checker.lanes import CORNER_STRETCH, TOUCH, WIDEST_STRIP, Pieces, lanes_of, line_ends, parts_in_lanes
from checker.model import Bools, Floats, Ints
from checker.plan import shortest_way

LONGEST_LAP: Final = 0.30
"""Pieces of one strip lie on top of each other for no longer than this."""
MITRE: Final = 0.06
"""So far from their ends strips are whole, whatever mitre they are cut with (metres)."""
SHORT_BREAK: Final = 0.30
"""A layer runs on where its line is broken by no more than this; a longer break is an opening."""


@dataclass(frozen=True)
class Cover:
    """How a layer covers n seams.

    ``share`` (n,) of the length covered (the worse lane). ``gap`` and ``lap`` (n,) the longest missing stretch and the
    longest overlap of pieces that touch a seam, in metres; ``gap_from`` and ``gap_to``, ``lap_at`` coordinates along;
    ``own`` (n,) is what of the gap lies on the seam, all of it where it is the only one; ``lane`` the lane of the gap.
    ``astray`` is a piece that lies beside its zone where the layer is missing, ``nameless`` an element without a role
    that lies in it there, ``piece`` and ``other`` the pieces that overlap, or between which the gap lies (element
    numbers, -1 for none).
    ``doubtful`` is a piece on the seam whose body cannot be measured. ``modelled`` says whether any piece is there.
    ``joints`` are all places where pieces follow each other. ``corner`` (n, 2, 3) are the two places between which a
    gap or an overlap at a corner lies, world less origin, NaN where it lies along the seam.
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
    nameless: Ints
    piece: Ints
    other: Ints
    doubtful: Ints
    modelled: bool
    joints: "Joints"
    corner: Floats


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


def in_place_of(facade: Facade, layer: Layer) -> Ints:
    """Elements without a role that lie where a layer is missing, ascending."""
    found = [cover(facade, layer, kind).nameless for kind in layer.seams]
    result: Ints = np.unique(np.concatenate([np.zeros(0, np.int64), *found]))
    return result[result >= 0]


def _placed(facade: Facade, layer: Layer, elsewhere: bool = False) -> set[int]:
    """Parts that lie in their place in this layer or another of the same roles: they are not gone astray.

    With ``elsewhere`` those in their place in a layer of other seams alone.
    """
    alike = [each for each in facade.layers if each.name != layer.name and each.any_role & layer.any_role]
    if elsewhere:
        alike = [each for each in alike if not set(each.seams) & set(layer.seams)]
    asked = alike if elsewhere else [*alike, layer]
    return set().union(*(_in_place(facade, each, kind) for each in asked for kind in each.seams))


def _in_place(facade: Facade, layer: Layer, kind: type[Seams]) -> set[int]:
    """Parts that lie in their place in a layer on the seams of one kind (kept)."""
    key = f"in place in {layer.name}/{kind.__name__}"
    if key not in facade.kept:
        ends = line_ends(facade.seams[kind])
        lanes = (lane.inside.take(lane.inside.meets(ends)) for lane in lanes_of(facade, layer, kind))
        facade.kept[key] = {element for pieces in lanes for element in pieces.element.tolist()}
    result: set[int] = facade.kept[key]
    return result


def _cover(facade: Facade, layer: Layer, kind: type[Seams]) -> Cover:
    seams = facade.seams[kind]
    count = len(seams)
    first, last = line_ends(seams)
    lanes = lanes_of(facade, layer, kind)
    placed, elsewhere = _placed(facade, layer), _placed(facade, layer, elsewhere=True)
    share = np.ones(count)
    gap, own, gap_from, gap_to = np.zeros(count), np.zeros(count), seams.start.copy(), seams.start.copy()
    lap, lap_at = np.zeros(count), seams.start.copy()
    worst_lane, astray, nameless = np.zeros(count, np.int64), np.full(count, -1), np.full(count, -1)
    piece, other, doubtful = np.full(count, -1), np.full(count, -1), np.full(count, -1)
    broken = np.array([bool(fault) for fault in facade.model.faults], bool)
    modelled = False
    joints: list[Joints] = []
    for number, lane in enumerate(lanes):
        inside, fills = lane.inside, lane.fills
        beside = lane.around.astray(placed)
        # Boards, cores and claddings of the same role near a zone are no strips gone astray.
        beside = beside.take(layer.rings | (facade.boxes.size[beside.element, 1] < WIDEST_STRIP))
        # What only crosses the zone, begins where the line ends, or has its place at another seam, does not show that
        # anybody drew this layer.
        shared = [np.minimum(p.end, last[p.lane]) - np.maximum(p.start, first[p.lane]) for p in (inside, beside)]
        mine = inside.parallel & (shared[0] > TOUCH)
        mine &= np.array([e not in elsewhere for e in inside.element.tolist()], bool)
        modelled |= bool(mine.any() or (shared[1] > TOUCH).any())
        unsure = inside.take(broken[inside.element])
        seam, which = on_seams(seams, g.Intervals(unsure.lane, unsure.start, unsure.end))
        doubtful[seam] = unsure.element[which]
        union = g.merge(
            np.concatenate([inside.lane, fills.lane]),
            np.concatenate([inside.start, fills.start]),
            np.concatenate([inside.end, fills.end]),
        )
        missing = g.complement(union, first, last)
        # Share of each seam: its own stretch less what is missing of it.
        seam, hole = _over_breaks(seams, missing, *on_seams(seams, missing))
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
        astray[s] = _covering(beside, seams.line[s], missing.start[h], missing.end[h])
        if len(s):
            unknown = parts_in_lanes(facade, layer, kind, ("",))[number].inside
            first_own, last_own = np.maximum(missing.start[h], seams.start[s]), np.minimum(missing.end[h], seams.end[s])
            nameless[s] = _covering(unknown, seams.line[s], first_own, last_own)
        piece[s] = _ending(inside, inside.end, seams.line[s], missing.start[h])
        other[s] = _ending(inside, inside.start, seams.line[s], missing.end[h])
        # Legs of a ring that stand on a strip follow no piece of it.
        wide = (inside.high - inside.low).max(axis=1, initial=0.0)
        meets = _joints(inside.take(inside.end - inside.start > wide) if layer.rings else inside)
        at_seam = _seam_at(seams, meets.seam, meets.at)
        joints.append(Joints(at_seam, meets.first, meets.second, meets.lap, meets.at))
        order = np.argsort(meets.lap, kind="stable")[: 0 if layer.may_lap else None]
        order = order[meets.lap[order] > np.maximum(lap, gap + g.SAME_LENGTH)[at_seam[order]]]
        s = at_seam[order]  # ascending laps: the longest one of a seam is written last and stays
        lap[s], lap_at[s] = meets.lap[order], meets.at[order]
        piece[s], other[s] = meets.first[order], meets.second[order]
    merged = Joints(*(np.concatenate([getattr(j, name) for j in joints]) for name in Joints.__dataclass_fields__))
    share = share if modelled else np.zeros(count)
    corner = np.full((count, 2, 3), np.nan)
    if layer.rings and modelled:
        for s, at, first_piece, second_piece, ends in _open_corners(facade, seams, lanes[0].inside):
            wide = float(np.linalg.norm(ends[1] - ends[0]))
            if wide > max(gap[s], lap[s]):
                gap[s], own[s], gap_from[s], gap_to[s] = wide, wide, at, at
                piece[s], other[s], corner[s] = first_piece, second_piece, ends
    if kind is BaseSeams and modelled and not layer.may_lap:
        turns, round_it = facade.of(FootCorners), at_corners(facade, layer)
        told = _Told(np.maximum(gap, lap), gap >= lap, gap_from, gap_to, piece, other)
        at_end = _told_at_end(seams, turns, round_it, told)
        for k in np.flatnonzero(np.isfinite(round_it.gap)).tolist():
            s, wide = int(turns.before[k] if at_end[k] else turns.after[k]), float(round_it.gap[k])
            at = float(seams.end[s] if at_end[k] else seams.start[s])
            if abs(wide) > max(gap[s], lap[s]) + g.SAME_LENGTH:
                if wide < 0:
                    lap[s], lap_at[s] = -wide, at
                else:
                    gap[s], own[s], gap_from[s], gap_to[s] = wide, wide, at, at
                piece[s], other[s] = round_it.first[k], round_it.second[k]
                corner[s] = round_it.point[k] + np.array([[-0.5], [0.5]]) * wide * round_it.way[k]
    return Cover(
        share,
        gap,
        own,
        gap_from,
        gap_to,
        lap,
        lap_at,
        worst_lane,
        astray,
        nameless,
        piece,
        other,
        doubtful,
        modelled,
        merged,
        corner,
    )


@dataclass(frozen=True)
class _Told:
    """What seams (n,) tell along their own lines: a gap or lap how long, from where to where, of which pieces."""

    worst: Floats
    gap: Bools
    gap_from: Floats
    gap_to: Floats
    piece: Ints
    other: Ints


def _told_at_end(seams: Seams, turns: FootCorners, meets: CornerMeets, told: _Told) -> Bools:
    """Whether the seam that ends at each corner (c,) tells of it, not the one that starts there.

    That is the one that sees it along its own line; else the one that has less else to tell; else the one along which
    the corner opens. Which side comes first must not matter.
    """
    pair = np.sort(np.stack([meets.first, meets.second], axis=1), axis=1)

    def sees(at: Ints, reaches: Bools) -> Floats:
        same = (np.sort(np.stack([told.piece[at], told.other[at]], axis=1), axis=1) == pair).all(axis=1)
        return np.where(same | (reaches & told.gap[at]), told.worst[at], 0.0)

    def opens(at: Ints) -> Floats:
        result: Floats = np.abs(np.einsum("cj,cj->c", seams.frame[at, 0], meets.way)).round(6)
        return result

    before, after = turns.before, turns.after
    seen = sees(before, told.gap_to[before] > seams.end[before] - g.SAME_LENGTH)
    seen -= sees(after, told.gap_from[after] < seams.start[after] + g.SAME_LENGTH)
    free = told.worst[after] - told.worst[before]
    free[np.abs(free) <= g.SAME_LENGTH] = 0.0
    result: Bools = np.where(seen != 0, seen, np.where(free != 0, free, opens(before) - opens(after))) > 0
    return result


@dataclass(frozen=True)
class Positions:
    """Sections of the pieces of a layer on seams (m,): of the piece ``element`` in a ``lane`` on a ``seam``.

    ``at`` is the coordinate along, ``low`` and ``high`` (m, 2) are the extents there, across and out, of the whole
    piece, also beyond its zone. Each piece is cut near both ends of its stretch and in the middle.
    """

    seam: Ints
    lane: Ints
    element: Ints
    at: Floats
    low: Floats
    high: Floats


def positions(facade: Facade, layer: Layer, kind: type[Seams]) -> Positions:
    """Where in the sections of seams the pieces of a layer lie that run along them, and how wide and deep they are."""
    seams = facade.seams[kind]
    number, seam, element, start, end = [], [], [], [], []
    for k, lane in enumerate(lanes_of(facade, layer, kind)):
        pieces = lane.inside.take(lane.inside.parallel)
        on, which = on_seams(seams, g.Intervals(pieces.lane, pieces.start, pieces.end))
        number.append(np.full(len(on), k))
        seam.append(on)
        element.append(pieces.element[which])
        start.append(np.maximum(pieces.start[which], seams.start[on]))
        end.append(np.minimum(pieces.end[which], seams.end[on]))
    on, part, first, last = (np.concatenate(each) for each in (seam, element, start, end))
    inset = np.minimum(MITRE, 0.5 * (last - first))
    at = np.stack([first + inset, 0.5 * (first + last), last - inset], axis=1)
    low, high = g.slices(facade.model.meshes, part, seams.frame[on], at)
    met = ~np.isnan(low[:, :, 0])
    row = np.broadcast_to(np.arange(len(on))[:, None], at.shape)[met]
    return Positions(on[row], np.concatenate(number)[row], part[row], at[met], low[met], high[met])


def _open_corners(facade: Facade, seams: Seams, pieces: Pieces) -> Iterator[tuple[int, float, int, int, Floats]]:
    """Corners of frames at which the pieces along two edges do not meet.

    For each the seam whose piece stays further away from the corner, where along it, both pieces, and the two places
    (2, 3) in the plane of the facade at which they come nearest to each other. The edges of a frame follow each other
    as sill, head, left and right.
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
        whole = {element: g.outline(facade.model.meshes, element, seams.frame[sill, :2]) for element in here}
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
            _, first, second = shortest_way(near, one, two)
            lying_is_off = shapely.distance(near[first], corner) >= shapely.distance(near[second], corner)
            low, high = g.extents(facade.model.meshes, np.array([first]), seams.frame[[sill]])
            ends = _nearest(near[first], near[second])
            ends = np.column_stack([ends, np.full(2, 0.5 * (low + high)[0, 2])]) @ seams.frame[sill]
            yield (lying, u, first, second, ends) if lying_is_off else (upright, z, first, second, ends)


def _nearest(one: Any, two: Any) -> Floats:
    """The places (2, 2) at which two outlines come nearest to each other, halfway along where they are equally near."""
    a, b = (np.array(each.bounds).reshape(2, 2) for each in (one, two))
    middle = 0.5 * (np.maximum(a[0], b[0]) + np.minimum(a[1], b[1]))
    before, behind = a[1] < b[0], b[1] < a[0]
    ends = np.stack(
        [np.select([before, behind], [a[1], a[0]], middle), np.select([before, behind], [b[0], b[1]], middle)]
    )
    if abs(float(np.linalg.norm(ends[1] - ends[0])) - shapely.distance(one, two)) < g.SAME_LENGTH:
        return ends
    # Outlines that are no rectangles along the facade.
    result: Floats = shapely.get_coordinates(shapely.shortest_line(one, two))
    return result


def edges_at(pieces: Pieces, line: Ints, at: Floats, axis: int) -> tuple[Floats, Floats]:
    """Lowest and highest coordinate across (``axis`` 0) or out (1) of pieces at places (m,) on lines; NaN for none."""
    low, high = np.full(len(line), np.nan), np.full(len(line), np.nan)
    for i, mine in _on_lines(pieces, line):
        there = (pieces.start[mine] < at[i] + g.SAME_LENGTH) & (pieces.end[mine] > at[i] - g.SAME_LENGTH)
        if there.any():
            low[i], high[i] = (
                pieces.reach_low[mine, axis][there].min(),
                pieces.reach_high[mine, axis][there].max(),
            )
    return low, high


def uncovered(pieces: Pieces, line: Ints, low: Floats, high: Floats) -> tuple[Floats, tuple[Floats, Floats], Ints]:
    """What pieces leave open between ``low`` and ``high`` (m,) on lines.

    Gives the whole length, the ends of the longest open stretch (twice the middle of all where none is), and the piece
    that reaches furthest into the stretch, -1 for none.
    """
    order = np.argsort(pieces.lane, kind="stable")
    lines = int(max(line.max(initial=-1), pieces.lane.max(initial=-1))) + 1
    entries, which = g.spread(np.searchsorted(pieces.lane[order], np.arange(lines + 1)), line)
    piece = order[entries]
    shared = np.minimum(pieces.end[piece], high[which]) - np.maximum(pieces.start[piece], low[which])
    meets = np.flatnonzero(shared > g.SAME_LENGTH)
    meets = meets[np.argsort(shared[meets].round(6), kind="stable")]
    piece, which = piece[meets], which[meets]
    holes = g.complement(g.merge(which, pieces.start[piece], pieces.end[piece]), low, high)
    long = holes.end - holes.start
    first, last = 0.5 * (low + high), 0.5 * (low + high)
    order = np.argsort(long, kind="stable")  # the longest one is written last and stays
    first[holes.group[order]], last[holes.group[order]] = holes.start[order], holes.end[order]
    found = np.full(len(line), -1, np.int64)
    found[which] = pieces.element[piece]
    return g.total(long, holes.group, len(line)), (first, last), found


def on_seams(seams: Seams, stretches: g.Intervals) -> tuple[Ints, Ints]:
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


def _covering(pieces: Pieces, line: Ints, start: Floats, end: Floats) -> Ints:
    """For each missing stretch a piece that covers more than half of it; -1 for none."""
    result = np.full(len(line), -1, np.int64)
    for i, mine in _on_lines(pieces, line):
        shared = np.minimum(pieces.end[mine], end[i]) - np.maximum(pieces.start[mine], start[i])
        if shared.max() > 0.5 * (end[i] - start[i]):
            result[i] = pieces.element[mine][shared.argmax()]
    return result


def _ending(pieces: Pieces, ends: Floats, line: Ints, at: Floats) -> Ints:
    """For each line and place the piece that has an end there (``ends`` of all pieces); -1 for none."""
    result = np.full(len(line), -1, np.int64)
    for i, mine in _on_lines(pieces, line):
        near = np.abs(ends[mine] - at[i])
        if near.min() < 2 * g.SAME_LENGTH:
            result[i] = pieces.element[mine][near.argmin()]
    return result


def _on_lines(pieces: Pieces, line: Ints) -> Iterator[tuple[int, slice]]:
    """For each line that has any the stretch of its pieces; pieces are sorted by line."""
    first, last = np.searchsorted(pieces.lane, line, "left"), np.searchsorted(pieces.lane, line, "right")
    for i in np.flatnonzero(last > first):
        yield int(i), slice(int(first[i]), int(last[i]))


def _joints(pieces: Pieces) -> Joints:
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


def _tracks(pieces: Pieces, keep: Ints) -> Ints:
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
    near, far = low[rows, wide], high[rows, wide]
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
            if end[k] - start[i] <= LONGEST_LAP
            or (
                min(above[k], above[i]) - max(below[k], below[i]) > TOUCH
                and min(far[k], far[i]) - max(near[k], near[i]) > TOUCH
            )
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

    def axes(self, i: int, sides: Sides) -> Floats:
        """Along the line on which the pieces follow each other; along the side where there are none."""
        if not self.along[i].any():
            return super().axes(i, sides)
        out = g.unit(sides.frame[self.side[i], 2] - self.along[i] * (self.along[i] @ sides.frame[self.side[i], 2]))
        return np.stack([self.along[i], np.cross(out, self.along[i]), out])


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
