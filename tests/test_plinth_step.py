"""Steps between plinth elements: from 7.0 mm a warning, above 10 an error, and who has to move."""

import numpy as np
import pytest
from drawn import MIRROR, RULES, checked, mended, only_issue, to_world, turned, wall, with_part

from checker.sketch import block, guid_of

RULE = "plinth-step"
WALL = wall(bays=5, rows=1)


@pytest.mark.parametrize(
    ("step", "severity"),
    [
        (0.0, None),
        (6.98, None),
        (7.0, "warning"),
        (7.02, "warning"),
        (9.98, "warning"),
        (10.0, "warning"),
        (10.02, "error"),
        (12.0, "error"),
    ],
)
@pytest.mark.parametrize("sign", [-1, 1])
def test_limits(step, severity, sign):
    result = checked(WALL.stretched("plinth 1", "top", sign * step), [RULE], turned(200.0, 5e5, 5e5, -40.0))
    assert [v.severity for v in result.verdicts] == ([severity] if severity else [])
    assert [i.severity for i in result.issues] == ([severity] if severity else [])
    if severity:
        (verdict,) = result.verdicts
        assert verdict.state == "fail"
        assert verdict.value_mm == pytest.approx(step, abs=0.01)
        assert verdict.maximum_mm == (7.0 if severity == "warning" else 10.0)
        assert verdict.kind == "plinth-joint"
        assert f"Step of {step:.1f} mm" in verdict.message


def test_the_project_sets_the_limits():
    sketch = WALL.stretched("plinth 1", "top", 5.0)
    for maximum, cut, severity in ((6.0, 5.1, None), (6.0, 5.0, "warning"), (4.9, 3.0, "error"), (4.9, 8.0, "error")):
        limits = {RULE: RULES[RULE].limits(maximum_mm=maximum, cut_from_mm=cut)}
        said = [v.severity for v in checked(sketch, [RULE], limits=limits).verdicts]
        assert said == ([severity] if severity else [])


@pytest.mark.parametrize("off", [-12.0, 12.0, 8.0])
def test_the_element_that_lies_off_its_level_is_told_to_move(off):
    sketch = WALL.stretched("plinth 3", "top", off)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert len(issue.members) == 2
    assert (issue.move.part, issue.move.what) == (guid_of("plinth 3"), "plinth element")
    assert issue.move.vector_m[2] == pytest.approx(-off / 1000, abs=1e-3)
    assert not checked(mended(sketch, issue.move)).verdicts


def test_it_points_to_the_top_of_the_joint():
    issue = only_issue(checked(WALL.stretched("plinth 5", "top", -12.0), [RULE]), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(24000, 300, 63), atol=1e-3)
    assert issue.axis == "5"


def test_a_told_move_does_not_carry_the_step_to_the_next_joint():
    def pair_low(by):
        return WALL.stretched("plinth 2", "top", by).stretched("plinth 3", "top", by)

    sketch = pair_low(-12.0)
    issues = checked(sketch, [RULE]).issues
    assert len(issues) == 2
    for issue in issues:
        sketch = mended(sketch, issue.move)
    assert not checked(sketch, [RULE]).verdicts
    # Too deep to be shared between two joints: only the level of the whole run can be mended, another rule's matter.
    assert [issue.move for issue in checked(pair_low(-16.0), [RULE]).issues] == [None, None]


def test_elements_round_a_door_do_not_meet():
    sketch = wall(bays=4, rows=1, without=[2]).stretched("plinth 1", "top", -9.0)
    (coverage,) = checked(sketch, [RULE]).coverage
    assert (coverage.subjects, coverage.passed) == (1, 1)


@pytest.mark.parametrize("place", [np.eye(4), turned(200.0, 5e5, 5e5, -40.0), MIRROR], ids=["drawn", "far", "mirrored"])
@pytest.mark.parametrize("step", [8.0, -8.0, 10.0])
def test_a_strip_that_is_cut_and_follows_the_step_needs_no_warning(step, place):
    stepped = WALL
    for bay in (3, 4, 5):
        stepped = stepped.stretched(f"plinth {bay}", "top", -step)
    assert [v.severity for v in checked(stepped, [RULE], place).verdicts] == ["warning"]
    followed = stepped
    for bay in (3, 4, 5):
        followed = followed.moved(f"plinth seal {bay}", y=-step)
    assert not checked(followed, [RULE], place).verdicts
    # Cut somewhere else it bridges the step; so does a second piece upon the joint.
    elsewhere = followed.stretched("plinth seal 2", "right", 400.0).stretched("plinth seal 3", "left", 400.0)
    bridged = with_part(followed, "second", block("seal", (11800, 12200), (300, 310), (8, 48)))
    off = followed.moved("plinth seal 3", y=4.0)
    for sketch in (elsewhere, bridged, off):
        assert [v.severity for v in checked(sketch, [RULE], place).verdicts] == ["warning"]


def test_no_strip_follows_a_step_that_is_too_large():
    sketch = WALL.stretched("plinth 1", "top", -12.0).moved("plinth seal 1", y=-12.0)
    assert [v.severity for v in checked(sketch, [RULE]).verdicts] == ["error"]
