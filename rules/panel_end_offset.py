"""Panel end to the column's centre line."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, PanelEndSeams
from checker.geometry import SAME_LENGTH
from checker.measure import Shifts, end_blame, without_column
from checker.rule import MM, Verdicts, exceeds, in_mm, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    target_mm: float = limit(15.0, "mm", "from the column's centre line to each panel end", basis="practice")
    tolerance_mm: float = limit(5.0, "mm", "either way", basis="practice")


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    remedy="Move the panel end or the column so that the seam lies in the middle of the column.",
    needs=("panel", "column"),
    good=detail(),
    bad=detail()
    .moved("column 2", x=12)
    .saying("Column 2 stands 12 mm off: one panel end 27 mm, the other 3 mm from its line."),
)
def panel_end_offset(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Panel end keeps its distance from the column's centre line.

    The seal strips on the column face lie left and right of its centre line. A panel end too near the line covers the
    neighbour's strip, one too far from it misses its own strip and loses bearing; the seam then leaks behind the panel.
    """
    low_mm, high_mm = limits.target_mm - limits.tolerance_mm, limits.target_mm + limits.tolerance_mm
    target, low, high = limits.target_mm / MM, low_mm / MM, high_mm / MM
    left_min, left_max = seams.offset_left_min, seams.offset_left_max
    right_min, right_max = seams.offset_right_min, seams.offset_right_max
    off_left = np.where(np.abs(left_min - target) > np.abs(left_max - target), left_min, left_max) - target
    off_right = np.where(np.abs(right_min - target) > np.abs(right_max - target), right_min, right_max) - target
    # A column off to one side leaves both ends equally wrong: the one too far from it is told, left or right.
    even = np.abs(np.abs(off_left) - np.abs(off_right)) < SAME_LENGTH
    left_is_worse = np.where(even, off_left >= off_right - SAME_LENGTH, np.abs(off_left) > np.abs(off_right))
    smallest, largest = np.where(left_is_worse, left_min, right_min), np.where(left_is_worse, left_max, right_max)
    left_off = exceeds(left_min, low, np.inf) | exceeds(left_max, -np.inf, high)
    right_off = exceeds(right_min, low, np.inf) | exceeds(right_max, -np.inf, high)
    blame = end_blame(
        seams,
        facade,
        left_off | right_off,
        left_is_worse,
        # Moving one end mends nothing as long as the other is off as well.
        Shifts(np.where(right_off, np.inf, left_max - high), left_min - low),
        Shifts(np.where(left_off, np.inf, low - right_min), high - right_max),
        column=Shifts(np.maximum(low - left_min, right_max - high), np.minimum(high - left_max, right_min - low)),
        off_line=np.abs(off_left + off_right) < 0.5 * np.maximum(np.abs(off_left), np.abs(off_right)),
    )
    worse = left_is_worse[:, None]
    # The other end of the seam, where it is off as well: one sentence tells of both.
    worst = target + np.where(left_is_worse, off_left, off_right)
    other = target + np.where(left_is_worse, off_right, off_left)

    def also(i: int) -> str:
        if not (left_off[i] and right_off[i]):
            return ""
        first = f" and that of the {'right' if left_is_worse[i] else 'left'} panel"
        if other[i] < -SAME_LENGTH:
            return f"{first} passes it by {in_mm(-other[i])}"
        return f"{first} is {in_mm(other[i])} from it" if worst[i] < -SAME_LENGTH else f"{first} {in_mm(other[i])}"

    return within(
        smallest,
        largest,
        low_mm,
        high_mm,
        at_smallest=np.where(worse, seams.at_offset_left_min, seams.at_offset_right_min),
        at_largest=np.where(worse, seams.at_offset_left_max, seams.at_offset_right_max),
        fault=without_column(seams),
        says_low="End of the {side} panel is only {value} from the column's centre line{also}",
        says_high="End of the {side} panel is {value} from the column's centre line{also}",
        says_negative="End of the {side} panel passes the column's centre line by {distance}{also}",
        blame=blame,
        way=np.where(worse, 1.0, -1.0) * seams.frame[:, 1],
        words={
            "side": ["left" if left else "right" for left in left_is_worse],
            "also": list(map(also, range(len(seams)))),
        },
    )
