"""Seal strip on the plinth: gaps, overlaps, width, the inner edge, membrane, corners, where the finding points."""

import numpy as np
import pytest
from drawn import (
    ELL,
    MIRROR,
    RECTANGLE,
    RULES,
    bodies_of,
    building,
    checked,
    mended,
    only_issue,
    remade,
    to_world,
    turned,
    wall,
    warped,
    with_part,
)

from checker.sketch import BAY, Block, Part, block, corner, guid_of

RULE = "plinth-seal"
WALL = wall(bays=3, rows=1)


@pytest.mark.parametrize(
    ("by", "value"),
    [(0.0, None), (-1.0, None), (-1.02, 1.02), (-5.0, 5.0), (1.0, None), (1.02, -1.02), (8.0, -8.0)],
)
def test_pieces_must_butt(by, value):
    result = checked(WALL.stretched("plinth seal 2", "right", by), [RULE], turned(24.2, 0, 9e5, -7))
    assert bool(result.verdicts) == (value is not None)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(value, abs=0.01)
    # Behind the ends of two panels: one gap, one issue.
    assert len(result.issues) == (value is not None)


def test_it_points_to_the_gap():
    sketch = WALL.stretched("plinth seal 2", "left", 2000.0)
    issue = only_issue(checked(sketch), RULE)
    # The strip is missing behind the seam between the panels, too.
    assert issue.worst_mm == pytest.approx(2000.0, abs=0.01)
    np.testing.assert_allclose(issue.point_m, to_world(6015 + 1985 / 2, 305, 28), atol=2e-3)
    assert issue.look == pytest.approx((0, -1, 0), abs=1e-9)


PLACES = [pytest.param(turned(24.2, 5e5, -3e5, 8.0), id="far"), pytest.param(MIRROR, id="mirrored")]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("z", "says"),
    [
        (0.0, None),
        (9.98, None),
        (10.0, None),
        (10.02, "lies 10.0 mm from its inner edge"),
        (30.0, "lies 30.0 mm from its inner edge"),
        (60.0, "lies beside its place there"),
        (-10.0, None),
        (-10.02, "hangs 10.0 mm over its inner edge"),
        (-30.0, "lies beside its place there"),
    ],
)
def test_the_strip_lies_at_the_inner_edge_of_the_plinth(z, says, place):
    result = checked(WALL.moved("plinth seal 2", z=z), [RULE], place)
    assert bool(result.verdicts) == (says is not None)
    for verdict in result.verdicts:
        assert says in verdict.message
        assert guid_of("plinth seal 2") in verdict.elements


@pytest.mark.parametrize("z", [14.0, -14.0])
def test_strips_off_the_edge_are_told_to_move_together(z):
    sketch = WALL.moved("plinth seal 2", z=z).moved("plinth seal 3", z=z)
    issue = only_issue(checked(sketch), RULE)
    assert (len(issue.members), issue.move.what) == (2, "seal strip")
    assert {issue.move.part, *issue.move.also} == {guid_of("plinth seal 2"), guid_of("plinth seal 3")}
    assert issue.move.direction == ("inwards" if z > 0 else "outwards")
    assert not checked(mended(sketch, issue.move)).verdicts


def test_what_is_right_of_an_askew_strip_bounds_its_move():
    """From 0 to 25 mm off over three bays: what would mend the last two leaves the first one."""
    strip = with_part(WALL, "strip", block("seal", (0, 18000), (300, 310), (8, 48)))
    askew = warped(strip, "strip", {(1, y, z): (0, 0, 25.0) for y in (0, 1) for z in (0, 1)})
    askew = askew.without("plinth seal 1", "plinth seal 2", "plinth seal 3")
    result = checked(askew, [RULE])
    assert [v.axis for v in result.verdicts] == ["2-3", "3-4"]
    assert {issue.move for issue in result.issues} == {None}
    even = warped(askew, "strip", {(1, y, z): (0, 0, 14.0) for y in (0, 1) for z in (0, 1)})
    issue = only_issue(checked(even, [RULE]), RULE)
    assert not checked(mended(even, issue.move), [RULE]).verdicts


def test_of_a_plinth_wider_than_the_panels_their_inner_face_is_the_edge():
    wide = WALL.stretched("plinth 2", "back", -300.0)
    assert not checked(wide, [RULE]).verdicts
    (verdict,) = checked(wide.moved("plinth seal 2", z=-200.0), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(-200.0, abs=0.01)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("width", "passes"), [(20.0, False), (39.98, False), (40.0, True), (40.02, True), (55.0, True)]
)
def test_the_strip_is_wide_enough(width, passes, place):
    result = checked(WALL.stretched("plinth seal 2", "front", width - 40.0), [RULE], place)
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(width, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (40.0, None)
        assert guid_of("plinth seal 2") in verdict.elements


def test_a_strip_that_tapers_is_too_narrow_where_it_ends():
    tapered = warped(WALL, "plinth seal 2", {(1, y, 1): (0, 0, -20.0) for y in (0, 1)})
    (verdict,) = checked(tapered, [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(20.0, abs=0.3)
    assert verdict.point_m[0] > 11.9


def test_strips_too_narrow_all_along_are_one_issue():
    narrow = WALL
    for bay in (1, 2, 3):
        narrow = narrow.stretched(f"plinth seal {bay}", "front", -10.0)
    issue = only_issue(checked(narrow), RULE)
    assert issue.title == "Seal strip on the plinth is only 30.0 mm wide, required at least 40 mm (3 places)"
    assert issue.move is None


def test_a_strip_with_two_faults_tells_both():
    sketch = WALL.stretched("plinth seal 2", "front", -10.0).stretched("plinth seal 2", "right", -5.0)
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(5.0, abs=0.01)
    assert verdict.message == (
        "Seal strip on the plinth has a gap of 5.0 mm; "
        "Seal strip on the plinth is only 30.0 mm wide, required at least 40 mm"
    )


def test_the_project_sets_the_limits():
    for sketch, limits in (
        (WALL.stretched("plinth seal 2", "right", -5.0), {"joint_mm": 5.0}),
        (WALL.stretched("plinth seal 2", "front", -10.0), {"width_mm": 30.0}),
        (WALL.moved("plinth seal 2", z=15.0), {"edge_mm": 15.0}),
    ):
        assert checked(sketch, [RULE]).verdicts
        assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(**limits)}).verdicts


@pytest.mark.parametrize(
    ("stated", "passes"),
    [
        ({"membraneside": "inside"}, True),
        ({"membraneside": "outside"}, False),
        ({"foilside": "Außenseite"}, False),
        ({"foilside": "innen"}, True),
        ({"membraneside": ""}, True),
        ({"membraneside": "both"}, True),
        ({"side": "outside"}, True),
    ],
)
def test_the_membrane_looks_inwards_where_that_is_stated(stated, passes):
    result = checked(WALL.stating("plinth seal 2", **stated), [RULE])
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.message == ("plinth seal 2 on the plinth states its membrane side outside, required inside")
        assert verdict.elements[0] == guid_of("plinth seal 2")


@pytest.mark.parametrize("place", [np.eye(4), *(p.values[0] for p in PLACES)], ids=["drawn", "far", "mirrored"])
@pytest.mark.parametrize(("by", "value"), [(0.0, None), (0.98, None), (1.0, None), (1.02, -1.02), (40.0, -40.0)])
def test_strips_butt_at_corners_and_do_not_cross(by, value, place):
    """The second strip runs into the first one, over which the line has come to its end."""
    result = checked(corner().stretched("plinth seal 2", "front", by), [RULE], place)
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.01)])
    for verdict in result.verdicts:
        assert {guid_of("plinth seal 1"), guid_of("plinth seal 2")} <= set(verdict.elements)


def test_a_strip_bent_round_the_corner_needs_no_joint():
    legs = (
        Block((0, 300, 8), (BAY + 148, 310, 48)),
        Block((BAY + 108, 300, -BAY - 95), (BAY + 148, 310, 8)),
    )
    sketch = with_part(corner().without("plinth seal 1", "plinth seal 2"), "strip", Part("seal", legs))
    assert not checked(sketch, [RULE]).verdicts


def test_a_low_strip_behind_the_joint_of_the_plinth_is_none_of_it():
    """80 mm wide and high, it has no direction of its own, and it reaches into the zone above the plinth."""
    sketch = with_part(WALL, "plinth joint seal 2", block("seal", (5960, 6040), (225, 305), (0, 8)))
    assert not checked(sketch, [RULE]).verdicts


def test_a_strip_that_lies_at_the_outer_edge_is_named():
    (verdict,) = checked(WALL.moved("plinth seal 2", z=60.0), [RULE]).verdicts
    assert "plinth seal 2 lies beside its place there" in verdict.message


def test_strips_may_butt_on_both_levels_of_a_step():
    sketch = WALL.stretched("plinth 2", "top", -9.0).moved("plinth seal 2", y=-9.0)
    assert not checked(sketch, [RULE]).verdicts


def test_one_piece_may_pass_under_several_panels_and_plinths():
    sketch = WALL.without("plinth seal 1", "plinth seal 2", "plinth seal 3")
    sketch = with_part(sketch, "strip", block("seal", (0, 18000), (300, 310), (8, 48)))
    assert not checked(sketch, [RULE]).verdicts


def test_a_door_breaks_the_line_but_a_strip_missing_beside_it_is_found():
    door = wall(bays=4, rows=1, without=[2])
    assert not checked(door, [RULE]).verdicts
    (verdict,) = checked(door.without("plinth seal 1"), [RULE]).verdicts
    assert verdict.axis == "1-2"


def test_a_foot_without_plinth_is_not_passed_over():
    result = checked(WALL.without("plinth 2"), [RULE])
    assert [(v.state, v.message, v.axis) for v in result.verdicts] == [
        ("undecided", "no plinth lies below this panel", "2-3")
    ]
    half = WALL.stretched("plinth 2", "right", -3000.0).stretched("plinth seal 2", "right", -3000.0)
    (verdict,) = checked(half, [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(3000.0, abs=0.01)


@pytest.mark.parametrize("corners", [RECTANGLE, ELL])
def test_the_line_runs_round_outer_and_inner_corners(corners):
    model = building(corners)
    assert not checked(model, [RULE]).verdicts
    bodies = bodies_of(model)
    for wall_number in range(len(corners)):
        # The strip begins 30 mm late at the corner: x of its own wall, as drawn from the last corner on.
        start, end = np.array(corners[wall_number]), np.array(corners[(wall_number + 1) % len(corners)])
        way = np.append((end - start) / np.linalg.norm(end - start), 0.0)
        points, triangles = bodies[f"0.{wall_number} plinth seal 1"]
        along = points @ way
        moved = points + np.outer(along < along.min() + 1e-6, way) * 0.03
        result = checked(remade(model, {f"0.{wall_number} plinth seal 1": (moved, triangles)}), [RULE])
        assert [v.value_mm for v in result.verdicts] == [pytest.approx(30.0, abs=0.01)]


@pytest.mark.parametrize(("by", "value"), [(0.0, None), (-1.0, None), (-1.02, 1.02), (-6.0, 6.0)])
def test_strips_off_the_panels_inner_face_are_open_at_the_corner_as_well(by, value):
    """Both lie 6 mm off it; the second one reaches the panel's corner and not the first strip."""
    sketch = (
        corner().moved("plinth seal 1", z=6.0).moved("plinth seal 2", x=6.0).stretched("plinth seal 2", "front", 6.0)
    )
    sketch = sketch.stretched("plinth seal 1", "right", 6.0).stretched("plinth seal 2", "front", by)
    result = checked(sketch, [RULE], turned(17.0, 1e5, -2e5, 3))
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.01)])
    for issue in result.issues:
        start, end = np.array(issue.section.span)
        assert np.linalg.norm(end - start) * 1e3 == pytest.approx(value, abs=0.01)


@pytest.mark.parametrize("stretch", [("front", -5.0), ("back", 12.0)])
def test_width_and_place_are_dimensions_of_the_section(stretch):
    issue = only_issue(checked(WALL.stretched("plinth seal 2", *stretch)), RULE)
    start, end = np.array(issue.section.span)
    assert np.linalg.norm(end - start) * 1e3 == pytest.approx(issue.worst_mm, abs=0.01)
