"""A file of the Information Delivery Specification 1.0 that asks designers to state layers they do not draw."""

from collections.abc import Sequence
from typing import Any, Final
from xml.etree import ElementTree

from checker.facade import Layer, OpeningSeams, PlinthJoints, Seams
from checker.rule import Rule
from checker.stated import PROPERTY_SET, property_name

NAMESPACE: Final = "http://standards.buildingsmart.org/IDS"
_SCHEMA: Final = f"{NAMESPACE} {NAMESPACE}/1.0/ids.xsd"
_NAMES: Final = {
    "xmlns": NAMESPACE,
    "xmlns:xs": "http://www.w3.org/2001/XMLSchema",
    "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
}
"""Declared by hand; the tags below are written with these prefixes."""
_VERSIONS: Final = "IFC2X3 IFC4 IFC4X3_ADD2"

_STATED_BY: Final[dict[type[Seams], tuple[str, tuple[str, ...]]]] = {
    OpeningSeams: ("Windows and doors", ("IFCWINDOW", "IFCDOOR")),
    PlinthJoints: ("Plinth elements", ("IFCFOOTING",)),
}
"""Who states the layers of a kind of seam: words and classes; the panels where nothing is said."""
_PANELS: Final = ("Panels", ("IFCPLATE", "IFCWALL"))


def ids_file(rules: Sequence[Rule[Any, Any]]) -> bytes:
    """The content of the file: one specification for each kind of element, one property for each layer (UTF-8)."""
    layers = {rule.layer.name: rule.layer for rule in rules if rule.layer is not None and rule.layer.seams}
    by_who: dict[tuple[str, tuple[str, ...]], list[Layer]] = {}
    for layer in layers.values():
        by_who.setdefault(_STATED_BY.get(layer.seams[0], _PANELS), []).append(layer)
    root = ElementTree.Element("ids", {**_NAMES, "xsi:schemaLocation": _SCHEMA})
    info = _add(root, "info")
    _add(info, "title", "Sealing layers of panel facades that are stated instead of drawn")
    _add(info, "description", "For checking with seamtrace. Draw a layer, or state here whether it is there.")
    specifications = _add(root, "specifications")
    for (who, classes), mine in sorted(by_who.items(), key=lambda each: each[0][0]):
        told = _add(
            specifications, "specification", name=f"{who} state the layers at their seams", ifcVersion=_VERSIONS
        )
        told.set("instructions", f"True where the layer is there, false where it is not, in the set {PROPERTY_SET}.")
        applies = _add(told, "applicability", minOccurs="0", maxOccurs="unbounded")
        restriction = _add(_add(_add(applies, "entity"), "name"), "xs:restriction", base="xs:string")
        for name in classes:
            _add(restriction, "xs:enumeration", value=name)
        requirements = _add(told, "requirements")
        for layer in mine:
            asked = _add(requirements, "property", dataType="IFCBOOLEAN", cardinality="required")
            asked.set("instructions", f"Whether it is there: {layer.means}.")
            _add(_add(asked, "propertySet"), "simpleValue", PROPERTY_SET)
            _add(_add(asked, "baseName"), "simpleValue", property_name(layer.name))
    ElementTree.indent(root)
    content: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return content + b"\n"


def _add(parent: ElementTree.Element, tag: str, text: str | None = None, **attributes: str) -> ElementTree.Element:
    node = ElementTree.SubElement(parent, tag, attributes)
    node.text = text
    return node
