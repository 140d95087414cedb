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
from checker.words import skeleton

_EXAMPLES: Final = 3
_MOST_NAMELESS: Final = 20
_MOST_DOUBTFUL: Final = 20
_SURE: Final = 0.5
"""What is recognised with less confidence than this is doubtful."""
_SIZES: Final = re.compile(r"(?:,(?= [0-9]))? [0-9.]+( x [0-9.]+)+ m\b")
"""Elements recognised by the same words and shape differ in size; their reasons count as one."""


def recognised(model: Model, nameless: Ints) -> str:
    """What was recognised as what, how sure and why; then ``nameless``, elements at the facade without a role."""
    numbers = {role: [i for i, found in enumerate(model.roles) if found.role == role] for role in ROLES}
    present = {role: which for role, which in numbers.items() if which}
    total = sum(map(len, present.values()))
    parts = [[f"{total} of {count(len(model.elements), 'element')} recognised"]]
    if present:
        head = ["role", "elements", "doubtful", "most", "mean", "least"]
        parts.append(columns([head, *_confidences(model, present)], right=range(1, len(head))))
    for role, which in present.items():
        lines = [role, *_reasons(model, which, "  ")]
        parts.append([*lines, *(f"  such as {_introduced(model.elements[i])}" for i in which[:_EXAMPLES])])
    parts.append(_nameless(model, nameless))
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _reasons(model: Model, which: Sequence[int], before: str) -> list[str]:
    """Why some elements have their role, with counts, the most frequent reasons first."""
    reasons = Counter(_SIZES.sub("", model.roles[i].reason) for i in which).most_common()
    lines = []
    for reason, times in reasons[:_EXAMPLES]:
        lines += paragraph(f"{times} x {reason}", first=before, rest=f"{before}  ")
    if len(reasons) > _EXAMPLES:
        lines.append(f"{before}and {len(reasons) - _EXAMPLES} more reasons")
    return lines


def proposed_roles(model: Model, nameless: Ints) -> str:
    """A ``[roles]`` section (TOML) whose queries choose just what was recognised, as a start for a project's own.

    Queries are as general as the models at hand allow: by class alone where that tells enough, else also by predefined
    type, type name, object type, name, and at last by GlobalId. Those of doubtful elements are comments.
    """
    files = ", ".join(source.file for source in model.sources)
    lines = [
        *paragraph(f"What was recognised in {files}.", first="# ", rest="# "),
        "# A query decides for every element it names, also in later releases; what none names is still recognised by",
        "# itself. Check each line against the model, then keep this section in seamtrace.toml.",
        "[roles]",
    ]
    for role in ROLES:
        which = [i for i, found in enumerate(model.roles) if found.role == role]
        sure = [i for i in which if model.roles[i].confidence >= _SURE]
        doubtful = [i for i in which if model.roles[i].confidence < _SURE]
        if not which:
            continue
        lines += _spread(model, sure, "# ")
        lines += [
            f"{role} = [" if sure else f"# {role} = [",
            *(f"    {_toml(query)}," for query in _queries(model, sure)),
        ]
        if doubtful:
            lines += _spread(model, doubtful, "    # Doubtful, so left to be recognised: ")
            lines += ["    # Take away the # of those that are right."]
            lines += _commented(_queries(model, doubtful), "    ")
        lines.append("]" if sure else "# ]")
    if len(nameless):
        lines.append("# At the facade and without a role; put those that seal where they belong:")
        lines += _commented(_queries(model, nameless.tolist()), "")
    return "\n".join(lines) + "\n"


def _spread(model: Model, which: Sequence[int], before: str) -> list[str]:
    """How many elements these are, how sure they are and why, as comments."""
    if not which:
        return []
    sure = sorted(model.roles[i].confidence for i in which)
    span = f"{sure[0]:.0%}" if sure[0] == sure[-1] else f"{sure[0]:.0%} to {sure[-1]:.0%}"
    indent = before[: before.index("#")]
    return [f"{before}{count(len(which), 'element')}, {span} sure", *_reasons(model, which, f"{indent}#   ")]


def _commented(queries: Sequence[str], before: str) -> list[str]:
    lines = [f"{before}# {plain(_toml(query))}," for query in queries[:_MOST_DOUBTFUL]]
    return lines + ([f"{before}# and {len(queries) - _MOST_DOUBTFUL} more"] if len(queries) > _MOST_DOUBTFUL else [])


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
        shares = (max(sure), sum(sure) / len(sure), min(sure))
        yield [role, str(len(which)), str(sum(s < _SURE for s in sure)), *(f"{share:.0%}" for share in shares)]


def _introduced(element: Element) -> str:
    return f"{cut(element.guid, 22)} {cut(element.ifc_class, 32)} '{cut(element.name, 30)}'"


def _nameless(model: Model, nameless: Ints) -> list[str]:
    if not any(role.role == "panel" for role in model.roles):
        return ["No panels were recognised, so nothing can be told of what lies at the facade without a role."]
    if not len(nameless):
        return ["Nothing flat or slender at the facade is without a role."]
    lines = [f"At the facade, flat or slender, and without a role: {count(len(nameless), 'element')}"]
    alike: dict[tuple[str, str], list[Element]] = {}
    for i in nameless.tolist():
        element = model.elements[i]
        alike.setdefault((element.ifc_class, skeleton(element.name)), []).append(element)
    kinds = sorted(alike.values(), key=len, reverse=True)
    lines += [f"  {len(kind)} x such as {_introduced(kind[0])}" for kind in kinds[:_MOST_NAMELESS]]
    if len(kinds) > _MOST_NAMELESS:
        lines.append(f"  and {sum(map(len, kinds[_MOST_NAMELESS:]))} more of other names")
    return [*lines, "Those that seal belong under [roles] of the project file; --write FILE proposes a start."]


# ---- queries that choose given elements and no others ---------------------------------------------------------------

_GLOBAL_ID: Final = re.compile(r"[0-3][0-9A-Za-z_$]{21}")
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
        queries += sorted(used)
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
    stem = re.match(r"((?:[^\W\d]|[_ -]){2,})[0-9]", element.name)
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
    lambda element: element.guid if _GLOBAL_ID.fullmatch(element.guid) else "",
)


def _toml(text: str) -> str:
    if "'" not in text and text.isprintable():
        return f"'{text}'"
    # A JSON string is a TOML string but for the one control character that JSON leaves as it is.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
