"""What a run found: verdicts, issues, coverage. Outputs read these records and never each other."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from checker.model import Model

State = Literal["pass", "fail", "not-modelled", "undecided", "accepted"]
Severity = Literal["error", "warning", "note"]
SEVERITIES: Final[tuple[Severity, ...]] = ("error", "warning", "note")
"""Worst first."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """One (rule, subject) that fails, is accepted or undecided. ``point_m`` is in model coordinates (world)."""

    rule: str
    state: State
    severity: Severity
    subject: str
    kind: str
    value_mm: float | None
    minimum_mm: float | None
    maximum_mm: float | None
    elements: tuple[str, ...]
    point_m: tuple[float, float, float]
    facade: str
    axis: str
    message: str
    issue: str | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """The move that mends an issue: ``part`` (GlobalId) by ``vector_m`` (world), in words as seen from outside.

    ``also`` are further parts that must go the same way.
    """

    part: str
    what: str
    vector_m: tuple[float, float, float]
    distance_mm: float
    direction: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Issue:
    """What a person should act on once.

    ``key`` are the eight digits a report shows, ``check_id`` the canonical text it stands for, ``topic`` the UUID
    derived from it. ``members`` index into `Result.verdicts`, ``elements`` into ``Model.elements`` (the parts to
    flag, the part that should move first). ``point_m`` is the worst place in world coordinates, ``look`` (3,) the unit
    direction in which a camera best looks at it, ``size_m`` the length of the affected stretch.
    """

    key: str
    check_id: str
    topic: str
    rule: str
    severity: Severity
    title: str
    description: str
    members: tuple[int, ...]
    worst_mm: float | None
    owner: str
    elements: tuple[int, ...]
    point_m: tuple[float, float, float]
    look: tuple[float, float, float]
    size_m: float
    facade: str
    axis: str
    remedy: str
    move: Move | None = None
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often a rule was asked and what it said; ``length_m`` is the length of seam it looked at."""

    rule: str
    subjects: int
    passed: int
    failed: int
    not_modelled: int
    undecided: int
    accepted: int
    length_m: float


@dataclass(frozen=True, slots=True)
class WayFound:
    """One way of building that was recognised: how many panels stand so and what gaps are between their upright ends.

    ``gaps`` of ``length_m`` in all, ``occupied`` of them filled by something that is no sealing part, ``closed`` ones
    where the ends touch. Only where ``checked`` the rules are asked. ``says`` tells it in words.
    """

    way: str
    panels: int
    gaps: int
    length_m: float
    width_min_mm: float | None
    width_max_mm: float | None
    occupied: int
    closed: int
    checked: bool
    facades: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Occupied:
    """A seam in which something lies that is no sealing part: the ``share`` of the gap it fills, and what it is.

    ``elements`` are GlobalIds, classes and names, what fills most first.
    """

    subject: str
    share: float
    elements: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class SeamTable:
    """The columns of ``seams.csv``: equally long lists of text, numbers, or None for a blank."""

    columns: Mapping[str, list[str] | list[float | None]]


@dataclass(frozen=True)
class Result:
    """Everything a run found; ``unchecked`` says why nothing could be checked, or is "".

    ``ways`` are the ways of building it recognised, ``column_places`` the places in which the columns stand, some of
    them in several pieces one upon the other.
    """

    model: Model
    panels: int
    columns: int
    seams: SeamTable
    seam_length_m: float
    coverage: tuple[Coverage, ...]
    verdicts: tuple[Verdict, ...]
    issues: tuple[Issue, ...]
    notes: tuple[str, ...] = field(default=())
    ways: tuple[WayFound, ...] = ()
    occupied: tuple[Occupied, ...] = ()
    column_places: int = 0
    unchecked: str = ""

    def count(self, severity: Severity) -> int:
        """How many open issues (not accepted) have this severity."""
        return sum(1 for issue in self.issues if issue.severity == severity and not issue.accepted)
