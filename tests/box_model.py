"""Facades made of boxes, as records and as IFC files with the same GlobalIds: what outputs are tried on."""

import uuid
from dataclasses import dataclass
from pathlib import Path

import ifcopenshell
import ifcopenshell.api.aggregate
import ifcopenshell.api.context
import ifcopenshell.api.geometry
import ifcopenshell.api.root
import ifcopenshell.api.spatial
import ifcopenshell.api.unit
import ifcopenshell.guid
import numpy as np

from checker.model import Element, Meshes, Model, Role, Source
from checker.result import Issue, Result, SeamTable, Section, Verdict

CLASSES = {"panel": "IfcWall", "column": "IfcColumn", "plinth": "IfcFooting", "roof": "IfcRoof", "opening": "IfcSpace"}
CORNERS = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
FACES = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6)]
TRIANGLES = np.array([t for a, b, c, d in FACES for t in ((a, b, c), (a, c, d))])
PROJECT = "0Prj000000000000000001"
SAVED = "2026-03-04T05:06:07Z"


def guid_of(word: str) -> str:
    return ifcopenshell.guid.compress(uuid.uuid5(uuid.NAMESPACE_URL, word).hex)


@dataclass(frozen=True)
class Part:
    """A box from ``low`` to ``high`` (metres, before the whole hall is turned and moved)."""

    name: str
    role: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]

    @property
    def guid(self) -> str:
        return guid_of(self.name)

    @property
    def ifc_class(self) -> str:
        return CLASSES.get(self.role, "IfcCovering")

    def corners(self, place: "Place") -> np.ndarray:
        return place.world(np.array(self.low) + CORNERS * (np.array(self.high) - self.low))


@dataclass(frozen=True)
class Place:
    """How a hall lies in the world: turned about z, then moved."""

    turn_deg: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def rotation(self) -> np.ndarray:
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    def world(self, points: np.ndarray) -> np.ndarray:
        return points @ self.rotation().T + np.array(self.offset)


def model_of(parts: list[Part], place: Place = Place(), file: str = "facade.ifc") -> Model:
    parts = sorted(parts, key=lambda p: p.guid)
    origin = np.round(np.array(place.offset))
    count = np.arange(len(parts) + 1)
    return Model(
        sources=(Source(file, "00" * 32, "IFC4", "m", "Hall", PROJECT, SAVED, file, "facade", "panels"),),
        elements=tuple(Element(p.guid, p.ifc_class, name=p.name, shown=(p.guid,)) for p in parts),
        roles=tuple(Role(p.role, 1.0, "") for p in parts),
        meshes=Meshes(
            points=np.vstack([np.empty((0, 3)), *(p.corners(place) - origin for p in parts)]),
            triangles=np.vstack([np.empty((0, 3), np.int64), *(TRIANGLES + 8 * i for i in range(len(parts)))]),
            point_start=count * 8,
            triangle_start=count * 12,
        ),
        faults=("",) * len(parts),
        grid=(),
        origin=origin,
    )


def write_ifc(parts: list[Part], path: Path, place: Place = Place()) -> None:
    """The same boxes as an IFC4 file in metres, every one a closed face set in world coordinates."""
    file = ifcopenshell.file(schema="IFC4")
    project = ifcopenshell.api.root.create_entity(file, ifc_class="IfcProject", name="Hall")
    project.GlobalId = PROJECT
    ifcopenshell.api.unit.assign_unit(file, units=[file.createIfcSIUnit(None, "LENGTHUNIT", None, "METRE")])
    context = ifcopenshell.api.context.add_context(file, context_type="Model")
    body = ifcopenshell.api.context.add_context(
        file, context_type="Model", context_identifier="Body", target_view="MODEL_VIEW", parent=context
    )
    site = ifcopenshell.api.root.create_entity(file, ifc_class="IfcSite", name="Site")
    ifcopenshell.api.aggregate.assign_object(file, products=[site], relating_object=project)
    for part in parts:
        element = ifcopenshell.api.root.create_entity(file, ifc_class=part.ifc_class, name=part.name)
        element.GlobalId = part.guid
        # The offset belongs into the placement: face sets are often kept in single precision on the way.
        shift = np.eye(4)
        shift[:3, 3] = place.offset
        ifcopenshell.api.geometry.edit_object_placement(file, product=element, matrix=shift)
        points = part.corners(Place(place.turn_deg)).tolist()
        solid = file.createIfcPolygonalFaceSet(
            file.createIfcCartesianPointList3D(points),
            True,
            [file.createIfcIndexedPolygonalFace([i + 1 for i in face]) for face in FACES],
        )
        shape = file.createIfcShapeRepresentation(body, "Body", "Tessellation", [solid])
        element.Representation = file.createIfcProductDefinitionShape(None, None, [shape])
        if part.ifc_class != "IfcSpace":
            ifcopenshell.api.spatial.assign_container(file, products=[element], relating_structure=site)
    file.write(str(path))


def hall(seam_m: float = 0.022) -> list[Part]:
    """Four rows of two panels before a column on a plinth, outside at negative y; row 3 has the odd seam."""
    parts = [Part("Plinth", "plinth", (-6.2, 0.0, -0.6), (6.2, 0.2, 0.0))]
    for row in range(4):
        gap = seam_m if row == 2 else 0.030
        z = (row * 1.0 + 0.01, row * 1.0 + 0.999)
        left, right = (-5.985, 0.0, z[0]), (gap - 0.015, 0.0, z[0])
        parts.append(Part(f"Panel left {row}", "panel", left, (-0.015, 0.12, z[1])))
        parts.append(Part(f"Panel right {row}", "panel", right, (5.985, 0.12, z[1])))
        parts.append(Part(f"Seal {row}", "seal", (-0.05, 0.12, z[0]), (0.05, 0.14, z[1])))
    parts += [Part(f"Column {x}", "column", (x - 0.1, 0.14, -0.6), (x + 0.1, 0.34, 4.5)) for x in (-6, 0, 6)]
    parts.append(Part("Roof", "roof", (-18.0, -0.1, 4.1), (18.0, 20.0, 4.2)))
    parts.append(Part("Room", "opening", (-6.0, 0.4, 0.0), (6.0, 19.0, 4.0)))
    return parts


def cover(row: int = 2) -> Part:
    """A flashing before the seam of one row."""
    return Part(f"Flashing {row}", "flashing", (-0.1, -0.003, row + 0.01), (0.1, 0.0, row + 0.999))


def issue_of(
    model: Model,
    names: list[str],
    point: tuple[float, float, float],
    look: tuple[float, float, float] = (0.0, 1.0, 0.0),
    place: Place = Place(),
    **more: object,
) -> Issue:
    """An issue about parts given by name, at a place given before the hall is turned and moved; its section a plan."""
    at = [e.name for e in model.elements]
    key = str(more.get("check_id", "seam-width:" + ",".join(names)))
    where = tuple(place.world(np.array(point)).tolist())
    facts: dict[str, object] = {
        "key": uuid.uuid5(uuid.NAMESPACE_URL, key).hex[:8],
        "check_id": key,
        "topic": str(uuid.uuid5(uuid.NAMESPACE_URL, key)),
        "rule": "seam-width",
        "severity": "error",
        "title": "Seam between two panels is too narrow at axis C4",
        "description": "The seam is 22.0 mm wide; the seal parts are made for 30 mm.",
        "members": (0,),
        "worst_mm": 22.0,
        "owner": "panels",
        "elements": tuple(at.index(name) for name in names),
        "point_m": where,
        "look": tuple((place.rotation() @ np.array(look)).tolist()),
        "size_m": 1.0,
        "facade": "south",
        "axis": "C4",
        "remedy": "Move the panel end, or choose a seal made for this width.",
        "section": Section("plan", where, (0.0, 0.0, 1.0), tuple((place.rotation() @ (0.0, 1.0, 0.0)).tolist())),
    }
    return Issue(**(facts | more))  # type: ignore[arg-type]


def result_of(model: Model, issues: list[Issue]) -> Result:
    says = "Seam is 22.0 mm wide, required 25 to 35 mm."
    verdict = Verdict(
        "seam-width", "fail", "error", "seam 1", "panel-end", 22.0, 25.0, 35.0, (), (0, 0, 0), "south", "C4", says
    )
    return Result(model, 8, 3, SeamTable({}), 4.0, (), (verdict,), tuple(issues))
