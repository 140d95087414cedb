"""Adds an acceptance to the project file and leaves everything else in it as it is: comments, order, line ends."""

import codecs
from collections.abc import Iterable, Sequence
from datetime import date
from difflib import get_close_matches
from itertools import takewhile
from pathlib import Path
from typing import Any, Final, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

from checker.clock import today
from checker.earlier import FINDINGS, Outcome
from checker.errors import BadSettings, CannotCheck
from checker.identity import key_of
from checker.issues import is_worse
from checker.settings import Acceptance, AnyRule, parse_settings

_ORDER: Final = ("issue", "upto_mm", "until", "reason", "by")


def with_acceptance(path: Path, data: bytes, acceptance: Acceptance, rules: Sequence[AnyRule]) -> bytes:
    """The content of a project file with an acceptance, in the place of one of the same issue where there is one.

    ``data`` is what the file holds, empty for a file to be made. Raises `BadSettings` where the file is wrong already.
    """
    if acceptance in parse_settings(path, data, rules).accepted:
        return data
    text = data.decode("utf-8-sig")
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    try:
        written = mark + _with_ends_of(text, _put(text.replace("\r\n", "\n"), acceptance)).encode("utf-8")
    except (TOMLKitError, ValueError, TypeError, AttributeError) as error:
        raise BadSettings(f"{path.name}: cannot be added to ({error}). Add the acceptance by hand.") from error
    found = parse_settings(path, written, rules).accepted
    if acceptance not in found or len(found) != len({each.issue for each in found}):
        raise BadSettings(f"{path.name}: is built in an unusual way and was left as it is. Add the acceptance by hand.")
    return written


def a_day(text: str) -> date:
    """The last day on which an acceptance holds. Raises `BadSettings` for what is no day, or one that is over."""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise BadSettings(f"--until must be a day such as 2026-12-31, not '{text}'.") from None
    if day < today():
        raise BadSettings(f"--until {day} is over already. Name a day to come.")
    return day


def looked_up(acceptance: Acceptance, found: Outcome | None, folder: Path, required: bool) -> list[str]:
    """What is to be told about an acceptance, by what the last run found; ``required`` that there is one.

    Raises `CannotCheck` where there is no such issue, or where it has a value and the acceptance no limit.
    """
    if found is None and required:
        raise CannotCheck(f"{folder}: holds no {FINDINGS}. Name the folder that 'seamtrace check' wrote.")
    if found is None:
        return [f"{folder} holds no {FINDINGS}, so {acceptance.issue} was not looked up."]
    faults = {key_of(fault.check_id): fault for fault in found.faults}
    fault = faults.get(acceptance.issue)
    if fault is None:
        near = get_close_matches(acceptance.issue, faults, n=1, cutoff=0.0)
        nearest = f"The nearest is '{near[0]}': {faults[near[0]].title}." if near else "It found none."
        raise BadSettings(f"The last check in {folder} found no issue '{acceptance.issue}'. {nearest}")
    if fault.value_mm is None:
        return []
    if acceptance.upto_mm is None:
        raise BadSettings(
            f"{acceptance.issue} is at {fault.value_mm:.1f} mm: say with --upto up to which value it holds."
        )
    if is_worse(fault.value_mm, fault.maximum_mm, acceptance.upto_mm):
        value = f"{fault.value_mm:.1f} mm, worse than {acceptance.upto_mm:g} mm"
        return [f"{acceptance.issue} is at {value}: it stays open for now."]
    return []


def _with_ends_of(old: str, new: str) -> str:
    """A new text with the line ends of the old one; lines before and behind what is new are kept as they are."""
    before, after = old.splitlines(keepends=True), new.splitlines(keepends=True)
    ends = "\r\n" if "\r\n" in old else "\n"

    def alike(pairs: Iterable[tuple[str, str]]) -> int:
        return sum(1 for _ in takewhile(lambda pair: pair[0].replace("\r\n", "\n") == pair[1], pairs))

    head = alike(zip(before, after, strict=False))
    tail = alike(zip(reversed(before[head:]), reversed(after[head:]), strict=False))
    middle = "".join(after[head : len(after) - tail]).replace("\n", ends)
    return "".join(before[:head]) + middle + "".join(before[len(before) - tail :])


def _put(text: str, acceptance: Acceptance) -> str:
    values = {name: getattr(acceptance, name) for name in _ORDER if getattr(acceptance, name) is not None}
    text += "\n" if text and not text.endswith("\n") else ""
    document = tomlkit.parse(text)
    entries = cast(Any, document.get("accepted"))
    # Entries of one list that stand apart would be brought together: then one can be put behind all, and none changed.
    apart = tomlkit.dumps(document) != text
    if apart and any(entry.get("issue") == acceptance.issue for entry in entries or ()):
        raise ValueError("its [[accepted]] entries do not stand together")
    for entry in entries or ():
        if entry.get("issue") == acceptance.issue:
            for name in _ORDER:
                if name in values:
                    entry[name] = values[name]
                elif name in entry:
                    del entry[name]
            return tomlkit.dumps(document)
    if isinstance(entries, Array):
        inline = tomlkit.inline_table()
        inline.update(values)
        entries.append(inline)
        return tomlkit.dumps(document)
    table = tomlkit.table()
    table.update(values)
    if entries is None or apart:
        gap = "" if not text or text.endswith("\n\n") else "\n"
        return f"{text}{gap}{tomlkit.dumps({'accepted': [table]}).strip()}\n"
    # Comments behind the last entry belong to the section that follows, and stay before it.
    before = entries[-1].value.body
    behind: list[Any] = []
    while before and before[-1][0] is None:
        behind.insert(0, before.pop()[1])
    entries[-1].add(tomlkit.nl())
    for item in behind:
        table.add(item)
    entries.append(table)
    return tomlkit.dumps(document)
