import ifcopenshell
import ifcopenshell.geom
import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from read_kit import UNITS, Kit, everything, mesh_of

import checker.read.bodies as bodies_module
from checker.errors import BadModel
from checker.read import ModelFile, open_models

EXACT_M = 1e-5
SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


@pytest.fixture
def no_kernel(monkeypatch):
    """Fails a test whose bodies would not be computed directly."""

    def refuse(jobs, _):
        assert not jobs, "went to the kernel"
        return []

    monkeypatch.setattr(bodies_module, "tessellated", refuse)


def solid_of(reading, index=0):
    meshes, faults = reading.bodies(everything(reading))
    assert faults[index] == ""
    return trimesh.Trimesh(*mesh_of(reading, meshes, index), process=False)


def kernel_solid(path, guid):
    """The same element as the geometry kernel of ifcopenshell sees it: the outside check of this file."""
    model = ifcopenshell.open(str(path))
    options = ifcopenshell.geom.settings()
    options.set("use-world-coords", True)
    options.set("mesher-linear-deflection", 0.0001)
    shape = ifcopenshell.geom.create_shape(options, model.by_guid(guid))
    return trimesh.Trimesh(
        np.array(shape.geometry.verts).reshape(-1, 3), np.array(shape.geometry.faces).reshape(-1, 3), process=False
    )


def assert_same(ours, theirs):
    scale = max(1.0, float(np.ptp(ours.vertices, axis=0).max()))
    assert np.abs(ours.bounds - theirs.bounds).max() < EXACT_M
    # Volumes may differ by a skin of a tenth of the exactness at most.
    assert abs(ours.volume - abs(theirs.volume)) < 0.1 * EXACT_M * scale**2
    about = ours.bounds[0]
    mine, other = (trimesh.Trimesh(m.vertices - about, m.faces, process=False) for m in (ours, theirs))
    assert np.abs(mine.center_mass - other.center_mass).max() < EXACT_M


# A number in steps of a tenth of a millimetre: as models state it.
def metres(low, high):
    return st.integers(round(low * 10_000), round(high * 10_000)).map(lambda n: n / 10_000)


@st.composite
def unit_vectors(draw):
    vector = np.array([draw(st.floats(-1, 1)) for _ in range(3)])
    length = np.linalg.norm(vector)
    return tuple(vector / length) if length > 0.1 else (0.0, 0.6, 0.8)


@st.composite
def frames(draw, reach=20.0):
    z = np.array(draw(unit_vectors()))
    x = np.array(draw(unit_vectors()))
    if np.linalg.norm(np.cross(z, x)) < 0.1:
        x = np.array((z[1], z[2], -z[0])) + 0.3 * np.eye(3)[np.argmin(np.abs(z))]
    return tuple(draw(metres(-reach, reach)) for _ in range(3)), tuple(map(float, z)), tuple(map(float, x))


@st.composite
def star_outlines(draw, low=0.2, high=1.0):
    """Polygons that may be concave but never cross themselves."""
    count = draw(st.integers(3, 9))
    steps = [draw(st.floats(0.6, 1.0)) for _ in range(count)]
    angles = np.cumsum(steps) / sum(steps) * 2 * np.pi
    radii = [draw(metres(low, high)) for _ in range(count)]
    points = [(round(r * np.cos(a), 4), round(r * np.sin(a), 4)) for r, a in zip(radii, angles, strict=True)]
    return points[::-1] if draw(st.booleans()) else points


@st.composite
def profiles(draw, kind):
    """A function that makes a profile of a kind in a kit."""
    turn = draw(st.floats(0, 6.28))
    position = (draw(metres(-1, 1)), draw(metres(-1, 1))), (np.cos(turn), np.sin(turn))
    x, y = draw(metres(0.1, 2)), draw(metres(0.1, 2))
    web, flange = draw(st.floats(0.05, 0.9)), draw(st.floats(0.05, 0.9))
    outline = draw(star_outlines())
    moved = draw(st.booleans())

    def make(kit):
        at = kit.axes(position[0], x=position[1]) if moved or kit.file.schema == "IFC2X3" else None
        size = {"X": kit.length(x), "Y": kit.length(y)}

        def steel(name, *lengths, tail):
            # IFC2X3 ends with one or two attributes less; what is left out is null either way.
            values = ["AREA", None, at, *lengths, *([None] * tail)]
            count = len(kit.make(name))
            return kit.make(name, *values[:count])

        if kind == "rectangle":
            return kit.rectangle(x, y, at)
        if kind == "polygon" or (kind == "indexed" and kit.file.schema == "IFC2X3"):
            return kit.polygon(outline)
        if kind == "holes":
            return kit.polygon(outline, [(0.02, 0.01), (-0.03, 0.05), (-0.04, -0.06)][:: 1 if moved else -1])
        if kind == "indexed":
            listed = kit.make("IfcCartesianPointList2D", [[kit.length(v) for v in p] for p in [*outline, outline[0]]])
            if moved:
                numbers = [*range(1, len(outline) + 1), 1]
                runs = [numbers[:2], numbers[1:3], numbers[2:]]
                segments = [kit.file.create_entity("IfcLineIndex", run) for run in runs]
            else:
                segments = None
            curve = kit.make("IfcIndexedPolyCurve", listed, segments, None)
            return kit.make("IfcArbitraryClosedProfileDef", "AREA", None, curve)
        if kind == "hollow":
            wall = kit.length(min(x, y) * web * 0.45)
            return steel("IfcRectangleHollowProfileDef", size["X"], size["Y"], wall, tail=2)
        if kind == "I":
            return steel("IfcIShapeProfileDef", size["X"], size["Y"], size["X"] * web, size["Y"] * flange / 2, tail=3)
        if kind == "L":
            return steel("IfcLShapeProfileDef", size["Y"], size["X"], kit.length(min(x, y) * web), tail=5)
        if kind == "U":
            return steel("IfcUShapeProfileDef", size["Y"], size["X"], size["X"] * web, size["Y"] * flange / 2, tail=4)
        if kind == "T":
            return steel("IfcTShapeProfileDef", size["Y"], size["X"], size["X"] * web, size["Y"] * flange, tail=6)
        girth = y * (0.1 + 0.38 * flange)
        wall = min(girth, x / 2) * web
        return steel("IfcCShapeProfileDef", size["Y"], size["X"], kit.length(wall), kit.length(girth), tail=2)

    return make


@st.composite
def operators(draw):
    """A function that makes a transformation operator, often mirrored, sometimes stretched."""
    at, z, x = draw(frames(reach=3.0))
    mirrored, kind = draw(st.booleans()), draw(st.sampled_from(["plain", "uniform", "stretched"]))
    scales = [draw(st.floats(0.3, 3.0)) for _ in range(3)]

    def make(kit):
        unit_z = np.array(z)
        unit_x = np.array(x) - np.dot(x, unit_z) * unit_z
        unit_x /= np.linalg.norm(unit_x)
        unit_y = np.cross(unit_z, unit_x) * (-1 if mirrored else 1)
        given_axes = [kit.direction(*axis) for axis in (unit_x, unit_y)]
        base = [*given_axes, kit.point(*at), None if kind == "plain" else scales[0], kit.direction(*unit_z)]
        if kind == "stretched":
            return kit.make("IfcCartesianTransformationOperator3DnonUniform", *base, *scales[1:])
        return kit.make("IfcCartesianTransformationOperator3D", *base)

    return make


@pytest.mark.parametrize("kind", ["rectangle", "polygon", "holes", "indexed", "hollow", "I", "L", "U", "T", "C"])
@given(
    data=st.data(),
    schema=st.sampled_from(SCHEMAS),
    unit=st.sampled_from(sorted(UNITS)),
    site=frames(reach=500.0),
    nested=frames(),
    own=frames(),
    inner=st.none() | frames(reach=3.0),
    operator=st.none() | operators(),
    along=unit_vectors(),
    depth=metres(0.05, 8.0),
)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_direct_bodies_are_those_of_the_kernel(
    tmp_path, no_kernel, kind, data, schema, unit, site, nested, own, inner, operator, along, depth
):
    profile = data.draw(profiles(kind))
    kit = Kit(schema, unit)
    kit.site = kit.place(kit.axes(*site), on=kit.site)
    along = (along[0], along[1], along[2] + (0.5 if along[2] >= 0 else -0.5))
    solid = kit.extrusion(profile(kit), depth, kit.axes(*inner) if inner else None, along)
    item = solid if operator is None else kit.mapped(solid, operator=operator(kit), origin=kit.axes(*own))
    storey = kit.place(kit.axes(*nested))
    wall = kit.product("IfcWall", item, placement=kit.place(kit.axes(*own), on=storey))
    path = kit.save(tmp_path / "m.ifc")
    reading = kit.read(tmp_path)
    ours = solid_of(reading)
    assert ours.is_watertight
    assert ours.is_winding_consistent
    assert ours.volume > 0.0
    assert_same(ours, kernel_solid(path, wall.GlobalId))


def solids_of(reading):
    """Fault and solid of each element by its name."""
    meshes, faults = reading.bodies(everything(reading))
    assert len(meshes) == len(faults) == len(reading.elements)
    return {
        element.name: (fault, trimesh.Trimesh(*mesh_of(reading, meshes, i), process=False))
        for i, (element, fault) in enumerate(zip(reading.elements, faults, strict=True))
    }


CUBE = [(x, y, z) for z in (0, 1) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
CUBE_FACES = [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]


def test_bodies_that_only_the_kernel_can_build(tmp_path):
    kit = Kit("IFC4")
    host = kit.product("IfcWall", kit.box(4, 0.2, 3), title="host", at=(10, 20, 0))
    hole = kit.product("IfcOpeningElement", kit.box(1, 0.4, 1), title="hole", at=(10, 20, 1))
    kit.cut(host, hole)
    frame = kit.product("IfcWindow", kit.box(1, 0.1, 1), title="window", at=(10, 20, 1))
    kit.relate("IfcRelFillsElement", hole, frame)

    plane = kit.make("IfcPlane", kit.axes((0, 0, 2)))
    above = kit.make("IfcHalfSpaceSolid", plane, False)
    clip = kit.make("IfcBooleanClippingResult", "DIFFERENCE", kit.box(4, 0.2, 3), above)
    kit.product("IfcWall", clip, title="clipped")
    kit.product("IfcWall", kit.brep(CUBE, CUBE_FACES), title="brep")
    kit.product("IfcWall", kit.brep(CUBE, [face[::-1] for face in CUBE_FACES]), title="inside out")
    kit.product("IfcWall", kit.brep(CUBE, [CUBE_FACES[0][::-1], *CUBE_FACES[1:]]), title="one face turned")
    kit.product("IfcWall", kit.brep(CUBE, CUBE_FACES[:-1]), title="lid off")
    column = kit.extrusion(kit.make("IfcCircleProfileDef", "AREA", None, None, kit.length(0.15)), 3)
    kit.product("IfcColumn", column, title="round", at=(5, 5, 0))
    listed = kit.make("IfcCartesianPointList3D", [[kit.length(v) for v in point] for point in CUBE])
    corners = [[i + 1 for i in (a, b, c)] for f in CUBE_FACES for a, b, c in (f[:3], (f[0], *f[2:]))]
    kit.product("IfcWall", kit.make("IfcTriangulatedFaceSet", listed, None, True, corners, None), title="triangles")
    faces = [kit.make("IfcIndexedPolygonalFace", [i + 1 for i in face]) for face in CUBE_FACES]
    kit.product("IfcWall", kit.make("IfcPolygonalFaceSet", listed, True, faces, None), title="polygons")
    mirror = kit.make(
        "IfcCartesianTransformationOperator3D",
        kit.direction(-1, 0, 0), kit.direction(0, 1, 0), kit.point(3, 0, 0), 2.0, kit.direction(0, 0, 1),
    )  # fmt: skip
    kit.product("IfcWall", kit.mapped(kit.brep(CUBE, CUBE_FACES), operator=mirror), title="mirrored twice as large")
    found = solids_of(kit.read(tmp_path))

    # Volumes worked out by hand.
    expected = {
        "host": 4 * 0.2 * 3 - 0.2,
        "hole": 0.4,
        "window": 0.1,
        "clipped": 4 * 0.2 * 2,
        "brep": 1.0,
        "inside out": 1.0,
        "one face turned": 1.0,
        "triangles": 1.0,
        "polygons": 1.0,
        "mirrored twice as large": 8.0,
    }
    for name, volume in expected.items():
        fault, solid = found[name]
        assert fault == "", name
        assert solid.volume == pytest.approx(volume, abs=1e-9), name
        merged = trimesh.Trimesh(solid.vertices, solid.faces)
        assert merged.is_watertight, name
        assert merged.is_winding_consistent, name
    assert found["host"][1].bounds == pytest.approx(np.array([[8, 19.9, 0], [12, 20.1, 3]]))
    assert found["mirrored twice as large"][1].bounds == pytest.approx(np.array([[1, 0, 0], [3, 2, 2]]))
    assert found["lid off"][0] == "its body is an open mesh (4 free edges)"

    fault, solid = found["round"]
    assert fault == ""
    assert np.hypot(*(solid.vertices[:, :2] - 5).T).max() == pytest.approx(0.15, abs=1e-9)
    # A facet cuts off 0.1 mm of the radius at most.
    assert solid.volume == pytest.approx(np.pi * 0.15**2 * 3, rel=2 * 0.0001 / 0.15)


def test_faces_with_holes(tmp_path):
    """A block with a square shaft through it, as a brep and as a polygonal face set."""
    shaft = [(0.25 + 0.5 * x, 0.25 + 0.5 * y, z) for x, y, z in CUBE]
    inner = [[8 + i for i in face[::-1]] for face in CUBE_FACES]
    kit = Kit("IFC4")
    corners = [kit.point(*point) for point in [*CUBE, *shaft]]

    def bound(name, face):
        return kit.make(name, kit.make("IfcPolyLoop", [corners[i] for i in face]), True)

    rings = [
        kit.make("IfcFace", [bound("IfcFaceOuterBound", CUBE_FACES[i]), bound("IfcFaceBound", inner[i])])
        for i in (0, 1)
    ]
    walls = [kit.make("IfcFace", [bound("IfcFaceOuterBound", face)]) for face in [*CUBE_FACES[2:], *inner[2:]]]
    brep = kit.make("IfcFacetedBrep", kit.make("IfcClosedShell", [*rings, *walls]))
    kit.product("IfcWall", brep, title="brep")

    listed = kit.make("IfcCartesianPointList3D", [[kit.length(v) for v in point] for point in [*CUBE, *shaft]])
    faces = [
        kit.make("IfcIndexedPolygonalFaceWithVoids", [i + 1 for i in CUBE_FACES[k]], [[i + 1 for i in inner[k]]])
        for k in (0, 1)
    ]
    faces += [kit.make("IfcIndexedPolygonalFace", [i + 1 for i in face]) for face in [*CUBE_FACES[2:], *inner[2:]]]
    kit.product("IfcWall", kit.make("IfcPolygonalFaceSet", listed, True, faces, None), title="polygons")
    for name, (fault, solid) in solids_of(kit.read(tmp_path)).items():
        assert fault == "", name
        assert solid.is_watertight, name
        assert solid.volume == pytest.approx(0.75), name


def test_openings_of_a_whole_are_cut_from_its_parts(tmp_path):
    kit = Kit("IFC4")
    wall = kit.product("IfcWall", title="wall", guid="3aaaaaaaaaaaaaaaaaaaaa")
    parts = [
        kit.product("IfcBuildingElementPart", kit.box(4, 0.1, 3), title=f"layer {i}", at=(0, 0.1 * i, 0))
        for i in range(2)
    ]
    kit.relate("IfcRelAggregates", wall, parts)
    kit.cut(wall, kit.product("IfcOpeningElement", kit.box(1, 1, 1), title="hole", at=(0, 0, 1)))
    reading = kit.read(tmp_path)
    found = solids_of(reading)
    assert {name: round(solid.volume, 9) for name, (_, solid) in found.items()} == {
        "wall": 2.2,
        "layer 0": 1.1,
        "layer 1": 1.1,
        "hole": 1.0,
    }
    whole = next(element for element in reading.elements if element.name == "wall")
    assert whole.shown == tuple(part.GlobalId for part in parts)
    assert all(fault == "" for fault, _ in found.values())


def test_what_cannot_be_measured_says_why(tmp_path):
    kit = Kit("IFC4")
    line = kit.representation(kit.make("IfcPolyline", [kit.point(0, 0), kit.point(1, 0)]), name="Axis", kind="Curve2D")
    box = kit.representation(
        kit.make("IfcBoundingBox", kit.point(0, 0, 0), 1.0, 1.0, 1.0), name="Box", kind="BoundingBox"
    )
    foot = kit.representation(kit.box(1, 1, 1), name="FootPrint", kind="SweptSolid")
    kit.product("IfcWall", title="no shape")
    kit.product("IfcWall", title="no body", representations=[line, box, foot])
    loop = kit.place()
    loop.PlacementRelTo = kit.place(on=loop)
    kit.product("IfcWall", kit.box(1, 1, 1), title="placed on itself", placement=loop)
    kit.product("IfcWall", kit.box(1, 1, 1), title="no axes", placement=kit.place(kit.axes((0, 0, 0), z=(0, 0, 0))))
    grid = kit.make("IfcGridPlacement")
    kit.product("IfcWall", kit.box(1, 1, 1), title="placed on a grid", placement=grid)
    item = kit.mapped(kit.box(1, 1, 1))
    item.MappingSource.MappedRepresentation.Items = [item]
    kit.product("IfcWall", item, title="copy of itself")
    many = kit.box(0.1, 0.1, 0.1)
    for _ in range(15):
        many = kit.mapped(many, many)
    kit.product("IfcWall", many, title="copies of copies")
    kit.product("IfcWall", kit.make("IfcExtrudedAreaSolid"), title="empty solid")
    kit.product("IfcWall", kit.make("IfcMappedItem"), title="empty copy")
    adrift = kit.box(1, 1, 1, position=kit.make("IfcAxis2Placement3D"))
    kit.product("IfcWall", adrift, title="no position")
    kit.product("IfcWall", kit.mapped(adrift), title="copy of no position")
    kit.product("IfcWall", kit.extrusion(kit.rectangle(1, 1), 1, along=(1, 0, 0)), title="pulled sideways")
    kit.product("IfcWall", kit.extrusion(kit.rectangle(1, 0.0), 1), title="no width")
    kit.product("IfcWall", kit.box(1e-4, 1e-4, 1e-2), title="a hair")
    kit.product("IfcWall", kit.make("IfcPolyline", [kit.point(0, 0, 0), kit.point(1, 0, 0)]), title="a line")
    kit.product("IfcWall", kit.box(1, 1, 1), title="sound")
    faults = {name: fault for name, (fault, _) in solids_of(kit.read(tmp_path)).items()}
    assert faults.pop("sound") == ""
    # What the kernel makes of nonsense is its own affair, as long as it is no body.
    assert all(faults.pop(name) for name in ("no width", "empty solid", "a line"))
    assert faults == {
        "no shape": "it has no body",
        "no body": "it has no body",
        "placed on itself": "its placement cannot be followed",
        "no axes": "its placement cannot be followed",
        "placed on a grid": "its placement cannot be followed",
        "copy of itself": "its body is a copy of itself",
        "copies of copies": "its body has too many pieces",
        "empty copy": "its body is written wrongly in the file",
        "no position": "its body is written wrongly in the file",
        "copy of no position": "its body is written wrongly in the file",
        "pulled sideways": "its body has no volume",
        "a hair": "its body has no volume",
    }


@pytest.mark.parametrize("number", ["1.E12", "1.E200", "1.E300", "-1.E300", "1.E308"])
def test_coordinates_without_end(tmp_path, no_kernel, number):
    kit = Kit("IFC4")
    kit.product("IfcWall", kit.box(1, 1, 1), title="sound")
    far = kit.make("IfcCartesianTransformationOperator3D", None, None, kit.point(123.456, 0, 0), None, None)
    kit.product("IfcWall", kit.mapped(kit.box(2, 1, 1), operator=far), title="copied away")
    kit.product("IfcWall", kit.box(3, 1, 1), title="placed away", at=(123.456, 0, 0))
    text = kit.text()
    assert "123456." in text
    (tmp_path / "m.ifc").write_text(text.replace("123456.", number))
    reading = open_models([ModelFile(tmp_path / "m.ifc")])
    meshes, faults = reading.bodies(everything(reading))
    by_name = {element.name: i for i, element in enumerate(reading.elements)}
    assert {name: faults[i] for name, i in by_name.items()} == {
        "sound": "",
        "copied away": "its body lies nowhere: its coordinates make no sense",
        "placed away": "its placement cannot be followed",
    }
    assert np.isfinite(meshes.points).all()
    assert trimesh.Trimesh(*mesh_of(reading, meshes, by_name["sound"])).volume == pytest.approx(1.0)


def test_outlines_that_touch_or_cross_themselves_are_not_taken_on_trust(tmp_path):
    kit = Kit("IFC4")
    outlines = {
        "bow": kit.polygon([(0, 0), (1, 1), (1, 0), (0, 1)]),
        "lopsided bow": kit.polygon([(0, 0), (2, 2), (2, 0), (0, 1)]),
        "hole at a corner": kit.polygon([(0, 0), (2, 0), (2, 2), (0, 2)], [(0, 0), (1, 0.5), (0.5, 1)]),
        "corner twice": kit.polygon([(0, 0), (2, 0), (2, 0), (2, 2), (0, 1)]),
        "corner nearly twice": kit.polygon([(0, 0), (2, 0), (2, 1e-9), (2, 2), (0, 1)]),
        "corner on an edge": kit.polygon([(0, 0), (1, 0), (2, 0), (2, 2), (0, 1)]),
    }
    for title, outline in outlines.items():
        kit.product("IfcWall", kit.extrusion(outline, 1), title=title)
    found = solids_of(kit.read(tmp_path))
    for name in ("bow", "lopsided bow"):
        assert found.pop(name)[0] == "the outline of its body crosses itself"
    assert {name: fault for name, (fault, _) in found.items()} == dict.fromkeys(found, "")
    assert {name: round(solid.volume, 6) for name, (_, solid) in found.items()} == {
        "hole at a corner": 4 - 0.375,
        "corner twice": 3.0,
        "corner nearly twice": 3.0,
        "corner on an edge": 3.0,
    }


def test_only_what_is_wanted_is_built(tmp_path, no_kernel):
    kit = Kit("IFC4")
    for i in range(4):
        kit.product("IfcWall", kit.box(1, 1, i + 1), title=f"{i}", at=(i, 0, 0))
    kit.product("IfcWall", kit.brep(CUBE, CUBE_FACES), title="for the kernel")
    reading = kit.read(tmp_path)
    wanted = np.array([element.name in ("1", "3") for element in reading.elements])
    meshes, faults = reading.bodies(wanted)
    assert faults == ("",) * 5
    assert (np.diff(meshes.point_start) > 0).tolist() == wanted.tolist()
    for i in np.flatnonzero(wanted):
        points, triangles = mesh_of(reading, meshes, i)
        assert np.ptp(points[:, 2]) == pytest.approx(int(reading.elements[i].name) + 1)
        assert triangles.min() == 0
        assert triangles.max() == len(points) - 1
    nothing, _ = reading.bodies(np.zeros(5, dtype=np.bool_))
    assert len(nothing) == 5
    assert len(nothing.points) == len(nothing.triangles) == 0


@given(order=st.permutations(range(6)))
@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_order_of_elements_in_a_file_changes_nothing(tmp_path, no_kernel, order):
    kit = Kit("IFC4")
    shapes = [kit.box(1, 2, i + 1) for i in range(6)]
    for i in order:
        kit.product("IfcWall", shapes[i], title=str(i), at=(i, 0.1, 0), guid=f"0000000000000000000{i:03d}")
    reading = kit.read(tmp_path)
    meshes, _ = reading.bodies(everything(reading))
    assert [element.name for element in reading.elements] == list("012345")
    heights = [np.ptp(mesh_of(reading, meshes, i)[0][:, 2]) for i in range(6)]
    assert heights == pytest.approx([1, 2, 3, 4, 5, 6])


def test_copies_without_end_are_refused(tmp_path, no_kernel, monkeypatch):
    kit = Kit("IFC4")
    for i in range(3):
        kit.product("IfcWall", kit.mapped(kit.box(1, 1, 1), kit.box(2, 2, 2)), title=f"{i}")
    reading = kit.read(tmp_path)
    for limit, fits in (("_MOST_PIECES_IN_ALL", 6), ("_MOST_TRIANGLES_IN_ALL", 72)):
        monkeypatch.setattr(bodies_module, limit, fits)
        assert set(reading.bodies(everything(reading))[1]) == {""}
        monkeypatch.setattr(bodies_module, limit, fits - 1)
        with pytest.raises(BadModel, match="check fewer models"):
            reading.bodies(everything(reading))
        monkeypatch.setattr(bodies_module, limit, fits)
