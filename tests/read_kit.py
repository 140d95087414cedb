"""Small models in code for the tests of the reading layer. Lengths are given in metres, whatever the file's unit is."""

import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.guid
import numpy as np

from checker.read import ModelFile, Reading, open_models

UNITS = {"mm": 0.001, "cm": 0.01, "m": 1.0, "km": 1000.0, "inch": 0.0254, "foot": 0.3048}
_PREFIXES = {"mm": "MILLI", "cm": "CENTI", "m": None, "km": "KILO"}


class Kit:
    """One model under construction."""

    def __init__(self, schema: str = "IFC4", unit: str | None = "mm", site: Any = None, salt: str = "") -> None:
        self.file = ifcopenshell.file(schema=schema)
        self.metres = UNITS[unit or "m"]
        self._salt = salt
        self._count = 0
        self.context = self.make(
            "IfcGeometricRepresentationContext", None, "Model", 3, self.length(1e-6), self.axes((0, 0, 0)), None
        )
        units = self.make("IfcUnitAssignment", self._units(unit))
        self.project = self.root("IfcProject", "Hall", None, None, None, None, [self.context], units)
        self.site = self.make("IfcLocalPlacement", None, site or self.axes((0, 0, 0)))

    def _units(self, unit: str | None) -> list[Any]:
        angle = self.make("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN")
        if unit is None:
            return [angle]
        if unit in _PREFIXES:
            return [angle, self.make("IfcSIUnit", None, "LENGTHUNIT", _PREFIXES[unit], "METRE")]
        millimetre = self.make("IfcSIUnit", None, "LENGTHUNIT", "MILLI", "METRE")
        factor = self.make(
            "IfcMeasureWithUnit", self.file.create_entity("IfcLengthMeasure", UNITS[unit] * 1000.0), millimetre
        )
        dimensions = self.make("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
        return [angle, self.make("IfcConversionBasedUnit", dimensions, "LENGTHUNIT", unit.upper(), factor)]

    def make(self, name: str, *values: Any) -> Any:
        return self.file.create_entity(name, *values)

    def guid(self) -> str:
        self._count += 1
        return str(ifcopenshell.guid.compress(uuid.uuid5(uuid.NAMESPACE_OID, f"{self._salt}{self._count}").hex))

    def root(self, name: str, *values: Any, guid: str = "", **attributes: Any) -> Any:
        """A rooted entity: name, description, and what follows; ``attributes`` by their names."""
        made = self.make(name, guid or self.guid(), None, *values)
        for attribute, value in attributes.items():
            setattr(made, attribute, value)
        return made

    def length(self, metres: float) -> float:
        return float(metres) / self.metres

    def point(self, *metres: float) -> Any:
        return self.make("IfcCartesianPoint", [self.length(value) for value in metres])

    def direction(self, *ratios: float) -> Any:
        return self.make("IfcDirection", [float(value) for value in ratios])

    def axes(self, at: Sequence[float], z: Sequence[float] | None = None, x: Sequence[float] | None = None) -> Any:
        if len(at) == 2:
            return self.make("IfcAxis2Placement2D", self.point(*at), x and self.direction(*x))
        return self.make("IfcAxis2Placement3D", self.point(*at), z and self.direction(*z), x and self.direction(*x))

    def place(self, axes: Any = None, on: Any = None) -> Any:
        return self.make("IfcLocalPlacement", on or self.site, axes or self.axes((0, 0, 0)))

    def rectangle(self, x: float, y: float, position: Any = None) -> Any:
        return self.make("IfcRectangleProfileDef", "AREA", None, position, self.length(x), self.length(y))

    def polyline(self, points: Sequence[Sequence[float]]) -> Any:
        corners = [self.point(*point) for point in points]
        return self.make("IfcPolyline", [*corners, corners[0]])

    def polygon(self, points: Sequence[Sequence[float]], *holes: Sequence[Sequence[float]]) -> Any:
        outer = self.polyline(points)
        if holes:
            inner = [self.polyline(hole) for hole in holes]
            return self.make("IfcArbitraryProfileDefWithVoids", "AREA", None, outer, inner)
        return self.make("IfcArbitraryClosedProfileDef", "AREA", None, outer)

    def extrusion(self, profile: Any, depth: float, position: Any = None, along: Sequence[float] = (0, 0, 1)) -> Any:
        if position is None and self.file.schema == "IFC2X3":
            position = self.axes((0, 0, 0))
        return self.make("IfcExtrudedAreaSolid", profile, position, self.direction(*along), self.length(depth))

    def box(self, x: float, y: float, z: float, position: Any = None) -> Any:
        """A box with its base centred on the origin."""
        return self.extrusion(self.rectangle(x, y), z, position)

    def brep(self, points: Sequence[Sequence[float]], faces: Sequence[Sequence[int]]) -> Any:
        corners = [self.point(*point) for point in points]
        loops = [self.make("IfcPolyLoop", [corners[i] for i in face]) for face in faces]
        made = [self.make("IfcFace", [self.make("IfcFaceOuterBound", loop, True)]) for loop in loops]
        return self.make("IfcFacetedBrep", self.make("IfcClosedShell", made))

    def representation(self, *items: Any, name: str = "Body", kind: str = "SweptSolid") -> Any:
        return self.make("IfcShapeRepresentation", self.context, name, kind, items)

    def mapped(self, *items: Any, origin: Any = None, operator: Any = None) -> Any:
        source = self.make("IfcRepresentationMap", origin or self.axes((0, 0, 0)), self.representation(*items))
        target = operator or self.make(
            "IfcCartesianTransformationOperator3D", None, None, self.point(0, 0, 0), None, None
        )
        return self.make("IfcMappedItem", source, target)

    def product(
        self,
        name: str,
        *items: Any,
        at: Sequence[float] = (0, 0, 0),
        placement: Any = None,
        title: str | None = None,
        guid: str = "",
        object_type: str | None = None,
        representations: Sequence[Any] = (),
        **attributes: Any,
    ) -> Any:
        shown = [*representations, *([self.representation(*items)] if items else [])]
        shape = self.make("IfcProductDefinitionShape", None, None, shown) if shown else None
        at_last = placement or self.place(self.axes(at))
        return self.root(name, title, None, object_type, at_last, shape, guid=guid, **attributes)

    def relate(self, name: str, *ends: Any) -> Any:
        return self.root(name, None, None, *ends)

    def cut(self, host: Any, opening: Any) -> None:
        self.relate("IfcRelVoidsElement", host, opening)

    def properties(self, elements: Sequence[Any], name: str, **values: Any) -> Any:
        kinds = {bool: "IfcBoolean", str: "IfcLabel", float: "IfcReal", int: "IfcInteger"}
        listed = [
            self.make("IfcPropertySingleValue", key, None, self.make(kinds[type(value)], value), None)
            for key, value in values.items()
        ]
        found = self.root("IfcPropertySet", name, None, listed)
        if elements:
            self.relate("IfcRelDefinesByProperties", elements, found)
        return found

    def map_conversion(
        self,
        east: float,
        north: float,
        height: float = 0.0,
        turn_deg: float = 0.0,
        scale: float | None = None,
        unit: str | None = "m",
    ) -> None:
        """``east``, ``north`` and ``height`` are written as they are, in the unit named."""
        named = None if unit is None else self.make("IfcSIUnit", None, "LENGTHUNIT", _PREFIXES[unit], "METRE")
        crs = self.make("IfcProjectedCRS", "EPSG:25832", None, None, None, None, None, named)
        cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        self.make("IfcMapConversion", self.context, crs, east, north, height, float(cos), float(sin), scale)

    def text(self) -> str:
        return str(self.file.to_string())

    def save(self, path: Path) -> Path:
        path.write_text(self.text(), encoding="ascii")
        return path

    def read(self, folder: Path, name: str = "model.ifc") -> Reading:
        return open_models([ModelFile(self.save(folder / name))])


def everything(reading: Reading) -> np.ndarray:
    return np.ones(len(reading.elements), dtype=np.bool_)


def mesh_of(reading: Reading, meshes: Any, index: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (p, 3) in world metres and triangles (t, 3) of one element."""
    begin, end = meshes.point_start[index : index + 2]
    first, last = meshes.triangle_start[index : index + 2]
    return meshes.points[begin:end] + reading.origin, meshes.triangles[first:last] - begin
