"""What a site's calendar shows, reckoned a second time: samplings are taken in thought, day after day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.oracle.dues import DAY, PAIR, Account, Due, answers, days_of, next_feeding
from tests.oracle.settings import SiteSettings
from tests.oracle.standing import Standing

FOUR_WEEKS = timedelta(days=27)
WORD_FOR_HOUSE = {"en": "House", "es": "Invernadero"}


def samplings_to_take(account: Account, dues: Sequence[Due], today: date) -> list[tuple[date, str, Due]]:
    """The dues of four weeks that need a sampling of their own, each with its day and what for; of a pair two."""
    last = min(today + FOUR_WEEKS, account.end or date.max)
    wanted = [
        (day, purpose, due)
        for due in sorted((one for one in dues if one.excuse is None), key=lambda one: one.order)
        for day, purpose in days_of(account, due, today)
        if (due.rule_on + DAY if due.purposes == PAIR and purpose == "after_feed" else due.due_on) <= last
        and (
            account.end is None
            or days_of(account, due, today)[0][0] <= account.end
            or not is_put_off(account, due, today)
        )
    ]
    taken: list[tuple[date, str, Due]] = []
    # Python's sort keeps the order of equal days, which is that of the dues.
    for day, purpose, due in sorted(wanted, key=lambda one: one[0]):
        # What was left out answers no more than what it was left out for.
        if not any(
            # What a pair asked for is read again only by both halves of another.
            answers(before, half if due.why == "after_pair_out" else one.purposes, due)
            for before, half, one in taken
            if one is not due
        ):
            taken.append((day, purpose, due))
    return taken


def is_put_off(account: Account, due: Due, today: date) -> bool:
    """Whether a pair that was not taken waits for another feeding."""
    return due.purposes == PAIR and due.due_on < today and next_feeding(account, today) is not None


def calendar_part(
    site: SiteSettings, standings: Sequence[Standing], minutes: float, today: date
) -> list[dict[str, Any]]:
    """Events that stand: beginning, length, house, and how many samplings each is for."""
    groups: dict[tuple[Any, ...], list[tuple[str, int]]] = {}
    for standing in sorted(standings, key=lambda one: one.lot.code.lower()):
        house = " ".join((standing.lot.house or "").split())
        for day, purpose, due in samplings_to_take(standing.account, standing.dues, today):
            is_by_lot = site.calendar == "lot"
            key = (day, house.lower(), *((standing.lot.code.lower(), due.why) if is_by_lot else ()))
            pots = due.pots if purpose == due.purposes else due.pots // 2
            groups.setdefault(key, []).append((house, pots))
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
