"""Bearing of panel ends on the column flange."""

from dataclasses import dataclass, replace

import numpy as np

from checker.facade import Facade, PanelEndSeams
from checker.geometry import SAME_LENGTH
from checker.measure import Shifts, end_blame, without_column
from checker.model import Floats
from checker.rule import FAIL, MM, PASS, Verdicts, exceeds, in_mm, limit, rule, within
from checker.sketch import BAY, FOOT, ROW, block, detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    minimum_mm: float = limit(
        40.0,
        "mm",
        "least bearing of a panel end on the flange; the panel's approval and its structural design govern",
        basis="practice",
        source="from memory of typical panel approvals, not verified",
    )
    tolerance_mm: float = limit(
        15.0,
        "mm",
        "what frame and panel may add up to against it at worst; less than the minimum with it is a warning",
        basis="practice",
        source="worst case of half of two column positions and a panel length, 10 mm each from memory, not verified",
    )
    target_mm: float = limit(
        15.0, "mm", "from the column's centre line: where an end that bears too little is told to go", basis="practice"
    )


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    remedy="Make the panel longer or the flange wider, or support the end as the structural designer approves.",
    needs=("panel", "column"),
    good=detail(),
    bad=detail()
    .having("column 2", block("column", (BAY - 50, BAY + 50), (-500, FOOT + 2 * ROW + 200), (-190, 0)))
    .saying("Column 2 is 100 mm wide: each panel end bears on 35 mm of it."),
    seen_from="inside",
)
def panel_bearing(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Each panel end bears on the column flange, also with the tolerances of frame and panel.

    What bears too little can slip off the flange or cannot be fixed to it, and has no room for the seal strip behind
    it. Whether an end bears enough for wind and weight is for the structural designer; how far it lies from the
    column's centre line is asked elsewhere.
    """
    half = seams.column_half
    left, right = half - seams.offset_left_max, half - seams.offset_right_max
    left_is_worse = left < right + SAME_LENGTH
    bearing = np.where(left_is_worse, left, right)
    least, worst = limits.minimum_mm / MM, limits.tolerance_mm / MM
    bad = exceeds(bearing, least + worst, np.inf)
    target, short = limits.target_mm / MM, half - limits.target_mm / MM < least - SAME_LENGTH

    def inwards(bearing: Floats, offset: Floats) -> Shifts:
        """Shifts of an end towards the centre line: to its place there, where that bears enough and it does not now."""
        here = np.where(short, np.inf, offset - target)
        return Shifts(np.where(bad, here, least - bearing), np.where(bad, np.where(short, -np.inf, here), offset))

    to_right = inwards(left, seams.offset_left_max)
    to_left = inwards(right, seams.offset_right_max)
    blame = end_blame(seams, facade, bad, left_is_worse, to_right, Shifts(-to_left.most, -to_left.least))
    place = np.where(left_is_worse[:, None], seams.at_offset_left_max, seams.at_offset_right_max)
    side = ["left" if each else "right" for each in left_is_worse]
    verdicts = within(
        bearing,
        bearing,
        limits.minimum_mm,
        np.inf,
        at_smallest=place,
        at_largest=place,
        fault=without_column(seams),
        says_low="End of the {side} panel bears on only {value} of the column flange",
        says_high="",
        says_negative="End of the {side} panel misses the column flange by {distance}",
        words={"side": side},
        blame=blame,
        way=np.where(left_is_worse, -1.0, 1.0)[:, None] * seams.frame[:, 1],
    )
    scarce = (verdicts.state == PASS) & exceeds(bearing, least + worst, np.inf)
    return replace(
        verdicts,
        state=np.where(scarce, FAIL, verdicts.state),
        warning=scarce,
        minimum_mm=np.where(scarce, limits.minimum_mm + limits.tolerance_mm, verdicts.minimum_mm),
        says=[
            f"End of the {side[i]} panel bears on {in_mm(bearing[i])} of the column flange; with "
            f"{limits.tolerance_mm:g} mm of tolerance less than {limits.minimum_mm:g} mm may be left"
            if scarce[i]
            else verdicts.says[i]
            for i in range(len(seams))
        ],
    )
