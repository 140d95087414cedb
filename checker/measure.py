"""Questions rules ask of the facade: who is to blame for a seam, what a layer lacks. Pure functions over arrays."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from checker import geometry as g
from checker.facade import Facade, Layer, Seams, taken
from checker.foot import LINE_GAP
from checker.lanes import lanes_of
from checker.layers import Cover, cover, on_seams
from checker.model import Bools, Floats, Ints
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, within


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
    point = seams.world(spot, _middle(seams), 0.5 * (seams.inner + seams.outer))
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
    )


def joined(*answers: Verdicts) -> Verdicts:
    """One answer from several on the same subjects: for each subject the first that fails, then what only warns.

    Sentences of further failures are added to it. A subject passes where all of them pass; where none fails, the first
    answer that does not pass tells why.
    """
    state = np.stack([each.state for each in answers])
    warning = np.stack([each.warning for each in answers])
    # Failures before warnings before what is undecided or not modelled before what passes, each in the order given.
    rank = np.where(state == FAIL, np.where(warning, 1, 0), np.where(state == PASS, 3, 2))
    count = state.shape[1]
    pick = rank.argmin(axis=0) if count else np.zeros(0, np.int64)
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
    )


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
    if found.gap_from[i] <= seams.start[i] + g.SAME_LENGTH and found.gap_to[i] >= seams.end[i] - g.SAME_LENGTH:
        return f"{says} is missing over the whole seam ({seams.length[i] * MM:.0f} mm){where}"
    return f"{says} has a gap of {gap * MM:.1f} mm{where}"


@dataclass(frozen=True)
class Pieces:
    """Pieces (k,) of a layer on seams: ``seam``, ``element``, ``start`` and ``end`` along it, the ``lane`` they lie in.

    ``low`` and ``high`` (k, 2) tell what of the lane's section, across and out, each takes.
    """

    seam: Ints
    element: Ints
    start: Floats
    end: Floats
    lane: Ints
    low: Floats
    high: Floats


def pieces_on(facade: Facade, layer: Layer, kind: type[Seams], whole: bool = False) -> Pieces:
    """Every piece of a layer on each seam of a kind, cut to the seam; sorted by seam.

    With ``whole`` their ``low`` and ``high`` are those of all that lies near the seam, also beyond the lane.
    """
    seams = facade.seams[kind]
    found = []
    for number, lane in enumerate(lanes_of(facade, layer, kind)):
        inside = lane.inside
        seam, which = on_seams(seams, g.Intervals(inside.lane, inside.start, inside.end))
        found.append(
            Pieces(
                seam,
                inside.element[which],
                np.maximum(inside.start[which], seams.start[seam]),
                np.minimum(inside.end[which], seams.end[seam]),
                np.full(len(seam), number),
                (inside.reach_low if whole else inside.low)[which],
                (inside.reach_high if whole else inside.high)[which],
            )
        )
    every = Pieces(*(np.concatenate([getattr(each, name) for each in found]) for name in Pieces.__dataclass_fields__))
    return taken(every, np.lexsort((every.start, every.seam)))


@dataclass(frozen=True)
class Strip:
    """Of n seams the narrowest piece of a layer: ``element`` (-1 for none), ``width``, ``low`` and ``high`` across out.

    NaN where no piece lies on the seam.
    """

    element: Ints
    width: Floats
    low: Floats
    high: Floats


def narrowest(facade: Facade, layer: Layer, kind: type[Seams]) -> Strip:
    """The narrowest piece of a layer on each seam, measured outwards."""
    found = pieces_on(facade, layer, kind)
    count = len(facade.seams[kind])
    result = Strip(np.full(count, -1, np.int64), np.full(count, np.nan), np.full(count, np.nan), np.full(count, np.nan))
    width = found.high[:, 1] - found.low[:, 1]
    order = np.lexsort((width.round(9), found.seam))
    lead = order[np.append(True, np.diff(found.seam[order]) > 0)] if len(order) else order
    seam = found.seam[lead]
    result.element[seam], result.width[seam] = found.element[lead], width[lead]
    result.low[seam], result.high[seam] = found.low[lead, 1], found.high[lead, 1]
    return result


def open_depth(seams: Seams, pieces: Pieces, low: Floats, high: Floats, joint: float) -> tuple[Floats, Floats]:
    """How much of the depth from ``low`` to ``high`` (n,), outwards, pieces leave open at the worst place of each seam.

    Stretches along no longer than ``joint`` (metres) do not count. Gives that depth and its place along (n,).
    """
    count = len(seams)
    everyone = np.arange(count)
    group = np.concatenate([everyone, everyone, pieces.seam, pieces.seam])
    cut = np.concatenate([seams.start, seams.end, pieces.start, pieces.end])
    order = np.lexsort((cut, group))
    group, cut = group[order], cut[order]
    same = group[1:] == group[:-1]
    seam, start, end = group[:-1][same], cut[:-1][same], cut[1:][same]
    long = end - start > joint
    seam, start, end = seam[long], start[long], end[long]
    by_seam = np.argsort(pieces.seam, kind="stable")
    bounds = np.searchsorted(pieces.seam[by_seam], np.arange(count + 1))
    entries, which = g.spread(bounds, seam)
    piece = by_seam[entries]
    covers = (pieces.start[piece] <= start[which] + g.SAME_LENGTH) & (pieces.end[piece] >= end[which] - g.SAME_LENGTH)
    piece, which = piece[covers], which[covers]
    first = np.clip(pieces.low[piece, 1], low[seam[which]], high[seam[which]])
    last = np.clip(pieces.high[piece, 1], low[seam[which]], high[seam[which]])
    filled = g.merge(which, first, last)
    left = (high - low)[seam] - g.total(filled.end - filled.start, filled.group, len(seam))
    # The longest of the stretches that are open most tells the place.
    order = np.lexsort((end - start, left.round(6), seam))
    lead = order[np.append(np.diff(seam[order]) > 0, True)] if len(order) else order
    depth, at = np.zeros(count), 0.5 * (seams.start + seams.end)
    depth[seam[lead]] = np.maximum(left[lead], 0.0)
    at[seam[lead]] = 0.5 * (start + end)[lead]
    return depth, at


@dataclass(frozen=True)
class Fill:
    """What pieces take of a range across or out in the section of n seams, wherever there are any; NaN where none is.

    ``least`` is the smallest length that is filled, ``first`` the furthest place at which filling begins, ``last`` the
    nearest at which it ends; ``at_*`` are the coordinates along, ``piece_*`` an element there (-1 for none).
    """

    least: Floats
    first: Floats
    last: Floats
    at_least: Floats
    at_first: Floats
    at_last: Floats
    piece_least: Ints
    piece_first: Ints
    piece_last: Ints


def fill(seams: Seams, pieces: Pieces, axis: int, low: Floats, high: Floats) -> Fill:
    """What pieces take of the ranges ``low`` to ``high`` (n,) across seams (``axis`` 0) or out (1)."""
    count = len(seams)
    # Between two places where a piece begins or ends the section does not change.
    group, cut = np.concatenate([pieces.seam, pieces.seam]), np.concatenate([pieces.start, pieces.end])
    order = np.lexsort((cut, group))
    group, cut = group[order], cut[order]
    long = (group[1:] == group[:-1]) & (np.diff(cut) > SHORTEST_HOLE)
    seam, start, end = group[:-1][long], cut[:-1][long], cut[1:][long]
    by_seam = np.argsort(pieces.seam, kind="stable")
    entries, which = g.spread(np.searchsorted(pieces.seam[by_seam], np.arange(count + 1)), seam)
    piece, middle = by_seam[entries], 0.5 * (start + end)[which]
    covers = (pieces.start[piece] < middle) & (pieces.end[piece] > middle)
    piece, which = piece[covers], which[covers]
    first = np.clip(pieces.low[piece, axis], low[seam[which]], high[seam[which]])
    last = np.clip(pieces.high[piece, axis], low[seam[which]], high[seam[which]])
    merged, met = g.merge(which, first, last), len(seam)
    filled = g.total(merged.end - merged.start, merged.group, met)
    begin, finish = g.lowest(first, which, met), g.highest(last, which, met)
    number = g.lowest(pieces.element[piece].astype(float), which, met)
    known = np.flatnonzero(np.isfinite(number))
    seam, start, end, element = seam[known], start[known], end[known], number[known].astype(np.int64)
    least, at_least, piece_least = _least(filled[known], seam, start, end, element, count)
    furthest, at_first, piece_first = _least(-begin[known], seam, start, end, element, count)
    nearest, at_last, piece_last = _least(finish[known], seam, start, end, element, count)
    return Fill(least, -furthest, nearest, at_least, at_first, at_last, piece_least, piece_first, piece_last)


def _least(
    values: Floats, seam: Ints, start: Floats, end: Floats, element: Ints, count: int
) -> tuple[Floats, Floats, Ints]:
    """The least value of each of ``count`` seams (NaN: none), the middle of where along it is, an element there."""
    least = g.lowest(values, seam, count)
    there = np.flatnonzero(values < least[seam] + g.SAME_LENGTH)
    first, last = g.lowest(start[there], seam[there], count), g.highest(end[there], seam[there], count)
    known = np.isfinite(least)
    at, piece = np.full(count, np.nan), np.full(count, -1, np.int64)
    at[known] = 0.5 * (first[known] + last[known])
    piece[seam[there[::-1]]] = element[there[::-1]]
    return np.where(known, least, np.nan), at, piece


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
    depth, at = open_depth(seams, every, low, high, SHORTEST_HOLE)
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


SHORTEST_HOLE: Final = 1e-3
"""Holes in a filling that are no longer along the seam than pieces may gape do not count (metres)."""

_LENGTH: Final = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)\s*(mm|cm|m)?\s*", re.I)


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


def without_column(seams: Seams) -> tuple[str, ...]:
    """The faults of seams (n,), and for those without a column behind them that."""
    return tuple(
        fault or ("no column stands behind this seam" if column < 0 else "")
        for fault, column in zip(seams.fault, seams.column, strict=True)
    )


def same_run(side: Ints, start: Floats, end: Floats, sign: Floats) -> Ints:
    """Numbers of runs of neighbours (n,) along a side that have the same sign; those of sign zero stay alone."""
    order = np.lexsort((start, side))
    apart = np.ones(len(order), bool)
    s, b, e, v = side[order], start[order], end[order], sign[order]
    apart[1:] = (s[1:] != s[:-1]) | (b[1:] - e[:-1] > LINE_GAP) | (v[1:] != v[:-1]) | (v[1:] == 0)
    result = np.empty(len(order), np.int64)
    result[order] = np.cumsum(apart)
    return result
