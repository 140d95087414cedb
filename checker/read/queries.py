"""Selector queries of the settings: what they may say, and which elements they match."""

from collections.abc import Sequence
from functools import cache
from typing import Any, Final

import lark
from ifcopenshell import ifcopenshell_wrapper as wrapper
from ifcopenshell.util import selector

from checker.errors import BadSettings, did_you_mean
from checker.read.files import OpenFile, schemas
from checker.read.place import MALFORMED, Entity

_GRAMMAR: Final[Any] = selector.filter_elements_grammar
_FILTER: Final[Any] = selector.filter_elements


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
    try:
        tree = _GRAMMAR.parse(query)
    except lark.exceptions.LarkError as error:
        place = getattr(error, "column", None)
        where = f" at character {place}" if isinstance(place, int) and place > 0 else ""
        raise BadSettings(f"[roles] {role}: the query {query!r} cannot be understood{where}. Correct it.") from error
    for kind, what in (("ifc_class", "class"), ("attribute_name", "attribute")):
        known = _known(kind)
        for found in tree.find_data(kind):
            name = str(found.children[0])
            if name not in known:
                hint = did_you_mean(name, known) if _near(name, known) else "Look it up in the schema."
                raise BadSettings(f"[roles] {role}: the query {query!r} names the unknown {what} {name!r}. {hint}")


def _near(name: str, known: frozenset[str]) -> bool:
    # The list of all names of a schema is no help to anyone.
    return "Did you mean" in did_you_mean(name, known)


def matching(opened: OpenFile, entities: Sequence[Entity], query: str, role: str) -> set[int]:
    """The numbers of those of some entities of a file that a query matches."""
    if not entities:
        return set()
    try:
        return {entity.id() for entity in _FILTER(opened.model, query, elements=set(entities))}
    except (lark.exceptions.LarkError, *MALFORMED) as error:
        raise BadSettings(
            f"[roles] {role}: the query {query!r} cannot be carried out on {opened.path.name}. "
            "Correct it, or export the model again."
        ) from error
