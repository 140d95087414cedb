"""Plinth flashing round corners."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.corners import CornerMeets, at_corners
from checker.facade import BaseSeams, Facade, FootCorners, Layer
from checker.layers import cover
from checker.model import Floats
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, exceeds, in_mm, limit, rule, spans
from checker.sketch import corner
from rules.flashing_lap import LAYER as FLASHING

MEANT: Final = 0.06
"""Flashings that come no nearer to each other than this at any corner were never meant to close one (metres)."""

STRAIGHT: Final = 0.99
"""A piece is pushed along its own side where the gap opens in that direction (cosine)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    gap_mm: float = limit(2.0, "mm", "largest gap between the flashings of two sides", basis="practice")


LAYER = Layer("corner-flashing", "plinth flashing closed round a corner", ("flashing",))


@rule(
    subject=FootCorners,
    limits=Limits,
    layer=LAYER,
    remedy="Close the plinth flashing at the corner: run one piece past the end of the other, or add a corner piece.",
    needs=("panel", "flashing"),
    good=corner(),
    bad=corner()
    .stretched("plinth flashing 2", "front", -30.0)
    .saying("The plinth flashing of the second side ends 30 mm short of that of the first."),
)
def corner_flashing(corners: FootCorners, facade: Facade, limits: Limits) -> Verdicts:
    """Plinth flashing is closed round corners.

    At corners wind drives hardest. Rain and air that enter beside the flashing reach the seal strip on the plinth and
    the foot of the corner seam. What closes the corner may be the flashings themselves or a piece of its own, over the
    whole height that the flashings of both sides share; flashings up the corner seam are no part of it.
    """
    meets = at_corners(facade, FLASHING)
    count = len(corners)
    fault = [
        own or facade.fault_of(np.array(pair))
        for own, pair in zip(corners.fault, zip(meets.first, meets.second, strict=True), strict=True)
    ]
    gap = np.maximum(meets.gap, 0.0)  # flashings may run past each other
    missing = np.isnan(gap)
    # In a recess flashings meet though nobody meant to close the corner.
    telling = ~missing & (corners.outer | ~corners.outer.any())
    modelled = bool((gap[telling] < MEANT).any())
    open_ = missing | exceeds(gap, -np.inf, limits.gap_mm / MM)
    unsure = np.array([bool(text) for text in fault], bool)
    state = np.where(unsure, UNDECIDED, np.where(open_, FAIL, PASS))
    state = state if modelled else np.full(count, NOT_MODELLED)
    says = [
        fault[i]
        if state[i] == UNDECIDED
        else ""
        if state[i] != FAIL
        else "Plinth flashings of the two sides do not meet at the corner"
        if missing[i]
        else f"Plinth flashing leaves {in_mm(gap[i])} open at the corner, required at most {limits.gap_mm:g} mm"
        for i in range(count)
    ]
    return Verdicts(
        state=state,
        value_mm=np.where(np.isin(state, (PASS, FAIL)), gap * MM, np.nan),
        minimum_mm=np.full(count, np.nan),
        maximum_mm=np.full(count, limits.gap_mm),
        point=meets.point,
        says=says,
        warning=np.zeros(count, bool),
        pieces=np.stack([meets.first, meets.second], axis=1),
        span=spans(meets.point, meets.way, gap, before=0.5),
        blame=_blame(corners, facade, meets, gap, limits.gap_mm / MM),
    )


def _blame(corners: FootCorners, facade: Facade, meets: CornerMeets, gap: Floats, most: float) -> Blame:
    """A piece that laps no other and ends at no other corner may be pushed towards the corner; else it is too short."""
    joints = cover(facade, FLASHING, BaseSeams).joints
    seams, count = facade.seams[BaseSeams], len(corners)
    size = len(facade.model.elements)
    tied = np.bincount(np.concatenate([joints.first, joints.second, meets.first[meets.first >= 0]]), minlength=size)
    tied += np.bincount(meets.second[meets.second >= 0], minlength=size)
    part, what, opens = meets.second.copy(), [""] * count, np.ones(count)
    for sign, piece, seam in ((-1.0, meets.first, corners.before), (1.0, meets.second, corners.after)):
        along = np.abs(np.einsum("cj,cj->c", meets.way, seams.frame[seam, 0])) > STRAIGHT
        for i in np.flatnonzero(along & (piece >= 0) & (tied[piece] == 1)).tolist():
            part[i], what[i], opens[i] = piece[i], "flashing", sign
    return Blame(
        part=part,
        what=what,
        along=meets.way,
        least=np.where(opens > 0, -gap, gap - most),
        most=np.where(opens > 0, most - gap, gap),
        cause=np.arange(count),
        anchor=np.where(meets.second >= 0, meets.second, corners.parts[:, 1]),
    )
