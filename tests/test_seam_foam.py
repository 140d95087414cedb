"""Foam in vertical seams: gaps, overlaps, where base rails interrupt it, and where the finding points."""

import numpy as np
import pytest
from drawn import RULES, checked, mended, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block, guid_of

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
    np.testing.assert_allclose(issue.point_m, to_world(6000, FOOT + 1.5 * ROW, 33), atol=1e-3)
    assert (issue.axis, len(issue.members)) == ("2", 1)


def test_a_gap_over_two_rows_is_one_issue():
    issue = only_issue(checked(WALL.without("foam 2.2", "foam 2.3")), RULE)
    assert len(issue.members) == 2


def test_foam_behind_the_column_face_or_in_front_of_the_panels_fills_nothing():
    for z in (-90.0, 125.0):
        assert checked(WALL.moved("foam 2.2", z=z), [RULE]).verdicts
    for z in (-8.0, 0.0, 20.0):
        assert not checked(WALL.moved("foam 2.2", z=z), [RULE]).verdicts


@pytest.mark.parametrize(("z", "passes"), [(-8.0, True), (0.0, True), (20.0, True), (20.02, False), (60.0, False)])
def test_it_lies_tight_against_the_column(z, passes):
    """Drawn from the panels' inner faces, 8 mm off the column; by default 20 mm more are left to the drawing."""
    result = checked(WALL.moved("foam 2.2", z=z), [RULE], turned(17.0, 1e5, -3e4, 2))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(8.0 + z, abs=0.01)
        assert verdict.maximum_mm == pytest.approx(28.0)
        assert verdict.message.startswith(f"Foam strip in the seam lies {8 + z:.1f} mm off the column face")


def test_the_project_may_ask_for_foam_drawn_tight_and_a_move_mends_it():
    limits = {RULE: RULES[RULE].limits(loose_mm=0.0)}
    assert not checked(WALL, [RULE], limits=limits).verdicts
    sketch = WALL.moved("foam 2.2", z=6.0)
    issue = only_issue(checked(sketch, [RULE], limits=limits), RULE)
    assert (issue.move.what, issue.move.direction) == ("foam strip", "inwards")
    assert not checked(mended(sketch, issue.move), [RULE], limits=limits).verdicts


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (-0.02, False), (-20.0, False), (30.0, True)])
def test_it_is_50_mm_deep(by, passes):
    """Common practice, no source."""
    result = checked(WALL.stretched("foam 2.2", "front", by), [RULE], turned(-61.0, 9e4, 0, 1))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(50 + by, abs=0.01)
        assert f"only {50 + by:.1f} mm deep" in verdict.message
        assert guid_of("foam 2.2") in verdict.elements


def test_layers_one_behind_the_other_are_deep_together():
    thin = WALL.stretched("foam 2.2", "front", -30.0)
    assert checked(thin, [RULE]).verdicts
    low = FOOT + ROW
    assert not checked(
        with_part(thin, "more", block("foam", (5985, 6015), (low, low + ROW), (28, 58))), [RULE]
    ).verdicts
    half = with_part(thin, "more", block("foam", (5985, 6015), (low, low + ROW / 2), (28, 58)))
    (verdict,) = checked(half, [RULE]).verdicts
    np.testing.assert_allclose(verdict.point_m, to_world(6000, low + 0.75 * ROW, 68), atol=1e-3)


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (-2.0, True), (-2.02, False), (-30.0, False)])
def test_it_begins_at_the_base_rail(by, passes):
    """The rail is 8 mm below the panels; the insulation on it may be 10 mm thick."""
    sketch = WALL.stretched("rail 1", "top", by).stretched("rail 2", "top", by)
    found = [v for v in checked(sketch, [RULE]).verdicts if v.axis == "2"]
    assert (not found) == passes
    for verdict in found:
        assert verdict.value_mm == pytest.approx(8 - by, abs=0.01)
        assert f"begins {8 - by:.1f} mm above the top of the base rail" in verdict.message
        np.testing.assert_allclose(verdict.point_m, to_world(6000, FOOT, 68), atol=1e-3)
    down = sketch.stretched("foam 2.1", "bottom", by)
    assert not [v for v in checked(down, [RULE]).verdicts if v.axis == "2"]


def test_a_fire_rated_seam_may_hold_insulation_alone():
    full = wall(bays=3, rows=3, full=True)
    wool = full.without("foam 2.2").stretched("seam insulation 2.2", "back", -50.0)
    assert checked(wool, [RULE]).verdicts
    assert not checked(wool.stating("panel 1.2", firerating="EI 60"), [RULE]).verdicts
    empty = full.without("foam 2.2", "seam insulation 2.2")
    assert checked(empty.stating("panel 1.2", firerating="EI 60"), [RULE]).verdicts


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


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (5.0, True), (5.02, False), (12.0, False)])
@pytest.mark.parametrize("end", ["left", "right"])
def test_width_along_the_facade(end, by, passes):
    """Common practice, no source: 25 mm, as wide as the narrowest seam that is planned."""
    sketch = WALL.stretched("foam 2.2", end, by if end == "left" else -by)
    result = checked(sketch, [RULE], turned(17.0, 1e5, -3e4, 2))
    assert (not result.verdicts) == passes
    for issue in result.issues:
        assert issue.title == f"Foam strip in the seam is only {30 - by:.1f} mm wide, required at least 25 mm"
        low, high = np.array(issue.section.span)
        assert np.linalg.norm(high - low) * 1e3 == pytest.approx(30.0 - by, abs=0.01)


def test_in_a_narrow_seam_it_is_as_wide_as_the_seam_and_in_a_wide_one_no_wider():
    for by in (8.0, -12.0):
        sketch = WALL.stretched("panel 1.2", "right", by)
        sketch = sketch.stretched("foam 2.2", "left", max(by, 0.0))
        assert not checked(sketch, [RULE]).verdicts


@pytest.mark.parametrize(("pressed", "depth", "passes"), [(2.0, 50.0, True), (2.0, 49.98, False), (0.0, 50.0, True)])
def test_drawn_pressed_into_the_column_it_is_as_deep(pressed, depth, passes):
    sketch = with_part(
        WALL, "foam 2.2", block("foam", (5985, 6015), (FOOT + ROW, FOOT + 2 * ROW), (-pressed, depth - pressed))
    )
    assert (not checked(sketch, [RULE]).verdicts) == passes
