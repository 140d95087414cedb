"""``seamtrace compare``: two output folders, and what a check tells with ``--previous`` of the same two releases."""

import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from drawn import end_moved, wall
from life_kit import engine
from test_identity import WRONG, reissued

from checker import run
from checker.earlier import compare, outcome
from checker.errors import CannotCheck
from checker.identity import PARTS_AGAIN, SAME_PARTS, parts_of
from checker.output.findings import findings_schema
from checker.sketch import guid_of

SOUND = wall(4, 3)


def written(folder, what, **settings):
    """The output of a run in a folder."""
    result, _ = engine(what, **settings)
    run.write(result, folder, ["json", "csv"])
    return outcome(folder)


def told(changes):
    return {change.key: (change.life, change.rung) for change in changes.issues}


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    return written(tmp_path_factory.mktemp("old"), WRONG)


LATER = {
    "nothing": WRONG,
    "all mended": SOUND,
    "some mended, one new": end_moved(SOUND, "panel 3.1", True, 11.0).moved("column 3", x=12.0),
    "worse and better": end_moved(WRONG, "panel 1.2", True, 4.0).stretched("plinth 2", "top", 2.0),
    "new GlobalIds": reissued(WRONG),
    "new GlobalIds and mended": reissued(SOUND),
    "foam gone": SOUND.without(*(name for name in SOUND.parts if name.startswith("foam"))),
}


@pytest.mark.parametrize("name", LATER)
def test_comparing_folders_tells_what_a_check_tells(old, tmp_path, name):
    new = written(tmp_path, LATER[name])
    _, file = engine(WRONG)
    checked, _ = engine(LATER[name], file, parts_of(WRONG.model()))
    if name == "nothing":  # the same release once more: a check tells again what it told
        assert set(told(compare(old, new)).values()) == {("unchanged", SAME_PARTS)}
        return
    assert told(compare(old, new)) == told(checked.changes)
    assert set(compare(old, new).parts) == set(checked.changes.parts)


def test_new_global_ids_are_told_with_how_they_were_recognised(old, tmp_path):
    changes = compare(old, written(tmp_path, reissued(WRONG)))
    assert set(told(changes).values()) == {("unchanged", PARTS_AGAIN)}
    assert sum(changes.renamed.values()) == len(WRONG.parts)
    assert changes.parts == ()


def test_parts_that_came_went_moved_or_changed(old, tmp_path):
    later = WRONG.without("flashing 3.2").moved("rail 4", z=3.0).stretched("panel 4.3", "top", 20.0)
    later = end_moved(later, "plinth seal 1", False, 0.0)
    changes = compare(old, written(tmp_path, later))
    assert {(part.what, part.guid) for part in changes.parts} == {
        ("removed", guid_of("flashing 3.2")),
        ("moved", guid_of("rail 4")),
        ("reshaped", guid_of("panel 4.3")),
    }
    assert next(part.by_mm for part in changes.parts if part.what == "moved") == pytest.approx(3.0, abs=1e-3)


def test_a_rule_that_was_not_asked_leaves_its_issues_open(old, tmp_path):
    changes = compare(old, written(tmp_path, SOUND, switched_off=frozenset({"seam-width"})))
    unsure = [change for change in changes.issues if change.life == "no longer checkable"]
    assert [c.rule for c in unsure] == ["seam-width"]
    assert unsure[0].says.endswith("; the rule seam-width was not asked")


def test_findings_of_a_check_with_a_previous_release_fit_their_schema(tmp_path):
    _, file = engine(WRONG)
    later = end_moved(WRONG, "panel 3.1", True, 11.0).without("flashing 3.2")
    result, _ = engine(later, file, parts_of(WRONG.model()))
    run.write(result, tmp_path, ["json", "csv"])
    read = json.loads((tmp_path / "findings.json").read_text())
    jsonschema.Draft202012Validator(findings_schema()).validate(read)
    assert read["changes"]["since"] == "issues.bcf"
    assert sum(read["changes"]["counts"].values()) == len(read["changes"]["issues"])
    assert [part["what"] for part in read["changes"]["parts"]] == ["removed", "reshaped"]
    assert len(read["parts"]) == len(later.parts)
    assert [replace(p, by_mm=None) for p in outcome(tmp_path).changed] == [
        replace(p, by_mm=None) for p in result.changes.parts
    ]


# ---- the command ----------------------------------------------------------------------------------------------------


def test_the_command_prints_the_summary_and_exits_as_a_check_does(call, old, tmp_path):
    new = written(tmp_path, LATER["some mended, one new"])
    end = call("compare", old.folder, new.folder)
    assert (end.code, end.err) == (1, "")
    assert end.out.startswith("Since ")
    assert re.search(r"2 new, \d+ mended, 1 unchanged", end.out)
    assert "mended" in end.out
    assert "Parts at seams:" in end.out
    assert call("compare", old.folder, new.folder, "--fail-on", "never").code == 0
    sound = written(tmp_path / "sound", SOUND)
    assert call("compare", old.folder, sound.folder).code == 0
    assert call("compare", sound.folder, old.folder).code == 1


@pytest.mark.parametrize("broken", ["", "[]", "{}", '{"format": 3}', "null", '{"format": 1, "issues": 3}', "\xff"])
@pytest.mark.parametrize("name", ["findings.json", "seams.csv"])
def test_a_folder_that_cannot_be_read_gives_one_sentence(call, old, tmp_path, name, broken):
    content = broken.encode("latin-1")
    for file in ("findings.json", "seams.csv"):
        (tmp_path / file).write_bytes((old.folder / file).read_bytes())
    (tmp_path / name).write_bytes(content if name == "findings.json" else b"id;x\n1;2\n" + content)
    end = call("compare", tmp_path, old.folder)
    assert (end.code, end.out, end.err.count("\n")) == (2, "", 1)
    assert name in end.err
    assert "Run 'seamtrace check' on that release again." in end.err


def test_a_release_that_could_not_be_checked_exits_with_2(call, old, tmp_path):
    read = json.loads((old.folder / "findings.json").read_text())
    read["summary"]["unchecked"] = "No panels."
    read["coverage"] = read["verdicts"] = read["issues"] = []
    (tmp_path / "findings.json").write_text(json.dumps(read))
    (tmp_path / "seams.csv").write_bytes((old.folder / "seams.csv").read_bytes())
    end = call("compare", old.folder, tmp_path)
    assert (end.code, end.err) == (2, "Error: No panels.\n")
    assert f"{len(old.faults)} no longer checkable" in end.out


def test_a_folder_without_output_gives_one_sentence(call, tmp_path):
    end = call("compare", tmp_path, tmp_path)
    assert (end.code, end.out, end.err.count("\n")) == (2, "", 1)
    assert "Name a folder that 'seamtrace check' wrote" in end.err
    with pytest.raises(CannotCheck):
        outcome(Path("nowhere"))


def test_every_damage_to_the_findings_is_one_sentence(old, tmp_path):
    """Each value of the file replaced by each kind of other value, one after the other, on a small file."""
    read = json.loads((old.folder / "findings.json").read_text())
    for key in ("verdicts", "parts", "issues", "coverage"):
        read[key] = read[key][:1]
    read["issues"] = [{**read["issues"][0], "members": [0]}] if read["issues"] else []
    (tmp_path / "seams.csv").write_bytes((old.folder / "seams.csv").read_bytes())
    seen = 0
    for key in read:
        for other in (None, 1, "x", [], {}, [1], [{}], -1.5, True):
            (tmp_path / "findings.json").write_text(json.dumps({**read, key: other}))
            try:
                compare(outcome(tmp_path), outcome(tmp_path))
            except CannotCheck:
                seen += 1
    assert seen > 40
