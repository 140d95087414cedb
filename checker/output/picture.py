"""The scenes that pictures of views show, cut out of the model, and their painting by two processes.

The *camera frame* is x right, y up, z away from the eye, in metres.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Final

import numpy as np

from checker.cut import cut
from checker.geometry import spread
from checker.model import Bools, Floats, Ints, Model
from checker.output.cutting import BEHIND_M, CutScene, paint_cut
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
from checker.output.views import CONCERNED, SAME_POINT_M, SEALING, Viewpoint, element_boxes
from checker.result import Point

SURROUNDINGS: Final = 1.4
"""Neighbours are drawn when they reach into this many times the framed sphere."""
MOST_TRIANGLES: Final = 30_000
"""Neighbours beyond this number of triangles are left out, the farthest first; flagged parts beyond ten times as many,
the last first. Otherwise one absurdly fine screw could hold up a run."""
SIZES: Final = ((240, (1000, 750)), (800, (640, 480)), (4000, (480, 360)), (10**9, (320, 240)))
"""Pixels of each picture, by the largest number of pictures drawn in that size; four to three, all of them."""
WORTH_A_PROCESS: Final = 16
"""Starting processes costs about as much as this many pictures."""
BATCH: Final = 32
"""Scenes held in memory at a time."""
THIN: Final = SEALING | {"flashing", "eave-profile"}
"""Roles of parts that become see-through as a whole where they hide the place; others do so only round it."""
PALE: Final = {"column": (160, 178, 196), "plinth": (190, 192, 190), "roof": (190, 203, 216)}
USUALLY: Final = (206, 216, 226)
HATCH: Final = {"column": "steel", "base-rail": "steel", "plinth": "concrete", "panel": "core"}
"""How the cut faces of roles are hatched."""
NOT_THERE: Final = frozenset({"IfcOpeningElement", "IfcSpace", "IfcAnnotation", "IfcGrid", "IfcVirtualElement"})
"""Classes that have a body but are nothing a person could touch."""
CREASE: Final = 0.9
"""Two faces that meet at an angle with a smaller cosine have a visible edge between them."""


def draw(view: Viewpoint, model: Model, width: int = 1000, height: int = 750) -> bytes:
    """The PNG picture of a viewpoint, through its own camera."""
    return _painted(_scene(view, model, element_boxes(model)), width, height)


def _scene(view: Viewpoint, model: Model, boxes: Floats) -> Scene | CutScene:
    return cut_scene(view, model, boxes) if view.height_m else scene_of(view, model, boxes)


def _painted(scene: Scene | CutScene, width: int, height: int) -> bytes:
    return paint_cut(scene, width, height) if isinstance(scene, CutScene) else paint(scene, width, height)


def draw_all(views: Sequence[Viewpoint], model: Model, boxes: Floats) -> Iterator[bytes]:
    """The pictures of many viewpoints, in their order; two processes share the work where there is enough of it.

    ``boxes`` are those of `element_boxes`. The more pictures, the smaller they are, so that thousands stay bearable.
    """
    width, height = next(size for most, size in SIZES if len(views) <= most)
    batches = [views[i : i + BATCH] for i in range(0, len(views), BATCH)]
    pool = _helpers() if len(views) >= WORTH_A_PROCESS and (os.cpu_count() or 1) > 1 else None
    try:
        for batch in batches:
            scenes = [_scene(view, model, boxes) for view in batch]
            sizes = [width] * len(scenes), [height] * len(scenes)
            if pool is not None:
                try:
                    yield from list(pool.map(_painted, scenes, *sizes))
                    continue
                except (OSError, BrokenProcessPool):
                    # Not every place lets a program start processes; the pictures are the same without.
                    pool.shutdown(wait=False, cancel_futures=True)
                    pool = None
            yield from map(_painted, scenes, *sizes)
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


def cut_scene(view: Viewpoint, model: Model, boxes: Floats) -> CutScene:
    """Cut out of the model what the picture of a section needs; ``boxes`` as from `element_boxes`."""
    origin = model.origin
    towards, up = -np.array(view.direction), np.array(view.up)
    frame = np.stack([np.cross(up, towards), up, towards])
    place = np.array(view.clips[0][0]) - origin
    # The camera looks at the middle of the picture.
    eye = np.array(view.eye) - origin
    middle = eye - towards * (towards @ (eye - place))

    def seen(world: Floats) -> Floats:
        """Cut frame, z behind the plane."""
        # Elementwise on purpose: a matrix product may be split differently on another machine.
        local: Floats = ((world - middle)[..., None, :] * frame).sum(axis=-1) * (1.0, 1.0, -1.0)
        return local

    parts = _in_section(view, model, boxes, frame, middle)
    tints = dict(view.tints)
    parts = np.array(
        [i for i in parts.tolist() if i not in tints]
        + [i for i, _ in reversed(view.tints) if i in set(parts.tolist())],
        dtype=np.int64,
    )
    found = cut(model.meshes, parts, frame, middle)

    def outline(ghost: tuple[int, Point] | None) -> Floats:
        """Where the cut through an element would be if it were moved."""
        if ghost is None:
            return np.zeros((0, 2, 2))
        return cut(model.meshes, np.array(ghost[:1]), frame, middle - ghost[1]).ends

    base = np.array(
        [_rgb(tints[i]) if i in tints else PALE.get(model.roles[i].role, USUALLY) for i in parts.tolist()]
    ).reshape(-1, 3)
    corners, part, edges = _behind_plane(model, parts, seen)
    met, body = np.unique(found.body, return_inverse=True)
    cut_parts = parts[met].tolist()
    moving = view.target[0] if view.target else -1
    span = None if view.span is None else seen(np.array(view.span) - origin)[:, :2]
    return CutScene(
        corners=corners,
        colour=base[part].astype(np.uint8),
        edges=edges,
        outline=found.ends,
        body=body.reshape(-1),
        ground=base[met].astype(np.uint8),
        flagged=np.array([i in tints for i in cut_parts], dtype=bool),
        solid=np.array([not model.faults[i] for i in cut_parts], dtype=bool),
        hatch=tuple(HATCH.get(model.roles[i].role, "") for i in cut_parts),
        moving=cut_parts.index(moving) if moving in cut_parts else -1,
        target=outline(view.target),
        missing=outline(view.missing),
        place=seen(np.array(view.place) - origin)[:2],
        span=span,
        move=(np.array(view.move) * frame[:2]).sum(axis=1),
        move_m=float(np.linalg.norm(view.move)),
        height_m=view.height_m,
    )


def _in_section(view: Viewpoint, model: Model, boxes: Floats, frame: Floats, middle: Floats) -> Ints:
    """Elements that reach into the picture of a section, not too far behind its plane, up to a number of triangles."""
    full = np.flatnonzero(np.isfinite(boxes[:, 0, 0]))
    centre, half = boxes[full].mean(axis=1) - middle, (boxes[full, 1] - boxes[full, 0]) / 2
    at, reach = (centre[:, None] * frame).sum(axis=2), (half[:, None] * np.abs(frame)).sum(axis=2)
    # Pictures are wider than high by a third; a little more does no harm.
    room = view.height_m / 2 * np.array([1.5, 1.0])
    near = (np.abs(at[:, :2]) <= room + reach[:, :2]).all(axis=1) & (np.abs(at[:, 2]) <= reach[:, 2] + BEHIND_M)
    near[near] = _touchable(full[near], model)
    flagged = np.isin(full, [i for i, _ in view.tints])
    # The flagged ones first, then the nearest.
    order = np.lexsort((np.abs(at[near]).max(axis=1), ~flagged[near]))
    result: Ints = full[near][order]
    count = np.cumsum(np.diff(model.meshes.triangle_start)[result])
    return np.sort(result[count <= np.where(flagged[near][order], 10 * MOST_TRIANGLES, MOST_TRIANGLES)])


def _behind_plane(model: Model, parts: Ints, seen: Callable[[Floats], Floats]) -> tuple[Floats, Ints, Floats]:
    """Faces (t, 3, 3) that a section shows behind its plane, the part (t,) each belongs to, and edges (e, 2, 3)."""
    triangles, part = spread(model.meshes.triangle_start, parts)
    used, corner = np.unique(model.meshes.triangles[triangles], return_inverse=True)
    points, corner = seen(model.meshes.points[used]), corner.reshape(-1, 3)
    depth = points[corner, 2]
    near = (depth.max(axis=1) > 0) & (depth.min(axis=1) < BEHIND_M)
    corner, part = corner[near], part[near]
    corners = points[corner]
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 1] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(area, 1e-30)[:, None]
    faces_eye = normal[:, 2] < 0
    sound = np.array([not model.faults[i] for i in parts], dtype=bool)
    ends, _ = _edges(points, corner, part, normal, faces_eye, area > 0)
    drawn = (area > 0) & (faces_eye | ~sound[part])
    return corners[drawn], part[drawn], ends


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[2:4], 16), int(colour[4:6], 16), int(colour[6:8], 16)


def _touchable(which: Ints, model: Model) -> Bools:
    """Which elements are something that a person could touch."""
    there = [model.roles[i].role != "opening" and model.elements[i].ifc_class not in NOT_THERE for i in which.tolist()]
    return np.array(there, dtype=bool)


def _neighbours(view: Viewpoint, model: Model, boxes: Floats, flagged: Ints) -> Ints:
    """Elements that reach into the surroundings, nearest to the place first, up to a number of triangles."""
    centre = np.array(view.centre) - model.origin
    place = np.array(view.place) - model.origin
    gap = np.linalg.norm(np.maximum(np.maximum(boxes[:, 0] - centre, centre - boxes[:, 1]), 0.0), axis=1)
    gap[flagged] = np.inf
    near = np.flatnonzero(gap < SURROUNDINGS * view.radius_m)
    near = near[_touchable(near, model)]
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
