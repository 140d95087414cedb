"""Seal under doors: limits, and what belongs to it alone."""

import numpy as np
import pytest
from drawn import MIRROR, checked, only_issue, turned

from checker.sketch import gate, guid_of

RULE = "door-threshold-seal"


@pytest.mark.parametrize(("gap", "fine"), [(0.0, True), (0.98, True), (1.0, True), (1.02, False), (500.0, False)])
def test_limit(gap: float, fine: bool) -> None:
    result = checked(gate().stretched("door seal threshold", "left", 10.0 + gap))
    mine = [issue for issue in result.issues if issue.rule == RULE]
    assert bool(mine) != fine
    if not fine:
        assert mine[0].worst_mm == pytest.approx(gap, abs=0.01)


@pytest.mark.parametrize("place", [np.eye(4), turned(200.0, 1e6, -1e6, 0.0), MIRROR])
def test_a_door_without_it_is_one_issue_with_the_length_of_the_door(place: np.ndarray) -> None:
    result = checked(gate().without("door seal threshold"), place=place)
    assert {issue.rule for issue in result.issues} == {RULE, "air-barrier-line"}
    issue = only_issue(result, RULE)
    assert issue.worst_mm == pytest.approx(3980.0, abs=0.01)
    assert guid_of("door") in issue.check_id


@pytest.mark.parametrize("side", ["head", "left", "right"])
def test_the_other_sides_belong_to_the_seal_round_the_frame(side: str) -> None:
    result = checked(gate().without(f"door seal {side}"))
    assert {issue.rule for issue in result.issues} == {"opening-seal", "air-barrier-line"}


def test_a_hall_without_doors_has_no_threshold() -> None:
    from checker.sketch import detail

    (coverage,) = checked(detail(), [RULE]).coverage
    assert coverage.subjects == 0
