"""Foam in vertical seams: gaps, overlaps, where base rails interrupt it, and where the finding points."""

import numpy as np
import pytest
from drawn import checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block

RULE = "seam-foam"
WALL = wall(bays=3, rows=3)


@pytest.mark.parametrize(
    ("by", "value"),
    [(0.0, None), (-1.0, None), (-1.02, 1.02), (-7.0, 7.0), (1.0, None), (1.02, -1.02), (30.0, -30.0)],
)
def test_pieces_must_butt(by, value):
    """The foam of row 1 ends short of that of row 2, or reaches into it."""
    result = checked(WALL.stretched("foam 2.1", "top", by), [RULE], turned(-24.2, 1e5, 0, 3))
    assert bool(result.verdicts) == (value is not None)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(value, abs=0.01)


def test_missing_foam_is_found_at_its_row():
    issue = only_issue(checked(WALL.without("foam 2.2")), RULE)
    assert issue.title == "Foam strip in the seam is missing over the whole seam (1000 mm)"
    np.testing.assert_allclose(issue.point_m, to_world(6000, FOOT + 1.5 * ROW, 68), atol=1e-3)
    assert (issue.axis, len(issue.members)) == ("2", 1)


def test_a_gap_over_two_rows_is_one_issue():
    issue = only_issue(checked(WALL.without("foam 2.2", "foam 2.3")), RULE)
    assert len(issue.members) == 2


def test_foam_behind_the_column_face_or_in_front_of_the_panels_fills_nothing():
    for z in (-90.0, 125.0):
        assert checked(WALL.moved("foam 2.2", z=z), [RULE]).verdicts
    for z in (0.0, 40.0, 70.0):
        assert not checked(WALL.moved("foam 2.2", z=z), [RULE]).verdicts


def test_foam_may_stop_at_a_rail_between_the_panels():
    sketch = WALL.stretched("foam 2.2", "bottom", 120.0)
    assert checked(sketch, [RULE]).verdicts
    rail = with_part(sketch, "rail up", block("base-rail", (5000, 7000), (FOOT + ROW, FOOT + ROW + 120), (8, 108)))
    assert not checked(rail, [RULE]).verdicts
    behind = with_part(sketch, "rail up", block("base-rail", (5000, 7000), (FOOT + ROW, FOOT + ROW + 120), (-110, -10)))
    assert checked(behind, [RULE]).verdicts


def test_two_layers_of_foam_one_behind_the_other_do_not_overlap():
    sketch = with_part(WALL, "outer foam", block("foam", (5985, 6015), (FOOT, FOOT + 3 * ROW), (58, 108)))
    assert not checked(sketch, [RULE]).verdicts
