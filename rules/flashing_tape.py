"""Tape between flashing and panels."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, Layer, PanelEndSeams, Seams, Zone
from checker.measure import in_section, joined, lacks
from checker.pieces import fill, of_lane, pieces_on
from checker.rule import Verdicts, limit, rule
from checker.sections import SEAM_FLASHING
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    gap_mm: float = limit(1.0, "mm", "largest gap between pieces of tape; they may lap", basis="practice")
    behind_mm: float = limit(10.0, "mm", "least width of the tape that lies behind the flashing", basis="practice")


REACH: Final = 0.25
"""Tape behind a flashing lies no further beside the panel end (metres)."""
ON_FACE: Final = 2e-3
"""Tape on a panel may be drawn this far into its face (metres)."""


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On the outer face of the left and of the right panel, beside the seam."""
    out = seams.outer - ON_FACE, seams.outer + SLACK
    return (Zone(seams.near - REACH, seams.near, *out), Zone(seams.far, seams.far + REACH, *out))


LAYER: Final = Layer(
    "flashing-tape",
    "tape between the flashing over the seam and the panel on either side",
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
    remedy="Run one tape behind each edge of the flashing over its whole height; leave its lower end open to drain.",
    needs=("panel",),
    good=detail(),
    bad=detail().without("flashing tape upper left").saying("The upper flashing has no tape behind its left edge."),
)
def flashing_tape(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Tape lies between the flashing and the panel along both edges of the flashing, without gap.

    It takes the rattle out of the flashing and keeps wind from pumping rain behind it. Tape beside the flashing is only
    in the sun.
    """
    says = "Tape behind the flashing"
    endless = np.full(len(seams), np.inf)
    flashing = fill(seams, pieces_on(facade, SEAM_FLASHING, PanelEndSeams, whole=True), 0, -endless, endless)
    none = np.isnan(flashing.least)  # where the flashing is missing, or in no model, another rule tells it
    low, high = np.where(none, -endless, flashing.first), np.where(none, endless, flashing.last)
    pieces = pieces_on(facade, LAYER, PanelEndSeams, whole=True)

    def behind(lane: int, side: str) -> Verdicts:
        found = fill(seams, of_lane(pieces, lane), 0, low, np.maximum(low, high))
        return in_section(
            seams,
            found.least,
            found.at_least,
            found.piece_least,
            limits.behind_mm,
            np.inf,
            says_low=f"Tape on the {side} panel lies behind the flashing by only {{value}}",
        )

    return joined(
        lacks(seams, facade, LAYER, PanelEndSeams, limits.gap_mm, says), behind(0, "left"), behind(1, "right")
    )
