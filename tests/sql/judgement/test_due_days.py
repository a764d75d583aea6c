"""Days of dues: closed days move them earlier, excuses take them away or roll them on."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin

MOVED = "why, rule_on::varchar, due_on::varchar"
EXCUSED = "why, due_on::varchar, is_excused, nth"
STATE = "due_on::varchar, state, excused_until::varchar, is_excused_late"


def closed(bench: Bench, *days: str, weekdays: tuple[str, ...] = (), **policy: object) -> None:
    """A site that does not sample on these days and weekdays."""
    facts = {"holidays": tuple(map(date.fromisoformat, days)), "no_sampling": weekdays}
    periods = [PolicyPeriod.model_validate({"valid_from": date(2026, 1, 1), **policy})]
    bench.use(site().model_copy(update=facts), policy=periods)


def sampled(bench: Bench, **lot: str) -> None:
    """A lot with one counting sampling, on Monday 30 March: the next is due on Monday 13 April."""
    bench.lots(" | ".join(("lot_code", *lot)) + "\n" + " | ".join(("A", *lot.values())))
    bench.pots("6 6 6 6 6")


def excused(bench: Bench, from_on: str, until_on: str, **cells: str) -> None:
    names, values = ("from_on", "until_on", *cells), (from_on, until_on, *cells.values())
    bench.load_file("exemptions", " | ".join(names) + "\n" + " | ".join(values))


# Closed days ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days", "weekdays", "due_on"),
    [
        ((), (), "2026-04-13"),
        (("2026-04-13",), (), "2026-04-12"),
        ((), ("monday",), "2026-04-12"),
        ((), ("saturday", "sunday"), "2026-04-13"),
        (("2026-04-13",), ("saturday", "sunday"), "2026-04-10"),
        (("2026-04-14",), (), "2026-04-13"),
    ],
)
def test_a_due_moves_to_the_last_open_day_before_it(
    bench: Bench, days: tuple[str, ...], weekdays: tuple[str, ...], due_on: str
) -> None:
    closed(bench, *days, weekdays=weekdays)
    sampled(bench)
    assert bench.rows("dues", MOVED) == [("routine", "2026-04-13", due_on)]


@pytest.mark.parametrize(
    ("days", "due_on"),
    [
        (("2026-04-02",), "2026-04-01"),
        (("2026-04-02", "2026-04-01"), "2026-03-31"),
        # never to the day of the last sampling: where no day is open, it stays
        (("2026-04-02", "2026-04-01", "2026-03-31"), "2026-04-02"),
    ],
)
def test_a_due_stays_after_what_caused_it(bench: Bench, days: tuple[str, ...], due_on: str) -> None:
    closed(bench, *days)
    sampled(bench, container_class="plug")
    assert bench.rows("dues", MOVED) == [("routine", "2026-04-02", due_on)]


def test_the_retest_after_a_treatment_is_never_moved_before_its_wait_is_over(bench: Bench) -> None:
    closed(bench, "2026-04-08", "2026-04-13")
    sampled(bench)
    bench.load_file("treatments", "treated_on | treatment\n2026-04-01 | acid_feed")
    assert bench.rows("dues", MOVED) == [
        ("after_treatment", "2026-04-08", "2026-04-08"),
        ("routine", "2026-04-13", "2026-04-12"),
    ]


def test_other_sites_closed_days_do_not_matter(bench: Bench) -> None:
    other = site("south").model_copy(update={"holidays": (date(2026, 4, 13),), "no_sampling": ("monday",)})
    bench.use(site(), other)
    sampled(bench)
    assert bench.rows("dues", MOVED) == [("routine", "2026-04-13", "2026-04-13")]


def test_the_day_before_a_feeding_moves_too_and_the_pair_is_still_one(bench: Bench) -> None:
    facts = {"no_sampling": ("sunday",), "feedings": (Feeding(weekdays=("monday",)),)}
    policy = [PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))]
    bench.use(site().model_copy(update=facts), policy=policy)
    sampled(bench, feed_mode="periodic")
    assert bench.rows("dues", MOVED, "why = 'feed_pair'") == [("feed_pair", "2026-04-12", "2026-04-11")]
    bench.pots("6 6 6 6 6", sampled_on="2026-04-04", purpose="before_feed")
    bench.pots("6 6 6 6 6", sampled_on="2026-04-06", purpose="after_feed")
    assert bench.rows("feed_pairs", "before_on::varchar, after_on::varchar") == [("2026-04-04", "2026-04-06")]


def test_by_its_due_day_the_earliest_rules(bench: Bench) -> None:
    # After out on Monday 6 April, moved to Friday the 3rd; symptoms on Saturday the 4th, moved too: the same day.
    closed(bench, "2026-04-04", "2026-04-05", "2026-04-06")
    bench.lots()
    bench.pots("5 5 5 5 5")
    bench.pots("5", purpose="affected", sampled_on="2026-04-01")
    assert bench.rows("dues", "nth, why, due_on::varchar") == [
        (1, "after_out", "2026-04-03"),
        (2, "symptoms", "2026-04-03"),
        (3, "routine", "2026-04-13"),
    ]


# Excuses -------------------------------------------------------------------------------------------


def test_an_excused_routine_due_rolls_on_by_its_interval(bench: Bench) -> None:
    sampled(bench)
    excused(bench, "2026-04-10", "2026-04-20")
    assert bench.rows("dues", EXCUSED) == [
        ("routine", "2026-04-13", True, None),
        ("routine", "2026-04-27", False, 1),
    ]
    assert bench.rows("due_states", STATE) == [("2026-04-27", "excused", "2026-04-20", False)]
    assert bench.select("dues", "excuse_reason, excused_by", "is_excused") == [("sold out", "Ann")]


@pytest.mark.parametrize(
    ("from_on", "until_on"), [("2026-04-13", "2026-04-13"), ("2026-04-01", "2026-04-13")]
)
def test_both_ends_of_an_excuse_belong_to_it(bench: Bench, from_on: str, until_on: str) -> None:
    sampled(bench)
    excused(bench, from_on, until_on)
    assert bench.rows("dues", "is_excused", "due_on = '2026-04-13'") == [(True,)]


@pytest.mark.parametrize(
    ("from_on", "until_on"), [("2026-04-14", "2026-04-20"), ("2026-04-01", "2026-04-12")]
)
def test_an_excuse_for_other_days_excuses_nothing(bench: Bench, from_on: str, until_on: str) -> None:
    sampled(bench)
    excused(bench, from_on, until_on)
    assert bench.rows("dues", EXCUSED) == [("routine", "2026-04-13", False, 1)]


def test_an_excuse_looks_at_the_day_to_which_a_due_was_moved(bench: Bench) -> None:
    closed(bench, "2026-04-13")
    sampled(bench)
    excused(bench, "2026-04-12", "2026-04-12")
    assert bench.rows("dues", EXCUSED) == [
        ("routine", "2026-04-12", True, None),
        # rolled on from the day by the rule, not from the one to which it was moved
        ("routine", "2026-04-27", False, 1),
    ]


def test_a_rolled_on_due_moves_too_but_not_before_the_one_that_it_follows(bench: Bench) -> None:
    # Closed from the 1st to the 8th; the dues by the rule are the 2nd, 5th and 8th.
    closed(bench, *(f"2026-04-0{day}" for day in range(1, 9)))
    sampled(bench, container_class="plug")
    excused(bench, "2026-03-31", "2026-04-05")
    assert bench.rows("dues", EXCUSED) == [
        ("routine", "2026-03-31", True, None),
        ("routine", "2026-04-05", True, None),
        ("routine", "2026-04-08", False, 1),
    ]


def test_an_excused_first_sampling_rolls_on_by_the_routine_interval(bench: Bench) -> None:
    bench.lots("started_on\n2026-04-03")
    excused(bench, "2026-04-03", "2026-04-10")
    assert bench.rows("dues", EXCUSED) == [
        ("first", "2026-04-10", True, None),
        ("first", "2026-04-24", False, 1),
    ]


@pytest.mark.parametrize(
    ("purpose", "whys"),
    [
        ("-", ["after_treatment", "routine", "symptoms"]),
        ("routine", ["routine"]),
        ("retest", ["after_treatment"]),
        ("affected", ["symptoms"]),
        ("healthy", ["symptoms"]),
        ("before_feed", []),
    ],
)
def test_an_excuse_for_a_purpose_excuses_what_asks_for_it(
    bench: Bench, purpose: str, whys: list[str]
) -> None:
    sampled(bench)
    bench.pots("6", purpose="affected")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-30 | lime_drench")
    excused(bench, "2026-04-01", "2026-04-14", purpose=purpose)
    assert bench.rows("dues", "why", "is_excused") == [(why,) for why in whys]
    # A follow-up is asked for once: what is excused does not come back, the routine one does.
    assert bench.select("dues", "count(*)", "why <> 'routine'") == [(2,)]


def test_an_excuse_is_for_its_own_lot(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    excused(bench, "2026-01-01", "2026-12-31")
    assert bench.rows("due_states", "lot_key, state") == [("a", "excused"), ("b", "never_sampled")]


@pytest.mark.parametrize(("entered", "is_late"), [("2026-04-02", False), ("2026-04-03", True)])
def test_an_excuse_entered_after_the_due_date_is_late(bench: Bench, entered: str, is_late: bool) -> None:
    sampled(bench, container_class="plug")
    excused(bench, "2026-03-31", "2026-04-20", entered_on=entered)
    assert bench.rows("dues", "is_excused_late", "due_on = '2026-04-02'") == [(is_late,)]
    assert bench.rows("due_states", STATE)[0][1:] == ("excused", "2026-04-20", is_late)


def test_an_excuse_counts_from_the_day_of_its_entry(bench: Bench) -> None:
    sampled(bench)
    excused(bench, "2026-04-10", "2026-04-20", entered_on="2026-04-07")
    assert bench.rows("dues", EXCUSED) == [("routine", "2026-04-13", False, 1)]


def test_of_two_excuses_the_one_entered_in_time_is_told(bench: Bench) -> None:
    sampled(bench, container_class="plug")
    excused(bench, "2026-04-01", "2026-04-30", entered_on="2026-04-05", reason="late")
    excused(bench, "2026-04-01", "2026-04-06", entered_on="2026-04-01", reason="in time")
    excused(bench, "2026-04-01", "2026-04-04", entered_on="2026-04-01", reason="short")
    found = bench.rows("dues", "excuse_reason, excused_until::varchar", "due_on = '2026-04-02'")
    assert found == [("in time", "2026-04-06")]


@pytest.mark.parametrize(
    ("as_of", "listed"),
    [
        (date(2026, 4, 6), ["2026-04-02", "2026-04-05", "2026-04-08", "2026-05-02"]),
        (date(2026, 4, 8), ["2026-04-02", "2026-04-05", "2026-04-08", "2026-04-11", "2026-05-02"]),
    ],
)
def test_of_future_excused_dues_one_is_listed(begin: Begin, as_of: date, listed: list[str]) -> None:
    bench = begin(as_of)
    sampled(bench, container_class="plug")
    excused(bench, "2026-04-01", "2026-05-01")
    assert bench.rows("dues", "due_on::varchar") == [(day,) for day in listed]
    assert bench.select("dues", "due_on::varchar, nth", "not is_excused") == [("2026-05-02", 1)]


@pytest.mark.parametrize("until_on", ["9999-12-31", "2036-04-06"])
def test_an_excuse_without_an_end_reaches_ten_years(bench: Bench, until_on: str) -> None:
    sampled(bench)
    excused(bench, "2026-04-01", until_on)
    assert bench.rows("due_states", "state, due_on > date '2036-04-06', excused_until::varchar") == [
        ("excused", True, until_on)
    ]


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        (date(2026, 4, 12), "excused"),
        (date(2026, 4, 20), "excused"),
        (date(2026, 4, 21), "due_this_week"),
        (date(2026, 4, 27), "due_this_week"),
        (date(2026, 4, 28), "overdue"),
    ],
)
def test_excused_until_the_excuse_is_over(begin: Begin, as_of: date, state: str) -> None:
    bench = begin(as_of)
    sampled(bench)
    excused(bench, "2026-04-10", "2026-04-20", entered_on="2026-04-10")
    until = "2026-04-20" if state == "excused" else None
    assert bench.rows("due_states", STATE) == [("2026-04-27", state, until, False)]


def test_an_excuse_that_follows_another_holds_on(begin: Begin) -> None:
    bench = begin(date(2026, 4, 29))
    sampled(bench)
    excused(bench, "2026-04-10", "2026-04-20", entered_on="2026-04-10")
    excused(bench, "2026-04-25", "2026-04-30", entered_on="2026-04-24")
    assert bench.rows("due_states", STATE) == [("2026-05-11", "excused", "2026-04-30", False)]


@pytest.mark.parametrize(
    ("as_of", "state"),
    [(date(2026, 4, 6), "due_this_week"), (date(2026, 4, 12), "overdue"), (date(2026, 4, 3), "excused")],
)
def test_an_excuse_for_routine_samplings_hides_no_retest(begin: Begin, as_of: date, state: str) -> None:
    bench = begin(as_of)
    sampled(bench, container_class="plug")
    bench.load_file("treatments", "treated_on | treatment\n2026-04-01 | lime_drench")
    excused(bench, "2026-04-01", "2026-04-30", purpose="routine", entered_on="2026-04-01")
    assert bench.rows("due_states", "why, due_on::varchar, state") == [
        ("after_treatment", "2026-04-11", state)
    ]


def test_a_lot_excused_to_its_end_is_excused_and_does_not_ship_first(bench: Bench) -> None:
    sampled(bench, ends_on="2026-04-20")
    excused(bench, "2026-04-01", "2026-04-20")
    assert bench.rows("due_states", "state, days_overdue") == [("excused", None)]
