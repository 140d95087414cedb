"""Which faces of upright boards look outdoors, told by what is above the ground before them and by lines of sight.

Where a roof or floor covers the ground before one face of a board and not before the other, that tells. Elsewhere lines
of sight from the face do: one that meets nothing leads outdoors, and so does one that meets a face that looks
outdoors, for both look into the same space. It does not matter whether a gate is open or one sheet is missing, since
most of the lines from a face decide.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from checker.geometry import spread
from checker.model import Bools, Floats, Ints, Meshes
from checker.shapes import Shapes

LARGE: Final = (0.8, 0.4)
"""What is not this long and wide hides no room (metres)."""
THICK: Final = 0.6
"""Nor does what is thicker: it is a thing and no board."""
SOLID: Final = 0.2
"""Nor does what fills less of its box than this: fences, trusses, frames."""
EAVE: Final = 1.2
"""So far before a face one looks up (metres): roofs overhang walls by less."""
_PLACES: Final = (-0.6, 0.0, 0.6)
"""Where along a board one looks, as shares of half its length..."""
_HEIGHTS: Final = (0.4, 0.65, 0.9)
"""... at which shares of its height, of a low one only at that in the middle..."""
_LOW: Final = 1.5
_ANGLES: Final = np.radians([0.0, 40.0, -40.0])
"""... and how far to the side: the sides of a yard face each other, yet the weather comes in at its mouth."""
_MOST: Final = 0.5
_TURN: Final = np.radians(2.0)
"""Boards whose directions differ by less look the same way."""
_ROUNDS: Final = 12
"""So many boards in turn may hand on that they look outdoors."""


def boards(shapes: Shapes, which: Bools) -> Ints:
    """Those of some bodies (n,) that are large and upright enough to stand between a room and another."""
    length, width, thickness = shapes.size.T
    large = (length >= LARGE[0]) & (width >= LARGE[1]) & (thickness <= THICK) & (shapes.fill >= SOLID)
    result: Ints = np.flatnonzero(which & shapes.wall_like & large)
    return result


def covers(shapes: Shapes, which: Bools) -> Ints:
    """Those of some bodies (n,) that may be a roof or a floor over something."""
    result: Ints = np.flatnonzero(which & shapes.flat & (shapes.tilt[:, 2] >= 0.7071) & (shapes.size[:, 1] >= 1.0))
    return result


def outdoors(shapes: Shapes, meshes: Meshes, board: Ints, cover: Ints) -> Bools:
    """Whether the faces (b, 2) of some boards look outdoors: the one against `Shapes.across` and the one along it."""
    below = _covered(shapes, meshes, board, cover)
    told = (below[:, 0] != below[:, 1])[:, None]
    met = _sights(shapes, board)
    free = met < 0
    result: Bools = told & ~below
    for _ in range(_ROUNDS):
        seen = free | result.ravel()[np.where(free, 0, met)]
        now = result | (~told & (seen.mean(axis=2) >= _MOST))
        if (now == result).all():
            break
        result = now
    return result


def _covered(shapes: Shapes, meshes: Meshes, board: Ints, cover: Ints) -> Bools:
    """Whether the ground before each face (b, 2) lies below a roof or floor."""
    if not len(cover):
        return np.zeros((len(board), 2), bool)
    away = shapes.across[board] * (shapes.half[board, 1:] + EAVE)
    along = shapes.along[board] * shapes.half[board, :1]
    looks = [side * away + place * along for side in (-1.0, 1.0) for place in _PLACES]
    spots = (shapes.centre[board, None, :2] + np.stack(looks, axis=1)).reshape(-1, 2)
    # Triangle by triangle: floors have holes and bays.
    triangle, owner = spread(meshes.triangle_start, cover)
    plan = shapely.polygons(meshes.points[meshes.triangles[triangle], :2])
    spot, found = shapely.STRtree(plan).query(shapely.points(spots), predicate="intersects")
    start = board[spot // len(looks)]
    above = shapes.low[cover[owner[found]]] >= 0.5 * (shapes.low[start] + shapes.high[start])
    result = np.zeros(len(spots), bool)
    result[spot[above]] = True
    most: Bools = result.reshape(-1, 2, len(_PLACES)).mean(axis=2) >= _MOST
    return most


def _sights(shapes: Shapes, board: Ints) -> Ints:
    """The face that each line of sight (b, 2, lines) meets first: 2 k or 2 k + 1 of board k, -1 for none."""
    across = shapes.across[board]
    turn = np.round((np.arctan2(across[:, 1], across[:, 0]) % np.pi) / _TURN).astype(np.int64)
    met = np.full((len(_ANGLES), len(board), 2, len(_PLACES) * len(_HEIGHTS)), -1, np.int64)
    low = shapes.high[board] - shapes.low[board] < _LOW
    for straight in np.unique(turn):
        for k, aside in enumerate(_ANGLES):
            angle = straight * _TURN + aside
            sight = np.array([np.cos(angle), np.sin(angle)])
            tall, short = np.flatnonzero((turn == straight) & ~low), np.flatnonzero((turn == straight) & low)
            met[k, tall] = _met(shapes, board, tall, sight, _HEIGHTS)
            met[k, short] = np.tile(_met(shapes, board, short, sight, _HEIGHTS[1:2]), len(_HEIGHTS))
    return np.concatenate(list(met), axis=2)


def _met(shapes: Shapes, board: Ints, mine: Ints, sight: Floats, heights: Sequence[float]) -> Ints:
    """The faces (m, 2, lines) that lines from both faces of the boards ``mine`` meet first, see `_sights`.

    ``sight`` is the common direction of the lines; all boards are looked at along it, as on a picture.
    """
    lines = np.array([(place, height) for place in _PLACES for height in heights])
    result = np.full((len(mine), 2, len(lines)), -1, np.int64)
    if not len(mine):
        return result
    beside = np.array([-sight[1], sight[0]])
    centre, half = shapes.centre[board, :2], shapes.half[board]
    along, across = shapes.along[board], shapes.across[board]
    x, y = centre @ beside, centre @ sight
    reach = half[:, 0] * np.abs(along @ beside) + half[:, 1] * np.abs(across @ beside)
    low, high = shapes.low[board], shapes.high[board]
    # The middle plane of a board that stands obliquely is as deep as its place on the picture says.
    slope = np.divide(along @ sight, along @ beside, out=np.zeros(len(board)), where=np.abs(along @ beside) > 0.2)

    away = half[mine, :1] * lines[:, 0]
    place = x[mine, None] + away * (along[mine] @ beside)[:, None]
    begin = y[mine, None] + away * (along[mine] @ sight)[:, None]
    level = low[mine, None] + (high - low)[mine, None] * lines[:, 1]
    tree = shapely.STRtree(shapely.box(x - reach, low, x + reach, high))
    line, other = tree.query(shapely.points(place.ravel(), level.ravel()))
    start = mine[line // len(lines)]
    depth = y[other] + (place.ravel()[line] - x[other]) * slope[other] - begin.ravel()[line]
    apart = np.abs(depth * (across[start] @ sight)) > half[start, 1]
    line, other, start, depth = line[apart], other[apart], start[apart], depth[apart]

    ahead = depth > 0
    # A line leaves by the face that looks along it and meets the one that looks against it.
    leaves = (ahead == (across[start] @ sight > 0)).astype(np.int64)
    meets = (ahead != (across[other] @ sight > 0)).astype(np.int64)
    order = np.lexsort((other, -np.abs(depth)))  # the nearest comes last and stays
    which, at = np.divmod(line[order], len(lines))
    result[which, leaves[order], at] = 2 * other[order] + meets[order]
    return result
