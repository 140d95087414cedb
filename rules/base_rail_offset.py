"""Base rail to column face."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, RailSupports
from checker.rule import MM, Blame, Verdicts, exceeds, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    minimum_mm: float = limit(7.0, "mm", "clear distance between base rail and column face", basis="practice")
    maximum_mm: float = limit(9.0, "mm", "clear distance between base rail and column face", basis="practice")


@rule(
    subject=RailSupports,
    limits=Limits,
    remedy="Set the base rail to the thickness of the compressed column seal in front of the column face.",
    needs=("base-rail", "column"),
    good=detail(),
    bad=detail().moved("rail 1", z=5.0).saying("Rail 1 lies 13 mm in front of the columns instead of 8."),
    seen_from="inside",
)
def base_rail_offset(supports: RailSupports, facade: Facade, limits: Limits) -> Verdicts:
    """Base rail keeps its distance from the column face.

    The seal strip on the column passes behind the rail. Too little room crushes it, too much leaves it loose, and the
    panels above stand off the strip on the column.
    """
    low, high = limits.minimum_mm / MM, limits.maximum_mm / MM
    bad = exceeds(supports.smallest, low, np.inf) | exceeds(supports.largest, -np.inf, high)
    # Where every rail at a column is off, and none of them elsewhere, it is the column.
    size = 1 + int(max(supports.rail.max(initial=0), supports.column.max(initial=0)))
    all_of_column = np.bincount(supports.column, ~bad, size) == 0
    all_of_rail = np.bincount(supports.rail, ~bad, size) == 0
    several = np.bincount(supports.column, minlength=size) > 1
    column = bad & all_of_column[supports.column] & several[supports.column] & ~all_of_rail[supports.rail]
    part = np.where(column, supports.column, supports.rail)
    least, most = low - supports.smallest, high - supports.largest
    return within(
        supports.smallest,
        supports.largest,
        limits.minimum_mm,
        limits.maximum_mm,
        at_smallest=supports.at_smallest,
        at_largest=supports.at_largest,
        fault=supports.fault,
        says_low="Base rail is only {value} off the column face",
        says_high="Base rail is {value} off the column face",
        says_negative="Base rail cuts into the column by {distance}",
        way=-supports.towards,
        blame=Blame(
            part=part,
            what=["column" if c else "base rail" for c in column],
            along=supports.towards,
            least=np.where(column, -most, least),
            most=np.where(column, -least, most),
            cause=part,
            anchor=part,
        ),
    )
