"""Step between plinth elements."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import BaseSeams, Facade, PlinthJoints
from checker.geometry import SAME_LENGTH, highest, lowest
from checker.lanes import lanes_of
from checker.model import Bools
from checker.rule import FAIL, MM, PASS, Blame, Verdicts, limit, rule, within
from checker.sketch import detail
from rules.plinth_seal import LAYER as SEAL

FOLLOWS: Final = 2e-3
"""A strip follows a step when its pieces step by as much, give or take this (metres)."""
BUTT: Final = 0.03
"""The pieces of a strip that is cut at a step butt no further from the joint (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    maximum_mm: float = limit(10.0, "mm", "largest step a seal strip can follow", basis="practice")
    cut_from_mm: float = limit(
        7.0, "mm", "from here on the strip must be cut at the step: a warning where it is not", basis="practice"
    )


@rule(
    subject=PlinthJoints,
    limits=Limits,
    remedy="Level the plinth elements; where a step stays, cut the seal strip there and butt it on both levels.",
    needs=("plinth",),
    good=detail(),
    bad=detail()
    .stretched("plinth 2", "top", -12.0)
    .saying("Plinth 2 lies 12 mm lower than plinth 1: the strip bridges a step."),
    lengthwise="facing",
)
def plinth_step(joints: PlinthJoints, facade: Facade, limits: Limits) -> Verdicts:
    """Neighbouring plinth tops meet without a step.

    A seal strip that bridges a step hangs free beside it and leaves a wedge open to the outside. Near the largest step
    the strip must be cut: a warning, unless it is drawn in pieces that butt at the joint, each on its own level.
    """
    step = np.abs(joints.step)
    verdicts = within(
        step,
        step,
        -np.inf,
        limits.maximum_mm,
        at_smallest=joints.at_width_min,
        at_largest=joints.at_width_max,
        fault=joints.fault,
        says_low="",
        says_high="Step of {value} between neighbouring plinth tops",
        way=-joints.frame[:, 0],
    )
    bound = min(limits.cut_from_mm, limits.maximum_mm) / MM
    cut = (verdicts.state == PASS) & (step >= limits.cut_from_mm / MM - SAME_LENGTH) & ~_followed(facade, joints)
    right_is_off = np.abs(joints.level_right) >= np.abs(joints.level_left) - SAME_LENGTH
    # Shifts of the element further off its level that leave less than the warning's step at both of its joints.
    room = max(bound - 1e-3, 0.0)
    part = np.where(right_is_off, joints.right, joints.left)
    elements, lift = np.concatenate([joints.left, joints.right]), np.concatenate([joints.step, -joints.step])
    size = int(elements.max(initial=-1)) + 1
    least, most = highest(lift, elements, size) - room, lowest(lift, elements, size) + room
    return replace(
        verdicts,
        state=np.where(cut, FAIL, verdicts.state),
        warning=cut,
        maximum_mm=np.where(cut, limits.cut_from_mm, limits.maximum_mm),
        says=[
            f"Step of {step[i] * MM:.1f} mm between neighbouring plinth tops, "
            f"the seal strip must be cut from {limits.cut_from_mm:g} mm on"
            if cut[i]
            else verdicts.says[i]
            for i in range(len(step))
        ],
        blame=Blame(
            part=part,
            what=("plinth element",) * len(part),
            along=facade.sides.frame[joints.side, 1],
            least=least[part],
            most=most[part],
            cause=part * 2 + cut,
            anchor=part,
        ),
    )


def _followed(facade: Facade, joints: PlinthJoints) -> Bools:
    """Whether the strip on the plinth is cut at each joint (n,), and its pieces step as the plinth tops do."""
    seams, result = facade.seams[BaseSeams], np.zeros(len(joints), bool)
    pieces = [lane.inside.take(lane.inside.parallel) for lane in lanes_of(facade, SEAL, BaseSeams)]
    for i in np.flatnonzero(joints.step != 0).tolist():
        middle = 0.5 * (joints.near[i] + joints.far[i])
        for mine in (each.take(np.isin(each.lane, seams.line[seams.side == joints.side[i]])) for each in pieces):
            ends, starts = np.abs(mine.end - middle) < BUTT, np.abs(mine.start - middle) < BUTT
            steps = mine.low[starts, 0][None, :] - mine.low[ends, 0][:, None]
            spans = (mine.start < middle - BUTT) & (mine.end > middle + BUTT)
            result[i] |= bool((np.abs(steps - joints.step[i]) < FOLLOWS).any() and not spans.any())
    return result
