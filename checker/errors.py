"""The one error tree. The command line shows the message alone and exits with 2.

A message says what is wrong, where, and what to do.
"""

from collections.abc import Iterable
from difflib import get_close_matches


class CannotCheck(Exception):
    """The check cannot be carried out because of its input: a user's matter, never our bug."""


class BadModel(CannotCheck):
    """A model file cannot be read or does not fit the others."""


class BadBcf(CannotCheck):
    """A BCF file cannot be read or added to."""


class BadSettings(CannotCheck):
    """The project file or an option is wrong."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A sentence with the nearest known name, or the list of all where none is near.

    >>> did_you_mean("minimun_mm", ["minimum_mm", "target_mm"])
    "Did you mean 'minimum_mm'?"
    """
    names = sorted(known)
    near = get_close_matches(word, names, n=1)
    if near:
        return f"Did you mean '{near[0]}'?"
    return "Known names: " + ", ".join(names) + "." if names else "Nothing can be set here."
