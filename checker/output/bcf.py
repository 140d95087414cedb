"""``issues.bcf``: every issue as a topic of the BIM Collaboration Format, with two viewpoints and their pictures."""

import re
import struct
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import inf
from pathlib import Path, PureWindowsPath
from typing import Final
from uuid import UUID, uuid5

import numpy as np

from checker.bcf.archive import joined, new
from checker.bcf.reading import container
from checker.bcf.records import BcfVersion, Comment, Container, HeaderFile, NewTopic, NewView, Seen, Topic, View
from checker.bcf.splicing import update
from checker.bcf.writing import extensions_file, markup_file, project_file, version_file, view_file, view_files
from checker.bcf.xml import legal
from checker.model import Model, is_global_id
from checker.output.picture import draw_all
from checker.output.safely import replace_file
from checker.output.views import Viewpoint, both_views, element_boxes
from checker.result import Issue, Point, Remark, Result, Severity, Verdict
from checker.rule import required_range

AUTHOR: Final = "seamtrace"
TYPE: Final[dict[Severity, str]] = {"error": "Error", "warning": "Warning", "note": "Note"}
PRIORITY: Final[dict[Severity, str]] = {"error": "High", "warning": "Normal", "note": "Low"}
_INSTEAD: Final = {"Error": ("Warning",), "Warning": ("Error",), "Note": ("Info", "Information", "Remark", "Warning")}
"""Types for a file whose list has no word such as ours."""
CAUTION: Final = "A geometric check is no certificate; structure, fire, wind and lifting are for qualified people."
MOST_LINES: Final = 12
"""Members and parts named one by one; the rest is counted. Readers show descriptions in small boxes."""
LONGEST_NAME: Final = 120
LONGEST_TITLE: Final = 240
LONGEST_TEXT: Final = 2000

_STAMP: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def write_bcf(result: Result, path: Path, saved: str, version: BcfVersion = "2.1") -> None:
    """Write all issues of a run, at once or not at all; ``saved`` as for `issues_bcf`. Raises `CannotCheck`."""
    replace_file(path, issues_bcf(result, saved, version))


def issues_bcf(result: Result, saved: str, version: BcfVersion = "2.1") -> bytes:
    """The content of the file; ``saved`` is the time of the run as ``YYYY-MM-DDThh:mm:ssZ``.

    A run without issues gives a file without topics, so that no earlier file is mistaken for the present state.
    """
    if not _STAMP.fullmatch(saved):
        raise ValueError(f"no time stamp in UTC: {saved!r}")
    if len({issue.topic.lower() for issue in result.issues}) < len(result.issues):
        raise ValueError("two issues share one topic")
    # A new file is an empty one to which topics are added.
    empty = container("issues.bcf", empty_bcf(result.model, saved, version, result.statuses))
    return update(empty, [], list(new_topics(result, result.issues, saved, empty)), saved).data


def empty_bcf(model: Model, saved: str, version: BcfVersion, statuses: Sequence[str]) -> bytes:
    """A file without topics, in which issues may have some statuses."""
    known = (source.project_guid for source in model.sources if is_global_id(source.project_guid))
    names = (_line(source.project) for source in model.sources)
    files = {
        "bcf.version": version_file(version),
        "project.bcfp": project_file(version, next(known, AUTHOR), next(filter(None, names), "")),
    }
    if version == "3.0":
        files["extensions.xml"] = extensions_file([*TYPE.values()], statuses, [*PRIORITY.values()])
    return joined(new(name, data, saved) for name, data in files.items())


def new_topics(result: Result, issues: Sequence[Issue], saved: str, found: Container) -> Iterator[NewTopic]:
    """The topics of some issues of a run, in the version of the file that they are for and in words that it allows."""
    changes = result.changes.issues if result.changes else ()
    remarks = {change.topic: change.remark for change in changes}
    models = _models(result.model, found.version)
    for issue, views in zip(issues, new_views(result.model, issues, found.version), strict=True):
        topic = _allowed(_topic(issue, result, views, saved, remarks.get(issue.topic)), found)
        contents = ((view.xml, view.png) for view in views)
        names = ((view.file, view.snapshot) for view in topic.views)
        files = [file for pair in zip(names, contents, strict=True) for file in zip(*pair, strict=True)]
        yield NewTopic(topic.guid, (("markup.bcf", markup_file(found.version, topic, models)), *files))


def new_views(model: Model, issues: Sequence[Issue], version: BcfVersion) -> Iterator[tuple[NewView, ...]]:
    """The viewpoints of some issues, with the pictures, which take nearly all the time of a run."""
    boxes = element_boxes(model)
    pairs = [both_views(issue, model, boxes) for issue in issues]
    pictures = draw_all([view for pair in pairs for view in pair], model, boxes)
    for issue, pair in zip(issues, pairs, strict=True):
        yield tuple(_new_view(issue, view, next(pictures), version) for view in pair)


def _new_view(issue: Issue, view: Viewpoint, picture: bytes, version: BcfVersion) -> NewView:
    seen = _seen(view)
    # The GUID follows from what the file says, so the same view has the same in every run and in both versions.
    guid = str(uuid5(UUID(issue.topic), f"viewpoint {seen!r}"))
    width, height = struct.unpack_from(">II", picture, 16)
    return NewView(guid, view_file(version, guid, seen, width / height), picture, view.caption)


def _allowed(topic: Topic, lists: Container) -> Topic:
    """A topic in words that the lists of a file allow, spelt as there.

    The lists are the project's, and stay as they are: what they lack is left out. A type there must be.
    """

    def like(word: str, allowed: tuple[str, ...]) -> str:
        return _like(word, allowed) or ""

    types = (like(each, lists.types) for each in (topic.type, *_INSTEAD[topic.type]))
    return replace(
        topic,
        type=next(filter(None, types), "") or lists.types[0],
        status=like(topic.status, lists.statuses) or topic.status,
        priority=like(topic.priority, lists.priorities),
        labels=tuple(dict.fromkeys(filter(None, (like(label, lists.labels) for label in topic.labels)))),
        assigned=like(topic.assigned, lists.users),
        stage=like(topic.stage, lists.stages),
    )


def _like(word: str, allowed: tuple[str, ...]) -> str | None:
    """The word of a list that differs from another in capitals alone, or None; without a list any word goes."""
    return next((each for each in allowed if each.casefold() == word.casefold()), None) if allowed else word


def left_out(result: Result, issues: Sequence[Issue], lists: Container) -> Iterator[str]:
    """Sentences on words of new topics that the lists of a file lack."""
    wanted: dict[str, tuple[tuple[str, ...], Iterable[str]]] = {
        "types": (lists.types, (TYPE[issue.severity] for issue in issues)),
        "priorities": (lists.priorities, (PRIORITY[issue.severity] for issue in issues)),
        "labels": (lists.labels, (label for issue in issues for label in _labels(issue))),
        "users": (lists.users, (_line(issue.owner) for issue in issues)),
        "stages": (lists.stages, [_line(result.stage)] if issues else []),
    }
    for name, (allowed, words) in wanted.items():
        missing = [word for word in dict.fromkeys(filter(None, words)) if _like(word, allowed) is None]
        if missing:
            more = f" and {len(missing) - 3} more" if len(missing) > 3 else ""
            instead = "have another one" if name == "types" else "go without"
            yield f"{lists.file} allows no {name} such as {', '.join(missing[:3])}{more}: new topics {instead}."


def _topic(issue: Issue, result: Result, views: Sequence[NewView], saved: str, remark: Remark | None) -> Topic:
    title = _line(issue.title, LONGEST_TITLE) or _line(issue.rule)
    # Some readers list viewpoints by their comments only, so each has one.
    said = [(str(uuid5(UUID(issue.topic), f"comment {v.guid} {saved}")), f"{v.caption} {title}") for v in views]
    if remark is not None:
        said[0] = (remark.guid, legal(remark.text))
    usual = "Closed" if issue.accepted else "Open"
    return Topic(
        guid=issue.topic.lower(),
        folder=issue.topic.lower(),
        title=title,
        type=TYPE[issue.severity],
        status=(remark and remark.status) or usual,
        priority=PRIORITY[issue.severity],
        labels=tuple(_labels(issue)),
        created=saved,
        author=AUTHOR,
        due=_due(issue, result, saved),
        assigned=_line(issue.owner),
        stage=_line(result.stage),
        description=description(issue, result),
        comments=tuple(
            Comment(guid, saved, AUTHOR, text, view.guid) for (guid, text), view in zip(said, views, strict=True)
        ),
        views=tuple(View(view.guid, *view_files(view.guid, first=not n)) for n, view in enumerate(views)),
    )


def _models(model: Model, version: BcfVersion) -> list[HeaderFile]:
    """The models as the header names them: 3.0 wants the name that the model's own header gives."""
    files = []
    for number, source in enumerate(model.sources, 1):
        names = (source.header_name, source.file) if version == "3.0" else (source.file, source.header_name)
        # Only the last part: folders say where a person works.
        name = next(filter(None, (_line(PureWindowsPath(name).name) for name in names)), f"model {number}")
        project = source.project_guid if is_global_id(source.project_guid) else ""
        files.append(HeaderFile(project, name, source.saved if _STAMP.fullmatch(source.saved) else ""))
    return files


def _line(text: str, longest: int = LONGEST_NAME) -> str:
    """A legal text on one line, cut where it is too long."""
    text = " ".join(legal(text).split())
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


def _due(issue: Issue, result: Result, saved: str) -> str:
    """When an issue is due, at noon UTC so that it is the same day nearly everywhere; nothing where it is accepted."""
    days = result.due_days.get(issue.severity)
    if days is None or issue.accepted:
        return ""
    try:
        return f"{date.fromisoformat(saved[:10]) + timedelta(days)}T12:00:00Z"
    except OverflowError:  # a release at the end of the calendar
        return ""


def _labels(issue: Issue) -> Iterable[str]:
    facade, axis = _line(issue.facade), _line(issue.axis)
    labels = (_line(issue.rule), _line(issue.owner), facade and f"facade {facade}", axis and f"axis {axis}")
    return dict.fromkeys(filter(None, labels))


def description(issue: Issue, result: Result) -> str:
    """Everything a person needs who has nothing but the topic. The last line proves that the topic is ours."""
    members = [result.verdicts[i] for i in issue.members]
    elements = [result.model.elements[i] for i in issue.elements]
    parts = [
        f"{_line(e.name) or _line(e.ifc_class)} ({', '.join(filter(None, (_line(e.tag), _line(e.guid))))})"
        for e in elements
    ]
    blocks = [
        _line(issue.title, LONGEST_TEXT),
        _paragraphs(issue.description),
        _required(members),
        _list("Places", [_member(verdict) for verdict in members]) if len(members) > 1 else "",
        _list("Parts", parts),
        issue.remedy and f"Remedy: {_paragraphs(issue.remedy)}",
        _move(issue),
        _paragraphs(issue.accepted),
        CAUTION,
        # Never cut: hashed, it must give the topic's own GUID.
        "Check ID: " + legal(issue.check_id).replace("\n", " "),
    ]
    return "\n".join(filter(None, blocks))


def _paragraphs(text: str) -> str:
    return legal(text).strip()[:LONGEST_TEXT]


def _required(members: Sequence[Verdict]) -> str:
    ranges = [
        required_range(-inf if v.minimum_mm is None else v.minimum_mm, inf if v.maximum_mm is None else v.maximum_mm)
        for v in members
        if v.minimum_mm is not None or v.maximum_mm is not None
    ]
    return f"Required: {'; '.join(dict.fromkeys(ranges))}." if ranges else ""


def _member(verdict: Verdict) -> str:
    where = ", ".join(
        f"{word} {_line(name)}" for word, name in (("facade", verdict.facade), ("axis", verdict.axis)) if name
    )
    said = _line(verdict.message) or ("" if verdict.value_mm is None else f"{verdict.value_mm:.1f} mm")
    return ": ".join(filter(None, (where, said))) or _line(verdict.subject)


def _list(head: str, lines: Sequence[str]) -> str:
    lines = list(dict.fromkeys(lines))
    more = [f"- and {len(lines) - MOST_LINES} more"] if len(lines) > MOST_LINES else []
    return "\n".join([f"{head}:", *(f"- {line}" for line in lines[:MOST_LINES]), *more]) if lines else ""


def _move(issue: Issue) -> str:
    if issue.move is None:
        return ""
    move = issue.move
    likewise = f", and likewise {len(move.also)} further part{'' if len(move.also) == 1 else 's'}" if move.also else ""
    return f"Move: {_line(move.what)} {move.distance_mm:.1f} mm {_line(move.direction)}, seen from outside{likewise}."


def _seen(view: Viewpoint) -> Seen:
    """The view in the coordinates of the file whose part should move: what its designer opens it with."""
    back = np.linalg.inv(np.array(view.frame)) if view.frame else None

    def place(point: Point) -> Point:
        if back is None:
            return point
        x, y, z = (np.round(back[:3, :3] @ point + back[:3, 3], 6) + 0.0).tolist()
        return x, y, z

    def way(direction: Point) -> Point:
        if back is None:
            return direction
        turned = back[:3, :3] @ direction
        x, y, z = (np.round(turned / np.linalg.norm(turned), 12) + 0.0).tolist()
        return x, y, z

    return Seen(
        eye=place(view.eye),
        direction=way(view.direction),
        up=way(view.up),
        field_of_view_deg=view.field_of_view_deg,
        height_m=view.height_m,
        selected=view.selected,
        coloured=view.coloured,
        lines=tuple((place(start), place(end)) for start, end in view.lines),
        clips=tuple((place(on), way(towards)) for on, towards in view.clips),
    )
