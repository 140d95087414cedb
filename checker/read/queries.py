"""Selector queries of the settings: what they may say, and which elements they match.

The language is that of `ifcopenshell.util.selector`, with two words more: ``layer``, the CAD layers an element is
drawn on, and limits of its size (``length``, ``width``, ``thickness``, ``height``, in mm). Words that look at several
texts of one element (materials, parents ...) fit where any of these does, and their negation where none does.
"""

import operator
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import ifcopenshell
import ifcopenshell.util.classification
import ifcopenshell.util.element
import lark
from ifcopenshell import ifcopenshell_wrapper as wrapper
from ifcopenshell.util import selector

from checker.errors import BadSettings, did_you_mean
from checker.read.files import OpenFile, schemas
from checker.read.place import MALFORMED, Entity

_LIMITS: Final[dict[str, Callable[[float, float], bool]]] = {
    "lessthan": operator.lt,
    "lessthanequalto": operator.le,
    "morethan": operator.gt,
    "morethanequalto": operator.ge,
}
SIZES: Final = ("length", "width", "thickness", "height")
"""The sides of an element's box, descending, and how far it reaches from bottom to top."""
_WORDS: Final = ("type", "material", "classification", "location", "group", "parent", "layer", *SIZES)
_GRAMMAR: Final[Any] = lark.Lark(
    selector.filter_elements_grammar.source_grammar.replace("| group | parent", "| group | parent | layer | size")
    + f"""
    layer: "layer" comparison value
    size: SIZE limit MILLIMETRES
    limit: {" | ".join(_LIMITS)}
    SIZE: {" | ".join(f'"{size}"' for size in SIZES)}
    MILLIMETRES: DIGIT+ ("." DIGIT+)?
    """
)
_LITERALS: Final = re.compile(r'"(?:\\.|[^"\\])*"|/[^/]+/')
_COMPARED: Final = re.compile(r"(?:^|[,+])\s*!?\s*([A-Za-z_]\w*)\s*(?=!?\*?=|[<>])")
_ALONE: Final = re.compile(r"(?:^|[,+])\s*!?\s*([A-Za-z_]\w{0,20}|[A-Za-z_]\w{22,})\s*(?=[,+]|$)")
_DEEPEST: Final = 64
"""Elements lie in no more wholes and places than this; beyond it one contains itself."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of size: one of `SIZES`, and what its value in mm must fulfil."""

    size: str
    compare: Callable[[float, float], bool]
    value: float

    def holds(self, sizes: Sequence[float]) -> bool:
        """Whether it holds for the ``sizes`` of an element in mm, in the order of `SIZES`."""
        return self.compare(sizes[SIZES.index(self.size)], self.value)


@dataclass(frozen=True, slots=True)
class Choice:
    """Numbers of the entities that one alternative of a query names, and what their sizes must fulfil besides."""

    numbers: frozenset[int]
    limits: tuple[Limit, ...]


@cache
def _known(kind: str) -> frozenset[str]:
    """The names of all classes, or of all attributes, of all schemas that can be read."""
    declarations: list[Any] = [one for schema in schemas() for one in wrapper.schema_by_name(schema).entities()]
    if kind == "ifc_class":
        return frozenset(one.name() for one in declarations)
    return frozenset(attribute.name() for one in declarations for attribute in one.attributes())


def check_query(query: str, role: str) -> None:
    """Raises `BadSettings` where a query cannot be understood or names what no schema knows."""
    if not query.strip():
        raise BadSettings(f"[roles] {role}: a query is empty, it would match everything. Write one or remove it.")
    bare = _LITERALS.sub('""', query)
    for found, known in ((_COMPARED, _known("attribute_name").union(_WORDS)), (_ALONE, _known("ifc_class"))):
        for name in found.findall(bare):
            if name not in known:
                what = "class" if found is _ALONE else "attribute" if name[0].isupper() else "word"
                raise BadSettings(
                    f"[roles] {role}: the query {query!r} names the unknown {what} {name!r}. {_nearest(name, known)}"
                )
    try:
        _GRAMMAR.parse(query)
    except lark.exceptions.LarkError as error:
        place = getattr(error, "column", None)
        where = f" at character {place}" if isinstance(place, int) and place > 0 else ""
        raise BadSettings(
            f"[roles] {role}: the query {query!r} cannot be understood{where}. "
            "Texts with blanks or signs stand in quotes, sizes are numbers of mm; see the README."
        ) from error


def _nearest(name: str, known: frozenset[str]) -> str:
    # The list of all names of a schema is no help to anyone. Case and the "Ifc" of classes are often forgotten.
    for word in (name, f"Ifc{name[3:] if name.lower().startswith('ifc') else name}"):
        same = sorted(one for one in known if one.lower() == word.lower())
        hint = did_you_mean(same[0] if same else word, known)
        if "Did you mean" in hint:
            return hint
    return did_you_mean(name, _WORDS) if name[0].islower() else "Look it up in the schema."


def chosen(opened: OpenFile, entities: Sequence[Entity], query: str, role: str) -> list[Choice]:
    """Those of some entities of a file that a query names, one choice for each of its alternatives (``+``)."""
    if not entities:
        return []
    try:
        alternatives = _GRAMMAR.parse(query).children[0].children
        return [_choice(opened, set(entities), alternative) for alternative in alternatives]
    except (lark.exceptions.LarkError, *MALFORMED) as error:
        raise BadSettings(
            f"[roles] {role}: the query {query!r} cannot be carried out on {opened.path.name}. "
            "Correct it, or export the model again."
        ) from error


def _choice(opened: OpenFile, entities: set[Entity], alternative: Any) -> Choice:
    facets = [facet for facet in alternative.children if facet.children[0].data != "size"]
    limits = tuple(
        Limit(str(size), _LIMITS[limit.children[0].data], float(value))
        for size, limit, value in (facet.children[0].children for facet in alternative.children if facet not in facets)
    )
    if not facets:
        return Choice(frozenset(entity.id() for entity in entities), limits)
    search = _Search(opened.model, entities)
    search.transform(lark.Tree("start", [lark.Tree("facet_list", facets)]))
    return Choice(frozenset(entity.id() for entity in search.get_results()), limits)


class _Search(selector.FacetTransformer):
    """The library's search, where words that look at several texts are all carried out alike."""

    def __init__(self, model: ifcopenshell.file, entities: set[Entity]) -> None:
        super().__init__(model, entities)
        self._names: dict[int, list[str]] = {}
        self._layer_names: dict[int, list[str]] = {}
        self._read_layers = False

    def type(self, args: Any) -> None:
        self._any(args, lambda one: _texts([ifcopenshell.util.element.get_type(one)], "Name", "GlobalId"))

    def material(self, args: Any) -> None:
        self._any(args, lambda one: _texts(ifcopenshell.util.element.get_materials(one), "Name", "Category"))

    def classification(self, args: Any) -> None:
        self._any(
            args,
            lambda one: _texts(
                ifcopenshell.util.classification.get_references(one), "Name", "Identification", "ItemReference"
            ),
        )

    def group(self, args: Any) -> None:
        self._any(args, lambda one: _texts(ifcopenshell.util.element.get_groups(one), "Name", "GlobalId"))

    def location(self, args: Any) -> None:
        self._any(args, lambda one: list(self._above(one, "IfcSpatialStructureElement")))

    def parent(self, args: Any) -> None:
        self._any(args, lambda one: list(self._above(one, "IfcObjectDefinition")))

    def layer(self, args: Any) -> None:
        self._any(args, self._layers)

    def _any(self, args: Any, texts_of: Callable[[Entity], list[str]]) -> None:
        comparison, value = args
        default: Callable[[], None] = self.add_default_elements  # comes without types
        default()
        self.elements = {one for one in self.elements if self.compare(texts_of(one) or None, comparison, value)}

    def _above(self, product: Entity, kind: str) -> Iterator[str]:
        """Names and GlobalIds of all wholes and places above a product."""
        above: Entity = product
        for _ in range(_DEEPEST):
            above = ifcopenshell.util.element.get_parent(above)
            if above is None:
                return
            if above.is_a(kind):
                yield from self._names.setdefault(above.id(), _texts([above], "Name", "GlobalId"))

    def _layers(self, product: Entity) -> list[str]:
        """Names of the layers that the representations of a product are on, or those of its parts."""
        if not self._read_layers:
            self._read_layers = True
            for one in self.file.by_type("IfcPresentationLayerAssignment"):
                for item in one.AssignedItems or ():
                    self._layer_names.setdefault(item.id(), []).append(one.Name)
        return [
            name
            for one in ([product] if product.Representation else _below(product))
            if one.Representation
            for representation in one.Representation.Representations
            for name in self._drawn_on(representation, 0)
        ]

    def _drawn_on(self, representation: Entity, depth: int) -> Iterator[str]:
        yield from self._layer_names.get(representation.id(), ())
        for item in representation.Items or ():
            yield from self._layer_names.get(item.id(), ())
            if item.is_a("IfcMappedItem") and depth < _DEEPEST:
                yield from self._drawn_on(item.MappingSource.MappedRepresentation, depth + 1)


def _below(product: Entity) -> list[Entity]:
    found: set[Entity] = ifcopenshell.util.element.get_decomposition(product)
    return sorted((one for one in found if one.is_a("IfcProduct")), key=lambda one: one.id())


def _texts(items: Any, *names: str) -> list[str]:
    """The texts that some attributes of some items hold."""
    return [text for item in items or () for name in names if isinstance(text := getattr(item, name, None), str)]
