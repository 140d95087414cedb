"""Whether meshes are closed bodies and which way they face. Pure numpy, all meshes of a run at once.

Meshes lie one after another: ``points`` (p, 3), ``triangles`` (t, 3) that index into them, and for each triangle the
mesh it belongs to, ``owner`` (t,), ascending.
"""

from itertools import pairwise, product
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from checker.model import Bools, Floats, Ints

WELD_M: Final = 1e-5
"""Points closer than a hundredth of a millimetre are one; some that are up to three times as far apart as well."""
_MOST_LOOSE_EDGES: Final = 2000
"""With more of them a mesh is open by design, and each would have to be held against all others."""
_SHOTS: Final = 32
"""Enough faces of a piece to tell whether it lies inside another."""
_MOST_PIECES: Final = 500
"""A body of more pieces is no body with hollows."""


def summed(group: Ints, values: Floats, count: int) -> Floats:
    """Sums (count,) of the values of each group."""
    out = np.bincount(group, weights=values, minlength=count)
    return out.astype(np.float64, copy=False)  # of nothing, numpy makes integers


def volumes(points: Floats, triangles: Ints, owner: Ints, count: int) -> Floats:
    """Signed volume (count,) of each mesh in cubic metres; negative where its triangles face inward."""
    if not len(triangles):
        return np.zeros(count)
    # About a point of the mesh itself: far from the origin the products would lose everything.
    first = np.searchsorted(owner, np.arange(count))
    about = points[triangles[np.minimum(first, len(triangles) - 1), 0]][owner]
    a, b, c = (points[triangles[:, i]] - about for i in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    return summed(owner, six, count) / 6.0


def first_equal(group: Ints, rows: NDArray[Any]) -> Ints:
    """For each row (n, k) the number of the first row of its group (n,) that equals it."""
    order = np.lexsort((np.arange(len(rows)), *rows.T, group))
    fresh = np.ones(len(rows), dtype=np.bool_)
    fresh[1:] = (np.diff(group[order]) != 0) | (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    out = np.empty(len(rows), dtype=np.int64)
    out[order] = order[np.maximum.accumulate(np.where(fresh, np.arange(len(rows)), 0))]
    return out


def sound(triangles: Ints, owner: Ints, count: int) -> Bools:
    """Which meshes (count,) are closed as they are indexed, all triangles facing one way."""
    start = triangles.reshape(-1)
    end = np.roll(triangles, -1, axis=1).reshape(-1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    span = int(high.max(initial=0)) + 1
    edge, index = np.unique(low * span + high, return_inverse=True)
    balance = summed(index, np.where(start < end, 1.0, -1.0), len(edge))
    bad = (balance[index] != 0.0) | (start == end)
    out: Bools = np.bincount(np.repeat(owner, 3)[bad], minlength=count) == 0
    return out


def mesh_fault(points: Floats, triangles: Ints) -> str:
    """Why a single mesh is no closed body although its points may only need welding, or "".

    Vertices that lie on the edge of a neighbour split that edge, as if the neighbour had been drawn with it.
    """
    welded, place = _welded(points)
    corners = welded[triangles]
    corners = corners[(corners != np.roll(corners, 1, axis=1)).all(axis=1)]
    edges = np.stack([corners, np.roll(corners, -1, axis=1)], axis=-1).reshape(-1, 2)
    edges, balance = _counted(edges, np.ones(len(edges)))
    loose = balance != 0.0
    if 0 < np.count_nonzero(loose) <= _MOST_LOOSE_EDGES:
        edges, balance = _counted(*_split(edges[loose], balance[loose], place))
    free = int(np.count_nonzero(balance % 2.0))  # an edge used an odd number of times has an odd balance
    if free:
        return f"its body is an open mesh ({free} free edges)"
    return "the faces of its body do not agree on which side is outside" if balance.any() else ""


def turned(points: Floats, triangles: Ints) -> Ints:
    """The triangles of one mesh (t, 3) turned so that neighbours agree and pieces face outward, hollows inward.

    The kernel leaves some faces of curved bodies the wrong way round. What has no one right way stays as it is.
    """
    corners = _welded(points)[0][triangles]
    start, end = corners.reshape(-1), np.roll(corners, -1, axis=1).reshape(-1)
    span = int(start.max()) + 1
    _, edge, count = np.unique(
        np.minimum(start, end) * span + np.maximum(start, end), return_inverse=True, return_counts=True
    )
    if (count != 2).any():
        return triangles
    first, second = np.argsort(edge, kind="stable").reshape(-1, 2).T
    neighbours: list[list[tuple[int, bool]]] = [[] for _ in triangles]
    for a, b, differ in zip(first // 3, second // 3, (start[first] == start[second]).tolist(), strict=True):
        neighbours[a].append((int(b), differ))
        neighbours[b].append((int(a), differ))
    flip: list[bool | None] = [None] * len(triangles)
    piece = np.zeros(len(triangles), dtype=np.int64)
    for seed in range(len(triangles)):
        if flip[seed] is None:
            flip[seed], queue = False, [seed]
            while queue:
                here = queue.pop()
                piece[here] = seed
                for there, differ in neighbours[here]:
                    if flip[there] is None:
                        flip[there] = flip[here] != differ
                        queue.append(there)
    out = triangles.copy()
    out[np.array(flip, dtype=np.bool_)] = out[np.array(flip, dtype=np.bool_)][:, ::-1]
    order = np.argsort(piece, kind="stable")
    inward = volumes(points, out[order], piece[order], len(triangles)) < 0.0
    hollow = _hollow(points, out, piece)
    out[(inward != hollow)[piece]] = out[(inward != hollow)[piece]][:, ::-1]
    return out


def _hollow(points: Floats, triangles: Ints, piece: Ints) -> Bools:
    """Which closed pieces (t,), each named by one of its triangles, lie inside an odd number of others."""
    out = np.zeros(len(triangles), dtype=np.bool_)
    pieces = np.unique(piece)
    if len(pieces) > _MOST_PIECES:
        return out
    parts = [triangles[piece == one] for one in pieces]
    low, high = (np.array([find(points[part].reshape(-1, 3), axis=0) for part in parts]) for find in (np.min, np.max))
    fits = (low[:, None] >= low[None]).all(axis=2) & (high[:, None] <= high[None]).all(axis=2)
    for inner, outer in np.argwhere(fits & ~np.eye(len(pieces), dtype=np.bool_)):
        out[pieces[inner]] ^= _lies_in(points, parts[inner], parts[outer])
    return out


def _lies_in(points: Floats, inner: Ints, outer: Ints) -> bool:
    """Whether one closed piece lies inside another: rays from its faces leave that an odd number of times."""
    a, b, c = (points[outer[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    # Along no edge of any building; shots from many faces outvote the odd one that grazes a corner.
    ray = np.array([0.3027, 0.4511, 0.8397])
    shots = points[inner[:: max(1, len(inner) // _SHOTS)]].mean(axis=1)
    odd = 0
    for shot in shots:
        with np.errstate(invalid="ignore", divide="ignore"):
            reach = np.einsum("ij,ij->i", normal, a - shot) / (normal @ ray)
            hit = shot + reach[:, None] * ray
            edges = ((a, b), (b, c), (c, a))
            left = [np.einsum("ij,ij->i", normal, np.cross(q - p, hit - p)) >= 0.0 for p, q in edges]
        odd += int(np.count_nonzero((reach > 0.0) & np.all(left, axis=0))) % 2
    return 2 * odd > len(shots)


def _welded(points: Floats) -> tuple[Ints, Floats]:
    """For each point the number of its place (p,), and the places (q, 3)."""
    # Two points closer than the weld share a cell of twice its size in one of eight grids, each moved by half a cell.
    cells = [np.floor(points / (2.0 * WELD_M) + shift) for shift in product((0.0, 0.5), repeat=3)]
    groups = [first_equal(np.zeros(len(points), dtype=np.int64), cell) for cell in cells]
    label = np.arange(len(points))
    while True:
        before = label
        for group in groups:
            lowest = label.copy()
            np.minimum.at(lowest, group, label)
            label = lowest[group]
        if np.array_equal(before, label):
            break
    leaders, number = np.unique(label, return_inverse=True)
    return number, points[leaders]


def _counted(edges: Ints, weights: Floats) -> tuple[Ints, Floats]:
    """Each edge once (e, 2), lower number first, and how often it is passed upwards more than downwards (e,)."""
    unique, index = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
    signed = np.where(edges[:, 0] < edges[:, 1], weights, -weights)
    return unique, summed(index.reshape(-1), signed, len(unique))


def _split(edges: Ints, balance: Floats, place: Floats) -> tuple[Ints, Floats]:
    """Loose edges, cut at every end of another loose edge that lies on them."""
    ends = np.unique(edges)
    a, b = place[edges[:, 0]], place[edges[:, 1]]
    along = b - a
    length = np.linalg.norm(along, axis=1)
    pieces: list[tuple[int, int]] = []
    weights: list[float] = []
    for (start, end), origin, direction, size, weight in zip(edges, a, along, length, balance, strict=True):
        offset = place[ends] - origin
        t = offset @ direction / size
        aside = np.linalg.norm(offset - np.outer(t / size, direction), axis=1)
        inner = (aside <= WELD_M) & (t > WELD_M) & (t < size - WELD_M)
        chain = [int(start), *ends[inner][np.argsort(t[inner], kind="stable")].tolist(), int(end)]
        pieces += pairwise(chain)
        weights += [float(weight)] * (len(chain) - 1)
    return np.array(pieces, dtype=np.int64).reshape(-1, 2), np.array(weights)
