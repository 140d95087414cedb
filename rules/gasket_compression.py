"""Gaskets in the joints between rows."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, Layer, PanelEdgeSeams, Seams, Zone
from checker.geometry import SAME_LENGTH
from checker.measure import joined, lacks
from checker.model import Floats
from checker.pieces import Pieces, pieces_on, room_between
from checker.properties import stated_length
from checker.rule import FAIL, MM, PASS, UNDECIDED, Blame, Verdicts, limit, rule, spans
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    minimum_percent: float = limit(
        30.0,
        "percent",
        "of the free thickness by which the gasket is pressed at least",
        basis="practice",
        source="common practice; trade gasket guides, quoted second-hand, give 25 to 40 for solid rubber",
    )
    maximum_percent: float = limit(
        50.0,
        "percent",
        "of the free thickness by which it is pressed at most: a warning",
        basis="published",
        source="trade gasket guides, quoted second-hand: ceiling of about 50",
    )
    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")


GROOVE: Final = 0.2
"""Panels that leave less than this share of the gasket's thickness between them are drawn without its groove."""


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Between the rows, anywhere in the panels' thickness."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - SLACK, high + SLACK, seams.inner, seams.outer),)


LAYER: Final = Layer(
    "gasket", "gasket in the joint between two rows", ("seal",), (PanelEdgeSeams,), _lanes, airtight=True
)


@rule(
    subject=PanelEdgeSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Choose a gasket for the groove as it is, or press the row down before it is fixed; state FreeThickness.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("gasket 1.2", "top", 1.5)
    .saying("The gasket over panel 1.1 is pressed from 10 to 7.5 mm only, by 25 %."),
)
def gasket_compression(seams: PanelEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Gasket runs through the joint between rows and is pressed enough, and not too much.

    A gasket seals by its pressure: pressed by less than a third it lifts off where panels bow in the sun, pressed by
    more than half it takes a set and no longer springs back. Its free thickness is the property FreeThickness, or that
    of its body where panels are drawn with the groove it is pressed in.
    """
    row = np.unique(np.stack([seams.side, seams.row], axis=1), axis=0, return_inverse=True)[1].reshape(-1)
    there = lacks(seams, facade, LAYER, PanelEdgeSeams, limits.joint_mm, "Gasket between the rows", cause=row)
    return joined(there, _pressed(seams, facade, limits, pieces_on(facade, LAYER, PanelEdgeSeams, whole=True)))


def _pressed(seams: PanelEdgeSeams, facade: Facade, limits: Limits, pieces: Pieces) -> Verdicts:
    """Verdicts on how far the worst gasket of each seam is pressed; seams without one pass."""
    free, pressed = _thickness(seams, facade, pieces)
    low, high = free * (1 - limits.maximum_percent / 100), free * (1 - limits.minimum_percent / 100)
    excess = np.where(np.isnan(pressed), np.inf, np.maximum(low - pressed, pressed - high) / free)
    order = np.lexsort((pieces.element, excess.round(9), pieces.seam))
    worst = order[np.append(np.diff(pieces.seam[order]) > 0, True)] if len(order) else order
    count, seam = len(seams), pieces.seam[worst]
    at = 0.5 * (seams.start + seams.end)
    at[seam] = 0.5 * (pieces.start + pieces.end)[worst]
    out = 0.5 * (seams.inner + seams.outer)
    out[seam] = 0.5 * (pieces.low + pieces.high)[worst, 1]
    state, warning, says = np.full(count, PASS), np.zeros(count, bool), [""] * count
    value, least, most = (np.full(count, np.nan) for _ in range(3))
    element = np.full(count, -1, np.int64)
    element[seam] = pieces.element[worst]
    value[seam], least[seam], most[seam] = pressed[worst] * MM, low[worst] * MM, high[worst] * MM
    for i, k in zip(seam.tolist(), worst.tolist(), strict=True):
        if np.isnan(pressed[k]):
            name = facade.model.elements[pieces.element[k]].name
            what = "property FreeThickness" if np.isnan(free[k]) else "groove it is pressed in"
            state[i], says[i] = UNDECIDED, f"{name}: no {what} is in the model"
        elif excess[k] * free[k] > SAME_LENGTH:
            percent = 100 * (1 - pressed[k] / free[k])
            state[i], warning[i] = FAIL, pressed[k] < low[k]
            says[i] = (
                f"Gasket is pressed from {free[k] * MM:.1f} to {pressed[k] * MM:.1f} mm, by {percent:.0f} %, "
                f"required {limits.minimum_percent:g} to {limits.maximum_percent:g} %"
            )
    point = seams.world(at, 0.5 * (seams.near + seams.far), out)
    return Verdicts(
        state=state,
        value_mm=value,
        minimum_mm=least,
        maximum_mm=most,
        point=point,
        says=says,
        warning=warning,
        pieces=element[:, None],
        span=spans(point, seams.frame[:, 1], value / MM, before=0.5),
        blame=Blame.unmovable(element, seams.frame[:, 1], np.arange(count), np.where(element < 0, seams.left, element)),
    )


def _thickness(seams: PanelEdgeSeams, facade: Facade, pieces: Pieces) -> tuple[Floats, Floats]:
    """Free and pressed thickness (k,) of each piece, NaN where the model does not tell.

    A body thinner than the stated free thickness is drawn pressed; one as thick is drawn at rest, and the room that the
    panels leave for it tells how far it is pressed. A joint that is wider than its gasket is a question of its own.
    """
    drawn = pieces.high[:, 0] - pieces.low[:, 0]
    stated = np.array([stated_length(facade, int(e), "freethickness") for e in pieces.element]).reshape(len(drawn))
    room = room_between(facade, seams, pieces)
    free = np.where(np.isnan(stated), drawn, stated)
    at_rest = drawn > free - SAME_LENGTH
    in_groove = at_rest & (room > GROOVE * free) & (room < drawn - SAME_LENGTH)
    pressed = np.where(in_groove, room, np.where(at_rest, np.nan, drawn))
    return np.where(np.isnan(stated) & ~in_groove, np.nan, free), pressed
