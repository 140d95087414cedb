"""What elements state in properties: lengths, sides, fire ratings, in several languages."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Final

from checker.facade import Facade, Seams

_INSIDE: Final = ("ins", "inn", "inw", "int", "ind", "inv", "room", "binn", "wewn", "vnit", "uvnit", "dedans")
_OUTSIDE: Final = (
    "out",
    "ext",
    "weather",
    "aus",
    "ud",
    "ut",
    "buit",
    "zewn",
    "ven",
    "vnej",
    "dehors",
    "fuera",
    "fuori",
)
"""How words for the two sides of a wall begin, in several languages, without accents."""

_LENGTH: Final = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)\s*(mm|cm|m)?\s*", re.I)

_UNRATED: Final = re.compile(
    r"|[-–—0. ]+|none|no|nil|false|not? .*|un\w*|n\.?/?a\.?|npd|keine?r?|ohne|sans|sin|ingen|uden|utan|nicht.*"
    r"|(?:class |klasse )?[a-f]\d?(?:-?s\d)?(?:[, -]*d\d)?",
    re.I,
)
"""Texts that state no fire rating, among them classes of reaction to fire, such as A2-s1,d0."""

FIRE_KEYS: Final = ("firerating", "fireresistance", "fireresistancerating", "fireresistanceclass")
"""Lower-case names of properties that state a fire rating."""


def stated_side(facade: Facade, element: int, keys: Iterable[str]) -> int:
    """Which side of the wall an element states under the first of some lower-case property names that says one.

    1 outside, -1 inside, 0 for neither.
    """
    for key in keys:
        said = unicodedata.normalize("NFKD", facade.model.elements[element].stated.get(key, "")).casefold()
        word = "".join(c for c in said if not unicodedata.combining(c)).strip(" .\t")
        if word.startswith(_OUTSIDE):
            return 1
        if word.startswith(_INSIDE):
            return -1
    return 0


def length_of(text: str) -> float:
    """A length in metres as a property states it, in mm where no unit stands behind it; NaN where it is none.

    >>> length_of("10 mm"), length_of("0,5 m"), length_of("12"), length_of("soft")
    (0.01, 0.5, 0.012, nan)
    """
    match = _LENGTH.fullmatch(text)
    if match is None:
        return float("nan")
    factor = {"mm": 1000.0, "cm": 100.0, "m": 1.0}[(match[2] or "mm").lower()]
    return float(match[1].replace(",", ".")) / factor


def stated_length(facade: Facade, element: int, *keys: str) -> float:
    """The length in metres that an element states under the first of some keys (lower case) it has; NaN for none."""
    stated = facade.model.elements[element].stated
    return next((length_of(stated[key]) for key in keys if key in stated), float("nan"))


def fire_rating(stated: Mapping[str, str]) -> str:
    """The fire rating among property values, or nothing.

    >>> fire_rating({"firerating": "EI 60"}), fire_rating({"firerating": "A2-s1,d0"}), fire_rating({})
    ('EI 60', '', '')
    """
    for key in FIRE_KEYS:
        said = stated.get(key, "").strip()
        if not _UNRATED.fullmatch(said) and not re.fullmatch(r"(?:[REIWM]|REI|EI|F|T)*\s*-?\s*0+", said, re.I):
            return said
    return ""


def fire_ratings(seams: Seams, facade: Facade) -> tuple[str, ...]:
    """The fire rating that a panel at each seam states, or nothing."""
    elements = facade.model.elements
    return tuple(
        next((text for part in pair if part >= 0 and (text := fire_rating(elements[part].stated))), "")
        for pair in zip(seams.left.tolist(), seams.right.tolist(), strict=True)
    )
