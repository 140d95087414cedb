"""Clamp flashing over the membrane."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import Facade, Layer, RoofEdgeSeams, Seams, Zone, taken
from checker.geometry import SAME_LENGTH
from checker.measure import lacks
from checker.pieces import pieces_on
from checker.properties import stated_length
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
    clamped = taken(clamped, clamped.parallel)
    stated = np.array([stated_length(facade, e, "slack") for e in clamped.element.tolist()])
    slack, membrane = np.full(len(seams), np.inf), np.full(len(seams), -1)
    for k in np.argsort(-stated).tolist():  # the tightest one is written last and stays; what states nothing is nobody
        if not np.isnan(stated[k]):
            slack[clamped.seam[k]], membrane[clamped.seam[k]] = stated[k], clamped.element[k]
    tight = (said.state == PASS) & (slack < limits.slack_mm / MM - SAME_LENGTH)
    assert said.pieces is not None
    assert said.blame is not None
    # A membrane that is too tight is one cause, over however many panels it runs.
    first = int(said.blame.cause.max(initial=0)) + 1
    return replace(
        said,
        state=np.where(tight, FAIL, said.state),
        value_mm=np.where(tight, slack * MM, said.value_mm),
        minimum_mm=np.where(tight, limits.slack_mm, said.minimum_mm),
        maximum_mm=np.where(tight, np.nan, said.maximum_mm),
        pieces=np.where(tight[:, None], np.stack([membrane] + [np.full(len(seams), -1)] * 2, axis=1), said.pieces),
        span=None if said.span is None else np.where(tight[:, None, None], np.nan, said.span),
        blame=replace(
            said.blame,
            cause=np.where(tight, first + membrane, said.blame.cause),
            anchor=np.where(tight, membrane, said.blame.anchor),
        ),
        says=[
            f"Membrane has only {in_mm(slack[i])} slack, required at least {limits.slack_mm:g} mm"
            if tight[i]
            else said.says[i]
            for i in range(len(seams))
        ],
    )
