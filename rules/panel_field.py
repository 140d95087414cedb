"""Holes in the field of panels."""

from dataclasses import dataclass, replace

import numpy as np

from checker.facade import Bays, Facade
from checker.rule import Blame, Verdicts, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    hole_mm: float = limit(
        60.0, "mm", "what is open no wider than this, between panels or beside them, is a joint", basis="practice"
    )


@rule(
    subject=Bays,
    limits=Limits,
    remedy="Close the hole with a panel, or model the window, door or opening that belongs there.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .without("panel 1.2", "gasket 1.2", "inner sealant 2 left", "outer sealant 2 left")
    .saying("The left bay has no panel in its upper row."),
)
def panel_field(bays: Bays, facade: Facade, limits: Limits) -> Verdicts:
    """Panels fill every bay from base to roof edge, except where an opening is.

    A missing or short panel is the largest leak of all. The foot and the roof edge of a bay are those of its panels, or
    where a whole row is missing what its plinth, its columns and the bays beside it tell. Seams and joints are measured
    on their own and are no holes.
    """
    count = len(bays)
    verdicts = within(
        bays.width,
        bays.width,
        -np.inf,
        limits.hole_mm,
        at_smallest=bays.point,
        at_largest=bays.point,
        fault=bays.fault,
        says_low="",
        says_high="Hole of {area} m² in the field of panels, {length} mm long and {value} wide",
        words={
            "area": [f"{area:.2f}" for area in bays.open],
            "length": [f"{1000 * max(size):.0f}" for size in bays.size],
        },
        way=facade.sides.frame[bays.side, (bays.size[:, 1] < bays.size[:, 0]).astype(int)],
        before=0.5,
        blame=Blame.unmovable(
            np.full(count, -1), facade.sides.frame[bays.side, 0], np.arange(count), bays.beside[:, 0]
        ),
    )
    return replace(verdicts, pieces=bays.beside)
