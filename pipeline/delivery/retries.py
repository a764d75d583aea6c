"""When a letter that was not taken is tried again. Pure: it decides, somebody else waits."""

from __future__ import annotations

from datetime import datetime, timedelta

WAITS = (
    timedelta(minutes=5),
    timedelta(minutes=15),
    timedelta(hours=1),
    timedelta(hours=3),
    timedelta(hours=8),
    timedelta(hours=24),
    timedelta(hours=24),
)
"""House default: short first, because greylisting asks for minutes; given up after 2.5 days (RFC 5321, 4.5.4.1
says that giving up takes at least 4-5 days for a relay; a week's report is stale by then)."""


def next_attempt_at(attempts: int, now: datetime) -> datetime | None:
    """When to try again after so many attempts that failed for the time being; None: give up."""
    return now + WAITS[attempts - 1] if 0 < attempts <= len(WAITS) else None
