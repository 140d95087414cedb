import json
import os
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest
from box_model import hall, issue_of, model_of, result_of

from checker import __version__
from checker.errors import BadModel
from checker.output.findings import findings_schema
from checker.result import SEVERITIES, Coverage
from checker.rule import load_rules
from checker.run import Written

ROOT = Path(__file__).parent.parent


@pytest.fixture
def checks(monkeypatch):
    """Puts a run in place of the real one: ``checks(result)`` returns what that run was asked."""

    def put(result=None, error=None):
        asked = SimpleNamespace(files=None, settings=None, formats=None, out=None)

        def check(files, settings, rules, progress, previous):
            asked.files, asked.settings = files, settings
            progress("reading", 0.5)
            if error:
                raise error
            return result

        def write(found, out, formats, previous, bcf_version):
            assert found is result
            asked.out, asked.formats, asked.bcf_version = out, list(formats), bcf_version
            return Written((out / "findings.json",))

        monkeypatch.setattr("checker.run.check", check)
        monkeypatch.setattr("checker.run.write", write)
        return asked

    return put


def found(*severities, accepted=""):
    model = model_of(hall())
    names = ["Panel left 2"]
    issues = [
        replace(issue_of(model, names, (0.0, 0.0, 0.0), severity=severity), accepted=accepted)
        for severity in severities
    ]
    return replace(result_of(model, issues), coverage=(Coverage("seam-width", 4, 3, 1, 0, 0, 0, 4.0),))


# ---- exit codes -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("worst", SEVERITIES)
@pytest.mark.parametrize("fail_on", [*SEVERITIES, "never"])
def test_findings_at_or_above_the_chosen_severity_exit_with_1(call, checks, worst, fail_on):
    checks(found(worst, "note"))
    wanted = 1 if fail_on != "never" and SEVERITIES.index(worst) <= SEVERITIES.index(fail_on) else 0
    if fail_on == "note":
        wanted = 1
    assert call("check", "a.ifc", "--fail-on", fail_on).code == wanted


def test_only_open_errors_exit_with_1_unless_told_otherwise(call, checks):
    for result, code in ((found(), 0), (found("warning"), 0), (found("error"), 1), (found("error", accepted="yes"), 0)):
        checks(result)
        assert call("check", "a.ifc").code == code


def test_what_cannot_be_checked_exits_with_2_in_one_harmless_line(call, checks):
    checks(error=BadModel("a.ifc: is not IFC\n::error::\x1b[2J##[x]"))
    end = call("check", "a.ifc")
    assert (end.code, end.out) == (2, "")
    assert end.err == "Error: a.ifc: is not IFC : :error: :\N{REPLACEMENT CHARACTER}[2J# #[x]\n"


def test_a_fault_of_our_own_is_no_finding_and_keeps_its_traceback(call, checks):
    checks(error=ZeroDivisionError("float\n::error::division"))
    end = call("check", "a.ifc")
    assert (end.code, end.out) == (2, "")
    assert "ZeroDivisionError" in end.err
    assert 'test_cli.py", line' in end.err
    assert "::" not in end.err
    assert end.err.splitlines()[-1].startswith("Error: seamtrace itself failed")


def test_a_kernel_that_does_not_load_exits_with_2(call, monkeypatch):
    monkeypatch.setitem(sys.modules, "checker.run", None)
    monkeypatch.delattr("checker.run", raising=False)
    end = call("check", "a.ifc")
    assert (end.code, end.out) == (2, "")
    assert "ImportError" in end.err or "ModuleNotFoundError" in end.err


def test_the_version_of_bcf_is_asked_for(call, checks):
    asked = checks(found())
    for arguments, version in (([], None), (["--bcf-version", "2.1"], "2.1"), (["--bcf-version", "3.0"], "3.0")):
        assert call("check", "a.ifc", *arguments).code == 0
        assert asked.bcf_version == version


def test_an_interrupted_run_exits_with_130(call, checks):
    checks(error=KeyboardInterrupt())
    end = call("check", "a.ifc")
    assert (end.code, end.out) == (130, "")
    assert "Traceback" not in end.err


@pytest.mark.parametrize(
    "arguments",
    [
        ["chek"],
        ["check", "a.ifc", "--fail-on", "fatal"],
        ["check", "a.ifc", "--format", "docx"],
        ["check", "a.ifc", "--bcf-version", "2.0"],
        ["check", "a.ifc", "--no-such-option"],
        ["check", "a.ifc", "--out"],
        ["sample"],
        ["rules", "seam-width", "other"],
    ],
)
def test_a_wrong_command_line_exits_with_2(call, checks, arguments):
    asked = checks(found())
    end = call(*arguments)
    assert (end.code, end.out) == (2, "")
    assert "\nError: " in f"\n{end.err}"
    assert asked.files is None


def test_help_and_version(call):
    assert call("--version").out == f"seamtrace {__version__}\n"
    end = call("--help")
    assert end.code == 0
    for command in ("check", "roles", "rules", "sample", "settings"):
        assert f"\n  {command} " in end.out


# ---- what check is asked --------------------------------------------------------------------------------------------


def test_all_files_are_written_unless_some_are_named(call, checks):
    asked = checks(found())
    call("check", "a.ifc")
    assert (asked.formats, asked.out) == (["bcf", "json", "csv"], Path("seamtrace-out"))
    end = call("check", "a.ifc", "--format", "csv", "--format", "bcf", "--format", "csv", "--out", "here")
    assert (asked.formats, asked.out) == (["csv", "bcf"], Path("here"))
    assert "Written: " in end.out
    assert end.err == ""


def test_settings_of_this_folder_are_used_and_said(call, checks):
    asked = checks(found())
    assert call("check", "a.ifc").err == ""
    assert asked.settings.file is None
    Path("seamtrace.toml").write_text("[project]\nname = 'Here'\n[models]\nroof = { file = 'a.ifc', owner = 'steel' }")
    end = call("check", "x/a.ifc")
    assert end.err == "Settings: seamtrace.toml of this folder.\n"
    assert asked.settings.project == "Here"
    assert [(file.path, file.owner) for file in asked.files] == [(Path("x/a.ifc"), "steel")]
    call("check")
    assert [file.path for file in asked.files] == [Path("a.ifc")]
    Path("other.toml").write_text("[project]\nname = 'There'")
    end = call("check", "a.ifc", "--config", "other.toml")
    assert (asked.settings.project, end.err) == ("There", "")


def test_bad_settings_and_no_model_exit_with_2(call, checks):
    asked = checks(found())
    assert "name the IFC files" in call("check").err
    Path("seamtrace.toml").write_text("[limts]")
    end = call("check", "a.ifc")
    assert end.code == 2
    assert end.err.endswith("Error: seamtrace.toml has no section 'limts'. Did you mean 'limits'?\n")
    assert call("check", "a.ifc", "--config", "none.toml").code == 2
    assert asked.files is None


def test_nothing_about_progress_in_a_pipe(call, checks):
    checks(found())
    assert call("check", "a.ifc").err == ""


# ---- rules and settings ---------------------------------------------------------------------------------------------


def test_every_rule_is_listed_and_told_in_full(call):
    listed = call("rules")
    assert listed.code == 0
    for rule in load_rules():
        assert f"\n{rule.name} " in listed.out
        told = call("rules", rule.name)
        assert told.code == 0
        assert rule.remedy.split()[0] in told.out
    assert all(len(line) <= 100 for line in listed.out.splitlines())


def test_an_unknown_rule_names_the_nearest(call):
    name = load_rules()[0].name
    end = call("rules", name[:-1])
    assert end.code == 2
    assert end.err == f"Error: There is no rule '{name[:-1]}'. Did you mean '{name}'?\n"


def test_settings_prints_a_schema_that_knows_every_limit(call):
    schema = json.loads(call("settings").out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert set(schema["properties"]["limits"]["properties"]) == {rule.name for rule in load_rules()}
    jsonschema.validate({}, schema)


# ---- the command itself, on models it writes ------------------------------------------------------------------------


def seamtrace(*arguments, cwd, **more):
    """The command in a process of its own."""
    command = [sys.executable, "-c", "from checker.cli import main; main()", *map(str, arguments)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, timeout=300, check=False, **more)


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """The sample models, and the findings of the one with defects."""
    folder = tmp_path_factory.mktemp("sample")
    end = seamtrace("sample", ".", cwd=folder)
    assert end.returncode == 0, end.stderr
    assert end.stdout
    end = seamtrace("check", *sorted((folder / "defects").glob("*.ifc")), "--format", "json", cwd=folder)
    assert (end.returncode, end.stderr) == (1, b""), end.stdout
    return folder


def test_samples_never_replace_files(made, call):
    end = call("sample", made)
    assert (end.code, end.out) == (2, "")
    assert "is not empty" in end.err
    Path("file").touch()
    end = call("sample", "file")
    assert (end.code, end.out) == (2, "")
    assert "cannot be written" in end.err


def test_the_clean_sample_is_clean(made, call):
    end = call("check", *sorted((made / "clean").glob("*.ifc")))
    assert (end.code, end.err) == (0, "")
    assert "No issues." in end.out


def test_findings_of_the_sample_fit_their_schema(made):
    findings = json.loads((made / "seamtrace-out/findings.json").read_text("utf-8"))
    jsonschema.validate(findings, findings_schema())
    assert findings["summary"]["error"] > 0
    for rule in findings["coverage"]:
        states = ("pass", "fail", "not_modelled", "undecided", "accepted")
        assert rule["subjects"] == sum(rule[state] for state in states), rule


def test_same_input_same_bytes_and_a_failed_run_leaves_them(made, call):
    models = sorted((made / "defects").glob("*.ifc"))
    assert call("check", *models).code == 1
    before = {path.name: path.read_bytes() for path in Path("seamtrace-out").iterdir()}
    assert set(before) == {"issues.bcf", "findings.json", "seams.csv"}
    assert call("check", *reversed(models), "--out", "again").code == 1
    assert {path.name: path.read_bytes() for path in Path("again").iterdir()} == before
    Path("broken.ifc").write_bytes(models[0].read_bytes()[:-2000])
    end = call("check", "broken.ifc", "--out", "again")
    assert (end.code, end.out) == (2, "")
    assert "broken.ifc" in end.err
    assert len(end.err.splitlines()) == 1
    assert {path.name: path.read_bytes() for path in Path("again").iterdir()} == before


def test_proposed_roles_give_the_same_roles(made, call):
    models = sorted((made / "clean").glob("*.ifc"))
    first = call("roles", *models)
    assert first.code == 0
    end = call("roles", *models, "--write", "seamtrace.toml")
    assert (end.code, end.out, end.err) == (0, "", "Written: seamtrace.toml\n")
    assert set(tomllib.loads(Path("seamtrace.toml").read_text())["roles"]) >= {"panel", "column"}

    def counts(text):
        table = text.split("\n\n")[1].splitlines()[1:]
        return [line.split()[:2] for line in table]

    second = call("roles", *models)
    assert counts(second.out) == counts(first.out)
    again = call("roles", *models, "--write", "seamtrace.toml")
    assert again.code == 2
    assert "already there" in again.err
    assert tomllib.loads(call("roles", *models, "--write", "-").out)["roles"]


def test_a_reader_that_goes_away_changes_nothing():
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-c", "from checker.cli import main; main()", "rules"]
    end = subprocess.run(command, cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, timeout=60, check=False)
    os.close(writer)
    assert (end.returncode, end.stderr) == (0, b"")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminal on this system")
def test_progress_is_shown_on_a_terminal_and_gone_at_the_end(made, tmp_path):
    models = sorted((made / "clean").glob("*.ifc"))
    screen, terminal = os.openpty()
    command = [sys.executable, "-c", "from checker.cli import main; main()", "check", *models]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "TERM": "xterm"}
    with subprocess.Popen(command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=terminal) as process:
        os.close(terminal)
        shown = b""
        try:
            while part := os.read(screen, 4096):
                shown += part
        except OSError:  # Linux says so when the other side is closed
            pass
        assert process.stdout
        printed = process.stdout.read()
    os.close(screen)
    assert process.returncode == 0
    assert b"\x1b[" in shown
    assert b"\x1b" not in printed
