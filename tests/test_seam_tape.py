"""Tape over vertical seams: gaps, bite on both panels, and the tape behind the flashing beside it."""

import numpy as np
import pytest
from drawn import checked, mended, only_issue, to_world, turned, wall

from checker.sketch import FOOT, ROW, guid_of

RULE = "seam-tape"
WALL = wall(bays=3, rows=3, full=True)
TAPE = "seam tape 2.2"


@pytest.mark.parametrize(("by", "value"), [(0.0, None), (-1.0, None), (-1.02, 1.02), (-40.0, 40.0), (60.0, None)])
def test_pieces_leave_no_gap_and_may_lap(by, value):
    result = checked(WALL.stretched(TAPE, "top", by), [RULE], turned(-24.2, 1e5, 0, 3))
    assert bool(result.verdicts) == (value is not None)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(value, abs=0.01)


@pytest.mark.parametrize(("by", "passes"), [(15.0, True), (15.02, False), (25.0, False)])
@pytest.mark.parametrize("side", ["left", "right"])
def test_it_sticks_on_both_panels(side, by, passes):
    """The tape reaches 25 mm over each end; 10 mm are asked (common practice, no source)."""
    result = checked(WALL.stretched(TAPE, side, by if side == "left" else -by), [RULE], turned(61.0, 1e5, 0, 3))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(25 - by, abs=0.01)
        assert verdict.message.startswith(f"Tape over the seam sticks on only {25 - by:.1f} mm of the {side} panel")
        assert guid_of(TAPE) in verdict.elements


def test_a_tape_off_the_middle_is_told_to_move():
    sketch = WALL.moved(TAPE, x=20.0)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert (issue.move.what, issue.move.direction) == ("tape", "to the left")
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def test_it_is_found_where_it_is_missing():
    issue = only_issue(checked(WALL.without(TAPE)), RULE)
    assert issue.title == "Tape over the seam is missing over the whole seam (1000 mm)"
    np.testing.assert_allclose(issue.point_m, to_world(6000, FOOT + 1.5 * ROW, 128.25), atol=1e-3)


def test_tapes_behind_the_flashing_are_not_it():
    result = checked(WALL.without(*(name for name in WALL.parts if name.startswith("seam tape"))))
    assert not result.verdicts
    assert next(each for each in result.coverage if each.rule == RULE).not_modelled == 6


def test_a_tape_beside_the_panel_is_told_without_a_sign():
    (verdict, *_) = checked(WALL.stretched(TAPE, "left", 60.0), [RULE]).verdicts
    assert verdict.message.startswith("Tape over the seam ends ")
    assert " before the left panel begins" in verdict.message
