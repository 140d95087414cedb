"""``seamtrace accept``: an entry more in the project file, and nothing else changed in it."""

import json
import os
import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.acceptances import with_acceptance
from checker.errors import BadSettings
from checker.identity import key_of
from checker.rule import load_rules
from checker.settings import Acceptance, parse_settings

RULES = load_rules()
ENTRY = Acceptance("3f0c5e7a", date(2026, 12, 31), "Wider foam strip ordered", "lead", 38.0)

FULL = """\
# Our cold store.
[project]
name = 'Cold store'   # invented

[[accepted]]          # decided in the meeting of May
issue = "00000001"
reason = "tried"      # and it works
until = 2026-10-01
by = "lead"

# Limits of our office, never to be changed.
[limits.seam-width]
tolerance_mm = 4      # was 5
"""
ACCEPTED = FULL[FULL.index("[[accepted]]") : FULL.index("\n# L")]


def added(text, entry=ENTRY):
    return with_acceptance(Path("seamtrace.toml"), text.encode(), entry, RULES).decode()


def entries(text):
    return parse_settings(Path("seamtrace.toml"), text.encode(), RULES).accepted


@pytest.mark.parametrize(
    "text",
    [
        "",
        FULL,
        FULL.replace("\n", "\r\n"),
        FULL.rstrip("\n"),
        FULL[: FULL.index("[[accepted]]")],
        FULL[: FULL.index("\n# Limits")],
        "[layers]\nseam-foam = 'off'",
        'accepted = [{issue="00000001", until=2026-10-01, reason="r", by="b"}]  # in one line\n[project]\nname="x"\n',
        "accepted = []\n",
    ],
)
def test_an_entry_comes_and_every_line_that_was_there_stays(text):
    after = added(text)
    assert entries(after)[-1] == ENTRY
    assert entries(after)[:-1] == entries(text)
    kept = [line for line in text.splitlines() if not line.startswith("accepted")]
    lines = after.splitlines()
    places = [lines.index(line) for line in kept if line.strip()]
    assert places == sorted(places)
    assert ("\r\n" in after) == ("\r\n" in text)
    assert after.count("\r\n") in (0, after.count("\n"))
    assert added(after) == after


def test_behind_entries_that_stand_apart_comes_one_more():
    text = FULL + ACCEPTED.replace("00000001", "00000002")
    after = added(text)
    assert after.startswith(text)
    assert entries(after) == (*entries(text), ENTRY)
    assert added(after) == after


def test_marks_and_mixed_ends_of_lines_stay():
    """As they come from editors of several systems: only new lines are ours."""
    head, tail = FULL[: FULL.index("# Limits")], FULL[FULL.index("# Limits") :]
    for text in (f"\ufeff{FULL}", head.replace("\n", "\r\n") + tail, head + tail.replace("\n", "\r\n")):
        after = added(text)
        assert entries(after)[-1] == ENTRY
        at = text.index("# Limits")
        assert (after[: at - 2], after[-len(text) + at :]) == (text[: at - 2], text[at:])


def test_the_comment_of_the_next_section_stays_with_it():
    lines = added(FULL).splitlines()
    at = lines.index("[limits.seam-width]")
    assert lines[at - 1] == "# Limits of our office, never to be changed."
    assert lines.index('issue = "3f0c5e7a"') < at - 1


def test_an_entry_of_the_same_issue_is_replaced_where_it_stands():
    entry = Acceptance("00000001", date(2027, 1, 1), "again", "owner", 4.5)
    after = added(FULL, entry)
    assert entries(after) == (entry,)
    was, now = FULL.splitlines(), after.splitlines()
    assert [line for line in was if line not in now] == [
        'reason = "tried"      # and it works',
        "until = 2026-10-01",
        'by = "lead"',
    ]
    assert 'reason = "again"      # and it works' in now
    assert entries(added(after, Acceptance("00000001", date(2027, 1, 1), "x", "y"))) == (
        Acceptance("00000001", date(2027, 1, 1), "x", "y"),
    )


@given(st.text(min_size=1).filter(str.strip), st.floats(-1e6, 1e6), st.dates(date(2026, 1, 1)))
def test_any_text_value_and_day_is_read_as_it_was_given(text, value, day):
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        return
    entry = Acceptance("0a0b0c0d", day, text, text, value)
    for before in ("", FULL, FULL.replace("\n", "\r\n")):
        assert entry in entries(added(before, entry))
        assert tomllib.loads(added(before, entry))["accepted"][-1]["reason"] == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[projekt]\n", "has no section 'projekt'"),
        ("[project\n", "is not valid TOML"),
        (FULL + ACCEPTED.replace("00000001", ENTRY.issue), "do not stand together"),
        (FULL[: FULL.index("[limits")] * 2, "twice"),
    ],
)
def test_a_file_that_is_wrong_or_unusual_is_left_alone(text, says):
    with pytest.raises(BadSettings, match=says):
        added(text)


# ---- the command ----------------------------------------------------------------------------------------------------


def found(folder, value=52.0):
    """A findings.json with one issue in a folder."""
    folder.mkdir(exist_ok=True)
    verdict = {"rule": "seam-width", "state": "fail", "kind": "panel-end", "subject": "s", "elements": ["0A"],
               "value_mm": value, "minimum_mm": 25, "maximum_mm": 35, "point_m": [0, 0, 0]}  # fmt: skip
    issue = {"check_id": "seam-width|panel|0A", "rule": "seam-width", "topic": "t", "title": "Seam is wide",
             "severity": "error", "worst_mm": value, "members": [0], "elements": ["0A"], "point_m": [0, 0, 0],
             "accepted": ""}  # fmt: skip
    read = {"format": 1, "release": "a" * 12, "models": [], "coverage": [], "parts": [],
            "summary": {"unchecked": None}, "changes": None,
            "verdicts": [verdict], "issues": [issue]}  # fmt: skip
    (folder / "findings.json").write_text(json.dumps(read))


LATER = ("--until", "2999-12-31", "--reason", "Wider foam ordered", "--by", "lead")


def test_a_new_project_file_is_made(call, tmp_path):
    end = call("accept", "3F0C5E7A", *LATER, "--upto", 38)
    assert end.code == 0
    assert end.out == "seamtrace.toml: 3f0c5e7a is accepted until 2999-12-31 by lead.\n"
    assert end.err == "seamtrace-out holds no findings.json, so 3f0c5e7a was not looked up.\n"
    (entry,) = entries((tmp_path / "seamtrace.toml").read_text())
    assert (entry.issue, entry.upto_mm, entry.reason) == ("3f0c5e7a", 38.0, "Wider foam ordered")


def test_the_key_is_looked_up_in_the_last_check(call, tmp_path):
    found(tmp_path / "seamtrace-out")
    key = key_of("seam-width|panel|0A")
    assert call("accept", key, *LATER, "--upto", 60).err == ""
    unknown = call("accept", "00000000", *LATER, "--upto", 60)
    assert (unknown.code, unknown.out) == (2, "")
    assert unknown.err == (
        f"Error: The last check in seamtrace-out found no issue '00000000'. The nearest is '{key}': Seam is wide.\n"
    )
    without = call("accept", key, *LATER)
    assert without.code == 2
    assert without.err == f"Error: {key} is at 52.0 mm: say with --upto up to which value it holds.\n"
    low = call("accept", key, *LATER, "--upto", 40)
    assert (low.code, low.err) == (0, f"{key} is at 52.0 mm, worse than 40 mm: it stays open for now.\n")
    found(tmp_path / "seamtrace-out", None)
    assert call("accept", key, *LATER).code == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["3f0c5e7"], "issue must be the key a report shows, eight digits in quotes, not '3f0c5e7'"),
        (["3f0c5e7a", "--until", "soon"], "--until must be a day such as 2026-12-31, not 'soon'"),
        (["3f0c5e7a", "--until", "2001-01-01"], "--until 2001-01-01 is over already"),
        (["3f0c5e7a", "--reason", " "], "reason must be a text, not ' '"),
        (["3f0c5e7a", "--out", "nowhere"], "nowhere: holds no findings.json"),
        (["3f0c5e7a", "--upto", "nan"], "upto_mm must be a number of mm"),
    ],
)
def test_a_mistake_gives_one_sentence_and_changes_nothing(call, tmp_path, arguments, says):
    (tmp_path / "seamtrace.toml").write_text(FULL)
    end = call("accept", *LATER, *arguments)
    assert (end.code, end.out) == (2, "")
    assert says in end.err.splitlines()[-1]
    assert "Traceback" not in end.err
    assert (tmp_path / "seamtrace.toml").read_text() == FULL


def test_a_findings_file_of_another_make_is_said_plainly(call, tmp_path):
    (tmp_path / "seamtrace-out").mkdir()
    for text in ("", "[]", "{}", '{"format": 2}', '{"format": 1}'):
        (tmp_path / "seamtrace-out" / "findings.json").write_text(text)
        end = call("accept", "3f0c5e7a", *LATER)
        assert (end.code, end.err.count("\n")) == (2, 1)
        assert "findings.json: is not what this version writes" in end.err


def test_the_file_behind_a_link_is_changed_and_the_link_stays(call, tmp_path):
    (tmp_path / "office").mkdir()
    (tmp_path / "office" / "ours.toml").write_text(FULL)
    os.symlink(tmp_path / "office" / "ours.toml", tmp_path / "seamtrace.toml")
    assert call("accept", "3f0c5e7a", *LATER).code == 0
    assert (tmp_path / "seamtrace.toml").is_symlink()
    assert len(entries((tmp_path / "office" / "ours.toml").read_text())) == 2


def test_who_is_logged_in_decides_where_nobody_is_named(call, tmp_path, monkeypatch):
    monkeypatch.setattr("getpass.getuser", lambda: "coordinator")
    assert call("accept", "3f0c5e7a", *LATER[:4]).out.endswith("by coordinator.\n")
    monkeypatch.setattr("getpass.getuser", lambda: (_ for _ in ()).throw(OSError))
    assert "say with --by who decided" in call("accept", "3f0c5e7a", *LATER[:4]).err
