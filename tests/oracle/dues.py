"""Samplings that ought to happen, walked day by day: what the rules ask for, on which day, and what is excused.

Plain and slow: every day is looked at by itself, nothing is worked out in closed form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

DAY = timedelta(days=1)
APART = 3 * DAY
TEN_YEARS = timedelta(days=3653)
# Of two dues on one day the first of these rules.
PAIR = "before_feed,after_feed"
RULES = ("after_out", "after_pair_out", "after_treatment", "symptoms", "feed_pair")
ORDER = (*RULES, "problem_crop", "routine", "first")
STATES = ("not_yet", "due_this_week", "overdue", "never_sampled", "ships_first", "excused")


@dataclass(frozen=True)
class Taken:
    """One sampling of the lot: usable pots, how many it needs to count; `asks`: out in a way that asks for another.

    Of a pair the first half asks for low EC alone, the second for all but that.
    """

    day: date
    purpose: str
    pots: int
    least: int
    asks: bool = False

    @property
    def counts(self) -> bool:
        return self.pots >= self.least


@dataclass(frozen=True)
class Excuse:
    """Days for which dues of a purpose (None: all) are excused."""

    first: date
    last: date
    purpose: str | None
    reason: str
    person: str
    entered_on: date


@dataclass(frozen=True)
class Symptoms:
    """What a day's policy says of affected plants: days for sampling, days a note is spoken of, pots of each."""

    within: int
    spoken_of: int
    pots: int


@dataclass(frozen=True)
class Account:
    """All that is known of one lot. `retests`: day of treatment and day from which it can be read again."""

    start: date
    end: date | None
    is_problem_crop: bool
    first_within: int
    interval: int
    after_out_within: int
    pots: int
    taken: tuple[Taken, ...]
    retests: tuple[tuple[date, date], ...]
    excuses: tuple[Excuse, ...]
    is_closed: Callable[[date], bool]
    is_fed: Callable[[date], bool] | None
    symptoms_on: Callable[[date], Symptoms]
    plants: int | None = None


@dataclass(frozen=True)
class Due:
    """One due of one rule; `excuse` where it is excused."""

    why: str
    rule_on: date
    due_on: date
    caused_on: date
    purposes: str
    pots: int
    rolls_by: int | None = None
    not_before: date | None = None
    excuse: Excuse | None = None

    @property
    def order(self) -> tuple[date, int]:
        return self.due_on, ORDER.index(self.why)


def days_from(first: date, last: date) -> Iterable[date]:
    day = first
    while day <= last:
        yield day
        day += DAY


def known_on(account: Account, today: date) -> Account:
    """What was known by the end of a day."""
    return replace(
        account,
        taken=tuple(one for one in account.taken if one.day <= today),
        retests=tuple(one for one in account.retests if one[0] <= today),
        excuses=tuple(one for one in account.excuses if one.entered_on <= today),
    )


def counting_days(account: Account) -> list[date]:
    """Days of routine samplings and retests that count."""
    return sorted(one.day for one in account.taken if one.counts and one.purpose in ("routine", "retest"))


def pair_days(account: Account) -> list[date]:
    """Second days of complete pairs: nothing but closed days between them, at most three days apart."""
    firsts = {one.day for one in account.taken if one.counts and one.purpose == "before_feed"}
    seconds = {one.day for one in account.taken if one.counts and one.purpose == "after_feed"}
    return sorted(
        second
        for second in seconds
        if any(
            first <= second <= first + APART
            and all(account.is_closed(day) for day in days_from(first + DAY, second - DAY))
            for first in firsts
        )
    )


def pair_from(account: Account, second: date) -> date:
    """The first day of the pair that ends on a day: the nearest one before it."""
    return max(
        one.day
        for one in account.taken
        if one.counts
        and one.purpose == "before_feed"
        and one.day <= second <= one.day + APART
        and all(account.is_closed(day) for day in days_from(one.day + DAY, second - DAY))
    )


def is_pair_out(account: Account, second: date) -> bool:
    """Whether the pair that ends on a day asks to be read again."""
    halves = {("before_feed", pair_from(account, second)), ("after_feed", second)}
    return any(one.asks and one.counts and (one.purpose, one.day) in halves for one in account.taken)


def is_compared(account: Account, since: date, today: date, pots: int) -> bool:
    """Whether affected and healthy plants were both sampled in these days, near enough to be held together."""
    known = [one for one in account.taken if since <= one.day <= today and one.counts]
    affected = [one for one in known if one.purpose == "affected" and one.pots >= pots]
    return any(
        (other.purpose == "healthy" and other.pots >= pots and abs(one.day - other.day) <= APART)
        or (other.purpose in ("routine", "retest") and other.day == one.day)
        for one in affected
        for other in known
    )


def pots_each(account: Account, noted: date) -> int:
    """Affected and healthy pots that a comparison takes: as many as a sampling needs to count, at least."""
    least = next(one.least for one in account.taken if one.purpose == "affected" and one.day == noted)
    return max(account.symptoms_on(noted).pots, least)


def no_more_than_plants(account: Account, pots: int) -> int:
    """Nobody is asked for more pots than there are plants."""
    return pots if account.plants is None else min(pots, max(account.plants, 1))


def open_note(account: Account, today: date) -> date | None:
    """The first day with affected plants since they were last held against healthy ones, or looked at again."""
    noted = {one.day for one in account.taken if one.purpose == "affected"}
    looked = set(counting_days(account))
    opened: date | None = None
    for day in days_from(min(noted, default=today), today):
        if opened is None:
            opened = day if day in noted else None
        if opened is None:
            continue
        last_noted = max(one for one in noted if one <= day)
        spoken_of = account.symptoms_on(opened).spoken_of
        looked_again = day in looked and (day - last_noted).days > spoken_of
        if looked_again or is_compared(account, opened, day, pots_each(account, opened)):
            opened = None
    return opened


def asked(account: Account, today: date) -> list[Due]:
    """What the rules ask for, on the days of the rules."""
    dues = [scheduled(account)]
    counting = counting_days(account)
    last_treated = max(account.retests, default=None)
    if counting:
        last = counting[-1]
        # Of two on one day the retest is the last word.
        judged = min((one for one in account.taken if is_judged(one, last)), key=lambda one: one.purpose)
        if judged.asks and (last_treated is None or last_treated[0] < last):
            dues.append(follow_up("after_out", last, last + account.after_out_within * DAY, account.pots))
    last_pair = max(pair_days(account), default=None)
    if last_pair is not None and last_pair not in counting and last_pair > max(counting, default=date.min):
        began = pair_from(account, last_pair)
        if is_pair_out(account, last_pair) and (last_treated is None or last_treated[0] < began):
            rule_on = last_pair + account.after_out_within * DAY
            dues.append(follow_up("after_pair_out", last_pair, rule_on, account.pots))
    if last_treated is not None:
        treated, over = last_treated
        if not any(day > treated and day >= over for day in counting):
            due = follow_up("after_treatment", treated, over, account.pots)
            dues.append(replace(due, not_before=over))
    noted = open_note(account, today)
    if noted is not None:
        rule_on = noted + account.symptoms_on(noted).within * DAY
        each = no_more_than_plants(account, pots_each(account, noted))
        dues.append(follow_up("symptoms", noted, rule_on, 2 * each, "affected,healthy"))
    if account.is_fed is not None:
        routine = dues[0]
        fed = feedings(account, routine.caused_on, routine.rule_on)
        if fed and is_begun(account, routine.caused_on, fed[-1], today):
            dues.append(follow_up("feed_pair", routine.caused_on, fed[-1], account.pots, "after_feed"))
        elif fed:
            dues.append(follow_up("feed_pair", routine.caused_on, fed[-1] - DAY, 2 * account.pots, PAIR))
    return dues


def before_feeding(account: Account, fed: date, after: date) -> date | None:
    """The last open day before a feeding and after another day, near enough to be held against the day of feeding."""
    days = [day for day in days_from(max(fed - APART, after + DAY), fed - DAY) if not account.is_closed(day)]
    return days[-1] if days else None


def feedings(account: Account, since: date, last: date) -> list[date]:
    """Feedings after a reading that can be read as pairs: on an open day, with an open day before it."""
    return [
        day
        for day in days_from(since + 2 * DAY, last)
        if account.is_fed is not None
        and account.is_fed(day)
        and not account.is_closed(day)
        and before_feeding(account, day, since) is not None
    ]


def is_begun(account: Account, since: date, fed: date, today: date) -> bool:
    """Whether the first half of a pair was taken so that one of the feed day, still to come, would complete it."""
    return today <= fed and any(
        one.purpose == "before_feed"
        and one.counts
        and since < one.day <= fed <= one.day + APART
        and all(account.is_closed(day) for day in days_from(one.day + DAY, fed - DAY))
        for one in account.taken
    )


def is_judged(one: Taken, day: date) -> bool:
    return one.day == day and one.counts and one.purpose in ("routine", "retest")


def scheduled(account: Account) -> Due:
    """The next by the schedule, from the last sampling or pair, else from the start."""
    done = [*counting_days(account), *pair_days(account)]
    base = max(done, default=account.start)
    why = "first" if not done else "problem_crop" if account.is_problem_crop else "routine"
    rule_on = base + (account.interval if done else account.first_within) * DAY
    return Due(why, rule_on, rule_on, base, "routine", account.pots, account.interval)


def follow_up(why: str, caused_on: date, rule_on: date, pots: int, purposes: str = "retest") -> Due:
    return Due(why, rule_on, rule_on, caused_on, purposes, pots)


def moved(account: Account, due: Due, after: date) -> date:
    """The last open day up to the day of the rule, after the cause and not before a wait is over; else that day."""
    day = due.rule_on
    while day > after and (due.not_before is None or day >= due.not_before):
        if not account.is_closed(day):
            return day
        day -= DAY
    return due.rule_on


def excuse_of(account: Account, due: Due, today: date) -> Excuse | None:
    """The excuse that holds on the day of a due: one entered in time, then the longest, then the first entered."""
    fitting = [
        one
        for one in account.excuses
        if one.first <= due.due_on <= min(one.last, today + TEN_YEARS)
        and (one.purpose is None or one.purpose in due.purposes.split(","))
    ]
    return min(
        fitting,
        key=lambda one: (one.entered_on > due.due_on, -one.last.toordinal(), one.entered_on),
        default=None,
    )


def rolled_on(account: Account, due: Due, today: date) -> list[Due]:
    """A due with those to which it rolls on while it is excused, the one that is not excused last."""
    found: list[Due] = []
    after = due.caused_on
    while True:
        dated = replace(due, due_on=moved(account, due, after))
        found.append(replace(dated, excuse=excuse_of(account, dated, today)))
        if found[-1].excuse is None or due.rolls_by is None:
            return found
        after, due = due.rule_on, replace(due, rule_on=due.rule_on + due.rolls_by * DAY)


def dues_on(account: Account, today: date) -> list[Due]:
    """Every due that is listed on a day, the ruling one first, excused ones last."""
    account = known_on(account, today)
    listed: list[Due] = []
    for due in asked(account, today):
        chain = rolled_on(account, due, today)
        excused = [one for one in chain if one.excuse is not None]
        listed += [one for one in chain if one.excuse is None]
        listed += [one for one in excused if one.due_on <= today]
        listed += [one for one in excused if one.due_on > today][:1]
    return sorted(listed, key=lambda one: (one.excuse is not None, one.order))


def covering(dues: Sequence[Due], today: date) -> Excuse | None:
    """The excuse that still holds over one before the ruling due, unless that one is near."""
    ruling = dues[0]
    for due in dues:
        excuse = due.excuse
        if excuse is None or due.due_on > ruling.due_on or today > excuse.last:
            continue
        if ruling.due_on > today + 6 * DAY:
            return excuse
    return None


def state_on(account: Account, dues: Sequence[Due], today: date) -> str:
    """How the ruling due stands."""
    due_on = dues[0].due_on
    if covering(dues, today) is not None:
        return "excused"
    if account.end is not None and due_on > account.end:
        return "ships_first"
    if due_on < today:
        was_sampled = any(one.day <= today for one in account.taken)
        return "overdue" if was_sampled else "never_sampled"
    return "due_this_week" if due_on <= today + 6 * DAY else "not_yet"


@dataclass(frozen=True)
class Planned:
    """One sampling of the next four weeks."""

    plan_on: date
    due_on: date
    why: str
    purposes: str
    pots: int


def answers(day: date, purposes: str, other: Due) -> bool:
    """Whether a sampling of a day is what another due asks for as well; of a pair that of its second day."""
    if other.not_before is not None and day < other.not_before:
        return False
    if other.purposes == "routine":
        return purposes in ("routine", "retest", "after_feed", PAIR)
    if other.why == "after_pair_out" and purposes in ("after_feed", PAIR):
        return True
    return other.purposes == "retest" and purposes in ("routine", "retest")


def days_of(account: Account, due: Due, today: date) -> list[tuple[date, str]]:
    """On which days a due is taken and for what: its own day, or the next open ones; a pair on two."""
    coming = [day for day in days_from(today, today + 27 * DAY) if not account.is_closed(day)]
    first = due.due_on if due.due_on >= today else coming[0] if coming else today
    if due.purposes != PAIR:
        return [(first, due.purposes)]
    if due.due_on >= today:
        return [(first, "before_feed"), (due.rule_on + DAY, "after_feed")]
    again = next_feeding(account, today)
    if again is not None:
        return [(again[0], "before_feed"), (again[1], "after_feed")]
    return [(first, "before_feed"), (next((day for day in coming if day > first), first + DAY), "after_feed")]


def next_feeding(account: Account, today: date) -> tuple[date, date] | None:
    """The two days of the first feeding of four weeks that can still be read as a pair."""
    for day in feedings(account, today - DAY, today + 31 * DAY):
        before = before_feeding(account, day, today - DAY)
        if before is not None and before <= today + 27 * DAY:
            return before, day
    return None


def to_take(account: Account, dues: Sequence[Due], today: date, last: date) -> list[Due]:
    """The dues that need a sampling of their own, day by day: the others are answered by one before."""
    wanted = [one for one in dues if one.excuse is None and one.due_on <= last]
    taken: list[Due] = []
    for due in sorted(wanted, key=lambda one: days_of(account, one, today)[0][0]):
        mine = days_of(account, due, today)[0][0]
        is_answered = False
        for one in taken:
            first, second = days_of(account, one, today)[0][0], days_of(account, one, today)[-1][0]
            # Only a pair that is whole by then is another's repetition.
            is_late = due.purposes == "retest" and second > mine
            is_answered = is_answered or (not is_late and answers(first, one.purposes, due))
        if not is_answered:
            taken.append(due)
    return taken


def next_by_plan(account: Account, day: date) -> list[tuple[date, str]]:
    """When a lot is read next: as a pair around the last feeding within its interval, else by routine."""
    fed = feedings(account, day, day + account.interval * DAY)
    before = before_feeding(account, fed[-1], day) if fed else None
    if before is not None:
        return [(before, "before_feed"), (fed[-1], "after_feed")]
    rule = Due("routine", day + account.interval * DAY, day, day, "routine", account.pots)
    return [(moved(account, rule, day), "routine")]


def plan_on(account: Account, dues: Sequence[Due], today: date) -> list[Planned]:
    """The samplings of four weeks: day by day what is due and not answered before, and the routine ones that follow."""
    last_day = today + 27 * DAY
    last = min(last_day, account.end or date.max)
    known = known_on(account, today)
    taken = to_take(account, dues, today, last_day)
    found: dict[tuple[date, str], Planned] = {}
    for due in sorted(taken, key=lambda one: one.order):
        for day, purpose in days_of(account, due, today):
            is_second = due.purposes == PAIR and purpose == "after_feed"
            pots = due.pots // 2 if due.purposes == PAIR else due.pots
            asked_on = due.rule_on + DAY if is_second else due.due_on
            found.setdefault((day, purpose), Planned(day, asked_on, due.why, purpose, pots))
    anew = sorted({day for day, purpose in found if purpose in ("routine", "retest", "after_feed")})
    follows = "problem_crop" if account.is_problem_crop else "routine"
    for number, day in enumerate(anew):
        until = min([date.max, *(one - DAY for one in anew[number + 1 : number + 2])])
        while True:
            halves = next_by_plan(account, day)
            first, day = halves[0][0], halves[-1][0]
            if first > last or day > until:
                break
            purposes = {purpose for _, purpose in halves}
            if not any(
                one.first <= first <= one.last and one.purpose in (None, *purposes) for one in known.excuses
            ):
                why = follows if purposes == {"routine"} else "feed_pair"
                for on, purpose in halves:
                    found.setdefault((on, purpose), Planned(on, on, why, purpose, account.pots))
    return sorted(
        (one for one in found.values() if one.plan_on <= last), key=lambda one: (one.plan_on, one.purposes)
    )


__all__ = [
    "STATES",
    "Account",
    "Due",
    "Excuse",
    "Planned",
    "Symptoms",
    "Taken",
    "answers",
    "covering",
    "days_of",
    "dues_on",
    "known_on",
    "next_feeding",
    "plan_on",
    "state_on",
    "to_take",
]
