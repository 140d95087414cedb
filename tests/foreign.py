"""Halls as unknown modellers export them, with the truth about their seams: other classes, names, bodies and frames.

Plain IFC, written entity by entity. A hall is made of *runs*, straight stretches of facade. Coordinates of a run are
(u, z, d) in metres: u along it to the right seen from outside, z up, d outwards from the panels' inner face. They turn
right-handed, so a prism along axis k has its ring in the axes k + 1 and k + 2.
"""

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.guid
import numpy as np

Ring = Sequence[tuple[float, float]]
U, Z, D = 0, 1, 2
HALF = 0.015  # half a seam
FOOT = 0.3048


def guid_of(*words: object) -> str:
    return ifcopenshell.guid.compress(uuid.uuid5(uuid.NAMESPACE_OID, "/".join(map(str, words))).hex)


def rectangle(a0: float, a1: float, b0: float, b1: float) -> list[tuple[float, float]]:
    return [(a0, b0), (a1, b0), (a1, b1), (a0, b1)]


def anticlockwise(ring: Ring) -> list[tuple[float, float]]:
    area = sum(a * d - c * b for (a, b), (c, d) in zip(ring, [*ring[1:], ring[0]], strict=True))
    return list(ring) if area > 0 else list(ring)[::-1]


@dataclass
class Prism:
    """A ring in axes ``axis`` + 1 and + 2, drawn from ``low`` to ``high`` along ``axis``.

    ``section`` is a profile by its measures, centred at ``at`` (u, d), for what stands upright: ("I", width, depth,
    web, flange, fillet), ("box", width, depth, wall), ("round", diameter), ("tube", diameter, wall).
    """

    axis: int
    ring: Ring
    low: float
    high: float
    holes: Sequence[Ring] = ()
    section: tuple[Any, ...] = ()
    at: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        self.ring = anticlockwise(self.ring)
        self.holes = [anticlockwise(hole) for hole in self.holes]

    def frame(self) -> np.ndarray:
        """Prism coordinates (first, second, along) to run coordinates."""
        out = np.zeros((4, 4))
        out[(self.axis + 1) % 3, 0] = out[(self.axis + 2) % 3, 1] = out[self.axis, 2] = out[3, 3] = 1.0
        out[self.axis, 3] = self.low
        return out

    def box(self) -> np.ndarray:
        """Lowest and highest run coordinates (2, 3)."""
        ring = np.array(self.ring)
        out = np.zeros((2, 3))
        out[:, self.axis] = self.low, self.high
        out[:, (self.axis + 1) % 3] = ring[:, 0].min(), ring[:, 0].max()
        out[:, (self.axis + 2) % 3] = ring[:, 1].min(), ring[:, 1].max()
        return out

    def faces(self) -> tuple[np.ndarray, list[list[list[int]]]]:
        """Points (n, 3) in run coordinates and faces, each a list of loops (outer one first), seen from outside."""
        rings = [list(self.ring), *(list(hole)[::-1] for hole in self.holes)]
        points, faces = [], []
        caps: list[list[list[int]]] = [[], []]
        for ring in rings:
            first, n = len(points), len(ring)
            for height in (self.low, self.high):
                points += [(self.frame() @ [a, b, height - self.low, 1.0])[:3] for a, b in ring]
            for i in range(n):
                j = (i + 1) % n
                faces.append([[first + i, first + j, first + n + j, first + n + i]])
            caps[0].append([first + i for i in reversed(range(n))])
            caps[1].append([first + n + i for i in range(n)])
        return np.array(points), faces + caps


def block(u0: float, u1: float, z0: float, z1: float, d0: float, d1: float, axis: int = U) -> Prism:
    """A box, drawn along an axis."""
    low, high = (u0, z0, d0), (u1, z1, d1)
    a, b = (axis + 1) % 3, (axis + 2) % 3
    return Prism(axis, rectangle(low[a], high[a], low[b], high[b]), low[axis], high[axis])


@dataclass(frozen=True)
class Style:
    """How a modeller writes one kind of part.

    ``body`` is prism, box0 / box1 / box2 (a rectangle drawn along u, z, d and clipped), brep, faceset, triangles,
    advanced, mapped, mirrored or section. ``frame`` is where the part's own placement lies: run, prism, top, grid or
    world. ``split`` are layers (class, predefined type, name, thickness) as parts of their own; the thickness 0 takes
    the rest. ``gather`` is the class of an assembly that holds all parts of the kind in one run, or
    panel, for what belongs to the panel beside it.
    """

    cls: str
    name: str = "{n:04d}"
    predefined: str = ""
    object_type: str = ""
    type_name: str = ""
    description: str = ""
    material: tuple[str, ...] = ()
    layers: tuple[tuple[str, float], ...] = ()
    body: str = "prism"
    frame: str = "run"
    split: tuple[tuple[str, str, str, float], ...] = ()
    gather: str = ""
    gather_name: str = ""
    stated: Mapping[str, Mapping[str, object]] = field(default_factory=dict)


@dataclass
class Part:
    """One element: its kind (a key of the hall's styles), run and bodies; ``host`` is the part it voids or fills."""

    key: str
    kind: str
    run: int
    bodies: list[Prism]
    host: str = ""
    stated: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    panel: "Panel | None" = None
    centre: float = 0.0


@dataclass
class Panel:
    """Ends of a panel at its lower and its upper edge, and its upper edge from left to right."""

    left: list[float]
    right: list[float]
    low: float
    top: list[tuple[float, float]]
    row: int
    openings: list[tuple[float, float, float, float]] = field(default_factory=list)

    def ring(self) -> list[tuple[float, float]]:
        """The outline in (u, z)."""
        middle = [(u, z) for u, z in self.top[1:-1]]
        return [
            (self.left[0], self.low),
            (self.right[0], self.low),
            (self.right[1], self.top[-1][1]),
            *middle[::-1],
            (self.left[1], self.top[0][1]),
        ]

    def end(self, right: bool, z: float) -> float:
        """Where an end is at a height."""
        (low, high), top = (self.right, self.top[-1][1]) if right else (self.left, self.top[0][1])
        return low + (high - low) * (z - self.low) / (top - self.low)


@dataclass(frozen=True)
class Opening:
    """A window or gate: ``how`` is void (in a panel), row (between two shorter panels), gate (from the floor up between
    shorter panels) or door (from the floor up, cut out of the panels).

    ``seal`` is four, mitred, ring or none; ``gap`` all round; ``u0`` to ``u1`` the frame from the left axis of the bay.
    """

    how: str
    run: int
    bay: int
    row: int
    u0: float
    u1: float
    z0: float = 0.0
    z1: float = 0.0
    gap: float = 0.008
    seal: str = "four"


@dataclass(frozen=True)
class Recipe:
    """What a hall is like. ``plan`` runs anticlockwise along the panels' inner faces; ``bays`` are distances of axes.

    ``corner`` is how panels end at outer corners: back (short of it) or lap (the first covers the end of the second).
    """

    name: str
    styles: Mapping[str, Style]
    plan: Sequence[tuple[float, float]]
    bays: Sequence[Sequence[float]]
    closed: bool = True
    rows: Sequence[float] = (1.0, 1.0)
    thick: float = 0.12
    tops: Mapping[int, Sequence[tuple[float, float]]] = field(default_factory=dict)
    openings: Sequence[Opening] = ()
    corner: str = "back"
    stand: float = 0.008
    floor: float = 0.0
    upstand: float = 0.30
    plinth: tuple[float, float] = (0.0, 0.14)
    plinth_shape: str = "plain"
    plinth_joints: str = "axes"
    plinth_seal: tuple[float, float, float] = (0.005, 0.045, 0.010)
    seal_cut: str = "bays"
    rail: str = "channel"
    column: tuple[Any, ...] = ("I", 0.20, 0.19, 0.0065, 0.010, 0.018)
    pieces: int = 1
    base_plate: bool = False
    column_foot: float | None = None
    column_seal: str = "two"
    squeeze: float = 0.0
    foam: str = "whole"
    flashing: str = "plate"
    lap: float = 0.100
    joint: float = 0.0
    column_head: float = 0.25
    tongue: bool = False
    noise: Sequence[tuple[str, str, str, Prism]] = ()
    schema: str = "IFC4"
    unit: str = "mm"
    turn: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    carry: str = "site"
    files: Sequence[Mapping[str, Any]] = ()
    spread: Mapping[str, int] = field(default_factory=dict)
    grid: bool = False


@dataclass(frozen=True)
class Expected:
    """A failure that must be found: its rule, keys of parts that it must name, its value where that is certain."""

    rule: str
    parts: frozenset[str]
    value_mm: float | None = None


@dataclass(frozen=True)
class Seam:
    """What is true of a seam between two panel ends, in mm."""

    left: str
    right: str
    width: tuple[float, float]
    offsets: tuple[float, float]


class Hall:
    """The parts of a recipe, what was made wrong with them, and what must be found."""

    def __init__(self, recipe: Recipe) -> None:
        self.recipe = recipe
        self.parts: dict[str, Part] = {}
        self.wrong: list[Expected] = []
        self.lengths: list[float] = []
        self.frames: list[np.ndarray] = []
        count = len(recipe.plan)
        corners = np.array(recipe.plan, dtype=float)
        for k in range(count if recipe.closed else count - 1):
            step = corners[(k + 1) % count] - corners[k]
            length = float(np.hypot(*step))
            x, y = step / length
            frame = np.eye(4)
            frame[:3, :3] = [[x, 0.0, y], [y, 0.0, -x], [0.0, 1.0, 0.0]]
            frame[:2, 3] = corners[k]
            self.frames.append(frame)
            self.lengths.append(length)
        for k in range(len(self.frames)):
            self._run(k)
        for n, (cls, predefined, name, body) in enumerate(recipe.noise):
            self.add(Part(f"noise.{n}", f"noise:{cls}:{predefined}:{name}", -1, [body]))

    # What the hall is made of

    def add(self, part: Part) -> Part:
        """Takes a part; what the modeller has no style for is in no model."""
        if part.run >= 0 and part.kind not in self.recipe.styles:
            return part
        self.parts[part.key] = part
        return part

    def of(self, kind: str, run: int | None = None) -> list[Part]:
        return [p for p in self.parts.values() if p.kind == kind and run in (None, p.run)]

    def axes(self, run: int) -> list[float]:
        """Places of the inner columns of a run."""
        return [float(v) for v in np.cumsum(self.recipe.bays[run])[:-1]]

    @property
    def foot(self) -> float:
        """Height of the lowest panels."""
        r = self.recipe
        seal = r.plinth_seal[2]
        return (
            r.floor + r.upstand + seal + {"none": 0.0, "between": 0.0, "angle": 0.004, "plate": 0.006}.get(r.rail, 0.1)
        )

    @property
    def head(self) -> float:
        return self.foot + sum(self.recipe.rows)

    def turn_at(self, run: int) -> float:
        """Angle in degrees by which the facade turns left at the end of a run; 0 where it ends."""
        r = self.recipe
        if not r.closed and run == len(self.frames) - 1:
            return 0.0
        a, b = self.frames[run][:2, 0], self.frames[(run + 1) % len(self.frames)][:2, 0]
        return float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))

    def _run(self, k: int) -> None:
        r, length = self.recipe, self.lengths[k]
        before = self.turn_at(k - 1) if r.closed or k > 0 else 0.0
        after = self.turn_at(k)
        start = 0.01 if before == 0 else 0.010 if before > 0 else r.thick + 0.010
        end = length - 0.01
        if after > 0 and r.corner == "lap":
            end = length + r.thick
        elif after < 0:
            end = length - 0.012
        axes = self.axes(k)
        self._columns(k, axes, after)
        self._panels(k, [start, *axes, end])
        self._base(k, axes, start if before == 0 else 0.0, end if after == 0 else length)
        self._seams(k, axes)
        self._covers(k, axes, start, end)

    def top_at(self, k: int, u: float) -> float:
        line = self.recipe.tops.get(k)
        extra = float(np.interp(u, [p[0] for p in line], [p[1] for p in line])) if line else 0.0
        return self.head + extra

    def _columns(self, k: int, axes: Sequence[float], after: float) -> None:
        r = self.recipe
        foot = (r.floor if r.column_foot is None else r.column_foot) - 0.0
        places = [(f"column.{k}.{i}", u, r.column, u) for i, u in enumerate(axes)]
        depth = _size(r.column)[1]
        where = {key: -r.stand - depth / 2 for key, *_ in places}
        if after != 0 and abs(abs(after) - 90.0) < 0.1:
            wide = _size(r.column)[0]
            u = self.lengths[k] - r.stand - wide / 2 if after > 0 else self.lengths[k] + r.stand + wide / 2
            section = ("box", wide, depth, 0.01) if r.column[0] == "I" else r.column
            places.append((f"column.{k}.corner", u, section, u))
            where[f"column.{k}.corner"] = -r.stand - depth / 2
        elif after > 20:
            radius = 0.07
            inner = np.radians(180.0 - after)
            u = self.lengths[k] - (r.stand + radius) / np.tan(inner / 2)
            places.append((f"column.{k}.corner", u, ("round", 2 * radius), u))
            where[f"column.{k}.corner"] = -r.stand - radius
        if not r.closed and k == 0:
            places.insert(0, (f"column.{k}.first", 0.0, r.column, 0.0))
            where[f"column.{k}.first"] = -r.stand - depth / 2
        if not r.closed and k == len(self.frames) - 1:
            places.append((f"column.{k}.last", self.lengths[k], r.column, self.lengths[k]))
            where[f"column.{k}.last"] = -r.stand - depth / 2
        for key, u, section, centre in places:
            head = self.top_at(k, u) + r.column_head
            cuts = np.linspace(foot, head, r.pieces + 1)
            for j, (low, high) in enumerate(pairwise(float(c) for c in cuts)):
                body = _upright(section, u, where[key], low, high)
                bodies = [body]
                if r.base_plate and j == 0:
                    w, h = _size(section)
                    bodies.append(
                        block(u - w / 2 - 0.05, u + w / 2 + 0.05, low - 0.02, low, where[key] - h / 2 - 0.03,
                              where[key] + h / 2 + 0.005, axis=Z)
                    )  # fmt: skip
                name = key if r.pieces == 1 else f"{key}.{j}"
                self.add(Part(name, "column", k, bodies, centre=centre))

    def _panels(self, k: int, marks: Sequence[float]) -> None:
        r = self.recipe
        levels = [self.foot, *(self.foot + float(v) for v in np.cumsum(r.rows))]
        for bay, (a, b) in enumerate(pairwise(marks)):
            a = a if bay == 0 else a + HALF
            b = b if bay == len(marks) - 2 else b - HALF
            origin = 0.0 if bay == 0 else marks[bay]
            for row, (low, high) in enumerate(pairwise(levels)):
                spans = [(a, b)]
                for o in r.openings:
                    if (o.run, o.bay) != (k, bay) or o.how in ("void", "door"):
                        continue
                    if (o.how == "row" and o.row == row) or (o.how == "gate" and row <= o.row):
                        spans = [(a, origin + o.u0 - o.gap), (origin + o.u1 + o.gap, b)]
                        spans = [span for span in spans if span[1] - span[0] > 0.2]
                for s, (left, right) in enumerate(spans):
                    edge = [(left, high), (right, high)]
                    if row == len(r.rows) - 1 and k in r.tops:
                        inner = [u for u, _ in r.tops[k] if left + 1e-6 < u < right - 1e-6]
                        edge = [(u, self.top_at(k, u)) for u in (left, *inner, right)]
                    # Rows leave a little open between them.
                    foot = low + (0.5 * r.joint if row else 0.0)
                    if row < len(r.rows) - 1:
                        edge = [(u, z - 0.5 * r.joint) for u, z in edge]
                    panel = Panel([left, left], [right, right], foot, edge, row)
                    key = f"panel.{k}.{row}.{bay}" + (f".{s}" if len(spans) > 1 else "")
                    self.add(Part(key, "panel", k, [], panel=panel))
            for n, o in enumerate(r.openings):
                if (o.run, o.bay) == (k, bay):
                    self._opening(n, o, k, origin, levels)

    def _opening(self, n: int, o: Opening, k: int, origin: float, levels: Sequence[float]) -> None:
        r, g = self.recipe, o.gap
        u0, u1 = origin + o.u0, origin + o.u1
        z0, z1 = {
            "void": (levels[o.row] + o.z0, levels[o.row] + o.z1),
            "row": (levels[o.row] + g, levels[o.row + 1] - g),
            "gate": (r.floor + g, levels[o.row + 1] - g),
            "door": (r.floor + g, r.floor + o.z1),
        }[o.how]
        for row, (low, high) in enumerate(pairwise(levels)):
            if (o.how == "void" and row == o.row) or (o.how == "door" and low < z1 + g):
                low = z0 - g if o.how == "void" else low if row else low - 0.05
                hole = block(u0 - g, u1 + g, low, min(z1 + g, high), -0.05, r.thick + 0.05, axis=D)
                name = f"hole.{n}" if row == o.row else f"hole.{n}.{row}"
                self.add(Part(name, "hole", k, [hole], host=f"panel.{k}.{row}.{o.bay}"))
        kind = "gate" if o.how in ("gate", "door") else "window"
        frame = Prism(D, rectangle(u0, u1, z0, z1), 0.02, r.thick - 0.02)
        frame.holes = [rectangle(u0 + 0.06, u1 - 0.06, z0 + 0.06, z1 - 0.06)]
        pane = block(u0 + 0.06, u1 - 0.06, z0 + 0.06, z1 - 0.06, 0.05, 0.07, axis=D)
        self.add(Part(f"{kind}.{n}", kind, k, [frame, pane], host=f"hole.{n}"))
        d0, d1 = 0.005, 0.045
        if o.seal == "ring":
            body = Prism(D, rectangle(u0 - g, u1 + g, z0 - g, z1 + g), d0, d1)
            body.holes = [rectangle(u0, u1, z0, z1)]
            self.add(Part(f"frame_seal.{n}.ring", "frame_seal", k, [body]))
        elif o.seal != "none":
            c = g if o.seal == "mitred" else 0.0
            rings = {
                "sill": [(u0 - g, z0 - g), (u1 + g, z0 - g), (u1 + g - c, z0), (u0 - g + c, z0)],
                "head": [(u0 - g + c, z1), (u1 + g - c, z1), (u1 + g, z1 + g), (u0 - g, z1 + g)],
                "left": [(u0 - g, z0 - c), (u0, z0), (u0, z1), (u0 - g, z1 + c)],
                "right": [(u1, z0), (u1 + g, z0 - c), (u1 + g, z1 + c), (u1, z1)],
            }
            for side, ring in rings.items():
                self.add(Part(f"frame_seal.{n}.{side}", "frame_seal", k, [Prism(D, ring, d0, d1)]))

    def gates(self, k: int) -> list[tuple[float, float]]:
        """Stretches of a run without a foot."""
        marks = [0.0, *self.axes(k)]
        return [
            (marks[o.bay] + o.u0 - o.gap, marks[o.bay] + o.u1 + o.gap)
            for o in self.recipe.openings
            if o.run == k and o.how in ("gate", "door")
        ]

    def _stretches(
        self, k: int, start: float, end: float, cuts: Sequence[float], joint: float
    ) -> Iterator[list[float]]:
        """Pieces from start to end, cut at some places with a joint, and at gates."""
        marks = [start, *(c for c in cuts if start + 0.3 < c < end - 0.3), end]
        pieces = [[a + (joint / 2 if i else 0), b - (joint / 2 if i < len(marks) - 2 else 0)]
                  for i, (a, b) in enumerate(pairwise(marks))]  # fmt: skip
        for low, high in self.gates(k):
            pieces = [p for a, b in pieces for p in ([a, min(b, low)], [max(a, high), b]) if p[1] - p[0] > 0.05]
        yield from pieces

    def _base(self, k: int, axes: Sequence[float], start: float, end: float) -> None:
        r = self.recipe
        top, (d0, d1) = r.floor + r.upstand, r.plinth
        bottom = r.floor - 0.45
        bays = [0.0, *axes, self.lengths[k]]
        middles = [0.5 * (a + b) + 0.13 for a, b in pairwise(bays)]
        shape = {
            "plain": rectangle(bottom, top, d0, d1),
            "chamfer": [(bottom, d0), (top, d0), (top, d1 - 0.02), (top - 0.02, d1), (bottom, d1)],
            "rebate": [(bottom, d0), (top, d0), (top, 0.10), (top - 0.03, 0.10), (top - 0.03, d1), (bottom, d1)],
        }[r.plinth_shape]
        joints = axes if r.plinth_joints == "axes" else middles
        for i, (a, b) in enumerate(self._stretches(k, start, end, joints, 0.010)):
            self.add(Part(f"plinth.{k}.{i}", "plinth", k, [Prism(U, list(shape), a, b)]))
        near, far, thick = r.plinth_seal
        cuts = {"bays": middles, "axes": axes, "none": []}[r.seal_cut]
        for i, (a, b) in enumerate(self._stretches(k, start, end, cuts, 0.0)):
            # Mitred at the corners of the building.
            lean = [
                np.tan(np.radians(self.turn_at(j) if r.closed or 0 <= j < len(self.frames) else 0.0) / 2)
                for j in (k - 1, k)
            ]
            left, right = (-lean[0] if a == 0.0 else 0.0), (lean[1] if b == self.lengths[k] else 0.0)
            ring = [(near, a + near * left), (far, a + far * left), (far, b + far * right), (near, b + near * right)]
            self.add(Part(f"plinth_seal.{k}.{i}", "plinth_seal", k, [Prism(Z, ring, top, top + thick)]))
        low, back = top + thick, 0.008 - r.stand
        rails: dict[str, list[tuple[float, float]]] = {
            "channel": _ring_u(low, self.foot, back, back + 0.06, 0.004),
            "zed": [(low, back), (low + 0.003, back), (low + 0.003, back + 0.05), (self.foot, back + 0.05),
                    (self.foot, back + 0.09), (self.foot - 0.003, back + 0.09), (self.foot - 0.003, back + 0.053),
                    (low, back + 0.053)],
            "angle": [(low, back), (low + 0.12, back), (low + 0.12, back + 0.004), (low + 0.004, back + 0.004),
                      (low + 0.004, back + 0.08), (low, back + 0.08)],
            "plate": rectangle(low, self.foot, back, back + 0.08),
            "box": rectangle(low, self.foot, back, back + 0.06),
        }  # fmt: skip
        if r.rail == "between":
            half = _size(r.column)[0] / 2 + 0.008
            for i, (a, b) in enumerate(pairwise(bays)):
                a, b = (a if i == 0 else a + half), (b if i == len(bays) - 2 else b - half)
                a, b = a + (0.75 if i == 0 else 0.0), b - (0.75 if i == len(bays) - 2 else 0.0)
                ring = _ring_u(low, low + 0.1, -r.stand - 0.06, -r.stand - 0.004, 0.004)
                self.add(Part(f"rail.{k}.{i}", "rail", k, [Prism(U, ring, a, b)]))
        elif r.rail != "none":
            for i, (a, b) in enumerate(self._stretches(k, start, end, axes, 0.006)):
                self.add(Part(f"rail.{k}.{i}", "rail", k, [Prism(U, rails[r.rail], a, b)]))

    def _seams(self, k: int, axes: Sequence[float]) -> None:
        r = self.recipe
        levels = [self.foot, *(self.foot + float(v) for v in np.cumsum(r.rows))]
        for i, u in enumerate(axes):
            top = self.top_at(k, u) + (0.05 if k in r.tops else 0.0)
            lanes = {
                "two": [(u - 0.065, u - 0.025), (u + 0.025, u + 0.065)],
                "rows": [(u - 0.065, u - 0.025), (u + 0.025, u + 0.065)],
                "wide": [(u - 0.075, u + 0.075)],
                "none": [],
            }[r.column_seal]
            cuts = levels[1:-1] if r.column_seal == "rows" else []
            marks = [self.foot, *cuts, top]
            for j, (a, b) in enumerate(lanes):
                for m, (low, high) in enumerate(pairwise(marks)):
                    body = block(a, b, low, high, -r.stand, r.squeeze, axis=Z)
                    owner = self.panels_at(k, i, m)[j].key if r.column_seal == "rows" else ""
                    self.add(Part(f"column_seal.{k}.{i}.{j}.{m}", "column_seal", k, [body], host=owner))
            if "foam" in r.styles:
                marks = [self.foot, *(levels[1:-1] if r.foam == "rows" else []), top]
                for m, (low, high) in enumerate(pairwise(marks)):
                    body = block(u - HALF - r.squeeze, u + HALF + r.squeeze, low, high, 0.02, r.thick - 0.02, axis=Z)
                    self.add(Part(f"foam.{k}.{i}.{m}", "foam", k, [body]))

    def _covers(self, k: int, axes: Sequence[float], start: float, end: float) -> None:
        r = self.recipe
        low, t = r.floor + r.upstand - 0.04, r.thick
        high = self.foot + 0.03
        shape = {
            "plate": rectangle(low, high, t, t + 0.0015),
            "ell": [(low, t), (high, t), (high, t + 0.0015), (low + 0.0015, t + 0.0015), (low + 0.0015, t + 0.04),
                    (low, t + 0.04)],
            "drip": [
                (high, t), (high, t + 0.001), (low + 0.03, t + 0.001),
                (low, t + 0.031), (low, t + 0.03), (low + 0.03, t),
            ],
        }[r.flashing]  # fmt: skip
        middles = [0.5 * (a + b) - 0.4 for a, b in pairwise([0.0, *axes, self.lengths[k]])]
        for i, (a, b) in enumerate(self._stretches(k, start, end, middles, -r.lap)):
            self.add(Part(f"flashing.{k}.{i}", "flashing", k, [Prism(U, list(shape), a, b)]))
        for i, u in enumerate(axes):
            top = min(self.top_at(k, u - 0.08), self.top_at(k, u + 0.08))
            for m, (a, b) in enumerate(((self.foot, self.foot + 0.75), (self.foot + 0.75 - r.lap, top))):
                body = block(u - 0.08, u + 0.08, a, b, t, t + 0.0015, axis=D)
                self.add(Part(f"cover.{k}.{i}.{m}", "cover", k, [body]))

    # What is made wrong

    def expect(self, rule: str, *parts: str, value: float | None = None) -> None:
        self.wrong.append(Expected(rule, frozenset(parts), value))

    def panels_at(self, k: int, axis: int, row: int) -> tuple[Part, Part]:
        """The panels left and right of an inner axis."""
        rows = [p for p in self.of("panel", k) if p.panel is not None and p.panel.row == row]
        u = self.axes(k)[axis]
        left = min(rows, key=lambda p: abs(u - HALF - p.panel.right[0]))  # type: ignore[union-attr]
        right = min(rows, key=lambda p: abs(u + HALF - p.panel.left[0]))  # type: ignore[union-attr]
        return left, right

    def short_panel(self, k: int, axis: int, row: int, by_mm: float) -> None:
        """The panel left of an axis ends too early."""
        panel = self.panels_at(k, axis, row)[0].panel
        assert panel is not None
        panel.right = [v - by_mm / 1000 for v in panel.right]
        panel.top[-1] = (panel.right[1], panel.top[-1][1])

    def raked_panel(self, k: int, axis: int, row: int, by_mm: float) -> None:
        """The panel right of an axis reaches further at its top than at its foot."""
        panel = self.panels_at(k, axis, row)[1].panel
        assert panel is not None
        panel.left[1] -= by_mm / 1000
        panel.top[0] = (panel.left[1], panel.top[0][1])

    def move_column(self, k: int, axis: int, by_mm: float) -> None:
        """A column stands off its axis along the facade."""
        for part in self.of("column", k):
            if part.key.startswith(f"column.{k}.{axis}") and "corner" not in part.key:
                part.centre += by_mm / 1000
                for body in part.bodies:
                    body.ring = [(d, u + by_mm / 1000) for d, u in body.ring]
                    body.holes = [[(d, u + by_mm / 1000) for d, u in hole] for hole in body.holes]
                    body.at = (body.at[0] + by_mm / 1000, body.at[1])
                if self.recipe.rail == "between" and part.bodies[0].low < self.foot:
                    self.expect("base-rail-offset", f"rail.{k}.{axis}", part.key, value=8.0 + by_mm)
                    self.expect("base-rail-offset", f"rail.{k}.{axis + 1}", part.key, value=8.0 - by_mm)

    def drop_plinth(self, k: int, i: int, by_mm: float) -> None:
        """The top of a plinth element lies too low."""
        body = self.parts[f"plinth.{k}.{i}"].bodies[0]
        top = max(z for z, _ in body.ring)
        body.ring = [(z - by_mm / 1000 if z > top - 0.05 else z, d) for z, d in body.ring]
        if by_mm > 10:
            self.expect("plinth-level", f"plinth.{k}.{i}", value=-by_mm)
        for j in (i - 1, i + 1):
            other = self.parts.get(f"plinth.{k}.{j}")
            if other is None:
                continue
            gap = max(other.bodies[0].low - body.high, body.low - other.bodies[0].high)
            if gap < 0.2 and by_mm >= 7:
                self.expect("plinth-step", f"plinth.{k}.{i}", f"plinth.{k}.{j}", value=by_mm)

    def push_rail(self, k: int, i: int, by_mm: float) -> None:
        """A base rail stands too far out, at every column it passes."""
        body = self.parts[f"rail.{k}.{i}"].bodies[0]
        body.ring = [(z, d + by_mm / 1000) for z, d in body.ring]
        for column in self.of("column"):
            box = self._in_run(column, k)
            low = min(z for z, _ in body.ring)
            front = box[1, 2]
            behind = abs(front + self.recipe.stand) < 1e-3 and box[0, 1] < low < box[1, 1]
            if behind and body.low < box[1, 0] - 1e-3 and body.high > box[0, 0] + 1e-3:
                self.expect("base-rail-offset", f"rail.{k}.{i}", column.key, value=8.0 + by_mm)

    def _in_run(self, part: Part, k: int) -> np.ndarray:
        """Extents (2, 3) of an upright part in the frame of another run; round ones too."""
        body = part.bodies[0]
        into = np.linalg.inv(self.frames[k]) @ self.frames[part.run]
        if body.section and body.section[0] in ("round", "tube"):
            centre = (into @ [body.at[0], 0.0, body.at[1], 1.0])[:3]
            half = body.section[1] / 2
            return np.array(
                [[centre[0] - half, body.low, centre[2] - half], [centre[0] + half, body.high, centre[2] + half]]
            )
        points = np.array([(into @ [*p, 1.0])[:3] for p in body.faces()[0]])
        return np.stack([points.min(axis=0), points.max(axis=0)])

    def stretch(self, key: str, where: str, by_mm: float) -> None:
        """A part reaches further (positive) or less far (negative) at one end: u-, u+, z-, z+, d- or d+."""
        at, sign = "uzd".index(where[0]), 1.0 if where[1] == "+" else -1.0
        body, by = self.parts[key].bodies[0], sign * by_mm / 1000
        if at == body.axis:
            body.low, body.high = (body.low, body.high + by) if sign > 0 else (body.low + by, body.high)
            return
        column = (at - body.axis - 1) % 3
        middle = 0.5 * (min(p[column] for p in body.ring) + max(p[column] for p in body.ring))
        moved = np.array(body.ring)
        moved[sign * (moved[:, column] - middle) > 0, column] += by
        body.ring = [(float(a), float(b)) for a, b in moved]

    def shift(self, key: str, u: float = 0.0, z: float = 0.0, d: float = 0.0) -> None:
        """A part lies elsewhere, by some millimetres."""
        by = np.array([u, z, d]) / 1000
        for body in self.parts[key].bodies:
            a, b = (body.axis + 1) % 3, (body.axis + 2) % 3
            body.low, body.high = body.low + by[body.axis], body.high + by[body.axis]
            body.ring = [(p + by[a], q + by[b]) for p, q in body.ring]

    def remove(self, key: str) -> None:
        del self.parts[key]

    # What is true

    def guid(self, key: str) -> str:
        return guid_of(self.recipe.name, key)

    def guids(self, key: str) -> set[str]:
        """All GlobalIds that stand for a part: its own and those of its layers."""
        part = self.parts[key]
        style = self.recipe.styles.get(part.kind)
        return {self.guid(key)} | {guid_of(self.recipe.name, key, i) for i in range(len(style.split) if style else 0)}

    def seams(self) -> list[Seam]:
        """Every seam between panel ends, with its width and its offsets from the column at the narrowest place."""
        out = []
        for k in range(len(self.frames)):
            for axis in range(len(self.axes(k))):
                column = next(p for p in self.of("column", k) if p.key.startswith(f"column.{k}.{axis}"))
                for row in range(len(self.recipe.rows)):
                    left, right = self.panels_at(k, axis, row)
                    a, b = left.panel, right.panel
                    assert a is not None
                    assert b is not None
                    if b.left[0] - a.right[0] > 0.2:
                        continue
                    heights = (max(a.low, b.low), min(a.top[-1][1], b.top[0][1]))
                    ends = [(a.end(True, z), b.end(False, z)) for z in heights]
                    widths = [(q - p) * 1000 for p, q in ends]
                    p, q = ends[int(np.argmin(widths))]
                    offsets = ((column.centre - p) * 1000, (q - column.centre) * 1000)
                    out.append(Seam(left.key, right.key, (min(widths), max(widths)), offsets))
        return out

    def expected(self) -> list[Expected]:
        """All failures that must be found, those of widths and offsets computed from the panels."""
        out = list(self.wrong)
        # Rails that run to the corner of the panels' inner faces and stand behind these cross there.
        for k in range(len(self.frames)) if self.of("rail") and self.recipe.rail != "between" else ():
            pair = self.of("rail", k)[-1], self.of("rail", (k + 1) % len(self.frames))[0]
            behind = min(-min(d for _, d in rail.bodies[0].ring) for rail in pair)
            if self.turn_at(k) > 20.0 and behind > 0.00101:
                out.append(Expected("base-rail-joint", frozenset(rail.key for rail in pair)))
        for k in range(len(self.frames)):
            for axis in range(len(self.axes(k))):
                column = next(p for p in self.of("column", k) if p.key.startswith(f"column.{k}.{axis}"))
                for row in range(len(self.recipe.rows)):
                    left, right = self.panels_at(k, axis, row)
                    a, b = left.panel, right.panel
                    assert a is not None
                    assert b is not None
                    if b.left[0] - a.right[0] > 0.2:
                        continue
                    heights = (max(a.low, b.low), min(a.top[-1][1], b.top[0][1]))
                    widths = [(b.end(False, z) - a.end(True, z)) * 1000 for z in heights]
                    if "foam" in self.recipe.styles and self.recipe.styles["foam"].body == "rod":
                        # A round rod in the middle of the seam is neither 50 mm deep nor tight against the column.
                        out.append(Expected("seam-foam", frozenset((left.key, right.key))))
                    worst = max(widths, key=lambda w: abs(w - 30.0))
                    if abs(worst - 30.0) > 5.01:
                        out.append(Expected("seam-width", frozenset((left.key, right.key)), worst))
                    offs = [(column.centre - a.end(True, z)) * 1000 for z in heights]
                    offs += [(b.end(False, z) - column.centre) * 1000 for z in heights]
                    worst = max(offs, key=lambda w: abs(w - 15.0))
                    if abs(worst - 15.0) > 5.01:
                        value = worst if sum(abs(abs(o - 15) - abs(worst - 15)) < 1e-6 for o in offs) == 1 else None
                        out.append(Expected("panel-end-offset", frozenset((left.key, right.key)), value))
        return out

    @property
    def undecided(self) -> set[tuple[str, str]]:
        """Rules and states that the model leaves open: gaps round frames for which no opening is drawn."""
        return set() if "hole" in self.recipe.styles else {("opening-gap", "undecided")}

    def drawn(self) -> set[str]:
        """Rules whose layer is in the model."""
        has = {part.kind for part in self.parts.values()}
        rules = {
            "column-seal": {"column_seal"},
            "plinth-seal": {"plinth_seal"},
            "seam-foam": {"foam"},
            "flashing-lap": {"flashing", "cover"},
            "seam-flashing": {"cover"},
            "opening-seal": {"frame_seal"},
            "door-threshold-seal": {"frame_seal"},
            "base-insulation": {"base_insulation"},
            "base-rail-drainage": {"weep_hole"},
            "column-plinth-seal": {"joint_seal"},
            "corner-flashing": {"corner_piece"},
        }
        return {rule for rule, kinds in rules.items() if kinds & has}

    # As IFC

    def write(self, folder: Path) -> list[Path]:
        """Write the model, or one file for each trade, and return their paths."""
        r = self.recipe
        plans = [dict(one) for one in r.files] or [{}]
        paths = []
        for number, plan in enumerate(plans):
            writer = Writer(
                self,
                plan.get("schema", r.schema),
                plan.get("unit", r.unit),
                plan.get("carry", r.carry),
            )
            for part in self.parts.values():
                if self.recipe.spread.get(part.kind.split(":")[0], 0) == number:
                    writer.element(part)
            writer.finish()
            path = folder / f"{r.name}-{number}.ifc"
            writer.file.write(str(path))
            paths.append(path)
        return paths


def _ring_u(low: float, high: float, back: float, front: float, t: float) -> list[tuple[float, float]]:
    """A channel with its web at the back, in (z, d)."""
    return [(low, back), (high, back), (high, front), (high - t, front), (high - t, back + t), (low + t, back + t),
            (low + t, front), (low, front)]  # fmt: skip


def _size(section: Sequence[Any]) -> tuple[float, float]:
    """Width along u and depth along d of an upright section."""
    return (section[1], section[1]) if section[0] in ("round", "tube") else (section[1], section[2])


def _upright(section: tuple[Any, ...], u: float, d: float, low: float, high: float) -> Prism:
    kind = section[0]
    w, h = _size(section)
    ring = [(d - h / 2, u - w / 2), (d + h / 2, u - w / 2), (d + h / 2, u + w / 2), (d - h / 2, u + w / 2)]
    holes: list[Ring] = []
    if kind == "I":
        web, flange = section[3] / 2, section[4]
        ring = [(d - h / 2, u - w / 2), (d - h / 2 + flange, u - w / 2), (d - h / 2 + flange, u - web),
                (d + h / 2 - flange, u - web), (d + h / 2 - flange, u - w / 2), (d + h / 2, u - w / 2),
                (d + h / 2, u + w / 2), (d + h / 2 - flange, u + w / 2), (d + h / 2 - flange, u + web),
                (d - h / 2 + flange, u + web), (d - h / 2 + flange, u + w / 2), (d - h / 2, u + w / 2)]  # fmt: skip
    elif kind == "box":
        t = section[3]
        holes = [[(d - h / 2 + t, u - w / 2 + t), (d + h / 2 - t, u - w / 2 + t), (d + h / 2 - t, u + w / 2 - t),
                  (d - h / 2 + t, u + w / 2 - t)]]  # fmt: skip
    return Prism(Z, ring, low, high, holes, section if kind != "rect" else (), (u, d))


_UNITS = {"mm": 0.001, "cm": 0.01, "m": 1.0, "foot": FOOT, "inch": 0.0254}


class Writer:
    """Writes the parts of a hall into one IFC file."""

    def __init__(self, hall: Hall, schema: str, unit: str, carry: str) -> None:
        self.hall, self.recipe, self.schema = hall, hall.recipe, schema
        self.file = ifcopenshell.file(schema=schema)
        self.one = 1.0 / _UNITS[unit]
        self.number: dict[str, int] = {}
        self.made: dict[str, Any] = {}
        self.later: list[Callable[[], None]] = []
        self.gathered: dict[tuple[str, int], tuple[Any, list[Any]]] = {}
        self.contained: list[Any] = []
        self.types: dict[tuple[str, str], tuple[Any, list[Any]]] = {}
        self.materials: dict[tuple[Any, ...], tuple[Any, list[Any]]] = {}
        self.maps: dict[Any, Any] = {}
        self.owner = self._owner()
        turn, r = np.radians(self.recipe.turn), self.recipe
        self.world = np.eye(4)
        self.world[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
        self.world[:3, 3] = r.offset
        self.bodies_absolute = carry == "bodies"
        site_at = self.world if carry == "site" else np.eye(4)
        building_at = self.world if carry == "building" else np.eye(4)
        storey_at = np.eye(4)
        storey_at[2, 3] = 0.15 if carry != "bodies" else 0.0
        self.chain = site_at @ building_at @ storey_at
        self._spatial(unit, site_at, building_at, storey_at)

    # Small things

    def make(self, cls: str, *args: Any, **values: Any) -> Any:
        return self.file.create_entity(cls, *args, **values)

    def rooted(self, cls: str, guid: str, name: str | None = None, **values: Any) -> Any:
        return self.make(cls, GlobalId=guid, OwnerHistory=self.owner, Name=name, **values)

    def _owner(self) -> Any:
        if self.schema != "IFC2X3":
            return None
        person = self.make("IfcPerson", FamilyName="Nobody")
        group = self.make("IfcOrganization", Name="Office")
        both = self.make("IfcPersonAndOrganization", ThePerson=person, TheOrganization=group)
        tool = self.make("IfcApplication", group, "1", "Drawing", "Drawing")
        return self.make(
            "IfcOwnerHistory", OwningUser=both, OwningApplication=tool, ChangeAction="ADDED", CreationDate=0
        )

    def point(self, *xyz: float) -> Any:
        return self.make("IfcCartesianPoint", [float(v) * self.one for v in xyz])

    def direction(self, xyz: Sequence[float]) -> Any:
        return self.make("IfcDirection", [float(v) for v in xyz])

    def axis3(self, matrix: np.ndarray) -> Any:
        return self.make(
            "IfcAxis2Placement3D",
            self.point(*matrix[:3, 3]),
            self.direction(matrix[:3, 2]),
            self.direction(matrix[:3, 0]),
        )

    def placement(self, above: Any, matrix: np.ndarray) -> Any:
        return self.make("IfcLocalPlacement", above, self.axis3(matrix))

    def _spatial(self, unit: str, site_at: np.ndarray, building_at: np.ndarray, storey_at: np.ndarray) -> None:
        if unit in ("mm", "cm", "m"):
            prefix = {"mm": "MILLI", "cm": "CENTI", "m": None}[unit]
            length = self.make("IfcSIUnit", UnitType="LENGTHUNIT", Prefix=prefix, Name="METRE")
        else:
            metre = self.make("IfcSIUnit", UnitType="LENGTHUNIT", Name="METRE")
            factor = self.make("IfcMeasureWithUnit", self.make("IfcLengthMeasure", _UNITS[unit]), metre)
            size = self.make("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
            length = self.make("IfcConversionBasedUnit", size, "LENGTHUNIT", unit.upper(), factor)
        angle = self.make("IfcSIUnit", UnitType="PLANEANGLEUNIT", Name="RADIAN")
        units = self.make("IfcUnitAssignment", [length, angle])
        self.context = self.make(
            "IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, self.axis3(np.eye(4)), None
        )
        self.body = self.make("IfcGeometricRepresentationSubContext", ContextIdentifier="Body", ContextType="Model",
                              ParentContext=self.context, TargetView="MODEL_VIEW")  # fmt: skip
        self.axis = self.make("IfcGeometricRepresentationSubContext", ContextIdentifier="Axis", ContextType="Model",
                              ParentContext=self.context, TargetView="GRAPH_VIEW")  # fmt: skip
        name = self.recipe.name
        project = self.rooted("IfcProject", guid_of(name, "project"), "Project 7", UnitsInContext=units,
                              RepresentationContexts=[self.context])  # fmt: skip
        site_place = self.placement(None, site_at)
        building_place = self.placement(site_place, building_at)
        self.storey_place = self.placement(building_place, storey_at)
        site = self.rooted(
            "IfcSite", guid_of(name, "site"), "Site", ObjectPlacement=site_place, CompositionType="ELEMENT"
        )
        building = self.rooted("IfcBuilding", guid_of(name, "building"), "Building", ObjectPlacement=building_place,
                               CompositionType="ELEMENT")  # fmt: skip
        self.storey = self.rooted("IfcBuildingStorey", guid_of(name, "storey"), "00", ObjectPlacement=self.storey_place,
                                  CompositionType="ELEMENT")  # fmt: skip
        for above, below in ((project, site), (site, building), (building, self.storey)):
            self.rooted(
                "IfcRelAggregates", guid_of(name, "in", below.GlobalId), RelatingObject=above, RelatedObjects=[below]
            )
        if self.recipe.grid:
            self._grid()

    def _grid(self) -> None:
        """Axes across the first run, named from A."""
        frame = self.hall.frames[0]
        lines = []
        for i, u in enumerate([0.0, *self.hall.axes(0), self.hall.lengths[0]]):
            ends = [(frame @ [u, 0.0, d, 1.0])[:2] for d in (2.0, -8.0)]
            curve = self.make("IfcPolyline", [self.point(*end) for end in ends])
            lines.append(self.make("IfcGridAxis", chr(65 + i), curve, True))
        along = [(frame @ [u, 0.0, 0.0, 1.0])[:2] for u in (-1.0, self.hall.lengths[0] + 1)]
        other = [self.make("IfcGridAxis", "1", self.make("IfcPolyline", [self.point(*p) for p in along]), True)]
        matrix = np.linalg.inv(self.chain) @ self.world
        place = self.placement(self.storey_place, matrix)
        self.contained.append(
            self.rooted("IfcGrid", guid_of(self.recipe.name, "grid"), ObjectPlacement=place, UAxes=lines, VAxes=other)
        )

    # Bodies

    def items(self, body: Prism, style: str, into: np.ndarray) -> tuple[str, Any]:
        """Kind of representation and item of a body; ``into`` leads from run coordinates to those of the element."""
        if style == "rod":
            return "AdvancedSweptSolid", self._rod(body, into)
        round_one = body.section and body.section[0] in ("round", "tube")
        if (style == "section" and body.section) or round_one:
            return "SweptSolid", self._section(body, into)
        if style.startswith("box") and not body.holes:
            made = self._clipped(body, int(style[3]), into)
            if made is not None:
                return made
        if style in ("brep", "faceset", "advanced") or (style == "triangles" and not body.holes):
            return self._faces(body, style, into)
        if style in ("mapped", "mirrored"):
            return "MappedRepresentation", self._mapped(body, into, style == "mirrored")
        profile = self._profile(body.ring, body.holes)
        return "SweptSolid", self._extruded(profile, into @ body.frame(), body.high - body.low)

    def _extruded(self, profile: Any, at: np.ndarray, depth: float, down: bool = False) -> Any:
        if down:
            at = at.copy()
            at[:3, 3] += depth * at[:3, 2]
        way = self.direction((0, 0, -1 if down else 1))
        return self.make("IfcExtrudedAreaSolid", profile, self.axis3(at), way, depth * self.one)

    def _rod(self, body: Prism, into: np.ndarray) -> Any:
        """A round cord as thick as the body is along the facade."""
        low, high = body.box()
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        step = np.where(np.arange(3) == body.axis, half, 0.0)
        ends = [(into @ [*(middle + way * step), 1.0])[:3] for way in (-1, 1)]
        line = self.make("IfcPolyline", [self.point(*end) for end in ends])
        return self.make("IfcSweptDiskSolid", line, float(half[U]) * self.one)

    def _curve(self, ring: Ring) -> Any:
        if self.schema != "IFC2X3" and self.recipe.unit != "mm":
            table = self.make(
                "IfcCartesianPointList2D", [[float(a) * self.one, float(b) * self.one] for a, b in (*ring, ring[0])]
            )
            return self.make("IfcIndexedPolyCurve", table)
        points = [self.point(a, b) for a, b in ring]
        return self.make("IfcPolyline", [*points, points[0]])

    def _profile(self, ring: Ring, holes: Sequence[Ring] = ()) -> Any:
        if holes:
            return self.make(
                "IfcArbitraryProfileDefWithVoids", "AREA", None, self._curve(ring), [self._curve(h) for h in holes]
            )
        return self.make("IfcArbitraryClosedProfileDef", "AREA", None, self._curve(ring))

    def _section(self, body: Prism, into: np.ndarray) -> Any:
        kind, one = body.section[0], self.one
        measures = [float(v) * one for v in body.section[1:]]
        position = self.make("IfcAxis2Placement2D", self.point(0.0, 0.0))
        if kind == "I":
            profile = self.make("IfcIShapeProfileDef", "AREA", "H", position, *measures)
        elif kind == "box":
            outer = [] if len(measures) < 4 else [0.5 * measures[3], measures[3]]
            profile = self.make("IfcRectangleHollowProfileDef", "AREA", "Q", position, *measures[:3], *outer)
        elif kind == "tube":
            profile = self.make("IfcCircleHollowProfileDef", "AREA", "R", position, measures[0] / 2, measures[1])
        else:
            profile = self.make("IfcCircleProfileDef", "AREA", "R", position, measures[0] / 2)
        at = np.eye(4)
        at[:3, :3] = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]]).T
        at[:3, 3] = body.at[0], body.low, body.at[1]
        return self._extruded(
            profile, into @ at, body.high - body.low, down=self.recipe.styles["column"].frame == "top"
        )

    def _clipped(self, body: Prism, axis: int, into: np.ndarray) -> tuple[str, Any] | None:
        """A box drawn along another axis, its oblique ends cut off by half spaces; None where that cannot be."""
        ring = np.array(body.ring)
        edges = np.roll(ring, -1, axis=0) - ring
        turn = edges[:, 0] * np.roll(edges, -1, axis=0)[:, 1] - edges[:, 1] * np.roll(edges, -1, axis=0)[:, 0]
        if (turn < -1e-12).any():
            return None
        low, high = body.box()
        a, b = (axis + 1) % 3, (axis + 2) % 3
        plan = replace(block(low[0], high[0], low[1], high[1], low[2], high[2], axis=axis))
        at = into @ plan.frame()
        at[:3, 3] = (into @ [*np.where(np.arange(3) == axis, low, 0.5 * (low + high)), 1.0])[:3]
        one = self.one
        centre = self.make("IfcAxis2Placement2D", self.point(0.0, 0.0))
        profile = self.make(
            "IfcRectangleProfileDef", "AREA", None, centre, float(high[a] - low[a]) * one, float(high[b] - low[b]) * one
        )
        solid, kind = self._extruded(profile, at, float(high[axis] - low[axis])), "SweptSolid"
        for point, (x, y) in zip(ring, edges, strict=True):
            if abs(x) < 1e-9 or abs(y) < 1e-9:
                continue
            frame = into @ body.frame()
            z = frame[:3, :3] @ (np.array([y, -x, 0.0]) / np.hypot(x, y))
            plane = np.eye(4)
            plane[:3, 2], plane[:3, 0] = z, frame[:3, :3] @ (np.array([x, y, 0.0]) / np.hypot(x, y))
            plane[:3, 3] = (frame @ [*point, 0.0, 1.0])[:3]
            half = self.make("IfcHalfSpaceSolid", self.make("IfcPlane", self.axis3(plane)), False)
            solid, kind = self.make("IfcBooleanClippingResult", "DIFFERENCE", solid, half), "Clipping"
        return kind, solid

    def _mapped(self, body: Prism, into: np.ndarray, mirrored: bool) -> Any:
        """A copy of a body drawn once for all of its size."""
        corner = np.min(np.array(body.ring), axis=0)
        ring = [(float(p - corner[0]), float(q - corner[1])) for p, q in body.ring]
        holes = [[(float(p - corner[0]), float(q - corner[1])) for p, q in hole] for hole in body.holes]
        sign = -1.0 if mirrored else 1.0
        ring, holes = [(sign * p, q) for p, q in ring], [[(sign * p, q) for p, q in hole] for hole in holes]
        key = (
            repr(np.round(ring, 9).tolist()),
            repr(np.round(holes, 9).tolist()) if holes else "",
            round(body.high - body.low, 9),
        )
        if key not in self.maps:
            solid = self._extruded(self._profile(ring, holes), np.eye(4), body.high - body.low)
            drawn = self.make("IfcShapeRepresentation", self.body, "Body", "SweptSolid", [solid])
            self.maps[key] = self.make("IfcRepresentationMap", self.axis3(np.eye(4)), drawn)
        at = into @ body.frame()
        at = at @ np.array([[1, 0, 0, corner[0]], [0, 1, 0, corner[1]], [0, 0, 1, 0], [0, 0, 0, 1.0]])
        x, y, z = (self.direction(at[:3, i] * (sign if i == 0 else 1.0)) for i in range(3))
        target = self.make("IfcCartesianTransformationOperator3D", x, y, self.point(*at[:3, 3]), 1.0, z)
        return self.make("IfcMappedItem", self.maps[key], target)

    def _faces(self, body: Prism, style: str, into: np.ndarray) -> tuple[str, Any]:
        points, faces = body.faces()
        local = np.array([(into @ [*p, 1.0])[:3] for p in points])
        if style in ("faceset", "triangles") and self.schema != "IFC2X3":
            table = self.make("IfcCartesianPointList3D", (local * self.one).tolist())
            if style == "triangles":
                fan = [(f[0][0] + 1, f[0][i] + 1, f[0][i + 1] + 1) for f in faces for i in range(1, len(f[0]) - 1)]
                return "Tessellation", self.make("IfcTriangulatedFaceSet", table, None, True, fan)
            made = [
                self.make("IfcIndexedPolygonalFace", [i + 1 for i in loops[0]])
                if len(loops) == 1
                else self.make(
                    "IfcIndexedPolygonalFaceWithVoids",
                    [i + 1 for i in loops[0]],
                    [[i + 1 for i in h] for h in loops[1:]],
                )
                for loops in faces
            ]
            return "Tessellation", self.make("IfcPolygonalFaceSet", table, True, made)
        corners = [self.point(*p) for p in local]
        if style == "advanced" and self.schema != "IFC2X3":
            return "AdvancedBrep", self._advanced(local, corners, faces)
        made = []
        for loops in faces:
            bounds = [
                self.make(
                    "IfcFaceOuterBound" if n == 0 else "IfcFaceBound",
                    self.make("IfcPolyLoop", [corners[i] for i in loop]),
                    True,
                )
                for n, loop in enumerate(loops)
            ]
            made.append(self.make("IfcFace", bounds))
        return "Brep", self.make("IfcFacetedBrep", self.make("IfcClosedShell", made))

    def _advanced(self, local: np.ndarray, corners: list[Any], faces: list[list[list[int]]]) -> Any:
        vertices = [self.make("IfcVertexPoint", corner) for corner in corners]
        edges: dict[tuple[int, int], Any] = {}

        def edge(i: int, j: int) -> Any:
            key = (min(i, j), max(i, j))
            if key not in edges:
                step = local[key[1]] - local[key[0]]
                length = float(np.linalg.norm(step))
                vector = self.make("IfcVector", self.direction(step / length), length * self.one)
                line = self.make("IfcLine", corners[key[0]], vector)
                edges[key] = self.make("IfcEdgeCurve", vertices[key[0]], vertices[key[1]], line, True)
            return self.make("IfcOrientedEdge", None, None, edges[key], (i, j) == key)

        made = []
        for loops in faces:
            a = local[loops[0][1]] - local[loops[0][0]]
            # The normal of the whole ring: a corner of it may turn the other way.
            ring = local[loops[0]]
            normal = np.cross(ring - ring[0], np.roll(ring, -1, axis=0) - ring[0]).sum(axis=0)
            plane = np.eye(4)
            plane[:3, 2], plane[:3, 0] = normal / np.linalg.norm(normal), a / np.linalg.norm(a)
            plane[:3, 3] = local[loops[0][0]]
            bounds = [
                self.make(
                    "IfcFaceOuterBound" if n == 0 else "IfcFaceBound",
                    self.make("IfcEdgeLoop", [edge(i, j) for i, j in zip(loop, [*loop[1:], loop[0]], strict=True)]),
                    True,
                )
                for n, loop in enumerate(loops)
            ]
            made.append(self.make("IfcAdvancedFace", bounds, self.make("IfcPlane", self.axis3(plane)), True))
        return self.make("IfcAdvancedBrep", self.make("IfcClosedShell", made))

    # Elements

    def bodies_of(self, part: Part) -> list[Prism]:
        panel, r = part.panel, self.recipe
        if panel is None:
            return part.bodies
        straight = (
            panel.left[0] == panel.left[1] and panel.right[0] == panel.right[1] and len({z for _, z in panel.top}) == 1
        )
        if r.tongue and straight:
            low, high, t, m = panel.low, panel.top[0][1], r.thick, r.thick / 2
            tongue = [(high, m - 0.004), (high + 0.011, m - 0.004), (high + 0.011, m + 0.004), (high, m + 0.004)]
            groove = [(low, m + 0.005), (low + 0.012, m + 0.005), (low + 0.012, m - 0.005), (low, m - 0.005)]
            ring = [(low, 0.0), (high, 0.0), *tongue, (high, t), (low, t), *groove]
            return [Prism(U, ring, panel.left[0], panel.right[0])]
        whole = Prism(D, panel.ring(), 0.0, r.thick)
        if r.styles["panel"].body != "sheets":
            return [whole]
        cuts = (0.0, 0.0006, r.thick - 0.0006, r.thick)
        return [replace(whole, low=low, high=high) for low, high in pairwise(cuts)]

    def style_of(self, part: Part) -> Style:
        if part.kind.startswith("noise:"):
            _, cls, predefined, name = part.kind.split(":", 3)
            return Style(cls, name, predefined)
        return self.recipe.styles[part.kind]

    def element(self, part: Part) -> None:
        style = self.style_of(part)
        bodies = self.bodies_of(part)
        box = np.array([body.box() for body in bodies])
        low, high = box[:, 0].min(axis=0), box[:, 1].max(axis=0)
        frame = self.hall.frames[part.run] if part.run >= 0 else _NOISE
        own = self._own_frame(style.frame, bodies[0], low, high)
        absolute = self.world @ frame @ own
        if style.frame == "world" or self.bodies_absolute:
            absolute = np.eye(4) if self.bodies_absolute else self.world
        number = self.number[part.kind] = self.number.get(part.kind, 0) + 1
        words = {"n": number, "run": part.run, "row": part.panel.row if part.panel else 0}
        above, chain = self.storey_place, self.chain
        if style.gather and style.gather != "panel":
            above, chain = self._gatherer(style, part)
        place = self.placement(above, np.linalg.inv(chain) @ absolute)
        into = np.linalg.inv(absolute) @ self.world @ frame
        guid = self.hall.guid(part.key)
        element = self._product(style.cls, guid, style, words, place)
        self.made[part.key] = element
        if style.split:
            self._split(part, style, element, place, bodies, into)
        else:
            element.Representation = self._shape(bodies, style, into, low, high, part)
        if style.gather == "panel":
            self.later.append(lambda: self._belong(part))
        elif style.gather:
            self.gathered[style.gather, part.run][1].append(element)
        elif style.cls != "IfcOpeningElement":
            self.contained.append(element)
        self._meaning(part, style, element)
        if part.host and part.kind != "column_seal":
            self.later.append(lambda: self._relate(part))

    def _product(self, cls: str, guid: str, style: Style, words: Mapping[str, Any], place: Any) -> Any:
        element = self.rooted(cls, guid, style.name.format(**words), ObjectPlacement=place)
        element.Tag = f"{words['n'] + 5000}"
        if style.object_type:
            element.ObjectType = style.object_type.format(**words)
        if style.description:
            element.Description = style.description.format(**words)
        if style.predefined and hasattr(element, "PredefinedType"):
            try:
                element.PredefinedType = style.predefined
            except RuntimeError:  # older schemas have fewer types
                element.PredefinedType = "NOTDEFINED"
        if style.predefined and not style.object_type and getattr(element, "PredefinedType", "") in ("", "NOTDEFINED"):
            element.ObjectType = style.predefined
        return element

    @staticmethod
    def _own_frame(kind: str, body: Prism, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Coordinates of the part's own placement to those of the run."""
        own = np.eye(4)
        if kind == "prism":
            own = body.frame()
            own[:3, 3] = low
            return own
        own[:3, :3] = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]]).T
        if kind == "run":
            own[:3, 3] = low
        elif kind == "top":
            own[:3, 3] = 0.5 * (low[0] + high[0]), high[1], 0.5 * (low[2] + high[2])
        elif kind == "grid":
            own[:3, 3] = 0.5 * (low[0] + high[0]), 0.0, 0.0
        return own

    def _shape(
        self, bodies: Sequence[Prism], style: Style, into: np.ndarray, low: np.ndarray, high: np.ndarray, part: Part
    ) -> Any:
        kinds, items = zip(*(self.items(body, style.body, into) for body in bodies), strict=True)
        kind = kinds[0] if len(set(kinds)) == 1 else "SolidModel"
        shapes = [self.make("IfcShapeRepresentation", self.body, "Body", kind, list(items))]
        if "Wall" in style.cls:
            ends = [(into @ [u, low[1], 0.0, 1.0])[:2] for u in (low[0], high[0])]
            line = self.make("IfcPolyline", [self.point(*end) for end in ends])
            shapes.insert(0, self.make("IfcShapeRepresentation", self.axis, "Axis", "Curve2D", [line]))
        return self.make("IfcProductDefinitionShape", None, None, shapes)

    def _split(
        self, part: Part, style: Style, element: Any, place: Any, bodies: Sequence[Prism], into: np.ndarray
    ) -> None:
        """The layers of a panel as parts with bodies of their own."""
        (body,) = bodies
        rest = body.high - body.low - sum(layer[3] for layer in style.split)
        depth, parts = body.low, []
        for i, (cls, predefined, name, thick) in enumerate(style.split):
            thick = thick or rest
            piece = replace(body, low=depth, high=depth + thick)
            depth += thick
            own = Style(cls, name, predefined, body=style.body)
            made = self._product(
                cls, guid_of(self.recipe.name, part.key, i), own, {"n": i}, self.placement(place, np.eye(4))
            )
            box = piece.box()
            made.Representation = self._shape([piece], own, into, box[0], box[1], part)
            parts.append(made)
        self.rooted(
            "IfcRelAggregates",
            guid_of(self.recipe.name, part.key, "parts"),
            RelatingObject=element,
            RelatedObjects=parts,
        )

    def _gatherer(self, style: Style, part: Part) -> tuple[Any, np.ndarray]:
        key = style.gather, part.run
        at = self.world @ self.hall.frames[part.run]
        turned = at.copy()
        turned[:3, 1], turned[:3, 2] = -at[:3, 2], at[:3, 1]
        if key not in self.gathered:
            place = self.placement(self.storey_place, np.linalg.inv(self.chain) @ turned)
            whole = self.rooted(
                style.gather, guid_of(self.recipe.name, *key, part.kind), style.gather_name, ObjectPlacement=place
            )
            self.gathered[key] = whole, []
            self.contained.append(whole)
        return self.gathered[key][0].ObjectPlacement, turned

    def _meaning(self, part: Part, style: Style, element: Any) -> None:
        if style.material or style.layers:
            key: tuple[Any, ...] = style.layers or style.material
            if key not in self.materials:
                self.materials[key] = self._material(style), []
            self.materials[key][1].append(element)
        if style.type_name:
            kind = (element.is_a().removesuffix("StandardCase"), style.type_name)
            if kind not in self.types:
                made = self.rooted(f"{kind[0]}Type", guid_of(self.recipe.name, *kind), style.type_name)
                if hasattr(made, "PredefinedType"):
                    made.PredefinedType = "NOTDEFINED"
                self.types[kind] = made, []
            self.types[kind][1].append(element)
        for name, values in {**style.stated, **part.stated}.items():
            properties = [
                self.make(
                    "IfcPropertySingleValue",
                    key,
                    None,
                    self.make("IfcBoolean" if isinstance(v, bool) else "IfcLabel", v),
                    None,
                )
                for key, v in values.items()
            ]
            pset = self.rooted(
                "IfcPropertySet", guid_of(self.recipe.name, part.key, name), name, HasProperties=properties
            )
            self.rooted("IfcRelDefinesByProperties", guid_of(self.recipe.name, part.key, name, "of"),
                        RelatedObjects=[element], RelatingPropertyDefinition=pset)  # fmt: skip

    def _material(self, style: Style) -> Any:
        if style.layers:
            layers = [
                self.make("IfcMaterialLayer", self.make("IfcMaterial", name), thick * self.one)
                for name, thick in style.layers
            ]
            whole = self.make("IfcMaterialLayerSet", layers, "Aufbau")
            return self.make("IfcMaterialLayerSetUsage", whole, "AXIS2", "POSITIVE", 0.0)
        if len(style.material) == 1:
            return self.make("IfcMaterial", style.material[0])
        return self.make("IfcMaterialList", [self.make("IfcMaterial", name) for name in style.material])

    def _belong(self, part: Part) -> None:
        """A part of a panel in the same file."""
        self.rooted("IfcRelAggregates", guid_of(self.recipe.name, part.key, "of"), RelatingObject=self.made[part.host],
                    RelatedObjects=[self.made[part.key]])  # fmt: skip

    def _relate(self, part: Part) -> None:
        host, element, name = self.made.get(part.host), self.made[part.key], self.recipe.name
        if host is None:
            return
        if part.kind == "hole":
            self.rooted("IfcRelVoidsElement", guid_of(name, part.key, "voids"), RelatingBuildingElement=host,
                        RelatedOpeningElement=element)  # fmt: skip
        else:
            self.rooted("IfcRelFillsElement", guid_of(name, part.key, "fills"), RelatingOpeningElement=host,
                        RelatedBuildingElement=element)  # fmt: skip

    def finish(self) -> None:
        """Write what joins elements."""
        name = self.recipe.name
        for one in self.later:
            one()
        for (cls, run), (whole, parts) in self.gathered.items():
            self.rooted("IfcRelAggregates", guid_of(name, cls, run, "of"), RelatingObject=whole, RelatedObjects=parts)
        for (cls, word), (kind, parts) in self.types.items():
            self.rooted("IfcRelDefinesByType", guid_of(name, cls, word, "of"), RelatedObjects=parts, RelatingType=kind)
        for i, (material, parts) in enumerate(self.materials.values()):
            self.rooted(
                "IfcRelAssociatesMaterial",
                guid_of(name, "material", i),
                RelatedObjects=parts,
                RelatingMaterial=material,
            )
        if self.contained:
            self.rooted("IfcRelContainedInSpatialStructure", guid_of(name, "contents"), RelatedElements=self.contained,
                        RelatingStructure=self.storey)  # fmt: skip


_NOISE = np.array([[1.0, 0, 0, 0], [0, 0, -1.0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]])
"""Noise lies in the frame of the building: u east, z up, d south."""
