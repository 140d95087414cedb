"""Issues and topics made by hand, and the life of issues over several releases without a model or a file."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from hashlib import sha256

from checker.bcf.records import Comment, Container, Topic
from checker.identity import Parts, topic_of
from checker.memory import AUTHOR, previous_of
from checker.model import Model
from checker.output.update import comment_date
from checker.releases import Fault, Now, changes_of, named
from checker.result import Change, Changes
from checker.rule import load_rules
from checker.run import check_model
from checker.settings import Settings, Statuses
from checker.sketch import Sketch

PARTS = tuple(f"0Part{k:017d}" for k in range(9))
FACADE = "facade"
WORDS = Statuses()
RULES = ("seam-width", "plinth-level")


def now(release: str = "a", **changed) -> Now:
    """A release in which all parts are there and everything that is not found passes."""
    base = Now(
        release=release * 12,
        models=frozenset({FACADE}),
        asked=frozenset(RULES),
        part={guid: (f"K{k}", FACADE) for k, guid in enumerate(PARTS)},
        silent={},
        seen=lambda rule, parts, place: "passes",
    )
    return replace(base, **changed)


def check_id(*parts: int, rule: str = "seam-width", what: str = "panel", number: int = 1) -> str:
    name = "|".join((rule, what, *(PARTS[k] for k in parts[:1])))
    return name if number == 1 else f"{name}|#{number}"


def fault(value: float | None = 46.0, parts: Sequence[int] = (0, 1), **changed) -> Fault:
    """A seam of 46 mm between two panels where 25 to 35 mm are required."""
    rule, what = changed.pop("rule", "seam-width"), changed.pop("what", "panel")
    base = Fault(
        check_id=check_id(*parts, rule=rule, what=what),
        rule=rule,
        title=f"Seam is {value} mm wide",
        severity="error",
        value_mm=value,
        minimum_mm=25.0,
        maximum_mm=35.0,
        points=((1.0, 2.0, 3.0),),
        parts=tuple(PARTS[k] for k in parts),
    )
    return replace(base, **changed)


def lived(
    faults: Sequence[Fault], file: Container, release: Now, statuses: Statuses = WORDS, lapsed=None, renamed=None
) -> tuple[Changes, Container]:
    """What one release tells of a file, and the file after it: a list of topics instead of a zip."""
    previous = previous_of(file, statuses, renamed or {})
    names = named(faults, previous, release)
    judged = [
        f if f.accepted else replace(f, accepted=name.closed_by) for f, name in zip(faults, names.names, strict=True)
    ]
    changes = changes_of(judged, names, previous, release, statuses, lapsed or {})
    titles = {name.topic: (f.title, name.check_id) for f, name in zip(faults, names.names, strict=True)}
    return changes, filed(changes, titles, file)


def filed(changes: Changes, titles: Mapping[str, tuple[str, str]], file: Container) -> Container:
    """The file after all that is to be said has been said: topics instead of a zip."""
    topics = {topic.guid: topic for topic in file.topics}
    for change in changes.issues:
        if change.remark is None:
            continue
        old = topics.get(change.topic)
        if old is None:
            title, name = titles[change.topic]
            said = f"What is wrong.\nCheck ID: {name}"
            old = Topic(change.topic, change.topic, title=title, created=SAVED, author=AUTHOR, description=said)
        else:
            old = replace(old, modified_by=AUTHOR)
        comment = Comment(change.remark.guid, comment_date(SAVED, old), AUTHOR, change.remark.text)
        topics[old.guid] = replace(
            old, status=change.remark.status or old.status, comments=(*old.comments, comment), modified=comment.date
        )
    return replace(file, topics=tuple(topics.values()))


def engine(what: Sketch | Model, file: Container | None = None, parts: Parts | None = None, **settings):
    """A run of the whole engine that goes on with a file; its result and the file after it."""
    model = what.model() if isinstance(what, Sketch) else what
    content = sha256(repr(model.elements).encode() + (model.meshes.points + model.origin).round(6).tobytes())
    model = replace(model, sources=tuple(replace(s, sha256=content.hexdigest()) for s in model.sources))
    previous = replace(previous_of(file, WORDS, {}), parts=parts) if file else None
    result = check_model(model, Settings(**settings), load_rules(), lambda *_: None, previous)
    titles = {issue.topic: (issue.title, issue.check_id) for issue in result.issues}
    return result, filed(result.changes, titles, file or EMPTY)


SAVED = "2026-03-02T08:00:00Z"
EMPTY = Container("issues.bcf", "", "2.1", ())


def first(*faults: Fault, release: Now | None = None, **more) -> Container:
    """The file after a first release."""
    return lived(faults or [fault()], EMPTY, release or now("a"), **more)[1]


def only(changes: Changes) -> Change:
    (change,) = changes.issues
    return change


def lives(changes: Changes) -> list[str]:
    return sorted(change.life for change in changes.issues)


def touched(file: Container, **changed) -> Container:
    """The file after a person has changed its only topic."""
    (topic,) = file.topics
    return replace(file, topics=(replace(topic, modified_by="anna@example.org", **changed),))


def said(file: Container, text: str, author: str = "anna@example.org") -> Container:
    """The file after a person has written a comment in its only topic."""
    (topic,) = file.topics
    comment = Comment(topic_of(text), SAVED, author, text)
    return touched(file, comments=(*topic.comments, comment))
