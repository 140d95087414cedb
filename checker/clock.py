"""The day by which acceptances are judged, and the moment that ``SOURCE_DATE_EPOCH`` sets instead of it."""

import os
from datetime import UTC, date, datetime

from checker.errors import BadSettings


def set_moment() -> datetime | None:
    """What ``SOURCE_DATE_EPOCH`` says, None where it says nothing. Raises `BadSettings` for anything but seconds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not epoch:
        return None
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise BadSettings(f"SOURCE_DATE_EPOCH is '{epoch}': give whole seconds since 1970.") from None


def today() -> date:
    """The day on which acceptances are judged: they must run out by the calendar."""
    return (set_moment() or datetime.now(UTC)).date()
