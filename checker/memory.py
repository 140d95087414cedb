"""What the tool says of an issue in its comments, and what it finds there again at the next release.

Each comment of the tool ends in a line (`Record`) that people can read. It survives viewers that put comments in
another order, date them anew or write GUIDs in capitals; nothing is remembered anywhere else.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Final, Literal
from uuid import UUID, uuid5

from checker.bcf.records import Comment, Container, Topic
from checker.identity import Parts, Point, Trace, base_of, key_of, topic_of
from checker.output.bcf import AUTHOR
from checker.result import Severity
from checker.settings import Statuses

Event = Literal["new", "worse", "better", "changed", "back", "mended", "gone", "accepted"]
_ENDS: Final = frozenset({"mended", "gone"})

# ---- what the tool says of an issue, and reads again ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Record:
    """What was said of an issue at one release.

    ``number`` counts the records of a topic. ``status`` is the word the tool set then, ``""`` where it set none.
    ``parts`` are GlobalIds with the mark and the model of each, ``more`` counts those not named.
    """

    number: int
    event: Event
    accepted: bool
    severity: Severity
    value_mm: float | None
    places: int
    point: Point
    status: str
    release: str
    parts: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    more: int = 0

    @property
    def fails(self) -> bool:
        """Whether the issue was there, accepted or not."""
        return self.event not in _ENDS

    def text(self) -> str:
        """The last line of a comment.

        >>> print(Record(1, "new", False, "error", 42, 2, (1, 2, 3), "Open", "0" * 12, {"0" * 22: ("K1", "a")}).text())
        Record 1: new, error, 42.00 mm, 2 places, x 1.000 y 2.000 z 3.000 m, set Open, release 000000000000, parts in a:
        0000000000000000000000 (K1)
        """
        x, y, z = self.point
        told = [
            self.event,
            *(["accepted"] if self.accepted and self.event != "accepted" else []),
            self.severity,
            "no value" if self.value_mm is None else f"{self.value_mm:z.2f} mm",
            f"{self.places} place{'' if self.places == 1 else 's'}",
            f"x {x:z.3f} y {y:z.3f} z {z:z.3f} m",
            *([f"set {word(self.status)}"] if self.status else []),
            f"release {self.release}",
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
    \ x\ (?P<x>-?\d{1,12}\.\d{3})\ y\ (?P<y>-?\d{1,12}\.\d{3})\ z\ (?P<z>-?\d{1,12}\.\d{3})\ m
    (?:,\ set\ (?P<status>[^,;:()]+))?,\ release\ (?P<release>[0-9a-f]{12}),
    \ parts\ (?P<parts>.*?)(?:;\ and\ (?P<more>\d{1,9})\ more)?\s*\Z""",
    re.VERBOSE,
)
_PART: Final = re.compile(r"([0-9A-Za-z_$]{22})(?: \(([^()]*)\))?")
GLOBAL_ID: Final = re.compile(r"[0-9A-Za-z_$]{22}")


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
        parts |= {guid: (mark, name) for guid, mark in _PART.findall(list_)}
    return Record(
        number=int(found["number"]),
        event=found["event"],  # type: ignore[arg-type]
        accepted=bool(found["accepted"]) or found["event"] == "accepted",
        severity=found["severity"],  # type: ignore[arg-type]
        value_mm=None if found["value"] == "no value" else float(found["value"][:-3]),
        places=int(found["places"]),
        point=(float(found["x"]), float(found["y"]), float(found["z"])),
        status=found["status"] or "",
        release=found["release"],
        parts=parts,
        more=int(found["more"] or 0),
    )


# ---- what the previous release left ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Known:
    """An issue as the previous release left it.

    ``rule`` is named as now. ``standing`` tells whether its topic is open, or who closed it: the tool or a person,
    ``by`` name. ``last`` is the newest record, ``before`` the one before it; None where there is none.
    """

    check_id: str
    rule: str
    topic: str
    title: str
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

    def trace(self) -> Trace:
        """What it is recognised by; without a record only the parts in its name are known."""
        named = (p for p in base_of(self.check_id).split("|")[2:] if GLOBAL_ID.fullmatch(p))
        parts = self.last.parts if self.last else dict.fromkeys(named, ("", ""))
        marks = frozenset(mark for mark, _ in parts.values() if mark)
        return Trace(self.check_id, self.rule, frozenset(parts), marks, self.last.point if self.last else None)


@dataclass(frozen=True)
class Previous:
    """The previous release: its issues, its parts where they are known, and what its BCF file allows.

    ``since`` names it. ``taken`` are the GUIDs of all topics of the file, ours or not; ``statuses`` the words its list
    allows, none for any; ``models`` the names of its models where known.
    """

    since: str
    known: tuple[Known, ...]
    taken: frozenset[str] = frozenset()
    statuses: tuple[str, ...] = ()
    parts: Parts | None = None
    release: str = ""
    notes: tuple[str, ...] = ()


_CHECK_ID: Final = re.compile(r"Check ID:[ \t]*(\S.*?)[ \t]*$", re.MULTILINE)


def previous_of(container: Container, statuses: Statuses, renamed: Mapping[str, str]) -> Previous:
    """Our own topics of a BCF file. ``renamed`` gives the present names of rules by their former ones.

    A topic is ours when its description holds the check id that its own GUID is made of. A viewer may have given a
    topic of ours another GUID: it carries our check id and our records. Of several topics with one check id the one in
    which people wrote most is used; the others are left alone and reported.
    """
    found: dict[str, list[tuple[tuple[int, int, str], Known]]] = {}
    notes = [*container.notes]
    for topic in container.topics:
        if topic.fault:
            notes.append(f"Topic {topic.guid} cannot be read and was left as it is: {topic.fault}")
            continue
        ids = [text.strip() for text in _CHECK_ID.findall(topic.description.replace("\r", "\n"))]
        proven = next((each for each in reversed(ids) if topic_of(each) == topic.guid.lower()), None)
        check_id = proven or (ids[-1] if ids else "")
        records = _records(topic, check_id)
        if not proven and not (records and check_id.count("|")):
            continue
        people = len(topic.comments) - len(records)
        known = _known(topic, check_id, list(records.values()), statuses, renamed)
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
        since=container.file,
        known=tuple(known_issues),
        taken=frozenset(topic.guid.lower() for topic in container.topics),
        statuses=container.statuses,
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
    topic: Topic, check_id: str, records: Sequence[Record], statuses: Statuses, renamed: Mapping[str, str]
) -> Known:
    newest = sorted(records, key=lambda record: record.number)
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
    dated = [(parsed_date(c.date) or _FIRST_DATE, c.author) for c in topic.comments if c.author not in ("", AUTHOR)]
    return max(dated, key=lambda each: each[0], default=(None, "a person"))[1]


# ---- dates ----


def comment_date(saved: str, topic: Topic) -> str:
    """When a comment is dated: at the time of the release, but after all that stands in the topic.

    Clocks go wrong; a list of comments must still read in the order in which they were written.
    """
    newest = parsed_date(saved)
    for text in (topic.created, topic.modified, *(comment.date for comment in topic.comments)):
        date = parsed_date(text)
        if date is not None and newest is not None and date >= newest:
            newest = min(date, _LAST_DATE) + timedelta(seconds=1)
    return (newest or _FIRST_DATE).replace(microsecond=0).strftime("%Y-%m-%dT%H:%M:%SZ")


_FIRST_DATE: Final = datetime(2000, 1, 1, tzinfo=UTC)
_LAST_DATE: Final = datetime(9999, 12, 31, 23, 59, 58, tzinfo=UTC)


def parsed_date(text: str) -> datetime | None:
    """A date as files write it, whatever its zone and precision; without a zone it is UTC. None for anything else.

    >>> parsed_date("2026-03-02T10:00:00.5+02:00") == parsed_date("2026-03-02T08:00:00.500Z")
    True
    """
    try:
        date = datetime.fromisoformat(text.strip())
        return (date if date.tzinfo else date.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
