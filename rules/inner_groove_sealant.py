"""Sealant in the inner groove at panel ends."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Crossings, Facade, Layer, PanelEdgeSeams, PanelEndSeams, Seams, Zone
from checker.lanes import lanes_of
from checker.layers import edges_at
from checker.measure import sealed_ends
from checker.rule import MM, Verdicts, limit, rule
from checker.sections import COLUMN_SEAL
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    short_mm: float = limit(1.0, "mm", "most by which the sealant may end short of the strip", basis="practice")
    least_mm: float = limit(
        5.0,
        "mm",
        "length from the panel end at least, also where the strip begins nearer or is not drawn",
        basis="practice",
    )


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """In the joint between two rows, in the inner half of the panels' thickness."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - SLACK, high + SLACK, seams.inner - SLACK, 0.5 * (seams.inner + seams.outer)),)


LAYER: Final = Layer(
    "inner-groove-sealant",
    "sealant in the inner groove of the joints between rows, from the panel end to the strip on the column",
    ("sealant",),
    (PanelEdgeSeams,),
    _lanes,
    runs=False,
)


@rule(
    subject=Crossings,
    limits=Limits,
    layer=LAYER,
    remedy="Fill the inner groove from the panel end on to the seal strip on the column, before the panel is hung.",
    needs=("panel", "column"),
    good=detail(),
    bad=detail().without("inner sealant 2 right").saying("The inner groove of the right bay is not sealed at its end."),
    seen_from="inside",
)
def inner_groove_sealant(crossings: Crossings, facade: Facade, limits: Limits) -> Verdicts:
    """Sealant fills the inner groove of each horizontal joint from the panel end to the seal strip on the column.

    It joins the gasket in the joint to the strip on the column. Where it ends short of the strip, air passes both of
    them through the groove.
    """
    left, right = lanes_of(facade, COLUMN_SEAL, PanelEndSeams)
    ends = facade.seams[PanelEndSeams]
    line, least = ends.line[crossings.end], limits.least_mm / MM
    # The near edge of the strip behind either end.
    _, on_left = edges_at(left.inside, line, crossings.along, 0)
    on_right, _ = edges_at(right.inside, line, crossings.along, 0)
    return sealed_ends(
        crossings,
        facade,
        LAYER,
        np.fmin(on_left, ends.near[crossings.end] - least),
        np.fmax(on_right, ends.far[crossings.end] + least),
        limits.short_mm,
        "Sealant in the inner groove",
    )
