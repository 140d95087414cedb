"""Seal under doors."""

from dataclasses import dataclass

from checker.facade import Facade, OpeningSeams
from checker.measure import lacks
from checker.model import Bools
from checker.openings import OPENING_SEAL
from checker.rule import Verdicts, limit, rule
from checker.sketch import gate


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")


def _thresholds(seams: OpeningSeams, facade: Facade) -> Bools:
    """The lower edges of doors."""
    return seams.thresholds(facade)


@rule(
    subject=OpeningSeams,
    limits=Limits,
    layer=OPENING_SEAL,
    where=_thresholds,
    remedy="Run a seal under the whole door from jamb to jamb, one that closes when the door is down.",
    needs=("panel", "door"),
    lengthwise="facing",
    good=gate(),
    bad=gate().without("door seal threshold").saying("The lifting door has no seal at its lower edge."),
)
def door_threshold_seal(seams: OpeningSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal runs under the whole door, above all under lifting doors.

    The gap under a lifting door is as wide as the bay and at the level where wind and cold air press in. It is drawn by
    the door's maker and poured over by the floor's, and forgotten between both.
    """
    frame, says = seams.frames(facade), "Seal under the door"
    return lacks(seams, facade, OPENING_SEAL, OpeningSeams, limits.joint_mm, says, cause=frame, anchor=frame)
