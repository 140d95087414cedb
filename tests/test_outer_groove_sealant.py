"""Sealant in the outer groove at panel ends: as wide as the flashing, on both sides, in the outer half."""

import numpy as np
import pytest
from drawn import RULES, checked, only_issue, to_world, turned, wall

from checker.sketch import FOOT, ROW, guid_of

RULE = "outer-groove-sealant"
WALL = wall(bays=3, rows=3, full=True)


def bead(side):
    return f"outer sealant 2.2 {side}"


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (1.0, True), (1.02, False), (12.0, False), (-20.0, True)])
@pytest.mark.parametrize(("side", "end"), [("left", "left"), ("left", "right"), ("right", "left"), ("right", "right")])
def test_it_reaches_from_the_panel_end_to_the_edge_of_the_flashing(side, end, by, passes):
    sketch = WALL.stretched(bead(side), end, by if end == "left" else -by)
    result = checked(sketch, [RULE], turned(24.2, 1e5, 3e5, 5))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by, abs=0.01)
        assert verdict.message == (
            f"Sealant in the outer groove ends short by {by:.1f} mm at the {side} panel end, required at most 1 mm"
        )
        assert guid_of(bead(side)) in verdict.elements


@pytest.mark.parametrize(("side", "x"), [("left", 5955.0), ("right", 6045.0)])
def test_it_is_found_where_it_is_missing(side, x):
    issue = only_issue(checked(WALL.without(bead(side))), RULE)
    assert issue.title == (
        f"Sealant in the outer groove is missing by 60.0 mm at the {side} panel end, required at most 1 mm"
    )
    np.testing.assert_allclose(issue.point_m, to_world(x, FOOT + ROW, 68), atol=1e-3)


def test_missing_sealants_of_one_column_are_one_issue():
    gone = [name for name in WALL.parts if name.startswith("outer sealant 2")]
    issue = only_issue(checked(WALL.without(*gone)), RULE)
    assert len(issue.members) == 2
    assert "left panel end and is missing by 60.0 mm at the right panel end" in issue.title
    assert guid_of("column 2") in issue.check_id


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (40.0, False)])
def test_the_flashing_that_is_there_tells_how_far(by, passes):
    """Row by row: that of the lower row does not count at the joint that the upper one covers."""
    for edge in ("left", "right"):
        sketch = WALL.stretched("flashing 2.2", edge, -by if edge == "left" else by)
        assert (not checked(sketch, [RULE]).verdicts) == passes


def test_without_a_flashing_the_project_says_how_far():
    bare = WALL.without(*(n for n, p in WALL.parts.items() if p.role == "flashing"))
    assert not checked(bare, [RULE]).verdicts
    assert len(checked(bare, [RULE], limits={RULE: RULES[RULE].limits(reach_mm=75.0)}).verdicts) == 4


def test_sealant_in_the_inner_groove_is_another_layer():
    outer = [name for name in WALL.parts if name.startswith("outer")]
    result = checked(WALL.without(*outer))
    assert not result.verdicts
    assert next(each for each in result.coverage if each.rule == RULE).not_modelled == 4
    moved = WALL.moved(bead("left"), z=-80.0)
    assert only_issue(checked(moved, [RULE]), RULE)


def test_one_bead_through_the_seam_serves_both_sides():
    sketch = WALL.without(bead("left")).stretched(bead("right"), "left", -90.0)
    assert not checked(sketch, [RULE]).verdicts
