"""Joints of base rails: gap and overlap along a side, bodies that cross at corners, whose fault, told moves."""

import numpy as np
import pytest
from drawn import (
    ELL,
    MIRROR,
    RECTANGLE,
    RULES,
    bodies_of,
    building,
    built,
    checked,
    mended,
    only_issue,
    remade,
    to_world,
    turned,
    wall,
    with_part,
)

from checker.facade import RailJoints
from checker.sketch import BAY, RAIL_TOP, Block, Part, block, corner, guid_of

RULE = "base-rail-joint"
WALL = wall(bays=3, rows=1)
OUTER = BAY + 100.0  # the face from which the second side of the corner is measured


@pytest.mark.parametrize(
    ("gap", "passes"),
    [
        (-18.0, False),
        (-1.02, False),
        (-1.0, True),
        (0.0, True),
        (9.98, True),
        (10.0, True),
        (10.02, False),
        (40, False),
    ],
)
@pytest.mark.parametrize("place", [turned(24.2, 5e5, -3e5, 8.0), MIRROR], ids=["far", "mirrored"])
def test_limits_along_a_side(gap, passes, place):
    result = checked(WALL.stretched("rail 2", "right", -gap), [RULE], place)
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(gap, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (-1.0, 10.0)
        assert set(verdict.elements) == {guid_of("rail 2"), guid_of("rail 3")}


@pytest.mark.parametrize(("gap", "passes"), [(-1.02, False), (-1.0, True), (0.0, True), (10.0, True), (10.02, False)])
@pytest.mark.parametrize("place", [np.eye(4), turned(-71.0, 5e5, -3e5, 8.0), MIRROR], ids=["drawn", "far", "mirrored"])
def test_limits_at_a_corner(gap, passes, place):
    """The second rail ends 2 mm from the first as drawn."""
    result = checked(corner().stretched("rail 2", "front", 2.0 - gap), [RULE], place)
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(gap, abs=0.01)


def test_the_project_sets_the_limits():
    sketch = WALL.stretched("rail 2", "right", -14.0)
    assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(gap_mm=14.0)}).verdicts
    sketch = WALL.stretched("rail 2", "right", 3.0)
    assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(overlap_mm=3.0)}).verdicts


def test_words_and_places():
    (gap,) = checked(WALL.stretched("rail 2", "right", -14.0), [RULE]).verdicts
    assert gap.message == "Base rails leave 14.0 mm open between them, required -1 to 10 mm"
    np.testing.assert_allclose(gap.point_m, to_world(12000 - 7, 336, 58), atol=1e-3)
    (lap,) = checked(corner().stretched("rail 2", "front", 20.0), [RULE]).verdicts
    assert lap.message == "Base rails overlap by 18.0 mm, required -1 to 10 mm"
    np.testing.assert_allclose(lap.point_m, to_world(OUTER + 58, 336, 17), atol=1e-3)


@pytest.mark.parametrize("by", [-14.0, 14.0])
def test_a_rail_off_at_both_ends_has_to_move(by):
    issue = only_issue(checked(WALL.moved("rail 2", x=by), [RULE]), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("rail 2"), "base rail")
    assert issue.move.direction == ("to the left" if by > 0 else "to the right")
    assert not checked(mended(WALL.moved("rail 2", x=by), issue.move)).verdicts


def test_a_rail_too_long_between_two_others_cannot_be_moved_but_its_neighbour_can():
    sketch = WALL.stretched("rail 2", "left", -6.0).stretched("rail 2", "right", 6.0)
    issues = checked(sketch, [RULE]).issues
    assert {(issue.move.part, issue.move.direction) for issue in issues} == {
        (guid_of("rail 1"), "to the left"),
        (guid_of("rail 3"), "to the right"),
    }
    for issue in issues:
        sketch = mended(sketch, issue.move)
    assert not checked(sketch, [RULE]).verdicts


def test_the_rail_that_ends_at_the_corner_moves_along_its_own_side():
    for by, way in ((20.0, 0.022), (-30.0, -0.022)):
        sketch = corner().stretched("rail 2", "front", by)
        issue = only_issue(checked(sketch, [RULE]), RULE)
        assert issue.move.part == guid_of("rail 2")
        assert abs(issue.move.vector_m[1]) == pytest.approx(abs(way), abs=0.007)  # along its own side only
        assert issue.move.vector_m[0] == pytest.approx(0.0, abs=1e-9)
        assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def channels(inner_to=8.0):
    """Rails at the corner as channels: both boxes share the corner, the bodies do not while the flange gives way.

    The inner flange of the second rail ends at z = ``inner_to``; that of the first lies at z = 8 to 11.
    """
    first = (
        Block((0, 310, 8), (OUTER + 108, 313, 108)),
        Block((0, 313, 105), (OUTER + 108, RAIL_TOP, 108)),
        Block((0, 313, 8), (OUTER + 30, RAIL_TOP, 11)),
    )
    back = -BAY - 95.0
    second = (
        Block((OUTER + 8, 313, back), (OUTER + 108, 316, 105)),
        Block((OUTER + 105, 316, back), (OUTER + 108, RAIL_TOP, 105)),
        Block((OUTER + 8, 316, back), (OUTER + 11, RAIL_TOP, inner_to)),
    )
    # The web of the second lies upon that of the first, and stops at its inner flange.
    web = Block((OUTER + 30, 313, back), (OUTER + 108, 316, 105))
    second = (web, Block((OUTER + 8, 313, back), (OUTER + 30, 316, 8)), *second[1:])
    sketch = with_part(corner(), "rail 1", Part("base-rail", first))
    return with_part(sketch, "rail 2", Part("base-rail", second))


def test_a_flange_that_gives_way_makes_room_though_the_boxes_overlap():
    assert not checked(channels(), [RULE]).verdicts
    (verdict,) = checked(channels(inner_to=20.0), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(-3.0, abs=0.01)


@pytest.mark.parametrize("corners", [RECTANGLE, ELL])
@pytest.mark.parametrize("degrees", [0.0, 33.0])
def test_every_corner_of_a_building_is_asked(corners, degrees):
    model = building(corners)
    (coverage,) = checked(model, [RULE]).coverage
    inner = sum(np.hypot(*np.subtract(a, b)) - 1 for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
    assert coverage.subjects == coverage.passed == len(corners) + inner
    bodies = bodies_of(model)
    points, triangles = bodies["0.1 rail 1"]
    start, end = np.array(corners[1]), np.array(corners[2])
    way = np.append((end - start) / np.linalg.norm(end - start), 0.0)
    first = points @ way < (points @ way).min() + 1e-6
    for by, value in ((-0.008, -6.0), (0.02, 22.0)):
        # The first rail of wall 1 begins 2 mm beside the last rail of wall 0.
        moved = remade(model, {"0.1 rail 1": (points + np.outer(first, way) * by, triangles)})
        assert [v.value_mm for v in checked(moved, [RULE]).verdicts] == [pytest.approx(value, abs=0.01)]


def test_a_rail_that_is_missing_leaves_a_gap_and_a_door_leaves_none():
    (verdict,) = checked(WALL.without("rail 2"), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(6000.0, abs=0.01)
    (coverage,) = checked(wall(bays=4, rows=1, without=[2]), [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (1, 1)


def test_rails_between_columns_do_not_follow_each_other():
    sketch = WALL.without("rail 1", "rail 2", "rail 3")
    for bay in (1, 2, 3):
        x = (bay - 1) * BAY + 108, bay * BAY - 108
        sketch = with_part(sketch, f"rail {bay}", block("base-rail", x, (310, RAIL_TOP), (-100, -10)))
    assert len(built(sketch).of(RailJoints)) == 0


def test_rails_side_by_side_or_above_each_other_are_runs_of_their_own():
    sketch = with_part(WALL, "second", block("base-rail", (0, 18000), (310, RAIL_TOP), (108, 118)))
    sketch = with_part(sketch, "purlin", block("base-rail", (0, 18000), (900, 960), (8, 108)))
    (coverage,) = checked(sketch, [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (2, 2)


def test_two_rails_in_one_place_overlap():
    sketch = with_part(WALL, "twin", block("base-rail", (7000, 9000), (310, RAIL_TOP), (8, 108)))
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(-2000.0, abs=0.01)


def test_a_rail_that_cannot_be_measured_leaves_its_joints_undecided():
    result = checked(remade(WALL.model(), {}, {"rail 2": "its mesh is open"}), [RULE])
    assert {v.state for v in result.verdicts} == {"undecided"}
    assert len(result.verdicts) == 2


def test_without_rails_there_is_nothing_to_ask():
    result = checked(WALL.without("rail 1", "rail 2", "rail 3"), [RULE])
    assert (result.coverage[0].subjects, result.verdicts) == (0, ())


@pytest.mark.parametrize("by", [20.0, -14.0])
def test_at_a_corner_the_section_shows_the_distance(by):
    issue = only_issue(checked(corner().stretched("rail 2", "front", by)), RULE)
    start, end = np.array(issue.section.span)
    assert np.linalg.norm(end - start) * 1e3 == pytest.approx(abs(issue.worst_mm), abs=0.01)
