"""One run from files to results, and the writing of its outputs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from checker import issues, read, releases, roles
from checker.bcf.reading import check_unchanged, read_bcf
from checker.bcf.records import BcfVersion
from checker.bcf.splicing import Updated
from checker.clock import set_moment, today
from checker.earlier import with_parts_beside
from checker.errors import CannotCheck
from checker.facade import SEAM_KINDS, Facade
from checker.layers import cover
from checker.memory import Previous, previous_of, touched_by_people
from checker.model import Model, ModelFile
from checker.output.bcf import issues_bcf
from checker.output.findings import findings
from checker.output.safely import replace_many
from checker.output.table import seams_csv
from checker.output.update import updated_bcf
from checker.result import Result, SeamTable
from checker.rule import MM, Rule
from checker.settings import Settings
from checker.topology import build

Progress = Callable[[str, float], None]
"""Told what is being done and the share that is done, 0 to 1."""


def recognise(files: Sequence[ModelFile], settings: Settings, progress: Progress) -> Model:
    """Read the models and tell what each element is.

    Raises:
        BadModel: A file cannot be read, or the models do not meet in space.
        BadSettings: A role's query is wrong.
    """
    progress("reading models", 0.0)
    reading = read.open_models(files)
    queried = reading.matches(settings.roles)
    wanted = roles.worth_reading(reading.elements, queried)
    progress("reading bodies", 0.25)
    meshes, faults = reading.bodies(wanted)
    reading.check_alignment(meshes)
    progress("recognising parts", 0.6)
    return Model(
        sources=reading.sources,
        elements=reading.elements,
        roles=roles.assign(reading.elements, meshes, faults, queried),
        meshes=meshes,
        faults=faults,
        grid=reading.grid,
        origin=reading.origin,
        notes=reading.notes,
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
        CannotCheck: A file, the settings, or a model without panels or columns stands in the way.
    """
    model = recognise(files, settings, progress)
    return check_model(model, settings, rules, progress, previous)


def previous_release(path: Path, settings: Settings, rules: Sequence[Rule[Any, Any]]) -> Previous:
    """What a BCF file, and ``findings.json`` beside it, tell of the previous release.

    Raises:
        CannotCheck: It is no BCF file.
    """
    renamed = {former: rule.name for rule in rules for former in rule.formerly}
    return with_parts_beside(previous_of(read_bcf(path), settings.statuses, renamed), path.parent)


def check_model(
    model: Model,
    settings: Settings,
    rules: Sequence[Rule[Any, Any]],
    progress: Progress,
    previous: Previous | None = None,
) -> Result:
    """Find the seams of a model, ask every rule, and tell what has changed since a previous release."""
    found = {role: sum(1 for each in model.roles if each.role == role) for role in ("panel", "column")}
    files = ", ".join(source.file for source in model.sources)
    for role, count in found.items():
        if count == 0:
            raise CannotCheck(
                f"{files}: no {role}s were recognised among {len(model.elements)} elements, so nothing can be checked. "
                f"See 'seamtrace roles' and name them under [roles] in seamtrace.toml."
            )
    progress("finding seams", 0.65)
    # Two rules may ask about one layer.
    layers = {rule.layer.name: rule.layer for rule in rules if rule.layer is not None}
    facade = build(model, tuple(layers.values()))
    if not len(facade.panels.element):
        raise CannotCheck(
            f"{files}: none of the {found['panel']} panels is an upright body, so nothing can be checked. "
            "Export them with geometry."
        )
    out = len(facade.elements_of("panel")) - len(facade.panels.element)
    remarks = (f"Panels that lie flat or stand inside belong to no facade and were left out: {out}.",) if out else ()
    answers = []
    asked = [
        rule
        for rule in rules
        if settings.enabled(rule) and (rule.layer is None or settings.layer(rule.layer.name) != "off")
    ]
    for k, rule in enumerate(asked):
        progress(f"checking {rule.name}", 0.7 + 0.25 * k / len(asked))
        subjects, verdicts = rule.ask(facade, settings.limits_of(rule))
        need = settings.layer(rule.layer.name) if rule.layer is not None else "expected"
        answers.append(issues.Answer(rule, settings.severity_of(rule), need, subjects, verdicts))
    draft = issues.drafted(facade, answers, {rule.name: rule.remedy for rule in asked})
    continued = releases.recognised(previous or Previous("", ()), model, rules, settings, answers, draft)
    found_issues = issues.judged(continued.draft, answers, settings.accepted, today())
    progress("done", 1.0)
    return Result(
        model=model,
        panels=found["panel"],
        columns=found["column"],
        seams=seam_table(facade),
        seam_length_m=float(sum(seams.length.sum() for seams in facade.seams.values())),
        coverage=found_issues.coverage,
        verdicts=found_issues.verdicts,
        issues=found_issues.issues,
        notes=(*model.notes, *remarks, *found_issues.notes),
        changes=continued.changes(found_issues, settings.statuses),
        due_days=settings.due_days,
        stage=settings.stage,
    )


def seam_table(facade: Facade) -> SeamTable:
    """The columns of ``seams.csv``: every seam with its place, width, offsets, parts and the cover of each layer."""
    columns: dict[str, list[Any]] = {}
    elements, origin = facade.model.elements, facade.model.origin

    def add(name: str, values: Sequence[Any]) -> None:
        columns.setdefault(name, []).extend(values)

    def numbers(values: Any) -> list[float | None]:
        return [None if np.isnan(v) else float(v) for v in values]

    for kind in SEAM_KINDS.values():
        seams = facade.seams[kind]
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
        for layer in (each for each in facade.layers if each.seams):
            share = cover(facade, layer, kind).share if kind in layer.seams else np.full(len(seams), np.nan)
            add(layer.name, numbers(share))
    return SeamTable(columns)


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

    The BCF file goes on with that of the previous release, where there is one, and keeps its version.

    Raises:
        CannotCheck: The folder cannot be written, or what people wrote would be lost.
    """
    saved = run_time(result.model)
    contents: dict[Path, bytes] = {}
    notes: tuple[str, ...] = ()
    if "bcf" in formats:
        bcf = _bcf(result, saved, out / "issues.bcf", previous, bcf_version)
        contents[out / "issues.bcf"], notes = bcf.data, bcf.notes
    if "json" in formats:
        contents[out / "findings.json"] = findings(result)
    if "csv" in formats:
        contents[out / "seams.csv"] = seams_csv(result.seams)

    def last_look() -> None:
        """Nobody may have saved the previous file while this run went on: it would be lost."""
        if "bcf" in formats and previous is not None and previous.file is not None:
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
    if previous is None or previous.file is None:
        there = touched_by_people(path)
        if there:
            raise CannotCheck(
                f"{path}: {there}, which a new file would not hold. Go on with it with --previous {path}, or name "
                "another output folder with --out."
            )
        return Updated(issues_bcf(result, saved, version or "2.1"))
    same = path.exists() and Path(previous.file.file).resolve() == path.resolve()
    if not same and (there := touched_by_people(path)) and not _is(path, previous.file.data):
        raise CannotCheck(
            f"{path}: {there}, and it is not the file given with --previous. Name another output folder with --out."
        )
    done = updated_bcf(result, saved, previous.file)
    if version in (None, previous.file.version):
        return done
    return replace(done, notes=(f"{path}: stays BCF {previous.file.version}, as it was before.", *done.notes))


def run_time(model: Model) -> str:
    """Time of a run: ``SOURCE_DATE_EPOCH`` if set, else the newest time stamp of its models. Never the wall clock."""
    moment = set_moment()
    if moment is not None:
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
    return max((source.saved for source in model.sources), default="") or "2000-01-01T00:00:00Z"
