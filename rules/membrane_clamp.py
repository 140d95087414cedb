"""Clamp flashing over the membrane."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import Facade, Layer, RoofEdgeSeams, Seams, Zone
from checker.geometry import SAME_LENGTH, lowest
from checker.measure import lacks, pieces_on, stated_length
from checker.rule import FAIL, MM, PASS, Verdicts, in_mm, limit, rule
from checker.sketch import eaves

HALF: Final = 0.10
"""The flashing lies no further above or below the edge (metres)."""
BESIDE: Final = 0.03
"""The middle of its section lies between the faces of the panels, or this far beside them (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap between pieces, which may lap", basis="practice")
    slack_mm: float = limit(
        10.0,
        "mm",
        "least slack of the membrane, where its property Slack states one",
        basis="practice",
    )


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On the upper edge of the panels."""
    return (Zone(seams.near - HALF, seams.near + HALF, seams.inner - BESIDE, seams.outer + BESIDE),)


LAYER = Layer(
    "membrane-clamp",
    "clamp flashing over the membrane along the upper edge of the panels",
    ("flashing",),
    (RoofEdgeSeams,),
    _lanes,
    may_lap=True,
)
MEMBRANE = Layer("clamped membrane", "membrane under the clamp", ("membrane",), (RoofEdgeSeams,), _lanes, reaching=True)


@rule(
    subject=RoofEdgeSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Clamp the membrane along the whole upper edge and leave it slack between roof and clamp.",
    needs=("panel",),
    good=eaves(),
    bad=eaves().without("clamp flashing 2").saying("The membrane is clamped over the left part only."),
    seen_from="inside",
)
def membrane_clamp(seams: RoofEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Clamp flashing holds the membrane along the whole upper edge, with slack left.

    Wind suction on the roof lifts a membrane that is not clamped, and one without slack tears at the clamp when the
    roof moves.
    """
    said = lacks(seams, facade, LAYER, RoofEdgeSeams, limits.joint_mm, "Clamp flashing over the membrane")
    clamped = pieces_on(facade, MEMBRANE, RoofEdgeSeams)
    stated = np.array([stated_length(facade, e, "slack") for e in clamped.element.tolist()])
    slack = lowest(np.where(np.isnan(stated), np.inf, stated), clamped.seam, len(seams))
    tight = (said.state == PASS) & (slack < limits.slack_mm / MM - SAME_LENGTH)
    return replace(
        said,
        state=np.where(tight, FAIL, said.state),
        value_mm=np.where(tight, slack * MM, said.value_mm),
        minimum_mm=np.where(tight, limits.slack_mm, said.minimum_mm),
        maximum_mm=np.where(tight, np.nan, said.maximum_mm),
        says=[
            f"Membrane has only {in_mm(slack[i])} slack, required at least {limits.slack_mm:g} mm"
            if tight[i]
            else said.says[i]
            for i in range(len(seams))
        ],
    )
