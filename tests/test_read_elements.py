import pickle

import numpy as np
import pytest
from ifcopenshell import ifcopenshell_wrapper as wrapper
from read_kit import Kit

from checker.errors import BadSettings
from checker.read import ModelFile, open_models
from checker.read.elements import _LEFT_OUT

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def by_name(reading):
    return {element.name: element for element in reading.elements}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_which_classes_are_listed(tmp_path, schema):
    kit = Kit(schema)
    kept = "Wall WallStandardCase Plate Member Column Beam Slab Roof Covering CurtainWall Window Door Footing"
    kept += " BuildingElementPart BuildingElementProxy OpeningElement DiscreteAccessory Fastener ElementAssembly"
    left = "FlowSegment DistributionElement FurnishingElement ReinforcingBar MechanicalFastener Railing Stair Ramp"
    left += " StairFlight RampFlight VirtualElement TransportElement Site Building BuildingStorey Space Annotation Grid"
    left += " ProjectionElement DistributionPort"
    known = {d.name() for d in wrapper.schema_by_name(schema).entities()}
    for word in (kept + " " + left).split():
        if f"Ifc{word}" in known:
            kit.product(f"Ifc{word}", title=word)
    listed = set(by_name(kit.read(tmp_path)))
    assert listed == {word for word in kept.split() if f"Ifc{word}" in known}


def test_classes_left_out_exist():
    known = {d.name() for schema in SCHEMAS for d in wrapper.schema_by_name(schema).entities()}
    assert set(_LEFT_OUT) <= known


@pytest.mark.parametrize(
    ("kind", "listed"),
    [
        ("CEILING", False),
        ("FLOORING", False),
        ("CLADDING", True),
        ("INSULATION", True),
        ("MEMBRANE", True),
        (None, True),
    ],
)
def test_coverings(tmp_path, kind, listed):
    kit = Kit()
    kit.product("IfcCovering", kit.box(1, 1, 1), title="own", PredefinedType=kind)
    typed = kit.product("IfcCovering", kit.box(1, 1, 1), title="typed")
    kit.relate("IfcRelDefinesByType", [typed], kit.root("IfcCoveringType", "t", PredefinedType=kind or "NOTDEFINED"))
    assert set(by_name(kit.read(tmp_path))) == ({"own", "typed"} if listed else set())


@pytest.mark.parametrize(
    ("own", "object_type", "of_type", "element_type", "expected"),
    [
        ("SOLIDWALL", None, "PARTITIONING", None, "SOLIDWALL"),
        (None, None, "PARTITIONING", None, "PARTITIONING"),
        ("NOTDEFINED", None, "PARTITIONING", None, "PARTITIONING"),
        ("USERDEFINED", "Sandwich", "PARTITIONING", None, "Sandwich"),
        ("USERDEFINED", None, "PARTITIONING", None, "PARTITIONING"),
        (None, "Sandwich", "USERDEFINED", "Cold store panel", "Cold store panel"),
        ("NOTDEFINED", "Sandwich", "NOTDEFINED", None, ""),
        (None, None, None, None, ""),
    ],
)
def test_predefined_types(tmp_path, own, object_type, of_type, element_type, expected):
    kit = Kit()
    wall = kit.product("IfcWall", title="w", object_type=object_type, PredefinedType=own)
    if of_type:
        kind = kit.root("IfcWallType", "The type", PredefinedType=of_type, ElementType=element_type)
        kit.relate("IfcRelDefinesByType", [wall], kind)
    (element,) = kit.read(tmp_path).elements
    assert element.predefined == expected
    assert element.object_type == (object_type or "")
    assert element.type_name == ("The type" if of_type else "")


def test_predefined_types_of_ifc2x3_stand_at_the_type(tmp_path):
    kit = Kit("IFC2X3")
    plate = kit.product("IfcPlate", title="p")
    kit.relate("IfcRelDefinesByType", [plate], kit.root("IfcPlateType", "t", PredefinedType="CURTAIN_PANEL"))
    assert kit.read(tmp_path).elements[0].predefined == "CURTAIN_PANEL"


def test_names_and_odd_texts(tmp_path):
    kit = Kit()
    kit.product("IfcWall", title="  Wand \u00e4\u20ac\x1b[31m\n", Description="d", Tag="4711")
    kit.product("IfcWall", guid="3zzzzzzzzzzzzzzzzzzzzz")
    first, second = kit.read(tmp_path).elements
    if first.guid.startswith("3zz"):
        first, second = second, first
    assert (first.name, first.description, first.tag) == ("Wand \u00e4\u20ac\x1b[31m", "d", "4711")
    assert (second.name, second.description, second.tag, second.guid) == ("", "", "", "3zzzzzzzzzzzzzzzzzzzzz")
    assert first.shown == (first.guid,)


def test_materials(tmp_path):
    kit = Kit()
    steel, wool, foam = (kit.make("IfcMaterial", name) for name in ("Steel", "Mineral wool", "PIR"))
    layers = [
        kit.make("IfcMaterialLayer", material, 1.0, None, name)
        for material, name in ((steel, "Outer face"), (wool, None), (None, "Air"), (steel, "Inner face"))
    ]
    layer_set = kit.make("IfcMaterialLayerSet", layers, "Panel 200")
    usage = kit.make("IfcMaterialLayerSetUsage", layer_set, "AXIS2", "POSITIVE", 0.0)
    constituents = kit.make(
        "IfcMaterialConstituentSet", "Window", None, [kit.make("IfcMaterialConstituent", "Frame", None, steel)]
    )
    profile = kit.make("IfcMaterialProfile", "Flange", None, steel, kit.rectangle(1, 1))
    profiles = kit.make("IfcMaterialProfileSetUsage", kit.make("IfcMaterialProfileSet", "HEA", None, [profile]))
    listed = kit.make("IfcMaterialList", [foam, wool])
    for title, material in {
        "single": foam, "usage": usage, "set": layer_set, "constituents": constituents, "profiles": profiles,
        "list": listed, "none": None,
    }.items():  # fmt: skip
        product = kit.product("IfcMember", title=title)
        if material:
            kit.relate("IfcRelAssociatesMaterial", [product], material)
    typed = kit.product("IfcMember", title="typed")
    both = kit.product("IfcMember", title="both")
    kind = kit.root("IfcMemberType", "t", PredefinedType="PURLIN")
    kit.relate("IfcRelDefinesByType", [typed, both], kind)
    kit.relate("IfcRelAssociatesMaterial", [kind], foam)
    kit.relate("IfcRelAssociatesMaterial", [both], steel)
    panel = ("Panel 200", "Outer face", "Steel", "Mineral wool", "Air", "Inner face")
    assert {name: element.materials for name, element in by_name(kit.read(tmp_path)).items()} == {
        "single": ("PIR",),
        "usage": panel,
        "set": panel,
        "constituents": ("Window", "Frame", "Steel"),
        "profiles": ("HEA", "Flange", "Steel"),
        "list": ("PIR", "Mineral wool"),
        "none": (),
        "typed": ("PIR",),
        "both": ("Steel", "PIR"),
    }


def test_a_material_that_contains_itself(tmp_path):
    kit = Kit()
    layers = kit.make("IfcMaterialLayerSet", [], "Panel")
    layers.MaterialLayers = [kit.make("IfcMaterialLayer", None, 1.0, None, "Skin")]
    text = kit.text()
    wall = kit.product("IfcWall", title="w")
    kit.relate("IfcRelAssociatesMaterial", [wall], layers)
    number = layers.id()
    text = kit.text().replace("IFCMATERIALLAYER($,", f"IFCMATERIALLAYER(#{number},")
    (tmp_path / "m.ifc").write_text(text)
    assert open_models([ModelFile(tmp_path / "m.ifc")]).elements[0].materials == ("Panel", "Skin")


def test_properties(tmp_path):
    kit = Kit()
    wall = kit.product("IfcWall", title="w")
    bare = kit.product("IfcWall", title="bare")
    kind = kit.root("IfcWallType", "t", PredefinedType="SOLIDWALL")
    kit.relate("IfcRelDefinesByType", [wall], kind)
    kind.HasPropertySets = [kit.properties([], "Pset_Type", FireRating="EI 60", Maker="from the type")]
    kit.properties([wall], "Pset_B", Maker="B", Weight=12.5, Pieces=3)
    kit.properties([wall], "Pset_A", Maker="A", IsExternal=True, Empty="")
    label = [kit.make("IfcLabel", text) for text in ("one", "two")]
    odd = kit.root("IfcPropertySet", "Pset_Odd", None, [
        kit.make("IfcPropertyEnumeratedValue", "Status", None, label, None),
        kit.make("IfcPropertyListValue", "List", None, label, None),
        kit.make("IfcPropertyBoundedValue", "Range", None, kit.make("IfcReal", 2.0), kit.make("IfcReal", 1.0)),
        kit.make("IfcPropertySingleValue", "Nothing", None, None, None),
        kit.make("IfcPropertyReferenceValue", "Reference"),
        kit.make("IfcComplexProperty", "Box", None, "u", [
            kit.make("IfcPropertySingleValue", "Inside", None, kit.make("IfcLogical", False), None)
        ]),
    ])  # fmt: skip
    kit.relate("IfcRelDefinesByProperties", [wall], odd)
    quantities = kit.root(
        "IfcElementQuantity", "Qto", None, None, [kit.make("IfcQuantityLength", "L", None, None, 1.0)]
    )
    kit.relate("IfcRelDefinesByProperties", [wall], quantities)
    found = by_name(kit.read(tmp_path))
    assert found["bare"].stated == {}
    stated = found["w"].stated
    assert stated == {
        "firerating": "EI 60",
        "maker": "A",
        "weight": "12.5",
        "pieces": "3",
        "isexternal": "true",
        "status": "one, two",
        "list": "one, two",
        "range": "1 - 2",
        "inside": "false",
    }
    assert stated["weight"] == "12.5"
    assert stated.get("colour") is None
    assert len(stated) == 9
    assert pickle.loads(pickle.dumps(found["w"])) == found["w"]
    assert bare.GlobalId == found["bare"].guid


@pytest.mark.parametrize("unit", ["mm", "m", "foot"])
def test_lengths_are_stated_in_millimetres_whatever_the_unit(tmp_path, unit):
    kit = Kit(unit=unit)
    wall = kit.product("IfcWall", title="w")
    metre = kit.make("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    own = kit.root("IfcPropertySet", "Own", None, [
        kit.make("IfcPropertySingleValue", "Free", None, kit.make("IfcPositiveLengthMeasure", kit.length(0.01)), None),
        kit.make("IfcPropertySingleValue", "InMetres", None, kit.make("IfcLengthMeasure", 0.25), metre),
        kit.make("IfcPropertySingleValue", "Bare", None, kit.make("IfcReal", 10.0), None),
    ])  # fmt: skip
    kit.relate("IfcRelDefinesByProperties", [wall], own)
    stated = by_name(kit.read(tmp_path))["w"].stated
    assert stated == {"free": "10 mm", "inmetres": "250 mm", "bare": "10"}


def test_several_property_sets_in_one_relation(tmp_path):
    kit = Kit()
    wall = kit.product("IfcWall", title="w")
    first, second = kit.properties([wall], "A", One=1), kit.properties([], "B", Two=2)
    before = f"(#{wall.id()}),#{first.id()})"
    several = f"(#{wall.id()}),IFCPROPERTYSETDEFINITIONSET((#{first.id()},#{second.id()})))"
    assert before in kit.text()
    (tmp_path / "m.ifc").write_text(kit.text().replace(before, several))
    assert open_models([ModelFile(tmp_path / "m.ifc")]).elements[0].stated == {"one": "1", "two": "2"}


def test_what_contains_itself_many_times_is_read_once(tmp_path):
    kit = Kit()
    wall = kit.product("IfcWall", title="w")
    members = [kit.make("IfcComplexProperty", f"c{i}", None, "u") for i in range(30)]
    value = kit.make("IfcPropertySingleValue", "Inside", None, kit.make("IfcLabel", "x"), None)
    for member in members:
        member.HasProperties = [value, *members]
    parts = [kit.product("IfcBuildingElementPart", title=f"{i}") for i in range(30)]
    for whole in (wall, *parts):
        kit.relate("IfcRelAggregates", whole, parts)
    outside = kit.product("IfcWall", title="outside")
    kit.properties([outside], "Pset", Maker="A").HasProperties = members
    (element,) = kit.read(tmp_path).elements
    assert element.name == "outside"
    assert element.stated == {"inside": "x"}


def test_properties_outlive_the_reading(tmp_path):
    kit = Kit()
    kit.properties([kit.product("IfcWall", title="w")], "Pset", Maker="A")
    element = kit.read(tmp_path).elements[0]
    assert element.stated["maker"] == "A"


def test_assemblies_and_curtain_walls_become_parents(tmp_path):
    kit = Kit()
    outer = kit.product("IfcElementAssembly", title="Bay", object_type="Facade bay")
    curtain = kit.product("IfcCurtainWall", title="Curtain")
    plates = [kit.product("IfcPlate", kit.box(1, 1, 1), title=f"plate {i}") for i in range(2)]
    kit.relate("IfcRelAggregates", outer, [curtain])
    kit.relate("IfcRelAggregates", curtain, plates)
    storey = kit.root("IfcBuildingStorey", "Storey")
    kit.relate("IfcRelAggregates", storey, [outer])
    kit.product("IfcCurtainWall", kit.box(1, 1, 1), title="whole")
    kit.product("IfcCurtainWall", title="hollow")
    found = by_name(kit.read(tmp_path))
    assert set(found) == {"plate 0", "plate 1", "whole", "hollow"}
    assert found["plate 0"].parents == ("Curtain", "Bay", "Facade bay")
    assert found["whole"].parents == ()


def test_layers_as_parts(tmp_path):
    kit = Kit()

    def parts(whole, *names):
        made = [kit.product("IfcBuildingElementPart", kit.box(1, 0.1, 1), title=name) for name in names]
        kit.relate("IfcRelAggregates", whole, made)
        return made

    hollow = kit.product("IfcWall", title="hollow")
    made = parts(hollow, "a", "b")
    solid = kit.product("IfcWall", kit.box(1, 1, 1), title="solid")
    parts(solid, "c")
    roof = kit.product("IfcRoof", title="roof")
    kit.relate("IfcRelAggregates", roof, [kit.product("IfcSlab", kit.box(1, 1, 1), title="slab")])
    gathered = kit.product("IfcElementAssembly", title="gathered")
    parts(gathered, "d")
    deep = kit.product("IfcWall", title="deep")
    inner = kit.product("IfcBuildingElementPart", title="inner")
    kit.relate("IfcRelAggregates", deep, [inner])
    parts(inner, "e", "f")
    reading = kit.read(tmp_path)
    found = by_name(reading)
    assert set(found) == {"hollow", "a", "b", "solid", "c", "slab", "d", "deep", "inner", "e", "f"}
    assert found["hollow"].shown == tuple(part.GlobalId for part in made)
    assert found["solid"].shown == (solid.GlobalId,)
    assert len(found["deep"].shown) == 2
    assert found["a"].parents == ("hollow",)
    assert found["slab"].parents == ("roof",)
    assert found["e"].parents == ("inner", "deep")
    meshes, faults = reading.bodies(np.ones(len(reading.elements), dtype=np.bool_))
    assert set(faults) == {""}
    points = dict(zip((e.name for e in reading.elements), np.diff(meshes.point_start), strict=True))
    assert points == {
        "hollow": 16, "a": 8, "b": 8, "solid": 8, "c": 8, "slab": 8, "d": 8, "deep": 16, "inner": 16, "e": 8, "f": 8,
    }  # fmt: skip


def test_a_whole_that_is_part_of_itself(tmp_path):
    kit = Kit()
    one, other = (kit.product("IfcWall", kit.box(1, 1, 1), title=t) for t in ("one", "other"))
    kit.relate("IfcRelAggregates", one, [other])
    kit.relate("IfcRelAggregates", other, [one])
    assert set(by_name(kit.read(tmp_path))) == {"one", "other"}


def test_hosts_of_openings_and_windows(tmp_path):
    kit = Kit()
    wall = kit.product("IfcWall", kit.box(4, 0.2, 3), title="wall")
    hole = kit.product("IfcOpeningElement", kit.box(1, 1, 1), title="hole")
    window = kit.product("IfcWindow", kit.box(1, 0.1, 1), title="window")
    kit.product("IfcWindow", kit.box(1, 0.1, 1), title="free")
    kit.cut(wall, hole)
    kit.relate("IfcRelFillsElement", hole, window)
    found = by_name(kit.read(tmp_path))
    assert {name: element.hosts for name, element in found.items()} == {
        "wall": (),
        "hole": (wall.GlobalId,),
        "window": (wall.GlobalId,),
        "free": (),
    }


def test_double_and_missing_identities_are_kept(tmp_path):
    files = []
    for name in ("a", "b"):
        kit = Kit(salt=name)
        kit.product("IfcWall", kit.box(1, 1, 1), title=name, guid="1shared000000000000000")
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    kit = Kit()
    for title in ("c", "d"):
        kit.product("IfcWall", kit.box(1, 1, 1), title=title, guid="2shared000000000000000")
    text = kit.text()
    kit.product("IfcWall", kit.box(1, 1, 1), title="lost", guid="3lost00000000000000000")
    text = kit.text().replace("'3lost00000000000000000'", "$")
    (tmp_path / "c.ifc").write_text(text)
    reading = open_models([*files, ModelFile(tmp_path / "c.ifc")])
    assert [element.name for element in reading.elements] == ["lost", "a", "b", "c", "d"]


def test_queries_name_roles(tmp_path):
    files = []
    for name in ("a", "b"):
        kit = Kit(salt=name)
        walls = [kit.product("IfcWall", title=f"{name} wall {i}") for i in range(2)]
        kit.product("IfcColumn", title=f"{name} column")
        kind = kit.root("IfcWallType", "Sandwich 200", PredefinedType="SOLIDWALL")
        kit.relate("IfcRelDefinesByType", walls[:1], kind)
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    reading = open_models(files)

    def named(queries):
        return {reading.elements[i].name: role for i, role in reading.matches(queries).items()}

    assert named({"panel": ["IfcWall, type=/Sandwich.*/"], "column": ["IfcColumn"]}) == {
        "a wall 0": "panel", "b wall 0": "panel", "a column": "column", "b column": "column",
    }  # fmt: skip
    assert named({"panel": ["IfcWall"], "plinth": ['IfcWall, Name="a wall 1"']})["a wall 1"] == "panel"
    assert named({"plinth": ['IfcWall, Name="a wall 1"'], "panel": ["IfcWall"]})["a wall 1"] == "plinth"
    assert named({"panel": ['IfcWall, Name="a wall 0"', "IfcColumn"]}).keys() == {"a wall 0", "a column", "b column"}
    assert named({"panel": []}) == {}
    assert named({"panel": ["IfcWallStandardCase", "IfcBuiltElement", "IfcBuildingElement"]}) != {}
    assert list(reading.matches({"panel": ["IfcElement"]})) == list(range(6))


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("IfcWall,,", "cannot be understood at character 9"),
        ("IfcWall, Name=/[/", "cannot be carried out"),
        ("", "empty"),
        ("   ", "empty"),
        ("IfcWal", "Did you mean 'IfcWall'?"),
        ("IfcWall, Nam=/x/", "unknown attribute 'Nam'. Did you mean 'Name'?"),
        ("IfcZzzzzzzzz", "Look it up"),
        ("/*", "cannot be understood"),
    ],
)
def test_bad_queries(tmp_path, query, word):
    kit = Kit()
    kit.product("IfcWall", title="w")
    reading = kit.read(tmp_path)
    with pytest.raises(BadSettings) as caught:
        reading.matches({"column": ["IfcColumn"], "panel": ["IfcWall", query]})
    assert str(caught.value).startswith("[roles] panel: ")
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def line(kit, *points):
    return kit.make("IfcPolyline", [kit.point(*point) for point in points])


def axis(kit, tag, curve, same=True):
    return kit.make("IfcGridAxis", tag, curve, same)


def grid(kit, u, v=(), w=None, at=(0, 0, 0), x=None):
    made = kit.root("IfcGrid", "grid", None, None, kit.place(kit.axes(at, x=x)), None, u, v, w)
    made.VAxes = v or None
    return made


@pytest.mark.parametrize("unit", ["mm", "foot"])
def test_grid_axes(tmp_path, unit):
    kit = Kit(unit=unit)
    vector = kit.make("IfcVector", kit.direction(0, 2), kit.length(5))
    endless = kit.make("IfcLine", kit.point(3, 0), vector)
    by_points = kit.make("IfcTrimmedCurve", endless, [kit.point(3, 1)], [kit.point(3, 4)], True, "CARTESIAN")
    by_numbers = kit.make(
        "IfcTrimmedCurve", endless,
        [kit.make("IfcParameterValue", 1.0)], [kit.make("IfcParameterValue", 2.0)], True, "PARAMETER",
    )  # fmt: skip
    listed = kit.make("IfcCartesianPointList2D", [[0.0, 0.0], [kit.length(1), kit.length(1)]])
    indexed = kit.make("IfcIndexedPolyCurve", listed, None, None)
    circle = kit.make("IfcCircle", kit.axes((0, 0)), kit.length(3))
    grid(
        kit,
        [axis(kit, "A", line(kit, (0, 0), (0, 10))), axis(kit, "B", line(kit, (6, 0), (6, 10)), same=False)],
        [axis(kit, "1", endless), axis(kit, "2", by_points), axis(kit, "3", by_numbers)],
        [
            axis(kit, "4", indexed),
            axis(kit, "round", circle),
            axis(kit, "bent", line(kit, (0, 0), (1, 1), (2, 0))),
            axis(kit, "straight", line(kit, (0, 0), (1, 1), (2, 2))),
            axis(kit, "point", line(kit, (1, 1), (1, 1))),
            axis(kit, "empty", None),
        ],
        at=(100, 0, 5),
        x=(0, 1, 0),
    )
    reading = kit.read(tmp_path)
    found = {a.tag: (a.ends + reading.origin).round(6).tolist() for a in reading.grid}
    # The grid is turned by 90 degrees: (x, y) comes to lie at (100 - y, x).
    assert found == {
        "A": [[100, 0, 5], [90, 0, 5]],
        "B": [[90, 6, 5], [100, 6, 5]],
        "1": [[100, 3, 5], [95, 3, 5]],
        "2": [[99, 3, 5], [96, 3, 5]],
        "3": [[95, 3, 5], [90, 3, 5]],
        "4": [[100, 0, 5], [99, 1, 5]],
        "straight": [[100, 0, 5], [98, 2, 5]],
    }
    assert [a.tag for a in reading.grid] == sorted(found)


def test_the_grid_that_every_trade_draws_is_one(tmp_path):
    files = []
    for name, shift in (("a", 0.0), ("b", 0.0005), ("c", 0.002)):
        kit = Kit(salt=name)
        grid(kit, [axis(kit, "A", line(kit, (shift, 0), (shift, 10))), axis(kit, name, line(kit, (0, 0), (0, 10)))])
        kit.product("IfcWall", kit.box(1, 1, 1))
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    assert [a.tag for a in open_models(files).grid] == ["A", "A", "a", "b", "c"]
