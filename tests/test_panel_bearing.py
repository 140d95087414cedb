"""Bearing of panel ends on column flanges: limits with and without tolerances, place, and the move that mends.

The 40 mm come from memory of typical panel approvals and are not verified. With the worst case of half of two column
positions and one panel length, 10 mm each (from memory too), an end that is drawn 15 mm from the centre line may lie
30 mm from it: a flange of 200 mm leaves 70 mm, one of 120 mm leaves 30 mm.
"""

import numpy as np
import pytest
from drawn import RULES, checked, end_moved, i_column, mended, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, guid_of

RULE = "panel-bearing"
WALL = wall(bays=3, rows=3)
TOP = FOOT + 3 * ROW + 200


def flange(width):
    """The second column with a flange so wide."""
    return with_part(WALL, "column 2", i_column(6000, TOP, width=width))


@pytest.mark.parametrize(
    ("width", "severity"),
    [(200, None), (140, None), (139.9, "warning"), (120, "warning"), (110, "warning"), (109.9, "error"), (60, "error")],
)
def test_width_of_the_flange(width, severity):
    result = checked(flange(width), [RULE], turned(24.2, 2e5, -3e5, 6))
    assert {v.severity for v in result.verdicts} == ({severity} if severity else set())
    assert len(result.verdicts) == (3 if severity else 0)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(width / 2 - 15, abs=0.01)
        assert verdict.minimum_mm == (55.0 if severity == "warning" else 40.0)


def test_published_examples_with_tolerances():
    """200 mm: 70 mm are left and pass; 120 mm: 30 mm may be left, a warning that says so."""
    assert not checked(flange(200), [RULE]).verdicts
    (first, *_) = checked(flange(120), [RULE]).verdicts
    assert first.message == (
        "End of the left panel bears on 45.0 mm of the column flange; "
        "with 15 mm of tolerance less than 40 mm may be left"
    )


@pytest.mark.parametrize(("name", "right"), [("panel 1.2", True), ("panel 2.2", False)])
@pytest.mark.parametrize(("short", "severity"), [(30.0, None), (30.02, "warning"), (45.0, "warning"), (45.02, "error")])
def test_a_short_panel(name, right, short, severity):
    """On a flange of 200 mm an end drawn in its place bears on 85 mm."""
    sketch = end_moved(WALL, name, right, -short if right else short)
    result = checked(sketch, [RULE])
    assert [v.severity for v in result.verdicts] == ([severity] if severity else [])
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(85 - short, abs=0.01)
        assert f"End of the {'left' if right else 'right'} panel" in verdict.message
        assert {guid_of(name), guid_of("column 2")} <= set(verdict.elements)


def test_the_finding_points_at_the_end_and_its_move_brings_it_to_its_place():
    sketch = end_moved(WALL, "panel 1.2", True, -50.0)
    issue = only_issue(checked(sketch), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(5935, FOOT + 1.5 * ROW, 68), atol=1e-3)
    assert (issue.move.what, issue.move.distance_mm, issue.move.direction) == (
        "end of the left panel",
        50.0,
        "to the right",
    )
    assert not checked(mended(sketch, issue.move)).verdicts


def test_no_move_where_the_flange_is_too_narrow_even_at_the_right_place():
    assert only_issue(checked(flange(100), [RULE]), RULE).move is None


def test_an_end_beside_the_flange_misses_it():
    sketch = end_moved(WALL, "panel 1.2", True, -110.0)
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert verdict.message.startswith("End of the left panel misses the column flange by 25.0 mm")
    assert verdict.value_mm == pytest.approx(-25.0, abs=0.01)


def test_without_a_column_it_cannot_be_told():
    result = checked(WALL.without("column 2"), [RULE])
    assert {v.message for v in result.verdicts} == {"no column stands behind this seam"}


def test_the_project_sets_the_limits():
    assert not checked(
        flange(60), [RULE], limits={RULE: RULES[RULE].limits(minimum_mm=15.0, tolerance_mm=0.0)}
    ).verdicts
