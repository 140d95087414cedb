"""``findings.json``: what a run found, for programs. Its keys and meanings are in ``findings.schema.json``."""

import json
from collections.abc import Iterable, Mapping
from importlib.resources import files
from typing import Any, Final

from checker import __version__
from checker.identity import Parts, parts_of, release_id
from checker.model import Intake, Source
from checker.result import (
    LIVES,
    SEVERITIES,
    Airtight,
    Change,
    Changes,
    Coverage,
    Issue,
    Move,
    Occupied,
    PartChange,
    Result,
    Verdict,
    WayFound,
)

FORMAT: Final = 1
"""Goes up when a key changes its meaning or goes away."""

Json = Mapping[str, object]


def findings(result: Result) -> bytes:
    """The file's content: UTF-8, keys in a fixed order, one verdict or issue a line, so that two runs compare well.

    Millimetres are rounded to 0.001, metres to 0.000001.
    """
    model = result.model
    sources = [
        {
            "name": source.name,
            "file": source.file,
            "sha256": source.sha256,
            "schema": source.schema,
            "length_unit": source.length_unit,
            "project": source.project,
        }
        for source in model.sources
    ]
    summary: dict[str, object] = {
        "panels": result.panels,
        "columns": result.columns,
        "column_places": result.column_places,
        "seams": len(next(iter(result.seams.columns.values()), [])),
        "seam_length_m": _metres(result.seam_length_m),
        **{severity: result.count(severity) for severity in SEVERITIES},
        "unchecked": result.unchecked or None,
    }
    guids = [element.guid for element in model.elements]
    sections = (
        ("format", json.dumps(FORMAT)),
        ("tool", _line({"name": "seamtrace", "version": __version__})),
        ("release", json.dumps(release_id(model.sources))),
        ("models", _list(sources)),
        ("intake", _list(_intake(source, one) for source, one in zip(model.sources, model.intake, strict=False))),
        ("summary", _line(summary)),
        ("ways", _list(map(_way, result.ways))),
        ("occupied", _list(map(_occupied, result.occupied))),
        ("coverage", _list(map(_coverage, result.coverage))),
        ("airtight", "null" if result.airtight is None else _line(_airtight(result.airtight))),
        ("verdicts", _list(map(_verdict, result.verdicts))),
        ("issues", _list(_issue(issue, guids) for issue in result.issues)),
        ("changes", _changes(result.changes) if result.changes and result.changes.since else "null"),
        ("parts", _list(_parts(parts_of(model)))),
    )
    text = "{\n" + ",\n".join(f'"{key}": {content}' for key, content in sections) + "\n}\n"
    # A name from a model may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", errors="replace")


def findings_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of ``findings.json``."""
    schema: dict[str, Any] = json.loads(files("checker.output").joinpath("findings.schema.json").read_text("utf-8"))
    return schema


def _line(record: Json) -> str:
    return json.dumps(record, ensure_ascii=False, allow_nan=False)


def _list(records: Iterable[Json]) -> str:
    lines = ",\n".join(map(_line, records))
    return f"[\n{lines}\n]" if lines else "[]"


def _mm(value: float | None) -> float | None:
    return None if value is None else round(float(value), 3) + 0.0  # adding 0.0 turns -0.0 into 0.0


def _metres(value: float) -> float:
    return round(float(value), 6) + 0.0


def _point(point: tuple[float, float, float]) -> list[float]:
    return [_metres(value) for value in point]


def _way(way: WayFound) -> Json:
    return {
        "way": way.way,
        "checked": way.checked,
        "panels": way.panels,
        "gaps": way.gaps,
        "length_m": _metres(way.length_m),
        "width_min_mm": _mm(way.width_min_mm),
        "width_max_mm": _mm(way.width_max_mm),
        "occupied": way.occupied,
        "closed": way.closed,
        "facades": list(way.facades),
        "says": way.says,
    }


def _occupied(seam: Occupied) -> Json:
    elements = [{"guid": guid, "class": kind, "name": name} for guid, kind, name in seam.elements]
    return {"subject": seam.subject, "share": round(seam.share, 4), "elements": elements}


def _intake(source: Source, one: Intake) -> Json:
    fit, earth = one.fit, source.georeference
    shift = [_mm(1000.0 * value) for value in fit.shift_m] if fit.state == "off" else None
    return {
        "file": source.file,
        "products": source.products,
        "elements": one.elements,
        "bodies": one.bodies,
        "size_m": [_metres(value) for value in one.size_m] if one.size_m else None,
        "distance_m": _metres(one.distance_m),
        "doubles": one.doubles,
        "roles": dict(one.roles),
        "georeference": {"kind": earth.kind, "name": earth.name, "place": list(earth.place)} if earth else None,
        "meets": {
            "state": fit.state,
            "met": fit.met,
            "best": fit.best,
            "shift_mm": shift,
            "exact": fit.exact,
            "alike": fit.alike,
            "by_grid": fit.by_grid,
            "turn_deg": round(fit.turn_deg, 3),
            "against": list(fit.against),
        },
        "remarks": [{"severity": remark.severity, "text": remark.text} for remark in one.remarks],
    }


def _coverage(coverage: Coverage) -> Json:
    return {
        "rule": coverage.rule,
        "subjects": coverage.subjects,
        "pass": coverage.passed,
        "fail": coverage.failed,
        "not_modelled": coverage.not_modelled,
        "undecided": coverage.undecided,
        "accepted": coverage.accepted,
        "length_m": _metres(coverage.length_m),
        "stated": coverage.stated,
    }


def _airtight(line: Airtight) -> Json:
    return {name: _metres(getattr(line, name)) for name in line.__dataclass_fields__}


def _verdict(verdict: Verdict) -> Json:
    return {
        "rule": verdict.rule,
        "state": verdict.state,
        "severity": verdict.severity,
        "subject": verdict.subject,
        "kind": verdict.kind,
        "value_mm": _mm(verdict.value_mm),
        "minimum_mm": _mm(verdict.minimum_mm),
        "maximum_mm": _mm(verdict.maximum_mm),
        "elements": list(verdict.elements),
        "point_m": _point(verdict.point_m),
        "facade": verdict.facade,
        "axis": verdict.axis,
        "issue": verdict.issue,
        "message": verdict.message,
    }


def _issue(issue: Issue, guids: list[str]) -> Json:
    return {
        "key": issue.key,
        "check_id": issue.check_id,
        "topic": issue.topic,
        "rule": issue.rule,
        "severity": issue.severity,
        "title": issue.title,
        "members": list(issue.members),
        "worst_mm": _mm(issue.worst_mm),
        "owner": issue.owner,
        "elements": [guids[element] for element in issue.elements],
        "point_m": _point(issue.point_m),
        "remedy": issue.remedy,
        "move": _move(issue.move) if issue.move else None,
        "accepted": issue.accepted,
    }


def _move(move: Move) -> Json:
    return {
        "part": move.part,
        "what": move.what,
        "vector_m": _point(move.vector_m),
        "distance_mm": _mm(move.distance_mm),
        "direction": move.direction,
        "also": list(move.also),
    }


def _changes(changes: Changes) -> str:
    """A section of its own, one issue or part a line."""
    parts = "null" if changes.parts is None else _list(map(_part_change, changes.parts))
    counts: Json = {life: changes.count(life) for life in LIVES}
    return (
        f'{{"since": {json.dumps(changes.since)}, "counts": {_line(counts)}, '
        f'"issues": {_list(map(_change, changes.issues))}, "renamed": {_line(changes.renamed)}, "parts": {parts}}}'
    )


def _change(change: Change) -> Json:
    return {
        "key": change.key,
        "topic": change.topic,
        "rule": change.rule,
        "life": change.life,
        "recognised_by": change.rung,
        "was_mm": _mm(change.was_mm),
        "now_mm": _mm(change.now_mm),
        "says": change.says,
    }


def _part_change(change: PartChange) -> Json:
    return {
        "guid": change.guid,
        "what": change.what,
        "role": change.role,
        "mark": change.mark,
        "model": change.model,
        "was": change.was,
        "recognised_by": change.rung,
        "by_mm": _mm(change.by_mm),
    }


def _parts(parts: Parts) -> Iterable[Json]:
    columns = zip(parts.guid, parts.role, parts.ifc_class, parts.name, parts.tag, parts.model, strict=True)
    for k, (guid, role, ifc_class, name, tag, model) in enumerate(columns):
        yield {
            "guid": guid,
            "role": role,
            "class": ifc_class,
            "name": name,
            "tag": tag,
            "model": model,
            "box_m": [_metres(value) for value in parts.box[k].ravel()],
            "area_m2": float(f"{parts.area[k]:.7g}"),
            "volume_m3": float(f"{parts.volume[k]:.7g}"),
        }
