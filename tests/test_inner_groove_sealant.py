"""Sealant in the inner groove at panel ends: it reaches the strip on the column."""

import numpy as np
import pytest
from drawn import RULES, checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block, guid_of

RULE = "inner-groove-sealant"
WALL = wall(bays=3, rows=3, full=True)
SHORT = WALL.stretched("inner sealant 2.2 left", "left", 54.0).stretched("inner sealant 2.2 right", "right", -54.0)
"""The sealants of one joint run 6 mm from the panel ends; the strips begin 5 mm from them."""


def bead(side):
    return f"inner sealant 2.2 {side}"


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (1.0, True), (2.0, True), (2.02, False), (5.0, False)])
@pytest.mark.parametrize("side", ["left", "right"])
def test_it_reaches_the_strip(side, by, passes):
    sketch = SHORT.stretched(bead(side), side, by if side == "left" else -by)
    result = checked(sketch, [RULE], turned(-24.2, 1e5, 3e5, 5))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by - 1.0, abs=0.01)
        assert verdict.message.startswith(
            f"Sealant in the inner groove ends short by {by - 1:.1f} mm at the {side} panel"
        )
        assert guid_of(bead(side)) in verdict.elements


def test_it_begins_at_the_panel_end():
    assert not checked(WALL.stretched(bead("left"), "right", -1.0), [RULE]).verdicts
    (verdict,) = checked(WALL.stretched(bead("left"), "right", -4.0), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(4.0)


@pytest.mark.parametrize(("x", "missing"), [(0.0, 0.0), (-10.0, 9.0), (-40.0, 39.0)])
def test_a_strip_further_off_asks_for_more(x, missing):
    sketch = SHORT.moved("column seal 2 left", x=x)
    found = checked(sketch, [RULE]).verdicts
    assert [round(v.value_mm, 2) for v in found] == ([missing] if missing else [])


def test_without_strips_a_little_is_asked_for():
    bare = SHORT.without(*(name for name in WALL.parts if name.startswith("column seal")))
    assert not checked(bare, [RULE]).verdicts
    assert checked(bare, [RULE], limits={RULE: RULES[RULE].limits(least_mm=8.0)}).verdicts


def test_it_is_found_where_it_is_missing():
    issue = only_issue(checked(WALL.without(bead("right"))), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(6017.5, FOOT + ROW, 68), atol=1e-3)
    assert issue.look[1] < 0  # seen from inside


def test_sealant_in_the_outer_groove_is_another_layer():
    inner = [name for name in WALL.parts if name.startswith("inner")]
    result = checked(WALL.without(*inner))
    assert not result.verdicts
    assert next(each for each in result.coverage if each.rule == RULE).not_modelled == 4


def test_a_piece_as_long_as_it_is_deep_ends_where_it_ends():
    """7 mm long, 8 mm deep: it does not run outwards through the joint."""
    piece = block("sealant", (5975, 5982), (FOOT + ROW - 3, FOOT + ROW + 3), (18, 26))
    (verdict,) = checked(with_part(WALL, bead("left"), piece), [RULE]).verdicts
    assert verdict.value_mm == pytest.approx(3.0, abs=0.01)
