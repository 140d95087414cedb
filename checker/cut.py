"""Plane cuts through bodies, and how a section lies in the world.

The frame of a cut has rows right, up and towards the viewer; the plane is square to the last one.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.geometry import SAME_LENGTH, spread, total, unit
from checker.model import Floats, Ints, Meshes
from checker.result import SectionKind

LEVEL: Final = 0.7071
"""A plane whose normal is at least this steep (45 degrees) is looked at from above, any other one from the side."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Outlines of cut bodies: lines ``ends`` (s, 2, 2) right and up from the place, each with the body on its left.

    ``body`` (s,) numbers the cut bodies as they were asked for. The lines of a closed body form closed rings.
    """

    ends: Floats
    body: Ints

    def areas(self, count: int) -> Floats:
        """Area of the cut through each of ``count`` closed bodies; a stretch shared by two shells counts twice."""
        (x1, y1), (x2, y2) = self.ends[:, 0].T, self.ends[:, 1].T
        return total(0.5 * (x1 * y2 - x2 * y1), self.body, count)


def cut(meshes: Meshes, which: Ints, frame: Floats, place: Floats) -> Cut:
    """Cut some bodies with the plane through ``place`` (3,), world less origin, that is square to ``frame[2]``.

    A face that lies in the plane counts as before it, so that every ring closes.
    """
    entries, body = spread(meshes.triangle_start, which)
    # Elementwise on purpose: a matrix product may be split differently on another machine.
    corners = ((meshes.points[meshes.triangles[entries]] - place)[:, :, None, :] * frame).sum(axis=3)
    behind = corners[:, :, 2] < -SAME_LENGTH
    met = np.flatnonzero(behind.any(axis=1) & ~behind.all(axis=1))
    corners, behind, body = corners[met], behind[met], body[met]
    rows = np.arange(len(met))
    following = np.roll(behind, -1, axis=1)
    leaving, entering = (behind & ~following).argmax(axis=1), (~behind & following).argmax(axis=1)

    def crossing(near: Ints, far: Ints) -> Floats:
        # From the corner behind the plane, in both triangles that share the edge: they find the same point.
        a, b = corners[rows, near], corners[rows, far]
        share = a[:, 2:] / (a[:, 2:] - b[:, 2:])
        result: Floats = (a + share * (b - a))[:, :2]
        return result

    start = crossing((entering + 1) % 3, entering)
    end = crossing(leaving, (leaving + 1) % 3)
    return Cut(np.stack([start, end], axis=1), body)


def frame_of(normal: Floats, out: Floats, up: Floats) -> tuple[Floats, SectionKind]:
    """Frame (3, 3) in which people draw a cut, and its kind, from unit vectors (3,).

    ``normal`` is square to the plane, either way; ``out`` points out of the facade, ``up`` upwards in it. A plan is
    seen from above with outside at the bottom, an upright section has outside on the left, and what is cut parallel to
    the facade is seen from outside.
    """
    kind: SectionKind
    if abs(float(normal @ out)) > LEVEL:
        towards = normal * np.sign(normal @ out)
        above, kind = up, "facing"
    elif abs(float(normal @ up)) > LEVEL:
        towards = normal * np.sign(normal @ up)
        above, kind = -out, "plan"
    else:
        towards = normal * np.sign(normal @ np.cross(up, out))
        above, kind = up, "upright"
    above = unit(above - towards * (towards @ above))
    return np.stack([np.cross(above, towards), above, towards]), kind
