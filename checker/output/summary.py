"""What a run prints: plain text for a terminal 100 columns wide, without colours, in which names cannot act."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import wrap
from typing import Final

from checker.model import Intake, Model, Source
from checker.result import (
    LIVES,
    SEVERITIES,
    Airtight,
    Change,
    Changes,
    Coverage,
    Issue,
    PartChange,
    Result,
    Verdict,
    WayFound,
)

WIDTH: Final = 100
"""Columns of the terminal the texts are laid out for."""

_MOST_ISSUES: Final = 20
_MOST_REASONS: Final = 5
_MOST_PARTS: Final = 8
_SHORT: Final = {"no longer checkable": "unchecked"}
_USUAL: Final = ("", "same parts")
_PART: Final[Mapping[str, str]] = {
    "added": "added",
    "removed": "removed",
    "moved": "moved",
    "reshaped": "changed in shape",
}
_LONGEST_NAME: Final = 60
_MEETS: Final = {"alone": "-", "meets": "yes", "off": "no", "turned": "no", "unknown": "?"}
_CAUTION: Final = (
    "Geometry and data were checked against settings; a pass is no certificate. Structure, fire, wind, lifting and "
    "local codes are for qualified people."
)


def plain(text: str) -> str:
    r"""A text from a model, made harmless for a terminal and for a build log that looks for commands in what it reads.

    >>> plain("Wall\x1b[2J\n::error file=a::b ##[section]")
    'Wall�[2J : :error file=a: :b # #[section]'
    """
    # Not printable are escape codes, line ends, writing turned round and halves of surrogate pairs.
    text = "".join(
        letter if letter.isprintable() else " " if letter.isspace() else "\N{REPLACEMENT CHARACTER}" for letter in text
    )
    return re.sub(r"([:#])(?=\1)", r"\1 ", text)


def cut(text: str, length: int = _LONGEST_NAME) -> str:
    """A plain text of at most ``length`` letters."""
    text = plain(text)
    return text if len(text) <= length else f"{text[: length - 3]}..."


def columns(rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> list[str]:
    """Rows of cells, set as aligned lines with two blanks in between; the columns in ``right`` align to the right.

    >>> columns([["width", "9.5"], ["lap", "100.0"]], right=[1])
    ['width    9.5', 'lap    100.0']
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def paragraph(text: str, first: str = "", rest: str = "") -> list[str]:
    """A plain text, broken into lines of at most `WIDTH`; ``first`` and ``rest`` go before the lines."""
    return wrap(plain(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def count(number: int, noun: str) -> str:
    """A number and what it counts.

    >>> count(1, "seam"), count(2, "seam")
    ('1 seam', '2 seams')
    """
    return f"{number} {noun}" + ("" if number == 1 else "s")


def summary(result: Result, written: Sequence[Path]) -> str:
    """The text a check ends with: what was read, how much was checked, the worst issues, the files written."""
    open_issues = [issue for issue in result.issues if not issue.accepted]
    parts = (
        _sources(result),
        _ways(result.ways),
        [] if result.unchecked else _coverage(result.coverage),
        _airtight(result.airtight),
        [] if result.unchecked else _issues(open_issues, accepted=len(result.issues) - len(open_issues)),
        changed(result.changes) if result.changes and result.changes.since else [],
        _undecided(result.verdicts),
        notes((*result.notes, *(result.changes.notes if result.changes else ()))),
        [f"Written: {cut(str(path), 200)}" for path in written],
        paragraph(_CAUTION),
    )
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def comparison(changes: Changes) -> str:
    """The text that a comparison of two releases ends with."""
    parts = (changed(changes), notes(changes.notes), paragraph(_CAUTION))
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def notes(texts: Sequence[str]) -> list[str]:
    """What a person should know besides."""
    return [line for note in texts for line in paragraph(f"Note: {note}", rest="  ")]


def changed(changes: Changes) -> list[str]:
    """What has changed since the previous release: the counts, and every line that somebody has to look at."""
    counts = ", ".join(f"{changes.count(life)} {life}" for life in LIVES if changes.count(life)) or "no issues"
    lines = paragraph(f"Since {cut(changes.since)}: {counts}", rest="  ")
    told = [change for change in changes.issues if _matters(change)]
    for change in told[:_MOST_ISSUES]:
        lines += paragraph(
            _became(change), first=f"  {change.key}  {_SHORT.get(change.life, change.life):9}  ", rest=" " * 23
        )
    if len(told) > _MOST_ISSUES:
        lines.append(f"  and {len(told) - _MOST_ISSUES} more")
    if changes.parts is not None:
        lines += _parts(changes.parts, changes.renamed)
    return lines


def _matters(change: Change) -> bool:
    """What is as it was needs no line, unless it was recognised by other means than its parts."""
    return change.life != "unchanged" or change.remark is not None or change.rung not in _USUAL


def _became(change: Change) -> str:
    told = cut(change.says, 240).rstrip(". ")
    was = (
        ""
        if change.was_mm is None or change.life not in ("worse", "better", "back")
        else f" (was {change.was_mm:z.1f} mm)"
    )
    by = "" if change.rung in _USUAL else f"; recognised by {change.rung}"
    return f"{told}{was}{by}."


def _parts(parts: Sequence[PartChange], renamed: Mapping[str, int]) -> list[str]:
    number = Counter[str](part.what for part in parts)
    counts = ", ".join(f"{number[what]} {said}" for what, said in _PART.items() if number[what]) or "none changed"
    again = ", ".join(f"{times} by {rung}" for rung, times in renamed.items())
    lines = paragraph(
        f"Parts at seams: {counts}" + (f"; with new GlobalIds recognised {again}" if again else ""), rest="  "
    )
    for part in parts[:_MOST_PARTS]:
        far = "" if part.by_mm is None or part.by_mm < 0.05 else f" by {part.by_mm:.1f} mm"
        name = f"{part.role} {cut(part.mark)}".strip()
        lines += paragraph(
            f"{name} in {cut(part.model)} ({part.guid}) {_PART[part.what]}{far}", first="  ", rest="    "
        )
    if len(parts) > _MOST_PARTS:
        lines.append(f"  and {len(parts) - _MOST_PARTS} more")
    return lines


def _airtight(line: Airtight | None) -> list[str]:
    """How much of the airtight line is closed: shares of the metres of seam it goes over."""
    if line is None:
        return []
    metres = {
        "closed": line.closed_m,
        "broken": line.broken_m,
        "not modelled": line.not_modelled_m,
        "undecided": line.undecided_m,
    }
    whole = sum(metres.values())
    if not whole:
        return []
    told = ", ".join(f"{word} {length:.1f} m ({length / whole:.1%})" for word, length in metres.items())
    stated = f"; {line.stated_m:.1f} m of it are stated and not drawn" if line.stated_m else ""
    return paragraph(f"Airtight line over {whole:.1f} m of seams: {told}{stated}.")


def _ways(ways: Sequence[WayFound]) -> list[str]:
    lines = ["ways of building"]
    for way in ways:
        lines += paragraph(way.says, first="  ", rest="    ")
    return lines if ways else []


def _sources(result: Result) -> list[str]:
    pieces = "" if result.column_places in (0, result.columns) else f" in {count(result.column_places, 'place')}"
    found = ", ".join(
        (
            count(result.panels, "panel"),
            count(result.columns, "column") + pieces,
            count(len(next(iter(result.seams.columns.values()), [])), "seam"),
        )
    )
    head = f"{count(len(result.model.sources), 'model')}: {found}, {result.seam_length_m:.1f} m of seam"
    return [head, *arrivals(result.model)]


def arrivals(model: Model) -> list[str]:
    """The table of what arrived in each file, and what is to be said of it, gravest first."""
    head = ["  file", "schema", "unit", "size in m", "products", "panels", "columns", "other", "map", "meets", "owner"]
    intake = model.intake or (Intake(),) * len(model.sources)
    rows = [head, *(_arrival(source, one) for source, one in zip(model.sources, intake, strict=True))]
    if all(source.owner in ("", source.name) for source in model.sources):
        rows = [row[:-1] for row in rows]  # nobody has named owners: each file stands for itself
    said = [
        line
        for severity in SEVERITIES
        for one in intake
        for remark in one.remarks
        if remark.severity == severity
        for line in paragraph(remark.text, first=f"  {severity.capitalize()}: ", rest="    ")
    ]
    return [*columns(rows, right=range(4, 8)), *([""] if said else []), *said]


def _arrival(source: Source, one: Intake) -> list[str]:
    panels, pillars = one.roles.get("panel", 0), one.roles.get("column", 0)
    return [
        f"  {cut(source.file, 24)}",
        cut(source.schema.partition("_")[0], 8),
        cut(source.length_unit, 8),
        "x".join(f"{length:.1f}" for length in one.size_m) if one.size_m else "no bodies",
        *map(str, (source.products, panels, pillars, sum(one.roles.values()) - panels - pillars)),
        source.georeference.kind if source.georeference else "no",
        _MEETS[one.fit.state],
        cut(source.owner, 16),
    ]


def _coverage(coverage: Sequence[Coverage]) -> list[str]:
    head = ["rule", "subjects", "metres", "pass", "fail", "not modelled", "undecided", "accepted"]
    rows = [
        [
            rule.rule,
            str(rule.subjects),
            f"{rule.length_m:.1f}",
            *map(str, (rule.passed, rule.failed, rule.not_modelled, rule.undecided, rule.accepted)),
        ]
        for rule in coverage
    ]
    return columns([head, *rows], right=range(1, len(head)))


def _issues(issues: Sequence[Issue], accepted: int) -> list[str]:
    aside = f" ({accepted} more accepted)" if accepted else ""
    if not issues:
        return [f"No issues{aside}."]
    by_severity = Counter(issue.severity for issue in issues)
    counts = ", ".join(count(by_severity[severity], severity) for severity in SEVERITIES if by_severity[severity])
    lines = [f"{count(len(issues), 'issue')}: {counts}{aside}"]
    worst_first = sorted(issues, key=lambda issue: SEVERITIES.index(issue.severity))
    for issue in worst_first[:_MOST_ISSUES]:
        lines += paragraph(_sentence(issue), first=f"  {issue.key}  {issue.severity:7}  ", rest=" " * 21)
    if len(issues) > _MOST_ISSUES:
        lines.append(f"  and {len(issues) - _MOST_ISSUES} more")
    return lines


def _sentence(issue: Issue) -> str:
    """Where, what and, in its title, the move that mends it."""
    place = ", ".join(f"{word} {cut(name)}" for word, name in (("facade", issue.facade), ("axis", issue.axis)) if name)
    title = cut(issue.title, 240).rstrip(". ")
    return f"{place}: {title}." if place else f"{title}."


def _undecided(verdicts: Sequence[Verdict]) -> list[str]:
    reasons = Counter(verdict.message for verdict in verdicts if verdict.state == "undecided").most_common()
    if not reasons:
        return []
    lines = [f"Could not be decided: {count(sum(times for _, times in reasons), 'subject')}"]
    for reason, times in reasons[:_MOST_REASONS]:
        lines += paragraph(f"{times} x {cut(reason, 160)}", first="  ", rest="    ")
    if len(reasons) > _MOST_REASONS:
        lines.append(f"  and {len(reasons) - _MOST_REASONS} more reasons")
    return lines
