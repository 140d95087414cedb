"""Places where the joints between rows of panels end at an upright seam."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker import geometry as g
from checker.facade import Crossings, PanelEdgeSeams, PanelEndSeams, fault_of, unique
from checker.joints import WIDEST_EDGE, tongues
from checker.model import Floats, Ints
from checker.walls import APART, ONE_PLACE, Walls

SAME_ROW: Final = 0.30
"""Joints on both sides of a seam further apart in height than this are no joint of one row (metres)."""


@dataclass(frozen=True)
class _Ends:
    """Ends (k,) of joints at one side of upright seams.

    ``joint`` and ``seam`` are positions in the panel-edge and panel-end seams; ``low`` and ``high`` bound the open
    joint in the upright seam's coordinate along; ``to_edge`` is how far the nearest edge of the panel across the
    seam lies above it, 0 where it lies at the joint.
    """

    joint: Ints
    seam: Ints
    low: Floats
    high: Floats
    to_edge: Floats


def crossings(walls: Walls, ends: PanelEndSeams, edges: PanelEdgeSeams) -> Crossings:
    """Every place where joints end at an upright seam; a joint on either side at one height makes one place."""
    left, right = (_ends(walls, ends, edges, on_left) for on_left in (True, False))
    a, b = _mutual(ends.line[left.seam], _middle(left), ends.line[right.seam], _middle(right))
    lone_a, lone_b = np.setdiff1d(np.arange(len(left.joint)), a), np.setdiff1d(np.arange(len(right.joint)), b)
    step = np.concatenate(
        [_apart(left.low[a], left.high[a], right.low[b], right.high[b]), left.to_edge[lone_a], -right.to_edge[lone_b]]
    )
    of_left = np.concatenate([a, lone_a])
    nobody, number = -1, len(step)
    joint = np.full((number, 2), nobody)
    joint[: len(of_left), 0] = left.joint[of_left]
    joint[: len(b), 1], joint[len(of_left) :, 1] = right.joint[b], right.joint[lone_b]
    seam = np.concatenate([left.seam[of_left], right.seam[lone_b]])
    along = np.concatenate([_middle(left)[of_left], _middle(right)[lone_b]])
    order = np.lexsort((along.round(6), seam))
    joint, seam, along, step = joint[order], seam[order], along[order], step[order]
    across = 0.5 * (ends.near + ends.far)[seam]
    out = 0.5 * (ends.inner + ends.outer)[seam]
    panel = np.where(joint[:, :, None] >= 0, np.stack([edges.left, edges.right], axis=1)[joint], -1)
    parts = np.concatenate([panel.reshape(number, 4), ends.column[seam][:, None]], axis=1)
    row = edges.row[joint.max(axis=1)] if number else np.zeros(0, np.int64)
    axis = tuple(ends.axis[i] for i in seam)
    names = [walls.sides.names[side] for side in ends.side[seam]]
    return Crossings(
        kind=("crossing",) * number,
        ids=unique(
            ["/".join(filter(None, ("crossing", n, x, str(r)))) for n, x, r in zip(names, axis, row, strict=True)]
        ),
        side=ends.side[seam],
        axis=axis,
        row=row,
        length=np.zeros(number),
        parts=parts,
        point=g.world(ends.frame[seam], np.stack([along, across, out], axis=1)),
        fault=tuple(fault_of(walls.model, each) for each in parts),
        left=joint[:, 0],
        right=joint[:, 1],
        end=seam,
        along=along,
        step=step,
    )


def _ends(walls: Walls, ends: PanelEndSeams, edges: PanelEdgeSeams, on_left: bool) -> _Ends:
    """Where joints end at upright seams on their left (``on_left``, the joints' right ends) or on their right."""
    p = walls.panels
    below, above = np.searchsorted(p.element, edges.left), np.searchsorted(p.element, edges.right)
    at = edges.end if on_left else edges.start
    side = -1 if on_left else 1
    low = g.sample(p.top.take(below), at[:, None], side)[:, 0] - tongues(walls, below, True)
    high = g.sample(p.bottom.take(above), at[:, None], side)[:, 0] + tongues(walls, above, False)
    low, high = np.minimum(low, high), np.maximum(low, high)
    place = g.world(edges.frame, np.stack([at, 0.5 * (low + high), edges.inner], axis=1))

    # The upright seam at that end of the panel below, else of that above.
    own, opposite = (ends.left, ends.right) if on_left else (ends.right, ends.left)
    order = np.argsort(own, kind="stable")
    panel = np.concatenate([edges.left, edges.right])
    entries, which = g.spread(np.searchsorted(own[order], np.arange(len(walls.model.elements) + 1)), panel)
    found = order[entries]
    joint = which % max(len(edges), 1)
    height = np.einsum("nj,nj->n", place[joint], ends.frame[found, 0])
    across = np.einsum("nj,nj->n", place[joint], ends.frame[found, 1])
    meets = (height > ends.start[found] - WIDEST_EDGE) & (height < ends.end[found] + WIDEST_EDGE)
    meets &= np.abs(across - (ends.near if on_left else ends.far)[found]) < ONE_PLACE
    joint, found, height = joint[meets], found[meets], height[meets]
    joint, lead = np.unique(joint, return_index=True)
    found, height = found[lead], height[lead]
    half = 0.5 * (high - low)[joint]
    low, high = height - half, height + half
    across_seam = np.searchsorted(p.element, opposite[found])
    edge = np.stack(
        [
            p.low[across_seam, 1] + tongues(walls, across_seam, False),
            p.high[across_seam, 1] - tongues(walls, across_seam, True),
        ],
        axis=1,
    )
    off = edge - np.clip(edge, low[:, None], high[:, None])
    to_edge = off[np.arange(len(off)), np.abs(off).argmin(axis=1)] if len(off) else np.zeros(0)
    return _Ends(joint, found, low, high, to_edge)


def _middle(ends: _Ends) -> Floats:
    middle: Floats = 0.5 * (ends.low + ends.high)
    return middle


def _mutual(line: Ints, height: Floats, other_line: Ints, other_height: Floats) -> tuple[Ints, Ints]:
    """Pairs of places on common lines of which each is the other's nearest, no further away than `SAME_ROW`."""
    there = _nearest(line, height, other_line, other_height)
    back = _nearest(other_line, other_height, line, height)
    pairs = np.flatnonzero(there >= 0)
    pairs = pairs[back[there[pairs]] == pairs]
    return pairs, there[pairs]


def _nearest(line: Ints, height: Floats, other_line: Ints, other_height: Floats) -> Ints:
    """For each place the nearest of others on its line, -1 where none is within `SAME_ROW`."""
    best = np.full(len(line), -1, np.int64)
    if len(other_line):
        order = np.lexsort((other_height, other_line))
        key, sorted_key = height + APART * line, (other_height + APART * other_line)[order]
        after = np.searchsorted(sorted_key, key)
        around = np.clip(np.stack([after - 1, after], axis=1), 0, len(order) - 1)
        distance = np.abs(sorted_key[around] - key[:, None])
        pick = distance.argmin(axis=1)
        rows = np.arange(len(line))
        best = np.where(distance[rows, pick] < SAME_ROW, order[around[rows, pick]], -1)
    return best


def _apart(low: Floats, high: Floats, other_low: Floats, other_high: Floats) -> Floats:
    """How far other stretches lie above (positive) or below stretches (n,): 0 where one lies within the other.

    Of both steps, of the lower and of the upper edge, the smaller one: the larger one has the difference in width.
    """
    lower, upper = other_low - low, other_high - high
    apart: Floats = np.maximum(np.minimum(lower, upper), 0.0) + np.minimum(np.maximum(lower, upper), 0.0)
    return apart
