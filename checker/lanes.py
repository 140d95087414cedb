"""Where the parts of a layer lie: pieces as stretches along the lines of seams, in the lanes of the layer.

Bodies are clipped to the zone of a line's section; what is left of them covers a stretch of the line.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import Facade, Layer, Seams, Zone
from checker.model import Bools, Floats, Ints

SEARCH: Final = 0.25
"""A part of the right role this near to a zone was meant for it, though it lies wrong."""
THROUGH: Final = 0.7
"""A piece runs through a zone, from inside outwards, when the cosine of its direction with out is above this."""
STRAIGHT: Final = 0.99996
"""A part runs along a line, and not askew to it, when the cosine of its direction with it is above this (half a
degree)."""
LEAST_LEVEL: Final = 0.5
"""Lines that slope by more than this, as the cosine of their slope, are none of roof edges."""
END_SECTION: Final = 0.02
"""So far from its ends a piece is cut to see how high its section is there (metres)."""
WIDEST_STRIP: Final = 0.30
"""A part no wider than this, and three times as long, has one direction."""
CORNER_STRETCH: Final = 0.15
"""What runs along an edge of a frame so near to its corner must meet what runs along the next edge."""
MEANT: Final = 0.4
"""Parts that stand in for a layer run along this share of it at least; a strip gone astray is none of it."""
TOUCH: Final = 5e-4
"""A part lies in a zone when it reaches further into it than this; a thinner one with more than half of itself."""


@dataclass(frozen=True)
class Pieces:
    """Stretches of parts in lanes: lane key, element, start and end along, and whether the part runs along the seam.

    ``low`` and ``high`` (k, 2) tell what of the zone's section, across and out, the part takes; ``reach_low`` and
    ``reach_high`` (k, 2) how far it reaches there beyond the zone, as far as `SEARCH`.
    """

    lane: Ints
    element: Ints
    start: Floats
    end: Floats
    parallel: Bools
    low: Floats
    high: Floats
    reach_low: Floats
    reach_high: Floats

    def astray(self, placed: set[int]) -> "Pieces":
        """Pieces that run along their line and lie in their place nowhere."""
        return self.take(self.parallel & np.array([e not in placed for e in self.element.tolist()], bool))

    def meets(self, ends: tuple[Floats, Floats]) -> Bools:
        """Which pieces lie beside their line (``ends`` of all lines) and not beyond its ends."""
        first, last = ends
        result: Bools = (self.end > first[self.lane] + g.SAME_LENGTH) & (self.start < last[self.lane] - g.SAME_LENGTH)
        return result

    def take(self, keep: Bools) -> "Pieces":
        """Some of the pieces."""
        return Pieces(*(getattr(self, name)[keep] for name in Pieces.__dataclass_fields__))

    @classmethod
    def joined(cls, *several: "Pieces") -> "Pieces":
        """All pieces of several lanes on the same lines, as of one lane."""
        lane = np.concatenate([each.lane for each in several])
        order = np.argsort(lane, kind="stable")
        names = cls.__dataclass_fields__
        return cls(*(np.concatenate([getattr(each, name) for each in several])[order] for name in names))


_NOBODY, _NOWHERE, _NOTHING = np.zeros(0, np.int64), np.zeros(0), np.zeros((0, 2))
NO_PIECES: Final = Pieces(
    _NOBODY, _NOBODY, _NOWHERE, _NOWHERE, np.zeros(0, bool), _NOTHING, _NOTHING, _NOTHING, _NOTHING
)


@dataclass(frozen=True)
class Lane:
    """One lane of a layer on the lines of seams: pieces in it, in or near it, and stretches filled by other parts."""

    inside: Pieces
    around: Pieces
    fills: Pieces


def lanes_of(facade: Facade, layer: Layer, kind: type[Seams]) -> tuple[Lane, ...]:
    """Where the parts of a layer lie, per lane."""
    own = {each: parts_in_lanes(facade, layer, each, layer.roles) for each in layer.seams}
    if not layer.stands_in or any(len(lane.inside.lane) for lanes in own.values() for lane in lanes):
        return own[kind]
    others = parts_in_lanes(facade, layer, kind, layer.stands_in)
    if not _meant(facade.seams[kind], others):
        return own[kind]
    return tuple(replace(mine, inside=other.inside) for mine, other in zip(own[kind], others, strict=True))


def _meant(seams: Seams, lanes: tuple[Lane, ...]) -> bool:
    """Whether parts of roles that stand in for a layer run along enough of it to be meant for it."""
    first, last = line_ends(seams)
    along = sum(float((lane.inside.end - lane.inside.start)[lane.inside.parallel].sum()) for lane in lanes)
    return along >= MEANT * len(lanes) * float((last - first).sum())


def parts_in_lanes(facade: Facade, layer: Layer, kind: type[Seams], roles: tuple[str, ...]) -> tuple[Lane, ...]:
    """Where parts of some roles lie in the lanes of a layer (kept)."""
    key = f"{'/'.join(roles)} in the lanes of {layer.name}/{kind.__name__}"
    if key not in facade.kept:
        seams = facade.seams[kind]
        first, last = line_ends(seams)
        lanes = []
        for zone in layer.lanes(seams):
            hull = Zone(
                g.lowest(zone.across_low, seams.line, len(first)),
                g.highest(zone.across_high, seams.line, len(first)),
                g.lowest(zone.out_low, seams.line, len(first)),
                g.highest(zone.out_high, seams.line, len(first)),
            )
            inside, around = _pieces(facade, seams, hull, first, last, facade.elements_of(*roles), layer)
            crosses = _crosses(facade, inside, _frames(seams, len(first)))
            if layer.rings:
                # The strip along the next edge of the frame fills the corner.
                near = inside.start >= last[inside.lane] - CORNER_STRETCH
                crosses &= ~(near | (inside.end <= first[inside.lane] + CORNER_STRETCH))
            inside = inside.take(~crosses)
            # What lies behind the parts of a seam is not in the way of what lies between them.
            inner = g.lowest(seams.inner, seams.line, len(first)) + TOUCH
            between = replace(hull, out_low=np.maximum(hull.out_low, inner))
            fills, _ = _pieces(facade, seams, between, first, last, facade.elements_of(*layer.yields_to))
            lanes.append(Lane(inside, around, fills))
        facade.kept[key] = tuple(lanes)
    result: tuple[Lane, ...] = facade.kept[key]
    return result


def line_ends(seams: Seams) -> tuple[Floats, Floats]:
    """First and last coordinate of each line of seams."""
    lines = int(seams.line.max()) + 1 if len(seams) else 0
    return g.lowest(seams.start, seams.line, lines), g.highest(seams.end, seams.line, lines)


def _pieces(
    facade: Facade,
    seams: Seams,
    zone: Zone,
    first: Floats,
    last: Floats,
    elements: Ints,
    layer: Layer | None = None,
) -> tuple[Pieces, Pieces]:
    """Stretches of parts that lie in the zone of each line, as ``layer`` asks it, and of all that lie in or near it."""
    frame = _frames(seams, len(first))
    line, element = _near(facade, frame, zone, first, last, elements)
    if not len(line):
        return NO_PIECES, NO_PIECES
    entries, pair = g.spread(facade.model.meshes.triangle_start, element)
    corners = facade.model.meshes.points[facade.model.meshes.triangles[entries]]
    local = np.einsum("tij,tkj->tki", frame[line[pair]], corners)
    lower, upper = (
        np.stack([zone.across_low, zone.out_low], axis=1),
        np.stack([zone.across_high, zone.out_high], axis=1),
    )
    low, high = (lower - SEARCH)[line[pair]], (upper + SEARCH)[line[pair]]
    around, reach = _stretches(facade, local, pair, line, element, frame, low, high)
    suits = np.ones(len(line), bool)
    if layer is not None and layer.centred:
        met = np.isfinite(reach[0][:, 0])
        middle = 0.5 * (reach[0][met, 0] + reach[1][met, 0])
        suits[met] = (middle > lower[line[met], 0] - TOUCH) & (middle < upper[line[met], 0] + TOUCH)
    low, high = lower[line[pair]], upper[line[pair]]
    strict = None if layer is not None and layer.reaching else zone
    inside, _ = _stretches(facade, local, pair, line, element, frame, low, high, strict, reach, suits)
    inside = _cut_plumb(facade, inside, frame, g.lowest(np.nan_to_num(seams.near), seams.line, len(first)))
    # Behind a piece that runs through, at an inner corner, the line has come to its end.
    deep = (zone.out_high - zone.out_low)[inside.lane]
    through = _runs_through(facade, inside.element, frame[inside.lane])
    first, last = first[inside.lane], last[inside.lane]
    start = np.where(through & (inside.start - first < deep), np.minimum(inside.start, first), inside.start)
    end = np.where(through & (last - inside.end < deep), np.maximum(inside.end, last), inside.end)
    return replace(inside, start=start, end=end), around.take(around.meets(line_ends(seams)))


def _cut_plumb(facade: Facade, pieces: Pieces, frame: Floats, near: Floats) -> Pieces:
    """The pieces, those on sloping lines that are cut plumb with ends where their cut meets the edge ``near`` (l,).

    Such a piece reaches further along the line at one edge of its section than at the other, and so does the next one
    that butts there.
    """
    frames = frame[pieces.lane]
    level = frames[:, 0] * [1.0, 1.0, 0.0]
    flat = np.linalg.norm(level, axis=1)
    slopes = np.flatnonzero((flat > LEAST_LEVEL) & (flat < 1 - 1e-9))
    if not len(slopes):
        return pieces
    frames, flat = frames[slopes], flat[slopes]
    level = level[slopes] / flat[:, None]
    turned = np.stack([level, np.cross(frames[:, 2], level), frames[:, 2]], axis=1)
    whole_low, whole_high = g.extents(facade.model.meshes, pieces.element[slopes], turned)
    lean = np.einsum("mj,mj->m", frames[:, 1], level)
    edge = near[pieces.lane[slopes]]
    start, end = pieces.start.copy(), pieces.end.copy()
    inset = np.minimum(END_SECTION, 0.5 * (end - start)[slopes])
    at = np.stack([start[slopes] + inset, end[slopes] - inset], axis=1)
    low, high = g.slices(facade.model.meshes, pieces.element[slopes], frames, at)
    for k, ends, reach, sign in ((0, start, whole_low[:, 0], -1.0), (1, end, whole_high[:, 0], 1.0)):
        lowest, highest = low[:, k, 0], high[:, k, 0]
        # Where along the line a plumb cut there meets a place across it; and how far the piece reaches then.
        furthest = (reach - np.where(sign * lean > 0, lowest, highest) * lean) / flat
        leans = np.abs(lean / flat) * (highest - lowest)
        plumb = np.abs(furthest - ends[slopes]) < np.maximum(0.25 * leans, g.SAME_LENGTH)
        plumb &= leans > g.SAME_LENGTH
        ends[slopes] = np.where(plumb, (reach - edge * lean) / flat, ends[slopes])
    return replace(pieces, start=start, end=np.maximum(end, start))


def _frames(seams: Seams, lines: int) -> Floats:
    """The frame (l, 3, 3) of each line of seams."""
    frame = np.zeros((lines, 3, 3))
    frame[seams.line] = seams.frame
    return frame


def _crosses(facade: Facade, pieces: Pieces, frame: Floats) -> Bools:
    """Which pieces are of strips that only cross their line: they belong to another seam and fill nothing here."""
    axis = np.einsum("mj,mij->mi", facade.boxes.axes[pieces.element, 0], frame[pieces.lane])
    length, width = facade.boxes.size[pieces.element, 0], facade.boxes.size[pieces.element, 1]
    slender = (width < WIDEST_STRIP) & (length > 3 * width)
    result: Bools = slender & (np.abs(axis[:, 0]) < 0.5) & (np.abs(axis[:, 2]) <= THROUGH)
    return result


def _runs_through(facade: Facade, element: Ints, frame: Floats) -> Bools:
    """Whether parts (m,) run from inside outwards in frames (m, 3, 3); compact ones run nowhere."""
    slender = facade.boxes.size[element, 0] >= 2.0 * facade.boxes.size[element, 1]
    result: Bools = slender & (np.abs(np.einsum("mj,mj->m", facade.boxes.axes[element, 0], frame[:, 2])) > THROUGH)
    return result


def _near(facade: Facade, frame: Floats, zone: Zone, first: Floats, last: Floats, elements: Ints) -> tuple[Ints, Ints]:
    """Pairs (line, element) whose boxes meet, found in plan and then in height."""
    if len(first) == 0 or len(elements) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    ends = np.stack([first, last], axis=1)
    across = np.stack([zone.across_low - SEARCH, zone.across_high + SEARCH], axis=1)
    out = np.stack([zone.out_low - SEARCH, zone.out_high + SEARCH], axis=1)
    corner = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    local = np.stack([ends[:, corner[:, 0]], across[:, corner[:, 1]], out[:, corner[:, 2]]], axis=2)
    world = np.einsum("lij,lci->lcj", frame, local)
    low, high = world.min(axis=1), world.max(axis=1)
    box_low, box_high = facade.boxes.low[elements], facade.boxes.high[elements]
    tree = shapely.STRtree(shapely.box(box_low[:, 0], box_low[:, 1], box_high[:, 0], box_high[:, 1]))
    line, found = tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    keep = (box_low[found, 2] <= high[line, 2]) & (box_high[found, 2] >= low[line, 2])
    order = np.lexsort((found[keep], line[keep]))
    return line[keep][order], elements[found[keep][order]]


def _stretches(
    facade: Facade,
    local: Floats,
    pair: Ints,
    line: Ints,
    element: Ints,
    frame: Floats,
    low: Floats,
    high: Floats,
    zone: Zone | None = None,
    reach: tuple[Floats, Floats] | None = None,
    suits: Bools | None = None,
) -> tuple[Pieces, tuple[Floats, Floats]]:
    """What each part covers along its line between ``low`` and ``high`` across and out, as merged stretches.

    Also the extents (m, 2) there of each pair of line and part; ``reach`` are those of a wider range. A part must be
    one that ``suits`` (m,), and with a ``zone`` have the middle of its section out in it.
    """
    covered, met = g.clip_triangles(local, low, high)
    clipped_low = np.clip(local[:, :, 1:].min(axis=1), low, high)
    clipped_high = np.clip(local[:, :, 1:].max(axis=1), low, high)
    m = len(line)
    part_low, part_high = g.lowest(clipped_low[met], pair[met], m), g.highest(clipped_high[met], pair[met], m)
    extents = part_low, part_high
    reach_low, reach_high = reach or extents
    deep, met_at_all = part_high - part_low, np.isfinite(reach_low[:, 0])
    least = np.full(deep.shape, TOUCH)
    least[met_at_all] = np.minimum(TOUCH, 0.5 * (reach_high - reach_low)[met_at_all])
    good = np.all(deep > least, axis=1)
    if suits is not None:
        good &= suits
    keep = met & good[pair]
    merged = g.merge(pair[keep], covered[keep, 0], covered[keep, 1])
    size, axes = facade.boxes.size[element], facade.boxes.axes[element]
    along = np.abs(np.einsum("mj,mj->m", axes[:, 0], frame[line][:, 0])) if m else np.zeros(0)
    # Compact parts and rings have no direction of their own and may continue any seam.
    parallel = (along > 0.85) | (size[:, 0] < 2.0 * size[:, 1])
    owner = merged.group
    pieces = Pieces(
        line[owner],
        element[owner],
        merged.start,
        merged.end,
        parallel[owner],
        part_low[owner],
        part_high[owner],
        reach_low[owner],
        reach_high[owner],
    )
    if zone is None:
        return pieces, extents
    # A part that pokes into the zone from elsewhere does not count: the middle of its section must lie inside, and of
    # a part that runs askew, over a bend, the middle of the whole.
    frames, middle = frame[pieces.lane], 0.5 * (pieces.start + pieces.end)
    near, far = g.slices(facade.model.meshes, pieces.element, frames, middle[:, None])
    whole = np.einsum("kj,kj->k", facade.boxes.centre[pieces.element], frames[:, 2])
    askew = (along < STRAIGHT) & (along > 0.5) & (size[:, 0] >= 2.0 * size[:, 1])
    depth = np.where(askew[owner], whole, 0.5 * (near + far)[:, 0, 1])
    inside = (depth > zone.out_low[pieces.lane] - TOUCH) & (depth < zone.out_high[pieces.lane] + TOUCH)
    # At an inner corner the piece of the other side, which runs outwards here, fills its own width.
    return pieces.take(inside | _runs_through(facade, pieces.element, frames)), extents
