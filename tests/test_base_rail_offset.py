"""Clear distance between base rail and column face: limits, whose fault, place, and whether the told move mends."""

import numpy as np
import pytest
from drawn import RULES, checked, mended, only_issue, to_world, turned, wall, warped, with_part

from checker.sketch import Block, Part, block, guid_of

RULE = "base-rail-offset"
WALL = wall(bays=3, rows=1)


@pytest.mark.parametrize(
    ("distance", "passes"),
    [(-3.0, False), (6.98, False), (7.0, True), (8.0, True), (9.0, True), (9.02, False), (13.0, False)],
)
def test_limits(distance, passes):
    result = checked(WALL.moved("rail 2", z=distance - 8.0), [RULE], turned(24.2, 2e5, 7e5, 3.0))
    assert (not result.verdicts) == passes
    if not passes:
        assert [v.value_mm for v in result.verdicts] == [pytest.approx(distance, abs=0.01)] * 2
        assert {v.elements[0] for v in result.verdicts} == {guid_of("rail 2")}


@pytest.mark.parametrize(
    ("distance", "says"),
    [
        (5.0, "Base rail is only 5.0 mm off the column face, required 7 to 9 mm"),
        (13.0, "Base rail is 13.0 mm off the column face, required 7 to 9 mm"),
        (-3.0, "Base rail cuts into the column by 3.0 mm, required 7 to 9 mm"),
    ],
)
def test_words(distance, says):
    assert {v.message for v in checked(WALL.moved("rail 2", z=distance - 8.0), [RULE]).verdicts} == {says}


def test_the_project_sets_the_limits():
    limits = {RULE: RULES[RULE].limits(minimum_mm=8.5, maximum_mm=12.0)}
    assert len(checked(WALL, [RULE], limits=limits).verdicts) == 6


@pytest.mark.parametrize("by", [-4.0, 5.0])
def test_a_rail_off_at_all_its_columns_has_to_move(by):
    sketch = WALL.moved("rail 2", z=by)
    issue = only_issue(checked(sketch), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("rail 2"), "base rail")
    assert (issue.move.distance_mm, issue.move.direction) == (abs(by), "inwards" if by > 0 else "outwards")
    assert not checked(mended(sketch, issue.move)).verdicts


@pytest.mark.parametrize("by", [-4.0, 5.0])
def test_a_column_off_at_all_its_rails_has_to_move(by):
    sketch = WALL.moved("column 2", z=by)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("column 2"), "column")
    assert (issue.move.distance_mm, issue.move.direction) == (abs(by), "inwards" if by > 0 else "outwards")
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def test_a_rail_askew_is_off_at_one_end_and_no_shift_mends_it():
    sketch = warped(WALL, "rail 2", {(1, y, z): (0, 0, 8.0) for y in (0, 1) for z in (0, 1)})
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert issue.worst_mm == pytest.approx(16.0)
    assert issue.move is None
    np.testing.assert_allclose(issue.point_m, to_world(12000, 340, 8), atol=2e-2)


@pytest.mark.parametrize(
    "blocks",
    [
        (Block((6000, 310, 8), (12000, 318, 108)), Block((6000, 318, 8), (12000, 370, 16))),
        (Block((6000, 310, 8), (12000, 318, 108)), Block((6000, 318, 100), (12000, 370, 108))),
        (
            Block((6000, 310, 8), (12000, 318, 108)),
            Block((6000, 362, 8), (12000, 370, 108)),
            Block((6000, 318, 8), (12000, 362, 16)),
        ),
    ],
    ids=["angle, leg at the back", "angle, leg in front", "channel"],
)
def test_a_rolled_rail_is_measured_at_its_back(blocks):
    sketch = with_part(WALL, "rail 2", Part("base-rail", blocks))
    assert not checked(sketch, [RULE]).verdicts
    assert only_issue(checked(sketch.moved("rail 2", z=5.0), [RULE]), RULE).worst_mm == pytest.approx(13.0)


def test_a_rail_between_columns_is_measured_sideways():
    """Rails that end at the columns' flanges: 8 mm clear at one end, 13 at the other."""
    sketch = WALL.without("rail 2")
    sketch = with_part(sketch, "rail 2", block("base-rail", (6108, 11892), (310, 370), (-100, -10)))
    assert not checked(sketch, [RULE]).verdicts
    off = sketch.moved("rail 2", x=5.0)
    result = checked(off, [RULE])
    assert sorted(v.value_mm for v in result.verdicts) == [pytest.approx(3.0), pytest.approx(13.0)]
    issue = only_issue(result, RULE)
    assert (issue.move.what, issue.move.distance_mm, issue.move.direction) == ("base rail", 5.0, "to the left")
    assert not checked(mended(off, issue.move), [RULE]).verdicts


def test_a_base_plate_is_not_the_columns_face():
    plated = with_part(
        WALL,
        "column 2",
        Part("column", (*WALL.parts["column 2"].blocks, Block((5800, -530, -400), (6200, -500, 200)))),
    )
    assert not checked(plated, [RULE]).verdicts


def test_a_purlin_high_above_is_no_base_rail_at_the_columns_foot_but_is_measured_where_it_passes():
    sketch = with_part(WALL, "rail 4", block("base-rail", (0, 18000), (900, 960), (8, 108)))
    (coverage,) = checked(sketch, [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (10, 10)
