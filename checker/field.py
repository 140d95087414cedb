"""The field of panels of each side, bay by bay: what panels should cover, and the holes they leave."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import Bays, PanelEdgeSeams, PanelEndSeams, Panels, fault_of, unique, with_role
from checker.joints import LEAST_SHARED
from checker.model import Bools, Floats, Ints
from checker.walls import BEYOND, Walls

NARROWEST_HOLE: Final = 0.03
"""What is open no wider than this between panels is a joint, not a hole (metres)."""
MISSING: Final = 0.35
"""Panels that end by more than this below the roof edge, or above the foot, leave a hole there; less is a border."""
ROUND_FRAMES: Final = 0.10
"""The gap round the frame of a window or door is a question of its own: no hole as far as this from it."""
OUTER_SHEET: Final = 0.02
"""Faces no deeper than this below a panel's outermost point show its outline."""
INSIDE: Final = 0.05
"""The outline of a panel is asked so far inside its ends."""
MOST_BESIDE: Final = 6
"""So many panels round a hole are named."""
AT_CORNER: Final = 1.0
"""A column no further from the end of a run of panels than this stands at it."""


@dataclass(frozen=True)
class _Bay:
    """One bay of a side between its ``ends`` (2,), filled from its ``foot`` up.

    ``roof`` (2,) are the heights it should reach at its ends where its panels do not, else NaN. ``panels`` are
    positions in the panels, ``columns`` (2,) element numbers at the ends, -1 for none.
    """

    side: int
    ends: Floats
    foot: float
    roof: Floats
    panels: Ints
    columns: Ints


def bays(walls: Walls, ends: PanelEndSeams, edges: PanelEdgeSeams) -> Bays:
    """Every bay of every side with the holes in its field of panels.

    A bay reaches from column to column, or to where a run of panels ends. Its foot is that of its own panels, or what
    its plinth and the bays beside it tell where a row is missing; its roof edge likewise, with the columns' height.
    Seams between panels, windows, doors, openings and whatever else stands in the plane of the panels are no holes.
    """
    outlines = _outlines(walls)
    filled = _filled(walls, ends, edges)
    found = [bay for side in range(len(walls.sides.names)) for bay in _bays_of(walls, side)]
    trees = {}
    for side in {bay.side for bay in found}:
        shapes = np.concatenate([outlines[walls.panels.side == side], filled[side]])
        trees[side] = shapely.STRtree(shapes), shapes
    fields = [_field(walls, bay) for bay in found]
    holes = [_holes(field, *trees[bay.side]) for bay, field in zip(found, fields, strict=True)]
    return _records(walls, found, fields, holes)


def _outlines(walls: Walls) -> Any:
    """What is seen of each panel in the plane of its side, as shapely polygons (p,)."""
    p, meshes = walls.panels, walls.meshes
    count = len(p.element)
    entries, panel = g.spread(meshes.triangle_start, p.element)
    local = np.einsum("tij,tkj->tki", walls.sides.frame[p.side][panel], meshes.points[meshes.triangles[entries]])
    one, two = local[:, 1] - local[:, 0], local[:, 2] - local[:, 0]
    twice = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    outer = (twice > 0) & (local[:, :, 2].max(axis=1) > p.high[panel, 2] - OUTER_SHEET)
    seen, owner = local[outer][:, :, :2], panel[outer]
    area = g.total(0.5 * twice[outer], owner, count)
    low, high = g.lowest(seen.min(axis=1), owner, count), g.highest(seen.max(axis=1), owner, count)
    known = np.isfinite(low[:, 0])
    extent = np.prod(np.where(known[:, None], high, 0.0) - np.where(known[:, None], low, 0.0), axis=1)
    result = shapely.box(p.low[:, 0], p.low[:, 1], p.high[:, 0], p.high[:, 1])
    order = np.argsort(owner, kind="stable")
    bounds = np.searchsorted(owner[order], np.arange(count + 1))
    # Most panels are rectangles; only of the others the faces must be put together.
    for i in np.flatnonzero(known & (np.abs(area - extent) > 1e-3 * extent)).tolist():
        result[i] = shapely.union_all(shapely.polygons(seen[order[bounds[i] : bounds[i + 1]]]), grid_size=1e-6)
    return result


def _filled(walls: Walls, ends: PanelEndSeams, edges: PanelEdgeSeams) -> dict[int, Any]:
    """What else than panels leaves no hole, as polygons per side: seams, openings, other parts in the same plane."""
    near, far = np.minimum(ends.near_least, ends.far_most), np.maximum(ends.near_least, ends.far_most)
    upright = shapely.box(near, ends.start, far, ends.end)
    below, above = np.minimum(edges.near, edges.far), np.maximum(edges.near, edges.far)
    lying = shapely.box(edges.start, below - edges.tongue, edges.end, above + edges.tongue)
    roles = ("window", "door", "opening", "roof", "eave-profile", "")
    element = with_role(walls.model, roles)
    side, low, high = walls.in_side(element)
    known = side >= 0
    element, side, low, high = element[known], side[known], low[known], high[known]
    inner, outer = walls.sides.inner, walls.sides.outer
    grow = np.array([ROUND_FRAMES if walls.model.roles[e].role in ("window", "door") else 0.0 for e in element])
    inside = (low[:, 2] < outer[side] + grow) & (high[:, 2] > inner[side] - grow)
    grow += NARROWEST_HOLE
    parts = shapely.box(low[:, 0] - grow, low[:, 1] - grow, high[:, 0] + grow, high[:, 1] + grow)
    return {
        k: np.concatenate([upright[ends.side == k], lying[edges.side == k], parts[inside & (side == k)]])
        for k in range(len(walls.sides.names))
    }


def _bays_of(walls: Walls, side: int) -> list[_Bay]:
    """The bays of one side from left to right, with the heights between which each should be filled."""
    p = walls.panels
    mine = np.flatnonzero(p.side == side)
    low, high = p.low[mine, 0], p.high[mine, 0]
    plinth_low, plinth_high = _plinths(walls, side)
    first = min(low.min(), plinth_low[:, 0].min(initial=np.inf))
    last = max(high.max(), plinth_high[:, 0].max(initial=-np.inf))
    marks = np.array([first, *(u for u in walls.axis_place[side] if first + BEYOND < u < last - BEYOND), last])
    begin, finish = marks[:-1], marks[1:]
    shared = np.minimum(high, finish[:, None]) - np.maximum(low, begin[:, None])
    panels = [mine[row > BEYOND] for row in shared]
    on_plinth = np.minimum(plinth_high[:, 0], finish[:, None]) - np.maximum(plinth_low[:, 0], begin[:, None])
    under = on_plinth > 0.5 * (finish - begin)[:, None]
    top_of_plinth = np.where(under, plinth_high[:, 1], -np.inf).max(axis=1, initial=-np.inf)
    clad = np.array([len(each) > 0 for each in panels])
    there = clad | under.any(axis=1)
    # Where nothing goes on, a run of panels ends: at its last panel, not at the axis behind it.
    before, after = np.append(False, there[:-1]), np.append(there[1:], False)
    ends = np.stack([begin, finish], axis=1)
    for k in np.flatnonzero(clad):
        ends[k, 0] = ends[k, 0] if before[k] else max(ends[k, 0], p.low[panels[k], 0].min())
        ends[k, 1] = ends[k, 1] if after[k] else min(ends[k, 1], p.high[panels[k], 0].max())
    tops = np.array([_reached(p.top, p, each, place, 1) for each, place in zip(panels, ends, strict=True)])
    feet = np.array([_reached(p.bottom, p, each, place, -1) for each, place in zip(panels, ends, strict=True)])
    column, head = _columns_at(walls, side, ends, before, after)
    beside = _beside(tops, there, 1)
    roof = _expected(tops, beside, head - _lower_median(head - np.maximum(tops, beside)), 1)
    on_top = np.repeat(np.where(np.isfinite(top_of_plinth), top_of_plinth, np.nan)[:, None], 2, axis=1)
    lowest = _expected(feet, _beside(feet, there, -1), on_top + _lower_median(feet - on_top), -1)
    foot = np.fmin(feet, lowest).min(axis=1)
    told = np.isfinite(foot) & (clad | ~np.isnan(roof[:, 0]))
    return [_Bay(side, ends[k], float(foot[k]), roof[k], panels[k], column[k]) for k in np.flatnonzero(there & told)]


def _plinths(walls: Walls, side: int) -> tuple[Floats, Floats]:
    """Extents of the plinth elements along a side, in its frame."""
    element = with_role(walls.model, ["plinth"])
    of_side, low, high = walls.at_side(element, BEYOND)
    return low[of_side == side], high[of_side == side]


def _reached(outline: g.Lines, panels: Panels, which: Ints, ends: Floats, sign: int) -> Floats:
    """How far up (``sign`` 1) or down the outlines of some panels reach at both ends of a bay (2,); infinite for none.

    Where none of them reaches an end, the furthest of all of them counts.
    """
    if len(which) == 0:
        return np.full(2, -sign * np.inf)
    # A little inside: the outline of an end out of square falls there.
    low, high = panels.low[which, 0] + INSIDE, panels.high[which, 0] - INSIDE
    at = np.clip(ends, np.minimum(low, high)[:, None], np.maximum(low, high)[:, None])
    value = sign * g.sample(outline.take(which), at, 1)
    near = np.abs(at - ends) < BEYOND
    reached = np.where(near, value, -np.inf).max(axis=0)
    result: Floats = sign * np.where(np.isfinite(reached), reached, value.max())
    return result


def _columns_at(walls: Walls, side: int, ends: Floats, before: Bools, after: Bools) -> tuple[Ints, Floats]:
    """The column at each end of bays (k, 2), -1 for none, and how high the columns there reach, NaN for none."""
    c, frame = walls.columns, walls.sides.frame[side]
    mine = np.flatnonzero(c.side == side)
    place = c.centre_at(mine, 0.5 * (c.low + c.high)[mine])
    reach = np.where(np.stack([before, after], axis=1), BEYOND, AT_CORNER)[:, :, None]
    distance = np.abs(ends[:, :, None] - place)
    there = distance < reach
    element, head = np.full(ends.shape, -1, np.int64), np.full(ends.shape, np.nan)
    found = np.any(there, axis=2)
    if np.any(found):
        element[found] = c.element[mine[np.where(there, distance, np.inf).argmin(axis=2)[found]]]
        # Height in the plane of the panels, which may lean.
        height = (c.high[mine] - walls.sides.inner[side] * frame[2, 2]) / frame[1, 2]
        head[found] = np.where(there, height, -np.inf).max(axis=2)[found]
    return element, head


def _beside(own: Floats, there: Bools, sign: int) -> Floats:
    """What the bays next to each one reach at its ends (k, 2); infinite the other way for none."""
    result = np.full(own.shape, -sign * np.inf)
    if len(own) > 1:
        both = there[1:] & there[:-1]
        result[1:, 0][both], result[:-1, 1][both] = own[:-1, 1][both], own[1:, 0][both]
    return result


def _expected(own: Floats, beside: Floats, usual: Floats, sign: int) -> Floats:
    """How far up (``sign`` 1) or down bays should reach at both ends (k, 2), by the bays beside and what is usual.

    NaN for bays that do: panels are missing where they fall short at both ends; at one of them a facade may have a
    step. An end at which nothing tells follows the other one.
    """
    own, beside, usual = sign * own, sign * beside, sign * usual
    known = np.isfinite(beside) | ~np.isnan(usual)
    reach = np.fmax(np.maximum(own, beside), usual)
    reach = np.where(known, reach, reach[:, ::-1])
    short = (reach > own + MISSING) | ~known
    missing = np.all(short, axis=1) & np.any(known, axis=1)
    result: Floats = sign * np.where(missing[:, None], reach, np.nan)
    return result


def _lower_median(values: Floats) -> float:
    """The middle of the finite values, the lower one of two; NaN where there is none."""
    finite = np.sort(values[np.isfinite(values)])
    return float(finite[(len(finite) - 1) // 2]) if len(finite) else float("nan")


def _field(walls: Walls, bay: _Bay) -> Any:
    """What panels should cover of a bay, as a polygon."""
    p, (left, right) = walls.panels, bay.ends
    foot = bay.foot
    # Below each panel, and beside it up to where the whole row reaches; what is missing on top.
    level = max([foot, *(float(v) for v in p.top.value[bay.panels].min(axis=1))])
    shapes = [shapely.box(left, foot, right, level)]
    for at, value in zip(p.top.at[bay.panels], p.top.value[bay.panels], strict=True):
        shapes.append(shapely.Polygon([(at[0], foot), *zip(at, value, strict=True), (at[-1], foot)]))
    if not np.isnan(bay.roof[0]):
        shapes.append(shapely.Polygon([(left, foot), (right, foot), (right, bay.roof[1]), (left, bay.roof[0])]))
    field = shapely.union_all(shapely.make_valid(shapes), grid_size=1e-6)
    low, high = shapely.bounds(field)[[1, 3]]
    return shapely.intersection(field, shapely.box(left, low, right, high))


def _holes(field: Any, tree: Any, shapes: Any) -> list[Any]:
    """The holes in a field, largest first: what no shape covers, less what is no wider than a joint."""
    near = tree.query(field)
    rest = shapely.difference(field, shapely.union_all(shapes[np.sort(near)], grid_size=1e-6))
    half = 0.5 * NARROWEST_HOLE
    core = shapely.buffer(rest, -half, join_style="mitre")
    if core.is_empty:
        return []
    wide = shapely.intersection(rest, shapely.buffer(core, half + 1e-6, join_style="mitre"))
    parts = [part for part in shapely.get_parts(wide) if part.area > NARROWEST_HOLE**2]
    return sorted(parts, key=lambda part: (-round(part.area, 6), part.bounds))


def _records(walls: Walls, found: list[_Bay], fields: list[Any], holes: list[list[Any]]) -> Bays:
    """The record of bays with their fields and holes."""
    count, p = len(found), walls.panels
    side = np.array([bay.side for bay in found], np.int64)
    middle = np.array([bay.ends.mean() for bay in found]).reshape(count)
    axis = tuple(walls.axis_at(int(s), float(u)) for s, u in zip(side, middle, strict=True))
    names = [walls.sides.names[s] for s in side]
    size, place = np.zeros((count, 2)), np.zeros((count, 2))
    beside = np.full((count, MOST_BESIDE), -1, np.int64)
    every = np.flatnonzero([role.role == "panel" for role in walls.model.roles])
    nowhere: Ints = np.setdiff1d(every, with_role(walls.model, ["panel"]))
    fault = [fault_of(walls.model, p.element[bay.panels]) for bay in found]
    for k, (bay, field) in enumerate(zip(found, fields, strict=True)):
        place[k] = shapely.get_coordinates(shapely.centroid(field))[0]
        if holes[k]:
            low_u, low_v, high_u, high_v = holes[k][0].bounds
            size[k] = high_u - low_u, high_v - low_v
            place[k] = shapely.get_coordinates(shapely.point_on_surface(holes[k][0]))[0]
            mine = np.flatnonzero(p.side == bay.side)
            gap = np.maximum(p.low[mine, :2] - [high_u, high_v], [low_u, low_v] - p.high[mine, :2])
            faces = (gap.min(axis=1) < -LEAST_SHARED) & (gap.max(axis=1) < BEYOND)
            near = mine[faces][np.argsort(gap[faces].max(axis=1).round(4), kind="stable")][:MOST_BESIDE]
            beside[k, : len(near)] = p.element[near]
            fault[k] = fault[k] or fault_of(walls.model, nowhere)
    out = 0.5 * (walls.sides.inner + walls.sides.outer)[side]
    return Bays(
        kind=("bay",) * count,
        ids=unique(["/".join(filter(None, ("bay", n, a))) for n, a in zip(names, axis, strict=True)]),
        side=side,
        axis=axis,
        row=np.zeros(count, np.int64),
        length=np.array([bay.ends[1] - bay.ends[0] for bay in found]).reshape(count),
        parts=np.array([bay.columns for bay in found], np.int64).reshape(count, 2),
        point=g.world(walls.sides.frame[side], np.stack([*place.T, out], axis=1)),
        fault=tuple(fault),
        area=shapely.area(np.array(fields, dtype=object)).reshape(count) if count else np.zeros(0),
        open=np.array([sum(part.area for part in parts) for parts in holes]).reshape(count),
        width=size.min(axis=1),
        size=size,
        beside=beside,
    )
