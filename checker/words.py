"""What a text claims an element to be, in twenty languages: a small grammar over the vocabulary in ``words.toml``.

A word stands for a *sense* that knows no language (``panel``, ``strip``, ``base`` ...). A name is cut into chunks, the
head noun of the first telling chunk is found, and a table says which roles that head claims beside which other senses.
So ``Sockelblech`` (a sheet), ``plinth seal`` (a seal) and ``joint de soubassement`` (a joint) are no plinths, and a new
language needs words alone. How the head is found:

- breaks (``: , ; / ( )``, a number, `` - ``) and small words (``of``, ``on``, ``für``, ``de`` ...) end a chunk; what
  follows a small word gives the head only where nothing else does;
- the first chunk with a telling noun counts, or with a strip or joint of something that tells (``EPDM strip``), else
  the first with a general one (wall, strip, plate, beam ...), else the first with a material (foam, rubber, wool,
  silicone);
- within a closed compound the last noun is the head; between words the last, too, or the first where most words of the
  chunk are of a language that names the thing first (French, Polish ...);
- a layer goes before the part it lies at (``Dichtung Paneel``), whichever stands last.

What else stands beside the head then decides, purpose before material: ``foam sealing strip`` is a seal, ``foam strip``
is foam. A further noun of the head's chunk is kept as a weaker claim, for the shape to decide.
"""

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

LONGEST: Final = 300
"""Letters of one text that are looked at; names are shorter, only hostile ones are not."""

Claims = Mapping[str, float]
"""How strongly each role is claimed, 0 to 1; ``""`` stands for none of the roles."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one text says: its ``claims``, the sense of its ``head`` noun and the ``words`` of the chunk that is in.

    ``senses`` are those of all its words. The ``words`` are letters and spaces, whatever the text held.
    """

    claims: Claims
    head: str = ""
    words: str = ""
    senses: frozenset[str] = frozenset()


TELLING: Final = 0.7
"""What a strip or joint claims at least by what it is of, to count as much as a noun of one sense."""
_KEY: Final = 3
"""First letters by which words are looked up."""
_SHOWN: Final = 40
_IDEOGRAPHS: Final = "\u2e80"
_FOLDED: Final = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "\u0131": "i"})
_DANISH: Final = str.maketrans({"å": "aa", "ø": "oe"})
_SPELLED: Final = {"de": str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"}), "da": _DANISH, "no": _DANISH}
"""How people write where a keyboard lacks the letters."""


def folded(text: str) -> str:
    """Lower case without accents, as words are compared.

    >>> folded("Stütze"), folded("SØJLE"), folded("płyta")
    ('stutze', 'sojle', 'plyta')
    """
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold().translate(_FOLDED))
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


@dataclass(frozen=True, slots=True)
class _Stem:
    """A word of the vocabulary; ``head_first`` None where languages of both kinds have it."""

    text: str
    sense: str
    starts: bool
    ends: bool
    describes: bool
    head_first: bool | None

    def fits(self, line: str, place: int, after: int) -> bool:
        """Whether this word stands at ``place``; ``after`` is where the word before it ended."""
        if not line.startswith(self.text, place):
            return False
        begins, ends = line[place - 1] == " ", line[place + len(self.text)] == " "
        if (self.starts and not begins) or (self.ends and not ends):
            return False
        # A short word inside a longer one is chance ("rail" in "trailer"), unless another ends there ("Sockelband").
        follows = after > 1 and place - after <= 2
        return len(self.text) > 4 or begins or ends or follows or line[place] > _IDEOGRAPHS


@dataclass(frozen=True, slots=True)
class _Hit:
    """A known word found in a text; equal ``token`` numbers are parts of one compound."""

    stem: _Stem
    token: int
    word: str

    @property
    def sense(self) -> str:
        return self.stem.sense


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Words between two breaks; ``relation`` to what stands before: ``then``, ``of`` or ``at``."""

    relation: str
    hits: tuple[_Hit, ...]


class _Grammar:
    """The vocabulary, ready to be looked up."""

    def __init__(self, data: Mapping[str, Any]) -> None:
        senses = {name: frozenset(words.split()) for name, words in data["senses"].items()}
        self.general, self.materials, self.bare = senses["general"], senses["materials"], senses["bare"]
        self.descriptions = senses["descriptions"]
        self.further = self.materials | self.bare | self.descriptions
        self.hosts, self.parts, self.layers = senses["hosts"], senses["parts"], senses["layers"]
        self.built, self.placed, self.fillers = senses["built"], senses["placed"], senses["fillers"]
        self.relations = {folded(word): relation for relation in ("of", "at") for word in data[relation].split()}
        self.hosted = [(role, frozenset(words.split())) for role, words in data["hosted"].items()]
        self.meanings = {head: [_meaning(line) for line in lines] for head, lines in data["meanings"].items()}
        self.stems = _index(data["vocabulary"], frozenset(data["head_first"]))

    def claims(self, head: str, near: set[str], far: set[str]) -> Claims:
        """What a head claims beside the senses ``near`` it and those ``far`` from it in the same text."""
        if head in self.hosts:
            layer = next((role for role, senses in self.hosted if senses & near), None)
            if layer is not None:
                return {layer: 0.75, **{role: 0.5 * value for role, value in self.claims(head, set(), set()).items()}}
        beside = near | far
        return next((claims for senses, claims in self.meanings.get(head, ()) if not senses or senses & beside), {})

    def stem(self, line: str, place: int, after: int) -> _Stem | None:
        """The longest word that stands at ``place``; ``after`` is where the word before it ended."""
        for letters in (_KEY,) if line[place] < _IDEOGRAPHS else range(_KEY, 0, -1):
            for stem in self.stems.get(line[place : place + letters], ()):
                if stem.fits(line, place, after):
                    return stem
        return None

    def rank(self, hit: _Hit, hits: tuple[_Hit, ...]) -> int:
        """How much of a noun a word is: 4 telling, 3 general, 2 material, 1 bare plastic, 0 none."""
        if hit.stem.describes or hit.sense in self.descriptions:
            return 0
        if hit.sense in self.bare:
            return 1
        if hit.sense in self.materials:
            compound = [other for other in hits if other.token == hit.token]
            if compound[-1] is not hit or all(other.sense in self.materials for other in compound):
                return 2
        return 3 if hit.sense in self.general else 4

    def head(self, hits: tuple[_Hit, ...]) -> tuple[int, _Hit | None]:
        """Rank and head noun of a chunk."""
        ranks = [self.rank(hit, hits) for hit in hits]
        best = max(ranks, default=0)
        if best == 0:
            return 0, None
        orders = [hit.stem.head_first for hit in hits]
        first = orders.count(True) > orders.count(False)
        # A general noun ("strip", "plate") is as good a head as a telling one.
        nouns = {hit.token: (rank, hit) for rank, hit in zip(ranks, hits, strict=True) if rank >= min(best, 3)}
        ends = list(nouns.values())
        rank, head = ends[0] if first else ends[-1]
        if not first and head.sense in self.parts:
            before = self.layers | self.placed if head.sense == "plinth" else self.layers
            rank, head = next(
                ((r, h) for r, h in ends if h.sense in before or (h is not head and self.tells(h, hits))), (rank, head)
            )
        return (4 if self.tells(head, hits) else rank), head

    def tells(self, hit: _Hit, hits: tuple[_Hit, ...]) -> bool:
        """Whether a strip or joint is of something that says what it is: it stands for a noun of its own."""
        beside = {
            other.sense for other in hits if other is not hit and (other.token == hit.token or not self.noun(other))
        }
        return hit.sense in self.fillers and max(self.claims(hit.sense, beside, set()).values(), default=0.0) >= TELLING

    def noun(self, hit: _Hit) -> bool:
        """Whether a word is a noun and no material or description."""
        return not hit.stem.describes and hit.sense not in self.descriptions | self.bare | self.materials


def _meaning(line: str) -> tuple[frozenset[str], Claims]:
    beside, _, roles = line.partition("|")
    names = roles.split()
    claims = {role.replace("none", ""): float(value) for role, value in zip(names[::2], names[1::2], strict=True)}
    return frozenset(beside.replace("-", " ").split()), claims


def _index(vocabulary: Mapping[str, Mapping[str, str]], head_first: frozenset[str]) -> dict[str, list[_Stem]]:
    """All words by their first letters, the longest first."""
    found: dict[tuple[str, bool, bool, bool], str] = {}
    orders: dict[str, set[bool]] = {}
    for language, senses in vocabulary.items():
        spelling = _SPELLED.get(language, {})
        for sense, words in senses.items():
            for word in words.split():
                bare = word.strip("=^$").replace("_", " ")
                starts, ends = word[0] in "=^", word[0] == "=" or word[-1] == "$"
                for text in (folded(bare), folded(bare.casefold().translate(spelling))):
                    found[text, starts, ends, sense[0] == "~"] = sense.lstrip("~")
                    orders.setdefault(text, set()).update(
                        (True, False) if language == "any" else (language in head_first,)
                    )
    index: dict[str, list[_Stem]] = {}
    for (text, starts, ends, describes), sense in found.items():
        order = None if len(orders[text]) > 1 else orders[text] == {True}
        # One of two letters is known by the space after it; only ideographs have words of one.
        index.setdefault((text + " " if ends else text)[:_KEY], []).append(
            _Stem(text, sense, starts, ends, describes, order)
        )
    for stems in index.values():
        stems.sort(key=lambda stem: (-len(stem.text), not stem.ends, not stem.starts, stem.text, stem.sense))
    return index


VOCABULARY: Final[Mapping[str, Any]] = tomllib.loads((files("checker") / "words.toml").read_text(encoding="utf-8"))
_GRAMMAR: Final = _Grammar(VOCABULARY)
FILLERS: Final = _GRAMMAR.fillers
"""Heads whose place decides what they are, where no word does."""

_PIECES: Final = re.compile(r"[^\W\d_]+|\d+|[:;,/|()\[\]{}+=.<>\n\\]|\s[-\u2013\u2014]\s")
_NUMBERS: Final = re.compile(r"\d+")


def skeleton(text: str) -> str:
    """A text with every number made 0: what numbered names have in common. It reads as the text does.

    >>> skeleton("Panel 12.3")
    'Panel 0.0'
    """
    return _NUMBERS.sub("0", text[:LONGEST]) if text else ""


def read(text: str) -> Reading:
    """What a name, type, description or material says. Numbers do not matter, so numbered names are read once.

    >>> read("Sandwichpaneel 120/1000").claims
    {'panel': 0.93}
    >>> read("Sockelblech").head, read("joint de soubassement").head
    ('sheet', 'joint')
    """
    return _read(skeleton(text))


@lru_cache(maxsize=200_000)
def _read(text: str) -> Reading:
    chunks = _chunks(text)
    senses = frozenset(hit.sense for chunk in chunks for hit in chunk.hits)
    heads = [_GRAMMAR.head(chunk.hits) for chunk in chunks]
    built = False
    for i, chunk in enumerate(chunks):
        rank, head = heads[i]
        # "Masonry 200, insulation 100" lists what a wall is made of.
        if built and rank == 4 and head is not None and head.sense == "insulation":
            heads[i] = 0, None
        built |= any(hit.sense in _GRAMMAR.built for hit in chunk.hits)
    free = [i for i, chunk in enumerate(chunks) if chunk.relation == "then" or i == 0]
    places = [(i, rank) for where in (free, range(len(chunks))) for rank in (4, 3, 2, 1) for i in where]
    at = next((i for i, rank in places if heads[i][0] == rank), 0)
    head = heads[at][1] if heads else None
    if head is None:
        return Reading({}, senses=senses)
    hits = chunks[at].hits
    near = {hit.sense for hit in hits if hit is not head}
    for chunk in chunks[at + 1 :]:
        if chunk.relation == "then":
            break
        if chunk.relation == "of":
            near |= {hit.sense for hit in chunk.hits}
        elif head.sense in _GRAMMAR.placed:
            # A strip at a part is told by that part; under a cover or beside a seal it is not one of these.
            near |= {hit.sense for hit in chunk.hits} - _GRAMMAR.layers - {"cover"}
    further = {hit.sense for chunk in chunks if chunk.relation == "then" for hit in chunk.hits}
    claims = dict(_GRAMMAR.claims(head.sense, near, further & _GRAMMAR.further))
    for hit in hits:
        if hit is not head and hit.sense != head.sense and _GRAMMAR.rank(hit, hits) == 4:
            for role, value in _GRAMMAR.claims(hit.sense, set(), set()).items():
                claims[role] = max(claims.get(role, 0.0), 0.5 * value)
    return Reading(claims, head.sense, " ".join(dict.fromkeys(hit.word for hit in hits))[:_SHOWN], senses)


def _chunks(text: str) -> list[_Chunk]:
    chunks: list[tuple[str, list[str]]] = [("then", [])]
    for piece in _PIECES.findall(unicodedata.normalize("NFKC", text)[:LONGEST]):
        if not piece[0].isalpha():
            chunks.append(("then", []))
            continue
        # SockelBlech is written for Sockel Blech.
        cuts = [i for i in range(1, len(piece)) if piece[i - 1].islower() and piece[i].isupper()]
        for word in (piece[a:b] for a, b in zip([0, *cuts], [*cuts, len(piece)], strict=True)):
            relation = _GRAMMAR.relations.get(folded(word))
            if relation is None:
                chunks[-1][1].append(word)
            else:
                chunks.append((relation, []))
    return [_Chunk(relation, _hits(words)) for relation, words in chunks if words]


def _hits(words: list[str]) -> tuple[_Hit, ...]:
    """Known words from left to right, the longest where several begin at one place."""
    line, owner = " ", [-1]
    for number, word in enumerate(words):
        plain = folded(word) + " "
        line += plain
        owner += [number] * len(plain)
    hits: list[_Hit] = []
    place, after = 1, 1
    while place < len(line) - 1:
        stem = _GRAMMAR.stem(line, place, after)
        if stem is None:
            place += 1
            continue
        # "null" words are there so that no shorter word is seen in them.
        if stem.sense != "null":
            hits.append(_Hit(stem, owner[place], words[owner[place]]))
        place += len(stem.text)
        after = place
    return tuple(hits)
