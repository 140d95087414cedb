"""What the words and the class of an element support, role by role.

Fields are heard in the order name, types, description, materials, parents: the later ones count less, and the last two
only where the others claim nothing.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from checker import words
from checker.model import ROLES, Element, Floats

NONE: Final = len(ROLES)
"""Column of the score tables for "none of the roles"."""
AT: Final = {role: i for i, role in enumerate(ROLES)} | {"": NONE}

CERTAIN: Final = 0.3
"""A role with less support than this is none."""

# Weights of the fields of an element.
_NAME, _TYPE, _DESCRIPTION, _MATERIAL, _PARENT = 1.0, 0.97, 0.75, 0.65, 0.42

_CLASS: Final[Mapping[str, Mapping[str, float]]] = {
    "IfcOpeningElement": {"opening": 1.0},
    "IfcWindow": {"window": 0.95},
    "IfcDoor": {"door": 0.95},
    "IfcRoof": {"roof": 0.8},
    "IfcColumn": {"column": 0.75},
    "IfcWall": {"panel": 0.2, "plinth": 0.1},
    "IfcPlate": {"panel": 0.2},
    "IfcCurtainWall": {"panel": 0.2},
    "IfcCovering": {"panel": 0.15},
    "IfcBuildingElementPart": {"panel": 0.15},
    "IfcBuildingElementProxy": {"panel": 0.15, "column": 0.1, "plinth": 0.1, "base-rail": 0.1},
    "IfcBuiltElement": {"panel": 0.15, "column": 0.1, "plinth": 0.1, "base-rail": 0.1},
    "IfcElementAssembly": {"panel": 0.1},
    "IfcBeam": {"base-rail": 0.12, "column": 0.1, "plinth": 0.1},
    "IfcMember": {"base-rail": 0.12, "column": 0.1},
    "IfcFooting": {"plinth": 0.25},
    "IfcDiscreteAccessory": {"base-rail": 0.1, "seal": 0.1},
    "IfcFastener": {"seal": 0.1},
}
"""What a class alone supports."""
_PREDEFINED: Final[Mapping[tuple[str, str], Mapping[str, float]]] = {
    ("IfcPlate", "CURTAIN_PANEL"): {"panel": 0.5},
    ("IfcWall", "ELEMENTEDWALL"): {"panel": 0.25},
    ("IfcWall", "PARTITIONING"): {"": 0.6},
    ("IfcWall", "MOVABLE"): {"": 0.6},
    ("IfcWall", "PLUMBINGWALL"): {"": 0.6},
    ("IfcWall", "RETAININGWALL"): {"": 0.4},
    ("IfcFooting", "FOOTING_BEAM"): {"plinth": 0.4},
    ("IfcFooting", "STRIP_FOOTING"): {"plinth": 0.35},
    ("IfcFooting", "PAD_FOOTING"): {"": 0.7},
    ("IfcFooting", "PILE_CAP"): {"": 0.7},
    ("IfcBeam", "LINTEL"): {"": 0.7},
    ("IfcBeam", "HOLLOWCORE"): {"": 0.7},
    ("IfcSlab", "ROOF"): {"roof": 0.75},
    ("IfcMember", "PURLIN"): {"base-rail": 0.25},
    **{
        ("IfcMember", kind): {"": 0.7}
        for kind in ("BRACE", "CHORD", "RAFTER", "STRINGER", "STRUT", "MULLION", "TIEBAR")
    },
    **{("IfcPlate", kind): {"": 0.7} for kind in ("BASE_PLATE", "GUSSET_PLATE", "STIFFENER_PLATE", "SPLICE_PLATE")},
}
"""What class and predefined type together support, besides."""
COVERS: Final = frozenset({("IfcSlab", "FLOOR"), ("IfcSlab", "ROOF")})
"""What has no role and yet is read: it tells rooms from the outdoors."""
ENUMERATED: Final = re.compile(r"[A-Z][A-Z0-9_]{0,39}")
"""Predefined types of the schemas look like this; anything else is an author's own words."""
_TOLD_BY_TYPE: Final = frozenset(
    {"IfcDiscreteAccessory", "IfcFastener", "IfcCovering", "IfcBuildingElementPart", "IfcBuildingElementProxy"}
)
"""Classes whose predefined types are read as words: FLASHING, INSULATION, FILLER ... say what they are."""
_SMALL_PARTS: Final = frozenset(
    {
        "IfcDiscreteAccessory",
        "IfcFastener",
        "IfcMember",
        "IfcCovering",
        "IfcBuildingElementPart",
        "IfcBuildingElementProxy",
        "IfcPlate",
    }
)
"""Classes whose material may tell what they are (a wall of rubber would be a wall)."""
LAYERS: Final = frozenset({"seal", "sealant", "foam", "insulation", "tape", "flashing", "membrane", "eave-profile"})
"""Roles of what lies in or over a seam."""
_KINDS: Final[Mapping[str, tuple[str, ...]]] = {"seal": ("sealant", "foam", "tape"), "flashing": ("eave-profile",)}
"""Roles that also stand for a whole kind: ``Seal`` as the type of a tape says nothing against the tape."""
_ANYTHING: Final = frozenset(AT)
_CORES: Final = [AT["insulation"], AT["foam"]]
_LAYERED: Final = 0.6
"""How much layers of metal and insulation speak for a panel."""
_STEEL_PROFILE: Final = re.compile(
    r"\b(?:PL|PLT|FL|FLT|FLA|FB|BL|PLATE|PLATTE|BLECH|PLAT|TOLE)[ _-]?(\d{1,3})(?:[.,]\d{1,2})? ?[xX*×] ?\d",
    re.IGNORECASE,
)
_STEEL_GRADE: Final = re.compile(r"\bS ?(?:235|275|355|420|460)", re.IGNORECASE)
_CONCRETE_GRADE: Final = re.compile(r"\bL?C ?\d{2,3}/\d{2,3}\b")
"""Strength classes of EN 206, such as C30/37."""
_THIN_PLATE_MM: Final = 25
"""A steel plate thinner than this is a connection or a stiffener."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What words and class of an element support: scores (`NONE` + 1,) each, and where the words stand.

    ``said`` names per column the field and the words; ``senses`` are those of all texts; ``filler`` elements are by
    their words a strip and nothing more; ``nameless`` ones have no word for any role.
    """

    words: Floats
    by_class: Floats
    said: Mapping[int, tuple[str, str]]
    senses: frozenset[str]
    filler: bool
    nameless: bool


def family(ifc_class: str) -> str:
    """A class without the marks of special cases: IfcWallStandardCase is an IfcWall."""
    return ifc_class.removesuffix("StandardCase").removesuffix("ElementedCase")


class Evidences:
    """Evidence of elements; those with the same words share it."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Evidence] = {}

    def of(self, element: Element) -> Evidence:
        """The evidence of one element."""
        key = (
            family(element.ifc_class),
            element.predefined,
            words.skeleton(element.name),
            words.skeleton(element.object_type),
            words.skeleton(element.type_name),
            words.skeleton(element.description),
            element.materials,
            tuple(map(words.skeleton, element.parents)),
            element.ifc_class.startswith("IfcPlate") and _is_steel_plate(element),
            _gathers(element),
        )
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = _evidence(element)
        return found


def _evidence(element: Element) -> Evidence:
    kind, predefined = family(element.ifc_class), element.predefined
    fields = [
        ("name", element.name, _NAME),
        ("object type", element.object_type, _TYPE),
        ("type", element.type_name, _TYPE),
        ("description", element.description, _DESCRIPTION),
    ]
    if kind in _TOLD_BY_TYPE or not ENUMERATED.fullmatch(predefined):
        fields.append(("predefined type", predefined.replace("_", " "), _TYPE))
    score, said = np.zeros(NONE + 1), dict[int, tuple[str, str]]()
    senses, heads = set[str](), set[str]()

    def hear(field: str, text: str, weight: float, roles: frozenset[str]) -> None:
        reading = words.read(text)
        for role in reading.claims.keys() & roles:
            at, value = AT[role], weight * reading.claims[role]
            # What the name calls by a word of its own, a type may call by that of its kind.
            if field != "name" and max((score[AT[each]] for each in _KINDS.get(role, ())), default=0.0) > value / 2:
                value *= 0.5
            if value > score[at]:
                score[at], said[at] = value, (field, reading.words)

    for field, text, weight in fields:
        hear(field, text, weight, _ANYTHING)
        senses |= words.read(text).senses
        heads.add(words.read(text).head)
    silent = score.max() < CERTAIN
    small = kind in _SMALL_PARTS and len(element.materials) == 1
    for material in element.materials:
        senses |= words.read(material).senses
        if _CONCRETE_GRADE.search(material[: words.LONGEST]):
            senses.add("concrete")
        if silent:
            hear("material", material, _MATERIAL, LAYERS | {"panel"} if small else frozenset({"panel"}))
    layered = {"steel", "sheet"} & senses and {"wool", "foam", "insulation", "polymer"} & senses
    if len(element.materials) > 1 and layered and score[AT["panel"]] < _LAYERED:
        score[_CORES] *= 0.5
        score[AT["panel"]], said[AT["panel"]] = _LAYERED, ("material", "metal and insulation")
    silent = score.max() < CERTAIN
    for parent in element.parents:
        senses |= words.read(parent).senses & {"curtain"}
        # The core of a panel says what it is of, its assembly what it is.
        hear("assembly", parent, _PARENT, _ANYTHING - {""} if silent else frozenset({"panel"}))

    by_class = np.zeros(NONE + 1)
    for table in () if _gathers(element) else (_CLASS.get(kind, {}), _PREDEFINED.get((kind, predefined), {})):
        for role, value in table.items():
            by_class[AT[role]] = max(by_class[AT[role]], value)
    if (kind, predefined) == ("IfcPlate", "CURTAIN_PANEL"):
        senses.add("curtain")
    own = score[:NONE].max()
    if kind == "IfcPlate" and own < CERTAIN and _is_steel_plate(element):
        by_class[NONE] = 0.6
    filler = not heads.isdisjoint(words.FILLERS) and own <= 0.5 and score[NONE] < CERTAIN
    return Evidence(score, by_class, said, frozenset(senses), filler, bool(own < CERTAIN))


def _gathers(element: Element) -> bool:
    """Whether an element is an assembly of parts: its class says nothing of what they are together."""
    return element.ifc_class == "IfcElementAssembly" and element.shown not in ((), (element.guid,))


def _is_steel_plate(element: Element) -> bool:
    """Whether profile or grade speak of a plate cut from steel: connections, of which a frame has tens of thousands."""
    for text in (element.name, element.object_type, element.type_name, element.description):
        found = _STEEL_PROFILE.search(text[: words.LONGEST])
        if found and int(found[1]) < _THIN_PLATE_MM:
            return True
    return any(_STEEL_GRADE.search(material[: words.LONGEST]) for material in element.materials)
