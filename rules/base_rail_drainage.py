"""Weep holes of base rails."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import BaseRails, Facade, Layer
from checker.properties import stated_side
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, exceeds, in_mm, limit, rule, spans
from checker.sketch import detail

SIDE: Final = ("weepholesside", "weepholeside", "drainageside", "dripside")
"""Properties that tell on which side of the wall a rail lets water out."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    outer_mm: float = limit(
        0.0, "mm", "least distance of the outermost weep hole outwards from the middle of the rail", basis="practice"
    )


LAYER = Layer("base-rail-drainage", "weep hole or stated drip to the outside of a base rail", ("base-rail",))


@rule(
    subject=BaseRails,
    limits=Limits,
    layer=LAYER,
    remedy="Have weep holes made in the outer part of the rail at the works, or state their side in WeepHolesSide.",
    needs=("base-rail",),
    good=detail(),
    bad=detail()
    .pierced("rail 1", (2995.0, 3005.0), (23.0, 33.0))
    .saying("The weep hole of rail 1 lies 30 mm inside the middle of the rail."),
)
def base_rail_drainage(rails: BaseRails, facade: Facade, limits: Limits) -> Verdicts:
    """Base rail lets water out to the outside.

    Water that gets behind the flashing or condenses in the seam gathers in the rail. Without a way out it stands there
    and finds one inwards; a hole behind the seal strip is an air path into the hall. Holes in the lower half that look
    down or outwards count, holes that look inwards are for bolts. What is drawn counts before what is stated.
    """
    count = len(rails)
    drawn = ~np.isnan(rails.weep)
    said = np.array([stated_side(facade, e, SIDE) for e in rails.element.tolist()], np.int64)
    inside = exceeds(rails.weep, limits.outer_mm / MM, np.inf)
    wrong = np.where(drawn, inside, said < 0)
    denied = drawn & ~inside & (said < 0)
    absent = ~drawn & (said == 0)
    modelled = bool((drawn | (said != 0)).any())
    fault = np.array([bool(text) for text in rails.fault], bool)
    state = np.where(fault, UNDECIDED, np.where(wrong | denied | absent, FAIL, PASS))
    state = state if modelled else np.full(count, NOT_MODELLED)

    def sentence(i: int) -> str:
        if state[i] == UNDECIDED:
            return rails.fault[i]
        if state[i] != FAIL:
            return ""
        if absent[i]:
            return "Base rail has no weep hole, and none is stated"
        if denied[i]:
            return "Base rail states that it drains inwards, but its weep holes are drawn in the outer part"
        if not drawn[i]:
            return "Base rail states that it drains inwards, required outwards"
        low, place = limits.outer_mm, rails.weep[i]
        where = f"{in_mm(abs(place))} {'inside' if place < 0 else 'outside'} the middle of the base rail"
        return f"Weep hole lies {where}, required at least {low:g} mm outside"

    return Verdicts(
        state=state,
        value_mm=np.where(drawn & ~denied & np.isin(state, (PASS, FAIL)), rails.weep * MM, np.nan),
        minimum_mm=np.where(drawn & ~denied, limits.outer_mm, np.nan),
        maximum_mm=np.full(count, np.nan),
        point=rails.point,
        span=spans(rails.point, facade.sides.frame[rails.side, 2], np.where(drawn & ~denied, rails.weep, np.nan), 1.0),
        says=[sentence(i) for i in range(count)],
        warning=denied,
        blame=Blame.unmovable(
            rails.element,
            facade.sides.frame[rails.side, 0],
            rails.side * 3 + np.where(absent, 0, 1 + ~drawn),
            rails.element,
        ),
    )
