"""The upper end of the facade: seams between the uppermost panels and the roof, along eaves and up gables."""

from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import RoofEdgeSeams, Seams, with_role
from checker.foot import LINE_GAP
from checker.joints import LEAST_SHARED, WIDEST_EDGE
from checker.model import Floats, Ints
from checker.walls import APART, ONE_PLACE, Walls, cluster

STEEPEST: Final = 1.2
"""An upper edge rises by no more than this per metre (50 degrees); what is steeper is the end of a panel."""
SAME_SLOPE: Final = 0.01
"""Upper edges whose rises per metre differ by less run in one direction."""
ROOF_REACH: Final = 1.0
"""The roof that meets an upper edge is no further from its middle."""


def roof_edges(walls: Walls) -> Seams:
    """Lying seams along the upper edges of panels above which the side has neither panel nor window."""
    panel, start, end, low, high = _upper_edges(walls)
    side = walls.panels.side[panel]
    rise = (high - low) / (end - start)
    start, end, low, high = _to_bends(side, start, end, low, rise)
    middle, height = 0.5 * (start + end), 0.5 * (low + high)
    line = np.zeros(len(panel), np.int64)
    frame = np.zeros((len(panel), 3, 3))
    count = 0
    # Seams of one line share one frame: that of the longest of them.
    for s in np.unique(side):
        here = np.flatnonzero(side == s)
        slope = cluster(rise[here], SAME_SLOPE)
        for k in range(int(slope.max()) + 1):
            mine = here[slope == k]
            longest = mine[(end - start)[mine].argmax()]
            own = walls.sides.frame[s]
            along = g.unit(own[0] + rise[longest] * own[1])
            frame[mine] = np.stack([along, np.cross(own[2], along), own[2]])
            one = cluster(_in_seam(walls, panel[mine], frame[mine, 1], middle[mine], height[mine]), ONE_PLACE)
            order = mine[np.lexsort((start[mine], one))]
            one = np.sort(one)
            furthest = g.running_highest(one, end[order])
            fresh = (np.diff(one) > 0) | (start[order][1:] - furthest[:-1] > LINE_GAP)
            line[order] = count + np.concatenate([[0], np.cumsum(fresh)])
            count = int(line[order].max()) + 1
    first = _in_seam(walls, panel, frame[:, 0], start, low)
    last = _in_seam(walls, panel, frame[:, 0], end, high)
    edge = _in_seam(walls, panel, frame[:, 1], middle, height)
    p = walls.panels
    return walls.make(
        RoofEdgeSeams,
        len(panel),
        side=side,
        row=p.row[panel],
        frame=frame,
        start=first,
        end=last,
        line=line,
        left=p.element[panel],
        right=_roof_at(walls, panel, middle, height),
        near=edge,
        far=edge,
        inner=p.low[panel, 2],
        outer=p.high[panel, 2],
    )


def _to_bends(
    side: Ints, start: Floats, end: Floats, low: Floats, rise: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Straight stretches (k,) with ends brought to the bend where the next one rises otherwise, as at a ridge.

    Between the panels on both sides of it there is a seam, over which the edge runs on.
    """
    start, end, base = start.copy(), end.copy(), low - rise * start
    order = np.lexsort((start, side))
    for i, k in zip(order[:-1].tolist(), order[1:].tolist(), strict=True):
        turn = float(rise[i] - rise[k])
        if side[i] != side[k] or start[k] - end[i] > LINE_GAP or abs(turn) < SAME_SLOPE:
            continue
        bend = float(base[k] - base[i]) / turn
        if end[i] - ONE_PLACE < bend < start[k] + ONE_PLACE:
            end[i] = start[k] = bend
    return start, end, base + rise * start, base + rise * end


def _in_seam(walls: Walls, panel: Ints, direction: Floats, place: Floats, height: Floats) -> Floats:
    """Coordinate (n,) along directions (n, 3) in the facade's plane, of places given in the side's frame."""
    own = walls.sides.frame[walls.panels.side[panel]]
    turned = np.einsum("nij,nj->ni", own[:, :2], direction)
    result: Floats = place * turned[:, 0] + height * turned[:, 1]
    return result


def _upper_edges(walls: Walls) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Straight stretches (k,) of panels' upper edges with nothing above: panel, start, end, heights at both."""
    p = walls.panels
    if len(p.element) == 0:
        nothing = np.zeros(0)
        return np.zeros(0, np.int64), nothing, nothing, nothing, nothing
    at, value = p.top.at, p.top.value
    run, climb = np.diff(at, axis=1), np.diff(value, axis=1)
    panel, k = np.nonzero((run > LEAST_SHARED) & (np.abs(climb) <= STEEPEST * run))
    start, low, slope = at[panel, k], value[panel, k], climb[panel, k] / run[panel, k]
    end = at[panel, k + 1]

    hole = with_role(walls.model, ["window", "door"])
    hole_side, hole_low, hole_high = walls.in_side(hole)
    known = hole_side >= 0
    over_side = np.concatenate([p.side, hole_side[known]])
    over_low, over_high = (np.concatenate([a, b[known]]) for a, b in ((p.low, hole_low), (p.high, hole_high)))
    apart = APART * over_side
    tree = shapely.STRtree(
        shapely.box(over_low[:, 0] + apart, over_low[:, 1], over_high[:, 0] + apart, over_high[:, 1])
    )
    shift = APART * p.side[panel]
    bottom, top = np.minimum(low, low + slope * (end - start)), np.maximum(low, low + slope * (end - start))
    i, j = tree.query(shapely.box(start + shift, bottom, end + shift, np.maximum(top, over_high[:, 1].max())))
    first, last = np.maximum(start[i], over_low[j, 0]), np.minimum(end[i], over_high[j, 0])
    middle = 0.5 * (first + last)
    height = low[i] + slope[i] * (middle - start[i])
    above = over_high[j, 1].copy()
    of_panel = j < len(p.element)
    above[of_panel] = g.sample(p.top.take(j[of_panel]), middle[of_panel, None], 1)[:, 0]
    covers = (panel[i] != j) & (last - first > g.SAME_LENGTH) & (above > height + WIDEST_EDGE)
    i, first, last = i[covers], first[covers], last[covers]
    # Between two panels above lies their seam, which the next panel's edge does not end at.
    free = g.complement(g.merge(i, first, last, bridge=2 * ONE_PLACE), start, end)
    long = free.end - free.start > 2 * ONE_PLACE
    which, begin, finish = free.group[long], free.start[long], free.end[long]
    heights = [low[which] + slope[which] * (place - start[which]) for place in (begin, finish)]
    return panel[which], begin, finish, heights[0], heights[1]


def _roof_at(walls: Walls, panel: Ints, place: Floats, height: Floats) -> Ints:
    """The roof nearest to places on the inner faces of panels (n,), element numbers, -1 for none within reach."""
    p, result = walls.panels, np.full(len(panel), -1, np.int64)
    roof = with_role(walls.model, ["roof", "membrane"])
    if len(roof) == 0 or len(panel) == 0:
        return result
    spot = g.world(walls.sides.frame[p.side[panel]], np.stack([place, height, p.low[panel, 2]], axis=1))
    low, high = walls.boxes.low[roof], walls.boxes.high[roof]
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    i, k = tree.query(shapely.points(spot[:, :2]), predicate="dwithin", distance=ROOF_REACH)
    off = np.linalg.norm(np.maximum(np.maximum(low[k] - spot[i], spot[i] - high[k]), 0.0), axis=1)
    proper = np.array([walls.model.roles[e].role != "roof" for e in roof[k]], bool)  # the roof itself comes first
    order = np.lexsort((k, off.round(6), proper, i))
    order = order[off[order] <= ROOF_REACH]
    lead = order[np.append(True, np.diff(i[order]) > 0)] if len(order) else order
    result[i[lead]] = roof[k[lead]]
    return result
