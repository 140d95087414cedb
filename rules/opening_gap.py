"""Gap round windows and doors."""

import re
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.facade import Facade, OpeningSeams
from checker.geometry import SAME_LENGTH
from checker.model import Bools, Element
from checker.rule import FAIL, MM, Blame, Verdicts, limit, rule, within
from checker.sketch import detail

_SOURCE: Final = "structural warranty manual (United Kingdom), gaps round windows; quoted second-hand"
_MATERIALS: Final = {
    "pvc": re.compile(r"pvc|plastic|kunststoff|vinyl|tworzyw", re.I),
    "aluminium": re.compile(r"alu", re.I),
    "timber": re.compile(r"timber|wood|holz|hout|bois|legno|madera|drewn|trä\b|træ\b|puu\b", re.I),
}
"""Words for what a frame is made of; a frame that states nothing of these is taken for steel."""


def _mm(default: float, means: str) -> float:
    value: float = limit(default, "mm", means, basis="published", source=_SOURCE)
    return value


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    most_mm: float = _mm(10.0, "widest gap where the larger side of the opening is up to 3 m")
    most_large_mm: float = _mm(15.0, "widest gap where it is larger")
    steel_small_mm: float = _mm(4.0, "gap a steel frame needs, larger side of the opening below 1.5 m")
    steel_mm: float = _mm(5.0, "... from 1.5 to 3 m")
    steel_large_mm: float = _mm(6.0, "... above 3 m")
    aluminium_small_mm: float = _mm(5.0, "gap an aluminium frame needs, larger side of the opening below 1.5 m")
    aluminium_mm: float = _mm(5.0, "... from 1.5 to 3 m")
    aluminium_large_mm: float = _mm(7.5, "... above 3 m")
    pvc_small_mm: float = _mm(5.0, "gap a white PVC frame needs, larger side of the opening below 1.5 m")
    pvc_mm: float = _mm(5.0, "... from 1.5 to 3 m; a coloured one needs 7.5, 7.5 and 11 mm")
    pvc_large_mm: float = _mm(7.5, "... above 3 m")
    timber_small_mm: float = _mm(5.0, "gap a timber frame needs, larger side of the opening below 1.5 m")
    timber_mm: float = _mm(5.0, "... from 1.5 to 3 m")
    timber_large_mm: float = _mm(5.0, "... above 3 m")


def _gaps(seams: OpeningSeams, facade: Facade) -> Bools:
    """Where a frame stands in the panels; a door's lower edge meets the floor."""
    return seams.gaps(facade)


@rule(
    subject=OpeningSeams,
    limits=Limits,
    where=_gaps,
    remedy="Set the frame in the middle of its opening, or make the opening for this frame.",
    needs=("panel", "window", "door"),
    good=detail(),
    bad=detail().moved("window", x=4.0).saying("The window sits 4 mm off the middle: 14 mm open at its left."),
)
def opening_gap(seams: OpeningSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Gap round a frame is as wide as its seal and its movement need.

    A seal in too wide a gap is not pressed and falls out, and wool alone holds no air. Too narrow a gap, which only
    warns, leaves the frame no room to expand: it crushes the seal on hot days and opens the corners.
    """
    # Edges come in fours: sill, head, left and right. The sill's length is the width of the frame.
    wide, high = seams.length.reshape(-1, 4)[:, :2].max(axis=1), seams.length.reshape(-1, 4)[:, 2:].max(axis=1)
    side = np.repeat(np.maximum(wide, high), 4)
    gaps = np.nan_to_num(seams.width_max).reshape(-1, 4)
    side = side + np.repeat(np.where(wide >= high, gaps[:, 2] + gaps[:, 3], gaps[:, 0] + gaps[:, 1]), 4)
    frame = seams.frames(facade)
    made = {int(e): _material(facade.model.elements[e]) for e in np.unique(frame)}
    size = np.where(side < 1.5 - SAME_LENGTH, 0, np.where(side <= 3.0 + SAME_LENGTH, 1, 2))
    least = np.array(
        [
            getattr(limits, f"{made[e]}{('_small', '', '_large')[s]}_mm")
            for e, s in zip(frame.tolist(), size, strict=True)
        ]
    ).reshape(len(seams))
    most = np.where(size == 2, limits.most_large_mm, limits.most_mm)
    # A frame moved along the seam's across closes the gap on one side by as much as it opens it on the other.
    sign = np.where(frame == seams.right, 1.0, -1.0)
    low, high_by = least / MM - seams.width_min, most / MM - seams.width_max
    verdicts = within(
        seams.width_min,
        seams.width_max,
        least,
        most,
        at_smallest=seams.at_width_min,
        at_largest=seams.at_width_max,
        fault=[
            text or ("" if known else "no opening is cut into the panels here")
            for text, known in zip(seams.fault, ~np.isnan(seams.width_min), strict=True)
        ],
        says_low="Gap round the frame is only {value}",
        says_high="Gap round the frame is {value}",
        says_negative="Frame cuts into the panel by {distance}",
        way=seams.frame[:, 1],
        before=0.5,
        blame=Blame(
            part=frame,
            what=[f"{facade.model.roles[e].role}" for e in frame],
            along=seams.frame[:, 1],
            least=np.where(sign > 0, low, -high_by),
            most=np.where(sign > 0, high_by, -low),
            cause=2 * frame + (np.abs(seams.frame[:, 1, 2]) > 0.5),
            anchor=frame,
        ),
    )
    return replace(verdicts, warning=(verdicts.state == FAIL) & (verdicts.value_mm < least))


def _material(element: Element) -> str:
    """What a frame is made of, as its materials or else its names say."""
    for words in (element.materials, (element.type_name, element.name, element.object_type)):
        for material, pattern in _MATERIALS.items():
            if any(pattern.search(word) for word in words):
                return material
    return "steel"
