"""Writes a rule's sketch as an IFC file of its own: triangles, millimetres, the sketch's own names and GlobalIds."""

from pathlib import Path
from typing import Any, Final

import ifcopenshell
import numpy as np

from checker.sketch import Sketch, guid_of

_SAVED: Final = "2026-03-02T08:00:00"
_CLASSES: Final = {
    "panel": ("IfcPlate", "CURTAIN_PANEL"),
    "column": ("IfcColumn", "COLUMN"),
    "plinth": ("IfcFooting", "FOOTING_BEAM"),
    "base-rail": ("IfcMember", "PURLIN"),
    "window": ("IfcWindow", "WINDOW"),
    "opening": ("IfcOpeningElement", "OPENING"),
}
"""Everything else is an accessory that says in words what it is."""


def write_sketch(path: Path, sketch: Sketch) -> None:
    """Write ``sketch`` as IFC4; the same sketch gives the same bytes."""
    file = ifcopenshell.file(schema="IFC4")
    new = file.create_entity
    place = new("IfcAxis2Placement3D", new("IfcCartesianPoint", (0.0, 0.0, 0.0)), None, None)
    context = new("IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, place, None)
    units = new("IfcUnitAssignment", (new("IfcSIUnit", None, "LENGTHUNIT", "MILLI", "METRE"),))
    new("IfcProject", guid_of("project"), None, "Sketch", None, None, None, None, (context,), units)
    here = new("IfcLocalPlacement", None, place)
    model = sketch.model()
    millimetres = np.round((model.meshes.points + model.origin) * 1000.0, 6)
    for i, element in enumerate(model.elements):
        first, last = model.meshes.point_start[i : i + 2]
        points = new("IfcCartesianPointList3D", tuple(tuple(map(float, point)) for point in millimetres[first:last]))
        begin, end = model.meshes.triangle_start[i : i + 2]
        triangles = model.meshes.triangles[begin:end] - first + 1
        faces = new("IfcTriangulatedFaceSet", points, None, True, tuple(tuple(map(int, t)) for t in triangles), None)
        body = new("IfcShapeRepresentation", context, "Body", "Tessellation", (faces,))
        product: dict[str, Any] = {
            "GlobalId": element.guid,
            "Name": element.name,
            "ObjectPlacement": here,
            "Representation": new("IfcProductDefinitionShape", None, None, (body,)),
        }
        ifc_class, predefined = _CLASSES.get(model.roles[i].role, ("IfcDiscreteAccessory", "USERDEFINED"))
        file.create_entity(ifc_class, **product).PredefinedType = predefined
    header = file.header
    header.file_description.description = ("ViewDefinition [ReferenceView]",)
    name = header.file_name
    name.name, name.time_stamp = path.name, _SAVED
    name.author, name.organization, name.authorization = ("",), ("",), "none"
    name.preprocessor_version = name.originating_system = "seamtrace sample"
    text: str = file.to_string()  # type: ignore[no-untyped-call]
    path.write_bytes(text.encode("ascii"))
