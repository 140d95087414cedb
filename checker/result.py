"""What a run found: verdicts, issues, coverage. Outputs read these records and never each other."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from checker.errors import CannotCheck
from checker.model import Model
from checker.model import Severity as Severity

State = Literal["pass", "fail", "not-modelled", "undecided", "accepted"]
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
class SeamTable:
    """The columns of ``seams.csv``: equally long lists of text, numbers, or None for a blank."""

    columns: Mapping[str, list[str] | list[float | None]]


class Stopped(CannotCheck):
    """A check that could not go on after its models had arrived: what arrived is worth telling all the same."""

    def __init__(self, message: str, model: Model) -> None:
        super().__init__(message)
        self.model = model


@dataclass(frozen=True)
class Result:
    """Everything a run found."""

    model: Model
    panels: int
    columns: int
    seams: SeamTable
    seam_length_m: float
    coverage: tuple[Coverage, ...]
    verdicts: tuple[Verdict, ...]
    issues: tuple[Issue, ...]
    notes: tuple[str, ...] = field(default=())

    def count(self, severity: Severity) -> int:
        """How many open issues (not accepted) have this severity."""
        return sum(1 for issue in self.issues if issue.severity == severity and not issue.accepted)

    def remarked(self, severity: Severity) -> bool:
        """Whether there is a remark of this severity on what arrived."""
        return any(remark.severity == severity for one in self.model.intake for remark in one.remarks)
