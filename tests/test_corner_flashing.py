"""Plinth flashings round corners: gap, corner pieces, recesses, and whether the told move closes the corner."""

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
    reduced,
    remade,
    to_world,
    turned,
    wall,
    with_part,
)

from checker.sketch import BAY, Block, Part, block, corner, guid_of

RULE = "corner-flashing"
OUTER = BAY + 100.0
SECOND = "plinth flashing 2"


def apart(gap):
    """The flashing of the second side ends so many mm short of that of the first."""
    return corner().stretched(SECOND, "front", -gap)


@pytest.mark.parametrize("place", [np.eye(4), turned(-71.0, 5e5, -3e5, 8.0), MIRROR], ids=["drawn", "far", "mirrored"])
@pytest.mark.parametrize(
    ("gap", "passes"), [(-40.0, True), (0.0, True), (1.98, True), (2.0, True), (2.02, False), (30.0, False)]
)
def test_limits(gap, passes, place):
    result = checked(apart(gap), [RULE], place)
    assert (not result.verdicts) == passes
    assert result.coverage[0].passed == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(gap, abs=0.01)
        assert {guid_of("plinth flashing 1"), guid_of(SECOND)} <= set(verdict.elements)
        assert verdict.maximum_mm == 2.0


def test_the_project_sets_the_limit():
    assert not checked(apart(30.0), [RULE], limits={RULE: RULES[RULE].limits(gap_mm=30.0)}).verdicts


def test_words_and_place():
    (verdict,) = checked(apart(30.0), [RULE]).verdicts
    assert verdict.message == "Plinth flashing leaves 30.0 mm open at the corner, required at most 2 mm"
    np.testing.assert_allclose(verdict.point_m, to_world(OUTER + 131.5, 345, 116), atol=1e-3)


@pytest.mark.parametrize("gap", [12.0, 30.0])
def test_a_flashing_of_one_piece_is_pushed_to_the_corner(gap):
    issue = only_issue(checked(apart(gap)), RULE)
    assert (issue.move.part, issue.move.what) == (guid_of(SECOND), "flashing")
    assert not checked(mended(apart(gap), issue.move), [RULE]).verdicts


def test_a_flashing_that_laps_another_is_too_short_and_not_moved():
    back = -BAY - 95.0
    sketch = with_part(apart(30.0), SECOND, block("flashing", (OUTER + 131, OUTER + 132), (290, 400), (-3000, 101)))
    sketch = with_part(sketch, "last", block("flashing", (OUTER + 132, OUTER + 133), (290, 400), (back, -2900)))
    assert only_issue(checked(sketch), RULE).move is None


@pytest.mark.parametrize(
    ("y", "gap"), [((290, 400), None), ((280, 420), None), ((350, 400), 46.7), ((290, 340), 46.7), ((500, 600), 46.7)]
)
def test_a_corner_piece_closes_the_corner_over_its_own_height(y, gap):
    """Both flashings end 33 mm short of the corner, 46.7 mm from each other; an angle lies upon them."""
    sketch = apart(33.0).stretched("plinth flashing 1", "right", -34.0).without("corner flashing")
    legs = (
        Block((OUTER - 18, y[0], 132), (OUTER + 133, y[1], 133)),
        Block((OUTER + 132, y[0], -18), (OUTER + 133, y[1], 132)),
    )
    result = checked(with_part(sketch, "corner piece", Part("flashing", legs)), [RULE])
    assert [v.value_mm for v in result.verdicts] == ([] if gap is None else [pytest.approx(gap, abs=0.05)])


def test_the_flashing_up_the_corner_seam_does_not_close_the_foot():
    """It reaches down over the upper part of the plinth flashing: below it the corner stays open."""
    issue = only_issue(checked(apart(30.0)), RULE)
    assert issue.worst_mm == pytest.approx(30.0, abs=0.01)
    assert issue.point_m[2] < 0.350


def test_a_flashing_bent_round_the_corner_closes_it():
    sketch = corner().without("plinth flashing 1", SECOND)
    legs = (
        Block((0, 290, 131), (OUTER + 132, 400, 132)),
        Block((OUTER + 131, 290, -3000), (OUTER + 132, 400, 131)),
    )
    (coverage,) = checked(with_part(sketch, "bent", Part("flashing", legs)), [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (1, 1)


@pytest.mark.parametrize("corners", [RECTANGLE, ELL])
def test_every_corner_of_a_building_is_asked(corners):
    model = building(corners)
    (coverage,) = checked(model, [RULE]).coverage
    assert coverage.subjects == coverage.passed == len(corners)
    bodies = bodies_of(model)
    for number in range(len(corners)):
        start, end = np.array(corners[number]), np.array(corners[(number + 1) % len(corners)])
        way = np.append((end - start) / np.linalg.norm(end - start), 0.0)
        points, triangles = bodies[f"0.{number} plinth flashing"]
        first = points @ way < (points @ way).min() + 1e-6
        moved = remade(model, {f"0.{number} plinth flashing": (points + np.outer(first, way) * 0.012, triangles)})
        result = checked(moved, [RULE])
        # In a recess the flashing, 1 mm thick, starts behind that of the last wall.
        assert [v.value_mm for v in result.verdicts] in (
            [pytest.approx(12.0, abs=0.01)],
            [pytest.approx(11.0, abs=0.01)],
        )
        # Pushed to this corner it would leave the next one open.
        assert only_issue(result, RULE).move is None


def test_flashings_that_come_near_no_corner_were_never_meant_to_close_one():
    model = building(RECTANGLE)
    bodies = bodies_of(model)
    short = {}
    for name, (points, triangles) in bodies.items():
        if name.endswith("plinth flashing"):
            middle = points.mean(axis=0)
            long = np.ptp(points, axis=0).argmax()
            short[name] = points - np.sign(points - middle)[:, [long]] * np.eye(3)[long] * 0.3, triangles
    result = checked(remade(model, short), [RULE])
    assert (result.coverage[0].not_modelled, result.verdicts) == (4, ())
    required = checked(remade(model, short), [RULE], layers={RULE: "required"})
    assert only_issue(required, RULE).title.startswith("No plinth flashing closed round a corner in any model")


def test_a_side_without_a_flashing_leaves_its_corners_open():
    model = building(RECTANGLE)
    names = [element.name for element in model.elements]
    without = reduced(model, [i for i, name in enumerate(names) if name != "0.1 plinth flashing"])
    result = checked(without, [RULE])
    assert [v.message for v in result.verdicts] == ["Plinth flashings of the two sides do not meet at the corner"] * 2


def test_a_straight_wall_has_no_corner():
    (coverage,) = checked(wall(3, 1), [RULE]).coverage
    assert coverage.subjects == 0


def test_without_flashings_corners_are_not_modelled():
    bare = corner().without("plinth flashing 1", SECOND, "corner flashing")
    result = checked(bare, [RULE])
    assert (result.coverage[0].not_modelled, result.coverage[0].subjects, result.verdicts) == (1, 1, ())
