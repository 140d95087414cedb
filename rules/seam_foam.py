"""Foam strip in the vertical seam."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, PanelEndSeams
from checker.measure import Shifts, above_rails, as_wide, in_section, joined, lacks
from checker.model import Bools
from checker.pieces import fill, pieces_on
from checker.properties import fire_ratings
from checker.rule import MM, Verdicts, limit, rule
from checker.sections import SEAM_FOAM, SEAM_INSULATION, column_face
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")
    depth_mm: float = limit(50.0, "mm", "least depth of the strip, from inside outwards", basis="practice")
    loose_mm: float = limit(
        20.0,
        "mm",
        "most by which the strip may lie further off the column than the panels do; 0 where it is drawn tight",
        basis="practice",
    )
    above_rail_mm: float = limit(
        10.0,
        "mm",
        "most between the top of the base rail and the strip: room for the insulation on it",
        basis="practice",
    )
    width_mm: float = limit(
        25.0, "mm", "least width of the strip along the facade, where the seam is not narrower", basis="practice"
    )


_SAYS: Final = "Foam strip in the seam"


def _asks_for_foam(seams: PanelEndSeams, facade: Facade) -> Bools:
    """All seams but those of fire-rated walls that hold insulation alone: another rule judges them."""
    foam, wool = (pieces_on(facade, layer, PanelEndSeams) for layer in (SEAM_FOAM, SEAM_INSULATION))
    rated = np.array([bool(text) for text in fire_ratings(seams, facade)], bool)
    everyone = np.arange(len(seams))
    result: Bools = ~rated | np.isin(everyone, foam.seam) | ~np.isin(everyone, wool.seam)
    return result


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=SEAM_FOAM,
    where=_asks_for_foam,
    remedy="Fill the seam with foam from the base rail to the top, tight against the column, pieces butted; "
    "in fire-rated walls as tested.",
    needs=("panel",),
    good=detail(),
    bad=detail().without("foam upper").saying("The seam between the upper panels holds no foam."),
)
def seam_foam(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Foam strip fills the vertical seam from the base rail up, deep enough, tight against the column, without gap.

    The foam closes the seam between the panel ends and the strips on the column. Where it is missing, thin or off the
    column, outside air reaches the column and moist air the cold outer sheet.
    """
    there = lacks(seams, facade, SEAM_FOAM, PanelEndSeams, limits.joint_mm, _SAYS)
    pieces = pieces_on(facade, SEAM_FOAM, PanelEndSeams, whole=True)
    face = np.where(np.isnan(seams.front), seams.inner, np.minimum(column_face(seams), seams.inner))
    # Drawn pressed, the strip reaches a little into the column; it is as deep all the same.
    found = fill(seams, pieces, 1, face - SLACK, np.maximum(seams.outer, face))
    off = found.first - face
    allowed = seams.inner - face + limits.loose_mm / MM
    above, begins, lowest = above_rails(seams, facade, SEAM_FOAM)
    foot = in_section(
        seams,
        above,
        seams.start,
        lowest,
        -np.inf,
        limits.above_rail_mm,
        says_high=f"{_SAYS} begins {{value}} above the top of the base rail",
    )
    middle = 0.5 * (seams.near + seams.far), 0.5 * (seams.inner + seams.outer)
    places = np.stack([seams.world(at, *middle) for at in (begins - above, begins)], axis=1)
    return joined(
        replace(foot, span=places),
        there,
        as_wide(seams, pieces, limits.width_mm, _SAYS),
        in_section(
            seams,
            found.least,
            found.at_least,
            found.piece_least,
            limits.depth_mm,
            np.inf,
            says_low=f"{_SAYS} is only {{value}} deep",
            out=(found.first, found.last),
        ),
        in_section(
            seams,
            off,
            found.at_first,
            found.piece_first,
            -np.inf,
            allowed * MM,
            says_high=f"{_SAYS} lies {{value}} off the column face",
            what="foam strip",
            shifts=Shifts(-off, allowed - off),
            out=(face, found.first),
        ),
    )
