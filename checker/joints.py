"""Seams between panels: their ends, their edges one above the other, their corners."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import CornerSeams, PanelEdgeSeams, PanelEndSeams, Seams
from checker.geometry import Lines
from checker.model import Bools, Floats, Ints
from checker.walls import APART, ONE_PLACE, Walls, cluster

CORNER_DEG: Final = 15.0
"""Sides that meet at a smaller angle are facets of one run; at a larger one they form a corner."""
WIDEST_SEAM: Final = 0.30
"""Ends further apart than this do not face each other; it is a bay or an opening."""
DEEPEST_OVERLAP: Final = 0.25
"""Panels that overlap by more are not neighbours of one row."""
WIDEST_EDGE: Final = 0.06
"""Horizontal joints open or overlap by no more than this."""
LEAST_SHARED: Final = 0.04
"""Two ends share a seam when they face each other over more than this; a tongue is shorter."""
COLUMN_END: Final = 0.01
"""A section of a column is taken no nearer than this to its ends."""
CORNER_REACH: Final = 0.60
"""Panel ends of two sides this near to each other form a corner."""


def panel_ends(walls: Walls) -> PanelEndSeams:
    """Upright seams: right end of one panel facing the left end of the next, in one side or over a slight bend."""
    p = walls.panels
    left, right = _facing(walls, p.right, p.left, p.low[:, 1], p.high[:, 1], WIDEST_SEAM, DEEPEST_OVERLAP)
    frame = walls.sides.frame[p.side[left]]
    bent_left, bent_right = _ends_of_other_sides(walls, lambda angle: angle < CORNER_DEG)
    between = g.unit(walls.sides.frame[p.side[bent_left], 2] + walls.sides.frame[p.side[bent_right], 2])
    rightwards = g.unit(np.cross(np.broadcast_to([0.0, 0.0, 1.0], between.shape), between))
    bent = np.stack([rightwards, np.cross(between, rightwards), between], axis=1)
    near = _join(p.right.take(left), walls.outline(p.element[bent_left], bent, 0, 1, 1))
    far = _join(p.left.take(right), walls.outline(p.element[bent_right], bent, 0, -1, 1))
    left, right = np.concatenate([left, bent_left]), np.concatenate([right, bent_right])
    frame = np.concatenate([frame, bent])
    low_l, high_l = _withouttongues(walls, p.element[left], frame)
    low_r, high_r = _withouttongues(walls, p.element[right], frame)
    start, end = np.maximum(low_l[:, 1], low_r[:, 1]), np.minimum(high_l[:, 1], high_r[:, 1])
    line = _lines_up(walls, p.side[left], p.side[right], _between(near, far, 0.5 * (start + end)))
    runs = _runs(near, far, start, _trimmed(line, start, end), -DEEPEST_OVERLAP, WIDEST_SEAM)
    left, right, frame, line = left[runs.pair], right[runs.pair], frame[runs.pair], line[runs.pair]
    near, far = near.take(runs.pair), far.take(runs.pair)
    middle = 0.5 * (runs.start + runs.end)
    side = p.side[left]
    inner, outer = _faces(walls, left, right, frame, near, far, middle)
    height = middle * frame[:, 1, 2] + inner * frame[:, 2, 2]
    spot = g.world(frame, np.stack([_between(near, far, middle), middle, inner], axis=1))
    column = walls.column_at(side, np.einsum("nj,nj->n", spot, walls.sides.frame[side, 0]), height)
    axis, half, front = _column_lines(walls, side, column, frame, runs, inner)
    to_left = g.extremes(near, axis, runs.start, runs.end)
    to_right = g.extremes(axis, far, runs.start, runs.end)
    narrow = np.clip(runs.at_min, runs.start + 1e-9, runs.end - 1e-9)[:, None]
    on = (g.sample(axis, narrow, 1))[:, 0]
    zero = Lines(np.stack([runs.start, runs.end], axis=1), np.zeros((len(left), 2)))
    near_narrow = np.maximum(g.sample(near, narrow, 1), g.sample(near, narrow, -1))[:, 0]
    far_narrow = np.minimum(g.sample(far, narrow, 1), g.sample(far, narrow, -1))[:, 0]
    upright = frame[:, [1, 0, 2]]

    def places(along: Floats, offset: Floats) -> Floats:
        across = g.sample(axis, along[:, None], 1)[:, 0] + offset
        across = np.where(np.isnan(across), _between(near, far, along), across)  # no column: the seam itself
        return g.world(upright, np.stack([along, across, 0.5 * (inner + outer)], axis=1))

    def middles(along: Floats) -> Floats:
        """In the middle between both ends where they are so far apart: ends may run out of square."""
        return g.world(upright, np.stack([along, _between(near, far, along), 0.5 * (inner + outer)], axis=1))

    return walls.make(
        PanelEndSeams,
        len(left),
        side=side,
        row=p.row[left],
        frame=upright,
        start=runs.start,
        end=runs.end,
        line=line,
        left=p.element[left],
        right=p.element[right],
        column=walls.column_elements(column),
        near=g.sample(near, middle[:, None], 1)[:, 0],
        far=g.sample(far, middle[:, None], 1)[:, 0],
        inner=inner,
        outer=outer,
        front=front,
        width_min=runs.smallest,
        width_max=runs.largest,
        at_width_min=middles(runs.at_min),
        at_width_max=middles(runs.at_max),
        offset_left_min=to_left.smallest,
        offset_left_max=to_left.largest,
        offset_right_min=to_right.smallest,
        offset_right_max=to_right.largest,
        at_offset_left_min=places(to_left.at_min, -to_left.smallest),
        at_offset_left_max=places(to_left.at_max, -to_left.largest),
        at_offset_right_min=places(to_right.at_min, to_right.smallest),
        at_offset_right_max=places(to_right.at_max, to_right.largest),
        offset_left_narrow=on - near_narrow,
        offset_right_narrow=far_narrow - on,
        near_least=g.extremes(zero, near, runs.start, runs.end).smallest,
        far_most=g.extremes(zero, far, runs.start, runs.end).largest,
        column_half=half,
    )


def panel_edges(walls: Walls) -> tuple[PanelEdgeSeams, Bools]:
    """Lying seams between panels, and which panels stand on another one."""
    p = walls.panels
    below, above = _facing(walls, p.top, p.bottom, p.low[:, 0], p.high[:, 0], WIDEST_EDGE, WIDEST_EDGE)
    near, far = p.top.take(below), p.bottom.take(above)
    start, end = np.maximum(p.low[below, 0], p.low[above, 0]), np.minimum(p.high[below, 0], p.high[above, 0])
    runs = _runs(near, far, start, end, -WIDEST_EDGE, WIDEST_EDGE)
    below, above = below[runs.pair], above[runs.pair]
    standing = np.zeros(len(p.element), bool)
    standing[above] = True
    side = p.side[below]
    middle = 0.5 * (runs.start + runs.end)[:, None]
    across_near = g.sample(near.take(runs.pair), middle, 1)[:, 0]
    tongue = tongues(walls, below, True) + tongues(walls, above, False)
    seams = walls.make(
        PanelEdgeSeams,
        len(below),
        side=side,
        row=p.row[below],
        frame=walls.sides.frame[side],
        start=runs.start,
        end=runs.end,
        line=np.arange(len(below)),
        left=p.element[below],
        right=p.element[above],
        near=across_near,
        far=g.sample(far.take(runs.pair), middle, 1)[:, 0],
        inner=0.5 * (p.low[below, 2] + p.low[above, 2]),
        outer=0.5 * (p.high[below, 2] + p.high[above, 2]),
        width_min=runs.smallest + tongue,
        width_max=runs.largest + tongue,
        at_width_min=runs.at_min,
        at_width_max=runs.at_max,
        tongue=tongue,
    )
    return seams, standing


def corners(walls: Walls) -> Seams:
    """Upright seams where panels of two sides meet; the width is the clear distance between them in plan."""
    p = walls.panels
    # Panels on both faces of one column stand back to back: no corner.
    left, right = _ends_of_other_sides(walls, lambda angle: (angle >= CORNER_DEG) & (angle <= 180.0 - CORNER_DEG))
    footprint = {int(i): _footprint(walls, int(p.element[i])) for i in np.unique(np.concatenate([left, right]))}
    distance = np.array(
        [_signed_distance(footprint[a], footprint[b]) for a, b in zip(left.tolist(), right.tolist(), strict=True)]
    )
    low, high = walls.boxes.low[p.element], walls.boxes.high[p.element]
    side = p.side[left]
    frame = walls.sides.frame[side]
    up = np.zeros((len(left), 3, 3))
    up[:, 0] = [0.0, 0.0, 1.0]
    up[:, 1], up[:, 2] = frame[:, 0], frame[:, 2]
    spot = g.sample(p.right.take(left), 0.5 * (p.low[left, 1:2] + p.high[left, 1:2]), 1)[:, 0]
    column = walls.column_at(side, spot, 0.5 * (low[left, 2] + high[left, 2]))
    return walls.make(
        CornerSeams,
        len(left),
        side=side,
        row=p.row[left],
        frame=up,
        start=np.maximum(low[left, 2], low[right, 2]),
        end=np.minimum(high[left, 2], high[right, 2]),
        line=_lines_up(walls, side, p.side[right], spot),
        left=p.element[left],
        right=p.element[right],
        column=walls.column_elements(column),
        near=spot,
        far=spot,
        inner=p.low[left, 2],
        outer=p.high[left, 2],
        width_min=distance,
        width_max=distance,
    )


def _faces(
    walls: Walls, left: Ints, right: Ints, frame: Floats, near: Lines, far: Lines, along: Floats
) -> tuple[Floats, Floats]:
    """Inner and outer face (n,) of the panels at their ends: elsewhere over a bend than at the other ends."""
    p = walls.panels
    faces = []
    for extents in (p.low, p.high):
        at_ends = []
        for panel, edge in ((left, near), (right, far)):
            out = walls.sides.frame[p.side[panel], 2]
            across = g.sample(edge, along[:, None], 1)[:, 0]
            # On the ray from the end outwards, where it meets the face.
            foot = g.world(frame, np.stack([across, along, np.zeros(len(along))], axis=1))
            turn = np.einsum("nj,nj->n", frame[:, 2], out)
            at_ends.append((extents[panel, 2] - np.einsum("nj,nj->n", foot, out)) / turn)
        faces.append(0.5 * (at_ends[0] + at_ends[1]))
    return faces[0], faces[1]


def _between(near: Lines, far: Lines, along: Floats) -> Floats:
    """Middle between two outlines at one place (n,) each."""
    middle: Floats = 0.5 * (g.sample(near, along[:, None], 1) + g.sample(far, along[:, None], 1))[:, 0]
    return middle


def _withouttongues(walls: Walls, panel: Ints, frame: Floats) -> tuple[Floats, Floats]:
    """Extents (n, 3) of panels, less the tongues and lips that reach into the rows above and below."""
    low, high = g.extents(walls.meshes, panel, frame)
    start, end = g.thickest(walls.meshes, panel, frame, 1)
    low[:, 1] = np.where(start - low[:, 1] < WIDEST_EDGE, start, low[:, 1])
    high[:, 1] = np.where(high[:, 1] - end < WIDEST_EDGE, end, high[:, 1])
    return low, high


def tongues(walls: Walls, panel: Ints, top: bool) -> Floats:
    """How far tongues or lips (n,) of panels, given by position, reach up beyond their full thickness, or down."""
    p = walls.panels
    whole = p.high[panel, 1] if top else p.low[panel, 1]
    low, high = _withouttongues(walls, p.element[panel], walls.sides.frame[p.side[panel]])
    result: Floats = whole - high[:, 1] if top else low[:, 1] - whole
    return result


def _trimmed(line: Ints, start: Floats, end: Floats) -> Floats:
    """Ends (n,) of seams cut where the next seam of their line begins: a tongue reaches into the row above."""
    order = np.lexsort((start, line))
    this, following = order[:-1], order[1:]
    shared = end[this] - start[following]
    tongue = (line[this] == line[following]) & (shared > 0) & (shared < LEAST_SHARED)
    result = end.copy()
    result[this[tongue]] = start[following[tongue]]
    return result


def _column_lines(
    walls: Walls, side: Ints, column: Ints, frame: Floats, runs: "_Runs", inner: Floats
) -> tuple[Lines, Floats, Floats]:
    """Centre line, half width and outer face of the column behind each seam in its frame; NaN where there is none."""
    along = np.stack([runs.start, runs.end], axis=1)
    centre, half, front = np.full((len(side), 2), np.nan), *np.full((2, len(side)), np.nan)
    known = np.flatnonzero(column >= 0)
    z = along * frame[:, 1, 2][:, None] + inner[:, None] * frame[:, 2, 2][:, None]
    centre[known] = walls.columns.centre_at(column[known][:, None], z[known])
    half[known] = walls.columns.half[column[known]]
    middle = z.mean(axis=1)
    front[known] = walls.columns.front_at(column[known], middle[known])
    # Over a bend the seam's frame is neither side's own: the section is taken anew.
    turned = np.einsum("nj,nj->n", frame[:, 0], walls.sides.frame[side, 0]) < 1 - 1e-12
    rows = known[turned[known]]
    c = walls.columns
    height = np.clip(middle[rows], c.low[column[rows]] + COLUMN_END, c.high[column[rows]] - COLUMN_END)
    low, high = g.sections(walls.meshes, c.element[column[rows]], frame[rows], height[:, None])
    met = ~np.isnan(low[:, 0, 0])
    rows, low, high = rows[met], low[met], high[met]
    centre[rows] = 0.5 * (low[:, 0, 0] + high[:, 0, 0])[:, None]
    half[rows] = 0.5 * (high[:, 0, 0] - low[:, 0, 0])
    front[rows] = high[:, 0, 1]
    return Lines(along, centre), half, front


def _facing(
    walls: Walls, ahead: Lines, behind: Lines, low: Floats, high: Floats, reach: float, overlap: float
) -> tuple[Ints, Ints]:
    """Pairs of panels of one side whose outlines face each other within reach and share more than a tongue.

    ``low`` and ``high`` (p,) are the panels' extents along the outlines.
    """
    p = walls.panels
    here = np.arange(len(p.element))
    apart = APART * p.side
    ahead_low, ahead_high = ahead.value.min(axis=1), ahead.value.max(axis=1)
    behind_low, behind_high = behind.value.min(axis=1), behind.value.max(axis=1)
    tree = shapely.STRtree(shapely.box(behind_low + apart, low, behind_high + apart, high))
    first, second = tree.query(shapely.box(ahead_low + apart - overlap, low, ahead_high + apart + reach, high))
    shared = np.minimum(high[first], high[second]) - np.maximum(low[first], low[second])
    deep = np.minimum(p.high[first, 2], p.high[second, 2]) - np.maximum(p.low[first, 2], p.low[second, 2])
    thin = np.minimum(p.high[first, 2] - p.low[first, 2], p.high[second, 2] - p.low[second, 2])
    order = (ahead_high + behind_low)[first] < (ahead_high + behind_low)[second]
    keep = (first != second) & order & (shared > LEAST_SHARED) & (deep > 0.1 * thin)
    pairs = np.stack([here[first[keep]], here[second[keep]]], axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return pairs[:, 0], pairs[:, 1]


def _ends_of_other_sides(walls: Walls, wanted: Any) -> tuple[Ints, Ints]:
    """Pairs (right end of one panel, left end of another) of two sides whose angle in degrees is ``wanted``."""
    p = walls.panels
    middle = 0.5 * (p.low + p.high)
    frame = walls.sides.frame[p.side]

    def ends(line: Lines) -> Floats:
        u = g.sample(line, middle[:, 1:2], 1)[:, 0]
        return g.world(frame, np.stack([u, middle[:, 1], middle[:, 2]], axis=1))

    right, left = ends(p.right), ends(p.left)
    tree = shapely.STRtree(shapely.points(left[:, :2]))
    first, second = tree.query(shapely.points(right[:, :2]), predicate="dwithin", distance=CORNER_REACH)
    low, high = walls.boxes.low[p.element, 2], walls.boxes.high[p.element, 2]
    shared = np.minimum(high[first], high[second]) - np.maximum(low[first], low[second])
    cosine = np.einsum("nj,nj->n", frame[first, 2], frame[second, 2])
    angle = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    keep = (p.side[first] != p.side[second]) & (shared > LEAST_SHARED) & wanted(angle)
    order = np.lexsort((second[keep], first[keep]))
    return first[keep][order], second[keep][order]


def _lines_up(walls: Walls, side: Ints, other: Ints, place: Floats) -> Ints:
    """Number of the run of upright seams each belongs to: one side (or pair of sides) and one place along it."""
    line = np.zeros(len(side), np.int64)
    count = 0
    key = side * (len(walls.sides.names) + 1) + other
    for value in np.unique(key):
        mine = np.flatnonzero(key == value)
        line[mine] = count + cluster(place[mine], ONE_PLACE)
        count = int(line[mine].max()) + 1
    return line


def _footprint(walls: Walls, element: int) -> Any:
    m = walls.meshes
    points = m.points[m.point_start[element] : m.point_start[element + 1], :2]
    return shapely.convex_hull(shapely.multipoints(points))


def _join(one: Lines, two: Lines) -> Lines:
    """Two lists of lines as one, padded to the same number of stations."""
    width = max(one.at.shape[1], two.at.shape[1])

    def padded(values: Floats) -> Floats:
        result: Floats = np.pad(values, ((0, 0), (0, width - values.shape[1])), mode="edge")
        return result

    return Lines(
        np.concatenate([padded(one.at), padded(two.at)]), np.concatenate([padded(one.value), padded(two.value)])
    )


@dataclass(frozen=True)
class _Runs(g.Extremes):
    """Stretches (m,) of pairs on which two outlines are within reach of each other."""

    pair: Ints
    start: Floats
    end: Floats


def _runs(near: Lines, far: Lines, start: Floats, end: Floats, low: float, high: float) -> _Runs:
    """Cut each pair into the stretches where ``far - near`` lies between ``low`` and ``high``."""
    gap = g.gaps(near, far, start, end)
    long = gap.at[:, :, 1] - gap.at[:, :, 0] > 1e-9
    good = long & (gap.value.min(axis=2) >= low) & (gap.value.max(axis=2) <= high)
    whole = (good | ~long).all(axis=1) & (end - start > LEAST_SHARED)
    pair, first, last = [np.flatnonzero(whole)], [start[whole]], [end[whole]]
    for i in np.flatnonzero(~whole & good.any(axis=1)):
        pieces = g.merge(np.zeros(int(good[i].sum()), np.int64), gap.at[i, good[i], 0], gap.at[i, good[i], 1])
        long_enough = pieces.end - pieces.start > LEAST_SHARED
        pair.append(np.full(int(long_enough.sum()), i))
        first.append(pieces.start[long_enough])
        last.append(pieces.end[long_enough])
    which = np.concatenate(pair).astype(np.int64)
    begin, finish = np.concatenate(first), np.concatenate(last)
    order = np.lexsort((begin, which))
    which, begin, finish = which[order], begin[order], finish[order]
    found = g.extremes(near.take(which), far.take(which), begin, finish)
    return _Runs(found.smallest, found.largest, found.at_min, found.at_max, which, begin, finish)


def _signed_distance(one: Any, two: Any) -> float:
    """Clear distance of two plan outlines; where they overlap the depth of the overlap, negative."""
    distance = float(shapely.distance(one, two))
    if distance > 0:
        return distance
    shared = shapely.minimum_rotated_rectangle(shapely.intersection(one, two))
    if shapely.is_empty(shared) or shapely.get_type_id(shared) != 3:
        return 0.0
    ring = shapely.get_coordinates(shared)
    return -float(min(np.linalg.norm(ring[1] - ring[0]), np.linalg.norm(ring[2] - ring[1])))
