"""Seal round windows and doors."""

from dataclasses import dataclass, replace

import numpy as np

from checker.facade import Facade, OpeningSeams
from checker.geometry import SAME_LENGTH
from checker.measure import lacks, narrowest
from checker.model import Bools
from checker.openings import OPENING_SEAL
from checker.rule import FAIL, MM, PASS, Verdicts, in_mm, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")
    sill_mm: float = limit(40.0, "mm", "least width of the strip under the sill of a window", basis="practice")
    inner_edge_mm: float = limit(
        10.0, "mm", "furthest the strip under the sill may begin from the inner face of the panel", basis="practice"
    )


def _no_threshold(seams: OpeningSeams, facade: Facade) -> Bools:
    """All edges but the lower ones of doors, which have a rule of their own."""
    result: Bools = ~seams.thresholds(facade)
    return result


@rule(
    subject=OpeningSeams,
    limits=Limits,
    layer=OPENING_SEAL,
    where=_no_threshold,
    remedy="Close the seal on all four sides of the frame, also at its corners; at the sill on the inner edge.",
    needs=("panel", "window", "door"),
    good=detail(),
    bad=detail().without("window seal sill").saying("The window has no seal at its sill."),
    lengthwise="facing",
)
def opening_seal(seams: OpeningSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal runs round the whole frame of a window or door, also at its corners.

    A frame is as tight as its worst corner: wind presses on all four sides, and the sill is where water stands. There
    the strip lies wide on the inner edge of the panel, so that it seals behind the water.
    """
    frame = seams.frames(facade)
    says = "Seal round the frame"
    said = lacks(seams, facade, OPENING_SEAL, OpeningSeams, limits.joint_mm, says, cause=frame, anchor=frame)
    strip = narrowest(facade, OPENING_SEAL, OpeningSeams)
    sill = seams.sills(facade) & seams.gaps(facade) & (said.state == PASS)
    wide, inside = strip.width, strip.low - seams.inner
    thin = sill & (wide < limits.sill_mm / MM - SAME_LENGTH)
    outside = sill & ~thin & (inside > limits.inner_edge_mm / MM + SAME_LENGTH)
    off = thin | outside
    assert said.pieces is not None
    return replace(
        said,
        state=np.where(off, FAIL, said.state),
        value_mm=np.where(thin, wide * MM, np.where(outside, inside * MM, said.value_mm)),
        minimum_mm=np.where(off, np.where(thin, limits.sill_mm, np.nan), said.minimum_mm),
        maximum_mm=np.where(off, np.where(outside, limits.inner_edge_mm, np.nan), said.maximum_mm),
        says=[
            f"Seal under the sill is only {in_mm(wide[i])} wide, required at least {limits.sill_mm:g} mm"
            if thin[i]
            else f"Seal under the sill begins {in_mm(inside[i])} from the panel's inner face, "
            f"required at most {limits.inner_edge_mm:g} mm"
            if outside[i]
            else said.says[i]
            for i in range(len(seams))
        ],
        pieces=np.where(off[:, None], np.stack([strip.element] + [np.full(len(off), -1)] * 2, axis=1), said.pieces),
    )
