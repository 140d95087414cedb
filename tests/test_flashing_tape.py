"""Tape behind the flashing over vertical seams: both sides, gaps, and the seam tape between them."""

import numpy as np
import pytest
from drawn import checked, only_issue, to_world, turned, wall

from checker.sketch import FOOT, ROW, guid_of

RULE = "flashing-tape"
WALL = wall(bays=3, rows=3, full=True)


def tape(side):
    return f"flashing tape 2.2 {side}"


@pytest.mark.parametrize("side", ["left", "right"])
def test_it_is_asked_on_both_sides(side):
    issue = only_issue(checked(WALL.without(tape(side))), RULE)
    assert issue.title == "Tape behind the flashing is missing over the whole seam (1000 mm)"
    place = to_world(5943 if side == "left" else 6057, FOOT + 1.5 * ROW, 129)
    np.testing.assert_allclose(issue.point_m, place, atol=1e-3)


@pytest.mark.parametrize(("by", "value"), [(0.0, None), (-1.0, None), (-1.02, 1.02), (-40.0, 40.0), (60.0, None)])
@pytest.mark.parametrize("side", ["left", "right"])
def test_pieces_leave_no_gap_and_may_lap(side, by, value):
    result = checked(WALL.stretched(tape(side), "bottom", -by), [RULE], turned(-24.2, 1e5, 0, 3))
    assert bool(result.verdicts) == (value is not None)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(value, abs=0.01)


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (24.0, True), (24.02, False), (60.0, False)])
@pytest.mark.parametrize("side", ["left", "right"])
def test_it_lies_behind_the_flashing(side, by, passes):
    """32 mm wide, its outer edge 2 mm behind that of the flashing: moved out, so much of it is in the sun."""
    result = checked(WALL.moved(tape(side), x=-by if side == "left" else by), [RULE], turned(17.0))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(max(34 - by, 0.0), abs=0.01)
        assert verdict.message.startswith(f"Tape on the {side} panel lies behind the flashing by only")
        assert guid_of(tape(side)) in verdict.elements


def test_without_a_flashing_only_the_tape_is_asked_for():
    bare = WALL.without(*(name for name in WALL.parts if name.startswith("flashing ") and "tape" not in name))
    assert not checked(bare, [RULE]).verdicts
    assert checked(bare.without(tape("left")), [RULE]).verdicts


def test_the_tape_over_the_seam_is_not_it_however_wide():
    every = [name for name in WALL.parts if name.startswith("flashing tape")]
    wide = WALL.without(*every)
    for row in (1, 2, 3):
        wide = wide.stretched(f"seam tape 2.{row}", "left", -60.0).stretched(f"seam tape 2.{row}", "right", 60.0)
    result = checked(wide)
    assert not result.verdicts
    assert next(each for each in result.coverage if each.rule == RULE).not_modelled == 6
