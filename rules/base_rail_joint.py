"""Joints of base rails."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, RailJoints
from checker.geometry import SAME_LENGTH, highest, lowest
from checker.rule import MM, Blame, Verdicts, exceeds, limit, rule, within
from checker.sketch import corner


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    gap_mm: float = limit(10.0, "mm", "largest gap between the ends of two rails", basis="practice")
    overlap_mm: float = limit(1.0, "mm", "deepest overlap of two rails", basis="practice")


@rule(
    subject=RailJoints,
    limits=Limits,
    remedy="Let the rails butt; at a corner the second one ends at the first, or gives way with its inner flange.",
    needs=("base-rail",),
    good=corner(),
    bad=corner().stretched("rail 2", "front", 20.0).saying("At the corner rail 2 runs 18 mm into rail 1."),
    seen_from="inside",
)
def base_rail_joint(joints: RailJoints, facade: Facade, limits: Limits) -> Verdicts:
    """Base rails butt, and at corners no rail runs into another.

    Seal strip and insulation are pressed by the rails: over a wide gap they sag and leave an air path. Rails that
    overlap cannot be erected as drawn, and what is done on site instead opens the corner. Along a side the clear
    distance between the ends counts, at a corner that between the bodies themselves, so that a flange may give way.
    """
    low, high = -limits.overlap_mm / MM, limits.gap_mm / MM
    bad = exceeds(joints.gap, low, high)
    # Which shifts of each rail to the right keep all of its joints within the limits.
    rail = np.concatenate([joints.first, joints.second])
    opens = np.concatenate([joints.opens_first, joints.opens_second])
    gap = np.concatenate([joints.gap, joints.gap])
    held = opens != 0
    size = int(rail.max(initial=-1)) + 1
    least = highest(np.where(opens > 0, low - gap, gap - high)[held], rail[held], size)
    most = lowest(np.where(opens > 0, high - gap, gap - low)[held], rail[held], size)
    room = most - least
    mends = room >= -SAME_LENGTH
    # The rail that fails at more of its joints moves; where both fail as often that with more room, else the second.
    fails = np.bincount(np.concatenate([joints.first, joints.second])[np.tile(bad, 2)], minlength=size)
    can_first = (joints.opens_first != 0) & mends[joints.first]
    can_second = (joints.opens_second != 0) & mends[joints.second]
    more = fails[joints.first] - fails[joints.second]
    roomier = room[joints.first] > room[joints.second] + SAME_LENGTH
    first = can_first & (~can_second | (more > 0) | ((more == 0) & roomier))
    part, can = np.where(first, joints.first, joints.second), can_first | can_second
    count = len(joints)
    return within(
        joints.gap,
        joints.gap,
        -limits.overlap_mm,
        limits.gap_mm,
        at_smallest=joints.point,
        at_largest=joints.point,
        fault=joints.fault,
        says_low="Base rails overlap by {distance}",
        says_high="Base rails leave {value} open between them",
        says_negative="Base rails overlap by {distance}",
        way=joints.way,
        before=0.5,
        blame=Blame(
            part=part,
            what=["base rail" if c else "" for c in can],
            along=np.where(first[:, None], joints.right_first, joints.right_second),
            least=np.where(can, least[part], np.inf),
            most=np.where(can, most[part], -np.inf),
            cause=np.where(can & bad, part, size + np.arange(count)),
            anchor=part,
        ),
    )
