"""Seal strips on the column face."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import Facade, PanelEndSeams
from checker.measure import in_section, inner_faces, joined, lacks, without_column
from checker.pieces import Pieces, fill, of_lane, pieces_on
from checker.rule import MM, Verdicts, limit, rule
from checker.sections import COLUMN_SEAL, column_face
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")
    loose_mm: float = limit(
        1.0,
        "mm",
        "most that stays open from column face to panel beside a strip that is pressed",
        basis="practice",
    )


_SAYS: Final = "Seal strip on the column"


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=COLUMN_SEAL,
    remedy="Run one strip behind each panel end over the full height of the panels, pieces butted, thick enough to be "
    "pressed.",
    needs=("panel", "column"),
    good=detail(),
    bad=detail()
    .stretched("column seal 2 left", "top", -400.0)
    .saying("The left strip on column 2 ends 400 mm below the top."),
    seen_from="inside",
)
def column_seal(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal strip runs on the column face behind each panel end, without gap or overlap, pressed by the panel.

    The strip between column and panel is the airtight line of the seam. A gap leaks; an overlap holds the panel off the
    strip on both sides of it; a strip that touches only one of column and panel, or lies on the weather side, seals
    nothing.
    """
    there = lacks(seams, facade, COLUMN_SEAL, PanelEndSeams, limits.joint_mm, _SAYS, fault=without_column(seams))
    pieces = pieces_on(facade, COLUMN_SEAL, PanelEndSeams, whole=True)
    return joined(there, *(_pressed(seams, facade, limits, pieces, lane) for lane in (0, 1)))


def _pressed(seams: PanelEndSeams, facade: Facade, limits: Limits, pieces: Pieces, lane: int) -> Verdicts:
    """Verdicts on the strips of one lane: whether they fill the room between column and panel."""
    face, inner = column_face(seams), inner_faces(seams, facade, left=lane == 0)
    room = np.maximum(inner, face)
    mine, endless = of_lane(pieces, lane), np.full(len(seams), np.inf)
    found, place = fill(seams, mine, 1, face, room), fill(seams, mine, 0, -endless, endless)
    off_column, off_panel = (off > limits.loose_mm / MM for off in (found.first - face, room - found.last))
    between = [
        "column, strip and panel" if c and p else "column and strip" if c else "strip and panel" if p else "strips"
        for c, p in zip(off_column, off_panel, strict=True)
    ]
    side = "left" if lane == 0 else "right"
    return in_section(
        seams,
        np.where(np.isnan(seams.front), np.nan, room - face - found.least),
        found.at_least,
        found.piece_least,
        -np.inf,
        limits.loose_mm,
        says_high=f"{_SAYS} is not pressed: {{value}} open between {{between}} on the {side}",
        words={"between": between},
        out=(np.where(off_panel, found.last, face), np.where(off_panel, room, found.first)),
        across=0.5 * (place.first + place.last),
    )
