"""The two views of an issue: the parts in their surroundings, and a section through the worst place.

A `Viewpoint` is what the BCF file says about camera, selection, colours, lines and clipping planes. Pictures are drawn
from that record, so the two cannot drift apart. World coordinates are metres.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.model import Floats, Ints, Model, is_global_id
from checker.result import Issue, Point, SectionKind

FIELD_OF_VIEW_DEG: Final = 60.0
"""The widest angle BCF 2.1 allows, and the one that most viewers take over unchanged."""
ASIDE: Final = 0.12
ABOVE: Final = 0.24
"""How far the camera leaves the issue's own direction, as tangents: enough to see depth, too little to hide a seam."""
CLOSE_M: Final = 0.3
"""A flagged part whose box comes this close to the place belongs to the place."""
WIDE_M: Final = 7.0
"""The framed sphere grows with further parts up to this radius: two panels of a usual length."""
SMALL_M: Final = 1.0
"""Smaller parts are shown with their surroundings, a sphere of this radius."""
SECTION_M: Final = (0.40, 0.60)
"""Least and greatest height of a section: a panel of 120 mm and the column behind it fill the least."""
TIMES_SPAN: Final = (3.0, 1.4)
"""A section is this many times as high as the distance measured in it within those bounds, and so many times beyond."""
OFF_MIDDLE: Final = 0.2
"""The worst place lies at most this part of the height off the middle of a section, to show more of the parts."""
SQUARE: Final = 0.96
"""What is selected in a section stays within this part of a square as high as the picture: BCF 2.1 says no width."""
BEFORE_M: Final = 0.1
"""The camera of a section stands this far before all that is selected: viewers may cut away what is behind it."""
MOST_COMPONENTS: Final = 1000
"""The standard asks for no more components in one list."""
MOVES: Final = "FFE0560A"
SEALS: Final = "FFFFD84D"
CONCERNED: Final = "FFF6A94F"
"""BCF colours (alpha first) of the part that should move, of flagged sealing parts, and of the other flagged parts."""
BY_RANK: Final = (MOVES, SEALS, CONCERNED)
SEALING: Final = frozenset({"seal", "sealant", "foam", "insulation", "tape", "membrane"})
SAME_POINT_M: Final = 1e-4
ARROW_HEAD: Final = 0.08
"""Length of an arrow's head as a part of the width that is magnified: a move of a few millimetres is still seen."""
SECTIONS: Final[dict[SectionKind, str]] = {
    "plan": "Horizontal section through the worst place, seen from above: outside is at the bottom.",
    "upright": "Upright section through the worst place: outside is on the left.",
    "facing": "Section through the worst place, parallel to the facade and seen from outside.",
}

Line = tuple[Point, Point]
Frame = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Viewpoint:
    """One view of an issue, in world coordinates including the model's origin.

    ``direction`` and ``up`` are unit vectors at right angles. The camera is a perspective one with
    ``field_of_view_deg``, or where ``height_m`` is not zero an orthogonal one that shows so much in height. ``clips``
    are planes, a place on each and the unit vector towards what is cut away. ``selected`` are GlobalIds whose bodies
    lie wholly in the picture; ``coloured`` pairs a colour (``FFRRGGBB``) with GlobalIds. ``lines`` are what a viewer
    draws: the move as an arrow, and what was measured or a cross at the place. ``caption`` says what is to be seen.

    The rest is for the painter: ``tints`` the same colours by index into ``Model.elements``, ``centre`` and
    ``radius_m`` the framed sphere, ``place`` the worst place, ``detail_m`` the width round it that a magnifier should
    show, ``move`` the way a part should go, or zeros; ``span`` the ends of the measured distance. ``target`` is the
    part that should move, and ``missing`` one such as is missing, each with the vector that brings it to where a part
    should be. ``frame`` is that of the model whose part should move, as in `Source`.
    """

    eye: Point
    direction: Point
    up: Point
    field_of_view_deg: float
    selected: tuple[str, ...]
    coloured: tuple[tuple[str, tuple[str, ...]], ...]
    tints: tuple[tuple[int, str], ...]
    centre: Point
    radius_m: float
    place: Point
    detail_m: float
    move: Point
    frame: Frame = ()
    height_m: float = 0.0
    clips: tuple[tuple[Point, Point], ...] = ()
    lines: tuple[Line, ...] = ()
    span: Line | None = None
    target: tuple[int, Point] | None = None
    missing: tuple[int, Point] | None = None
    caption: str = ""


SAME_PLACE_M: Final = 1e-3
"""Bodies of two files with one GlobalId whose boxes differ by no more are one thing."""


def element_boxes(model: Model) -> Floats:
    """Boxes (n, 2, 3) of all elements, world less origin; an element without a body has lows of +inf, highs of -inf."""
    starts = model.meshes.point_start
    boxes = np.empty((len(model.elements), 2, 3))
    boxes[:, 0], boxes[:, 1] = np.inf, -np.inf
    full = np.flatnonzero(np.diff(starts) > 0)
    if len(full):
        boxes[full, 0] = np.minimum.reduceat(model.meshes.points, starts[full])
        boxes[full, 1] = np.maximum.reduceat(model.meshes.points, starts[full])
    return boxes


def both_views(issue: Issue, model: Model, boxes: Floats) -> tuple[Viewpoint, Viewpoint]:
    """The view that belongs first, and the section; ``boxes`` are those of `element_boxes`."""
    return context_view(issue, model, boxes), section_view(issue, model, boxes)


def context_view(issue: Issue, model: Model, boxes: Floats | None = None) -> Viewpoint:
    """Where to stand, what to select and what to colour so that the issue is seen at once.

    All flagged parts are coloured. Selected are only those whose model has the frame of the part that should move: the
    camera is written in it. Selected and framed are those at the worst place, the smallest first, as long as the
    picture does not get too wide: beside a whole roof nobody would see the seam. ``boxes`` are those of
    `element_boxes` where the caller has them.
    """
    boxes = element_boxes(model) if boxes is None else boxes
    place = np.array(issue.point_m) - model.origin
    tints = _tints(issue, model, boxes)
    framed = _framed(np.array([i for i, _ in tints], dtype=np.int64), boxes, place)
    centre, radius = _sphere(boxes[framed], place)
    direction, up = _attitude(np.array(issue.look))
    eye = centre - direction * (1.1 * radius / np.sin(np.radians(FIELD_OF_VIEW_DEG / 2)))
    own = _frame(model, issue.elements[0]) if issue.elements else ()
    x, y, z = issue.point_m
    detail = _detail(issue)
    return Viewpoint(
        eye=_point(eye + model.origin, 6),
        direction=_point(direction, 12),
        up=_point(up, 12),
        field_of_view_deg=FIELD_OF_VIEW_DEG,
        selected=_shown([i for i in framed.tolist() if _frame(model, i) == own], model),
        coloured=_coloured(tints, model),
        tints=tints,
        centre=_point(centre + model.origin, 6),
        radius_m=radius,
        place=issue.point_m,
        detail_m=detail,
        move=issue.move.vector_m if issue.move else (0.0, 0.0, 0.0),
        frame=own,
        lines=(*_cross(issue.point_m, detail), *_arrow(issue, direction, detail)),
        caption=f"The ring marks the worst place, x {x:.3f} y {y:.3f} z {z:.3f} m.",
    )


def section_view(issue: Issue, model: Model, boxes: Floats | None = None) -> Viewpoint:
    """The section through the worst place, square on its plane, with what lies before the plane cut away.

    Selected are flagged parts that lie wholly in the picture and whose middle is not cut away. Where there is none,
    nothing is coloured either, for viewers aim at what is coloured then: parts much longer than the picture is wide.
    """
    boxes = element_boxes(model) if boxes is None else boxes
    section = issue.section
    measured = float(np.linalg.norm(np.subtract(*section.span))) if section.span else 0.0
    usual, least = TIMES_SPAN
    height = max(float(np.clip(usual * measured, *SECTION_M)), least * measured)
    towards, up = np.array(section.towards), np.array(section.up)
    frame = np.stack([np.cross(up, towards), up, towards])
    place = np.array(section.point_m)
    tints = _tints(issue, model, boxes)
    own = _frame(model, issue.elements[0]) if issue.elements else ()
    middle = place + _off_middle([i for i, _ in tints], model, boxes, frame, place, height)
    chosen, reach = _whole_in_section([i for i, _ in tints], model, frame, middle, height, own)
    detail = height / 2
    span = (_point(np.array(section.span[0]), 9), _point(np.array(section.span[1]), 9)) if section.span else None
    marks = (span,) if span else _cross(section.point_m, detail / 2)
    return Viewpoint(
        eye=_point(middle + towards * max(height, reach + BEFORE_M), 6),
        direction=_point(-towards, 12),
        up=_point(up, 12),
        field_of_view_deg=0.0,
        selected=_shown(chosen, model),
        coloured=_coloured(tints, model) if chosen else (),
        tints=tints,
        centre=_point(middle, 6),
        radius_m=height,
        place=section.point_m,
        detail_m=detail,
        move=issue.move.vector_m if issue.move else (0.0, 0.0, 0.0),
        frame=own,
        height_m=height,
        clips=((_point(place, 6), _point(towards, 12)),),
        lines=(*marks, *_arrow(issue, -towards, detail)),
        span=span,
        target=(issue.elements[0], issue.move.vector_m) if issue.move else None,
        missing=None if section.like is None else (section.like, _point(np.array(section.like_m), 9)),
        caption=SECTIONS[section.kind],
    )


def _off_middle(flagged: list[int], model: Model, boxes: Floats, frame: Floats, place: Floats, height: float) -> Floats:
    """How far (3,) the middle of a section lies from its worst place, so that the flagged parts there are in sight.

    Along the picture's axes in which they do not fit anyway, the worst place is in the middle.
    """
    at = place - model.origin
    away = [float(np.linalg.norm(np.maximum(np.maximum(boxes[i, 0] - at, at - boxes[i, 1]), 0.0))) for i in flagged]
    m = model.meshes
    near = [
        m.points[m.point_start[i] : m.point_start[i + 1]] for i, d in zip(flagged, away, strict=True) if d < CLOSE_M
    ]
    if not near:
        return np.zeros(3)
    seen = (np.concatenate(near) - at) @ frame[:2].T
    low, high = seen.min(axis=0), seen.max(axis=0)
    shift = np.clip((low + high) / 2, -OFF_MIDDLE * height, OFF_MIDDLE * height)
    result: Floats = np.where(high - low < 2 * height, shift, 0.0) @ frame[:2]
    return result


def _whole_in_section(
    flagged: list[int], model: Model, frame: Floats, middle: Floats, height: float, own: Frame
) -> tuple[list[int], float]:
    """Parts that can be selected in a section, and how far they reach before its plane in metres.

    What counts are boxes along the axes of the file whose part should move, as viewers have them.
    """
    matrix = np.array(own) if own else np.eye(4)
    chosen: list[int] = []
    low, high, reach = np.full(3, np.inf), np.full(3, -np.inf), 0.0
    for i in flagged:
        if _frame(model, i) != own or len(chosen) == MOST_COMPONENTS or not _shown([i], model):
            continue
        points = model.meshes.points[model.meshes.point_start[i] : model.meshes.point_start[i + 1]] + model.origin
        points = (points - matrix[:3, 3]) @ matrix[:3, :3]
        lowest, highest = np.minimum(low, points.min(axis=0)), np.maximum(high, points.max(axis=0))
        corners = np.stack(np.meshgrid(*zip(lowest, highest, strict=True)), axis=-1).reshape(-1, 3)
        seen = (corners @ matrix[:3, :3].T + matrix[:3, 3] - middle) @ frame.T
        if np.abs(seen[:, :2]).max() < SQUARE * height / 2 and seen[:, 2].mean() < -SAME_POINT_M:
            low, high, reach = lowest, highest, float(seen[:, 2].max())
            chosen.append(i)
    return chosen, reach


def _cross(place: Point, width: float) -> tuple[Line, ...]:
    """Three short lines that cross at a place, for viewers that show lines: the seam itself may be too fine to see."""
    at = np.array(place)
    steps = np.eye(3) * (width / 2)
    return tuple((_point(at - step, 9), _point(at + step, 9)) for step in steps)


def _arrow(issue: Issue, direction: Floats, detail_m: float) -> tuple[Line, ...]:
    """The move as lines: from the worst place to where that should be, with a head that is seen in the picture."""
    if issue.move is None or not any(issue.move.vector_m):
        return ()
    start, vector = np.array(issue.point_m), np.array(issue.move.vector_m)
    way = vector / np.linalg.norm(vector)
    side = np.cross(direction, way)
    if np.linalg.norm(side) < SAME_POINT_M:
        side = np.cross((way[1], way[2], way[0]), way)
    side *= 0.5 / np.linalg.norm(side)
    tip = start + vector
    head = ARROW_HEAD * detail_m
    barbs = (tip - head * (way - turn) for turn in (side, -side))
    return tuple((_point(end, 9), _point(tip, 9)) for end in (start, *barbs))


def _tints(issue: Issue, model: Model, boxes: Floats) -> tuple[tuple[int, str], ...]:
    """The flagged parts that have a body, with their colours; the part that should move comes first."""
    flagged = [i for i in dict.fromkeys(issue.elements) if np.isfinite(boxes[i]).all()]
    return tuple((i, _tint(model.roles[i].role, i == issue.elements[0])) for i in flagged)


def _coloured(tints: tuple[tuple[int, str], ...], model: Model) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The same by GlobalId, each of them once, under the colour that matters most."""
    coloured: dict[str, str] = {}
    for i, colour in sorted(tints, key=lambda tint: BY_RANK.index(tint[1])):
        for guid in _shown([i], model):
            coloured.setdefault(guid, colour)
    most = list(coloured.items())[:MOST_COMPONENTS]
    return tuple((colour, guids) for colour in BY_RANK if (guids := tuple(guid for guid, own in most if own == colour)))


def _frame(model: Model, element: int) -> Frame:
    return model.sources[model.elements[element].source].frame


def _point(vector: Floats, digits: int) -> Point:
    """Rounded far below what anybody sees, so that two kinds of processor write the same file."""
    x, y, z = (np.round(vector, digits) + 0.0).tolist()
    return x, y, z


def _shown(which: list[int], model: Model) -> tuple[str, ...]:
    """GlobalIds a viewer can show for some elements, without those that break the standard's pattern.

    One that stands for something elsewhere as well would lead the eye astray.
    """
    alone = [i for i in which if not _elsewhere(i, model)]
    guids = dict.fromkeys(guid for i in alone for guid in model.elements[i].shown or (model.elements[i].guid,))
    return tuple(guid for guid in guids if is_global_id(guid))[:MOST_COMPONENTS]


def _elsewhere(element: int, model: Model) -> bool:
    """Whether another body with the GlobalId of an element lies in another place."""

    def box(i: int) -> Floats:
        points = model.meshes.points[model.meshes.point_start[i] : model.meshes.point_start[i + 1]]
        return np.stack([points.min(axis=0), points.max(axis=0)]) if len(points) else np.full((2, 3), np.nan)

    guid = model.elements[element].guid
    for step in (-1, 1):  # elements stand in the order of their GlobalIds
        other = element + step
        while 0 <= other < len(model.elements) and model.elements[other].guid == guid:
            if np.abs(box(other) - box(element)).max() > SAME_PLACE_M:
                return True
            other += step
    return False


def _tint(role: str, first: bool) -> str:
    return MOVES if first else SEALS if role in SEALING else CONCERNED


def _framed(flagged: Ints, boxes: Floats, place: Floats) -> Ints:
    if not len(flagged):
        return flagged
    low, high = boxes[flagged, 0], boxes[flagged, 1]
    away = np.linalg.norm(np.maximum(np.maximum(low - place, place - high), 0.0), axis=1)
    near = flagged[away <= max(CLOSE_M, float(away.min()) + SAME_POINT_M)]
    radius = np.linalg.norm(boxes[near, 1] - boxes[near, 0], axis=1) / 2
    # The part that should move comes first, unless it is as wide as a roof.
    near = near[np.lexsort((radius, (near != flagged[0]) | (radius > WIDE_M)))]
    # The union only grows, so the parts that still fit are found with running extremes.
    low = np.minimum.accumulate(boxes[near, 0])
    high = np.maximum.accumulate(boxes[near, 1])
    fits = np.linalg.norm(high - low, axis=1) / 2 <= WIDE_M
    fits[0] = True
    result: Ints = near[fits][:MOST_COMPONENTS]
    return result


def _sphere(boxes: Floats, place: Floats) -> tuple[Floats, float]:
    """The sphere to frame, round the parts and the place, or round the parts alone where the place is far off."""
    if not len(boxes):
        return place, SMALL_M
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    parts = float(np.linalg.norm(high - low)) / 2
    least = max(parts, min(SMALL_M, 12.0 * parts))
    low, high = np.minimum(low, place), np.maximum(high, place)
    both = float(np.linalg.norm(high - low)) / 2
    if both > 2.0 * least:
        low, high, both = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0), parts
    return (low + high) / 2, max(both, least)


def _attitude(look: Floats) -> tuple[Floats, Floats]:
    """Direction and up vector of the camera: the look, a little from the right and from above."""
    look = look / np.linalg.norm(look)
    steep = abs(look[2]) > 0.9
    right = np.cross(look, (0.0, 1.0, 0.0) if steep else (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    top = np.cross(right, look)
    direction = look - ASIDE * right - ABOVE * top
    direction /= np.linalg.norm(direction)
    up = top - direction * (top @ direction)
    return direction, up / np.linalg.norm(up)


def _detail(issue: Issue) -> float:
    """Width to magnify: a measured value should fill an eighth of it, so that a person can judge it by eye."""
    width = 0.25 * issue.size_m if issue.worst_mm is None else 8.0 * abs(issue.worst_mm) / 1000.0
    return float(np.clip(width, 0.25, 1.5))
