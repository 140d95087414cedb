"""Roof edges: where they are found, and the rules about membrane, seal, clamp and eave profile along them."""

import numpy as np
import pytest
from drawn import MIRROR, built, checked, only_issue, turned, wall, warped, with_part

from checker.facade import RoofEdgeSeams
from checker.sketch import BAY, FOOT, ROW, Block, Part, block, detail, eaves, gate, guid_of

TOP = FOOT + ROW
PLACES = pytest.mark.parametrize("place", [np.eye(4), turned(24.2, 4e5, -7e5, 60.0), MIRROR])


def edges(sketch, place=None):
    """(length in mm, height over the foot in mm) of each roof edge, from the left."""
    facade = built(sketch, place)
    seams = facade.seams[RoofEdgeSeams]
    height = seams.point[:, 2] + facade.model.origin[2]
    order = np.lexsort((seams.start, seams.side))
    return [(round(seams.length[i] * 1e3, 2), round(height[i] * 1e3, 2)) for i in order]


def test_one_for_each_uppermost_panel():
    assert edges(wall(3, 2)) == [(BAY - 30, FOOT + 2 * ROW)] * 3


def test_a_higher_bay_and_what_stands_below_it():
    higher = with_part(wall(2, 1), "top", block("panel", (BAY + 15, 2 * BAY - 15), (TOP, TOP + ROW), (8, 128)))
    assert edges(higher) == [(BAY - 30, TOP), (BAY - 30, TOP + ROW)]


def test_the_panel_under_a_window_band_has_none():
    band = wall(3, 3).without("panel 2.3")
    band = with_part(
        band, "window", block("window", (BAY + 25, 2 * BAY - 25), (FOOT + 2 * ROW + 10, FOOT + 3 * ROW), (20, 100))
    )
    assert edges(band) == [(BAY - 30, FOOT + 3 * ROW)] * 2


def test_over_a_gate_the_edge_runs_on():
    assert edges(gate()) == [(BAY - 30, FOOT + 3 * ROW)] * 3


@pytest.mark.parametrize("rise", [200.0, 600.0, 3000.0])
def test_gables_run_up_the_slope(rise):
    """The upper edge of a panel rises from left to right; the edge is as long as the slope."""
    sketch = warped(wall(2, 1), "panel 1.1", {(1, 1, 0): (0, rise, 0), (1, 1, 1): (0, rise, 0)})
    found = edges(sketch)
    assert (pytest.approx(np.hypot(BAY - 30, rise), abs=0.02), pytest.approx(TOP + rise / 2, abs=0.02)) in found
    seams = built(sketch).seams[RoofEdgeSeams]
    assert len(set(seams.line.tolist())) == 2


@PLACES
def test_layers_run_along_a_gable(place):
    """Everything that lies along the edge turned by the slope: the same verdicts, wherever the hall stands."""
    slope = np.radians(6.0)
    c, s = np.cos(slope), np.sin(slope)
    tilt = np.array([[c, 0, -s, 0], [0, 1, 0, 0], [s, 0, c, 0], [0, 0, 0, 1.0]])
    for name in ("eave-profile", "roof-edge-seal", "membrane-clamp", "roof-membrane-lap"):
        (coverage,) = checked(eaves(), [name], place @ tilt).coverage
        assert (coverage.subjects, coverage.passed) == (2, 2)


def test_the_roof_is_named_beside_the_panel():
    facade = built(eaves())
    seams = facade.seams[RoofEdgeSeams]
    names = {facade.model.elements[e].name for e in seams.right.tolist()}
    assert names == {"roof"}


# Common practice, no source: pieces butt within 1 mm.
@PLACES
@pytest.mark.parametrize(("gap", "fine"), [(0.98, True), (1.0, True), (1.02, False), (120.0, False)])
def test_limit_of_the_seal(gap, fine, place):
    result = checked(eaves().stretched("roof seal 1", "right", -gap), place=place)
    assert {i.rule for i in result.issues} == (set() if fine else {"roof-edge-seal"})
    if not fine:
        assert only_issue(result, "roof-edge-seal").worst_mm == pytest.approx(gap, abs=0.01)


@pytest.mark.parametrize(("rule", "part"), [("membrane-clamp", "clamp flashing"), ("eave-profile", "eave profile")])
@pytest.mark.parametrize(("gap", "fine"), [(-300.0, True), (0.98, True), (1.0, True), (1.02, False), (50.0, False)])
def test_limit_of_what_may_lap(rule, part, gap, fine):
    result = checked(eaves().stretched(f"{part} 1", "right", -gap))
    assert {i.rule for i in result.issues} == (set() if fine else {rule})
    if not fine:
        assert only_issue(result, rule).worst_mm == pytest.approx(gap, abs=0.01)


# Housing standards (United Kingdom), laps of vapour and air control layers, quoted second-hand: 100 mm pass, 99 fail.
@PLACES
@pytest.mark.parametrize(("lap", "fine"), [(100.0, True), (99.995, True), (99.0, False), (101.0, True), (60.0, False)])
def test_published_lap_over_the_wall(lap, fine, place):
    result = checked(eaves().stretched("membrane 2", "front", lap - 100.0), place=place)
    assert {i.rule for i in result.issues} == (set() if fine else {"roof-membrane-lap"})
    if not fine:
        assert only_issue(result, "roof-membrane-lap").worst_mm == pytest.approx(lap, abs=0.01)


@pytest.mark.parametrize(("lap", "fine"), [(100.0, True), (99.0, False), (0.5, False), (-30.0, False)])
def test_published_lap_of_its_pieces(lap, fine):
    result = checked(eaves().stretched("membrane 1", "right", lap - 100.0))
    assert {i.rule for i in result.issues} == (set() if fine else {"roof-membrane-lap"})
    if not fine:
        (issue,) = result.issues
        assert issue.worst_mm == pytest.approx(abs(lap), abs=0.01)
        assert ("lap by" in issue.title) == (lap > 0)


def test_a_membrane_led_down_the_inner_face_laps_there():
    for down, fine in ((100.0, True), (99.0, False)):
        sketch = eaves().without("membrane 1", "membrane 2")
        sketch = with_part(sketch, "membrane", block("membrane", (0, 2 * BAY), (TOP - down, TOP), (6, 8)))
        assert bool(checked(sketch, ["roof-membrane-lap"]).issues) != fine


@pytest.mark.parametrize(("stated", "fine"), [("10", True), ("9.98 mm", False), ("0.02 m", True), ("soft", True)])
def test_stated_slack(stated, fine):
    result = checked(eaves().stating("membrane 1", slack=stated))
    assert {i.rule for i in result.issues} == (set() if fine else {"membrane-clamp"})


@pytest.mark.parametrize("rule", ["eave-profile", "roof-edge-seal", "membrane-clamp", "roof-membrane-lap"])
def test_nothing_drawn_is_one_line(rule):
    """Strips on columns and round frames near the edge do not pass for its own layers."""
    for sketch in (detail(), wall(3, 2)):
        (coverage,) = [each for each in checked(sketch).coverage if each.rule == rule]
        assert coverage.not_modelled == coverage.subjects > 0


def test_a_seal_on_one_half_only_is_missing_on_the_other():
    result = checked(eaves().without("roof seal 2"))
    issue = only_issue(result, "roof-edge-seal")
    assert guid_of("panel 2") in {result.model.elements[e].guid for e in issue.elements}


RISE = 0.1
"""Metres by which a sheared hall rises over each metre from left to right: ends stay plumb, edges slope."""
SHEAR = np.array([[1, 0, 0, 0], [0, 1, 0, 0], [RISE, 0, 1, 0], [0, 0, 0, 1.0]])


@PLACES
@pytest.mark.parametrize(("gap", "value"), [(0.0, None), (0.98, None), (5.0, 5.0 * np.hypot(1, RISE)), (-5.0, -5.02)])
def test_strips_cut_plumb_on_a_gable_butt(gap, value, place):
    """A strip 40 mm high on the inner face: its ends lean by 4 mm against the edge."""
    sketch = eaves()
    for bay in (1, 2):
        low, high = (0, BAY - 500) if bay == 1 else (BAY - 500, 2 * BAY)
        sketch = with_part(sketch, f"roof seal {bay}", block("seal", (low, high), (TOP - 60, TOP - 20), (3, 8)))
    result = checked(sketch.stretched("roof seal 1", "right", -gap), ["roof-edge-seal"], place @ SHEAR)
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.02)])


@PLACES
def test_a_folded_membrane_cut_plumb_laps_as_far_as_it_reaches(place):
    """At its very ends only the fold is there, which hangs 40 mm below the rest."""
    folds = Part(
        "membrane",
        (
            Block((0, TOP + 4, -3000), (2 * BAY, TOP + 5, -60)),
            Block((0, TOP - 40, -60), (2 * BAY, TOP + 5, -59)),
            Block((0, TOP + 4, -59), (2 * BAY, TOP + 5, 120)),
        ),
    )
    sketch = with_part(eaves().without("membrane 1", "membrane 2"), "membrane", folds)
    (coverage,) = checked(sketch, ["roof-membrane-lap"], place @ SHEAR).coverage
    assert coverage.passed == 2


def ridge(gap=0.0):
    """Two bays whose panels rise to the middle and fall again, with one strip up each slope."""
    sketch = eaves().without("roof seal 1", "roof seal 2")
    rise = 0.05 * (BAY - 15)
    for bay, x in ((1, 1), (2, 0)):
        sketch = warped(sketch, f"panel {bay}", {(x, 1, z): (0, rise, 0) for z in (0, 1)})
        low, high = ((bay - 1) * BAY + 15, bay * BAY - gap * (bay == 1)) if bay == 1 else (BAY, 2 * BAY - 15)
        sketch = with_part(sketch, f"roof seal {bay}", block("seal", (low, high), (TOP - 60, TOP - 20), (3, 8)))
        top, foot = (0.05 * (high - 15), 0) if bay == 1 else (0.05 * (2 * BAY - 15 - low), 0)
        ends = {(x, y, z): (0, top, 0) for y in (0, 1) for z in (0, 1)}
        sketch = warped(
            sketch, f"roof seal {bay}", ends | {(1 - x, y, z): (0, foot, 0) for y in (0, 1) for z in (0, 1)}
        )
    return sketch


@pytest.mark.parametrize(("gap", "value"), [(0.0, None), (0.98, None), (5.0, 5.0)])
def test_strips_meet_at_a_ridge(gap, value):
    result = checked(ridge(gap), ["roof-edge-seal"], turned(17.0, 1e5, -2e5, 3))
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.02)])


@pytest.mark.parametrize(("up", "fine"), [(0.0, False), (99.0, False), (100.0, True)])
def test_at_a_parapet_the_membrane_is_led_up_the_wall(up, fine):
    """A sheet that only ends at the wall laps nothing on to it, however far below the edge it lies."""
    sketch = eaves().without("membrane 1", "membrane 2")
    flat = Block((0, TOP - 301, -3000), (2 * BAY, TOP - 300, 7))
    folds = (flat, Block((0, TOP - 300, 6), (2 * BAY, TOP - 301 + up, 7))) if up else (flat,)
    result = checked(with_part(sketch, "membrane", Part("membrane", folds)), ["roof-membrane-lap"])
    assert (not result.verdicts) == fine
    assert {round(v.value_mm, 2) for v in result.verdicts} == (set() if fine else {up or -1.0})


def test_a_membrane_that_ends_before_the_wall_is_told_without_a_sign():
    issue = only_issue(checked(eaves().stretched("membrane 2", "front", -120.0)), "roof-membrane-lap")
    assert issue.title.startswith("Roof membrane ends 20.0 mm before the wall, required at least 100 mm")


def test_too_little_slack_is_one_issue_of_that_membrane():
    issue = only_issue(checked(eaves().stating("membrane 1", slack="5")), "membrane-clamp")
    assert issue.title.startswith("Membrane has only 5.0 mm slack, required at least 10 mm")
    assert guid_of("membrane 1") in {built(eaves()).model.elements[e].guid for e in issue.elements}
