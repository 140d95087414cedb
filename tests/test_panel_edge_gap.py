"""Joints between rows: how far they are open, tongues, whose fault it is, and whether the told move mends."""

import numpy as np
import pytest
from drawn import RULES, checked, mended, only_issue, to_world, turned, wall, warped, with_part

from checker.sketch import BAY, FOOT, ROW, Block, Part, guid_of

RULE = "panel-edge-gap"
WALL = wall(bays=3, rows=3)


@pytest.mark.parametrize(
    ("opening", "passes"),
    [
        (0.0, True),
        (3.0, True),
        (5.0, True),
        (5.02, False),
        (20.0, False),
        (-25.0, True),
        (-25.02, False),
        (-40.0, False),
    ],
)
def test_limits(opening, passes):
    """The panel of the top row hangs too high, or reaches into the one below as tongues drawn plainly do."""
    result = checked(WALL.moved("panel 2.3", y=opening), [RULE], turned(24.2, 3e5, -1e5, 7))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(opening, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (-25.0, 5.0)
        assert {guid_of("panel 2.2"), guid_of("panel 2.3")} <= set(verdict.elements)


def test_words_place_and_move():
    sketch = WALL.moved("panel 2.3", y=9.0)
    issue = only_issue(checked(sketch), RULE)
    assert issue.title.startswith("Joint between the rows is open by 9.0 mm, required -25 to 5 mm; move the panel")
    assert (issue.move.part, issue.move.direction) == (guid_of("panel 2.3"), "down")
    np.testing.assert_allclose(issue.point_m, to_world(1.5 * BAY, FOOT + 2 * ROW + 4.5, 68), atol=1e-3)
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts


def test_a_joint_that_opens_along_the_bay_is_told_at_its_worst_place():
    sketch = warped(WALL, "panel 2.3", {(1, 0, z): (0.0, 8.0, 0.0) for z in (0, 1)})
    issue = only_issue(checked(sketch), RULE)
    assert issue.worst_mm == pytest.approx(8.0, abs=0.01)
    np.testing.assert_allclose(issue.point_m[0], 2 * BAY / 1000 - 0.015, atol=1e-3)


@pytest.mark.parametrize("by", [7.0, -30.0])
def test_a_panel_between_two_rows_moves_only_where_that_mends_both_joints(by):
    """Hung too high, the middle panel opens the joint below and closes the one above; too short, no shift helps."""
    sketch = WALL.moved("panel 2.2", y=by)
    issue = checked(sketch).issues[0]
    assert issue.rule == RULE
    assert issue.move.part == guid_of("panel 2.2")
    assert not checked(mended(sketch, issue.move), [RULE]).verdicts
    short = WALL.stretched("panel 2.2", "bottom", 12.0)
    assert only_issue(checked(short), RULE).move is None


def tongued(tongue=12.0, play=1.0, opening=1.0):
    """Bay 2 with a tongue on panel 2.1 in a groove of panel 2.2, which hangs ``opening`` mm above it."""
    x, joint = (BAY + 15, 2 * BAY - 15), FOOT + ROW
    lower = (Block((x[0], FOOT, 8), (x[1], joint, 128)), Block((x[0], joint, 50), (x[1], joint + tongue, 86)))
    top, deep = joint + ROW, joint + opening + tongue + play
    upper = (
        Block((x[0], joint + opening, 8), (x[1], top, 48)),
        Block((x[0], deep, 48), (x[1], top, 88)),
        Block((x[0], joint + opening, 88), (x[1], top, 128)),
    )
    return with_part(with_part(WALL, "panel 2.1", Part("panel", lower)), "panel 2.2", Part("panel", upper))


@pytest.mark.parametrize(("opening", "passes"), [(0.0, True), (1.0, True), (5.0, True), (5.02, False), (9.0, False)])
def test_tongues_do_not_close_a_joint(opening, passes):
    """What is open is measured between the full thickness of the panels."""
    sketch = tongued(opening=opening).without("panel 2.3")
    result = checked(sketch, [RULE], turned(-61.0, 1e5, 1e5, 2))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(opening, abs=0.01)


def test_a_short_tongue_allows_less_than_the_limit():
    sketch = tongued(tongue=3.0, opening=4.0).without("panel 2.3")
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert (verdict.value_mm, verdict.maximum_mm) == (pytest.approx(4.0), pytest.approx(3.0))


def test_the_project_sets_the_limits():
    sketch = WALL.moved("panel 2.3", y=9.0)
    assert not checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(maximum_mm=9.0)}).verdicts
    assert checked(sketch, [RULE], limits={RULE: RULES[RULE].limits(maximum_mm=8.9)}).verdicts
