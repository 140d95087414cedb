"""Width of vertical seams: limits, place, blame, and whether the told move mends."""

import numpy as np
import pytest
from drawn import RULES, checked, end_moved, mended, only_issue, to_world, turned, wall, warped
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.sketch import FOOT, ROW, guid_of

RULE = "seam-width"
WALL = wall(bays=3, rows=2)


def widths(result):
    """Value of each failing seam, by left and right panel."""
    return {tuple(v.elements[:2]): v.value_mm for v in result.verdicts if v.rule == RULE and v.state == "fail"}


@pytest.mark.parametrize(
    ("width", "passes"),
    [
        (-20.0, False),
        (0.0, False),
        (24.98, False),
        (25.0, True),
        (25.02, True),
        (30.0, True),
        (34.98, True),
        (35.0, True),
        (35.02, False),
        (290.0, False),
    ],
)
@pytest.mark.parametrize("degrees", [0.0, 24.2])
def test_limits(width, passes, degrees):
    result = checked(end_moved(WALL, "panel 1.1", True, 30.0 - width), [RULE], turned(degrees, 1e5, -1e5, 30))
    assert (not result.verdicts) == passes
    if not passes:
        found = widths(result)
        assert list(found) == [(guid_of("panel 1.1"), guid_of("panel 2.1"))]
        assert list(found.values()) == [pytest.approx(width, abs=0.01)]


@pytest.mark.parametrize(
    ("low", "high", "states"),
    [(20.0, 40.0, [True, True, True]), (29.5, 30.5, [False, True, False]), (40.0, 50.0, [False, False, True])],
)
def test_the_project_sets_the_limits(low, high, states):
    limits = {RULE: RULES[RULE].limits(target_mm=(low + high) / 2, tolerance_mm=(high - low) / 2)}
    seen = []
    for width in (24.0, 30.0, 40.0):
        sketch = wall(2, 1)
        sketch = end_moved(sketch, "panel 1.1", True, 30.0 - width)
        seen.append(not checked(sketch, [RULE], limits=limits).verdicts)
    assert seen == states


@pytest.mark.parametrize(
    ("width", "says"),
    [
        (22.0, "Vertical seam narrows to 22.0 mm, required 25 to 35 mm"),
        (41.5, "Vertical seam widens to 41.5 mm, required 25 to 35 mm"),
        (-20.0, "Panels overlap by 20.0 mm in the vertical seam, required 25 to 35 mm"),
    ],
)
def test_words(width, says):
    (verdict,) = checked(end_moved(WALL, "panel 1.1", True, 30.0 - width), [RULE]).verdicts
    assert verdict.message == says
    assert (verdict.kind, verdict.axis) == ("panel-end", "2")
    assert verdict.severity == "error"


def test_it_points_into_the_middle_of_an_even_seam():
    issue = only_issue(checked(end_moved(WALL, "panel 2.2", False, 12.0)), RULE)
    place = to_world(6000 + 6, FOOT + 1.5 * ROW, 68)
    np.testing.assert_allclose(issue.point_m, place, atol=1e-3)
    assert (issue.facade, issue.axis, issue.worst_mm) == ("F1", "2", pytest.approx(42.0))


@pytest.mark.parametrize(("top", "height"), [(-9.0, ROW), (9.0, ROW)])
def test_it_points_to_the_narrowest_or_widest_place(top, height):
    """The end of panel 1.1 is out of square: its upper corner too far right (narrow) or left (wide)."""
    issue = only_issue(checked(wall(3, 2).tapered("panel 1.1", top)), RULE)
    assert issue.worst_mm == pytest.approx(30.0 + top, abs=0.01)
    np.testing.assert_allclose(issue.point_m, to_world(6000, FOOT + height, 68), atol=6e-3)


@pytest.mark.parametrize(
    ("name", "right", "by", "what", "distance", "direction"),
    [
        ("panel 1.1", True, 8.0, "end of the left panel", 8.0, "to the left"),
        ("panel 1.1", True, -8.0, "end of the left panel", 8.0, "to the right"),
        ("panel 2.1", False, -8.0, "end of the right panel", 8.0, "to the right"),
        ("panel 2.1", False, 8.0, "end of the right panel", 8.0, "to the left"),
    ],
)
def test_the_end_that_is_off_is_told_to_move(name, right, by, what, distance, direction):
    sketch = end_moved(WALL, name, right, by)
    move = only_issue(checked(sketch), RULE).move
    assert (move.part, move.what, move.direction) == (guid_of(name), what, direction)
    assert move.distance_mm == pytest.approx(distance, abs=1.0)
    assert not checked(mended(sketch, move)).verdicts


@pytest.mark.parametrize("by", [-14.0, 7.0, 30.0])
def test_a_panel_set_off_as_a_whole_is_one_issue(by):
    sketch = WALL.moved("panel 2.1", x=by)
    issue = only_issue(checked(sketch), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("panel 2.1"), "panel")
    assert issue.move.vector_m[0] == pytest.approx(-by / 1000)
    assert not checked(mended(sketch, issue.move)).verdicts


def test_a_panel_too_long_at_both_ends_has_two_ends_to_mend():
    sketch = end_moved(end_moved(WALL, "panel 2.1", True, 9.0), "panel 2.1", False, -9.0)
    issues = [issue for issue in checked(sketch).issues if issue.rule == RULE]
    assert sorted(issue.move.what for issue in issues) == ["end of the left panel", "end of the right panel"]
    for issue in issues:
        assert issue.move.part == guid_of("panel 2.1")
        sketch = mended(sketch, issue.move)
    assert not checked(sketch, [RULE]).verdicts


@settings(max_examples=15)
@given(st.integers(-60, 60), st.integers(-60, 60), st.booleans())
def test_whatever_is_told_mends(left, right, whole):
    """Tenths of millimetres are left out: moves are told in whole ones."""
    sketch = end_moved(end_moved(WALL, "panel 1.1", True, left), "panel 2.1", False, right)
    if whole:
        sketch = sketch.moved("panel 2.1", x=right)
    for issue in checked(sketch).issues:
        if issue.rule == RULE and issue.move:
            after = checked(mended(sketch, issue.move), [RULE])
            gone = {m.subject for m in map(checked(sketch).verdicts.__getitem__, issue.members)}
            assert not gone & {v.subject for v in after.verdicts if v.state == "fail"}


def test_a_raked_end_counts_at_its_narrowest():
    """Cut out of square through its thickness: what reaches furthest decides, at the inner or the outer face."""
    for face in (0, 1):
        longer = warped(WALL, "panel 2.1", {(0, y, face): (-9.0, 0, 0) for y in (0, 1)})
        assert only_issue(checked(longer), RULE).worst_mm == pytest.approx(21.0, abs=0.01)
        shorter = warped(WALL, "panel 2.1", {(0, y, face): (9.0, 0, 0) for y in (0, 1)})
        assert not checked(shorter, [RULE]).verdicts


def test_without_a_column_the_seam_is_measured_all_the_same():
    sketch = end_moved(WALL.without("column 2"), "panel 1.1", True, 8.0)
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert (verdict.state, verdict.value_mm) == ("fail", pytest.approx(22.0))
