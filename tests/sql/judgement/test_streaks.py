"""Samplings out on the same side, one after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.published.worked import read_worked
from tests.sql.bench import Bench, empty

PH_OF = {"low": "5.0", "in range": "6.0", "high": "7.0", "too few": "7.0"}
FIRST_DAY = date(2026, 2, 2)
MARGIN = "are_last_two_beyond_margin"


def load_days(bench: Bench, lots: Mapping[str, Sequence[tuple[date, str, str]]]) -> None:
    """Samplings as one line each: day, purpose and how it lies; `too few` stands for four pots."""
    bench.lots("lot_code | started_on\n" + "\n".join(f"{name} | 2024-01-01" for name in lots))
    lines = [
        f"{name} | {day} | {purpose} | {4 if how == 'too few' else 5} | {PH_OF[how]}"
        for name, days in lots.items()
        for day, purpose, how in days
    ]
    if lines:
        bench.readings("lot_code | sampled_on | purpose | n_pots | ph\n" + "\n".join(lines))


def in_a_row(bench: Bench, *hows: str) -> list[int]:
    """Numbers in a row of weekly routine samplings that lie so, the unjudged ones left out."""
    days = [(FIRST_DAY + timedelta(weeks=week), "routine", how) for week, how in enumerate(hows)]
    load_days(bench, {"A": days})
    return [number for _, number in bench.rows("streaks", "sampled_on, in_a_row", "quantity = 'ph'")]


def test_the_same_side_again_lengthens_the_row(bench: Bench) -> None:
    assert in_a_row(bench, "high", "high", "high") == [1, 2, 3]


def test_one_in_range_ends_the_row(bench: Bench) -> None:
    assert in_a_row(bench, "low", "low", "in range", "low") == [1, 2, 0, 1]


def test_the_other_side_starts_another_row(bench: Bench) -> None:
    assert in_a_row(bench, "low", "low", "high", "low") == [1, 2, 1, 1]


def test_too_few_pots_neither_end_nor_lengthen_the_row(bench: Bench) -> None:
    assert in_a_row(bench, "high", "too few", "high") == [1, 2]


def after_treatment(bench: Bench, *samplings: tuple[str, str, str]) -> list[int]:
    """Numbers in a row of a lot whose feed was changed on 16 March: read again from 23 March on."""
    load_days(bench, {"A": [(date.fromisoformat(day), purpose, how) for day, purpose, how in samplings]})
    bench.load_file("treatments", "lot_code | treated_on | treatment\nA | 2026-03-16 | acid_feed")
    return [number for _, number in bench.rows("streaks", "sampled_on, in_a_row", "quantity = 'ph'")]


def test_a_retest_before_the_waiting_time_is_over_does_not_lengthen_the_row(bench: Bench) -> None:
    first = ("2026-03-16", "routine", "high")
    assert after_treatment(
        bench, first, ("2026-03-22", "retest", "high"), ("2026-03-24", "retest", "high")
    ) == [1, 1, 2]


def test_a_retest_on_the_day_that_the_waiting_time_ends_lengthens_the_row(bench: Bench) -> None:
    assert after_treatment(bench, ("2026-03-16", "routine", "high"), ("2026-03-23", "retest", "high")) == [
        1,
        2,
    ]


def test_a_routine_sampling_in_the_waiting_time_lengthens_the_row(bench: Bench) -> None:
    assert after_treatment(bench, ("2026-03-16", "routine", "high"), ("2026-03-20", "routine", "high")) == [
        1,
        2,
    ]


def test_an_early_retest_in_range_ends_the_row(bench: Bench) -> None:
    samplings = [
        ("2026-03-16", "routine", "high"),
        ("2026-03-20", "retest", "in range"),
        ("2026-03-30", "routine", "high"),
    ]
    assert after_treatment(bench, *samplings) == [1, 0, 1]


def test_an_early_retest_that_begins_a_row_is_its_first_and_the_next_is_not_the_second(bench: Bench) -> None:
    samplings = [
        ("2026-03-16", "routine", "in range"),
        ("2026-03-20", "retest", "high"),
        ("2026-03-30", "routine", "high"),
    ]
    assert after_treatment(bench, *samplings) == [0, 1, 1]


def test_retests_belong_to_the_row_and_other_purposes_do_not(bench: Bench) -> None:
    days = [FIRST_DAY + timedelta(weeks=week) for week in range(4)]
    purposes = ("routine", "affected", "retest", "before_feed")
    load_days(bench, {"A": [(day, purpose, "high") for day, purpose in zip(days, purposes, strict=True)]})
    assert bench.rows("streaks", "in_a_row, purpose", "quantity = 'ph'") == [(1, "routine"), (2, "retest")]


def test_a_retest_on_the_day_of_a_routine_sampling_comes_after_it(bench: Bench) -> None:
    load_days(bench, {"A": [(FIRST_DAY, "retest", "high"), (FIRST_DAY, "routine", "high")]})
    assert bench.rows("streaks", "in_a_row, purpose", "quantity = 'ph'") == [(1, "routine"), (2, "retest")]


def test_a_row_knows_its_first_day_and_what_was_before(bench: Bench) -> None:
    # In range: 6.0 with an interval of 0.18 either way, from the policy's SD of 0.2.
    in_a_row(bench, "in range", "high", "high")
    columns = "sampled_on::varchar, since_on::varchar, verdict_before"
    assert bench.select("streaks", columns, "quantity = 'ph'") == [
        ("2026-02-02", None, None),
        ("2026-02-09", "2026-02-09", "in_range"),
        ("2026-02-16", "2026-02-09", "clearly_out"),
    ]


def test_each_quantity_has_its_own_row(bench: Bench) -> None:
    bench.lots()
    table = "sampled_on | n_pots | ph | ec_ms_cm\n2026-03-23 | 5 | 7.0 | 6.0\n2026-03-30 | 5 | 6.0 | 6.0"
    bench.readings(table)
    assert bench.rows("streaks", "quantity, in_a_row, sampled_on::varchar") == [
        ("ec", 1, "2026-03-23"),
        ("ec", 2, "2026-03-30"),
        ("ph", 0, "2026-03-30"),
        ("ph", 1, "2026-03-23"),
    ]


def test_at_least_lengthens_the_row(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        "sampled_on | n_pots | ec_ms_cm | leachate_ml\n2026-03-23 | 5 | 5.5 | 30\n2026-03-30 | 5 | 5.5 | 50"
    )
    assert bench.rows("streaks", "in_a_row", "quantity = 'ec'") == [(1,), (2,)]


def test_the_last_two_means_beyond_the_margin(bench: Bench) -> None:
    bench.lots("lot_code\nfirst\nsecond\nboth")
    bench.readings(
        """
        lot_code | sampled_on | n_pots | ph
        first    | 2026-03-23 | 5      | 5.6
        first    | 2026-03-30 | 5      | 5.7
        second   | 2026-03-23 | 5      | 5.7
        second   | 2026-03-30 | 5      | 5.6
        both     | 2026-03-23 | 5      | 5.6
        both     | 2026-03-30 | 5      | 5.6
        """
    )
    last = "quantity = 'ph' and sampled_on = '2026-03-30'"
    assert bench.rows("streaks", f"lot_key, {MARGIN}", last) == [
        ("both", True),
        ("first", False),
        ("second", False),
    ]


def test_rows_of_the_worked_example(bench: Bench) -> None:
    flags = read_worked("streak_flags")
    days = [
        (date.fromisoformat(day), "routine", "high" if flag == "1" else "in range")
        for day, flag in zip(flags["date"], flags["flag"], strict=True)
    ]
    load_days(bench, {"A": days})
    bench.build("streaks")
    found = bench.connection.execute(
        "select since_on::varchar, max(sampled_on)::varchar, max(in_a_row) from streaks "
        "where quantity = 'ph' and in_a_row > 0 group by since_on order by since_on"
    ).fetchall()
    islands = read_worked("streak_islands")
    wanted = zip(islands["first_date"], islands["last_date"], islands["length"].cast(int), strict=True)
    assert found == list(wanted)


def rows_by_hand(days: Sequence[tuple[date, str, str]]) -> list[tuple[date, str, int, date | None]]:
    """The obvious loop: walk through the samplings and count."""
    result: list[tuple[date, str, int, date | None]] = []
    side, number, since = "in range", 0, None
    for day, purpose, how in sorted(days, key=lambda one: (one[0], one[1] == "retest")):
        if how == "too few" or purpose not in ("routine", "retest"):
            continue
        if how == "in range":
            number, since = 0, None
        elif how == side:
            number += 1
        else:
            number, since = 1, day
        side = how
        result.append((day, purpose, number, since))
    return result


SAMPLINGS = st.lists(
    st.tuples(
        st.integers(0, 40).map(lambda days: FIRST_DAY + timedelta(days=days)),
        st.sampled_from(["routine", "routine", "routine", "retest", "affected"]),
        st.sampled_from(sorted(PH_OF)),
    ),
    min_size=1,
    max_size=12,
    unique_by=lambda one: one[:2],
)


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lots=st.lists(SAMPLINGS, min_size=3, max_size=8))
def test_rows_equal_the_obvious_loop(bench: Bench, lots: list[list[tuple[date, str, str]]]) -> None:
    empty(bench.connection)
    series = {f"l{number}": days for number, days in enumerate(lots)}
    load_days(bench, series)
    found = bench.rows("streaks", "lot_key, sampled_on, purpose, in_a_row, since_on", "quantity = 'ph'")
    wanted = [(name, *row) for name, days in series.items() for row in rows_by_hand(days)]
    assert found == sorted(wanted, key=lambda row: row[:3])
