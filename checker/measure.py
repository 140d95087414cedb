"""Questions rules ask of the facade: who is to blame for a seam, what a layer lacks. Pure functions over arrays."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker import geometry as g
from checker.facade import Facade, Layer, Seams
from checker.foot import LINE_GAP
from checker.layers import Cover, cover
from checker.model import Bools, Floats, Ints
from checker.occupancy import OCCUPIED
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts


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


def same_run(side: Ints, start: Floats, end: Floats, sign: Floats) -> Ints:
    """Numbers of runs of neighbours (n,) along a side that have the same sign; those of sign zero stay alone."""
    order = np.lexsort((start, side))
    apart = np.ones(len(order), bool)
    s, b, e, v = side[order], start[order], end[order], sign[order]
    apart[1:] = (s[1:] != s[:-1]) | (b[1:] - e[:-1] > LINE_GAP) | (v[1:] != v[:-1]) | (v[1:] == 0)
    result = np.empty(len(order), np.int64)
    result[order] = np.cumsum(apart)
    return result
