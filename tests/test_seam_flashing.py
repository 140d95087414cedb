"""Flashing over vertical seams: cover against the published values, gaps, and where the finding points.

Published values: code of practice for metal roof and wall cladding (New Zealand), "Flashing cover", smooth surface:
50, 75 and 75 mm in categories A, B and C.
"""

import numpy as np
import pytest
from drawn import RULES, checked, end_moved, mended, only_issue, to_world, turned, wall, warped

from checker.sketch import FOOT, ROW, guid_of

RULE = "seam-flashing"
WALL = wall(bays=3, rows=3)
COVER = "flashing 2.2"


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (10.0, True), (10.02, False), (45.0, False)])
@pytest.mark.parametrize("side", ["left", "right"])
def test_published_cover_of_category_a(side, by, passes):
    """The flashing is 150 mm wide over a seam of 30 mm: 60 mm on each side."""
    sketch = WALL.stretched(COVER, side, by if side == "left" else -by)
    result = checked(sketch, [RULE], turned(24.2, -3e5, 2e5, 10))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(60 - by, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (50.0, None)
        assert f"covers the {side} panel by only {60 - by:.1f} mm" in verdict.message
        assert guid_of(COVER) in verdict.elements


def test_published_cover_of_categories_b_and_c():
    limits = {RULE: RULES[RULE].limits(cover_mm=75.0)}
    assert len(checked(WALL, [RULE], limits=limits).verdicts) == 6
    wide = WALL
    for name in (name for name in WALL.parts if name.startswith("flashing")):
        wide = wide.stretched(name, "left", -15.0).stretched(name, "right", 15.0)
    assert not checked(wide, [RULE], limits=limits).verdicts


def test_a_short_or_raked_panel_end_is_covered_less():
    result = checked(end_moved(WALL, "panel 1.2", True, -12.0), [RULE])
    assert [round(v.value_mm, 3) for v in result.verdicts] == [48.0]
    # Out of square: its top 14 mm further off; the place is that of the flashing, the value that of the worst height.
    result = checked(warped(WALL, "panel 1.2", {(1, 1, z): (-14.0, 0, 0) for z in (0, 1)}), [RULE])
    assert [round(v.value_mm, 3) for v in result.verdicts] == [46.0]


def test_a_flashing_off_the_middle_is_told_to_move():
    sketch = WALL.moved(COVER, x=15.0)
    issue = only_issue(checked(sketch), RULE)
    assert (issue.move.part, issue.move.what, issue.move.direction) == (guid_of(COVER), "flashing", "to the left")
    assert not checked(mended(sketch, issue.move)).verdicts


def test_one_too_narrow_is_not():
    assert only_issue(checked(WALL.stretched(COVER, "left", 30.0)), RULE).move is None


@pytest.mark.parametrize(("by", "passes"), [(100.0, True), (110.0, True), (110.02, False), (300.0, False)])
def test_no_stretch_of_the_seam_shows(by, passes):
    """The piece laps 100 mm over the one below; then it leaves the seam open."""
    result = checked(WALL.stretched(COVER, "bottom", by), [RULE])
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by - 100, abs=0.01)


def test_it_is_found_where_it_is_missing():
    issue = only_issue(checked(WALL.without("flashing 2.3"), [RULE]), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(6000, FOOT + 2.5 * ROW, 129.5), atol=1e-3)


def test_flashings_of_the_foot_are_not_over_the_seam():
    result = checked(WALL.without(*(name for name in WALL.parts if name.startswith("flashing"))))
    assert not result.verdicts
    assert next(each for each in result.coverage if each.rule == RULE).not_modelled == 6
