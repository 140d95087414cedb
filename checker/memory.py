"""What the tool says of an issue in its comments, and what it finds there again at the next release.

Each comment of the tool ends in a line (`Record`) that people can read. It survives viewers that put comments in
another order, date them anew or write GUIDs in capitals; nothing is remembered anywhere else.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePath
from typing import Final, Literal
from uuid import UUID, uuid5

from checker.bcf.reading import moment, read_bcf
from checker.bcf.records import Comment, Container, Topic
from checker.identity import Parts, Point, Trace, base_of, key_of, topic_of
from checker.output.bcf import AUTHOR
from checker.result import SEVERITIES, Life, PartChange, Severity
from checker.settings import Statuses

Event = Literal["new", "worse", "better", "changed", "back", "mended", "gone", "accepted"]
_ENDS: Final = frozenset({"mended", "gone"})

# ---- what the tool says of an issue, and reads again ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Record:
    """What was said of an issue at one release.

    ``number`` counts the records of a topic. ``status`` is the word the tool set then, or left as it had set it, ``""``
    where the word was a person's. ``parts`` are GlobalIds with the mark and the model of each, ``more`` counts those
    not named. ``rung`` tells by what it was recognised then, where that was not by its parts. ``check_id`` names the
    issue: descriptions get rewritten.
    """

    number: int
    event: Event
    accepted: bool
    severity: Severity
    value_mm: float | None
    places: int
    point: Point | None
    status: str
    release: str
    parts: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    more: int = 0
    rung: str = ""
    check_id: str = ""

    @property
    def fails(self) -> bool:
        """Whether the issue was there, accepted or not."""
        return self.event not in _ENDS

    def text(self) -> str:
        """The last line of a comment.

        >>> parts = {"0" * 22: ("K1", "a")}
        >>> told = Record(1, "new", False, "error", 42, 2, (1, 2, 3), "Open", "0" * 12, parts, check_id="r|panel")
        >>> print(told.text())  # doctest: +NORMALIZE_WHITESPACE
        Record 1: new, error, 42.00 mm, 2 places, x 1.000 y 2.000 z 3.000 m, set Open, release 000000000000,
        issue r|panel, parts in a: 0000000000000000000000 (K1)
        """
        told = [
            self.event,
            *(["accepted"] if self.accepted and self.event != "accepted" else []),
            self.severity,
            "no value" if self.value_mm is None else f"{self.value_mm:z.2f} mm",
            f"{self.places} place{'' if self.places == 1 else 's'}",
            "no place" if self.point is None else "x {:z.3f} y {:z.3f} z {:z.3f} m".format(*self.point),
            *([f"recognised by {self.rung}"] if self.rung else []),
            *([f"set {word(self.status)}"] if self.status else []),
            f"release {self.release}",
            *([f"issue {self.check_id}"] if self.check_id else []),
        ]
        models: dict[str, list[str]] = {}
        for guid, (mark, model) in self.parts.items():
            models.setdefault(word(model), []).append(f"{guid} ({word(mark)})" if word(mark) else guid)
        lists = "; ".join(f"in {model}: {', '.join(parts)}" for model, parts in models.items())
        more = f"; and {self.more} more" if self.more else ""
        return f"Record {self.number}: {', '.join(told)}, parts {lists or 'none'}{more}"


_RECORD: Final = re.compile(
    r"""Record\ (?P<number>\d{1,9}):\ (?P<event>new|worse|better|changed|back|mended|gone|accepted)
    (?P<accepted>,\ accepted)?,\ (?P<severity>error|warning|note),\ (?P<value>no\ value|-?\d{1,12}\.\d\d\ mm),
    \ (?P<places>\d{1,9})\ places?,
    \ (?:no\ place|x\ (?P<x>-?\d{1,12}\.\d{3})\ y\ (?P<y>-?\d{1,12}\.\d{3})\ z\ (?P<z>-?\d{1,12}\.\d{3})\ m)
    (?:,\ recognised\ by\ (?P<rung>parts\ with\ new\ GlobalIds|rule\ and\ place))?
    (?:,\ set\ (?P<status>[^,;:()]+))?,\ release\ (?P<release>[0-9a-f]{12})(?:,\ issue\ (?P<check_id>.+?))?,
    \ parts\ (?P<parts>.*?)(?:;\ and\ (?P<more>\d{1,9})\ more)?\s*\Z""",
    re.VERBOSE,
)
_PART: Final = re.compile(r"([^\s,;:()]+)(?: \(([^()]*)\))?")


def nameable(guid: str) -> bool:
    """Whether a record can name a part by this GlobalId: a file may hold anything there.

    >>> nameable("2O2Fr$t4X7Zf8NOew3FNr2"), nameable("K-17"), nameable("")
    (True, True, False)
    """
    return _PART.fullmatch(guid) is not None and guid.isascii() and guid.isprintable()


def word(text: str) -> str:
    """A name without the signs that a record uses itself, on one line."""
    return " ".join(re.sub(r"[,;:()\x00-\x1f]", " ", text).split())[:40].strip()


def read_record(text: str) -> Record | None:
    """The record at the end of a comment, however a viewer has broken its lines; None where there is none."""
    *_, start = [None, *re.finditer(r"Record \d{1,9}:", text)]
    found = _RECORD.match(" ".join(text[start.start() :].split())) if start else None
    if found is None:
        return None
    parts: dict[str, tuple[str, str]] = {}
    for model in found["parts"].split("; "):
        name, _, list_ = model.removeprefix("in ").partition(": ")
        told = (_PART.fullmatch(each) for each in list_.split(", "))
        parts |= {each[1]: (each[2] or "", name) for each in told if each}
    return Record(
        number=int(found["number"]),
        event=found["event"],  # type: ignore[arg-type]
        accepted=bool(found["accepted"]) or found["event"] == "accepted",
        severity=found["severity"],  # type: ignore[arg-type]
        value_mm=None if found["value"] == "no value" else float(found["value"][:-3]),
        places=int(found["places"]),
        point=(float(found["x"]), float(found["y"]), float(found["z"])) if found["x"] else None,
        status=found["status"] or "",
        release=found["release"],
        parts=parts,
        more=int(found["more"] or 0),
        rung=found["rung"] or "",
        check_id=found["check_id"] or "",
    )


# ---- what the previous release left ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Known:
    """An issue as the previous release left it.

    ``rule`` is named as now. ``standing`` tells whether its topic is open, or who closed it: the tool or a person,
    ``by`` name. ``last`` is the newest record, ``before`` the one before it; None where there is none. ``said`` are the
    GUIDs of the topic's comments.
    """

    check_id: str
    rule: str
    topic: str
    title: str
    severity: Severity = "error"
    status: str = ""
    standing: Literal["open", "tool", "person"] = "open"
    by: str = ""
    last: Record | None = None
    before: Record | None = None
    said: frozenset[str] = frozenset()

    @property
    def key(self) -> str:
        """The eight digits reports show."""
        return key_of(self.check_id)

    @property
    def told(self) -> Record:
        """The newest record, or what its name alone tells of it: parts in models nobody knows."""
        if self.last is not None:
            return self.last
        parts = {part: ("", "") for part in base_of(self.check_id).split("|")[2:] if nameable(part)}
        return Record(0, "new", False, self.severity, None, 1, None, "", "0" * 12, parts)

    def trace(self) -> Trace:
        """What it is recognised by."""
        told = self.told
        marks = frozenset(mark for mark, _ in told.parts.values() if mark)
        points = () if told.point is None else (told.point,)
        return Trace(self.check_id, self.rule, frozenset(told.parts), marks, points, over=not told.fails)


@dataclass(frozen=True, slots=True)
class Told:
    """What became of an issue at a release: its value before, and by what it was recognised."""

    life: Life
    was_mm: float | None
    rung: str


@dataclass(frozen=True)
class Previous:
    """The previous release: its issues, its parts where they are known, and what its BCF file allows.

    ``since`` names it. ``taken`` are the GUIDs of the topics of its BCF ``file`` that can be read, ours or not; one
    that cannot keeps its issue. ``statuses`` are the words that its list allows, none for any. ``parts`` are those of
    ``release``; ``changed``, ``renamed`` and, of issues, ``told`` by their topics are what was told then.
    """

    since: str
    known: tuple[Known, ...]
    taken: frozenset[str] = frozenset()
    statuses: tuple[str, ...] = ()
    file: Container | None = None
    parts: Parts | None = None
    release: str = ""
    changed: tuple[PartChange, ...] | None = None
    renamed: Mapping[str, int] = field(default_factory=dict)
    told: Mapping[str, Told] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


_CHECK_ID: Final = re.compile(r"Check ID:[ \t]*(\S.*?)[ \t]*$", re.MULTILINE)


def previous_of(container: Container, statuses: Statuses, renamed: Mapping[str, str]) -> Previous:
    """Our own topics of a BCF file. ``renamed`` gives the present names of rules by their former ones.

    A topic is ours when its description, or a record in it, holds the check id that its own GUID is made of. A viewer
    may have given a topic of ours another GUID: it carries our check id and our records. Of several topics with one
    check id the one in which people wrote most is used; the others are left alone and reported.
    """
    found: dict[str, list[tuple[tuple[int, int, str], Known]]] = {}
    notes = [*container.notes]
    readable = (topic for topic in reversed(container.topics) if not topic.fault)
    for topic in {topic.guid: topic for topic in readable}.values():  # of several with one GUID the first
        recorded = (read_record(comment.text) for comment in topic.comments)
        ids = [record.check_id for record in recorded if record and record.check_id]
        ids += [text.strip() for text in _CHECK_ID.findall(topic.description.replace("\r", "\n"))]
        proven = next((each for each in reversed(ids) if topic_of(each) == topic.guid.lower()), None)
        check_id = proven or (ids[-1] if ids else "")
        records = _records(topic, check_id)
        if not proven and not (records and check_id.count("|")):
            continue
        people = sum(1 for comment in topic.comments if comment not in records and comment.author != AUTHOR)
        known = _known(topic, check_id, records.values(), statuses, renamed)
        found.setdefault(check_id, []).append(((-people, int(not proven), topic.guid.lower()), known))
    known_issues = []
    for check_id, topics in sorted(found.items()):
        (_, best), *others = sorted(topics, key=lambda each: each[0])
        known_issues.append(best)
        if others:
            left = ", ".join(known.topic for _, known in others)
            notes.append(
                f"Issue {key_of(check_id)} has more than one topic: {best.topic} was used, in which people wrote most; "
                f"left alone: {left}. Close what is not needed."
            )
    return Previous(
        since=PurePath(container.file).name,
        known=tuple(known_issues),
        taken=frozenset(topic.guid.lower() for topic in container.topics if not topic.fault),
        statuses=container.statuses,
        file=container,
        notes=tuple(notes),
    )


def _records(topic: Topic, check_id: str) -> dict[Comment, Record]:
    """The tool's own comments of a topic with their records: proven by their GUID, else by their author."""
    homes = {topic.guid.lower(), topic_of(check_id)}
    found = {}
    for comment in topic.comments:
        record = read_record(comment.text)
        if record is None:
            continue
        proven = any(comment.guid.lower() == comment_guid(home, record) for home in homes)
        if proven or comment.author == AUTHOR:
            found[comment] = record
    return found


def comment_guid(topic: str, record: Record) -> str:
    """The GUID of the comment that ends in a record: it proves that the comment is ours; ``""`` for no topic's GUID."""
    try:
        space = UUID(topic)
    except ValueError:
        return ""
    return str(uuid5(space, f"comment {record.release} {record.event} {record.number}"))


def _known(
    topic: Topic, check_id: str, records: Iterable[Record], statuses: Statuses, renamed: Mapping[str, str]
) -> Known:
    numbered = {record.number: record for record in records}
    newest = [numbered[number] for number in sorted(numbered)]
    last = newest[-1] if newest else None
    rule = check_id.split("|")[0]
    standing: Literal["open", "tool", "person"] = "open"
    if topic.status.casefold() in {word.casefold() for word in statuses.closed}:
        ours = last is not None and last.status != "" and last.status.casefold() == word(topic.status).casefold()
        standing = "tool" if ours and (topic.modified_by or topic.author) == AUTHOR else "person"
    return Known(
        check_id=check_id,
        rule=renamed.get(rule, rule),
        topic=topic.guid,
        title=topic.title,
        severity=next((each for each in SEVERITIES if each == topic.type.casefold()), "error"),
        status=topic.status,
        standing=standing,
        by=_person(topic),
        last=last,
        before=newest[-2] if len(newest) > 1 else None,
        said=frozenset(comment.guid.lower() for comment in topic.comments),
    )


def _person(topic: Topic) -> str:
    """Who touched a topic last, the tool aside."""
    if topic.modified_by not in ("", AUTHOR):
        return topic.modified_by
    dated = [(moment(c.date) or _FIRST_DATE, c.author) for c in topic.comments if c.author not in ("", AUTHOR)]
    return max(dated, key=lambda each: each[0], default=(None, _NOBODY))[1]


def touched_by_people(path: Path) -> str:
    """What of a BCF file the tool has not left so, in a few words; nothing where there is no file or all of it is ours.

    Raises `BadBcf` where it cannot be read: nobody knows what is in it.
    """
    if not path.is_file() or not path.stat().st_size:
        return ""
    container = read_bcf(path)
    own = {known.topic: known.check_id for known in previous_of(container, Statuses(), {}).known}
    foreign = sum(1 for topic in container.topics if topic.fault or topic.guid not in own)
    if foreign:
        return f"holds {foreign} topic{'' if foreign == 1 else 's'} that seamtrace did not write"
    changed = sum(1 for topic in container.topics if not _as_left(topic, own[topic.guid]))
    if changed:
        return f"holds {changed} topic{'' if changed == 1 else 's'} that people have changed"
    others = len(container.others)
    return f"holds {others} file{'' if others == 1 else 's'} that seamtrace did not write" if others else ""


def _as_left(topic: Topic, check_id: str) -> bool:
    """Whether nobody has changed a topic of ours since, as far as that can be told."""
    records = sorted(_records(topic, check_id).values(), key=lambda record: record.number)
    *_, status = ["", *(record.status for record in records if record.status)]
    return status.casefold() == word(topic.status).casefold() and _person(topic) == _NOBODY


_NOBODY: Final = "a person"
_FIRST_DATE: Final = datetime(2000, 1, 1, tzinfo=UTC)
