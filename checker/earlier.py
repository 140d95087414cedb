"""What earlier runs wrote, read again: the parts of the previous release, and two output folders to compare.

Files may have been edited or cut off since: whatever does not fit is one clear sentence.
"""

import csv
import io
import json
from collections import Counter
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, replace
from math import dist
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from checker.errors import CannotCheck
from checker.identity import SAME_PLACE_M, Parts, Point, part_changes
from checker.memory import Known, Previous, Told
from checker.releases import Fault, Now, Seen, changes_of, named, recorded, with_parts
from checker.result import LIVES, SEVERITIES, Changes, PartChange, Severity
from checker.settings import Statuses

FINDINGS: Final = "findings.json"
SEAMS: Final = "seams.csv"

Read = TypeVar("Read")


@dataclass(frozen=True)
class Outcome:
    """What a run found, as it wrote it: its issues and their topics, doubts, coverage, parts and seams.

    ``doubts`` are the rule, the parts and the place of each undecided verdict, ``subjects`` the ids of all that a rule
    said fails or is undecided; ``asked`` gives how often each rule passed, ``silent`` why one tells nothing. ``told``
    is what became of issues, by their topics. ``seams`` are id and GlobalIds of each seam.
    """

    folder: Path
    release: str
    models: frozenset[str]
    faults: tuple[Fault, ...]
    topics: tuple[str, ...]
    open: Mapping[Severity, int]
    doubts: tuple[tuple[str, frozenset[str], Point], ...]
    subjects: Mapping[str, frozenset[str]]
    asked: Mapping[str, int]
    silent: Mapping[str, str]
    parts: Parts
    changed: tuple[PartChange, ...] | None
    renamed: Mapping[str, int]
    told: Mapping[str, Told]
    unchecked: str
    seams: tuple[tuple[str, frozenset[str]], ...] = ()


def outcome(folder: Path) -> Outcome:
    """The output of a run in a folder. Raises `CannotCheck` where ``findings.json`` or ``seams.csv`` is not there."""
    found = _findings(folder / FINDINGS)
    path = folder / SEAMS
    text = _bytes(path)

    def seams() -> tuple[tuple[str, frozenset[str]], ...]:
        rows = csv.DictReader(io.StringIO(text.decode("utf-8"), newline=""), strict=True)
        return tuple(
            (row["id"], frozenset(filter(None, (row[name] for name in ("left", "right", "column"))))) for row in rows
        )

    return replace(found, seams=_understood(path, seams))


def found_before(folder: Path) -> Outcome | None:
    """What ``findings.json`` of a folder holds, without the seams; None where there is none.

    Raises `CannotCheck` where it is not what this version writes.
    """
    path = folder / FINDINGS
    return _findings(path) if path.is_file() else None


def with_parts_beside(previous: Previous, folder: Path) -> Previous:
    """A previous release with the parts that its ``findings.json`` tells of; without them where that is of no use."""
    try:
        beside = found_before(folder)
    except CannotCheck as error:
        return replace(previous, notes=(*previous.notes, f"Parts were not compared: {error}"))
    if beside is None:
        return previous
    return replace(
        previous,
        parts=beside.parts,
        release=beside.release,
        changed=beside.changed,
        renamed=beside.renamed,
        told=beside.told,
    )


def compare(old: Outcome, new: Outcome) -> Changes:
    """What has changed between two runs."""
    found = part_changes(old.parts, new.parts)
    marks = _marks(old.parts)
    previous = Previous(
        since=str(old.folder),
        known=tuple(
            Known(
                check_id=fault.check_id,
                rule=fault.rule,
                topic=topic,
                title=fault.title,
                standing="tool" if fault.accepted else "open",
                last=replace(recorded(fault, marks, ""), event="accepted" if fault.accepted else "new"),
            )
            for fault, topic in zip(old.faults, old.topics, strict=True)
        ),
        parts=old.parts,
    )
    now = _now(old, new, found.again(old.parts, new.parts))
    names = named(new.faults, previous, now)
    told = changes_of(new.faults, names, previous, now, Statuses(), {})
    return with_parts(told, previous, now, new.parts, found)


def _marks(parts: Parts) -> dict[str, tuple[str, str]]:
    columns = zip(parts.guid, parts.tag, parts.name, parts.model, strict=True)
    return {guid: (tag or name, model) for guid, tag, name, model in columns}


def _now(old: Outcome, new: Outcome, again: Mapping[str, str]) -> Now:
    part = _marks(new.parts)
    seams = {subject for subject, _ in old.seams}

    def seen(rule: str, parts: Set[str], place: Point | None) -> Seen:
        for of, elements, point in new.doubts:
            near = place is not None and dist(place, point) <= SAME_PLACE_M
            if of == rule and (near or len(elements & parts) >= min(2, len(elements))):
                return "undecided"
        if old.subjects.get(rule, frozenset()) <= seams:
            about = {subject for subject, own in new.seams if len(own & parts) >= 2 or (own and own <= parts)}
            return "passes" if about - new.subjects.get(rule, frozenset()) else "nothing"
        # Of what is no seam only the number of those that pass is known: it is sure where all parts are there.
        return "passes" if parts and parts <= part.keys() and new.asked.get(rule) else "nothing"

    return Now(
        release=new.release,
        models=new.models,
        asked=frozenset(new.asked),
        part=part,
        silent={
            **new.silent,
            **{rule: f"the rule {rule} was not asked" for rule in old.asked.keys() - new.asked.keys()},
        },
        seen=seen,
        again=again,
    )


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CannotCheck(
            f"{path}: cannot be read ({error.strerror}). Name a folder that 'seamtrace check' wrote with --out, with "
            f"{FINDINGS} and {SEAMS} in it."
        ) from None


def _understood(path: Path, read: Callable[[], Read]) -> Read:
    try:
        return read()
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError, csv.Error) as error:
        reason = f"lacks {error}" if isinstance(error, KeyError) else str(error)
        raise CannotCheck(
            f"{path}: is not what this version writes ({reason[:200]}). Run 'seamtrace check' on that release again."
        ) from None


def _findings(path: Path) -> Outcome:
    data = _bytes(path)
    return _understood(path, lambda: _outcome(path.parent, json.loads(data.decode("utf-8"))))


def _outcome(folder: Path, read: dict[str, Any]) -> Outcome:
    if read["format"] != 1:
        raise ValueError(f"format {read['format']!r}")
    verdicts = read["verdicts"]
    parts = _parts(read["parts"])
    faults = tuple(_fault(issue, verdicts) for issue in read["issues"])
    subjects: dict[str, set[str]] = {}
    for verdict in verdicts:
        subjects.setdefault(verdict["rule"], set()).add(verdict["subject"])
    coverage = read["coverage"]
    return Outcome(
        folder=folder,
        release=str(read["release"]),
        models=frozenset(str(model["name"]) for model in read["models"]),
        faults=faults,
        topics=tuple(str(issue["topic"]) for issue in read["issues"]),
        open=Counter(fault.severity for fault in faults if not fault.accepted),
        doubts=tuple(
            (v["rule"], frozenset(v["elements"]), _point(v["point_m"])) for v in verdicts if v["state"] == "undecided"
        ),
        subjects={rule: frozenset(ids) for rule, ids in subjects.items()},
        asked={each["rule"]: int(each["pass"]) for each in coverage},
        silent={
            each["rule"]: f"nothing of it is in any model for the rule {each['rule']}"
            for each in coverage
            if each["not_modelled"] and each["not_modelled"] == each["subjects"]
        },
        parts=parts,
        changed=_part_changes(read["changes"]),
        told=_told(read),
        unchecked=str(read["summary"]["unchecked"] or ""),
        renamed={str(rung): int(times) for rung, times in (read["changes"] or {"renamed": {}})["renamed"].items()},
    )


def _told(read: dict[str, Any]) -> dict[str, Told]:
    """What became of each issue; without a release before all of them were new."""
    if read["changes"] is None:
        return {
            str(issue["topic"]): Told("accepted" if issue["accepted"] else "new", None, "") for issue in read["issues"]
        }
    if unknown := {each["life"] for each in read["changes"]["issues"]} - set(LIVES):
        raise ValueError(f"life {min(unknown)!r}")
    return {
        str(each["topic"]): Told(each["life"], _number(each["was_mm"]), str(each["recognised_by"]))
        for each in read["changes"]["issues"]
    }


def _fault(issue: dict[str, Any], verdicts: list[dict[str, Any]]) -> Fault:
    members = [verdicts[m] for m in issue["members"]]
    worst = next((v for v in members if v["value_mm"] == issue["worst_mm"]), members[0])
    point, others = _point(issue["point_m"]), [_point(verdict["point_m"]) for verdict in members]
    if point in others:
        others.remove(point)
    if issue["severity"] not in SEVERITIES:
        raise ValueError(f"severity {issue['severity']!r}")
    return Fault(
        check_id=str(issue["check_id"]),
        rule=str(issue["rule"]),
        title=str(issue["title"]),
        severity=issue["severity"],
        value_mm=_number(issue["worst_mm"]),
        minimum_mm=_number(worst["minimum_mm"]),
        maximum_mm=_number(worst["maximum_mm"]),
        points=(point, *others),
        parts=tuple(map(str, issue["elements"])),
        accepted=str(issue["accepted"]),
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _point(values: Any) -> Point:
    x, y, z = map(float, values)
    return x, y, z


def _parts(read: list[dict[str, Any]]) -> Parts:
    words = ("guid", "role", "class", "name", "tag", "model")
    guid, role, ifc_class, name, tag, model = (tuple(str(each[word]) for each in read) for word in words)
    return Parts(
        guid,
        role,
        ifc_class,
        name,
        tag,
        model,
        box=np.array([each["box_m"] for each in read], float).reshape(len(read), 2, 3),
        area=np.array([each["area_m2"] for each in read], float),
        volume=np.array([each["volume_m3"] for each in read], float),
    )


def _part_changes(changes: dict[str, Any] | None) -> tuple[PartChange, ...] | None:
    if changes is None or changes["parts"] is None:
        return None
    return tuple(
        PartChange(
            str(each["guid"]),
            each["what"],
            str(each["role"]),
            str(each["mark"]),
            str(each["model"]),
            str(each["was"]),
            str(each["recognised_by"]),
            _number(each["by_mm"]),
        )
        for each in changes["parts"]
    )
