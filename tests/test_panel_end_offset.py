"""Panel ends and the column's centre line: limits, place, whose fault it is, and whether the told move mends."""

import numpy as np
import pytest
from drawn import RULES, checked, end_moved, i_column, mended, only_issue, to_world, turned, wall, warped, with_part
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.sketch import FOOT, ROW, guid_of

RULE = "panel-end-offset"
WALL = wall(bays=3, rows=4)


@pytest.mark.parametrize(
    ("offset", "passes"),
    [(-5.0, False), (9.98, False), (10.0, True), (10.02, True), (15.0, True), (20.0, True), (20.02, False)],
)
@pytest.mark.parametrize(("name", "right"), [("panel 1.2", True), ("panel 2.2", False)])
def test_limits_on_either_side(offset, passes, name, right):
    sketch = end_moved(WALL, name, right, (15.0 - offset) * (1 if right else -1))
    result = checked(sketch, [RULE], turned(-61.0, -3e5, 2e5, 10))
    assert (not result.verdicts) == passes
    if not passes:
        (verdict,) = result.verdicts
        assert verdict.value_mm == pytest.approx(offset, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (10.0, 20.0)
        assert f"End of the {'left' if right else 'right'} panel" in verdict.message


def test_the_project_sets_the_limits():
    limits = {RULE: RULES[RULE].limits(target_mm=20.0, tolerance_mm=4.9)}
    assert len(checked(WALL, [RULE], limits=limits).verdicts) == 8
    limits = {RULE: RULES[RULE].limits(target_mm=20.0, tolerance_mm=5.0)}
    assert not checked(WALL, [RULE], limits=limits).verdicts


@pytest.mark.parametrize("by", [-12.0, 12.0, 5.02])
def test_a_column_that_stands_off_is_one_issue_with_all_its_seams(by):
    sketch = WALL.moved("column 2", x=by)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert len(issue.members) == 4
    assert (issue.move.part, issue.move.what) == (guid_of("column 2"), "column")
    assert issue.move.vector_m[0] == pytest.approx(-by / 1000, abs=5e-4)
    assert issue.move.direction == ("to the left" if by > 0 else "to the right")
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def test_a_column_within_tolerance_is_left_alone():
    assert not checked(WALL.moved("column 2", x=5.0), [RULE]).verdicts


def test_a_panel_set_off_is_one_issue_with_both_its_ends():
    sketch = WALL.moved("panel 2.3", x=12.0)
    issue = only_issue(checked(sketch), RULE)
    assert len(issue.members) == 2
    assert (issue.move.what, issue.move.distance_mm, issue.move.direction) == ("panel", 12.0, "to the left")
    assert not checked(mended(sketch, issue.move)).verdicts


def test_one_end_off_is_the_panels_fault_not_the_columns():
    sketch = end_moved(WALL, "panel 1.4", True, 9.0)
    issue = only_issue(checked(sketch), RULE)
    assert (issue.move.part, issue.move.what) == (guid_of("panel 1.4"), "end of the left panel")
    assert not checked(mended(sketch, issue.move)).verdicts


def test_ends_off_alike_at_one_column_are_one_issue_and_the_move_names_all_of_them():
    sketch = WALL
    for row in (1, 3):
        sketch = end_moved(sketch, f"panel 1.{row}", True, 8.0)
    issue = only_issue(checked(sketch), RULE)
    assert len(issue.members) == 2
    assert {issue.move.part, *issue.move.also} == {guid_of("panel 1.1"), guid_of("panel 1.3")}
    assert not checked(mended(sketch, issue.move)).verdicts


def test_ends_off_the_other_way_are_issues_of_their_own():
    sketch = end_moved(end_moved(WALL, "panel 1.1", True, 8.0), "panel 1.3", True, -8.0)
    issues = [issue for issue in checked(sketch).issues if issue.rule == RULE]
    assert sorted(issue.move.direction for issue in issues) == ["to the left", "to the right"]
    for issue in issues:
        sketch = mended(sketch, issue.move)
    assert not checked(sketch).verdicts


def test_a_column_in_storeys_is_judged_piece_by_piece():
    foot = FOOT + 2 * ROW
    sketch = with_part(WALL.without("column 2"), "column 2 low", i_column(6000, foot))
    sketch = with_part(sketch, "column 2 high", i_column(6000, FOOT + 4 * ROW + 200, foot=foot))
    assert not checked(sketch).verdicts
    off = sketch.moved("column 2 high", x=12.0)
    issue = only_issue(checked(off), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("column 2 high"), "column")
    assert not checked(mended(off, issue.move)).verdicts


def test_it_points_to_the_end_that_is_off():
    issue = only_issue(checked(end_moved(WALL, "panel 2.2", False, 9.0)), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(6024, FOOT + 1.5 * ROW, 68), atol=1e-3)
    out_of_square = only_issue(checked(WALL.tapered("panel 1.1", 9.0)), RULE)
    np.testing.assert_allclose(out_of_square.point_m, to_world(5976, FOOT + ROW, 68), atol=1e-3)


def test_a_leaning_column_is_measured_at_every_height():
    """Its head 20 mm to the right over 5.07 m: the offset grows with height, no shift of it mends all rows."""
    top, foot = FOOT + 4 * ROW + 200, -500.0
    sketch = warped(WALL, "column 2", {(x, 1, z): (20.0, 0, 0) for x in (0, 1) for z in (0, 1)})
    result = checked(sketch, [RULE])
    worst = {v.subject[-1]: v.value_mm for v in result.verdicts}
    for row in (2, 3, 4):
        lean = 20.0 * (FOOT + row * ROW - foot) / (top - foot)
        assert worst[str(row)] == pytest.approx(15.0 + lean, abs=0.01)
    assert all(issue.move is None or issue.move.what != "column" for issue in result.issues)


def test_no_column_no_verdict_but_a_reason():
    result = checked(WALL.without("column 2"), [RULE])
    assert {(v.state, v.message) for v in result.verdicts} == {("undecided", "no column stands behind this seam")}
    assert len(result.verdicts) == 4


@settings(max_examples=15)
@given(st.integers(-40, 40), st.integers(-40, 40), st.sampled_from(["column 2", "panel 2.2", "panel 1.1"]))
def test_whatever_is_told_mends(one, two, name):
    sketch = end_moved(WALL.moved(name, x=one), "panel 1.2", True, two)
    before = checked(sketch, [RULE])
    for issue in before.issues:
        if issue.move:
            after = checked(mended(sketch, issue.move), [RULE])
            members = {before.verdicts[m].subject for m in issue.members}
            assert not members & {v.subject for v in after.verdicts}


@pytest.mark.parametrize(
    ("left", "right", "says"),
    [
        (
            18.0,
            18.0,
            "left panel passes the column's centre line by 3.0 mm and that of the right panel passes it by 3.0 mm",
        ),
        (
            18.0,
            -12.0,
            "left panel passes the column's centre line by 3.0 mm and that of the right panel is 27.0 mm from it",
        ),
        (-12.0, -12.0, "left panel is 27.0 mm from the column's centre line and that of the right panel 27.0 mm"),
        (
            -14.0,
            20.0,
            "right panel passes the column's centre line by 5.0 mm and that of the left panel is 29.0 mm from it",
        ),
    ],
)
def test_both_ends_are_told_in_one_sentence(left, right, says):
    sketch = end_moved(end_moved(WALL, "panel 1.2", True, left), "panel 2.2", False, -right)
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert verdict.message == f"End of the {says}, required 10 to 20 mm"
