"""The project file ``seamtrace.toml``: what a project may set, and one clear sentence for each mistake in it.

One description of the file (`_shape`) both reads it and gives its JSON Schema, so that the two cannot disagree.
"""

import dataclasses
import math
import os
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final, Literal, Protocol, cast

from checker.errors import BadSettings, did_you_mean
from checker.model import ROLES, ModelFile
from checker.result import SEVERITIES, Severity
from checker.rule import Limits, Rule
from checker.ways import ON_COLUMNS, WAYS

FILE_NAME: Final = "seamtrace.toml"

MOST_DAYS: Final = 3650
"""Nothing in a building model is due later than in ten years."""

Need = Literal["required", "expected", "off"]
NEEDS: Final[tuple[Need, ...]] = ("required", "expected", "off")
AnyRule = Rule[Any, Any]


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A recorded decision to live with an issue ``until`` a day, while its worst value is no worse than ``upto_mm``.

    ``upto_mm`` is None where the issue has no value, such as a layer that is missing.
    """

    issue: str
    until: date
    reason: str
    by: str
    upto_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Statuses:
    """What BCF files call the states of an issue; of several words the first that a file allows is written.

    A topic with any of the words in ``closed`` is closed, one with any other word, known or not, is open.
    """

    open: tuple[str, ...] = ("Open",)
    closed: tuple[str, ...] = ("Closed",)
    reopened: tuple[str, ...] = ("ReOpened",)


@dataclass(frozen=True)
class Settings:
    """What a project has set; everything else has its default. ``file`` is the path read, or None."""

    file: Path | None = None
    project: str = ""
    models: tuple[ModelFile, ...] = ()
    roles: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    layers: Mapping[str, Need] = field(default_factory=dict)
    stated: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    ways: tuple[str, ...] = (ON_COLUMNS,)
    limits: Mapping[str, object] = field(default_factory=dict)
    severities: Mapping[str, Severity] = field(default_factory=dict)
    switched_off: frozenset[str] = frozenset()
    accepted: tuple[Acceptance, ...] = ()
    statuses: Statuses = Statuses()
    due_days: Mapping[Severity, int] = field(default_factory=dict)
    stage: str = ""

    def limits_of(self, rule: Rule[Any, Limits]) -> Limits:
        """The limits of a rule, as the project set them."""
        return cast(Limits, self.limits[rule.name]) if rule.name in self.limits else rule.limits()

    def severity_of(self, rule: AnyRule) -> Severity:
        """How grave a failure of this rule is in this project."""
        return self.severities.get(rule.name, rule.severity)

    def enabled(self, rule: AnyRule) -> bool:
        """Whether the project wants this rule asked."""
        return rule.name not in self.switched_off

    def layer(self, name: str) -> Need:
        """What to do when a layer is in no model."""
        return self.layers.get(name, "expected")


def load_settings(path: Path | None, rules: Sequence[AnyRule]) -> Settings:
    """Read a project file; None gives the defaults.

    Raises:
        BadSettings: The file is missing, not TOML, or sets something that is unknown or does not fit.
    """
    if path is None:
        return Settings()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadSettings(f"{path}: cannot be read ({error.strerror}). Check the path given with --config.") from None
    return parse_settings(path, data, rules)


def parse_settings(path: Path, data: bytes, rules: Sequence[AnyRule]) -> Settings:
    """What the content of a project file at ``path`` sets. Raises `BadSettings` as `load_settings` does."""
    read = cast(dict[str, Any], _shape(rules).read(_toml(path, data), _Place(path.name)))
    limits, severities, off = {}, {}, set()
    for rule in rules:
        chosen = dict(read.get("limits", {}).get(rule.name, {}))
        severities[rule.name] = chosen.pop("severity", rule.severity)
        if not chosen.pop("enabled", True):
            off.add(rule.name)
        limits[rule.name] = rule.limits(**chosen)
    models = tuple(
        ModelFile(path.parent / entry["file"], name, entry.get("owner", name), entry.get("shift_mm"))
        for name, entry in read.get("models", {}).items()
    )
    accepted = tuple(Acceptance(**entry) for entry in read.get("accepted", ()))
    _refuse_twice("[models] names the file", [entry["file"] for entry in read.get("models", {}).values()], path)
    _refuse_twice("[[accepted]] names the issue", [entry.issue for entry in accepted], path)
    return Settings(
        file=path,
        project=read.get("project", {}).get("name", ""),
        models=models,
        roles=read.get("roles", {}),
        layers=read.get("layers", {}),
        stated=read.get("stated", {}),
        ways=tuple(way for way in WAYS if {ON_COLUMNS: "checked", **read.get("ways", {})}.get(way) == "checked"),
        limits=limits,
        severities=severities,
        switched_off=frozenset(off),
        accepted=accepted,
        due_days=read.get("bcf", {}).get("due_days", {}),
        stage=read.get("bcf", {}).get("stage", ""),
        statuses=_statuses(read.get("bcf", {}).get("statuses", {}), path),
    )


def _statuses(read: Mapping[str, tuple[str, ...]], path: Path) -> Statuses:
    statuses = Statuses(**read)
    closed = {word.casefold() for word in statuses.closed}
    for word in (*statuses.open, *statuses.reopened):
        if word.casefold() in closed:
            raise BadSettings(
                f"{path.name}: [bcf.statuses] names '{word}' both for open and for closed. Remove one of them."
            )
    return statuses


def settings_schema(rules: Sequence[AnyRule]) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the project file, for editors that complete and check it."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FILE_NAME,
        **_shape(rules).schema(),
    }


def files_to_read(given: Sequence[Path], settings: Settings) -> tuple[ModelFile, ...]:
    """The model files of a run: those given, named and owned as ``[models]`` says, else those of ``[models]``.

    A file given is found in ``[models]`` by its path, else by its file name; one that is not there is named after
    itself and owns itself.

    Raises:
        BadSettings: There is no file, a file is given twice, or a file name fits several entries.
    """
    if not given:
        if not settings.models:
            raise BadSettings(f"No model: name the IFC files to check, or list them under [models] in {FILE_NAME}.")
        return settings.models
    _refuse_twice("The command line names the file", [os.path.realpath(path) for path in given])
    return tuple(_listed(path, settings) for path in given)


def _listed(path: Path, settings: Settings) -> ModelFile:
    entries = [entry for entry in settings.models if os.path.realpath(entry.path) == os.path.realpath(path)] or [
        entry for entry in settings.models if entry.path.name == path.name
    ]
    if len(entries) > 1:
        names = ", ".join(entry.name for entry in entries)
        raise BadSettings(f"{path}: [models] lists several files of this name ({names}). Rename one of them.")
    if entries:
        return dataclasses.replace(entries[0], path=path)
    return ModelFile(path, path.stem, path.stem)


def _refuse_twice(what: str, names: Sequence[str], file: Path | None = None) -> None:
    for name in names:
        if names.count(name) > 1:
            place = f"{file.name}: " if file else ""
            raise BadSettings(f"{place}{what} '{name}' twice. Remove one of them.")


def _toml(path: Path, data: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise BadSettings(f"{path.name}: is not UTF-8 (byte {error.start}). Save it as UTF-8.") from None
    except RecursionError:
        raise BadSettings(f"{path.name}: is nested too deeply to be a project file.") from None
    except ValueError as error:  # TOMLDecodeError, and numbers with more digits than Python converts
        raise BadSettings(f"{path.name}: is not valid TOML: {error}. Correct it there.") from None


# ---- the description of the file ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Place:
    """Where in the file a value stands: ``keys`` lead to it; the entry of a list is one of them, as ``#2``."""

    file: str
    keys: tuple[str, ...] = ()

    def __truediv__(self, key: str) -> "_Place":
        return _Place(self.file, (*self.keys, key))

    @property
    def table(self) -> str:
        """How to name the table that stands here."""
        if not self.keys:
            return self.file
        if self.keys[-1].startswith("#"):
            return f"{self.file}: [[{self.keys[-2]}]] entry {self.keys[-1][1:]}"
        return f"{self.file}: [{'.'.join(self.keys)}]"

    @property
    def value(self) -> str:
        """How to name the value that stands here."""
        above = _Place(self.file, self.keys[:-1]).table
        return f"{above}{' ' if len(self.keys) > 1 else ': '}{self.keys[-1]}"


class _Kind(Protocol):
    """What may stand at a place: reads it, or describes it as JSON Schema."""

    def read(self, value: object, place: _Place) -> object: ...
    def schema(self) -> dict[str, Any]: ...


@dataclass(frozen=True)
class _Value:
    """A single value: ``convert`` raises ValueError or TypeError for one that is not ``what``."""

    what: str
    convert: Callable[[Any], object]
    json: Mapping[str, object]
    means: str
    default: object = None

    def read(self, value: object, place: _Place) -> object:
        try:
            return self.convert(value)
        except (ValueError, TypeError, OverflowError):
            raise BadSettings(f"{place.value} must be {self.what}, not {_shown(value)}.") from None

    def schema(self) -> dict[str, Any]:
        default = {} if self.default is None else {"default": self.default}
        return {"description": self.means, **self.json, **default}


@dataclass(frozen=True)
class _Table:
    """A table whose keys are known; ``noun`` says what a key is."""

    keys: Mapping[str, _Kind]
    means: str
    noun: str = "setting"
    needs: tuple[str, ...] = ()

    def read(self, value: object, place: _Place) -> object:
        table = _table(value, place)
        for key in table:
            if key not in self.keys:
                raise BadSettings(f"{place.table} has no {self.noun} '{key}'. {did_you_mean(key, self.keys)}")
        read = {key: self.keys[key].read(inner, place / key) for key, inner in table.items()}
        for key in self.needs:
            if key not in table:
                raise BadSettings(f"{place.table} lacks '{key}'. Add it.")
        return read

    def schema(self) -> dict[str, Any]:
        needs = {"required": list(self.needs)} if self.needs else {}
        properties = {key: kind.schema() for key, kind in self.keys.items()}
        return {
            "description": self.means,
            "type": "object",
            "properties": properties,
            "additionalProperties": False,
            **needs,
        }


@dataclass(frozen=True)
class _Named:
    """A table whose keys the project chooses, all of one kind."""

    each: _Kind
    means: str

    def read(self, value: object, place: _Place) -> object:
        return {key: self.each.read(inner, place / key) for key, inner in _table(value, place).items()}

    def schema(self) -> dict[str, Any]:
        return {"description": self.means, "type": "object", "additionalProperties": self.each.schema()}


@dataclass(frozen=True)
class _Rows:
    """A list of tables of one kind."""

    each: _Kind
    means: str

    def read(self, value: object, place: _Place) -> object:
        if not isinstance(value, list):
            raise BadSettings(f"{place.value} must be written as [[{place.keys[-1]}]], not {_shown(value)}.")
        return tuple(self.each.read(inner, place / f"#{number}") for number, inner in enumerate(value, start=1))

    def schema(self) -> dict[str, Any]:
        return {"description": self.means, "type": "array", "items": self.each.schema()}


def _table(value: object, place: _Place) -> dict[str, object]:
    if not isinstance(value, dict):
        raise BadSettings(f"{place.value} must be a table, not {_shown(value)}.")
    return value


def _shown(value: object) -> str:
    """A value as a person wrote it, cut where it is long."""
    match value:
        case bool():
            return str(value).lower()
        case dict():
            return "a table"
        case list():
            return "a list"
        case datetime() | date():
            return value.isoformat()
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _number(unit: str, means: str, *, signed: bool = False, default: object = None) -> _Value:
    """A finite number, not below 0 unless ``signed``."""

    def convert(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise TypeError
        if not math.isfinite(value) or (value < 0 and not signed):
            raise ValueError
        return float(value)

    what = f"a number of {unit}"
    if signed:
        return _Value(what, convert, {"type": "number"}, means, default)
    return _Value(f"{what}, 0 or more", convert, {"type": "number", "minimum": 0}, means, default)


def _days(means: str) -> _Value:
    """A whole number of days."""

    def convert(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise TypeError
        if value != int(value) or not 0 <= value <= MOST_DAYS:
            raise ValueError
        return int(value)

    json = {"type": "integer", "minimum": 0, "maximum": MOST_DAYS}
    return _Value(f"a whole number of days, 0 to {MOST_DAYS}", convert, json, means)


def _text(what: str, means: str, pattern: str = r"\S") -> _Value:
    """A text in which ``pattern`` is found."""

    def convert(value: object) -> str:
        if not isinstance(value, str):
            raise TypeError
        if not re.search(pattern, value):
            raise ValueError
        return value

    return _Value(what, convert, {"type": "string", "pattern": pattern}, means)


def _one_of(choices: Sequence[str], means: str, default: object = None) -> _Value:
    def convert(value: object) -> str:
        if not isinstance(value, str):
            raise TypeError
        return choices[choices.index(value)]

    what = "one of " + ", ".join(f"'{choice}'" for choice in choices)
    return _Value(what, convert, {"enum": list(choices)}, means, default)


def _flag(means: str, default: object = None) -> _Value:
    def convert(value: object) -> bool:
        if not isinstance(value, bool):
            raise TypeError
        return value

    return _Value("true or false", convert, {"type": "boolean"}, means, default)


def _day(means: str) -> _Value:
    pattern = r"^\d{4}-\d{2}-\d{2}$"

    def convert(value: object) -> date:
        if isinstance(value, str) and re.fullmatch(pattern, value, re.ASCII):
            return date.fromisoformat(value)
        if not isinstance(value, date) or isinstance(value, datetime):
            raise TypeError
        return value

    return _Value("a day such as 2026-12-31", convert, {"type": "string", "format": "date", "pattern": pattern}, means)


def _texts(one_what: str, means: str) -> _Value:
    """A text, or a list of them."""
    one = _text("", "")

    def convert(value: object) -> tuple[str, ...]:
        texts = value if isinstance(value, list) else [value]
        if not texts:
            raise ValueError
        return tuple(cast(str, one.convert(text)) for text in texts)

    json = {"anyOf": [one.json, {"type": "array", "items": one.json, "minItems": 1}]}
    return _Value(one_what, convert, json, means)


def _shift(means: str) -> _Value:
    number = _number("mm", "", signed=True)

    def convert(value: object) -> tuple[float, ...]:
        if not isinstance(value, list) or len(value) != 3:
            raise ValueError
        return tuple(cast(float, number.convert(part)) for part in value)

    json = {"type": "array", "items": number.json, "minItems": 3, "maxItems": 3}
    return _Value("three numbers of mm, such as [0, 0, 500]", convert, json, means)


def _limit(limit: "dataclasses.Field[Any]") -> _Value:
    """What may be set for one limit of a rule: a flag or a number, as its default is."""
    unit, means = limit.metadata["unit"], limit.metadata["means"]
    if isinstance(limit.default, bool):
        return _flag(means, limit.default)
    return _number(unit, f"{means} ({unit})", default=limit.default)


def _rule(rule: AnyRule) -> _Table:
    common = {
        "severity": _one_of(SEVERITIES, "how grave a failure is", rule.severity),
        "enabled": _flag("false switches the rule off", True),
    }
    limits = {limit.name: _limit(limit) for limit in dataclasses.fields(rule.limits)}
    return _Table({**limits, **common}, f"limits of {rule.name}")


def _shape(rules: Sequence[AnyRule]) -> _Table:
    """The whole file. What it says for a person to read stands in the README."""
    need = _one_of(NEEDS, "what to do when this layer is in no model of the release", "expected")
    layers = sorted({rule.layer.name for rule in rules if rule.layer})
    model = {
        "file": _text("a file name", "path of the model, from the folder of this file"),
        "owner": _text("a text", "the trade that answers for the model; its name here when not given"),
        "shift_mm": _shift("how far to move the model before it is checked, x, y, z"),
    }
    accepted = {
        "issue": _text("the key a report shows, eight digits in quotes", "the key a report shows", r"^[0-9a-f]{8}$"),
        "upto_mm": _number("mm", "holds only while the worst value is not worse than this", signed=True),
        "until": _day("last day on which it holds"),
        "reason": _text("a text", "why it is tolerable"),
        "by": _text("a text", "who decided"),
    }
    ways = {
        way: _one_of(
            ("checked", "named"),
            f"panels {words}: ask the rules of them, or only name and count them",
            "checked" if way == ON_COLUMNS else "named",
        )
        for way, words in WAYS.items()
    }
    queries = {
        role: _texts("a query or a list of queries", f"what is a {role}: selector queries, any of which may fit")
        for role in ROLES
    }
    words: dict[str, _Kind] = {
        state: _texts("a word or a list of words", f"what BCF files call an issue that is {state}")
        for state in ("open", "closed", "reopened")
    }
    due: dict[str, _Kind] = {severity: _days("days until an issue of this severity is due") for severity in SEVERITIES}
    bcf: dict[str, _Kind] = {
        "due_days": _Table(due, "how many days after its release an issue is due", noun="severity"),
        "stage": _text("a text", "the stage of the project that issues belong to"),
        "statuses": _Table(words, "the words for the states of an issue", noun="state"),
    }
    return _Table(
        {
            "project": _Table({"name": _text("a text", "name of the project")}, "the project"),
            "models": _Named(_Table(model, "one model file", needs=("file",)), "names and owners of the model files"),
            "roles": _Table(queries, "which elements are what, where that is not recognised", noun="role"),
            "layers": _Table(dict.fromkeys(layers, need), "what is expected on the seams", noun="layer"),
            "stated": _Table(
                {
                    layer: _texts("a name or a list of names", f"further properties or materials that state {layer}")
                    for layer in layers
                },
                "what states that a layer is there where it is not drawn",
                noun="layer",
            ),
            "ways": _Table(ways, "what to do with each way of building that is recognised", noun="way"),
            "limits": _Table({rule.name: _rule(rule) for rule in rules}, "limits of the rules", noun="rule"),
            "bcf": _Table(bcf, "what issues in the BCF file say besides"),
            "accepted": _Rows(
                _Table(accepted, "one accepted issue", needs=("issue", "until", "reason", "by")),
                "issues the project lives with",
            ),
        },
        "project file of seamtrace",
        noun="section",
    )
