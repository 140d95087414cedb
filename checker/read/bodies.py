"""From products to meshes: which shapes they are made of, where each copy lies, and the arrays they end up in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.errors import BadModel
from checker.model import NO_BODY, NO_VOLUME, Bools, Floats, Ints, Meshes
from checker.read.analytic import Built, Extrusions, starts
from checker.read.elements import body_of
from checker.read.kernel import Body, Job, Patience, tessellated
from checker.read.place import FARTHEST_M, MALFORMED, Entity, axes, matrix_of, operator_matrix
from checker.read.solids import first_equal, mesh_fault, sound, turned, volumes

SMALLEST_VOLUME_M3: Final = 1e-9
"""A cubic millimetre."""

_DEEPEST_MAPPING: Final = 16
_MOST_PIECES: Final = 20_000
"""A body of more pieces is a trap: copies of copies of copies."""
_MOST_PIECES_IN_ALL: Final = 5_000_000
_MOST_TRIANGLES_IN_ALL: Final = 100_000_000
"""Ten gigabytes of memory; a hall of 100,000 panels has two million."""
_FEWER: Final = "Export the parts of the facade in less detail, or check fewer models at once."
_TWINS_M: Final = 1e-8
"""Corners that the kernel gives twice differ by rounding alone."""
_SAME_VOLUME: Final = 1e-6
"""As a share of the volume: far below what any kernel rounds away, far above what float64 does."""
_NOTHING: Final[Body] = (np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
_WRITTEN_WRONGLY: Final = "its body is written wrongly in the file"

_Pieces = list[tuple[int, Floats | None]]
"""Copies of shapes: the number of the shape and its matrix (4, 4) in the product's frame, None for where it stands."""


class _NoBodyError(Exception):
    """A body cannot be read; says why."""


@dataclass(frozen=True, slots=True)
class Carrier:
    """A product with a body: its file, its placement (4, 4) in the common frame, and whether openings cut it."""

    source: int
    product: Entity
    matrix: Floats
    cut: bool


@dataclass(frozen=True, slots=True)
class _Shapes:
    """The meshes of s shapes; triangles count from the first point of their own shape.

    ``point_run`` and ``triangle_run`` (s, 2) say where each shape begins and ends among ``points`` and ``triangles``.
    """

    points: Floats
    triangles: Ints
    point_run: Ints
    triangle_run: Ints
    sound: Bools
    faults: list[str]


class Bodies:
    """Gathers the shapes that products are made of, each shape once, and builds the meshes of all of them together."""

    def __init__(self, paths: Sequence[str], metres: Sequence[float], patience: Patience) -> None:
        """``paths`` lead to the STEP text of each file, ``metres`` are the lengths of their units."""
        self._patience = patience
        self._paths = paths
        self._metres = metres
        self._extrusions = Extrusions()
        self._jobs: list[Job] = []
        self._extruded: list[int] = []
        self._numbers: dict[tuple[int, int], int] = {}
        self._mapped: dict[tuple[int, int], _Pieces] = {}

    def build(self, elements: Sequence[Sequence[Carrier]]) -> tuple[Meshes, list[str]]:
        """The meshes of n elements, made of the bodies of their carriers, and for each a fault in words or ""."""
        with np.errstate(all="ignore"):  # whatever overflows lies nowhere in the end, and is told
            return self._build(elements)

    def _build(self, elements: Sequence[Sequence[Carrier]]) -> tuple[Meshes, list[str]]:
        n = len(elements)
        faults = [""] * n
        shape: list[int] = []
        owner: list[int] = []
        matrix: list[Floats] = []
        for i, carriers in enumerate(elements):
            for carrier in carriers:
                try:
                    pieces = self._pieces(carrier)
                except _NoBodyError as error:
                    faults[i] = str(error)
                    break
                except MALFORMED:
                    faults[i] = _WRITTEN_WRONGLY
                    break
                if len(shape) + len(pieces) > _MOST_PIECES_IN_ALL:
                    raise BadModel(f"The bodies have more than {_MOST_PIECES_IN_ALL} pieces. {_FEWER}")
                for number, inside in pieces:
                    shape.append(number)
                    owner.append(i)
                    matrix.append(carrier.matrix if inside is None else carrier.matrix @ inside)
        shapes = self._built()
        for number, i in zip(shape, owner, strict=True):
            faults[i] = faults[i] or shapes.faults[number]
        whole = np.array([not fault for fault in faults], dtype=np.bool_)
        piece_owner = np.array(owner, dtype=np.int64)
        keep = whole[piece_owner]
        piece_shape = np.array(shape, dtype=np.int64)[keep]
        piece_owner = piece_owner[keep]
        meshes = _placed(shapes, piece_shape, np.array(matrix).reshape(-1, 4, 4)[keep], piece_owner, n)
        doubtful = np.bincount(piece_owner[~shapes.sound[piece_shape]], minlength=n) > 0
        nowhere = ~(_farthest(meshes) < FARTHEST_M)
        meshes = _without(meshes, nowhere)
        for lost in np.flatnonzero(nowhere):
            faults[lost] = "its body lies nowhere: its coordinates make no sense"
        _examine(meshes, doubtful, whole & ~nowhere, faults)
        return meshes, faults

    def _pieces(self, carrier: Carrier) -> _Pieces:
        if not np.isfinite(carrier.matrix).all():
            raise _NoBodyError("its placement cannot be followed")
        representation = body_of(carrier.product)
        if representation is None:
            raise _NoBodyError(NO_BODY)
        if carrier.cut:
            # Only the kernel cuts openings. It answers in the frame of the product, like everything here.
            return [(self._shape(carrier.source, carrier.product, representation.id()), None)]
        return self._of_representation(carrier.source, representation, 0)

    def _of_representation(self, source: int, representation: Entity, depth: int) -> _Pieces:
        if depth > _DEEPEST_MAPPING:
            raise _NoBodyError("its body is a copy of itself")
        out: _Pieces = []
        for item in representation[3]:
            if item.is_a("IfcMappedItem"):
                target = operator_matrix(item[1], self._metres[source])
                out += [
                    (number, target if inside is None else target @ inside)
                    for number, inside in self._of_map(source, item[0], depth)
                ]
            else:
                out.append((self._shape(source, item), None))
            if len(out) > _MOST_PIECES:
                raise _NoBodyError("its body has too many pieces")
        return out

    def _of_map(self, source: int, mapped: Entity, depth: int) -> _Pieces:
        key = source, mapped.id()
        if key not in self._mapped:
            origin = matrix_of(axes(mapped[0]), self._metres[source])
            pieces = self._of_representation(source, mapped[1], depth + 1)
            if not np.array_equal(origin, np.eye(4)):
                pieces = [(number, origin if inside is None else origin @ inside) for number, inside in pieces]
            self._mapped[key] = pieces
        return self._mapped[key]

    def _shape(self, source: int, entity: Entity, representation: int = 0) -> int:
        """The number of a shape, gathered when it is first met."""
        key = source, entity.id()
        number = self._numbers.get(key)
        if number is None:
            direct = entity.is_a() == "IfcExtrudedAreaSolid" and self._extrusions.add(entity, self._metres[source])
            number = self._numbers[key] = len(self._jobs)
            self._extruded.append(len(self._extrusions) - 1 if direct else -1)
            self._jobs.append(Job(self._paths[source], entity.id(), representation))
        return number

    def _built(self) -> _Shapes:
        computed = self._extrusions.build()
        extruded = np.array(self._extruded, dtype=np.int64)
        direct = extruded >= 0
        direct[direct] = computed.usable[extruded[direct]]
        asked = np.flatnonzero(~direct)
        answers = tessellated([self._jobs[number] for number in asked], self._patience)
        made = _joined([_NOTHING if isinstance(body, str) else body for body in answers])

        faults = [""] * len(extruded)
        for number, body, volume in zip(asked, answers, made.volume_m3, strict=True):
            stated = computed.volume_m3[extruded[number]] if extruded[number] >= 0 else volume
            if isinstance(body, str):
                faults[number] = body
            elif abs(volume - stated) > _SAME_VOLUME * stated:
                # The kernel may build one part of such an outline and keep silent about the other.
                faults[number] = "the outline of its body crosses itself"

        # Among the meshes first come all that were computed, then all that were asked for.
        order = np.empty(len(extruded), dtype=np.int64)
        order[direct] = extruded[direct]
        order[asked] = len(computed.usable) + np.arange(len(asked))
        closed = np.ones(len(extruded), dtype=np.bool_)
        closed[asked] = made.usable

        def runs(first: Ints, then: Ints) -> Ints:
            begin = np.concatenate([first[:-1], first[-1] + then])
            return np.stack([begin[order], begin[order + 1]], axis=1)

        return _Shapes(
            np.concatenate([computed.points, made.points]),
            np.concatenate([computed.triangles, made.triangles]),
            runs(computed.point_start, made.point_start),
            runs(computed.triangle_start, made.triangle_start),
            closed,
            faults,
        )


def _joined(bodies: Sequence[Body]) -> Built:
    """Bodies of the kernel one after another, turned outward; ``usable`` are those closed as they are indexed."""
    count = len(bodies)
    points = np.concatenate([_NOTHING[0], *(body[0] for body in bodies)])
    triangles = np.concatenate([_NOTHING[1], *(body[1] for body in bodies)])
    point_count, triangle_count = (np.array([len(body[i]) for body in bodies], dtype=np.int64) for i in (0, 1))
    owner = np.repeat(np.arange(count), triangle_count)
    offset = starts(point_count)[owner, None]
    # The kernel repeats some corners; seams between such twins are none.
    twins = first_equal(np.repeat(np.arange(count), point_count), np.round(points / _TWINS_M))
    triangles = twins[triangles + offset] - offset
    for odd in np.flatnonzero(~sound(triangles + offset, owner, count) & (triangle_count > 0)).tolist():
        triangles[owner == odd] = turned(bodies[odd][0], triangles[owner == odd])
    volume = volumes(points, triangles + offset, owner, count)
    inward = (volume < 0.0)[owner]
    triangles[inward] = triangles[inward][:, ::-1]
    closed = sound(triangles + offset, owner, count)
    return Built(points, triangles, starts(point_count), starts(triangle_count), closed, np.abs(volume))


def _runs(begin: Ints, end: Ints) -> tuple[Ints, Ints]:
    """The members of many runs one after another, and for each the number of its run."""
    count = end - begin
    run = np.repeat(np.arange(len(count)), count)
    return np.arange(len(run)) - (starts(count)[:-1] - begin)[run], run


def _placed(shapes: _Shapes, shape: Ints, matrix: Floats, owner: Ints, n: int) -> Meshes:
    """Copies of shapes at their places; ``owner`` (pieces,), ascending, are the elements they make up."""
    total = int(np.diff(shapes.triangle_run[shape], axis=1).sum())
    if total > _MOST_TRIANGLES_IN_ALL:
        raise BadModel(f"The bodies have {total} triangles; the limit is {_MOST_TRIANGLES_IN_ALL}. {_FEWER}")
    source, piece = _runs(*shapes.point_run[shape].T)
    local = shapes.points[source]
    # Column by column: a matrix for each point would need ten times the memory.
    points = np.empty_like(local)
    for row in range(3):
        points[:, row] = sum(matrix[piece, row, column] * local[:, column] for column in range(3))
        points[:, row] += matrix[piece, row, 3]
    per_piece = np.diff(shapes.point_run[shape], axis=1)[:, 0]
    source, triangle_piece = _runs(*shapes.triangle_run[shape].T)
    triangles = shapes.triangles[source] + starts(per_piece)[triangle_piece, None]
    mirrored = (np.linalg.det(matrix[:, :3, :3]) < 0.0)[triangle_piece]
    triangles[mirrored] = triangles[mirrored][:, ::-1]
    return Meshes(
        points,
        triangles,
        starts(np.bincount(owner[piece], minlength=n)),
        starts(np.bincount(owner[triangle_piece], minlength=n)),
    )


def _examine(meshes: Meshes, doubtful: Bools, whole: Bools, faults: list[str]) -> None:
    """Notes why meshes are no bodies that can be measured."""
    for i in np.flatnonzero(whole & doubtful):
        first, last = meshes.triangle_start[i : i + 2]
        begin, end = meshes.point_start[i : i + 2]
        faults[i] = mesh_fault(meshes.points[begin:end], meshes.triangles[first:last] - begin)
    owner = np.repeat(np.arange(len(meshes)), np.diff(meshes.triangle_start))
    volume = np.abs(volumes(meshes.points, meshes.triangles, owner, len(meshes)))
    for i in np.flatnonzero(whole & (volume < SMALLEST_VOLUME_M3)):
        faults[i] = faults[i] or NO_VOLUME


def _farthest(meshes: Meshes) -> Floats:
    """The greatest coordinate (n,) of each mesh, infinite or NaN where one is; 0 for an empty one."""
    out = np.zeros(len(meshes))
    filled = np.flatnonzero(np.diff(meshes.point_start))
    if len(filled):
        out[filled] = np.maximum.reduceat(np.abs(meshes.points).max(axis=1), meshes.point_start[filled])
    return out


def _without(meshes: Meshes, drop: Bools) -> Meshes:
    """The meshes, some of them emptied."""
    if not drop.any():
        return meshes
    point_owner, triangle_owner = (
        np.repeat(np.arange(len(meshes)), np.diff(start)) for start in (meshes.point_start, meshes.triangle_start)
    )
    keep_points, keep = ~drop[point_owner], ~drop[triangle_owner]
    renumbered = np.cumsum(keep_points) - 1
    return Meshes(
        meshes.points[keep_points],
        renumbered[meshes.triangles[keep]],
        starts(np.bincount(point_owner[keep_points], minlength=len(meshes))),
        starts(np.bincount(triangle_owner[keep], minlength=len(meshes))),
    )
