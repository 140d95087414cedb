"""``seams.csv``: every seam, good or bad, one a line, for a spreadsheet."""

import csv
import io
import math
from typing import Final

from checker.result import SeamTable

_DECIMALS: Final = (("_mm", 3), ("_m", 6), ("", 4))
"""Decimals by the end of a column's name; a column without unit is the share of a seam that a layer covers."""

_STARTS_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def seams_csv(seams: SeamTable) -> bytes:
    r"""The file's content: UTF-8 without mark, comma separated, lines ending in ``\r\n`` as RFC 4180 has them.

    Numbers have fixed decimals and a point; what was not measured is blank. Text that a spreadsheet would take for a
    formula gets an apostrophe in front.
    """
    sheet = io.StringIO(newline="")
    writer = csv.writer(sheet, lineterminator="\r\n")
    writer.writerow(map(_text, seams.columns))
    writer.writerows(zip(*(_cells(name, values) for name, values in seams.columns.items()), strict=True))
    return sheet.getvalue().encode("utf-8", errors="replace")


def _cells(name: str, values: list[str] | list[float | None]) -> list[str]:
    decimals = next(decimals for ending, decimals in _DECIMALS if name.endswith(ending))
    return [_text(value) if isinstance(value, str) else _number(value, decimals) for value in values]


def _number(value: float | None, decimals: int) -> str:
    return "" if value is None or math.isnan(value) else f"{value:z.{decimals}f}"


def _text(value: str) -> str:
    return f"'{value}" if value.startswith(_STARTS_FORMULA) else value
