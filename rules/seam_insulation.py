"""Insulation in the vertical seam."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, PanelEndSeams
from checker.measure import as_wide, joined, packed
from checker.pieces import pieces_on, place_of
from checker.rule import Verdicts, limit, rule
from checker.sections import SEAM_FOAM, SEAM_INSULATION
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    open_mm: float = limit(5.0, "mm", "most depth that may stay empty beside the foam", basis="practice")
    width_mm: float = limit(
        25.0, "mm", "least width of the insulation along the facade, where the seam is not narrower", basis="practice"
    )


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=SEAM_INSULATION,
    remedy="Pack the rest of the seam with mineral wool, out to the panels' outer face, before it is taped.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("seam insulation upper", "front", -30.0)
    .saying("The outer 30 mm of the upper seam are empty."),
)
def seam_insulation(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seam is packed with insulation from the foam to the panels' outer face.

    In an empty chamber behind the flashing air moves up the whole facade; it cools the foam from outside, and moist air
    that gets through it condenses there.
    """
    foam, own = (place_of(facade, layer, PanelEndSeams) for layer in (SEAM_FOAM, SEAM_INSULATION))
    # From the innermost layer on: room behind the foam is a question of its own.
    inner = np.full(len(seams), np.inf)
    inner[own.seam] = own.low[:, 1]
    inner[foam.seam] = np.minimum(inner[foam.seam], foam.low[:, 1])
    low = np.where(np.isfinite(inner), np.clip(inner, seams.inner, seams.outer), seams.inner)
    anchor = np.where(seams.column >= 0, seams.column, seams.left)
    return joined(
        packed(
            seams,
            facade,
            PanelEndSeams,
            SEAM_INSULATION,
            foam,
            low,
            np.maximum(seams.outer, low),
            limits.open_mm,
            "Seam between the panel ends",
            seams.line,
            anchor,
        ),
        as_wide(
            seams,
            pieces_on(facade, SEAM_INSULATION, PanelEndSeams, whole=True),
            limits.width_mm,
            "Insulation in the seam",
        ),
    )
