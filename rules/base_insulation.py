"""Insulation strip on the base rail."""

from dataclasses import dataclass

import numpy as np

from checker.facade import BaseSeams, Facade, Layer, Seams, Zone
from checker.foot import BASE_REACH
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Above the plinth top and below the lowest panels: the core of either is none of it."""
    low = np.where(seams.left < 0, seams.far - BASE_REACH, seams.near)
    return (Zone(low, np.maximum(seams.far, low), seams.inner - 2e-3, seams.outer + 2e-3),)


LAYER = Layer("base-insulation", "insulation strip on the base rail", ("insulation",), (BaseSeams,), _lanes)


@rule(
    subject=BaseSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run one insulation strip on the base rail below the panels, pieces butted, also round corners.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("base insulation 1", "right", -6.0)
    .saying("The two insulation strips on the base rails leave 6 mm between them."),
)
def base_insulation(seams: BaseSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Insulation strip runs on the base rail below the panels, without gap or overlap.

    The steel rail carries the cold inwards. The strip parts it from the panels and evens out their lower edges; a gap
    in it is a cold spot on which moisture of the hall condenses, an overlap lifts the panel off the rail beside it.
    """
    return lacks(seams, facade, LAYER, BaseSeams, limits.joint_mm, "Insulation strip on the base rail")
