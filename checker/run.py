"""One run from files to results, and the writing of its outputs."""

import os
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from checker import intake, issues, read, roles
from checker.errors import BadSettings, CannotCheck
from checker.facade import SEAM_KINDS, Facade
from checker.layers import Laps, cover, laps
from checker.model import Model, ModelFile
from checker.output.bcf import issues_bcf
from checker.output.findings import findings
from checker.output.safely import replace_many
from checker.output.table import seams_csv
from checker.result import Result, SeamTable, Stopped
from checker.rule import MM, Rule
from checker.settings import Settings
from checker.topology import build

Progress = Callable[[str, float], None]
"""Told what is being done and the share that is done, 0 to 1."""


def recognise(files: Sequence[ModelFile], settings: Settings, progress: Progress) -> Model:
    """Read the models and tell what each element is.

    Raises:
        BadModel: A file cannot be read, its unit cannot be right, or the models do not meet in space.
        BadSettings: A role's query is wrong.
    """
    progress("reading models", 0.0)
    reading = read.open_models(files)
    queried = reading.matches(settings.roles)
    wanted = roles.worth_reading(reading.elements, queried)
    progress("reading bodies", 0.25)
    meshes, faults = reading.bodies(wanted)
    arrived = intake.examine(reading.sources, reading.elements, meshes, reading.origin, reading.grids)
    progress("recognising parts", 0.6)
    found = roles.assign(reading.elements, meshes, faults, queried)
    return Model(
        sources=reading.sources,
        elements=reading.elements,
        roles=found,
        meshes=meshes,
        faults=faults,
        grid=reading.grid,
        origin=reading.origin,
        intake=intake.counted(arrived, reading.elements, found),
    )


def check(
    files: Sequence[ModelFile], settings: Settings, rules: Sequence[Rule[Any, Any]], progress: Progress
) -> Result:
    """Read, find the seams, ask every rule.

    Raises:
        CannotCheck: A file, the settings, or a model without panels or columns stands in the way.
    """
    model = recognise(files, settings, progress)
    try:
        return check_model(model, settings, rules, progress)
    except CannotCheck as error:
        raise Stopped(str(error), model) from error


def check_model(model: Model, settings: Settings, rules: Sequence[Rule[Any, Any]], progress: Progress) -> Result:
    """Find the seams of a model and ask every rule."""
    found = {role: sum(1 for each in model.roles if each.role == role) for role in ("panel", "column")}
    files = ", ".join(source.file for source in model.sources)
    for role, count in found.items():
        if count == 0:
            raise CannotCheck(
                f"{files}: no {role}s were recognised among {len(model.elements)} elements, so nothing can be checked. "
                f"See 'seamtrace roles' and name them under [roles] in seamtrace.toml."
            )
    progress("finding seams", 0.65)
    layers = [rule.layer for rule in rules if rule.layer is not None]
    facade = build(model, layers)
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
        subjects = (
            laps(facade, rule.layer) if rule.subject is Laps and rule.layer is not None else facade.of(rule.subject)
        )
        verdicts = rule.check(subjects, facade, settings.limits_of(rule))
        need = settings.layer(rule.layer.name) if rule.layer is not None else "expected"
        answers.append(issues.Answer(rule, settings.severity_of(rule), need, subjects, verdicts))
    found_issues = issues.collect(
        facade, answers, settings.accepted, _today(), {rule.name: rule.remedy for rule in asked}
    )
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
        notes=(*remarks, *found_issues.notes),
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
        for layer in facade.layers:
            share = cover(facade, layer, kind).share if kind in layer.seams else np.full(len(seams), np.nan)
            add(layer.name, numbers(share))
    return SeamTable(columns)


def write(result: Result, out: Path, formats: Sequence[str]) -> tuple[Path, ...]:
    """Write the asked formats (``bcf``, ``json``, ``csv``) into a folder; all are whole, or none is touched.

    Raises:
        CannotCheck: The folder cannot be written.
    """
    saved = run_time(result.model)
    contents: dict[Path, bytes] = {}
    if "bcf" in formats:
        contents[out / "issues.bcf"] = issues_bcf(result, saved)
    if "json" in formats:
        contents[out / "findings.json"] = findings(result)
    if "csv" in formats:
        contents[out / "seams.csv"] = seams_csv(result.seams)
    replace_many(contents)
    return tuple(contents)


def run_time(model: Model) -> str:
    """Time of a run: ``SOURCE_DATE_EPOCH`` if set, else the newest time stamp of its models. Never the wall clock."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch:
        return _moment(epoch).strftime("%Y-%m-%dT%H:%M:%SZ")
    return max((source.saved for source in model.sources), default="") or "2000-01-01T00:00:00Z"


def _moment(epoch: str) -> datetime:
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise BadSettings(f"SOURCE_DATE_EPOCH is '{epoch}': give whole seconds since 1970.") from None


def _today() -> date:
    """The day on which acceptances are judged: they must run out by the calendar."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return _moment(epoch).date() if epoch else datetime.now(UTC).date()
