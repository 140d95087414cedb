"""What a model says about its elements in words: names, types, materials, properties, who belongs to whom."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Final

import ifcopenshell
from ifcopenshell import ifcopenshell_wrapper as wrapper

from checker.errors import BadModel
from checker.model import Element
from checker.read.files import OpenFile
from checker.read.place import MALFORMED, Entity, length_unit, named_unit

_LEFT_OUT: Final = (
    # No part of an envelope; some of them are half of the bytes of a model.
    "IfcDistributionElement",
    "IfcElectricalElement",
    "IfcEquipmentElement",
    "IfcFurnishingElement",
    "IfcTransportElement",
    "IfcTransportationDevice",
    "IfcReinforcingElement",
    "IfcMechanicalFastener",
    "IfcVibrationIsolator",
    "IfcRailing",
    "IfcStair",
    "IfcStairFlight",
    "IfcRamp",
    "IfcRampFlight",
    "IfcVirtualElement",
    "IfcGeographicElement",
    "IfcGeotechnicalElement",
    "IfcCivilElement",
    "IfcProjectionElement",
    "IfcSurfaceFeature",
    "IfcVoidingFeature",
    "IfcEdgeFeature",
)
_INDOOR_COVERINGS: Final = frozenset({"CEILING", "FLOORING", "SKIRTINGBOARD", "SLEEVING", "WRAPPING"})
_LAYERS: Final = ("IfcBuildingElementPart", "IfcPlate", "IfcCovering")
"""What the layers and pieces of one wall or panel are drawn as..."""
_PIECES: Final = (*_LAYERS, "IfcMember", "IfcWall")
"""... and what the parts of a wall without a body may be besides: studs, rails, walls..."""
_FITTINGS: Final = ("IfcMember", "IfcElementComponent")
"""... and those of a panel: frames, seals, fasteners."""
_MOST_LAYERS: Final = 24
"""An assembly of more parts gathers many things."""
_DEEPEST_ASSEMBLY: Final = 32

_BODY_NAMES: Final = ("body", "body-fallback", "facetation")
_SOLID_KINDS: Final = frozenset(
    {
        "sweptsolid",
        "advancedsweptsolid",
        "brep",
        "advancedbrep",
        "csg",
        "clipping",
        "solidmodel",
        "surfacemodel",
        "tessellation",
        "mappedrepresentation",
    }
)
_PLACES: Final = ("IfcSite", "IfcBuilding", "IfcBuildingStorey")
"""Where exporters put elements; not every one writes all of them."""


@dataclass(frozen=True, slots=True)
class Found:
    """One element, its entity, and the products whose bodies make up its own (itself, or its parts)."""

    element: Element
    entity: Entity
    carriers: tuple[Entity, ...]


def text(value: object) -> str:
    """A stated text; anything else a damaged file may hold in its place is ""."""
    return value.strip() if isinstance(value, str) else ""


@cache
def _kept_classes(schema: str) -> tuple[str, ...]:
    """All classes of a schema whose elements are listed."""

    def walk(declaration: Any) -> Iterator[str]:
        if declaration.name() in _LEFT_OUT:
            return
        if not declaration.is_abstract():
            yield declaration.name()
        for below in declaration.subtypes():
            yield from walk(below)

    return tuple(sorted(walk(wrapper.schema_by_name(schema).declaration_by_name("IfcElement"))))


@cache
def _predefined_index(schema: str, name: str) -> int:
    declaration: Any = wrapper.schema_by_name(schema).declaration_by_name(name)
    return int(declaration.as_entity().attribute_index("PredefinedType"))


def body_of(product: Entity) -> Entity | None:
    """The representation that is the body of a product, if it has one."""
    shape = product[6]
    if shape is None:
        return None
    best: tuple[int, Entity] | None = None
    for representation in shape[2] or ():
        name, kind = text(representation[1]).lower(), text(representation[2]).lower()
        if name in _BODY_NAMES:
            # A body may be drawn once more as a flat symbol under the same name.
            rank = _BODY_NAMES.index(name) + (0 if kind in _SOLID_KINDS else 10)
        elif name == "" and kind in _SOLID_KINDS:
            rank = 5
        else:
            continue
        if representation[3] and (best is None or rank < best[0]):
            best = rank, representation
    return best[1] if best else None


class Relations:
    """The relations of one model that matter here, each read in one pass. Keys are numbers of entities."""

    def __init__(self, model: ifcopenshell.file) -> None:
        self.parent: dict[int, Entity] = {}
        self.children: dict[int, list[Entity]] = {}
        for relation in _relations(model, "IfcRelAggregates"):
            whole = relation[4]
            for part in relation[5] or ():
                self.parent.setdefault(part.id(), whole)
                self.children.setdefault(whole.id(), []).append(part)
        self.host = {r[5].id(): r[4] for r in _relations(model, "IfcRelVoidsElement")}
        self.voided = {host.id() for host in self.host.values()}
        self.filled = {r[5].id(): r[4] for r in _relations(model, "IfcRelFillsElement")}
        self.type = _relating(model, "IfcRelDefinesByType")
        self.material = _relating(model, "IfcRelAssociatesMaterial")
        self.sets: dict[int, list[Entity]] = {}
        for relation in _relations(model, "IfcRelDefinesByProperties"):
            stated = relation[5]
            for item in relation[4] or ():
                self.sets.setdefault(item.id(), []).extend([stated] if stated.id() else stated[0])

    def adrift(self, model: ifcopenshell.file) -> bool:
        """Whether buildings or storeys are there and nothing stands in any: relations stand last, and are cut off."""
        places = [place for name in _PLACES for place in model.by_type(name)]
        held = any(part.is_a("IfcElement") for place in places for part in self.children.get(place.id(), ()))
        return bool(places) and not held and not model.by_type("IfcRelContainedInSpatialStructure")

    def wholes(self, product: Entity) -> Iterator[Entity]:
        """All elements a product is part of, innermost first."""
        for _ in range(_DEEPEST_ASSEMBLY):
            above = self.parent.get(product.id())
            if above is None or not above.is_a("IfcElement"):
                return
            yield above
            product = above

    def parts(self, product: Entity) -> Iterator[Entity]:
        """All parts with a body that make up a product without one, each once."""
        seen: set[int] = set()
        queue = [product]
        while queue:
            for part in self.children.get(queue.pop().id(), ()):
                if part.id() not in seen and any(part.is_a(name) for name in _PIECES):
                    seen.add(part.id())
                    if body_of(part) is not None:
                        yield part
                    else:
                        queue.append(part)

    def layers(self, assembly: Entity) -> tuple[Entity, ...]:
        """The parts of an assembly that is one thing of several layers; of any other nothing."""
        parts = self.children.get(assembly.id(), ())
        if not all(any(part.is_a(name) for name in (*_LAYERS, *_FITTINGS)) for part in parts):
            return ()
        bodies = tuple(part for part in parts if body_of(part) is not None)
        layers = [part for part in bodies if any(part.is_a(name) for name in _LAYERS)]
        return bodies if len(layers) > 1 and len(bodies) <= _MOST_LAYERS else ()

    def is_cut(self, product: Entity) -> bool:
        """Whether openings are cut from a product, directly or through what it is part of."""
        return product.id() in self.voided or any(whole.id() in self.voided for whole in self.wholes(product))


def _relations(model: ifcopenshell.file, name: str) -> Iterator[Entity]:
    """All relations of one kind with both ends in the file."""
    for relation in model.by_type(name):
        if relation[4] is not None and relation[5] is not None:
            yield relation


def _relating(model: ifcopenshell.file, name: str) -> dict[int, Entity]:
    return {item.id(): relation[5] for relation in _relations(model, name) for item in relation[4]}


_MATERIALS: Final = {
    "IfcMaterial": ((0,), ()),
    "IfcMaterialLayer": ((3,), (0,)),
    "IfcMaterialLayerWithOffsets": ((3,), (0,)),
    "IfcMaterialLayerSet": ((1,), (0,)),
    "IfcMaterialLayerSetUsage": ((), (0,)),
    "IfcMaterialProfile": ((0,), (2,)),
    "IfcMaterialProfileWithOffsets": ((0,), (2,)),
    "IfcMaterialProfileSet": ((0,), (2,)),
    "IfcMaterialProfileSetUsage": ((), (0,)),
    "IfcMaterialProfileSetUsageTapering": ((), (0,)),
    "IfcMaterialConstituent": ((0,), (2,)),
    "IfcMaterialConstituentSet": ((0,), (2,)),
    "IfcMaterialList": ((), (0,)),
}
"""Which attributes of a material (or set, layer, ...) hold its name, and which lead to its parts."""


class Stated(Mapping[str, str]):
    """Property values that are read when someone first asks: some exporters write hundreds for each element."""

    def __init__(self, read: Callable[[], dict[str, str]]) -> None:
        self._read = read

    @cached_property
    def _table(self) -> dict[str, str]:
        return self._read()

    def __getitem__(self, name: str) -> str:
        return self._table[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._table)

    def __len__(self) -> int:
        return len(self._table)

    def __repr__(self) -> str:
        return repr(self._table)

    def __reduce__(self) -> tuple[type, tuple[dict[str, str]]]:
        return dict, (self._table,)


@dataclass(frozen=True, slots=True)
class _TypeWords:
    name: str = ""
    predefined: str = ""
    materials: tuple[str, ...] = ()
    sets: tuple[Entity, ...] = ()


class Words:
    """Reads the words of the elements of one model."""

    def __init__(self, opened: OpenFile, source: int) -> None:
        # The whole of it: a model must not outlive the log it was opened with, and properties are read late.
        self._opened = opened
        self._model = model = opened.model
        self._schema = model.schema_identifier
        self._source = source
        self._relations = Relations(model)
        self._types: dict[int, _TypeWords] = {}
        self._sets: dict[int, dict[str, str]] = {}
        self._materials: dict[int, tuple[str, ...]] = {}

    @property
    def relations(self) -> Relations:
        """Who belongs to whom."""
        return self._relations

    def found(self) -> Iterator[Found]:
        """Every element of the model that may belong to an envelope, in no particular order."""
        for name in _kept_classes(self._schema):
            for entity in self._model.by_type(name, include_subtypes=False):
                carriers = self._carriers(entity, name)
                if carriers is None:
                    continue
                element = self._element(entity, name, carriers)
                if name == "IfcCovering" and element.predefined.upper() in _INDOOR_COVERINGS:
                    continue
                yield Found(element, entity, carriers)

    def _carriers(self, entity: Entity, name: str) -> tuple[Entity, ...] | None:
        """The products whose bodies make up an element; None for one that merely gathers others."""
        below = self._relations.children.get(entity.id())
        if not below:
            return (entity,)
        if name == "IfcCurtainWall":
            return None
        if name == "IfcElementAssembly":
            return self._relations.layers(entity) or None
        if body_of(entity) is not None:
            return (entity,)
        return tuple(self._relations.parts(entity)) or None

    def _element(self, entity: Entity, name: str, carriers: tuple[Entity, ...]) -> Element:
        number = entity.id()
        kind = self._type(self._relations.type.get(number))
        object_type = text(entity[4])
        index = _predefined_index(self._schema, name)
        parents = [text(whole[i]) for whole in self._relations.wholes(entity) for i in (2, 4)]
        sets = self._relations.sets.get(number, ())
        # What an assembly states holds for its parts, where they say nothing else.
        above = [self._relations.sets.get(whole.id(), ()) for whole in self._relations.wholes(entity)][::-1]
        return Element(
            guid=text(entity[0]),
            ifc_class=name,
            predefined=_predefined(entity[index] if index >= 0 else None, object_type) or kind.predefined,
            name=text(entity[2]),
            object_type=object_type,
            type_name=kind.name,
            tag=text(entity[7]),
            description=text(entity[3]),
            materials=_once((*self._material(self._relations.material.get(number)), *kind.materials)),
            parents=tuple(words for words in parents if words),
            shown=tuple(text(carrier[0]) for carrier in carriers),
            stated=Stated(lambda: self._properties(entity, *above, kind.sets, sets))
            if sets or kind.sets or any(above)
            else {},
            hosts=tuple(text(host[0]) for host in self._hosts(number)),
            source=self._source,
        )

    def _hosts(self, number: int) -> Iterator[Entity]:
        opening = self._relations.filled.get(number)
        host = self._relations.host.get(number if opening is None else opening.id())
        if host is not None:
            yield host

    def _type(self, kind: Entity | None) -> _TypeWords:
        if kind is None:
            return _TypeWords()
        words = self._types.get(kind.id())
        if words is None:
            own = getattr(kind, "ElementType", None)
            words = self._types[kind.id()] = _TypeWords(
                text(kind[2]),
                _predefined(getattr(kind, "PredefinedType", None), text(own)),
                self._material(self._relations.material.get(kind.id())),
                kind[5] or (),
            )
        return words

    def _properties(self, entity: Entity, *by_rank: Iterable[Entity]) -> dict[str, str]:
        """The properties of some groups of sets; a later group counts more, and in a group the first set by name."""
        try:
            ranked = [
                one for sets in by_rank for one in sorted(sets, key=lambda one: (text(one[2]), one.id()), reverse=True)
            ]
            return {name: value for one in ranked for name, value in self._set(one).items()}
        except MALFORMED as error:
            place = f"{self._opened.path}: the properties of element #{entity.id()}"
            raise BadModel(f"{place} are damaged. Export the model again.") from error

    def _set(self, one: Entity) -> dict[str, str]:
        table = self._sets.get(one.id())
        if table is None:
            properties = one[4] if one.is_a("IfcPropertySet") else None
            table = self._sets[one.id()] = dict(_properties(properties or (), self._millimetres))
        return table

    @cached_property
    def _millimetres(self) -> float:
        """How long the model's unit of length is."""
        return 1000.0 * length_unit(self._model.by_type("IfcProject")[0], self._opened.path.name).metres

    def _material(self, material: Entity | None) -> tuple[str, ...]:
        """The names of a material, or of a set or list of them, and of all its layers, profiles and constituents."""
        if material is None:
            return ()
        number = material.id()
        if number not in self._materials:
            self._materials[number] = ()  # one that contains itself must not be followed for ever
            names, parts = _MATERIALS.get(material.is_a(), ((), ()))
            own = [text(material[i]) for i in names if i < len(material)]
            below = [material[i] for i in parts]
            flat = [part for one in below for part in (one if isinstance(one, tuple) else (one,))]
            self._materials[number] = _once((*own, *(name for part in flat for name in self._material(part))))
        return self._materials[number]


def _predefined(value: object, own_words: str) -> str:
    stated = text(value)
    if stated == "USERDEFINED":
        return own_words
    return "" if stated == "NOTDEFINED" else stated


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in names if name))


def _properties(properties: Iterable[Entity], millimetres: float) -> Iterator[tuple[str, str]]:
    """Names (lower case) and values of properties, the members of complex ones as if they stood alone.

    ``millimetres`` is the length of the model's unit; lengths are given in mm.
    """
    queue = list(properties)
    seen: set[int] = set()
    for one in queue:
        kind = one.is_a()
        if kind == "IfcComplexProperty":
            if one.id() not in seen:
                seen.add(one.id())
                queue.extend(one[3] or ())
            continue
        if kind == "IfcPropertyBoundedValue":
            own = _own_unit(one[4], millimetres)
            stated = " - ".join(value for value in (_value(one[3], own), _value(one[2], own)) if value)
        elif kind in ("IfcPropertySingleValue", "IfcPropertyEnumeratedValue", "IfcPropertyListValue"):
            stated = _value(one[2], _own_unit(one[3], millimetres) if len(one) > 3 else millimetres)
        else:
            continue
        if stated:
            yield text(one[0]).lower(), stated


def _own_unit(unit: Entity | None, millimetres: float) -> float:
    """Length in mm of the unit that a property states for itself, else of the model's."""
    if unit is None or not hasattr(unit, "is_a") or getattr(unit, "UnitType", None) != "LENGTHUNIT":
        return millimetres
    return 1000.0 * named_unit(unit).metres


def _value(value: Any, millimetres: float) -> str:
    """A stated value as text: lengths in mm, other numbers in the units of the model."""
    if isinstance(value, tuple):
        return ", ".join(_value(one, millimetres) for one in value)
    bare = value[0] if hasattr(value, "is_a") else value
    if isinstance(bare, bool):
        return "true" if bare else "false"
    if isinstance(bare, float):
        is_length = hasattr(value, "is_a") and value.is_a().endswith("LengthMeasure")
        return f"{bare * millimetres:.12g} mm" if is_length else f"{bare:.12g}"
    return str(bare).strip() if isinstance(bare, str | int) else ""
