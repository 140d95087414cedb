"""Seal strip on the plinth: gaps, overlaps, the inner edge, steps, corners, and where the finding points."""

import numpy as np
import pytest
from drawn import ELL, RECTANGLE, bodies_of, building, checked, only_issue, remade, to_world, turned, wall, with_part

from checker.sketch import block

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
    np.testing.assert_allclose(issue.point_m, to_world(6015 + 1985 / 2, 335, 68), atol=2e-3)
    assert issue.look == pytest.approx((0, -1, 0), abs=1e-9)


@pytest.mark.parametrize(("z", "passes"), [(0.0, True), (25.0, True), (60.0, False), (-12.0, True), (-90.0, False)])
def test_the_strip_lies_on_the_inner_half_of_the_plinth(z, passes):
    assert (not checked(WALL.moved("plinth seal 2", z=z), [RULE]).verdicts) == passes


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
