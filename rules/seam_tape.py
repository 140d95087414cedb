"""Tape over the vertical seam."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, Layer, PanelEndSeams, Seams, Zone
from checker.measure import joined, lacks, laid_over
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    gap_mm: float = limit(1.0, "mm", "largest gap between pieces of tape; they may lap", basis="practice")
    bite_mm: float = limit(10.0, "mm", "least width of tape that sticks on each panel", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On the panels' outer face, its middle at the gap between their ends."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - SLACK, high + SLACK, seams.outer - SLACK, seams.outer + SLACK),)


LAYER: Final = Layer(
    "seam-tape",
    "tape over the seam on the panels' outer face",
    ("tape",),
    (PanelEndSeams,),
    _lanes,
    stands_in=("seal",),
    may_lap=True,
    centred=True,
)


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Tape the seam over its whole height, on clean and dry panels, before the flashing covers it.",
    needs=("panel",),
    good=detail(),
    bad=detail().stretched("seam tape upper", "top", -25.0).saying("The upper tape ends 25 mm below the top."),
)
def seam_tape(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Tape closes the outer side of the vertical seam, without gap, and sticks on both panels.

    The tape keeps driving rain and wind out of the insulation. It holds only as far as it sticks: beside a panel end it
    tears off when the panels move with the sun.
    """
    return joined(
        lacks(seams, facade, LAYER, PanelEndSeams, limits.gap_mm, "Tape over the seam"),
        laid_over(
            seams,
            facade,
            LAYER,
            limits.bite_mm,
            "Tape over the seam sticks on only {value} of the {side} panel",
            "Tape over the seam ends {distance} before the {side} panel begins",
            "tape",
        ),
    )
