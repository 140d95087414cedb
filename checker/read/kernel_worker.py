"""The geometry kernel in a process of its own: run as a script, asked by `checker.read.kernel`.

A shape in a model from outside may crash the kernel or keep it busy for ever; here it takes only this process with it.
Reads lines of ``{"jobs": [[path, entity, representation], ...]}`` from stdin until it is closed, and answers each on
stdout, in order, with one JSON line for each job, followed by the bytes of the points (float64, metres) and triangles
(int32) where there are any, and one more at the end, when all files are closed.
"""

import json
import os
import sys
from typing import Any, BinaryIO, Final

import ifcopenshell
import ifcopenshell.geom
import numpy as np
from numpy.typing import NDArray

FAST: Final = "hybrid-passthrough-opencascade"
THOROUGH: Final = "opencascade"
CHORD_M: Final = 0.0001
"""How far a facet may stay from a curved face; the default of 1 mm would show in the widths."""

_PLANE_FACED: Final = frozenset({"IfcFacetedBrep", "IfcTriangulatedFaceSet", "IfcPolygonalFaceSet"})

Body = tuple[NDArray[np.float64], NDArray[np.int32]]


def _quiet_log() -> Any:
    log: Any = ifcopenshell.ifcopenshell_wrapper.logger()
    log.output_format(log.FMT_INMEMORY)
    log.verbosity(log.LOG_ERROR)
    return log


class Kernel:
    """Turns shapes of one model into triangles."""

    def __init__(self, path: str) -> None:
        # Kept for as long as the kernels: they point to it, and fail at random once it is gone.
        self._log = log = _quiet_log()
        opener: Any = ifcopenshell.open  # its published types lack `lazy`
        self._model = opener(path, format=".ifc", lazy=True, logger=log)
        geometry: Any = ifcopenshell.geom
        settings = geometry.settings()
        settings.set("no-normals", True)
        settings.set("mesher-linear-deflection", CHORD_M)
        self._kernels = {
            library: geometry.kernel(settings, self._model, library, logger=log) for library in (FAST, THOROUGH)
        }

    def body(self, entity: int, representation: int) -> Body | str:
        """One body in its own frame, in metres, or the class of the shape that cannot be built.

        ``entity`` is a representation item, or a product, whose openings are then cut out of ``representation``.
        """
        shape = self._model.by_id(entity)
        # The fast library hands plane faces on as they stand, turned outward or not, and was seen to misplace parts
        # of mixed bodies. It is asked only for items it can do and believed only where its faces agree.
        if not representation and shape.is_a() in _PLANE_FACED:
            body = self._made(FAST, shape)
            if body is not None and agrees(body[1], len(body[0])):
                return body
        whole = [self._model.by_id(representation)] if representation else []
        return self._made(THOROUGH, shape, *whole) or f"{shape.is_a()}{' with its openings' if whole else ''}"

    def _made(self, library: str, *shape: Any) -> Body | None:
        try:
            made: Any = self._kernels[library].create_shape(*shape)
            mesh = made.geometry if hasattr(made, "geometry") else made
            points = np.frombuffer(mesh.verts_buffer, dtype=np.float64).reshape(-1, 3)
            triangles = np.frombuffer(mesh.faces_buffer, dtype=np.int32).reshape(-1, 3)
        except (RuntimeError, AttributeError, ValueError):
            return None
        return (points.copy(), triangles.copy()) if len(triangles) else None


def agrees(triangles: NDArray[np.int32], points: int) -> bool:
    """Whether each edge is passed as often in one direction as in the other."""
    start = triangles.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    return bool(np.array_equal(np.sort(start * points + end, axis=None), np.sort(end * points + start, axis=None)))


def answer(jobs: list[tuple[str, int, int]], out: BinaryIO) -> None:
    """Does the jobs in order and writes the answers."""

    def say(**message: object) -> None:
        out.write(json.dumps(message).encode() + b"\n")
        out.flush()

    kernel, opened = None, ""
    for path, entity, representation in jobs:
        if kernel is None or path != opened:
            say(opening=True)
            kernel, opened = Kernel(path), path
            say(opening=False)
        body = kernel.body(entity, representation)
        if isinstance(body, str):
            say(fault=body)
        else:
            points, triangles = body
            say(points=len(points), triangles=len(triangles))
            out.write(points.tobytes())
            out.write(triangles.tobytes())
            out.flush()
    del kernel
    say(done=True)


if __name__ == "__main__":
    # What the kernel prints must not mix with the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    for line in sys.stdin.buffer:
        answer(json.loads(line)["jobs"], answers)
