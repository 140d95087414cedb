"""Where things lie: length units, object placements, transformation operators, map conversions.

Matrices are (4, 4) float64 and map column vectors. Nothing here ever rounds to float32: coordinates of 10^6 m keep
their micrometres.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, TypeAlias

import ifcopenshell
import numpy as np

from checker.errors import BadModel
from checker.model import Floats, Georeference, Ints

Entity: TypeAlias = Any
"""An entity of a model. The library's published types are too incomplete to be of help."""

MALFORMED: Final = (AttributeError, IndexError, KeyError, OverflowError, RuntimeError, TypeError, ValueError)
"""What reading an entity may raise where a damaged or hostile file holds the wrong things in it."""
FARTHEST_M: Final = 1e9
"""Nothing is built a million kilometres away; such numbers would only overflow."""
PLAUSIBLE_MAP_SCALE: Final = (0.9, 1.1)
"""Scale factors of map projections stay within half a percent of 1."""

_PREFIXES: Final = {
    "EXA": 1e18,
    "PETA": 1e15,
    "TERA": 1e12,
    "GIGA": 1e9,
    "MEGA": 1e6,
    "KILO": 1e3,
    "HECTO": 1e2,
    "DECA": 1e1,
    "DECI": 1e-1,
    "CENTI": 1e-2,
    "MILLI": 1e-3,
    "MICRO": 1e-6,
    "NANO": 1e-9,
    "PICO": 1e-12,
    "FEMTO": 1e-15,
    "ATTO": 1e-18,
}
_SHORT_NAMES: Final = {None: "m", "KILO": "km", "DECI": "dm", "CENTI": "cm", "MILLI": "mm"}


@dataclass(frozen=True, slots=True)
class LengthUnit:
    """A unit of length: its word (``mm``, ``foot``) and its size in metres."""

    word: str
    metres: float


def length_unit(project: Entity, file: str) -> LengthUnit:
    """The length unit of a project; `BadModel` where it states none that can be used."""
    assignment = project.UnitsInContext
    for unit in (assignment.Units if assignment else None) or ():
        if getattr(unit, "UnitType", None) == "LENGTHUNIT":
            found = named_unit(unit)
            if not 1e-9 < found.metres < 1e9:
                break
            return found
    raise BadModel(f"{file} does not say in which unit its lengths are. Set the length unit in the export settings.")


def named_unit(unit: Entity) -> LengthUnit:
    """A named unit; one that leads nowhere has the size NaN."""
    factor = 1.0
    word = ""
    for _ in range(4):  # a unit defined by another one, a few times at most
        if unit.is_a("IfcSIUnit"):
            prefix = unit.Prefix
            metres = factor * (_PREFIXES[prefix] if prefix else 1.0)
            return LengthUnit(word or _SHORT_NAMES.get(prefix) or f"{prefix.lower()}metre", metres)
        if not unit.is_a("IfcConversionBasedUnit"):
            break
        word = word or (unit.Name or "").strip().lower() or "unit without a name"
        value = unit.ConversionFactor.ValueComponent
        factor *= float(getattr(value, "wrappedValue", value))
        unit = unit.ConversionFactor.UnitComponent
    return LengthUnit(word, float("nan"))


def _triple(entity: Entity | None, default: tuple[float, float, float]) -> tuple[float, float, float]:
    """Coordinates of an IfcCartesianPoint or the ratios of an IfcDirection, both of 2 or 3 numbers."""
    if entity is None:
        return default
    x, y, *z = entity[0]
    return float(x), float(y), float(z[0]) if z else 0.0


_ORIGIN: Final = (0.0, 0.0, 0.0)
_X: Final = (1.0, 0.0, 0.0)
_Z: Final = (0.0, 0.0, 1.0)
_NOWHERE: Final = (float("nan"),) * 3

Axes = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
"""Location, direction of z and direction near x, as a file states them."""

IDENTITY: Final[Axes] = (_ORIGIN, _Z, _X)


def axes(placement: Entity | None) -> Axes:
    """Reads an IfcAxis2Placement2D or 3D; none at all is the identity, what cannot be read is NaN."""
    if placement is None:
        return IDENTITY
    kind = placement.is_a()
    if kind == "IfcAxis2Placement3D" and placement[0].is_a("IfcCartesianPoint"):
        return _triple(placement[0], _ORIGIN), _triple(placement[1], _Z), _triple(placement[2], _X)
    if kind == "IfcAxis2Placement2D":
        return _triple(placement[0], _ORIGIN), _Z, _triple(placement[1], _X)
    return _NOWHERE, _Z, _X


def matrices(read: Sequence[Axes], metres: float) -> Floats:
    """The (n, 4, 4) matrices of n placements; locations are multiplied by the size of the file's unit."""
    table = np.array(read, dtype=np.float64).reshape(-1, 3, 3)
    with np.errstate(all="ignore"):
        z = table[:, 1] / np.linalg.norm(table[:, 1], axis=1, keepdims=True)
        x = table[:, 2] - np.sum(table[:, 2] * z, axis=1, keepdims=True) * z
        x /= np.linalg.norm(x, axis=1, keepdims=True)
        y = np.cross(z, x)
        at = table[:, 0] * metres
    out = np.zeros((len(table), 4, 4))
    out[:, :3, :] = np.stack([x, y, z, at], axis=2)
    out[:, 3, 3] = 1.0
    return out


def matrix_of(read: Axes, metres: float) -> Floats:
    """The (4, 4) matrix of one placement."""
    location, z, x = read
    if z != _Z or x != _X:
        turned: Floats = matrices([read], metres)[0]
        return turned
    out = np.eye(4)  # as nearly all are that stand alone
    out[:3, 3] = location
    out[:3, 3] *= metres
    return out


class Placements:
    """Resolves object placements of one file, each only once."""

    def __init__(self) -> None:
        self._rows: dict[int, int] = {}
        self._parents: list[int] = []
        self._axes: list[Axes] = []

    def row(self, placement: Entity | None) -> int:
        """Notes a placement and all it is relative to; returns its row in `resolved`, -1 for none."""
        first = last = -1
        while placement is not None:
            known = self._rows.get(placement.id())
            row = len(self._axes) if known is None else known
            if last >= 0:
                self._parents[last] = row
            first = row if first < 0 else first
            if known is not None:
                break
            self._rows[placement.id()] = row
            self._parents.append(-1)
            self._axes.append(self._own_axes(placement))
            last = row
            placement = placement[0]
        return first

    @staticmethod
    def _own_axes(placement: Entity) -> Axes:
        kind = placement.is_a()
        try:
            if kind == "IfcLocalPlacement":
                return axes(placement[1])
            if kind == "IfcLinearPlacement" and placement[2] is not None:
                return axes(placement[2])
        except MALFORMED:
            pass
        return _NOWHERE, _Z, _X

    def resolved(self, metres: float) -> Floats:
        """World matrices (n, 4, 4) in metres of all noted placements; NaN where one cannot be followed."""
        local = matrices(self._axes, metres)
        parents = np.array(self._parents, dtype=np.int64)
        depth = _depths(parents)
        by_depth = np.argsort(depth, kind="stable")
        levels = np.searchsorted(depth[by_depth], np.arange(1, int(depth.max(initial=0)) + 2)).tolist()
        world = local.copy()
        with np.errstate(all="ignore"):
            for begin, end in pairwise(levels):
                rows = by_depth[begin:end]
                world[rows] = world[parents[rows]] @ local[rows]
        world[(depth < 0) | ~(np.abs(world).max(axis=(1, 2)) < FARTHEST_M)] = np.nan
        return world


def _depths(parents: Ints) -> Ints:
    """How many placements (n,) each one is relative to; -1 where that never ends."""
    depth = (parents >= 0).astype(np.int64)
    above = parents.copy()
    for _ in range(len(parents).bit_length()):
        on = above >= 0
        depth[on] += depth[above[on]]
        above[on] = above[above[on]]
    depth[above >= 0] = -1
    return depth


def operator_matrix(operator: Entity, metres: float) -> Floats:
    """The (4, 4) matrix of an IfcCartesianTransformationOperator3D, mirrored and non-uniform ones too."""
    kind = operator.is_a()
    if not kind.startswith("IfcCartesianTransformationOperator3D"):
        raise ValueError(f"{kind} is not a transformation in space")
    origin = _triple(operator[2], _ORIGIN)
    matrix = matrix_of((origin, _triple(operator[4], _Z), _triple(operator[0], _X)), metres)
    if operator[1] is not None and float(np.dot(_triple(operator[1], _ORIGIN), matrix[:3, 1])) < 0.0:
        matrix[:3, 1] *= -1.0
    first = 1.0 if operator[3] is None else float(operator[3])
    scales = [first, first, first]
    if kind == "IfcCartesianTransformationOperator3DnonUniform":
        scales[1:] = [first if scale is None else float(scale) for scale in (operator[5], operator[6])]
    matrix[:3, :3] *= scales
    return matrix


_CONVERSION_NUMBERS: Final = (
    "Eastings",
    "Northings",
    "OrthogonalHeight",
    "XAxisAbscissa",
    "XAxisOrdinate",
    "Scale",
)


FARTHEST_ON_MAP_M: Final = 4e7
"""Once round the earth: no map reaches farther, numbers in a wrong unit do."""


@dataclass(frozen=True, slots=True)
class MapPlace:
    """What a file says of its place on earth.

    ``matrix`` (4, 4) leads from engineering coordinates to map coordinates, both in metres; None where no map is
    stated, or one that cannot be used. ``stated`` are the numbers of the map conversion, ``fault`` what is wrong with
    them, ``told`` is the place itself.
    """

    matrix: Floats | None = None
    stated: tuple[object, ...] = ()
    fault: str = ""
    told: Georeference | None = None


@dataclass(frozen=True, slots=True)
class _Conversion:
    """A map conversion as stated: ``numbers`` by attribute name; ``map_unit`` in metres where it is named."""

    numbers: Mapping[str, float]
    map_unit: float | None
    frame: Entity | None
    name: str = ""


def map_place(model: ifcopenshell.file, unit: LengthUnit) -> MapPlace:
    """Where a file lies on earth.

    In IFC2X3 the usual stand-in of a map conversion is read, the property set ``ePSet_MapConversion`` of project or
    site. Without any, the latitude and longitude of the site are told.
    """
    conversion = _pset_conversion(model) if model.schema == "IFC2X3" else _conversion(model)
    if conversion is None:
        return MapPlace(told=_site(model, unit))
    numbers = conversion.numbers
    stated = (*sorted(numbers.items()), conversion.map_unit)
    factor = numbers.get("Scale", 1.0)
    # The schema means Scale to turn file units into map units as well. Many exporters leave it at 1 whatever the units
    # are, or state it without naming the map unit. Only one reading gives a scale that a map can have.
    if conversion.map_unit is None:
        readings = [(unit.metres, factor), (1.0, factor / unit.metres)]
    else:
        readings = [(conversion.map_unit, factor * conversion.map_unit / unit.metres), (conversion.map_unit, factor)]
    low, high = PLAUSIBLE_MAP_SCALE
    fitting = [(metres, scale) for metres, scale in readings if low <= scale <= high]
    if not fitting:
        return MapPlace(stated=stated, fault=f"a map conversion with scale {factor:g}; no map has that")
    metres, scale = fitting[0]
    east, north, height = (numbers.get(name, 0.0) * metres for name in ("Eastings", "Northings", "OrthogonalHeight"))
    told = Georeference("map", conversion.name, (east, north, height))
    if not max(abs(east), abs(north)) <= FARTHEST_ON_MAP_M:
        fault = (
            f"a map conversion that puts it {east / 1000.0:.0f} km east and {north / 1000.0:.0f} km north, farther "
            "than any map reaches, so its numbers are probably in another unit than it says"
        )
        return MapPlace(stated=stated, fault=fault, told=told)
    abscissa, ordinate = numbers.get("XAxisAbscissa", 0.0), numbers.get("XAxisOrdinate", 0.0)
    length = float(np.hypot(abscissa, ordinate))
    cos, sin = (abscissa / length, ordinate / length) if length > 0.0 else (1.0, 0.0)
    matrix = np.eye(4)
    matrix[:2, :2] = [[cos, -sin], [sin, cos]]
    matrix[:3, :3] *= [scale * numbers.get(f"Factor{axis}", 1.0) for axis in "XYZ"]
    matrix[:3, 3] = east, north, height
    matrix = matrix @ np.linalg.inv(matrix_of(axes(conversion.frame), unit.metres))
    if not (np.abs(matrix).max() < FARTHEST_M and abs(np.linalg.det(matrix[:3, :3])) > 0.5):
        return MapPlace(stated=stated, fault="a map conversion that is no valid transformation", told=told)
    return MapPlace(matrix, stated, told=told)


def _conversion(model: ifcopenshell.file) -> _Conversion | None:
    conversions = model.by_type("IfcMapConversion")
    if not conversions:
        return None
    conversion = conversions[0]
    names = (*_CONVERSION_NUMBERS, "FactorX", "FactorY", "FactorZ")
    stated = {name: getattr(conversion, name, None) for name in names}
    map_unit = getattr(conversion.TargetCRS, "MapUnit", None)
    name = getattr(conversion.TargetCRS, "Name", None)
    return _Conversion(
        {name: float(value) for name, value in stated.items() if value is not None},
        None if map_unit is None else named_unit(map_unit).metres,
        getattr(conversion.SourceCRS, "WorldCoordinateSystem", None),
        name if isinstance(name, str) else "",
    )


def _pset_conversion(model: ifcopenshell.file) -> _Conversion | None:
    for pset in model.by_type("IfcPropertySet"):
        if str(pset[2]).lower() != "epset_mapconversion":
            continue
        values = {p.Name: p.NominalValue for p in pset.HasProperties or () if p.is_a("IfcPropertySingleValue")}
        numbers = {
            name: float(value.wrappedValue)
            for name, value in values.items()
            if name in _CONVERSION_NUMBERS and value is not None and isinstance(value.wrappedValue, int | float)
        }
        contexts = model.by_type("IfcGeometricRepresentationContext", include_subtypes=False)
        frames = [context.WorldCoordinateSystem for context in contexts if context.ContextType == "Model"]
        return _Conversion(numbers, None, frames[0] if frames else None)
    return None


def _site(model: ifcopenshell.file, unit: LengthUnit) -> Georeference | None:
    """Latitude and longitude of the first site that states both."""
    for site in model.by_type("IfcSite"):
        try:
            latitude, longitude = (_degrees(getattr(site, name)) for name in ("RefLatitude", "RefLongitude"))
            return Georeference("site", "", (latitude, longitude, float(site.RefElevation or 0.0) * unit.metres))
        except MALFORMED:
            continue
    return None


def _degrees(parts: Sequence[int]) -> float:
    """An angle stated as degrees, minutes, seconds and millionths of a second."""
    whole = [float(part) for part in parts]
    if not 3 <= len(whole) <= 4:
        raise ValueError("no angle")
    return sum(part / size for part, size in zip(whole, (1.0, 60.0, 3600.0, 3.6e9), strict=False))


def between_maps(own: Floats | None, reference: Floats | None) -> Floats | None:
    """The matrix that brings a model with conversion ``own`` into the frame of ``reference``; None for no change."""
    if own is None or reference is None or np.array_equal(own, reference):
        return None
    back = np.linalg.inv(reference[:3, :3])
    out = np.eye(4)
    out[:3, :3] = back @ own[:3, :3]
    # Map coordinates are large: their difference is exact, their products are not.
    out[:3, 3] = back @ (own[:3, 3] - reference[:3, 3])
    if np.allclose(out, np.eye(4), rtol=0.0, atol=1e-12):
        return None
    return out
