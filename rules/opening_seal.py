"""Seal round windows and doors."""

from dataclasses import dataclass

import numpy as np

from checker.facade import SLACK, Facade, Layer, OpeningSeams, Seams, Zone
from checker.measure import lacks
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Between frame and panel, anywhere in the panel's thickness."""
    near = np.where(np.isnan(seams.near), seams.far, seams.near)
    far = np.where(np.isnan(seams.far), seams.near, seams.far)
    return (Zone(np.minimum(near, far) - SLACK, np.maximum(near, far) + SLACK, seams.inner - 2e-3, seams.outer + 2e-3),)


LAYER = Layer(
    "opening-seal",
    "seal between frame and panel",
    ("seal",),
    (OpeningSeams,),
    _lanes,
    stands_in=("foam", "tape", "sealant"),
    rings=True,
)


@rule(
    subject=OpeningSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Close the seal on all four sides of the frame, also at its corners and under doors.",
    needs=("panel", "window", "door"),
    good=detail(),
    bad=detail().without("window seal sill").saying("The window has no seal at its sill."),
    lengthwise="facing",
)
def opening_seal(seams: OpeningSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal runs round the whole frame of a window or door, also at its corners.

    A frame is as tight as its worst corner: wind presses on all four sides, and the sill and threshold are where water
    stands.
    """
    frame = np.where(seams.kind_of(facade, "window", "door", left=True), seams.left, seams.right)
    return lacks(seams, facade, LAYER, OpeningSeams, limits.joint_mm, "Seal round the frame", cause=frame, anchor=frame)
