"""The foot of the facade: seams between panels and plinth, its corners, plinth elements and their joints."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import BaseSeams, FootCorners, PlinthJoints, Plinths, Seams, fault_of, unique, with_role
from checker.geometry import Lines
from checker.joints import CORNER_REACH, DEEPEST_OVERLAP, LEAST_SHARED, WIDEST_EDGE
from checker.model import Bools, Floats, Ints
from checker.walls import APART, BEYOND, Walls

BASE_REACH: Final = 0.45
"""A plinth top lies no further below the panel it carries: room for a base rail."""
CORNER_JOINT: Final = 0.06
"""Panels that end this close to a face of the other side's make a corner with them: their foot runs on to it."""
LINE_GAP: Final = 0.30
"""A run along the foot is broken where nothing stands for more than this (a door)."""
CUT: Final = 0.05
"""An opening whose lower edge is no higher above that of a panel cuts its foot."""


def base(walls: Walls, standing: Bools) -> tuple[Seams, Plinths]:
    """Lying seams between lowest panels and plinth, and the plinth elements that carry panels."""
    p = walls.panels
    plinth = with_role(walls.model, ["plinth"])
    side, low, high = walls.at_side(plinth, BEYOND)
    known = side >= 0
    plinth, side, low, high = plinth[known], side[known], low[known], high[known]
    frames = walls.sides.frame[side]
    top = walls.outline(plinth, frames, 1, 1, 0)
    feet = _feet(walls, np.flatnonzero(~standing))
    tree = shapely.STRtree(
        shapely.box(low[:, 0] + APART * side, high[:, 1] - 0.15, high[:, 0] + APART * side, high[:, 1])
    )
    apart = APART * p.side[feet.panel]
    bottom = p.low[feet.panel, 1]
    probe = shapely.box(
        feet.start + apart + LEAST_SHARED, bottom - BASE_REACH, feet.end + apart - LEAST_SHARED, bottom + WIDEST_EDGE
    )
    foot, on = tree.query(probe) if len(plinth) else (np.zeros(0, np.int64),) * 2
    order = np.lexsort((on, foot))
    foot, on = foot[order], on[order]
    start, end = np.maximum(feet.start[foot], low[on, 0]), np.minimum(feet.end[foot], high[on, 0])
    gap = g.gaps(top.take(on), p.bottom.take(feet.panel[foot]), start, end)
    plinths = _plinths(walls, plinth, side, low, high, top, np.unique(on))
    return _base_seams(walls, feet, foot, on, plinth, low, high, start, end, gap), plinths


@dataclass(frozen=True)
class _Feet:
    """Stretches (k,) of the lower edges of panels that stand on no other one, and whether either end is at a door."""

    panel: Ints
    start: Floats
    end: Floats
    starts_at_door: Bools
    ends_at_door: Bools


def _feet(walls: Walls, panel: Ints) -> _Feet:
    """The lower edges of panels, without what doors and openings cut out of them."""
    p = walls.panels
    hole = with_role(walls.model, ["window", "door", "opening"])
    side, low, high = walls.in_side(hole)
    tree = shapely.STRtree(shapely.box(low[:, 0] + APART * side, low[:, 1], high[:, 0] + APART * side, high[:, 1]))

    def cuts(panel: Ints, start: Floats, end: Floats) -> tuple[Ints, Ints]:
        """Pairs of stretches of lower edges and holes that reach down to them."""
        apart, bottom = APART * p.side[panel], p.low[panel, 1]
        k, cut = tree.query(shapely.box(start + apart, bottom - CUT, end + apart, bottom + CUT))
        deep = (side[cut] >= 0) & (low[cut, 1] < bottom[k] + CUT) & (high[cut, 1] > bottom[k] + CUT)
        return k[deep], cut[deep]

    k, cut = cuts(panel, p.low[panel, 0], p.high[panel, 0])
    whole = g.complement(g.merge(k, low[cut, 0], high[cut, 0]), p.low[panel, 0], p.high[panel, 0])
    long = whole.end - whole.start > LEAST_SHARED
    panel, start, end = panel[whole.group[long]], whole.start[long], whole.end[long]
    at_door = [np.isin(np.arange(len(panel)), cuts(panel, at - CUT, at + CUT)[0]) for at in (start, end)]
    return _Feet(panel, start, end, at_door[0], at_door[1])


def _base_seams(
    walls: Walls,
    feet: _Feet,
    on_foot: Ints,
    on: Ints,
    plinth: Ints,
    low: Floats,
    high: Floats,
    start: Floats,
    end: Floats,
    gap: g.Gaps,
) -> Seams:
    """Seams of the feet, of which ``on_foot`` (pairs) stand on plinths ``on`` between ``start`` and ``end``."""
    p = walls.panels
    carried, foot = np.unique(on_foot, return_inverse=True)
    # Panels at the foot of a side without a plinth below still have a foot.
    lowest = np.array([p.low[p.side == s, 1].min() for s in range(len(walls.sides.names))])
    at_foot = p.low[feet.panel, 1] < lowest[p.side[feet.panel]] + 0.3
    at_foot[carried] = False
    bare = np.flatnonzero(at_foot)
    count = len(carried)
    which = np.concatenate([carried, bare])
    everyone = feet.panel[which]
    side = p.side[everyone]
    flat_value, flat_at = gap.flat()
    # Where a panel's end leans outwards its bottom outline runs up that end.
    flat_value = np.where(flat_value > BASE_REACH, np.nan, flat_value)
    first, last = feet.start[which], feet.end[which]
    left = np.full(len(everyone), -1, np.int64)
    across = p.low[everyone, 1].copy()
    width_min, width_max = np.full(len(everyone), np.nan), np.full(len(everyone), np.nan)
    at_min, at_max = 0.5 * (first + last), 0.5 * (first + last)
    back, front = np.full(len(everyone), np.nan), np.full(len(everyone), np.nan)
    if count:
        # A panel that reaches a little beyond the plinth ends there; where half the plinth is missing it does not.
        begin, finish = g.lowest(low[on, 0], foot, count), g.highest(high[on, 0], foot, count)
        first[:count] = np.where(begin - first[:count] < LINE_GAP, np.maximum(first[:count], begin), first[:count])
        last[:count] = np.where(last[:count] - finish < LINE_GAP, np.minimum(last[:count], finish), last[:count])
        back[:count] = g.lowest(low[on, 2], foot, count)
        front[:count] = g.highest(high[on, 2], foot, count)
        for values, best, at, sign in ((flat_value, width_min, at_min, 1), (flat_value, width_max, at_max, -1)):
            pick = np.where(np.isnan(values), np.inf, sign * values).argmin(axis=1)
            worst = values[np.arange(len(foot)), pick]
            order = np.lexsort((sign * worst, foot))
            lead = order[np.append(True, np.diff(foot[order]) > 0)]
            best[:count], at[:count] = worst[lead], flat_at[np.arange(len(foot)), pick][lead]
        order = np.lexsort((start - end, foot))
        lead = order[np.append(True, np.diff(foot[order]) > 0)]
        left[:count] = plinth[on[lead]]
        across[:count] = high[on[lead], 1]
    free = ~feet.starts_at_door[which], ~feet.ends_at_door[which]
    line, first, last = _foot_lines(walls, side, first, last, p.low[everyone, 2], *free)
    return walls.make(
        BaseSeams,
        len(everyone),
        side=side,
        row=np.zeros(len(everyone), np.int64),
        frame=walls.sides.frame[side],
        start=first,
        end=last,
        line=line,
        left=left,
        right=p.element[everyone],
        near=across,
        far=p.low[everyone, 1],
        inner=p.low[everyone, 2],
        outer=p.high[everyone, 2],
        back=back,
        front=front,
        width_min=width_min,
        width_max=width_max,
        at_width_min=at_min,
        at_width_max=at_max,
    )


def _foot_lines(
    walls: Walls, side: Ints, first: Floats, last: Floats, inner: Floats, free_first: Bools, free_last: Bools
) -> tuple[Ints, Floats, Floats]:
    """Runs along the foot, and their free ends brought to the inner corner where another side's run meets them."""
    line = np.zeros(len(side), np.int64)
    order = np.lexsort((first, side))
    if len(order):
        furthest = g.running_highest(side[order], last[order])
        fresh = (np.diff(side[order]) > 0) | (first[order][1:] - furthest[:-1] > LINE_GAP)
        line[order] = np.concatenate([[0], np.cumsum(fresh)])
    first, last = first.copy(), last.copy()
    count = int(line.max()) + 1 if len(line) else 0
    begin, finish = g.lowest(first, line, count), g.highest(last, line, count)
    of_side = np.zeros(count, np.int64)
    of_side[line] = side
    face = g.lowest(inner, line, count)
    ends = {}
    for k in range(count):
        frame = walls.sides.frame[of_side[k]]
        mine = np.flatnonzero(line == k)
        head, tail = mine[first[mine].argmin()], mine[last[mine].argmax()]
        for at, place, free in ((head, begin[k], free_first[head]), (tail, finish[k], free_last[tail])):
            if free:
                ends[k, at, place == begin[k]] = place * frame[0] + face[k] * frame[2]
    for (k, at, is_first), point in ends.items():
        frame = walls.sides.frame[of_side[k]]
        place = begin[k] if is_first else finish[k]
        nearest, corner = 2 * CORNER_REACH, place
        for (other, _, _), meets in ends.items():
            out = walls.sides.frame[of_side[other], 2]
            turn = float(frame[0] @ out)
            distance = float(np.linalg.norm((meets - point)[:2]))
            if other == k or abs(turn) < 0.2 or distance > nearest:
                continue
            faces = np.array([face[other], walls.sides.outer[of_side[other]]])
            cross = (faces - face[k] * float(frame[2] @ out)) / turn
            # A corner lies beyond the middle of the run.
            beyond = 2 * cross[0] < begin[k] + finish[k] if is_first else 2 * cross[0] > begin[k] + finish[k]
            if not beyond or abs(cross[0] - place) > 2 * CORNER_REACH:
                continue
            # Where panels end far from the other side's, other parts fill the corner: a question of its own.
            short = (place - cross) if is_first else (cross - place)
            if short[0] < 0 or np.abs(short).min() < CORNER_JOINT:
                nearest, corner = distance, float(cross[0])
        (first if is_first else last)[at] = corner
    return line, first, last


def corners_of_foot(walls: Walls, foot: Seams, corners: Seams) -> FootCorners:
    """Where the feet of two sides meet: the lowest panels of a corner that both have a base seam."""
    found: dict[int, tuple[int, int]] = {}
    for i in np.lexsort((corners.start, corners.line)).tolist():
        ends, starts = (np.flatnonzero(foot.right == part[i]) for part in (corners.left, corners.right))
        if int(corners.line[i]) not in found and len(ends) and len(starts):
            found[int(corners.line[i])] = int(ends[foot.end[ends].argmax()]), int(starts[foot.start[starts].argmin()])
    before, after = np.array(list(found.values()), np.int64).reshape(-1, 2).T
    side = foot.side[before]
    axis = tuple(walls.axis_at(s, u) for s, u in zip(side.tolist(), foot.end[before].tolist(), strict=True))
    parts = np.stack([foot.right[before], foot.right[after]], axis=1)
    return FootCorners(
        kind=("corner",) * len(before),
        ids=unique(
            ["/".join(filter(None, ("foot-corner", walls.sides.names[s], a))) for s, a in zip(side, axis, strict=True)]
        ),
        side=side,
        axis=axis,
        row=np.zeros(len(before), np.int64),
        length=np.zeros(len(before)),
        parts=parts,
        point=foot.take(before).world(foot.end[before], foot.far[before], foot.outer[before]),
        fault=tuple(fault_of(walls.model, pair) for pair in parts),
        before=before,
        after=after,
        outer=np.einsum("cj,cj->c", foot.frame[before, 0], foot.frame[after, 2]) > 0,
    )


def _plinths(walls: Walls, plinth: Ints, side: Ints, low: Floats, high: Floats, top: Lines, used: Ints) -> Plinths:
    """Plinth elements that carry panels, each with the level of its side: the median top, weighed by length."""
    element, side, low, high, top = plinth[used], side[used], low[used], high[used], top.take(used)
    rows = np.arange(len(used))
    pick_low, pick_high = top.value.argmin(axis=1), top.value.argmax(axis=1)
    lowest, highest = top.value[rows, pick_low], top.value[rows, pick_high]
    level_top = highest - lowest < g.SAME_LENGTH
    level = np.zeros(len(used))
    for s in np.unique(side):
        mine = np.flatnonzero(side == s)
        level[mine] = _weighted_median(0.5 * (lowest + highest)[mine], (high - low)[mine, 0])
    frame = walls.sides.frame[side]

    def places(pick: Ints) -> Floats:
        along = np.where(level_top, 0.5 * (low[:, 0] + high[:, 0]), top.at[rows, pick])
        return g.world(frame, np.stack([along, top.value[rows, pick], 0.5 * (low[:, 2] + high[:, 2])], axis=1))

    along = 0.5 * (low[:, 0] + high[:, 0])
    axis = tuple(walls.axis_at(int(s), float(u)) for s, u in zip(side, along, strict=True))
    at_lowest, at_highest = places(pick_low), places(pick_high)
    return Plinths(
        kind=("base",) * len(used),
        ids=unique(
            ["/".join(filter(None, ("plinth", walls.sides.names[s], a))) for s, a in zip(side, axis, strict=True)]
        ),
        side=side,
        axis=axis,
        row=np.zeros(len(used), np.int64),
        length=high[:, 0] - low[:, 0],
        parts=element[:, None],
        point=0.5 * (at_lowest + at_highest),
        fault=tuple(fault_of(walls.model, np.array([e])) for e in element),
        element=element,
        low=low,
        high=high,
        top=top,
        lowest=lowest,
        highest=highest,
        level=level,
        at_lowest=at_lowest,
        at_highest=at_highest,
    )


def plinth_joints(walls: Walls, plinths: Plinths) -> Seams:
    """Upright joints between plinth elements that follow each other along a side, and the columns behind them."""
    order = np.lexsort((plinths.low[:, 0], plinths.side))
    left, right = order[:-1], order[1:]
    gap = plinths.low[right, 0] - plinths.high[left, 0]
    keep = (plinths.side[left] == plinths.side[right]) & (gap < LINE_GAP) & (gap > -DEEPEST_OVERLAP)
    left, right, gap = left[keep], right[keep], gap[keep]
    side = plinths.side[left]
    top_left = g.sample(plinths.top.take(left), plinths.high[left, :1], -1)[:, 0]
    top_right = g.sample(plinths.top.take(right), plinths.low[right, :1], 1)[:, 0]
    near, far = plinths.high[left, 0], plinths.low[right, 0]
    end = np.maximum(top_left, top_right)
    start = np.minimum(np.maximum(plinths.low[left, 1], plinths.low[right, 1]), end)
    # The column behind the joint, where it stands behind the plinth and not upon it.
    column = walls.column_at(side, 0.5 * (near + far), end)
    stands = np.flatnonzero(column >= 0)
    column[stands[walls.columns.low[column[stands]] > end[stands] - LEAST_SHARED]] = -1
    known = np.flatnonzero(column >= 0)
    start[known] = np.minimum(np.maximum(start[known], walls.columns.low[column[known]]), end[known])
    front = np.full(len(left), np.nan)
    front[known] = walls.columns.front_at(column[known], 0.5 * (start + end)[known])
    joints = walls.make(
        PlinthJoints,
        len(left),
        side=side,
        frame=walls.sides.frame[side][:, [1, 0, 2]],
        start=start,
        end=end,
        line=np.arange(len(left)),
        left=plinths.element[left],
        right=plinths.element[right],
        column=walls.column_elements(column),
        near=near,
        far=far,
        inner=0.5 * (plinths.low[left, 2] + plinths.low[right, 2]),
        outer=0.5 * (plinths.high[left, 2] + plinths.high[right, 2]),
        front=front,
        width_min=gap,
        width_max=gap,
        at_width_min=end,
        at_width_max=end,
        step=top_right - top_left,
        level_left=top_left - plinths.level[left],
        level_right=top_right - plinths.level[right],
    )
    # Plinth elements are measured against each other, whatever is wrong with the column behind them.
    both = joints.parts[:, :2]
    return replace(joints, parts=both, fault=tuple(fault_of(walls.model, pair) for pair in both))


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1] * (1 + 1e-9))])
