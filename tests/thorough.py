"""How much is tried: with THOROUGH=1 in the environment everything, else a part that is always the same."""

import os
from collections.abc import Iterable
from typing import TypeVar

THOROUGH = os.environ.get("THOROUGH", "") not in ("", "0")
Each = TypeVar("Each")


def some(examples: int) -> int:
    """How many examples of a law are drawn."""
    return examples if THOROUGH else max(4, examples // 3)


def some_of(cases: Iterable[Each], every: int = 3) -> list[Each]:
    """All cases, or every third (or other) one, the first among them."""
    return list(cases)[:: 1 if THOROUGH else every]
