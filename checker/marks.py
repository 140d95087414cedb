"""What of a building is compared between files: posts, joints and level runs, whatever anything is called.

A *post* is the middle of what stands slender and upright. A *run* is anything that runs level. A *joint* is a place at
which runs of one file end and a post should stand: the middle between ends that face each other, a corner, a free end.
Found by shape alone, for roles lean on how files lie to each other. Coordinates are metres, world less origin.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Self

import numpy as np
import shapely
from numpy.typing import NDArray

from checker import geometry as g
from checker.model import Bools, Floats, Ints, Meshes

STANDING: Final = 0.9659
"""Cosine of 15 degrees: a post is no more out of plumb."""
LEVEL: Final = 0.1737
"""Sine of 10 degrees: a bar that slopes more is no level run."""
PARALLEL: Final = 0.999
"""Cosine of the angle between walls in one line (2.5 degrees)."""
WIDEST_GAP_M: Final = 0.40
"""Ends further apart face no joint; between walls that stop at a column lies the column."""
DEEPEST_LAP_M: Final = 0.02
"""Ends that overlap by more are laps of sheets."""
ONE_POST_M: Final = 0.15
"""Pieces of a column that are nearer in plan are one post."""
ONE_JOINT_M: Final = 0.10
"""Joints of several rows that are nearer in plan are one."""
ONE_PILE_M: Final = 0.05
"""Runs whose outlines in plan differ by less are of one pile."""
SHARPEST: Final = 0.94
"""Cosine of 20 degrees: walls that meet at less make no corner."""
OUTSIDE_M: Final = 1.0
"""A wall this far from the middle of its file has its outside away from it."""
JOINT, CORNER, END = 0, 1, 2


@dataclass(frozen=True)
class Rows:
    """Arrays of one length; ``source`` (n,) is the file of each."""

    source: Ints

    def __len__(self) -> int:
        return len(self.source)

    def take(self, which: Ints | Bools) -> Self:
        """Some of the rows."""
        return type(self)(*(getattr(self, field.name)[which] for field in fields(self)))

    @classmethod
    def joined(cls, several: "Sequence[Self]") -> Self:
        """One after another."""
        return cls(*(np.concatenate([getattr(one, field.name) for one in several]) for field in fields(cls)))


@dataclass(frozen=True)
class Posts(Rows):
    """``place`` (n, 2); ``axes`` (n, 2, 2) directions in plan, ``half`` (n, 2) the half section along them."""

    place: Floats
    axes: Floats
    half: Floats
    low: Floats
    high: Floats

    def reach(self, which: Ints, direction: Floats) -> Floats:
        """Half the width (m,) of some posts along directions (m, 2)."""
        along = np.abs(np.einsum("nkd,nd->nk", self.axes[which], direction))
        result: Floats = np.einsum("nk,nk->n", self.half[which], along)
        return result


@dataclass(frozen=True)
class Joints(Rows):
    """Places (n, 2) where a post should stand: ``kind`` `JOINT`, `CORNER` or `END`.

    ``along`` and ``across`` (n, 2) are the directions in which a post is measured: at joints and ends those of the
    wall, at corners the normals of both walls. ``half`` (n, 2) is the half thickness of the wall in each, 0 along one.
    ``outward`` (n, 2) tells where in each direction the rest of the file does not lie: 1, -1, or 0 where that is open.
    """

    kind: Ints
    place: Floats
    along: Floats
    across: Floats
    half: Floats
    outward: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Runs(Rows):
    """``low`` and ``high`` (n, 3) along, up and across, in the direction ``along`` (n, 2).

    ``body`` is the number of each body, ``full`` tells whether it fills most of its box, as no sheet or channel does.
    """

    along: Floats
    low: Floats
    high: Floats
    body: Ints
    full: Bools

    @property
    def solid(self) -> Bools:
        """Which are walls or beams, no strips or sheets."""
        size = self.high - self.low
        result: Bools = (size[:, 1] >= 0.05) & (size[:, 2] >= 0.03) & (size[:, 2] <= 0.6)
        return result

    def outlines(self) -> Floats:
        """The corners (n, 4, 2) of each in plan, in order round it."""
        across = square(self.along)
        ends = ((self.low, self.low), (self.high, self.low), (self.high, self.high), (self.low, self.high))
        return np.stack([u[:, :1] * self.along + d[:, 2:] * across for u, d in ends], axis=1)


@dataclass(frozen=True)
class Levels:
    """Level faces (f,): ``height``, ``area``, whether they face ``up``; ``start`` (n + 1,) of each body."""

    start: Ints
    height: Floats
    area: Floats
    up: Bools


@dataclass(frozen=True)
class Marks:
    """The marks of some files."""

    posts: Posts
    joints: Joints
    runs: Runs

    def of(self, sources: Iterable[int]) -> "Marks":
        """Those of some files only."""
        mine = sorted(sources)
        posts, joints, runs = (np.isin(part.source, mine) for part in (self.posts, self.joints, self.runs))
        return Marks(self.posts.take(posts), self.joints.take(joints), self.runs.take(runs))

    def outline(self) -> shapely.Geometry:
        """What they cover in plan, without hollows."""
        corners = self.runs.outlines().reshape(-1, 2)
        return shapely.convex_hull(shapely.multipoints(np.concatenate([self.posts.place, corners])))

    def moved(self, shift: Floats) -> "Marks":
        """The same marks moved by (x, y)."""
        aside = [(self.runs.along @ shift)[:, None], (square(self.runs.along) @ shift)[:, None]]
        step = np.hstack([aside[0], np.zeros_like(aside[0]), aside[1]])
        return Marks(
            replace(self.posts, place=self.posts.place + shift),
            replace(self.joints, place=self.joints.place + shift),
            replace(self.runs, low=self.runs.low + step, high=self.runs.high + step),
        )

    def turned(self, angle_deg: float) -> "Marks":
        """The same marks turned anticlockwise about the origin."""
        cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        back = np.array([[cos, sin], [-sin, cos]])
        return Marks(
            replace(self.posts, place=self.posts.place @ back, axes=self.posts.axes @ back),
            replace(
                self.joints,
                place=self.joints.place @ back,
                along=self.joints.along @ back,
                across=self.joints.across @ back,
            ),
            replace(self.runs, along=self.runs.along @ back),
        )

    @staticmethod
    def together(several: "Sequence[Marks]") -> "Marks":
        """The marks of several groups as one."""
        return Marks(
            Posts.joined([one.posts for one in several]),
            Joints.joined([one.joints for one in several]),
            Runs.joined([one.runs for one in several]),
        )


def piles(runs: Runs) -> Runs:
    """Walls and beams that lie one above the other in one file as one run each, such as the panels of a bay."""
    runs = runs.take(runs.solid)
    size = runs.high - runs.low
    like = np.stack([runs.source, size[:, 0], size[:, 2]], axis=1)
    group, first = _groups(runs.outlines().mean(axis=1), like, ONE_PILE_M)
    low, high = runs.low[first], runs.high[first]
    low[:, 1] = g.lowest(runs.low[:, 1], group, len(first))
    high[:, 1] = g.highest(runs.high[:, 1], group, len(first))
    return replace(runs.take(first), low=low, high=high)


def square(along: Floats) -> Floats:
    """Directions (n, 2) to the right of others."""
    return np.stack([along[:, 1], -along[:, 0]], axis=1)


def levels(meshes: Meshes) -> Levels:
    """The level faces of all bodies, those at one height as one."""
    vectors = g.face_vectors(meshes)
    area = np.linalg.norm(vectors, axis=1)
    flat = np.abs(vectors[:, 2]) > 0.999 * area
    body, up = g.owners(meshes.triangle_start)[flat], vectors[flat, 2] > 0.0
    height = meshes.points[meshes.triangles[flat], 2].mean(axis=1)
    key = np.stack([body, up, np.round(height / 1e-4).astype(np.int64)], axis=1)
    key, group = np.unique(key, axis=0, return_inverse=True)
    whole = g.total(area[flat], group.reshape(-1), len(key))
    start = np.searchsorted(key[:, 0], np.arange(len(meshes) + 1))
    return Levels(start, key[:, 2] * 1e-4, whole, key[:, 1] == 1)


def marks(meshes: Meshes, source: Ints) -> Marks:
    """All marks of some bodies; ``source`` (n,) is the file of each body."""
    boxes = g.boxes(meshes)
    size = boxes.size
    slender = (np.abs(boxes.axes[:, 0, 2]) >= STANDING) & (size[:, 0] >= 1.0) & (size[:, 0] >= 2.5 * size[:, 1])
    post = slender & (size[:, 1] <= 1.5) & (size[:, 2] >= 0.06) & (size[:, 1] <= 3.5 * size[:, 2])
    runs = _runs(meshes, boxes, ~post, source)
    return Marks(_posts(meshes, boxes, np.flatnonzero(post), source), _joints(runs.take(runs.solid)), runs)


def _posts(meshes: Meshes, boxes: g.Boxes, which: Ints, source: Ints) -> Posts:
    """The middles of upright bodies; plates, brackets and haunches widen single sections, which do not count."""
    first = boxes.axes[which, 1] * [1.0, 1.0, 0.0]
    first = g.unit(first)
    up = np.broadcast_to([0.0, 0.0, 1.0], first.shape)
    frames = np.stack([first, up, np.cross(up, first)], axis=1)
    low, high = boxes.low[which, 2], boxes.high[which, 2]
    heights = low[:, None] + (high - low)[:, None] * [0.11, 0.31, 0.5, 0.69, 0.89]
    near, far = g.sections(meshes, which, frames, heights)
    met = ~np.isnan(near[:, :, 0]).all(axis=1)
    near, far, frames, low, high = near[met], far[met], frames[met], low[met], high[met]
    middle, half = (np.nanmedian(value, axis=1).reshape(-1, 2) for value in (0.5 * (near + far), 0.5 * (far - near)))
    axes = frames[:, [0, 2], :2]
    place = np.einsum("nk,nkd->nd", middle, axes)
    whose = source[which][met]
    group, first_of = _groups(place, whose[:, None], ONE_POST_M)
    count = len(first_of)
    return Posts(
        whose[first_of],
        _medians(place, group, count),
        axes[first_of],
        _medians(half, group, count),
        g.lowest(low, group, count),
        g.highest(high, group, count),
    )


def _runs(meshes: Meshes, boxes: g.Boxes, able: Bools, source: Ints) -> Runs:
    """Walls and bars, along their own length."""
    wall = (np.abs(boxes.axes[:, 2, 2]) <= 0.5) & (boxes.size[:, 1] >= 1.2 * boxes.size[:, 2])
    bar = (np.abs(boxes.axes[:, 0, 2]) <= LEVEL) & (boxes.size[:, 0] >= 3.0 * boxes.size[:, 1])
    which = np.flatnonzero(able & (wall | bar) & (boxes.size[:, 0] >= 0.3))
    along = np.where(wall[which, None], square(boxes.axes[which, 2, :2]), boxes.axes[which, 0, :2])
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    # One sign for both directions of a wall, so that bodies one above the other have the same outline.
    along *= np.where(np.abs(along[:, :1]) > 1e-6, np.sign(along[:, :1]), np.sign(along[:, 1:]))
    frames = np.zeros((len(which), 3, 3))
    frames[:, 0, :2], frames[:, 1, 2], frames[:, 2, :2] = along, 1.0, square(along)
    low, high = g.extents(meshes, which, frames)
    # Ribs and haunches are not what a post stands at.
    board = np.flatnonzero(wall[which])
    low[board, 2] = g.back_faces(meshes, which[board], frames[board])
    high[board, 2] = -g.back_faces(meshes, which[board], frames[board] * [[1.0], [1.0], [-1.0]])
    long = high[:, 0] - low[:, 0] >= 0.3
    full = np.abs(boxes.volume[which]) >= 0.5 * boxes.size[which].prod(axis=1)
    return Runs(source[which][long], along[long], low[long], high[long], which[long], full[long])


def _joints(runs: Runs) -> Joints:
    """Where ends of runs of one file face each other, meet at an angle, or have no neighbour."""
    count, across = len(runs), square(runs.along)
    middle, half = 0.5 * (runs.low[:, 2] + runs.high[:, 2]), 0.5 * (runs.high[:, 2] - runs.low[:, 2])
    end = np.concatenate([runs.low[:, 0], runs.high[:, 0]])
    owner, away = np.tile(np.arange(count), 2), np.repeat([-1.0, 1.0], count)[:, None]
    ahead, points = away * runs.along[owner], end[:, None] * runs.along[owner] + (middle[:, None] * across)[owner]
    tree = shapely.STRtree(shapely.points(points))
    i, j = tree.query(shapely.points(points), predicate="dwithin", distance=WIDEST_GAP_M)
    a, b = owner[i], owner[j]
    near = (i < j) & (a != b) & (runs.source[a] == runs.source[b])
    near &= np.minimum(runs.high[a, 1], runs.high[b, 1]) - np.maximum(runs.low[a, 1], runs.low[b, 1]) > 0.05
    i, j, a, b = i[near], j[near], a[near], b[near]
    step, cosine = points[j] - points[i], np.einsum("nd,nd->n", ahead[i], ahead[j])
    gap, aside = np.einsum("nd,nd->n", step, ahead[i]), np.abs(np.einsum("nd,nd->n", step, across[a]))
    facing = (cosine < -PARALLEL) & (gap >= -DEEPEST_LAP_M) & (gap <= WIDEST_GAP_M) & (aside <= 0.05)
    corner = np.abs(cosine) < SHARPEST
    free = np.setdiff1d(np.arange(2 * count), np.concatenate([i[facing | corner], j[facing | corner]]))
    normals = np.stack([across[a], across[b]], axis=1)[corner]
    corners = np.linalg.solve(normals, np.stack([middle[a], middle[b]], axis=1)[corner, :, None])[:, :, 0]
    one = np.concatenate([a[facing], a[corner], owner[free]])
    two = np.concatenate([b[facing], b[corner], owner[free]])
    kinds = [JOINT] * np.count_nonzero(facing) + [CORNER] * np.count_nonzero(corner) + [END] * len(free)
    kind = np.array(kinds, np.int64)
    place = np.concatenate([0.5 * (points[i] + points[j])[facing], corners, points[free]])
    along = np.where(kind[:, None] == CORNER, across[one], runs.along[one])
    thick = np.stack([np.where(kind == CORNER, half[one], 0.0), np.maximum(half[one], half[two])], axis=1)
    return _merged(
        Joints(
            source=runs.source[one],
            kind=kind,
            place=place,
            along=along,
            across=across[two],
            half=thick,
            outward=np.zeros_like(thick),
            low=np.minimum(runs.low[one, 1], runs.low[two, 1]),
            high=np.maximum(runs.high[one, 1], runs.high[two, 1]),
        )
    )


def _merged(joints: Joints) -> Joints:
    """Those of several rows at one place as one, and where the rest of the file lies."""
    group, first = _groups(joints.place, np.stack([joints.source, joints.kind], axis=1), ONE_JOINT_M)
    n = len(first)
    out = replace(
        joints.take(first),
        place=_medians(joints.place, group, n),
        half=g.highest(joints.half, group, n),
        low=g.lowest(joints.low, group, n),
        high=g.highest(joints.high, group, n),
    )
    middle = np.zeros((n, 2))
    for file in np.unique(out.source):
        mine = out.source == file
        middle[mine] = 0.5 * (out.place[mine].min(axis=0) + out.place[mine].max(axis=0))
    aside = np.stack([np.einsum("nd,nd->n", out.place - middle, way) for way in (out.along, out.across)], axis=1)
    return replace(out, outward=np.where(np.abs(aside) > OUTSIDE_M, np.sign(aside), 0.0))


def _groups(place: Floats, like: NDArray[Any], within: float) -> tuple[Ints, Ints]:
    """For places (n, 2) the number of the group of neighbours each is in, and the first of each group.

    Neighbours are no further apart than ``within``, in plan and in what else they must be ``like`` (n, k).
    """
    label = np.arange(len(place))
    points = shapely.points(place)
    i, j = shapely.STRtree(points).query(points, predicate="dwithin", distance=within)
    same = np.abs(like[i] - like[j]).max(axis=1, initial=0.0) <= within
    i, j = i[same], j[same]
    while True:
        before = label.copy()
        np.minimum.at(label, i, label[j])
        if np.array_equal(before, label):
            break
    first, group = np.unique(label, return_inverse=True)
    return group.reshape(-1), first


def _medians(values: Floats, group: Ints, count: int) -> Floats:
    """The median (count, k) of the values (n, k) of each group, column by column."""
    out = np.zeros((count, values.shape[1]))
    size = np.bincount(group, minlength=count)
    start = np.cumsum(size) - size
    for k in range(values.shape[1]):
        ordered = values[np.lexsort((values[:, k], group)), k]
        if count:
            out[:, k] = 0.5 * (ordered[start + (size - 1) // 2] + ordered[start + size // 2])
    return out
