import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from read_kit import UNITS, Kit, everything, mesh_of
from thorough import some

from checker.errors import BadModel
from checker.read import ModelFile, open_models
from checker.read.place import Placements

EXACT_M = 1e-6
LESS = {"suppress_health_check": [HealthCheck.function_scoped_fixture], "deadline": None}


def turn(degrees):
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])


def corners(reading, index=0):
    """World corners of one element in a fixed order."""
    meshes, faults = reading.bodies(everything(reading))
    assert faults[index] == ""
    points = mesh_of(reading, meshes, index)[0]
    return points[np.lexsort(np.round(points, 5).T)]


@pytest.mark.parametrize("unit", sorted(UNITS))
@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3_ADD2"])
def test_units(tmp_path, schema, unit):
    kit = Kit(schema, unit)
    kit.product("IfcWall", kit.box(6, 0.2, 1.2), at=(10, 20, 3))
    reading = kit.read(tmp_path)
    assert reading.sources[0].length_unit == unit
    points = corners(reading)
    assert points.min(axis=0) == pytest.approx([7, 19.9, 3], abs=1e-9)
    assert points.max(axis=0) == pytest.approx([13, 20.1, 4.2], abs=1e-9)


def test_no_unit(tmp_path):
    kit = Kit(unit=None)
    with pytest.raises(BadModel, match=r"model\.ifc does not say in which unit"):
        kit.read(tmp_path)
    kit.project.UnitsInContext = None
    with pytest.raises(BadModel, match="does not say in which unit"):
        kit.read(tmp_path)


@pytest.mark.parametrize("factor", [0.0, -0.3048, 1e-12, 1e12, 1e300])
def test_a_unit_of_no_size(tmp_path, factor):
    kit = Kit(unit="foot")
    text = kit.text().replace("IFCLENGTHMEASURE(304.8)", f"IFCLENGTHMEASURE({factor * 1000.0})")
    (tmp_path / "m.ifc").write_text(text)
    with pytest.raises(BadModel, match="unit"):
        open_models([ModelFile(tmp_path / "m.ifc")])


def test_a_unit_defined_by_itself(tmp_path):
    kit = Kit(unit="foot")
    unit = kit.file.by_type("IfcConversionBasedUnit")[0]
    unit.ConversionFactor.UnitComponent = unit
    with pytest.raises(BadModel, match="unit"):
        kit.read(tmp_path)


coordinates = st.integers(-50_000, 50_000).map(lambda n: n / 1000)
angles = st.integers(0, 3599).map(lambda n: n / 10)


@given(steps=st.lists(st.tuples(coordinates, coordinates, coordinates, angles), min_size=1, max_size=6))
@settings(max_examples=some(40), **LESS)
def test_nested_placements_multiply(tmp_path, steps):
    kit = Kit()
    placement, expected = None, np.eye(4)
    for x, y, z, angle in steps:
        rotation = turn(angle)
        placement = kit.place(kit.axes((x, y, z), x=tuple(rotation[:, 0])), on=placement)
        step = np.eye(4)
        step[:3, :3], step[:3, 3] = rotation, (x, y, z)
        expected = expected @ step
    kit.product("IfcWall", kit.box(2, 1, 3), placement=placement)
    box = np.array([[x, y, z, 1] for x in (-1, 1) for y in (-0.5, 0.5) for z in (0, 3)])
    world = (box @ expected.T)[:, :3]
    ours = corners(kit.read(tmp_path))
    gaps = np.linalg.norm(ours[:, None] - world[None], axis=2)
    assert gaps.min(axis=0).max() < EXACT_M
    assert gaps.min(axis=1).max() < EXACT_M


@pytest.mark.parametrize("far", [1e6, 6.5e6])
@pytest.mark.parametrize("unit", ["mm", "m"])
@pytest.mark.parametrize("where", ["site", "element", "outline"])
def test_far_from_the_origin_nothing_is_lost(tmp_path, far, unit, where):
    kit = Kit(unit=unit)
    at = (far, -far, 100.0)
    seam = 0.0301
    for side in (0, 1):
        x = side * (6 + seam)
        if where == "site":
            kit.site = kit.make("IfcLocalPlacement", None, kit.axes(at))
            kit.product("IfcWall", kit.box(6, 0.2, 1), at=(x, 0, 0), title=f"{side}")
        elif where == "element":
            kit.product("IfcWall", kit.box(6, 0.2, 1), at=(at[0] + x, at[1], at[2]), title=f"{side}")
        else:
            outline = [(at[0] + x + dx, at[1] + dy) for dx, dy in ((-3, 0), (3, 0), (3, 0.2), (-3, 0.2))]
            kit.product("IfcWall", kit.extrusion(kit.polygon(outline), 1), title=f"{side}")
    reading = kit.read(tmp_path)
    meshes, faults = reading.bodies(everything(reading))
    assert set(faults) == {""}
    local = {
        element.name: meshes.points[meshes.point_start[i] : meshes.point_start[i + 1]]
        for i, element in enumerate(reading.elements)
    }
    assert meshes.points.dtype == np.float64
    # Half a nanometre at 10^6 m is the last digit of float64.
    assert local["1"][:, 0].min() - local["0"][:, 0].max() == pytest.approx(seam, abs=5e-9)
    if where != "outline":
        assert np.abs(reading.origin - np.round(at)).max() <= 10
        assert np.abs(meshes.points).max() < 20
    expected = [far, -far + 0.1, 0.5] if where == "outline" else [far, -far, 100.5]
    assert (local["0"] + reading.origin).mean(axis=0) == pytest.approx(expected)


def test_shared_and_broken_placements():
    kit = Kit()
    storey = kit.place(kit.axes((0, 0, 3)), on=kit.site)
    inner = kit.place(kit.axes((1, 0, 0)), on=storey)
    loop = kit.place()
    loop.PlacementRelTo = loop
    deep = storey
    for _ in range(200):
        deep = kit.place(kit.axes((0, 0, 1)), on=deep)
    placements = Placements()
    rows = [placements.row(p) for p in (inner, storey, None, loop, deep, inner)]
    world = placements.resolved(kit.metres)
    assert rows[0] == rows[5]
    assert rows[2] == -1
    assert world[rows[0], :3, 3] == pytest.approx([1, 0, 3])
    assert world[rows[1], :3, 3] == pytest.approx([0, 0, 3])
    assert np.isnan(world[rows[3]]).all()
    assert world[rows[4], :3, 3] == pytest.approx([0, 0, 203])


def mapped_pair(folder, first, second, unit="mm", schema="IFC4", at=(100.0, 50.0, 5.0)):
    """Two models, each with one wall at ``at`` in map coordinates relative to the first's zero."""
    files = []
    for name, arguments in (("a", first), ("b", second)):
        kit = Kit(schema, unit, salt=name)
        if arguments is not None:
            kit.map_conversion(**arguments)
        kit.product("IfcWall", kit.box(6, 0.2, 1), at=at, title=name)
        files.append(ModelFile(kit.save(folder / f"{name}.ifc")))
    reading = open_models(files)
    assert [element.name for element in sorted(reading.elements, key=lambda e: e.source)] == ["a", "b"]
    by_source = {reading.elements[i].name: corners(reading, i) for i in range(2)}
    return reading, by_source


HERE = {"east": 463_000.0, "north": 6_100_000.0, "height": 12.0}


@pytest.mark.parametrize("second", [None, HERE])
def test_equal_or_absent_map_conversions_change_nothing(tmp_path, second):
    reading, found = mapped_pair(tmp_path, HERE, second)
    assert np.array_equal(found["a"], found["b"])
    assert bool(reading.notes) == (second is None)
    if second is None:
        assert reading.notes == ("b has no map conversion; it was taken to lie in the frame of a.",)


def test_the_first_model_with_a_conversion_leads(tmp_path):
    reading, found = mapped_pair(tmp_path, None, HERE)
    assert np.array_equal(found["a"], found["b"])
    assert len(reading.notes) == 1


@given(
    move=st.tuples(coordinates, coordinates, coordinates),
    first_turn=angles,
    second_turn=angles,
    unit=st.sampled_from(["mm", "m", "foot"]),
    scale=st.sampled_from([None, "schema"]),
)
@settings(max_examples=some(30), **LESS)
def test_models_meet_on_the_map(tmp_path, move, first_turn, second_turn, unit, scale):
    """One point of the map, stated in two engineering frames, is one point of the result."""
    to_map = UNITS[unit] if scale == "schema" else None
    first = HERE | {"turn_deg": first_turn, "scale": to_map}
    second = {
        "east": HERE["east"] + move[0],
        "north": HERE["north"] + move[1],
        "height": HERE["height"] + move[2],
        "turn_deg": second_turn,
        "scale": to_map,
    }
    reading, found = mapped_pair(tmp_path, first, second, unit)
    b_in_map = found_in_own_frame() @ turn(second_turn).T + np.array(move)
    expected = b_in_map @ turn(first_turn)
    gaps = np.linalg.norm(found["b"][:, None] - expected[None], axis=2)
    assert gaps.min(axis=0).max() < EXACT_M
    assert np.allclose(found["a"].min(axis=0), [97, 49.9, 5], atol=EXACT_M)
    same_place = move == (0.0, 0.0, 0.0) and first_turn == second_turn
    assert bool(reading.notes) != same_place


def found_in_own_frame():
    return np.array([[x, y, z] for x in (97, 103) for y in (49.9, 50.1) for z in (5, 6)], dtype=float)


def test_scales_of_the_map(tmp_path):
    """A grid scale factor is a real change of size; a scale that only stands for units is none."""
    _, found = mapped_pair(tmp_path, HERE | {"scale": 0.001 * 0.9996}, HERE | {"scale": 0.001})
    assert np.ptp(found["b"][:, 0]) == pytest.approx(6 / 0.9996)
    for scale, unit in ((1.0, "m"), (None, "m"), (0.001, "m"), (0.001, None)):
        _, found = mapped_pair(tmp_path, HERE, HERE | {"east": 463_010.0, "scale": scale, "unit": unit})
        assert found["b"][:, 0].min() == pytest.approx(107.0, abs=1e-6)
    _, found = mapped_pair(tmp_path, HERE, HERE | {"east": 463_010_000.0, "north": 6.1e9, "height": 12e3, "unit": None})
    assert found["b"][:, 0].min() == pytest.approx(107.0, abs=1e-6)


@pytest.mark.parametrize("scale", [0.5, 1000.0, 0.0, -1.0])
def test_a_scale_no_map_has(tmp_path, scale):
    with pytest.raises(BadModel, match=r"b\.ifc has a map conversion"):
        mapped_pair(tmp_path, HERE, HERE | {"scale": scale})


def test_a_world_coordinate_system_counts_for_the_map_only(tmp_path):
    files = []
    for name, shift in (("a", 0.0), ("b", 30.0)):
        kit = Kit(salt=name)
        kit.context.WorldCoordinateSystem = kit.axes((shift, 0, 0))
        kit.map_conversion(**HERE)
        kit.product("IfcWall", kit.box(6, 0.2, 1), at=(shift, 0, 0), title=name)
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    reading = open_models(files)
    assert np.allclose(corners(reading, 0), corners(reading, 1), atol=EXACT_M)


def test_the_property_set_that_stands_for_a_conversion_in_ifc2x3(tmp_path):
    files = []
    for name, east in (("a", 1000.0), ("b", 1010.0)):
        kit = Kit("IFC2X3", salt=name)
        kit.properties(
            [], "ePSet_MapConversion", Eastings=east, Northings=5000.0, OrthogonalHeight=0.0,
            XAxisAbscissa=1.0, XAxisOrdinate=0.0, Scale=0.001,
        )  # fmt: skip
        kit.product("IfcWall", kit.box(6, 0.2, 1), title=name)
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    reading = open_models(files)
    found = {reading.elements[i].name: corners(reading, i) for i in range(2)}
    assert np.allclose(found["b"] - found["a"], [10, 0, 0], atol=EXACT_M)


def test_a_stated_shift(tmp_path):
    kit = Kit()
    kit.product("IfcWall", kit.box(6, 0.2, 1))
    path = kit.save(tmp_path / "m.ifc")
    plain, moved = (corners(open_models([ModelFile(path, shift_mm=s)])) for s in ((0, 0, 0), (1500.0, -20.5, 3.0)))
    assert np.allclose(moved - plain, [1.5, -0.0205, 0.003], atol=1e-12)
