"""From answers to verdicts and issues: what to act on once, with owner, worst place and the move that mends it."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

import numpy as np

from checker.cut import frame_of
from checker.facade import Facade, Subjects
from checker.geometry import SAME_LENGTH, unit
from checker.identity import check_id_of, key_of, numbered, topic_of
from checker.model import Floats, Ints
from checker.result import Coverage, Issue, Move, Section, Severity, State, Verdict
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Rule, Verdicts
from checker.settings import Acceptance, Need

_PARALLEL: Final = 0.99
"""Shifts whose directions have a cosine above this (8 degrees) are one shift, forwards or backwards."""
_IN_PICTURE: Final = 0.35
"""What is no longer than this (metres) is shown from end to end; of anything longer a section across it is shown."""
_INSIDE: Final = 0.005
"""Parts are cut at least this far inside their ends (metres): right at an end it is chance what a section shows."""
FEWEST_ALIKE: Final = 10
"""So many places that fail with the same value..."""
MOST_ALIKE: Final = 0.8
"""... and are this share of all that were measured are drawn so by one hand, on purpose or not: one cause."""
ALIKE_MM: Final = 0.5
"""Values that differ from the middle one by no more are the same."""
_ALIKE: Final = "all alike"
"""What is blamed then."""
_STATES: Final[dict[int, State]] = {PASS: "pass", FAIL: "fail", NOT_MODELLED: "not-modelled", UNDECIDED: "undecided"}


@dataclass(frozen=True)
class Answer:
    """What one rule said of all its subjects; ``need`` tells what to do where its layer is in no model."""

    rule: Rule[Any, Any]
    severity: Severity
    need: Need
    subjects: Subjects
    verdicts: Verdicts


@dataclass(frozen=True)
class Draft:
    """Verdicts and issues of a run before it is known which of them are accepted."""

    verdicts: tuple[Verdict, ...]
    issues: tuple[Issue, ...]


@dataclass(frozen=True)
class Findings:
    """Verdicts, issues and coverage of a run, and remarks on acceptances that no longer fit, also by key."""

    verdicts: tuple[Verdict, ...]
    issues: tuple[Issue, ...]
    coverage: tuple[Coverage, ...]
    notes: tuple[str, ...]
    lapsed: Mapping[str, str]


def drafted(facade: Facade, answers: Sequence[Answer], remedies: Mapping[str, str]) -> Draft:
    """Group failures of one cause into issues."""
    verdicts: list[Verdict] = []
    issues: list[Issue] = []
    keys: Counter[str] = Counter()
    for answer in (_alike(_demanded(answer)) for answer in answers):
        rows = {
            int(i): len(verdicts) + k
            for k, i in enumerate(np.flatnonzero(np.isin(answer.verdicts.state, (FAIL, UNDECIDED))))
        }
        verdicts.extend(_verdict(facade, answer, i) for i in rows)
        right = _right_by_part(answer.verdicts)
        for group in _groups(answer):
            issue = _issue(facade, answer, group, right, keys, remedies[answer.rule.name])
            issues.append(replace(issue, members=tuple(rows[i] for i in group)))
    verdicts.extend(_unmeasured(facade, answers))
    return Draft(tuple(verdicts), tuple(issues))


def judged(draft: Draft, answers: Sequence[Answer], accepted: Sequence[Acceptance], today: date) -> Findings:
    """Apply acceptances, count. Issues of the draft that are accepted already stay so."""
    verdicts = list(draft.verdicts)
    issues, notes, lapsed = _accept(draft.issues, verdicts, accepted, today)
    for issue in issues:
        for member in issue.members:
            state: State = "accepted" if issue.accepted else "fail"
            verdicts[member] = replace(verdicts[member], issue=issue.key, state=state)
    coverage = tuple(_coverage(answer, verdicts) for answer in answers)
    return Findings(tuple(verdicts), tuple(issues), coverage, tuple(notes), lapsed)


def _demanded(answer: Answer) -> Answer:
    """A layer that the project requires and that is in no model fails, once."""
    verdicts, layer = answer.verdicts, answer.rule.layer
    absent = verdicts.state == NOT_MODELLED
    if layer is None or answer.need != "required" or not absent.any():
        return answer
    says = [
        f"No {layer.means} in any model, the project requires it" if gone else text
        for gone, text in zip(absent, verdicts.says, strict=True)
    ]
    blame = verdicts.blame
    if blame is not None:
        blame = replace(
            blame,
            part=np.where(absent, -1, blame.part),
            cause=np.where(absent, -1, blame.cause),
            anchor=np.where(absent, -1, blame.anchor),
        )
    return replace(
        answer, verdicts=replace(verdicts, state=np.where(absent, FAIL, verdicts.state), says=says, blame=blame)
    )


def _alike(answer: Answer) -> Answer:
    """What fails with one value where nearly all of the facade does has one cause, and no part is to blame."""
    verdicts, blame = answer.verdicts, answer.verdicts.blame
    fails = verdicts.state == FAIL
    if answer.rule.layer is not None or blame is None or not fails.any():
        return answer
    same = fails & (np.abs(verdicts.value_mm - np.nanmedian(verdicts.value_mm[fails])) <= ALIKE_MM)
    measured = np.count_nonzero(fails | (verdicts.state == PASS))
    if np.count_nonzero(same) < max(FEWEST_ALIKE, MOST_ALIKE * measured):
        return answer
    blame = replace(
        blame,
        part=np.where(same, -1, blame.part),
        what=[_ALIKE if each else what for each, what in zip(same, blame.what, strict=True)],
        cause=np.where(same, -2, blame.cause),
        anchor=np.where(same, -1, blame.anchor),
    )
    says = [f"{text}, as nearly everywhere" if each else text for each, text in zip(same, verdicts.says, strict=True)]
    return replace(answer, verdicts=replace(verdicts, says=says, blame=blame))


def _groups(answer: Answer) -> Iterator[Ints]:
    """Numbers of the failing subjects of each cause, causes in the order of their first subject."""
    verdicts = answer.verdicts
    bad = np.flatnonzero(verdicts.state == FAIL)
    if len(bad) == 0:
        return
    cause = bad if verdicts.blame is None else verdicts.blame.cause[bad]
    key = np.stack([cause, verdicts.warning[bad]], axis=1)
    _, first, which = np.unique(key, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(which.reshape(-1), kind="stable")
    groups = np.split(bad[order], np.cumsum(np.bincount(which.reshape(-1)))[:-1])
    for k in np.argsort(first):
        yield groups[k]


def _right_by_part(verdicts: Verdicts) -> Mapping[int, list[int]]:
    """Numbers of the subjects that pass, by the part that would be blamed for them."""
    found: dict[int, list[int]] = {}
    if verdicts.blame is not None:
        for i in np.flatnonzero(verdicts.state == PASS).tolist():
            found.setdefault(int(verdicts.blame.part[i]), []).append(i)
    return found


def _excess(verdicts: Verdicts, rows: Ints) -> Floats:
    """How far outside its limits each subject is, in mm."""
    below = np.nan_to_num(verdicts.minimum_mm[rows] - verdicts.value_mm[rows])
    above = np.nan_to_num(verdicts.value_mm[rows] - verdicts.maximum_mm[rows])
    result: Floats = np.maximum(np.maximum(below, above), 0.0)
    return result


def _parts(answer: Answer, i: int) -> list[int]:
    """Element numbers that one verdict is about: the pieces concerned first, then the parts of its subject."""
    pieces = answer.verdicts.pieces
    every = [*(pieces[i] if pieces is not None else ()), *answer.subjects.parts[i]]
    return list(dict.fromkeys(int(p) for p in every if p >= 0))


def _severity(answer: Answer, i: int) -> Severity:
    """How grave one failure is: what only warns is never an error, whatever else a project has set."""
    return "warning" if answer.verdicts.warning[i] and answer.severity == "error" else answer.severity


def _verdict(facade: Facade, answer: Answer, i: int) -> Verdict:
    subjects, verdicts = answer.subjects, answer.verdicts
    guids = [facade.model.elements[p].guid for p in _parts(answer, i)]
    return Verdict(
        rule=answer.rule.name,
        state=_STATES[int(verdicts.state[i])],
        severity=_severity(answer, i),
        subject=subjects.ids[i],
        kind=subjects.kind[i],
        value_mm=_number(verdicts.value_mm[i]),
        minimum_mm=_number(verdicts.minimum_mm[i]),
        maximum_mm=_number(verdicts.maximum_mm[i]),
        elements=tuple(dict.fromkeys(guids)),
        point_m=_place(verdicts.point[i] + facade.model.origin),
        facade=facade.sides.names[subjects.side[i]],
        axis=subjects.axis[i],
        message=verdicts.says[i],
    )


def _issue(
    facade: Facade, answer: Answer, rows: Ints, right: Mapping[int, list[int]], keys: Counter[str], remedy: str
) -> Issue:
    model, subjects, verdicts, rule = facade.model, answer.subjects, answer.verdicts, answer.rule
    # In order along the way they stretch, so that neither name nor worst place hang on the order of GlobalIds.
    place = np.einsum("nij,nj->ni", facade.sides.frame[subjects.side[rows]], subjects.point[rows]).round(3)
    rows = rows[np.lexsort((rows, place[:, int(np.ptp(place, axis=0).argmax())]))]
    excess = _excess(verdicts, rows)
    worst = int(rows[int(np.argmax(excess.round(6)))])
    blame = verdicts.blame
    part = int(blame.part[worst]) if blame is not None else -1
    what = blame.what[worst] if blame is not None else ""
    ordered = [int(p) for i in rows[np.argsort(-excess.round(6), kind="stable")] for p in _parts(answer, int(i))]
    elements = tuple(dict.fromkeys(([part] if part >= 0 else []) + ordered))
    # Named after its first member, for the worst one changes with the values.
    first = int(rows[0])
    anchor = int(blame.anchor[first]) if blame is not None else -1
    names = [model.elements[p].guid for p in ([anchor] if anchor >= 0 else [])]
    if not what and anchor >= 0:
        names += sorted(model.elements[p].guid for p in set(subjects.parts[first]) - {-1, anchor})
    base = check_id_of(rule.name, what or "place", names)
    keys[base] += 1
    check_id = numbered(base, keys[base])
    if what == _ALIKE:
        remedy = f"Drawn so nearly everywhere: where that is meant, set it under [limits.{rule.name}]. Else: {remedy}"
    move = _move(facade, subjects, verdicts, rows, worst, right)
    side = int(subjects.side[worst])
    place = f"facade {facade.sides.names[side]}" + (f", axis {subjects.axis[worst]}" if subjects.axis[worst] else "")
    sentence = verdicts.says[worst]
    advice = f"; move the {move.what} {move.distance_mm:g} mm {move.direction}" if move else ""
    several = f" ({len(rows)} places)" if len(rows) > 1 else ""
    spread = np.ptp(verdicts.point[rows], axis=0) if len(rows) > 1 else np.zeros(3)
    look = facade.sides.frame[side, 2] * (-1.0 if rule.seen_from == "outside" else 1.0)
    return Issue(
        key=key_of(check_id),
        check_id=check_id,
        topic=topic_of(check_id),
        rule=rule.name,
        severity=_severity(answer, worst),
        title=f"{sentence}{advice}{several}",
        description=f"{rule.title}. {place[0].upper()}{place[1:]}.",
        members=(),
        worst_mm=_number(verdicts.value_mm[worst]),
        owner=_owner(facade, answer, part, anchor),
        elements=elements,
        point_m=_place(verdicts.point[worst] + model.origin),
        look=_place(look),
        size_m=float(np.linalg.norm(spread)),
        facade=facade.sides.names[side],
        axis=subjects.axis[worst],
        remedy=remedy,
        section=_section(facade, answer, worst),
        move=move,
    )


def _section(facade: Facade, answer: Answer, i: int) -> Section:
    """The cut that shows one failure: across its seam, or along it where that is how the value was measured."""
    model, verdicts = facade.model, answer.verdicts
    along, across, out = axes = answer.subjects.axes(i, facade.sides)
    point = verdicts.point[i]
    span = np.full((2, 3), np.nan) if verdicts.span is None else verdicts.span[i]
    reach = axes @ (span[1] - span[0])
    if np.isfinite(reach).all():
        # A layer may lie beside the place that stands for it: the cut runs through what was measured.
        way, off = unit(span[1] - span[0]), span[0] - point
        point = point + off - (off @ way) * way
    lengthwise = float(np.linalg.norm(reach)) <= _IN_PICTURE and int(np.abs(reach).argmax()) == 0
    normal = (out if answer.rule.lengthwise == "facing" else across) if lengthwise else along
    frame, kind = frame_of(normal, out, facade.sides.frame[answer.subjects.side[i], 1])
    x, y, z = frame @ (span[1] - span[0])
    shown = bool(np.hypot(x, y) > max(SAME_LENGTH, abs(z)))
    like = int(verdicts.like[i]) if verdicts.like is not None and not lengthwise else -1
    into = 0.0 if lengthwise else float(np.clip((answer.subjects.point[i] - point) @ along, -_INSIDE, _INSIDE))
    point, away = point + into * along, into * along + model.origin
    shift = 0.0
    if like >= 0:
        m = model.meshes
        lie = m.points[m.point_start[like] : m.point_start[like + 1]] @ along
        inside = min(_INSIDE, 0.5 * float(np.ptp(lie)))
        here = float(point @ along)
        shift = here - float(np.clip(here, lie.min() + inside, lie.max() - inside))
    return Section(
        kind=kind,
        point_m=_place(point + model.origin),
        towards=_place(frame[2]),
        up=_place(frame[1]),
        span=(_place(span[0] + away), _place(span[1] + away)) if shown else None,
        like=like if like >= 0 else None,
        like_m=_place(shift * along),
    )


def _owner(facade: Facade, answer: Answer, part: int, anchor: int) -> str:
    """Owner of the model whose part should move; of a missing layer, who models such parts, else the place's."""
    model, layer = facade.model, answer.rule.layer
    if part < 0 and layer is not None:
        makers = facade.elements_of(*layer.roles)
        part = int(makers[0]) if len(makers) else anchor
    if part < 0:
        part = anchor
    return model.sources[model.elements[part].source].owner if part >= 0 else ""


def _move(
    facade: Facade, subjects: Subjects, verdicts: Verdicts, rows: Ints, worst: int, right: Mapping[int, list[int]]
) -> Move | None:
    """One shift of the blamed parts, in whole millimetres where possible, that brings every member within its limits.

    What else hangs on these parts and is right must stay within its limits too; else there is no such shift.
    """
    blame = verdicts.blame
    if blame is None or blame.part[worst] < 0 or not blame.what[worst]:
        return None
    also = blame.also[rows].ravel() if blame.also is not None else ()
    parts = list(dict.fromkeys(int(p) for p in (blame.part[worst], *blame.part[rows], *also) if p >= 0))
    hangs = [i for p in parts for i in right.get(p, ()) if blame.what[i] == blame.what[worst]]
    bound = np.concatenate([rows, np.array(hangs, np.int64)])
    way = np.einsum("nj,j->n", blame.along[bound], blame.along[worst])
    if (np.abs(way[: len(rows)]) < _PARALLEL).any():
        return None
    bound, way = bound[np.abs(way) > _PARALLEL], way[np.abs(way) > _PARALLEL]
    least = np.where(way > 0, blame.least[bound], -blame.most[bound])
    most = np.where(way > 0, blame.most[bound], -blame.least[bound])
    low, high = float(np.fmax.reduce(least)), float(np.fmin.reduce(most))  # NaN bounds nothing
    if not (math.isfinite(low) and math.isfinite(high)) or low > high + SAME_LENGTH:
        return None
    middle = 0.5 * (low + high)
    shift = round(round(middle * MM, 6)) / MM  # a half is a half, whichever way the building stands
    if not low - SAME_LENGTH <= shift <= high + SAME_LENGTH:
        shift = round(middle * MM, 1) / MM
    # The shift is checked again before anybody is told.
    if shift == 0 or not low - SAME_LENGTH <= shift <= high + SAME_LENGTH:
        return None
    vector = shift * blame.along[worst]
    return Move(
        part=facade.model.elements[parts[0]].guid,
        what=blame.what[worst],
        vector_m=_place(vector),
        distance_mm=round(abs(shift) * MM, 1),
        direction=_direction(facade.sides.frame[subjects.side[worst]] @ vector),
        also=tuple(facade.model.elements[p].guid for p in parts[1:]),
    )


def _direction(local: Floats) -> str:
    """Words for a shift (right, up, out) as seen from outside."""
    axis = int(np.abs(local).argmax())
    words = (("to the left", "to the right"), ("down", "up"), ("inwards", "outwards"))
    return words[axis][int(local[axis] > 0)]


def _unmeasured(facade: Facade, answers: Sequence[Answer]) -> Iterator[Verdict]:
    """One undecided verdict for each rule and element that the rule needs and that has no body to measure."""
    model = facade.model
    empty = np.diff(model.meshes.triangle_start) == 0
    for i in np.flatnonzero(empty):
        element, role = model.elements[i], model.roles[i].role
        for answer in answers if role else ():
            rule = answer.rule
            if role in rule.needs or (rule.layer is not None and role in rule.layer.roles):
                yield Verdict(
                    rule=rule.name,
                    state="undecided",
                    severity=answer.severity,
                    subject=element.guid,
                    kind="",
                    value_mm=None,
                    minimum_mm=None,
                    maximum_mm=None,
                    elements=(element.guid,),
                    point_m=_place(model.origin),
                    facade="",
                    axis="",
                    message=f"{element.name or element.ifc_class} ({element.guid}): {model.faults[i]}",
                )


def _accept(
    issues: Sequence[Issue], verdicts: Sequence[Verdict], accepted: Sequence[Acceptance], today: date
) -> tuple[list[Issue], list[str], dict[str, str]]:
    """Issues with their acceptances, and remarks on acceptances that are expired, exceeded or fit nothing.

    The remarks that concern an issue of this run are given by its key as well.
    """
    by_key = {issue.key: k for k, issue in enumerate(issues)}
    result, unused, lapsed = list(issues), [], {}
    for each in accepted:
        k = by_key.get(each.issue)
        if k is None:
            unused.append(f"Acceptance of {each.issue} fits no issue of this run.")
        elif each.until < today:
            lapsed[each.issue] = f"Acceptance of {each.issue} expired on {each.until}."
        elif each.upto_mm is None and any(verdicts[m].value_mm is not None for m in issues[k].members):
            lapsed[each.issue] = f"Acceptance of {each.issue} needs upto_mm: the value up to which it holds."
        elif each.upto_mm is not None and any(
            is_worse(verdicts[m].value_mm, verdicts[m].maximum_mm, each.upto_mm) for m in issues[k].members
        ):
            lapsed[each.issue] = f"Acceptance of {each.issue} holds up to {each.upto_mm:g} mm; the issue is worse now."
        else:
            result[k] = replace(issues[k], accepted=f"Accepted until {each.until} by {each.by}: {each.reason}")
    return result, [*lapsed.values(), *unused], lapsed


def is_worse(value_mm: float | None, maximum_mm: float | None, upto_mm: float) -> bool:
    """Whether a failing value lies beyond what was accepted, on the side on which it fails."""
    if value_mm is None:
        return False
    tolerance = SAME_LENGTH * MM
    if maximum_mm is not None and value_mm > maximum_mm:
        return value_mm > upto_mm + tolerance
    return value_mm < upto_mm - tolerance


def _coverage(answer: Answer, verdicts: Sequence[Verdict]) -> Coverage:
    """Counts of one rule; each subject in exactly one state, unmeasurable elements among the undecided."""
    mine = Counter(v.state for v in verdicts if v.rule == answer.rule.name)
    passed = int((answer.verdicts.state == PASS).sum())
    named = mine["fail"] + mine["accepted"] + mine["undecided"] + passed
    extra = sum(1 for v in verdicts if v.rule == answer.rule.name and v.kind == "")
    absent = len(answer.subjects) + extra - named
    return Coverage(
        rule=answer.rule.name,
        subjects=len(answer.subjects) + extra,
        passed=passed,
        failed=mine["fail"],
        not_modelled=absent,
        undecided=mine["undecided"],
        accepted=mine["accepted"],
        length_m=float(answer.subjects.length.sum()),
        stated=0 if answer.verdicts.stated is None else int(answer.verdicts.stated.sum()),
    )


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _place(values: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z
