"""Insulation round windows and doors."""

from dataclasses import dataclass

import numpy as np

from checker.facade import Facade, Layer, OpeningSeams
from checker.geometry import highest, lowest
from checker.measure import packed
from checker.model import Bools, Ints
from checker.openings import OPENING_SEAL, between_frame_and_panel
from checker.pieces import Pieces, pieces_on
from checker.rule import Verdicts, limit, rule
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    open_mm: float = limit(5.0, "mm", "most depth of the gap that may stay empty beside its seal", basis="practice")


LAYER = Layer(
    "opening-insulation",
    "insulation between frame and panel",
    ("insulation",),
    (OpeningSeams,),
    between_frame_and_panel,
    stands_in=("foam",),
)


def _gaps(seams: OpeningSeams, facade: Facade) -> Bools:
    """Where a frame stands in the panels; under a door there is no insulation."""
    return seams.gaps(facade)


@rule(
    subject=OpeningSeams,
    limits=Limits,
    layer=LAYER,
    where=_gaps,
    remedy="Pack the rest of the gap on all sides of the frame; in fire-rated walls with what the tested detail names.",
    needs=("panel", "window", "door"),
    good=detail(),
    bad=detail().stretched("window insulation at left", "back", 30.0).saying("30 mm of the left gap's depth is empty."),
)
def opening_insulation(seams: OpeningSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Gap round a frame is filled over the depth of the frame.

    An empty chamber beside the seal lets cold air wash round the frame: water condenses on its inside, and wind reaches
    the seal unbraked.
    """
    frame = seams.frames(facade)
    inner, outer = seams.depth(facade)
    return packed(
        seams,
        facade,
        OpeningSeams,
        LAYER,
        _place_of_seal(seams, facade, frame),
        inner,
        outer,
        limits.open_mm,
        "Gap round the frame",
        frame,
        frame,
    )


def _place_of_seal(seams: OpeningSeams, facade: Facade, frame: Ints) -> Pieces:
    """Where the seal of each frame lies, all round: an edge without it is a question of another rule."""
    seal, size = pieces_on(facade, OPENING_SEAL, OpeningSeams), int(frame.max(initial=-1)) + 1
    low, high = lowest(seal.low, frame[seal.seam], size)[frame], highest(seal.high, frame[seal.seam], size)[frame]
    sealed = np.flatnonzero(np.isfinite(low[:, 1]))
    start, end = seams.start[sealed], seams.end[sealed]
    nothing, along = np.zeros(len(sealed), np.int64), np.ones(len(sealed), bool)
    return Pieces(sealed, frame[sealed], start, end, nothing, along, low[sealed], high[sealed])
