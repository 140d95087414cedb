"""``issues.bcf``: every issue as a topic of the BIM Collaboration Format 2.1, with viewpoint, picture and comment."""

import io
import re
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import inf
from pathlib import Path, PureWindowsPath
from typing import Final
from uuid import UUID, uuid5

import numpy as np
from lxml import etree

from checker.bcf.records import NewTopic, NewView
from checker.model import Model
from checker.output.picture import draw_all
from checker.output.safely import replace_file
from checker.output.views import Viewpoint, both_views, element_boxes, is_global_id
from checker.result import Issue, Point, Remark, Result, Severity, Verdict
from checker.rule import required_range

AUTHOR: Final = "seamtrace"
TYPE: Final[dict[Severity, str]] = {"error": "Error", "warning": "Warning", "note": "Note"}
PRIORITY: Final[dict[Severity, str]] = {"error": "High", "warning": "Normal", "note": "Low"}
CAUTION: Final = "A geometric check is no certificate; structure, fire, wind and lifting are for qualified people."
MOST_LINES: Final = 12
"""Members and parts named one by one; the rest is counted. Readers show descriptions in small boxes."""
LONGEST_NAME: Final = 120
LONGEST_TITLE: Final = 240
LONGEST_TEXT: Final = 2000

_STAMP: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
# Marks that reverse the reading direction: legal in XML, and a way to make a name read as something else.
_REVERSING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def write_bcf(result: Result, path: Path, saved: str) -> None:
    """Write all issues of a run, at once or not at all; ``saved`` as for `issues_bcf`. Raises `CannotCheck`."""
    replace_file(path, issues_bcf(result, saved))


def issues_bcf(result: Result, saved: str) -> bytes:
    """The content of the file; ``saved`` is the time of the run as ``YYYY-MM-DDThh:mm:ssZ``.

    A run without issues gives a file without topics, so that no earlier file is mistaken for the present state.
    """
    if not _STAMP.fullmatch(saved):
        raise ValueError(f"no time stamp in UTC: {saved!r}")
    if len({issue.topic.lower() for issue in result.issues}) < len(result.issues):
        raise ValueError("two issues share one topic")
    archive = _Archive(saved)
    archive.add("bcf.version", _xml(_version()))
    archive.add("project.bcfp", _xml(_project(result.model)))
    for topic in new_topics(result, result.issues, saved):
        archive.add(f"{topic.guid}/", b"")
        for name, content in topic.entries:
            archive.add(f"{topic.guid}/{name}", content)
    return archive.close()


def new_topics(result: Result, issues: Sequence[Issue], saved: str) -> Iterator[NewTopic]:
    """The topics of some issues of a run."""
    remarks = _remarks(result)
    for issue, entries in zip(issues, _entries(result.model, issues), strict=True):
        entries = list(entries)
        views = [part for entry, view in entries for part in ((entry.file, view.xml), (entry.snapshot, view.png))]
        markup = _markup(issue, result, [entry for entry, _ in entries], saved, remarks.get(issue.topic))
        yield NewTopic(issue.topic.lower(), (("markup.bcf", _xml(markup)), *views))


def new_views(model: Model, issues: Sequence[Issue]) -> Iterator[tuple[NewView, ...]]:
    """The viewpoints of some issues."""
    return (tuple(view for _, view in entries) for entries in _entries(model, issues))


def _entries(model: Model, issues: Sequence[Issue]) -> Iterator[list[tuple["_Entry", NewView]]]:
    boxes = element_boxes(model)
    pairs = [both_views(issue, model, boxes) for issue in issues]
    pictures = draw_all([view for pair in pairs for view in pair], model, boxes)
    for issue, pair in zip(issues, pairs, strict=True):
        entries = [_Entry.of(issue, view, first=view is pair[0]) for view in pair]
        yield [
            (entry, NewView(entry.guid, _xml(_visualization(_as_opened(entry.view), entry.guid)), next(pictures)))
            for entry in entries
        ]


def _remarks(result: Result) -> dict[str, Remark]:
    """What is to be said of the issues of a run, by topic."""
    changes = result.changes.issues if result.changes else ()
    return {change.topic: change.remark for change in changes if change.remark is not None}


@dataclass(frozen=True, slots=True)
class _Entry:
    """A viewpoint as it stands in a topic: its GUID and the names of its files."""

    view: Viewpoint
    guid: str
    file: str
    snapshot: str

    @classmethod
    def of(cls, issue: Issue, view: Viewpoint, first: bool) -> "_Entry":
        # It follows from what it names, so the same run gives the same file.
        guid = str(uuid5(UUID(issue.topic), f"viewpoint {view!r}"))
        # The standard fixes the names of the first one, and says nothing of further ones.
        return cls(view, guid, *(("viewpoint.bcfv", "snapshot.png") if first else (f"{guid}.bcfv", f"{guid}.png")))


class _Archive:
    """A zip file without anything that changes from run to run."""

    def __init__(self, saved: str) -> None:
        self._bytes = io.BytesIO()
        self._zip = zipfile.ZipFile(self._bytes, "w")
        year, month, day, hour, minute, second = map(int, re.split("[-T:]", saved[:-1]))
        # The format counts years from 1980 in seven bits.
        self._time = (min(max(year, 1980), 2107), month, day, hour, minute, second)

    def add(self, name: str, data: bytes) -> None:
        """Add a file, or a folder where the name ends with a slash."""
        entry = zipfile.ZipInfo(name, self._time)
        entry.create_system = 3
        folder = name.endswith("/")
        entry.external_attr = (0o040755 << 16 | 0x10) if folder else 0o100644 << 16
        # Pictures are packed already.
        packed = not folder and not name.endswith(".png")
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        self._zip.writestr(entry, data)

    def close(self) -> bytes:
        """The finished archive."""
        self._zip.close()
        return self._bytes.getvalue()


def legal(text: str) -> str:
    r"""A text that XML 1.0 can hold and that reads as it is written; lines stay lines.

    >>> legal("a\x00b\r\nc\ud800")
    'a�b\nc�'
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join("�" if _illegal(letter) else letter for letter in text)


def _illegal(letter: str) -> bool:
    return (
        (unicodedata.category(letter) in ("Cc", "Cs") and letter != "\n")
        or letter in _REVERSING
        or letter in "\ufffe\uffff"
    )


def _line(text: str, longest: int = LONGEST_NAME) -> str:
    """A legal text on one line, cut where it is too long."""
    text = " ".join(legal(text).split())
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


Node = etree._Element


def _add(parent: Node, tag: str, text: str | None = None, **attributes: str) -> Node:
    node = etree.SubElement(parent, tag, attributes)
    node.text = text
    return node


def _xml(root: Node) -> bytes:
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True, pretty_print=True)


def _version() -> Node:
    root = etree.Element("Version", VersionId="2.1")
    _add(root, "DetailedVersion", "2.1")
    return root


def _project(model: Model) -> Node:
    root = etree.Element("ProjectExtension")
    known = (source.project_guid for source in model.sources if is_global_id(source.project_guid))
    project = _add(root, "Project", ProjectId=next(known, AUTHOR))
    names = (_line(source.project) for source in model.sources)
    if name := next(filter(None, names), ""):
        _add(project, "Name", name)
    # The standard's sample of such a schema cannot be loaded, so none is named: then every word is allowed.
    _add(root, "ExtensionSchema")
    return root


def _markup(issue: Issue, result: Result, entries: Sequence[_Entry], saved: str, remark: Remark | None = None) -> Node:
    root = etree.Element("Markup")
    header = _add(root, "Header")
    for number, source in enumerate(result.model.sources, 1):
        project = {"IfcProject": source.project_guid} if is_global_id(source.project_guid) else {}
        file = _add(header, "File", isExternal="true", **project)
        # Only the last part: folders say where a person works.
        name = PureWindowsPath(source.file).name or PureWindowsPath(source.header_name).name
        _add(file, "Filename", _line(name) or f"model {number}")
        if _STAMP.fullmatch(source.saved):
            _add(file, "Date", source.saved)
    status = remark.status if remark else "Closed" if issue.accepted else "Open"
    topic = _add(root, "Topic", Guid=issue.topic.lower(), TopicType=TYPE[issue.severity], TopicStatus=status)
    title = _line(issue.title, LONGEST_TITLE) or _line(issue.rule)
    _add(topic, "Title", title)
    _add(topic, "Priority", PRIORITY[issue.severity])
    for label in _labels(issue):
        _add(topic, "Labels", label)
    _add(topic, "CreationDate", saved)
    _add(topic, "CreationAuthor", AUTHOR)
    if due := _due(issue, result, saved):
        _add(topic, "DueDate", due)
    if owner := _line(issue.owner):
        _add(topic, "AssignedTo", owner)
    if stage := _line(result.stage):
        _add(topic, "Stage", stage)
    _add(topic, "Description", description(issue, result))
    # Some readers list viewpoints by their comments only, so each has one.
    for entry in entries:
        guid, text = str(uuid5(UUID(issue.topic), f"comment {entry.guid} {saved}")), f"{entry.view.caption} {title}"
        if remark and entry is entries[0]:
            guid, text = remark.guid, legal(remark.text)
        comment = _add(root, "Comment", Guid=guid)
        _add(comment, "Date", saved)
        _add(comment, "Author", AUTHOR)
        _add(comment, "Comment", text)
        _add(comment, "Viewpoint", Guid=entry.guid)
    for number, entry in enumerate(entries):
        node = _add(root, "Viewpoints", Guid=entry.guid)
        _add(node, "Viewpoint", entry.file)
        _add(node, "Snapshot", entry.snapshot)
        _add(node, "Index", str(number))
    return root


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


def _as_opened(view: Viewpoint) -> Viewpoint:
    """The view in the coordinates of the file whose part should move: what its designer opens it with."""
    if not view.frame:
        return view
    back = np.linalg.inv(np.array(view.frame))

    def place(point: Point) -> Point:
        x, y, z = (np.round(back[:3, :3] @ point + back[:3, 3], 6) + 0.0).tolist()
        return x, y, z

    def way(direction: Point) -> Point:
        turned = back[:3, :3] @ direction
        x, y, z = (np.round(turned / np.linalg.norm(turned), 12) + 0.0).tolist()
        return x, y, z

    return replace(
        view,
        eye=place(view.eye),
        direction=way(view.direction),
        up=way(view.up),
        clips=tuple((place(on), way(towards)) for on, towards in view.clips),
        lines=tuple((place(start), place(end)) for start, end in view.lines),
    )


def _visualization(view: Viewpoint, guid: str) -> Node:
    root = etree.Element("VisualizationInfo", Guid=guid)
    components = _add(root, "Components")
    _add(components, "ViewSetupHints", SpacesVisible="false", SpaceBoundariesVisible="false", OpeningsVisible="false")
    if view.selected:
        _components(_add(components, "Selection"), view.selected)
    _add(components, "Visibility", DefaultVisibility="true")
    if view.coloured:
        colouring = _add(components, "Coloring")
        for colour, guids in view.coloured:
            _components(_add(colouring, "Color", Color=colour), guids)
    camera = _add(root, "OrthogonalCamera" if view.height_m else "PerspectiveCamera")
    _vector(camera, "CameraViewPoint", view.eye)
    _vector(camera, "CameraDirection", view.direction)
    _vector(camera, "CameraUpVector", view.up)
    if view.height_m:
        _add(camera, "ViewToWorldScale", repr(view.height_m))
    else:
        _add(camera, "FieldOfView", repr(view.field_of_view_deg))
    lines = _add(root, "Lines")
    for start, end in view.lines:
        line = _add(lines, "Line")
        _vector(line, "StartPoint", start)
        _vector(line, "EndPoint", end)
    if view.clips:
        planes = _add(root, "ClippingPlanes")
        for on, towards in view.clips:
            plane = _add(planes, "ClippingPlane")
            _vector(plane, "Location", on)
            _vector(plane, "Direction", towards)
    return root


def _components(parent: Node, guids: Sequence[str]) -> None:
    for guid in guids:
        _add(parent, "Component", IfcGuid=guid)


def _vector(parent: Node, tag: str, vector: Point) -> None:
    node = _add(parent, tag)
    for axis, value in zip("XYZ", vector, strict=True):
        _add(node, axis, repr(float(value)))
