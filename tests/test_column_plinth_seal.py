"""Seal between column and plinth at the joints of plinth elements: both sides, height, thickness, joints elsewhere."""

import numpy as np
import pytest
from drawn import MIRROR, RULES, checked, only_issue, remade, to_world, turned, wall, with_part

from checker.sketch import BAY, block, guid_of

RULE = "column-plinth-seal"
WALL = wall(bays=3, rows=1)
SEAL = "plinth joint seal 2"  # behind the joint at column 2
HEIGHT = 800.0  # from the foot of the columns at -500 to the top of the plinth at 300


@pytest.mark.parametrize("place", [turned(24.2, 5e5, -3e5, 8.0), MIRROR], ids=["far", "mirrored"])
@pytest.mark.parametrize(
    ("by", "value"), [(0.0, None), (-0.98, None), (-1.0, None), (-1.02, 1.02), (-120.0, 120.0), (30.0, None)]
)
def test_it_reaches_the_top_of_the_plinth(by, value, place):
    result = checked(WALL.stretched(SEAL, "top", by), [RULE], place)
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.01)])


def test_it_begins_where_the_column_begins():
    assert not checked(WALL.stretched(SEAL, "bottom", 100.0), [RULE]).verdicts
    (verdict,) = checked(WALL.stretched(SEAL, "bottom", 150.0), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(50.0, abs=0.01)


@pytest.mark.parametrize(("space", "passes"), [(0.0, True), (0.98, True), (1.0, True), (1.02, False), (3.0, False)])
@pytest.mark.parametrize(("side", "sign"), [("front", -1.0), ("back", 1.0)])
def test_it_touches_column_and_plinth(side, sign, space, passes):
    result = checked(WALL.stretched(SEAL, side, sign * space), [RULE], turned(200.0))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(space, abs=0.01)
        assert guid_of(SEAL) in verdict.elements


def test_the_project_sets_the_limits():
    short, thin = WALL.stretched(SEAL, "top", -20.0), WALL.stretched(SEAL, "front", -3.0)
    for sketch, name, value in ((short, "joint_mm", 20.0), (thin, "open_mm", 3.0)):
        assert checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(**{name: value - 0.1})}).verdicts
        assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(**{name: value})}).verdicts


def test_it_points_to_what_is_open_and_names_the_column():
    issue = only_issue(checked(WALL.without(SEAL)), RULE)
    assert issue.title == f"Seal between column and plinth is missing over the whole seam ({HEIGHT:.0f} mm)"
    assert guid_of("column 2") in issue.check_id
    np.testing.assert_allclose(issue.point_m, to_world(6000, -100, 63), atol=2e-3)
    assert issue.look == pytest.approx((0, -1, 0), abs=1e-9)


@pytest.mark.parametrize(
    ("x", "passes"),
    [
        ([(-40, 40)], True),
        ([(-60, -20), (20, 60)], True),
        ([(-60, -20)], False),
        ([(20, 60)], False),
        ([(-8, 8)], False),
        ([(-400, -360), (20, 60)], False),
    ],
    ids=["across the joint", "one each", "left only", "right only", "in the joint only", "too far off"],
)
def test_each_element_is_sealed_against_the_column(x, passes):
    sketch = WALL.without(SEAL)
    for k, (low, high) in enumerate(x):
        sketch = with_part(sketch, f"strip {k}", block("seal", (BAY + low, BAY + high), (-600, 300), (0, 8)))
    assert (not checked(sketch, [RULE]).verdicts) == passes


def middle_joint(z):
    """Plinth elements that meet in the middle of a bay, with a strip from z[0] to z[1] over the joint."""
    sketch = WALL.stretched("plinth 2", "right", -3000.0)
    sketch = with_part(sketch, "plinth 2b", block("plinth", (9010, 11990), (-600, 300), (8, 118)))
    return with_part(sketch, "strip", block("seal", (8960, 9040), (-600, 300), z))


@pytest.mark.parametrize(("z", "passes"), [((0, 8), True), ((40, 60), True), ((-140, -120), False)])
def test_a_joint_without_a_column_is_sealed_itself(z, passes):
    assert (not checked(middle_joint(z), [RULE]).verdicts) == passes


def test_a_plinth_that_passes_a_column_has_no_joint_there():
    sketch = WALL.without("plinth 1", "plinth 2", SEAL)
    sketch = with_part(sketch, "plinth", block("plinth", (10, 11990), (-600, 300), (8, 118)))
    (coverage,) = checked(sketch, [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (1, 1)


def test_a_column_that_stands_on_the_plinth_is_not_behind_it():
    sketch = WALL.stretched("column 2", "bottom", 800.0).without(SEAL)
    sketch = with_part(sketch, "filling", block("seal", (5990, 6010), (-600, 300), (20, 100)))
    assert not checked(sketch, [RULE]).verdicts


def test_strips_of_plinth_and_column_are_none_of_it():
    bare = WALL.without("plinth joint seal 2", "plinth joint seal 3")
    result = checked(bare)
    (coverage,) = [each for each in result.coverage if each.rule == RULE]
    assert (coverage.not_modelled, coverage.subjects, result.verdicts) == (2, 2, ())


def test_it_is_none_of_the_strips_of_plinth_and_column():
    low = WALL.stretched(SEAL, "bottom", 820.0)  # 80 mm wide and high: it has no direction of its own
    for gone in ("plinth seal", "column seal"):
        sketch = low.without(*(name for name in low.parts if name.startswith(gone)))
        assert {v.rule for v in checked(sketch).verdicts} == {RULE, "air-barrier-line"}


def test_a_column_that_cannot_be_measured_leaves_its_joint_undecided_and_no_step():
    result = checked(remade(WALL.model(), {}, {"column 2": "its mesh is open"}), [RULE, "plinth-step"])
    assert [(v.rule, v.state) for v in result.verdicts] == [(RULE, "undecided")]
