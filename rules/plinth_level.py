"""Level of the plinth top."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, Plinths
from checker.measure import same_run
from checker.rule import MM, Blame, Verdicts, exceeds, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    tolerance_mm: float = limit(
        10.0,
        "mm",
        "either way from the level of the side; tighter than general building tolerances, so agree it in the contract",
        basis="practice",
    )


@rule(
    subject=Plinths,
    limits=Limits,
    remedy="Bring the plinth element to the level of its side, or agree another level for the whole side.",
    needs=("plinth",),
    good=detail(),
    bad=detail().stretched("plinth 2", "top", -14.0).saying("The top of plinth 2 lies 14 mm below its neighbours."),
)
def plinth_level(plinths: Plinths, facade: Facade, limits: Limits) -> Verdicts:
    """Plinth top lies at the level of its side.

    The level of a side is the median of its plinth tops, weighed by length. A top that is too low leaves the seal strip
    under the base rail uncompressed, one too high lifts the rail; both open the foot of the wall.
    """
    tolerance = limits.tolerance_mm / MM
    below, above = plinths.lowest - plinths.level, plinths.highest - plinths.level
    bad = exceeds(below, -tolerance, np.inf) | exceeds(above, -np.inf, tolerance)
    up = facade.sides.frame[plinths.side, 1]
    return within(
        below,
        above,
        -limits.tolerance_mm,
        limits.tolerance_mm,
        at_smallest=plinths.at_lowest,
        at_largest=plinths.at_highest,
        fault=plinths.fault,
        says_low="Plinth top lies {distance} below the level of its side",
        says_high="Plinth top lies {distance} above the level of its side",
        way=-up,
        blame=Blame(
            part=plinths.element,
            what=("plinth element",) * len(plinths),
            along=up,
            least=-tolerance - below,
            most=tolerance - above,
            cause=same_run(
                plinths.side, plinths.low[:, 0], plinths.high[:, 0], np.where(bad, np.sign(below + above), 0.0)
            ),
            anchor=plinths.element,
        ),
    )
