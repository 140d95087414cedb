"""Adds to a BCF file and leaves every byte of others as it is.

Entries of the zip that are not touched keep all their bits. In a touched part the new text is put between the bytes
there: at the place that the schema gives it, in the encoding, with the prefixes, line ends and indentation of the part.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.sax.saxutils import escape

from checker.bcf.archive import Entry, Record, joined, new, renewed
from checker.bcf.reading import Markup, Opened, guid, markup
from checker.bcf.records import BcfVersion, Container, Edit, NewTopic, View
from checker.bcf.writing import comment_element, view_element, view_files
from checker.bcf.xml import BrokenPart, Document, Node, document, element, legal, written

_IN_MARKUP: Final = ("Header", "Topic", "Comment", "Viewpoints")
_IN_TOPIC: Final = (
    *("ReferenceLink", "ReferenceLinks", "Title", "Priority", "Index", "Labels", "CreationDate", "CreationAuthor"),
    *("ModifiedDate", "ModifiedAuthor", "DueDate", "AssignedTo", "Stage", "Description", "BimSnippet"),
    *("DocumentReference", "DocumentReferences", "RelatedTopic", "RelatedTopics", "Comments", "Viewpoints"),
)
"""Children in the order of the schemas; 3.0 calls some otherwise, in the same places."""

_TAG: Final = re.compile(rb"<[^\s/>]+(?:\s+[^\s=]+\s*=\s*(?:\"[^\"]*\"|'[^']*'))*\s*/?>")
_ATTRIBUTE: Final = re.compile(rb"\s([^\s=]+)\s*=\s*(\"[^\"]*\"|'[^']*')")


@dataclass(frozen=True, slots=True)
class Updated:
    """The new content of a BCF file, and sentences on what could not be done."""

    data: bytes
    notes: tuple[str, ...] = ()


def update(found: Container, edits: Sequence[Edit], topics: Sequence[NewTopic], saved: str) -> Updated:
    """A BCF file with comments, statuses and viewpoints added to some topics, and with further topics.

    ``saved`` (``YYYY-MM-DDThh:mm:ssZ``) is the time that new and touched entries of the zip get. An edit whose comment
    the topic has, and a topic that the file has, are done already: the same update twice changes nothing, and where
    nothing changes the bytes are the same. A viewpoint that the topic has is pointed at instead of added. Raises
    `ValueError` for an edit of a topic that is not in the file.
    """
    changes = _Changes(found, saved)
    for edit in edits:
        changes.edit(edit)
    for each in topics:
        changes.add(each)
    return changes.updated()


class _Changes:
    """What is to become of a file."""

    def __init__(self, found: Container, saved: str) -> None:
        self._found, self._saved = found, saved
        self._opened = Opened(found.file, found.data)
        pairs = zip(found.topics, self._opened.markups, strict=True)
        # Of topics that share a GUID the first counts, but one that can be read counts before one that cannot, and one
        # at the usual place before a copy in some deeper folder.
        ranked = sorted(pairs, key=lambda pair: (bool(pair[0].fault), pair[0].folder.count("/")))
        self._topics = {topic.guid: (topic, entry) for topic, entry in reversed(ranked)}
        self._edited: dict[Entry, Markup] = {}
        self._renewed: dict[Entry, bytes] = {}
        self._added: dict[str, Record] = {}
        self._notes: list[str] = []

    def edit(self, edit: Edit) -> None:
        if edit.topic not in self._topics:
            raise ValueError(f"no topic {edit.topic}")
        _, entry = self._topics[edit.topic]
        try:
            before = self._edited.get(entry) or self._opened.markup(entry)
        except BrokenPart as error:
            self._notes.append(f"{error} It stays as it is, without the new comment.")
            return
        if any(guid(each.attribute("Guid")) == edit.comment.guid for each in before.comments()):
            return
        # Readers compare GUIDs as they are spelt.
        spelt = {guid(view.attribute("Guid")): view.attribute("Guid") for view in before.views()}
        seen = edit.comment.viewpoint
        edit = replace(edit, comment=replace(edit.comment, viewpoint=spelt.get(seen, seen)))
        names = self._view_names(entry, before, edit)
        data = before.text.encoded(_with_edit(before, edit, names, self._found.version))
        after = markup(document(before.text.where, data))
        if not _adds_only(before, after, edit, names):
            self._notes.append(f"{before.text.where} is built in an unusual way and stays without the new comment.")
            return
        self._edited[entry], self._renewed[entry] = after, data
        for view in edit.views:
            for name, content in zip(names.get(view.guid, ()), (view.xml, view.png), strict=False):
                path = f"{entry.folder}/{name}".lstrip("/").lower()
                if path not in self._opened.entries:
                    self._added[path] = new(name, content, self._saved, beside=entry)

    def _view_names(self, entry: Entry, before: Markup, edit: Edit) -> dict[str, tuple[str, str]]:
        """Names for the files of those viewpoints that the topic does not have."""
        there = [guid(view.attribute("Guid")) for view in before.views()]
        fresh = [view.guid for view in edit.views if view.guid not in there]
        taken = any(
            f"{entry.folder}/{file}".lstrip("/").lower() in self._opened.entries for file in view_files("", True)
        )
        return {view: view_files(view, first=not (there or taken or n)) for n, view in enumerate(fresh)}

    def add(self, added: NewTopic) -> None:
        if added.guid in self._topics:
            topic, _ = self._topics[added.guid]
            if topic.fault:
                self._notes.append(f"{topic.fault} The issue of this topic was left out.")
            return
        base = self._opened.base
        folder = f"{base}{added.guid}/"
        if any(name.startswith(folder.lower()) for name in self._opened.entries):
            self._notes.append(f"{self._found.file}: the folder {added.guid} is taken, so its new topic was left out.")
            return
        version = self._opened.entries.get(f"{base}bcf.version".lower())
        for name, content in (("", b""), *added.entries):
            path = f"{added.guid}/{name}"
            record = (
                new(path, content, self._saved, beside=version) if version else new(base + path, content, self._saved)
            )
            self._added[f"{folder}{name}"] = record

    def updated(self) -> Updated:
        if not self._renewed and not self._added:
            return Updated(self._found.data, tuple(self._notes))
        archive = self._opened.archive
        records = [
            renewed(entry, self._renewed[entry], self._saved) if entry in self._renewed else entry.record
            for entry in archive.entries
        ]
        data = joined([*records, *self._added.values()], archive.comment, archive.stub)
        return Updated(data, tuple(self._notes))


def _with_edit(before: Markup, edit: Edit, names: dict[str, tuple[str, str]], version: BcfVersion) -> bytes:
    """The text of a markup with an edit."""
    root, topic = before.root, before.topic
    splice = _Splice(before.text, root)
    if edit.status and edit.status != topic.attribute("TopicStatus"):
        splice.attribute(topic, "TopicStatus", edit.status)
    for tag, text in (("ModifiedDate", edit.comment.date), ("ModifiedAuthor", edit.comment.author)):
        if there := topic.first(tag):
            splice.instead(topic, there, element(tag, text))
        else:
            splice.into(topic, element(tag, text), _IN_TOPIC)
    # Where a topic is built in the way of the other version, that is how its other comments are found.
    inside = version == "3.0" if before.inside is None else before.inside
    views = [
        view_element("3.0" if inside else "2.1", View(view, *files), number)
        for number, (view, files) in enumerate(names.items(), len(before.views()))
    ]
    if not inside:
        for each in (comment_element(edit.comment), *views):
            splice.into(root, each, _IN_MARKUP)
        return splice.result()
    for tag, items in (("Comments", [comment_element(edit.comment)]), ("Viewpoints", views)):
        if there := topic.first(tag):
            for each in items:
                splice.into(there, each, (each.tag,))
        elif items:
            splice.into(topic, element(tag, "", *items), _IN_TOPIC)
    return splice.result()


def _adds_only(before: Markup, after: Markup, edit: Edit, names: dict[str, tuple[str, str]]) -> bool:
    """Whether a changed markup says all that it said before, and the edit: nothing may rest on one function alone."""
    changed = ("ModifiedDate", "ModifiedAuthor", "Comments", "Viewpoints")

    def rest(of: Markup) -> Node:
        topic = [child for child in of.topic.children if child.tag not in changed]
        others = [child for child in of.root.children if child.tag not in ("Comment", "Viewpoints")]
        kept = [child for child in others if child is not of.topic]
        inside = Node("", "", of.topic.attributes, 0, 0, topic, of.topic.texts)
        return Node("", "", of.root.attributes, 0, 0, [*kept, inside], of.root.texts)

    def same(some: list[Node], others: list[Node]) -> bool:
        return len(some) == len(others) and all(one.says(two) for one, two in zip(some, others, strict=True))

    comments, views = after.comments(), after.views()
    own = [each for each in comments if each.attribute("Guid") == edit.comment.guid]
    new_views = [each for each in views if each.attribute("Guid") in names]
    status = {"TopicStatus": edit.status} if edit.status else {}
    expected = rest(before)
    expected.children[-1].attributes = expected.children[-1].attributes | {k: legal(v) for k, v in status.items()}
    return (
        rest(after).says(expected)
        and same([each for each in comments if each not in own], before.comments())
        and same([each for each in views if each not in new_views], before.views())
        and same(own, [comment_element(edit.comment)])
        and [each.attribute("Guid") for each in new_views] == list(names)
        and after.topic.text_of("ModifiedDate") == edit.comment.date
        and after.topic.text_of("ModifiedAuthor") == legal(edit.comment.author).strip()
    )


class _Splice:
    """Changes to a document at single places; every byte elsewhere stays."""

    def __init__(self, text: Document, root: Node) -> None:
        self._text = text.utf8
        self._changes: list[tuple[int, int, int, str]] = []
        """Each: where; its rank among those at one place; how many bytes go; what comes."""
        self._opened: set[Node] = set()
        indents = [self._lead(node) for node in (root, root.children[0])] if root.children else ["", ""]
        self._unit = indents[1].removeprefix(indents[0] or "\n") or "  "

    def attribute(self, node: Node, name: str, value: str) -> None:
        """Set an attribute, in the quotes that it has."""
        tag = self._text[node.start : self._inner(node)]
        found = list(_ATTRIBUTE.finditer(tag))
        value = escape(legal(value), {'"': "&quot;", "'": "&apos;", "\n": "&#10;"})
        for each in found:
            if each[1].decode() == name:
                self._put(node.start + each.start(2) + 1, value, len(each[2]) - 2)
                return
        at = found[-1].end() if found else len(node.prefix) + 1 + len(node.tag)
        self._put(node.start + at, f' {name}="{value}"')

    def instead(self, parent: Node, old: Node, new: Node) -> None:
        """Put an element in the place of another."""
        text = written(new, self._lead(old), self._unit, parent.prefix)
        self._put(old.start, text, self._end(old) - old.start)

    def into(self, parent: Node, new: Node, order: Sequence[str]) -> None:
        """Put an element into another, behind those that come before it in an order of names."""
        sooner = order[: order.index(new.tag) + 1]
        behind = next((found for tag in reversed(sooner) for found in reversed([*parent.all(tag)])), None)
        if behind is not None:
            lead = self._lead(behind)
            self._put(self._end(behind), lead + written(new, lead, self._unit, parent.prefix), rank=2)
            return
        outer, inner = self._lead(parent), self._inner(parent)
        lead = outer and outer + self._unit
        if parent not in self._opened and parent.close == inner:
            self._opened.add(parent)
            ending = outer
            if self._text[inner - 2 : inner] == b"/>":
                self._put(inner - 2, ">", 2)
                ending += f"</{parent.prefix}{parent.tag}>"
            self._put(inner, ending, rank=1)
        self._put(inner, lead + written(new, lead, self._unit, parent.prefix))

    def result(self) -> bytes:
        """The changed document."""
        line = "\r\n" if b"\r\n" in self._text else "\n"
        pieces, at = [], 0
        for where, _, gone, text in sorted(self._changes, key=lambda change: change[:2]):
            pieces += [self._text[at:where], text.replace("\n", line).encode("utf-8")]
            at = where + gone
        return b"".join((*pieces, self._text[at:]))

    def _put(self, at: int, text: str, gone: int = 0, rank: int = 0) -> None:
        self._changes.append((at, rank, gone, text))

    def _inner(self, node: Node) -> int:
        """The byte behind the start tag."""
        tag = _TAG.match(self._text, node.start)
        assert tag is not None, "the parser has read this tag"
        return tag.end()

    def _end(self, node: Node) -> int:
        """The byte behind the end tag, or behind the tag that is both."""
        inner = self._inner(node)
        return inner if self._text[inner - 2 : inner] == b"/>" else self._text.index(b">", node.close) + 1

    def _lead(self, node: Node) -> str:
        """A new line and the blanks before an element, or ``""`` where it does not begin its line."""
        line = self._text.rfind(b"\n", 0, node.start) + 1
        blanks = self._text[line : node.start]
        return "\n" + blanks.decode("ascii") if line and not blanks.strip(b" \t") else ""
