"""Eave profile along the upper edge."""

from dataclasses import dataclass
from typing import Final

from checker.facade import Facade, Layer, RoofEdgeSeams, Seams, Zone
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import eaves

BELOW: Final = 0.15
"""The legs of the profile reach no further down the panels (metres)."""
ABOVE: Final = 0.40
"""The profile lies no higher over the edge: room for the roof's own build-up (metres)."""
BESIDE: Final = 0.25
"""The middle of its section lies no further from the panels' faces (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap between pieces, which may lap", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On top of the panels, or from there down their outer face."""
    return (Zone(seams.near - BELOW, seams.near + ABOVE, seams.inner - BESIDE, seams.outer + BESIDE),)


LAYER = Layer(
    "eave-profile",
    "eave profile along the upper edge of the panels",
    ("eave-profile",),
    (RoofEdgeSeams,),
    _lanes,
    may_lap=True,
)


@rule(
    subject=RoofEdgeSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run the profile along the whole upper edge, also up the gables, pieces lapped or butted.",
    needs=("panel",),
    good=eaves(),
    bad=eaves().stretched("eave profile 2", "right", -800.0).saying("The eave profile ends 800 mm before the end."),
)
def eave_profile(seams: RoofEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Eave profile runs along the whole upper edge of the uppermost panels, also up the gables.

    It covers the open upper end of the panels. Where it is missing, wind blows into the core and under the roof's
    membrane, and rain runs into the panel.
    """
    return lacks(seams, facade, LAYER, RoofEdgeSeams, limits.joint_mm, "Eave profile")
