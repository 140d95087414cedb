"""Seal strips on the column face: gaps, overlaps, lanes, the weather side, and where the finding points."""

import numpy as np
import pytest
from drawn import RULES, checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block, guid_of

RULE = "column-seal"
ROWS = 3
TOP = FOOT + ROWS * ROW
WALL = wall(bays=3, rows=ROWS)
STRIP = "column seal 2 left"


def cut(sketch, at, gap=0.0, name=STRIP):
    """A strip in two pieces, ``gap`` mm between them (negative: they overlap), at a height."""
    x, z = (sketch.parts[name].blocks[0].low[i] for i in (0, 2)), (0, 8)
    low = next(x)
    sketch = with_part(sketch.without(name), f"{name} a", block("seal", (low, low + 40), (FOOT, at - gap / 2), z))
    return with_part(sketch, f"{name} b", block("seal", (low, low + 40), (at + gap / 2, TOP), z))


@pytest.mark.parametrize(
    ("gap", "passes"),
    [(0.0, True), (0.98, True), (1.0, True), (1.02, False), (5.0, False), (-1.0, True), (-1.02, False), (-20.0, False)],
)
def test_pieces_must_butt(gap, passes):
    result = checked(cut(WALL, FOOT + 1.5 * ROW, gap), [RULE], turned(24.2, 3e5, 3e5, 9))
    assert (not result.verdicts) == passes
    if not passes:
        (verdict,) = result.verdicts
        assert verdict.value_mm == pytest.approx(gap, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (-1.0, 1.0)
        assert {guid_of(f"{STRIP} a"), guid_of(f"{STRIP} b")} <= set(verdict.elements)


def test_words():
    (gap,) = checked(cut(WALL, FOOT + 500, 5.0), [RULE]).verdicts
    assert gap.message == "Seal strip on the column has a gap of 5.0 mm"
    (lap,) = checked(cut(WALL, FOOT + 500, -5.0), [RULE]).verdicts
    assert lap.message == (
        "Seal strip on the column: pieces overlap by 5.0 mm (column seal 2 left a, column seal 2 left b); "
        "they must butt"
    )
    gone = checked(WALL.without(STRIP), [RULE]).verdicts
    assert {v.message for v in gone} == {"Seal strip on the column is missing over the whole seam (1000 mm)"}


def test_the_project_sets_the_limit():
    sketch = cut(WALL, FOOT + 500, 3.0)
    assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(joint_mm=3.0)}).verdicts
    assert checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(joint_mm=2.9)}).verdicts


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("end", "by"), [("top", -400.0), ("bottom", 400.0)])
def test_a_strip_too_short_leaves_its_end_open(side, end, by):
    issue = only_issue(checked(WALL.stretched(f"column seal 2 {side}", end, by)), RULE)
    assert issue.worst_mm == pytest.approx(400.0)
    middle = TOP - 200 if end == "top" else FOOT + 200
    np.testing.assert_allclose(issue.point_m, to_world(5960 if side == "left" else 6040, middle, 4), atol=1e-3)
    assert issue.move is None


def test_a_missing_strip_is_one_issue_for_all_rows_and_names_the_column():
    issue = only_issue(checked(WALL.without(STRIP)), RULE)
    assert len(issue.members) == ROWS
    assert guid_of("column 2") in issue.check_id


def test_two_gaps_in_one_line_are_two_issues():
    sketch = cut(WALL, FOOT + 0.5 * ROW, 6.0)
    sketch = cut(sketch, FOOT + 2.5 * ROW, 6.0, name=f"{STRIP} b")
    # The upper piece was cut again: it begins at the foot, so the first gap is closed by its lower part.
    sketch = sketch.stretched(f"{STRIP} b a", "bottom", 0.5 * ROW + 3)
    issues = [issue for issue in checked(sketch).issues if issue.rule == RULE]
    assert sorted(round(issue.point_m[2], 3) for issue in issues) == [
        round((FOOT + 0.5 * ROW) / 1000, 3),
        round((FOOT + 2.5 * ROW) / 1000, 3),
    ]
    assert len({issue.key for issue in issues}) == 2


def test_a_gap_across_two_rows_is_one_issue_and_each_row_tells_what_it_lacks():
    result = checked(cut(WALL, FOOT + ROW + 10, 60.0))
    assert sorted(v.value_mm for v in result.verdicts if v.rule == RULE) == [pytest.approx(20.0), pytest.approx(40.0)]
    assert len(only_issue(result, RULE).members) == 2


def test_a_strip_on_the_weather_side_seals_nothing():
    weather = WALL.moved(STRIP, z=128.0)
    result = checked(weather, [RULE])
    assert len(result.verdicts) == ROWS
    assert all(v.message.endswith("column seal 2 left lies beside its place there") for v in result.verdicts)
    assert all(guid_of(STRIP) in v.elements for v in result.verdicts)


@pytest.mark.parametrize(("x", "passes"), [(0.0, True), (-60.0, True), (60.0, False), (-400.0, False)])
def test_a_strip_must_lie_behind_its_own_panel_end(x, passes):
    """Moved past the seam it lies behind the neighbour's end, beside the strip that is there already."""
    assert (not checked(WALL.moved(STRIP, x=x), [RULE]).verdicts) == passes


def test_two_strips_side_by_side_do_not_overlap():
    sketch = with_part(WALL, "second", block("seal", (5890, 5930), (FOOT, TOP), (0, 8)))
    assert not checked(sketch, [RULE]).verdicts
    on_top = with_part(WALL, "second", block("seal", (5940, 5980), (TOP - 300, TOP), (0, 8)))
    assert checked(on_top, [RULE]).verdicts


@pytest.mark.parametrize(("by", "passes"), [(2.0, True), (0.0, True), (-1.0, True), (-1.02, False), (-5.0, False)])
@pytest.mark.parametrize("end", ["front", "back"])
def test_it_must_touch_column_and_panel(end, by, passes):
    """The strip of 8 mm is thinner on one side, or drawn at rest, reaching into what presses it."""
    sketch = WALL.stretched(STRIP, end, by if end == "front" else -by)
    result = checked(sketch, [RULE], turned(-24.2, 3e5, 3e5, 9))
    assert (not result.verdicts) == passes
    assert len(result.verdicts) in (0, ROWS)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(-by, abs=0.01)
        beside = "strip and panel" if end == "front" else "column and strip"
        assert verdict.message == (
            f"Seal strip on the column is not pressed: {-by:.1f} mm open between {beside} on the left, "
            "required at most 1 mm"
        )
        assert guid_of(STRIP) in verdict.elements


@pytest.mark.parametrize(("left", "right", "worse"), [(3.0, 6.0, "right"), (6.0, 3.0, "left"), (3.0, 3.0, "left")])
def test_of_left_and_right_the_worse_is_told_first(left, right, worse):
    sketch = WALL.stretched(STRIP, "front", -left).stretched("column seal 2 right", "front", -right)
    for verdict in checked(sketch, [RULE]).verdicts:
        assert verdict.value_mm == pytest.approx(max(left, right), abs=0.01)
        first, second = verdict.message.split("; ")
        assert f"{max(left, right):.1f} mm open between strip and panel on the {worse}" in first
        assert f"{min(left, right):.1f} mm open" in second


def test_strips_on_column_and_panel_press_each_other():
    x, y = (5940, 5980), (FOOT, TOP)
    sketch = with_part(WALL.without(STRIP), "on column", block("seal", x, y, (0, 4)))
    assert not checked(with_part(sketch, "on panel", block("seal", x, y, (4, 8))), [RULE]).verdicts
    (first, *_) = checked(with_part(sketch, "on panel", block("seal", x, y, (6, 8))), [RULE]).verdicts
    assert "2.0 mm open between strips on the left" in first.message


def test_a_panel_that_stands_off_presses_neither_of_its_strips():
    """The strips of its neighbours across the seams stay pressed: each panel has a face of its own."""
    result = checked(WALL.moved("panel 2.2", z=3.0), [RULE])
    assert {(v.axis, "on the left" in v.message) for v in result.verdicts} == {("2", False), ("3", True)}
    assert {round(v.value_mm, 3) for v in result.verdicts} == {3.0}


def test_without_a_column_it_cannot_be_told():
    result = checked(WALL.without("column 2"), [RULE])
    assert {(v.state, v.message) for v in result.verdicts} == {("undecided", "no column stands behind this seam")}
