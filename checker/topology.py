"""From a model to its facade: every seam of every kind."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from checker.crossings import crossings
from checker.facade import Facade, Layer, Seams
from checker.field import bays
from checker.foot import base, corners_of_foot, plinth_joints
from checker.joints import corners, panel_edges, panel_ends
from checker.model import Ints, Model
from checker.openings import openings
from checker.rails import base_rails, joints, rails_of, supports
from checker.roof import roof_edges
from checker.walls import Walls

SIGHT: Final = 1000.0
"""How far away the walls that enclose a partition may stand."""


def build(model: Model, layers: Sequence[Layer] = ()) -> Facade:
    """Find sides, panels, columns and seams of a model; ``layers`` are all that parts may belong to.

    Elements without a body are left out; the caller tells of them.
    """
    walls = Walls(model)
    ends = panel_ends(walls)
    if len(partitions := _partitions(walls, ends)):
        walls = Walls(model, partitions)
        ends = panel_ends(walls)
    edges, standing = panel_edges(walls)
    foot, plinths = base(walls, standing)
    corner = corners(walls)
    every = (ends, edges, foot, plinth_joints(walls, plinths), corner, openings(walls), roof_edges(walls))
    foot_corners = corners_of_foot(walls, foot, corner)
    rails = rails_of(walls)
    held = supports(walls, rails)
    return Facade(
        model,
        walls.boxes,
        walls.sides,
        walls.panels,
        walls.columns,
        {type(each): each for each in every},
        plinths,
        held,
        others=(
            foot_corners,
            joints(walls, rails, held, foot, foot_corners),
            base_rails(walls, rails),
            crossings(walls, ends, edges),
            bays(walls, ends, edges),
        ),
        layers=tuple(layers),
    )


def _partitions(walls: Walls, ends: Seams) -> Ints:
    """Panels of the walls inside: those with no joint at a column that have outer walls on both of their sides."""
    p, count = walls.panels, len(walls.sides.names)
    joints = np.bincount(ends.side, minlength=count)
    held = np.bincount(ends.side[ends.column >= 0], minlength=count)
    loose = (held == 0) & ((joints > 0) | ~np.isin(np.arange(count), walls.columns.side))
    lines, middles = [], []
    for side, frame in enumerate(walls.sides.frame):
        mine = p.side == side
        middle = 0.5 * (walls.sides.inner[side] + walls.sides.outer[side]) * frame[2, :2]
        begin, finish = p.low[mine, 0].min() * frame[0, :2] + middle, p.high[mine, 0].max() * frame[0, :2] + middle
        lines.append(shapely.LineString([begin, finish]))
        middles.append(0.5 * (begin + finish))
    others = shapely.union_all([line for line, alone in zip(lines, loose, strict=True) if not alone])

    def enclosed(side: int) -> bool:
        start, out = middles[side], SIGHT * walls.sides.frame[side, 2, :2]
        return all(shapely.intersects(others, shapely.LineString([start, start + way])) for way in (out, -out))

    inside = [side for side in np.flatnonzero(loose).tolist() if enclosed(side)]
    result: Ints = p.element[np.isin(p.side, inside)]
    return result
