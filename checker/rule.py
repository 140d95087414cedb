"""What a rule author imports: `rule`, `limit`, `Verdicts`, and the questions that make verdicts.

A rule is one function in one file of `rules/`. It declares its limits, remedy and two sketches, and answers for all its
subjects at once with arrays. It opens no file, prints nothing and asks no other rule, though it may look at the layer
of one.
"""

import importlib
import pkgutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from typing import Any, Final, Generic, Literal, TypeVar, cast

import numpy as np

from checker.barrier import AirLines, air_lines
from checker.errors import CannotCheck
from checker.facade import Facade, Layer, Subjects, taken
from checker.geometry import SAME_LENGTH
from checker.layers import Laps, laps
from checker.model import ROLES, Bools, Floats, Ints
from checker.result import Severity
from checker.sketch import Sketch

Basis = Literal["standard", "published", "practice", "project"]
PASS: Final = 0
FAIL: Final = 1
NOT_MODELLED: Final = 2
UNDECIDED: Final = 3
MM: Final = 1000.0


def limit(
    default: float | bool, unit: str, means: str, *, basis: Basis, source: str = "common practice, no source"
) -> Any:
    """A number that a project may set, with its unit, meaning, basis and source (for a rule's ``Limits`` class)."""
    return field(default=default, metadata={"unit": unit, "means": means, "basis": basis, "source": source})


@dataclass(frozen=True)
class Blame:
    """Per subject (n,) the part that should move, and the shifts that mend it.

    ``part`` element numbers (-1: nobody can tell); ``what`` words for it ("end of the left panel"); ``along`` (n, 3)
    the unit direction of the shift; ``least`` and ``most`` (n,) the shifts in metres that bring the subject within its
    limits; ``cause`` (n,) equal numbers share one cause and become one issue; ``anchor`` the elements that name it.
    ``also`` (n, k) are further parts that must go the same way, -1 for none.
    """

    part: Ints
    what: Sequence[str]
    along: Floats
    least: Floats
    most: Floats
    cause: Ints
    anchor: Ints
    also: Ints | None = None

    @classmethod
    def unmovable(cls, part: Ints, along: Floats, cause: Ints, anchor: Ints) -> "Blame":
        """Blame where no shift of a part mends anything: something is missing or of the wrong length."""
        count = len(part)
        return cls(part, ("",) * count, along, np.full(count, np.inf), np.full(count, -np.inf), cause, anchor)


@dataclass(frozen=True)
class Verdicts:
    """A rule's answer for n subjects: arrays (n,) unless said otherwise.

    ``state`` one of PASS, FAIL, NOT_MODELLED, UNDECIDED; ``value_mm`` the measured value (NaN for none); ``minimum_mm``
    and ``maximum_mm`` what is required (NaN for no bound); ``point`` (n, 3) the worst place; ``says`` the sentence for
    each; ``warning`` marks failures that only warn; ``pieces`` (n, k) are further parts concerned (-1 for none).
    ``span`` (n, 2, 3) are the two places between which the value lies, NaN where it is no distance; ``like`` (n,) is a
    part such as is missing there (-1 for none): both for the picture of a section. ``stated`` marks what passes because
    the models state it; nothing was measured there.
    """

    state: Ints
    value_mm: Floats
    minimum_mm: Floats
    maximum_mm: Floats
    point: Floats
    says: Sequence[str]
    warning: Bools
    blame: Blame | None = None
    pieces: Ints | None = None
    span: Floats | None = None
    like: Ints | None = None
    stated: Bools | None = None


Subject = TypeVar("Subject", bound=Subjects)
Limits = TypeVar("Limits")


@dataclass(frozen=True)
class Rule(Generic[Subject, Limits]):
    """One rule, as declared.

    ``needs`` are the roles without which it cannot be asked, ``lengthwise`` is the cut that shows what is measured
    along a subject: square to the facade or facing it. ``formerly`` are names it has had: issues keep them.
    """

    name: str
    title: str
    text: str
    subject: type[Subject]
    limits: type[Limits]
    remedy: str
    needs: tuple[str, ...]
    layer: Layer | None
    severity: Severity
    seen_from: Literal["outside", "inside"]
    lengthwise: Literal["square", "facing"]
    good: Sketch
    bad: Sketch
    check: Callable[[Subject, Facade, Limits], Verdicts]
    where: Callable[[Subject, Facade], Bools] | None = None
    formerly: tuple[str, ...] = ()

    def subjects(self, facade: Facade) -> Subjects:
        """Every subject of the rule's kind."""
        if self.subject is Laps and self.layer:
            return laps(facade, self.layer)
        return air_lines(facade) if self.subject is AirLines else facade.of(self.subject)

    def ask(self, facade: Facade, limits: Limits) -> tuple[Subject, Verdicts]:
        """The subjects of the rule, those of its kind for which ``where`` holds, and what it says of each."""
        every = cast(Subject, self.subjects(facade))
        verdicts = self.check(every, facade, limits)
        if self.where is None:
            return every, verdicts
        mine = self.where(every, facade)
        return taken(every, mine), taken(verdicts, mine)


def rule(
    *,
    subject: type[Subject],
    limits: type[Limits],
    remedy: str,
    needs: tuple[str, ...],
    good: Sketch,
    bad: Sketch,
    layer: Layer | None = None,
    severity: Severity = "error",
    seen_from: Literal["outside", "inside"] = "outside",
    where: Callable[[Subject, Facade], Bools] | None = None,
    lengthwise: Literal["square", "facing"] = "square",
    formerly: tuple[str, ...] = (),
) -> Callable[[Callable[[Subject, Facade, Limits], Verdicts]], Rule[Subject, Limits]]:
    """Declare a rule; its name is the function's, with hyphens; its words are the docstring.

    The check answers for every subject of its kind; ``where`` says which of them the rule is about (n,), all if None.
    """

    def declare(check: Callable[[Subject, Facade, Limits], Verdicts]) -> Rule[Subject, Limits]:
        text = " ".join((check.__doc__ or "").split("\n    "))
        if not text.strip():
            raise TypeError(f"rule {check.__name__} says nothing about itself")
        if unknown := set(needs) - set(ROLES):
            raise TypeError(f"rule {check.__name__} needs unknown roles {sorted(unknown)}")
        title = text.strip().split(".")[0].strip()
        return Rule(
            check.__name__.replace("_", "-"),
            title,
            " ".join(text.split()),
            subject,
            limits,
            remedy,
            needs,
            layer,
            severity,
            seen_from,
            lengthwise,
            good,
            bad,
            check,
            where,
            formerly,
        )

    return declare


@cache
def load_rules() -> tuple[Rule[Any, Any], ...]:
    """Every rule that lies in the package `rules`, sorted by name.

    Raises:
        CannotCheck: another distribution's package of that name is in the way, or no rule is found.
    """
    package = importlib.import_module("rules")
    if getattr(package, "BELONGS_TO", "") != "seamtrace":
        raise CannotCheck(
            "Another package called 'rules' hides seamtrace's own: install seamtrace in an environment of its own."
        )
    found: dict[str, Rule[Any, Any]] = {}
    for module in sorted(info.name for info in pkgutil.iter_modules(package.__path__)):
        for thing in vars(importlib.import_module(f"rules.{module}")).values():
            if isinstance(thing, Rule):
                found[thing.name] = thing
    if not found:
        raise CannotCheck("No rules are installed: the package 'rules' is empty. Install seamtrace again.")
    for each in found.values():
        for setting in fields(each.limits):
            if setting.default is MISSING or "basis" not in setting.metadata:
                raise TypeError(f"{each.name}: limit {setting.name} lacks a default or a basis")
    return tuple(found[name] for name in sorted(found))


def exceeds(values: Floats, low: float | Floats, high: float | Floats) -> Bools:
    """Outside the limits by more than measuring can tell apart (0.01 mm); all in metres. NaN is never outside."""
    result: Bools = (values < low - SAME_LENGTH) | (values > high + SAME_LENGTH)
    return result


def within(
    smallest: Floats,
    largest: Floats,
    low_mm: float | Floats,
    high_mm: float | Floats,
    *,
    at_smallest: Floats,
    at_largest: Floats,
    fault: Sequence[str],
    says_low: str,
    says_high: str,
    says_negative: str = "",
    blame: Blame | None = None,
    words: Mapping[str, Sequence[str]] | None = None,
    way: Floats | None = None,
    before: float = 0.0,
) -> Verdicts:
    """Verdicts on a quantity that varies between ``smallest`` and ``largest`` (n,) in metres along each subject.

    ``low_mm`` and ``high_mm`` are what is required, of all subjects or of each (n,); infinite for no bound.
    The worse end decides and gives value and place (n, 3). ``says_low`` and ``says_high`` are sentences with
    ``{value}``, ``{distance}`` (without sign) and the keys of ``words``, which has one word per subject;
    ``says_negative`` replaces the former where the value is below zero. Subjects with a ``fault`` or NaN are undecided
    and say why. Where the quantity is a distance it runs from its place along ``way`` (n, 3), a unit vector, or has the
    share ``before`` of it before that place.
    """
    count = len(smallest)
    least_mm, most_mm = np.broadcast_to(low_mm, count).astype(float), np.broadcast_to(high_mm, count).astype(float)
    low, high = least_mm / MM, most_mm / MM
    too_low, too_high = low - smallest, largest - high
    lower = too_low >= too_high
    value = np.where(lower, smallest, largest)
    bad = exceeds(smallest, low, np.inf) | exceeds(largest, -np.inf, high)
    undecided = np.array([bool(text) for text in fault], bool) | np.isnan(value)
    state = np.where(undecided, UNDECIDED, np.where(bad, FAIL, PASS))
    says = []
    for i in range(len(value)):
        if undecided[i]:
            says.append(fault[i] or "cannot be measured")
        elif bad[i]:
            more = {name: texts[i] for name, texts in (words or {}).items()}
            numbers = {"value": in_mm(value[i]), "distance": in_mm(abs(value[i]))}
            low_says = says_negative if says_negative and value[i] < -SAME_LENGTH else says_low
            sentence = (low_says if lower[i] else says_high).format(**numbers, **more)
            says.append(f"{sentence}, required {required_range(least_mm[i], most_mm[i])}")
        else:
            says.append("")
    point = np.where(lower[:, None], at_smallest, at_largest)
    return Verdicts(
        state=state,
        value_mm=np.where(undecided, np.nan, value * MM),
        minimum_mm=np.where(np.isfinite(least_mm), least_mm, np.nan),
        maximum_mm=np.where(np.isfinite(most_mm), most_mm, np.nan),
        point=point,
        says=says,
        warning=np.zeros(count, bool),
        blame=blame,
        span=None if way is None else spans(point, way, value, before),
    )


def spans(point: Floats, way: Floats, value: Floats, before: float = 0.0) -> Floats:
    """The two places (n, 2, 3) between which distances ``value`` (n,) along ``way`` lie, see `within`; NaN for none."""
    ends, value = np.array([-before, 1.0 - before]), np.where(np.isfinite(value), value, np.nan)
    result: Floats = point[:, None] + ends[None, :, None] * (way * value[:, None])[:, None]
    return result


def in_mm(metres: float) -> str:
    """A length as people read it, to a tenth; nothing is never less than nothing.

    >>> in_mm(0.02204), in_mm(-0.00001)
    ('22.0 mm', '0.0 mm')
    """
    return f"{round(metres * MM, 1) + 0.0:.1f} mm"


def required_range(low_mm: float, high_mm: float) -> str:
    """A range as people write it.

    >>> required_range(25.0, 35.0), required_range(100.0, float("inf")), required_range(-10.0, 10.0)
    ('25 to 35 mm', 'at least 100 mm', 'within 10 mm')
    """
    if low_mm == -high_mm:
        return f"within {high_mm:g} mm"
    if not np.isfinite(high_mm):
        return f"at least {low_mm:g} mm"
    if not np.isfinite(low_mm):
        return f"at most {high_mm:g} mm"
    return f"{low_mm:g} to {high_mm:g} mm"
