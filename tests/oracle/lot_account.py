"""What is known of a lot, as the account from which its dues are worked out, and their part in the summary."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from tests.oracle.attention import low_ec_is_a_note, routine_interval
from tests.oracle.dues import Account, Due, Excuse, Planned, Symptoms, Taken, covering, state_on
from tests.oracle.fates import Lot, SiteFacts
from tests.oracle.other_lines import lines_of
from tests.oracle.samplings import Sampling
from tests.oracle.settings import WEEKDAYS, Home, SiteSettings, fold, policy_on
from tests.oracle.treatments import Treatment, excused_days, excused_lots, retest_due


def account_of(
    home: Home,
    site: SiteSettings,
    facts: SiteFacts,
    lot: Lot,
    samplings: Sequence[Sampling],
    treatments: Sequence[Treatment],
    as_of: date,
) -> Account:
    policy = policy_on(home, site, as_of)
    crop = fold(lot.crop)
    is_problem_crop = crop in policy.problem_crops
    is_paired = lot.feed_mode == "periodic" and (is_problem_crop or crop in policy.paired_crops)
    days = sorted({done.day for done in treatments})
    pots = int(policy.containers[lot.container_class]["min_usable_pots"])

    def symptoms_on(day: date) -> Symptoms:
        then = policy_on(home, site, day)
        return Symptoms(
            int(then["symptoms_within_days"]), int(then["affected_within_days"]), int(then["affected_pots"])
        )

    return Account(
        start=lot.stands_from,
        end=lot.ends_on,
        is_problem_crop=is_problem_crop,
        first_within=int(policy["first_within_days"]),
        interval=routine_interval(lot, policy),
        after_out_within=int(policy["after_out_interval_days"]),
        pots=pots if lot.plants is None else min(pots, max(lot.plants, 1)),
        taken=tuple(taken(sampling) for sampling in samplings),
        retests=tuple((day, retest_due(treatments, day, policy_on(home, site, day))) for day in days),
        excuses=excuses_of(facts, lot),
        is_closed=site.is_closed,
        is_fed=(lambda day: is_fed(site, lot, day)) if is_paired else None,
        symptoms_on=symptoms_on,
        plants=lot.plants,
    )


# Whether a half of a pair is asked for low EC, or for all else.
PAIR_HALVES = {"before_feed": True, "after_feed": False}


def is_low_ec(quantity: str, side: str | None) -> bool:
    return quantity == "ec" and side == "low"


def taken(sampling: Sampling) -> Taken:
    asks = any(
        judged.is_out
        and not low_ec_is_a_note(sampling, quantity, judged.side)
        and PAIR_HALVES.get(sampling.purpose, is_low_ec(quantity, judged.side))
        == is_low_ec(quantity, judged.side)
        for quantity, judged in sampling.quantities.items()
    )
    pots = sum(pot.reading.n_pots for pot in sampling.pots if pot.usable_ph)
    return Taken(sampling.sampled_on, sampling.purpose, pots, sampling.min_pots, asks)


def excuses_of(facts: SiteFacts, lot: Lot) -> tuple[Excuse, ...]:
    return tuple(
        Excuse(
            *excused_days(line),
            line.typed.text("purpose"),
            line.typed.text("reason") or "",
            line.typed.text("person") or "",
            line.typed.day("entered_on") or facts.files[line.place[0]].received_on,
        )
        for line in lines_of(facts, "exemptions")
        if fold(lot.code) in excused_lots(line, facts)
    )


def is_fed(site: SiteSettings, lot: Lot, day: date) -> bool:
    """Whether one of the site's feedings is that day's, for the lot's house and the lot where it names them."""
    return any(
        (feeding.get("house") is None or fold(feeding["house"]) == fold(lot.house or ""))
        and (not feeding.get("lots") or fold(lot.code) in map(fold, feeding["lots"]))
        and (day in feeding.get("days", []) or WEEKDAYS[day.weekday()] in feeding.get("weekdays", []))
        for feeding in site.feedings
    )


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def due_part(account: Account, dues: Sequence[Due], as_of: date) -> dict[str, Any]:
    """The ruling due with its state; the day for which a retest after a treatment waits."""
    ruling, excuse = dues[0], covering(dues, as_of)
    state = state_on(account, dues, as_of)
    is_late = ruling.due_on < as_of and (account.end is None or ruling.due_on <= account.end)
    waits = [due.due_on for due in dues if due.why == "after_treatment" and due.excuse is None]
    return {
        "state": state,
        "due_on": iso(ruling.due_on),
        "purpose": ruling.purposes,
        "days_overdue": (as_of - ruling.due_on).days if is_late else None,
        "pots": ruling.pots,
        "rule": ruling.why,
        "rule_on": iso(ruling.rule_on),
        "caused_on": iso(ruling.caused_on),
        "retest_due_on": iso(min(waits, default=None)),
        "excused_until": iso(excuse.last) if excuse else None,
        "excuse_reason": excuse.reason if excuse else None,
        "excused_by": excuse.person if excuse else None,
        "excused_late": any(due.excuse is excuse and excuse.entered_on > due.due_on for due in dues)
        if excuse
        else False,
    }


def plan_part(
    planned: Sequence[tuple[Lot, Planned]], minutes_per_pot: float, as_of: date
) -> list[dict[str, Any]]:
    """A site's plan by day, lots in the order of houses and codes."""
    by_day: dict[date, list[tuple[Lot, Planned]]] = {}
    for lot, one in planned:
        by_day.setdefault(one.plan_on, []).append((lot, one))
    return [
        {
            "plan_on": iso(day),
            "lots": len({lot.code for lot, _ in by_day[day]}),
            "pots": sum(one.pots for _, one in by_day[day]),
            "minutes": sum(one.pots for _, one in by_day[day]) * minutes_per_pot,
            "samplings": [
                {
                    "lot_id": lot.code,
                    "house": lot.house,
                    "rule": one.why,
                    "purpose": one.purposes,
                    "due_on": iso(one.due_on),
                    "days_overdue": (as_of - one.due_on).days if one.due_on < as_of else None,
                    "pots": one.pots,
                    "minutes": one.pots * minutes_per_pot,
                }
                for lot, one in sorted(
                    by_day[day], key=lambda each: (each[0].house or "", fold(each[0].code), each[1].purposes)
                )
            ],
        }
        for day in sorted(by_day)
    ]


def weeks_part(
    planned: Sequence[tuple[Lot, Planned]], minutes_per_pot: float, as_of: date
) -> list[dict[str, Any]]:
    """The same by weeks of seven days from the as-of day on."""
    weeks: list[dict[str, Any]] = []
    for number in range(4):
        first, last = (date.fromordinal(as_of.toordinal() + 7 * number + day) for day in (0, 6))
        own = [(lot, one) for lot, one in planned if first <= one.plan_on <= last]
        pots = sum(one.pots for _, one in own)
        weeks.append(
            {
                "first_on": iso(first),
                "last_on": iso(last),
                "lots": len({lot.code for lot, _ in own}),
                "pots": pots,
                "minutes": pots * minutes_per_pot,
            }
        )
    return weeks
