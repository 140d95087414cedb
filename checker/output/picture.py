"""The view of an issue, and the scene that its picture shows.

A `Viewpoint` is what the BCF file says about camera, selection and colours. The picture is drawn from that record, so
the two cannot drift apart. World coordinates are metres; the *camera frame* is x right, y up, z away from the eye.
"""

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Final

import numpy as np

from checker.geometry import spread
from checker.model import Bools, Floats, Ints, Model
from checker.output.raster import (
    BLOCK,
    COVER,
    FLAGGED,
    INNER,
    NEAR_M,
    NEIGHBOUR,
    Scene,
    paint,
)
from checker.result import Issue

Point = tuple[float, float, float]

FIELD_OF_VIEW_DEG: Final = 60.0
"""The widest angle BCF 2.1 allows, and the one that most viewers take over unchanged."""
ASIDE: Final = 0.12
ABOVE: Final = 0.24
"""How far the camera leaves the issue's own direction, as tangents: enough to see depth, too little to hide a seam."""
CLOSE_M: Final = 0.3
"""A flagged part whose box comes this close to the place belongs to the place."""
WIDE_M: Final = 7.0
"""The framed sphere grows with further parts up to this radius: two panels of a usual length."""
SMALL_M: Final = 1.0
"""Smaller parts are shown with their surroundings, a sphere of this radius."""
SURROUNDINGS: Final = 1.4
"""Neighbours are drawn when they reach into this many times the framed sphere."""
MOST_TRIANGLES: Final = 30_000
"""Neighbours beyond this number of triangles are left out, the farthest first; flagged parts beyond ten times as many,
the last first. Otherwise one absurdly fine screw could hold up a run."""
MOST_COMPONENTS: Final = 1000
"""The standard asks for no more components in one list."""
SIZES: Final = ((120, (1000, 750)), (400, (640, 480)), (2000, (480, 360)), (10**9, (320, 240)))
"""Pixels of each picture, by the largest number of pictures drawn in that size."""
WORTH_A_PROCESS: Final = 16
"""Starting processes costs about as much as this many pictures."""
BATCH: Final = 32
"""Scenes held in memory at a time."""
MOVES: Final = "FFE0560A"
SEALS: Final = "FFFFD84D"
CONCERNED: Final = "FFF6A94F"
"""BCF colours (alpha first) of the part that should move, of flagged sealing parts, and of the other flagged parts."""
BY_RANK: Final = (MOVES, SEALS, CONCERNED)
SEALING: Final = frozenset({"seal", "sealant", "foam", "insulation", "tape", "membrane"})
THIN: Final = SEALING | {"flashing", "eave-profile"}
"""Roles of parts that become see-through as a whole where they hide the place; others do so only round it."""
PALE: Final = {"column": (160, 178, 196), "plinth": (190, 192, 190), "roof": (190, 203, 216)}
USUALLY: Final = (206, 216, 226)
NOT_THERE: Final = frozenset({"IfcOpeningElement", "IfcSpace", "IfcAnnotation", "IfcGrid", "IfcVirtualElement"})
"""Classes that have a body but are nothing a person could touch."""
SAME_POINT_M: Final = 1e-4
CREASE: Final = 0.9
"""Two faces that meet at an angle with a smaller cosine have a visible edge between them."""


@dataclass(frozen=True, slots=True)
class Viewpoint:
    """Camera, selection and colouring of one issue, in world coordinates including the model's origin.

    ``direction`` and ``up`` are unit vectors at right angles. ``selected`` are GlobalIds whose bodies lie wholly in the
    picture; ``coloured`` pairs a colour (``FFRRGGBB``) with GlobalIds. ``tints`` gives the same colours by index into
    ``Model.elements`` for the painter. ``centre`` and ``radius_m`` are the framed sphere, ``place`` the worst place,
    ``detail_m`` the width round it that a magnifier should show, and ``move`` the way a part should go, or zeros.
    ``frame`` is that of the model whose part should move, as in `Source`.
    """

    eye: Point
    direction: Point
    up: Point
    field_of_view_deg: float
    selected: tuple[str, ...]
    coloured: tuple[tuple[str, tuple[str, ...]], ...]
    tints: tuple[tuple[int, str], ...]
    centre: Point
    radius_m: float
    place: Point
    detail_m: float
    move: Point
    frame: tuple[tuple[float, ...], ...] = ()


def draw(view: Viewpoint, model: Model, width: int = 1000, height: int = 750) -> bytes:
    """The PNG picture of a viewpoint, through its own camera."""
    return paint(scene_of(view, model, element_boxes(model)), width, height)


def draw_all(views: Sequence[Viewpoint], model: Model, boxes: Floats) -> Iterator[bytes]:
    """The pictures of many viewpoints, in their order; two processes share the work where there is enough of it.

    ``boxes`` are those of `element_boxes`. The more pictures, the smaller they are, so that thousands stay bearable.
    """
    width, height = next(size for most, size in SIZES if len(views) <= most)
    batches = [views[i : i + BATCH] for i in range(0, len(views), BATCH)]
    pool = _helpers() if len(views) >= WORTH_A_PROCESS and (os.cpu_count() or 1) > 1 else None
    try:
        for batch in batches:
            scenes = [scene_of(view, model, boxes) for view in batch]
            sizes = [width] * len(scenes), [height] * len(scenes)
            if pool is not None:
                try:
                    yield from list(pool.map(paint, scenes, *sizes))
                    continue
                except (OSError, BrokenProcessPool):
                    # Not every place lets a program start processes; the pictures are the same without.
                    pool.shutdown(wait=False, cancel_futures=True)
                    pool = None
            yield from map(paint, scenes, *sizes)
    finally:
        if pool is not None:
            pool.shutdown()


def _helpers() -> ProcessPoolExecutor | None:
    """Two processes, or None on a system that has no locks to share."""
    try:
        # A forked child inherits locks of threads it has not; a spawned one starts clean on every system.
        return ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    except (OSError, ImportError, NotImplementedError):
        return None


def element_boxes(model: Model) -> Floats:
    """Boxes (n, 2, 3) of all elements, world less origin; an element without a body has lows of +inf, highs of -inf."""
    starts = model.meshes.point_start
    boxes = np.empty((len(model.elements), 2, 3))
    boxes[:, 0], boxes[:, 1] = np.inf, -np.inf
    full = np.flatnonzero(np.diff(starts) > 0)
    if len(full):
        boxes[full, 0] = np.minimum.reduceat(model.meshes.points, starts[full])
        boxes[full, 1] = np.maximum.reduceat(model.meshes.points, starts[full])
    return boxes


def viewpoint(issue: Issue, model: Model, boxes: Floats | None = None) -> Viewpoint:
    """Where to stand, what to select and what to colour so that the issue is seen at once.

    All flagged parts are coloured. Selected are only those whose model has the frame of the part that should move: the
    camera is written in it. Selected and framed are those at the worst place, the smallest first, as long as the
    picture does not get too wide: beside a whole roof nobody would see the seam. ``boxes`` are those of
    `element_boxes` where the caller has them.
    """
    boxes = element_boxes(model) if boxes is None else boxes
    place = np.array(issue.point_m) - model.origin
    flagged = [i for i in dict.fromkeys(issue.elements) if np.isfinite(boxes[i]).all()]
    tints = tuple((i, _tint(model.roles[i].role, i == issue.elements[0])) for i in flagged)
    framed = _framed(np.array(flagged, dtype=np.int64), boxes, place)
    centre, radius = _sphere(boxes[framed], place)
    direction, up = _attitude(np.array(issue.look))
    eye = centre - direction * (1.1 * radius / np.sin(np.radians(FIELD_OF_VIEW_DEG / 2)))
    own = _frame(model, issue.elements[0]) if issue.elements else ()
    coloured: dict[str, str] = {}
    for i, colour in sorted(tints, key=lambda tint: BY_RANK.index(tint[1])):
        for guid in _shown([i], model):
            coloured.setdefault(guid, colour)
    most = list(coloured.items())[:MOST_COMPONENTS]
    return Viewpoint(
        eye=_point(eye + model.origin, 6),
        direction=_point(direction, 12),
        up=_point(up, 12),
        field_of_view_deg=FIELD_OF_VIEW_DEG,
        selected=_shown([i for i in framed.tolist() if _frame(model, i) == own], model),
        coloured=tuple(
            (colour, guids) for colour in BY_RANK if (guids := tuple(guid for guid, own in most if own == colour))
        ),
        tints=tints,
        centre=_point(centre + model.origin, 6),
        radius_m=radius,
        place=issue.point_m,
        detail_m=_detail(issue),
        move=issue.move.vector_m if issue.move else (0.0, 0.0, 0.0),
        frame=own,
    )


def _frame(model: Model, element: int) -> tuple[tuple[float, ...], ...]:
    return model.sources[model.elements[element].source].frame


def _point(vector: Floats, digits: int) -> Point:
    """Rounded far below what anybody sees, so that two kinds of processor write the same file."""
    x, y, z = (np.round(vector, digits) + 0.0).tolist()
    return x, y, z


def _shown(which: list[int], model: Model) -> tuple[str, ...]:
    """GlobalIds a viewer can show for some elements, without those that break the standard's pattern."""
    guids = dict.fromkeys(guid for i in which for guid in model.elements[i].shown or (model.elements[i].guid,))
    return tuple(guid for guid in guids if is_global_id(guid))[:MOST_COMPONENTS]


def is_global_id(text: str) -> bool:
    """Whether a text is a well-formed IFC GlobalId: 22 base-64 digits, the first of which holds two bits.

    >>> is_global_id("0Hl5ruT3P0lP$dF8GI_xQ2"), is_global_id("4Hl5ruT3P0lP$dF8GI_xQ2"), is_global_id("<script>")
    (True, False, False)
    """
    return len(text) == 22 and text[0] in "0123" and text.isascii() and text.replace("_", "").replace("$", "").isalnum()


def _tint(role: str, first: bool) -> str:
    return MOVES if first else SEALS if role in SEALING else CONCERNED


def _framed(flagged: Ints, boxes: Floats, place: Floats) -> Ints:
    if not len(flagged):
        return flagged
    low, high = boxes[flagged, 0], boxes[flagged, 1]
    away = np.linalg.norm(np.maximum(np.maximum(low - place, place - high), 0.0), axis=1)
    near = flagged[away <= max(CLOSE_M, float(away.min()) + SAME_POINT_M)]
    radius = np.linalg.norm(boxes[near, 1] - boxes[near, 0], axis=1) / 2
    # The part that should move comes first, unless it is as wide as a roof.
    near = near[np.lexsort((radius, (near != flagged[0]) | (radius > WIDE_M)))]
    # The union only grows, so the parts that still fit are found with running extremes.
    low = np.minimum.accumulate(boxes[near, 0])
    high = np.maximum.accumulate(boxes[near, 1])
    fits = np.linalg.norm(high - low, axis=1) / 2 <= WIDE_M
    fits[0] = True
    result: Ints = near[fits][:MOST_COMPONENTS]
    return result


def _sphere(boxes: Floats, place: Floats) -> tuple[Floats, float]:
    """The sphere to frame, round the parts and the place, or round the parts alone where the place is far off."""
    if not len(boxes):
        return place, SMALL_M
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    parts = float(np.linalg.norm(high - low)) / 2
    least = max(parts, min(SMALL_M, 12.0 * parts))
    low, high = np.minimum(low, place), np.maximum(high, place)
    both = float(np.linalg.norm(high - low)) / 2
    if both > 2.0 * least:
        low, high, both = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0), parts
    return (low + high) / 2, max(both, least)


def _attitude(look: Floats) -> tuple[Floats, Floats]:
    """Direction and up vector of the camera: the look, a little from the right and from above."""
    look = look / np.linalg.norm(look)
    steep = abs(look[2]) > 0.9
    right = np.cross(look, (0.0, 1.0, 0.0) if steep else (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    top = np.cross(right, look)
    direction = look - ASIDE * right - ABOVE * top
    direction /= np.linalg.norm(direction)
    up = top - direction * (top @ direction)
    return direction, up / np.linalg.norm(up)


def _detail(issue: Issue) -> float:
    """Width to magnify: a measured value should fill an eighth of it, so that a person can judge it by eye."""
    width = 0.25 * issue.size_m if issue.worst_mm is None else 8.0 * abs(issue.worst_mm) / 1000.0
    return float(np.clip(width, 0.25, 1.5))


def scene_of(view: Viewpoint, model: Model, boxes: Floats) -> Scene:
    """Cut out of the model what the picture of a viewpoint needs; ``boxes`` as from `element_boxes`."""
    origin = model.origin
    direction, up = np.array(view.direction), np.array(view.up)
    frame = np.stack([np.cross(direction, up), up, direction])
    eye = np.array(view.eye) - origin
    flagged = np.array([i for i, _ in view.tints], dtype=np.int64)
    flagged = flagged[np.cumsum(np.diff(model.meshes.triangle_start)[flagged]) <= 10 * MOST_TRIANGLES]
    parts = np.concatenate([flagged, _neighbours(view, model, boxes, flagged)])
    triangles, part = spread(model.meshes.triangle_start, parts)
    used, corner = np.unique(model.meshes.triangles[triangles], return_inverse=True)
    # Elementwise on purpose: a matrix product may be split differently on another machine.
    points = ((model.meshes.points[used] - eye)[:, None, :] * frame).sum(axis=2)
    corner = corner.reshape(-1, 3)
    corners = points[corner]
    # The camera frame is left-handed, so the two sides change places to keep normals pointing outwards.
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 1] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(area, 1e-30)[:, None]
    place = ((np.array(view.place) - origin - eye) * frame).sum(axis=1)

    sort = np.full(len(parts), NEIGHBOUR)
    tints = view.tints[: len(flagged)]
    sort[: len(flagged)] = [FLAGGED if colour == CONCERNED else INNER for _, colour in tints]
    for i in _hiding(corners, part, sort[part] == NEIGHBOUR, place, view.detail_m).tolist():
        sort[i] = COVER if model.roles[parts[i]].role in THIN else BLOCK
    base = np.array(
        [_rgb(colour) for _, colour in tints] + [PALE.get(model.roles[i].role, USUALLY) for i in parts[len(flagged) :]]
    ).reshape(-1, 3)
    faces_eye = (normal * corners[:, 0]).sum(axis=1) < 0
    # A broken body may have faces that look the wrong way: all of them are drawn.
    sound = np.array([not model.faults[i] for i in parts], dtype=bool)
    drawn = (area > 0) & (faces_eye | ~sound[part])
    # The lamp is over the left shoulder; a face seen from behind is lit on the side that is seen.
    light = np.maximum((normal * (-0.36, 0.62, -0.70)).sum(axis=1) * np.where(faces_eye, 1.0, -1.0), 0.0)
    colour = base[part] * (0.70 + 0.36 * light)[:, None]
    ends, edge_part = _edges(points, corner, part, normal, faces_eye, area > 0)
    return Scene(
        corners=corners[drawn],
        colour=np.clip(colour[drawn], 0, 255).astype(np.uint8),
        layer=sort[part[drawn]],
        ends=ends,
        edge_layer=sort[edge_part],
        place=place,
        move=(np.array(view.move) * frame).sum(axis=1),
        detail_m=view.detail_m,
        half_height=float(np.tan(np.radians(view.field_of_view_deg / 2))),
    )


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[2:4], 16), int(colour[4:6], 16), int(colour[6:8], 16)


def _neighbours(view: Viewpoint, model: Model, boxes: Floats, flagged: Ints) -> Ints:
    """Elements that reach into the surroundings, nearest to the place first, up to a number of triangles."""
    centre = np.array(view.centre) - model.origin
    place = np.array(view.place) - model.origin
    gap = np.linalg.norm(np.maximum(np.maximum(boxes[:, 0] - centre, centre - boxes[:, 1]), 0.0), axis=1)
    gap[flagged] = np.inf
    near = np.flatnonzero(gap < SURROUNDINGS * view.radius_m)
    solid = [model.roles[i].role != "opening" and model.elements[i].ifc_class not in NOT_THERE for i in near.tolist()]
    near = near[np.array(solid, dtype=bool)]
    away = np.linalg.norm(np.maximum(np.maximum(boxes[near, 0] - place, place - boxes[near, 1]), 0.0), axis=1)
    near = near[np.argsort(away, kind="stable")]
    result: Ints = near[np.cumsum(np.diff(model.meshes.triangle_start)[near]) <= MOST_TRIANGLES]
    return result


def _hiding(corners: Floats, part: Ints, may: Bools, place: Floats, detail_m: float) -> Ints:
    """Parts that stand between the eye and the place or its close surroundings."""
    turn = np.arange(8) * (np.pi / 4)
    round_it = np.stack([np.cos(turn), np.sin(turn), np.zeros(8)], axis=1) * (0.12 * detail_m)
    which = np.flatnonzero(may & (place[2] > NEAR_M))
    a = corners[which, 0]
    side, other = corners[which, 1] - a, corners[which, 2] - a
    hit = np.zeros(len(which), dtype=bool)
    for ray in np.vstack([place, place + round_it]):
        across = np.cross(ray, other)
        det = (side * across).sum(axis=1)
        det = np.where(np.abs(det) < 1e-15, np.inf, det)
        u = (-a * across).sum(axis=1) / det
        second = np.cross(-a, side)
        v = (second * ray).sum(axis=1) / det
        t = (other * second).sum(axis=1) / det
        hit |= (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0) & (t < 1 - 1e-4)
    result: Ints = np.unique(part[which[hit]])
    return result


def _edges(
    points: Floats, corner: Ints, part: Ints, normal: Floats, faces_eye: Bools, real: Bools
) -> tuple[Floats, Ints]:
    """Creases, rims and outlines: their ends (e, 2, 3) and the part (e,) each belongs to."""
    corner, part, normal, faces_eye = corner[real], part[real], normal[real], faces_eye[real]
    # Files often repeat a point for every face. Points of one part at one spot get one number, by a hash of the spot.
    spot = np.round(points / SAME_POINT_M).astype(np.int64).view(np.uint64)
    key = np.full((len(corner), 3), 0, dtype=np.uint64)
    for axis, odd in enumerate((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)):
        key += spot[corner, axis] * np.uint64(odd)
    key ^= part[:, None].astype(np.uint64) * np.uint64(0xD6E8FEB86659FD93)
    _, first, merged = np.unique(key, return_index=True, return_inverse=True)
    merged = merged.reshape(-1, 3)
    pair = np.sort(merged[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    face = np.repeat(np.arange(len(corner)), 3)
    order = np.lexsort((face, pair[:, 1], pair[:, 0]))
    pair, face = pair[order], face[order]
    new = np.ones(len(pair), dtype=bool)
    new[1:] = (pair[1:] != pair[:-1]).any(axis=1)
    starts = np.flatnonzero(new)
    count = np.diff(np.append(starts, len(pair)))
    one, two = face[starts], face[np.minimum(starts + 1, len(face) - 1)]
    bends = (normal[one] * normal[two]).sum(axis=1) < CREASE
    keep = (count != 2) | bends | (faces_eye[one] != faces_eye[two])
    keep &= pair[starts, 0] != pair[starts, 1]
    spots = points[corner.reshape(-1)[first]]
    return spots[pair[starts[keep]]], part[one[keep]]
