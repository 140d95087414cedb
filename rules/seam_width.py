"""Vertical seam width."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, PanelEndSeams
from checker.geometry import SAME_LENGTH
from checker.measure import Shifts, end_blame, filled_by
from checker.model import Floats
from checker.rule import MM, Verdicts, exceeds, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    target_mm: float = limit(30.0, "mm", "width the seal parts are made for", basis="practice")
    tolerance_mm: float = limit(5.0, "mm", "either way", basis="practice")


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    remedy="Move the panel end, or choose a seal made for this width.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .tapered("panel 1.1", -9.0)
    .saying("The end of panel 1.1 is out of square: the seam narrows from 30 to 21 mm."),
)
def seam_width(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Vertical seam is as wide as its seal parts need.

    A narrow seam cannot be filled to its full depth and a wide one overstretches the seal; both leave an air path as
    tall as the panel.
    """
    low_mm, high_mm = limits.target_mm - limits.tolerance_mm, limits.target_mm + limits.tolerance_mm
    low, high = low_mm / MM, high_mm / MM
    smallest, largest = seams.width_min, seams.width_max
    half = 0.5 * limits.target_mm / MM
    tolerance = limits.tolerance_mm / MM

    def off(smallest: Floats, largest: Floats) -> Floats:
        """How far an end lies off its place before the column at its worst; nothing where there is no column."""
        return np.nan_to_num(np.maximum(np.abs(smallest - half), np.abs(largest - half)))

    def near_column(least: Floats, most: Floats) -> Shifts:
        """Half the seam belongs on each side of the column's line; NaN, without a column, bounds nothing."""
        return Shifts(np.nan_to_num(least, nan=-np.inf), np.nan_to_num(most, nan=np.inf))

    left = near_column(seams.offset_left_max - half - tolerance, seams.offset_left_min - half + tolerance)
    right = near_column(half - tolerance - seams.offset_right_min, half + tolerance - seams.offset_right_max)
    return within(
        smallest,
        largest,
        low_mm,
        high_mm,
        at_smallest=seams.at_width_min,
        at_largest=seams.at_width_max,
        fault=seams.fault,
        says_low="Vertical seam narrows to {value}{filled}",
        says_high="Vertical seam widens to {value}{filled}",
        words={"filled": filled_by(seams, facade)},
        says_negative="Panels overlap by {distance} in the vertical seam",
        way=seams.frame[:, 1],
        before=0.5,
        blame=end_blame(
            seams,
            facade,
            exceeds(smallest, low, np.inf) | exceeds(largest, -np.inf, high),
            off(seams.offset_left_min, seams.offset_left_max)
            >= off(seams.offset_right_min, seams.offset_right_max) - SAME_LENGTH,
            Shifts(np.maximum(largest - high, left.least), np.minimum(smallest - low, left.most)),
            Shifts(np.maximum(low - smallest, right.least), np.minimum(high - largest, right.most)),
        ),
    )
