"""Times in the history (milliseconds since 1970 UTC) as people write them, in the bench's own time zone."""

import time
from datetime import datetime, timedelta

from curbtick.errors import InputError

UNKNOWN = "time unknown"
# A day of 24 hours; day_end_ms knows the others.
DAY_MS = 86_400_000
# Times are counted from 1970, and a day ends on the next one, which must exist too. A year's margin at both ends
# is for the time zones.
YEARS = range(1971, 9999)


def now_ms() -> int:
    """The bench's clock, in milliseconds since 1970 UTC."""
    return time.time_ns() // 1_000_000


def local(time_ms: int) -> datetime:
    """The moment in the bench's time zone."""
    return datetime.fromtimestamp(time_ms / 1000).astimezone()


def when(time_ms: int | None) -> str:
    """Date and time, such as 2026-11-24 14:05."""
    return UNKNOWN if time_ms is None else local(time_ms).strftime("%Y-%m-%d %H:%M")


def date(time_ms: int | None) -> str:
    """Date alone."""
    return UNKNOWN if time_ms is None else local(time_ms).strftime("%Y-%m-%d")


def day_start_ms(day: str | None) -> int:
    """Start of a day given as 2026-11-24; today when None. Raises InputError."""
    try:
        parsed = datetime.fromisoformat(day) if day else datetime.now()
    except ValueError as error:
        raise InputError(
            f"{day} is not a date.", "Nothing was changed.", "Write it as 2026-11-24."
        ) from error
    if parsed.year not in YEARS:
        raise InputError(
            f"{day} is no day that a history can hold.",
            "Nothing was changed.",
            f"Give a year from {YEARS[0]} to {YEARS[-1]}.",
        )
    midnight = parsed.replace(hour=0, minute=0, second=0, microsecond=0)
    return int(midnight.astimezone().timestamp() * 1000)


def day_end_ms(start_ms: int) -> int:
    """Start of the day after the one that begins at start_ms; a day may have 23 or 25 hours."""
    next_day = datetime.fromtimestamp(start_ms / 1000) + timedelta(days=1)
    return int(next_day.replace(hour=0, minute=0).astimezone().timestamp() * 1000)
