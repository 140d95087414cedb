"""From a model to its facade: every seam of every kind."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final, cast

import numpy as np
import shapely

from checker.crossings import crossings
from checker.facade import BaseSeams, CornerSeams, Facade, Layer, OfKind, PanelEdgeSeams, PanelEndSeams, Seams
from checker.field import bays
from checker.foot import base, corners_of_foot, plinth_joints
from checker.joints import corners, panel_edges, panel_ends
from checker.model import Bools, Ints, Model
from checker.occupancy import fillings, occupied
from checker.openings import openings
from checker.rails import base_rails, joints, rails_of, supports
from checker.roof import roof_edges
from checker.walls import Walls
from checker.ways import ON_COLUMNS, tally, way_of_seams, ways_of, without_crossed

NOTHING: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType({})
SIGHT: Final = 1000.0
"""How far away the walls that enclose a partition may stand."""


def build(
    model: Model,
    layers: Sequence[Layer] = (),
    checked: Collection[str] = (ON_COLUMNS,),
    stated: Mapping[str, tuple[str, ...]] = NOTHING,
) -> Facade:
    """Find sides, panels, columns and seams of a model; ``layers`` are all that parts may belong to.

    Rules are to be asked of panels in the ``checked`` ways of building. ``stated`` are further names under which parts
    may state a layer. Elements without a body are left out; the
    caller tells of them.
    """
    walls = Walls(model)
    ends = panel_ends(walls)
    if len(partitions := _partitions(walls, ends)):
        walls = Walls(model, partitions)
        ends = panel_ends(walls)
    panel = np.array([role.role == "panel" for role in model.roles], bool)
    ends, in_gaps = without_crossed(ends, fillings(model, walls.boxes, ends), panel)
    ends = occupied(ends, in_gaps)
    edges, standing = panel_edges(walls)
    edges = occupied(edges, fillings(model, walls.boxes, edges))
    foot, plinths = base(walls, standing)
    ways = ways_of(walls, ends, in_gaps)
    corner, plinth_joint = corners(walls), plinth_joints(walls, plinths)
    seams, apart = dict[type[Seams], Seams](), dict[type[Seams], Seams]()
    way_of: dict[str, str] = {}
    for each in (ends, edges, foot, plinth_joint, corner, openings(walls), roof_edges(walls)):
        found = way_of_seams(walls, ways, each, checked)
        asked = np.isin(found, list(checked)) if len(each) else np.zeros(0, bool)
        seams[type(each)], apart[type(each)] = _part_of(each, asked), _part_of(each, ~asked)
        way_of |= dict(zip(each.ids, found, strict=True))
    # What lies under a side belongs to it where any of its panels is asked about.
    sides = np.unique(walls.panels.side[np.isin(ways, list(checked))]) if ways else np.zeros(0, np.int64)
    told = tally(walls, ways, ends, [way_of[each] for each in ends.ids], checked)
    ends, edges, foot = _of(seams, PanelEndSeams), _of(seams, PanelEdgeSeams), _of(seams, BaseSeams)
    foot_corners = corners_of_foot(walls, foot, _of(seams, CornerSeams))
    rails = rails_of(walls)
    held = supports(walls, rails)
    at_sides = joints(walls, rails, held, foot, foot_corners), base_rails(walls, rails), bays(walls, ends, edges)
    return Facade(
        model,
        walls.boxes,
        walls.sides,
        walls.panels,
        walls.columns,
        seams,
        plinths.take(np.isin(plinths.side, sides)),
        held.take(np.isin(held.side, sides)),
        others=(
            foot_corners,
            *(each.take(np.isin(each.side, sides)) for each in at_sides),
            crossings(walls, ends, edges),
        ),
        layers=tuple(layers),
        apart=apart,
        ways=told,
        way_of=way_of,
        stated=stated,
    )


def _of(seams: dict[type[Seams], Seams], kind: type[OfKind]) -> OfKind:
    """The seams of one kind."""
    return cast(OfKind, seams[kind])


def _part_of(seams: Seams, keep: Bools) -> Seams:
    """Some of the seams, their lines numbered without holes."""
    if keep.all():
        return seams
    rest = seams.take(keep)
    return replace(rest, line=np.unique(rest.line, return_inverse=True)[1].reshape(-1))


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
