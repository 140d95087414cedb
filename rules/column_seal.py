"""Seal strips on the column face."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, Layer, PanelEndSeams, Seams, Zone
from checker.measure import lacks, without_column
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail

BEARING: Final = 0.30
"""A strip for a panel end lies no further behind it along the facade (metres)."""
NO_COLUMN: Final = 0.10
"""Where no column is known, a strip lies no further behind the panels (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Between column face and panel, behind the end of the left and of the right panel."""
    face = np.where(np.isnan(seams.front), seams.inner - NO_COLUMN, seams.front)
    out = np.minimum(face, seams.inner) - SLACK, np.maximum(face, seams.inner) + SLACK
    return (Zone(seams.near - BEARING, seams.near, *out), Zone(seams.far, seams.far + BEARING, *out))


LAYER = Layer(
    "column-seal",
    "seal strip on the column face behind each panel end",
    ("seal",),
    (PanelEndSeams,),
    _lanes,
    stands_in=("tape", "sealant"),
)


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run one strip behind each panel end over the full height of the panels, pieces butted.",
    needs=("panel", "column"),
    good=detail(),
    bad=detail()
    .stretched("column seal 2 left", "top", -400.0)
    .saying("The left strip on column 2 ends 400 mm below the top."),
    seen_from="inside",
)
def column_seal(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal strip runs on the column face behind each panel end, without gap or overlap.

    The strip between column and panel is the airtight line of the seam. A gap leaks; an overlap holds the panel off the
    strip on both sides of it; a strip on the weather side of the panel seals nothing.
    """
    says = "Seal strip on the column"
    return lacks(seams, facade, LAYER, PanelEndSeams, limits.joint_mm, says, fault=without_column(seams))
