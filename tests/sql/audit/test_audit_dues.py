"""What became of each due of a period: the rules one by one, on days that can be counted by hand."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from pipeline.settings import Grower
from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.audit import COMPLIANCE_MODELS, begin_audit, build_audit
from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin

FROM, TO = date(2026, 2, 1), date(2026, 4, 6)
STATE = "why, due_on::varchar, state, coalesce(days_late, days_open)"
NEEDED = (
    *("samplings", "verdicts", "treatments", "exemptions", "treatment_waits", "symptom_rounds"),
    *("feed_pairs", "pair_outs", "sampling_questions", "lot_growers"),
)


def audited(
    bench: Bench,
    columns: str = STATE,
    *,
    from_on: date = FROM,
    to_on: date = TO,
    relation: str = "audit_dues",
) -> list[tuple[Any, ...]]:
    bench.build(*NEEDED)
    begin_audit(bench.connection, from_on, to_on, bench.as_of)
    build_audit(bench.connection, COMPLIANCE_MODELS)
    rows: list[tuple[Any, ...]] = bench.connection.execute(
        f"select {columns} from {relation} order by all"  # noqa: S608
    ).fetchall()
    return rows


def sampled(bench: Bench, *days: str, ph: str = "6.0", purpose: str = "routine") -> None:
    rows = "\n".join(f"{on} | 5" for on in days)
    bench.readings(f"sampled_on | n_pots\n{rows}", same={"ph": ph, "purpose": purpose, "ec_ms_cm": None})


def test_forty_days_without_sampling_at_fourteen_are_one_missed_and_one_late_by_twelve(bench: Bench) -> None:
    bench.lots("started_on | ends_on\n2026-02-02 | 2026-03-24")
    sampled(bench, "2026-02-03", "2026-03-15")
    assert audited(bench) == [
        ("first", "2026-02-09", "on_time", 0),
        ("routine", "2026-02-17", "missed", None),
        ("routine", "2026-03-03", "late", 12),
    ]
    shares = audited(
        bench,
        "dues, counted, share_on_time::varchar, longest_gap_days, most_days_to_first",
        relation="compliance",
    )
    assert shares[-1] == (3, 3, "0.3333", 40, 1)


@pytest.mark.parametrize(
    ("taken", "state"),
    [
        ("2026-02-10", ("on_time", 0)),
        ("2026-02-17", ("on_time", 0)),
        ("2026-02-19", ("on_time", 2)),
        ("2026-02-20", ("late", 3)),
        ("2026-03-02", ("late", 13)),
    ],
)
def test_two_days_of_grace_at_fourteen_days(bench: Bench, taken: str, state: tuple[str, int]) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", taken)
    assert [row[2:] for row in audited(bench) if row[1] == "2026-02-17"] == [state]


def test_one_on_the_very_day_of_the_next_due_answers_that_one(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", "2026-03-03")
    assert audited(bench, to_on=date(2026, 3, 10)) == [
        ("first", "2026-02-09", "on_time", 0),
        ("routine", "2026-02-17", "missed", None),
        ("routine", "2026-03-03", "on_time", 0),
    ]


def test_intervals_below_fourteen_days_have_no_grace(bench: Bench) -> None:
    bench.lots("started_on | container_class\n2026-02-02 | plug")
    sampled(bench, "2026-02-03", "2026-02-07")
    assert audited(bench, to_on=date(2026, 2, 8)) == [("routine", "2026-02-06", "late", 1)]


def test_a_missed_first_due_rolls_on_by_the_routine_interval(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    assert audited(bench, to_on=date(2026, 2, 28)) == [
        ("first", "2026-02-09", "missed", None),
        ("routine", "2026-02-23", "open", 5),
    ]


def test_what_stands_at_the_end_is_open_and_neither_late_nor_missed(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-20")
    assert audited(bench) == [("first", "2026-03-27", "open", 10)]
    assert audited(bench, "counted, open_dues, most_days_open", relation="compliance")[0] == (0, 0, None)
    assert (0, 1, 10) in audited(bench, "counted, open_dues, most_days_open", relation="compliance")


def test_what_a_lot_that_ended_was_not_sampled_for_is_missed(bench: Bench) -> None:
    bench.lots("started_on | ends_on\n2026-02-02 | 2026-02-20")
    sampled(bench, "2026-02-03")
    assert audited(bench)[-1] == ("routine", "2026-02-17", "missed", None)


def test_a_sampling_of_too_few_pots_answers_nothing(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-20")
    bench.readings("sampled_on | n_pots\n2026-03-21 | 4")
    assert audited(bench)[0][2] == "open"


def test_an_excuse_takes_a_due_off_and_one_that_is_entered_later_is_marked(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03")
    bench.load_file("exemptions", "from_on | until_on | entered_on\n2026-02-10 | 2026-02-20 | 2026-02-18")
    rows = audited(bench, "due_on::varchar, state, is_excused_late, excused_by")
    assert rows[1] == ("2026-02-17", "excused", True, "Ann")
    shares = audited(
        bench,
        "on_time, late, missed, excused, excused_late, share_on_time::varchar, share_on_time_with_excused::varchar",
        to_on=date(2026, 2, 28),
        relation="compliance",
    )
    assert shares[-1] == (1, 0, 0, 1, 1, "1.0000", "0.5000")


def test_a_due_that_was_taken_in_time_needs_no_excuse(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", "2026-02-17")
    bench.load_file("exemptions", "from_on | until_on | entered_on\n2026-02-10 | 2026-02-20 | 2026-02-10")
    assert audited(bench)[1][2] == "on_time"


def test_after_out_in_seven_days_until_the_next_routine_due(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", ph="5.0")
    sampled(bench, "2026-02-12")
    assert audited(bench, to_on=date(2026, 2, 16)) == [
        ("after_out", "2026-02-10", "late", 2),
        ("first", "2026-02-09", "on_time", 0),
    ]


def test_a_follow_up_that_comes_with_the_next_routine_due_is_missed(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", ph="5.0")
    sampled(bench, "2026-02-17")
    assert audited(bench, to_on=date(2026, 2, 20)) == [
        ("after_out", "2026-02-10", "missed", None),
        ("first", "2026-02-09", "on_time", 0),
        ("routine", "2026-02-17", "on_time", 0),
    ]


def paired(bench: Bench, before: str, after: str, ph: str = "6.0") -> None:
    """A pair around a feeding, read the day before and the day of it."""
    sampled(bench, before, purpose="before_feed", ph=ph)
    sampled(bench, after, purpose="after_feed", ph=ph)


@pytest.mark.parametrize(
    ("again", "told"),
    [
        (("retest", "2026-02-11"), ("2026-02-11", "late", 1)),
        (("pair", "2026-02-10"), ("2026-02-10", "on_time", 0)),
        (("affected", "2026-02-10"), (None, "missed", None)),
        (None, (None, "missed", None)),
    ],
)
def test_a_pair_out_is_answered_by_a_retest_or_by_another_pair(
    bench: Bench, again: tuple[str, str] | None, told: tuple[object, ...]
) -> None:
    bench.lots("started_on\n2026-02-02")
    paired(bench, "2026-02-02", "2026-02-03", ph="5.0")
    if again is not None and again[0] == "pair":
        paired(bench, "2026-02-09", again[1])
    elif again is not None:
        sampled(bench, again[1], purpose=again[0])
    found = audited(
        bench, "why, due_on::varchar, taken_on::varchar, state, days_late", to_on=date(2026, 2, 20)
    )
    assert [row for row in found if row[0] == "after_pair_out"] == [("after_pair_out", "2026-02-10", *told)]


def test_a_treatment_since_the_pairs_first_day_takes_the_place_of_its_retest(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    paired(bench, "2026-02-02", "2026-02-03", ph="5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-02-02 | acid_feed")
    assert "after_pair_out" not in [row[0] for row in audited(bench, to_on=date(2026, 2, 20))]


def test_a_treatment_takes_the_place_of_after_out_and_waits_its_time(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", ph="5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-02-05 | acid_feed")
    sampled(bench, "2026-02-09", purpose="retest")
    sampled(bench, "2026-02-12", purpose="retest")
    assert audited(bench, f"{STATE}, taken_on::varchar", to_on=date(2026, 2, 20)) == [
        ("after_treatment", "2026-02-12", "on_time", 0, "2026-02-12"),
        ("first", "2026-02-09", "on_time", 0, "2026-02-03"),
        ("routine", "2026-02-17", "on_time", 0, "2026-02-09"),
    ]


@pytest.mark.parametrize(
    ("closed", "asked"),
    [
        (("saturday", "sunday"), [("feed_pair", "2026-02-16", "missed")]),
        # Thursday and Monday lie too far apart to be a pair: nobody was asked for one.
        (("friday", "saturday", "sunday"), []),
    ],
)
def test_a_feeding_that_cannot_be_read_as_a_pair_asks_for_none(
    bench: Bench, closed: tuple[str, ...], asked: list[tuple[str, str, str]]
) -> None:
    bench.use(
        site().model_copy(update={"feedings": (Feeding(weekdays=("monday",)),), "no_sampling": closed}),
        policy=[PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))],
    )
    bench.lots("started_on | feed_mode\n2026-02-02 | periodic")
    sampled(bench, "2026-02-03")
    found = audited(bench, "why, due_on::varchar, state", to_on=date(2026, 2, 25))
    assert [row for row in found if row[0] == "feed_pair"] == asked


def test_affected_plants_are_answered_by_a_comparison_alone(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-04", purpose="affected")
    sampled(bench, "2026-02-05")
    sampled(bench, "2026-02-06", purpose="healthy")
    assert ("symptoms", "2026-02-07", "on_time", 0) in audited(bench, to_on=date(2026, 2, 15))


def test_a_lot_that_is_listed_after_the_due_could_not_be_known(begin: Begin) -> None:
    bench = begin(date(2026, 2, 1))
    bench.lots("lot_code | started_on\nB | 2026-01-20")
    bench.next_night(date(2026, 2, 12))
    bench.lots("lot_code | started_on\nA | 2026-02-02\nB | 2026-01-20")
    rows = audited(bench, "lot_id, due_on::varchar, state, is_history", to_on=date(2026, 2, 12))
    assert rows == [("A", "2026-02-09", "not_knowable", False), ("B", "2026-02-10", "open", False)]


def test_dues_before_the_first_night_are_judged_and_marked(begin: Begin) -> None:
    bench = begin(date(2026, 2, 12))
    bench.lots("started_on\n2026-02-02")
    assert audited(bench, "state, is_history", to_on=date(2026, 2, 12)) == [("open", True)]


def test_another_container_asks_by_its_own_interval_from_its_day_on(bench: Bench) -> None:
    bench.lots(
        "lot_code | container_class | started_on | valid_from\n"
        "A | plug | 2026-02-02 | -\nA | pot_4in | 2026-02-02 | 2026-02-07"
    )
    sampled(bench, "2026-02-03", "2026-02-06", "2026-02-09")
    assert audited(bench, f"{STATE}, interval_days", to_on=date(2026, 2, 24)) == [
        ("first", "2026-02-09", "on_time", 0, 7),
        ("routine", "2026-02-06", "on_time", 0, 3),
        ("routine", "2026-02-09", "on_time", 0, 3),
        ("routine", "2026-02-23", "open", 1, 14),
    ]


def test_a_later_policy_asks_from_its_day_on(bench: Bench) -> None:
    bench.use(
        policy=[
            PolicyPeriod(valid_from=date(2026, 1, 1)),
            PolicyPeriod(valid_from=date(2026, 2, 10), problem_crops=("poinsettia",)),
        ]
    )
    bench.lots("started_on\n2026-02-02")
    sampled(bench, "2026-02-03", "2026-02-17")
    assert audited(bench, to_on=date(2026, 2, 24)) == [
        ("first", "2026-02-09", "on_time", 0),
        ("problem_crop", "2026-02-24", "open", 0),
        ("routine", "2026-02-17", "on_time", 0),
    ]


def test_gaps_begin_and_end_with_the_period_and_the_lot(bench: Bench) -> None:
    bench.lots("started_on | ends_on\n2026-02-02 | 2026-03-20")
    sampled(bench, "2026-02-10", "2026-02-20")
    rows = audited(bench, "from_on::varchar, days, begins, ends", relation="sampling_gaps")
    assert rows == [
        ("2026-02-02", 8, "start", "sampling"),
        ("2026-02-10", 10, "sampling", "sampling"),
        ("2026-02-20", 28, "sampling", "end"),
    ]


def test_shares_are_given_by_lot_house_site_and_group_with_meters_that_are_not_shown(bench: Bench) -> None:
    bench.lots("lot_code | house | started_on\nA | 1 | 2026-02-02\nB | 2 | 2026-02-02")
    bench.readings("lot_code | sampled_on | n_pots\nA | 2026-02-03 | 5", same={"leachate_ml": "30"})
    rows = audited(
        bench,
        "level, house, lots, samplings, volumes_right, proper, proper_not_shown, share_proper",
        to_on=date(2026, 2, 28),
        relation="compliance where part = 'all'",
    )
    assert rows == [
        ("group", None, 2, 1, 1, 0, 1, None),
        ("grower", None, 2, 1, 1, 0, 1, None),
        ("house", "1", 1, 1, 1, 0, 1, None),
        ("house", "2", 1, 0, 0, 0, 0, None),
        ("lot", "1", 1, 1, 1, 0, 1, None),
        ("lot", "2", 1, 0, 0, 0, 0, None),
        ("site", None, 2, 1, 1, 0, 1, None),
    ]


def test_a_lot_counts_under_each_grower_of_its_house_and_once_for_the_site(bench: Bench) -> None:
    growers = tuple(
        Grower(id=one, name=one.title(), email=f"{one}@hill.example", houses=houses)
        for one, houses in (("ana", ("1", "2")), ("bo", ("2",)))
    )
    bench.use(site().model_copy(update={"growers": growers}))
    bench.lots(
        "lot_code | house | grower_id | started_on\n"
        "A | 1 | - | 2026-02-02\nB | 2 | - | 2026-02-02\nC | 3 | - | 2026-02-02\nD | 1 | bo | 2026-02-02"
    )
    columns = "level, grower_id, lot_key, lots, dues"
    rows = audited(
        bench,
        columns,
        to_on=date(2026, 2, 12),
        relation="compliance where part = 'all' and level in ('site', 'grower', 'lot')",
    )
    # one due each by then, the first one; nobody has house 3
    assert rows == [
        ("grower", "", None, 1, 1),
        ("grower", "ana", None, 2, 2),
        ("grower", "bo", None, 2, 2),
        ("lot", "", "c", 1, 1),
        ("lot", "ana", "a", 1, 1),
        ("lot", "ana, bo", "b", 1, 1),
        ("lot", "bo", "d", 1, 1),
        ("site", None, None, 4, 4),
    ]


def test_a_site_without_meter_checks_is_not_called_improper_for_its_volumes_alone(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    bench.readings("sampled_on | n_pots | leachate_ml\n2026-02-03 | 5 | 30\n2026-02-10 | 5 | 90")
    columns = "samplings, volumes_right, proper, proper_not_shown, share_proper"
    [row, *_] = audited(bench, columns, relation="compliance where part = 'all' and level = 'site'")
    assert row == (2, 1, 0, 2, None)


def test_an_audit_of_one_site_looks_at_that_site_alone(bench: Bench) -> None:
    bench.use(site("north"), site("south"))
    bench.lots("started_on\n2026-02-02")
    bench.load_file("lots", "lot_code | started_on\nS | 2026-02-02", site_id="south", mode="cumulative")
    bench.build(*NEEDED)
    begin_audit(bench.connection, FROM, TO, bench.as_of, "south")
    build_audit(bench.connection, COMPLIANCE_MODELS)
    assert bench.connection.execute("select lot_id from audit_lots").fetchall() == [("S",)]
