"""One release: some model files opened together and brought into one frame."""

import shutil
import tempfile
import weakref
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from checker.errors import BadModel
from checker.geometry import boxes
from checker.model import Bools, Element, Floats, GridAxis, Ints, Meshes, ModelFile, Remark, Source
from checker.read.bodies import Bodies, Carrier
from checker.read.elements import Found, Words, text
from checker.read.files import OpenFile, open_file
from checker.read.grid import grid_axes
from checker.read.kernel import Patience
from checker.read.place import MALFORMED, LengthUnit, MapPlace, Placements, between_maps, length_unit, map_place
from checker.read.points import Points

if TYPE_CHECKING:
    from checker.read.queries import Limit

SAME_AXIS_M: Final = 1e-3
"""Each trade draws the grid again: axes of one tag that differ by less are one."""
FEWEST_ADRIFT: Final = 5
"""A file of so few elements that stand in no building may be a sketch."""


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
    place: MapPlace


class Reading:
    """What some models say, in one frame. Made by `open_models`.

    Attributes:
        sources: the models, in the order of their names, whatever their order was on the command line.
        elements: every element that may belong to an envelope, by GlobalId and source.
        grids: the straight axes each model draws, in metres, world less origin.
        grid: all axes, those that several models draw alike once.
        origin: (3,) whole metres in the middle of the elements; subtracted from all coordinates.
    """

    sources: tuple[Source, ...]
    elements: tuple[Element, ...]
    grids: tuple[tuple[GridAxis, ...], ...]
    grid: tuple[GridAxis, ...]
    origin: Floats

    def __init__(self, loaded: Sequence[_Loaded], frames: Sequence[Floats]) -> None:
        """``frames`` (4, 4) lead from the frame of each file to the common one."""
        self._loaded = loaded
        self._patience = Patience()
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
        self.grids = _grids(loaded, placed, unplaced)
        self.grid = _together(self.grids)

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about what is odd in any of the models and was dealt with."""
        return tuple(remark.text for source in self.sources for remark in source.remarks)

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
            # Its grammar takes half a second to build, and hardly any project asks.
            from checker.read.queries import check_query, chosen

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
        paths = [str(one.opened.text_path) for one in self._loaded]
        bodies = Bodies(paths, [one.unit.metres for one in self._loaded], self._patience)
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
    files = [file for file, _ in in_order]
    loaded = [_load(number, file, one) for number, (file, one) in enumerate(in_order)]
    frames, remarks = _frames(loaded, files)
    # Some faults come to light only as records are read.
    told = [(*one.opened.remarks(), *one.source.remarks, *more) for one, more in zip(loaded, remarks, strict=True)]
    loaded = [replace(one, source=replace(one.source, remarks=each)) for one, each in zip(loaded, told, strict=True)]
    return Reading(loaded, frames)


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
    path = opened.path
    if not projects:
        if next(iter(model), None) is None:
            raise BadModel(f"{path} has a header and nothing else: the export failed. Export the model again.")
        raise BadModel(f"{path} holds no IfcProject, so its units are unknown. Export the whole model.")
    project = projects[0]
    unit = length_unit(project, str(path))
    remarks = []
    if len(projects) > 1:
        units = sorted({length_unit(each, str(path)).word for each in projects})
        if len(units) > 1:
            raise BadModel(
                f"{path} holds {len(projects)} projects with different length units ({', '.join(units)}). "
                "Export each project into a file of its own."
            )
        remarks.append(Remark("warning", f"{path.name} holds {len(projects)} projects instead of one; all were read."))
    place = map_place(model, unit)
    if place.fault:
        remarks.append(Remark("warning", f"{path.name} has {place.fault}. It was left aside; correct or remove it."))
    elif place.told is not None and place.told.kind == "site":
        latitude, longitude, _ = place.told.place
        if abs(latitude) > 90.0 or abs(longitude) > 180.0:
            wrong = f"states latitude {latitude:.3f} and longitude {longitude:.3f} for its site, which no place has"
            remarks.append(Remark("note", f"{path.name} {wrong}. Nothing here depends on it."))
    words = Words(opened, number)
    found = list(words.found())
    if len(found) >= FEWEST_ADRIFT and words.relations.adrift(model):
        none = f"none of its {len(found)} elements stands in its site, building or storeys, as in a file cut in half"
        remarks.append(Remark("error", f"{path.name}: {none}. See whether it is whole, or export the model again."))
    placements = Placements()
    rows = [tuple(placements.row(product[5]) for product in one.carriers) for one in found]
    cut = [tuple(words.relations.is_cut(product) for product in one.carriers) for one in found]
    grid = [(tag, ends, placements.row(place)) for tag, ends, place in grid_axes(model, unit.metres)]
    source = Source(
        file=path.name,
        sha256=opened.sha256,
        schema=model.schema_identifier,
        length_unit=unit.word,
        project=text(project[5]) or text(project[2]),
        project_guid=text(project[0]),
        saved=opened.saved,
        header_name=opened.header_name,
        name=_name(file),
        owner=file.owner,
        products=len(model.by_type("IfcProduct")),
        georeference=place.told,
        remarks=tuple(remarks),
        shift_mm=file.shift_mm,
    )
    matrices = placements.resolved(unit.metres)
    return _Loaded(opened, source, unit, found, rows, cut, matrices, grid, place)


def _frames(loaded: Sequence[_Loaded], files: Sequence[ModelFile]) -> tuple[list[Floats], list[list[Remark]]]:
    """For each file the matrix (4, 4) from its own frame to that of the first one with a map conversion, and remarks.

    Raises `BadModel` where files lie on the map each in its own way and one of them wrongly.
    """
    for one in loaded:
        if one.place.fault and any(other.place.stated != one.place.stated for other in loaded):
            raise BadModel(f"{one.opened.path} has {one.place.fault}. Correct it or remove it.")
    mapped = [one for one in loaded if one.place.matrix is not None]
    frames, remarks = [], []
    for one, file in zip(loaded, files, strict=True):
        frame, told = np.eye(4), []
        if mapped and one.place.matrix is None:
            lies = f"has no map conversion; it was taken to lie in the frame of {mapped[0].source.name}."
            told.append(Remark("note", f"{one.source.name} {lies}"))
        elif mapped:
            _check_thousandfold(one, mapped[0])
            turned = between_maps(one.place.matrix, mapped[0].place.matrix)
            if turned is not None:
                frame = turned
                scale = float(np.cbrt(np.linalg.det(turned[:3, :3])))
                scaled = f" and scaled by {scale:.7g}" if abs(scale - 1.0) > 1e-9 else ""
                lies = f"was brought into the frame of {mapped[0].source.name}{scaled}."
                told.append(Remark("note", f"{one.source.name} {lies}"))
        frame[:3, 3] += np.array(file.shift_mm or (0.0, 0.0, 0.0)) / 1000.0
        frames.append(frame)
        remarks.append(told)
    return frames, remarks


def _check_thousandfold(one: _Loaded, other: _Loaded) -> None:
    """Raises `BadModel` where two files lie in one direction on the map, one of them a thousand times as far."""
    if one.place.told is None or other.place.told is None:
        return
    here, there = (np.array(each.place.told.place[:2]) for each in (one, other) if each.place.told is not None)
    if np.abs(here).min() < 1.0 or np.abs(there).min() < 1.0:
        return
    ratio = here / there
    if np.all(np.abs(ratio / 1000.0 - 1.0) < 1e-3) or np.all(np.abs(ratio * 1000.0 - 1.0) < 1e-3):
        far, near = (one, other) if ratio[0] > 1.0 else (other, one)
        raise BadModel(
            f"{far.opened.path} lies a thousand times as far east and north on the map as {near.source.name}, so the "
            "map conversion of one of them is in the wrong unit. Correct it or remove both."
        )


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


def _grids(
    loaded: Sequence[_Loaded], placed: Sequence[Floats], unplaced: Sequence[Floats]
) -> tuple[tuple[GridAxis, ...], ...]:
    """The axes of each model in the common frame."""
    out = []
    for one, matrices, own in zip(loaded, placed, unplaced, strict=True):
        axes = []
        for tag, ends, row in one.grid:
            matrix = matrices[row] if row >= 0 else own
            axis = GridAxis(tag, ends @ matrix[:3, :3].T + matrix[:3, 3])
            if np.isfinite(axis.ends).all():
                axes.append(axis)
        out.append(tuple(axes))
    return tuple(out)


def _together(grids: Sequence[Sequence[GridAxis]]) -> tuple[GridAxis, ...]:
    """All axes, those that several trades draw alike once."""
    out: list[GridAxis] = []
    for axis in (axis for axes in grids for axis in axes):
        same = (np.abs(known.ends - axis.ends).max() <= SAME_AXIS_M for known in out if known.tag == axis.tag)
        if not any(same):
            out.append(axis)
    return tuple(sorted(out, key=lambda axis: (axis.tag, axis.ends.tolist())))


def _sizes_mm(meshes: Meshes) -> Floats:
    """Length, width, thickness and height (n, 4) of bodies in mm; NaN where there is none, so that no limit holds."""
    box = boxes(meshes)
    sizes = 1000.0 * np.concatenate([box.size, box.high[:, 2:] - box.low[:, 2:]], axis=1)
    sizes[np.diff(meshes.point_start) == 0] = np.nan
    return sizes
