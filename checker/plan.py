"""Bodies cut level: their plan sections, how far apart these are, how deep they lie in each other."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import shapely

from checker.model import Floats, Meshes

MOST_LEVELS: Final = 8
"""What bodies share in height is cut at no more levels than this."""
THINNEST_BAND: Final = 1e-4
"""Corners nearer to each other in height than this leave no level between them (metres)."""
GRID: Final = 1e-8
"""Outlines are joined on this grid (metres): far finer than anything measured, far coarser than rounding."""
SLIVER: Final = 1e-9
"""Areas smaller than this are noise (square metres)."""


@dataclass(frozen=True)
class Clearance:
    """How far two bodies are apart, or how deep one lies in the other (negative), where that is worst.

    The depth is the least width of what both take. ``way`` (3,) is the level unit direction in which the second one
    must move to open it, ``point`` (3,) the place.
    """

    value: float
    way: Floats
    point: Floats


def clearance(meshes: Meshes, one: int, two: int) -> Clearance | None:
    """How two bodies clear each other at equal heights, measured level; None where they share no height."""
    worst: Clearance | None = None
    for z in _levels(meshes, {one}, {two}):
        a, b = section(meshes, one, z), section(meshes, two, z)
        if a.is_empty or b.is_empty:
            continue
        found = _between(a, b, z)
        if worst is None or found.value < worst.value:
            worst = found
    return worst


@dataclass(frozen=True)
class Step:
    """The widest step of a way from body to body, and the two bodies it lies between."""

    first: int
    second: int
    clear: Clearance


def widest_step(meshes: Meshes, start: Collection[int], goal: Collection[int], through: Collection[int]) -> Step | None:
    """The widest step on the way of smallest steps from one group of bodies to another, at the worst height.

    Steps may lead over the bodies ``through``. There is none to take at heights where a body of both groups is. None
    where both groups share no height.
    """
    worst: Step | None = None
    for z in _levels(meshes, start, goal):
        cuts = {each: section(meshes, each, z) for each in sorted({*start, *goal, *through})}
        cuts = {each: cut for each, cut in cuts.items() if not cut.is_empty}
        one, two = {*start} & cuts.keys(), {*goal} & cuts.keys()
        if not one or not two:
            continue
        both = sorted(one & two)
        wide, first, second = (0.0, both[0], both[0]) if both else shortest_way(cuts, one, two)
        if worst is None or wide > worst.clear.value:
            spot = shapely.get_coordinates(shapely.point_on_surface(cuts[second]))[0]
            touching = Clearance(0.0, np.zeros(3), np.append(spot, z))
            worst = Step(first, second, _between(cuts[first], cuts[second], z) if wide > 0 else touching)
    return worst


def shortest_way(outlines: Mapping[int, Any], start: set[int], goal: set[int]) -> tuple[float, int, int]:
    """The widest step on the way of smallest steps from one group of outlines to another, and what it is between."""
    steps = sorted((float(shapely.distance(outlines[a], outlines[b])), a, b) for a, b in combinations(outlines, 2))
    group = {element: -1 if element in start else -2 if element in goal else element for element in outlines}
    for wide, a, b in steps:
        group = {element: group[b] if each == group[a] else each for element, each in group.items()}
        if len({group[element] for element in start | goal}) == 1:
            return (wide, a, b) if a in start or b in goal else (wide, b, a)
    return 0.0, min(start), min(goal)


def section(meshes: Meshes, element: int, z: float) -> Any:
    """What a body takes of the level plane at height z, an area of shapely; empty where it is not met."""
    triangles = meshes.triangles[meshes.triangle_start[element] : meshes.triangle_start[element + 1]]
    corners = meshes.points[triangles]
    above = corners[:, :, 2] > z
    met = above.any(axis=1) & ~above.all(axis=1)
    corners, above = corners[met], above[met]
    # One corner lies on the other side of the plane than the two others.
    odd = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    rows = np.arange(len(corners))
    ends = []
    for step in (1, 2):
        one, two = corners[rows, odd], corners[rows, (odd + step) % 3]
        # From the lower corner to the upper one, so that both triangles of an edge give the very same point.
        swap = (one[:, 2] > two[:, 2])[:, None]
        low, high = np.where(swap, two, one), np.where(swap, one, two)
        share = (z - low[:, 2]) / (high[:, 2] - low[:, 2])
        ends.append((low + share[:, None] * (high - low))[:, :2])
    segments = np.stack(ends, axis=1)
    segments = segments[np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1) > GRID]
    if len(segments) == 0:
        return shapely.Polygon()
    lines = shapely.union_all(shapely.linestrings(segments), grid_size=GRID)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    if len(faces) == 0:
        return shapely.convex_hull(lines)  # a body that does not close
    # A face lies in the body when a ray from it crosses the outline an odd number of times.
    spots = shapely.get_coordinates(shapely.point_on_surface(faces))
    crosses = (segments[:, 0, 1] > spots[:, None, 1]) != (segments[:, 1, 1] > spots[:, None, 1])
    rise = segments[:, 1, 1] - segments[:, 0, 1]
    share = np.divide(spots[:, None, 1] - segments[:, 0, 1], rise, out=np.zeros(crosses.shape), where=crosses)
    x = segments[:, 0, 0] + share * (segments[:, 1, 0] - segments[:, 0, 0])
    inside = (crosses & (x > spots[:, None, 0])).sum(axis=1) % 2 == 1
    return shapely.union_all(faces[inside], grid_size=GRID)


def _levels(meshes: Meshes, one: Collection[int], two: Collection[int]) -> Floats:
    """Heights at which to cut two groups of bodies: in the middle between their corners, where both groups are."""
    heights = [
        [meshes.points[meshes.point_start[i] : meshes.point_start[i + 1], 2] for i in group] for group in (one, two)
    ]
    low, high = (
        np.max([min(z.min() for z in group) for group in heights]),
        np.min([max(z.max() for z in group) for group in heights]),
    )
    marks = np.unique(np.clip(np.concatenate([z for group in heights for z in group]), low, high))
    bands = np.flatnonzero(np.diff(marks) > THINNEST_BAND)
    if len(bands) > MOST_LEVELS:
        bands = bands[np.linspace(0, len(bands) - 1, MOST_LEVELS).round().astype(int)]
    result: Floats = 0.5 * (marks[bands] + marks[bands + 1])
    return result


def _between(a: Any, b: Any, z: float) -> Clearance:
    """How two sections at one height clear each other."""
    apart = float(shapely.distance(a, b))
    if apart > 0:
        start, end = shapely.get_coordinates(shapely.shortest_line(a, b))
        return Clearance(apart, np.append((end - start) / apart, 0.0), np.append(0.5 * (start + end), z))
    shared = [part for part in shapely.get_parts(shapely.intersection(a, b)) if shapely.area(part) > SLIVER]
    if not shared:
        start, end = shapely.get_coordinates(shapely.shortest_line(a, b))
        return Clearance(0.0, np.zeros(3), np.append(0.5 * (start + end), z))
    worst = Clearance(0.0, np.zeros(3), np.zeros(3))
    for part in shared:
        deep, way = _least_width(part)
        middle = shapely.get_coordinates(shapely.centroid(part))[0]
        away = shapely.get_coordinates(shapely.centroid(b))[0] - middle
        if -deep < worst.value:
            worst = Clearance(-deep, np.append(way if way @ away >= 0 else -way, 0.0), np.append(middle, z))
    return worst


def _least_width(outline: Any) -> tuple[float, Floats]:
    """The least width of an outline, and the unit direction (2,) in which it is that wide: square to an edge."""
    ring = shapely.get_coordinates(shapely.convex_hull(outline))
    edges = np.diff(ring, axis=0)
    across = np.stack([-edges[:, 1], edges[:, 0]], axis=1) / np.linalg.norm(edges, axis=1)[:, None]
    wide = np.ptp(across @ ring.T, axis=1)
    least = int(wide.argmin())
    return float(wide[least]), across[least]
