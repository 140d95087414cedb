"""Sealant in the outer groove at panel ends."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Crossings, Facade, Layer, PanelEdgeSeams, PanelEndSeams, Seams, Zone
from checker.lanes import lanes_of
from checker.layers import edges_at
from checker.measure import sealed_ends
from checker.rule import MM, Verdicts, limit, rule
from checker.sections import SEAM_FLASHING
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    short_mm: float = limit(
        1.0, "mm", "most by which the sealant may end short of the flashing's edge", basis="practice"
    )
    reach_mm: float = limit(
        60.0, "mm", "length from the panel end where no flashing over the seam is drawn", basis="practice"
    )


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """In the joint between two rows, in the outer half of the panels' thickness."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - SLACK, high + SLACK, 0.5 * (seams.inner + seams.outer), seams.outer + SLACK),)


LAYER: Final = Layer(
    "outer-groove-sealant",
    "sealant in the outer groove of the joints between rows, at the panel ends",
    ("sealant",),
    (PanelEdgeSeams,),
    _lanes,
    runs=False,
)


@rule(
    subject=Crossings,
    limits=Limits,
    layer=LAYER,
    remedy="Fill the outer groove at each panel end, as far as the flashing over the seam will cover it.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("outer sealant 2 left", "left", 12.0)
    .saying("The sealant of the left bay ends 12 mm short of the flashing's edge."),
)
def outer_groove_sealant(crossings: Crossings, facade: Facade, limits: Limits) -> Verdicts:
    """Sealant fills the outer groove of each horizontal joint at each panel end, as wide as the flashing over the seam.

    The groove is a channel that ends open at the seam, behind the flashing: through it wind and rain pass what the
    flashing and its tapes keep out.
    """
    (flashing,) = lanes_of(facade, SEAM_FLASHING, PanelEndSeams)
    ends = facade.seams[PanelEndSeams]
    line = ends.line[crossings.end]
    low, high = edges_at(flashing.inside, line, crossings.along, 0)
    reach = limits.reach_mm / MM
    return sealed_ends(
        crossings,
        facade,
        LAYER,
        np.where(np.isnan(low), ends.near[crossings.end] - reach, low),
        np.where(np.isnan(high), ends.far[crossings.end] + reach, high),
        limits.short_mm,
        "Sealant in the outer groove",
    )
