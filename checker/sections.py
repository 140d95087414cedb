"""Where in the section of an upright seam between panels its layers lie: those that more than one rule asks about."""

from typing import Final

import numpy as np

from checker.facade import SLACK, Layer, PanelEndSeams, Seams, Zone
from checker.model import Floats

BEARING: Final = 0.30
"""A strip for a panel end lies no further behind it along the facade (metres)."""
NO_COLUMN: Final = 0.10
"""Where no column is known, a strip lies no further behind the panels (metres)."""
BESIDE_END: Final = 2e-3
"""What fills the gap between panel ends reaches at least so near to it, across (metres)."""
COVER_DEPTH: Final = 0.05
"""The middle of a cover over the seam lies no deeper in it than this (metres), for it may be folded into the seam."""
COVER_STANDS_OFF: Final = 0.20
"""The middle of a cover lies no further in front of the panels (metres)."""


def column_face(seams: Seams) -> Floats:
    """Where the column's outer face lies (n,), outwards; a place behind the panels where no column is known."""
    face: Floats = np.where(np.isnan(seams.front), seams.inner - NO_COLUMN, seams.front)
    return face


def _behind_ends(seams: Seams) -> tuple[Zone, ...]:
    """Between column face and panel, behind the end of the left and of the right panel."""
    face = column_face(seams)
    out = np.minimum(face, seams.inner) - SLACK, np.maximum(face, seams.inner) + SLACK
    return (Zone(seams.near - BEARING, seams.near, *out), Zone(seams.far, seams.far + BEARING, *out))


def _between_ends(seams: Seams) -> tuple[Zone, ...]:
    """Between the panel ends, its middle anywhere in the panels' thickness."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (Zone(low - BESIDE_END, high + BESIDE_END, seams.inner, seams.outer + BESIDE_END),)


def _over_seam(seams: Seams) -> tuple[Zone, ...]:
    """In front of the gap between the panel ends."""
    low, high = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    out = seams.outer - COVER_DEPTH, seams.outer + COVER_STANDS_OFF
    return (Zone(low - BESIDE_END, high + BESIDE_END, *out),)


COLUMN_SEAL: Final = Layer(
    "column-seal",
    "seal strip on the column face behind each panel end",
    ("seal",),
    (PanelEndSeams,),
    _behind_ends,
    stands_in=("tape", "sealant"),
    airtight=True,
)
SEAM_FOAM: Final = Layer(
    "seam-foam",
    "elastic foam strip between the panel ends",
    ("foam",),
    (PanelEndSeams,),
    _between_ends,
    yields_to=("base-rail",),
    stands_in=("seal",),
)
SEAM_INSULATION: Final = Layer(
    "seam-insulation",
    "insulation in front of the foam, in the rest of the panels' thickness",
    ("insulation",),
    (PanelEndSeams,),
    _between_ends,
    yields_to=("base-rail",),
)
SEAM_FLASHING: Final = Layer(
    "seam-flashing",
    "flashing over the seam between panel ends",
    ("flashing",),
    (PanelEndSeams,),
    _over_seam,
    may_lap=True,
)
