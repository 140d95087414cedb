"""What lies in the gaps between panels: which bodies, of whatever role and file, and how much of the gap they fill.

Rays through a gap, from inside outwards, are asked whether they meet a body on their way. That holds for any body: one
that is wider than the gap, hollow, bent, open or in several pieces.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import OfKind, Seams
from checker.model import Bools, Floats, Ints, Model

NARROWEST: Final = 1e-3
"""Parts that leave less between them touch: nothing lies in between."""
INSIDE: Final = 5e-4
"""A body lies in a gap when it reaches further into it than this."""
RAYS: Final = 16
"""Rays through one gap along it, and as many across: so wide or long a part as one in 16 is told."""
LAYERS: Final = frozenset({"seal", "sealant", "foam", "insulation", "tape", "flashing", "membrane", "eave-profile"})
"""Roles of what belongs into a gap or over it; how far these cover a seam is asked layer by layer."""
WORTH_NAMING: Final = 0.05
"""What fills less of a gap than this only touches it."""

OCCUPIED: Final = 0.9
"""A gap of which no less than this share is filled is no open one."""


@dataclass(frozen=True)
class Fillings:
    """What lies in n gaps: ``share`` (n,) filled by anything, NaN where a gap is too narrow to hold something.

    Pairs (m,) of ``seam`` and ``element`` with the ``part`` of the gap that this element fills alone and its whole
    ``depth`` out of the facade, in metres; ``into`` is the share of the gap's depth that lies within that.
    """

    share: Floats
    seam: Ints
    element: Ints
    part: Floats
    depth: Floats
    into: Floats

    def by(self, wanted: Bools) -> Floats:
        """The part (n,) of each gap that the wanted pairs (m,) fill, each counted alone."""
        return g.total(self.part[wanted], self.seam[wanted], len(self.share))


def occupied(seams: OfKind, fillings: Fillings) -> OfKind:
    """The seams, each with what lies in it."""
    order = np.lexsort((fillings.element, -fillings.part.round(6), fillings.seam))
    order = order[fillings.part[order] >= WORTH_NAMING]
    found: list[list[int]] = [[] for _ in range(len(seams))]
    for k in order.tolist():
        found[int(fillings.seam[k])].append(int(fillings.element[k]))
    return replace(seams, filled=fillings.share, occupants=tuple(map(tuple, found)))


def fillings(model: Model, boxes: g.Boxes, seams: Seams) -> Fillings:
    """What of a model lies between the two parts of each seam, sealing parts and openings aside."""
    count = len(seams)
    low = np.stack([seams.start, seams.near, seams.inner], axis=1)
    high = np.stack([seams.end, seams.far, seams.outer], axis=1)
    open_gap = (high - low > NARROWEST).all(axis=1)  # NaN is none
    has_body = np.diff(model.meshes.triangle_start) > 0
    asked = np.array([role.role not in LAYERS and role.role != "opening" for role in model.roles], bool)
    elements = np.flatnonzero(asked & has_body)
    seam, element = _near(boxes, seams, np.flatnonzero(open_gap), low, high, elements)
    own = (seams.parts[seam] == element[:, None])[:, :2].any(axis=1)
    seam, element = seam[~own], element[~own]
    body_low, body_high = g.extents(model.meshes, element, seams.frame[seam])
    lies = ((np.minimum(body_high, high[seam]) - np.maximum(body_low, low[seam])) > INSIDE).all(axis=1)
    shared = np.minimum(body_high, high[seam])[:, 2] - np.maximum(body_low, low[seam])[:, 2]
    into = (shared / (high - low)[seam, 2])[lies]
    seam, element = seam[lies], element[lies]
    hit = _hits(model, seams.frame[seam], element, low[seam], high[seam])
    met = hit.any(axis=1)
    together = np.zeros((count, hit.shape[1]), bool)
    np.logical_or.at(together, seam, hit)
    return Fillings(
        share=np.where(open_gap, together.mean(axis=1), np.nan),
        seam=seam[met],
        element=element[met],
        part=hit[met].mean(axis=1),
        depth=(body_high - body_low)[lies][met, 2],
        into=into[met],
    )


def _near(boxes: g.Boxes, seams: Seams, which: Ints, low: Floats, high: Floats, elements: Ints) -> tuple[Ints, Ints]:
    """Pairs (seam, element) whose boxes along the world axes meet."""
    if len(which) == 0 or len(elements) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    corner = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], bool)
    local = np.where(corner, high[which, None], low[which, None])
    world = np.einsum("sij,sci->scj", seams.frame[which], local)
    first, last = world.min(axis=1), world.max(axis=1)
    tree = shapely.STRtree(shapely.box(*boxes.low[elements, :2].T, *boxes.high[elements, :2].T))
    seam, found = tree.query(shapely.box(*first[:, :2].T, *last[:, :2].T))
    level = (boxes.low[elements[found], 2] < last[seam, 2]) & (boxes.high[elements[found], 2] > first[seam, 2])
    pairs = np.stack([which[seam[level]], elements[found[level]]], axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return pairs[:, 0], pairs[:, 1]


def _hits(model: Model, frame: Floats, element: Ints, low: Floats, high: Floats) -> Bools:
    """Which rays through each gap (m, rays) meet the body of the pair's element between ``low`` and ``high`` (m, 3)."""
    entries, pair = g.spread(model.meshes.triangle_start, element)
    corners = np.einsum("tij,tkj->tki", frame[pair], model.meshes.points[model.meshes.triangles[entries]])
    # In coordinates of the gap along and across, 0 to 1, a ray has the same place in all of them.
    corners[:, :, :2] = (corners[:, :, :2] - low[pair, None, :2]) / (high - low)[pair, None, :2]
    area = _cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    first, last = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    seen = (np.abs(area) > 1e-12) & (last > 0.0).all(axis=1) & (first < 1.0).all(axis=1)
    corners, area, pair, first, last = corners[seen], area[seen], pair[seen], first[seen], last[seen]
    count = len(element)
    result = np.zeros((count, RAYS, RAYS), bool)
    across = (np.arange(RAYS) + 0.5203) / RAYS
    for i, along in enumerate((np.arange(RAYS) + 0.4871) / RAYS):  # off the middles of cells, where edges often lie
        here = np.flatnonzero((first[:, 0] <= along) & (last[:, 0] >= along))
        a, b, c = corners[here, 0], corners[here, 1], corners[here, 2]
        # Shares of the corners where rays pass: straight functions of their places across.
        sides = (_side(p, q, along) for p, q in ((b, c), (c, a), (a, b)))
        shares = [(start / area[here])[:, None] + (slope / area[here])[:, None] * across for start, slope in sides]
        hit, ray = np.nonzero((shares[0] >= 0) & (shares[1] >= 0) & (shares[2] >= 0))
        out = sum(one[hit, ray] * corner[hit, 2] for one, corner in zip(shares, (a, b, c), strict=True))
        mine = pair[here[hit]]
        cell = mine * RAYS + ray
        # What lies before and behind the depth of the gap closes it as well: a body wider than it, or hollow.
        before, behind = out <= low[mine, 2] + INSIDE, out >= high[mine, 2] - INSIDE
        met = [np.bincount(cell[part], minlength=count * RAYS) > 0 for part in (~before & ~behind, before, behind)]
        result[:, i] = (met[0] | (met[1] & met[2])).reshape(count, RAYS)
    return result.reshape(count, RAYS * RAYS)


def _side(p: Floats, q: Floats, along: float) -> tuple[Floats, Floats]:
    """Twice the area (t,) that edges ``p`` to ``q`` span with a point: its value at 0 across, and its slope."""
    start = (q[:, 0] - p[:, 0]) * -p[:, 1] - (q[:, 1] - p[:, 1]) * (along - p[:, 0])
    return start, q[:, 0] - p[:, 0]


def _cross(one: Floats, other: Floats) -> Floats:
    """Cross products (t,) of vectors in the plane along and across."""
    result: Floats = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return result
