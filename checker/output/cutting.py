"""The painter of sections: cut faces filled and edged, what lies behind them faint, the measure and the move on top.

The *cut frame* is x right, y up, z away from the viewer behind the plane, in metres from the middle of the picture.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from checker.cut import LEVEL
from checker.geometry import owners
from checker.model import Bools, Floats, Ints
from checker.output import pens
from checker.output.pens import MARK
from checker.output.raster import (
    FINE,
    PAPER,
    TIE,
    Bytes,
    Strokes,
    averaged,
    clip_ends,
    clip_near,
    fill,
    png,
    stroke_pixels,
)

BEHIND_M: Final = 0.30
"""What lies this far behind the plane fades into the paper, so that an open seam shows as paper."""
FAINT: Final = 0.45
"""Strength of colours just behind the plane."""
EDGE: Final = 1 / 300
"""Thickness of a cut edge as a part of the picture's height; it lies inside the cut face, so that gaps stay as wide."""
SHEET: Final = 1 / 190
"""Thickness at which the cut through a part without a closed body is drawn."""
INK: Final = (29, 42, 53)
FLAGGED_INK: Final = (84, 32, 2)
HATCHES: Final[dict[str, tuple[int, float, float]]] = {
    "steel": (1, 0.006, 0.40),
    "concrete": (-1, 0.014, 0.18),
    "core": (-1, 0.010, 0.12),
    "": (1, 0.010, 0.0),
}
"""How a cut face is hatched: which way up, distance of the lines in metres, and what share of it a line takes."""
HATCH: Final = 0.82
"""How bright a hatch is beside its ground."""
DASH: Final = 1 / 45
"""Period of dashes as a part of the picture's height."""
LETTERS: Final = (0.034, 11.0)
"""Height of figures as a part of the picture's height, and the least in pixels."""
BARS_M: Final = (0.1, 0.5, 2.0)
"""Lengths of the scale bar: the longest that takes no more than `BAR` of the picture's height."""
BAR: Final = 0.4
LEVELS: Final = 32
"""Steps in which things behind the plane fade."""
GHOST, WASH, FLAGGED_EDGE, OWN_EDGE, BEHIND_EDGE, NOTHING = range(-6, 0)
"""The last colours of a picture, counted from its end."""
FIXED: Final = (MARK, (250, 214, 208), FLAGGED_INK, INK, (203, 208, 214), PAPER)

Numbers = NDArray[np.int32]
Flat = Callable[[Floats], Floats]
Window = tuple[slice, slice]


@dataclass(frozen=True, slots=True)
class CutScene:
    """What one picture of a section shows, small enough to send to another process; cut frame, metres.

    ``corners`` (t, 3, 3) and ``colour`` (t, 3) of the faces behind the plane, ``edges`` (e, 2, 3) between them.
    ``outline`` (s, 2, 2) of cut bodies with the body on the left, ``body`` (s,) which each belongs to; per body
    ``ground`` (b, 3) its colour, ``flagged``, ``solid`` (False for an open one) and ``hatch`` (a key of `HATCHES`).
    Later bodies are drawn over earlier ones; ``moving`` is the body that should move, or -1. ``target`` (g, 2, 2) is
    the outline of where it should be, ``missing`` (m, 2, 2) that of a part that should be there. ``place`` (2,) is the
    worst place, ``span`` (2, 2) the ends of what was measured or None, ``move`` (2,) the way to go and ``move_m`` its
    length.
    """

    corners: Floats
    colour: Bytes
    edges: Floats
    outline: Floats
    body: Ints
    ground: Bytes
    flagged: Bools
    solid: Bools
    hatch: tuple[str, ...]
    moving: int
    target: Floats
    missing: Floats
    place: Floats
    span: Floats | None
    move: Floats
    move_m: float
    height_m: float


def paint_cut(scene: CutScene, width: int, height: int) -> bytes:
    """Paint a section as PNG, true to scale over its whole height."""
    wide, high = width * FINE, height * FINE
    scale, middle = high / scene.height_m, np.array([wide / 2, high / 2])

    def flat(points: Floats) -> Floats:
        """Fine pixels of points in the plane."""
        pixels: Floats = points[..., :2] * (scale, -scale) + middle
        return pixels

    # The picture is one of numbers of colours until it is whole: three times less to paint.
    colours = np.vstack([_faded(scene.colour), scene.ground, scene.ground * HATCH, FIXED]).round().astype(np.uint8)
    last = len(colours)
    image = _behind(scene, flat, wide, high, last)
    moving = _faces(scene, flat, image, len(scene.colour) * LEVELS, last)
    _ghosts(scene, flat, image, len(scene.colour) * LEVELS, last)
    picture = averaged(colours.take(image.ravel(), axis=0), width, height)
    place = flat(scene.place) / FINE
    x, y = place.tolist()
    if len(scene.missing):
        away = float(np.linalg.norm(flat(scene.missing).reshape(-1, 2) / FINE - place, axis=1).max())
        for thick, colour in ((0.016 * height, pens.HALO), (0.008 * height, MARK)):
            pens.ring(picture, x, y, max(1.25 * away, 0.05 * height), thick, colour)
    elif scene.span is None:
        pens.mark(picture, x, y, 0.03 * height)
    else:
        start, end = flat(scene.span) / FINE
        _dimension(picture, start, end, float(np.linalg.norm(scene.span[1] - scene.span[0])))
    _move(picture, scene, moving[::FINE, ::FINE], place)
    _bar(picture, scale / FINE)
    return png(np.clip(np.round(picture), 0, 255).astype(np.uint8))


def _faded(colour: Bytes) -> Floats:
    """Colours (t * `LEVELS`, 3) of faces behind the plane, from far away to right behind it."""
    strength = FAINT * np.arange(LEVELS) / (LEVELS - 1)
    result: Floats = (PAPER + (colour[:, None] - np.array(PAPER, float)) * strength[:, None]).reshape(-1, 3)
    return result


def _at_depth(lines: Floats) -> Floats:
    """Lines (n, 2, 2) in the plane itself as (n, 2, 3)."""
    return np.concatenate([lines, np.ones((*lines.shape[:2], 1))], axis=2)


def _behind(scene: CutScene, flat: Flat, wide: int, high: int, last: int) -> Numbers:
    """What lies behind the plane, the fainter the farther away: numbers of colours (h, w)."""

    def deep(points: Floats) -> Floats:
        """Pixels, and a nearness from 2 in the plane to 1 where everything fades."""
        return np.concatenate([flat(points), 2.0 - points[..., 2:] / BEHIND_M], axis=-1)

    corners, face = clip_near(scene.corners, 0.0)
    canvas = fill(deep(corners), face, wide, high)
    level = ((np.maximum(canvas.near, 1.0) - 1.0) * (LEVELS - 1)).astype(np.int32)
    image = canvas.face * LEVELS + level
    image[canvas.near <= 1.0] = last + NOTHING
    strokes = stroke_pixels(deep(clip_ends(scene.edges, np.zeros(len(scene.edges), np.int64), 0.0)[0]), wide, high)
    seen = (strokes.near > 1.0) & (strokes.near * (1 + TIE) >= canvas.near[strokes.y, strokes.x])
    _stamp(image, strokes, FINE, last + BEHIND_EDGE, seen)
    return image


def _faces(scene: CutScene, flat: Flat, image: Numbers, first: int, last: int) -> Bools:
    """Paint the cut faces over ``image`` (h, w) and tell where (h, w) the part that should move is cut.

    ``first`` is the number of the first body's colour.
    """
    high, wide = image.shape
    ends = flat(scene.outline)
    edge = max(2, round(EDGE * high))
    count = len(scene.ground)
    hatches = {name: _hatch(name, high / scene.height_m, wide, high) for name in set(scene.hatch)}
    rims: list[tuple[Window, Bools, int]] = []
    moving = np.zeros((high, wide), dtype=bool)
    for k in range(count):
        mine = ends[scene.body == k]
        ink = last + (FLAGGED_EDGE if scene.flagged[k] else OWN_EDGE)
        if not scene.solid[k]:
            _stamp(image, stroke_pixels(_at_depth(mine), wide, high), max(2, round(SHEET * high)), ink)
            continue
        window, inside = _inside(mine, edge + 1, wide, high)
        left = _eroded(inside, edge, edge)
        if scene.flagged[k] and not left.any():
            # A sheet is all rim: where it is flagged, it is thick enough to be seen and keeps its colour.
            _stamp(image, stroke_pixels(_at_depth(mine), wide, high), edge, first + k)
            ink = first + k
        np.copyto(image[window], first + k, where=inside)
        np.copyto(image[window], first + count + k, where=inside & hatches[scene.hatch[k]][window])
        rims.append((window, inside & ~left, ink))
        if k == scene.moving:
            moving[window] = inside
    # All at the end, so that parts which overlap show both their edges.
    for window, rim, ink in rims:
        np.copyto(image[window], ink, where=rim)
    return moving


def _ghosts(scene: CutScene, flat: Flat, image: Numbers, first: int, last: int) -> None:
    """Dashed outlines of where parts should be; what is missing there shows as a pale wash on the bare paper."""
    high, wide = image.shape
    thick, dash = max(2, round(EDGE * high)), max(4, round(DASH * high))
    if len(scene.missing):
        window, inside = _inside(flat(scene.missing), 0, wide, high)
        bare = (image[window] < first) | (image[window] == last + NOTHING)
        np.copyto(image[window], last + WASH, where=inside & bare)
    for lines in (scene.target, scene.missing):
        strokes = stroke_pixels(_at_depth(flat(lines)), wide, high)
        _stamp(image, strokes, thick, last + GHOST, strokes.step % dash < 0.6 * dash)


def _inside(ends: Floats, margin: int, wide: int, high: int) -> tuple[Window, Bools]:
    """Pixels inside directed outlines (s, 2, 2), those round which the outlines turn, and the window that holds them.

    The window reaches ``margin`` pixels over the body, as far as the picture goes.
    """
    low, up = np.floor(ends.min(axis=(0, 1))) - margin, np.ceil(ends.max(axis=(0, 1))) + margin
    left, top = np.clip(low, 0, (wide, high)).astype(int).tolist()
    right, bottom = np.clip(up, 0, (wide, high)).astype(int).tolist()
    rows, columns = bottom - top, right - left
    first = np.clip(np.ceil(ends[..., 1].min(axis=1) - 0.5), top, bottom).astype(np.int64)
    last = np.clip(np.ceil(ends[..., 1].max(axis=1) - 0.5), top, bottom).astype(np.int64)
    starts = np.concatenate([[0], np.cumsum(last - first)])
    of = owners(starts)
    row = np.arange(starts[-1]) - starts[of] + first[of]
    # From the upper end down, so that two lines through one place find the same crossings.
    falls = ends[:, 0, 1] < ends[:, 1, 1]
    upper, lower = np.where(falls[:, None, None], ends, ends[:, ::-1])[of].transpose(1, 0, 2)
    share = (row + 0.5 - upper[:, 1]) / (lower[:, 1] - upper[:, 1])
    x = upper[:, 0] + share * (lower[:, 0] - upper[:, 0])
    column = np.clip(np.ceil(x - 0.5), left, right).astype(np.int64)
    at = (row - top) * (columns + 1) + column - left
    turns = np.bincount(at, np.where(falls[of], 1, -1), rows * (columns + 1)).reshape(rows, columns + 1)
    inside: Bools = np.cumsum(turns.astype(np.int16), axis=1, dtype=np.int16)[:, :-1] != 0
    return (slice(top, bottom), slice(left, right)), inside


def _eroded(inside: Bools, down: int, right: int) -> Bools:
    """What of a body is left when its rim is taken off; where the picture cuts it off there is no rim.

    The rim is as thick as told, in pixels downwards and to the right.
    """
    left = inside.copy()
    for axis, by in enumerate((down, right)):
        before = np.moveaxis(left.copy(), axis, 0)
        after = np.moveaxis(left, axis, 0)
        # Three steps stand for all: they miss only slots in one body that are narrower than half a rim.
        for step in {by, by - by // 2, 1} - {0}:
            after[step:] &= before[:-step]
            after[:-step] &= before[step:]
    return left


def _hatch(name: str, scale: float, wide: int, high: int) -> Bools:
    """Pixels (h, w) on lines at 45 degrees; they belong to the paper, not to the part."""
    way, period, share = HATCHES[name]
    step = max(4.0, period * scale * np.sqrt(2.0))
    line = np.arange(wide + high) % step < share * step
    rows: Bools = np.lib.stride_tricks.sliding_window_view(line, wide)[:high]
    return rows[::way]


def _stamp(image: Numbers, strokes: Strokes, thick: int, colour: int, only: Bools | None = None) -> None:
    """Lines of some thickness over ``image`` (h, w), or ``only`` some of their pixels."""
    high, wide = image.shape
    x, y = (strokes.x, strokes.y) if only is None else (strokes.x[only], strokes.y[only])
    for down in range(-(thick // 2), thick - thick // 2):
        for right in range(-(thick // 2), thick - thick // 2):
            image[np.clip(y + down, 0, high - 1), np.clip(x + right, 0, wide - 1)] = colour


def _dimension(picture: Floats, start: Floats, end: Floats, length_m: float) -> None:
    """A measured distance between two marks, and its value beside them in millimetres."""
    height = picture.shape[0]
    unit, size, text = height / 100, _letters(height), f"{length_m * 1000:.1f} mm"
    length = float(np.linalg.norm(end - start))
    way = (end - start) / length
    level = abs(way[0]) > LEVEL
    if way[0] < 0 if level else way[1] > 0:
        start, end, way = end, start, -way
    side = np.array([-way[1], way[0]])
    for reach, coats in ((12, ((0.2 * unit, INK),)), (4, ((0.9 * unit, pens.HALO), (0.3 * unit, INK)))):
        for at in (start, end):
            pens.lines(picture, at + np.array([[-side, side]]) * (reach * unit), *coats)
    tail = 7 * unit
    for at, tip in ((start, -way), (end, way)):
        foot = (start + end) / 2 if length > 4 * tail else at + tail * tip
        pens.arrow(picture, foot, at, 1.6 * unit, 0.35 * unit, INK)
    wide = pens.figures_width(text, size)
    beside = np.array([wide / 2 + 2 * unit, -size / 2 - 2 * unit]) if level else np.array([-wide / 2 - 2 * unit, -tail])
    pens.figures(picture, text, end + beside, size, INK)


def _move(picture: Floats, scene: CutScene, moving: Bools, place: Floats) -> None:
    """The way the part should go, on the part, and how far; the direction is exact, the length is not the distance."""
    height = picture.shape[0]
    way = scene.move * (1, -1)
    length = float(np.linalg.norm(way))
    if length < 0.5 * scene.move_m or length == 0:
        return
    way /= length
    reach = 0.07 * height
    level = abs(way[0]) > LEVEL
    beside = np.array([0.0, 1.0] if level else [1.0, 0.0])
    middle, sign = _room(moving, place, beside * (0.1 * height), (0.08 - 0.04 * beside) * height)
    pens.arrow(picture, middle - way * reach, middle + way * reach, 0.045 * height, 0.012 * height, MARK)
    text, size = f"{round(scene.move_m * 1000, 1):g} mm", _letters(height)
    room = beside @ np.array([pens.figures_width(text, size) / 2, size / 2]) + 0.055 * height
    pens.figures(picture, text, middle + sign * room * beside, size, MARK)


def _room(part: Bools, place: Floats, step: Floats, clear: Floats) -> tuple[Floats, float]:
    """Where near a part (h, w) an arrow has room: about at ``place`` plus ``step``, or minus it (then -1.0).

    Its middle lies ``clear`` (2,) pixels inside the part, across and down, or as far as the part is thick; beside a
    part that is all edge.
    """
    height, width = part.shape
    margin = int(clear.max())
    for share in (1.0, 0.5, 0.25, 0.0):
        right, down = (share * clear).astype(int).tolist()
        y, x = np.nonzero(_eroded(part, down, right)[margin : height - margin, margin : width - margin])
        if len(x):
            spots = np.column_stack([x, y]) + margin + 0.5
            ahead, back = (np.linalg.norm(spots - place - sign * step, axis=1) for sign in (1.0, -1.0))
            # The value of the dimension stands on the other side.
            sign = 1.0 if ahead.min() < back.min() + 0.6 * float(np.linalg.norm(step)) else -1.0
            found: Floats = spots[(ahead if sign > 0 else back).argmin()]
            return found + (0.0 if share else sign) * step, sign
    return place, 1.0


def _letters(height: int) -> float:
    """Height of figures in pixels."""
    share, least = LETTERS
    return max(share * height, least)


def _bar(picture: Floats, scale: float) -> None:
    """A bar of known length in the lower right corner."""
    height, width = picture.shape[:2]
    unit = height / 100
    length = max(each for each in BARS_M if each * scale <= BAR * height or each == BARS_M[0])
    end = np.array([width - 4 * unit, height - 4 * unit])
    start, tick = end - (length * scale, 0), np.array([0, 1.2 * unit])
    strokes = np.array([[start, end], [start - tick, start + tick], [end - tick, end + tick]])
    pens.lines(picture, strokes, (1.2 * unit, pens.HALO), (0.4 * unit, INK))
    pens.figures(picture, f"{length * 1000:.0f} mm", (start + end) / 2 - 2.8 * tick, 0.8 * _letters(height), INK)
