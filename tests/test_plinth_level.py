"""Level of plinth tops: limits, the level itself, place, blame, and whether the told move mends."""

import numpy as np
import pytest
from drawn import RULES, checked, mended, only_issue, to_world, turned, wall, warped

from checker.sketch import block, guid_of

RULE = "plinth-level"
WALL = wall(bays=5, rows=1)
TOP = 300.0


@pytest.mark.parametrize(
    ("off", "passes"),
    [(-14.0, False), (-10.02, False), (-10.0, True), (0.0, True), (10.0, True), (10.02, False), (14.0, False)],
)
def test_limits(off, passes):
    result = checked(WALL.stretched("plinth 2", "top", off), [RULE], turned(24.2, -1e5, 1e5, 250.0))
    assert (not result.verdicts) == passes
    if not passes:
        (verdict,) = result.verdicts
        assert verdict.value_mm == pytest.approx(off, abs=0.01)
        way = "above" if off > 0 else "below"
        assert (
            verdict.message == f"Plinth top lies {abs(off):.1f} mm {way} the level of its side, required within 10 mm"
        )


def test_the_project_sets_the_limit():
    sketch = WALL.stretched("plinth 2", "top", 4.0)
    assert checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(tolerance_mm=3.9)}).issues
    assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(tolerance_mm=4.0)}).issues


@pytest.mark.parametrize("off", [-14.0, 17.0])
def test_it_points_to_the_top_and_tells_the_way_back(off):
    sketch = WALL.stretched("plinth 2", "top", off)
    issue = only_issue(checked(sketch), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(9000, TOP + off, 63), atol=1e-3)
    assert (issue.move.part, issue.move.what) == (guid_of("plinth 2"), "plinth element")
    assert issue.move.vector_m == pytest.approx((0, 0, -off / 1000), abs=1e-9)
    assert issue.move.direction == ("up" if off < 0 else "down")
    assert not checked(mended(sketch, issue.move)).verdicts


def test_the_level_is_the_median_by_length_so_one_long_element_outweighs_short_ones():
    sketch = WALL.without("plinth 1", "plinth 2", "plinth 3", "plinth 4", "plinth 5")
    for k, (left, right, top) in enumerate([(10, 900, 288.0), (920, 1900, 288.0), (1920, 29990, 300.0)]):
        sketch.parts[f"piece {k}"] = block("plinth", (left, right), (-600, top), (8, 118))
    low = checked(sketch, [RULE])
    assert [v.value_mm for v in low.verdicts] == [pytest.approx(-12.0)] * 2


def test_neighbours_off_alike_are_one_issue_and_all_of_them_move():
    sketch = WALL.stretched("plinth 2", "top", -13.0).stretched("plinth 3", "top", -14.0)
    # Five elements: the other three keep the level.
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert len(issue.members) == 2
    assert {issue.move.part, *issue.move.also} == {guid_of("plinth 2"), guid_of("plinth 3")}
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def test_elements_off_apart_from_each_other_or_the_other_way_are_issues_of_their_own():
    apart = WALL.stretched("plinth 1", "top", -13.0).stretched("plinth 4", "top", -13.0)
    assert len(checked(apart, [RULE]).issues) == 2
    against = WALL.stretched("plinth 2", "top", -13.0).stretched("plinth 3", "top", 13.0)
    assert len(checked(against, [RULE]).issues) == 2


def test_a_sloping_top_is_judged_at_its_worse_end():
    sketch = warped(WALL, "plinth 2", {(1, 1, z): (0, -16.0, 0) for z in (0, 1)})
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert issue.worst_mm == pytest.approx(-16.0)
    np.testing.assert_allclose(issue.point_m, to_world(11990, 284, 63), atol=1e-3)
    assert issue.move.vector_m[2] == pytest.approx(0.008)
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts
    hopeless = warped(WALL, "plinth 2", {(1, 1, z): (0, -21.0, 0) for z in (0, 1)})
    assert only_issue(checked(hopeless, [RULE]), RULE).move is None


def test_elements_that_carry_no_panel_are_not_asked():
    sketch = wall(bays=5, rows=1)
    sketch.parts["beam in the ground"] = block("plinth", (10, 29990), (-1200, -700), (8, 118))
    sketch.parts["kerb far off"] = block("plinth", (10, 29990), (-600, 250), (2000, 2100))
    (coverage,) = checked(sketch, [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (5, 5)
