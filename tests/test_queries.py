"""Each word of the selector language of ``[roles]``, on files of all three schemas."""

from pathlib import Path

import numpy as np
import pytest
from ifcopenshell.util import selector
from read_kit import Kit, everything

from checker.errors import BadSettings
from checker.read import ModelFile, open_models, queries

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")
REAL_MODELS = Path(__file__).resolve().parents[2] / "shared" / "real_models"


def building(schema: str, unit: str = "mm") -> Kit:
    """A curtain wall of two plates, a typed wall of layers, a wall of parts, a column, a beam, on two storeys."""
    kit = Kit(schema, unit)

    def box(name: str, title: str, size: tuple[float, float, float], **more: object) -> object:
        return kit.product(name, kit.box(*size), title=title, **more)

    curtain = kit.product("IfcCurtainWall", title="CW-1", object_type="Glazed front")
    plates = [box("IfcPlate", f"plate {i}", (1.5, 0.03, 2.0), Tag=f"T-{i}") for i in range(2)]
    kit.relate("IfcRelAggregates", curtain, plates)
    plate_type = kit.root("IfcPlateType", "Pane 30", PredefinedType="CURTAIN_PANEL")
    kit.relate("IfcRelDefinesByType", plates, plate_type)
    typed = box("IfcWall", "typed", (6.0, 0.12, 1.0), object_type="W 120", Description="north front")
    kit.relate("IfcRelDefinesByType", [typed], kit.root("IfcWallType", "Sandwich 120", PredefinedType="STANDARD"))
    hollow = kit.product("IfcWall", title="hollow")
    parts = [box("IfcBuildingElementPart", f"part {i}", (4.0, 0.05, 3.0)) for i in range(2)]
    kit.relate("IfcRelAggregates", hollow, parts)
    column = box("IfcColumn", "Stütze ä", (0.3, 0.3, 7.5))
    beam = box("IfcBeam", "beam", (5.0, 0.3, 0.5))

    steel, wool, paint = (kit.make("IfcMaterial", name) for name in ("Steel S235", "Mineral wool", "Paint, red"))
    layers = [kit.make("IfcMaterialLayer", material, kit.length(0.06), None) for material in (steel, wool)]
    kit.relate("IfcRelAssociatesMaterial", [typed], kit.make("IfcMaterialLayerSet", layers, "Panel"))
    kit.relate("IfcRelAssociatesMaterial", [column], steel)
    kit.relate("IfcRelAssociatesMaterial", [beam], paint)

    upper, lower = (kit.root("IfcBuildingStorey", name) for name in ("Level 1", "Level 0"))
    kit.relate("IfcRelContainedInSpatialStructure", [curtain, typed], upper)
    kit.relate("IfcRelContainedInSpatialStructure", [hollow, column], lower)
    site = kit.root("IfcBuilding", "Hall 7")
    kit.relate("IfcRelAggregates", site, [upper, lower])

    system = kit.make("IfcClassification", "S", "1", None, "House system")
    reference = kit.make("IfcClassificationReference", None, "EF 25", "External walls", system)
    kit.relate("IfcRelAssociatesClassification", [typed, hollow], reference)
    phase = kit.root("IfcGroup", "Phase 2")
    kit.root("IfcRelAssignsToGroup", None, None, [column, beam], None, phase)
    kit.properties([typed], "Pset_WallCommon", IsExternal=True, Reference="PNL-7", ThermalTransmittance=0.19)
    kit.properties([column], "Own set", **{"Erection lot": 3})

    def drawn(name: str, *items: object) -> None:
        kit.make("IfcPresentationLayerAssignment", name, None, items, None)

    drawn("A-WALL", typed.Representation.Representations[0])
    drawn("A-GLAZ", *(plate.Representation.Representations[0].Items[0] for plate in plates))
    drawn("A-PART", parts[0].Representation.Representations[0])
    mapped = kit.product("IfcProxy" if schema == "IFC2X3" else "IfcBuildingElementProxy", title="mapped")
    if schema != "IFC2X3":
        item = kit.mapped(kit.box(1, 1, 1))
        mapped.Representation = kit.make(
            "IfcProductDefinitionShape", None, None, [kit.representation(item, kind="MappedRepresentation")]
        )
        drawn("S-COPY", item.MappingSource.MappedRepresentation)
    return kit


PLATES, PARTS = {"plate 0", "plate 1"}, {"part 0", "part 1"}
ALL = PLATES | PARTS | {"typed", "hollow", "Stütze ä", "beam"}
QUERIES = {
    # class
    "IfcWall": {"typed", "hollow"},
    "IfcWall, IfcColumn": {"typed", "hollow", "Stütze ä"},
    "IfcElement, !IfcWall": ALL - {"typed", "hollow"},
    # predefined type, also where it stands at the type (IFC2X3 knows no other)
    "IfcPlate, PredefinedType=CURTAIN_PANEL": PLATES,
    "IfcPlate, PredefinedType!=CURTAIN_PANEL": set(),
    "PredefinedType=STANDARD": {"typed"},
    # names and other attributes
    'Name="Stütze ä"': {"Stütze ä"},
    "Name=/plate [0-9]/": PLATES,
    "IfcBuildingElementPart, Name!=/.*1/": {"part 0"},
    "Name*=late": PLATES,
    "Tag=T-1": {"plate 1"},
    "Description=/north.*/": {"typed"},
    # object type and type name
    'IfcWall, ObjectType="W 120"': {"typed"},
    "type=/Sandwich.*/": {"typed"},
    "IfcWall, type!=/Sandwich.*/": {"hollow"},
    # material
    'material="Mineral wool"': {"typed"},
    "material*=Steel": {"typed", "Stütze ä"},
    'IfcBeam, IfcColumn, IfcWall, material!="Steel S235"': {"hollow", "beam"},
    'material="Paint, red"': {"beam"},
    "IfcColumn, IfcWall, material=NULL": {"hollow"},
    # layer, of a representation, of its items, of parts
    "layer=A-WALL": {"typed"},
    "layer=/A-.*/": PLATES | {"typed", "hollow", "part 0"},
    "IfcPlate, IfcColumn, layer!=/A-.*/": {"Stütze ä"},
    # classification, by number and name
    'classification="EF 25"': {"typed", "hollow"},
    'classification="External walls"': {"typed", "hollow"},
    'IfcWall, IfcBeam, classification!="EF 25"': {"beam"},
    # parent: assembly, wall, storey, building
    "parent=CW-1": PLATES,
    "parent=hollow": PARTS,
    'parent="Level 1"': PLATES | {"typed"},
    "parent*=Level": ALL - {"beam"},
    'IfcElement, parent!="Level 1"': PARTS | {"hollow", "Stütze ä", "beam"},
    'parent="Hall 7"': ALL - {"beam"},
    'location="Level 0"': PARTS | {"hollow", "Stütze ä"},
    'group="Phase 2"': {"Stütze ä", "beam"},
    # property
    "Pset_WallCommon.IsExternal=TRUE": {"typed"},
    "Pset_WallCommon.Reference=/PNL.*/": {"typed"},
    "Pset_WallCommon.ThermalTransmittance<0.2": {"typed"},
    '"Own set"."Erection lot"=3': {"Stütze ä"},
    "IfcColumn, IfcWall, Pset_WallCommon.IsExternal!=TRUE": {"hollow", "Stütze ä"},
    # sizes in mm: just inside, on and outside
    "IfcColumn, height>7499.9": {"Stütze ä"},
    "IfcColumn, height>7500.1": set(),
    "IfcWall, thickness<=120.01": {"typed", "hollow"},
    "IfcWall, thickness<119.9": {"hollow"},
    "length>=4999.9, width<1500": {"typed", "Stütze ä", "beam"},
    "width>999.9, width<1000.1": {"typed"},
    # and, or
    "IfcWall, material*=wool, thickness>100": {"typed"},
    "IfcPlate, Tag=T-0 + IfcColumn + IfcBeam, length>6000": {"plate 0", "Stütze ä"},
}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_every_word_of_a_query(tmp_path, schema):
    reading = building(schema).read(tmp_path)
    meshes, _ = reading.bodies(everything(reading))
    found = {
        query: {reading.elements[i].name for i in reading.matches({"panel": [query]}, meshes)} - {"mapped"}
        for query in QUERIES
    }
    assert found == QUERIES


@pytest.mark.parametrize("unit", ["mm", "m", "foot"])
def test_sizes_are_mm_in_any_unit_and_turned(tmp_path, unit):
    kit = Kit(unit=unit)
    kit.product(
        "IfcWall", kit.box(6.0, 0.12, 1.0), title="w", placement=kit.place(kit.axes((5, 5, 5), x=(0.8, 0.6, 0.0)))
    )
    reading = kit.read(tmp_path)
    meshes, _ = reading.bodies(everything(reading))
    query = "length>5999.9, length<6000.1, width<1000.1, thickness<120.1, thickness>119.9, height>999.9"
    assert reading.matches({"panel": [query]}, meshes) == {0: "panel"}


def test_layers_of_copied_bodies(tmp_path):
    reading = building("IFC4").read(tmp_path)
    (found,) = reading.matches({"panel": ["layer=S-COPY"]})
    assert reading.elements[found].name == "mapped"


def test_sizes_hold_until_bodies_are_read_and_never_without_a_body(tmp_path):
    kit = Kit()
    kit.product("IfcWall", kit.box(1, 1, 1), title="small")
    kit.product("IfcWall", title="nothing")
    reading = kit.read(tmp_path)
    asked = {"panel": ["IfcWall, length>2000", "IfcWall, length<2000"], "plinth": ["IfcWall, thickness>0"]}
    assert reading.matches({"panel": ["IfcWall, length>2000"]}) == {0: "panel", 1: "panel"}
    meshes, _ = reading.bodies(everything(reading))
    named = {reading.elements[i].name: role for i, role in reading.matches(asked, meshes).items()}
    assert named == {"small": "panel"}


def test_a_query_that_names_nothing_is_told(tmp_path):
    reading = building("IFC4").read(tmp_path)
    meshes, _ = reading.bodies(everything(reading))
    asked = {"panel": ["IfcWall", "IfcPlate, PredefinedType=CURTAINPANEL"], "column": ["IfcColumn, height>9000"]}
    assert reading.idle(asked, meshes) == [
        "[roles] panel: the query 'IfcPlate, PredefinedType=CURTAINPANEL' names nothing in these models.",
        "[roles] column: the query 'IfcColumn, height>9000' names nothing in these models.",
    ]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("IfcWall, typ=x", "names the unknown word 'typ'. Did you mean 'type'?"),
        ("IfcWall, lenght>600", "names the unknown word 'lenght'. Did you mean 'length'?"),
        ("IfcWall, storey=x", "names the unknown word 'storey'. Known names: classification, group, height, layer"),
        ("IfcWall, tag=3", "Did you mean 'Tag'?"),
        ("IfcWall, ObjektType=x", "names the unknown attribute 'ObjektType'. Did you mean 'ObjectType'?"),
        ("ifcwall", "names the unknown class 'ifcwall'. Did you mean 'IfcWall'?"),
        ("Wall, length>3", "names the unknown class 'Wall'. Did you mean 'IfcWall'?"),
        ("IfcWall, length=600", "cannot be understood at character 16. Texts with blanks"),
        ("IfcWall, length>600mm", "cannot be understood at character 20. Texts with blanks"),
        ("IfcWall, Name=Panel A", "cannot be understood at character 21. Texts with blanks"),
    ],
)
def test_mistakes_name_role_query_and_nearest_word(tmp_path, query, says):
    reading = building("IFC4").read(tmp_path)
    with pytest.raises(BadSettings) as caught:
        reading.matches({"base-rail": [query]})
    assert str(caught.value).startswith(f"[roles] base-rail: the query {query!r} ")
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("query", ['Name="typ=x, ifcwall"', "Name=/a, b=c/", '"My Set"."no, word"=1'])
def test_texts_in_quotes_may_say_anything(query):
    queries.check_query(query, "panel")


def test_the_language_is_still_the_librarys():
    """Its grammar is extended by text: a new release of the library must still have the place for it."""
    assert "| group | parent" in selector.filter_elements_grammar.source_grammar
    for query in QUERIES:
        queries.check_query(query, "panel")


def test_the_examples_of_the_readme_can_be_understood():
    text = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    table = text.partition("| word | finds elements by | example |")[2].partition("\n\n")[0]
    examples = [code for line in table.splitlines()[2:] for code in line.split("|")[3].split("`")[1::2]]
    assert len(examples) >= 13
    for query in (*examples, "IfcElement, !IfcWall, material!=/Concrete.*/"):
        queries.check_query(query, "panel")
    words = {word for line in table.splitlines()[2:] for word in line.split("|")[1].split("`")[1::2]}
    assert {*queries.SIZES, "type", "material", "layer", "classification", "parent", "location", "group"} <= words


@pytest.mark.parametrize(
    ("file", "query", "count"),
    [
        ("curtain-only.ifc", "IfcPlate, PredefinedType=CURTAIN_PANEL", 324),
        ("curtain-only.ifc", "IfcPlate, parent!=NULL", 324),
        ("curtain-only.ifc", "IfcMember, PredefinedType=MULLION", 611),
        ("lab-mixed-ifc4.ifc", "IfcColumn, width<=250.1", 84),
        ("lab-mixed-ifc4.ifc", "IfcColumn, height>=1000", 55),
        ("aac-plot01-old.ifc", "IfcWall, thickness<80, height>2000", 19),
    ],
)
def test_queries_on_real_models(file, query, count):
    if not (REAL_MODELS / file).exists():
        pytest.skip("real models are not at hand")
    reading = open_models([ModelFile(REAL_MODELS / file)])
    wanted = np.zeros(len(reading.elements), bool)
    wanted[list(reading.matches({"panel": [query]}))] = True
    meshes, _ = reading.bodies(wanted)
    assert len(reading.matches({"panel": [query]}, meshes)) == count
