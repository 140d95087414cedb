"""The edges of windows and doors."""

from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import LEAST_DEPTH, SLACK, Layer, OpeningSeams, Seams, Zone, with_role
from checker.joints import WIDEST_SEAM
from checker.model import Bools, Floats, Ints
from checker.walls import APART, Walls

EDGE: Final = 0.005
"""So far beyond the edge of an opening there must be a panel."""


def between_frame_and_panel(seams: Seams) -> tuple[Zone, ...]:
    """Between frame and panel, anywhere in the panel's thickness."""
    near = np.where(np.isnan(seams.near), seams.far, seams.near)
    far = np.where(np.isnan(seams.far), seams.near, seams.far)
    return (Zone(np.minimum(near, far) - SLACK, np.maximum(near, far) + SLACK, seams.inner - 2e-3, seams.outer + 2e-3),)


OPENING_SEAL: Final = Layer(
    "opening-seal",
    "seal between frame and panel",
    ("seal",),
    (OpeningSeams,),
    between_frame_and_panel,
    stands_in=("foam", "tape", "sealant"),
    rings=True,
    airtight=True,
)
"""The seal all round a frame: asked of windows and doors, and of thresholds by a rule of their own."""


def openings(walls: Walls) -> Seams:
    """The four edges of every window and door that stands in a side."""
    p = walls.panels
    frame_part = with_role(walls.model, ["window", "door"])
    side, low, high = walls.in_side(frame_part)
    known = side >= 0
    frame_part, side, low, high = frame_part[known], side[known], low[known], high[known]
    low[:, :2], high[:, :2], within = _in_panels(walls, frame_part, side, low, high)
    hole_low, hole_high = _holes(walls, frame_part, side, low, high)
    # A frame that lies on the panels is sealed where their opening ends.
    laid = ~within[:, None]
    low[:, :2] = np.where(laid & ~np.isnan(hole_low), np.maximum(low[:, :2], hole_low), low[:, :2])
    high[:, :2] = np.where(laid & ~np.isnan(hole_high), np.minimum(high[:, :2], hole_high), high[:, :2])
    rows: dict[str, list[Any]] = {
        name: [] for name in ("side", "frame", "start", "end", "left", "right", "near", "far", "label", "part")
    }
    outlines: dict[int, Any] = {}
    for i in range(len(frame_part)):
        frame = walls.sides.frame[side[i]]
        mine = np.flatnonzero(p.side == side[i])
        for label, axis, top in (("sill", 1, False), ("head", 1, True), ("left", 0, False), ("right", 0, True)):
            panel, edge = _beyond(walls, outlines, mine, low[i], high[i], axis, top)
            hole = (hole_high if top else hole_low)[i, axis]
            if not np.isnan(hole):
                edge = hole
            own = (high if top else low)[i, axis]
            other = 1 - axis
            rows["side"].append(side[i])
            rows["frame"].append(frame if axis == 1 else frame[[1, 0, 2]])
            rows["start"].append(low[i, other])
            rows["end"].append(high[i, other])
            rows["left"].append(frame_part[i] if top else panel)
            rows["right"].append(panel if top else frame_part[i])
            rows["near"].append(own if top else edge)
            rows["far"].append(edge if top else own)
            rows["label"].append(label)
            rows["part"].append(frame_part[i])
    count = len(rows["side"])
    array = {
        k: np.array(v, np.int64 if k in ("side", "left", "right", "part") else float)
        for k, v in rows.items()
        if k != "label"
    }
    width = array["far"] - array["near"]
    sides = array["side"]
    return walls.make(
        OpeningSeams,
        count,
        side=sides,
        frame=array["frame"].reshape(-1, 3, 3),
        start=array["start"],
        end=array["end"],
        line=np.arange(count),
        left=array["left"],
        right=array["right"],
        near=array["near"],
        far=array["far"],
        inner=walls.sides.inner[sides],
        outer=walls.sides.outer[sides],
        width_min=width,
        width_max=width,
        label=rows["label"],
    )


def _in_panels(walls: Walls, part: Ints, side: Ints, low: Floats, high: Floats) -> tuple[Floats, Floats, Bools]:
    """Extents (w, 2) along and up of what of each frame lies between the panels' faces, and whether any does."""
    result_low, result_high = low[:, :2].copy(), high[:, :2].copy()
    entries, group = g.spread(walls.meshes.triangle_start, part)
    corners = walls.meshes.points[walls.meshes.triangles[entries]]
    local = np.einsum("tij,tkj->tki", walls.sides.frame[side][group], corners)
    inner, outer = walls.sides.inner[side][group] + LEAST_DEPTH, walls.sides.outer[side][group] - LEAST_DEPTH
    within = np.zeros(len(part), bool)
    anywhere = np.full(len(group), APART)
    for axis in (0, 1):
        bounds = np.stack([inner, -anywhere], axis=1), np.stack([outer, anywhere], axis=1)
        reach, met = g.clip_triangles(local[:, :, [axis, 2, 1 - axis]], *bounds)
        first, last = g.lowest(reach[met, 0], group[met], len(part)), g.highest(reach[met, 1], group[met], len(part))
        found = np.isfinite(first)
        within |= found
        result_low[found, axis], result_high[found, axis] = first[found], last[found]
    return result_low, result_high, within


def _holes(walls: Walls, part: Ints, side: Ints, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Extents (w, 2) along and up of the opening that holds each window or door; NaN where none is modelled."""
    hole = with_role(walls.model, ["opening"])
    low_found, high_found = np.full((len(part), 2), np.nan), np.full((len(part), 2), np.nan)
    if len(hole) == 0 or len(part) == 0:
        return low_found, high_found
    centre = walls.boxes.centre[hole]
    tree = shapely.STRtree(shapely.points(centre[:, :2]))
    middle = walls.boxes.centre[part]
    reach = 0.5 * np.linalg.norm(high - low, axis=1)
    w, k = tree.query(shapely.points(middle[:, :2]), predicate="dwithin", distance=reach)
    frames = walls.sides.frame[side[w]]
    hole_low, hole_high = g.extents(walls.meshes, hole[k], frames)
    shared = np.minimum(hole_high, high[w])[:, :2] - np.maximum(hole_low, low[w])[:, :2]
    size = (high - low)[w][:, :2]
    # One opening, or several cut into stacked panels, taken together where they lie behind the same frame.
    fits = (shared > 0.2 * np.minimum(size, (hole_high - hole_low)[:, :2])).all(axis=1)
    fits &= ((hole_high - hole_low)[:, :2] < 1.5 * size + 0.2).all(axis=1)
    w, hole_low, hole_high = w[fits], hole_low[fits], hole_high[fits]
    lowest, highest = g.lowest(hole_low[:, :2], w, len(part)), g.highest(hole_high[:, :2], w, len(part))
    found = np.isfinite(lowest).all(axis=1)
    low_found[found], high_found[found] = lowest[found], highest[found]
    # Where an opening reaches the edge of its panel, and beyond it is none, the frame itself is the edge.
    p, low_hole, high_hole = walls.panels, low_found.copy(), high_found.copy()
    for i in np.flatnonzero(found):
        mine = p.side == side[i]
        for edges, result, step in ((low_hole, low_found, -EDGE), (high_hole, high_found, EDGE)):
            for axis in (0, 1):
                # At two places, for one may lie between two rows.
                places = low_hole[i] + np.array([[0.5], [0.3]]) * (high_hole[i] - low_hole[i])
                places[:, axis] = edges[i, axis] + step
                met = (p.low[mine, None, :2] < places) & (p.high[mine, None, :2] > places)
                if not met.all(axis=2).any():
                    result[i, axis] = np.nan
    return low_found, high_found


def _beyond(
    walls: Walls, outlines: dict[int, Any], mine: Ints, low: Floats, high: Floats, axis: int, top: bool
) -> tuple[int, float]:
    """The panel next to one edge of a frame and where its own edge is; a panel that surrounds the frame counts.

    NaN where the panel goes on behind the frame. ``outlines`` are those of panels that surround frames (kept).
    """
    p, other = walls.panels, 1 - axis
    shared = np.minimum(p.high[mine, other], high[other]) - np.maximum(p.low[mine, other], low[other])
    own = high[axis] if top else low[axis]
    edge = p.low[mine, axis] if top else -p.high[mine, axis]
    gap = edge - (own if top else -own)
    inside = (p.low[mine, axis] < own - 1e-3) & (p.high[mine, axis] > own + 1e-3) & (shared > 0.02)
    beside = (shared > 0.02) & (gap > -0.05) & (gap < WIDEST_SEAM)
    if inside.any():
        panel = int(mine[np.flatnonzero(inside)[shared[inside].argmax()]])
        element = int(p.element[panel])
        if panel not in outlines:
            outlines[panel] = g.outline(walls.meshes, element, walls.sides.frame[p.side[panel], :2])
        first, last = max(p.low[panel, other], low[other]), min(p.high[panel, other], high[other])
        return element, _first_met(outlines[panel], own, axis, top, first, last)
    if beside.any():
        pick = np.flatnonzero(beside)[gap[beside].argmin()]
        return int(p.element[mine[pick]]), float(p.low[mine[pick], axis] if top else p.high[mine[pick], axis])
    return -1, float("nan")


def _first_met(outline: Any, own: float, axis: int, top: bool, first: float, last: float) -> float:
    """Where the hole round a frame ends beyond its edge ``own``, seen from three places along it; NaN for no hole."""
    way = 1.0 if top else -1.0
    met = []
    for share in (0.25, 0.5, 0.75):
        ends = np.full((2, 2), first + share * (last - first))
        ends[:, axis] = own - way * EDGE, own + way * WIDEST_SEAM
        shared = shapely.intersection(outline, shapely.LineString(ends))
        if not shared.is_empty:
            met.append(way * float((way * shapely.get_coordinates(shared)[:, axis]).min()))
    edge = way * min((way * each for each in met), default=float("nan"))
    return edge if way * (edge - own) > -0.5 * EDGE else float("nan")
