"""Models by other hands than ours: what was made wrong in them is found, nothing else, and widths are exact.

The truth comes from the generator (`foreign`), which knows nothing of the checker; what the checker says is read from
the files it writes.
"""

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from foreign import Expected, Hall
from foreign_halls import RECIPES, VARIANTS, hall
from thorough import some_of

from checker.model import ModelFile
from checker.rule import load_rules
from checker.run import check, write
from checker.settings import Settings

EXACT_MM = 0.1
AIR = "air-barrier-line"
SEALS = {"column-seal", "plinth-seal", "opening-seal", "door-threshold-seal", "column-plinth-seal"}
LAYERED = {rule.name for rule in load_rules() if rule.layer is not None}


@dataclass(frozen=True)
class Answer:
    """What the checker wrote about a hall: ``findings.json`` and the rows of ``seams.csv``."""

    findings: Mapping[str, Any]
    seams: list[dict[str, str]]


def answer(made: Hall, folder: Path) -> Answer:
    files = [ModelFile(path) for path in made.write(folder)]
    result = check(files, Settings(), load_rules(), lambda *_: None)
    write(result, folder / "out", ("json", "csv"))
    with (folder / "out" / "seams.csv").open(newline="", encoding="utf-8") as sheet:
        rows = list(csv.DictReader(sheet))
    return Answer(json.loads((folder / "out" / "findings.json").read_text(encoding="utf-8")), rows)


def complaints(made: Hall, said: Answer) -> list[str]:
    """Whatever the checker says that is not true of the hall, one line each."""
    known = {guid: key for key in made.parts for guid in made.guids(key)}
    return [
        *verdict_complaints(made, said, known),
        *coverage_complaints(made, said),
        *seam_complaints(made, said, known),
    ]


def verdict_complaints(made: Hall, said: Answer, known: Mapping[str, str]) -> list[str]:
    expected = made.expected()
    failed = [v for v in said.findings["verdicts"] if v["state"] == "fail"]
    missed = [e for e in expected if not any(fits(e, v, made) for v in failed)]
    # The airtight line breaks where a seal does, and only there.
    sound = not any(e.rule in SEALS for e in expected)
    ours = [v for v in said.findings["verdicts"] if v["rule"] != AIR or (sound and v["state"] == "fail")]
    said_verdicts = [v for v in ours if (v["rule"], v["state"]) not in made.undecided]
    false = [v for v in said_verdicts if v not in failed or not any(fits(e, v, made) for e in expected)]
    lines = [f"missed     {e.rule:18} {', '.join(sorted(e.parts)):44} {e.value_mm or ''}" for e in missed]
    for verdict in false:
        parts = ", ".join(known.get(guid, guid) for guid in verdict["elements"])
        lines.append(f"{verdict['state']:10} {verdict['rule']:18} {parts:44} {verdict['message']}")
    return lines


def fits(expected: Expected, verdict: Mapping[str, Any], made: Hall) -> bool:
    if verdict["rule"] != expected.rule:
        return False
    if any(not made.guids(part) & set(verdict["elements"]) for part in expected.parts if part in made.parts):
        return False
    value = verdict["value_mm"]
    return expected.value_mm is None or (value is not None and abs(value - expected.value_mm) <= EXACT_MM)


def coverage_complaints(made: Hall, said: Answer) -> list[str]:
    """A layer that nobody drew is told once, for all its places; every other place has been looked at."""
    lines = said.findings["coverage"]
    rules = [line["rule"] for line in lines]
    return [
        f"coverage   {rule:18} {rules.count(rule)} lines" for rule in sorted(set(rules)) if rules.count(rule) > 1
    ] + [
        f"coverage   {line['rule']:18} not modelled {line['not_modelled']} of {line['subjects']}"
        for line in lines
        if line["rule"] != AIR
        and line["not_modelled"] != (line["subjects"] if line["rule"] in LAYERED - made.drawn() else 0)
    ]


def seam_complaints(made: Hall, said: Answer, known: Mapping[str, str]) -> list[str]:
    rows = [row for row in said.seams if row["kind"] == "panel-end"]
    found = {(known.get(row["left"], row["left"]), known.get(row["right"], row["right"])): row for row in rows}
    truth = {(seam.left, seam.right): seam for seam in made.seams()}
    lines = [f"no seam    {' | '.join(pair)}" for pair in truth if pair not in found]
    lines += [f"false seam {' | '.join(pair)}" for pair in found if pair not in truth]
    lines += [f"{len(rows) - len(found)} seams are listed twice"] if len(rows) != len(found) else []
    columns = ("width_min_mm", "width_max_mm", "offset_left_mm", "offset_right_mm")
    for pair, seam in truth.items():
        for column, value in zip(columns, (*seam.width, *seam.offsets), strict=True):
            got = found.get(pair, {}).get(column, f"{value}")
            if got == "" or abs(float(got) - value) > EXACT_MM:
                lines.append(f"inexact    {column:18} {' | '.join(pair):44} {value:.3f} measured as {got or 'nothing'}")
    return lines


@pytest.mark.parametrize(
    ("name", "wrong"),
    [*((name, True) for name in some_of(RECIPES, 2)), *((name, False) for name in some_of(RECIPES))],
    ids=lambda value: value if isinstance(value, str) else "wrong" if value else "clean",
)
def test_finds_what_is_wrong_and_nothing_else(name: str, wrong: bool, tmp_path: Path) -> None:
    made = hall(name, wrong)
    lines = complaints(made, answer(made, tmp_path))
    assert not lines, "\n".join([f"{name}, {'with faults' if wrong else 'clean'}:", *lines])


@pytest.mark.parametrize("name", some_of(VARIANTS))
def test_other_makes_of_a_clean_hall_are_clean(name: str, tmp_path: Path) -> None:
    recipe, change = VARIANTS[name]
    made = Hall(recipe)
    change(made)
    lines = complaints(made, answer(made, tmp_path))
    assert not lines, "\n".join([f"{name}:", *lines])


def test_a_missed_or_false_failure_and_an_inexact_width_would_be_told(tmp_path: Path) -> None:
    """The comparison itself: held against another truth than its own, the answer is wrong in every respect."""
    said = answer(hall("bare", wrong=False), tmp_path)
    assert not complaints(hall("bare", wrong=False), said)
    told = {line.split()[0] for line in complaints(hall("bare", wrong=True), said)}
    assert told == {"missed", "inexact"}
    said = answer(hall("bare", wrong=True), tmp_path)
    told = {line.split()[0] for line in complaints(hall("bare", wrong=False), said)}
    assert told == {"fail", "inexact"}
