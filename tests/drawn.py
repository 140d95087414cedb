"""Facades drawn in code: walls of any number of bays and rows, placed, warped, joined, checked and mended."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from checker.facade import Facade
from checker.model import Meshes, Model
from checker.result import Issue, Move, Result
from checker.rule import Rule, load_rules
from checker.run import check_model
from checker.settings import Settings
from checker.sketch import BAY, FOOT, RAIL_TOP, ROW, Block, Part, Sketch, block, guid_of
from checker.topology import build

RULES: dict[str, Rule[Any, Any]] = {rule.name: rule for rule in load_rules()}
LAYERS = {rule.layer.name: rule.layer for rule in RULES.values() if rule.layer is not None}
Corner = tuple[int, int, int]
Body = tuple[np.ndarray, np.ndarray]
_CORNERS = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]


def checked(
    what: Sketch | Model, rules: Sequence[str] = (), place: np.ndarray | None = None, **settings: Any
) -> Result:
    """The whole engine on a sketch or model: all rules, or those named."""
    model = what.model(place) if isinstance(what, Sketch) else what
    asked = [RULES[name] for name in rules or RULES]
    return check_model(model, Settings(**settings), asked, lambda *_: None)


def built(what: Sketch | Model, place: np.ndarray | None = None) -> Facade:
    """The facade of a sketch or model, with the layers of all rules."""
    model = what.model(place) if isinstance(what, Sketch) else what
    return build(
        model, tuple({rule.layer.name: rule.layer for rule in RULES.values() if rule.layer is not None}.values())
    )


def only_issue(result: Result, rule: str) -> Issue:
    """The one issue of a rule; an assertion where there is none or more than one."""
    (found,) = [issue for issue in result.issues if issue.rule == rule]
    return found


def failing(result: Result) -> set[tuple[str, str]]:
    """(rule, subject) of everything that fails."""
    return {(v.rule, v.subject) for v in result.verdicts if v.state == "fail"}


def turned(degrees: float, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> np.ndarray:
    """A place (4, 4): turned about the vertical, then moved by metres."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s, 0, x], [s, c, 0, y], [0, 0, 1, z], [0, 0, 0, 1]], float)


def leaning(degrees: float) -> np.ndarray:
    """A place that tilts a sketch backwards about the x axis."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[1, 0, 0, 0], [0, c, s, 0], [0, -s, c, 0], [0, 0, 0, 1]], float)


MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


def to_world(x: float, y: float, z: float) -> np.ndarray:
    """A point of a sketch (mm) in the world (metres)."""
    return np.array([x, -z, y]) / 1000.0


@dataclass(frozen=True)
class Warped(Block):
    """A block whose corners are moved by mm; (1, 1, 0) is the corner at right, top, back."""

    by: Mapping[Corner, tuple[float, float, float]] = field(default_factory=dict)

    def corners(self) -> np.ndarray:
        return super().corners() + [self.by.get(corner, (0.0, 0.0, 0.0)) for corner in _CORNERS]


def warped(sketch: Sketch, name: str, by: Mapping[Corner, tuple[float, float, float]]) -> Sketch:
    """A sketch in which the corners of a part's blocks are moved."""
    part = sketch.parts[name]
    blocks = tuple(Warped(b.low, b.high, b.taper_mm, by) for b in part.blocks)
    return with_part(sketch, name, replace(part, blocks=blocks))


def with_part(sketch: Sketch, name: str, part: Part) -> Sketch:
    """A sketch with one more part, or another one in its place."""
    return sketch.having(name, part)


def renamed(sketch: Sketch, prefix: str) -> Sketch:
    """The same sketch with other names, and so other GlobalIds."""
    return replace(sketch, parts={f"{prefix}{name}": part for name, part in sketch.parts.items()})


def i_column(axis: float, top: float, width: float = 200.0, depth: float = 190.0, foot: float = -500.0) -> Part:
    """A rolled section with 15 mm flanges and a 10 mm web, its outer flange at z = 0."""
    half = width / 2
    return Part(
        "column",
        (
            Block((axis - half, foot, -15), (axis + half, top, 0)),
            Block((axis - 5, foot, 15 - depth), (axis + 5, top, -15)),
            Block((axis - half, foot, -depth), (axis + half, top, 15 - depth)),
        ),
    )


def wall(bays: int = 3, rows: int = 2, without: Sequence[int] = (), full: bool = False) -> Sketch:
    """A sound facade of bays numbered from 1; those in ``without`` have neither panels nor foot.

    With ``full`` it also has gaskets, sealants in the grooves, and the insulation and tapes of the seams.
    """
    parts: dict[str, Part] = {}
    top = FOOT + rows * ROW
    clad = [bay for bay in range(1, bays + 1) if bay not in without]
    for k in range(bays + 1):
        axis, name = k * BAY, f"column {k + 1}"
        parts[name] = i_column(axis, top + 200)
        if k in clad:
            parts[f"column seal {k + 1} left"] = block("seal", (axis - 60, axis - 20), (FOOT, top), (0, 8))
        if k + 1 in clad:
            parts[f"column seal {k + 1} right"] = block("seal", (axis + 20, axis + 60), (FOOT, top), (0, 8))
        for row in range(1, rows + 1) if k in clad and k + 1 in clad else ():
            low, high = FOOT + (row - 1) * ROW, FOOT + row * ROW
            parts[f"foam {k + 1}.{row}"] = block("foam", (axis - 15, axis + 15), (low, high), (8, 58))
            front = 127 + row + 2 * full
            parts[f"flashing {k + 1}.{row}"] = block(
                "flashing", (axis - 75, axis + 75), (low - 100 * (row > 1), high), (front, front + 1)
            )
            if full:
                parts.update(_seam_layers(k + 1, row, axis, low, high))
    for bay in clad:
        left, right = (bay - 1) * BAY, bay * BAY
        for row in range(1, rows + 1):
            low = FOOT + (row - 1) * ROW
            parts[f"panel {bay}.{row}"] = block("panel", (left + 15, right - 15), (low, low + ROW), (8, 128))
            if full and row > 1:
                gasket = block("seal", (left + 15, right - 15), (low - 3, low + 3), (30, 40))
                parts[f"gasket {bay}.{row}"] = replace(gasket, stated={"freethickness": "10"})
        parts[f"plinth {bay}"] = block("plinth", (left + 10, right - 10), (-600, 300), (8, 118))
        parts[f"rail {bay}"] = block("base-rail", (left, right), (310, RAIL_TOP), (8, 108))
        parts[f"base insulation {bay}"] = block("insulation", (left, right), (RAIL_TOP, FOOT), (8, 108))
        parts[f"plinth seal {bay}"] = block("seal", (left, right), (300, 310), (8, 48))
        parts[f"plinth flashing {bay}"] = block(
            "flashing",
            (left - 50 * (bay - 1 in clad), right + 50 * (bay + 1 in clad)),
            (290, 400),
            (127 + bay, 128 + bay),
        )
        if bay - 1 in clad:
            parts[f"plinth joint seal {bay}"] = block("seal", (left - 40, left + 40), (-600, 300), (0, 8))
    return Sketch(parts, "A wall.")


def _seam_layers(k: int, row: int, axis: float, low: float, high: float) -> dict[str, Part]:
    """Insulation, tapes and sealants at one row of the seam on an axis."""
    insulation = block("insulation", (axis - 15, axis + 15), (low, high), (58, 128))
    parts = {
        f"seam insulation {k}.{row}": replace(insulation, stated={"combustible": "false"}),
        f"seam tape {k}.{row}": block("tape", (axis - 40, axis + 40), (low, high), (128, 128.5)),
    }
    for side, sign in (("left", -1), ("right", 1)):
        x = sorted((axis + sign * 41, axis + sign * 73))
        parts[f"flashing tape {k}.{row} {side}"] = block("tape", (x[0], x[1]), (low, high), (128, 130))
        if row > 1:
            x = sorted((axis + sign * 15, axis + sign * 75))
            for name, z in (("outer", (118, 126)), ("inner", (8, 16))):
                part = block("sealant", (x[0], x[1]), (low - 4, low + 4), z)
                parts[f"{name} sealant {k}.{row} {side}"] = part
    return parts


def end_moved(sketch: Sketch, name: str, right: bool, by: float) -> Sketch:
    """One end of a part moved along the facade by mm, whatever blocks it is made of."""
    part = sketch.parts[name]
    edge = max(b.high[0] for b in part.blocks) if right else min(b.low[0] for b in part.blocks)

    def stretch(b: Block) -> Block:
        if right and b.high[0] == edge:
            return replace(b, high=(b.high[0] + by, *b.high[1:]))
        if not right and b.low[0] == edge:
            return replace(b, low=(b.low[0] + by, *b.low[1:]))
        return b

    return with_part(sketch, name, replace(part, blocks=tuple(stretch(b) for b in part.blocks)))


def mended(sketch: Sketch, move: Move) -> Sketch:
    """The sketch (placed as drawn) after the told move."""
    names = {guid_of(name): name for name in sketch.parts}
    x, y, z = 1000.0 * np.array(move.vector_m) @ np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]])
    for guid in (move.part, *move.also):
        if move.what.startswith("end of the"):
            assert y == z == 0
            sketch = end_moved(sketch, names[guid], "left panel" in move.what, x)
        else:
            sketch = sketch.moved(names[guid], x, y, z)
    return sketch


def bodies_of(model: Model) -> dict[str, Body]:
    """World points (p, 3) and triangles (t, 3) of each element, by name."""
    m = model.meshes
    result = {}
    for i, element in enumerate(model.elements):
        points = m.points[m.point_start[i] : m.point_start[i + 1]] + model.origin
        triangles = m.triangles[m.triangle_start[i] : m.triangle_start[i + 1]] - m.point_start[i]
        result[element.name] = (points, triangles)
    return result


def remade(model: Model, bodies: Mapping[str, Body], faults: Mapping[str, str] | None = None) -> Model:
    """The model with other bodies (world) and faults for the elements named; an empty body is none."""
    every = {**bodies_of(model), **bodies}
    points, triangles, point_start, triangle_start = [], [], [0], [0]
    for element in model.elements:
        body = every[element.name]
        triangles.append(np.asarray(body[1], np.int64).reshape(-1, 3) + point_start[-1])
        points.append(np.asarray(body[0], float).reshape(-1, 3) - model.origin)
        point_start.append(point_start[-1] + len(points[-1]))
        triangle_start.append(triangle_start[-1] + len(triangles[-1]))
    meshes = Meshes(np.concatenate(points), np.concatenate(triangles), np.array(point_start), np.array(triangle_start))
    said = tuple(
        (faults or {}).get(element.name, fault) for element, fault in zip(model.elements, model.faults, strict=True)
    )
    return replace(model, meshes=meshes, faults=said)


def reduced(model: Model, keep: Sequence[int]) -> Model:
    """A model with some of its elements only."""
    bodies = bodies_of(model)
    empty = Meshes(
        np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(len(keep) + 1, int), np.zeros(len(keep) + 1, int)
    )
    elements = tuple(model.elements[i] for i in keep)
    kept = replace(
        model,
        elements=elements,
        roles=tuple(model.roles[i] for i in keep),
        faults=tuple(model.faults[i] for i in keep),
        meshes=empty,
    )
    return remade(kept, {element.name: bodies[element.name] for element in elements})


def joined(*models: Model) -> Model:
    """Several models in one frame, elements in the order of their GlobalIds."""
    every = [(e, r, b) for m in models for e, r, b in zip(m.elements, m.roles, bodies_of(m).values(), strict=True)]
    every.sort(key=lambda each: each[0].guid)
    origin = np.concatenate([b[0] for _, _, b in every]).mean(axis=0).round()
    empty = replace(
        models[0],
        elements=tuple(e for e, _, _ in every),
        roles=tuple(r for _, r, _ in every),
        faults=("",) * len(every),
        origin=origin,
        meshes=Meshes(
            np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(len(every) + 1, int), np.zeros(len(every) + 1, int)
        ),
    )
    return remade(empty, {e.name: b for e, _, b in every})


def building(*rings: Sequence[tuple[float, float]], rows: int = 2) -> Model:
    """A sound building over rings of corners (bays), its inside on the left; walls are named 0.0, 0.1 and so on.

    Columns are 200 mm square on the axes. At an outer corner the first wall covers the end of the next one; at an inner
    corner it runs up to the next one's inner face.
    """
    walls = []
    for r, ring in enumerate(rings):
        points = np.array(ring, float)
        along = np.roll(points, -1, axis=0) - points
        (x, y), (x_next, y_next) = along.T, np.roll(along, -1, axis=0).T
        turn = x * y_next - y * x_next  # positive at an outer corner at the end of each edge
        for k, (point, way) in enumerate(zip(points, along, strict=True)):
            sketch = _edge(round(float(np.hypot(*way))), rows, bool(turn[k - 1] > 0), bool(turn[k] > 0))
            place = turned(float(np.degrees(np.arctan2(way[1], way[0]))), *(point * BAY / 1000.0))
            walls.append(renamed(sketch, f"{r}.{k} ").model(place))
    return joined(*walls)


def _edge(bays: int, rows: int, outer_start: bool, outer_end: bool) -> Sketch:
    """One wall of a building between two corners; z is measured from its axis."""
    end, top, parts = bays * BAY, FOOT + rows * ROW, {}
    for k in range(bays):
        parts[f"column {k + 1}"] = block("column", (k * BAY - 100, k * BAY + 100), (-500, top + 200), (-100, 100))

    def run(k: int, gap: float, start: tuple[float, float], last: tuple[float, float]) -> tuple[float, float]:
        """Ends of a piece in bay k: at an axis, or as the outer or inner corner at start or end asks."""
        low = start[0 if outer_start else 1] if k == 1 else (k - 1) * BAY + gap
        return low, end + last[0 if outer_end else 1] if k == bays else k * BAY - gap

    for k in range(1, bays + 1):
        for row in range(1, rows + 1):
            low, high = FOOT + (row - 1) * ROW, FOOT + row * ROW
            parts[f"panel {k}.{row}"] = block("panel", run(k, 15, (-88, 248), (228, -108)), (low, high), (108, 228))
        parts[f"plinth {k}"] = block("plinth", run(k, 10, (-98, 228), (218, -118)), (-600, 300), (108, 218))
        parts[f"rail {k}"] = block("base-rail", run(k, 0, (-106, 210), (208, -110)), (310, RAIL_TOP), (108, 208))
        strip = run(k, 0, (-108, 208), (208, -108))
        parts[f"base insulation {k}"] = block("insulation", strip, (RAIL_TOP, FOOT), (108, 208))
        parts[f"plinth seal {k}"] = block("seal", run(k, 0, (-108, 148), (148, -108)), (300, 310), (108, 148))
    ends = -230 if outer_start else 230, end + 231 if outer_end else end - 231
    parts["plinth flashing"] = block("flashing", ends, (290, 400), (230, 231))
    for k in range(1, bays):
        axis = k * BAY
        parts[f"plinth joint seal {k}"] = block("seal", (axis - 40, axis + 40), (-600, 300), (100, 108))
        parts[f"column seal {k} left"] = block("seal", (axis - 60, axis - 20), (FOOT, top), (100, 108))
        parts[f"column seal {k} right"] = block("seal", (axis + 20, axis + 60), (FOOT, top), (100, 108))
        parts[f"foam {k}"] = block("foam", (axis - 15, axis + 15), (FOOT, top), (108, 158))
    return Sketch(parts)


RECTANGLE = ((0, 0), (3, 0), (3, 2), (0, 2))
WITH_COURT = (((0, 0), (6, 0), (6, 5), (0, 5)), ((2, 2), (2, 3), (4, 3), (4, 2)))
ELL = ((0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4))


def bent(degrees: float, sides: int = 3, bays: int = 2) -> Model:
    """Walls that follow each other, each turned by an angle to the right of the last; parts of wall 1 are ``1 ...``."""
    walls, place, heading = [], np.zeros(2), 0.0
    for k in range(sides):
        sketch = wall(bays, 2)
        if k > 0:
            sketch = sketch.without("column 1")  # one column at each bend, square to the wall on its left
        walls.append(renamed(sketch, f"{k} ").model(turned(heading, *place)))
        place = place + bays * BAY / 1000.0 * np.array([np.cos(np.radians(heading)), np.sin(np.radians(heading))])
        heading -= degrees
    return joined(*walls)
