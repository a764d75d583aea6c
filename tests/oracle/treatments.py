"""What was done to a lot, when it ought to be read again, and the samplings before and after.

Waiting times are the policy's of the day of the treatment. A lot is read, then treated: what was read on the day of
a treatment belongs before it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from tests.oracle.fates import SiteFacts, lots_at_place
from tests.oracle.lot_facts import on_day
from tests.oracle.other_lines import Line, lines_of
from tests.oracle.samplings import Sampling
from tests.oracle.settings import Policy, fold

WAITS = {
    "leaching": "wait_leaching_days",
    "bicarbonate": "wait_bicarbonate_days",
    "feed_change": "wait_feed_change_days",
    "acid_feed": "wait_feed_change_days",
    "basic_feed": "wait_feed_change_days",
    "lime_drench": "wait_lime_drench_days",
}
# Weeks for which the result of a treatment is shown.
SHOWN = timedelta(days=28)


@dataclass(frozen=True)
class Treatment:
    """One thing done to one lot."""

    day: date
    what: str
    product: str | None
    person: str | None


@dataclass(frozen=True)
class LastTreatment:
    """The last day of treatments. `before` and `after`: what its result is told by, where it was taken."""

    day: date
    retest_due_on: date
    before: Sampling | None
    after: Sampling | None

    def pair(self, as_of: date) -> tuple[Sampling, Sampling] | None:
        """Before and after, for four weeks from the sampling after it."""
        if self.before is None or self.after is None or self.after.sampled_on < as_of - SHOWN:
            return None
        return self.before, self.after


def treated_lots(line: Line, facts: SiteFacts) -> list[str]:
    """The lot that a line names, else every lot that stood at its place that day."""
    code = line.typed.text("lot")
    if code is not None:
        return [fold(code)]
    standing = [on_day(own, line.day) for own in facts.lot_lines.values()]
    return [fold(lot.code) for lot in lots_at_place(standing, line.typed, line.day)]


def treatments_of(facts: SiteFacts) -> dict[str, list[Treatment]]:
    """The treatments of every lot that was treated, oldest first."""
    found: dict[str, list[Treatment]] = {}
    for line in sorted(lines_of(facts, "treatments"), key=lambda each: (each.day, each.place)):
        typed = line.typed
        done = Treatment(line.day, typed.text("what") or "", typed.text("product"), typed.text("person"))
        for code in treated_lots(line, facts):
            found.setdefault(code, []).append(done)
    return found


def retest_due(treatments: Sequence[Treatment], day: date, policy: Policy) -> date:
    """Treatments of one day are one, and the longest wait holds."""
    waits = [policy[WAITS.get(done.what, "wait_other_days")] for done in treatments if done.day == day]
    return day + timedelta(days=int(max(waits)))


def is_waited_for(treatments: Sequence[Treatment], day: date, policy_of: Callable[[date], Policy]) -> bool:
    """Whether the waiting time of a treatment before that day is not over yet."""
    return any(done.day < day < retest_due(treatments, done.day, policy_of(done.day)) for done in treatments)


def last_treatment(
    treatments: Sequence[Treatment], samplings: Sequence[Sampling], policy_of: Callable[[date], Policy]
) -> LastTreatment | None:
    """The last day of treatments.

    Before: the last counting routine sampling or retest, of that day at the latest and not too old. After: the first
    one once the wait is over. Of two on one day the retest.
    """
    if not treatments:
        return None
    day = max(done.day for done in treatments)
    policy = policy_of(day)
    due_on = retest_due(treatments, day, policy)
    oldest = day - timedelta(days=int(policy["before_treatment_days"]))
    counting = [each for each in samplings if each.is_followed and each.counts]
    before = [each for each in counting if oldest <= each.sampled_on <= day]
    after = [each for each in counting if each.sampled_on > day and each.sampled_on >= due_on]
    return LastTreatment(
        day,
        due_on,
        max(before, key=lambda each: (each.sampled_on, each.purpose == "retest"), default=None),
        min(after, key=lambda each: (each.sampled_on, each.purpose != "retest"), default=None),
    )


def is_retest_excused(facts: SiteFacts, code: str, due_on: date, as_of: date) -> bool:
    """Whether an excuse of the lot, entered by the as-of date, covers the day of its retest."""
    return any(
        code in excused_lots(line, facts)
        and line.typed.text("purpose") in (None, "retest")
        and excused_days(line)[0] <= due_on <= excused_days(line)[1]
        and (line.typed.day("entered_on") or facts.files[line.place[0]].received_on) <= as_of
        for line in lines_of(facts, "exemptions")
    )


def excused_days(line: Line) -> tuple[date, date]:
    """First and last day of an excuse."""
    return line.typed.day("from") or date.max, line.typed.day("until") or date.min


def excused_lots(line: Line, facts: SiteFacts) -> list[str]:
    """The lot that an excuse names, else every lot that stood at its place on one of its days."""
    code = line.typed.text("lot")
    if code is not None:
        return [fold(code)]
    first, last = excused_days(line)
    days = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    return [
        fold(lot.code)
        for day in days
        for lot in lots_at_place([on_day(own, day) for own in facts.lot_lines.values()], line.typed, day)
    ]


def treatment_part(done: Treatment) -> dict[str, Any]:
    return {
        "treated_on": done.day.isoformat(),
        "what": done.what,
        "product": done.product,
        "person": done.person,
    }
