"""BCF files of anyone, 2.1 and 3.0, into records.

Programs write such files in many ways that the standard does not know. Nothing of a topic is lost over that: what can
be understood is read, what cannot is noted, and all of it stays in the bytes of the file. The GUIDs of a topic's markup
are the authority, whatever its folder and its viewpoint files say.
"""

import hashlib
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from uuid import UUID

from checker.bcf.archive import LARGEST_FILE_BYTES, Archive, Entry
from checker.bcf.records import BcfVersion, Comment, Container, Topic, View
from checker.bcf.xml import BrokenPart, Document, Node, parse
from checker.errors import BadBcf

LISTS: Final[Mapping[str, tuple[str, str]]] = {
    "types": ("TopicTypes", "TopicType"),
    "statuses": ("TopicStatuses", "TopicStatus"),
    "priorities": ("Priorities", "Priority"),
    "labels": ("TopicLabels", "TopicLabel"),
    "users": ("Users", "UserIdType"),
    "stages": ("Stages", "Stage"),
}
"""Lists of allowed words, as `Container` calls them: the list in ``extensions.xml`` of 3.0, and the type that the
extension schema of 2.1 restricts."""

_NUMBER: Final = re.compile(r"(\d{1,4})(\.\d{1,4})*")
_FRACTION: Final = re.compile(r"[.,](\d+)")
_NOTHING: Final = Node("", "", {}, 0)


def read_bcf(path: Path) -> Container:
    """Everything in a ``.bcf`` or ``.bcfzip`` file. Raises `BadBcf` with one sentence where it is no such file."""
    if path.is_dir():
        raise BadBcf(f"{path} is a folder. Name a .bcf file in it.")
    if not path.exists():
        raise BadBcf(f"{path} does not exist. Check the name and the folder.")
    if not path.is_file():
        raise BadBcf(f"{path} is not a file. Name a .bcf file.")
    try:
        size = path.stat().st_size
        if size == 0:
            raise BadBcf(f"{path} is empty. Fetch a fresh copy of the file.")
        if size > LARGEST_FILE_BYTES:
            raise BadBcf(
                f"{path} is {size / 2**30:.1f} GiB large; the limit is {LARGEST_FILE_BYTES / 2**30:g} GiB. "
                "Export fewer topics into one file."
            )
        data = path.read_bytes()
    except OSError as error:
        raise BadBcf(
            f"{path} cannot be read ({error.strerror or error}). Check its permissions and the disk."
        ) from error
    return container(str(path), data)


def container(file: str, data: bytes) -> Container:
    """What the bytes of a BCF file hold; ``file`` names it in messages. Raises `BadBcf`."""
    return Opened(file, data).container()


def check_unchanged(container: Container) -> None:
    """Raises `BadBcf` where somebody has saved or removed the file since it was read."""
    try:
        same = hashlib.sha256(Path(container.file).read_bytes()).hexdigest() == container.sha256
    except OSError:
        same = False
    if not same:
        raise BadBcf(
            f"{container.file} was changed by somebody else meanwhile, so nothing was written. Run the check again."
        )


def moment(date: str) -> datetime | None:
    """The moment that a date in a BCF file means, or None where it cannot be told; without a zone it is UTC.

    >>> moment(" 2026-05-06T07:08:09.1234567+0200 ").isoformat()
    '2026-05-06T05:08:09.123456+00:00'
    >>> moment("2026-05-06").isoformat(), moment("last week")
    ('2026-05-06T00:00:00+00:00', None)
    """
    text = _FRACTION.sub(lambda found: f".{found[1][:6]:0<6}", date.strip().upper())
    try:
        when = datetime.fromisoformat(text)
        return when.replace(tzinfo=when.tzinfo or UTC).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def guid(text: str) -> str:
    """A GUID in the one spelling that is compared here.

    >>> guid("{8D4F2A63-0B57-4C0E-9A17-5E3B6C2D1F00}"), guid(" Nr. 1 ")
    ('8d4f2a63-0b57-4c0e-9a17-5e3b6c2d1f00', 'Nr. 1')
    """
    return _uuid(text) or text.strip()


@dataclass(frozen=True, slots=True)
class Markup:
    """The markup of one topic, as text and as elements."""

    text: Document
    root: Node
    topic: Node

    @property
    def inside(self) -> bool | None:
        """Whether comments and viewpoints stand inside the topic, as in 3.0; None where there are none."""
        if any(self.topic.all("Comments", "Viewpoints")):
            return True
        return False if any(self.root.all("Comment", "Viewpoints")) else None

    def comments(self) -> list[Node]:
        """The comments, wherever they stand."""
        wrapped = (each for part in self.topic.all("Comments") for each in part.all("Comment"))
        return [*self.root.all("Comment"), *wrapped]

    def views(self) -> list[Node]:
        """The entries of viewpoints, wherever they stand."""
        # In 2.1 each "Viewpoints" is one entry; in 3.0 it is the list of all, and an entry is called "ViewPoint".
        entries = list(self.root.all("Viewpoints"))
        for part in (*entries, *self.topic.all("Viewpoints")):
            entries += part.all("ViewPoint")
        return [entry for entry in entries if entry.attributes or entry.first("Viewpoint") or entry.first("Snapshot")]


def markup(text: Document) -> Markup:
    """The markup that a document is. Raises `BrokenPart`."""
    root = parse(text)
    topic = root.first("Topic")
    if topic is None:
        raise BrokenPart(f"{text.where} holds no topic.")
    return Markup(text, root, topic)


@dataclass(frozen=True, slots=True)
class Lists:
    """The lists of allowed words, in ``extensions.xml`` or, ``schema``, in the extension schema of 2.1."""

    root: Node
    schema: bool

    def words(self, name: str) -> tuple[str, ...]:
        """The words of a list, `LISTS` by name, in order."""
        group, restricted = LISTS[name]
        places = list(self.root.all(group))
        if self.schema:
            types = (each for each in _walk(self.root) if each.tag == "simpleType")
            named = (each for each in types if each.attribute("name") == restricted)
            places = [restriction for each in named for restriction in each.all("restriction")]
        items = (item for place in places for item in place.children)
        words = (item.attribute("value") if self.schema else item.text for item in items)
        return tuple(dict.fromkeys(filter(None, words)))


class Opened:
    """A BCF file with its parts at hand. Raises `BadBcf` where it is none."""

    def __init__(self, file: str, data: bytes) -> None:
        self.file, self.data = file, data
        self.archive = Archive(file, data)
        # Of two entries with one name the last counts, as in most programs.
        self.entries = {each.name.lower(): each for each in self.archive.entries}
        self.markups = tuple(
            each
            for name, each in self.entries.items()
            if name.rpartition("/")[2] == "markup.bcf" and not name.startswith("__macosx/")
        )
        self._remarks: list[str] = []
        self._odd: dict[str, list[str]] = {}
        self.base, self.version = self._place_and_version()

    def markup(self, entry: Entry) -> Markup:
        """The markup that lies in an entry. Raises `BrokenPart`."""
        return markup(self.archive.read(entry))

    def lists(self) -> Lists | None:
        """The lists of allowed words, or None."""
        if found := self._part(f"{self.base}extensions.xml"):
            return Lists(found[2], schema=False)
        project = self._part(f"{self.base}project.bcfp")
        named = project[2].text_of("ExtensionSchema") if project else ""
        found = self._part(self.base + _inside(named)) if named else None
        return Lists(found[2], schema=True) if found else None

    def container(self) -> Container:
        """All of it as records."""
        lists = self.lists()
        words = {name: lists.words(name) if lists else () for name in LISTS}
        topics = tuple(map(self._topic, self.markups))
        for shared in _twice(topic.guid for topic in topics if not topic.fault):
            self._note("GUIDs that several topics share", ascii(shared))
        for shared in _twice(each.name.lower() for each in self.archive.entries):
            self._note("names that several files inside share, of which the last was read", ascii(shared))
        for each in self.archive.entries:
            if "\\" in each.info.filename:
                self._note("paths inside written with backslashes", ascii(each.info.filename))
        odd = (f"{self.file}: {what}: {len(where)}, such as {where[0]}." for what, where in self._odd.items())
        return Container(
            file=self.file,
            sha256=hashlib.sha256(self.data).hexdigest(),
            version=self.version,
            topics=topics,
            others=tuple(self._others(topics)),
            notes=(*self._remarks, *odd),
            data=self.data,
            **words,
        )

    def _others(self, topics: Sequence[Topic]) -> Iterator[str]:
        """Names of files that nothing here knows; folders are none."""
        known = {f"{self.base}{name}".lower() for name in ("bcf.version", "project.bcfp", "extensions.xml")}
        for topic, entry in zip(topics, self.markups, strict=True):
            known.add(entry.name.lower())
            known |= {self._place_of(topic.folder, name) for view in topic.views for name in (view.file, view.snapshot)}
        return (each.name for each in self.archive.entries if each.name.lower() not in known and not each.is_folder)

    def _note(self, what: str, where: str) -> None:
        """Keep in mind what is wrong; the same fault of a thousand topics is told once."""
        self._odd.setdefault(what, []).append(where)

    def _said(self, error: BrokenPart) -> str:
        return str(error).removeprefix(f"{self.file}: ").rstrip(".")

    def _part(self, name: str) -> tuple[Entry, Document, Node] | None:
        """An XML part by its path in the zip, or None where there is none that can be read."""
        entry = self.entries.get(name.lower())
        if entry is None:
            return None
        try:
            text = self.archive.read(entry)
            return entry, text, parse(text)
        except BrokenPart as error:
            self._note("parts other than topics that cannot be read", self._said(error))
            return None

    def _place_and_version(self) -> tuple[str, BcfVersion]:
        """The folder in which everything lies (``""``, or with a slash at the end) and the version."""
        versions = [each.name for name, each in self.entries.items() if name.rpartition("/")[2] == "bcf.version"]
        places = versions or [each.folder for each in self.markups]
        if not places:
            raise BadBcf(f"{self.file} is no BCF file: it has neither a version nor topics. Name a .bcf file.")
        place = min(places, key=lambda path: (path.count("/"), path))
        base = place[: place.rfind("/") + 1]
        if base:
            self._remarks.append(f"{self.file}: everything lies one folder too deep, in {base!a}.")
        found = self._part(place) if versions else None
        said = found[2].attribute("VersionId") if found else ""
        number = _NUMBER.fullmatch(said)
        major = int(number[1]) if number else 3 if self._looks_like_3(base) else 2
        if major > 3:
            raise BadBcf(
                f"{self.file} is written in BCF {said}; this tool reads 2.1 and 3.0. Export it in one of them."
            )
        version: BcfVersion = "3.0" if major == 3 else "2.1"
        if said != version:
            says = f"says that it is written in BCF {said[:20]!a}" if said else "does not say its version"
            self._remarks.append(f"{self.file} {says}, and was read as {version}.")
        return base, version

    def _looks_like_3(self, base: str) -> bool:
        if f"{base}extensions.xml".lower() in self.entries:
            return True
        for entry in self.markups:
            try:
                if self.markup(entry).inside:
                    return True
            except BrokenPart:
                continue
        return False

    def _topic(self, entry: Entry) -> Topic:
        folder = entry.folder
        called = _uuid(folder.rpartition("/")[2])
        try:
            markup = self.markup(entry)
        except BrokenPart as error:
            self._note("topics that cannot be read and stay as they are", self._said(error))
            return Topic(called, folder, fault=str(error))
        found = topic_in(markup)
        if found.guid != called:
            self._note("folders that are not called by the GUID of their topic", ascii(folder))
        views = tuple(self._view(each, folder) for each in markup.views())
        return replace(found, guid=found.guid or called, folder=folder, views=views)

    def _view(self, node: Node, folder: str) -> View:
        file, snapshot = node.text_of("Viewpoint"), node.text_of("Snapshot")
        for name in (file, snapshot):
            if name and self._place_of(folder, name) not in self.entries:
                self._note("files of viewpoints that are missing", ascii(f"{folder}/{name}"))
        found = self._part(self._place_of(folder, file)) if file else None
        root = found[2] if found else _NOTHING
        own = guid(node.attribute("Guid")) or guid(root.attribute("Guid"))
        return View(own, file, snapshot, tuple(dict.fromkeys(_selected(root))))

    def _place_of(self, folder: str, name: str) -> str:
        """The path in the zip, in lower case, of a file that a markup names."""
        beside = _inside(f"{folder}/{name}").lower()
        return beside if beside in self.entries else f"{self.base}{_inside(name)}".lower()


def topic_in(markup: Markup) -> Topic:
    """What a markup says of its topic; viewpoints are left out, for half of them is in other files."""
    node = markup.topic
    labels = (label for part in node.all("Labels") for label in (part.children or [part]))
    return Topic(
        guid=guid(node.attribute("Guid")),
        folder="",
        title=node.text_of("Title"),
        type=node.attribute("TopicType"),
        status=node.attribute("TopicStatus"),
        priority=node.text_of("Priority"),
        labels=tuple(label.text for label in labels if label.text),
        created=node.text_of("CreationDate"),
        author=node.text_of("CreationAuthor"),
        modified=node.text_of("ModifiedDate"),
        modified_by=node.text_of("ModifiedAuthor"),
        assigned=node.text_of("AssignedTo"),
        due=node.text_of("DueDate"),
        stage=node.text_of("Stage"),
        description=node.text_of("Description"),
        comments=tuple(map(_comment, markup.comments())),
    )


def _comment(node: Node) -> Comment:
    view = node.first("Viewpoint")
    return Comment(
        guid=guid(node.attribute("Guid")),
        date=node.text_of("Date"),
        author=node.text_of("Author"),
        text=node.text_of("Comment"),
        viewpoint=guid(view.attribute("Guid")) if view else "",
    )


def _selected(root: Node) -> Iterator[str]:
    """GlobalIds that a viewpoint selects; BCF 2.0 has no list of them but a mark on each component."""
    for components in root.all("Components"):
        selection = [each for part in components.all("Selection") for each in part.all("Component")]
        marked = [each for each in components.all("Component") if each.attribute("Selected").lower() in ("true", "1")]
        yield from filter(None, (each.attribute("IfcGuid") for each in (*selection, *marked)))


def _uuid(text: str) -> str:
    try:
        return str(UUID(text.strip()))
    except ValueError:
        return ""


def _twice(names: Iterator[str]) -> Iterator[str]:
    return (name for name, times in Counter(names).items() if times > 1)


def _inside(name: str) -> str:
    """A path with forward slashes and without steps that lead nowhere."""
    return "/".join(part for part in name.replace("\\", "/").split("/") if part not in ("", "."))


def _walk(node: Node) -> Iterator[Node]:
    yield node
    for child in node.children:
        yield from _walk(child)
