"""Base rails: where they pass columns, where they follow each other, where they let water out."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import BaseRails, FootCorners, RailJoints, RailSupports, Seams, fault_of, unique, with_role
from checker.geometry import Lines
from checker.joints import CORNER_REACH, WIDEST_SEAM
from checker.model import Floats, Ints, Meshes
from checker.plan import GRID, SLIVER, clearance
from checker.walls import APART, BEYOND, Walls, cluster

SAME_EDGE: Final = 1e-3
"""A rail that overlaps a column along the side by less than this stands beside it."""
MEETS: Final = 0.10
"""A base rail that ends no further beside a column meets it."""
SAME_RUN: Final = 0.25
"""Rails follow each other when their sections share more than this part of the smaller one, up and outwards."""
FOLLOWS: Final = 0.30
"""Rails no further apart than this follow each other; further apart they do where the foot runs on between them."""
STRAIGHT: Final = 0.99
"""A rail is moved along its own side to mend a joint that opens in this direction (cosine)."""
LEAST_HOLE: Final = 1e-5
"""A weep hole is no smaller than this, in square metres (3.6 mm across)."""
LARGEST_HOLE: Final = 2.5e-3
"""A weep hole is no larger than this, in square metres (50 mm square)."""
FEWEST_TRIANGLES: Final = 7
"""A face with a hole in it takes at least this many triangles."""
LEVEL: Final = 0.985
"""A face looks down, or outwards, when the cosine between its normal and that direction is above this."""


@dataclass(frozen=True)
class Rails:
    """Base rails along sides: ``element`` number, ``side``, ``low``, ``high`` (r, 3) in the side's frame."""

    element: Ints
    side: Ints
    low: Floats
    high: Floats


def rails_of(walls: Walls) -> Rails:
    """The base rails that run along a side."""
    rail = with_role(walls.model, ["base-rail"])
    side, low, high = walls.at_side(rail, BEYOND)
    known = side >= 0
    return Rails(rail[known], side[known], low[known], high[known])


def supports(walls: Walls, rails: Rails) -> RailSupports:
    """Every place where a base rail passes or meets a column, with the clear distance between them."""
    rail, side, low, high = rails.element, rails.side, rails.low, rails.high
    back = walls.outline(rail, walls.sides.frame[side], 2, -1, 0)
    c = walls.columns
    middle = 0.5 * (low[:, 1] + high[:, 1])
    reach = WIDEST_SEAM
    z_middle = 0.5 * (c.low + c.high)
    place = c.centre[:, 0] + c.centre[:, 1] * z_middle
    tree = shapely.STRtree(
        shapely.box(place - c.half - reach + APART * c.side, c.low, place + c.half + reach + APART * c.side, c.high)
    )
    probe = shapely.box(low[:, 0] + APART * side, middle, high[:, 0] + APART * side, middle)
    r, k = tree.query(probe) if len(rail) and len(c.element) else (np.zeros(0, np.int64),) * 2
    order = np.lexsort((k, r))
    r, k = r[order], k[order]
    frame = walls.sides.frame[side[r]]
    z = middle[r] * frame[:, 1, 2] + low[r, 2] * frame[:, 2, 2]
    centre, front = c.centre_at(k, z), c.front_at(k, z)
    start, end = np.maximum(low[r, 0], centre - c.half[k]), np.minimum(high[r, 0], centre + c.half[k])
    # A rail beside a column may cut into its side, less far than it lies behind its face.
    beside = end - start < np.maximum(SAME_EDGE, front - low[r, 2])
    behind = low[r, 2] > front - 1e-3
    # Passing in front: distance outwards over the shared width. Meeting from the side: distance along the facade.
    ahead = g.extremes(
        Lines(np.stack([start, start], 1), np.stack([front, front], 1)), back.take(r), start, np.maximum(start, end)
    )
    sideways = np.where(low[r, 0] > centre, low[r, 0] - centre - c.half[k], centre - c.half[k] - high[r, 0])
    keep = np.where(beside, ~behind & (sideways < MEETS), ahead.smallest < reach)
    smallest = np.where(beside, sideways, ahead.smallest)
    largest = np.where(beside, sideways, ahead.largest)
    right_of = low[r, 0] > centre
    edge = np.where(right_of, low[r, 0], high[r, 0])

    def places(at: Floats) -> Floats:
        along = np.where(beside, edge, at)
        return g.world(frame, np.stack([along, middle[r], low[r, 2]], axis=1))

    towards = np.where(beside[:, None], frame[:, 0] * np.where(right_of, 1.0, -1.0)[:, None], frame[:, 2])
    take = np.flatnonzero(keep)
    axis = tuple(walls.axis_at(int(side[r[i]]), float(centre[i])) for i in take)
    names = [walls.sides.names[side[r[i]]] for i in take]
    return RailSupports(
        kind=("base",) * len(take),
        ids=unique(["/".join(filter(None, ("rail", n, a))) for n, a in zip(names, axis, strict=True)]),
        side=side[r[take]],
        axis=axis,
        row=np.zeros(len(take), np.int64),
        length=np.maximum(end - start, 0.0)[take],
        parts=np.stack([rail[r], c.element[k]], axis=1)[take] if len(take) else np.zeros((0, 2), np.int64),
        point=places(ahead.at_min)[take],
        fault=tuple(fault_of(walls.model, np.array([rail[r[i]], c.element[k[i]]])) for i in take),
        rail=rail[r[take]],
        column=c.element[k[take]] if len(take) else np.zeros(0, np.int64),
        smallest=smallest[take],
        largest=largest[take],
        at_smallest=places(ahead.at_min)[take],
        at_largest=places(ahead.at_max)[take],
        towards=towards[take],
        beside=beside[take],
    )


def joints(walls: Walls, rails: Rails, held: RailSupports, foot: Seams, corners: FootCorners) -> RailJoints:
    """Places where base rails follow each other along a side, and where those of two sides meet at a corner.

    Rails that both end beside one column (``held``) do not follow each other: the column stands between them.
    """
    columns: dict[int, set[int]] = {}
    for rail, column in zip(held.rail[held.beside].tolist(), held.column[held.beside].tolist(), strict=True):
        columns.setdefault(rail, set()).add(column)
    apart = [
        pair
        for pair in (*_following(rails, foot), *_round_corners(walls, rails, foot, corners))
        if not columns.get(int(rails.element[pair.first]), set()) & columns.get(int(rails.element[pair.second]), set())
    ]
    one, two = (np.array([getattr(pair, name) for pair in apart], np.int64) for name in ("first", "second"))
    frame = walls.sides.frame
    gap = np.array([pair.gap for pair in apart])
    point, opens_one, opens_two = np.zeros((len(apart), 3)), np.full(len(apart), -1.0), np.full(len(apart), 1.0)
    way = frame[rails.side[one], 0]
    for i, pair in enumerate(apart):
        if pair.way is None:
            both = [pair.first, pair.second]
            middle = 0.5 * (rails.low[both].max(axis=0) + rails.high[both].min(axis=0))
            along = rails.low[pair.second, 0] - 0.5 * pair.gap
            point[i] = np.array([along, *middle[1:]]) @ frame[rails.side[pair.first]]
        else:
            point[i], way[i] = pair.point, pair.way
            turns = -pair.way @ frame[rails.side[pair.first], 0], pair.way @ frame[rails.side[pair.second], 0]
            opens_one[i], opens_two[i] = (np.sign(turn) if abs(turn) > STRAIGHT else 0.0 for turn in turns)
    side = rails.side[two]
    axis = tuple(
        walls.axis_at(int(s), float(place @ frame[s, 0])) for s, place in zip(side.tolist(), point, strict=True)
    )
    parts = np.stack([rails.element[one], rails.element[two]], axis=1).reshape(-1, 2)
    return RailJoints(
        kind=("base",) * len(apart),
        ids=unique(
            ["/".join(filter(None, ("rail-joint", walls.sides.names[s], a))) for s, a in zip(side, axis, strict=True)]
        ),
        side=side,
        axis=axis,
        row=np.zeros(len(apart), np.int64),
        length=np.abs(gap),
        parts=parts,
        point=point,
        fault=tuple(fault_of(walls.model, pair) for pair in parts),
        first=rails.element[one],
        second=rails.element[two],
        gap=gap,
        way=way,
        opens_first=opens_one,
        opens_second=opens_two,
        right_first=frame[rails.side[one], 0],
        right_second=frame[rails.side[two], 0],
    )


@dataclass(frozen=True)
class _Pair:
    """Two rails by their positions, how far they are apart; at a corner also in which direction and where."""

    first: int
    second: int
    gap: float
    way: Floats | None = None
    point: Floats | None = None


def _following(rails: Rails, foot: Seams) -> Iterator[_Pair]:
    """Rails that follow each other along a side: the next one whose section shares enough of the last one's."""
    size = rails.high - rails.low
    begin, finish = _runs(foot)
    leaders: dict[int, list[int]] = {}
    for i in np.lexsort((rails.high[:, 0], rails.low[:, 0], rails.side)).tolist():
        side = int(rails.side[i])
        open_runs = leaders.setdefault(side, [])
        before = [
            k
            for k in open_runs
            if (
                np.minimum(rails.high[k], rails.high[i])[1:] - np.maximum(rails.low[k], rails.low[i])[1:]
                > SAME_RUN * np.minimum(size[k], size[i])[1:]
            ).all()
        ]
        if before:
            last = max(before, key=lambda k: float(rails.high[k, 0]))
            end, start = float(min(rails.high[last, 0], rails.high[i, 0])), float(rails.low[i, 0])
            runs_on = (foot.side == side) & (begin <= end) & (finish >= start)
            if start - end < FOLLOWS or bool(runs_on.any()):
                yield _Pair(last, i, start - end)
            if rails.high[i, 0] <= rails.high[last, 0]:
                continue
            open_runs.remove(last)
        open_runs.append(i)


def _runs(foot: Seams) -> tuple[Floats, Floats]:
    """For each base seam where its run along the foot begins and ends."""
    count = int(foot.line.max(initial=-1)) + 1
    return g.lowest(foot.start, foot.line, count)[foot.line], g.highest(foot.end, foot.line, count)[foot.line]


def _round_corners(walls: Walls, rails: Rails, foot: Seams, corners: FootCorners) -> Iterator[_Pair]:
    """Rails of two sides that come near to each other where their feet meet."""
    for before, after in zip(corners.before.tolist(), corners.after.tolist(), strict=True):
        ends, starts = float(foot.end[before]), float(foot.start[after])
        one = np.flatnonzero((rails.side == foot.side[before]) & (np.abs(rails.high[:, 0] - ends) < CORNER_REACH))
        two = np.flatnonzero((rails.side == foot.side[after]) & (np.abs(rails.low[:, 0] - starts) < CORNER_REACH))
        met: list[_Pair] = []
        for i, k in product(one.tolist(), two.tolist()):
            found = clearance(walls.meshes, int(rails.element[i]), int(rails.element[k]))
            if found is not None and found.value < CORNER_REACH:
                met.append(_Pair(i, k, found.value, found.way, found.point))
        for pair in met:
            # Where rails lie side by side each meets the nearest one of the other side.
            nearest = any(
                pair.gap <= min(other.gap for other in met if getattr(other, end) == getattr(pair, end))
                for end in ("first", "second")
            )
            if nearest or pair.gap < 0:
                yield pair


def base_rails(walls: Walls, rails: Rails) -> BaseRails:
    """Every base rail, with the place of its outermost weep hole."""
    middle = 0.5 * (rails.low + rails.high)
    frame = walls.sides.frame[rails.side]
    hole = _weep_holes(walls.meshes, rails.element, frame, middle)
    axis = tuple(walls.axis_at(s, u) for s, u in zip(rails.side.tolist(), middle[:, 0].tolist(), strict=True))
    return BaseRails(
        kind=("base",) * len(rails.element),
        ids=unique(
            ["/".join(filter(None, ("rail", walls.sides.names[s], a))) for s, a in zip(rails.side, axis, strict=True)]
        ),
        side=rails.side,
        axis=axis,
        row=np.zeros(len(rails.element), np.int64),
        length=rails.high[:, 0] - rails.low[:, 0],
        parts=rails.element[:, None],
        point=g.world(frame, middle + np.nan_to_num(hole)),
        fault=tuple(fault_of(walls.model, np.array([e])) for e in rails.element),
        element=rails.element,
        weep=hole[:, 2],
    )


def _weep_holes(meshes: Meshes, rail: Ints, frame: Floats, middle: Floats) -> Floats:
    """Where the outermost weep hole of each rail lies (r, 3), from its middle in its side's frame; NaN for none.

    Water leaves through the lower half: through holes in faces that look down, or in outer faces that look outwards.
    Holes in faces that look inwards are for bolts.
    """
    result = np.full((len(rail), 3), np.nan)
    entries, group = g.spread(meshes.triangle_start, rail)
    corners = meshes.points[meshes.triangles[entries]]
    local = np.einsum("tij,tkj->tki", frame[group], corners) - middle[group][:, None, :]
    normal = g.unit(np.cross(local[:, 1] - local[:, 0], local[:, 2] - local[:, 0]))
    for facing, axis, sign in ((normal[:, 1] < -LEVEL, 1, -1), (normal[:, 2] > LEVEL, 2, 1)):
        off = sign * local[:, :, axis].mean(axis=1)
        facing &= off > 0
        for i in np.flatnonzero(np.bincount(group[facing], minlength=len(rail)) >= FEWEST_TRIANGLES).tolist():
            mine = np.flatnonzero(facing & (group == i))
            plane = cluster(off[mine], 10 * g.SAME_LENGTH)
            for k in range(int(plane.max()) + 1):
                face = mine[plane == k]
                for along, across in _holes(local[face][:, :, [0, 3 - axis]]):
                    level = sign * float(off[face].mean())
                    place = (along, level, across) if axis == 1 else (along, across, level)
                    if place[1] < 0 and not place[2] <= result[i, 2]:
                        result[i] = place
    return result


def _holes(triangles: Floats) -> list[tuple[float, float]]:
    """Middles of the holes, of the size of weep holes, in a plane face given by its triangles (t, 3, 2)."""
    shapes = shapely.polygons(triangles)
    whole = shapely.union_all(shapes[shapely.area(shapes) > SLIVER], grid_size=GRID)
    holes = [shapely.Polygon(ring) for part in shapely.get_parts(whole) for ring in shapely.get_rings(part)[1:]]
    fitting = [hole for hole in holes if LEAST_HOLE <= shapely.area(hole) <= LARGEST_HOLE]
    return [(x, y) for x, y in shapely.get_coordinates(shapely.centroid(fitting)).tolist()]
