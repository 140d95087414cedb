"""Describes prisms as IFC bodies, in each of the ways that models come in.

A body stands in its part's own axes: x along the facade, y inwards, z up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, hypot, radians, sin
from typing import Any, Final, Literal

import ifcopenshell

from checker.demo.hall import Part, Place, Point, Prism, extent, is_rectangle

Schema = Literal["IFC2X3", "IFC4", "IFC4X3"]
Unit = Literal["mm", "cm", "m", "inch", "foot"]
Body = Literal["extrusion", "mapped", "brep", "tessellation", "clipped", "boolean", "mixed"]

MM: Final[Mapping[str, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "foot": 304.8}
DIGITS: Final[Mapping[str, int]] = {"mm": 6, "cm": 7, "m": 9, "inch": 8, "foot": 9}
"""Decimals written: never coarser than a millionth of a millimetre."""
WAYS: Final[tuple[Body, ...]] = ("extrusion", "mapped", "brep", "tessellation", "clipped", "boolean")
"""What "mixed" takes in turn."""
LONGER_MM: Final = 150.0
"""How far a body that is to be cut reaches beyond the cut."""
FAR_MM: Final = 20000.0
"""A block that cuts reaches this far from the cut: beyond every part."""
_UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Pose:
    """A turn about the vertical and a place, in mm: p -> R p + (x, y, z)."""

    cosine: float = 1.0
    sine: float = 0.0
    x: float = 0.0
    y: float = 0.0
    z: float = 0.0

    @staticmethod
    def turned(angle_deg: float, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> "Pose":
        """By an angle; right angles stay exact."""
        exact = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
        c, s = exact.get(angle_deg % 360.0, (cos(radians(angle_deg)), sin(radians(angle_deg))))
        return Pose(c, s, x, y, z)

    def apply(self, place: Place) -> Place:
        """Where a place goes."""
        x, y, z = place
        c, s = self.cosine, self.sine
        return c * x - s * y + self.x, s * x + c * y + self.y, z + self.z

    def after(self, inner: "Pose") -> "Pose":
        """First ``inner``, then this."""
        c, s = self.cosine, self.sine
        turn = c * inner.cosine - s * inner.sine, s * inner.cosine + c * inner.sine
        return Pose(*turn, *self.apply((inner.x, inner.y, inner.z)))

    def inverse(self) -> "Pose":
        """The way back."""
        c, s = self.cosine, self.sine
        return Pose(c, -s, -(c * self.x + s * self.y), -(c * self.y - s * self.x), -self.z)


_MAPPED = Pose.turned(90.0, 250.0, -120.0, 40.0)
"""How mapped bodies are turned and shifted against the part's own axes."""


class Sheet:
    """A file in the making and its small things: lengths in its unit, points, directions, placements."""

    def __init__(self, schema: Schema, unit: Unit) -> None:
        self.file: Any = ifcopenshell.file(schema=schema)
        self.schema, self.unit = schema, unit
        self._seen: dict[tuple[Any, ...], Any] = {}

    def new(self, kind: str, *values: Any) -> Any:
        """An entity of its own."""
        return self.file.create_entity(kind, *values)

    def one(self, kind: str, *values: Any) -> Any:
        """An entity that is shared wherever an equal one is needed."""
        key = (kind, *values)
        if key not in self._seen:
            self._seen[key] = self.new(kind, *values)
        return self._seen[key]

    def length(self, value_mm: float) -> float:
        """A length in the unit of the file, without float noise."""
        return round(value_mm / MM[self.unit], DIGITS[self.unit]) + 0.0

    def point(self, *values_mm: float) -> Any:
        """A point in the plane or in space."""
        return self.one("IfcCartesianPoint", tuple(self.length(value) for value in values_mm))

    def direction(self, *values: float) -> Any:
        """A direction in space."""
        return self.one("IfcDirection", tuple(round(value, 15) + 0.0 for value in values))

    def axes(self, place: Place, up: Place, along: Place) -> Any:
        """A frame by its origin, z axis and x axis."""
        if (up, along) == (_UP, (1.0, 0.0, 0.0)):
            return self.one("IfcAxis2Placement3D", self.point(*place), None, None)
        return self.one("IfcAxis2Placement3D", self.point(*place), self.direction(*up), self.direction(*along))

    def pose(self, pose: Pose) -> Any:
        """A frame by its pose."""
        return self.axes((pose.x, pose.y, pose.z), _UP, (pose.cosine, pose.sine, 0.0))


def shape(sheet: Sheet, context: Any, part: Part, origin: Place, way: Body) -> Any:
    """The product shape of a part whose own axes start at ``origin`` (u, v, n)."""
    solids = [solid.moved(-origin[0], -origin[1], -origin[2]) for solid in part.bodies]
    if way == "mapped":
        items = tuple(_extrusion(sheet, solid, _MAPPED.inverse()) for solid in solids)
        inner = sheet.one("IfcShapeRepresentation", context, "Body", "SweptSolid", items)
        source = sheet.one("IfcRepresentationMap", sheet.pose(Pose()), inner)
        across = sheet.direction(_MAPPED.cosine, _MAPPED.sine, 0.0), sheet.direction(-_MAPPED.sine, _MAPPED.cosine, 0.0)
        place = sheet.point(_MAPPED.x, _MAPPED.y, _MAPPED.z)
        target = sheet.one("IfcCartesianTransformationOperator3D", *across, place, 1.0, sheet.direction(*_UP))
        items = (sheet.new("IfcMappedItem", source, target),)
        kind = "MappedRepresentation"
    else:
        make, kind = {
            "extrusion": (_extrusion, "SweptSolid"),
            "brep": (_brep, "Brep"),
            "tessellation": (_tessellation, "SurfaceModel" if sheet.schema == "IFC2X3" else "Tessellation"),
            "clipped": (_clipped, "Clipping"),
            "boolean": (_boolean, "CSG"),
        }[way]
        items = tuple(make(sheet, solid) for solid in solids)
    drawn = sheet.new("IfcShapeRepresentation", context, "Body", kind, items)
    return sheet.new("IfcProductDefinitionShape", None, None, (drawn,))


def _extrusion(sheet: Sheet, solid: Prism, base: Pose = Pose()) -> Any:
    """The prism drawn out of its plane; ``base`` is applied last."""
    flip_a, flip_b = {"uv": (1.0, 1.0), "un": (1.0, -1.0), "nv": (-1.0, 1.0)}[solid.plane]
    outline, hole = ([(a * flip_a, b * flip_b) for a, b in ring] for ring in (solid.outline, solid.hole))
    (a0, b0), (a1, b1) = extent(outline)
    at = (a0 + a1) / 2, (b0 + b1) / 2
    centre = sheet.one("IfcAxis2Placement2D", sheet.point(0.0, 0.0), None)
    if solid.section is not None:
        name, sizes = solid.section
        kind = {"I": "IfcIShapeProfileDef", "circle": "IfcCircleProfileDef"}[name]
        profile = sheet.one(kind, "AREA", None, centre, *(sheet.length(size) for size in sizes))
    elif is_rectangle(solid.outline) and not hole:
        sides = sheet.length(a1 - a0), sheet.length(b1 - b0)
        profile = sheet.one("IfcRectangleProfileDef", "AREA", None, centre, *sides)
    else:
        at = a0, b0
        rings = [_ring(sheet, [(a - a0, b - b0) for a, b in ring]) for ring in (outline, hole) if ring]
        if hole:
            profile = sheet.one("IfcArbitraryProfileDefWithVoids", "AREA", None, rings[0], (rings[1],))
        else:
            profile = sheet.one("IfcArbitraryClosedProfileDef", "AREA", None, rings[0])
    s, (a, b) = solid.start, at
    place, out, across = {
        "uv": ((a, -s, b), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0)),
        "un": ((a, b, s), _UP, (1.0, 0.0, 0.0)),
        "nv": ((s, a, b), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    }[solid.plane]
    turn = Pose(base.cosine, base.sine)
    position = sheet.axes(base.apply(place), turn.apply(out), turn.apply(across))
    return sheet.one("IfcExtrudedAreaSolid", profile, position, sheet.direction(*_UP), sheet.length(solid.depth))


def _ring(sheet: Sheet, points: Sequence[Point]) -> Any:
    return sheet.one("IfcPolyline", tuple(sheet.point(*point) for point in [*points, points[0]]))


def _brep(sheet: Sheet, solid: Prism) -> Any:
    return sheet.new("IfcFacetedBrep", sheet.new("IfcClosedShell", _faces(sheet, solid)))


def _faces(sheet: Sheet, solid: Prism) -> tuple[Any, ...]:
    made = []
    for loops in _loops(solid):
        bounds = []
        for number, loop in enumerate(loops):
            polygon = sheet.new("IfcPolyLoop", tuple(sheet.point(*point) for point in loop))
            bounds.append(sheet.new("IfcFaceBound" if number else "IfcFaceOuterBound", polygon, True))
        made.append(sheet.new("IfcFace", tuple(bounds)))
    return tuple(made)


def _tessellation(sheet: Sheet, solid: Prism) -> Any:
    """Triangles for boxes, polygons else; IFC2X3 knows neither and takes a surface."""
    if sheet.schema == "IFC2X3":
        shell = sheet.new("IfcConnectedFaceSet", _faces(sheet, solid))
        return sheet.new("IfcFaceBasedSurfaceModel", (shell,))
    faces = _loops(solid)
    points = sorted({point for loops in faces for loop in loops for point in loop})
    index = {point: number for number, point in enumerate(points, 1)}
    listed = tuple(tuple(sheet.length(value) for value in point) for point in points)
    cloud = sheet.new("IfcCartesianPointList3D", listed)
    numbered = [[tuple(index[point] for point in loop) for loop in loops] for loops in faces]
    if is_rectangle(solid.outline) and not solid.hole:
        fans = tuple((loop[0], *pair) for [loop] in numbered for pair in pairwise(loop[1:]))
        return sheet.new("IfcTriangulatedFaceSet", cloud, None, True, fans, None)
    made = [
        sheet.new("IfcIndexedPolygonalFaceWithVoids", outer, tuple(holes))
        if holes
        else sheet.new("IfcIndexedPolygonalFace", outer)
        for outer, *holes in numbered
    ]
    return sheet.new("IfcPolygonalFaceSet", cloud, True, tuple(made), None)


def _clipped(sheet: Sheet, solid: Prism) -> Any:
    """A longer solid, cut by half spaces."""
    result = _extrusion(sheet, _longer(solid))
    for place, normal, across in _cuts(solid):
        plane = sheet.one("IfcPlane", sheet.axes(place, normal, across))
        # Not agreeing: what is taken away lies on the side the normal points to.
        half = sheet.one("IfcHalfSpaceSolid", plane, False)
        result = sheet.new("IfcBooleanClippingResult", "DIFFERENCE", result, half)
    return result


def _boolean(sheet: Sheet, solid: Prism) -> Any:
    """A longer solid less blocks that stand on the planes of the cuts."""
    result = _extrusion(sheet, _longer(solid))
    centre = sheet.one("IfcAxis2Placement2D", sheet.point(0.0, 0.0), None)
    side = sheet.length(3 * FAR_MM)
    profile = sheet.one("IfcRectangleProfileDef", "AREA", None, centre, side, side)
    for place, normal, across in _cuts(solid):
        position = sheet.axes(place, normal, across)
        far = sheet.length(FAR_MM)
        block = sheet.one("IfcExtrudedAreaSolid", profile, position, sheet.direction(*_UP), far)
        result = sheet.new("IfcBooleanResult", "DIFFERENCE", result, block)
    return result


def _own(plane: str, a: float, b: float, s: float) -> Place:
    """A point of a prism (in its plane, along its depth) in the part's own axes."""
    return {"uv": (a, -s, b), "un": (a, -b, s), "nv": (s, -a, b)}[plane]


def _loops(solid: Prism) -> list[list[list[Place]]]:
    """The faces as loops, the outer one first, anticlockwise seen from outside; a hole turns the other way."""
    rings = [list(ring) for ring in (solid.outline, solid.hole) if ring]
    for number, ring in enumerate(rings):
        if (_area(ring) > 0) == bool(number):
            ring.reverse()
    near, far = solid.start, solid.start + solid.depth
    if solid.plane != "uv":
        # These planes and the direction of their depth make a left-handed frame.
        near, far = far, near
    faces = [
        [[_own(solid.plane, a, b, far) for a, b in ring] for ring in rings],
        [[_own(solid.plane, a, b, near) for a, b in reversed(ring)] for ring in rings],
    ]
    for ring in rings:
        for p, q in pairwise([*ring, ring[0]]):
            corners = ((p, near), (q, near), (q, far), (p, far))
            faces.append([[_own(solid.plane, *point, s) for point, s in corners]])
    return faces


def _area(ring: Sequence[Point]) -> float:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise([*ring, ring[0]])) / 2


def _is_convex(ring: Sequence[Point]) -> bool:
    corners = zip(ring, [*ring[1:], ring[0]], [*ring[2:], *ring[:2]], strict=True)
    return all((q[0] - p[0]) * (r[1] - q[1]) > (q[1] - p[1]) * (r[0] - q[0]) for p, q, r in corners)


def _is_plate(solid: Prism) -> bool:
    """Whether the solid can be cut out of a longer bar along the facade; others are drawn out too far."""
    return solid.plane == "uv" and not solid.hole and solid.section is None and _is_convex(solid.outline)


def _longer(solid: Prism) -> Prism:
    if not _is_plate(solid):
        start, depth = solid.start - LONGER_MM, solid.depth + 2 * LONGER_MM
        return Prism(solid.plane, solid.outline, start, depth, solid.hole, solid.section)
    (u0, v0), (u1, v1) = extent(solid.outline)
    n0, n1 = solid.start, solid.start + solid.depth
    ring = ((n0, v0), (n1, v0), (n1, v1), (n0, v1))
    return Prism("nv", ring, u0 - LONGER_MM, u1 - u0 + 2 * LONGER_MM)


def _cuts(solid: Prism) -> list[tuple[Place, Place, Place]]:
    """Where the longer solid is cut: a point, the outward normal and a direction across, in the part's own axes."""
    if not _is_plate(solid):
        a, b = solid.outline[0]
        out = _own(solid.plane, 0.0, 0.0, 1.0)
        across = (1.0, 0.0, 0.0) if solid.plane != "nv" else _UP
        back = (-out[0] + 0.0, -out[1] + 0.0, -out[2] + 0.0)
        ends = ((solid.start, back), (solid.start + solid.depth, out))
        return [(_own(solid.plane, a, b, s), normal, across) for s, normal in ends]
    (_, v0), (_, v1) = extent(solid.outline)
    cuts: list[tuple[Place, Place, Place]] = []
    for (a, b), (c, d) in pairwise([*solid.outline, solid.outline[0]]):
        if b == d and b in {v0, v1}:
            continue
        size = hypot(c - a, d - b)
        normal = ((d - b) / size, 0.0, (a - c) / size)
        cuts.append(((a, -solid.start, b), normal, ((c - a) / size, 0.0, (d - b) / size)))
    return cuts
