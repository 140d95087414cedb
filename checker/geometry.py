"""Pure geometry on many bodies at once: oriented boxes, silhouettes, sections, clipping, intervals.

Arrays only; metres; coordinates are world less a local origin. Loops run over kinds of things, never over bodies,
except for the few bodies that a straight line does not describe.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker.model import Bools, Floats, Ints, Meshes

SAME_LENGTH: Final = 1e-5
"""Two lengths closer than this (0.01 mm) are the same: the agreement asked of both ways to read a body."""
STRAIGHT: Final = 2e-5
"""A silhouette that departs less than this from a straight line is one (a fifth of what results promise)."""
FACING: Final = 0.3
"""A face belongs to a side when the cosine between its normal and that side is above this (about 72 degrees)."""
RIB: Final = 0.02
"""What stands out from the face of a board by no more than this is its profile..."""
RIBBED: Final = 0.2
"""... and what more does so over no more than this share of the board is a rib or a haunch, and no face."""
MOST_STATIONS: Final = 96
"""A curved silhouette is sampled at no more places than this."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """Oriented boxes of n bodies.

    ``centre`` (n, 3); ``axes`` (n, 3, 3) rows are the unit vectors of the longest, middle and thinnest direction;
    ``size`` (n, 3) lengths along them, descending; ``low`` and ``high`` (n, 3) the box along the world axes;
    ``volume`` and ``area`` (n,). A body without triangles has zeros.
    """

    centre: Floats
    axes: Floats
    size: Floats
    low: Floats
    high: Floats
    volume: Floats
    area: Floats


@dataclass(frozen=True, slots=True)
class Lines:
    """Silhouettes of n bodies: piecewise straight functions ``value`` over ``at``, both (n, k), ``at`` ascending.

    Equal neighbours in ``at`` are a jump (or padding at the end).
    """

    at: Floats
    value: Floats

    def take(self, which: Ints) -> "Lines":
        """The lines of some bodies, in that order."""
        return Lines(self.at[which], self.value[which])

    def shifted(self, at: Floats, value: Floats) -> "Lines":
        """Every line moved by its own ``at`` (n,) and ``value`` (n,)."""
        return Lines(self.at + at[:, None], self.value + value[:, None])

    def negative(self) -> "Lines":
        """The same stations with the opposite value."""
        return Lines(self.at, -self.value)


def owners(starts: Ints) -> Ints:
    """For each entry of a run-length list the number of its group.

    >>> owners(np.array([0, 2, 2, 5]))
    array([0, 0, 2, 2, 2])
    """
    result: Ints = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    return result


def spread(starts: Ints, which: Ints) -> tuple[Ints, Ints]:
    """Entries of some groups of a run-length list, and for each the position of its group in ``which``.

    >>> spread(np.array([0, 2, 2, 5]), np.array([2, 0]))
    (array([2, 3, 4, 0, 1]), array([0, 0, 0, 1, 1]))
    """
    counts = starts[which + 1] - starts[which]
    group: Ints = np.repeat(np.arange(len(which)), counts)
    first = np.cumsum(counts) - counts
    entries: Ints = np.arange(int(counts.sum())) - first[group] + starts[which][group]
    return entries, group


def gathered(meshes: Meshes, members: Sequence[Sequence[int]]) -> Meshes:
    """Bodies each made of all bodies of its ``members``, in their order; one without members is empty."""
    count = np.array([len(each) for each in members], np.int64)
    which = np.array([one for each in members for one in each], np.int64)
    if len(which) == len(members) == len(meshes) and (which == np.arange(len(which))).all():
        return meshes
    last = np.concatenate([[0], np.cumsum(count)])
    point, _ = spread(meshes.point_start, which)
    triangle, group = spread(meshes.triangle_start, which)
    points, triangles = (
        np.concatenate([[0], np.cumsum(np.diff(start)[which])]) for start in (meshes.point_start, meshes.triangle_start)
    )
    moved = points[:-1] - meshes.point_start[which]
    return Meshes(meshes.points[point], meshes.triangles[triangle] + moved[group, None], points[last], triangles[last])


def lowest(values: Floats, group: Ints, count: int) -> Floats:
    """Smallest value of each of ``count`` groups; infinite where a group is empty."""
    result = np.full((count, *values.shape[1:]), np.inf)
    np.minimum.at(result, group, values)
    return result


def highest(values: Floats, group: Ints, count: int) -> Floats:
    """Largest value of each of ``count`` groups; minus infinite where a group is empty."""
    return -lowest(-values, group, count)


def total(values: Floats, group: Ints, count: int) -> Floats:
    """Sum over each of ``count`` groups; ``values`` (m,) or (m, j)."""
    if values.ndim == 1:
        return np.bincount(group, values, count).astype(np.float64)
    return np.stack([total(column, group, count) for column in values.T], axis=1)


def world(frames: Floats, coordinates: Floats) -> Floats:
    """Points (n, 3) from coordinates (n, 3) in frames (n, 3, 3) whose rows are unit vectors."""
    result: Floats = np.einsum("nij,ni->nj", frames, coordinates)
    return result


def unit(vectors: Floats) -> Floats:
    """Vectors (..., 3) of length one; a zero vector stays zero."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    result: Floats = np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)
    return result


def joined(one: Meshes, other: Meshes) -> Meshes:
    """The bodies of n elements of which some are in one list and some in the other."""
    both = Meshes(
        np.concatenate([one.points, other.points]),
        np.concatenate([one.triangles, other.triangles + len(one.points)]),
        np.concatenate([one.point_start, other.point_start[1:] + len(one.points)]),
        np.concatenate([one.triangle_start, other.triangle_start[1:] + len(one.triangles)]),
    )
    return gathered(both, [[i, i + len(one)] for i in range(len(one))])


def face_vectors(meshes: Meshes, triangles: Ints | None = None) -> Floats:
    """Normal of each triangle (t, 3) times its area, pointing outwards."""
    corners = meshes.points[meshes.triangles if triangles is None else meshes.triangles[triangles]]
    result: Floats = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return result


def boxes(meshes: Meshes) -> Boxes:
    """Oriented boxes from the faces of each body, never from world axes.

    The first axis is the direction of most face area, found from the normals' tensor and sharpened by the mean of the
    normals near it, so that slanted ends and grooves do not turn it; the second likewise among faces square to it.
    """
    count = len(meshes)
    body = owners(meshes.triangle_start)
    vectors = face_vectors(meshes)
    area = np.linalg.norm(vectors, axis=1)
    normals = unit(vectors)
    first = _main_direction(normals, area, body, count)
    across = normals - first[body] * np.einsum("ij,ij->i", normals, first[body])[:, None]
    square = np.linalg.norm(across, axis=1) > 0.95
    second = _main_direction(unit(across), np.where(square, area, 0.0), body, count)
    second = unit(second - first * np.einsum("ij,ij->i", second, first)[:, None])
    missing = np.linalg.norm(second, axis=1) < 0.5
    helper = np.where(np.abs(first[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    second[missing] = unit(np.cross(helper, first))[missing]
    axes = np.stack([first, second, np.cross(first, second)], axis=1)

    point_body = owners(meshes.point_start)
    local = np.einsum("pij,pj->pi", axes[point_body], meshes.points) if len(point_body) else np.zeros((0, 3))
    empty = np.diff(meshes.point_start) == 0
    low, high = lowest(local, point_body, count), highest(local, point_body, count)
    low[empty], high[empty] = 0.0, 0.0
    size = high - low
    order = np.argsort(-size, axis=1, kind="stable")
    centre = np.einsum("nij,ni->nj", axes, 0.5 * (low + high))
    world_low, world_high = lowest(meshes.points, point_body, count), highest(meshes.points, point_body, count)
    world_low[empty], world_high[empty] = 0.0, 0.0
    anchor = meshes.points[meshes.triangles[:, 0]] - centre[body]
    return Boxes(
        centre=centre,
        axes=np.take_along_axis(axes, order[:, :, None], axis=1),
        size=np.take_along_axis(size, order, axis=1),
        low=world_low,
        high=world_high,
        volume=total(np.einsum("ij,ij->i", anchor, vectors) / 3.0, body, count),
        area=total(area, body, count),
    )


def _main_direction(normals: Floats, weight: Floats, body: Ints, count: int) -> Floats:
    """Per body the direction (count, 3) in which most face area looks, sign aside."""
    outer = (normals[:, :, None] * normals[:, None, :]).reshape(-1, 9) * weight[:, None]
    tensor = total(outer, body, count).reshape(count, 3, 3) if len(body) else np.zeros((count, 3, 3))
    values, vectors = np.linalg.eigh(tensor)
    direction: Floats = vectors[:, :, 2].copy()
    # A square section has no preferred direction in the tensor: start from its largest face instead.
    tie = values[:, 2] < 1.2 * values[:, 1]
    order = np.lexsort((weight, body))
    last = order[np.flatnonzero(np.append(np.diff(body[order]), 1))] if len(order) else order
    largest = np.zeros((count, 3))
    largest[body[last]] = normals[last]
    direction[tie] = largest[tie]
    for cosine in (0.94, 0.985, 0.9998):
        along = np.einsum("ij,ij->i", normals, direction[body])
        near = np.abs(along) > cosine
        folded = normals[near] * (np.sign(along[near]) * weight[near])[:, None]
        mean = unit(total(folded, body[near], count)) if near.any() else np.zeros((count, 3))
        found = np.linalg.norm(mean, axis=1) > 0.5
        direction[found] = mean[found]
    return direction


def project(meshes: Meshes, which: Ints, frames: Floats) -> tuple[Floats, Ints]:
    """Points of some bodies in their frames: coordinates (q, 3) and position in ``which`` (q,).

    ``frames`` (len(which), 3, 3) has unit vectors as rows.
    """
    entries, group = spread(meshes.point_start, which)
    return np.einsum("qij,qj->qi", frames[group], meshes.points[entries]), group


def extents(meshes: Meshes, which: Ints, frames: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest coordinates (m, 3) of some bodies in their frames (m, 3, 3)."""
    local, group = project(meshes, which, frames)
    return lowest(local, group, len(which)), highest(local, group, len(which))


def back_faces(meshes: Meshes, which: Ints, frames: Floats) -> Floats:
    """Coordinate out (m,) of the inner face of some boards in their frames (m, 3, 3), ribs and haunches left out."""
    local, group = project(meshes, which, frames)
    innermost = lowest(local[:, 2], group, len(which))
    entries, owner = spread(meshes.triangle_start, which)
    normal = face_vectors(meshes, entries)
    inward = -np.einsum("tj,tj->t", normal, frames[owner, 2])
    plane = inward > 0.985 * np.linalg.norm(normal, axis=1)
    corners = meshes.points[meshes.triangles[entries[plane]]]
    owner, inward = owner[plane], inward[plane]
    depth = np.einsum("tkj,tj->tk", corners, frames[owner, 2]).min(axis=1)
    order = np.lexsort((depth, owner))
    depth, owner, inward = depth[order], owner[order], inward[order]
    whole = total(inward, owner, len(which))
    before = np.cumsum(inward) - np.concatenate([[0.0], np.cumsum(whole)])[owner]
    face = lowest(depth[before > RIBBED * whole[owner]], owner[before > RIBBED * whole[owner]], len(which))
    return np.where(np.isfinite(face) & (face > innermost + RIB), face, innermost)


def thickest(meshes: Meshes, which: Ints, frames: Floats, along: int) -> tuple[Floats, Floats]:
    """Lowest and highest coordinate ``along`` (m,) where boards have both faces: no tongue, no lip."""
    local, group = project(meshes, which, frames)
    place, depth, count = local[:, along], local[:, 2], len(which)
    low, high = back_faces(meshes, which, frames), highest(depth, group, count)
    tenth = 0.1 * (high - low)[group]
    near, far = depth < low[group] + tenth, depth > high[group] - tenth
    start = np.maximum(lowest(place[near], group[near], count), lowest(place[far], group[far], count))
    end = np.minimum(highest(place[near], group[near], count), highest(place[far], group[far], count))
    return start, end


def silhouettes(meshes: Meshes, which: Ints, frames: Floats, side: int, sign: int, along: int) -> Lines:
    """Outermost coordinate ``side`` of each body as a function of coordinate ``along``.

    ``frames`` (m, 3, 3) rows are unit vectors; ``sign`` +1 asks for the largest, -1 for the smallest. Values keep
    their sign. Exact for bodies with plane faces; arcs as their triangles have them.
    """
    count = len(which)
    entries, group = spread(meshes.triangle_start, which)
    triangles = meshes.triangles[entries]
    corners = meshes.points[triangles]
    to = sign * frames[:, side]
    reach = np.einsum("tkj,tj->tk", corners, to[group])
    place = np.einsum("tkj,tj->tk", corners, frames[:, along][group])
    vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = np.einsum("tj,tj->t", unit(vectors), to[group]) > FACING

    low, high = lowest(place.min(axis=1), group, count), highest(place.max(axis=1), group, count)
    faced, owner = facing[:, None] & np.ones(3, bool), np.repeat(group, 3)[np.repeat(facing, 3)]
    x, t = reach[faced], place[faced]
    number = np.maximum(np.bincount(owner, minlength=count), 1)
    mean_t, mean_x = total(t, owner, count) / number, total(x, owner, count) / number
    dt, dx = t - mean_t[owner], x - mean_x[owner]
    spread_t = total(dt * dt, owner, count)
    slope = np.divide(total(dt * dx, owner, count), spread_t, out=np.zeros(count), where=spread_t > 1e-12)
    off = highest(np.abs(dx - slope[owner] * dt), owner, count)
    straight = (off < STRAIGHT) & (lowest(t, owner, count) - low < 1e-3) & (high - highest(t, owner, count) < 1e-3)
    at = np.stack([low, high], axis=1)
    value = mean_x[:, None] + slope[:, None] * (at - mean_t[:, None])

    odd = np.flatnonzero(~straight & np.isfinite(low))
    order = np.argsort(group, kind="stable")
    bounds = np.searchsorted(group[order], np.arange(count + 1))
    bent = {
        int(i): _envelope(place[order[bounds[i] : bounds[i + 1]]], reach[order[bounds[i] : bounds[i + 1]]]) for i in odd
    }
    width = max([2, *(len(a) for a, _ in bent.values())])
    at = np.pad(at, ((0, 0), (0, width - 2)), mode="edge")
    value = np.pad(value, ((0, 0), (0, width - 2)), mode="edge")
    for i, (stations, values) in bent.items():
        at[i], value[i] = stations[-1], values[-1]
        at[i, : len(stations)], value[i, : len(values)] = stations, values
    return Lines(at, sign * value)


def outline(meshes: Meshes, which: int, plane: Floats) -> Any:
    """What is seen of one body in a plane, given by two unit vectors (2, 3), as a shapely geometry."""
    corners = meshes.points[meshes.triangles[meshes.triangle_start[which] : meshes.triangle_start[which + 1]]] @ plane.T
    triangles = shapely.polygons(corners)
    return shapely.union_all(triangles[shapely.area(triangles) > 1e-9], grid_size=1e-6)


def _envelope(place: Floats, reach: Floats) -> tuple[Floats, Floats]:
    """Upper outline of triangles (t, 3) in the plane (place, reach) as a line with jumps."""
    start, end = place, np.roll(place, -1, axis=1)
    first, last = reach, np.roll(reach, -1, axis=1)
    swap = start > end
    start, end = np.where(swap, end, start).ravel(), np.where(swap, start, end).ravel()
    first, last = np.where(swap, last, first).ravel(), np.where(swap, first, last).ravel()
    stations = np.unique(np.round(place / 1e-6).astype(np.int64)) * 1e-6
    stations = stations[np.append(True, np.diff(stations) > SAME_LENGTH)]
    stations[[0, -1]] = place.min(), place.max()
    if len(stations) > MOST_STATIONS:
        stations = stations[np.unique(np.linspace(0, len(stations) - 1, MOST_STATIONS).round().astype(int))]
    middle = 0.5 * (stations[1:] + stations[:-1])
    covers = (start[:, None] <= middle) & (end[:, None] >= middle)
    length = np.maximum(end - start, 1e-12)
    slope = (last - first) / length
    lo = np.where(covers, first[:, None] + slope[:, None] * (stations[:-1] - start[:, None]), -np.inf)
    hi = np.where(covers, first[:, None] + slope[:, None] * (stations[1:] - start[:, None]), -np.inf)
    mid = np.where(covers, first[:, None] + slope[:, None] * (middle - start[:, None]), -np.inf)
    top = mid.argmax(axis=0)
    # The edge that is outermost in the middle of a stretch stands for all of it; stretches end wherever a corner is.
    columns = np.arange(len(middle))
    known = np.isfinite(mid[top, columns])
    at = np.stack([stations[:-1], stations[1:]], axis=1)[known].ravel()
    value = np.stack([lo[top, columns], hi[top, columns]], axis=1)[known].ravel()
    if len(at) == 0:
        return place.min() * np.ones(2), reach.max() * np.ones(2)
    return _simplified(at, value)


def _simplified(at: Floats, value: Floats) -> tuple[Floats, Floats]:
    """A line without repeated points and without points between two others on one straight."""
    again = np.append(False, (np.diff(at) == 0) & (np.abs(np.diff(value)) < 1e-9))
    at, value = at[~again], value[~again]
    keep = [0]
    for i in range(1, len(at) - 1):
        gap = at[i + 1] - at[keep[-1]]
        share = (at[i] - at[keep[-1]]) / gap if gap > 0 else 0.0
        if gap == 0 or abs(value[keep[-1]] + share * (value[i + 1] - value[keep[-1]]) - value[i]) > 1e-9:
            keep.append(i)
    keep.append(len(at) - 1)
    return at[keep], value[keep]


def sample(lines: Lines, at: Floats, side: int) -> Floats:
    """Values (n, s) of n lines at stations ``at`` (n, s), coming from below (``side`` -1) or above (+1) at a jump."""
    below = (lines.at[:, None, :] <= at[:, :, None]) if side > 0 else (lines.at[:, None, :] < at[:, :, None])
    last = lines.at.shape[1] - 1
    right = np.clip(below.sum(axis=2), 1, last)
    a, b = np.take_along_axis(lines.at, right - 1, 1), np.take_along_axis(lines.at, right, 1)
    x, y = np.take_along_axis(lines.value, right - 1, 1), np.take_along_axis(lines.value, right, 1)
    share = np.divide(at - a, b - a, out=np.zeros_like(at), where=b - a > 0)
    result: Floats = x + np.clip(share, 0.0, 1.0) * (y - x)
    return result


@dataclass(frozen=True, slots=True)
class Gaps:
    """Distance between two facing silhouettes on n stretches of s pieces.

    ``at`` (n, s, 2) both ends of each piece, ``value`` (n, s, 2) the distance there; pieces of no length repeat.
    """

    at: Floats
    value: Floats

    def flat(self) -> tuple[Floats, Floats]:
        """Values and stations (n, 2 s) side by side."""
        count, size, _ = self.value.shape
        return self.value.reshape(count, 2 * size), self.at.reshape(count, 2 * size)


def gaps(near: Lines, far: Lines, start: Floats, end: Floats) -> Gaps:
    """``far - near`` between ``start`` and ``end`` (n,), broken at every bend or jump of either line."""
    inner = np.concatenate([near.at, far.at], axis=1)
    stations = np.sort(np.clip(inner, start[:, None], end[:, None]), axis=1)
    stations = np.concatenate([start[:, None], stations, end[:, None]], axis=1)
    low, high = stations[:, :-1], stations[:, 1:]
    value = np.stack(
        [sample(far, low, 1) - sample(near, low, 1), sample(far, high, -1) - sample(near, high, -1)], axis=2
    )
    return Gaps(np.stack([low, high], axis=2), value)


@dataclass(frozen=True)
class Extremes:
    """Smallest and largest distance (n,) of two facing lines, and where along them."""

    smallest: Floats
    largest: Floats
    at_min: Floats
    at_max: Floats


def extremes(near: Lines, far: Lines, start: Floats, end: Floats) -> Extremes:
    """Extremes of ``far - near`` between ``start`` and ``end`` (n,); in the middle where it does not vary.

    Infinite where there is nothing between start and end.
    """
    gap = gaps(near, far, start, end)
    value, at = gap.flat()
    # A jump right at an end belongs to what lies beyond it.
    live = (gap.at[:, :, 1] - gap.at[:, :, 0] > 1e-9).repeat(2, axis=1)
    low, high = np.where(live, value, np.inf), np.where(live, value, -np.inf)
    rows = np.arange(len(start))
    pick_low, pick_high = low.argmin(axis=1), high.argmax(axis=1)
    smallest, largest = low[rows, pick_low], high[rows, pick_high]
    flat = largest - smallest < SAME_LENGTH
    middle = 0.5 * (start + end)
    return Extremes(
        smallest, largest, np.where(flat, middle, at[rows, pick_low]), np.where(flat, middle, at[rows, pick_high])
    )


def sections(meshes: Meshes, which: Ints, frames: Floats, heights: Floats) -> tuple[Floats, Floats]:
    """Extents of horizontal sections of some bodies: lowest and highest (m, h, 2) along the first and last frame row.

    ``heights`` (m, h) world z. NaN where a body is not met.
    """
    level = np.stack([np.broadcast_to([0.0, 0.0, 1.0], (len(frames), 3)), frames[:, 0], frames[:, 2]], axis=1)
    return slices(meshes, which, level, heights)


def slices(meshes: Meshes, which: Ints, frames: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Extents of sections square to the first row of frames: lowest and highest (m, h, 2) along the two other rows.

    ``at`` (m, h) coordinates along the first row. NaN where a body is not met.
    """
    m, h = at.shape
    entries, group = spread(meshes.triangle_start, which)
    local = np.einsum("tij,tkj->tki", frames[group], meshes.points[meshes.triangles[entries]])
    flat = local[:, :, 1:]
    low, high = np.full((m, h, 2), np.inf), np.full((m, h, 2), -np.inf)
    for j in range(h):
        off = local[:, :, 0] - at[group, j][:, None]
        for a, b in ((0, 1), (1, 2), (2, 0)):
            cut = (off[:, a] < 0) != (off[:, b] < 0)
            share = (off[cut, a] / (off[cut, a] - off[cut, b]))[:, None]
            points = flat[cut, a] + share * (flat[cut, b] - flat[cut, a])
            np.minimum.at(low[:, j], group[cut], points)
            np.maximum.at(high[:, j], group[cut], points)
    missed = ~np.isfinite(low)
    low[missed], high[missed] = np.nan, np.nan
    return low, high


def clip_triangles(corners: Floats, low: Floats, high: Floats) -> tuple[Floats, Bools]:
    """What of triangles (t, 3, 3) lies between ``low`` and ``high`` (t, 2) in coordinates 1 and 2.

    Gives lowest and highest coordinate 0 of the rest (t, 2), and whether anything is left (t,).
    """
    least, most = corners[:, :, 1:].min(axis=1), corners[:, :, 1:].max(axis=1)
    met: Bools = np.all((most >= low) & (least <= high), axis=1)
    reach = np.stack([corners[:, :, 0].min(axis=1), corners[:, :, 0].max(axis=1)], axis=1)
    # Most triangles lie wholly inside or outside: nothing is cut off them.
    left = np.flatnonzero(met & ~np.all((least >= low) & (most <= high), axis=1))
    met[left] = False
    ring = corners[left]
    for axis, bound, sign in ((1, low[:, 0], 1.0), (1, high[:, 0], -1.0), (2, low[:, 1], 1.0), (2, high[:, 1], -1.0)):
        ring, some = _cut_off(ring, sign * (ring[:, :, axis] - bound[left, None]))
        left = left[some]
    met[left] = True
    reach[left] = np.stack([ring[:, :, 0].min(axis=1), ring[:, :, 0].max(axis=1)], axis=1)
    reach[~met] = np.inf, -np.inf
    return reach, met


def _cut_off(ring: Floats, inside: Floats) -> tuple[Floats, Bools]:
    """What of rings (t, k, 3) is left where ``inside`` (t, k) is not negative, and which rings leave anything (t,).

    Shorter rings repeat their last corner.
    """
    if (inside >= 0).all():
        return ring, np.ones(len(ring), bool)
    following = np.concatenate([inside[:, 1:], inside[:, :1]], axis=1)
    crossing = ((inside < 0) != (following < 0)) & (inside != following)
    share = np.divide(inside, inside - following, out=np.zeros_like(inside), where=crossing)
    cut = ring + share[:, :, None] * (np.concatenate([ring[:, 1:], ring[:, :1]], axis=1) - ring)
    count, size = inside.shape
    corners = np.stack([ring, cut], axis=2).reshape(count, 2 * size, 3)
    valid = np.stack([inside >= 0, crossing], axis=2).reshape(count, 2 * size)
    number = valid.sum(axis=1)
    some: Bools = number > 0
    row = np.flatnonzero(some)[:, None]
    place = np.minimum(np.arange(number.max(initial=1)), number[row] - 1)
    return corners[row, np.argsort(~valid, axis=1, kind="stable")[row, place]], some


@dataclass(frozen=True, slots=True)
class Intervals:
    """Stretches ``start`` to ``end`` (m,), each of a ``group`` (m,), sorted by group and start."""

    group: Ints
    start: Floats
    end: Floats


def merge(group: Ints, start: Floats, end: Floats, bridge: float = SAME_LENGTH) -> Intervals:
    """Union of stretches within each group; those nearer than ``bridge`` grow together.

    >>> m = merge(np.array([0, 0, 0]), np.array([0.0, 2.0, 0.5]), np.array([1.0, 3.0, 1.5]))
    >>> m.start.tolist(), m.end.tolist()
    ([0.0, 2.0], [1.5, 3.0])
    """
    order = np.lexsort((start, group))
    group, start, end = group[order], start[order], end[order]
    furthest = running_highest(group, end)
    fresh = np.ones(len(group), bool)
    fresh[1:] = (group[1:] != group[:-1]) | (start[1:] > furthest[:-1] + bridge)
    first = np.flatnonzero(fresh)
    last = np.append(first[1:], len(group)) - 1 if len(first) else first
    return Intervals(group[first], start[first], furthest[last])


def complement(union: Intervals, first: Floats, last: Floats) -> Intervals:
    """What of each group (n,) from ``first`` to ``last`` no stretch covers.

    >>> c = complement(Intervals(np.array([0]), np.array([1.0]), np.array([2.0])), np.array([0.0]), np.array([5.0]))
    >>> c.start.tolist(), c.end.tolist()
    ([0.0, 2.0], [1.0, 5.0])
    """
    count = len(first)
    everyone = np.arange(count)
    group = np.concatenate([union.group, everyone])
    start = np.concatenate([union.start, last])
    end = np.concatenate([union.end, last])
    order = np.lexsort((start, group))
    group, start, end = group[order], start[order], end[order]
    furthest = running_highest(group, end)
    before = np.empty(len(group))
    fresh = np.append(True, group[1:] != group[:-1]) if len(group) else np.zeros(0, bool)
    before[1:] = furthest[:-1]
    before[fresh] = first[group[fresh]]
    # Pieces may end before their line begins, or begin behind its end.
    before, start = np.maximum(before, first[group]), np.minimum(start, last[group])
    hole = start - before > SAME_LENGTH
    return Intervals(group[hole], before[hole], start[hole])


def running_highest(group: Ints, values: Floats) -> Floats:
    """Running maximum within each group of a list sorted by group.

    >>> running_highest(np.array([0, 0, 1, 1]), np.array([3.0, 1.0, 0.0, 2.0]))
    array([3., 3., 0., 2.])
    """
    order = np.argsort(values, kind="stable")
    rank = np.empty(len(values), np.int64)
    rank[order] = np.arange(len(values))
    # Ranks of a later group are above all of an earlier one, so that no group sees the one before it.
    above = np.cumsum(np.append(0, np.diff(group) != 0)[: len(values)]) * len(values)
    result: Floats = values[order[np.maximum.accumulate(rank + above) - above]]
    return result
