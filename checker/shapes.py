"""Facts of shape: how bodies stand and lie, what their shape allows them to be, how they lie to each other."""

from dataclasses import dataclass

import numpy as np
import shapely

from checker.evidence import AT, NONE
from checker.geometry import Boxes
from checker.model import Bools, Floats, Ints


@dataclass(frozen=True, slots=True)
class Shapes:
    """Facts of n bodies: lengths in metres, directions in world axes, booleans (n,).

    ``along`` (n, 2) is the horizontal direction in which a body runs and ``across`` (n, 2) the one square to it, with
    ``half`` (n, 2) half the extents in both; ``tilt`` (n, 3) the upright share of the long, middle and thin axis (0
    level, 1 upright); ``gauge`` (n,) the mean thickness of the material; ``fill`` (n,) how much of the box is full.
    """

    measured: Bools
    size: Floats
    tilt: Floats
    centre: Floats
    low: Floats
    high: Floats
    along: Floats
    across: Floats
    half: Floats
    gauge: Floats
    fill: Floats

    @property
    def flat(self) -> Bools:
        """Bodies like a board."""
        length, width, thickness = self.size.T
        result: Bools = self.measured & (width >= 1.2 * thickness) & (length >= 0.3)
        return result

    @property
    def wall_like(self) -> Bools:
        """Flat bodies whose thin axis is within 30 degrees of level."""
        result: Bools = self.flat & (self.tilt[:, 2] <= 0.5)
        return result

    @property
    def standing(self) -> Bools:
        """Slender bodies within 15 degrees of upright."""
        return self.measured & (self.tilt[:, 0] >= 0.9659) & (self.size[:, 0] >= 3 * self.size[:, 1])

    @property
    def level(self) -> Bools:
        """Slender bodies within 10 degrees of level."""
        return self.measured & (self.tilt[:, 0] <= 0.1737) & (self.size[:, 0] >= 3 * self.size[:, 1])


def shapes_of(bodies: Boxes, closed: Bools) -> Shapes:
    """The facts of some bodies; the volume of one that is not ``closed`` (n,) says nothing, so it counts as solid."""
    size, axes = bodies.size, bodies.axes
    tilt = np.abs(axes[:, :, 2])
    measured = np.isfinite(size).all(axis=1) & (size[:, 0] > 1e-4) & np.isfinite(bodies.centre).all(axis=1)
    # A wall runs square to its thin axis, anything else along its longest one that does not stand.
    thin, long = axes[:, 2, :2], np.where(tilt[:, :1] <= 0.7071, axes[:, 0, :2], axes[:, 1, :2])
    wall = (tilt[:, 2] <= 0.5) & (size[:, 1] >= 1.2 * size[:, 2])
    along = np.where(wall[:, None], np.stack([-thin[:, 1], thin[:, 0]], axis=1), long)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = np.where(length > 1e-6, along / np.maximum(length, 1e-6), [[1.0, 0.0]])
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    half = 0.5 * np.stack([(size * np.abs(_dot(axes, direction))).sum(axis=1) for direction in (along, across)], axis=1)
    box = np.maximum(size.prod(axis=1), 1e-12)
    volume = np.abs(bodies.volume)
    return Shapes(
        measured=measured,
        size=size,
        tilt=tilt,
        centre=bodies.centre,
        low=bodies.low[:, 2],
        high=bodies.high[:, 2],
        along=along,
        across=across,
        half=half,
        gauge=np.where(closed, 2 * volume / np.maximum(bodies.area, 1e-12), size[:, 2]),
        fill=np.where(closed, np.clip(volume / box, 0.0, 1.0), 1.0),
    )


def _dot(axes: Floats, direction: Floats) -> Floats:
    """Cosines (n, 3) between the axes of bodies and a horizontal direction (n, 2) each."""
    result: Floats = np.einsum("nkd,nd->nk", axes[:, :, :2], direction)
    return result


class Neighbours:
    """How pairs lie to each other, seen in the direction of the first: gaps (m,) along and across it.

    Gaps are negative where both overlap. ``offset`` is the distance between the middle planes, ``parallel`` whether
    both run the same way.
    """

    def __init__(self, shapes: Shapes, i: Ints, j: Ints) -> None:
        step = shapes.centre[j, :2] - shapes.centre[i, :2]
        cosine = np.abs(np.einsum("pd,pd->p", shapes.along[i], shapes.along[j]))
        sine = np.sqrt(np.clip(1 - cosine**2, 0.0, 1.0))
        half, other = shapes.half[i], shapes.half[j]
        self.along: Floats = (
            np.abs(np.einsum("pd,pd->p", step, shapes.along[i]))
            - half[:, 0]
            - other[:, 0] * cosine
            - other[:, 1] * sine
        )
        self.offset: Floats = np.abs(np.einsum("pd,pd->p", step, shapes.across[i]))
        self.across: Floats = self.offset - half[:, 1] - other[:, 1] * cosine - other[:, 0] * sine
        self.parallel: Bools = cosine > 0.985


class Plan:
    """Bodies as seen from above: rectangles around them, and which come near each other."""

    def __init__(self, shapes: Shapes) -> None:
        self._measured = shapes.measured
        along = shapes.along * np.maximum(shapes.half[:, :1], 1e-3)
        across = shapes.across * np.maximum(shapes.half[:, 1:], 1e-3)
        corners = [shapes.centre[:, :2] + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        self._outlines = shapely.polygons(np.nan_to_num(np.stack(corners, axis=1)))

    def pairs(self, first: Ints, second: Ints, reach: float) -> tuple[Ints, Ints]:
        """Pairs of measured bodies whose rectangles come within ``reach`` of each other."""
        first, second = first[self._measured[first]], second[self._measured[second]]
        if not len(first) or not len(second):
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        tree = shapely.STRtree(self._outlines[second])
        i, j = tree.query(self._outlines[first], predicate="dwithin", distance=reach)
        return first[i], second[j]


def allowed_roles(shapes: Shapes, concrete: Bools, curtain: Bools) -> Floats:
    """How far the shape of each body allows each role (n, `NONE` + 1), 0 to 1; all of it where nothing was measured."""
    s = shapes
    length, width, thickness = s.size.T
    height = s.high - s.low
    allowed = np.ones((len(length), NONE + 1))

    def allow(role: str, fits: Bools, partly: Bools, share: float = 0.5, never: float = 0.1) -> None:
        allowed[:, AT[role]] = np.where(s.measured, np.where(fits, 1.0, np.where(partly, share, never)), 1.0)

    sheet, steep = (thickness < 0.0245) | (s.gauge < 0.004), s.tilt[:, 2] <= 0.7071
    flat = s.flat & ~sheet & (thickness <= 0.5) & (s.fill >= 0.2)
    usual = (thickness >= 0.0299) & (thickness <= 0.3501) & (width >= 0.1999)
    pane = curtain & s.flat & (thickness >= 0.0149)
    allow("panel", flat & s.wall_like & usual, (flat | pane) & steep & (width >= 0.1), share=0.6)
    allow("roof", s.flat & (s.tilt[:, 2] >= 0.7071) & (width >= 0.2), s.flat & ~steep, never=0.15)
    section = (thickness >= np.where(curtain, 0.0999, 0.0599)) & (width <= 1.5) & (width <= 5 * thickness)
    allow("column", s.standing & section & (length >= 1.9999), s.standing & section & (length >= 1.5))
    thin_steel = (s.fill < 0.5) & (s.gauge < 0.02)
    low = s.measured & ~s.standing & (thickness >= 0.0399) & (height <= 3.0) & (length >= 0.3) & ~thin_steel
    wide = s.level & (width <= 1.2)
    allow("plinth", low & ((s.flat & (s.tilt[:, 2] <= 0.5)) | (s.level & (width < 1.2 * thickness))), low & wide)
    solid = concrete | ((s.fill >= 0.6) & (thickness >= 0.12) & (width >= 0.2))
    allow("base-rail", s.level & (width <= 0.5) & ~solid, s.level & (width <= 0.5) & ~concrete, share=0.35)
    # A frame round a window is long and wide, yet hardly fills its box.
    strip = s.measured & ((width <= 0.3) | (s.fill <= 0.25))
    for role in ("seal", "sealant", "foam", "tape"):
        allow(role, strip, s.measured & (width <= 0.6), never=0.15)
    allow("insulation", thickness <= 0.5, s.measured, share=0.4)
    allow("flashing", (s.gauge <= 0.012) | (thickness <= 0.03) | (s.fill <= 0.25), width <= 0.6, share=0.75, never=0.2)
    allow("membrane", (s.gauge <= 0.02) | (thickness <= 0.05), s.measured, share=0.4)
    allow("eave-profile", (length >= 3 * width) & (s.tilt[:, 0] <= 0.5) & (width <= 1.0), width <= 1.0, share=0.4)
    allow("window", (length >= 0.3) & (width >= 0.2), s.measured, share=0.3)
    allow("door", (length >= 0.5) & (width >= 0.4), s.measured, share=0.3)
    return allowed


def figures(shapes: Shapes) -> list[str]:
    """Shape and size of each body in words."""
    upright = shapes.tilt[:, 2] <= 0.5
    lying = shapes.tilt[:, 2] >= 0.966
    flat = shapes.flat & (shapes.size[:, 1] >= 3 * shapes.size[:, 2])
    slender = shapes.size[:, 0] >= 3 * shapes.size[:, 1]
    kinds = np.select(
        [
            shapes.standing & ~(flat & (shapes.size[:, 1] > 0.5)),
            shapes.level & slender & ~(flat & (shapes.size[:, 1] > 0.3)),
            flat & upright,
            flat & lying,
            flat,
        ],
        ["slender and upright ", "slender and level ", "flat and upright ", "flat and lying ", "flat and sloping "],
        "",
    )
    return [
        f"{kind}{a:.2f} x {b:.2f} x {c:.2f} m" if ok else ""
        for kind, (a, b, c), ok in zip(kinds.tolist(), shapes.size.tolist(), shapes.measured.tolist(), strict=True)
    ]
