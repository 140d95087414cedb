"""Bodies that need no geometry kernel: straight extrusions of outlines made of straight edges.

They are exact to the last digits of the file, and a hundred times cheaper. Everything that is not read here for
certain (curves, fillets, tapers, outlines that cross themselves) is left to the kernel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from checker.model import Bools, Floats, Ints
from checker.read.place import Axes, Entity, axes, matrices
from checker.read.solids import first_equal

Ring = Sequence[Sequence[float]]
Outline = tuple[Sequence[Ring], Axes]
"""The rings of an outline (the outer one first, not closed) in file units, and where the profile lies in its plane."""

_LARGEST: Final = 1e12
"""File units. Farther out even float64 has lost the tenths of a millimetre."""


@dataclass(frozen=True, slots=True)
class Built:
    """The meshes of n extrusions one after another, in metres, each in the frame of its representation.

    ``points`` (p, 3); ``triangles`` (t, 3) count from the first point of their own mesh and run anticlockwise seen
    from outside; both starts have n + 1 entries. ``usable`` (n,) says which of them may be used: the outlines of the
    others cross or touch themselves. ``volume_m3`` (n,) is the area inside the outline times the height; where an
    outline crosses itself, what it encloses the other way round is taken off.
    """

    points: Floats
    triangles: Ints
    point_start: Ints
    triangle_start: Ints
    usable: Bools
    volume_m3: Floats


class Extrusions:
    """Gathers the extrusions of one run and builds all their meshes at once."""

    def __init__(self) -> None:
        self._rings: list[Ring] = []
        self._ring_counts: list[int] = []
        self._in_plane: list[Axes] = []
        self._positions: list[Axes] = []
        self._directions: list[Sequence[float]] = []
        self._depths: list[float] = []
        self._metres: list[float] = []

    def __len__(self) -> int:
        return len(self._depths)

    def add(self, solid: Entity, metres: float) -> bool:
        """Takes an IfcExtrudedAreaSolid in a file whose unit is ``metres`` long; False leaves it to the kernel."""
        found = outline(solid[0])
        if found is None:
            return False
        rings, in_plane = found
        position = axes(solid[1])
        direction, depth = tuple(solid[2][0]), float(solid[3])
        if not (0.0 < depth < _LARGEST and all(map(isfinite, direction)) and len(direction) == 3 and any(direction)):
            return False
        self._rings += rings
        self._ring_counts.append(len(rings))
        self._in_plane.append(in_plane)
        self._positions.append(position)
        self._directions.append(direction)
        self._depths.append(depth)
        self._metres.append(metres)
        return True

    def build(self) -> Built:
        """Builds all that was taken."""
        n = len(self)
        if not n:
            none, empty = np.zeros(0), np.zeros(1, dtype=np.int64)
            return Built(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), empty, empty, none.astype(np.bool_), none)
        ring_size = np.array([len(ring) for ring in self._rings], dtype=np.int64)
        ring_owner = np.repeat(np.arange(n), self._ring_counts)
        flat = np.array([point for ring in self._rings for point in ring], dtype=np.float64)
        point_ring = np.repeat(np.arange(len(ring_size)), ring_size)
        owner = ring_owner[point_ring]
        size = np.bincount(owner, minlength=n)
        first = starts(size)

        polygons = shapely.polygons(shapely.linearrings(flat, indices=point_ring), indices=ring_owner)
        caps, caps_owner, usable = _caps(polygons, flat, owner, size, first)
        sides, sides_owner = _sides(flat, ring_size, owner, size, first)

        metres = np.array(self._metres)
        position = matrices(self._positions, 1.0)
        along = np.array(self._directions, dtype=np.float64)
        along *= (np.array(self._depths) / np.linalg.norm(along, axis=1))[:, None]
        frame = position @ matrices(self._in_plane, 1.0)
        bottom = frame[owner, :3, 0] * flat[:, :1] + frame[owner, :3, 1] * flat[:, 1:] + frame[owner, :3, 3]
        top = bottom + np.einsum("nij,nj->ni", position[:, :3, :3], along)[owner]
        points = np.empty((2 * len(flat), 3))
        local = np.arange(len(flat)) - first[owner]
        points[2 * first[owner] + local] = bottom * metres[owner, None]
        points[2 * first[owner] + size[owner] + local] = top * metres[owner, None]

        triangles = np.concatenate([caps, sides])
        triangle_owner = np.concatenate([caps_owner, sides_owner])
        order = np.argsort(triangle_owner, kind="stable")
        triangles, triangle_owner = triangles[order], triangle_owner[order]
        inward = along[triangle_owner, 2] < 0.0
        triangles[inward] = triangles[inward][:, ::-1]
        area = shapely.area(polygons)
        volume = area * np.abs(along[:, 2]) * metres**3
        return Built(points, triangles, 2 * first, starts(np.bincount(triangle_owner, minlength=n)), usable, volume)


def starts(counts: Ints) -> Ints:
    """Where each of n runs begins: (n + 1,), the last entry is the total."""
    out: Ints = np.concatenate([[0], np.cumsum(counts)])
    return out


def _caps(polygons: NDArray[Any], flat: Floats, owner: Ints, size: Ints, first: Ints) -> tuple[Ints, Ints, Bools]:
    """Both ends of all extrusions: triangles, their owners, and which outlines could be triangulated."""
    n = len(size)
    usable: Bools = np.asarray(shapely.is_valid(polygons))
    pieces, piece_owner = shapely.get_parts(shapely.constrained_delaunay_triangles(polygons[usable]), return_index=True)
    piece_owner = np.flatnonzero(usable)[piece_owner]
    corners = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    corner_owner = np.repeat(piece_owner, 3)

    # The triangulation gives coordinates back, unchanged: find each among the points of its outline by sorting.
    table = np.concatenate([flat, corners.reshape(-1, 2)])
    leader = first_equal(np.concatenate([owner, corner_owner]), table)
    usable &= np.bincount(owner[leader[: len(flat)] != np.arange(len(flat))], minlength=n) == 0

    # As many triangles as Euler's formula asks for, or the caps have holes.
    usable &= np.bincount(piece_owner, minlength=n) == size + 2 * shapely.get_num_interior_rings(polygons) - 2
    found = (leader[len(flat) :] - first[corner_owner]).reshape(-1, 3)
    keep = usable[piece_owner]
    found, piece_owner, corners = found[keep], piece_owner[keep], corners[keep]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    clockwise = u[:, 0] * v[:, 1] < u[:, 1] * v[:, 0]
    found[clockwise] = found[clockwise][:, ::-1]
    top = found + size[piece_owner, None]
    return np.concatenate([found[:, ::-1], top]), np.concatenate([piece_owner, piece_owner]), usable


def _sides(flat: Floats, ring_size: Ints, owner: Ints, size: Ints, first: Ints) -> tuple[Ints, Ints]:
    """Two triangles for each edge of each ring, and their owners."""
    ring_start = np.repeat(starts(ring_size)[:-1], ring_size)
    count = np.repeat(ring_size, ring_size)
    here = np.arange(len(flat))
    following = ring_start + (here - ring_start + 1) % count
    a, b = flat[here], flat[following]
    # Far from the origin the area must be taken about a point of the ring.
    about = flat[ring_start]
    twice = (a[:, 0] - about[:, 0]) * (b[:, 1] - about[:, 1]) - (b[:, 0] - about[:, 0]) * (a[:, 1] - about[:, 1])
    ring = np.repeat(np.arange(len(ring_size)), ring_size)
    area = np.bincount(ring, weights=twice, minlength=len(ring_size))
    # Outer rings must run anticlockwise and holes clockwise, whatever the file says.
    outer = np.ones(len(ring_size), dtype=np.bool_)
    ring_owner = owner[starts(ring_size)[:-1]]
    outer[1:] = ring_owner[1:] != ring_owner[:-1]
    turn = ((area < 0.0) == outer)[ring]
    p = np.where(turn, following, here) - first[owner]
    q = np.where(turn, here, following) - first[owner]
    up = size[owner]
    sides = np.concatenate([np.stack([p, q, q + up], axis=1), np.stack([p, q + up, p + up], axis=1)])
    return sides, np.concatenate([owner, owner])


def outline(profile: Entity) -> Outline | None:
    """The outline of a profile made of straight edges, or None where it is not, for certain, one."""
    kind = profile.is_a()
    if profile[0] != "AREA":
        return None
    rings: Sequence[Ring | None]
    position = None
    if kind in ("IfcArbitraryClosedProfileDef", "IfcArbitraryProfileDefWithVoids"):
        inner = profile[3] or () if kind == "IfcArbitraryProfileDefWithVoids" else ()
        rings = [_ring(curve) for curve in (profile[2], *inner)]
    elif kind in _SHAPES:
        position = profile[2]
        rings = _SHAPES[kind](profile)
    else:
        return None
    for ring in rings:
        if ring is None or len(ring) < 3:
            return None
        if not all(isfinite(value) and abs(value) < _LARGEST for point in ring for value in point):
            return None
    return [ring for ring in rings if ring is not None], axes(position)


def _ring(curve: Entity) -> Ring | None:
    """The corners of a closed curve of straight edges, the last not repeated."""
    kind = curve.is_a()
    if kind == "IfcPolyline":
        points = [point[0] for point in curve[0]]
    elif kind == "IfcIndexedPolyCurve" and curve[0].is_a("IfcCartesianPointList2D"):
        listed = curve[0][0]
        if curve[1] is None:
            points = list(listed)
        else:
            if not all(segment.is_a("IfcLineIndex") for segment in curve[1]):
                return None
            runs = [segment[0] for segment in curve[1]]
            if any(before[-1] != after[0] for before, after in pairwise(runs)):
                return None
            numbers = [*runs[0], *(number for run in runs[1:] for number in run[1:])]
            if min(numbers) < 1:
                return None
            points = [listed[number - 1] for number in numbers]
    else:
        return None
    if len(points) < 4 or any(len(point) != 2 for point in points) or points[0] != points[-1]:
        return None
    return points[:-1]


def _box(x: float, y: float) -> Ring:
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


def _plain(profile: Entity, *attributes: int) -> bool:
    """Whether fillets, slopes and the like are absent."""
    return not any(profile[i] for i in attributes)


def _rectangle(profile: Entity) -> list[Ring | None]:
    x, y = profile[3] / 2, profile[4] / 2
    return [_box(x, y) if x > 0.0 and y > 0.0 else None]


def _hollow(profile: Entity) -> list[Ring | None]:
    x, y, wall = profile[3] / 2, profile[4] / 2, profile[5]
    if not (_plain(profile, 6, 7) and 0.0 < wall < min(x, y)):
        return [None]
    return [_box(x, y), _box(x - wall, y - wall)]


def _i_shape(profile: Entity) -> list[Ring | None]:
    # A further attribute or two follow in newer schemas; IFC2X3 ends at the fillet radius.
    x, y, web, flange = profile[3] / 2, profile[4] / 2, profile[5] / 2, profile[6]
    if not (_plain(profile, *range(7, len(profile))) and 0.0 < web < x and 0.0 < flange < y):
        return [None]
    right = [(x, -y), (x, flange - y), (web, flange - y), (web, y - flange), (x, y - flange), (x, y)]
    return [right + [(-a, b) for a, b in reversed(right)]]


def _l_shape(profile: Entity) -> list[Ring | None]:
    x, y, t = (profile[3] if profile[4] is None else profile[4]) / 2, profile[3] / 2, profile[5]
    if not (_plain(profile, 6, 7, 8) and 0.0 < t < 2 * min(x, y)):
        return [None]
    return [[(-x, -y), (x, -y), (x, t - y), (t - x, t - y), (t - x, y), (-x, y)]]


def _u_shape(profile: Entity) -> list[Ring | None]:
    x, y, web, flange = profile[4] / 2, profile[3] / 2, profile[5], profile[6]
    if not (_plain(profile, 7, 8, 9) and 0.0 < web < 2 * x and 0.0 < flange < y):
        return [None]
    lower = [(-x, -y), (x, -y), (x, flange - y), (web - x, flange - y)]
    return [lower + [(a, -b) for a, b in reversed(lower)]]


def _t_shape(profile: Entity) -> list[Ring | None]:
    x, y, web, flange = profile[4] / 2, profile[3] / 2, profile[5] / 2, profile[6]
    if not (_plain(profile, *range(7, 12)) and 0.0 < web < x and 0.0 < flange < 2 * y):
        return [None]
    right = [(web, -y), (web, y - flange), (x, y - flange), (x, y)]
    return [right + [(-a, b) for a, b in reversed(right)]]


def _c_shape(profile: Entity) -> list[Ring | None]:
    x, y, wall, girth = profile[4] / 2, profile[3] / 2, profile[5], profile[6]
    if not (_plain(profile, 7) and 0.0 < wall < min(x, y) and wall < girth < y):
        return [None]
    lower = [(-x, -y), (x, -y), (x, girth - y), (x - wall, girth - y), (x - wall, wall - y), (wall - x, wall - y)]
    return [lower + [(a, -b) for a, b in reversed(lower)]]


_SHAPES: Final = {
    "IfcRectangleProfileDef": _rectangle,
    "IfcRectangleHollowProfileDef": _hollow,
    "IfcIShapeProfileDef": _i_shape,
    "IfcLShapeProfileDef": _l_shape,
    "IfcUShapeProfileDef": _u_shape,
    "IfcTShapeProfileDef": _t_shape,
    "IfcCShapeProfileDef": _c_shape,
}
