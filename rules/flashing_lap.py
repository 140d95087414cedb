"""Laps of flashings."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import BaseSeams, Facade, Layer, PanelEndSeams, Seams, Zone
from checker.geometry import SAME_LENGTH
from checker.layers import Laps
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, in_mm, limit, rule, spans
from checker.sketch import detail
from checker.stated import affirmed

_SOURCE = "code of practice for metal roof and wall cladding (New Zealand), flashing laps"
COVERS: Final = 0.05
"""A flashing over a seam comes at least this near to it, across (metres)."""
STANDS_OFF: Final = 0.20
"""The middle of a flashing lies no further from the panels' outer face (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    sealed_mm: float = limit(100.0, "mm", "least lap where it is sealed", basis="published", source=_SOURCE)
    unsealed_mm: float = limit(150.0, "mm", "least lap where it is not sealed", basis="published", source=_SOURCE)
    unstated_is_sealed: bool = limit(
        True, "", "a lap of which no property LapSealed says otherwise counts as sealed", basis="practice"
    )


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """In front of the seam: over the vertical seam, or from plinth to lowest panel."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - COVERS, high + COVERS, seams.outer - STANDS_OFF, seams.outer + STANDS_OFF),)


LAYER = Layer("flashing", "flashing in front of the seam", ("flashing",), (BaseSeams, PanelEndSeams), _lanes)


@rule(
    subject=Laps,
    limits=Limits,
    layer=LAYER,
    remedy="Lap the pieces by the required length, upper over lower; seal laps shorter than unsealed ones may be.",
    needs=("flashing",),
    good=detail(),
    bad=detail().stretched("plinth flashing 1", "right", -40.0).saying("The two plinth flashings lap by 60 mm."),
)
def flashing_lap(laps: Laps, facade: Facade, limits: Limits) -> Verdicts:
    """Successive pieces of flashing lap far enough.

    Wind drives rain and air through a short lap. A sealed lap may be shorter than an unsealed one; state it with the
    property LapSealed.
    """
    sealed = [_sealed(facade, pair, limits.unstated_is_sealed) for pair in laps.parts]
    least = np.where(sealed, limits.sealed_mm, limits.unsealed_mm)
    lap = laps.lap * MM
    short = lap < least - SAME_LENGTH * MM
    undecided = np.array([bool(text) for text in laps.fault], bool)
    absent = laps.first < 0
    count = len(laps)
    says = []
    for i in range(count):
        kind = "sealed" if sealed[i] else "not sealed"
        what = (
            f"Flashings lap by {in_mm(laps.lap[i])}"
            if laps.lap[i] > -SAME_LENGTH
            else f"Flashings leave {in_mm(-laps.lap[i])} open between them"
        )
        says.append(laps.fault[i] or (f"{what}, required at least {least[i]:g} mm ({kind})" if short[i] else ""))
    return Verdicts(
        state=np.where(absent, NOT_MODELLED, np.where(undecided, UNDECIDED, np.where(short, FAIL, PASS))),
        value_mm=np.where(undecided, np.nan, lap),
        minimum_mm=np.where(absent, np.nan, least),
        maximum_mm=np.full(count, np.nan),
        point=laps.point,
        says=says,
        warning=np.zeros(count, bool),
        blame=Blame.unmovable(laps.second, laps.along, np.arange(count), laps.second),
        span=spans(laps.point, laps.along, laps.lap, before=0.5),
    )


def _sealed(facade: Facade, pair: tuple[int, ...], unstated: bool) -> bool:
    """Whether a lap between two pieces is stated as sealed."""
    said = [affirmed(facade.model.elements[e].stated.get(key, "")) for e in pair for key in ("lapsealed", "sealed")]
    return False not in said and (unstated or True in said)
