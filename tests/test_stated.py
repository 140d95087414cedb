"""Layers that are stated instead of drawn, and the IDS file that asks for them."""

from pathlib import Path

import ifcopenshell
import pytest
from drawn import RULES, checked, only_issue
from read_kit import Kit

from checker.model import Element
from checker.output.ids import ids_file
from checker.sketch import closed, detail, guid_of
from checker.stated import PROPERTY_SET, affirmed, keys_of, property_name, says

SCHEMA = Path(__file__).parent.parent.parent / "shared" / "standards" / "ids" / "ids.xsd"
STRIPS = [name for name in detail().parts if name.startswith("column seal")]
PANELS = [name for name in detail().parts if name.startswith("panel")]
BARE = detail().without(*STRIPS)


def coverage(result, rule):
    return next(each for each in result.coverage if each.rule == rule)


def element(stated=None, materials=()):
    return Element("0", "IfcPlate", stated=stated or {}, materials=materials)


@pytest.mark.parametrize(
    ("stated", "materials", "answer"),
    [
        ({"columnseal": "true"}, (), 1),
        ({"column seal": ".T."}, (), 1),
        ({"column_seal": "EPDM 40 x 10"}, (), 1),
        ({"columnseal": "false"}, (), -1),
        ({"columnseal": "none"}, (), -1),
        ({"columnseal": " "}, (), 0),
        ({"seal": "true"}, (), 0),
        ({}, ("Steel", "Column seal, EPDM"), 1),
        ({}, ("Steel",), 0),
        ({"columnseal": "no"}, ("column seal",), -1),  # a property that denies it counts more than a name
    ],
)
def test_what_counts_as_a_statement(stated, materials, answer):
    assert says(element(stated, materials), keys_of("column-seal", {})) == answer


def test_further_names_are_configurable():
    keys = keys_of("column-seal", {"column-seal": ("Søjletætning",)})
    assert says(element({"søjletætning": "ja"}), keys) == 1
    result = checked(BARE.stating("panel 1.1", dichtband="ja"), stated={"column-seal": ("Dichtband",)})
    assert coverage(result, "column-seal").stated == 1


def test_every_layer_has_its_own_property():
    names = [property_name(rule.layer.name) for rule in RULES.values() if rule.layer is not None]
    layers = {rule.layer.name for rule in RULES.values() if rule.layer is not None}
    assert len(set(names)) == len(layers)
    assert all(name.isalnum() for name in names)


def test_what_is_stated_everywhere_passes_and_is_told():
    sketch = BARE
    for name in PANELS:
        sketch = sketch.stating(name, columnseal="true")
    result = checked(sketch)
    assert not result.verdicts
    line = coverage(result, "column-seal")
    assert (line.passed, line.stated, line.not_modelled) == (2, 2, 0)
    assert any("column-seal: stated by the models and not drawn at 2 of 2 places" in note for note in result.notes)


def test_what_is_stated_at_one_seam_says_nothing_of_the_next():
    line = coverage(checked(BARE.stating("panel 1.1", columnseal="true")), "column-seal")
    assert (line.passed, line.stated, line.not_modelled) == (1, 1, 1)


def test_stated_absence_fails():
    issue = only_issue(checked(BARE.stating("panel 2.1", columnseal="false")), "column-seal")
    assert "panel 2.1 states that there is no seal strip" in issue.title
    assert guid_of("panel 2.1") in {e.guid for e in map(BARE.model().elements.__getitem__, issue.elements)}


def test_what_is_drawn_beats_a_statement_and_the_contradiction_is_told():
    denied = checked(detail().stating("panel 1.1", columnseal="false"))
    issue = only_issue(denied, "column-seal")
    assert issue.severity == "warning"
    assert "states that there is no seal strip" in issue.title
    assert "but one is drawn" in issue.title
    short = detail().stretched("column seal 2 left", "top", -400.0)
    claimed = only_issue(checked(short.stating("panel 1.2", columnseal="true")), "column-seal")
    assert claimed.worst_mm == pytest.approx(400.0, abs=0.01)
    assert "panel 1.2 states that it is there" in claimed.title


def test_a_required_layer_may_be_stated():
    sketch = BARE
    for name in PANELS:
        sketch = sketch.stating(name, columnseal="true")
    assert not checked(sketch, layers={"column-seal": "required"}).issues
    assert only_issue(checked(BARE, layers={"column-seal": "required"}), "column-seal")


def test_the_airtight_line_counts_what_is_stated():
    sketch = closed().without(*STRIPS)
    for name in PANELS:
        sketch = sketch.stating(name, columnseal="true")
    line = checked(sketch).airtight
    assert line.stated_m == pytest.approx(2.0)
    assert line.not_modelled_m == pytest.approx(0.0)


def test_a_word_is_yes_or_no_or_neither():
    assert [affirmed(word) for word in ("TRUE", "ja", "0", "Nein", "EPDM")] == [True, True, False, False, None]


def test_the_ids_file_is_valid():
    """Published schema: IDS 1.0, buildingSMART International."""
    if not SCHEMA.is_file():
        pytest.skip("needs ../shared/standards/ids")
    import xmlschema

    xmlschema.XMLSchema(str(SCHEMA)).validate(ids_file(list(RULES.values())).decode())


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_a_reader_of_ids_files_finds_who_states_nothing(tmp_path, schema):
    """A second reader (ifctester) understands the file: a model with the property set passes, one without fails."""
    ids = pytest.importorskip("ifctester.ids")
    path = tmp_path / "layers.ids"
    path.write_bytes(ids_file(list(RULES.values())))
    names = [property_name(rule.layer.name) for rule in RULES.values() if rule.layer is not None]
    for complete in (True, False):
        kit = Kit(schema)
        plate = kit.product("IfcPlate", kit.box(6, 0.12, 1), title="panel")
        values = {name: kit.make("IfcBoolean", True) for name in (names if complete else names[:1])}
        single = [kit.make("IfcPropertySingleValue", name, None, value, None) for name, value in values.items()]
        kit.relate("IfcRelDefinesByProperties", [plate], kit.root("IfcPropertySet", PROPERTY_SET, None, single))
        asked = ids.open(str(path))
        asked.validate(ifcopenshell.file.from_string(kit.text()))
        panels = next(each for each in asked.specifications if each.name.startswith("Panels"))
        assert panels.status == complete
