"""Lines, rings, arrows and figures over a finished picture (h, w, 3 floats): soft-edged and without any font.

Places are pixels, x to the right and y down, the middle of the first pixel at (0.5, 0.5).
"""

from itertools import pairwise
from typing import Final

import numpy as np

from checker.model import Floats

Rgb = tuple[int, int, int]

MARK: Final = (18, 62, 168)
HALO: Final = (255, 255, 255)

_FIGURES: Final[dict[str, tuple[int, str]]] = {
    "0": (4, "10 30 41 45 36 16 05 01 10"),
    "1": (4, "04 26 20,00 40"),
    "2": (4, "05 16 36 45 44 00 40"),
    "3": (4, "05 16 36 45 44 33 13,33 42 41 30 10 01"),
    "4": (4, "30 36 02 42"),
    "5": (4, "46 06 03 33 42 41 30 10 01"),
    "6": (4, "45 36 16 05 01 10 30 41 42 33 13 02"),
    "7": (4, "06 46 10"),
    "8": (4, "13 33 42 41 30 10 01 02 13 04 05 16 36 45 44 33"),
    "9": (4, "01 10 30 41 45 36 16 05 04 13 33 44"),
    ".": (0, "00 00"),
    "-": (3, "03 33"),
    "m": (6, "00 04,03 14 24 33 30,33 44 54 63 60"),
    " ": (1, ""),
}
"""Width and strokes of each figure on a grid 6 high: column and row from the lower left, strokes apart by commas."""


def blend(picture: Floats, distance: Floats, top: int, left: int, thick: float, colour: Rgb) -> None:
    """Colour what is nearer than half the thickness to a curve, with a soft rim one pixel wide."""
    part = picture[top : top + distance.shape[0], left : left + distance.shape[1]]
    part += (np.array(colour) - part) * np.clip(thick / 2 + 0.5 - distance, 0, 1)[..., None]


def _around(picture: Floats, low: Floats, high: Floats) -> tuple[int, int, Floats, Floats]:
    """First row and column of a window clipped to the picture, and the middles of its pixels (rows, columns)."""
    left, top = np.maximum(np.floor(low), 0).astype(int).tolist()
    right, bottom = np.minimum(np.ceil(high), picture.shape[1::-1]).astype(int).tolist()
    rows, columns = np.mgrid[top : max(top, bottom), left : max(left, right)] + 0.5
    return top, left, rows, columns


def ring(picture: Floats, x: float, y: float, radius: float, thick: float, colour: Rgb) -> None:
    """A circle."""
    at, reach = np.array([x, y]), radius + thick + 2
    top, left, rows, columns = _around(picture, at - reach, at + reach)
    blend(picture, np.abs(np.hypot(columns - x, rows - y) - radius), top, left, thick, colour)


def lines(picture: Floats, segments: Floats, *coats: tuple[float, Rgb]) -> None:
    """Straight lines (n, 2, 2) with round ends, in one or more coats of thickness and colour."""
    if len(segments) == 0:
        return
    reach = max(thick for thick, _ in coats) + 2
    top, left, rows, columns = _around(picture, segments.min(axis=(0, 1)) - reach, segments.max(axis=(0, 1)) + reach)
    (x, y), (along, down) = segments[:, 0].T[..., None, None], np.diff(segments, axis=1)[:, 0].T[..., None, None]
    t = ((columns - x) * along + (rows - y) * down) / np.maximum(along**2 + down**2, 1e-12)
    t = np.clip(t, 0, 1)
    distance = np.hypot(columns - x - t * along, rows - y - t * down).min(axis=0)
    for thick, colour in coats:
        blend(picture, distance, top, left, thick, colour)


def mark(picture: Floats, x: float, y: float, radius: float) -> None:
    """A ring with four ticks round a place, open in the middle so that the place itself stays in sight."""
    at = np.array([x, y])
    for thick, colour in ((radius * 0.5 + 2.5, HALO), (radius * 0.25, MARK)):
        ring(picture, x, y, radius, thick, colour)
        for step in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            lines(picture, at + np.multiply.outer([[1.0, 1.7]], step) * radius, (thick, colour))


def arrow(picture: Floats, start: Floats, tip: Floats, head: float, thick: float, colour: Rgb) -> None:
    """An arrow with a head as long as ``head``, with a light rim."""
    way = (tip - start) / max(float(np.linalg.norm(tip - start)), 1e-9)
    side = 0.77 * np.array([-way[1], way[0]])
    strokes = np.array([[start, tip], [tip - head * (way - side), tip], [tip - head * (way + side), tip]])
    lines(picture, strokes, (2.0 * thick, HALO), (thick, colour))


def figures(picture: Floats, text: str, middle: Floats, height: float, colour: Rgb) -> None:
    """Write a number and its unit so that it reads on any ground; see `_FIGURES` for what can be written."""
    unit = height / 6
    cursor = 0
    strokes: list[list[tuple[float, float]]] = []
    for letter in text:
        width, drawn = _FIGURES[letter]
        for stroke in filter(None, drawn.split(",")):
            points = [(cursor + float(place[0]), float(place[1])) for place in stroke.split()]
            strokes += [list(pair) for pair in pairwise(points)]
        cursor += width + 2
    segments = (np.array(strokes) - ((cursor - 2) / 2, 3.0)) * (unit, -unit) + middle
    lines(picture, segments, (0.75 * unit + 0.34 * height, HALO), (0.9 * unit, colour))


def figures_width(text: str, height: float) -> float:
    """How wide `figures` are."""
    return (sum(_FIGURES[letter][0] + 2 for letter in text) - 2) * height / 6
