"""What pieces of a layer measure on the seams they lie at, stretch by stretch. Pure functions over arrays."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker import geometry as g
from checker.facade import Facade, Layer, Seams, taken
from checker.lanes import lanes_of
from checker.layers import Positions, on_seams
from checker.model import Bools, Floats, Ints

SHORTEST_HOLE: Final = 1e-3
"""Holes in a filling that are no longer along the seam than pieces may gape do not count (metres)."""


@dataclass(frozen=True)
class Spread:
    """Smallest and largest of the values measured on each of n seams, NaN for none, where and of which element."""

    smallest: Floats
    largest: Floats
    at_smallest: Floats
    at_largest: Floats
    least: Ints
    most: Ints


def spread(seams: Seams, rows: Positions, values: Floats, out: Floats | None = None) -> Spread:
    """Extremes on each seam of values (m,) measured on sections of pieces.

    Places lie in the middle of the piece, or at the coordinates ``out`` (m,) of its section.
    """
    count = len(seams)
    across, middle = (0.5 * (rows.low + rows.high)).T
    at = seams.take(rows.seam).world(rows.at, across, middle if out is None else out)
    found = []
    for sign in (1.0, -1.0):
        order = np.lexsort((np.arange(len(values)), (sign * values).round(9), rows.seam))
        lead = order[np.append(True, np.diff(rows.seam[order]) > 0)] if len(order) else order
        value, place, part = np.full(count, np.nan), seams.point.copy(), np.full(count, -1)
        value[rows.seam[lead]], place[rows.seam[lead]] = values[lead], at[lead]
        part[rows.seam[lead]] = rows.element[lead]
        found.append((value, place, part))
    (smallest, at_smallest, least), (largest, at_largest, most) = found
    return Spread(smallest, largest, at_smallest, at_largest, least, most)


@dataclass(frozen=True)
class Pieces:
    """Pieces (k,) of a layer on seams: ``seam``, ``element``, ``start`` and ``end`` along it, the ``lane`` they lie in.

    ``parallel`` tells whether the part runs along the seam, ``low`` and ``high`` (k, 2) what of the lane's section,
    across and out, it takes.
    """

    seam: Ints
    element: Ints
    start: Floats
    end: Floats
    lane: Ints
    parallel: Bools
    low: Floats
    high: Floats


def pieces_on(facade: Facade, layer: Layer, kind: type[Seams], whole: bool = False) -> Pieces:
    """Every piece of a layer on each seam of a kind, cut to the seam; sorted by seam.

    With ``whole`` their ``low`` and ``high`` are those of all that lies near the seam, also beyond the lane.
    """
    seams = facade.seams[kind]
    found = []
    for number, lane in enumerate(lanes_of(facade, layer, kind)):
        inside = lane.inside
        seam, which = on_seams(seams, g.Intervals(inside.lane, inside.start, inside.end))
        found.append(
            Pieces(
                seam,
                inside.element[which],
                np.maximum(inside.start[which], seams.start[seam]),
                np.minimum(inside.end[which], seams.end[seam]),
                np.full(len(seam), number),
                inside.parallel[which],
                (inside.reach_low if whole else inside.low)[which],
                (inside.reach_high if whole else inside.high)[which],
            )
        )
    every = Pieces(*(np.concatenate([getattr(each, name) for each in found]) for name in Pieces.__dataclass_fields__))
    return taken(every, np.lexsort((every.start, every.seam)))


@dataclass(frozen=True)
class Strip:
    """Of n seams the narrowest piece of a layer: ``element`` (-1 for none), ``width``, ``low`` and ``high`` across out.

    NaN where no piece lies on the seam.
    """

    element: Ints
    width: Floats
    low: Floats
    high: Floats


def narrowest(facade: Facade, layer: Layer, kind: type[Seams], role: str = "") -> Strip:
    """The narrowest piece of a layer that runs along each seam, measured outwards; of one ``role`` if it is given."""
    found = pieces_on(facade, layer, kind)
    wanted = np.array([role in ("", each.role) for each in facade.model.roles], bool)
    # Legs of a ring that only end at a seam are shorter there than wide.
    legs = found.end - found.start <= found.high[:, 1] - found.low[:, 1]
    found = taken(found, found.parallel & ~legs & wanted[found.element])
    count = len(facade.seams[kind])
    result = Strip(np.full(count, -1, np.int64), np.full(count, np.nan), np.full(count, np.nan), np.full(count, np.nan))
    width = found.high[:, 1] - found.low[:, 1]
    order = np.lexsort((width.round(9), found.seam))
    lead = order[np.append(True, np.diff(found.seam[order]) > 0)] if len(order) else order
    seam = found.seam[lead]
    result.element[seam], result.width[seam] = found.element[lead], width[lead]
    result.low[seam], result.high[seam] = found.low[lead, 1], found.high[lead, 1]
    return result


def open_depth(
    seams: Seams, pieces: Pieces, low: Floats, high: Floats, joint: float
) -> tuple[Floats, Floats, tuple[Floats, Floats]]:
    """How much of the depth from ``low`` to ``high`` (n,), outwards, pieces leave open at the worst place of each seam.

    Stretches along no longer than ``joint`` (metres) do not count. Gives that depth, its place along, and from where to
    where outwards it is open there (n,): NaN where nothing is, or at several places.
    """
    count = len(seams)
    everyone = np.arange(count)
    group = np.concatenate([everyone, everyone, pieces.seam, pieces.seam])
    cut = np.concatenate([seams.start, seams.end, pieces.start, pieces.end])
    order = np.lexsort((cut, group))
    group, cut = group[order], cut[order]
    same = group[1:] == group[:-1]
    seam, start, end = group[:-1][same], cut[:-1][same], cut[1:][same]
    long = end - start > joint
    seam, start, end = seam[long], start[long], end[long]
    by_seam = np.argsort(pieces.seam, kind="stable")
    bounds = np.searchsorted(pieces.seam[by_seam], np.arange(count + 1))
    entries, which = g.spread(bounds, seam)
    piece = by_seam[entries]
    covers = (pieces.start[piece] <= start[which] + g.SAME_LENGTH) & (pieces.end[piece] >= end[which] - g.SAME_LENGTH)
    piece, which = piece[covers], which[covers]
    first = np.clip(pieces.low[piece, 1], low[seam[which]], high[seam[which]])
    last = np.clip(pieces.high[piece, 1], low[seam[which]], high[seam[which]])
    filled = g.merge(which, first, last)
    left = (high - low)[seam] - g.total(filled.end - filled.start, filled.group, len(seam))
    # The longest of the stretches that are open most tells the place.
    order = np.lexsort((end - start, left.round(6), seam))
    lead = order[np.append(np.diff(seam[order]) > 0, True)] if len(order) else order
    depth, at = np.zeros(count), 0.5 * (seams.start + seams.end)
    depth[seam[lead]] = np.maximum(left[lead], 0.0)
    at[seam[lead]] = 0.5 * (start + end)[lead]
    first, last = np.full(count, np.nan), np.full(count, np.nan)
    holes = g.complement(filled, low[seam], high[seam])
    wide = np.isin(holes.group, lead) & (holes.end - holes.start > g.SAME_LENGTH)
    lone = wide & (np.bincount(holes.group[wide], minlength=len(seam))[holes.group] == 1)
    first[seam[holes.group[lone]]], last[seam[holes.group[lone]]] = holes.start[lone], holes.end[lone]
    return depth, at, (first, last)


@dataclass(frozen=True)
class Fill:
    """What pieces take of a range across or out in the section of n seams, wherever there are any; NaN where none is.

    ``least`` is the smallest length that is filled, ``first`` the furthest place at which filling begins, ``last`` the
    nearest at which it ends; ``at_*`` are the coordinates along, ``piece_*`` an element there (-1 for none).
    """

    least: Floats
    first: Floats
    last: Floats
    at_least: Floats
    at_first: Floats
    at_last: Floats
    piece_least: Ints
    piece_first: Ints
    piece_last: Ints


def fill(seams: Seams, pieces: Pieces, axis: int, low: Floats, high: Floats) -> Fill:
    """What pieces take of the ranges ``low`` to ``high`` (n,) across seams (``axis`` 0) or out (1)."""
    count = len(seams)
    # Between two places where a piece begins or ends the section does not change.
    group, cut = np.concatenate([pieces.seam, pieces.seam]), np.concatenate([pieces.start, pieces.end])
    order = np.lexsort((cut, group))
    group, cut = group[order], cut[order]
    long = (group[1:] == group[:-1]) & (np.diff(cut) > SHORTEST_HOLE)
    seam, start, end = group[:-1][long], cut[:-1][long], cut[1:][long]
    by_seam = np.argsort(pieces.seam, kind="stable")
    entries, which = g.spread(np.searchsorted(pieces.seam[by_seam], np.arange(count + 1)), seam)
    piece, middle = by_seam[entries], 0.5 * (start + end)[which]
    covers = (pieces.start[piece] < middle) & (pieces.end[piece] > middle)
    piece, which = piece[covers], which[covers]
    first = np.clip(pieces.low[piece, axis], low[seam[which]], high[seam[which]])
    last = np.clip(pieces.high[piece, axis], low[seam[which]], high[seam[which]])
    merged, met = g.merge(which, first, last), len(seam)
    filled = g.total(merged.end - merged.start, merged.group, met)
    begin, finish = g.lowest(first, which, met), g.highest(last, which, met)
    number = g.lowest(pieces.element[piece].astype(float), which, met)
    known = np.flatnonzero(np.isfinite(number))
    seam, start, end, element = seam[known], start[known], end[known], number[known].astype(np.int64)
    least, at_least, piece_least = _least(filled[known], seam, start, end, element, count)
    furthest, at_first, piece_first = _least(-begin[known], seam, start, end, element, count)
    nearest, at_last, piece_last = _least(finish[known], seam, start, end, element, count)
    return Fill(least, -furthest, nearest, at_least, at_first, at_last, piece_least, piece_first, piece_last)


def _least(
    values: Floats, seam: Ints, start: Floats, end: Floats, element: Ints, count: int
) -> tuple[Floats, Floats, Ints]:
    """The least value of each of ``count`` seams (NaN: none), the middle of where along it is, an element there."""
    least = g.lowest(values, seam, count)
    there = np.flatnonzero(values < least[seam] + g.SAME_LENGTH)
    first, last = g.lowest(start[there], seam[there], count), g.highest(end[there], seam[there], count)
    known = np.isfinite(least)
    at, piece = np.full(count, np.nan), np.full(count, -1, np.int64)
    at[known] = 0.5 * (first[known] + last[known])
    piece[seam[there[::-1]]] = element[there[::-1]]
    return np.where(known, least, np.nan), at, piece


def of_lane(pieces: Pieces, lane: int) -> Pieces:
    """The pieces that lie in one lane of their layer."""
    return taken(pieces, pieces.lane == lane)


def place_of(facade: Facade, layer: Layer, kind: type[Seams]) -> Pieces:
    """The place of a layer on each seam, over its whole length: what pieces anywhere on the line take of the section.

    Lines without a piece have none. Whether the layer is there is a question of its own.
    """
    seams, found = facade.seams[kind], pieces_on(facade, layer, kind)
    line = seams.line[found.seam]
    lines = int(seams.line.max(initial=-1)) + 1
    low, high = g.lowest(found.low, line, lines)[seams.line], g.highest(found.high, line, lines)[seams.line]
    on = np.flatnonzero(np.isfinite(low[:, 0]))
    element = np.full(len(seams), -1, np.int64)[on]
    lane, along = np.zeros(len(on), np.int64), np.ones(len(on), bool)
    return Pieces(on, element, seams.start[on], seams.end[on], lane, along, low[on], high[on])


def room_between(facade: Facade, seams: Seams, pieces: Pieces) -> Floats:
    """Clear distance (k,) between the two parts of lying seams in the depth and over the length of each piece.

    Negative where they overlap there; infinite where one of them does not reach there at all.
    """
    meshes, count = facade.model.meshes, len(pieces.seam)
    edges = []
    for part, sign in ((seams.left, 1.0), (seams.right, -1.0)):
        entries, which = g.spread(meshes.triangle_start, part[pieces.seam])
        frame = seams.frame[pieces.seam][which][:, [1, 0, 2]]
        local = np.einsum("tij,tkj->tki", frame, meshes.points[meshes.triangles[entries]])
        low = np.stack([pieces.start, pieces.low[:, 1]], axis=1)[which]
        high = np.stack([pieces.end, pieces.high[:, 1]], axis=1)[which]
        span, met = g.clip_triangles(local, low, high)
        edge = span[met, 1] if sign > 0 else -span[met, 0]
        edges.append(sign * g.highest(edge, which[met], count))
    result: Floats = edges[1] - edges[0]
    return result
