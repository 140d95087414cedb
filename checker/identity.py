"""Who is who from one release to the next: parts whose GlobalIds changed, and issues, whatever has changed about them.

Both are recognised rung by rung, the surest first. On each rung two are taken for the same only where each is the
other's nearest and nothing else comes near: what is ambiguous is not matched, and is told.
"""

import hashlib
import math
import re
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
import shapely

from checker.geometry import boxes
from checker.model import Floats, Ints, Model, Source

Point = tuple[float, float, float]

SAME_PLACE_M: Final = 0.5
"""Defects on the same parts are one when they lie no further apart: half the height of a usual panel."""
ALIKE: Final = 0.5
"""Two sets of parts are those of one defect when they share at least this portion."""
OTHER_WORDS: Final = 0.25
"""What it costs, in metres, when a rule blames another end or part than before."""
OTHER_PARTS: Final = 1.0
"""What it costs, in metres, when no part is shared (some are: less)."""
OVER: Final = 0.25
"""What it costs, in metres, when the old issue was mended already: one that was still there explains a fault better."""
UNCLEAR_M: Final = 0.05
"""A second candidate that costs no more than this above the best one leaves it open which is meant."""
LEAST_WITNESSES: Final = 3
"""So many issues at least must show that the building has moved as a whole."""
SLACK_M: Final = 0.025
"""Bodies are taken this much larger on every side: a thin strip that moved by its thickness still lies in its place."""
OVERLAP: Final = 0.5
"""Bodies are in one place when they share at least this portion of the space that both take."""
SAME_M: Final = 1e-4
"""Boxes that differ by less (0.1 mm) are the same: what lengths are promised to."""
SAME_SHAPE: Final = 1e-5
"""Bodies whose area and volume differ by a smaller portion have one shape."""

_TOPICS: Final = uuid.UUID("0d5c3f52-7b1c-5f0e-9a0e-2f1f7c7a5a10")
"""Name space of topic GUIDs: made once, never to be changed."""

SAME_PARTS: Final = "same parts"
PARTS_AGAIN: Final = "parts with new GlobalIds"
SAME_PLACE: Final = "rule and place"


def check_id_of(rule: str, what: str, guids: Sequence[str]) -> str:
    """The canonical text that names an issue: its rule, what is blamed, the GlobalIds of the parts that name it.

    GlobalIds come from files: signs that a text on one line cannot carry are replaced.
    """
    return "|".join((rule, what, *(re.sub(r"[^!-{}~]", "_", guid) for guid in guids)))


def key_of(check_id: str) -> str:
    """The eight digits that reports show for an issue."""
    return hashlib.sha256(check_id.encode()).hexdigest()[:8]


def topic_of(check_id: str) -> str:
    """The GUID of an issue's topic: a check id proves a topic to be ours."""
    return str(uuid.uuid5(_TOPICS, check_id))


def release_id(sources: Iterable[Source]) -> str:
    """What names a release: twelve digits of the hash of its models, whatever their files are called.

    >>> release_id([]) == release_id([])
    True
    """
    return hashlib.sha256("".join(sorted(source.sha256 for source in sources)).encode()).hexdigest()[:12]


def settled(costs: Mapping[tuple[int, int], float], margin: float) -> tuple[dict[int, int], list[tuple[int, int]]]:
    """Pairs (old to new) in which each is the cheapest for the other by more than ``margin``, and what stays unclear.

    What is settled is taken out before the rest is looked at again, so that the order of the candidates means nothing.

    >>> settled({(0, 0): 0.0, (0, 1): 0.9, (1, 1): 0.2}, 0.1)
    ({0: 0, 1: 1}, [])
    >>> settled({(0, 0): 0.3, (0, 1): 0.3}, 0.1)
    ({}, [(0, 0), (0, 1)])
    """
    found: dict[int, int] = {}
    left = dict(costs)
    while left:
        rows: dict[int, list[tuple[float, int]]] = {}
        columns: dict[int, list[tuple[float, int]]] = {}
        for (old, new), cost in left.items():
            rows.setdefault(old, []).append((cost, new))
            columns.setdefault(new, []).append((cost, old))
        nearest = {old: _clearly(candidates, margin) for old, candidates in rows.items()}
        wanted = {new: _clearly(candidates, margin) for new, candidates in columns.items()}
        sure = {old: new for old, new in nearest.items() if new is not None and wanted[new] == old}
        if not sure:
            break
        found |= sure
        taken = set(sure.values())
        left = {(old, new): cost for (old, new), cost in left.items() if old not in sure and new not in taken}
    return dict(sorted(found.items())), sorted(left)


def _clearly(candidates: list[tuple[float, int]], margin: float) -> int | None:
    """The cheapest candidate, unless a second one costs about the same."""
    (cost, best), *others = sorted(candidates)
    return None if others and others[0][0] - cost <= margin else best


# ---- parts ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Parts:
    """The parts at the seams of one release: n elements that have a role and a body.

    ``box`` (n, 2, 3) low and high corner along the world axes in metres, ``area`` (n,) in m2, ``volume`` (n,) in m3.
    ``model`` is the name of the model that each is in.
    """

    guid: tuple[str, ...]
    role: tuple[str, ...]
    ifc_class: tuple[str, ...]
    name: tuple[str, ...]
    tag: tuple[str, ...]
    model: tuple[str, ...]
    box: Floats
    area: Floats
    volume: Floats

    def __len__(self) -> int:
        return len(self.guid)


def parts_of(model: Model) -> Parts:
    """The parts of a model that seams can be made of."""
    has_body = np.diff(model.meshes.triangle_start) > 0
    chosen = [i for i, role in enumerate(model.roles) if role.role and has_body[i]]
    elements = [model.elements[i] for i in chosen]
    body = boxes(model.meshes)
    which = np.array(chosen, np.int64)
    return Parts(
        guid=tuple(e.guid for e in elements),
        role=tuple(model.roles[i].role for i in chosen),
        ifc_class=tuple(e.ifc_class for e in elements),
        name=tuple(e.name for e in elements),
        tag=tuple(e.tag for e in elements),
        model=tuple(model.sources[e.source].name for e in elements),
        box=np.stack([body.low[which], body.high[which]], axis=1) + model.origin,
        area=body.area[which],
        volume=body.volume[which],
    )


@dataclass(frozen=True)
class PartChanges:
    """What became of the parts at the seams.

    ``same`` (k, 2) are places in the old and the new `Parts` of one element, ``rung`` (k) by what each was recognised:
    ``GlobalId``, ``mark`` or ``body``. ``added`` index into the new, ``removed`` into the old ones; ``moved`` and
    ``reshaped`` into ``same``. ``unclear`` are the old ones that several others could be.
    """

    same: Ints
    rung: tuple[str, ...]
    added: Ints
    removed: Ints
    moved: Ints
    reshaped: Ints
    unclear: Ints

    def again(self, old: Parts, new: Parts) -> dict[str, str]:
        """New GlobalIds by old ones, of the parts that have another one now."""
        pairs = ((old.guid[o], new.guid[n]) for o, n in self.same.tolist())
        return {o: n for o, n in pairs if o != n}


def part_changes(old: Parts, new: Parts) -> PartChanges:
    """Recognise every part by its GlobalId, else by a mark no other has, else by class, name and the place of its body.

    A mark counts only where the body does not speak against it: marks that count through a model all shift when one
    part more stands in it.
    """
    pairs: dict[int, int] = {}
    rung: dict[int, str] = {}

    def take(found: Mapping[int, int], by: str) -> None:
        pairs.update(found)
        rung.update(dict.fromkeys(found, by))

    def left(parts: Parts, taken: Iterable[int]) -> list[int]:
        used = set(taken)
        return [i for i in range(len(parts)) if i not in used]

    take(_unique(old.guid, new.guid, range(len(old)), range(len(new))), "GlobalId")
    overlaps = _overlaps(old, new, left(old, pairs), left(new, pairs.values()))
    beaten = {o: n for (o, n), share in overlaps.items() if share >= OVERLAP}
    for marks_old, marks_new in ((old.tag, new.tag), (old.name, new.name)):
        of = [
            [f"{r}/{c}/{mark}" if mark else "" for r, c, mark in zip(p.role, p.ifc_class, marks, strict=True)]
            for p, marks in ((old, marks_old), (new, marks_new))
        ]
        found = _unique(of[0], of[1], left(old, pairs), left(new, pairs.values()))
        take({o: n for o, n in found.items() if o not in beaten or (o, n) in overlaps}, "mark")
    rest_old, rest_new = set(left(old, pairs)), set(left(new, pairs.values()))
    found, open_ = settled(
        {
            (o, n): 1.0 - share
            for (o, n), share in overlaps.items()
            if share >= OVERLAP
            and o in rest_old
            and n in rest_new
            and (old.ifc_class[o], old.name[o]) == (new.ifc_class[n], new.name[n])
        },
        UNCLEAR_M,
    )
    take(found, "body")
    same = np.array(sorted(pairs.items()), np.int64).reshape(-1, 2)
    o, n = same.T
    other_box = np.abs(old.box[o] - new.box[n]).max(axis=(1, 2), initial=0.0) > SAME_M
    other_shape = _differ(old.area[o], new.area[n]) | _differ(old.volume[o], new.volume[n])
    return PartChanges(
        same=same,
        rung=tuple(rung[i] for i in o.tolist()),
        added=np.array(left(new, pairs.values()), np.int64),
        removed=np.array(left(old, pairs), np.int64),
        moved=np.flatnonzero(other_box & ~other_shape),
        reshaped=np.flatnonzero(other_shape),
        unclear=np.unique([o for o, _ in open_]).astype(np.int64),
    )


def _differ(old: Floats, new: Floats) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
    return np.abs(old - new) > SAME_SHAPE * np.maximum(np.abs(old), np.abs(new)) + 1e-12


def _unique(old: Sequence[str], new: Sequence[str], of_old: Iterable[int], of_new: Iterable[int]) -> dict[int, int]:
    """Pairs of equal words that occur once among the old and once among the new; a blank is no word."""
    mine, theirs = list(of_old), list(of_new)
    once_old, once_new = Counter(old[i] for i in mine), Counter(new[i] for i in theirs)
    where = {new[i]: i for i in theirs if once_new[new[i]] == 1}
    return {i: where[old[i]] for i in mine if old[i] and once_old[old[i]] == 1 and old[i] in where}


def _overlaps(old: Parts, new: Parts, of_old: Sequence[int], of_new: Sequence[int]) -> dict[tuple[int, int], float]:
    """The portion of space that bodies of one role share, for every pair of old and new that touch."""
    if not of_old or not of_new:
        return {}
    low_old, high_old = old.box[list(of_old), 0] - SLACK_M, old.box[list(of_old), 1] + SLACK_M
    low_new, high_new = new.box[list(of_new), 0] - SLACK_M, new.box[list(of_new), 1] + SLACK_M
    tree = shapely.STRtree(shapely.box(*low_new[:, :2].T, *high_new[:, :2].T))
    o, n = tree.query(shapely.box(*low_old[:, :2].T, *high_old[:, :2].T))
    sides = np.minimum(high_old[o], high_new[n]) - np.maximum(low_old[o], low_new[n])
    shared = np.prod(np.maximum(sides, 0.0), axis=1)
    both = np.prod(high_old[o] - low_old[o], axis=1) + np.prod(high_new[n] - low_new[n], axis=1) - shared
    result = {}
    for i, j, share in zip(o.tolist(), n.tolist(), (shared / both).tolist(), strict=True):
        if share > 0 and old.role[of_old[i]] == new.role[of_new[j]]:
            result[of_old[i], of_new[j]] = share
    return result


# ---- issues ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Trace:
    """What an issue is recognised by: its check id, its rule, the GlobalIds and marks of its parts, its places.

    ``points`` are in model coordinates, the worst first; of an earlier issue only that one is known, or none. ``over``
    says that it was no longer there when it was last told of.
    """

    check_id: str
    rule: str
    parts: frozenset[str]
    marks: frozenset[str] = frozenset()
    points: tuple[Point, ...] = ()
    over: bool = False


@dataclass(frozen=True, slots=True)
class Matches:
    """Which old issue (by number) each new one continues, and by which rung; old ones that several new ones may be."""

    continued: Mapping[int, tuple[int, str]]
    unclear: Mapping[int, tuple[int, ...]]


def what_of(check_id: str) -> str:
    """The words in a check id between the rule and the parts that name the issue."""
    fields = check_id.split("|")
    return fields[1] if len(fields) > 1 else ""


def base_of(check_id: str) -> str:
    """A check id without the number that tells issues on the same parts apart.

    >>> base_of("seam-width|panel|0Abc|#2"), base_of("seam-width|panel|0Abc")
    ('seam-width|panel|0Abc', 'seam-width|panel|0Abc')
    """
    head, _, tail = check_id.rpartition("|")
    return head if tail.startswith("#") else check_id


def numbered(base: str, number: int) -> str:
    """The check id of the first, second, ... issue on the same parts."""
    return base if number == 1 else f"{base}|#{number}"


def same_issues(old: Sequence[Trace], new: Sequence[Trace], again: Mapping[str, str], present: Set[str]) -> Matches:
    """Recognise issues of an earlier release: by their parts, else by rule and place where parts have gone.

    ``again`` gives the present GlobalIds of parts that have new ones, ``present`` are all GlobalIds of this release.
    The same parts may have another place, as when the building has moved, or a place nearby and some other parts.
    """
    parts = [frozenset(again.get(p, p) for p in trace.parts) for trace in old]
    shift = _common_shift(old, new)
    places = [np.array(t.points[0]) + shift if t.points else None for t in old]
    alike = Counter(base_of(t.check_id) for t in old), Counter(base_of(t.check_id) for t in new)

    def distance(o: int, n: int) -> float:
        """From the old place to the nearest of the new ones: which is the worst changes easily. 0 where not known."""
        if places[o] is None or not new[n].points:
            return 0.0
        return float(np.linalg.norm(np.array(new[n].points) - places[o], axis=1).min())

    def words(o: int, n: int) -> float:
        """What it costs that two issues are not named alike, or that the old one was mended already."""
        return named(o, n) + OVER * old[o].over

    def named(o: int, n: int) -> float:
        ids = old[o].check_id, new[n].check_id
        bases = base_of(ids[0]), base_of(ids[1])
        if what_of(ids[0]) != what_of(ids[1]):
            return OTHER_WORDS
        # Twins, alike in everything, keep their numbers as long as none of them is missing.
        twins = bases[0] == bases[1] and alike[0][bases[0]] == alike[1][bases[1]]
        return 2 * UNCLEAR_M if twins and ids[0] != ids[1] else 0.0

    by_parts: dict[tuple[int, int], float] = {}
    for o, n in _sharing(old, parts, new):
        shared, fewest = len(parts[o] & new[n].parts), min(len(parts[o]), len(new[n].parts))
        share, least = (shared / len(parts[o] | new[n].parts), shared / fewest) if fewest else (1.0, 1.0)
        if share >= ALIKE or (least >= ALIKE and distance(o, n) <= SAME_PLACE_M):
            by_parts[o, n] = distance(o, n) + OTHER_PARTS * (1.0 - share) + words(o, n)
    found, open_ = settled(by_parts, UNCLEAR_M)
    continued = {n: (o, SAME_PARTS if _alike(old[o].parts, new[n].parts) else PARTS_AGAIN) for o, n in found.items()}

    done = {*found, *(o for o, _ in open_)}, {*found.values(), *(n for _, n in open_)}
    gone = [o for o in range(len(old)) if o not in done[0] and places[o] is not None and not parts[o] <= present]
    free = [n for n in range(len(new)) if n not in done[1]]
    by_place: dict[tuple[int, int], float] = {}
    for o, n in _near(old, places, new, gone, free):
        if distance(o, n) <= SAME_PLACE_M and what_of(old[o].check_id) == what_of(new[n].check_id):
            marks = old[o].marks | new[n].marks
            other = 1.0 - len(old[o].marks & new[n].marks) / len(marks) if marks else 0.0
            by_place[o, n] = distance(o, n) + OTHER_PARTS * other + OVER * old[o].over
    found, vague = settled(by_place, UNCLEAR_M)
    continued |= {n: (o, SAME_PLACE) for o, n in found.items()}
    unclear: dict[int, tuple[int, ...]] = {}
    for o, n in sorted([*open_, *vague]):
        unclear[o] = (*unclear.get(o, ()), n)
    return Matches(dict(sorted(continued.items())), unclear)


def _alike(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether so many parts are the same that no other proof is needed."""
    return len(one & other) >= ALIKE * min(len(one), len(other))


def _common_shift(old: Sequence[Trace], new: Sequence[Trace]) -> Floats:
    """By how much the whole building has moved, as most issues that are alone on their parts show; else nothing."""
    named = [{trace.check_id: trace.points for trace in traces if trace.points} for traces in (old, new)]
    alone = [Counter(base_of(t.check_id) for t in traces) for traces in (old, new)]
    both = [name for name in named[0] if name in named[1] and alone[0][base_of(name)] == alone[1][base_of(name)] == 1]
    if len(both) < LEAST_WITNESSES:
        return np.zeros(3)
    ways = np.array([np.subtract(named[1][name][0], named[0][name][0]) for name in both])
    middle: Floats = np.median(ways, axis=0)
    agree = np.linalg.norm(ways - middle, axis=1) <= SAME_PLACE_M
    return middle if np.linalg.norm(middle) > SAME_PLACE_M and 2 * agree.sum() > len(ways) else np.zeros(3)


def _sharing(old: Sequence[Trace], parts: Sequence[frozenset[str]], new: Sequence[Trace]) -> Iterator[tuple[int, int]]:
    """Pairs of one rule that have a part in common; where no part can be named, the name itself must do."""
    having: dict[tuple[str, str], list[int]] = {}
    for n, trace in enumerate(new):
        for part in trace.parts or [f"|{base_of(trace.check_id)}"]:
            having.setdefault((trace.rule, part), []).append(n)
    for o, trace in enumerate(old):
        keys = parts[o] or [f"|{base_of(trace.check_id)}"]
        yield from ((o, n) for n in sorted({n for part in keys for n in having.get((trace.rule, part), ())}))


def _near(
    old: Sequence[Trace],
    places: Sequence[Floats | None],
    new: Sequence[Trace],
    gone: Iterable[int],
    free: Iterable[int],
) -> Iterator[tuple[int, int]]:
    """Pairs of one rule in the same or in neighbouring cells of a grid as wide as a place is."""
    cells: dict[tuple[str, int, int, int], set[int]] = {}
    for n in free:
        for point in new[n].points:
            cells.setdefault((new[n].rule, *_cell(point)), set()).add(n)
    for o in gone:
        x, y, z = _cell(places[o])  # type: ignore[arg-type]
        around = ((x + a, y + b, z + c) for a, b, c in product((-1, 0, 1), repeat=3))
        yield from ((o, n) for n in sorted(set().union(*(cells.get((old[o].rule, *cell), set()) for cell in around))))


def _cell(point: Iterable[float]) -> tuple[int, int, int]:
    x, y, z = (math.floor(c / SAME_PLACE_M) for c in point)
    return x, y, z
