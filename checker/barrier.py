"""The airtight line: the seams as links between parts, walked up each bay, round each row and round each opening.

Like a pencil line through a section that is never lifted, in three dimensions: it goes from part to part over the
seams, and is closed where a layer of the airtight line covers each seam on its way.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import (
    BaseSeams,
    CornerSeams,
    Facade,
    Layer,
    OpeningSeams,
    PanelEdgeSeams,
    PanelEndSeams,
    PlinthJoints,
    RoofEdgeSeams,
    Seams,
    Sides,
    Subjects,
    Zone,
    unique,
)
from checker.layers import cover
from checker.model import Bools, Floats, Ints
from checker.plan import section
from checker.result import Airtight
from checker.stated import statements

CLOSED: Final = 0
BROKEN: Final = 1
ABSENT: Final = 2
UNKNOWN: Final = 3
OPEN_JOINT: Final = 1e-3
"""A layer whose pieces gape by no more is closed (metres): common practice, no source."""


@dataclass(frozen=True)
class Links:
    """Every seam of the facade as a link (m,) of the airtight line: its ``kind`` and its number in it, ``state``.

    ``first`` and ``second`` are the element numbers of the two parts it joins (-1 for none), ``length`` and ``open``
    metres of it and of what is open, ``layer`` the name of the layer that closes it or fails to, ``point`` (m, 3).
    ``stated`` marks links that are closed because the models state so.
    """

    kind: tuple[type[Seams], ...]
    number: Ints
    state: Ints
    first: Ints
    second: Ints
    length: Floats
    open: Floats
    layer: tuple[str, ...]
    point: Floats
    stated: Bools


@dataclass(frozen=True)
class AirLines(Subjects):
    """Walks along the airtight line (n,): ``links`` are numbers of the links on the way, in order.

    ``worst`` (n,) is the number of the broken link that is open most, -1 where none is broken: ``side``, ``axis`` and
    ``point`` are its own then, and ``frame`` (n, 3, 3) that of its seam. ``home`` is the side where the walk begins.
    """

    links: tuple[Ints, ...]
    worst: Ints
    frame: Floats
    home: Ints

    def axes(self, i: int, sides: Sides) -> Floats:
        """Those of the seam where the walk is broken."""
        result: Floats = self.frame[i]
        return result


def links(facade: Facade) -> Links:
    """The links of the airtight line (kept)."""
    if "links" not in facade.kept:
        facade.kept["links"] = _links(facade)
    result: Links = facade.kept["links"]
    return result


def _in_corner(seams: Seams) -> tuple[Zone, ...]:
    """From the column behind a corner to the panels' outer faces."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - BESIDE, high + BESIDE, seams.inner - BESIDE, seams.outer),)


BESIDE: Final = 0.60
"""What closes a corner lies no further from the panels that meet there (metres)."""
CORNER_SEAL: Final = Layer(
    "corner-seal",
    "seal or foam in a corner",
    ("seal", "foam"),
    (CornerSeams,),
    _in_corner,
    stands_in=("sealant", "tape"),
    airtight=True,
    may_lap=True,
)
"""Strips behind both panel ends, or foam between them: what runs up the whole corner closes it, if it joins both."""
LOOKED_AT: Final = 2.0
"""A corner is looked at from above once for so much of its height, at least once (metres)."""
WALKED: Final[tuple[type[Seams], ...]] = (
    PanelEndSeams,
    PanelEdgeSeams,
    BaseSeams,
    CornerSeams,
    OpeningSeams,
    RoofEdgeSeams,
    PlinthJoints,
)
"""Kinds of seams over which the line goes from part to part."""


def _links(facade: Facade) -> Links:
    parts = [_links_of(facade, kind) for kind in WALKED]

    def gather(name: str) -> np.ndarray:
        return np.concatenate([getattr(part, name) for part in parts])

    return Links(
        kind=tuple(kind for part in parts for kind in part.kind),
        number=gather("number"),
        state=gather("state"),
        first=gather("first"),
        second=gather("second"),
        length=gather("length"),
        open=gather("open"),
        layer=tuple(name for part in parts for name in part.layer),
        point=gather("point"),
        stated=gather("stated"),
    )


def _links_of(facade: Facade, kind: type[Seams]) -> Links:
    """The seams of one kind: closed by whichever of its airtight layers covers it best."""
    seams, count = facade.seams[kind], len(facade.seams[kind])
    state, gap = np.full(count, ABSENT), seams.length.copy()
    layer, point, stated = np.full(count, "", dtype=object), seams.point.copy(), np.zeros(count, bool)
    for each in (*facade.layers, CORNER_SEAL):
        if not each.airtight or kind not in each.seams or not count:
            continue
        found = cover(facade, each, kind)
        if found.modelled:
            open_now = np.where(found.gap <= OPEN_JOINT + g.SAME_LENGTH, 0.0, (1.0 - found.share) * seams.length)
            now = np.where(found.doubtful >= 0, UNKNOWN, np.where(open_now > 0, BROKEN, CLOSED))
            spot = np.clip(0.5 * (found.gap_from + found.gap_to), seams.start, seams.end)
            middle = 0.5 * (seams.near + np.where(np.isnan(seams.far), seams.near, seams.far))
            place = seams.world(spot, np.nan_to_num(middle, nan=0.0), 0.5 * (seams.inner + seams.outer))
            place = np.where(np.isnan(middle)[:, None], seams.point, place)
            if each is CORNER_SEAL:
                apart = (now == CLOSED) & ~_joined(facade, seams)
                now, open_now = np.where(apart, BROKEN, now), np.where(apart, seams.length, open_now)
        else:
            said, _ = statements(facade, each, seams)
            now, open_now = np.where(said > 0, CLOSED, ABSENT), np.where(said > 0, 0.0, seams.length)
            place = seams.point
        # Closed before what cannot be measured before broken before absent.
        rank = np.array([0, 2, 3, 1])
        better = (rank[now] < rank[state]) | ((now == state) & (open_now < gap))
        state, gap = np.where(better, now, state), np.where(better, open_now, gap)
        layer[better], point[better] = each.name, place[better]
        stated = np.where(better, (now == CLOSED) & (not found.modelled), stated)
    state = np.where([bool(fault) for fault in seams.fault], UNKNOWN, state) if count else state
    return Links(
        (kind,) * count,
        np.arange(count),
        state,
        seams.left.copy(),
        seams.right.copy(),
        seams.length,
        gap,
        tuple(str(name) for name in layer),
        point,
        stated,
    )


def _joined(facade: Facade, seams: Seams) -> Bools:
    """Whether at each corner (n,) what seals it leads from one panel to the other, seen from above.

    It may do so over the column behind, which counts as closed on all its sides. Bare contact of panel and column or
    of both panels seals nothing.
    """
    seals = facade.elements_of(*sorted(CORNER_SEAL.any_role))
    posts = facade.elements_of("column")
    meshes, boxes = facade.model.meshes, facade.boxes

    def cuts(elements: Ints, i: int, z: float, whole: bool = False) -> list[Any]:
        off = np.maximum(boxes.low[elements, :2] - seams.point[i, :2], seams.point[i, :2] - boxes.high[elements, :2])
        near = (
            (off.max(axis=1, initial=-np.inf) < BESIDE) & (boxes.low[elements, 2] < z) & (boxes.high[elements, 2] > z)
        )
        found = [section(meshes, e, z) for e in elements[near].tolist()]
        return [shapely.convex_hull(each) if whole else each for each in found if not each.is_empty]

    def leads_over(i: int, z: float) -> bool:
        one, two = (cuts(part[[i]], i, z) for part in (seams.left, seams.right))
        bare, lining = [*one, *two, *cuts(posts, i, z, whole=True)], cuts(seals, i, z)
        reached, seen = set[int](range(len(one))), list[int](range(len(one)))
        everything = [*bare, *lining]
        while seen:
            a = seen.pop()
            for b in set(range(len(everything))) - reached:
                steps_on_seal = max(a, b) >= len(bare)
                if steps_on_seal and shapely.distance(everything[a], everything[b]) <= OPEN_JOINT + g.SAME_LENGTH:
                    reached.add(b)
                    seen.append(b)
        return bool(reached & set(range(len(one), len(one) + len(two))))

    looks = np.ceil(np.maximum(seams.length, g.SAME_LENGTH) / LOOKED_AT).astype(np.int64)
    heights = [seams.start[i] + seams.length[i] * (np.arange(n) + 0.5) / n for i, n in enumerate(looks.tolist())]
    return np.array([all(leads_over(i, z) for z in heights[i].tolist()) for i in range(len(seams))], bool)


def shares(facade: Facade) -> Airtight:
    """How much of the seams on the airtight line is closed, broken, not modelled, undecided, in metres."""
    every = links(facade)
    metres = np.bincount(every.state, every.length, 4)
    broken = float(every.open[every.state == BROKEN].sum())
    return Airtight(
        closed_m=float(metres[CLOSED] + metres[BROKEN] - broken),
        stated_m=float(every.length[every.stated].sum()),
        broken_m=broken,
        not_modelled_m=float(metres[ABSENT]),
        undecided_m=float(metres[UNKNOWN]),
    )


def air_lines(facade: Facade) -> AirLines:
    """Every walk: up each stack of panels from base to roof edge, round each row, round each opening."""
    every = links(facade)
    walks: list[tuple[str, str, int, str, int, Ints]] = []
    for side, axis, numbers in _stacks(facade, every):
        walks.append((f"up/{facade.sides.names[side]}/{axis}", "up", side, axis, 0, numbers))
    for side, row, numbers in _rounds(facade, every):
        walks.append((f"round/{facade.sides.names[side]}/{row}", "round", side, "", row, numbers))
    for side, axis, numbers in _rings(facade, every):
        walks.append((f"opening/{facade.sides.names[side]}/{axis}", "opening", side, axis, 0, numbers))
    parts = [np.unique(np.concatenate([every.first[w[5]], every.second[w[5]]])) for w in walks]
    parts = [each[each >= 0] for each in parts]
    widest = max((len(each) for each in parts), default=1)
    table = np.full((len(walks), widest), -1, np.int64)
    for i, each in enumerate(parts):
        table[i, : len(each)] = each
    home = np.array([w[2] for w in walks], np.int64)
    worst, sides, frame = np.full(len(walks), -1, np.int64), home.copy(), facade.sides.frame[home]
    point = np.array([every.point[w[5]].mean(axis=0) for w in walks], float).reshape(-1, 3)
    axes = [w[3] for w in walks]
    for i, walk in enumerate(walks):
        broken = walk[5][every.state[walk[5]] == BROKEN]
        if len(broken):
            k = worst[i] = int(broken[every.open[broken].argmax()])
            seams, number = facade.seams[every.kind[k]], int(every.number[k])
            sides[i], frame[i], point[i] = seams.side[number], seams.frame[number], every.point[k]
            axes[i] = seams.axis[number]
    return AirLines(
        kind=tuple(f"air-line {w[1]}" for w in walks),
        ids=unique([f"air-line/{w[0]}" for w in walks]),
        side=sides,
        axis=tuple(axes),
        row=np.array([w[4] for w in walks], np.int64),
        length=np.array([every.length[w[5]].sum() for w in walks], float),
        parts=table,
        point=point,
        fault=("",) * len(walks),
        links=tuple(w[5] for w in walks),
        worst=worst,
        frame=frame,
        home=home,
    )


def _stacks(facade: Facade, every: Links) -> list[tuple[int, str, Ints]]:
    """Up each bay: the base seam below a panel, the joints over it and over those above, the roof edge on top.

    Panels are followed from one to those that stand on it; panels side by side on one panel are in one stack.
    """
    upward = [k for k, kind in enumerate(every.kind) if kind in (BaseSeams, PanelEdgeSeams, RoofEdgeSeams)]
    group: dict[int, int] = {int(e): int(e) for e in facade.panels.element}

    def root(element: int) -> int:
        while group[element] != element:
            group[element] = group[group[element]]
            element = group[element]
        return element

    for k in upward:
        a, b = int(every.first[k]), int(every.second[k])
        if every.kind[k] is PanelEdgeSeams and a in group and b in group:
            group[max(root(a), root(b))] = min(root(a), root(b))
    found: dict[int, list[int]] = {}
    for k in upward:
        own = int(every.second[k] if every.kind[k] is BaseSeams else every.first[k])
        if own in group:
            found.setdefault(root(own), []).append(k)
    side_of = dict(zip(facade.panels.element.tolist(), facade.panels.side.tolist(), strict=True))
    result = []
    for panel, numbers in found.items():
        order = np.array(sorted(numbers, key=lambda k: (round(float(every.point[k, 2]), 6), k)), np.int64)
        lowest = int(order[0])
        axis = facade.seams[every.kind[lowest]].axis[int(every.number[lowest])]
        result.append((side_of[panel], axis, order))
    return sorted(result, key=lambda each: (each[0], int(each[2][0])))


def _rounds(facade: Facade, every: Links) -> list[tuple[int, int, Ints]]:
    """Round the building: the upright seams and corners of one row, run by run of sides that meet at corners.

    The joints of the plinth are row 0.
    """
    group = list(range(len(facade.sides.names)))

    def root(side: int) -> int:
        while group[side] != side:
            side = group[side]
        return side

    side_of = dict(zip(facade.panels.element.tolist(), facade.panels.side.tolist(), strict=True))
    upright = [k for k, kind in enumerate(every.kind) if kind in (PanelEndSeams, CornerSeams, PlinthJoints)]
    for k in upright:
        if every.kind[k] is CornerSeams:
            a, b = (side_of[int(part[k])] for part in (every.first, every.second))
            group[max(root(a), root(b))] = min(root(a), root(b))
    found: dict[tuple[int, int], list[int]] = {}
    for k in upright:
        seams, i = facade.seams[every.kind[k]], int(every.number[k])
        found.setdefault((root(int(seams.side[i])), int(seams.row[i])), []).append(k)
    return [(side, row, np.array(numbers, np.int64)) for (side, row), numbers in sorted(found.items())]


def _rings(facade: Facade, every: Links) -> list[tuple[int, str, Ints]]:
    """Round each window and door: its four edges."""
    openings = facade.seams[OpeningSeams]
    here = [k for k, kind in enumerate(every.kind) if kind is OpeningSeams]
    frames = openings.frames(facade) if len(openings) else np.zeros(0, np.int64)  # type: ignore[attr-defined]
    found: dict[int, list[int]] = {}
    for k in here:
        found.setdefault(int(frames[every.number[k]]), []).append(k)
    result = []
    for numbers in found.values():
        first = int(every.number[numbers[0]])
        result.append((int(openings.side[first]), openings.axis[first], np.array(numbers, np.int64)))
    return result
