"""Seal strip on the plinth."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.facade import SLACK, BaseSeams, Facade, Layer, Seams, Zone
from checker.foot import BASE_REACH
from checker.layers import Positions, positions
from checker.measure import joined, lacks, pieces_within, same_run
from checker.model import Bools, Floats, Ints
from checker.pieces import spread
from checker.properties import stated_side
from checker.rule import FAIL, MM, PASS, Blame, Verdicts, exceeds, limit, rule
from checker.sketch import detail

MEMBRANE: Final = ("membraneside", "foilside")
"""Properties that tell on which side of the wall the membrane on a strip lies."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    joint_mm: float = limit(1.0, "mm", "largest gap or overlap where pieces butt, also at corners", basis="practice")
    width_mm: float = limit(40.0, "mm", "least width of the strip", basis="practice")
    edge_mm: float = limit(10.0, "mm", "either way from the inner edge of what stands on the plinth", basis="practice")


def _edge(seams: Seams) -> Floats:
    """The inner edge (n,) of the plinth top; of a plinth wider than what stands on it, the panels' inner face."""
    return np.where(np.isnan(seams.back), seams.inner, np.maximum(seams.back, seams.inner))


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """On the plinth top below panel or base rail, on the inner half of the plinth or of the panel."""
    back = np.where(np.isnan(seams.back), seams.inner, seams.back)
    front = np.where(np.isnan(seams.front), seams.outer, seams.front)
    # A plinth may be far wider than what stands on it: the strip then lies below the inner half of the panel.
    middle = np.maximum(0.5 * (back + front), 0.5 * (seams.inner + seams.outer))
    below = np.where(seams.left < 0, seams.far - BASE_REACH, seams.near)
    # What has its middle beside the plinth seals the gap behind it.
    return (Zone(below - SLACK, np.maximum(seams.far, seams.near + SLACK), back, middle + 1e-3),)


LAYER = Layer(
    "plinth-seal",
    "seal strip on the plinth top, at the inner edge",
    ("seal",),
    (BaseSeams,),
    _lanes,
    stands_in=("foam", "tape", "sealant"),
    airtight=True,
)


@rule(
    subject=BaseSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Run one strip, as wide as required, along the inner edge of the plinth top, membrane side inwards, pieces "
    "butted, also round corners; cut it at steps and butt it on both levels.",
    needs=("panel", "plinth"),
    good=detail(),
    bad=detail()
    .stretched("plinth seal 1", "right", -5.0)
    .saying("The two strips on the plinth leave 5 mm between them."),
    seen_from="inside",
)
def plinth_seal(seams: BaseSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Seal strip runs along the inner edge of the plinth top, wide enough, without gap or overlap.

    Concrete is never quite even; the strip closes what is left below the base rail. A gap in it is open to the outside,
    an overlap lifts the rail beside it, a narrow strip has too little to press on, and near the outer edge it lies in
    the rain. Pieces butt at corners as well. A strip that states in MembraneSide where its membrane lies must have it
    inside. Where the plinth tops step, the rule plinth-step asks whether the strip is cut.
    """
    fault = tuple(
        f or ("no plinth lies below this panel" if p < 0 else "") for f, p in zip(seams.fault, seams.left, strict=True)
    )
    runs = lacks(seams, facade, LAYER, BaseSeams, limits.joint_mm, "Seal strip on the plinth", fault=fault)
    strips = positions(facade, LAYER, BaseSeams)
    width = spread(seams, strips, strips.high[:, 1] - strips.low[:, 1])
    narrow = exceeds(width.smallest, limits.width_mm / MM, np.inf)
    off = spread(seams, strips, strips.low[:, 1] - _edge(seams)[strips.seam], strips.low[:, 1])
    edge = limits.edge_mm / MM
    far = exceeds(off.smallest, -edge, np.inf) | exceeds(off.largest, -np.inf, edge)
    strip = np.where(-edge - off.smallest > off.largest - edge, off.least, off.most)
    return joined(
        runs,
        pieces_within(
            seams,
            width,
            limits.width_mm,
            np.inf,
            says_low="Seal strip on the plinth is only {value} wide",
            says_high="",
            way=seams.frame[:, 2],
            blame=Blame.unmovable(width.least, seams.frame[:, 0], _run(seams, narrow), width.least),
        ),
        pieces_within(
            seams,
            off,
            -limits.edge_mm,
            limits.edge_mm,
            says_low="Seal strip on the plinth hangs {distance} over its inner edge",
            says_high="Seal strip on the plinth lies {value} from its inner edge",
            way=seams.frame[:, 2],
            before=1.0,
            blame=Blame(
                part=strip,
                what=("seal strip",) * len(seams),
                along=seams.frame[:, 2],
                least=-edge - off.smallest,
                most=edge - off.largest,
                cause=_run(seams, np.where(far, np.sign(off.smallest + off.largest), 0.0)),
                anchor=strip,
            ),
        ),
        _membranes(seams, facade, strips),
    )


def _run(seams: Seams, sign: Floats | Bools) -> Ints:
    """Neighbours along a side with the same fault are one cause."""
    return same_run(seams.side, seams.start, seams.end, sign.astype(float))


def _membranes(seams: Seams, facade: Facade, strips: Positions) -> Verdicts:
    """Fails where a strip states that its membrane lies outside; a strip that states nothing passes."""
    outside = [e for e in np.unique(strips.element).tolist() if stated_side(facade, e, MEMBRANE) > 0]
    strip = np.full(len(seams), -1)
    wrong = np.isin(strips.element, outside)
    strip[strips.seam[wrong]] = strips.element[wrong]
    bad = strip >= 0
    nan = np.full(len(seams), np.nan)
    return Verdicts(
        state=np.where(bad, FAIL, PASS),
        value_mm=nan,
        minimum_mm=nan,
        maximum_mm=nan,
        point=seams.point,
        says=[
            f"{facade.model.elements[e].name} on the plinth states its membrane side outside, required inside"
            if e >= 0
            else ""
            for e in strip
        ],
        warning=np.zeros(len(seams), bool),
        pieces=strip[:, None],
        blame=Blame.unmovable(strip, seams.frame[:, 0], _run(seams, bad), strip),
    )
