"""Seal between column and plinth."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, Facade, Layer, PlinthJoints, Seams, Zone
from checker.layers import positions
from checker.measure import joined, lacks, pieces_within
from checker.pieces import spread
from checker.rule import Blame, Verdicts, limit, rule
from checker.sketch import detail

BESIDE: Final = 0.30
"""A strip that seals the end of a plinth element lies no further beside the joint (metres)."""
NO_COLUMN: Final = 0.10
"""Where no column stands behind a joint, what seals it lies no further behind the plinth (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt", basis="practice")
    open_mm: float = limit(
        1.0, "mm", "largest space left between strip and column, or strip and plinth", basis="practice"
    )


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Between column and the end of the left and of the right element; else in the joint or across it from inside."""
    free = np.isnan(seams.front)
    low = np.where(free, seams.inner - NO_COLUMN, np.fmin(seams.front, seams.inner) - SLACK)
    high = np.where(free, seams.outer, np.fmax(seams.front, seams.inner) + SLACK)
    near, far = np.minimum(seams.near, seams.far), np.maximum(seams.near, seams.far)
    return (
        Zone(near - BESIDE, np.where(free, far, near), low, high),
        Zone(np.where(free, near, far), far + BESIDE, low, high),
    )


LAYER = Layer(
    "column-plinth-seal",
    "seal between column and plinth where plinth elements meet",
    ("seal",),
    (PlinthJoints,),
    _lanes,
    stands_in=("foam", "tape", "sealant"),
    airtight=True,
)


@rule(
    subject=PlinthJoints,
    limits=Limits,
    layer=LAYER,
    remedy="Seal the gap between column and plinth on both sides of the joint, from the foot to the top of the plinth.",
    needs=("plinth",),
    good=detail(),
    bad=detail()
    .stretched("plinth joint seal", "top", -120.0)
    .saying("The seal behind the joint of the plinth ends 120 mm below its top."),
    seen_from="inside",
)
def column_plinth_seal(joints: PlinthJoints, facade: Facade, limits: Limits) -> Verdicts:
    """Gap between column and plinth is sealed where plinth elements meet, over the height of the joint.

    The joint between two elements is open to the outside, and the gap between them and the column leads from there into
    the hall on both sides of it. Each element is sealed against the column, by one strip across the joint or two beside
    it that touch both. Where no column stands behind a joint, the joint itself has to be sealed.
    """
    behind = np.full(len(joints), "", dtype=object)
    known = joints.column >= 0
    behind[known] = [facade.fault_of(np.array([c])) for c in joints.column[known]]
    fault = tuple(own or column for own, column in zip(joints.fault, behind, strict=True))
    runs = lacks(joints, facade, LAYER, PlinthJoints, limits.joint_mm, "Seal between column and plinth", fault=fault)
    strips = positions(facade, LAYER, PlinthJoints)
    front, inner = joints.front[strips.seam], joints.inner[strips.seam]
    back, face = np.fmin(front, inner), np.fmax(front, inner)
    behind_it, before_it = strips.low[:, 1] - back, face - strips.high[:, 1]
    space = np.where(np.isnan(front), 0.0, np.maximum(behind_it, before_it))  # without a column nothing to touch
    open_at = np.where(behind_it > before_it, 0.5 * (back + strips.low[:, 1]), 0.5 * (face + strips.high[:, 1]))
    left = spread(joints, strips, space, open_at)
    return joined(
        runs,
        pieces_within(
            joints,
            left,
            -np.inf,
            limits.open_mm,
            says_low="",
            says_high="Seal between column and plinth leaves {value} open beside it",
            way=joints.frame[:, 2],
            blame=Blame.unmovable(left.most, joints.frame[:, 0], np.arange(len(joints)), left.most),
        ),
    )
