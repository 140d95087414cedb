"""``findings.json``: what a run found, for programs. Its keys and meanings are in ``findings.schema.json``."""

import json
from collections.abc import Iterable, Mapping
from importlib.resources import files
from typing import Any, Final

from checker import __version__
from checker.model import Intake, Source
from checker.result import SEVERITIES, Coverage, Issue, Move, Result, Verdict

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
        "seams": len(next(iter(result.seams.columns.values()), [])),
        "seam_length_m": _metres(result.seam_length_m),
        **{severity: result.count(severity) for severity in SEVERITIES},
    }
    guids = [element.guid for element in model.elements]
    sections = (
        ("format", json.dumps(FORMAT)),
        ("tool", _line({"name": "seamtrace", "version": __version__})),
        ("models", _list(sources)),
        ("intake", _list(_intake(source, one) for source, one in zip(model.sources, model.intake, strict=False))),
        ("summary", _line(summary)),
        ("coverage", _list(map(_coverage, result.coverage))),
        ("verdicts", _list(map(_verdict, result.verdicts))),
        ("issues", _list(_issue(issue, guids) for issue in result.issues)),
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
    }


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
