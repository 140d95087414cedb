"""Insulation in vertical seams: depth left open, where it is open, and what is another rule's question."""

import numpy as np
import pytest
from drawn import checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block, guid_of

RULE = "seam-insulation"
WALL = wall(bays=3, rows=3, full=True)
WOOL = "seam insulation 2.2"


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (5.0, True), (5.02, False), (30.0, False)])
@pytest.mark.parametrize("end", ["front", "back"])
def test_depth_left_open(end, by, passes):
    """Common practice, no source: 5 mm beside the foam or behind the tape."""
    sketch = WALL.stretched(WOOL, end, by if end == "back" else -by)
    result = checked(sketch, [RULE], turned(24.2, 2e5, -1e5, 5))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by, abs=0.01)
        assert verdict.maximum_mm == 5.0
        assert verdict.message.startswith(f"Seam between the panel ends is open over {by:.1f} mm of its depth")


def test_a_hole_in_it_is_found_where_it_is():
    low = FOOT + ROW
    sketch = WALL.stretched(WOOL, "top", -ROW + 300)
    sketch = with_part(sketch, "upper", block("insulation", (5985, 6015), (low + 340, low + ROW), (58, 128)))
    issue = only_issue(checked(sketch), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(6000, low + 320, 68), atol=1e-3)
    assert (issue.worst_mm, len(issue.members)) == (pytest.approx(70.0), 1)
    assert guid_of("column 2") in issue.check_id


def test_pieces_may_gape_by_a_millimetre():
    sketch = WALL.stretched(WOOL, "top", -1.0)
    assert not checked(sketch, [RULE]).verdicts
    assert checked(sketch.stretched(WOOL, "top", -0.1), [RULE]).verdicts


def test_missing_foam_is_not_its_question_and_foam_in_every_depth_leaves_none():
    assert not checked(WALL.without("foam 2.2"), [RULE]).verdicts
    every = [name for name in WALL.parts if name.startswith("foam")]
    assert not checked(WALL.without(*every), [RULE]).verdicts
    deep = WALL
    for row in (1, 2, 3):
        deep = deep.stretched(f"foam 2.{row}", "front", 70.0)
    assert not checked(deep.without(WOOL), [RULE]).verdicts


def test_the_insulation_of_the_foot_is_not_that_of_the_seam():
    every = [name for name in WALL.parts if name.startswith("seam insulation")]
    result = checked(WALL.without(*every))
    assert not result.verdicts
    (coverage,) = (each for each in result.coverage if each.rule == RULE)
    assert coverage.not_modelled == coverage.subjects == 6
    assert "base insulation 1" in WALL.parts


@pytest.mark.parametrize(("by", "passes"), [(5.0, True), (5.02, False), (12.0, False)])
def test_width_along_the_facade(by, passes):
    """Common practice, no source: 25 mm. What lies behind does not make up for it."""
    half = with_part(
        WALL.stretched(WOOL, "front", -30.0),
        "front",
        block("insulation", (5985, 6015), (FOOT + ROW, FOOT + 2 * ROW), (98, 128)),
    )
    for sketch in (WALL.stretched(WOOL, "left", by), half.stretched("front", "right", -by)):
        result = checked(sketch, [RULE])
        assert (not result.verdicts) == passes
        for verdict in result.verdicts:
            assert verdict.value_mm == pytest.approx(30.0 - by, abs=0.01)


def test_the_open_depth_is_a_dimension_of_the_section():
    issue = only_issue(checked(WALL.stretched(WOOL, "front", -30.0)), RULE)
    np.testing.assert_allclose(np.array(issue.section.span)[:, 1], (-0.098, -0.128), atol=1e-5)
