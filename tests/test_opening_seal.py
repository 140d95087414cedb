"""Seal round windows and doors: all four sides, corners, doors without a panel below, and where the finding points."""

from dataclasses import replace

import numpy as np
import pytest
from drawn import checked, only_issue, remade, to_world, turned, wall, with_part

from checker.sketch import BAY, FOOT, ROW, Part, block, detail, guid_of

RULE = "opening-seal"
WINDOW = detail()
X, Y = (2 * BAY - 3500, 2 * BAY - 2500), (FOOT + ROW + 200, FOOT + 2 * ROW - 200)
"""The hole of the sketch's window; the frame is 10 mm smaller on each side."""
PLACES = {
    "sill": ((X[0] + X[1]) / 2, Y[0] + 5),
    "head": ((X[0] + X[1]) / 2, Y[1] - 5),
    "left": (X[0] + 5, (Y[0] + Y[1]) / 2),
    "right": (X[1] - 5, (Y[0] + Y[1]) / 2),
}


def door_in_bay_two():
    """Bay 2 of three holds a door frame instead of panels and foot, sealed all round."""
    sketch = wall(bays=3, rows=2, without=[2])
    low, high = (BAY + 15, 2 * BAY - 15), (0, FOOT + 2 * ROW)
    sketch = with_part(sketch, "door", block("door", (low[0] + 10, low[1] - 10), (10, high[1] - 10), (20, 100)))
    for name, x, y in (
        ("left", (BAY - 15, low[0] + 10), high),
        ("right", (low[1] - 10, 2 * BAY + 15), high),
        ("sill", (low[0], low[1]), (0, 10)),
        ("head", (low[0], low[1]), (high[1] - 10, high[1])),
    ):
        sketch = with_part(sketch, f"door seal {name}", block("seal", x, y, (20, 60)))
    return sketch


@pytest.mark.parametrize("side", PLACES)
def test_a_side_without_seal_is_found_where_it_is(side):
    result = checked(WINDOW.without(f"window seal {side}"))
    issue = only_issue(result, RULE)
    np.testing.assert_allclose(issue.point_m, to_world(*PLACES[side], 68), atol=2e-3)
    (verdict,) = (result.verdicts[m] for m in issue.members)
    assert verdict.subject == f"opening-edge/F1/2-3/{side}"
    assert verdict.value_mm == pytest.approx(980.0 if side in ("sill", "head") else 580.0, abs=0.01)


@pytest.mark.parametrize(("gap", "passes"), [(0.0, True), (1.0, True), (1.02, False), (40.0, False)])
@pytest.mark.parametrize("side", PLACES)
def test_limits_at_corners(side, gap, passes):
    """The seal of one side ends short of the corner of the frame."""
    frame_begins = 10.0 if side in ("sill", "head") else 0.0
    which = "left" if side in ("sill", "head") else "bottom"
    sketch = WINDOW.stretched(f"window seal {side}", which, frame_begins + gap)
    result = checked(sketch, [RULE], turned(24.2, -5e5, 2e5, 3))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(gap, abs=0.01)


@pytest.mark.parametrize(
    ("gap", "depth", "passes"), [(10, 6.0, True), (10, 5.9, False), (5.02, 5.9, False), (5, 4, True)]
)
def test_published_depth_of_sealant(gap: float, depth: float, passes: bool) -> None:
    """Published, second-hand: structural warranty manual (United Kingdom), gaps round windows: 6 mm above 5 mm."""
    sketch = WINDOW.stretched("window seal head", "bottom", 10.0 - gap)
    for name in ("window", "window seal left", "window seal right"):
        sketch = sketch.stretched(name, "top", 10.0 - gap)
    for side in PLACES:
        name = f"window seal {side}"
        sketch = with_part(sketch, name, replace(sketch.parts[name], role="sealant"))
    sketch = sketch.stretched("window seal head", "front", depth - 40.0)
    result = checked(sketch, [RULE], turned(24.2, -5e5, 2e5, 3))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.subject == "opening-edge/F1/2-3/head"
        assert verdict.value_mm == pytest.approx(depth, abs=0.01)
        assert verdict.message.startswith(f"Sealant round the frame is only {depth:.1f} mm deep")


def test_all_four_sides_are_one_issue_per_window():
    everything = [name for name in WINDOW.parts if name.startswith("window seal")]
    sketch = WINDOW.without("window seal sill", "window seal left")
    issue = only_issue(checked(sketch), RULE)
    assert len(issue.members) == 2
    assert guid_of("window") in issue.check_id
    none_modelled = checked(WINDOW.without(*everything))
    assert RULE not in {verdict.rule for verdict in none_modelled.verdicts}
    assert next(each for each in none_modelled.coverage if each.rule == RULE).not_modelled == 4


def test_a_seal_in_front_of_the_wall_is_named_as_gone_astray():
    (verdict,) = checked(WINDOW.moved("window seal sill", z=140.0), [RULE]).verdicts
    assert "window seal sill lies beside its place there" in verdict.message


def test_strips_on_the_columns_do_not_seal_a_frame_beside_them():
    sketch = door_in_bay_two()
    assert not checked(sketch, [RULE]).verdicts
    issue = only_issue(checked(sketch.without("door seal left")), RULE)
    assert issue.axis == "2"
    # From the sill to the head: the strip on the plinth, which ends in this gap, only crosses it.
    assert issue.worst_mm == pytest.approx(FOOT + 2 * ROW - 10 - 10, abs=0.01)


@pytest.mark.parametrize("side", ["sill", "head", "left", "right"])
def test_a_door_is_sealed_on_all_sides_also_where_no_panel_is(side):
    rule = "door-threshold-seal" if side == "sill" else RULE
    assert only_issue(checked(door_in_bay_two().without(f"door seal {side}")), rule)


def test_without_an_opening_the_frame_alone_tells_where_the_seal_belongs():
    sketch = WINDOW.without("window opening")
    assert not checked(sketch).verdicts
    assert only_issue(checked(sketch.without("window seal head")), RULE)


def test_a_window_between_panels_of_one_row_has_its_jambs_at_their_ends():
    sketch = wall(bays=3, rows=3).without("panel 2.2")
    sketch = with_part(
        sketch, "window", block("window", (6030, 11970), (FOOT + ROW + 15, FOOT + 2 * ROW - 15), (20, 100))
    )
    seams = checked(sketch).seams.columns
    rows = {i: k for k, i in enumerate(seams["id"]) if str(i).startswith("opening-edge")}
    width = {str(i).split("/")[-1]: round(float(seams["width_min_mm"][k]), 3) for i, k in rows.items()}
    assert width == {"sill": 15.0, "head": 15.0, "left": 45.0, "right": 45.0}
    beside = {str(i).split("/")[-1]: {seams["left"][k], seams["right"][k]} for i, k in rows.items()}
    assert beside["left"] == {guid_of("panel 1.2"), guid_of("window")}
    assert beside["right"] == {guid_of("panel 3.2"), guid_of("window")}


def test_a_window_without_a_body_is_told():
    nothing = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    model = remade(WINDOW.model(), {"window": nothing}, {"window": "has no body"})
    (verdict,) = checked(model, [RULE]).verdicts
    assert (verdict.state, verdict.elements) == ("undecided", (guid_of("window"),))
    assert "has no body" in verdict.message


def test_the_legs_of_a_ring_are_no_strip_under_the_sill():
    """A seal of jambs and head in one piece, narrower than a sill strip; the frame stands a little over one leg."""
    names = [f"window seal {side}" for side in ("head", "left", "right")]
    parts = [WINDOW.parts[name].blocks[0] for name in names]
    sketch = with_part(
        WINDOW.without(*names), "ring", Part("seal", tuple(replace(b, high=(*b.high[:2], 40.0)) for b in parts))
    )
    assert not checked(sketch.moved("window", x=2.0), [RULE]).verdicts
