"""What elements state in words: yes or no, and layers that are stated instead of drawn.

A part at a seam states a layer with a property or a material layer.
"""

import re
from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.facade import Facade, Layer, Subjects
from checker.model import Element, Ints

PROPERTY_SET: Final = "SeamtraceLayers"
"""Our own property set: one property per layer, true where it is there, false where it is not."""
_YES: Final = frozenset(("true", "t", ".t.", "yes", "y", "1", "ja", "oui", "si", "tak", "ano"))
_NO: Final = frozenset(("false", "f", ".f.", "no", "n", "0", "nein", "non", "nej", "nie", "ne", "nee"))
_PLAIN: Final = re.compile(r"[\W_]+")
_NONE: Final = frozenset(("none", "no", "ohne", "keine", "keiner", "sans", "sin", "ingen", "brak", "without"))


def affirmed(text: str) -> bool | None:
    """Whether a stated text says yes or no; None for anything else.

    >>> affirmed("T"), affirmed(" No "), affirmed("perhaps")
    (True, False, None)
    """
    word = text.strip().lower()
    return True if word in _YES else False if word in _NO else None


def property_name(layer: str) -> str:
    """What a layer is called in the property set.

    >>> property_name("column-seal")
    'ColumnSeal'
    """
    return "".join(word.capitalize() for word in layer.split("-"))


def keys_of(layer: str, more: Mapping[str, tuple[str, ...]]) -> frozenset[str]:
    """The plain names under which parts may state a layer: that of our property set, and what the project adds."""
    return frozenset(_plain(name) for name in (property_name(layer), *more.get(layer, ())))


def _plain(name: str) -> str:
    """Small letters and digits alone, in any script.

    >>> _plain("Column Seal (EPDM)")
    'columnsealepdm'
    """
    return _PLAIN.sub("", name).casefold()


def says(element: Element, keys: frozenset[str]) -> int:
    """Whether an element states a layer under one of some plain names: 1 it does, -1 it says there is none, 0 neither.

    A property says yes or no, or names what the layer is made of. A material or material layer of that name says yes.
    """
    found = 0
    for name, value in element.stated.items():
        if _plain(name) in keys and value.strip():
            yes = affirmed(value)
            found = 1 if (yes if yes is not None else value.strip().casefold() not in _NONE) else -1
            if found < 0:
                return found
    if not found and any(key in _plain(material) for material in element.materials for key in keys):
        return 1
    return found


def statements(facade: Facade, layer: Layer, subjects: Subjects) -> tuple[Ints, Ints]:
    """What the parts of each subject (n,) state of a layer (1, 0, -1), and the element that does (-1 for none).

    Where one part says yes and another no, the one that says no is told.
    """
    keys = keys_of(layer.name, facade.stated)
    known: dict[int, int] = {}
    state, who = np.zeros(len(subjects), np.int64), np.full(len(subjects), -1, np.int64)
    for i, parts in enumerate(subjects.parts.tolist()):
        for part in parts:
            if part < 0:
                continue
            if part not in known:
                known[part] = says(facade.model.elements[part], keys)
            if known[part] and (who[i] < 0 or known[part] < 0):
                state[i], who[i] = known[part], part
    return state, who
