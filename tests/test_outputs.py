import csv
import io
import json
import tomllib
import uuid
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

import ifcopenshell
import ifcopenshell.util.selector
import jsonschema
import numpy as np
import pytest
from box_model import Part, Place, hall, model_of, write_ifc
from hypothesis import given
from hypothesis import strategies as st

from checker.errors import CannotCheck
from checker.model import Element, Fit, Georeference, Intake, Remark, Role, Source
from checker.nameless import nameless_at_facade
from checker.output.explain import proposed_roles, recognised, rule_in_full, rules_table, write_proposal
from checker.output.findings import findings, findings_schema
from checker.output.summary import WIDTH, plain, summary
from checker.output.table import seams_csv
from checker.result import (
    Change,
    Changes,
    Coverage,
    Issue,
    Move,
    Occupied,
    PartChange,
    Result,
    SeamTable,
    Section,
    Verdict,
    WayFound,
)
from checker.rule import limit

# Names as a model from outside may have them: escape codes, a new line with a command for a build log, a formula,
# markup, writing turned round, half of a surrogate pair.
HOSTILE = "\x1b[31mred\n::error file=x::gone\r##[section]=1+1</script>\u202e\ud800 \u2028::set-output name=a::b"


def source(file, owner="panels"):
    return Source(file, "ab" * 32, "IFC4", "mm", "Hall", "0Prj", "2026-03-04T05:06:07Z", file, "facade", owner)


def verdict(state="fail", message="Seam is 22.0 mm wide", **more):
    facts = {
        "rule": "seam-width",
        "severity": "error",
        "subject": "s1",
        "kind": "panel-end",
        "value_mm": 22.00004,
        "minimum_mm": 25.0,
        "maximum_mm": None,
        "elements": ("0Pnl1", "0Pnl2"),
        "point_m": (6000000.12345678, -0.0000001, 1.0),
        "facade": "south",
        "axis": "C4",
        "issue": "3f0c5e7a",
    }
    return Verdict(state=state, message=message, **(facts | more))


def issue(key="3f0c5e7a", severity="error", title="Seam is too narrow; move the panel 8 mm to the left", **more):
    facts = {
        "check_id": "seam-width/C4",
        "topic": str(uuid.uuid5(uuid.NAMESPACE_URL, key)),
        "rule": "seam-width",
        "description": "Seam is 22.0 mm wide.",
        "members": (0,),
        "worst_mm": 22.0,
        "owner": "panels",
        "elements": (0, 1),
        "point_m": (1.0, 2.0, 3.0),
        "look": (0.0, 1.0, 0.0),
        "size_m": 1.0,
        "facade": "south",
        "axis": "C4",
        "remedy": "Move the panel end.",
        "section": Section("plan", (1.0, 2.0, 3.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
        "move": Move("0Pnl1", "the end of the left panel", (-0.008, 0.0, 0.0), 8.0, "to the left"),
    }
    return Issue(key=key, severity=severity, title=title, **(facts | more))


FACADE_OFF = "facade.ifc lies 0.300 m east of structure.ifc"


def arrived():
    """What two files brought, one of them in the wrong place."""
    structure = Intake(60, 58, (24.0, 18.0, 7.5), 0.04, 0, {"column": 16, "base-rail": 9}, Fit("meets", 1, 1))
    off = Fit("off", 1, 10, (-0.3, 0.0, 0.0), against=(0,), joints=10)
    remarks = (Remark("note", "facade.ifc has no map conversion."), Remark("error", FACADE_OFF))
    return structure, Intake(300, 298, (24.25, 18.3, 7.24), 0.0, 2, {"panel": 93}, off, remarks)


def result(**more):
    sources = (
        replace(
            source("structure.ifc", "steel"),
            products=62,
            georeference=Georeference("map", "EPSG:25832", (5e5, 6e6, 7.5)),
        ),
        replace(source("facade.ifc"), products=310),
    )
    model = replace(model_of(hall()), sources=sources, intake=arrived())
    facts = {
        "model": model,
        "panels": 8,
        "columns": 3,
        "seams": SeamTable({"id": ["s1", "s2"], "length_mm": [1000.0, None]}),
        "seam_length_m": 4.0000004,
        "coverage": (Coverage("seam-width", 9, 3, 1, 2, 1, 2, 4.0),),
        "verdicts": (
            verdict(),
            verdict("undecided", "has no body", value_mm=None, minimum_mm=None, issue=None),
            verdict("accepted"),
        ),
        "issues": (
            issue(),
            issue("0000000a", "note", move=None, worst_mm=None, facade="", axis=""),
            issue("0000000b", accepted="by lead"),
        ),
        "ways": (
            WayFound("on-columns", 6, 1, 4.0, 22.0, 30.0, 0, 0, True, ("1",), "6 panels meeting on columns: 1 gap"),
            WayFound("butting", 2, 0, 0.0, None, None, 0, 0, False, (), "2 walls butting: no gap"),
        ),
        "occupied": (Occupied("s1", 0.96875, (("0Bar1", "IfcPlate", "=flat 40x5\x1b[2J"),)),),
        "column_places": 2,
    }
    return Result(**(facts | more))


# ---- findings.json --------------------------------------------------------------------------------------------------


VALIDATOR = jsonschema.Draft202012Validator(
    findings_schema(), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
)


def valid(content):
    read = json.loads(content)
    VALIDATOR.validate(read)
    return read


def test_the_schema_of_findings_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(findings_schema())


def test_findings_hold_what_the_run_found():
    read = valid(findings(result()))
    assert read["tool"]["name"] == "seamtrace"
    assert read["models"][0] == {
        "name": "facade",
        "file": "structure.ifc",
        "sha256": "ab" * 32,
        "schema": "IFC4",
        "length_unit": "mm",
        "project": "Hall",
    }
    assert read["summary"] == {
        "panels": 8,
        "columns": 3,
        "seams": 2,
        "seam_length_m": 4.0,
        "error": 1,
        "warning": 0,
        "note": 1,
        "column_places": 2,
        "unchecked": None,
    }
    assert [(way["way"], way["checked"], way["width_max_mm"]) for way in read["ways"]] == [
        ("on-columns", True, 30.0),
        ("butting", False, None),
    ]
    by = [{"guid": "0Bar1", "class": "IfcPlate", "name": "=flat 40x5\x1b[2J"}]
    assert read["occupied"] == [{"subject": "s1", "share": 0.9688, "elements": by}]
    assert read["coverage"] == [
        {
            "rule": "seam-width",
            "subjects": 9,
            "pass": 3,
            "fail": 1,
            "not_modelled": 2,
            "undecided": 1,
            "accepted": 2,
            "length_m": 4.0,
            "stated": 0,
        }
    ]
    first, undecided, accepted = read["verdicts"]
    assert (first["value_mm"], first["minimum_mm"], first["maximum_mm"]) == (22.0, 25.0, None)
    assert first["point_m"] == [6000000.123457, 0.0, 1.0]
    assert (undecided["state"], undecided["value_mm"], undecided["issue"]) == ("undecided", None, None)
    assert accepted["state"] == "accepted"
    guids = [element.guid for element in result().model.elements]
    assert read["issues"][0]["elements"] == guids[:2]
    assert read["issues"][0]["move"] == {
        "part": "0Pnl1",
        "what": "the end of the left panel",
        "vector_m": [-0.008, 0.0, 0.0],
        "distance_mm": 8.0,
        "direction": "to the left",
        "also": [],
    }
    assert read["issues"][1]["move"] is None


def test_findings_tell_what_arrived():
    read = valid(findings(result()))
    structure, facade = read["intake"]
    assert structure["georeference"] == {"kind": "map", "name": "EPSG:25832", "place": [5e5, 6e6, 7.5]}
    assert structure["meets"]["shift_mm"] is None
    assert facade == {
        "file": "facade.ifc",
        "products": 310,
        "elements": 300,
        "bodies": 298,
        "size_m": [24.25, 18.3, 7.24],
        "distance_m": 0.0,
        "doubles": 2,
        "roles": {"panel": 93},
        "georeference": None,
        "meets": {
            "state": "off",
            "met": 1,
            "best": 10,
            "shift_mm": [-300.0, 0.0, 0.0],
            "exact": True,
            "alike": False,
            "by_grid": False,
            "turn_deg": 0.0,
            "against": [0],
        },
        "remarks": [
            {"severity": "note", "text": "facade.ifc has no map conversion."},
            {"severity": "error", "text": FACADE_OFF},
        ],
    }
    assert valid(findings(result(model=replace(result().model, intake=()))))["intake"] == []


def test_findings_keep_their_order_of_keys_and_one_line_each():
    content = findings(result())
    read = json.loads(content)
    assert list(read) == [
        *("format", "tool", "release", "models", "intake", "summary", "ways", "occupied", "coverage", "airtight"),
        *("verdicts", "issues", "changes", "parts"),
    ]
    # The order in which the schema lists the keys is the order in which they stand.
    for section in ("ways", "occupied", "coverage", "verdicts", "issues", "models", "intake"):
        assert list(read[section][0]) == VALIDATOR.schema["properties"][section]["items"]["required"]
    assert content.endswith(b"}\n")
    assert len([line for line in content.splitlines() if line.startswith(b'{"rule"')]) == 4
    assert b"-0.0," not in content
    assert content == findings(result())


def test_findings_of_nothing_are_valid():
    assert valid(findings(result(verdicts=(), issues=(), coverage=(), seams=SeamTable({}))))["issues"] == []


def test_findings_refuse_to_write_what_is_no_number():
    with pytest.raises(ValueError, match="JSON"):
        findings(result(verdicts=(verdict(value_mm=float("nan")),)))


@given(text=st.text(st.characters(exclude_categories=()), max_size=40))
def test_findings_and_table_carry_any_text(text):
    read = valid(findings(result(verdicts=(verdict(message=text),), issues=(issue(title=text),))))
    writable = text.encode("utf-8", errors="replace").decode("utf-8")
    assert read["verdicts"][0]["message"] == read["issues"][0]["title"] == writable
    (_, (cell, end)) = rows(SeamTable({"axis": [text], "end": ["."]}))
    assert end == "."
    assert cell in (writable, f"'{writable}")


# ---- seams.csv ------------------------------------------------------------------------------------------------------


def rows(seams):
    return list(csv.reader(io.StringIO(seams_csv(seams).decode("utf-8"), newline="")))


def test_table_has_fixed_decimals_blanks_and_crlf():
    seams = SeamTable(
        {
            "id": ["s1", "s2"],
            "width_min_mm": [22.00049, -0.00001],
            "offset_left_mm": [None, float("nan")],
            "x_m": [1e6 + 0.1234567, -0.0],
            "seam-foam": [1.0, 0.33333],
            "axis": ["C4", 'a "b", c'],
        }
    )
    assert seams_csv(seams) == (
        b"id,width_min_mm,offset_left_mm,x_m,seam-foam,axis\r\n"
        b"s1,22.000,,1000000.123457,1.0000,C4\r\n"
        b's2,0.000,,0.000000,0.3333,"a ""b"", c"\r\n'
    )


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_text_cannot_become_a_formula_and_numbers_stay_numbers(start):
    (_, (text, number)) = rows(SeamTable({"axis": [f"{start}1+1"], "offset_left_mm": [-4.0]}))
    assert text == f"'{start}1+1"
    assert number == "-4.000"


def test_columns_of_unequal_length_are_our_mistake():
    with pytest.raises(ValueError, match="shorter"):
        seams_csv(SeamTable({"id": ["s1"], "axis": []}))


# ---- what is printed ------------------------------------------------------------------------------------------------


@given(text=st.text(st.characters(exclude_categories=()), max_size=60) | st.text("::##\n\x1b[a", max_size=20))
def test_plain_text_cannot_act(text):
    shown = plain(text)
    assert shown.isprintable()
    assert not set(shown) & set("\x1b\n\r\x85\u2028\u202e")
    assert "::" not in shown
    assert "##" not in shown
    shown.encode("utf-8")
    assert plain(shown) == shown


def test_summary_says_all_there_is_to_say():
    text = summary(result(notes=("roof.ifc has no elements",)), [Path("out/issues.bcf"), Path("out/seams.csv")])
    assert text == (
        "2 models: 8 panels, 3 columns in 2 places, 2 seams, 4.0 m of seam\n"
        "  file           schema  unit  size in m      products  panels  columns  other  map  meets  owner\n"
        "  structure.ifc  IFC4    mm    24.0x18.0x7.5        62       0       16      9  map  yes    steel\n"
        "  facade.ifc     IFC4    mm    24.2x18.3x7.2       310      93        0      0  no   no     panels\n"
        "\n"
        "  Error: facade.ifc lies 0.300 m east of structure.ifc\n"
        "  Note: facade.ifc has no map conversion.\n"
        "\n"
        "ways of building\n"
        "  6 panels meeting on columns: 1 gap\n"
        "  2 walls butting: no gap\n"
        "\n"
        "ways of building\n"
        "  6 panels meeting on columns: 1 gap\n"
        "  2 walls butting: no gap\n"
        "\n"
        "rule        subjects  metres  pass  fail  not modelled  undecided  accepted\n"
        "seam-width         9     4.0     3     1             2          1         2\n"
        "\n"
        "2 issues: 1 error, 1 note (1 more accepted)\n"
        "  3f0c5e7a  error    facade south, axis C4: Seam is too narrow; move the panel 8 mm to the left.\n"
        "  0000000a  note     Seam is too narrow; move the panel 8 mm to the left.\n"
        "\n"
        "Could not be decided: 1 subject\n"
        "  1 x has no body\n"
        "\n"
        "Note: roof.ifc has no elements\n"
        "\n"
        "Written: out/issues.bcf\n"
        "Written: out/seams.csv\n"
        "\n"
        "Geometry and data were checked against settings; a pass is no certificate. Structure, fire, wind,\n"
        "lifting and local codes are for qualified people.\n"
    )


def test_where_nothing_was_checked_nothing_is_said_of_issues():
    text = summary(result(unchecked="nothing fits", coverage=(), verdicts=(), issues=()), [])
    assert "ways of building\n  6 panels" in text
    assert "issue" not in text
    assert "subjects" not in text
    assert valid(findings(result(unchecked="nothing fits")))["summary"]["unchecked"] == "nothing fits"


def test_summary_shows_the_worst_twenty_errors_first():
    many = [issue(f"{i:08x}", ["note", "warning", "error"][i % 3]) for i in range(63)]
    lines = summary(result(issues=tuple(many)), []).splitlines()
    shown = [line.split()[:2] for line in lines if line.startswith("  000")]
    assert shown == [[f"{i:08x}", "error"] for i in range(2, 62, 3)]
    assert "  and 43 more" in lines
    assert "63 issues: 21 errors, 21 warnings, 21 notes" in lines


def test_summary_of_a_clean_run():
    assert "\n\nNo issues.\n\n" in summary(result(issues=(), verdicts=()), [])
    assert "No issues (1 more accepted)." in summary(result(issues=(issue(accepted="yes"),), verdicts=()), [])


def test_hostile_names_stay_on_their_line_and_inside_the_page():
    clean = summary(result(), [])
    model = replace(result().model, sources=(source(HOSTILE, HOSTILE), source("facade.ifc")))
    text = summary(result(model=model, issues=(issue(title=HOSTILE * 9), issue("0000000a", "note", move=None))), [])
    assert not set(text) & set("\x1b\r\u202e\ud800\u2028")
    assert "::" not in text
    assert "##" not in text
    assert all(len(line) <= WIDTH for line in clean.splitlines() if not line.startswith("Written"))
    assert all(
        line.startswith((" ", "1", "2", "ways", "rule", "seam", "No", "Could", "Geom", "lift")) or not line
        for line in text.splitlines()
    )


def test_what_changed_is_told_between_issues_and_notes():
    hostile = Change("3f0c5e7a", "t", "seam-width", "worse", HOSTILE * 9, "rule and place", 20.0, 22.0, 0)
    mended = Change("0000000a", "u", "seam-width", "mended", "Seam is narrow")
    quiet = Change("0000000b", "v", "seam-width", "unchanged", "Foam is short", "same parts", 3.0, 3.0, 1)
    moved = PartChange("0Pnl1", "moved", "panel", HOSTILE, HOSTILE, "0Old", "mark", 12.04)
    gone = PartChange("0Pnl2", "removed", "panel", "K2", "facade")
    changes = Changes("issues.bcf", (hostile, mended, quiet), (moved, gone), {"mark": 7}, (HOSTILE,))
    text = summary(result(changes=changes), [])
    assert not set(text) & set("\x1b\r\u202e\ud800\u2028")
    assert "::" not in text
    assert "##" not in text
    told = text.split("\n\n")
    (block,) = [part for part in told if part.startswith("Since issues.bcf: 1 worse, 1 mended, 1 unchanged\n")]
    assert "  0000000a  mended     Seam is narrow.\n" in block
    assert "(was 20.0 mm); recognised by rule and place." in " ".join(block.split())
    assert "Foam is short" not in block
    assert "Parts at seams: 1 removed, 1 moved; with new GlobalIds recognised 7 by mark\n" in block
    assert "(0Pnl1) moved by 12.0 mm" in " ".join(block.split())
    assert all(len(line) <= WIDTH for line in block.splitlines())
    assert "Since" not in summary(result(changes=replace(changes, since="")), [])
    nothing = summary(result(changes=Changes("issues.bcf", (), ())), [])
    assert "Since issues.bcf: no issues\nParts at seams: none changed\n" in nothing


# ---- seamtrace roles ------------------------------------------------------------------------------------------------


def roled(parts, elements=None):
    """A model of boxes; a part whose role is "loose" was recognised as nothing."""
    model = model_of(parts)
    found = tuple(
        Role("", 0.0, "")
        if role.role == "loose"
        else Role(role.role, 0.9, f"class {element.ifc_class}, flat {5.9 + i} x 1.00 x 0.12 m")
        for i, (role, element) in enumerate(zip(model.roles, model.elements, strict=True))
    )
    return replace(model, roles=found, elements=elements or model.elements)


BESIDE = {
    # flat sheet before the panels, 0.25 m away from them: inside reach
    "near sheet": Part("near sheet", "loose", (-3.0, -0.30, 0.0), (3.0, -0.25, 1.0)),
    # the same, out of reach
    "far sheet": Part("far sheet", "loose", (-3.0, -0.40, 0.0), (3.0, -0.31, 1.0)),
    # slender, at the end of the row of panels
    "trim": Part("trim", "loose", (6.0, 0.0, 0.0), (6.05, 0.1, 4.0)),
    # at the facade, but a bulky thing and a small one
    "tank": Part("tank", "loose", (-1.0, -2.0, 0.0), (1.0, -0.1, 2.0)),
    "bolt": Part("bolt", "loose", (0.0, -0.1, 0.0), (0.1, -0.05, 0.1)),
    # beside the wall in plan, far above it
    "sign": Part("sign", "loose", (-1.0, 0.0, 4.4), (1.0, 0.1, 5.0)),
}


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 90.0])
def test_only_flat_or_slender_things_at_panels_are_nameless_at_the_facade(turn_deg):
    parts = hall() + list(BESIDE.values())
    turned = model_of(parts, Place(turn_deg, (500000.0, 200.0, 30.0)))
    model = replace(turned, roles=tuple(Role(r.role.replace("loose", ""), 1.0, "") for r in turned.roles))
    found = {model.elements[i].name for i in nameless_at_facade(model)}
    assert found == {"near sheet", "trim"}


def test_no_panel_no_facade():
    assert len(nameless_at_facade(roled([part for part in hall() if part.role == "plinth"]))) == 0
    assert len(nameless_at_facade(roled([]))) == 0


def test_roles_are_listed_with_counts_reasons_and_examples():
    model = roled([*hall(), BESIDE["trim"]])
    model = replace(model, roles=tuple(replace(r, confidence=0.5) if i == 0 else r for i, r in enumerate(model.roles)))
    text = recognised(model, nameless_at_facade(model))
    assert text.startswith("18 of 19 elements recognised\n")
    least = model.roles[0].role
    assert next(line.split() for line in text.splitlines() if line.startswith(least + " "))[-1] == "50%"
    assert "  8 x class IfcWall, flat\n" in text
    assert text.count("IfcWall 'Panel") == 3
    assert "without a role: 1 element\n" in text
    assert "IfcCovering 'trim'" in text
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_roles_of_hostile_names_cannot_act():
    model = roled(hall())
    elements = tuple(replace(element, name=HOSTILE) for element in model.elements)
    text = recognised(replace(model, elements=elements), np.array([0, 1]))
    assert not set(text) & set("\x1b\r\u202e\ud800\u2028")
    assert "::" not in text
    assert "##" not in text


def test_an_empty_model_has_no_roles():
    assert recognised(roled([]), np.zeros(0, np.int64)).startswith("0 of 0 elements recognised\n")
    assert tomllib.loads(proposed_roles(roled([]), np.zeros(0, np.int64))) == {"roles": {}}


def chosen(path, queries):
    """What the queries choose, asked of the library that will run them."""
    file = ifcopenshell.open(path)
    return {
        element.GlobalId for query in queries for element in ifcopenshell.util.selector.filter_elements(file, query)
    }


def test_proposed_queries_choose_what_was_recognised_and_nothing_else(tmp_path):
    parts = [
        *hall(),
        Part("Flashing 1", "flashing", (0, 0, 0), (1, 1, 1)),
        Part("Flashing 2", "flashing", (0, 0, 0), (1, 1, 1)),
        Part('Odd "name", with /all/ of = it', "tape", (0, 0, 0), (1, 1, 1)),
        Part("back\\slash", "membrane", (0, 0, 0), (1, 1, 1)),
        Part("\x1b[31m Seal", "foam", (0, 0, 0), (1, 1, 1)),
        Part("some other covering", "loose", (0, 0, 0), (1, 1, 1)),
    ]
    write_ifc(parts, tmp_path / "model.ifc")
    model = roled(parts)
    proposal = proposed_roles(model, np.array([i for i, role in enumerate(model.roles) if not role.role]))
    read = tomllib.loads(proposal)["roles"]
    for role in {role.role for role in model.roles} - {""}:
        wanted = {
            element.guid for element, found in zip(model.elements, model.roles, strict=True) if found.role == role
        }
        assert chosen(tmp_path / "model.ifc", read[role]) == wanted, role
    assert read["column"] == ["IfcColumn"]
    assert set(read["panel"]) == {"IfcWall, Name=/^Panel left [0-9]/", "IfcWall, Name=/^Panel right [0-9]/"}
    assert "IfcCovering, Name=/^Seal [0-9]/" in read["seal"]
    assert """# 'IfcCovering, Name="some other covering"'""" in proposal


def test_proposed_queries_are_as_general_as_the_model_allows():
    def wall(number, **more):
        return Element("3" + f"{number}" * 21, **({"ifc_class": "IfcWall"} | more))

    model = roled([])
    elements = (
        wall(0, predefined="PARTITIONING"),
        wall(1, predefined="CLADDING", type_name="Sandwich"),
        wall(2, predefined="CLADDING", type_name='6" block'),
        wall(3, ifc_class="IfcWallStandardCase", predefined="CLADDING", object_type="PIR"),
        wall(4, ifc_class="IfcColumn"),
        wall(5, ifc_class="IfcBuildingElementProxy"),
    )
    roles = ("insulation", "panel", "", "panel", "column", "seal")
    model = replace(model, elements=elements, roles=tuple(Role(role, 1.0, "") for role in roles))
    assert tomllib.loads(proposed_roles(model, np.zeros(0, np.int64)))["roles"] == {
        "insulation": ['IfcWall, PredefinedType="PARTITIONING"'],
        "panel": ['IfcWall, type="Sandwich"', 'IfcWall, ObjectType="PIR"'],
        "column": ["IfcColumn"],
        "seal": ["3" + "5" * 21],
    }


def test_a_proposal_never_replaces_a_file(tmp_path):
    path = tmp_path / "seamtrace.toml"
    write_proposal(path, "[roles]\n")
    assert path.read_bytes() == b"[roles]\n"
    with pytest.raises(CannotCheck, match="already there"):
        write_proposal(path, "other")
    assert path.read_bytes() == b"[roles]\n"
    with pytest.raises(CannotCheck, match="cannot be written"):
        write_proposal(tmp_path / "no folder" / "x.toml", "other")


# ---- seamtrace rules ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Limits:
    target_mm: float = limit(30.0, "mm", "width the seal parts are made for", basis="practice")
    lap_mm: float = limit(100.0, "mm", "lap of a sealed flashing", basis="published", source="a code of practice")
    strict: bool = limit(True, "", "whether to be strict", basis="project")


def a_rule(**more):
    facts = {
        "name": "seam-width",
        "title": "Vertical seam is too narrow or too wide",
        "text": "Vertical seam is too narrow or too wide. Both leave an air path as tall as the panel.",
        "limits": Limits,
        "remedy": "Move the panel end.",
        "severity": "error",
        "needs": ("panel", "column"),
        "layer": SimpleNamespace(name="seam-foam", means="foam in the seam"),
        "good": SimpleNamespace(describe=lambda: "two panels 30 mm apart"),
        "bad": SimpleNamespace(describe=lambda: "two panels 22 mm apart"),
    }
    return SimpleNamespace(**(facts | more))


def test_rules_are_listed_with_limits_and_basis():
    lines = rules_table([a_rule(), a_rule(name="other", limits=NoLimits)]).splitlines()
    assert lines == [
        "rule        must hold                           limits           basis",
        "seam-width  Vertical seam is too narrow or too  target_mm 30 mm  practice",
        "            wide                                lap_mm 100 mm    published",
        "                                                strict true      project",
        "other       Vertical seam is too narrow or too",
        "            wide",
    ]


@dataclass(frozen=True)
class NoLimits:
    """A rule that has nothing to set."""


def test_a_rule_in_full_tells_limits_remedy_and_examples():
    text = rule_in_full(a_rule())
    for part in (
        "seam-width\n\nVertical seam",
        "[limits.seam-width]",
        "lap_mm = 100 mm: lap of a sealed flashing (published).\n    Source: a code of practice.",
        "Asked where there is: panel, column.",
        "Layer, set under [layers]: seam-foam, foam in the seam.",
        "strict = true",
        "severity = error",
        "Remedy: Move the panel end.",
        "Passes, for example: two panels 30 mm apart",
        "Fails, for example: two panels 22 mm apart",
    ):
        assert part in text
