"""What a site's calendar shows, reckoned a second time: samplings are taken in thought, day after day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.oracle.dues import Account, Due, days_from
from tests.oracle.settings import SiteSettings
from tests.oracle.standing import Standing

FOUR_WEEKS = timedelta(days=27)
WORD_FOR_HOUSE = {"en": "House", "es": "Invernadero"}


def taken_on(account: Account, due: Due, today: date) -> date:
    """The day of a due; once it is past, the first day from today on which the site samples."""
    if due.due_on >= today:
        return due.due_on
    return next((day for day in days_from(today, today + FOUR_WEEKS) if not account.is_closed(day)), today)


def answers(day: date, purposes: str, other: Due) -> bool:
    """Whether a sampling of a day is what another due asks for as well."""
    if other.not_before is not None and day < other.not_before:
        return False
    if other.purposes == "routine":
        return purposes in ("routine", "retest", "before_feed,after_feed")
    return other.purposes == "retest" and purposes in ("routine", "retest")


def samplings_to_take(account: Account, dues: Sequence[Due], today: date) -> list[tuple[date, Due]]:
    """The dues of four weeks that need a sampling of their own, each with its day."""
    last = min(today + FOUR_WEEKS, account.end or date.max)
    wanted = [
        (taken_on(account, due, today), due)
        for due in sorted((one for one in dues if one.excuse is None), key=lambda one: one.order)
        if due.due_on <= last
    ]
    taken: list[tuple[date, Due]] = []
    # Python's sort keeps the order of equal days, which is that of the dues.
    for day, due in sorted(wanted, key=lambda one: one[0]):
        # What was left out answers no more than what it was left out for.
        if not any(answers(before, one.purposes, due) for before, one in taken):
            taken.append((day, due))
    return taken


def calendar_part(
    site: SiteSettings, standings: Sequence[Standing], minutes: float, today: date
) -> list[dict[str, Any]]:
    """Events that stand: beginning, length, house, and how many samplings each is for."""
    groups: dict[tuple[Any, ...], list[tuple[str, int]]] = {}
    for standing in sorted(standings, key=lambda one: one.lot.code.lower()):
        house = " ".join((standing.lot.house or "").split())
        for day, due in samplings_to_take(standing.account, standing.dues, today):
            is_by_lot = site.calendar == "lot"
            key = (day, house.lower(), *((standing.lot.code.lower(), due.why) if is_by_lot else ()))
            groups.setdefault(key, []).append((house, due.pots))
    return [
        {
            "starts_at": f"{key[0].isoformat()}T{site.calendar_time}:00",
            "time_zone": site.time_zone,
            "minutes": max(1, math.ceil(round(sum(pots for _, pots in rows) * minutes, 6))),
            "location": name_house(rows[0][0], site.language),
            "samplings": len(rows),
        }
        for key, rows in groups.items()
    ]


def name_house(house: str, language: str) -> str:
    is_bare = 0 < len(house) <= 3 and " " not in house
    return f"{WORD_FOR_HOUSE[language]} {house}" if is_bare else house


def compare_calendar(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Events that stand; UIDs, numbers and what is cancelled hang on earlier nights and have tests of their own."""
    ours = Counter(
        (row["starts_at"], row["time_zone"], row["minutes"], row["location"], len(row["description"]))
        for row in found
        if row["status"] == "confirmed"
    )
    theirs = Counter(tuple(row.values()) for row in wanted)
    only = [
        (who, (one - other).elements())
        for who, one, other in (("the summary", ours, theirs), ("the oracle", theirs, ours))
    ]
    return [f"{where}: only {who} has {event}" for who, events in only for event in sorted(events)]
