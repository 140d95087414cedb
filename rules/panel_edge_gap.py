"""Joint between rows of panels."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, PanelEdgeSeams
from checker.geometry import SAME_LENGTH, highest, lowest
from checker.rule import MM, Blame, Verdicts, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    maximum_mm: float = limit(
        5.0, "mm", "widest opening of the joint; never more than a drawn tongue is deep", basis="practice"
    )
    overlap_mm: float = limit(
        25.0,
        "mm",
        "most by which panels drawn as plain blocks reach into each other, as a tongue does",
        basis="practice",
    )


@rule(
    subject=PanelEdgeSeams,
    limits=Limits,
    remedy="Set the panel down on the row below before it is fixed; check the cover width and level of the rows.",
    needs=("panel",),
    good=detail(),
    bad=detail().moved("panel 1.2", y=8.0).saying("Panel 1.2 hangs 8 mm too high: the joint below it gapes."),
)
def panel_edge_gap(seams: PanelEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Panels of neighbouring rows interlock: the joint between them is open no wider than the groove allows.

    Tongue, groove and gasket seal the joint only as far as they reach into each other. One that gapes leaks over the
    whole bay, and rain stands in it.
    """
    deepest = np.where(seams.tongue > SAME_LENGTH, np.minimum(limits.maximum_mm, seams.tongue * MM), limits.maximum_mm)
    # How far each panel may be lifted so that both of its joints are within their limits, and no tighter than one is.
    least_open, most_open = np.minimum(seams.width_min, 0.0), deepest / MM
    size = len(facade.model.elements)
    below, above = seams.left, seams.right
    low = np.maximum(
        highest(least_open - seams.width_min, above, size), highest(seams.width_max - most_open, below, size)
    )
    high = np.minimum(
        lowest(most_open - seams.width_max, above, size), lowest(seams.width_min - least_open, below, size)
    )
    # The upper panel goes, unless only the lower one can without spoiling its other joint, or the foot of the wall.
    lower = (low[above] > high[above] + SAME_LENGTH) & (low[below] <= high[below] + SAME_LENGTH)
    lower &= np.isin(below, above)
    part = np.where(lower, below, above)
    return within(
        seams.width_min,
        seams.width_max,
        -limits.overlap_mm,
        deepest,
        at_smallest=seams.at_width_min,
        at_largest=seams.at_width_max,
        fault=seams.fault,
        says_low="Panels of neighbouring rows run into each other by {distance}",
        says_high="Joint between the rows is open by {value}",
        says_negative="Panels of neighbouring rows run into each other by {distance}",
        way=seams.frame[:, 1],
        before=0.5,
        blame=Blame(
            part=part,
            what=("panel",) * len(seams),
            along=seams.frame[:, 1],
            least=low[part],
            most=high[part],
            cause=part,
            anchor=part,
        ),
    )
