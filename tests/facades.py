"""Facades built in other ways than panels on columns, as their modellers write them: curtain walls, walls, precast.

Coordinates of a stretch of facade are (u, d, z) in millimetres: u along it to the right seen from outside, d outwards,
z up. A stretch is placed in plan by the point and the direction (degrees) where its u begins.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import ifcopenshell
import numpy as np
from foreign import guid_of

Span = tuple[float, float]


@dataclass(frozen=True)
class Stretch:
    """Where a stretch of facade begins in plan (mm) and the direction in which it runs."""

    x: float = 0.0
    y: float = 0.0
    degrees: float = 0.0

    def matrix(self) -> np.ndarray:
        """(u, d, z) to building coordinates; d is to the right of the run, for facades run anticlockwise."""
        c, s = np.cos(np.radians(self.degrees)), np.sin(np.radians(self.degrees))
        return np.array([[c, s, 0, self.x], [s, -c, 0, self.y], [0, 0, 1, 0], [0, 0, 0, 1]])


@dataclass(frozen=True)
class Piece:
    """A box: ``file`` is the model it is in, ``parent`` the name of the curtain wall it is part of, "" for none."""

    key: str
    cls: str
    name: str
    u: Span
    d: Span
    z: Span
    predefined: str = ""
    file: str = "facade"
    parent: str = ""
    stretch: Stretch = Stretch()

    @property
    def guid(self) -> str:
        return guid_of(self.key)


@dataclass(frozen=True)
class Site:
    """How a building lies in the world and is written: turned (degrees), moved (m), in a unit, with a body."""

    turn: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    unit: str = "mm"
    body: str = "extruded"
    schema: str = "IFC4"


FAR = Site(24.2, (1_200_000.0, -900_000.0, 35.0))
"""1,500 km away."""


def write(pieces: Sequence[Piece], folder: Path, site: Site = Site()) -> list[Path]:
    """One file per model that the pieces name."""
    folder.mkdir(parents=True, exist_ok=True)
    names = sorted({piece.file for piece in pieces})
    for name in names:
        _write([piece for piece in pieces if piece.file == name], folder / f"{name}.ifc", site)
    return [folder / f"{name}.ifc" for name in names]


def _write(pieces: Sequence[Piece], path: Path, site: Site) -> None:
    file = ifcopenshell.file(schema=site.schema)
    new = file.create_entity
    scale = {"mm": 1.0, "m": 1e-3}[site.unit]

    def point(*at: float) -> object:
        return new("IfcCartesianPoint", tuple(float(v) for v in at))

    def axes(matrix: np.ndarray) -> object:
        directions = [new("IfcDirection", tuple(map(float, matrix[:3, k]))) for k in (2, 0)]
        return new("IfcAxis2Placement3D", point(*(matrix[:3, 3] * scale)), *directions)

    context = new("IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, axes(np.eye(4)), None)
    unit = new("IfcSIUnit", None, "LENGTHUNIT", "MILLI" if site.unit == "mm" else None, "METRE")
    owner = None
    if site.schema == "IFC2X3":
        person = new("IfcPersonAndOrganization", new("IfcPerson", FamilyName="x"), new("IfcOrganization", Name="x"))
        program = new("IfcApplication", person.TheOrganization, "1", "x", "x")
        owner = new("IfcOwnerHistory", person, program, None, "ADDED", None, None, None, 0)
    rooted = {"OwnerHistory": owner}
    project = new(
        "IfcProject",
        GlobalId=guid_of(path.stem, "project"),
        Name="Made up",
        RepresentationContexts=(context,),
        UnitsInContext=new("IfcUnitAssignment", (unit,)),
        **rooted,
    )
    c, s = np.cos(np.radians(site.turn)), np.sin(np.radians(site.turn))
    world = np.array(
        [[c, -s, 0, site.offset[0] * 1e3], [s, c, 0, site.offset[1] * 1e3], [0, 0, 1, site.offset[2] * 1e3]]
    )
    world = np.vstack([world, [0, 0, 0, 1]])
    ground = new("IfcLocalPlacement", None, axes(world))
    here = new("IfcSite", GlobalId=guid_of(path.stem, "site"), ObjectPlacement=ground, **rooted)
    new("IfcRelAggregates", guid_of(path.stem, "in project"), owner, None, None, project, (here,))
    products, whole = [], {}
    for piece in pieces:
        frame = piece.stretch.matrix()
        # A left-handed stretch is no placement: boxes are written in the right-handed frame (d, u, z).
        right = frame[:, [1, 0, 2, 3]]
        low = np.array([piece.d[0], piece.u[0], piece.z[0]])
        high = np.array([piece.d[1], piece.u[1], piece.z[1]])
        placement = new("IfcLocalPlacement", ground, axes(right))
        shape = new("IfcProductDefinitionShape", None, None, (_body(new, context, low, high, scale, site.body),))
        facts = {"GlobalId": piece.guid, "Name": piece.name, "ObjectPlacement": placement, "Representation": shape}
        product = new(piece.cls, **facts, **rooted)
        if piece.predefined and hasattr(product, "PredefinedType"):
            product.PredefinedType = piece.predefined
        if piece.parent:
            whole.setdefault(piece.parent, []).append(product)
        else:
            products.append(product)
    for name, parts in whole.items():
        curtain = new("IfcCurtainWall", GlobalId=guid_of(path.stem, name), Name=name, ObjectPlacement=ground, **rooted)
        new("IfcRelAggregates", guid_of(path.stem, "of", name), owner, None, None, curtain, tuple(parts))
        products.append(curtain)
    new("IfcRelContainedInSpatialStructure", guid_of(path.stem, "held"), owner, None, None, tuple(products), here)
    file.write(str(path))


def _body(new, context, low: np.ndarray, high: np.ndarray, scale: float, kind: str):
    size = (high - low) * scale

    def point(at) -> object:
        return new("IfcCartesianPoint", tuple(float(v) for v in at))

    if kind == "brep":
        corners = [[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)]
        points = [point(low * scale + np.array(c) * size) for c in corners]
        faces = [
            new(
                "IfcFace",
                (new("IfcFaceOuterBound", new("IfcPolyLoop", tuple(points[i] for i in face)), True),),
            )
            for face in ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6))
        ]
        solid, name = new("IfcFacetedBrep", new("IfcClosedShell", tuple(faces))), "Brep"
    else:
        middle = 0.5 * (low + high) * scale
        position = new("IfcAxis2Placement2D", point(middle[:2]), None)
        profile = new("IfcRectangleProfileDef", "AREA", None, position, float(size[0]), float(size[1]))
        at = new("IfcAxis2Placement3D", point((0.0, 0.0, low[2] * scale)), None, None)
        solid = new("IfcExtrudedAreaSolid", profile, at, new("IfcDirection", (0.0, 0.0, 1.0)), float(size[2]))
        name = "SweptSolid"
        if kind == "mapped":
            inner = new("IfcShapeRepresentation", context, "Body", name, (solid,))
            origin = new("IfcAxis2Placement3D", point((0.0, 0.0, 0.0)), None, None)
            target = new("IfcCartesianTransformationOperator3D", None, None, point((0.0, 0.0, 0.0)), None, None)
            solid = new("IfcMappedItem", new("IfcRepresentationMap", origin, inner), target)
            name = "MappedRepresentation"
    return new("IfcShapeRepresentation", context, "Body", name, (solid,))


# ---- what stands there ----------------------------------------------------------------------------------------------


def renamed(pieces: Sequence[Piece], prefix: str) -> list[Piece]:
    """The same with other keys, and so other GlobalIds."""
    return [replace(piece, key=f"{prefix}.{piece.key}") for piece in pieces]


def round_a_hall(x: float, y: float) -> list[Stretch]:
    """The four sides of a hall whose panels' inner faces enclose x times y mm: south, east, north, west."""
    return [Stretch(0, 0, 0), Stretch(x, 0, 90), Stretch(x, y, 180), Stretch(0, y, 270)]


def curtain(
    bays: int = 6,
    rows: int = 3,
    stretch: Stretch = Stretch(),
    label: str = "c",
    profiles: str = "profiles",
    wide: float = 50,
) -> list[Piece]:
    """A curtain wall: panes of 1,500 by 1,200 mm between mullions and transoms, which are in a model of their own.

    Mullions run through; transoms are fitted between them.
    """
    made = []
    for k in range(bays + 1):
        u = (k * 1550.0 - wide / 2, k * 1550.0 + wide / 2)
        z = (-25.0, rows * 1250.0 + 25.0)
        made.append(
            Piece(f"{label}.m{k}", "IfcMember", f"Post {k}", u, (-100, 50), z, "MULLION", profiles, "", stretch)
        )
    for k in range(bays):
        u = (k * 1550.0 + 25, (k + 1) * 1550.0 - 25)
        for row in range(rows + 1):
            z = (row * 1250.0 - 25, row * 1250.0 + 25)
            made.append(
                Piece(f"{label}.t{k}.{row}", "IfcMember", "Bar", u, (-100, 50), z, "MULLION", profiles, "", stretch)
            )
            if row < rows:
                pane = (row * 1250.0 + 25, (row + 1) * 1250.0 - 25)
                key, parent = f"{label}.p{k}.{row}", f"Curtain wall {label}"
                made.append(
                    Piece(
                        key, "IfcPlate", "Glass panel", u, (-12, 12), pane, "CURTAIN_PANEL", "facade", parent, stretch
                    )
                )
    return made


def sandwich(
    bays: int = 4,
    rows: int = 3,
    stretch: Stretch = Stretch(),
    label: str = "s",
    widths: Mapping[tuple[int, int], float] = {},
    first: float = 15.0,
    last: float = 15.0,
) -> list[Piece]:
    """Sandwich panels of 6 m and 1 m on steel columns with seams of 30 mm; ``widths`` of (axis, row) that differ.

    ``first`` and ``last`` are the distances of the outer panel ends from their axes.
    """
    made = []
    for k in range(bays + 1):
        axis = 6000.0 * k
        made.append(
            Piece(f"{label}.c{k}", "IfcColumn", "SHS 200x10", (axis - 100, axis + 100), (-208, -8), (0, 4500), "COLUMN",
                  "structure", "", stretch)
        )  # fmt: skip
    for bay in range(bays):
        for row in range(rows):
            left = 6000.0 * bay + (first if bay == 0 else 0.5 * widths.get((bay, row), 30.0))
            right = 6000.0 * (bay + 1) - (last if bay == bays - 1 else 0.5 * widths.get((bay + 1, row), 30.0))
            z = (400.0 + 1000 * row, 1400.0 + 1000 * row)
            name = "Sandwich panel 120 PIR"
            made.append(
                Piece(f"{label}.p{bay}.{row}", "IfcWall", name, (left, right), (0, 120), z, "", "facade", "", stretch)
            )
    return made


def precast(bays: int = 4, seam: float = 20.0, stretch: Stretch = Stretch(), label: str = "f") -> list[Piece]:
    """Precast panels, exported as beams, before concrete columns."""
    made = []
    for k in range(bays + 1):
        axis = 7200.0 * k
        u, z = (axis - 200, axis + 200), (-600, 7500)
        made.append(
            Piece(f"{label}.c{k}", "IfcColumn", "COLUMN 400*400", u, (-420, -20), z, "", "precast", "", stretch)
        )
    for bay in range(bays):
        for row in range(3):
            u, z = (
                (7200.0 * bay + seam / 2, 7200.0 * (bay + 1) - seam / 2),
                (2400.0 * row + 10, 2400.0 * (row + 1) - 10),
            )
            made.append(
                Piece(f"{label}.p{bay}.{row}", "IfcBeam", "WALL PANEL 200", u, (0, 200), z, "", "precast", "", stretch)
            )
    return made


def between_columns(width: float = 400.0, bays: int = 4, stretch: Stretch = Stretch(), label: str = "b") -> list[Piece]:
    """Masonry walls that stop at the faces of concrete columns in their plane, two storeys of them."""
    made = []
    for storey in range(2):
        z = (3000.0 * storey, 3000.0 * (storey + 1))
        for k in range(bays + 1):
            u = (5000.0 * k - width / 2, 5000.0 * k + width / 2)
            key = f"{label}.c{k}.{storey}"
            made.append(Piece(key, "IfcColumn", "Column", u, (-300, 0), z, "COLUMN", "structure", "", stretch))
        for k in range(bays):
            u = (5000.0 * k + width / 2, 5000.0 * (k + 1) - width / 2)
            key = f"{label}.w{k}.{storey}"
            made.append(Piece(key, "IfcWall", "Outer wall", u, (-240, 0), z, "", "architecture", "", stretch))
    return made


def before_columns(
    ends: Sequence[float] = (0, 3100, 6900, 11200, 14300, 18100, 20000),
    joint: float = 15.0,
    stretch: Stretch = Stretch(),
    label: str = "v",
) -> list[Piece]:
    """Walls in front of columns every 5 m; they meet where their lengths end, whatever stands behind."""
    made = []
    for k in range(5):
        u = (5000.0 * k - 150, 5000.0 * k + 150)
        made.append(
            Piece(f"{label}.c{k}", "IfcColumn", "Column", u, (-320, -20), (0, 6000), "", "structure", "", stretch)
        )
    for k, (a, b) in enumerate(pairwise(ends)):
        u = (a + joint / 2, b - joint / 2)
        key = f"{label}.w{k}"
        made.append(Piece(key, "IfcWall", "Outer wall panel", u, (0, 180), (0, 6000), "", "facade", "", stretch))
    return made


def steel_hall() -> list[Piece]:
    """Frames, purlins and bracing, and nothing that clads them."""
    made = []
    for k in range(5):
        for side, y in (("s", 0.0), ("n", 15000.0)):
            here = Stretch(0, y, 0)
            u = (6000.0 * k - 100, 6000.0 * k + 100)
            made.append(Piece(f"h.c{k}{side}", "IfcColumn", "HEA 200", u, (-95, 95), (0, 6000), "", "steel", "", here))
        run = Stretch(6000.0 * k, 0, 90)
        made.append(Piece(f"h.r{k}", "IfcBeam", "IPE 400", (0, 15000), (-90, 90), (6000, 6400), "", "steel", "", run))
        for n in range(4):
            plate = Stretch(6000.0 * k, 0.0, 0)
            z = (1000.0 * n + 500, 1000.0 * n + 700)
            made.append(Piece(f"h.k{k}.{n}", "IfcPlate", "PL10*200", (-5, 5), (-200, -95), z, "", "steel", "", plate))
    for n in range(6):
        here = Stretch(0, 15000.0 / 5 * n, 0)
        made.append(
            Piece(f"h.p{n}", "IfcMember", "Z200", (0, 24000), (-30, 30), (6400, 6600), "PURLIN", "steel", "", here)
        )
    return made
