"""Seal strip on the plinth."""

from dataclasses import dataclass

import numpy as np

from checker.facade import SLACK, BaseSeams, Facade, Layer, Seams, Zone
from checker.foot import BASE_REACH
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On the plinth top below panel or base rail, on the inner half of the plinth or of the panel."""
    back = np.where(np.isnan(seams.back), seams.inner, seams.back)
    front = np.where(np.isnan(seams.front), seams.outer, seams.front)
    # A plinth may be far wider than what stands on it: the strip then lies below the inner half of the panel.
    middle = np.maximum(0.5 * (back + front), 0.5 * (seams.inner + seams.outer))
    below = np.where(seams.left < 0, seams.far - BASE_REACH, seams.near)
    return (Zone(below - SLACK, np.maximum(seams.far, seams.near + SLACK), back - SLACK, middle + 1e-3),)


LAYER = Layer(
    "plinth-seal",
    "seal strip on the plinth top, at the inner edge",
    ("seal",),
    (BaseSeams,),
    _lanes,
    stands_in=("foam", "tape", "sealant"),
)


@rule(
    subject=BaseSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run one strip along the inner edge of the plinth top, pieces butted, also round corners.",
    needs=("panel", "plinth"),
    good=detail(),
    bad=detail()
    .stretched("plinth seal 1", "right", -5.0)
    .saying("The two strips on the plinth leave 5 mm between them."),
    seen_from="inside",
)
def plinth_seal(seams: BaseSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal strip runs along the inner edge of the plinth top, without gap or overlap.

    Concrete is never quite even; the strip closes what is left below the base rail. A gap in it is open to the outside,
    an overlap lifts the rail beside it, and near the outer edge it lies in the rain.
    """
    fault = tuple(
        f or ("no plinth lies below this panel" if p < 0 else "") for f, p in zip(seams.fault, seams.left, strict=True)
    )
    return lacks(seams, facade, LAYER, BaseSeams, limits.joint_mm, "Seal strip on the plinth", fault=fault)
