"""A small z-buffer painter that needs no screen, driver or font: triangles and edges of a scene into a PNG.

The *camera frame* is x right, y up, z away from the eye, in metres.
"""

import struct
import zlib
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from checker.geometry import owners
from checker.model import Bools, Floats, Ints
from checker.output import pens
from checker.output.pens import MARK

Bytes = NDArray[np.uint8]
Singles = NDArray[np.float32]

PAPER: Final = (246, 248, 250)
SEE_THROUGH: Final = 0.22
SHINE_THROUGH: Final = 0.3
NEIGHBOUR, FLAGGED, INNER, COVER, BLOCK = LAYERS = range(5)
"""What a part is to the picture: surroundings; flagged; flagged and often inside another part; before the place and
see-through; before the place and see-through in a hole round it."""
HOLE: Final = 0.14
"""Least radius of that hole, as a part of half the picture's height."""
FINE: Final = 2
"""Pictures are painted this many times finer in both directions and then averaged."""
NEAR_M: Final = 0.02
TIE: Final = 4e-4
"""An edge counts as seen when it is this little (relative) behind the surface it bounds."""
AHEAD: Final = 1 + 1e-4
"""A flagged surface that lies in a neighbour's counts as before it."""
EDGE: Final = ((116, 130, 145), (84, 32, 2), (84, 32, 2), (90, 106, 124), (116, 130, 145))
"""Colours of edges by layer."""
PEN: Final = ((0, 0), (1, 0), (0, 1), (1, 1))
DASH: Final = 16
HIDDEN: Final = 0.5
"""Hidden edges of flagged parts: dashes of this period in fine pixels, at this strength."""
FEW_PIXELS: Final = 400
BAND: Final = 64


@dataclass(frozen=True, slots=True)
class Scene:
    """What one picture shows, cut out of the model and small enough to send to another process.

    Camera frame, metres: ``corners`` (t, 3, 3) of triangles, ``ends`` (e, 2, 3) of edges, ``place`` and ``move`` (3,).
    ``layer`` (t,) and ``edge_layer`` (e,) are numbers of `LAYERS`. ``colour`` (t, 3) is shaded already,
    ``half_height`` the tangent of half the field of view.
    """

    corners: Floats
    colour: Bytes
    layer: Ints
    ends: Floats
    edge_layer: Ints
    place: Floats
    move: Floats
    detail_m: float
    half_height: float


def paint(scene: Scene, width: int, height: int) -> bytes:
    """Paint a scene as PNG: the whole view, a mark at the place, and a magnified detail in the emptiest corner."""
    ratio = width / height
    half = np.array([scene.half_height * ratio, scene.half_height])
    picture, busy = _image(scene, np.zeros(2), half, width, height)
    if scene.place[2] > NEAR_M:
        spot = scene.place[:2] / scene.place[2]
        x, y = (spot / half * (1, -1) + 1) / 2 * (width, height)
        if 0 <= x < width and 0 <= y < height:
            _magnify(picture, scene, busy, spot, x, y)
    return png(np.clip(np.round(picture), 0, 255).astype(np.uint8))


def _magnify(picture: Floats, scene: Scene, busy: Bytes, spot: Floats, x: float, y: float) -> None:
    height, width = picture.shape[:2]
    radius = 0.24 * height
    mark = 0.016 * height
    reach = scene.detail_m / 2 / float(scene.place[2])
    usual = scene.half_height * radius / (height / 2)
    if usual < 2.5 * reach:
        pens.mark(picture, x, y, mark)
        return
    inset = radius + 0.02 * height
    corners = [(u, v) for v in (inset, height - inset) for u in (inset, width - inset)]
    size = round(2 * radius)

    def crowd(at: tuple[float, float]) -> tuple[bool, int]:
        u, v = at
        over = busy[int(v - radius) : int(v + radius), int(u - radius) : int(u + radius)]
        return np.hypot(u - x, v - y) < radius + 3 * mark, int(over.sum(dtype=np.int64))

    u, v = min(corners, key=crowd)
    detail, _ = _image(scene, spot, np.array([reach, reach]), size, size)
    left, top = round(u - radius), round(v - radius)
    u, v = left + size / 2, top + size / 2
    away = np.hypot(u - x, v - y)
    toward = np.array([u - x, v - y]) / max(away, 1e-9)
    leader = np.array([[(x, y) + toward * mark, (u, v) - toward * radius]])
    pens.lines(picture, leader, (2.2, MARK))
    rows, columns = np.mgrid[top : top + size, left : left + size] + 0.5
    inside = np.clip(size / 2 - np.hypot(columns - u, rows - v), 0, 1)[..., None]
    part = picture[top : top + size, left : left + size]
    part += (detail - part) * inside
    pens.ring(picture, u, v, size / 2 - 1, 3.0, MARK)
    pens.mark(picture, u, v, 1.6 * mark)
    _arrow(picture, np.array([u, v]), scene, radius)
    pens.mark(picture, x, y, mark)


def _arrow(picture: Floats, middle: Floats, scene: Scene, radius: float) -> None:
    """The way the part should go, beside the mark: the direction is exact, the length is not the distance."""
    # How the picture of the place moves with the place: the derivative of x / z and y / z.
    way = (scene.move[:2] - scene.place[:2] / scene.place[2] * scene.move[2]) * (1, -1)
    length = float(np.linalg.norm(way))
    if length < 0.2 * float(np.linalg.norm(scene.move)) or length == 0:
        return
    way /= length
    start, tip = middle + way * (0.32 * radius), middle + way * (0.78 * radius)
    pens.arrow(picture, start, tip, 0.13 * radius, 6.0, MARK)


@dataclass(slots=True)
class Canvas:
    """The nearest surface of one layer: ``near`` (h, w) one over its depth, ``face`` (h, w) its triangle or -1."""

    near: Singles
    face: NDArray[np.int32]


def _image(scene: Scene, middle: Floats, half: Floats, width: int, height: int) -> tuple[Floats, Bytes]:
    """The view through a window of the picture plane: colours (h, w, 3), and (h, w) how much is to be seen there.

    ``middle`` (2,) and ``half`` (2,) are the window's centre and half size as tangents.
    """
    wide, high = width * FINE, height * FINE
    scale = np.array([wide, -high]) / (2 * half)
    shift = np.array([wide, high]) / 2 - middle * scale

    def flat(points: Floats) -> Floats:
        """Pixels x, y and one over depth, which is linear in the picture."""
        return np.concatenate([points[..., :2] / points[..., 2:] * scale + shift, 1 / points[..., 2:]], axis=-1)

    corners, face = clip_near(scene.corners)
    corners = flat(corners)
    layer = scene.layer[face]
    back, front, inner, cover, block = (fill(corners[layer == k], face[layer == k], wide, high) for k in LAYERS)
    if BLOCK in layer:
        _pierce(block, back, cover, _hole(scene, middle, half, wide, high))
    ends, layer = clip_ends(scene.ends, scene.edge_layer)
    lines = [stroke_pixels(flat(ends[layer == k]), wide, high) for k in LAYERS]

    # The paper is the last colour, which is where face -1 points.
    colours = np.vstack([scene.colour, PAPER]).astype(np.uint8)
    solid, shown = back.near.ravel(), back.face.ravel()
    for part in (front, inner):
        near = part.near.ravel()
        shown = np.where((near > 0) & (near * AHEAD >= solid), part.face.ravel(), shown)
        solid = np.maximum(solid, near)
    image = colours.take(shown, axis=0)
    for part in (front, inner):
        near = part.near.ravel()
        hidden = np.flatnonzero((near > 0) & (near * AHEAD < solid))
        mix(image, hidden, colours[part.face.ravel()[hidden]], SHINE_THROUGH)
    for k in (NEIGHBOUR, FLAGGED, INNER):
        trace(image, lines[k], solid, EDGE[k], wide, dashed=k != NEIGHBOUR)
    nearest = np.maximum(solid, cover.near.ravel())
    over = np.flatnonzero(nearest > solid)
    mix(image, over, colours[cover.face.ravel()[over]], SEE_THROUGH)
    for k in (COVER, BLOCK):
        trace(image, lines[k], nearest, EDGE[k], wide)

    coarse = slice(None, None, FINE)
    flagged = (front.face[coarse, coarse] >= 0) | (inner.face[coarse, coarse] >= 0)
    busy = 8 * flagged.astype(np.uint8) + (back.face[coarse, coarse] >= 0)
    return averaged(image, width, height), busy


def averaged(image: Bytes, width: int, height: int) -> Floats:
    """A picture (h, w, 3) from one that is `FINE` times finer, its pixels in rows."""
    # Rows first: whole rows are added much faster than single pixels.
    rows = image.reshape(height, FINE, width * FINE, 3)
    total = sum((rows[:, k] for k in range(1, FINE)), rows[:, 0].astype(np.uint16))
    pixels = total.reshape(height, width, FINE, 3)
    mean: Floats = sum((pixels[:, :, k] for k in range(1, FINE)), pixels[:, :, 0]) / FINE**2
    return mean


def _hole(scene: Scene, middle: Floats, half: Floats, wide: int, high: int) -> Bools:
    """Pixels (h, w) round the place, at least as far as a magnifier shows."""
    spot, depth = scene.place[:2] / scene.place[2], float(scene.place[2])
    radius = max(scene.detail_m / 2 / depth, HOLE * scene.half_height)
    x = middle[0] + half[0] * ((np.arange(wide) + 0.5) / wide * 2 - 1) - spot[0]
    y = middle[1] - half[1] * ((np.arange(high) + 0.5) / high * 2 - 1) - spot[1]
    result: Bools = x**2 + y[:, None] ** 2 < radius**2
    return result


def _pierce(block: Canvas, back: Canvas, cover: Canvas, hole: Bools) -> None:
    """Put a blocking layer to the see-through one within the hole, and to the surroundings elsewhere."""
    for canvas, where in ((cover, hole), (back, ~hole)):
        where &= block.near > canvas.near
        np.copyto(canvas.near, block.near, where=where)
        np.copyto(canvas.face, block.face, where=where)


def mix(image: Bytes, at: Ints, colour: Bytes | tuple[int, int, int], strength: float) -> None:
    """Lay a colour over some pixels of ``image`` (h * w, 3); a pixel that is named twice is coloured once."""
    # In 256ths, because whole numbers of 16 bits are several times faster here than floats.
    share = round(256 * strength)
    image[at] = (image[at].astype(np.uint16) * (256 - share) + np.asarray(colour, np.uint16) * share + 128) >> 8


def clip_near(corners: Floats, near_m: float = NEAR_M) -> tuple[Floats, Ints]:
    """Triangles cut off at the near plane, and the number of the triangle each comes from."""
    ahead = corners[:, :, 2] > near_m
    count = ahead.sum(axis=1)
    pieces, source = [corners[count == 3]], [np.flatnonzero(count == 3)]
    for ahead_count in (1, 2):
        which = np.flatnonzero(count == ahead_count)
        # Turn each triangle so that the corner that is alone on its side comes first.
        alone = (ahead[which] if ahead_count == 1 else ~ahead[which]).argmax(axis=1)
        a, b, c = (corners[which, (alone + k) % 3] for k in range(3))
        ab, ac = (a + (p - a) * ((near_m - a[:, 2:]) / (p - a)[:, 2:]) for p in (b, c))
        made = [(a, ab, ac)] if ahead_count == 1 else [(ab, b, c), (ab, c, ac)]
        pieces += [np.stack(piece, axis=1) for piece in made]
        source += [which] * len(made)
    return np.concatenate(pieces), np.concatenate(source)


def clip_ends(ends: Floats, layer: Ints, near_m: float = NEAR_M) -> tuple[Floats, Ints]:
    """Edges cut off at the near plane, without those behind it, and their layers."""
    keep = (ends[..., 2] > near_m).any(axis=1)
    ends, layer = ends[keep].copy(), layer[keep]
    for one, other in ((0, 1), (1, 0)):
        back = ends[:, one, 2] <= near_m
        a, b = ends[back, one], ends[back, other]
        ends[back, one] = a + (b - a) * ((near_m * 1.0001 - a[:, 2:]) / (b - a)[:, 2:])
    return ends, layer


def fill(corners: Floats, face: Ints, wide: int, high: int) -> Canvas:
    """The nearest of some triangles (x, y, 1/depth in pixels) at the middle of every pixel."""
    canvas = Canvas(np.zeros((high, wide), np.float32), np.full((high, wide), -1, np.int32))
    x, y, w = corners[..., 0], corners[..., 1], corners[..., 2]
    x1, x2 = x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]
    y1, y2 = y[:, 1] - y[:, 0], y[:, 2] - y[:, 0]
    w1, w2 = w[:, 1] - w[:, 0], w[:, 2] - w[:, 0]
    area = x1 * y2 - x2 * y1
    first = np.clip(np.ceil(y.min(axis=1) - 0.5), 0, high).astype(np.int64)
    last = np.clip(np.ceil(y.max(axis=1) - 0.5), 0, high).astype(np.int64)
    good = (np.abs(area) > 1e-9) & (last > first) & (x.max(axis=1) > 0) & (x.min(axis=1) < wide)
    good = np.flatnonzero(good)
    slope_x = (w1[good] * y2[good] - w2[good] * y1[good]) / area[good]
    slope_y = (w2[good] * x1[good] - w1[good] * x2[good]) / area[good]
    base = w[good, 0] - slope_x * (x[good, 0] - 0.5) - slope_y * (y[good, 0] - 0.5)
    rows = np.concatenate([[0], np.cumsum(last[good] - first[good])])
    face = face[good].astype(np.int32)
    # Batches bound the memory; inside one batch all rows of all triangles are found at once.
    cuts = np.searchsorted(rows, np.arange(0, rows[-1], 400_000), side="left").tolist()
    for low, up in pairwise([*dict.fromkeys(cuts), len(good)]):
        take = slice(low, up)
        spans = _spans(x[good[take]], y[good[take]], first[good[take]], last[good[take]], wide)
        _cover(canvas, spans, face[take], base[take], slope_x[take], slope_y[take])
    return canvas


@dataclass(frozen=True, slots=True)
class _Spans:
    """Pixels ``begin`` up to before ``end`` in ``row`` belong to triangle ``of``; ``starts`` are the runs of one."""

    starts: Ints
    of: Ints
    row: Ints
    begin: Ints
    end: Ints


def _spans(x: Floats, y: Floats, first: Ints, last: Ints, wide: int) -> _Spans:
    starts = np.concatenate([[0], np.cumsum(last - first)])
    of = owners(starts)
    row = np.arange(starts[-1]) - starts[of] + first[of]
    middle = row + 0.5
    begin, end = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        # Both triangles at an edge must find the same crossing to the last bit, so its lower end comes first.
        swap = (y[:, i] > y[:, j]) | ((y[:, i] == y[:, j]) & (x[:, i] > x[:, j]))
        xa, ya = np.where(swap, x[:, j], x[:, i])[of], np.where(swap, y[:, j], y[:, i])[of]
        xb, yb = np.where(swap, x[:, i], x[:, j])[of], np.where(swap, y[:, i], y[:, j])[of]
        meets = (ya <= middle) & (middle < yb)
        at = xa + (xb - xa) * ((middle - ya) / np.where(meets, yb - ya, 1.0))
        np.minimum(begin, at, out=begin, where=meets)
        np.maximum(end, at, out=end, where=meets)
    begin = np.clip(np.ceil(begin - 0.5), 0, wide)
    end = np.clip(np.ceil(end - 0.5), 0, wide)
    return _Spans(starts, of, row, begin.astype(np.int64), np.maximum(begin, end).astype(np.int64))


def _cover(canvas: Canvas, spans: _Spans, face: Ints, base: Floats, slope_x: Floats, slope_y: Floats) -> None:
    length = spans.end - spans.begin
    pixels = np.add.reduceat(length, spans.starts[:-1]) if len(length) else length
    few = pixels <= FEW_PIXELS
    small = np.flatnonzero(few[spans.of] & (length > 0))
    runs = np.concatenate([[0], np.cumsum(length[small])])
    span = small[owners(runs)]
    of, row = spans.of[span], spans.row[span]
    column = np.arange(runs[-1]) - runs[owners(runs)] + spans.begin[span]
    near = (base[of] + slope_x[of] * column + slope_y[of] * row).astype(np.float32)
    at = row * canvas.near.shape[1] + column
    flat_near, flat_face = canvas.near.reshape(-1), canvas.face.reshape(-1)
    np.maximum.at(flat_near, at, near)
    won = flat_near[at] == near
    flat_face[at[won]] = face[of[won]]
    begins, ends = spans.begin.astype(np.int32), spans.end.astype(np.int32)
    columns = np.arange(canvas.near.shape[1], dtype=np.int32)
    for k in np.flatnonzero(~few).tolist():
        across = (slope_x[k] * columns).astype(np.float32)
        down = (base[k] + slope_y[k] * spans.row[spans.starts[k] : spans.starts[k + 1]]).astype(np.float32)
        top, rows = int(spans.row[spans.starts[k]]), len(down)
        # In bands, so that a slanting triangle does not cost the whole box round it.
        for low in range(0, rows, BAND):
            up = min(low + BAND, rows)
            band = slice(int(spans.starts[k]) + low, int(spans.starts[k]) + up)
            filled = length[band] > 0
            if not filled.any():
                continue
            left, right = int(begins[band][filled].min()), int(ends[band][filled].max())
            part = (slice(top + low, top + up), slice(left, right))
            near = across[left:right] + down[low:up, None]
            nearer = near > canvas.near[part]
            nearer &= columns[left:right] >= begins[band, None]
            nearer &= columns[left:right] < ends[band, None]
            np.copyto(canvas.near[part], near, where=nearer)
            np.copyto(canvas.face[part], face[k], where=nearer)


@dataclass(frozen=True, slots=True)
class Strokes:
    """Edges as pixels: column ``x``, row ``y``, one over depth ``near``, and how many pixels from the edge's start."""

    x: Ints
    y: Ints
    near: Floats
    step: Ints


def stroke_pixels(ends: Floats, wide: int, high: int) -> Strokes:
    """The pixels of lines (e, 2, 3) given as x, y, 1/depth, as far as they lie in the picture."""
    start, along = ends[:, 0], ends[:, 1] - ends[:, 0]
    low, up = np.zeros(len(ends)), np.ones(len(ends))
    for axis, limit in ((0, wide - 1.0), (1, high - 1.0)):
        moves = along[:, axis] != 0
        step = np.where(moves, along[:, axis], 1.0)
        at = np.sort(np.stack([-start[:, axis], limit - start[:, axis]]) / step, axis=0)
        inside = (start[:, axis] >= 0) & (start[:, axis] <= limit)
        low = np.where(moves, np.maximum(low, at[0]), np.where(inside, low, np.inf))
        up = np.where(moves, np.minimum(up, at[1]), up)
    seen = np.flatnonzero(low < up)
    start, along, low, up = start[seen], along[seen], low[seen], up[seen]
    count = np.ceil(np.abs(along[:, :2]).max(axis=1) * (up - low)).astype(np.int64) + 1
    runs = np.concatenate([[0], np.cumsum(count)])
    of = owners(runs)
    step = np.arange(runs[-1]) - runs[of]
    t = low[of] + (up - low)[of] * (step / np.maximum(count - 1, 1)[of])
    spot = start[of] + along[of] * t[:, None]
    return Strokes(spot[:, 0].astype(np.int64), spot[:, 1].astype(np.int64), spot[:, 2], step)


def trace(
    image: Bytes, strokes: Strokes, solid: Singles, colour: tuple[int, int, int], wide: int, dashed: bool = False
) -> None:
    """Draw edges into ``image`` (h * w, 3) where no surface ``solid`` (h * w,) hides them, or dashed."""
    high = len(solid) // wide
    # An outline lies on the last pixel of its own surface or just beside it: the farthest neighbour decides.
    behind = solid[strokes.y * wide + strokes.x]
    for right, down in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        beside = np.clip(strokes.y + down, 0, high - 1) * wide + np.clip(strokes.x + right, 0, wide - 1)
        behind = np.minimum(behind, solid[beside])
    seen = strokes.near * (1 + TIE) >= behind
    ways = [(seen, 1.0)]
    if dashed:
        ways.insert(0, (~seen & (strokes.step % DASH < DASH // 2), HIDDEN))
    for which, strength in ways:
        x, y = strokes.x[which], strokes.y[which]
        at = np.concatenate([np.minimum(y + d, high - 1) * wide + np.minimum(x + r, wide - 1) for r, d in PEN])
        mix(image, at, colour, strength)


def png(picture: Bytes) -> bytes:
    """An (h, w, 3) picture as PNG, the same bytes for the same pixels."""
    height, width = picture.shape[:2]
    rows = picture.reshape(height, width * 3)
    lines = np.empty((height, width * 3 + 1), np.uint8)
    # Filter 2 stores the difference to the row above, which is mostly zero in pictures of buildings.
    lines[:, 0] = 2
    lines[:, 1:] = rows
    lines[1:, 1:] -= rows[:-1]

    def chunk(tag: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + tag + body + struct.pack(">I", zlib.crc32(tag + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(lines.tobytes(), 6))
        + chunk(b"IEND", b"")
    )
