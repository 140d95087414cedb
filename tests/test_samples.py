"""The sample hall, in many guises: each seeded defect is found, nothing else, and every measure is the true one.

The truth comes from the hall as drawn (`checker.demo`), never from the engine.
"""

import math
from collections import defaultdict
from pathlib import Path

import pytest
from thorough import some_of

from checker import run
from checker.demo import DEFECTS, Options, write_hall
from checker.rule import load_rules
from checker.settings import Settings, files_to_read

SAME_PLACE_M = 0.6
"""Verdicts on seams point at the worst place of a panel row; truth may name the middle of the fault."""
TONGUE_MM = 1.1
"""Where panels have tongues, the joint of 1 mm between rows belongs to the seam of the row below."""


def checked(folder, defects=(), options=None):
    """Truth and result of a hall written and checked."""
    truth = write_hall(folder, defects, options or Options())
    files = files_to_read(list(truth.files), Settings())
    return truth, run.check(files, Settings(), load_rules(), lambda what, share: None)


def seam_guids(truth, index):
    seam = truth.seams[index]
    return {seam.left, seam.right}


def allowed(verdict):
    """How far a value may be off the truth, in mm: more for a layer that is missing over a whole seam."""
    return TONGUE_MM if verdict.rule in ("column-seal", "seam-foam") and verdict.value_mm > 100 else 0.1


AIR = "air-barrier-line"
SEALS = {"column-seal", "plinth-seal", "opening-seal", "door-threshold-seal", "column-plinth-seal", "roof-edge-seal"}
"""What closes the airtight line of the hall: it is broken where one of these is, and nowhere else."""


def differences(truth, result):
    """What was expected and not found, and what was found and not expected, in words."""
    said = [v for v in result.verdicts if v.state != "pass" and v.rule != AIR]
    open_m = sum(v.value_mm for v in said if v.rule in SEALS and (v.value_mm or 0.0) > 1.0) / 1000.0
    told_m = sum(v.value_mm for v in result.verdicts if v.rule == AIR and v.state == "fail") / 1000.0
    if (open_m > 0) != (told_m > 0) or abs(result.airtight.broken_m - told_m) > 0.001:
        return [f"airtight line: open over {told_m} m, {result.airtight.broken_m} m, seals missing over {open_m} m"]
    wanted = defaultdict(list)
    for one in truth.expected:
        wanted[one.rule, one.severity].append(one)
    lines, used = [], set()
    for verdict in said:
        if verdict.state != "fail":
            lines.append(f"unexpected {verdict.state}: {verdict.rule} {verdict.subject} {verdict.message}")
            continue
        fits = [
            one
            for one in wanted[verdict.rule, verdict.severity]
            if (
                set(verdict.elements) >= seam_guids(truth, one.seam)
                if one.seam is not None
                else set(one.elements) & set(verdict.elements)
            )
        ]
        if not fits:
            lines.append(f"not expected: {verdict.rule} {verdict.subject} {verdict.message}")
        elif not any(abs(one.value_mm - verdict.value_mm) <= allowed(verdict) for one in fits):
            lines.append(
                f"value: {verdict.rule} {verdict.subject} {verdict.value_mm} expected {[o.value_mm for o in fits]}"
            )
        elif min(math.dist(one.place, verdict.point_m) for one in fits) > SAME_PLACE_M:
            lines.append(
                f"place: {verdict.rule} {verdict.subject} {verdict.point_m} expected {[o.place for o in fits]}"
            )
        used.update(id(one) for one in fits)
    for ones in wanted.values():
        for one in ones:
            if id(one) not in used:
                lines.append(f"missed: {one.defect}: {one.rule} {one.says}")
    return lines


def measure_errors(truth, result):
    """Differences of more than 0.1 mm between ``seams.csv`` and the truth, in words."""
    table = result.seams.columns
    rows = {
        (left, right): k
        for k, (kind, left, right) in enumerate(zip(table["kind"], table["left"], table["right"], strict=True))
        if kind == "panel-end"
    }
    lines = []
    for seam in truth.seams:
        row = rows.pop((seam.left, seam.right), None)
        if row is None:
            lines.append(f"seam not found: {seam.facade} {seam.axis} row {seam.row}")
            continue
        if table["column"][row] != seam.column:
            lines.append(f"column: {seam.facade} {seam.axis} row {seam.row}")
        for name in ("length_mm", "width_min_mm", "width_max_mm", "offset_left_mm", "offset_right_mm"):
            got, true = table[name][row], getattr(seam, name)
            if got is None or abs(got - true) > (TONGUE_MM if name == "length_mm" else 0.1):
                lines.append(f"{name}: {got} instead of {true} at {seam.facade} {seam.axis} row {seam.row}")
    lines.extend(f"seam too many: {pair}" for pair in rows)
    return lines


GUISES = {
    "as it is": Options(),
    "IFC2X3": Options(schema="IFC2X3"),
    "IFC4X3": Options(schema="IFC4X3"),
    "metres": Options(unit="m"),
    "centimetres": Options(unit="cm"),
    "inches": Options(unit="inch"),
    "feet": Options(unit="foot", schema="IFC2X3"),
    "turned by 17 degrees": Options(turn_deg=17.0),
    "turned by 203.7 degrees, far away": Options(turn_deg=203.7, offset_m=(1.0e6, -2.5e5, 120.0)),
    "mirrored": Options(mirror=True),
    "nested placements": Options(nested=True, turn_deg=-64.2),
    "site apart": Options(site_offset_m=(4.0e5, 5.6e6, 3.0)),
    "shuffled": Options(shuffle=7),
    "one file": Options(split="one"),
    "many files": Options(split="many"),
    "zipped": Options(zipped=True),
    "mapped bodies": Options(body="mapped"),
    "faceted bodies": Options(body="brep"),
    "triangles": Options(body="tessellation", schema="IFC4X3"),
    "clipped bodies": Options(body="clipped"),
    "boolean bodies": Options(body="boolean"),
    "a mixture": Options(body="mixed", unit="foot", turn_deg=24.2),
    "names that say nothing": Options(names="codes"),
    "German names": Options(names="german", schema="IFC2X3"),
    "map conversions": Options(
        map_conversion=((5.0e5, 6.2e6, 10.0, 12.0), (5.0e5, 6.2e6, 10.0, 12.0), (5.0e5 + 40.0, 6.2e6 - 25.0, 8.0, 30.0))
    ),
}


@pytest.mark.parametrize("guise", some_of(GUISES, 2))
def test_every_defect_is_found_and_nothing_else(tmp_path, guise):
    truth, result = checked(tmp_path, tuple(DEFECTS), GUISES[guise])
    assert differences(truth, result) == []
    assert measure_errors(truth, result) == []


@pytest.mark.parametrize("guise", ["as it is", "a mixture", "IFC2X3"])
def test_a_clean_hall_is_clean(tmp_path, guise):
    truth, result = checked(tmp_path, (), GUISES[guise])
    assert differences(truth, result) == []
    assert measure_errors(truth, result) == []
    assert result.issues == ()


@pytest.mark.parametrize("defect", some_of(sorted(DEFECTS)))
def test_each_defect_alone(tmp_path, defect):
    truth, result = checked(tmp_path, (defect,))
    assert differences(truth, result) == []
    assert result.issues


SMALL = Path(__file__).parent.parent / "sample_models" / "rules"


def failing(path):
    """Names of the rules that fail on one model."""
    result = run.check(files_to_read([path], Settings()), Settings(), load_rules(), lambda what, share: None)
    return {verdict.rule for verdict in result.verdicts}


@pytest.mark.parametrize("rule", [rule.name for rule in load_rules()])
def test_small_models_of_each_rule(rule):
    stem = rule.replace("-", "_")
    said = (SMALL / "expected.txt").read_text(encoding="utf-8").splitlines()
    line = next(line for line in said if line.startswith(f"bad_{stem}.ifc: fails "))
    assert failing(SMALL / f"bad_{stem}.ifc") == set(line.split("fails ")[1].split(" and "))
    assert failing(SMALL / f"good_{stem}.ifc") == set()
