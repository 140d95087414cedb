import datetime
import json
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.errors import BadSettings
from checker.model import ROLES, ModelFile
from checker.settings import Acceptance, Settings, Statuses, files_to_read, load_settings, settings_schema


def limit(default, unit, **more):
    return field(default=default, metadata={"unit": unit, "means": "for the test", "basis": "practice", **more})


@dataclass(frozen=True)
class WidthLimits:
    target_mm: float = limit(30.0, "mm")
    tolerance_mm: float = limit(5.0, "mm")
    strict: bool = limit(False, "")


@dataclass(frozen=True)
class FoamLimits:
    share: float = limit(1.0, "share")


WIDTH = SimpleNamespace(name="seam-width", limits=WidthLimits, layer=None, severity="error")
FOAM = SimpleNamespace(
    name="foam-in-seam", limits=FoamLimits, layer=SimpleNamespace(name="seam-foam"), severity="warning"
)
RULES = (WIDTH, FOAM)

EVERYTHING = """
[project]
name = "Cold store Vesterhavn"
[models]
structure = { file = "structure.ifc", owner = "steel", shift_mm = [0, 0, -500.5] }
facade = { file = "models/facade.ifc" }
[roles]
panel = ["IfcWall, type=/Sandwich.*/", "IfcPlate, Name=/^PNL/"]
column = "IfcColumn"
[layers]
seam-foam = "required"
[ways]
between-mullions = "checked"
butting = "named"
[limits.seam-width]
target_mm = 28
tolerance_mm = 0
strict = true
severity = "note"
[limits.foam-in-seam]
enabled = false
[bcf]
due_days = { error = 7, note = 0 }
stage = "Shop drawings"
[[accepted]]
issue = "3f0c5e7a"
upto_mm = 38
until = 2026-12-31
reason = "Wider foam strip ordered for axis C4"
by = "facade lead"
[[accepted]]
issue = "00000001"
until = "2026-06-30"
reason = "Sealed on site"
by = "site lead"
"""


def load(folder, text):
    path = folder / "seamtrace.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_settings(path, RULES)


def complaint(folder, text):
    with pytest.raises(BadSettings) as caught:
        load(folder, text)
    return str(caught.value)


def test_everything_that_can_be_set_is_read(tmp_path):
    settings = load(tmp_path, EVERYTHING)
    assert settings.project == "Cold store Vesterhavn"
    assert settings.models == (
        ModelFile(tmp_path / "structure.ifc", "structure", "steel", (0.0, 0.0, -500.5)),
        ModelFile(tmp_path / "models/facade.ifc", "facade", "facade"),
    )
    assert settings.roles == {
        "panel": ("IfcWall, type=/Sandwich.*/", "IfcPlate, Name=/^PNL/"),
        "column": ("IfcColumn",),
    }
    assert settings.layer("seam-foam") == "required"
    assert settings.ways == ("on-columns", "between-mullions")
    assert settings.limits_of(WIDTH) == WidthLimits(28.0, 0.0, True)
    assert settings.limits_of(FOAM) == FoamLimits()
    assert (settings.severity_of(WIDTH), settings.severity_of(FOAM)) == ("note", "warning")
    assert (settings.enabled(WIDTH), settings.enabled(FOAM)) == (True, False)
    assert settings.due_days == {"error": 7, "note": 0}
    assert settings.stage == "Shop drawings"
    assert settings.accepted == (
        Acceptance(
            "3f0c5e7a", datetime.date(2026, 12, 31), "Wider foam strip ordered for axis C4", "facade lead", 38.0
        ),
        Acceptance("00000001", datetime.date(2026, 6, 30), "Sealed on site", "site lead", None),
    )


def test_states_of_issues_take_a_word_or_several(tmp_path):
    assert load(tmp_path, "").statuses == Statuses(("Open",), ("Closed",), ("ReOpened",))
    text = "[bcf.statuses]\nopen = 'Offen'\nclosed = ['Erledigt', 'Closed']"
    assert load(tmp_path, text).statuses == Statuses(("Offen",), ("Erledigt", "Closed"), ("ReOpened",))
    says = complaint(tmp_path, "[bcf.statuses]\nclosed = ['Done', 'OPEN']")
    assert says == "seamtrace.toml: [bcf.statuses] names 'Open' both for open and for closed. Remove one of them."


def test_panels_on_columns_need_not_be_checked(tmp_path):
    assert load(tmp_path, "[ways]\non-columns = 'named'").ways == ()


def test_nothing_set_gives_the_defaults_of_the_rules(tmp_path):
    for settings in (load_settings(None, RULES), load(tmp_path, "")):
        assert settings.limits_of(WIDTH) == WidthLimits()
        assert settings.severity_of(FOAM) == "warning"
        assert settings.enabled(WIDTH)
        assert settings.layer("seam-foam") == "expected"
        assert settings.ways == ("on-columns",)
        assert settings.models == settings.accepted == ()
        assert (settings.due_days, settings.stage) == ({}, "")


FAULTS = {
    # what stands in the file: the whole sentence after "seamtrace.toml"
    "[bcf.statuses]\nclose = 'Done'": ": [bcf.statuses] has no state 'close'. Did you mean 'closed'?",
    "[bcf.statuses]\nopen = []": ": [bcf.statuses] open must be a word or a list of words, not a list.",
    "[limts]": " has no section 'limts'. Did you mean 'limits'?",
    "[limits.seam-widht]": ": [limits] has no rule 'seam-widht'. Did you mean 'seam-width'?",
    "[limits.seam-width]\ntolerence_mm = 5": ": [limits.seam-width] has no setting 'tolerence_mm'. "
    "Did you mean 'tolerance_mm'?",
    "[roles]\npanels = 'IfcWall'": ": [roles] has no role 'panels'. Did you mean 'panel'?",
    "[layers]\nfoam-seam = 'off'": ": [layers] has no layer 'foam-seam'. Known names: seam-foam.",
    "[ways]\nmullions = 'checked'": ": [ways] has no way 'mullions'. Did you mean 'between-mullions'?",
    "[ways]\nbutting = true": ": [ways] butting must be one of 'checked', 'named', not true.",
    "[models]\na = { fil = 'a.ifc' }": ": [models.a] has no setting 'fil'. Did you mean 'file'?",
    "[models]\na = { owner = 'steel' }": ": [models.a] lacks 'file'. Add it.",
    "[models]\na = 'a.ifc'": ": [models] a must be a table, not 'a.ifc'.",
    "[models]\na = { file = '' }": ": [models.a] file must be a file name, not ''.",
    "[models]\na = { file = 'a.ifc', shift_mm = [1, 2] }": ": [models.a] shift_mm must be three numbers of mm, such as "
    "[0, 0, 500], not a list.",
    "[models]\na = { file = 'x.ifc' }\nb = { file = 'x.ifc' }": ": [models] names the file 'x.ifc' twice. "
    "Remove one of them.",
    "limits = 3": ": limits must be a table, not 3.",
    "[limits]\nseam-width = true": ": [limits] seam-width must be a table, not true.",
    "[limits.seam-width]\ntolerance_mm = -0.001": ": [limits.seam-width] tolerance_mm must be a number of mm, "
    "0 or more, not -0.001.",
    "[limits.seam-width]\ntolerance_mm = nan": ": [limits.seam-width] tolerance_mm must be a number of mm, "
    "0 or more, not nan.",
    "[limits.seam-width]\ntarget_mm = inf": ": [limits.seam-width] target_mm must be a number of mm, "
    "0 or more, not inf.",
    "[limits.seam-width]\ntarget_mm = '30'": ": [limits.seam-width] target_mm must be a number of mm, 0 or more, "
    "not '30'.",
    "[limits.seam-width]\ntarget_mm = true": ": [limits.seam-width] target_mm must be a number of mm, 0 or more, "
    "not true.",
    "[limits.seam-width]\nstrict = 1": ": [limits.seam-width] strict must be true or false, not 1.",
    "[limits.seam-width]\nseverity = 'fatal'": ": [limits.seam-width] severity must be one of 'error', 'warning', "
    "'note', not 'fatal'.",
    "[limits.seam-width]\nenabled = 'no'": ": [limits.seam-width] enabled must be true or false, not 'no'.",
    "[layers]\nseam-foam = 2026-01-01": ": [layers] seam-foam must be one of 'required', 'expected', 'off', "
    "not 2026-01-01.",
    "[roles]\npanel = []": ": [roles] panel must be a query or a list of queries, not a list.",
    "[roles]\npanel = ['IfcWall', 3]": ": [roles] panel must be a query or a list of queries, not a list.",
    "[bcf]\ndue_days = { eror = 7 }": ": [bcf.due_days] has no severity 'eror'. Did you mean 'error'?",
    "[bcf]\ndue_days = 7": ": [bcf] due_days must be a table, not 7.",
    "[bcf]\ndue_days = { error = 1.5 }": ": [bcf.due_days] error must be a whole number of days, 0 to 3650, not 1.5.",
    "[bcf]\ndue_days = { error = -1 }": ": [bcf.due_days] error must be a whole number of days, 0 to 3650, not -1.",
    "[bcf]\nstage = ' '": ": [bcf] stage must be a text, not ' '.",
    "[accepted]": ": accepted must be written as [[accepted]], not a table.",
    "[[accepted]]\nissue = '3f0c5e7a'": ": [[accepted]] entry 1 lacks 'until'. Add it.",
    "[[accepted]]\nissue = 12345678": ": [[accepted]] entry 1 issue must be the key a report shows, eight digits in "
    "quotes, not 12345678.",
    "[[accepted]]\nuntil = 2026-12-31T10:00:00": ": [[accepted]] entry 1 until must be a day such as 2026-12-31, "
    "not 2026-12-31T10:00:00.",
    "[[accepted]]\nuntil = '31.12.2026'": ": [[accepted]] entry 1 until must be a day such as 2026-12-31, "
    "not '31.12.2026'.",
    "[[accepted]]\nutil = 2026-12-31": ": [[accepted]] entry 1 has no setting 'util'. Did you mean 'until'?",
    # "entry 2" when the fault is in the second
    "[[accepted]]\nissue='00000001'\nuntil=2026-01-01\nreason='r'\nby='b'\n[[accepted]]\nupto_mm = inf": ": "
    "[[accepted]] entry 2 upto_mm must be a number of mm, not inf.",
}


@pytest.mark.parametrize(("text", "sentence"), FAULTS.items())
def test_a_fault_is_one_sentence_that_says_where_and_what(tmp_path, text, sentence):
    assert complaint(tmp_path, text) == f"seamtrace.toml{sentence}"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[limits\n", ["line 1", "column 8"]),
        ("[project]\nname = 'a'\nname = 'b'\n", ["line 3"]),
        ("[project]\n[project]\n", ["twice"]),
        ("name = " + "1" * 5000, ["not valid TOML"]),
        ("x = " + "[" * 5000, ["seamtrace.toml"]),
        (b"[project]\nname = '\xff'", ["UTF-8", "byte 18"]),
    ],
)
def test_a_file_that_is_not_toml_is_refused_with_its_place(tmp_path, text, says):
    sentence = complaint(tmp_path, text)
    assert all(part in sentence for part in says), sentence
    assert "\n" not in sentence


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(BadSettings, match=r"cannot be read .*--config"):
            load_settings(path, RULES)


def test_an_issue_is_accepted_only_once(tmp_path):
    entry = "[[accepted]]\nissue = '3f0c5e7a'\nuntil = 2026-01-01\nreason = 'r'\nby = 'b'\n"
    assert complaint(tmp_path, entry * 2) == (
        "seamtrace.toml: [[accepted]] names the issue '3f0c5e7a' twice. Remove one of them."
    )


# ---- the JSON Schema agrees with the loader -------------------------------------------------------------------------


def as_json(text):
    return json.loads(json.dumps(tomllib.loads(text), default=lambda day: day.isoformat()))


VALIDATOR = jsonschema.Draft202012Validator(
    settings_schema(RULES), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
)


def schema_accepts(value):
    return VALIDATOR.is_valid(value)


def test_the_schema_is_a_schema_and_describes_every_setting():
    schema = settings_schema(RULES)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["properties"]["limits"]["properties"]["seam-width"]["properties"]["target_mm"] == {
        "description": "for the test (mm)",
        "type": "number",
        "minimum": 0,
        "default": 30.0,
    }
    assert set(schema["properties"]["roles"]["properties"]) == set(ROLES)
    json.dumps(schema, allow_nan=False)


def test_the_schema_accepts_what_the_loader_reads():
    assert schema_accepts(as_json(EVERYTHING))
    assert schema_accepts({})


# JSON has no numbers that are not finite, and a schema cannot compare two entries.
@pytest.mark.parametrize(
    "text", [text for text in FAULTS if "nan" not in text and "inf" not in text and "x.ifc" not in text]
)
def test_the_schema_refuses_what_the_loader_refuses(text):
    assert not schema_accepts(as_json(text))


values = st.one_of(
    st.booleans(),
    st.integers(-100, 100),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.sampled_from(["error", "off", "", " ", "IfcWall", "2026-12-31", "2026-02-30", "3f0c5e7a"]),
    st.lists(st.sampled_from(["IfcWall", 1, 2.5, ""]), max_size=4),
    st.just({}),
)
places = st.sampled_from(
    [
        ("project", "name"),
        ("roles", "panel"),
        ("layers", "seam-foam"),
        ("models", "a"),
        ("bcf", "stage"),
        ("bcf", "due_days"),
        ("bcf", "due_days", "error"),
        *(("limits", "seam-width", key) for key in ("target_mm", "strict", "severity", "enabled")),
        *(("models", "a", key) for key in ("file", "owner", "shift_mm")),
        *(("accepted", key) for key in ("issue", "upto_mm", "until", "reason", "by")),
    ]
)


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value)


@given(place=places, value=values)
def test_schema_and_loader_agree_on_any_value_anywhere(tmp_path_factory, place, value):
    if place[0] == "accepted":
        whole = {"issue": "3f0c5e7a", "until": "2026-12-31", "reason": "r", "by": "b", place[1]: value}
        document = {"accepted": [whole]}
    elif place[0] == "models" and len(place) == 3:
        document = {"models": {"a": {"file": "a.ifc", place[2]: value}}}
    else:
        document = value
        for key in reversed(place):
            document = {key: document}
    text = "\n".join(f"{key} = {toml(inner)}" for key, inner in document.items())
    try:
        load(tmp_path_factory.getbasetemp(), text)
        loads = True
    except BadSettings:
        loads = False
    assert loads == schema_accepts(document), (text, loads)


@given(low=st.floats(0, 1e6), tolerance=st.floats(0, 1e6))
def test_numbers_are_kept_to_the_last_digit(tmp_path_factory, low, tolerance):
    settings = load(
        tmp_path_factory.getbasetemp(), f"[limits.seam-width]\ntarget_mm = {low!r}\ntolerance_mm = {tolerance!r}\n"
    )
    limits = settings.limits_of(WIDTH)
    assert (limits.target_mm, limits.tolerance_mm) == (low, tolerance)
    assert all(math.isfinite(value) for value in (limits.target_mm, limits.tolerance_mm))


# ---- which files are read -------------------------------------------------------------------------------------------

LISTED = Settings(
    models=(
        ModelFile(Path("project/structure.ifc"), "structure", "steel", (1.0, 2.0, 3.0)),
        ModelFile(Path("project/facade.ifc"), "facade", "panels"),
    )
)


def test_the_listed_models_are_read_when_none_is_given():
    assert files_to_read([], LISTED) == LISTED.models


def test_a_given_file_takes_name_owner_and_shift_from_its_entry():
    assert files_to_read([Path("/release/structure.ifc"), Path("other/roof.ifc")], LISTED) == (
        ModelFile(Path("/release/structure.ifc"), "structure", "steel", (1.0, 2.0, 3.0)),
        ModelFile(Path("other/roof.ifc"), "roof", "roof"),
    )


def test_the_path_decides_before_the_file_name():
    twins = Settings(models=(ModelFile(Path("a/m.ifc"), "one", "steel"), ModelFile(Path("b/m.ifc"), "two", "panels")))
    assert files_to_read([Path("b/m.ifc")], twins)[0].name == "two"
    with pytest.raises(BadSettings, match=r"several files of this name \(one, two\)"):
        files_to_read([Path("c/m.ifc")], twins)


def test_no_file_and_the_same_file_twice_are_refused():
    with pytest.raises(BadSettings, match="name the IFC files"):
        files_to_read([], Settings())
    with pytest.raises(BadSettings, match="twice"):
        files_to_read([Path("a.ifc"), Path("x/../a.ifc")], Settings())
