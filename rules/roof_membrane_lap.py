"""Lap of the roof membrane over the wall."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker import geometry as g
from checker.facade import Facade, Layer, RoofEdgeSeams, Seams, Zone
from checker.layers import cover
from checker.measure import lacks
from checker.model import Floats, Ints
from checker.pieces import Pieces, pieces_on
from checker.rule import FAIL, MM, PASS, Verdicts, in_mm, limit, rule, spans
from checker.sketch import eaves

_SOURCE = "housing standards (United Kingdom), laps of vapour and air control layers; quoted second-hand"

REACH: Final = 0.45
"""A membrane that is led up or down the wall reaches no further from the edge (metres)."""
INSIDE: Final = 0.30
"""It begins on the roof, no further from the panels' inner face (metres)."""


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    lap_mm: float = limit(
        100.0,
        "mm",
        "least lap over the seam between roof and wall, and of pieces over each other",
        basis="published",
        source=_SOURCE,
    )
    joint_mm: float = limit(1.0, "mm", "largest gap between pieces along the edge", basis="practice")


def _lanes(seams: Seams) -> tuple[Zone, ...]:
    """Across the inner upper edge of the panels, from the roof on to the wall."""
    return (Zone(seams.near - REACH, seams.near + REACH, seams.inner - INSIDE, seams.outer + INSIDE),)


LAYER = Layer(
    "roof-membrane",
    "roof membrane over the seam between roof and wall",
    ("membrane",),
    (RoofEdgeSeams,),
    _lanes,
    may_lap=True,
    reaching=True,
    airtight=True,
)


@rule(
    subject=RoofEdgeSeams,
    limits=Limits,
    layer=LAYER,
    remedy="Lead the membrane over the seam on to the panel by the required lap, and lap its pieces.",
    needs=("panel",),
    good=eaves(),
    bad=eaves().stretched("membrane 1", "front", -40.0).saying("The left membrane laps on to the wall by 60 mm."),
    seen_from="inside",
)
def roof_membrane_lap(seams: RoofEdgeSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Roof membrane laps over the seam between roof and wall along the whole upper edge.

    The membrane is the airtight line of the roof; it must go on to the wall. A short lap slips off when the roof moves,
    and pieces that lap too little open like a pocket.
    """
    said = lacks(seams, facade, LAYER, RoofEdgeSeams, limits.joint_mm, "Roof membrane over the wall")
    over, at, piece = _least_lap(facade, seams)
    own, own_at, first, second = _least_joint(facade, seams)
    least = limits.lap_mm / MM - g.SAME_LENGTH
    short, thin = over < least, own < least
    fails = (said.state == PASS) & (short | thin)
    joint = fails & thin & (~short | (own < over))
    value = np.where(joint, own, over)
    place = np.where(joint, own_at, at)
    spot = seams.world(place, seams.near, seams.inner)
    along = spans(spot, seams.frame[:, 0], value, before=0.5)
    outwards = spans(spot, seams.frame[:, 2], value)
    nobody = np.full(len(seams), -1, np.int64)
    short_piece = np.where(joint, second, piece)
    assert said.pieces is not None
    assert said.span is not None
    assert said.blame is not None
    # A sheet that is too short is one cause, over however many panels it runs.
    cause = np.where(fails, int(said.blame.cause.max(initial=0)) + 1 + short_piece, said.blame.cause)
    return replace(
        said,
        state=np.where(fails, FAIL, said.state),
        # Where nothing is missing, the lap is what is measured.
        value_mm=np.where(fails | (said.state == PASS), np.minimum(over, own) * MM, said.value_mm),
        minimum_mm=np.where(fails | (said.state == PASS), limits.lap_mm, said.minimum_mm),
        maximum_mm=np.where(fails | (said.state == PASS), np.nan, said.maximum_mm),
        point=np.where(fails[:, None], spot, said.point),
        span=np.where(fails[:, None, None], np.where(joint[:, None, None], along, outwards), said.span),
        says=[
            f"{_told(joint[i], value[i])}, required at least {limits.lap_mm:g} mm" if fails[i] else said.says[i]
            for i in range(len(seams))
        ],
        pieces=np.where(
            fails[:, None],
            np.stack([np.where(joint, first, piece), np.where(joint, second, nobody), nobody], axis=1),
            said.pieces,
        ),
        blame=replace(said.blame, cause=cause, anchor=np.where(fails, short_piece, said.blame.anchor)),
    )


def _told(joint: bool, lap: float) -> str:
    """What a lap that is too short looks like."""
    if joint:
        return f"Pieces of the roof membrane lap by {in_mm(lap)}"
    if lap < -g.SAME_LENGTH:
        return f"Roof membrane ends {in_mm(-lap)} before the wall"
    return f"Roof membrane laps on to the wall by {in_mm(lap)}"


def _least_lap(facade: Facade, seams: Seams) -> tuple[Floats, Floats, Ints]:
    """How far the membrane reaches on to the wall at least (n,), where along, and the piece that does so.

    Over the upper edge it is measured outwards from the inner face; down or up that face along it.
    """
    found = pieces_on(facade, LAYER, RoofEdgeSeams)
    frames = seams.frame[found.seam]
    outer = g.silhouettes(facade.model.meshes, found.element, frames, 2, 1, 0)
    face = seams.inner[found.seam]
    wall = g.Lines(np.stack([found.start, found.end], axis=1), np.stack([face, face], axis=1))
    # On a slope sheets are cut plumb: at their very ends not all of the section is there.
    upright = np.abs(frames[:, 0, 2]) * (found.high - found.low)[:, 0]
    inset = np.minimum(upright + g.SAME_LENGTH, 0.5 * (found.end - found.start))
    over = g.extremes(wall, outer, found.start + inset, found.end - inset)
    lap = np.maximum(over.smallest, _on_face(facade, seams, found))
    # Where sheets lap, the longer one counts: a sheet is judged where it lies alone or reaches further.
    best = _covered(found.seam, found.start, found.end, lap)
    count = len(seams)
    least, place, piece = np.full(count, np.inf), 0.5 * (seams.start + seams.end), np.full(count, -1, np.int64)
    for k in np.lexsort((-best, found.seam)).tolist():
        s = found.seam[k]
        least[s], place[s], piece[s] = best[k], over.at_min[k], found.element[k]
    return least, place, piece


def _covered(seam: Ints, start: Floats, end: Floats, lap: Floats) -> Floats:
    """Laps, infinite for pieces that lie wholly under others of the same seam that reach at least as far."""
    result = lap.copy()
    for k in range(len(seam)):
        others = np.flatnonzero((seam == seam[k]) & (lap >= lap[k]) & (np.arange(len(seam)) != k))
        union = g.merge(np.zeros(len(others), np.int64), start[others], end[others])
        if ((union.start <= start[k] + g.SAME_LENGTH) & (union.end >= end[k] - g.SAME_LENGTH)).any() and (
            lap[others] > lap[k]
        ).any():
            result[k] = np.inf
    return result


def _on_face(facade: Facade, seams: Seams, found: Pieces) -> Floats:
    """Height (k,) over which pieces lie along the inner face; what only ends there lies flat on the roof."""
    meshes = facade.model.meshes
    entries, which = g.spread(meshes.triangle_start, found.element)
    frame = seams.frame[found.seam][:, [1, 0, 2]]  # what is asked for first, then where to look
    local = np.einsum("tij,tkj->tki", frame[which], meshes.points[meshes.triangles[entries]])
    face = seams.inner[found.seam]
    low, high = (np.stack([at, face + off], axis=1) for at, off in ((found.start, -AT_FACE), (found.end, AT_FACE)))
    reach, met = g.clip_triangles(local, low[which], high[which])
    bottom = g.lowest(reach[met, 0], which[met], len(face))
    height = g.highest(reach[met, 1], which[met], len(face)) - bottom
    result: Floats = np.where(height > AT_FACE, height, -np.inf)
    return result


AT_FACE: Final = 0.02
"""What lies this near to the inner face, and further along it, is led along it (metres)."""


def _least_joint(facade: Facade, seams: Seams) -> tuple[Floats, Floats, Ints, Ints]:
    """The shortest lap of pieces over each other on each seam (n,), where along, and both pieces; infinite for none."""
    joints = cover(facade, LAYER, RoofEdgeSeams).joints
    count = len(seams)
    least, place = np.full(count, np.inf), 0.5 * (seams.start + seams.end)
    first, second = np.full(count, -1, np.int64), np.full(count, -1, np.int64)
    for k in np.argsort(-joints.lap, kind="stable").tolist():
        s = joints.seam[k]
        least[s], place[s], first[s], second[s] = joints.lap[k], joints.at[k], joints.first[k], joints.second[k]
    return least, place, first, second
