"""Foam strip in the vertical seam."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, Layer, PanelEndSeams, Seams, Zone
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Between the panel ends, its middle anywhere in the panels' thickness."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - 2e-3, high + 2e-3, seams.inner, seams.outer + 2e-3),)


LAYER = Layer(
    "seam-foam",
    "elastic foam strip between the panel ends",
    ("foam",),
    (PanelEndSeams,),
    _lanes,
    yields_to=("base-rail",),
    stands_in=("seal",),
)


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Fill the seam with foam from the base rail to the top, pieces butted; in fire-rated walls as tested.",
    needs=("panel",),
    good=detail(),
    bad=detail().without("foam upper").saying("The seam between the upper panels holds no foam."),
)
def seam_foam(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Foam strip fills the vertical seam over its whole height, without gap or overlap.

    The foam closes the seam between the panel ends in front of the strips on the column. Where it is missing, outside
    air reaches the column and moist air the cold outer sheet.
    """
    return lacks(seams, facade, LAYER, PanelEndSeams, limits.joint_mm, "Foam strip in the seam")
