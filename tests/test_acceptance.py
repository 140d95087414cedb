"""The command as a person or a CI gate runs it: outputs, exit codes, one sentence for each thing that stops it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from checker.demo import Options, write_hall

ROOT = Path(__file__).parent.parent
SAMPLES = ROOT / "sample_models"


def seamtrace(*words, cwd, **environment):
    """Run the command in a process of its own."""
    command = [sys.executable, "-c", "from checker.cli import main; main()", *map(str, words)]
    variables = os.environ | {"PYTHONPATH": str(ROOT)} | environment
    return subprocess.run(
        command, cwd=cwd, env=variables, capture_output=True, text=True, encoding="utf-8", check=False
    )


def models(folder):
    return sorted((SAMPLES / folder).glob("*.ifc"))


@pytest.fixture(scope="module")
def defects(tmp_path_factory):
    """The sample with defects, checked once."""
    folder = tmp_path_factory.mktemp("defects")
    return folder, seamtrace("check", *models("defects"), cwd=folder)


def test_defects_end_with_1_and_write_all_files(defects):
    folder, done = defects
    assert done.returncode == 1
    assert done.stderr == ""
    assert sorted(path.name for path in (folder / "seamtrace-out").iterdir()) == [
        "findings.json",
        "issues.bcf",
        "seams.csv",
    ]
    found = json.loads((folder / "seamtrace-out" / "findings.json").read_text(encoding="utf-8"))
    assert found["summary"]["error"] > 20
    assert "move the column 12 mm to the left" in " ".join(done.stdout.split())


def test_same_input_same_bytes_whatever_the_order(defects, tmp_path):
    folder, _ = defects
    seamtrace("check", *reversed(models("defects")), cwd=tmp_path, PYTHONHASHSEED="7")
    for path in (folder / "seamtrace-out").iterdir():
        assert (tmp_path / "seamtrace-out" / path.name).read_bytes() == path.read_bytes(), path.name


def test_clean_ends_with_0(tmp_path):
    done = seamtrace("check", *models("clean"), "--format", "json", cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(("fail_on", "code"), [("error", 0), ("warning", 1), ("note", 1), ("never", 0)])
def test_fail_on(tmp_path, fail_on, code):
    truth = write_hall(tmp_path / "models", ("plinth-step-8",))
    done = seamtrace("check", *truth.files, "--fail-on", fail_on, "--format", "csv", cwd=tmp_path)
    assert done.returncode == code


def stopped(done, *words):
    """Exit 2 with one sentence that holds the words, nothing on stdout, no traceback."""
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    said = " ".join(done.stderr.split())
    for word in words:
        assert word in said, said


def unreadable(folder):
    path = folder / "broken.ifc"
    path.write_bytes(models("clean")[0].read_bytes()[:5000])
    return [path], [], ("broken.ifc",)


def missing(folder):
    return [folder / "absent.ifc"], [], ("absent.ifc",)


def typo(folder):
    settings = folder / "project.toml"
    settings.write_text("[limits.seam-width]\ntolerence_mm = 4\n")
    return models("clean"), ["--config", settings], ("project.toml", "tolerence_mm", "Did you mean 'tolerance_mm'?")


def bad_query(folder):
    settings = folder / "project.toml"
    settings.write_text('[roles]\npanel = "IfcWall, ==="\n')
    return models("clean"), ["--config", settings], ("panel", "IfcWall, ===")


def a_kilometre_apart(folder):
    near = write_hall(folder / "near", (), Options()).files
    far = write_hall(folder / "far", (), Options(offset_m=(1000.0, 0.0, 0.0))).files
    return [near[0], far[1], far[2]], [], ("structure", "facade", "m")


@pytest.mark.parametrize("case", [unreadable, missing, typo, bad_query, a_kilometre_apart])
def test_what_stops_a_check_says_so_and_leaves_earlier_outputs(tmp_path, case):
    earlier = tmp_path / "seamtrace-out"
    earlier.mkdir()
    for name in ("issues.bcf", "findings.json", "seams.csv"):
        (earlier / name).write_bytes(b"of an earlier run")
    files, options, words = case(tmp_path)
    stopped(seamtrace("check", *files, *options, cwd=tmp_path), *words)
    assert {path.read_bytes() for path in earlier.iterdir()} == {b"of an earlier run"}


@pytest.mark.parametrize(
    ("model", "sentence", "table"),
    [
        ("structure.ifc", "structure.ifc: no panels were recognised", "1 model: 0 panels, 16 columns, 0 seams"),
        ("facade.ifc", "facade.ifc: no columns were recognised", "93 panels without columns: 64 upright gaps of"),
    ],
)
def test_models_without_panels_on_columns_end_with_2_and_tell_what_they_hold(tmp_path, model, sentence, table):
    earlier = tmp_path / "seamtrace-out"
    earlier.mkdir()
    (earlier / "issues.bcf").write_bytes(b"of an earlier run")
    done = seamtrace("check", SAMPLES / "clean" / model, cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith(f"Error: {sentence}")
    assert len(done.stderr.splitlines()) == 1
    assert table in " ".join(done.stdout.split())
    assert "No issues" not in done.stdout
    # A file without issues would say that all is well.
    assert (earlier / "issues.bcf").read_bytes() == b"of an earlier run"
    found = json.loads((earlier / "findings.json").read_text(encoding="utf-8"))
    assert sentence in found["summary"]["unchecked"]
    assert (found["coverage"], found["verdicts"], found["issues"]) == ([], [], [])
    assert (earlier / "seams.csv").is_file()


def test_an_acceptance_holds_and_is_told(tmp_path):
    truth = write_hall(tmp_path / "models", ("rail-off",))
    seamtrace("check", *truth.files, "--format", "json", cwd=tmp_path)
    report = tmp_path / "seamtrace-out" / "findings.json"
    key = json.loads(report.read_text(encoding="utf-8"))["issues"][0]["key"]
    settings = tmp_path / "seamtrace.toml"
    for upto, until, code in ((13, "2030-01-01", 0), (12, "2030-01-01", 1), (13, "2020-01-01", 1)):
        settings.write_text(
            f'[[accepted]]\nissue = "{key}"\nupto_mm = {upto}\nuntil = {until}\n'
            'reason = "Shims ordered"\nby = "facade lead"\n'
        )
        done = seamtrace("check", *truth.files, "--format", "json", cwd=tmp_path, SOURCE_DATE_EPOCH="1767225600")
        assert done.returncode == code, done.stdout + done.stderr
        states = {v["state"] for v in json.loads(report.read_text(encoding="utf-8"))["verdicts"]}
        assert states == ({"accepted"} if code == 0 else {"fail"})
