"""The axes of grids, by which people on site name a place."""

from collections.abc import Iterator

import ifcopenshell
import numpy as np

from checker.model import Floats
from checker.read.elements import text
from checker.read.place import FARTHEST_M, MALFORMED, Entity

STRAIGHT_M = 1e-3
"""An axis that bends by less than a millimetre is straight."""


def grid_axes(model: ifcopenshell.file, metres: float) -> Iterator[tuple[str, Floats, Entity | None]]:
    """Tag, two points (2, 3) in metres in the frame of the grid, and the placement of the grid, of straight axes."""
    for grid in model.by_type("IfcGrid"):
        for axis in (*(grid[7] or ()), *(grid[8] or ()), *(grid[9] or ())):
            try:
                points = np.array(_corners(axis[1]), dtype=np.float64) * metres
            except MALFORMED:
                continue
            if len(points) < 2 or not np.abs(points).max() < FARTHEST_M or not _straight(points):
                continue
            ends = np.zeros((2, 3))
            ends[:, : points.shape[1]] = points[[0, -1]]
            yield text(axis[0]), ends if axis[2] is not False else ends[::-1], grid[5]


def _corners(curve: Entity) -> list[tuple[float, ...]]:
    """Points along a curve of straight pieces; a line without ends gives two points on it."""
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return [point[0] for point in curve[0]]
    if kind == "IfcIndexedPolyCurve":
        if curve[1] is not None and not all(segment.is_a("IfcLineIndex") for segment in curve[1]):
            return []
        return list(curve[0][0])
    if kind == "IfcLine":
        return [_on_line(curve, 0.0), _on_line(curve, 1.0)]
    if kind == "IfcTrimmedCurve" and curve[0].is_a("IfcLine"):
        return [_trim(curve[0], ends) for ends in (curve[1], curve[2])]
    return []


def _on_line(line: Entity, parameter: float) -> tuple[float, ...]:
    along = np.array(line[1][0][0], dtype=np.float64)
    along *= parameter * float(line[1][1]) / float(np.linalg.norm(along))
    return tuple(np.array(line[0][0]) + along)


def _trim(line: Entity, ends: tuple[Entity, ...]) -> tuple[float, ...]:
    for end in ends:
        if end.is_a("IfcCartesianPoint"):
            return tuple(end[0])
    return _on_line(line, float(ends[0][0]))


def _straight(points: Floats) -> bool:
    along = points[-1] - points[0]
    length = float(np.linalg.norm(along))
    if length == 0.0:
        return False
    offset = points - points[0]
    aside = offset - np.outer(offset @ along / length**2, along)
    return bool(np.linalg.norm(aside, axis=1).max() <= STRAIGHT_M)
