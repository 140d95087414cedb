"""Tiny facades in code: what rules show as good and bad, and what tests turn, move and mirror.

Frame of a sketch: x to the right seen from outside, y up, z out of the facade, zero at the outer face of the columns,
in millimetres. `Sketch.model` gives the same records as reading a file does.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from checker.model import Element, Floats, Ints, Meshes, Model, Role, Source

_FACES: Final = np.array(
    [
        [0, 1, 3],
        [0, 3, 2],
        [4, 6, 7],
        [4, 7, 5],
        [0, 4, 5],
        [0, 5, 1],
        [2, 3, 7],
        [2, 7, 6],
        [0, 2, 6],
        [0, 6, 4],
        [1, 5, 7],
        [1, 7, 3],
    ]
)
_CORNERS: Final = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
_CLASS: Final = {
    "panel": "IfcPlate",
    "column": "IfcColumn",
    "plinth": "IfcFooting",
    "base-rail": "IfcMember",
    "window": "IfcWindow",
    "door": "IfcDoor",
}


@dataclass(frozen=True)
class Block:
    """A block between ``low`` and ``high`` (mm); ``taper_mm`` moves the upper corners of its right end to the left."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    taper_mm: float = 0.0

    def corners(self) -> Floats:
        """The eight corners (8, 3) in mm."""
        points = np.where(_CORNERS, self.high, self.low).astype(float)
        points[(_CORNERS[:, 0] == 1) & (_CORNERS[:, 1] == 1), 0] -= self.taper_mm
        return points


@dataclass(frozen=True)
class Part:
    """One element of a sketch, made of blocks that share no volume."""

    role: str
    blocks: tuple[Block, ...]
    stated: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sketch:
    """Named parts, and in words what they show."""

    parts: Mapping[str, Part]
    words: str = ""

    def describe(self) -> str:
        """What the sketch shows, in words."""
        return self.words

    def saying(self, words: str) -> "Sketch":
        """The same parts, said otherwise."""
        return replace(self, words=words)

    def without(self, *names: str) -> "Sketch":
        """The sketch without some parts.

        Raises:
            KeyError: there is no part of that name.
        """
        for name in names:
            self.parts[name]
        return replace(self, parts={k: v for k, v in self.parts.items() if k not in names})

    def having(self, name: str, part: Part) -> "Sketch":
        """The sketch with one more part, or another one in its place."""
        return replace(self, parts={**self.parts, name: part})

    def moved(self, name: str, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> "Sketch":
        """One part moved by millimetres."""

        def shift(block: Block) -> Block:
            low, high = block.low, block.high
            return replace(
                block, low=(low[0] + x, low[1] + y, low[2] + z), high=(high[0] + x, high[1] + y, high[2] + z)
            )

        return self._change(name, shift)

    def stretched(self, name: str, side: str, by: float) -> "Sketch":
        """One side of a part (``left``, ``right``, ``bottom``, ``top``, ``back``, ``front``) moved by mm."""
        axis, high = {
            "left": (0, False),
            "right": (0, True),
            "bottom": (1, False),
            "top": (1, True),
            "back": (2, False),
            "front": (2, True),
        }[side]

        def stretch(block: Block) -> Block:
            values = list(block.high if high else block.low)
            values[axis] += by
            place = (values[0], values[1], values[2])
            return replace(block, high=place) if high else replace(block, low=place)

        return self._change(name, stretch)

    def tapered(self, name: str, by: float) -> "Sketch":
        """The right end of a part cut out of square: its top further left by millimetres."""
        return self._change(name, lambda block: replace(block, taper_mm=by))

    def pierced(self, name: str, x: tuple[float, float], z: tuple[float, float]) -> "Sketch":
        """A part of one block with a hole through it from top to bottom, between ``x`` and between ``z``.

        Raises:
            ValueError: the part is made of several blocks.
        """
        (whole,) = self.parts[name].blocks
        (x0, y0, z0), (x1, y1, z1) = whole.low, whole.high
        around = (
            ((x0, z0), (x1, z[0])),
            ((x0, z[1]), (x1, z1)),
            ((x0, z[0]), (x[0], z[1])),
            ((x[1], z[0]), (x1, z[1])),
        )
        blocks = tuple(Block((low[0], y0, low[1]), (high[0], y1, high[1])) for low, high in around)
        return replace(self, parts={**self.parts, name: replace(self.parts[name], blocks=blocks)})

    def stating(self, name: str, **stated: str) -> "Sketch":
        """One part with property values."""
        return replace(self, parts={**self.parts, name: replace(self.parts[name], stated=stated)})

    def _change(self, name: str, change: Callable[[Block], Block]) -> "Sketch":
        part = self.parts[name]
        return replace(self, parts={**self.parts, name: replace(part, blocks=tuple(change(b) for b in part.blocks))})

    def model(self, place: Floats | None = None, order: Sequence[int] | None = None) -> Model:
        """The sketch as read: ``place`` (4, 4) carries it into the world (metres), ``order`` rearranges the parts.

        A mirroring ``place`` is allowed; bodies stay the right way round.
        """
        matrix = np.eye(4) if place is None else np.asarray(place, float)
        names = list(self.parts) if order is None else [list(self.parts)[i] for i in order]
        names.sort(key=guid_of)
        points: list[Floats] = []
        triangles: list[Ints] = []
        point_start, triangle_start = [0], [0]
        faces = _FACES if np.linalg.det(matrix[:3, :3]) > 0 else _FACES[:, ::-1]
        count = 0
        for name in names:
            for each in self.parts[name].blocks:
                # Facade frame (x right, y up, z out) to world (x right, y away from the viewer, z up).
                corners = each.corners() / 1000.0
                world = np.stack([corners[:, 0], -corners[:, 2], corners[:, 1]], axis=1)
                triangles.append(faces + count)
                points.append(world @ matrix[:3, :3].T + matrix[:3, 3])
                count += len(world)
            point_start.append(count)
            triangle_start.append(len(faces) * len(triangles))
        every = np.concatenate(points)
        origin = every.mean(axis=0).round()
        elements = tuple(
            Element(
                guid=guid_of(name),
                ifc_class=_CLASS.get(self.parts[name].role, "IfcDiscreteAccessory"),
                name=name,
                shown=(guid_of(name),),
                stated=self.parts[name].stated,
            )
            for name in names
        )
        return Model(
            sources=(Source("sketch", "", "IFC4", "mm", "Sketch", guid_of("project"), "", "sketch", "sketch", ""),),
            elements=elements,
            roles=tuple(Role(self.parts[name].role, 1.0, "sketched") for name in names),
            meshes=Meshes(
                every - origin,
                np.concatenate(triangles),
                np.array(point_start, np.int64),
                np.array(triangle_start, np.int64),
            ),
            faults=("",) * len(names),
            grid=(),
            origin=origin,
        )


def guid_of(name: str) -> str:
    """A GlobalId (22 digits of base 64) derived from a name."""
    digits = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz_$"
    number = int.from_bytes(hashlib.sha256(name.encode()).digest()[:16], "big")
    return "".join(digits[number >> (6 * k) & 63] for k in range(21, -1, -1))


def block(role: str, x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Part:
    """A part that is one block."""
    return Part(role, (Block((x[0], y[0], z[0]), (x[1], y[1], z[1])),))


BAY: Final = 6000.0
ROW: Final = 1000.0
FOOT: Final = 370.0
"""Bottom of the lowest panels in sketches: plinth top 300, seal 10, base rail 52, insulation on it 8."""
RAIL_TOP: Final = 362.0


def detail(rows: int = 2) -> Sketch:
    """Two bays of a sound facade with every part of the details that rules ask about, and one window."""
    top = FOOT + rows * ROW
    parts = {**_structure(top), **_foot(), **_panels(rows), **_column_strips(top), **_seam(rows)}
    return Sketch(parts, "Two bays on three columns, every part in its place.")


def corner(rows: int = 1) -> Sketch:
    """A sound corner of two sides with one bay each; the first one runs past the end of the second.

    The second side looks to the right: seen from outside it runs from z = 0 backwards.
    """
    top, back = (
        FOOT + rows * ROW,
        -BAY - 95.0,
    )  # axis of the last column, one bay behind that of the column at the corner
    parts = {
        "column 1": _i_column((-100, -190), top),
        "column at corner": _i_column((BAY - 100, -190), top),
        "column 2": block("column", (BAY - 90, BAY + 100), (-500, top + 200), (back - 100, back + 100)),
    }
    for row in range(1, rows + 1):
        y = FOOT + (row - 1) * ROW, FOOT + row * ROW
        parts[f"panel 1.{row}"] = block("panel", (15, BAY + 228), y, (8, 128))
        parts[f"panel 2.{row}"] = block("panel", (BAY + 108, BAY + 228), y, (back + 15, -12))
        for side, x, z in (("1", (15, BAY + 228), (30, 40)), ("2", (BAY + 130, BAY + 140), (back + 15, -12))):
            if row > 1:
                gasket = block("seal", x, (y[0] - 3, y[0] + 3), z)
                parts[f"gasket {side}.{row}"] = replace(gasket, stated={"freethickness": "10"})
    outer = BAY + 100  # outer face of the column, from which the second side is measured
    for name, role, y, depth in (
        ("plinth seal", "seal", (300, 310), (8, 48)),
        ("base insulation", "insulation", (RAIL_TOP, FOOT), (8, 108)),
    ):
        parts[f"{name} 1"] = block(role, (0, outer + depth[1]), y, depth)
        parts[f"{name} 2"] = block(role, (outer + depth[0], outer + depth[1]), y, (back, depth[0]))
    parts["plinth 1"] = block("plinth", (10, outer + 118), (-600, 300), (8, 118))
    parts["plinth 2"] = block("plinth", (outer + 8, outer + 118), (-600, 300), (back + 10, -12))
    drained = {"weepholesside": "outside"}
    parts["rail 1"] = replace(block("base-rail", (0, outer + 108), (310, RAIL_TOP), (8, 108)), stated=drained)
    parts["rail 2"] = replace(block("base-rail", (outer + 8, outer + 108), (310, RAIL_TOP), (back, 6)), stated=drained)
    parts["plinth flashing 1"] = block("flashing", (0, outer + 132), (290, 400), (131, 132))
    parts["plinth flashing 2"] = block("flashing", (outer + 131, outer + 132), (290, 400), (back, 131))
    parts["column seal 1 right"] = block("seal", (20, 60), (FOOT, top), (0, 8))
    parts["column seal at corner left"] = block("seal", (BAY - 60, BAY - 20), (FOOT, top), (0, 8))
    parts["column seal at corner right"] = block("seal", (outer, outer + 8), (FOOT, top), (-155, -115))
    parts["column seal 2 left"] = block("seal", (outer, outer + 8), (FOOT, top), (back + 20, back + 60))
    legs = (
        Block((outer + 32, FOOT - 20, 132), (outer + 133, top, 133)),
        Block((outer + 132, FOOT - 20, 32), (outer + 133, top, 132)),
    )
    parts["corner flashing"] = Part("flashing", legs)
    return Sketch(parts, "Two sides that meet at a corner, every part of the foot closed round it.")


def _i_column(at: tuple[float, float], top: float) -> Part:
    """An H section 200 wide and 190 deep by its corner at left and back (x, z), flanges 15 thick, web 10."""
    x, z = at
    return Part(
        "column",
        (
            Block((x, -500, z + 175), (x + 200, top + 200, z + 190)),
            Block((x + 95, -500, z + 15), (x + 105, top + 200, z + 175)),
            Block((x, -500, z), (x + 200, top + 200, z + 15)),
        ),
    )


def _structure(top: float) -> dict[str, Part]:
    """Three columns, H sections 200 wide and 190 deep."""
    return {f"column {k + 1}": _i_column((k * BAY - 100, -190), top) for k in range(3)}


def _foot() -> dict[str, Part]:
    """Plinths, the seal on them, base rails with the insulation on top, flashings; the seal behind the plinth joint."""
    parts: dict[str, Part] = {}
    for bay in (1, 2):
        left, right = (bay - 1) * BAY, bay * BAY
        butt = left - 500 * (bay == 2), right - 500 * (bay == 1)  # joints of strips lie beside those of what they seal
        parts[f"plinth {bay}"] = block("plinth", (left + 10, right - 10), (-600, 300), (8, 118))
        parts[f"plinth seal {bay}"] = block("seal", butt, (300, 310), (8, 48))
        rail = block("base-rail", (left, right), (310, RAIL_TOP), (8, 108))
        parts[f"rail {bay}"] = replace(rail, stated={"weepholesside": "outside"})
        parts[f"base insulation {bay}"] = block("insulation", butt, (RAIL_TOP, FOOT), (8, 108))
        parts[f"plinth flashing {bay}"] = block(
            "flashing", (left - 50 * (bay == 2), right + 50 * (bay == 1)), (290, 400), (130 + bay, 131 + bay)
        )
    parts["plinth joint seal"] = block("seal", (BAY - 40, BAY + 40), (-600, 300), (0, 8))
    return parts


def _panels(rows: int) -> dict[str, Part]:
    """Rows of panels with a gasket in the joint between them, and a window in the upper row of the right bay."""
    parts: dict[str, Part] = {}
    for bay in (1, 2):
        left, right = (bay - 1) * BAY, bay * BAY
        for row in range(1, rows + 1):
            x, y = (left + 15, right - 15), (FOOT + (row - 1) * ROW, FOOT + row * ROW)
            whole = block("panel", x, y, (8, 128))
            if bay == 2 and row == 2:
                hole_x, hole_y = (right - 3500, right - 2500), (y[0] + 200, y[1] - 200)
                whole = Part(
                    "panel",
                    (
                        Block((x[0], y[0], 8), (hole_x[0], y[1], 128)),
                        Block((hole_x[1], y[0], 8), (x[1], y[1], 128)),
                        Block((hole_x[0], y[0], 8), (hole_x[1], hole_y[0], 128)),
                        Block((hole_x[0], hole_y[1], 8), (hole_x[1], y[1], 128)),
                    ),
                )
                parts.update(_window(hole_x, hole_y))
            parts[f"panel {bay}.{row}"] = whole
            if row > 1:
                # Pressed from 10 to 6 mm; the groove it lies in is not drawn.
                gasket = block("seal", x, (y[0] - 3, y[0] + 3), (30, 40))
                parts[f"gasket {bay}.{row}"] = replace(gasket, stated={"freethickness": "10"})
    return parts


def _window(hole_x: tuple[float, float], hole_y: tuple[float, float]) -> dict[str, Part]:
    """A window, its opening, the seal round it and the insulation in the rest of the gap."""
    frame_x, frame_y = (hole_x[0] + 10, hole_x[1] - 10), (hole_y[0] + 10, hole_y[1] - 10)
    parts = {
        "window": block("window", frame_x, frame_y, (20, 100)),
        "window opening": block("opening", hole_x, hole_y, (0, 140)),
    }
    gap = {
        "sill": (hole_x, (hole_y[0], frame_y[0])),
        "head": (hole_x, (frame_y[1], hole_y[1])),
        "left": ((hole_x[0], frame_x[0]), frame_y),
        "right": ((frame_x[1], hole_x[1]), frame_y),
    }
    for side, (x, y) in gap.items():
        parts[f"window seal {side}"] = block("seal", x, y, (8, 48))
        parts[f"window insulation at {side}"] = block("insulation", x, y, (48, 128))
    return parts


def _column_strips(top: float) -> dict[str, Part]:
    """The seal strips on the columns behind each panel end."""
    parts: dict[str, Part] = {}
    for k in range(3):
        axis = k * BAY
        if k > 0:
            parts[f"column seal {k + 1} left"] = block("seal", (axis - 60, axis - 20), (FOOT, top), (0, 8))
        if k < 2:
            parts[f"column seal {k + 1} right"] = block("seal", (axis + 20, axis + 60), (FOOT, top), (0, 8))
    return parts


def _seam(rows: int) -> dict[str, Part]:
    """What fills and covers the seam on the middle column, from inside outwards; sealant in the grooves beside it."""
    top = FOOT + rows * ROW
    parts: dict[str, Part] = {}
    for name, low, high in (("lower", FOOT, FOOT + ROW), ("upper", FOOT + ROW, top)):
        gap = (BAY - 15, BAY + 15)
        parts[f"foam {name}"] = block("foam", gap, (low, high), (0, 50))
        insulation = block("insulation", gap, (low, high), (50, 128))
        parts[f"seam insulation {name}"] = replace(insulation, stated={"combustible": "false"})
        parts[f"seam tape {name}"] = block("tape", (BAY - 40, BAY + 40), (low, high), (128, 128.5))
        lap = 100 * (name == "upper")
        front = 130.0 + (name == "upper")
        parts[f"seam flashing {name}"] = block("flashing", (BAY - 75, BAY + 75), (low - lap, high), (front, front + 1))
        for side, x in (("left", (BAY - 70, BAY - 50)), ("right", (BAY + 50, BAY + 70))):
            parts[f"flashing tape {name} {side}"] = block("tape", x, (low, high), (128, 130))
    for row in range(2, rows + 1):
        groove = FOOT + (row - 1) * ROW
        for side, sign in (("left", -1), ("right", 1)):
            end, cover = BAY + sign * 15, BAY + sign * 75
            x = (min(end, cover), max(end, cover))
            parts[f"outer sealant {row} {side}"] = block("sealant", x, (groove - 4, groove + 4), (118, 126))
            parts[f"inner sealant {row} {side}"] = block("sealant", x, (groove - 4, groove + 4), (8, 16))
    return parts


def eaves() -> Sketch:
    """Two bays of one row under a roof: membrane, seal, clamp flashing and eave profile along the upper edge."""
    top = FOOT + ROW
    parts: dict[str, Part] = {}
    for k in range(3):
        parts[f"column {k + 1}"] = block("column", (k * BAY - 100, k * BAY + 100), (-500, top), (-190, 0))
    for bay in (1, 2):
        left, right = (bay - 1) * BAY, bay * BAY
        parts[f"panel {bay}"] = block("panel", (left + 15, right - 15), (FOOT, top), (8, 128))
        butt = left - 500 * (bay == 2), right - 500 * (bay == 1)  # joints of strips lie beside those of panels
        lapped = left - 600 * (bay == 2), right - 500 * (bay == 1)
        parts[f"roof seal {bay}"] = block("seal", butt, (top, top + 4), (8, 38))
        parts[f"membrane {bay}"] = block("membrane", lapped, (top + 3 + bay, top + 4 + bay), (-3000, 108))
        parts[f"clamp flashing {bay}"] = block("flashing", butt, (top + 6, top + 7), (8, 108))
        parts[f"eave profile {bay}"] = Part(
            "eave-profile",
            (
                Block((butt[0], top + 8, 0), (butt[1], top + 10, 140)),
                Block((butt[0], top - 60, 138), (butt[1], top + 8, 140)),
            ),
        )
    parts["roof"] = block("roof", (0, 2 * BAY), (top - 80, top + 4), (-3000, -190))
    return Sketch(parts, "Two bays on three columns under a roof, every part of its edge in its place.")


def gate() -> Sketch:
    """A bay with a lifting door between two clad bays, and the seal round it."""
    top = FOOT + 3 * ROW
    parts: dict[str, Part] = {}
    for k in range(4):
        parts[f"column {k + 1}"] = block("column", (k * BAY - 100, k * BAY + 100), (-500, top), (-190, 0))
    for bay in (1, 2, 3):
        left, right = (bay - 1) * BAY + 15, bay * BAY - 15
        for row in (1, 2, 3):
            name, y = f"panel {bay}.{row}", (FOOT + (row - 1) * ROW, FOOT + row * ROW)
            if bay != 2:
                parts[name] = block("panel", (left, right), y, (8, 128))
            elif row == 3:
                parts[name] = block("panel", (left, right), (2 * ROW + FOOT, top), (8, 128))
            else:
                parts[f"{name} left"] = block("panel", (left, BAY + 1000), y, (8, 128))
                parts[f"{name} right"] = block("panel", (2 * BAY - 1000, right), y, (8, 128))
    x, y = (BAY + 1000, 2 * BAY - 1000), (0, 2 * ROW + FOOT)
    for name, (left, right) in {"1": (0, BAY), "2": (BAY, x[0]), "3": (x[1], 2 * BAY), "4": (2 * BAY, 3 * BAY)}.items():
        parts[f"plinth {name}"] = block(
            "plinth", (left + 10 * (left != x[1]), right - 10 * (right != x[0])), (-600, 360), (8, 118)
        )
        parts[f"plinth seal {name}"] = block("seal", (left, right), (360, 370), (8, 48))
    parts["door"] = block("door", (x[0] + 10, x[1] - 10), (y[0] + 10, y[1] - 10), (20, 90))
    parts["door opening"] = block("opening", x, y, (0, 140))
    parts["door seal threshold"] = block("seal", x, (0, 10), (20, 60))
    parts["door seal head"] = block("seal", x, (y[1] - 10, y[1]), (20, 60))
    parts["door seal left"] = block("seal", (x[0], x[0] + 10), (10, y[1] - 10), (20, 60))
    parts["door seal right"] = block("seal", (x[1] - 10, x[1]), (10, y[1] - 10), (20, 60))
    return Sketch(parts, "A lifting door between clad bays, sealed on all four sides.")


def closed() -> Sketch:
    """The two bays of `detail` with seal and membrane on their upper edge: the airtight line is closed everywhere."""
    sketch = detail()
    top = FOOT + 2 * ROW
    strips = {
        f"roof seal {bay}": block("seal", ((bay - 1) * BAY, bay * BAY), (top, top + 4), (8, 38)) for bay in (1, 2)
    }
    return Sketch({**sketch.parts, **strips}, "Two bays on three columns, closed from plinth to roof edge.")
