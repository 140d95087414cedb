"""What ``seamtrace roles`` and ``seamtrace rules`` print: plain text, and a ``[roles]`` section to start from."""

import dataclasses
import json
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import zip_longest
from pathlib import Path
from textwrap import wrap
from typing import Any, Final

from checker.errors import CannotCheck
from checker.model import ROLES, Element, Ints, Model
from checker.output.summary import columns, count, cut, paragraph, plain
from checker.rule import Rule

_EXAMPLES: Final = 3
_MOST_NAMELESS: Final = 20
_SIZES: Final = re.compile(r" [0-9.]+( x [0-9.]+)+ m\b")
"""Elements recognised by the same words and shape differ in size; their reasons count as one."""


def recognised(model: Model, nameless: Ints) -> str:
    """What was recognised as what, how sure and why; then ``nameless``, elements at the facade without a role."""
    numbers = {role: [i for i, found in enumerate(model.roles) if found.role == role] for role in ROLES}
    present = {role: which for role, which in numbers.items() if which}
    total = sum(map(len, present.values()))
    parts = [[f"{total} of {count(len(model.elements), 'element')} recognised"]]
    if present:
        parts.append(columns([["role", "elements", "mean", "least"], *_confidences(model, present)], right=(1, 2, 3)))
    for role, which in present.items():
        reasons = Counter(_SIZES.sub("", model.roles[i].reason) for i in which).most_common()
        lines = [role]
        for reason, times in reasons[:_EXAMPLES]:
            lines += paragraph(f"{times} x {reason}", first="  ", rest="    ")
        if len(reasons) > _EXAMPLES:
            lines.append(f"  and {len(reasons) - _EXAMPLES} more reasons")
        parts.append([*lines, *(f"  such as {_introduced(model.elements[i])}" for i in which[:_EXAMPLES])])
    parts.append(_nameless(model, nameless))
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def proposed_roles(model: Model, nameless: Ints) -> str:
    """A ``[roles]`` section (TOML) whose queries choose just what was recognised, as a start for a project's own.

    Queries are as general as the models at hand allow: by class alone where that tells enough, else also by predefined
    type, type name, object type, name, and at last by GlobalId.
    """
    lines = ["[roles]"]
    roles = [found.role for found in model.roles]
    for role in ROLES:
        which = [i for i, found in enumerate(roles) if found == role]
        if which:
            least = min(model.roles[i].confidence for i in which)
            lines.append(f"# {count(len(which), 'element')}, the least certain of them {least:.0%} sure")
            lines += [f"{role} = [", *(f"    {_toml(query)}," for query in _queries(model, which)), "]"]
    if len(nameless):
        lines.append("# At the facade and without a role; put them where they belong:")
        lines += [f"# {plain(_toml(query))}" for query in _queries(model, nameless.tolist())]
    return "\n".join(lines) + "\n"


def write_proposal(path: Path, text: str) -> None:
    """Write a proposal to a new file. Raises `CannotCheck` where a file is already there or none can be made."""
    try:
        with path.open("xb") as stream:
            stream.write(text.encode("utf-8", errors="replace"))
    except FileExistsError:
        raise CannotCheck(f"{path}: is already there and was left as it is. Name a new file, or - to print.") from None
    except OSError as error:
        raise CannotCheck(f"{path}: cannot be written ({error.strerror}). Name another file.") from None


def rules_table(rules: Sequence[Rule[Any, Any]]) -> str:
    """Every rule with what must hold, its limits and on what they rest."""
    rows = [["rule", "must hold", "limits", "basis"]]
    for rule in rules:
        limits = [(f"{limit.name} {_default(limit)}", limit.metadata["basis"]) for limit in _limits(rule)]
        cells = zip_longest([rule.name], wrap(rule.title, 34), *zip(*limits, strict=True), fillvalue="")
        rows += [list(row) if limits else [*row, "", ""] for row in cells]
    return "\n".join(columns(rows)) + "\n"


def rule_in_full(rule: Rule[Any, Any]) -> str:
    """Everything a rule says about itself."""
    limits = []
    for limit in _limits(rule):
        about = limit.metadata
        limits += paragraph(
            f"{limit.name} = {_default(limit)}: {about['means']} ({about['basis']}).", first="  ", rest="    "
        )
        limits += paragraph(f"Source: {about['source']}.", first="    ", rest="    ")
    layer = rule.layer
    parts = (
        [rule.name],
        paragraph(rule.text),
        [
            *paragraph(f"Asked where there is: {', '.join(rule.needs)}."),
            *paragraph(f"Layer, set under [layers]: {layer.name}, {layer.means}." if layer else ""),
        ],
        [f"Limits, set under [limits.{rule.name}]:", *limits, f"  severity = {rule.severity}"],
        paragraph(f"Remedy: {rule.remedy}"),
        [
            *paragraph(f"Passes, for example: {rule.good.describe()}", rest="  "),
            *paragraph(f"Fails, for example: {rule.bad.describe()}", rest="  "),
        ],
    )
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _limits(rule: Rule[Any, Any]) -> tuple["dataclasses.Field[Any]", ...]:
    return dataclasses.fields(rule.limits)


def _default(limit: "dataclasses.Field[Any]") -> str:
    value = str(limit.default).lower() if isinstance(limit.default, bool) else f"{limit.default:g}"
    return f"{value} {limit.metadata['unit']}".strip()


def _confidences(model: Model, present: dict[str, list[int]]) -> Iterator[list[str]]:
    for role, which in present.items():
        sure = [model.roles[i].confidence for i in which]
        yield [role, str(len(which)), f"{sum(sure) / len(sure):.0%}", f"{min(sure):.0%}"]


def _introduced(element: Element) -> str:
    return f"{cut(element.guid, 22)} {cut(element.ifc_class, 32)} '{cut(element.name, 30)}'"


def _nameless(model: Model, nameless: Ints) -> list[str]:
    if not len(nameless):
        return ["Nothing flat or slender at the facade is without a role."]
    lines = [f"At the facade, flat or slender, and without a role: {count(len(nameless), 'element')}"]
    lines += [f"  {_introduced(model.elements[i])}" for i in nameless[:_MOST_NAMELESS]]
    if len(nameless) > _MOST_NAMELESS:
        lines.append(f"  and {len(nameless) - _MOST_NAMELESS} more")
    return [*lines, "Those that seal belong under [roles] of the project file; --write FILE proposes a start."]


# ---- queries that choose given elements and no others ---------------------------------------------------------------

_CASE: Final = re.compile("(StandardCase|ElementedCase)$")
_TELLING: Final = frozenset({"IfcColumn", "IfcWindow", "IfcDoor", "IfcOpeningElement", "IfcRoof"})
"""Classes that are a query by themselves. Of others, the next release may bring some that are something else."""


def _queries(model: Model, which: Sequence[int]) -> list[str]:
    """Selector queries that choose the elements ``which`` of all of the model, general ones first."""
    wanted, left = set(which), list(which)
    queries: list[str] = []
    for describe in _DESCRIPTIONS:
        chosen: dict[str, list[int]] = {}
        for i, element in enumerate(model.elements):
            if query := describe(element):
                chosen.setdefault(query, []).append(i)
        fit = {query for query, found in chosen.items() if wanted.issuperset(found)}
        used = dict.fromkeys(query for i in left if (query := describe(model.elements[i])) in fit and query)
        left = [i for i in left if describe(model.elements[i]) not in used]
        queries += used
    return queries


def _class(element: Element) -> str:
    """The class that also finds its special cases of older schemas."""
    return _CASE.sub("", element.ifc_class)


def _by_class(element: Element) -> str:
    return _class(element) if _class(element) in _TELLING else ""


def _by_predefined(element: Element) -> str:
    said = "" if element.predefined in ("NOTDEFINED", "USERDEFINED") else element.predefined
    return _where(element, "PredefinedType", said)


def _by_stem(element: Element) -> str:
    """Names that begin alike and go on with a number."""
    stem = re.match(r"([A-Za-z_ -]{2,})[0-9]", element.name)
    return f"{_class(element)}, Name=/^{stem[1]}[0-9]/" if stem else ""


def _where(element: Element, attribute: str, value: str) -> str:
    # The query language has no way to write a backslash at the end of a text, nor one before a quote.
    if not value or not value.isprintable() or "\\" in value:
        return ""
    quoted = value.replace('"', '\\"')
    return f'{_class(element)}, {attribute}="{quoted}"'


_DESCRIPTIONS: Final[tuple[Callable[[Element], str], ...]] = (
    _by_class,
    _by_predefined,
    lambda element: _where(element, "type", element.type_name),
    lambda element: _where(element, "ObjectType", element.object_type),
    _by_stem,
    lambda element: _where(element, "Name", element.name),
    lambda element: element.guid,
)


def _toml(text: str) -> str:
    # A JSON string is a TOML string but for the one control character that JSON leaves as it is.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
