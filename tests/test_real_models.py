"""Models that others made, checked as they come: what a person sees in them is what a run says, and nothing is flagged.

Expected texts were written down after looking at plans and sections of the models. Where the folder is absent, these
tests are skipped.
"""

import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import pytest

from checker.output.findings import findings_schema

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT.parent / "shared" / "real_models"
pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the real models are not here")

SECONDS = 60.0
"""So much time of a processor a run may take."""


@dataclass(frozen=True)
class Seen:
    """What a person sees in a model, and in which words a run must say so."""

    looks: str
    counts: str
    ways: tuple[str, ...]
    sentence: str


SEEN = {
    "curtain-only": Seen(
        "Two storeys of glass: four sides and two walls inside, panes between posts and bars of 50 mm; no columns.",
        "1 model: 324 panels, 0 columns, ",
        ("324 panels between mullions: 280 upright gaps of 50.0 mm, all occupied; rules of panel seams do not apply",),
        "no panels meeting on columns were found, so no rule was asked. Found instead: 324 panels between mullions.",
    ),
    "lab-mixed-ifc4": Seen(
        "A house of three storeys, half of it turned by 45 degrees: 250 mm walls that stop at columns of 250 mm, which "
        "stand in them in storey pieces.",
        "1 model: 42 panels, 84 columns in 24 places, ",
        (
            "41 walls between columns: 7 upright gaps of 0.0 to 250.0 mm, 4 of them occupied, 3 of them closed; "
            "rules of panel seams do not apply",
            "1 wall in front of columns, out of their rhythm: no upright gap between them; "
            "rules of panel seams do not apply",
        ),
        "no panels meeting on columns were found, so no rule was asked. Found instead: 41 walls between columns; ",
    ),
    "composite-parts": Seen(
        "A small house, some of its walls drawn as layers alone, in a yard; the 20 columns are the posts of its fence.",
        "1 model: 16 panels, 20 columns, ",
        (
            "2 walls in front of columns, out of their rhythm: no upright gap between them; "
            "rules of panel seams do not apply",
            "14 walls without columns: 1 upright gap of 219.1 mm; rules of panel seams do not apply",
        ),
        "no panels meeting on columns were found, so no rule was asked. Found instead: 2 walls in front of columns, ",
    ),
    "tall-building": Seen(
        "Four equal storeys, each with four outer walls as long as the building, with windows and doors; no columns.",
        "1 model: 16 panels, 0 columns, ",
        ("16 walls without columns: no upright gap between them; rules of panel seams do not apply",),
        "no columns were recognised among 81 elements, so nothing can be checked. Found instead: 16 walls without ",
    ),
    "aac-plot01-old": Seen(
        "The inner walls of a dwelling, 70 and 100 mm thick, that meet at corners or butt without a gap; no columns.",
        "1 model: 20 panels, 0 columns, ",
        (
            "6 walls butting: 3 upright gaps of 0.0 mm, all closed; rules of panel seams do not apply",
            "14 walls without columns: no upright gap between them; rules of panel seams do not apply",
        ),
        "no columns were recognised among 120 elements, so nothing can be checked. Found instead: 6 walls butting; ",
    ),
    "aac-plot01-new": Seen(
        "The same dwelling with one wall more, of which some ends lie half a millimetre in the next wall.",
        "1 model: 21 panels, 0 columns, ",
        (
            "7 walls butting: 4 upright gaps of -0.5 to 0.0 mm, all closed; rules of panel seams do not apply",
            "14 walls without columns: no upright gap between them; rules of panel seams do not apply",
        ),
        "no columns were recognised among 124 elements, so nothing can be checked. Found instead: 7 walls butting; ",
    ),
}


def seamtrace(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from checker.cli import main; main()", *map(str, words)]
    variables = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run(
        command, cwd=cwd, env=variables, capture_output=True, text=True, encoding="utf-8", check=False, timeout=600
    )


def findings(folder: Path) -> dict:
    found = json.loads((folder / "seamtrace-out" / "findings.json").read_text(encoding="utf-8"))
    jsonschema.validate(found, findings_schema())
    return found


@pytest.mark.parametrize("name", SEEN)
def test_a_run_says_what_a_person_sees(name: str, tmp_path: Path) -> None:
    seen, clock = SEEN[name], os.times()
    done = seamtrace("check", FOLDER / f"{name}.ifc", cwd=tmp_path)
    spent = os.times()
    assert spent.children_user + spent.children_system - clock.children_user - clock.children_system < SECONDS
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith(f"Error: {name}.ifc: {seen.sentence}")
    said = " ".join(done.stdout.split())
    assert said.startswith(seen.counts)
    assert "No issues" not in said
    found = findings(tmp_path)
    assert tuple(way["says"] for way in found["ways"]) == seen.ways
    assert all(way["says"] in said for way in found["ways"])
    assert (found["issues"], found["verdicts"], found["coverage"]) == ([], [], [])
    assert not (tmp_path / "seamtrace-out" / "issues.bcf").exists()


def test_every_gap_of_the_curtain_walls_is_filled_by_a_mullion(tmp_path: Path) -> None:
    seamtrace("check", FOLDER / "curtain-only.ifc", cwd=tmp_path)
    found = findings(tmp_path)
    (way,) = found["ways"]
    assert (way["panels"], way["gaps"], way["occupied"], way["closed"]) == (324, 280, 280, 0)
    assert (way["width_min_mm"], way["width_max_mm"]) == (50.0, 50.0)
    upright = [seam for seam in found["occupied"] if seam["subject"].startswith("panel-end/")]
    assert len(upright) == 280
    assert {seam["share"] for seam in upright} == {1.0}
    # The storey's slab reaches in between some of them as well; what fills most comes first.
    assert {seam["elements"][0]["class"] for seam in upright} == {"IfcMember"}


AAC = """
[roles]
panel = "IfcWall"
[ways]                     # inner walls: they butt, and there are no columns
butting = "checked"
without-columns = "checked"
"""


@pytest.mark.parametrize(("release", "issues"), [("old", 4), ("new", 5)])
def test_a_project_that_wants_its_butting_walls_checked_gets_issues(release: str, issues: int, tmp_path: Path) -> None:
    (tmp_path / "seamtrace.toml").write_text(AAC)
    done = seamtrace("check", FOLDER / f"aac-plot01-{release}.ifc", cwd=tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    found = findings(tmp_path)
    assert Counter(issue["rule"] for issue in found["issues"])["seam-width"] == issues
    assert len(found["issues"]) <= found["summary"]["seams"]
    assert {v["message"] for v in found["verdicts"] if v["rule"] == "panel-end-offset"} == {
        "no column stands behind this seam"
    }


def test_issues_of_the_dwelling_are_carried_over_though_no_globalid_survived(tmp_path: Path) -> None:
    (tmp_path / "seamtrace.toml").write_text(AAC)
    old, new = (FOLDER / f"aac-plot01-{release}.ifc" for release in ("old", "new"))
    seamtrace("check", old, "--out", "old", cwd=tmp_path)
    seamtrace("check", new, "--previous", "old/issues.bcf", cwd=tmp_path)
    before = json.loads((tmp_path / "old" / "findings.json").read_text(encoding="utf-8"))
    keys = {issue["key"] for issue in before["issues"] if issue["rule"] == "seam-width"}
    after = [issue for issue in findings(tmp_path)["issues"] if issue["rule"] == "seam-width"]
    assert not {guid for issue in before["issues"] for guid in issue["elements"]} & {
        guid for issue in after for guid in issue["elements"]
    }
    (fresh,) = [issue for issue in after if issue["key"] not in keys]
    assert fresh["title"].startswith("Panels overlap by 0.9 mm")
    assert keys <= {issue["key"] for issue in after}


def test_open_gaps_between_panes_would_be_found(tmp_path: Path) -> None:
    """The same model taken for panels on columns: every gap is told, and what fills it."""
    (tmp_path / "seamtrace.toml").write_text('[ways]\nbetween-mullions = "checked"\n')
    done = seamtrace("check", FOLDER / "curtain-only.ifc", "--format", "json", cwd=tmp_path)
    assert done.returncode == 1
    found = findings(tmp_path)
    told = [v for v in found["verdicts"] if v["rule"] == "seam-width"]
    assert len(told) == 280
    assert all("widens to 50.0 mm, filled by '" in v["message"] for v in told)
    assert len(found["issues"]) <= found["summary"]["seams"]
