"""Joints of neighbouring bays at the columns: step, place, joints without a counterpart, and the move that mends."""

import numpy as np
import pytest
from drawn import built, checked, mended, only_issue, to_world, turned, wall

from checker.facade import Crossings
from checker.sketch import BAY, FOOT, ROW, guid_of

RULE = "row-alignment"
WALL = wall(bays=4, rows=3)


def edge_moved(sketch, bay, row, by):
    """The joint on top of a row of one bay moved by mm, both panels with it."""
    return sketch.stretched(f"panel {bay}.{row}", "top", by).stretched(f"panel {bay}.{row + 1}", "bottom", by)


@pytest.mark.parametrize(
    ("by", "passes"), [(0.0, True), (3.0, True), (3.02, False), (-3.0, True), (-3.02, False), (40.0, False)]
)
def test_limits(by, passes):
    result = checked(edge_moved(WALL, 2, 1, by), [RULE], turned(24.2, -2e5, 1e5, 4))
    assert (not result.verdicts) == passes
    assert sorted(v.axis for v in result.verdicts) == ([] if passes else ["2", "3"])
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(abs(by), abs=0.01)
        assert {guid_of("panel 2.1"), guid_of("panel 2.2")} <= set(verdict.elements)


def test_one_joint_off_its_row_is_one_issue_at_both_its_columns():
    issue = only_issue(checked(edge_moved(WALL, 2, 1, 10.0)), RULE)
    assert (
        issue.title
        == "Horizontal joints of neighbouring bays end 10.0 mm apart in height, required at most 3 mm (2 places)"
    )
    np.testing.assert_allclose(issue.point_m[1:], to_world(BAY, FOOT + ROW + 5, 68)[1:], atol=6e-3)
    assert issue.move is None


def test_a_bay_hung_too_high_is_one_issue_and_moves_as_a_whole():
    sketch = WALL
    for row in (1, 2, 3):
        sketch = sketch.moved(f"panel 2.{row}", y=12.0)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert len(issue.members) == 4
    assert (issue.move.what, issue.move.distance_mm, issue.move.direction) == ("panel", 12.0, "down")
    assert {issue.move.part, *issue.move.also} == {guid_of(f"panel 2.{row}") for row in (1, 2, 3)}
    assert not checked(mended(sketch, issue.move)).verdicts


def test_a_bay_at_the_end_is_told_to_move_where_its_neighbour_has_others():
    sketch = WALL
    for row in (1, 2, 3):
        sketch = sketch.moved(f"panel 1.{row}", y=-7.0)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert (issue.move.direction, len(issue.move.also)) == ("up", 2)
    two = wall(2, 3)
    for row in (1, 2, 3):
        two = two.moved(f"panel 1.{row}", y=-7.0)
    assert all(issue.move is None for issue in checked(two, [RULE]).issues)


def test_a_joint_that_gapes_still_meets_its_neighbour():
    """How far it is open is another rule's question."""
    assert not checked(WALL.moved("panel 2.3", y=9.0), [RULE]).verdicts


def test_other_heights_in_the_next_bay():
    """Bay 2 has two rows of 1.5 m beside three of 1 m: no joint of either meets one of the other."""
    sketch = WALL.without("panel 2.3").stretched("panel 2.1", "top", 500.0)
    sketch = sketch.moved("panel 2.2", y=500.0).stretched("panel 2.2", "top", 500.0)
    result = checked(sketch, [RULE])
    # Two joints of a neighbour and one of bay 2 at each of its columns, each 500 mm off the nearest edge.
    assert sorted(v.axis for v in result.verdicts) == ["2"] * 3 + ["3"] * 3
    assert {round(v.value_mm) for v in result.verdicts} == {500}


def test_a_joint_meets_the_upper_edge_of_a_lower_bay():
    assert not checked(WALL.without("panel 2.3"), [RULE]).verdicts


def test_crossings_name_their_four_panels_and_the_column():
    found = built(WALL).of(Crossings)
    model = built(WALL).model
    assert len(found) == 6
    names = [{model.elements[e].name for e in parts} for parts in found.parts]
    assert {"panel 1.1", "panel 1.2", "panel 2.1", "panel 2.2", "column 2"} in names
    assert (found.left >= 0).all()
    assert (found.right >= 0).all()
    assert np.abs(found.step).max() == 0


@pytest.mark.parametrize(("by", "passes"), [(3.0, True), (3.02, False), (6.0, False)])
def test_open_joints_step_as_far_as_closed_ones(by, passes):
    """All joints are 4 mm open: those of the second bay lie higher as a whole."""
    sketch = WALL
    for bay in (1, 2, 3, 4):
        for row in (1, 2):
            sketch = sketch.stretched(f"panel {bay}.{row}", "top", -2.0).stretched(
                f"panel {bay}.{row + 1}", "bottom", 2.0
            )
    result = checked(edge_moved(sketch, 2, 1, by), [RULE])
    assert {round(v.value_mm, 2) for v in result.verdicts} == (set() if passes else {by})


def test_a_joint_that_is_open_wider_upwards_is_no_step():
    sketch = WALL.stretched("panel 2.2", "bottom", 10.0)
    assert not checked(sketch, [RULE]).verdicts
