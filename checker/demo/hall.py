"""The sample hall as pure geometry: every part, every seam, every length known before a file is written.

Frames. Each facade has a frame (u, v, n) in millimetres: u to the right seen from outside, v up, n outwards; n = 0 is
the outer face of the columns. The frame ``""`` lies on the plan: u = x, v = z, n = -y.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor, hypot, pi
from typing import Final, Literal

import numpy as np

Point = tuple[float, float]
Place = tuple[float, float, float]
Plane = Literal["uv", "un", "nv"]

OUTER, INNER = 128.0, 8.0
"""Faces of the panels: 120 thick, 8 off the columns for the seal strip."""
ROW_MM, JOINT_MM, FOOT_MM = 1000.0, 1.0, 370.0
ROWS: Final = {"A": 6, "5": 7, "D": 6, "1": 7}
END_MM = 15.0
CORNER_MM = 20.0
EAVES_MM = FOOT_MM + 6 * ROW_MM - JOINT_MM
GABLE_MM, SLOPE, DEPTH_MM = 6570.0, 0.07, 18000.0
PLINTH_TOP, PLINTH_OUTER = 300.0, 118.0
RAIL_OUTER, RAIL_FOOT = 108.0, 310.0
SEAL_MM = 40.0
COVER_MM = 80.0
"""Flashings over the seams reach so far on both sides of the axis."""
TONGUE_MM, TONGUE_WIDTH, TONGUE_PLAY = 12.0, 40.0, 1.0
CORNERS: Final = (("A", "5"), ("D", "5"), ("D", "1"), ("A", "1"))
"""At each corner the panels of the first facade run past and cover those of the second."""


def snapped(value: float) -> float:
    """A length without float noise: to a thousandth of a millimetre."""
    return round(value, 3) + 0.0


@dataclass(frozen=True, slots=True)
class Frame:
    """A facade frame: where (u, n) = (0, 0) lies on the plan in mm, the direction of u, its length, its columns."""

    key: str
    origin: Point
    along: Point
    length: float
    axes: tuple[tuple[str, float], ...] = ()

    def world(self, place: Place) -> Place:
        """Plan coordinates (x, y, z) in mm of (u, v, n)."""
        u, v, n = place
        (x, y), (c, s) = self.origin, self.along
        return x + c * u + s * n, y + s * u - c * n, v

    def local(self, point: Point) -> Point:
        """(u, n) of a point of the plan."""
        (x, y), (c, s) = self.origin, self.along
        dx, dy = point[0] - x, point[1] - y
        return c * dx + s * dy, s * dx - c * dy

    def mirrored(self) -> "Frame":
        """The frame that sees the mirror image (x -> -x) from outside; u becomes ``length - u``."""
        x, y, _ = self.world((self.length, 0.0, 0.0))
        c, s = self.along
        axes = tuple((tag, self.length - u) for tag, u in reversed(self.axes))
        return Frame(self.key, (-x, y), (c, -s), self.length, axes)


@dataclass(frozen=True, slots=True)
class Prism:
    """A polygon in one plane of the frame, drawn out along the third direction from ``start`` by ``depth``.

    ``section`` names the rolled section the outline stands for: its kind and measures as an IFC profile takes them.
    """

    plane: Plane
    outline: tuple[Point, ...]
    start: float
    depth: float
    hole: tuple[Point, ...] = ()
    section: tuple[str, tuple[float, ...]] | None = None

    def bounds(self) -> tuple[Place, Place]:
        """Lowest and highest (u, v, n)."""
        (a0, b0), (a1, b1) = extent(self.outline)
        s0, s1 = self.start, self.start + self.depth
        if self.plane == "uv":
            return (a0, b0, s0), (a1, b1, s1)
        if self.plane == "un":
            return (a0, s0, b0), (a1, s1, b1)
        return (s0, b0, a0), (s1, b1, a1)

    def moved(self, du: float = 0.0, dv: float = 0.0, dn: float = 0.0) -> "Prism":
        """The same prism elsewhere."""
        da, db, ds = {"uv": (du, dv, dn), "un": (du, dn, dv), "nv": (dn, dv, du)}[self.plane]
        outline = tuple((snapped(a + da), snapped(b + db)) for a, b in self.outline)
        hole = tuple((snapped(a + da), snapped(b + db)) for a, b in self.hole)
        return replace(self, outline=outline, hole=hole, start=snapped(self.start + ds))

    def mirrored(self, length: float) -> "Prism":
        """The mirror image, u -> ``length - u``."""
        if self.plane == "nv":
            return replace(self, start=length - self.start - self.depth)
        flip = [tuple((length - a, b) for a, b in reversed(ring)) for ring in (self.outline, self.hole)]
        return replace(self, outline=flip[0], hole=flip[1])


@dataclass(frozen=True, slots=True)
class Part:
    """One element. ``key`` is its stable name; ``host`` what an opening voids or a window or door fills.

    ``sealed`` is what a flashing states of its laps, ``number`` its running number in the clean hall.
    """

    key: str
    kind: str
    frame: str
    bodies: tuple[Prism, ...]
    bay: int = 0
    row: int = 0
    axis: str = ""
    host: str = ""
    sealed: bool | None = None
    number: int = 0

    def bounds(self) -> tuple[Place, Place]:
        """Lowest and highest (u, v, n) in its frame."""
        boxes = np.array([body.bounds() for body in self.bodies])
        low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
        return (float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2]))

    def moved(self, du: float = 0.0, dv: float = 0.0, dn: float = 0.0) -> "Part":
        """The same part elsewhere."""
        return replace(self, bodies=tuple(body.moved(du, dv, dn) for body in self.bodies))


@dataclass(frozen=True, slots=True)
class HallSeam:
    """The seam between two panels of one row; parts by their keys, ``place`` at its narrowest height."""

    left: str
    right: str
    column: str
    facade: str
    axis: str
    row: int
    length_mm: float
    width_min_mm: float
    width_max_mm: float
    offset_left_mm: float
    offset_right_mm: float
    place: Place


@dataclass(frozen=True)
class Hall:
    """The whole building; ``grid`` are the axes as tag and two points of the plan in mm."""

    frames: Mapping[str, Frame]
    parts: Mapping[str, Part]
    seams: tuple[HallSeam, ...]
    grid: tuple[tuple[str, Point, Point], ...]
    is_mirrored: bool = False


def extent(points: Iterable[Point]) -> tuple[Point, Point]:
    """Lower left and upper right corner."""
    a, b = zip(*points, strict=True)
    return (min(a), min(b)), (max(a), max(b))


def rectangle(a0: float, a1: float, b0: float, b1: float) -> tuple[Point, ...]:
    """Anticlockwise from the lower left corner."""
    return tuple((snapped(a), snapped(b)) for a, b in ((a0, b0), (a1, b0), (a1, b1), (a0, b1)))


def is_rectangle(outline: tuple[Point, ...]) -> bool:
    """Whether the outline is an upright rectangle.

    >>> is_rectangle(rectangle(0, 2, 0, 1)), is_rectangle(((0, 0), (2, 0), (1, 1)))
    (True, False)
    """
    (a0, b0), (a1, b1) = extent(outline)
    return len(outline) == 4 and set(outline) == {(a0, b0), (a1, b0), (a1, b1), (a0, b1)}


def box(u0: float, u1: float, v0: float, v1: float, n0: float, n1: float, plane: Plane = "uv") -> Prism:
    """An upright box, drawn out of the given plane."""
    ring = {"uv": (u0, u1, v0, v1), "un": (u0, u1, n0, n1), "nv": (n0, n1, v0, v1)}[plane]
    start, end = {"uv": (n0, n1), "un": (v0, v1), "nv": (u0, u1)}[plane]
    return Prism(plane, rectangle(*ring), snapped(start), snapped(end - start))


def wide_flange(plane: Plane, a: float, b: float, start: float, depth: float, size: tuple[float, ...]) -> Prism:
    """An I section of ``size`` (width along the first axis, height along the second, web, flange) about (a, b)."""
    width, height, web, flange = size
    w, h, t, f = width / 2, height / 2, web / 2, height / 2 - flange
    right = [(w, -h), (w, -f), (t, -f), (t, f), (w, f), (w, h)]
    ring = [*right, *((-x, y) for x, y in reversed(right))]
    return Prism(plane, tuple((snapped(a + x), snapped(b + y)) for x, y in ring), start, depth, section=("I", size))


def round_bar(plane: Plane, a: float, b: float, start: float, depth: float, radius: float) -> Prism:
    """A cylinder about (a, b); its outline has 16 sides."""
    turns = np.arange(16) * pi / 8
    ring = tuple((snapped(a + radius * float(np.cos(t))), snapped(b + radius * float(np.sin(t)))) for t in turns)
    return Prism(plane, ring, start, depth, section=("circle", (radius,)))


def meet(one: Frame, n_one: float, other: Frame, n_other: float) -> Point:
    """Where the lines n = ``n_one`` and n = ``n_other`` of two facades cross on the plan."""
    ends = [one.world((0.0, 0.0, n_one)), other.world((0.0, 0.0, n_other))]
    matrix = np.array([[one.along[0], -other.along[0]], [one.along[1], -other.along[1]]])
    right = np.array([ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]])
    step = float(np.linalg.solve(matrix, right)[0])
    return ends[0][0] + one.along[0] * step, ends[0][1] + one.along[1] * step


def plan() -> dict[str, Frame]:
    """The four facades, anticlockwise; the gable on axis 5 stands at 83 and 97 degrees to the long facades."""
    corners = [(0.0, 0.0), (24000.0, 0.0), (21790.0, DEPTH_MM), (0.0, DEPTH_MM)]
    axes = {
        "A": (("2", 6000.0), ("3", 12000.0), ("4", 18000.0)),
        "5": (("B", 6045.0), ("C", 12090.0)),
        "D": (("4", 3790.0), ("3", 9790.0), ("2", 15790.0)),
        "1": (("C", 6000.0), ("B", 12000.0)),
    }
    frames = {}
    for number, key in enumerate(axes):
        (x0, y0), (x1, y1) = corners[number], corners[(number + 1) % 4]
        length = hypot(x1 - x0, y1 - y0)
        frames[key] = Frame(key, (x0, y0), ((x1 - x0) / length, (y1 - y0) / length), length, axes[key])
    return frames


class _Clean:
    """Builds the parts of the clean hall."""

    def __init__(self) -> None:
        self.frames = plan()
        self.parts: dict[str, Part] = {}
        for key in self.frames:
            self.columns(key)
            self.panels(key)
            self.plinths(key)
            self.rails(key)
            self.plinth_seals(key)
            self.column_seals(key)
            self.foams(key)
            self.seam_flashings(key)
            self.plinth_flashings(key)
        for one, other in CORNERS:
            self.corner(one, other)
        self.windows()
        self.door()
        self.frame_of_steel()

    def add(self, part: Part) -> None:
        assert part.key not in self.parts, part.key
        self.parts[part.key] = replace(part, number=len(self.parts) + 1)

    def end(self, key: str, at_end: bool, inner: float, outer: float, clear: float) -> float:
        """Where a layer that fills n from ``inner`` to ``outer`` ends at a corner, square cut.

        The covering facade goes to the other's outer face, the covered one stays ``clear`` of its inner face.
        """
        covers, other = next(
            (key in {"A", "D"}, self.frames[two if one == key else one])
            for one, two in CORNERS
            if key in {one, two} and self._at_end(key, one, two) == at_end
        )
        face = outer if covers else inner
        frame = self.frames[key]
        ends = [frame.local(meet(frame, n, other, face))[0] for n in (inner, outer)]
        short = 0.0 if covers else clear
        return floor(min(ends) * 10 - short * 10) / 10 if at_end else ceil(max(ends) * 10 + short * 10) / 10

    @staticmethod
    def _at_end(key: str, one: str, two: str) -> bool:
        return (key, one, two) in {("A", "A", "5"), ("5", "D", "5"), ("D", "D", "1"), ("1", "A", "1")}

    def bays(self, key: str, inner: float, outer: float, clear: float, joint: float) -> list[tuple[float, float]]:
        """(u0, u1) of what spans from axis to axis, with half a ``joint`` off at each axis."""
        marks = [u for _, u in self.frames[key].axes]
        starts = [self.end(key, False, inner, outer, clear), *(u + joint / 2 for u in marks)]
        ends = [*(u - joint / 2 for u in marks), self.end(key, True, inner, outer, clear)]
        return list(zip(starts, ends, strict=True))

    def top(self, key: str, u: float) -> float:
        """Upper edge of the facade at u."""
        if key in {"A", "D"}:
            return EAVES_MM
        y = self.frames[key].world((u, 0.0, 0.0))[1]
        return snapped(GABLE_MM + SLOPE * min(y, DEPTH_MM - y))

    def seam_top(self, key: str, u: float) -> float:
        """Upper end of the seam at an axis: where the lower of its two panels ends."""
        return min(self.top(key, u - END_MM), self.top(key, u + END_MM))

    def columns(self, key: str) -> None:
        for axis, u in self.frames[key].axes:
            top = self.seam_top(key, u)
            body = wide_flange("un", u, -95.0, -500.0, snapped(top + 500.0), (200.0, 190.0, 8.0, 12.0))
            self.add(Part(f"{key}/column/{axis}", "column", key, (body,), axis=axis))
            for side, across in (("left", -30.0), ("right", 30.0)):
                bolt = round_bar("uv", u + across, 340.0, 0.0, INNER, 8.0)
                self.add(Part(f"{key}/bolt/{axis}/{side}", "bolt", key, (bolt,), axis=axis))

    def panels(self, key: str) -> None:
        ridge = self.frames[key].length / 2
        for bay, (u0, u1) in enumerate(self.bays(key, INNER, OUTER, CORNER_MM, 2 * END_MM), 1):
            for row in range(1, ROWS[key] + 1):
                v0 = FOOT_MM + (row - 1) * ROW_MM
                v1 = v0 + ROW_MM - JOINT_MM
                outline = rectangle(u0, u1, v0, v1)
                if row == 7:
                    peak = [(ridge, self.top(key, ridge))] if u0 < ridge < u1 else []
                    ring = [(u0, v0), (u1, v0), (u1, self.top(key, u1)), *peak, (u0, self.top(key, u0))]
                    outline = tuple((snapped(u), snapped(v)) for u, v in ring)
                pieces = [("", outline)]
                if (key, bay) == DOOR_BAY and row <= 3:
                    pieces = [
                        ("/left", rectangle(u0, DOOR.u0 - GAP_MM, v0, v1)),
                        ("/right", rectangle(DOOR.u1 + GAP_MM, u1, v0, v1)),
                    ]
                for piece, ring4 in pieces:
                    body = Prism("uv", ring4, INNER, OUTER - INNER)
                    self.add(Part(f"{key}/panel/{bay}/{row}{piece}", "panel", key, (body,), bay, row))

    def between(self, key: str, spans: list[tuple[float, float]]) -> list[tuple[int, str, float, float]]:
        """(bay, suffix, u0, u1): the spans, parted where the door stands."""
        pieces = []
        for bay, (u0, u1) in enumerate(spans, 1):
            if (key, bay) == DOOR_BAY:
                pieces += [(bay, "/left", u0, DOOR.u0 - GAP_MM), (bay, "/right", DOOR.u1 + GAP_MM, u1)]
            else:
                pieces.append((bay, "", u0, u1))
        return pieces

    def plinths(self, key: str) -> None:
        for bay, piece, u0, u1 in self.between(key, self.bays(key, INNER, PLINTH_OUTER, 20.0, 20.0)):
            body = box(u0, u1, -600.0, PLINTH_TOP, INNER, PLINTH_OUTER)
            self.add(Part(f"{key}/plinth/{bay}{piece}", "plinth", key, (body,), bay))

    def rails(self, key: str) -> None:
        for bay, piece, u0, u1 in self.between(key, self.bays(key, INNER, RAIL_OUTER, 0.5, 0.5)):
            body = box(u0, u1, RAIL_FOOT, FOOT_MM, INNER, RAIL_OUTER, "nv")
            self.add(Part(f"{key}/base-rail/{bay}{piece}", "base-rail", key, (body,), bay))

    def runs(self, u0: float, u1: float, key: str) -> list[tuple[float, float]]:
        """A run along the whole facade, parted at the door."""
        return [(u0, DOOR.u0 - GAP_MM), (DOOR.u1 + GAP_MM, u1)] if key == DOOR_BAY[0] else [(u0, u1)]

    def plinth_seals(self, key: str) -> None:
        frame, outer = self.frames[key], INNER + SEAL_MM
        ends = []
        for at_end in (False, True):
            one, two = next(c for c in CORNERS if key in c and self._at_end(key, *c) == at_end)
            other = self.frames[two if one == key else one]
            # Only where both cuts follow the neighbour do the pieces touch over their whole width.
            faces = [(n, outer) for n in (INNER, INNER)] if key == one else [(INNER, INNER), (outer, INNER)]
            ends.append([snapped(frame.local(meet(frame, n, other, face))[0]) for n, face in faces])
        number = 0
        for u0, u1 in self.runs(ends[0][0], ends[1][0], key):
            marks = [u0, *(mark for mark in SEAL_BREAKS[key] if u0 < mark < u1), u1]
            for left, right in pairwise(marks):
                number += 1
                far_left = ends[0][1] if left == ends[0][0] else left
                far_right = ends[1][1] if right == ends[1][0] else right
                ring = ((left, INNER), (right, INNER), (far_right, outer), (far_left, outer))
                body = Prism("un", ring, PLINTH_TOP, RAIL_FOOT - PLINTH_TOP)
                self.add(Part(f"{key}/plinth-seal/{number}", "plinth-seal", key, (body,)))

    def column_seals(self, key: str) -> None:
        for axis, u in self.frames[key].axes:
            spans = {"lower": (FOOT_MM, COLUMN_SEAL_BREAK), "upper": (COLUMN_SEAL_BREAK, self.seam_top(key, u))}
            for side, across in (("left", -60.0), ("right", 20.0)):
                for piece, (v0, v1) in spans.items():
                    body = box(u + across, u + across + SEAL_MM, v0, v1, 0.0, INNER, "un")
                    name = f"{key}/column-seal/{axis}/{side}/{piece}"
                    self.add(Part(name, "column-seal", key, (body,), axis=axis))

    def foams(self, key: str) -> None:
        for axis, u in self.frames[key].axes:
            marks = [FOOT_MM, *FOAM_BREAKS, self.seam_top(key, u)]
            for number, (v0, v1) in enumerate(pairwise(marks), 1):
                body = box(u - END_MM, u + END_MM, v0, v1, INNER, INNER + 50.0, "un")
                self.add(Part(f"{key}/foam/{axis}/{number}", "foam", key, (body,), axis=axis))

    def seam_flashings(self, key: str) -> None:
        for axis, u in self.frames[key].axes:
            for number, v0, v1, n in flashing_pieces(self.seam_top(key, u)):
                body = box(u - COVER_MM, u + COVER_MM, v0, v1, n, n + 1.0, "un")
                part = Part(f"{key}/seam-flashing/{axis}/{number}", "seam-flashing", key, (body,), axis=axis)
                self.add(replace(part, sealed=True))

    def plinth_flashings(self, key: str) -> None:
        # The covered facade butts against the inner face of the covering one.
        ends = [self.end(key, at_end, OUTER, OUTER + 2.0, 0.0) for at_end in (False, True)]
        number = 0
        for u0, u1 in self.runs(ends[0], ends[1], key):
            count = max(1, round((u1 - u0 - LAP_MM) / 2900.0))
            pitch = round((u1 - u0 - LAP_MM) / count, -1)
            for step in range(count):
                number += 1
                left = u0 + step * pitch
                right = u1 if step == count - 1 else left + pitch + LAP_MM
                n = OUTER + step % 2
                body = box(left, right, 290.0, 400.0, n, n + 1.0, "nv")
                part = Part(f"{key}/plinth-flashing/{number}", "plinth-flashing", key, (body,))
                self.add(replace(part, sealed=True))

    def corner(self, one: str, other: str) -> None:
        a, b, name = self.frames[one], self.frames[other], one + other
        flip = 1 if self._at_end(one, one, other) else -1

        def on_a(n_a: float, n_b: float, shift: float = 0.0) -> Point:
            u, n = a.local(meet(a, n_a, b, n_b))
            return snapped(u + shift), snapped(n)

        def on_b(n_b: float, u_b: float) -> Point:
            x, y, _ = b.world((u_b, 0.0, n_b))
            u, n = a.local((x, y))
            return snapped(u), snapped(n)

        ring = [on_a(0.0, 0.0), on_a(0.0, -200.0), on_a(-200.0, -200.0), on_a(-200.0, 0.0)]
        body = Prism("un", tuple(ring[::flip]), -500.0, EAVES_MM + 500.0)
        self.add(Part(f"corner/{name}/column", "column", one, (body,), axis=name))

        # The strips on the side towards the field: together they close the line round the corner.
        middle = meet(a, -100.0, b, -100.0)
        for key, frame in ((one, a), (other, b)):
            u = round(frame.local(middle)[0], 1)
            side = -1 if self._at_end(key, one, other) else 1
            u0, u1 = sorted((u + side * 20.0, u + side * 60.0))
            for piece, v0, v1 in (("lower", FOOT_MM, COLUMN_SEAL_BREAK), ("upper", COLUMN_SEAL_BREAK, EAVES_MM)):
                strip = box(u0, u1, v0, v1, 0.0, INNER, "un")
                self.add(Part(f"corner/{name}/column-seal/{key}/{piece}", "column-seal", key, (strip,), axis=name))

        at_end = self._at_end(other, one, other)
        stop = self.end(other, at_end, INNER, OUTER, CORNER_MM)
        wall = [(snapped(b.local(meet(b, n, a, INNER))[0]), n) for n in (INNER, INNER + 50.0)]
        ring = [(stop, INNER), wall[0], wall[1], (stop, INNER + 50.0)]
        marks = [FOOT_MM, *FOAM_BREAKS, EAVES_MM]
        for number, (v0, v1) in enumerate(pairwise(marks), 1):
            foam = Prism("un", tuple(ring if at_end else ring[::-1]), v0, v1 - v0)
            self.add(Part(f"corner/{name}/foam/{number}", "foam", other, (foam,), axis=name))

        for number, v0, v1, n in flashing_pieces(EAVES_MM):
            leg_a, leg_b = -100.0 * flip, (-100.0 if at_end else 100.0)
            u_a = on_a(n, n)[0] + leg_a
            u_b = b.local(meet(a, n, b, n))[0] + leg_b
            ring = [(snapped(u_a), n), on_a(n, n), on_b(n, u_b), on_b(n + 1, u_b), on_a(n + 1, n + 1)]
            ring.append((snapped(u_a), n + 1))
            angle = Prism("un", tuple(ring if flip > 0 else ring[::-1]), v0, v1 - v0)
            part = Part(f"corner/{name}/flashing/{number}", "corner-flashing", one, (angle,), axis=name)
            self.add(replace(part, sealed=True))

    def windows(self) -> None:
        for hole in WINDOWS:
            hosts = [f"{hole.facade}/panel/{hole.bay}/{row}" for row in hole.rows]
            for number, host in enumerate(hosts, 1):
                cut = box(hole.u0 - GAP_MM, hole.u1 + GAP_MM, hole.v0 - GAP_MM, hole.v1 + GAP_MM, -2.0, 138.0)
                self.add(Part(f"{hole.key}/opening/{number}", "opening", hole.facade, (cut,), host=host))
            ring = rectangle(hole.u0, hole.u1, hole.v0, hole.v1)
            pane = rectangle(hole.u0 + 60.0, hole.u1 - 60.0, hole.v0 + 60.0, hole.v1 - 60.0)
            bodies = (Prism("uv", ring, INNER, 80.0, hole=pane), Prism("uv", pane, 40.0, 24.0))
            opening = f"{hole.key}/opening/1"
            self.add(Part(f"{hole.key}/window", "window", hole.facade, bodies, hole.bay, host=opening))
            self.opening_seals(hole)

    def opening_seals(self, hole: "Hole") -> None:
        """Strips in the gap round a frame; sill and head run over the corners, so that the jambs butt to them."""
        u0, u1, v0, v1 = hole.u0 - GAP_MM, hole.u1 + GAP_MM, hole.v0 - GAP_MM, hole.v1 + GAP_MM
        depth = (INNER, INNER + SEAL_MM)
        if hole.one_piece:
            inner = rectangle(hole.u0, hole.u1, hole.v0, hole.v1)
            ring = Prism("uv", rectangle(u0, u1, v0, v1), INNER, SEAL_MM, hole=inner)
            self.add(Part(f"{hole.key}/seal/ring", "opening-seal", hole.facade, (ring,)))
            return
        sides = {
            "sill": box(u0, u1, v0, hole.v0, *depth),
            "head": box(u0, u1, hole.v1, v1, *depth),
            "left": box(u0, hole.u0, hole.v0, hole.v1, *depth),
            "right": box(hole.u1, u1, hole.v0, hole.v1, *depth),
        }
        for side, body in sides.items():
            self.add(Part(f"{hole.key}/seal/{side}", "opening-seal", hole.facade, (body,)))

    def door(self) -> None:
        facade, bay = DOOR_BAY
        host = f"{facade}/panel/{bay}/4"
        cut = box(DOOR.u0 - GAP_MM, DOOR.u1 + GAP_MM, DOOR.v0 - GAP_MM, DOOR.v1 + GAP_MM, -2.0, 138.0)
        self.add(Part(f"{DOOR.key}/opening/1", "opening", facade, (cut,), host=host))
        leaf = box(DOOR.u0, DOOR.u1, DOOR.v0, DOOR.v1, INNER, 88.0)
        self.add(Part(f"{DOOR.key}/door", "door", facade, (leaf,), bay, host=f"{DOOR.key}/opening/1"))
        self.opening_seals(DOOR)
        apron = box(DOOR.u0 - GAP_MM, DOOR.u1 + GAP_MM, -210.0, -GAP_MM, INNER, PLINTH_OUTER)
        self.add(Part(f"{DOOR.key}/apron", "slab", facade, (apron,), bay))

    def frame_of_steel(self) -> None:
        """What else stands in a structural model and must not disturb: beams, inner columns, bracing, slabs."""
        for axis, x in (("2", 6000.0), ("3", 12000.0), ("4", 18000.0)):
            beam = wide_flange("uv", x, 6050.0, -17800.0, 17600.0, (150.0, 300.0, 8.0, 12.0))
            self.add(Part(f"beam/{axis}", "beam", "", (beam,), axis=axis))
        for axis, x in (("2", 6000.0), ("4", 18000.0)):
            post = wide_flange("un", x, -9000.0, 0.0, 5900.0, (200.0, 190.0, 8.0, 12.0))
            self.add(Part(f"inner-column/{axis}", "inner-column", "", (post,), axis=axis))
        for number, (foot, head) in enumerate(((400.0, 5700.0), (5700.0, 400.0)), 1):
            ring = ((9960.0, foot), (15620.0, head), (15620.0, head + 60.0), (9960.0, foot + 60.0))
            n = -90.0 - 20.0 * number
            self.add(Part(f"bracing/{number}", "bracing", "D", (Prism("uv", ring, n, 10.0),)))
        for number, (y0, y1) in enumerate(((250.0, 9000.0), (9000.0, 17750.0)), 1):
            rise = [6250.0 + SLOPE * min(y, DEPTH_MM - y) for y in (y0, y1)]
            ring = ((-y1, rise[1]), (-y0, rise[0]), (-y0, rise[0] + 80.0), (-y1, rise[1] + 80.0))
            deck = Prism("nv", tuple((snapped(n), snapped(v)) for n, v in ring), 300.0, 21200.0)
            self.add(Part(f"roof/{number}", "roof", "", (deck,)))
        floor_ring = ((300.0, -17700.0), (21500.0, -17700.0), (23600.0, -300.0), (300.0, -300.0))
        self.add(Part("ground-slab", "slab", "", (Prism("un", floor_ring, -200.0, 200.0),)))


@dataclass(frozen=True, slots=True)
class Hole:
    """A window or door by the outer edges of its frame; the opening is ``GAP_MM`` larger on each side."""

    key: str
    facade: str
    bay: int
    rows: tuple[int, ...]
    u0: float
    u1: float
    v0: float
    v1: float
    one_piece: bool = False


GAP_MM = 10.0
LAP_MM = 100.0
COLUMN_SEAL_BREAK = 3870.0
FOAM_BREAKS = (2870.0, 5370.0)
SEAL_BREAKS: Final = {
    "A": (4700.0, 9500.0, 21500.0),
    "5": (4900.0, 9700.0, 14400.0),
    "D": (4300.0, 9300.0, 14200.0, 18900.0),
    "1": (4800.0, 9900.0, 14600.0),
}
WINDOWS: Final = (
    Hole("A/window/1", "A", 1, (3, 4), 2010.0, 3990.0, 2680.0, 4060.0),
    Hole("D/window/1", "D", 3, (4,), 12010.0, 13190.0, 3530.0, 4210.0, one_piece=True),
    Hole("5/window/1", "5", 2, (3,), 8410.0, 9890.0, 2580.0, 3160.0),
)
DOOR: Final = Hole("A/door/1", "A", 3, (1, 2, 3, 4), 13000.0, 17000.0, 0.0, 4000.0)
DOOR_BAY: Final = (DOOR.facade, DOOR.bay)


def flashing_pieces(top: float) -> list[tuple[int, float, float, float]]:
    """(number, v0, v1, n) of the pieces over an upright seam: each laps the one below from outside."""
    marks = [FOOT_MM - 20.0, 2900.0, 5800.0]
    ends = [mark + LAP_MM for mark in marks[1:]] + [top]
    # Outside the two layers of the plinth flashing, and each piece outside the one below: water runs over every lap.
    return [(i + 1, v0, v1, OUTER + 2.0 + i) for i, (v0, v1) in enumerate(zip(marks, ends, strict=True))]


def clean_parts() -> tuple[dict[str, Frame], dict[str, Part]]:
    """Frames and parts of the hall as it should be built."""
    clean = _Clean()
    return clean.frames, clean.parts


def seams_of(frames: Mapping[str, Frame], parts: Mapping[str, Part]) -> tuple[HallSeam, ...]:
    """The seams at panel ends, measured on the parts as they are."""
    seams = []
    for key, frame in frames.items():
        for number, (axis, _) in enumerate(frame.axes, 1):
            column = parts[f"{key}/column/{axis}"]
            low, high = column.bounds()
            centre = (low[0] + high[0]) / 2
            for row in range(1, ROWS[key] + 1):
                left = next(p for p in _panels(parts, key, number, row) if not p.key.endswith("/left"))
                right = next(p for p in _panels(parts, key, number + 1, row) if not p.key.endswith("/right"))
                # Outlines begin at the lower left corner and run anticlockwise.
                one, two = left.bodies[0].outline, right.bodies[0].outline
                ends = (one[1], one[2]), (two[0], two[-1])
                v0, v1 = max(end[0][1] for end in ends), min(end[1][1] for end in ends)
                at = []
                for v in (v0, v1):
                    a, b = (u0 + (u1 - u0) * (v - w0) / (w1 - w0) for (u0, w0), (u1, w1) in ends)
                    at.append((b - a, v, centre - a, b - centre))
                narrow = min(at, key=lambda line: snapped(line[0]))
                level = snapped(at[0][0]) == snapped(at[1][0])
                v = (v0 + v1) / 2 if level else narrow[1]
                middle = centre + (narrow[3] - narrow[2]) / 2
                seam = HallSeam(
                    left.key,
                    right.key,
                    column.key,
                    key,
                    axis,
                    row,
                    length_mm=snapped(v1 - v0),
                    width_min_mm=snapped(narrow[0]),
                    width_max_mm=snapped(max(line[0] for line in at)),
                    offset_left_mm=snapped(narrow[2]),
                    offset_right_mm=snapped(narrow[3]),
                    place=(middle, v, (INNER + OUTER) / 2),
                )
                seams.append(seam)
    return tuple(seams)


def _panels(parts: Mapping[str, Part], facade: str, bay: int, row: int) -> list[Part]:
    name = f"{facade}/panel/{bay}/{row}"
    return [parts[key] for key in (name, f"{name}/left", f"{name}/right") if key in parts]


def tongued(parts: Mapping[str, Part]) -> dict[str, Part]:
    """The same parts with tongue and groove along the panel edges, wherever both panels are rectangles."""
    result = dict(parts)
    middle = (INNER + OUTER) / 2
    for key, part in parts.items():
        if part.kind != "panel" or not is_rectangle(part.bodies[0].outline):
            continue
        (u0, v0), (u1, v1) = extent(part.bodies[0].outline)
        above = _panels(parts, part.frame, part.bay, part.row + 1)
        half, play = TONGUE_WIDTH / 2, TONGUE_PLAY
        ring = [(INNER, v0)]
        if part.row > 1:
            deep, wide = v0 + TONGUE_MM + play, half + play
            ring += [(middle - wide, v0), (middle - wide, deep), (middle + wide, deep), (middle + wide, v0)]
        ring += [(OUTER, v0), (OUTER, v1)]
        if above and all(is_rectangle(panel.bodies[0].outline) for panel in above):
            high = v1 + TONGUE_MM
            ring += [(middle + half, v1), (middle + half, high), (middle - half, high), (middle - half, v1)]
        ring.append((INNER, v1))
        result[key] = replace(part, bodies=(Prism("nv", tuple(ring), u0, snapped(u1 - u0)),))
    return result


def grid(frames: Mapping[str, Frame]) -> tuple[tuple[str, Point, Point], ...]:
    """Axes 1 to 5 and A to D through the column centre lines."""
    lines = []
    for tag in ("1", "2", "3", "4", "5", "A", "B", "C", "D"):
        if tag in frames:
            frame = frames[tag]
            ends = [frame.world((u, 0.0, -95.0)) for u in (-2000.0, frame.length + 2000.0)]
        elif tag in "234":
            x = 6000.0 * (int(tag) - 1)
            ends = [(x, -2000.0, 0.0), (x, DEPTH_MM + 2000.0, 0.0)]
        else:
            y = 6000.0 if tag == "B" else 12000.0
            ends = [(-2000.0, y, 0.0), (26000.0, y, 0.0)]
        points = [(snapped(x), snapped(y)) for x, y, _ in ends]
        lines.append((tag, points[0], points[1]))
    return tuple(lines)


def finished(frames: Mapping[str, Frame], parts: Mapping[str, Part], tongues: bool, mirror: bool) -> Hall:
    """The hall with its seams measured; mirrored in plan (x -> -x) if asked for."""
    seams = seams_of(frames, parts)
    parts = tongued(parts) if tongues else dict(parts)
    plans = {"": Frame("", (0.0, 0.0), (1.0, 0.0), 0.0), **frames}
    lines = grid(frames)
    if not mirror:
        return Hall(plans, parts, seams, lines)
    flipped = {
        key: replace(part, bodies=tuple(body.mirrored(plans[part.frame].length) for body in part.bodies))
        for key, part in parts.items()
    }
    turned = tuple(
        replace(
            seam,
            left=seam.right,
            right=seam.left,
            offset_left_mm=seam.offset_right_mm,
            offset_right_mm=seam.offset_left_mm,
            place=(frames[seam.facade].length - seam.place[0], seam.place[1], seam.place[2]),
        )
        for seam in seams
    )
    mirrored = tuple((tag, (-a[0], a[1]), (-b[0], b[1])) for tag, a, b in lines)
    return Hall({key: frame.mirrored() for key, frame in plans.items()}, flipped, turned, mirrored, True)
