"""One release: some model files opened together and brought into one frame."""

import shutil
import tempfile
import weakref
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from checker.errors import BadModel
from checker.geometry import boxes
from checker.model import Bools, Element, Floats, GridAxis, Ints, Meshes, ModelFile, Source
from checker.read.bodies import Bodies, Carrier
from checker.read.elements import Found, Words, text
from checker.read.files import OpenFile, open_file
from checker.read.grid import grid_axes
from checker.read.place import MALFORMED, LengthUnit, Placements, between_maps, length_unit, map_conversion
from checker.read.points import Points
from checker.read.queries import Limit, check_query, chosen

MEET_WITHIN_M: Final = 10.0
"""Models of one building overlap; a neighbour that stands apart by more was exported about another point."""
SAME_AXIS_M: Final = 1e-3
"""Each trade draws the grid again: axes of one tag that differ by less are one."""


@dataclass(frozen=True, slots=True)
class _Loaded:
    """All that was read of one file. ``matrices`` (p, 4, 4) are placements in metres in the file's own frame."""

    opened: OpenFile
    source: Source
    unit: LengthUnit
    found: list[Found]
    rows: list[tuple[int, ...]]
    cut: list[tuple[bool, ...]]
    matrices: Floats
    grid: list[tuple[str, Floats, int]]
    conversion: Floats | None


class Reading:
    """What some models say, in one frame. Made by `open_models`.

    Attributes:
        sources: the models, in the order of their names, whatever their order was on the command line.
        elements: every element that may belong to an envelope, by GlobalId and source.
        grid: straight grid axes, each once, in metres, world less origin.
        origin: (3,) whole metres in the middle of the elements; subtracted from all coordinates.
        notes: sentences about what is odd and was dealt with.
    """

    sources: tuple[Source, ...]
    elements: tuple[Element, ...]
    grid: tuple[GridAxis, ...]
    origin: Floats
    notes: tuple[str, ...]

    def __init__(self, loaded: Sequence[_Loaded], frames: Sequence[Floats], notes: Sequence[str]) -> None:
        """``frames`` (4, 4) lead from the frame of each file to the common one."""
        self._loaded = loaded
        same = np.eye(4)
        self.sources = tuple(
            one.source if (frame == same).all() else replace(one.source, frame=tuple(map(tuple, frame.tolist())))
            for one, frame in zip(loaded, frames, strict=True)
        )
        placed = [frame @ one.matrices for frame, one in zip(frames, loaded, strict=True)]
        self.origin = _middle(loaded, placed)
        for matrices in placed:
            matrices[:, :3, 3] -= self.origin
        order = sorted(
            ((s, k) for s, one in enumerate(loaded) for k in range(len(one.found))),
            key=lambda at: (loaded[at[0]].found[at[1]].element.guid, at[0], loaded[at[0]].found[at[1]].entity.id()),
        )
        self.elements = tuple(loaded[s].found[k].element for s, k in order)
        self._choices: dict[str, list[tuple[list[int], tuple[Limit, ...]]]] = {}
        self._entities = [loaded[s].found[k].entity for s, k in order]
        unplaced = [frame.copy() for frame in frames]
        for matrix in unplaced:
            matrix[:3, 3] -= self.origin
        self._carriers = [
            [
                Carrier(s, product, placed[s][row] if row >= 0 else unplaced[s], cut)
                for product, row, cut in zip(
                    loaded[s].found[k].carriers, loaded[s].rows[k], loaded[s].cut[k], strict=True
                )
            ]
            for s, k in order
        ]
        self.grid = _grid(loaded, placed, unplaced)
        self.notes = (*notes, *self._odd_identities())

    def matches(self, queries: Mapping[str, Sequence[str]], meshes: Meshes | None = None) -> dict[int, str]:
        """The role of each element that a query names, by its index; the first role in the given order wins.

        ``queries`` are selector queries by role (`checker.read.queries`). What they ask of sizes holds for every
        element until ``meshes`` tell. Raises `BadSettings` for one that cannot be used.
        """
        out: dict[int, str] = {}
        sizes = None if meshes is None else _sizes_mm(meshes)
        for role, texts in queries.items():
            for query in texts:
                for i in self._chosen(role, query, sizes):
                    out.setdefault(i, role)
        return dict(sorted(out.items()))

    def idle(self, queries: Mapping[str, Sequence[str]], meshes: Meshes) -> list[str]:
        """A sentence for each query that names no element."""
        sizes = _sizes_mm(meshes)
        return [
            f"[roles] {role}: the query {query!r} names nothing in these models."
            for role, texts in queries.items()
            for query in texts
            if not self._chosen(role, query, sizes)
        ]

    def _chosen(self, role: str, query: str, sizes: Floats | None) -> list[int]:
        if query not in self._choices:
            check_query(query, role)
            found = []
            for s, one in enumerate(self._loaded):
                index = {self._entities[i].id(): i for i, element in enumerate(self.elements) if element.source == s}
                for choice in chosen(one.opened, [self._entities[i] for i in index.values()], query, role):
                    found.append((sorted(index[number] for number in choice.numbers), choice.limits))
            self._choices[query] = found
        return [
            i
            for which, limits in self._choices[query]
            for i in which
            if sizes is None or all(limit.holds(sizes[i].tolist()) for limit in limits)
        ]

    def bodies(self, wanted: Bools) -> tuple[Meshes, tuple[str, ...]]:
        """The meshes of all elements, and why one cannot be measured ("" where it can).

        ``wanted`` (n,) says which elements are needed; the others stay empty and cost nothing.
        """
        bodies = Bodies([str(one.opened.text_path) for one in self._loaded], [one.unit.metres for one in self._loaded])
        chosen = np.flatnonzero(wanted)
        meshes, found = bodies.build([self._carriers[i] for i in chosen])
        faults = [""] * len(self.elements)
        for i, fault in zip(chosen, found, strict=True):
            faults[i] = fault
        before = np.searchsorted(chosen, np.arange(len(self.elements) + 1))
        return (
            Meshes(meshes.points, meshes.triangles, meshes.point_start[before], meshes.triangle_start[before]),
            tuple(faults),
        )

    def points(self, wanted: Bools) -> tuple[Floats, Ints]:
        """Points (k, 3) on the bodies of some elements, world less origin, and the element of each (k,).

        They cost a small part of what the bodies do: where an element lies decides whether its body is worth reading.
        """
        finders = [Points(one.unit.metres) for one in self._loaded]
        carriers = [(int(i), carrier) for i in np.flatnonzero(wanted) for carrier in self._carriers[i]]
        found = [finders[carrier.source].of(carrier.product) for _, carrier in carriers]
        count = [len(points) for points in found]
        owner = np.repeat(np.array([i for i, _ in carriers], dtype=np.int64), count)
        matrix = np.repeat(np.array([carrier.matrix for _, carrier in carriers]).reshape(-1, 4, 4), count, axis=0)
        placed = np.einsum("kij,kj->ki", matrix[:, :3, :3], np.concatenate([np.zeros((0, 3)), *found]))
        placed += matrix[:, :3, 3]
        known = np.isfinite(placed).all(axis=1)
        return placed[known], owner[known]

    def check_alignment(self, meshes: Meshes) -> None:
        """Raises `BadModel` where models do not meet in space, with the places of both."""
        filled = np.flatnonzero(np.diff(meshes.point_start))
        if not len(filled):
            return
        low = np.minimum.reduceat(meshes.points, meshes.point_start[filled])
        high = np.maximum.reduceat(meshes.points, meshes.point_start[filled])
        source = np.array([self.elements[i].source for i in filled])
        boxes = {
            int(s): np.stack([low[source == s].min(axis=0), high[source == s].max(axis=0)]) for s in np.unique(source)
        }
        sources = sorted(boxes)
        together, apart = {sources[0]}, sources[1:]
        while apart:
            gap, near, far = min((_gap(boxes[a], boxes[b]), a, b) for a in together for b in apart)
            if gap > MEET_WITHIN_M:
                raise BadModel(
                    f"Models do not meet: {self._place(near, boxes[near])}, {self._place(far, boxes[far])}, "
                    f"{gap:.1f} m apart. Export both about the same base point, or set shift_mm for one of them."
                )
            together.add(far)
            apart.remove(far)

    def _place(self, source: int, box: Floats) -> str:
        x, y, z = box.mean(axis=0) + self.origin
        return f"{self.sources[source].name} lies at x {x:.1f} m, y {y:.1f} m, height {z:.1f} m"

    def _odd_identities(self) -> list[str]:
        out = []
        count = Counter(element.guid for element in self.elements)
        nameless = count.pop("", 0)
        if nameless:
            out.append(f"Elements without a GlobalId: {nameless}. Nobody can be pointed to them.")
        double = sorted(guid for guid, times in count.items() if times > 1)
        if double:
            where = sorted({self.sources[e.source].name for e in self.elements if e.guid == double[0]})
            out.append(
                f"GlobalIds that occur more than once: {len(double)}, such as {double[0]} in {' and '.join(where)}. "
                "Every occurrence was kept."
            )
        return out


def open_models(files: Sequence[ModelFile]) -> Reading:
    """Opens the models of one release and reads their words; bodies are read when they are asked for.

    Raises `BadModel` with one sentence where a file cannot be used.
    """
    scratch: list[Path] = []

    def unpack_into() -> Path:
        scratch.append(Path(tempfile.mkdtemp(prefix="seamtrace-")))
        return scratch[-1]

    try:
        reading = _read(files, unpack_into)
    except BaseException:
        _remove(scratch)
        raise
    # The kernel reads unpacked texts once more, as late as bodies are asked for.
    weakref.finalize(reading, _remove, scratch)
    return reading


def _remove(folders: Sequence[Path]) -> None:
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)


def _read(files: Sequence[ModelFile], unpack_into: Callable[[], Path]) -> Reading:
    if not files:
        raise BadModel("No model was named. Name at least one .ifc or .ifcZIP file.")
    opened: dict[str, tuple[ModelFile, OpenFile]] = {}
    for file in files:
        one = open_file(file.path, unpack_into)
        if one.sha256 in opened:
            raise BadModel(f"{file.path} and {opened[one.sha256][1].path} are the same model. Name it only once.")
        opened[one.sha256] = file, one
    in_order = sorted(opened.values(), key=lambda pair: (_name(pair[0]), pair[1].sha256))
    loaded = [_load(number, file, one) for number, (file, one) in enumerate(in_order)]
    notes = [remark for one in loaded for remark in one.opened.remarks()]
    frames = _frames(loaded, [file for file, _ in in_order], notes)
    return Reading(loaded, frames, notes)


def _name(file: ModelFile) -> str:
    return file.name or file.path.stem


def _load(number: int, file: ModelFile, opened: OpenFile) -> _Loaded:
    try:
        return _load_unguarded(number, file, opened)
    except MALFORMED as error:
        reason = ascii(str(error))[1:100]
        raise BadModel(f"{opened.path} is damaged: a record holds what it must not ({reason}). Export it again.") from (
            error
        )


def _load_unguarded(number: int, file: ModelFile, opened: OpenFile) -> _Loaded:
    model = opened.model
    projects = model.by_type("IfcProject")
    if not projects:
        raise BadModel(f"{opened.path} holds no IfcProject, so its units are unknown. Export the whole model.")
    project = projects[0]
    unit = length_unit(project, str(opened.path))
    words = Words(opened, number)
    found = list(words.found())
    placements = Placements()
    rows = [tuple(placements.row(product[5]) for product in one.carriers) for one in found]
    cut = [tuple(words.relations.is_cut(product) for product in one.carriers) for one in found]
    grid = [(tag, ends, placements.row(place)) for tag, ends, place in grid_axes(model, unit.metres)]
    source = Source(
        file=opened.path.name,
        sha256=opened.sha256,
        schema=model.schema_identifier,
        length_unit=unit.word,
        project=text(project[5]) or text(project[2]),
        project_guid=text(project[0]),
        saved=opened.saved,
        header_name=opened.header_name,
        name=_name(file),
        owner=file.owner,
    )
    matrices = placements.resolved(unit.metres)
    conversion = map_conversion(model, unit, str(opened.path))
    return _Loaded(opened, source, unit, found, rows, cut, matrices, grid, conversion)


def _frames(loaded: Sequence[_Loaded], files: Sequence[ModelFile], notes: list[str]) -> list[Floats]:
    """For each file the matrix (4, 4) from its own frame to that of the first one with a map conversion."""
    mapped = [one for one in loaded if one.conversion is not None]
    frames = []
    for one, file in zip(loaded, files, strict=True):
        frame = np.eye(4)
        if mapped and one.conversion is None:
            notes.append(
                f"{one.source.name} has no map conversion; it was taken to lie in the frame of {mapped[0].source.name}."
            )
        elif mapped:
            turned = between_maps(one.conversion, mapped[0].conversion)
            if turned is not None:
                frame = turned
                scale = float(np.cbrt(np.linalg.det(turned[:3, :3])))
                scaled = f" and scaled by {scale:.7g}" if abs(scale - 1.0) > 1e-9 else ""
                notes.append(f"{one.source.name} was brought into the frame of {mapped[0].source.name}{scaled}.")
        frame[:3, 3] += np.array(file.shift_mm) / 1000.0
        frames.append(frame)
    return frames


def _middle(loaded: Sequence[_Loaded], placed: Sequence[Floats]) -> Floats:
    """The middle of all elements in whole metres: the same whatever the order of the files is."""
    places = [
        matrices[[row for rows in one.rows for row in rows if row >= 0], :3, 3]
        for one, matrices in zip(loaded, placed, strict=True)
    ]
    flat = np.concatenate([np.zeros((0, 3)), *places])
    flat = flat[np.isfinite(flat).all(axis=1)]
    out: Floats = np.round(np.median(flat, axis=0)) + 0.0 if len(flat) else np.zeros(3)
    return out


def _grid(loaded: Sequence[_Loaded], placed: Sequence[Floats], unplaced: Sequence[Floats]) -> tuple[GridAxis, ...]:
    """All axes in the common frame, those that several trades draw alike once."""
    out: list[GridAxis] = []
    for one, matrices, own in zip(loaded, placed, unplaced, strict=True):
        for tag, ends, row in one.grid:
            matrix = matrices[row] if row >= 0 else own
            axis = GridAxis(tag, ends @ matrix[:3, :3].T + matrix[:3, 3])
            same = (np.abs(known.ends - axis.ends).max() <= SAME_AXIS_M for known in out if known.tag == tag)
            if np.isfinite(axis.ends).all() and not any(same):
                out.append(axis)
    return tuple(sorted(out, key=lambda axis: (axis.tag, axis.ends.tolist())))


def _sizes_mm(meshes: Meshes) -> Floats:
    """Length, width, thickness and height (n, 4) of bodies in mm; NaN where there is none, so that no limit holds."""
    box = boxes(meshes)
    sizes = 1000.0 * np.concatenate([box.size, box.high[:, 2:] - box.low[:, 2:]], axis=1)
    sizes[np.diff(meshes.point_start) == 0] = np.nan
    return sizes


def _gap(one: Floats, other: Floats) -> float:
    """Distance in metres between two boxes (2, 3)."""
    return float(np.linalg.norm(np.maximum(0.0, np.maximum(one[0] - other[1], other[0] - one[1]))))
