"""Seams of fire-rated walls."""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import Facade, PanelEndSeams, taken
from checker.geometry import SAME_LENGTH
from checker.lanes import lanes_of
from checker.layers import cover, uncovered
from checker.model import Bools, Element
from checker.properties import fire_ratings
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, limit, rule
from checker.sections import SEAM_FOAM, SEAM_INSULATION
from checker.sketch import detail
from checker.stated import affirmed
from checker.words import read

_BURNS: Final = re.compile(r"\b(pir|pur|pu|eps|xps|poly\w*|styr(ol|ene)\w*|phenol\w*|resol\w*)\b", re.I)
_MINERAL: Final = re.compile(r"mineral|stone|rock|glass|basalt|silicate|perlite|vermiculite", re.I)


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    gap_mm: float = limit(1.0, "mm", "longest stretch without non-combustible insulation", basis="practice")


def _rated(seams: PanelEndSeams, facade: Facade) -> Bools:
    """Which seams lie at a panel that states a fire rating."""
    return np.array([bool(text) for text in fire_ratings(seams, facade)], bool)


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    where=_rated,
    remedy="Fill the seam as the tested detail of the rated wall says, with non-combustible insulation; "
    "let the fire engineer and the local authority decide.",
    needs=("panel",),
    good=detail()
    .stating("panel 1.1", firerating="EI 60")
    .saying("Panel 1.1 is rated EI 60; mineral wool fills its seam."),
    bad=detail()
    .stating("panel 1.1", firerating="EI 60")
    .stating("seam insulation lower", combustible="true")
    .saying("Panel 1.1 is rated EI 60; what fills its seam burns."),
)
def fire_rated_seam(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seam in a fire-rated wall holds non-combustible insulation over its whole height: foam alone is no pass.

    Foam burns out of the seam and opens the wall. Asked where a panel, or the wall it belongs to, states a FireRating;
    insulation tells by the property Combustible or by its material. A pass here is no proof of the rating: a tested
    detail, qualified people and local codes decide.
    """
    (lane,) = lanes_of(facade, SEAM_INSULATION, PanelEndSeams)
    burns = {int(e): _burns(facade.model.elements[e]) for e in np.unique(lane.inside.element)}
    safe = np.array([burns[e] is False for e in lane.inside.element.tolist()], bool)
    unknown = np.array([burns[e] is None for e in lane.inside.element.tolist()], bool)
    missing, between, _ = uncovered(taken(lane.inside, safe), seams.line, seams.start, seams.end)
    without, _, _ = uncovered(taken(lane.inside, safe | unknown), seams.line, seams.start, seams.end)
    _, _, doubtful = uncovered(taken(lane.inside, unknown), seams.line, seams.start, seams.end)
    tolerance = limits.gap_mm / MM + SAME_LENGTH
    nothing = not any(cover(facade, layer, PanelEndSeams).modelled for layer in (SEAM_FOAM, SEAM_INSULATION))
    states, sentences = [], []
    for i, rating in enumerate(fire_ratings(seams, facade)):
        if seams.fault[i]:
            states.append(UNDECIDED)
            sentences.append(seams.fault[i])
        elif missing[i] <= tolerance:
            states.append(PASS)
            sentences.append("")
        elif nothing:
            states.append(NOT_MODELLED)
            sentences.append("")
        elif without[i] <= tolerance:
            states.append(UNDECIDED)
            name = facade.model.elements[doubtful[i]].name
            sentences.append(f"{name} in a seam rated {rating or '-'} states neither Combustible nor its material")
        else:
            states.append(FAIL)
            sentences.append(
                f"Seam rated {rating or '-'} lacks non-combustible insulation over {missing[i] * MM:.1f} mm, required "
                f"at most {limits.gap_mm:g} mm; foam alone is no pass, a tested detail decides"
            )
    count, middle = len(seams), (0.5 * (seams.near + seams.far), 0.5 * (seams.inner + seams.outer))
    ends = [seams.world(at, *middle) for at in between]
    whole = np.abs(between[1] - between[0] - missing) < SAME_LENGTH  # open at one place alone
    state = np.array(states, np.int64)
    anchor = np.where(seams.column >= 0, seams.column, seams.left)
    return Verdicts(
        state=state,
        value_mm=np.where((state == PASS) | (state == FAIL), missing * MM, np.nan),
        minimum_mm=np.full(count, np.nan),
        maximum_mm=np.full(count, limits.gap_mm),
        point=0.5 * (ends[0] + ends[1]),
        says=sentences,
        warning=np.zeros(count, bool),
        pieces=doubtful[:, None],
        span=np.where(whole[:, None, None], np.stack(ends, axis=1), np.nan),
        blame=Blame.unmovable(np.full(count, -1), seams.frame[:, 0], seams.line, anchor),
    )


def _burns(element: Element) -> bool | None:
    """Whether an insulation is combustible, as its property or else its words say; None where nothing tells."""
    said = affirmed(element.stated.get("combustible", ""))
    if said is not None:
        return said
    for words in (*element.materials, element.type_name, element.object_type, element.name, element.description):
        if _BURNS.search(words) or "foam" in read(words).senses:
            return True
        if _MINERAL.search(words) or "wool" in read(words).senses:
            return False
    return None
