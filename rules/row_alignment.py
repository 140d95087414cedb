"""Horizontal joints of neighbouring bays."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Crossings, Facade, PanelEdgeSeams
from checker.geometry import SAME_LENGTH, highest, lowest
from checker.measure import stacks
from checker.model import Bools, Floats, Ints
from checker.rule import MM, Blame, Verdicts, exceeds, limit, rule, within
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    maximum_mm: float = limit(3.0, "mm", "largest step between the joints on both sides of a column", basis="practice")


@rule(
    subject=Crossings,
    limits=Limits,
    remedy="Level the rows of both bays from the same mark, row by row, and lay out their heights alike.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("panel 1.1", "top", 6.0)
    .stretched("panel 1.2", "bottom", 6.0)
    .moved("gasket 1.2", y=6.0)
    .saying("The joint of the left bay lies 6 mm above that of the right one."),
    lengthwise="facing",
)
def row_alignment(crossings: Crossings, facade: Facade, limits: Limits) -> Verdicts:
    """Horizontal joints of neighbouring bays meet at the column.

    The sealants in the grooves of both bays, the strips on the column and the tape over the seam cross at one height.
    Where the joints do not meet there, a groove ends blind at the neighbour's panel and its seal has nothing to join.
    """
    edges = facade.of(PanelEdgeSeams)
    assert isinstance(edges, PanelEdgeSeams)
    apart = np.abs(crossings.step)
    joint = _off_level(crossings, edges)
    stack, off, shift = _off_whole(crossings, facade, edges, limits.maximum_mm / MM)
    room = limits.maximum_mm / MM
    up = facade.sides.frame[crossings.side, 1]
    below, above = edges.left[stack.clip(0)], edges.right[stack.clip(0)]
    return within(
        apart,
        apart,
        -np.inf,
        limits.maximum_mm,
        at_smallest=crossings.point,
        at_largest=crossings.point,
        fault=crossings.fault,
        says_low="",
        says_high="Horizontal joints of neighbouring bays end {value} apart in height",
        way=up,
        before=0.5,
        blame=Blame(
            part=np.where(off, above, edges.right[joint]),
            what=["panel" if each else "" for each in off],
            along=up,
            least=np.where(off, shift - room, np.inf),
            most=np.where(off, shift + room, -np.inf),
            cause=np.where(off, stacks(facade)[above], len(facade.model.elements) + joint),
            anchor=np.where(off, above, edges.right[joint]),
            also=np.where(off, below, -1)[:, None],
        ),
    )


def _off_level(crossings: Crossings, edges: PanelEdgeSeams) -> Ints:
    """The joint of each crossing (position in the edges) that lies further off the level of its row on that side."""
    level = 0.5 * (edges.near + edges.far)
    row = np.unique(np.stack([edges.side, edges.row], axis=1), axis=0, return_inverse=True)[1].reshape(-1)
    usual = np.array([np.median(level[row == k]) for k in range(int(row.max(initial=-1)) + 1)])
    off = np.abs(level - usual[row])
    left, right = crossings.left, crossings.right
    further = (left < 0) | ((right >= 0) & (off[right] > off[left] + SAME_LENGTH))
    return np.where(further, right, left)


def _off_whole(
    crossings: Crossings, facade: Facade, edges: PanelEdgeSeams, tolerance: float
) -> tuple[Ints, Bools, Floats]:
    """For crossings that fail because a whole stack of panels hangs too high or too low, the joint of that stack there.

    Also whether it is so (n,), and the shift upwards that brings the stack to the height of its neighbours. A stack is
    off as a whole when all its crossings fail and one shift mends them; of two such neighbours that with more of them.
    """
    number = stacks(facade)
    # How far each crossing lies too low (positive) or too high for the stack on its left, and on its right.
    joint = np.concatenate([crossings.left, crossings.right])
    lift = np.concatenate([crossings.step, -crossings.step])
    known = joint >= 0
    stack = np.where(known, number[edges.left[joint]], 0)
    size = int(number.max(initial=-1)) + 1
    low = highest(lift[known] - tolerance, stack[known], size)
    high = lowest(lift[known] + tolerance, stack[known], size)
    bad = exceeds(np.abs(lift), -np.inf, tolerance)
    every = np.bincount(stack[known & ~bad], minlength=size) == 0
    whole = every & (low <= high + SAME_LENGTH)
    count = len(crossings)
    mine = known & bad & whole[stack]
    number_bad = np.where(mine, np.bincount(stack[known & bad], minlength=size)[stack], 0)
    of_left, of_right = number_bad[:count], number_bad[count:]
    off, side = of_left != of_right, np.where(of_left > of_right, 0, 1)  # where both are alike, nobody can tell which
    picked = np.where(off, np.stack([crossings.left, crossings.right])[side, np.arange(count)], -1)
    return picked, off, np.where(side == 0, crossings.step, -crossings.step)
