"""What a run found: verdicts, issues, coverage. Outputs read these records and never each other."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

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


Point = tuple[float, float, float]
SectionKind = Literal["plan", "upright", "facing"]


@dataclass(frozen=True, slots=True)
class Section:
    """The cut that shows an issue best, in world coordinates.

    ``kind`` is ``plan``, ``upright`` or ``facing`` (parallel to the facade). The plane runs through ``point_m``, square
    to ``towards``, a unit vector that points at the viewer; ``up`` is up in the picture. ``span`` are the two places
    between which the value was measured, where the cut shows both. ``like`` is the number of an element such as is
    missing here; moved by ``like_m`` it would be in its place.
    """

    kind: SectionKind
    point_m: Point
    towards: Point
    up: Point
    span: tuple[Point, Point] | None = None
    like: int | None = None
    like_m: Point = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Issue:
    """What a person should act on once.

    ``key`` are the eight digits a report shows, ``check_id`` the canonical text it stands for, ``topic`` the UUID
    derived from it. ``members`` index into `Result.verdicts`, ``elements`` into ``Model.elements`` (the parts to
    flag, the part that should move first). ``point_m`` is the worst place in world coordinates, ``look`` (3,) the unit
    direction in which a camera best looks at it, ``size_m`` the length of the affected stretch.
    ``section`` is the cut through that place.
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
    section: Section
    move: Move | None = None
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often a rule was asked and what it said; ``length_m`` is the length of seam it looked at.

    ``stated`` of those that passed did so because the models state the layer; nothing was measured there.
    """

    rule: str
    subjects: int
    passed: int
    failed: int
    not_modelled: int
    undecided: int
    accepted: int
    length_m: float
    stated: int = 0


Life = Literal["new", "worse", "back", "mended", "better", "accepted", "unchanged", "no longer checkable"]
LIVES: Final[tuple[Life, ...]] = (
    "new",
    "worse",
    "back",
    "mended",
    "better",
    "accepted",
    "unchanged",
    "no longer checkable",
)
"""What can become of an issue from one release to the next, in the order in which it is told."""


@dataclass(frozen=True, slots=True)
class Remark:
    """What is to be said of an issue in the BCF file: a comment, perhaps a new status, perhaps new viewpoints."""

    guid: str
    text: str
    status: str = ""
    view: bool = False


@dataclass(frozen=True, slots=True)
class Change:
    """What has become of one issue since the previous release.

    ``rung`` tells by what it was recognised (``""`` where nothing had to be), ``was_mm`` and ``now_mm`` its worst value
    then and now, ``says`` more in a sentence. ``issue`` is its place in ``Result.issues``, None where nothing fails.
    """

    key: str
    topic: str
    rule: str
    life: Life
    says: str
    rung: str = ""
    was_mm: float | None = None
    now_mm: float | None = None
    issue: int | None = None
    remark: Remark | None = None


@dataclass(frozen=True, slots=True)
class PartChange:
    """A part at the seams that came, went, moved or has another shape: its GlobalId now (or last), role and mark.

    ``was`` is its former GlobalId where that is another one, ``rung`` by what it was recognised. ``by_mm`` tells how
    far the middle of a moved body went, or the furthest that a side of a reshaped one did.
    """

    guid: str
    what: Literal["added", "removed", "moved", "reshaped"]
    role: str
    mark: str
    model: str
    was: str = ""
    rung: str = ""
    by_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Changes:
    """What changed since the previous release.

    ``since`` names what was compared with. ``parts`` are None where nothing is known of the previous release's parts,
    ``renamed`` counts the parts recognised under another GlobalId, by rung.
    """

    since: str
    issues: tuple[Change, ...]
    parts: tuple[PartChange, ...] | None = None
    renamed: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def count(self, life: Life) -> int:
        """How many issues this has become of."""
        return sum(1 for change in self.issues if change.life == life)


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
class Airtight:
    """Metres of seam on the airtight line: ``closed``, of which ``stated`` without being drawn, and what is not."""

    closed_m: float
    stated_m: float
    broken_m: float
    not_modelled_m: float
    undecided_m: float


@dataclass(frozen=True, slots=True)
class SeamTable:
    """The columns of ``seams.csv``: equally long lists of text, numbers, or None for a blank."""

    columns: Mapping[str, list[str] | list[float | None]]


@dataclass(frozen=True)
class Result:
    """Everything a run found; ``unchecked`` says why nothing could be checked, or is "".

    ``ways`` are the ways of building it recognised, ``column_places`` the places in which the columns stand, some of
    them in several pieces one upon the other.
    ``due_days`` tells how many days after the release an issue of a severity is due, ``stage`` the stage of the project
    that issues belong to, where the project has set them; ``statuses`` are its words for the states of issues.
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
    changes: Changes | None = None
    due_days: Mapping[Severity, int] = field(default_factory=dict)
    stage: str = ""
    statuses: tuple[str, ...] = ("Open", "Closed", "ReOpened")
    ways: tuple[WayFound, ...] = ()
    occupied: tuple[Occupied, ...] = ()
    column_places: int = 0
    unchecked: str = ""
    airtight: Airtight | None = None

    def count(self, severity: Severity) -> int:
        """How many open issues (not accepted) have this severity."""
        return sum(1 for issue in self.issues if issue.severity == severity and not issue.accepted)

    def remarked(self, severity: Severity) -> bool:
        """Whether there is a remark of this severity on what arrived."""
        return any(remark.severity == severity for one in self.model.intake for remark in one.remarks)
