"""What is true of a written hall, as records and as text a person can read."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Literal

from checker.demo.defects import DEFECTS
from checker.demo.hall import Place


@dataclass(frozen=True, slots=True)
class SeamTruth:
    """One seam between the ends of two panels of a row.

    ``left``, ``right`` and ``column`` are GlobalIds, left and right as seen from outside. ``facade`` is the grid axis
    the facade stands on, ``row`` counts from 1 at the bottom. Offsets go from the column's centre line to the panel
    end at the narrowest height, positive where the panel stays clear of it. ``place`` (x, y, z) is in metres of the
    first file.
    """

    kind: Literal["panel-end"]
    left: str
    right: str
    column: str
    facade: str
    axis: str
    row: int
    length_mm: float
    width_min_mm: float
    width_max_mm: float
    offset_left_mm: float
    offset_right_mm: float
    place: Place


@dataclass(frozen=True, slots=True)
class Expected:
    """One verdict a check has to come to because of ``defect``.

    ``elements`` are GlobalIds, ``names`` what their file calls them; the first is the part that is wrong. ``seam``
    indexes `Truth.seams` where the verdict is about such a seam, ``side`` says which of its sides, if one. ``place``
    (x, y, z) is in metres of the first file. Values of layers are the longest stretch without cover on
    that seam; negative where two pieces overlap.
    """

    defect: str
    rule: str
    state: Literal["fail"]
    severity: Literal["error", "warning"]
    elements: tuple[str, ...]
    names: tuple[str, ...]
    value_mm: float
    minimum_mm: float | None
    maximum_mm: float | None
    place: Place
    says: str
    facade: str
    seam: int | None
    side: str


@dataclass(frozen=True, slots=True)
class Truth:
    """What was written and what is true of it."""

    files: tuple[Path, ...]
    seams: tuple[SeamTruth, ...]
    expected: tuple[Expected, ...]


def expected_text(truth: Truth) -> str:
    """One block for each verdict, in the order of the defects."""
    if not truth.expected:
        return "Nothing: this hall meets every limit.\n"
    return "\n".join(_block(one, truth.seams) for one in truth.expected)


def _block(one: Expected, seams: Sequence[SeamTruth]) -> str:
    where = f"facade {one.facade}"
    if one.seam is not None:
        seam = seams[one.seam]
        where += f", axis {seam.axis}, row {seam.row}"
    if one.side:
        where += f", {one.side} side"
    limits = {
        (True, True): "{0:g} to {1:g} mm",
        (True, False): "at least {0:g} mm",
        (False, True): "at most {1:g} mm",
    }[one.minimum_mm is not None, one.maximum_mm is not None]
    x, y, z = one.place
    lines = [
        f"{one.rule} ({one.severity})",
        f"  place     {where}, at {x:.3f} {y:.3f} {z:.3f} m",
        f"  value     {one.value_mm:g} mm: {one.says}",
        f"  required  {limits.format(one.minimum_mm, one.maximum_mm)}",
        *(
            f"  {'part' if number == 0 else '':<8}  {element}  {name}"
            for number, (element, name) in enumerate(zip(one.elements, one.names, strict=True))
        ),
        f"  because   {DEFECTS[one.defect].what}",
        "",
    ]
    return "\n".join(lines)


def seams_table(truth: Truth) -> str:
    """All seams as CSV, with the columns of a seam table that do not depend on a check."""
    text = StringIO()
    table = csv.writer(text, lineterminator="\n")
    measures = ["length_mm", "width_min_mm", "width_max_mm", "offset_left_mm", "offset_right_mm"]
    table.writerow(["kind", "facade", "axis", "row", *measures, "left", "right", "column", "x_m", "y_m", "z_m"])
    for seam in truth.seams:
        values = [f"{getattr(seam, name):g}" for name in measures]
        parts = [seam.left, seam.right, seam.column]
        table.writerow(
            [seam.kind, seam.facade, seam.axis, seam.row, *values, *parts, *(f"{c:.4f}" for c in seam.place)]
        )
    return text.getvalue()
