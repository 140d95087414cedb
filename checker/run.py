"""One run from files to results, and the writing of its outputs."""

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely

from checker import intake, issues, nameless, read, releases, roles
from checker.barrier import AirLines, shares
from checker.bcf.reading import check_unchanged, read_bcf
from checker.bcf.records import BcfVersion
from checker.bcf.splicing import Updated
from checker.claims import with_statements
from checker.clock import set_moment, today
from checker.earlier import with_parts_beside
from checker.errors import BadBcf, CannotCheck
from checker.facade import SEAM_KINDS, Facade
from checker.geometry import gathered, joined
from checker.layers import Laps, cover, in_place_of
from checker.measure import name_of
from checker.memory import Previous, previous_of, touched_by_people
from checker.model import NO_BODY, Bools, Model, ModelFile, Role
from checker.output.bcf import issues_bcf
from checker.output.findings import findings
from checker.output.safely import replace_many
from checker.output.table import seams_csv
from checker.output.update import updated_bcf
from checker.result import Occupied, Result, SeamTable
from checker.rule import MM, NOT_MODELLED, Rule
from checker.settings import Settings
from checker.topology import build
from checker.ways import BEFORE_COLUMNS, BUTTING, WAYS, WITHOUT_COLUMNS
from checker.wholes import bodies_without_seals

ONE_STAND: Final = 0.01
"""Pieces of columns whose middles are no further apart in plan stand one upon the other."""

Progress = Callable[[str, float], None]
"""Told what is being done and the share that is done, 0 to 1."""


def recognise(files: Sequence[ModelFile], settings: Settings, progress: Progress, everything: bool = False) -> Model:
    """Read the models and tell what each element is; ``everything`` reads also bodies that no role could need.

    Raises:
        BadModel: A file cannot be read, its unit cannot be right, or the models do not meet in space.
        BadSettings: A role's query is wrong.
    """
    progress("reading models", 0.0)
    reading = read.open_models(files)
    queried = reading.matches(settings.roles)
    wanted = roles.worth_reading(reading.elements, queried)
    progress("reading bodies", 0.25)
    meshes, faults = reading.bodies(wanted | everything)
    # What else was read must not change what is recognised, nor how files are held against each other.
    told = (
        gathered(meshes, [[i] if needed else [] for i, needed in enumerate(wanted.tolist())]) if everything else meshes
    )
    arrived = intake.examine(reading.sources, reading.elements, told, reading.origin, reading.grids)
    said = [fault if needed else "" for fault, needed in zip(faults, wanted.tolist(), strict=True)]
    arrived = intake.unread(arrived, reading.sources, reading.elements, told, said)
    progress("recognising parts", 0.6)
    queried = reading.matches(settings.roles, meshes)
    found = roles.assign(reading.elements, told, said, queried)
    model = Model(
        sources=reading.sources,
        elements=reading.elements,
        roles=found,
        meshes=bodies_without_seals(reading.elements, found, meshes),
        faults=faults,
        grid=reading.grid,
        origin=reading.origin,
        notes=tuple(reading.idle(settings.roles, meshes)),
        intake=intake.counted(arrived, reading.elements, found),
    )
    return _with_bodies_at_panels(model, reading, wanted | everything)


def _with_bodies_at_panels(model: Model, reading: read.Reading, known: Bools) -> Model:
    """The model with the bodies of what has no role and yet lies at a panel: it may fill a seam."""
    if not any(role.role == "panel" for role in model.roles):
        return model
    points, owner = reading.points(~known)
    near = np.isin(np.arange(len(known)), owner[nameless.at_panels(model, points)])
    if not near.any():
        return model
    meshes, faults = reading.bodies(near)
    return replace(
        model,
        meshes=joined(model.meshes, meshes),
        faults=tuple(one or other for one, other in zip(model.faults, faults, strict=True)),
    )


def check(
    files: Sequence[ModelFile],
    settings: Settings,
    rules: Sequence[Rule[Any, Any]],
    progress: Progress,
    previous: Previous | None = None,
) -> Result:
    """Read, find the seams, ask every rule, and tell what has changed since a previous release.

    Raises:
        CannotCheck: A file or the settings stand in the way.
    """
    model = recognise(files, settings, progress)
    return check_model(model, settings, rules, progress, previous)


def previous_release(path: Path, settings: Settings, rules: Sequence[Rule[Any, Any]]) -> Previous:
    """What a BCF file, and ``findings.json`` beside it, tell of the previous release.

    Raises:
        CannotCheck: It is no BCF file, or none of its topics can be read.
    """
    renamed = {former: rule.name for rule in rules for former in rule.formerly}
    found = read_bcf(path)
    if found.topics and all(topic.fault for topic in found.topics):
        others = f" Nor can any other of its {len(found.topics)} topics be read." if len(found.topics) > 1 else ""
        raise BadBcf(f"{found.topics[0].fault}{others}")
    return with_parts_beside(previous_of(found, settings.statuses, renamed), path.parent)


def check_model(
    model: Model,
    settings: Settings,
    rules: Sequence[Rule[Any, Any]],
    progress: Progress,
    previous: Previous | None = None,
) -> Result:
    """Find the seams, ask every rule of panels built in a way that is checked, and tell what a release has changed.

    Where there are no such panels no rule is asked; the result says why, and what the model holds instead.
    """
    panels = sum(1 for each in model.roles if each.role == "panel")
    progress("finding seams", 0.65)
    # Two rules may ask about one layer.
    layers = tuple({rule.layer.name: rule.layer for rule in rules if rule.layer is not None}.values())
    # Without panels walls tell how the building is built; no rule is about them.
    facade = (
        build(model, layers, settings.ways, settings.stated) if panels else build(_walls_for_panels(model), layers, ())
    )
    unchecked = "" if any(way.checked for way in facade.ways) else _unchecked(facade, panels, settings.ways)
    asked = [
        rule
        for rule in rules
        if settings.enabled(rule) and (rule.layer is None or settings.layer(rule.layer.name) != "off")
    ]
    answers = []
    for k, rule in enumerate([] if unchecked else asked):
        progress(f"checking {rule.name}", 0.7 + 0.25 * k / len(asked))
        subjects, verdicts = rule.ask(facade, settings.limits_of(rule))
        if rule.layer is not None and rule.subject not in (Laps, AirLines):
            verdicts = with_statements(facade, rule.layer, subjects, verdicts)
        need = settings.layer(rule.layer.name) if rule.layer is not None else "expected"
        answers.append(issues.Answer(rule, settings.severity_of(rule), need, subjects, verdicts))
    draft = issues.drafted(facade, answers, {rule.name: rule.remedy for rule in asked})
    continued = releases.recognised(previous or Previous("", ()), model, rules, settings, answers, draft)
    found_issues = issues.judged(continued.draft, answers, () if unchecked else settings.accepted, today())
    out = len(facade.elements_of("panel")) - len(facade.panels.element)
    noun = "Panels" if panels else "Walls"
    remarks = (f"{noun} that lie flat or stand inside belong to no facade and were left out: {out}.",) if out else ()
    remarks = (*remarks, *_stated_layers(answers))
    words = settings.statuses
    progress("done", 1.0)
    return Result(
        model=model,
        panels=panels,
        columns=sum(1 for each in model.roles if each.role == "column"),
        seams=seam_table(facade),
        seam_length_m=float(sum(seams.length.sum() for seams in (*facade.seams.values(), *facade.apart.values()))),
        coverage=found_issues.coverage,
        verdicts=found_issues.verdicts,
        issues=found_issues.issues,
        notes=(*model.notes, *remarks, *_lost_layers(facade, answers), *found_issues.notes),
        changes=continued.changes(found_issues, settings.statuses),
        due_days=settings.due_days,
        stage=settings.stage,
        statuses=tuple(dict.fromkeys((*words.open, *words.closed, *words.reopened))),
        ways=facade.ways,
        occupied=tuple(_occupied(facade)),
        column_places=_places(facade, "column"),
        unchecked=unchecked,
        airtight=None if unchecked else shares(facade),
    )


def _walls_for_panels(model: Model) -> Model:
    """The model with every wall that has no role in the place of a panel."""
    stands_in = Role("panel", 0.0, "a wall, to tell how the building is built")
    return replace(
        model,
        roles=tuple(
            stands_in if not role.role and element.ifc_class.startswith("IfcWall") else role
            for role, element in zip(model.roles, model.elements, strict=True)
        ),
    )


def _unchecked(facade: Facade, panels: int, checked: Sequence[str]) -> str:
    """Why nothing of a facade can be checked, and what was found instead."""
    model = facade.model
    wanted = " or ".join(WAYS[way] for way in checked) or "of a way that is checked"
    files = ", ".join(source.file for source in model.sources)
    among = f"were recognised among {len(model.elements)} elements, so nothing can be checked."
    found = "; ".join(way.says.split(":")[0] for way in facade.ways)
    found = f" Found instead: {found}." if found else ""
    if not len(model.elements):
        return f"{files}: no parts of a building were found, so nothing can be checked. Name the models that hold them."
    if not len(model.meshes.triangles):
        why = Counter(fault for fault in model.faults if fault).most_common(1)
        reason = f" ({why[0][0]})" if why and why[0][0] != NO_BODY else ""
        return (
            f"{files}: none of the {len(model.elements)} elements that could be part of a facade has a body{reason}, "
            "so nothing can be checked. Export them with geometry."
        )
    if not panels:
        columns = len(facade.elements_of("column"))
        beside = f" ({columns} column{' was' if columns == 1 else 's were'})" if columns else ""
        among = among.replace(",", f"{beside},", 1)
        return (
            f"{files}: no panels {among}{found} Name the model that holds them too, or see 'seamtrace roles' and name "
            "them under [roles] in seamtrace.toml."
        )
    if not len(facade.panels.element):
        return (
            f"{files}: none of the {panels} panels is an upright body, so nothing can be checked. "
            "Export them with geometry."
        )
    if {way.way for way in facade.ways} <= {WITHOUT_COLUMNS, BUTTING} and not len(facade.elements_of("column")):
        return (
            f"{files}: no columns {among}{found} Name the model that holds them too, or see 'seamtrace roles' and name "
            "them under [roles] in seamtrace.toml."
        )
    other = max(facade.ways, key=lambda way: way.panels).way
    astray = " See whether all models lie in their place." if other in (BEFORE_COLUMNS, WITHOUT_COLUMNS) else ""
    return (
        f"{files}: no panels {wanted} were found, so no rule was asked.{found}{astray} To ask the rules all the same, "
        f'set {other} = "checked" under [ways] in seamtrace.toml.'
    )


def _lost_layers(facade: Facade, answers: Sequence[issues.Answer]) -> Iterator[str]:
    """A remark for each layer that is in no model, while things without a role lie in its place."""
    for answer in answers:
        layer = answer.rule.layer
        if layer is not None and len(answer.subjects) and (answer.verdicts.state == NOT_MODELLED).all():
            unknown = in_place_of(facade, layer)
            if len(unknown):
                yield (
                    f"{layer.name} is in no model, but in its place lie elements without a role: {len(unknown)}, such "
                    f"as '{name_of(facade, int(unknown[0]))}'. Give them a role in [roles] of seamtrace.toml."
                )


def _stated_layers(answers: Sequence[issues.Answer]) -> Iterator[str]:
    """A remark for each layer of which some places pass because the models state it."""
    for answer in answers:
        stated = answer.verdicts.stated
        if stated is not None and stated.any():
            yield (
                f"{answer.rule.name}: stated by the models and not drawn at {int(stated.sum())} of "
                f"{len(answer.subjects)} places; nothing was measured there."
            )


def _places(facade: Facade, role: str) -> int:
    """In how many places elements of a role stand; pieces one upon the other stand in one."""
    which = facade.elements_of(role)
    centre = shapely.points(facade.boxes.centre[which, :2])
    return int(len(shapely.get_parts(shapely.union_all(shapely.buffer(centre, 0.5 * ONE_STAND)))) if len(which) else 0)


def seam_table(facade: Facade) -> SeamTable:
    """The columns of ``seams.csv``: every seam with its place, width, offsets, parts and the cover of each layer."""
    columns: dict[str, list[Any]] = {}
    elements, origin = facade.model.elements, facade.model.origin

    def add(name: str, values: Sequence[Any]) -> None:
        columns.setdefault(name, []).extend(values)

    def numbers(values: Any) -> list[float | None]:
        return [None if np.isnan(v) else float(v) for v in values]

    for kind, seams in [(kind, part[kind]) for kind in SEAM_KINDS.values() for part in (facade.seams, facade.apart)]:
        add("id", seams.ids)
        add("kind", seams.kind)
        add("facade", [facade.sides.names[side] for side in seams.side])
        add("axis", seams.axis)
        add("row", [str(row) if row else "" for row in seams.row])
        add("length_mm", numbers(seams.length * MM))
        add("width_min_mm", numbers(seams.width_min * MM))
        add("width_max_mm", numbers(seams.width_max * MM))
        add("offset_left_mm", numbers(seams.offset_left_narrow * MM))
        add("offset_right_mm", numbers(seams.offset_right_narrow * MM))
        for part in ("left", "right", "column"):
            add(part, [elements[p].guid if p >= 0 else "" for p in getattr(seams, part)])
        for name, values in zip(("x_m", "y_m", "z_m"), (seams.point + origin).T, strict=True):
            add(name, numbers(values))
        add("way", [facade.way_of[name] for name in seams.ids])
        add("occupied", numbers(seams.filled))
        by = [[elements[e] for e in occupants] for occupants in seams.occupants]
        add("occupied_by", ["; ".join(f"{e.guid} {e.ifc_class} '{e.name}'" for e in each) for each in by])
        for layer in (each for each in facade.layers if each.seams and each.runs):
            asked = kind in layer.seams and seams is facade.seams[kind]
            share = cover(facade, layer, kind).share if asked else np.full(len(seams), np.nan)
            add(layer.name, numbers(share))
    return SeamTable(columns)


def _occupied(facade: Facade) -> Iterator[Occupied]:
    """Every seam in which something lies that is no sealing part."""
    for part in (facade.seams, facade.apart):
        for seams in (part[kind] for kind in SEAM_KINDS.values()):
            for name, share, occupants in zip(seams.ids, seams.filled.tolist(), seams.occupants, strict=True):
                by = [facade.model.elements[e] for e in occupants]
                if by:
                    yield Occupied(name, share, tuple((e.guid, e.ifc_class, e.name) for e in by))


@dataclass(frozen=True)
class Written:
    """The files of a run, and what a person should know about them."""

    files: tuple[Path, ...]
    notes: tuple[str, ...] = ()


def write(
    result: Result,
    out: Path,
    formats: Sequence[str],
    previous: Previous | None = None,
    bcf_version: BcfVersion | None = None,
) -> Written:
    """Write the asked formats (``bcf``, ``json``, ``csv``) into a folder; all are whole, or none is touched.

    Where nothing could be checked there are no issues, and a file of none would say that all is well.
    The BCF file goes on with that of the previous release, where there is one, and keeps its version.

    Raises:
        CannotCheck: The folder cannot be written, or what people wrote would be lost.
    """
    saved = run_time(result.model)
    contents: dict[Path, bytes] = {}
    notes: tuple[str, ...] = ()
    if "bcf" in formats and not result.unchecked:
        bcf = _bcf(result, saved, out / "issues.bcf", previous, bcf_version)
        contents[out / "issues.bcf"], notes = bcf.data, bcf.notes
    if "json" in formats:
        contents[out / "findings.json"] = findings(result)
    if "csv" in formats:
        contents[out / "seams.csv"] = seams_csv(result.seams)

    def last_look() -> None:
        """Nobody may have saved the file while this run went on: what was written there would be lost."""
        if out / "issues.bcf" in contents:
            _check_nothing_lost(out / "issues.bcf", previous)
            if previous is not None and previous.file is not None:
                check_unchanged(previous.file)

    replace_many({path: data for path, data in contents.items() if not _is(path, data)}, last_look)
    return Written(tuple(contents), notes)


def _is(path: Path, data: bytes) -> bool:
    """Whether a file holds this already: then it is left alone, with its date."""
    try:
        return path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False


def _bcf(result: Result, saved: str, path: Path, previous: Previous | None, version: BcfVersion | None) -> Updated:
    """The BCF file to be written; what people have written in a file that stands there is never lost."""
    _check_nothing_lost(path, previous)
    if previous is None or previous.file is None:
        return Updated(issues_bcf(result, saved, version or "2.1"))
    done = updated_bcf(result, saved, previous.file)
    if version in (None, previous.file.version):
        return done
    return replace(done, notes=(f"{path}: stays BCF {previous.file.version}, as it was before.", *done.notes))


def _check_nothing_lost(path: Path, previous: Previous | None) -> None:
    """Raises `CannotCheck` where people have worked in the BCF file there and this run does not go on with it."""
    file = previous.file if previous is not None else None
    if (
        file is not None
        and path.exists()
        and (os.path.realpath(file.file) == os.path.realpath(path) or _is(path, file.data))
    ):
        return
    try:
        there = touched_by_people(path)
    except BadBcf as error:
        raise CannotCheck(
            f"{error} It may hold what people wrote and was left as it is: move it away, or name another output folder "
            "with --out."
        ) from error
    if there and file is None:
        raise CannotCheck(
            f"{path}: {there}, which a new file would not hold. Go on with it with --previous {path}, or name another "
            "output folder with --out."
        )
    if there:
        raise CannotCheck(
            f"{path}: {there}, and it is not the file given with --previous. Name another output folder with --out."
        )


def run_time(model: Model) -> str:
    """Time of a run: ``SOURCE_DATE_EPOCH`` if set, else the newest time stamp of its models. Never the wall clock."""
    moment = set_moment()
    if moment is not None:
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
    return max((source.saved for source in model.sources), default="") or "2000-01-01T00:00:00Z"
