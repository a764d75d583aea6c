"""The sampling sheet, once more in plain Python: who is on it, in which order, why, with what recipe and how many pots.

Where pots are drawn has tests of its own; here only their numbers are compared.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from tests.oracle.dues import DAY, ORDER, PAIR, Account, Due, next_feeding
from tests.oracle.fates import Lot, SiteFacts
from tests.oracle.settings import Policy, SiteSettings, fold
from tests.oracle.standing import Standing

DAYS_AHEAD = 6
METER_DAYS = 60
# Foxboro instruction MI 611-211, October 2005, Table 7.
BUFFERS = (
    (4.00, {"15": 4.00, "20": 4.00, "25": 4.00, "30": 4.01}),
    (7.00, {"15": 7.04, "20": 7.02, "25": 7.00, "30": 6.99}),
    (10.01, {"15": 10.12, "20": 10.06, "25": 10.01, "30": 9.97}),
)
NOWHERE = 10**6


def digits_last(name: str | None) -> list[object]:
    """A key of its own: runs of digits are numbers and come before letters' runs; no name comes last."""
    if not (name or "").strip():
        return [1]
    parts = re.findall(r"\d+|\D+", fold(name or ""))
    return [0, *((1, int(part), "") if part[0].isdigit() else (0, 0, part) for part in parts)]


def mapped(site: SiteSettings, house: str | None, bench: str | None) -> list[int]:
    """Where in the walk the benches of a lot are; of the whole house where no bench is named."""
    walk = [(number, fold(one.house), fold(one.name)) for number, one in enumerate(site.benches)]
    here = [(number, name) for number, in_house, name in walk if in_house == fold(house or "")]
    if not (bench or "").strip():
        return [number for number, _ in here]
    whole = [number for number, name in here if name == fold(bench or "")]
    parts = {fold(part) for part in re.split(r"[,;/+&]|\band\b", bench or "")}
    return whole or [number for number, name in here if name in parts]


def place_in_walk(site: SiteSettings, standing: Standing, due: Due) -> tuple[object, ...]:
    lot = standing.lot
    on = mapped(site, lot.house, lot.bench)
    in_house = [number for number, one in enumerate(site.benches) if fold(one.house) == fold(lot.house or "")]
    return (
        min(in_house, default=NOWHERE),
        digits_last(lot.house),
        min(on, default=NOWHERE),
        digits_last(lot.bench),
        digits_last(lot.code),
        due.due_on,
        due.purposes,
    )


def put_off(account: Account, due: Due, as_of: date) -> tuple[date, date] | None:
    """The days of the feeding for which a pair waits that was not taken around its own."""
    return next_feeding(account, as_of) if due.purposes == PAIR and due.due_on < as_of else None


def begins_on(account: Account, due: Due, as_of: date) -> date:
    """The day of a due, or the first one of the feeding for which it waits."""
    waits = put_off(account, due, as_of)
    return due.due_on if waits is None else waits[0]


def shared(account: Account, dues: Sequence[Due], as_of: date) -> list[list[Due]]:
    """Dues that one sampling answers: each goes to the first sampling that does."""
    samplings: list[list[Due]] = []
    for due in dues:
        mine = None
        for sampling in samplings:
            first = sampling[0]
            day = max(first.due_on, as_of)
            if due.not_before is not None and day < due.not_before:
                continue
            both = {first.purposes, due.purposes}
            is_paired = first.why == "feed_pair"
            waits = put_off(account, first, as_of)
            in_time = waits is None or waits[0] <= max(due.due_on, as_of)
            is_again = is_read_again(first, due, as_of, waits)
            stands_for = is_paired and ((due.purposes == "routine" and in_time) or is_again)
            if mine is None and (len(both) == 1 or both == {"routine", "retest"} or stands_for):
                mine = sampling
        if mine is None:
            samplings.append([due])
        else:
            mine.append(due)
    return samplings


def is_read_again(pair: Due, due: Due, as_of: date, waits: tuple[date, date] | None) -> bool:
    """Whether a pair is the repetition that an earlier pair asked for: both days of it, by then."""
    late = pair.due_on < as_of
    days = (
        list(waits)
        if waits is not None
        else [as_of, as_of + DAY]
        if late
        else [pair.due_on, pair.rule_on + DAY]
    )
    second = max(pair.due_on, as_of) if pair.purposes == "after_feed" else days[1]
    return due.why == "after_pair_out" and second <= max(due.due_on, as_of)


def interval_of(standing: Standing, due: Due) -> int:
    account = standing.account
    if due.why == "first":
        return account.first_within
    if due.why in ("routine", "problem_crop", "feed_pair"):
        return account.interval
    return (
        account.after_out_within
        if due.why in ("after_out", "after_pair_out")
        else (due.rule_on - due.caused_on).days
    )


def due_part(standing: Standing, due: Due, as_of: date) -> dict[str, Any]:
    return {
        "why": due.why,
        "rule_on": (
            put_off_to[1] - DAY
            if (put_off_to := put_off(standing.account, due, as_of)) is not None
            else due.rule_on - (DAY if due.purposes == "after_feed" else 0 * DAY)
        ).isoformat(),
        "due_on": due.due_on.isoformat(),
        "days_overdue": (as_of - due.due_on).days if due.due_on < as_of else None,
        "interval_days": interval_of(standing, due),
        "caused_on": due.caused_on.isoformat(),
    }


def has_too_few(lot: Lot, recipe: Mapping[str, Any]) -> bool:
    return lot.plants is not None and lot.plants < recipe["min_usable_pots"]


def sheet_lot(standing: Standing, dues: Sequence[Due], policy: Policy, as_of: date) -> dict[str, Any]:
    lot, recipe = standing.lot, policy.containers[standing.lot.container_class]
    purposes = dues[0].purposes.split(",")
    each = -(-max(due.pots for due in dues) // len(purposes))
    waits = sorted(due.not_before for due in dues if due.not_before is not None and due.not_before > as_of)
    return {
        "lot_id": lot.code,
        "house": lot.house,
        "bench": lot.bench,
        "crop": lot.crop,
        "cultivar": lot.cultivar,
        "container_class": lot.container_class,
        "plants": lot.plants,
        "needed_pots": recipe["min_usable_pots"] if has_too_few(lot, recipe) else None,
        "due": due_part(standing, dues[0], as_of),
        "also": [due_part(standing, due, as_of) for due in dues[1:]],
        "not_before": waits[-1].isoformat() if waits else None,
        "pour_ml": float(recipe["pour_ml"]),
        "collect_low_ml": float(recipe["leachate_low_ml"]),
        "collect_high_ml": float(recipe["leachate_high_ml"]),
        "drain_low_min": float(recipe["drain_low_min"]),
        "drain_high_min": float(recipe["drain_high_min"]),
        "groups": [{"purpose": purpose, "pots": each} for purpose in purposes],
    }


def meters_seen(facts: SiteFacts, as_of: date) -> list[str]:
    """Meters of the last sixty days, one name each whatever its case."""
    seen = [(one.meter_id, one.sampled_on) for one in facts.readings] + [
        (one.meter_id, one.day) for one in facts.calibrations
    ]
    names: dict[str, list[str]] = {}
    for name, day in seen:
        if name is not None and as_of - timedelta(days=METER_DAYS) < day <= as_of:
            names.setdefault(name.lower(), []).append(name)
    return sorted((min(each) for each in names.values()), key=digits_last)


def left_out(standings: Sequence[Standing], until: date, as_of: date) -> list[dict[str, Any]]:
    """Dues that nobody is asked for: of each lot and rule the first excused one, or one after shipping."""
    found: dict[tuple[str, str], tuple[Lot, Due]] = {}
    for standing in standings:
        for due in sorted(standing.dues, key=lambda one: one.order):
            ends_on = standing.lot.ends_on
            is_told = due.excuse.last >= as_of if due.excuse else ends_on is not None and due.due_on > ends_on
            if is_told and due.due_on <= until:
                found.setdefault((standing.lot.code, due.why), (standing.lot, due))
    rows = [
        {
            "lot_id": lot.code,
            "house": lot.house,
            "crop": lot.crop,
            "why": due.why,
            "due_on": due.due_on.isoformat(),
            "because": "excused" if due.excuse else "ships_first",
            "because_until": str(due.excuse.last if due.excuse else lot.ends_on),
            "reason": due.excuse.reason if due.excuse else None,
            "person": due.excuse.person if due.excuse else None,
        }
        for lot, due in found.values()
    ]
    return sorted(rows, key=lambda row: (digits_last(row["lot_id"]), row["due_on"], row["why"]))


def sheet_part(
    site: SiteSettings, standings: Sequence[Standing], facts: SiteFacts, policy: Policy, as_of: date
) -> dict[str, Any]:
    until = as_of + timedelta(days=DAYS_AHEAD)
    walked: list[tuple[tuple[object, ...], dict[str, Any]]] = []
    for standing in standings:
        due = sorted(
            (
                one
                for one in standing.dues
                if one.excuse is None
                and begins_on(standing.account, one, as_of) <= until
                and (
                    standing.lot.ends_on is None
                    or begins_on(standing.account, one, as_of) <= standing.lot.ends_on
                )
            ),
            key=lambda one: (one.due_on, ORDER.index(one.why)),
        )
        walked += [
            (place_in_walk(site, standing, dues[0]), sheet_lot(standing, dues, policy, as_of))
            for dues in shared(standing.account, due, as_of)
        ]
    walked.sort(key=lambda one: one[0])
    pots = sum(group["pots"] for _, lot in walked for group in lot["groups"])
    return {
        "until": until.isoformat(),
        "volume_unit": site.volume_unit,
        "temperature_unit": site.temperature_unit,
        "lots": [{"number": number, **lot} for number, (_, lot) in enumerate(walked, start=1)],
        "meters": meters_seen(facts, as_of),
        "buffers": [{"label_ph": label, "ph_at_c": values} for label, values in BUFFERS],
        "pots": pots,
        "minutes": float(pots * policy["minutes_per_pot"]),
        "left_out": left_out(standings, until, as_of),
    }


def bare(sheet: dict[str, Any]) -> dict[str, Any]:
    """A summary's sheet as far as it is computed here: pots as their number, buffers without their source."""
    lots = [
        {**lot, "groups": [{"purpose": one["purpose"], "pots": len(one["pots"])} for one in lot["groups"]]}
        for lot in sheet["lots"]
    ]
    buffers = [{name: one[name] for name in one if name != "source"} for one in sheet["buffers"]]
    return {**sheet, "lots": lots, "buffers": buffers}


def compare_sheet(found: dict[str, Any], wanted: dict[str, Any], where: str) -> list[str]:
    """What differs, lot by lot in the order of the walk."""
    mine = bare(found)
    differences = [
        f"{where}, {name}: the summary has {mine.get(name)!r}, the oracle {wanted.get(name)!r}"
        for name in sorted(mine.keys() | wanted.keys())
        if name != "lots" and mine.get(name) != wanted.get(name)
    ]
    ids = [[(lot["lot_id"], lot["due"]["why"]) for lot in each["lots"]] for each in (mine, wanted)]
    if ids[0] != ids[1]:
        return [*differences, f"{where}, walk: the summary has {ids[0]}, the oracle {ids[1]}"]
    return differences + [
        f"{where}, {lot['lot_id']}, {name}: the summary has {lot.get(name)!r}, the oracle {other.get(name)!r}"
        for lot, other in zip(mine["lots"], wanted["lots"], strict=True)
        for name in sorted(lot.keys() | other.keys())
        if lot.get(name) != other.get(name)
    ]


__all__ = ["compare_sheet", "sheet_part"]
