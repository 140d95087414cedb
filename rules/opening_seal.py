"""Seal round windows and doors."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import Facade, OpeningSeams
from checker.geometry import SAME_LENGTH
from checker.measure import lacks
from checker.model import Bools
from checker.openings import OPENING_SEAL
from checker.pieces import narrowest
from checker.rule import FAIL, MM, PASS, Verdicts, in_mm, limit, rule
from checker.sketch import detail

_SOURCE: Final = "structural warranty manual (United Kingdom), gaps round windows; quoted second-hand"


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")
    sill_mm: float = limit(40.0, "mm", "least width of the strip under the sill of a window", basis="practice")
    inner_edge_mm: float = limit(
        10.0, "mm", "furthest the strip under the sill may begin from the inner face of the panel", basis="practice"
    )
    sealant_mm: float = limit(
        6.0, "mm", "least depth of sealant, where it is the seal of a wide gap", basis="published", source=_SOURCE
    )
    wide_mm: float = limit(5.0, "mm", "width above which a gap counts as wide", basis="published", source=_SOURCE)


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
    the strip lies wide on the inner edge of the panel, so that it seals behind the water. Sealant that is thin for the
    width of its gap tears when the frame moves.
    """
    frame = seams.frames(facade)
    says = "Seal round the frame"
    said = lacks(seams, facade, OPENING_SEAL, OpeningSeams, limits.joint_mm, says, cause=frame, anchor=frame)
    strip, sealant = (narrowest(facade, OPENING_SEAL, OpeningSeams, role) for role in ("", "sealant"))
    there = seams.gaps(facade) & (said.state == PASS)
    sill = there & seams.sills(facade)
    inside = strip.low - seams.inner
    thin = sill & (strip.width < limits.sill_mm / MM - SAME_LENGTH)
    outside = sill & ~thin & (inside > limits.inner_edge_mm / MM + SAME_LENGTH)
    wide = seams.width_max > limits.wide_mm / MM + SAME_LENGTH
    shallow = there & ~thin & ~outside & wide & (sealant.width < limits.sealant_mm / MM - SAME_LENGTH)
    kinds = [thin, outside, shallow]
    off = thin | outside | shallow
    piece = np.where(shallow, sealant.element, strip.element)
    assert said.pieces is not None
    return replace(
        said,
        state=np.where(off, FAIL, said.state),
        value_mm=np.select(kinds, [strip.width * MM, inside * MM, sealant.width * MM], said.value_mm),
        minimum_mm=np.select(kinds, [limits.sill_mm, np.nan, limits.sealant_mm], said.minimum_mm),
        maximum_mm=np.select(kinds, [np.nan, limits.inner_edge_mm, np.nan], said.maximum_mm),
        says=[
            f"Seal under the sill is only {in_mm(strip.width[i])} wide, required at least {limits.sill_mm:g} mm"
            if thin[i]
            else f"Seal under the sill begins {in_mm(inside[i])} from the panel's inner face, "
            f"required at most {limits.inner_edge_mm:g} mm"
            if outside[i]
            else f"Sealant round the frame is only {in_mm(sealant.width[i])} deep, required at least "
            f"{limits.sealant_mm:g} mm in a gap of {in_mm(seams.width_max[i])}"
            if shallow[i]
            else said.says[i]
            for i in range(len(seams))
        ],
        pieces=np.where(off[:, None], np.stack([piece] + [np.full(len(off), -1)] * 2, axis=1), said.pieces),
    )
