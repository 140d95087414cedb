"""One point of each piece of a body, without its mesh: enough to tell whether a body is worth reading where it lies.

A placement tells little: many exporters leave it at the origin and write bodies where they are. Vectors are plain
tuples here, in the unit of the file: for single points that is ten times faster than arrays.
"""

from collections.abc import Iterator
from math import isfinite, sqrt
from typing import Final

import numpy as np

from checker.model import Floats
from checker.read.elements import body_of
from checker.read.place import IDENTITY, MALFORMED, Axes, Entity, axes, operator_matrix

_Point = tuple[float, float, float]
_DEEPEST: Final = 32
"""Entities on the way from a shape to its first point; real ones need ten."""
_MOST_PIECES: Final = 16
"""Pieces of one body that are looked at."""
_NOWHERE: Final[_Point] = (float("nan"),) * 3


class Points:
    """Finds points on the bodies of one file, those of a mapped shape once."""

    def __init__(self, metres: float) -> None:
        """``metres`` is the length of the file's unit."""
        self._metres = metres
        self._mapped: dict[int, list[_Point]] = {}

    def of(self, product: Entity) -> Floats:
        """Points (k, 3) in metres in the product's own frame, one on each of its first pieces.

        None where it has no body. For what is extruded the point lies on the outline it starts from, or in its middle.
        """
        try:
            representation = body_of(product)
            found = [] if representation is None else list(self._of_items(representation, _DEEPEST))
        except MALFORMED:
            found = []
        known = [point for point in found[:_MOST_PIECES] if all(map(isfinite, point))]
        return np.array(known, dtype=np.float64).reshape(-1, 3) * self._metres

    def _of_items(self, representation: Entity, depth: int) -> Iterator[_Point]:
        for item in representation[3][:_MOST_PIECES] if depth else ():
            if item.is_a() != "IfcMappedItem":
                yield _on(item)
                continue
            source, target = item[0], item[1]
            if source.id() not in self._mapped:
                origin = axes(source[0])
                inner = self._of_items(source[1], depth - 1)
                self._mapped[source.id()] = [_into(origin, point) for point in inner][:_MOST_PIECES]
            matrix = operator_matrix(target, 1.0).tolist()
            for x, y, z in self._mapped[source.id()]:
                a, b, c = (row[0] * x + row[1] * y + row[2] * z + row[3] for row in matrix[:3])
                yield a, b, c


def _on(item: Entity) -> _Point:
    """A point on a shape."""
    for _ in range(_DEEPEST):
        kind = item.is_a()
        if kind in ("IfcBooleanResult", "IfcBooleanClippingResult"):
            item = item[1]  # what is cut off lies elsewhere
        elif kind.endswith("AreaSolid") or kind.endswith("AreaSolidTapered"):
            profile = item[0]
            if len(profile) > 2 and profile.is_a("IfcParameterizedProfileDef"):
                start = axes(profile[2])[0]
            else:
                start = _first(profile)
            return _into(axes(item[1]), start)
        else:
            return _first(item)
    return _NOWHERE


def _first(entity: Entity) -> _Point:
    """The first point that a shape leads to."""
    for _ in range(_DEEPEST):
        kind = entity.is_a()
        if kind == "IfcCartesianPoint":
            return _flat(entity[0])
        if kind.startswith("IfcCartesianPointList"):
            return _flat(entity[0][0])
        for value in entity:
            while isinstance(value, tuple) and value:
                value = value[0]
            if hasattr(value, "is_a") and value.id():
                entity = value
                break
        else:
            return _NOWHERE
    return _NOWHERE


def _flat(numbers: tuple[float, ...]) -> _Point:
    x, y, *z = numbers
    return float(x), float(y), float(z[0]) if z else 0.0


def _into(placement: Axes, point: _Point) -> _Point:
    """A point of a placement's frame in the frame around it."""
    (ox, oy, oz), (zx, zy, zz), (ax, ay, az) = placement
    px, py, pz = point
    if placement[1:] == IDENTITY[1:]:
        return ox + px, oy + py, oz + pz
    long = sqrt(zx * zx + zy * zy + zz * zz)
    zx, zy, zz = zx / long, zy / long, zz / long
    along = ax * zx + ay * zy + az * zz
    ax, ay, az = ax - along * zx, ay - along * zy, az - along * zz
    long = sqrt(ax * ax + ay * ay + az * az)
    ax, ay, az = ax / long, ay / long, az / long
    bx, by, bz = zy * az - zz * ay, zz * ax - zx * az, zx * ay - zy * ax
    return (
        ox + ax * px + bx * py + zx * pz,
        oy + ay * px + by * py + zy * pz,
        oz + az * px + bz * py + zz * pz,
    )
