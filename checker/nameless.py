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


AT_EDGE: Final = 0.5
"""What seals or fills an edge of a panel has every point of its section nearer to that edge than this."""
STACKED: Final = 0.1
"""Panels one above the other are no further apart than this."""


def at_panel_edges(model: Model, points: Floats) -> Bools:
    """Which points (k, 3) lie near an upright end of any panel, or near the lowest or highest edge of a wall of them.

    Something of each body without a role lies there, or it fills no gap and seals no edge: such bodies need no reading.
    """
    box = boxes(model.meshes)
    panel = np.array([i for i, role in enumerate(model.roles) if role.role == "panel"], np.int64)
    panel = panel[box.size[panel, 0] > 0]
    normal = box.axes[panel, 2] * [1.0, 1.0, 0.0]
    upright = np.linalg.norm(normal, axis=1) > 0.5
    panel, normal = panel[upright], normal[upright] / np.linalg.norm(normal[upright], axis=1, keepdims=True)
    along = np.stack([-normal[:, 1], normal[:, 0], normal[:, 2]], axis=1)
    reach = [
        0.5 * np.einsum("pk,pk->p", box.size[panel], np.abs(np.einsum("pkj,pj->pk", box.axes[panel], way)))
        for way in (along, normal)
    ]
    low, high = box.low[panel], box.high[panel]
    plan = shapely.box(*low[:, :2].T, *high[:, :2].T)
    tree = shapely.STRtree(plan)
    below, above = tree.query(plan)
    stacked = (below != above) & (np.abs(low[above, 2] - high[below, 2]) < STACKED)
    covered = np.stack([np.isin(np.arange(len(panel)), which[stacked]) for which in (above, below)])
    k, p = tree.query(shapely.box(*(points[:, :2] - AT_EDGE).T, *(points[:, :2] + AT_EDGE).T))
    off = points[k] - box.centre[panel[p]]
    u, d = (np.abs(np.einsum("ij,ij->i", off, way[p])) for way in (along, normal))
    z = points[k, 2]
    near = (u < reach[0][p] + AT_EDGE) & (d < reach[1][p] + AT_EDGE)
    near &= (z > low[p, 2] - AT_EDGE) & (z < high[p, 2] + AT_EDGE)
    at_end = u > reach[0][p] - AT_EDGE
    at_foot = ~covered[0][p] & (z < low[p, 2] + AT_EDGE)
    at_head = ~covered[1][p] & (z > high[p, 2] - AT_EDGE)
    result = np.zeros(len(points), bool)
    result[k[near & (at_end | at_foot | at_head)]] = True
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
