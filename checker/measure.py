"""Verdicts that rules share: who is to blame for a seam, what a layer lacks or leaves open. Pure functions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import Crossings, Facade, Layer, PanelEdgeSeams, PanelEndSeams, Seams
from checker.foot import BASE_REACH, LINE_GAP
from checker.lanes import lanes_of, line_ends
from checker.layers import Cover, cover, on_seams, uncovered
from checker.model import Bools, Floats, Ints
from checker.occupancy import OCCUPIED
from checker.pieces import SHORTEST_HOLE, Pieces, Spread, fill, open_depth, pieces_on
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, spans, within


@dataclass(frozen=True)
class Shifts:
    """Shifts (n,) in metres to the right that bring a seam within its limits; none where ``least`` exceeds ``most``."""

    least: Floats
    most: Floats


def end_blame(
    seams: Seams,
    facade: Facade,
    bad: Bools,
    left_is_worse: Bools,
    left: Shifts,
    right: Shifts,
    column: Shifts | None = None,
    off_line: Bools | None = None,
) -> Blame:
    """Which part of each seam between panel ends should move: the column, a whole panel, or one panel's end.

    ``bad`` (n,) marks failing seams, ``left_is_worse`` whose end is further off. ``left`` and ``right`` are the shifts
    of that panel end, ``column`` those of the column, that would mend each seam; ``off_line`` (n,) marks seams whose
    column lies off their middle. A column is to blame when that holds for all its failing seams, these are at least
    half of its seams in one line, and one shift mends them without harm to the others; a panel when one shift mends
    all seams at which one of its two ends fails. Seams with one cause share a number.
    """
    count = len(seams)
    # A column may stand in storeys: each piece of it answers for its own seams.
    places, place = np.unique(np.stack([seams.line, seams.column], axis=1), axis=0, return_inverse=True)
    place, lines = place.reshape(-1), len(places)
    part = np.where(left_is_worse, seams.left, seams.right)
    least, most = np.where(left_is_worse, left.least, right.least), np.where(left_is_worse, left.most, right.most)
    what = ["end of the left panel" if worse else "end of the right panel" for worse in left_is_worse]
    anchor = np.where(seams.column >= 0, seams.column, part)
    way = np.where(least > g.SAME_LENGTH, 1, np.where(most < -g.SAME_LENGTH, 2, 0))  # to the right, to the left
    cause = 6 * place + 3 * left_is_worse + way

    # A whole panel set off: its right end fails here as a left part, its left end there as a right part.
    panels = len(facade.model.elements)
    low, high = g.highest(least[bad], part[bad], panels), g.lowest(most[bad], part[bad], panels)
    ends = (np.bincount(part[bad & here], minlength=panels) for here in (left_is_worse, ~left_is_worse))
    off = np.logical_and(*ends) & (low <= high + g.SAME_LENGTH) & ((low > g.SAME_LENGTH) | (high < -g.SAME_LENGTH))
    whole = bad & off[part]
    cause, anchor = np.where(whole, 6 * lines + part, cause), np.where(whole, part, anchor)
    what = ["panel" if whole[i] else what[i] for i in range(count)]

    if column is not None and off_line is not None:
        behind = seams.column >= 0
        low = g.highest(column.least[behind], place[behind], lines)
        high = g.lowest(column.most[behind], place[behind], lines)
        failing = np.bincount(place, bad, lines)
        number = np.bincount(place, minlength=lines)
        both = np.bincount(place, bad & off_line, lines)
        guilty = (low <= high + g.SAME_LENGTH) & (2 * failing >= number) & (both >= failing) & (failing > 0)
        mine = guilty[place] & behind
        cause = np.where(mine, 6 * place, cause)
        part = np.where(mine, seams.column, part)
        what = ["column" if mine[i] else what[i] for i in range(count)]
        least, most = np.where(mine, column.least, least), np.where(mine, column.most, most)
    return Blame(part, what, seams.frame[:, 1], least, most, cause, anchor)


def lacks(
    seams: Seams,
    facade: Facade,
    layer: Layer,
    kind: type[Seams],
    tolerance_mm: float,
    says: str,
    cause: Ints | None = None,
    anchor: Ints | None = None,
    fault: Sequence[str] | None = None,
) -> Verdicts:
    """Verdicts on a layer whose pieces must butt over the whole seam: the longest gap, or overlap (negative), decides.

    ``says`` names the layer ("Seal strip on the column"); ``cause`` groups seams into issues (default: one issue per
    missing stretch); ``anchor`` the elements that name an issue (default: column, else the left or right part).
    """
    found = cover(facade, layer, kind)
    count = len(seams)
    fault = [
        text or facade.fault_of(np.array([piece]))
        for text, piece in zip(seams.fault if fault is None else fault, found.doubtful, strict=True)
    ]
    tolerance = tolerance_mm / MM + g.SAME_LENGTH
    gap, lap = found.gap > tolerance, found.lap > tolerance
    by_gap = gap & ((found.gap >= found.lap - g.SAME_LENGTH) | ~lap)
    # What is missing of this seam; where a short gap is shared with the next seam, the whole of it.
    missing = np.where(found.own > tolerance, found.own, found.gap)
    value = np.where(by_gap | (found.gap >= found.lap) & ~lap, missing, -found.lap)
    state = np.where(gap | lap, FAIL, PASS)
    state = np.where([bool(text) for text in fault], UNDECIDED, state) if count else state
    state = state if found.modelled else np.full(count, NOT_MODELLED)
    sentences = [
        fault[i]
        if state[i] == UNDECIDED
        else _sentence(seams, facade, found, says, i, by_gap[i], missing[i])
        if state[i] == FAIL
        else ""
        for i in range(count)
    ]
    first, last = np.maximum(found.gap_from, seams.start), np.minimum(found.gap_to, seams.end)
    spot = np.clip(np.where(by_gap, 0.5 * (first + last), found.lap_at), seams.start, seams.end)
    spot = np.where(state == FAIL, spot, 0.5 * (seams.start + seams.end))
    like, across, out = _in_lane(seams, facade, found, state == FAIL)
    point = seams.world(spot, across, out)
    # A gap at a corner has no length along the seam.
    corner = (state == FAIL) & np.isfinite(found.corner[:, 0, 0])
    whole = (missing > found.gap - g.SAME_LENGTH) & (found.gap_to - found.gap_from > g.SAME_LENGTH)
    ends = [
        np.where(by_gap, np.where(whole, gap_end, seam_end), found.lap_at + sign * 0.5 * found.lap)
        for gap_end, seam_end, sign in ((found.gap_from, first, -1.0), (found.gap_to, last, 1.0))
    ]
    span = np.stack([seams.world(end, across, out) for end in ends], axis=1)
    span = np.where(corner[:, None, None], found.corner, span)
    point = np.where(corner[:, None], found.corner.mean(axis=1), point)
    if anchor is None:
        anchor = np.where(seams.column >= 0, seams.column, np.where(seams.left >= 0, seams.left, seams.right))
    if cause is None:
        key = np.stack(
            [seams.line, found.lane, by_gap, np.round(np.where(by_gap, found.gap_from, found.lap_at) * MM)], axis=1
        )
        cause = np.unique(key, axis=0, return_inverse=True)[1].reshape(-1) if count else np.zeros(0, np.int64)
    nobody = np.where(by_gap, found.astray, found.other)
    return Verdicts(
        state=state,
        value_mm=np.where((state == PASS) | (state == FAIL), value * MM, np.nan),
        minimum_mm=np.full(count, -tolerance_mm),
        maximum_mm=np.full(count, tolerance_mm),
        point=point,
        says=sentences,
        warning=np.zeros(count, bool),
        pieces=np.stack([found.piece, found.other, np.where(by_gap, found.astray, -1)], axis=1),
        blame=Blame.unmovable(nobody, seams.frame[:, 0], cause, anchor),
        span=span,
        like=np.where(by_gap, like, -1),
    )


def _worst_of_first(rank: Ints, answers: Sequence[Verdicts]) -> Ints:
    """For each subject the answer of lowest ``rank`` (a, n); of those held against its limits the furthest beyond."""
    first = rank.argmin(axis=0)
    value, low, high = (
        np.stack([getattr(each, name) for each in answers]) for name in ("value_mm", "minimum_mm", "maximum_mm")
    )
    low, high = np.nan_to_num(low, nan=-np.inf), np.nan_to_num(high, nan=np.inf)
    subject = np.arange(rank.shape[1])
    alike = (rank == rank[first, subject]) & (low == low[first, subject]) & (high == high[first, subject])
    excess = np.nan_to_num(np.maximum(low - value, value - high), nan=0.0, neginf=0.0)
    excess = np.where(alike, excess, -np.inf)
    more = excess.max(axis=0) > excess[first, subject] + MM * g.SAME_LENGTH
    result: Ints = np.where(more, excess.argmax(axis=0), first)
    return result


def joined(*answers: Verdicts) -> Verdicts:
    """One answer from several on the same subjects: for each subject the first that fails, then what only warns.

    Of those held against the same limits (left and right) the worst comes first. Sentences of further failures are
    added to it. A subject passes where all of them pass; where none fails, the first answer that does not pass tells
    why.
    """
    state = np.stack([each.state for each in answers])
    warning = np.stack([each.warning for each in answers])
    # Failures before warnings before what is undecided or not modelled before what passes, each in the order given.
    rank = np.where(state == FAIL, np.where(warning, 1, 0), np.where(state == PASS, 3, 2))
    count = state.shape[1]
    pick = _worst_of_first(rank, answers) if count else np.zeros(0, np.int64)
    blames = [each.blame for each in answers if each.blame is not None]
    if len(blames) != len(answers):
        raise TypeError("answers that are joined must all blame somebody")
    # What is right bounds the shift of its part: there the answer counts in which a part can be shifted at all.
    movable = int(np.argmax([any(each.what) for each in blames]))
    pick = np.where((state == PASS).all(axis=0), movable, pick)

    def chosen(values: Sequence[Floats | Ints | Bools]) -> Any:
        stacked = np.stack(values)
        return stacked[pick, np.arange(count)]

    says = [
        "; ".join(
            [
                answers[pick[i]].says[i],
                *(
                    a.says[i]
                    for k, a in enumerate(answers)
                    if k != pick[i] and state[k, i] == state[pick[i], i] == FAIL
                ),
            ]
        )
        for i in range(count)
    ]
    nowhere, nobody = np.full((count, 2, 3), np.nan), np.full(count, -1, np.int64)
    pieces = [each.pieces if each.pieces is not None else np.zeros((count, 0), np.int64) for each in answers]
    wide = max(each.shape[1] for each in pieces)
    return Verdicts(
        state=chosen([each.state for each in answers]),
        value_mm=chosen([each.value_mm for each in answers]),
        minimum_mm=chosen([each.minimum_mm for each in answers]),
        maximum_mm=chosen([each.maximum_mm for each in answers]),
        point=chosen([each.point for each in answers]),
        says=says,
        warning=chosen([each.warning for each in answers]),
        pieces=chosen([np.pad(each, ((0, 0), (0, wide - each.shape[1])), constant_values=-1) for each in pieces]),
        blame=Blame(
            part=chosen([each.part for each in blames]),
            what=[blames[pick[i]].what[i] for i in range(count)],
            along=chosen([each.along for each in blames]),
            least=chosen([each.least for each in blames]),
            most=chosen([each.most for each in blames]),
            cause=len(answers) * chosen([each.cause for each in blames]) + pick,
            anchor=chosen([each.anchor for each in blames]),
        ),
        span=chosen([nowhere if each.span is None else each.span for each in answers]),
        like=chosen([nobody if each.like is None else each.like for each in answers]),
    )


def pieces_within(
    seams: Seams,
    found: Spread,
    low_mm: float,
    high_mm: float,
    says_low: str,
    says_high: str,
    blame: Blame,
    way: Floats | None = None,
    before: float = 0.5,
) -> Verdicts:
    """Verdicts on what was measured on the pieces of a layer; a seam without pieces passes: others tell that.

    ``way`` and ``before`` as for `within`.
    """
    none = np.isnan(found.smallest)
    allowed = (low_mm if np.isfinite(low_mm) else high_mm) / MM
    verdicts = within(
        np.where(none, allowed, found.smallest),
        np.where(none, allowed, found.largest),
        low_mm,
        high_mm,
        at_smallest=found.at_smallest,
        at_largest=found.at_largest,
        fault=("",) * len(seams),
        says_low=says_low,
        says_high=says_high,
        blame=blame,
        way=way,
        before=before,
    )
    too_low = low_mm / MM - found.smallest >= found.largest - high_mm / MM
    piece = np.where(too_low, found.least, found.most)
    return replace(verdicts, value_mm=np.where(none, np.nan, verdicts.value_mm), pieces=piece[:, None])


def _in_lane(seams: Seams, facade: Facade, found: Cover, bad: Bools) -> tuple[Ints, Floats, Floats]:
    """A piece (n,) that runs along each bad seam beside what is wrong there, and where in the section it lies.

    That is coordinates across and out (n,) of its middle, between two such pieces of both; the middle of the seam where
    none is known (-1).
    """
    like, place, count = np.full(len(seams), -1), np.zeros((len(seams), 2)), np.zeros(len(seams))
    for pieces in (found.other, found.piece):
        rows = np.flatnonzero(bad & (pieces >= 0))
        low, high = g.extents(facade.model.meshes, pieces[rows], seams.frame[rows])
        along = (high - low).argmax(axis=1) == 0
        rows = rows[along]
        like[rows] = pieces[rows]
        place[rows] += 0.5 * (low + high)[along, 1:]
        count[rows] += 1
    seam = np.stack([_middle(seams), 0.5 * (seams.inner + seams.outer)], axis=1)
    across, out = np.where(count[:, None] > 0, place / np.maximum(count, 1)[:, None], seam).T
    return like, across, out


def _middle(seams: Seams) -> Floats:
    """Coordinate across in the middle of each seam, or at the one edge that is known."""
    return np.where(
        np.isnan(seams.near), seams.far, np.where(np.isnan(seams.far), seams.near, 0.5 * (seams.near + seams.far))
    )


def _sentence(seams: Seams, facade: Facade, found: Cover, says: str, i: int, by_gap: bool, gap: float) -> str:
    """What is wrong with a layer on one seam, in words."""
    if not by_gap:
        first, second = (facade.model.elements[e].name for e in (found.piece[i], found.other[i]))
        return f"{says}: pieces overlap by {found.lap[i] * MM:.1f} mm ({first}, {second}); they must butt"
    where = ""
    if found.astray[i] >= 0:
        name = facade.model.elements[found.astray[i]].name
        where = f"; {name} lies beside its place there"
    elif found.nameless[i] >= 0:
        name = name_of(facade, found.nameless[i])
        where = f"; something without a role lies there: {name} (give it a role in [roles])"
    if found.gap_from[i] <= seams.start[i] + g.SAME_LENGTH and found.gap_to[i] >= seams.end[i] - g.SAME_LENGTH:
        return f"{says} is missing over the whole seam ({seams.length[i] * MM:.0f} mm){where}"
    return f"{says} has a gap of {gap * MM:.1f} mm{where}"


def inner_faces(seams: Seams, facade: Facade, left: bool) -> Floats:
    """Where the inner face of the left (or right) panel of each seam lies (n,), outwards."""
    p, part = facade.panels, seams.left if left else seams.right
    which = np.minimum(np.searchsorted(p.element, part), len(p.element) - 1) if len(seams) else part
    out = facade.sides.frame[p.side[which], 2]
    # Over a bend the frame of the seam is not that of its panels.
    own = (p.element[which] == part) & (np.einsum("nj,nj->n", out, seams.frame[:, 2]) > 1 - 1e-12)
    result: Floats = np.where(own, p.low[which, 2], seams.inner)
    return result


def in_section(
    seams: Seams,
    value: Floats,
    at: Floats,
    piece: Ints,
    low_mm: float | Floats,
    high_mm: float | Floats,
    says_low: str = "",
    says_high: str = "",
    words: Mapping[str, Sequence[str]] | None = None,
    what: str = "",
    shifts: Shifts | None = None,
    along: int = 2,
    out: tuple[Floats, Floats] | None = None,
    across: Floats | None = None,
    says_negative: str = "",
) -> Verdicts:
    """Verdicts on what was measured in the section of seams at ``at`` (n,) along them, of elements ``piece``.

    Seams where nothing was measured (NaN) pass: what is missing, another answer tells. ``what`` names the pieces that
    ``shifts`` along an axis of the seams' frame mend; issues group by line. ``out`` are the coordinates (n,) between
    which the value lies, at ``across`` (n,) or in the middle of the seam.
    """
    none = np.isnan(value)
    bound = np.where(np.isfinite(low_mm), low_mm, high_mm) / MM
    known = np.where(none, bound, value)
    point = seams.world(
        np.where(np.isnan(at), 0.5 * (seams.start + seams.end), at), _middle(seams), 0.5 * (seams.inner + seams.outer)
    )
    count = len(seams)
    infinite = np.full(count, np.inf)
    anchor = np.where(seams.column >= 0, seams.column, seams.left)
    verdicts = within(
        known,
        known,
        low_mm,
        high_mm,
        at_smallest=point,
        at_largest=point,
        fault=("",) * count,
        says_low=says_low,
        says_high=says_high,
        says_negative=says_negative,
        words=words,
        blame=Blame(
            part=piece,
            what=(what,) * count,
            along=seams.frame[:, along],
            least=infinite if shifts is None else np.where(none, -np.inf, shifts.least),
            most=-infinite if shifts is None else np.where(none, np.inf, shifts.most),
            cause=seams.line,
            anchor=anchor,
        ),
    )
    verdicts = replace(verdicts, value_mm=np.where(none, np.nan, verdicts.value_mm), pieces=piece[:, None])
    if out is None:
        return verdicts
    place = _middle(seams) if across is None else across
    return replace(verdicts, span=np.stack([seams.world(at, place, each) for each in out], axis=1))


def laid_over(
    seams: PanelEndSeams, facade: Facade, layer: Layer, least_mm: float, says: str, says_negative: str, what: str
) -> Verdicts:
    """Verdicts on how far a layer that covers seams reaches over the panel ends on both sides.

    ``says`` has ``{side}`` and ``{value}``, ``says_negative`` ``{side}`` and ``{distance}`` where it does not reach a
    panel; ``what`` names the piece that a move to one side may mend.
    """
    pieces = pieces_on(facade, layer, type(seams), whole=True)
    found = fill(seams, pieces, 0, np.full(len(seams), -np.inf), np.full(len(seams), np.inf))
    left, right = seams.near_least - found.first, found.last - seams.far_most
    on_left = np.where(np.isnan(left), False, left < right - g.SAME_LENGTH)
    at, end = np.where(on_left, found.at_first, found.at_last), np.where(on_left, seams.near_least, seams.far_most)
    reach = np.where(on_left, found.first, found.last)
    verdicts = in_section(
        seams,
        np.where(on_left, left, right),
        at,
        np.where(on_left, found.piece_first, found.piece_last),
        least_mm,
        np.inf,
        says_low=says,
        says_negative=says_negative,
        words={"side": ["left" if each else "right" for each in on_left]},
        what=what,
        shifts=Shifts(least_mm / MM - right, left - least_mm / MM),
        along=1,
    )
    return replace(verdicts, span=np.stack([seams.world(at, each, seams.outer) for each in (end, reach)], axis=1))


def as_wide(seams: PanelEndSeams, pieces: Pieces, least_mm: float, says: str) -> Verdicts:
    """Verdicts on how much of the width between the panel ends is filled by what lies between them.

    ``says`` names it. It need not be wider than the seam; seams without a piece pass.
    """
    group, seam = _abreast(pieces)
    at = seams.take(seam)
    low, high = np.minimum(at.near, at.far), np.maximum(at.near, at.far)
    found = fill(at, replace(pieces, seam=group), 0, low, high)
    order = np.lexsort((np.nan_to_num(found.least, nan=np.inf).round(9), seam))
    worst = order[np.append(True, np.diff(seam[order]) > 0)] if len(order) else order
    value, along = np.full(len(seams), np.nan), np.full(len(seams), np.nan)
    piece, span = np.full(len(seams), -1, np.int64), np.full((len(seams), 2, 3), np.nan)
    rows = seam[worst]
    value[rows], along[rows], piece[rows] = found.least[worst], found.at_least[worst], found.piece_least[worst]
    # Where it has gaps itself, or is not as wide everywhere, there is no one dimension.
    whole = np.abs(found.last - found.first - found.least) < g.SAME_LENGTH
    middle, ends = 0.5 * (at.inner + at.outer), (np.where(whole, found.first, np.nan), found.last)
    span[rows] = np.stack([at.world(found.at_least, each, middle) for each in ends], axis=1)[worst]
    required = np.minimum(least_mm, np.abs(seams.far - seams.near) * MM)
    says_low = f"{says} is only {{value}} wide"
    return replace(in_section(seams, value, along, piece, required, np.inf, says_low=says_low), span=span)


def _abreast(pieces: Pieces) -> tuple[Ints, Ints]:
    """Groups (k,) of pieces that lie abreast in a seam, none wholly in front of the others, and the seam of each."""
    order = np.lexsort((pieces.low[:, 1] + pieces.high[:, 1], pieces.seam))
    middle, seam = 0.5 * (pieces.low + pieces.high)[order, 1], pieces.seam[order]
    fresh = np.ones(len(order), bool)
    reach = -np.inf
    for i, k in enumerate(order.tolist()):
        fresh[i] = i == 0 or seam[i] != seam[i - 1] or middle[i] > reach
        reach = pieces.high[k, 1] if fresh[i] else max(reach, pieces.high[k, 1])
    group = np.empty(len(order), np.int64)
    group[order] = np.cumsum(fresh) - 1
    return group, seam[fresh]


def above_rails(seams: Seams, facade: Facade, layer: Layer) -> tuple[Floats, Floats, Ints]:
    """How far above the base rail a layer begins at the foot of upright seams (n,), where, and its lowest piece there.

    NaN and -1 for seams that are not the lowest of their line, under which no rail lies, or without a piece.
    """
    count = len(seams)
    gap, lowest = np.full(count, np.nan), np.full(count, -1, np.int64)
    rails = facade.elements_of("base-rail")
    if not count or not len(rails):
        return gap, gap, lowest
    first, _ = line_ends(seams)
    foot = np.flatnonzero(seams.start < first[seams.line] + g.SAME_LENGTH)
    plan = shapely.box(*facade.boxes.low[rails, :2].T, *facade.boxes.high[rails, :2].T)
    width = np.abs(seams.far - seams.near)[foot]
    k, which = shapely.STRtree(plan).query(
        shapely.points(seams.point[foot, :2]), predicate="dwithin", distance=width + RAIL_REACH
    )
    seam, rail = foot[k], rails[which]
    low, high = g.extents(facade.model.meshes, rail, seams.frame[seam])
    back = np.where(np.isnan(seams.front), seams.inner, seams.front)[seam]
    under = (low[:, 1] < seams.far[seam] + RAIL_END) & (high[:, 1] > seams.near[seam] - RAIL_END)
    under &= (high[:, 2] > back + g.SAME_LENGTH) & (low[:, 2] < seams.outer[seam])
    under &= (high[:, 0] > seams.start[seam] - BASE_REACH) & (low[:, 0] < seams.start[seam])
    top = g.highest(high[under, 0], seam[under], count)
    (lane, *_) = lanes_of(facade, layer, type(seams))
    pieces = lane.inside.take(lane.inside.parallel)
    on, piece = on_seams(seams, g.Intervals(pieces.lane, pieces.start, pieces.end))
    order = np.lexsort((pieces.element[piece], -pieces.start[piece], on))  # the lowest one is written last and stays
    begins = np.full(count, np.nan)
    begins[on[order]], lowest[on[order]] = pieces.start[piece[order]], pieces.element[piece[order]]
    known = np.isfinite(top) & np.isfinite(begins)
    return np.where(known, begins - top, np.nan), begins, np.where(known, lowest, -1)


def packed(
    seams: Seams,
    facade: Facade,
    kind: type[Seams],
    layer: Layer,
    beside: Pieces,
    low: Floats,
    high: Floats,
    most_mm: float,
    says: str,
    cause: Ints,
    anchor: Ints,
) -> Verdicts:
    """Verdicts on the depth from ``low`` to ``high`` (n,) that a layer, with what lies ``beside`` it, leaves open.

    ``says`` names the place ("Gap round the frame"); ``cause`` and ``anchor`` as for `lacks`.
    """
    own = cover(facade, layer, kind)
    found = pieces_on(facade, layer, kind)
    both = [(getattr(found, name), getattr(beside, name)) for name in Pieces.__dataclass_fields__]
    every = Pieces(*(np.concatenate(each) for each in both))
    depth, at, out = open_depth(seams, every, low, high, SHORTEST_HOLE)
    doubt = [text or facade.fault_of(np.array([piece])) for text, piece in zip(seams.fault, own.doubtful, strict=True)]
    fault = [
        text or ("" if known else "its depth cannot be measured")
        for text, known in zip(doubt, ~np.isnan(depth), strict=True)
    ]
    verdicts = within(
        depth,
        depth,
        -np.inf,
        most_mm,
        at_smallest=seams.world(at, _middle(seams), 0.5 * (low + high)),
        at_largest=seams.world(at, _middle(seams), 0.5 * (low + high)),
        fault=fault,
        says_low="",
        says_high=f"{says} is open over {{value}} of its depth",
        blame=Blame.unmovable(np.full(len(seams), -1, np.int64), seams.frame[:, 0], cause, anchor),
    )
    verdicts = replace(verdicts, span=np.stack([seams.world(at, _middle(seams), each) for each in out], axis=1))
    return verdicts if own.modelled else unmodelled(verdicts)


def unmodelled(verdicts: Verdicts) -> Verdicts:
    """The same subjects, their layer in no model."""
    count = len(verdicts.state)
    return replace(
        verdicts,
        state=np.full(count, NOT_MODELLED),
        value_mm=np.full(count, np.nan),
        says=("",) * count,
        warning=np.zeros(count, bool),
    )


RAIL_REACH: Final = 0.30
"""A base rail under a seam lies no further from it in plan (metres)."""
RAIL_END: Final = 0.01
"""Base rails that end no further beside a seam meet under it (metres)."""


def name_of(facade: Facade, element: int) -> str:
    """What a person calls an element."""
    return facade.model.elements[element].name or facade.model.elements[element].ifc_class


def filled_by(seams: Seams, facade: Facade) -> list[str]:
    """For each seam what lies in it and is no sealing part, as the tail of a sentence; nothing where it is empty."""
    result = []
    for share, occupants in zip(np.nan_to_num(seams.filled).tolist(), seams.occupants, strict=True):
        more = f" and {len(occupants) - 1} more" if len(occupants) > 1 else ""
        part = "" if share >= OCCUPIED else f" to {share:.0%}"
        result.append(f", filled{part} by '{name_of(facade, occupants[0])}'{more}" if occupants else "")
    return result


def without_column(seams: Seams) -> tuple[str, ...]:
    """The faults of seams (n,), and for those without a column behind them that."""
    return tuple(
        fault or ("no column stands behind this seam" if column < 0 else "")
        for fault, column in zip(seams.fault, seams.column, strict=True)
    )


def sealed_ends(
    crossings: Crossings, facade: Facade, layer: Layer, low: Floats, high: Floats, short_mm: float, says: str
) -> Verdicts:
    """Verdicts on a layer in the joints between rows that must reach from the panel ends beside an upright seam.

    ``low`` and ``high`` (n,) are the coordinates across that seam as far as which it must reach on the left and on the
    right; ``says`` names the layer. The worse side decides.
    """
    ends, edges = facade.seams[PanelEndSeams], facade.seams[PanelEdgeSeams]
    (lane,) = lanes_of(facade, layer, PanelEdgeSeams)
    count, tolerance = len(crossings), short_mm / MM + g.SAME_LENGTH
    missing, full, piece, point = np.zeros((2, count)), np.zeros((2, count)), np.full((2, count), -1), []
    for side, (joint, reach) in enumerate(((crossings.left, low), (crossings.right, high))):
        known, seam = np.flatnonzero(joint >= 0), crossings.end
        place = g.world(ends.frame[seam], np.stack([crossings.along, reach, ends.inner[seam]], axis=1))
        far = np.einsum("nj,nj->n", place, edges.frame[joint][:, 0])[known] if len(edges) else np.zeros(0)
        mine = joint[known]
        first, last = (far, edges.end[mine]) if side == 0 else (edges.start[mine], far)
        lost, between, found = uncovered(lane.inside, edges.line[mine], first, last)
        missing[side, known], full[side, known], piece[side, known] = lost, np.maximum(last - first, 0.0), found
        spot = crossings.point.copy()
        middle = 0.5 * (edges.near + edges.far)[mine]
        spot[known] = edges.take(mine).world(
            0.5 * (between[0] + between[1]), middle, 0.5 * (edges.inner + edges.outer)[mine]
        )
        point.append(spot)
    worse = np.where(missing[1] > missing[0] + g.SAME_LENGTH, 1, 0)
    rows = np.arange(count)
    value = missing[worse, rows]
    fault = [text or facade.fault_of(pair) for text, pair in zip(crossings.fault, piece.T, strict=True)]
    bad = value > tolerance
    state = np.where([bool(text) for text in fault], UNDECIDED, np.where(bad, FAIL, PASS)) if count else bad.astype(int)
    sentences = []
    for i in range(count):
        told = []
        for k in (int(worse[i]), 1 - int(worse[i])):
            if missing[k, i] > tolerance:
                what = "is missing" if missing[k, i] > full[k, i] - g.SAME_LENGTH else "ends short"
                told.append(f"{what} by {missing[k, i] * MM:.1f} mm at the {('left', 'right')[k]} panel end")
        sentences.append(fault[i] or (f"{says} {' and '.join(told)}, required at most {short_mm:g} mm" if told else ""))
    column = ends.column[crossings.end]
    verdicts = Verdicts(
        state=state,
        value_mm=np.where(state == UNDECIDED, np.nan, value * MM),
        minimum_mm=np.full(count, np.nan),
        maximum_mm=np.full(count, short_mm),
        point=np.stack(point)[worse, rows],
        says=sentences,
        warning=np.zeros(count, bool),
        pieces=piece.T,
        span=spans(np.stack(point)[worse, rows], facade.sides.frame[crossings.side, 0], value, before=0.5),
        blame=Blame.unmovable(
            np.full(count, -1),
            ends.frame[crossings.end][:, 1],
            ends.line[crossings.end],
            np.where(column >= 0, column, ends.left[crossings.end]),
        ),
    )
    return verdicts if cover(facade, layer, PanelEdgeSeams).modelled else unmodelled(verdicts)


def stacks(facade: Facade) -> Ints:
    """For each element the number of the stack of panels it belongs to, joined row by row; its own for any other."""
    parent = list(range(len(facade.model.elements)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = i = parent[parent[i]]
        return i

    edges = facade.seams[PanelEdgeSeams]
    for below, above in zip(edges.left.tolist(), edges.right.tolist(), strict=True):
        one, two = root(below), root(above)
        parent[max(one, two)] = min(one, two)
    return np.array([root(i) for i in range(len(parent))], np.int64)


def same_run(side: Ints, start: Floats, end: Floats, sign: Floats) -> Ints:
    """Numbers of runs of neighbours (n,) along a side that have the same sign; those of sign zero stay alone."""
    order = np.lexsort((start, side))
    apart = np.ones(len(order), bool)
    s, b, e, v = side[order], start[order], end[order], sign[order]
    apart[1:] = (s[1:] != s[:-1]) | (b[1:] - e[:-1] > LINE_GAP) | (v[1:] != v[:-1]) | (v[1:] == 0)
    result = np.empty(len(order), np.int64)
    result[order] = np.cumsum(apart)
    return result
