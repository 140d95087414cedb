"""The life of issues from release to release: what has become of each, and what is to be said of it.

People win. What a person closed stays closed, what a person wrote stays written. Nothing is closed on silence: where a
rule was not asked, a model is missing or something could not be measured, nothing is said. The tool speaks once a
release at most, and only when something changed.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from itertools import count
from math import dist
from typing import Any, Final, Literal

import numpy as np

from checker.identity import (
    PARTS_AGAIN,
    SAME_PLACE,
    SAME_PLACE_M,
    PartChanges,
    Parts,
    Point,
    Trace,
    base_of,
    key_of,
    numbered,
    part_changes,
    parts_of,
    release_id,
    same_issues,
    topic_of,
)
from checker.issues import Answer, Draft, Findings
from checker.memory import Event, Known, Previous, Record, Told, comment_guid, nameable, word
from checker.model import Ints, Model
from checker.result import LIVES, SEVERITIES, Change, Changes, Issue, Life, PartChange, Remark, Severity, Verdict
from checker.rule import MM, NOT_MODELLED, PASS, UNDECIDED, Rule
from checker.settings import Settings, Statuses

CHANGED_MM: Final = 0.1
"""Values that differ by no more than this are the same: it is what values are exact to."""
MOST_PARTS: Final = 30
"""Parts that a record names; of more it tells the number. Readers show comments in small boxes."""

_LIFE: Final[Mapping[str, Life]] = {
    "new": "new",
    "worse": "worse",
    "better": "better",
    "changed": "unchanged",
    "back": "back",
    "mended": "mended",
    "gone": "mended",
    "accepted": "accepted",
}


# ---- this release ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fault:
    """An issue of this release, as far as its life depends on it.

    ``points`` are its places, the worst first; ``parts`` are GlobalIds, the most important first.
    """

    check_id: str
    rule: str
    title: str
    severity: Severity
    value_mm: float | None
    minimum_mm: float | None
    maximum_mm: float | None
    points: tuple[Point, ...]
    parts: tuple[str, ...]
    accepted: str = ""


Seen = Literal["passes", "undecided", "nothing"]


@dataclass(frozen=True)
class Now:
    """What this release says of issues that are no longer found.

    ``models`` are the names of its models. ``asked`` are the rules there are, ``silent`` says why one of them tells
    nothing. ``part`` gives the mark and the model of every element by its GlobalId. ``seen`` is what a rule said of
    some parts, and of a place where some have gone. ``again`` gives new GlobalIds by former ones.
    """

    release: str
    models: frozenset[str]
    asked: frozenset[str]
    part: Mapping[str, tuple[str, str]]
    silent: Mapping[str, str]
    seen: Callable[[str, Set[str], Point | None], Seen]
    again: Mapping[str, str] = field(default_factory=dict)


def now_of(
    model: Model,
    rules: Sequence[Rule[Any, Any]],
    settings: Settings,
    answers: Sequence[Answer],
    verdicts: Sequence[Verdict],
    again: Mapping[str, str],
) -> Now:
    """This release, as a run has seen it; ``verdicts`` are those that fail or are undecided."""
    by_rule = {answer.rule.name: answer for answer in answers}
    silent = {}
    for rule in rules:
        answer = by_rule.get(rule.name)
        if not settings.enabled(rule):
            silent[rule.name] = f"the rule {rule.name} is switched off"
        elif rule.layer is not None and settings.layer(rule.layer.name) == "off":
            silent[rule.name] = f"the layer {rule.layer.name} is switched off"
        elif answer is None:
            silent[rule.name] = "nothing could be checked"
        elif len(answer.subjects) and (answer.verdicts.state == NOT_MODELLED).all():
            silent[rule.name] = f"no {rule.layer.means if rule.layer else 'part of it'} in any model of this release"
    numbers: dict[str, list[int]] = {}
    for i, element in enumerate(model.elements):
        numbers.setdefault(element.guid, []).append(i)
    bodiless = [(v.rule, set(v.elements)) for v in verdicts if v.state == "undecided" and not v.kind]

    def seen(rule: str, parts: Set[str], place: Point | None) -> Seen:
        answer = by_rule[rule]
        state, subjects = answer.verdicts.state, answer.subjects
        mine = np.array([i for part in parts for i in numbers.get(part, ())], np.int64)
        there = subjects.parts >= 0
        shared = np.isin(subjects.parts, mine) & there
        about = (shared.sum(axis=1) >= 2) | (shared.any(axis=1) & (shared == there).all(axis=1))
        near = about
        if place is not None:
            away = np.linalg.norm(subjects.point + model.origin - np.array(place), axis=1)
            near = about | (away <= 0.5 * subjects.length + SAME_PLACE_M)
        if (near & (state == UNDECIDED)).any() or any(of == rule and elements & parts for of, elements in bodiless):
            return "undecided"
        return "passes" if (about & (state == PASS)).any() else "nothing"

    return Now(
        release=release_id(model.sources),
        models=frozenset(source.name for source in model.sources),
        asked=frozenset(rule.name for rule in rules),
        part={e.guid: (e.tag or e.name, model.sources[e.source].name) for e in model.elements},
        silent=silent,
        seen=seen,
        again=again,
    )


def fault_of(issue: Issue, verdicts: Sequence[Verdict], guids: Sequence[str]) -> Fault:
    """An issue of a run, with the limits at its worst place; ``guids`` are those of the model's elements."""
    members = [verdicts[m] for m in issue.members]
    worst = next((v for v in members if v.value_mm == issue.worst_mm), members[0] if members else None)
    others = [verdict.point_m for verdict in members]
    if issue.point_m in others:
        others.remove(issue.point_m)
    return Fault(
        check_id=issue.check_id,
        rule=issue.rule,
        title=issue.title,
        severity=issue.severity,
        value_mm=issue.worst_mm,
        minimum_mm=worst.minimum_mm if worst else None,
        maximum_mm=worst.maximum_mm if worst else None,
        points=(issue.point_m, *others),
        parts=tuple(guids[i] for i in issue.elements),
        accepted=issue.accepted,
    )


@dataclass(frozen=True, slots=True)
class Name:
    """What an issue is called from now on, the former issue it continues, and by what it was recognised."""

    check_id: str
    topic: str
    known: Known | None = None
    rung: str = ""

    @property
    def closed_by(self) -> str:
        """Why a person's word counts as acceptance, or nothing."""
        closed = self.known is not None and self.known.standing == "person"
        return f"Closed in the BCF file by {_line(self.known.by)}" if closed and self.known else ""


@dataclass(frozen=True)
class Names:
    """The names of this release's issues, and former issues that several of them may be (by their check ids)."""

    names: tuple[Name, ...]
    unclear: Mapping[str, tuple[str, ...]]


def named(faults: Sequence[Fault], previous: Previous, now: Now) -> Names:
    """First recognise what is known, only then give new names.

    A new name is one that no topic of the file has, so that no number moves from one issue to another.
    """
    traces = [
        Trace(
            f.check_id,
            f.rule,
            frozenset(p for p in f.parts if nameable(p)),
            frozenset(filter(None, (word(now.part[p][0]) for p in f.parts if p in now.part))),
            f.points,
        )
        for f in faults
    ]
    matches = same_issues([known.trace() for known in previous.known], traces, now.again, now.part.keys())
    used = {known.check_id for known in previous.known}
    names = []
    for i, fault in enumerate(faults):
        if i in matches.continued:
            which, rung = matches.continued[i]
            known = previous.known[which]
            names.append(Name(known.check_id, known.topic, known, rung))
            continue
        base = base_of(fault.check_id)
        check_id = next(
            candidate
            for candidate in (numbered(base, number) for number in count(1))
            if candidate not in used and topic_of(candidate) not in previous.taken
        )
        used.add(check_id)
        names.append(Name(check_id, topic_of(check_id)))
    unclear = {
        previous.known[o].check_id: tuple(names[n].check_id for n in news) for o, news in matches.unclear.items()
    }
    return Names(tuple(names), unclear)


def recorded(fault: Fault, part: Mapping[str, tuple[str, str]], release: str) -> Record:
    """What is to be remembered of an issue; ``part`` gives the mark and the model of each part by its GlobalId.

    Of many parts those that name the issue are named first, then the others by GlobalId.
    """
    own = set(base_of(fault.check_id).split("|")[2:])
    every = {p for p in fault.parts if nameable(p) and p in part}
    chosen = sorted(every, key=lambda p: (p not in own, p))[:MOST_PARTS]
    # In the order in which they are written, model by model, so that what is read again is the same.
    named = sorted(((p, (word(part[p][0]), word(part[p][1]))) for p in chosen), key=lambda each: each[1][1])
    return Record(
        number=1,
        event="new",
        accepted=bool(fault.accepted),
        severity=fault.severity,
        value_mm=fault.value_mm,
        places=len(fault.points),
        point=fault.points[0],
        status="",
        release=release,
        parts=dict(named),
        more=len(every) - len(chosen),
    )


# ---- what has become of each ----------------------------------------------------------------------------------------


def changes_of(
    faults: Sequence[Fault],
    names: Names,
    previous: Previous,
    now: Now,
    statuses: Statuses,
    lapsed: Mapping[str, str],
) -> Changes:
    """What has become of every issue, and what is to be said of it.

    ``faults`` stand as they are judged now, in the order of ``names``; ``lapsed`` says by key why an acceptance does
    not hold.
    """
    pairs = zip(faults, names.names, strict=True)
    by_place = [(name.known, fault) for fault, name in pairs if name.known and name.rung == SAME_PLACE]
    teller = _Teller(previous, now, statuses, missing_models(previous, now, by_place))
    found = [
        teller.fails(i, fault, name, lapsed.get(key_of(name.check_id), ""))
        for i, (fault, name) in enumerate(zip(faults, names.names, strict=True))
    ]
    continued = {name.known.check_id for name in names.names if name.known}
    for known in previous.known:
        if known.check_id not in continued:
            found.extend(teller.not_found(known, names.unclear.get(known.check_id, ())))
    found.sort(key=lambda change: LIVES.index(change.life))
    return Changes(since=previous.since, issues=tuple(found), notes=(*previous.notes, *teller.notes()))


def missing_models(previous: Previous, now: Now, by_place: Iterable[tuple[Known, Fault]] = ()) -> list[str]:
    """Models of which this release has neither the name nor any part: nothing can be told of what was in them.

    One that has another name and other GlobalIds now shows by the issues recognised by their place: those that were in
    it are in a model that was not there before.
    """
    known: dict[str, set[str]] = {}
    for each in previous.known:
        for guid, (_, model) in (each.last.parts if each.last else {}).items():
            known.setdefault(model, set()).add(guid)
    if previous.parts is not None:
        for guid, model in zip(previous.parts.guid, previous.parts.model, strict=True):
            known.setdefault(word(model), set()).add(guid)
    here = {word(name) for name in now.models}
    missing = {
        model
        for model, guids in known.items()
        if model not in here and not any(now.again.get(guid, guid) in now.part for guid in guids)
    }
    for old, fault in by_place:
        if {word(now.part[part][1]) for part in fault.parts if part in now.part} & (here - known.keys()):
            missing -= {model for _, model in old.told.parts.values()}
    return sorted(missing)


class _Teller:
    """Decides by the table of states and finds the words."""

    def __init__(self, previous: Previous, now: Now, statuses: Statuses, missing: Sequence[str]) -> None:
        self.previous, self.now, self.statuses, self.missing = previous, now, statuses, missing
        self.lacking: Counter[str] = Counter()

    def notes(self) -> Iterable[str]:
        """What a person must know besides."""
        if self.missing:
            yield f"Models of the previous release that are not in this one: {', '.join(self.missing)}."
        for kind, times in sorted(self.lacking.items()):
            words = ", ".join(self._wanted(kind))
            yield (
                f"{self.previous.since} allows no status such as {words}, so {times} topic{'' if times == 1 else 's'} "
                f"could not be marked '{kind}'. Allowed are: {', '.join(self.previous.statuses)}. Name the right one "
                "under [bcf.statuses] in seamtrace.toml."
            )

    def _wanted(self, kind: str) -> tuple[str, ...]:
        words = self.statuses
        return {"open": words.open, "closed": words.closed, "reopened": (*words.reopened, *words.open)}[kind]

    def _status(self, kind: str) -> str:
        """The file's own word, or nothing where its list has none that fits."""
        allowed = {word.casefold(): word for word in self.previous.statuses}
        if not allowed:
            return self._wanted(kind)[0]
        found = next((allowed[w.casefold()] for w in self._wanted(kind) if w.casefold() in allowed), "")
        if not found:
            self.lacking[kind] += 1
        return found

    def _told(self, known: Known, rung: str = "") -> Told | None:
        """What this very release was told already: it is told again, and not that nothing has changed since.

        Without the findings of the earlier run the record tells it. It cannot tell of a release that came back whether
        another was in between.
        """
        if self.previous.release:
            return self.previous.told.get(known.topic) if self.previous.release == self.now.release else None
        last = known.last
        if last is None or last.release != self.now.release:
            return None
        if last.event == "new":
            return Told("new", None, "")
        return Told(_LIFE[last.event], known.before.value_mm if known.before else None, last.rung or rung)

    # ---- what fails ----

    def fails(self, i: int, fault: Fault, name: Name, lapsed: str) -> Change:
        """What has become of an issue that is found in this release."""
        known, key = name.known, key_of(name.check_id)
        says = f"{fault.title}; {fault.accepted[0].lower()}{fault.accepted[1:]}" if fault.accepted else fault.title
        if known is None:
            life: Life = "accepted" if fault.accepted else "new"
            remark = self._fault_said(fault, name, "new", "", "closed" if fault.accepted else "open", view=True)
            return Change(key, name.topic, fault.rule, life, says, "", None, fault.value_mm, i, remark)
        last = known.last
        event, begin, view = self._trend(last, fault, name)
        comment, kind = self._answer(known, fault, event)
        remark = None
        if comment:
            more = [lapsed or "It is no longer accepted."] if last and last.accepted and not fault.accepted else []
            begin = "" if last and not last.fails else begin
            remark = self._fault_said(fault, name, comment, begin, kind, view, more)
        told = Told(_LIFE[comment or "changed"], last.value_mm if last else None, name.rung)
        if remark is None and (again := self._told(known, name.rung)) and again.life in _FAILS:
            told = again
        life = "accepted" if fault.accepted else told.life
        return Change(key, known.topic, fault.rule, life, says, told.rung, told.was_mm, fault.value_mm, i, remark)

    def _answer(self, known: Known, fault: Fault, event: Event | Literal[""]) -> tuple[Event | Literal[""], str]:
        """Which comment is due, if any, and which status: the rows of the table of states for what fails."""
        last = known.last
        if known.standing == "person":
            return (event if event in ("worse", "back") else ""), ""
        if fault.accepted:
            if known.standing == "tool":
                return ("accepted" if event in ("worse", "back") or not (last and last.accepted) else ""), "closed"
            # A person has opened it again, or the file has no word for it.
            if last and last.accepted and (last.status or not self._status("closed")):
                return event, ""
            return "accepted", "closed"
        if known.standing == "tool":
            if last and last.fails and not last.accepted and not self._status("reopened"):
                return event, ""  # said already, and the file has still no word for it
            return ("worse" if event == "worse" else "back"), "reopened"
        return event, ""

    def _trend(self, last: Record | None, fault: Fault, name: Name) -> tuple[Event | Literal[""], str, bool]:
        """How an issue compares with what was last said of it: the event, the words to begin with, whether it moved.

        What is outside its limits by more is worse; else what is graver; else what fails at more places.
        """
        if last is None:
            return "", "", False
        present = recorded(fault, self.now.part, self.now.release)
        other_parts = set(present.parts) != set(last.parts) or present.more != last.more
        moved_m = dist(last.point, fault.points[0]) if last.point else 0.0
        moved = moved_m > SAME_PLACE_M
        view = other_parts or moved
        if not last.fails:
            return "back", "", view
        if fault.value_mm is not None and last.value_mm is not None:
            more_mm = _excess(fault, fault.value_mm) - _excess(fault, last.value_mm)
            begin = f"Now {fault.value_mm:z.1f} mm, was {last.value_mm:z.1f} mm: "
            if abs(more_mm) > CHANGED_MM + _ROUNDED:
                return ("worse" if more_mm > 0 else "better"), begin, view
            if abs(fault.value_mm - last.value_mm) > CHANGED_MM + _ROUNDED:
                return "changed", begin, view
        elif (fault.value_mm is None) != (last.value_mm is None):
            return "changed", "Another kind of fault now: ", view
        graver = SEVERITIES.index(last.severity) - SEVERITIES.index(fault.severity)
        if graver:
            begin = f"Now {_A[fault.severity]}, was {_A[last.severity]}: "
            return ("worse" if graver > 0 else "better"), begin, view
        if len(fault.points) != last.places:
            begin = f"Now at {len(fault.points)} place{'' if len(fault.points) == 1 else 's'}, was at {last.places}: "
            return ("worse" if len(fault.points) > last.places else "better"), begin, view
        if moved:
            return "changed", f"Unchanged, {moved_m:.1f} m from its earlier place: ", view
        return ("changed", "Unchanged, on other parts: ", view) if other_parts else ("", "", view)

    def _fault_said(
        self, fault: Fault, name: Name, event: Event, begin: str, kind: str, view: bool, more: Sequence[str] = ()
    ) -> Remark | None:
        x, y, z = fault.points[0]
        place = f"x {x:z.3f} y {y:z.3f} z {z:z.3f} m."
        begin = begin or {"back": "Back: ", "accepted": "Accepted: "}.get(event, "")
        lines = [
            f"{begin}{_line(fault.title)}",
            *([fault.accepted] if fault.accepted and not name.closed_by else []),
            *more,
            *([_RUNGS[name.rung]] if name.rung in _RUNGS else []),
            f"The ring marks the worst place, {place}" if view else f"The worst place is at {place}",
        ]
        accepted = bool(fault.accepted) and not name.closed_by
        rung = name.rung if name.rung in _RUNGS else ""
        present = recorded(fault, self.now.part, self.now.release)
        record = replace(present, event=event, accepted=accepted, rung=rung, check_id=name.check_id)
        return self._remark(name.topic, name.known, record, lines, kind, view)

    def _remark(
        self, topic: str, known: Known | None, record: Record, lines: Iterable[str], kind: str, view: bool
    ) -> Remark | None:
        """The comment with its record; None where the very same one stands there already."""
        status = self._status(kind) if kind else ""
        if known is None and not status:  # a new topic must have one
            closed = {each.casefold() for each in self.statuses.closed}
            status = next((w for w in self.previous.statuses if w.casefold() not in closed), self.previous.statuses[0])
        last = known.last if known else None
        left = status or (known.status if known and known.standing == "tool" else "")
        record = replace(record, number=last.number + 1 if last else 1, status=word(left))
        guid = comment_guid(topic_of(known.check_id) if known else topic, record)
        if known and guid in known.said:
            return None
        same = known is not None and status.casefold() == known.status.casefold()
        return Remark(guid, "\n".join([*lines, record.text()]), "" if same else status, view)

    # ---- what is no longer found ----

    def not_found(self, known: Known, candidates: Sequence[str]) -> Iterable[Change]:
        """What has become of an issue that is not found in this release: the rows of the table for what passes."""
        last = known.last
        was = last.value_mm if last else None

        def change(life: Life, says: str, remark: Remark | None = None) -> Change:
            return Change(known.key, known.topic, known.rule, life, says, "", was, None, None, remark)

        if last and not last.fails:
            # Said already; where a person has opened it again, it is a person's matter.
            unmarked = known.standing == "open" and not last.status
            remark = self._closed_at_last(known, last) if unmarked else None
            again = self._told(known)
            if remark or ((unmarked or known.standing == "tool") and again and again.life == "mended"):
                yield change("mended", known.title, remark)
            return
        if known.standing == "person" or (known.standing == "tool" and not (last and last.accepted)):
            return
        unsure = self._unsure(known, candidates)
        if unsure:
            yield change("no longer checkable", f"{known.title}; {unsure}")
            return
        if known.standing == "tool":  # accepted, and mended in the meantime: it is closed
            return
        gone = self._gone(known) if self._seen(known) != "passes" else []
        value = "" if was is None else f", was {was:z.1f} mm"
        first = f"Mended: passes now{value}."
        if gone:
            names = [f"{mark} ({guid})" if mark else guid for guid, mark in gone]
            more = f" and {len(names) - 3} more" if len(names) > 3 else ""
            first = f"Gone: {', '.join(names[:3])}{more} {'is' if len(names) == 1 else 'are'} in no model any more."
        event: Event = "gone" if gone else "mended"
        told = replace(known.told, release=self.now.release, check_id=known.check_id)
        record = replace(told, event=event, accepted=False, rung="")
        remark = self._remark(known.topic, known, record, [first], "closed", view=False)
        yield change("mended", known.title, remark)

    def _closed_at_last(self, known: Known, last: Record) -> Remark | None:
        """The closing of what was mended when the file had no word for it; None where it still has none."""
        if not self._status("closed"):
            return None
        record = replace(last, release=self.now.release)
        return self._remark(known.topic, known, record, ["Closed: was mended before."], "closed", view=False)

    def _unsure(self, known: Known, candidates: Sequence[str]) -> str:
        """Why it cannot be told whether an issue is mended, or nothing where it can."""
        if candidates:
            return f"it may be any of {', '.join(key_of(each) for each in candidates)}"
        if known.rule in self.now.silent:
            return self.now.silent[known.rule]
        if known.rule not in self.now.asked:
            return f"there is no rule {known.rule} any more"
        lost = {model for guid, (_, model) in known.told.parts.items() if not self._here(guid)}
        if "" in lost:
            return "nothing tells in which model its parts were"
        if lost & set(self.missing):
            return f"not in this release: {', '.join(sorted(lost & set(self.missing)))}"
        seen = self._seen(known)
        if seen == "undecided":
            return "it could not be measured"
        if seen == "nothing" and not self._gone(known):
            return "nothing was measured there"
        return ""

    def _seen(self, known: Known) -> Seen:
        trace = known.trace()
        parts = {self.now.again.get(p, p) for p in trace.parts}
        place = trace.points[0] if trace.points and not parts <= self.now.part.keys() else None
        return self.now.seen(known.rule, parts, place)

    def _here(self, guid: str) -> bool:
        return self.now.again.get(guid, guid) in self.now.part

    def _gone(self, known: Known) -> list[tuple[str, str]]:
        """GlobalIds and marks of parts that are in no model any more."""
        return [(guid, mark) for guid, (mark, _) in known.told.parts.items() if not self._here(guid)]


_FAILS: Final[Set[Life]] = frozenset({"new", "worse", "back", "better", "accepted", "unchanged"})
_ROUNDED: Final = 0.006
"""Records hold values to 0.01 mm."""
_A: Final[Mapping[Severity, str]] = {"error": "an error", "warning": "a warning", "note": "a note"}
_RUNGS: Final = {
    PARTS_AGAIN: "Its parts have new GlobalIds; they were recognised by their marks or bodies.",
    SAME_PLACE: "Parts of it have new GlobalIds; it was recognised by its rule and place.",
}
LONGEST_LINE: Final = 400


def _line(text: str) -> str:
    """A text on one line, cut where it is too long."""
    text = " ".join(text.split())
    return text if len(text) <= LONGEST_LINE else f"{text[: LONGEST_LINE - 3]}..."


def _excess(fault: Fault, value_mm: float) -> float:
    """How far outside the present limits a value lies, in mm."""
    below = 0.0 if fault.minimum_mm is None else fault.minimum_mm - value_mm
    above = 0.0 if fault.maximum_mm is None else value_mm - fault.maximum_mm
    return max(below, above, 0.0)


# ---- the two halves of a run ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Recognised:
    """A run's issues under the names they keep, before it is judged which of them are accepted."""

    draft: Draft
    previous: Previous
    now: Now
    names: Names
    guids: tuple[str, ...]
    parts: PartChanges | None
    present: Parts

    def changes(self, found: Findings, statuses: Statuses) -> Changes:
        """What has become of every issue and part, now that it is judged what is accepted."""
        faults = [fault_of(issue, found.verdicts, self.guids) for issue in found.issues]
        told = changes_of(faults, self.names, self.previous, self.now, statuses, found.lapsed)
        if self.parts is None:
            return told
        if self.previous.release == self.now.release:  # the same release once more
            return replace(told, parts=self.previous.changed, renamed=self.previous.renamed)
        return with_parts(told, self.previous, self.now, self.present, self.parts)


def recognised(
    previous: Previous,
    model: Model,
    rules: Sequence[Rule[Any, Any]],
    settings: Settings,
    answers: Sequence[Answer],
    draft: Draft,
) -> Recognised:
    """Find the names of a run's issues: those they had at the previous release, else new ones."""
    present = parts_of(model)
    parts = None if previous.parts is None else part_changes(previous.parts, present)
    again = {} if parts is None or previous.parts is None else parts.again(previous.parts, present)
    now = now_of(model, rules, settings, answers, draft.verdicts, again)
    guids = tuple(element.guid for element in model.elements)
    names = named([fault_of(issue, draft.verdicts, guids) for issue in draft.issues], previous, now)
    issues = tuple(
        replace(issue, key=key_of(name.check_id), check_id=name.check_id, topic=name.topic, accepted=name.closed_by)
        for issue, name in zip(draft.issues, names.names, strict=True)
    )
    return Recognised(replace(draft, issues=issues), previous, now, names, guids, parts, present)


def with_parts(changes: Changes, previous: Previous, now: Now, new: Parts, found: PartChanges) -> Changes:
    """The changes, with what has become of the parts at the seams; of a model that is missing nothing is known."""
    old, told, missing = previous.parts, [], missing_models(previous, now)
    if old is None:
        return changes
    for n in found.added.tolist():
        told.append(PartChange(new.guid[n], "added", new.role[n], new.tag[n] or new.name[n], new.model[n]))
    for o in (o for o in found.removed.tolist() if word(old.model[o]) not in missing):
        told.append(PartChange(old.guid[o], "removed", old.role[o], old.tag[o] or old.name[o], old.model[o]))
    both: tuple[tuple[Literal["moved", "reshaped"], Ints], ...] = (("moved", found.moved), ("reshaped", found.reshaped))
    for what, which in both:
        for k in which.tolist():
            o, n = found.same[k].tolist()
            was = old.guid[o] if old.guid[o] != new.guid[n] else ""
            sides = new.box[n] - old.box[o]
            by = float(np.linalg.norm(sides.mean(axis=0)) if what == "moved" else np.abs(sides).max()) * MM
            mark = new.tag[n] or new.name[n]
            told.append(PartChange(new.guid[n], what, new.role[n], mark, new.model[n], was, found.rung[k], by))
    rungs = Counter(rung for rung in found.rung if rung != "GlobalId")
    notes = changes.notes
    if len(found.unclear):
        notes = (*notes, f"Parts that several parts of the previous release may be: {len(found.unclear)}.")
    return replace(changes, parts=tuple(told), renamed=dict(sorted(rungs.items())), notes=notes)
