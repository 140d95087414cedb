"""Insulation round frames: depth left open beside the seal, whichever way the hall stands."""

import numpy as np
import pytest
from drawn import MIRROR, checked, only_issue, turned

from checker.sketch import detail

RULE = "opening-insulation"
WINDOW = detail()
INSULATION = [f"window insulation at {side}" for side in ("sill", "head", "left", "right")]


@pytest.mark.parametrize(("open_mm", "fine"), [(0.0, True), (4.98, True), (5.0, True), (5.02, False), (30.0, False)])
def test_limit(open_mm: float, fine: bool) -> None:
    result = checked(WINDOW.stretched("window insulation at head", "back", open_mm))
    assert {issue.rule for issue in result.issues} == (set() if fine else {RULE})
    if not fine:
        assert only_issue(result, RULE).worst_mm == pytest.approx(open_mm, abs=0.01)


@pytest.mark.parametrize("place", [np.eye(4), turned(77.0, -4e5, 6e5, 3.0), MIRROR])
def test_only_the_worst_stretch_counts_and_is_where_it_is(place: np.ndarray) -> None:
    sketch = WINDOW.stretched("window insulation at sill", "right", -200.0)
    issue = only_issue(checked(sketch, place=place), RULE)
    # The frame is 80 mm deep, of which the seal takes 28.
    assert issue.worst_mm == pytest.approx(52.0, abs=0.01)


def test_what_lies_beyond_the_frame_need_not_be_filled() -> None:
    sketch = WINDOW
    for name in INSULATION:
        sketch = sketch.stretched(name, "front", -28.0)  # to the front of the frame
    assert not checked(sketch).verdicts


def test_a_missing_seal_is_no_missing_insulation() -> None:
    result = checked(WINDOW.without("window seal left"))
    assert {issue.rule for issue in result.issues} == {"opening-seal"}


def test_nothing_drawn_is_one_line() -> None:
    result = checked(WINDOW.without(*INSULATION))
    assert not result.verdicts
    (coverage,) = [each for each in result.coverage if each.rule == RULE]
    assert coverage.not_modelled == coverage.subjects == 4
    assert only_issue(checked(WINDOW.without(*INSULATION), layers={RULE: "required"}), RULE)
