"""Writes rules' sketches as IFC files: one alone, or many as the mock-ups of one yard.

A sketch keeps its names; its GlobalIds follow from them. Bodies are triangles, in IFC2X3 faceted.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import ifcopenshell
import numpy as np

from checker.demo.author import zipped
from checker.model import Element, Floats, Ints
from checker.rule import Rule
from checker.sketch import Sketch, guid_of

Schema = Literal["IFC2X3", "IFC4", "IFC4X3"]
_SAVED: Final = "2026-03-02T08:00:00"
_CLASSES: Final = {
    "panel": ("IfcPlate", "CURTAIN_PANEL"),
    "column": ("IfcColumn", "COLUMN"),
    "plinth": ("IfcFooting", "FOOTING_BEAM"),
    "base-rail": ("IfcMember", "PURLIN"),
    "window": ("IfcWindow", "WINDOW"),
    "door": ("IfcDoor", "GATE"),
    "opening": ("IfcOpeningElement", "OPENING"),
    "roof": ("IfcSlab", "ROOF"),
    "membrane": ("IfcCovering", "MEMBRANE"),
}
"""Everything else is an accessory that says in words what it is."""
_LENGTHS: Final = frozenset(("freethickness", "slack"))
"""Properties that are lengths in mm: they are written in the unit of the file."""
UNITS: Final = {"mm": 0.001, "m": 1.0, "foot": 0.3048}
APART_M: Final = 60.0
"""Mock-ups of a yard stand so far from each other, on a slant, so that no two of their sides are in one plane."""


@dataclass(frozen=True)
class Drawn:
    """An element as it is to be written: words, role, points (p, 3) in metres and triangles (t, 3)."""

    element: Element
    role: str
    points: Floats
    triangles: Ints


def write_sketch(path: Path, sketch: Sketch) -> None:
    """Write ``sketch`` as IFC4 in mm; the same sketch gives the same bytes."""
    _write(path, list(_drawn(sketch, "", np.eye(4))), "IFC4", "mm")


def families(rules: Sequence[Rule[Any, Any]]) -> Mapping[str, tuple[Rule[Any, Any], ...]]:
    """The rules by the mock-up that their sketches show, named after what is built there."""
    found: dict[frozenset[str], list[Rule[Any, Any]]] = {}
    for rule in rules:
        found.setdefault(frozenset(rule.good.parts), []).append(rule)
    named = {
        next((name for part, name in _FAMILIES.items() if part in parts), "wall"): tuple(mine)
        for parts, mine in found.items()
    }
    if len(named) < len(found):
        raise ValueError("two kinds of mock-ups have one name")
    return dict(sorted(named.items()))


_FAMILIES: Final = {"membrane 1": "eaves", "roof seal 1": "whole", "column at corner": "corner", "door": "gate"}
"""What tells a mock-up from others: a part that only it has."""


def write_yard(
    path: Path, rules: Sequence[Rule[Any, Any]], schema: Schema = "IFC4", unit: str = "mm", turn_deg: float = 0.0
) -> Mapping[str, str]:
    """Write a yard of mock-ups of one family, one per rule, each with the fault of its bad sketch, and the sound ones.

    So every layer is well made in all of them but one. The whole yard may be turned about the vertical. Gives the rule
    of the mock-up that each GlobalId belongs to, "" for a sound one.
    """
    sound: list[Sketch] = []
    for rule in rules:
        if rule.good not in sound:
            sound.append(rule.good)
    mock_ups = [*((rule.name, rule.bad) for rule in rules), *(("", sketch) for sketch in sound)]
    turn = np.radians(turn_deg)
    turned = np.eye(4)
    turned[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    every: list[Drawn] = []
    owner: dict[str, str] = {}
    for number, (name, sketch) in enumerate(mock_ups):
        place = np.eye(4)
        place[:2, 3] = number * APART_M, number * 0.5 * APART_M
        mine = list(_drawn(sketch, f"{name or number}/", turned @ place))
        owner |= dict.fromkeys((each.element.guid for each in mine), name)
        every += mine
    _write(path, every, schema, unit)
    return owner


def _drawn(sketch: Sketch, prefix: str, place: Floats) -> Iterator[Drawn]:
    """The elements of a sketch, their GlobalIds derived from prefix and name."""
    model = sketch.model(place)
    for i, element in enumerate(model.elements):
        first, last = model.meshes.point_start[i : i + 2]
        begin, end = model.meshes.triangle_start[i : i + 2]
        named = Element(guid_of(f"{prefix}{element.name}"), "", name=element.name, stated=element.stated)
        points = model.meshes.points[first:last] + model.origin
        yield Drawn(named, model.roles[i].role, points, model.meshes.triangles[begin:end] - first)


def _write(path: Path, parts: Sequence[Drawn], schema: Schema, unit: str) -> None:
    file = ifcopenshell.file(schema=schema)
    new = file.create_entity
    place = new("IfcAxis2Placement3D", new("IfcCartesianPoint", (0.0, 0.0, 0.0)), None, None)
    precision = 1e-8 / UNITS[unit]
    context = new("IfcGeometricRepresentationContext", None, "Model", 3, precision, place, None)
    units = new("IfcUnitAssignment", (_length_unit(new, unit),))
    new("IfcProject", guid_of("project"), None, "Sketch", None, None, None, None, (context,), units)
    here = new("IfcLocalPlacement", None, place)
    for part in parts:
        faces, kind = _body(new, schema, np.round(part.points / UNITS[unit], 9), part.triangles)
        body = new("IfcShapeRepresentation", context, "Body", kind, (faces,))
        ifc_class, predefined = _CLASSES.get(part.role, ("IfcDiscreteAccessory", "USERDEFINED"))
        product = new(
            ifc_class,
            GlobalId=part.element.guid,
            Name=part.element.name,
            ObjectPlacement=here,
            Representation=new("IfcProductDefinitionShape", None, None, (body,)),
        )
        if hasattr(product, "PredefinedType"):
            product.PredefinedType = predefined if schema != "IFC4" or ifc_class != "IfcDoor" else "DOOR"
        if part.element.stated:
            _state(new, product, part.element, unit)
    header = file.header
    header.file_description.description = ("ViewDefinition [ReferenceView]",)
    name = header.file_name
    name.name, name.time_stamp = path.name, _SAVED
    name.author, name.organization, name.authorization = ("",), ("",), "none"
    name.preprocessor_version = name.originating_system = "seamtrace sample"
    text: str = file.to_string()  # type: ignore[no-untyped-call]
    data = text.encode("ascii")
    path.write_bytes(zipped(f"{path.stem}.ifc", data) if path.suffix == ".ifczip" else data)


def _length_unit(new: Any, unit: str) -> Any:
    if unit != "foot":
        return new("IfcSIUnit", None, "LENGTHUNIT", {"mm": "MILLI", "m": None}[unit], "METRE")
    metre = new("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    factor = new("IfcMeasureWithUnit", new("IfcLengthMeasure", UNITS[unit]), metre)
    return new(
        "IfcConversionBasedUnit", new("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0), "LENGTHUNIT", "FOOT", factor
    )


def _body(new: Any, schema: Schema, points: Floats, triangles: Ints) -> tuple[Any, str]:
    """The body of one element and the type of its representation."""
    rows = [tuple(map(float, point)) for point in points]
    if schema != "IFC2X3":
        index = tuple(tuple(map(int, corner + 1)) for corner in triangles)
        return new("IfcTriangulatedFaceSet", new("IfcCartesianPointList3D", tuple(rows)), None, True, index, None), (
            "Tessellation"
        )
    corners = [new("IfcCartesianPoint", row) for row in rows]
    faces = [
        new("IfcFace", (new("IfcFaceOuterBound", new("IfcPolyLoop", tuple(corners[k] for k in three)), True),))
        for three in triangles.tolist()
    ]
    return new("IfcFacetedBrep", new("IfcClosedShell", tuple(faces))), "Brep"


def _state(new: Any, product: Any, element: Element, unit: str) -> None:
    """The property values of an element, in a set of their own."""
    values = []
    for key, text in sorted(element.stated.items()):
        value = (
            new("IfcPositiveLengthMeasure", float(text) * 0.001 / UNITS[unit])
            if key in _LENGTHS
            else new("IfcLabel", text)
        )
        values.append(new("IfcPropertySingleValue", key, None, value, None))
    own = new("IfcPropertySet", guid_of(f"{element.guid} set"), None, "Details", None, tuple(values))
    new("IfcRelDefinesByProperties", guid_of(f"{element.guid} states"), None, None, None, (product,), own)
