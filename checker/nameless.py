"""Which elements at the facade were recognised as nothing: what a seal or flashing may hide behind."""

from typing import Final

import numpy as np
import shapely

from checker.geometry import boxes
from checker.model import Bools, Floats, Ints, Model

REACH: Final = 0.3
"""An element nearer than this to the plane of a panel, and beside it, lies at the facade."""
THIN: Final = 0.3
"""Sealing parts are flat or slender: their thinnest side is no more than this..."""
LONG: Final = 0.5
"""...and their longest no less than this."""


BESIDE: Final = 0.5
"""What fills a gap or seals an edge has no point further beside the panel than this..."""
BEFORE: Final = 0.25
"""... or further before or behind its faces."""


def at_panels(model: Model, points: Floats) -> Bools:
    """Which points (k, 3) lie at a panel, so that the bodies they belong to may fill one of its gaps."""
    box = boxes(model.meshes)
    panel = np.array([i for i, role in enumerate(model.roles) if role.role == "panel"], np.int64)
    panel = panel[box.size[panel, 0] > 0]
    grown = box.size[panel] + 2 * np.array([BESIDE, BESIDE, BEFORE])
    tree = shapely.STRtree(shapely.box(*(box.low[panel, :2] - BESIDE).T, *(box.high[panel, :2] + BESIDE).T))
    point, which = tree.query(shapely.points(points[:, :2]))
    off = np.abs(np.einsum("ikj,ij->ik", box.axes[panel[which]], points[point] - box.centre[panel[which]]))
    near = (2 * off <= grown[which]).all(axis=1)
    result = np.zeros(len(points), bool)
    result[point[near]] = True
    return result


def nameless_at_facade(model: Model) -> Ints:
    """Numbers of the flat or slender elements without a role that lie at a panel, ascending.

    Elements without a body cannot be placed and are left out, as are parts of an element that is listed itself and
    elements whose parts have roles.
    """
    box = boxes(model.meshes)
    roles = np.array([role.role for role in model.roles], dtype=object)
    parts = [{(e.source, guid) for guid in e.shown if guid != e.guid} for e in model.elements]
    listed = {part for found in parts for part in found}
    known = {(e.source, e.guid) for e, role in zip(model.elements, roles, strict=True) if role}
    alone = np.array(
        [
            (e.source, e.guid) not in listed and not role.part_of and known.isdisjoint(found)
            for e, role, found in zip(model.elements, model.roles, parts, strict=True)
        ],
        bool,
    )
    longest, thinnest = box.size[:, 0], box.size[:, 2]
    candidates = np.flatnonzero((roles == "") & alone & (longest >= LONG) & (thinnest <= THIN))
    panels = np.flatnonzero((roles == "panel") & (longest > 0))
    reach = shapely.box(*(box.low[candidates, :2] - REACH).T, *(box.high[candidates, :2] + REACH).T)
    plan = shapely.box(*box.low[panels, :2].T, *box.high[panels, :2].T)
    which, other = shapely.STRtree(plan).query(reach)
    element, panel = candidates[which], panels[other]
    level = (box.low[element, 2] - REACH <= box.high[panel, 2]) & (box.high[element, 2] + REACH >= box.low[panel, 2])
    # Boxes along the world axes are wide where a hall stands at an angle: the panel's own plane decides.
    normal = box.axes[panel, 2]
    apart = np.abs(np.einsum("ij,ij->i", box.centre[element] - box.centre[panel], normal))
    half = 0.5 * np.einsum("ij,ij->i", box.size[element], np.abs(np.einsum("ikj,ij->ik", box.axes[element], normal)))
    near = level & (apart - half - 0.5 * box.size[panel, 2] <= REACH)
    result: Ints = np.unique(element[near])
    return result
