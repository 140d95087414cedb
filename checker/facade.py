"""Records of a facade: its sides, panels, columns, and every seam between parts; what rules are asked about.

Each side has a frame from its panels' own geometry: ``right`` along the facade seen from outside, ``up`` in its plane,
``out`` towards the weather. All coordinates are dot products with such unit vectors, in metres, world less origin, so
that a seam's own numbers need no further origin.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, Final, Self, TypeVar, cast

import numpy as np

from checker.geometry import Boxes, Lines, extents, world
from checker.model import Bools, Floats, Ints, Model
from checker.result import WayFound

Record = TypeVar("Record")


@dataclass(frozen=True)
class Sides:
    """The plane sides of the building: ``frame`` (f, 3, 3) rows right, up, out; ``inner``, ``outer`` (f,) the faces."""

    names: tuple[str, ...]
    frame: Floats
    inner: Floats
    outer: Floats


@dataclass(frozen=True)
class Panels:
    """Panels: ``element`` number, ``side``, ``row`` from the foot, ``low``, ``high`` (p, 3) in the side's frame.

    Ribs and haunches on the inner face do not count: ``low`` ends at the face itself.

    ``left`` and ``right`` are silhouettes over the height, ``bottom`` and ``top`` along the facade.
    """

    element: Ints
    side: Ints
    row: Ints
    low: Floats
    high: Floats
    left: Lines
    right: Lines
    bottom: Lines
    top: Lines


@dataclass(frozen=True)
class Columns:
    """Columns as each side sees them: ``centre`` and ``front`` (c, 2) are straight lines (value at z = 0, slope).

    ``half`` is half the width of the section along the side, ``low`` and ``high`` the z it spans.
    """

    element: Ints
    side: Ints
    centre: Floats
    front: Floats
    half: Floats
    low: Floats
    high: Floats

    def centre_at(self, which: Ints, z: Floats) -> Floats:
        """Coordinate of the centre line along the facade at height z."""
        result: Floats = self.centre[which, 0] + self.centre[which, 1] * z
        return result

    def front_at(self, which: Ints, z: Floats) -> Floats:
        """Coordinate of the outer face towards the weather at height z."""
        result: Floats = self.front[which, 0] + self.front[which, 1] * z
        return result


@dataclass(frozen=True)
class Subjects:
    """What a rule is asked about, n of them. ``parts`` (n, k) element numbers, -1 for none; ``point`` (n, 3)."""

    kind: tuple[str, ...]
    ids: tuple[str, ...]
    side: Ints
    axis: tuple[str, ...]
    row: Ints
    length: Floats
    parts: Ints
    point: Floats
    fault: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.ids)

    def axes(self, i: int, sides: Sides) -> Floats:
        """Unit vectors (3, 3) along, across and out of one subject: it runs along its side unless it knows better."""
        result: Floats = sides.frame[self.side[i]]
        return result

    def take(self, which: Ints | Bools) -> Self:
        """Some of the subjects, in that order."""
        return taken(self, which)


@dataclass(frozen=True)
class Seams(Subjects):
    """Seams with their own ``frame`` (n, 3, 3): rows along the seam, across it in the facade's plane, out.

    ``across`` is to the right for upright seams and up for lying ones. ``start`` and ``end`` are coordinates along,
    ``line`` numbers the runs of seams that continue each other. ``left``, ``right``, ``column`` are element numbers
    (-1 for none); lying seams have the part below as ``left``. ``near`` and ``far`` are the edges of left and right
    part (coordinates across); ``inner``, ``outer`` the panels' faces, ``back``, ``front`` the inner and outer face of
    the column or plinth behind (coordinates out).
    ``width_*`` and ``offset_*`` in metres, NaN where they mean nothing; ``at_*`` (n, 3) the places.
    ``offset_*_narrow`` are the offsets where the seam is narrowest.
    ``filled`` is the share of the gap that anything but sealing parts fills (NaN where nobody looked, or the parts
    touch), ``occupants`` are the elements that do, the largest first.
    """

    frame: Floats
    start: Floats
    end: Floats
    line: Ints
    left: Ints
    right: Ints
    column: Ints
    near: Floats
    far: Floats
    inner: Floats
    outer: Floats
    back: Floats
    front: Floats
    width_min: Floats
    width_max: Floats
    at_width_min: Floats
    at_width_max: Floats
    offset_left_min: Floats
    offset_left_max: Floats
    offset_right_min: Floats
    offset_right_max: Floats
    at_offset_left_min: Floats
    at_offset_left_max: Floats
    at_offset_right_min: Floats
    at_offset_right_max: Floats
    offset_left_narrow: Floats
    offset_right_narrow: Floats
    filled: Floats
    occupants: tuple[tuple[int, ...], ...]

    def axes(self, i: int, sides: Sides) -> Floats:
        """The seam's own frame."""
        result: Floats = self.frame[i]
        return result

    def kind_of(self, facade: "Facade", *roles: str, left: bool) -> Bools:
        """Whether the left (or right) part of each seam has one of the roles."""
        parts = self.left if left else self.right
        return np.array([p >= 0 and facade.model.roles[p].role in roles for p in parts], bool)

    def world(self, along: Floats, across: Floats, out: Floats) -> Floats:
        """Points (n, 3), world less origin, of coordinates in the seams' own frames."""
        return world(self.frame, np.stack([along, across, out], axis=1))


OfKind = TypeVar("OfKind", bound=Seams)


@dataclass(frozen=True)
class PanelEndSeams(Seams):
    """Upright seams between the ends of two panels of one row.

    ``near_least`` and ``far_most`` (n,) are the coordinates across where either panel ends soonest: what covers the
    seam must reach over them. ``column_half`` (n,) is half the width of the column behind, NaN where there is none.
    """

    near_least: Floats
    far_most: Floats
    column_half: Floats


@dataclass(frozen=True)
class PanelEdgeSeams(Seams):
    """Lying seams between two panels one above the other; each is a line of its own.

    The width is the opening between the panels' full thickness, so that a tongue in its groove does not count;
    ``tongue`` (n,) is how far tongues reach over that opening, 0 where none is drawn.
    """

    tongue: Floats


class BaseSeams(Seams):
    """Lying seams between the lowest panels and the plinth."""


class CornerSeams(Seams):
    """Upright seams between panels of two sides."""


class OpeningSeams(Seams):
    """The four edges of windows and doors; ``right`` or ``left`` is the window or door."""

    def frames(self, facade: "Facade") -> Ints:
        """Element numbers (n,) of the windows and doors."""
        return np.where(self.kind_of(facade, "window", "door", left=True), self.left, self.right)

    def sills(self, facade: "Facade") -> Bools:
        """Which edges (n,) are lower ones: sills of windows, thresholds of doors."""
        lying = np.abs(self.frame[:, 0, 2]) < np.abs(self.frame[:, 1, 2])
        result: Bools = lying & (self.frames(facade) == self.right)
        return result

    def depth(self, facade: "Facade") -> tuple[Floats, Floats]:
        """From where to where outwards (n,) frame and panel stand face to face; equal where the frame lies on them."""
        low, high = extents(facade.model.meshes, self.frames(facade), self.frame)
        inner, outer = np.maximum(low[:, 2], self.inner), np.minimum(high[:, 2], self.outer)
        return inner, np.where(outer - inner > LEAST_DEPTH, outer, inner)

    def gaps(self, facade: "Facade") -> Bools:
        """Which edges (n,) have a gap between frame and panel: no thresholds, no frames that lie on the panels."""
        inner, outer = self.depth(facade)
        panel = np.where(self.frames(facade) == self.left, self.right, self.left)
        result: Bools = ~self.thresholds(facade) & (panel >= 0) & (outer > inner)
        return result

    def thresholds(self, facade: "Facade") -> Bools:
        """Which edges (n,) are lower edges of doors."""
        return self.sills(facade) & self.kind_of(facade, "door", left=False)


class RoofEdgeSeams(Seams):
    """Lying seams along the upper edges of the uppermost panels; ``left`` is the panel, ``right`` the roof."""


@dataclass(frozen=True)
class PlinthJoints(Seams):
    """Upright joints between neighbouring plinth elements; ``step`` in metres, positive where the right one is higher.

    ``level_left`` and ``level_right`` tell how far each top lies above the level of its side.
    """

    step: Floats
    level_left: Floats
    level_right: Floats


SEAM_KINDS: Final[dict[str, type[Seams]]] = {
    "panel-end": PanelEndSeams,
    "panel-edge": PanelEdgeSeams,
    "base": BaseSeams,
    "plinth-joint": PlinthJoints,
    "corner": CornerSeams,
    "opening-edge": OpeningSeams,
    "roof-edge": RoofEdgeSeams,
}


LEAST_DEPTH: Final = 0.01
"""A frame that reaches no deeper than this (metres) into the panels' thickness lies on them."""
SLACK: Final = 0.02
"""Strips are drawn pressed, at rest or a little off: this far (metres) from where they belong they are in place."""


@dataclass(frozen=True)
class Zone:
    """Where in a seam's section a layer must lie: ranges (n,) across and out in the seam's own coordinates.

    A piece counts when it reaches into the range across and the middle of its part there lies in the range out.
    """

    across_low: Floats
    across_high: Floats
    out_low: Floats
    out_high: Floats


@dataclass(frozen=True)
class Layer:
    """A sealing layer: ``roles`` it is made of, seams it belongs to, ``lanes`` side by side in which it must run.

    Where a part with a role of ``yields_to`` fills the zone, the layer may be interrupted. Parts with a role of
    ``stands_in`` count where no part of the layer's own roles lies in its place anywhere, if there are enough of them
    to be meant for it: models name things loosely.
    ``rings`` says that its seams come in fours, as sill, head, left and right of a frame, whose corners must close.
    ``may_lap`` says that its pieces may lie on each other at their ends instead of butting, ``reaching`` that they come
    into the zone from elsewhere, so that the middle of a piece may lie outside it.
    ``airtight`` layers are those of the airtight line: a seam is closed where one of them covers it.
    A provision without seams of its own (holes, corner pieces) has neither seams nor lanes; its rule finds it.
    ``centred`` asks for the middle of a part's section in the zone across as well, so that neighbours of one role are
    told apart. ``runs`` is false for what lies at single places of a seam and covers no whole one.
    """

    name: str
    means: str
    roles: tuple[str, ...]
    seams: tuple[type[Seams], ...] = ()
    lanes: Callable[[Seams], tuple[Zone, ...]] = lambda seams: ()
    yields_to: tuple[str, ...] = ()
    stands_in: tuple[str, ...] = ()
    rings: bool = False
    may_lap: bool = False
    reaching: bool = False
    airtight: bool = False
    centred: bool = False
    runs: bool = True

    @property
    def any_role(self) -> set[str]:
        """Every role whose parts may belong to the layer."""
        return {*self.roles, *self.stands_in}


@dataclass(frozen=True)
class Plinths(Subjects):
    """Plinth elements that carry panels: top from ``lowest`` to ``highest`` along the facade, ``level`` of their side.

    ``low`` and ``high`` (n, 3) extents in the side's frame; ``at_lowest`` and ``at_highest`` (n, 3) places.
    """

    element: Ints
    low: Floats
    high: Floats
    top: Lines
    lowest: Floats
    highest: Floats
    level: Floats
    at_lowest: Floats
    at_highest: Floats


@dataclass(frozen=True)
class RailSupports(Subjects):
    """Places where a base rail passes or meets a column: clear distance ``smallest`` to ``largest`` in metres.

    ``towards`` (n, 3) is the unit direction from column to rail in which that distance is measured; ``beside`` marks
    rails that end at the side of the column.
    """

    rail: Ints
    column: Ints
    smallest: Floats
    largest: Floats
    at_smallest: Floats
    at_largest: Floats
    towards: Floats
    beside: Bools


@dataclass(frozen=True)
class RailJoints(Subjects):
    """Places where base rails follow each other, along a side or round a corner: ``gap`` (n,), negative for an overlap.

    ``way`` (n, 3) is the unit direction from the first to the second one in which it is measured.
    ``opens_first`` and ``opens_second`` (n,) tell by how much the gap grows for each metre that rail is moved to the
    right along its own side, ``right_first`` and ``right_second`` (n, 3); 0 where moving it is no remedy.
    """

    first: Ints
    second: Ints
    gap: Floats
    way: Floats
    opens_first: Floats
    opens_second: Floats
    right_first: Floats
    right_second: Floats


@dataclass(frozen=True)
class BaseRails(Subjects):
    """Base rails: ``weep`` (n,) is how far the outermost weep hole lies outwards from the middle of the rail.

    In metres, negative inwards of it; NaN where the body has no such hole.
    """

    element: Ints
    weep: Floats


@dataclass(frozen=True)
class FootCorners(Subjects):
    """Corners at which the feet of two sides meet: the base seams (numbers) that end ``before`` and start ``after``.

    ``outer`` tells corners of the building from those of courts and recesses.
    """

    before: Ints
    after: Ints
    outer: Bools


Kind = TypeVar("Kind", bound=Subjects)


@dataclass(frozen=True)
class Crossings(Subjects):
    """Places where the joints between rows end at an upright seam, on one side of it or both.

    ``left`` and ``right`` (n,) are positions in the panel-edge seams, -1 for none; ``end`` those in the panel-end
    seams, ``along`` the coordinate there. ``step`` in metres is how far the joint on the right lies above that on the
    left: 0 where one open joint lies within the other; where one side has none, to the nearest edge of the panel there.
    """

    left: Ints
    right: Ints
    end: Ints
    along: Floats
    step: Floats

    def axes(self, i: int, sides: Sides) -> Floats:
        """A crossing lies on an upright seam."""
        result: Floats = sides.frame[self.side[i]][[1, 0, 2]]
        return result


@dataclass(frozen=True)
class Bays(Subjects):
    """The field of panels of each side, bay by bay from column to column, in the side's frame.

    ``area`` (n,) in square metres is what panels should cover from base to roof edge, less openings; ``open`` the area
    of the holes in it; ``width`` (n,) metres is the shorter side of the largest hole, 0 where there is none, ``size``
    (n, 2) its extents along and up; ``beside`` (n, k) are panels round it, -1 for none.
    """

    area: Floats
    open: Floats
    width: Floats
    size: Floats
    beside: Ints


@dataclass(frozen=True)
class Facade:
    """Everything rules may ask about, with element numbers into ``model.elements``.

    ``seams`` are those of panels built in a way that is checked, ``apart`` all others; ``ways`` names all ways of
    building that were found, ``way_of`` that of each seam by its id.
    """

    model: Model
    boxes: Boxes
    sides: Sides
    panels: Panels
    columns: Columns
    seams: dict[type[Seams], Seams]
    plinths: Plinths
    rails: RailSupports
    others: tuple[Subjects, ...] = ()
    layers: tuple[Layer, ...] = ()
    apart: dict[type[Seams], Seams] = field(default_factory=dict)
    ways: tuple[WayFound, ...] = ()
    way_of: Mapping[str, str] = field(default_factory=dict)
    stated: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def of(self, subject: type[Kind]) -> Kind:
        """The subjects of one type."""
        every: tuple[Subjects, ...] = (*self.seams.values(), self.plinths, self.rails, *self.others)
        return next(each for each in every if type(each) is subject)

    def fault_of(self, parts: Ints) -> str:
        """Why the first unmeasurable one of some elements cannot be measured, or nothing."""
        return fault_of(self.model, parts)

    def elements_of(self, *roles: str) -> Ints:
        """Element numbers of the given roles that have a body (kept)."""
        key = f"elements of {roles}"  # no role and the role "" are not the same
        if key not in self.kept:
            self.kept[key] = with_role(self.model, roles)
        result: Ints = self.kept[key]
        return result


def taken(records: Record, which: Ints | Bools) -> Record:
    """Some rows of a record whose every field has one entry per row (None is left as it is)."""
    index: Ints = np.flatnonzero(which) if which.dtype == bool else which.astype(np.int64)

    def rows(value: Any) -> Any:
        match value:
            case None:
                return None
            case Lines():
                return value.take(index)
            case np.ndarray():
                return value[index]
            case tuple() | list():
                return tuple(value[i] for i in index)
        return taken(value, index)

    values = {field.name: rows(getattr(records, field.name)) for field in fields(cast(Any, records))}
    return type(records)(**values)


def fault_of(model: Model, parts: Ints) -> str:
    """Why the first unmeasurable one of some elements cannot be measured, or nothing."""
    for part in parts:
        if part >= 0 and model.faults[part]:
            element = model.elements[part]
            return f"{element.name or element.ifc_class} ({element.guid}): {model.faults[part]}"
    return ""


def with_role(model: Model, roles: Sequence[str]) -> Ints:
    """Element numbers of the given roles that have a body, ascending.

    Parts that make up an element with a role are not without one (``""``).
    """
    has_body = np.diff(model.meshes.triangle_start) > 0
    told = (e for e, role in zip(model.elements, model.roles, strict=True) if role.role and "" in roles)
    parts = {(element.source, guid) for element in told for guid in element.shown}
    return np.array(
        [
            i
            for i, (role, element) in enumerate(zip(model.roles, model.elements, strict=True))
            if role.role in roles and has_body[i] and (role.role or (element.source, element.guid) not in parts)
        ],
        np.int64,
    )


def unique(names: Sequence[str]) -> tuple[str, ...]:
    """The names, each further one of a kind with a number behind it."""
    seen: dict[str, int] = {}
    result = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        result.append(name if seen[name] == 1 else f"{name}#{seen[name]}")
    return tuple(result)
