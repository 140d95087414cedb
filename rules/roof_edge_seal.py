"""Seal strip at the upper edge."""

from dataclasses import dataclass
from typing import Final

from checker.facade import SLACK, Facade, Layer, RoofEdgeSeams, Seams, Zone
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import eaves

HALF: Final = 0.06
"""The middle of the strip lies no further from the panels' inner face (metres)."""
BELOW: Final = 0.12
"""A strip on the inner face lies no further below the edge (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Round the inner upper edge of the panels: under the membrane, or between panel and roof."""
    return (Zone(seams.near - BELOW, seams.near + SLACK, seams.inner - HALF, seams.inner + HALF),)


LAYER = Layer(
    "roof-edge-seal",
    "seal strip at the inner face along the upper edge of the panels",
    ("seal",),
    (RoofEdgeSeams,),
    _lanes,
    stands_in=("sealant", "tape"),
    airtight=True,
)


@rule(
    subject=RoofEdgeSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run the strip along the whole upper edge at the inner face of the panels, pieces butted.",
    needs=("panel",),
    good=eaves(),
    bad=eaves().stretched("roof seal 1", "right", -120.0).saying("The strip leaves 120 mm open between its pieces."),
    seen_from="inside",
)
def roof_edge_seal(seams: RoofEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal strip closes the upper edge at the inner face of the panels, without gap or overlap.

    The membrane is pressed against this strip. Where it is missing, warm moist air from the hall rises between panel
    and membrane into the cold roof edge.
    """
    return lacks(seams, facade, LAYER, RoofEdgeSeams, limits.joint_mm, "Seal strip at the upper edge")
