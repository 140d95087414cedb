"""How the pieces of a layer meet where the feet of two sides form a corner."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import BaseSeams, Facade, FootCorners, Layer
from checker.lanes import Pieces, lanes_of
from checker.model import Floats, Ints
from checker.plan import Clearance, clearance, widest_step

CORNER_REACH: Final = 0.60
"""What closes a corner of the foot lies no further from it (metres)."""


@dataclass(frozen=True)
class CornerMeets:
    """How the pieces of a layer meet at the corners of the foot (c,): ``gap`` in metres, negative where they overlap.

    ``first`` ends at the corner or goes round it, ``second`` starts there or goes round it, as far as they are next to
    the gap; -1 and NaN where one side has no piece. ``way`` (c, 3) is the unit direction in which the second one must
    move to open the gap, ``point`` (c, 3) the place.
    """

    gap: Floats
    first: Ints
    second: Ints
    way: Floats
    point: Floats


def at_corners(facade: Facade, layer: Layer) -> CornerMeets:
    """How pieces of ``layer`` on both sides of each corner of the foot meet (kept)."""
    key = f"{layer.name} at corners"
    if key not in facade.kept:
        facade.kept[key] = _at_corners(facade, layer)
    result: CornerMeets = facade.kept[key]
    return result


def _at_corners(facade: Facade, layer: Layer) -> CornerMeets:
    seams, turns = facade.seams[BaseSeams], facade.of(FootCorners)
    count = len(turns)
    gap, first, second = np.full(count, np.nan), np.full(count, -1), np.full(count, -1)
    way, point = np.zeros((count, 3)), turns.point.copy()
    everyone = facade.elements_of(*layer.roles)
    (lane, *_) = lanes_of(facade, layer, BaseSeams)
    pieces = lane.inside.take(lane.inside.parallel)
    for k, (before, after) in enumerate(zip(turns.before.tolist(), turns.after.tolist(), strict=True)):
        one = _at_end(pieces, int(seams.line[before]), float(seams.end[before]), pieces.end, 1.0)
        two = _at_end(pieces, int(seams.line[after]), float(seams.start[after]), pieces.start, -1.0)
        if not one or not two:
            continue
        low, high = facade.boxes.low[everyone, :2], facade.boxes.high[everyone, :2]
        off = np.maximum(np.maximum(low - turns.point[k, :2], turns.point[k, :2] - high), 0.0)
        near = set(everyone[np.linalg.norm(off, axis=1) < CORNER_REACH].tolist())
        found = _meeting(facade, one, two, near)
        if found is not None:
            first[k], second[k], clear = found
            gap[k], way[k], point[k] = clear.value, clear.way, clear.point
    return CornerMeets(gap, first, second, way, point)


def _at_end(pieces: Pieces, line: int, end: float, reach: Floats, sign: float) -> set[int]:
    """The pieces of a line that come near its end, or go beyond; ``sign`` 1 for its last end, -1 for its first."""
    near = (pieces.lane == line) & (sign * (end - reach) < CORNER_REACH)
    return set(pieces.element[near].tolist())


def _meeting(facade: Facade, one: set[int], two: set[int], near: set[int]) -> tuple[int, int, Clearance] | None:
    """The two pieces of two groups, or of what leads from one to the other, that overlap most or are furthest apart.

    A piece in both groups goes round the corner.
    """
    meshes = facade.model.meshes
    laps = [(clearance(meshes, a, b), a, b) for a in sorted(one - two) for b in sorted(two - one)]
    deep = [(clear, a, b) for clear, a, b in laps if clear is not None and clear.value < 0]
    if deep:
        clear, a, b = min(deep, key=lambda each: each[0].value)
        return a, b, clear
    step = widest_step(meshes, one, two, near - one - two)
    return None if step is None else (step.first, step.second, step.clear)
