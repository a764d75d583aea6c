"""Random seasons, walked day by day through the shipped SQL and through a plain account beside it.

No due disappears unless it was answered, excused, or its lot ended; none is later than its rule says or moves later
while its cause stands; the earliest that is not excused rules; excused ones never count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, fields
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import quoted, read_sql
from tests.examples import examples
from tests.oracle.dues import PAIR, Account, Due, Excuse, Planned, covering, dues_on, plan_on, state_on
from tests.programme.seasons import DAYS, IN_RANGE, Lot, Season, day, load_season, seasons
from tests.sql.bench import Bench, empty, models_for, open_warehouse

# What hangs on the day; what comes before it looks at one sampling at a time.
ONCE = {"lot_targets", "biased_figures", "verdicts", "streaks"}
ASKED = ("dues", "due_states", "sampling_plan")
DAILY = [
    name for name in models_for(*ASKED) if name.startswith("judgement/") and name.split("/")[1] not in ONCE
]
Row = dict[str, Any]


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


def build(connection: Connection, name: str) -> None:
    relation = quoted(name.split("/")[1])
    connection.execute(f"create or replace table {relation} as\n{read_sql(name)}").fetchall()


def walk(connection: Connection, season: Season) -> Iterator[tuple[date, dict[str, list[Row]]]]:
    """Every day with the rows of the three relations as they are that day."""
    empty(connection)
    bench = Bench(connection, day(DAYS))
    load_season(bench, season)
    bench.build("verdicts", "streaks", "treatments", "exemptions")
    connection.execute("create or replace table all_samplings as from samplings").fetchall()
    for number in range(DAYS):
        connection.execute("update run set as_of = $day", {"day": day(number)}).fetchall()
        connection.execute(
            "create or replace table samplings as from all_samplings where sampled_on <= (select as_of from run)"
        ).fetchall()
        for name in DAILY:
            build(connection, name)
        yield (
            day(number),
            {name: connection.table(name).order("all").pl().to_dicts() for name in ASKED},
        )


# The account --------------------------------------------------------------------------------------


def row_of(key: str, due: Due, nth: int | None) -> Row:
    excuse = due.excuse
    return {
        "lot_key": key,
        "why": due.why,
        "rule_on": due.rule_on,
        "due_on": due.due_on,
        "not_before": due.not_before,
        "caused_on": due.caused_on,
        "purposes": due.purposes,
        "pots": due.pots,
        "is_excused": excuse is not None,
        "excused_until": excuse and excuse.last,
        "excuse_reason": excuse and excuse.reason,
        "excused_by": excuse and excuse.person,
        "is_excused_late": excuse is not None and excuse.entered_on > due.due_on,
        "nth": nth,
    }


def check_account(today: date, season: Season, found: dict[str, list[Row]]) -> None:
    """The SQL says what the account says: dues, states and plan."""
    accounts = {key: lot.account(season) for key, lot in season.lots.items() if lot.stands_on(today)}
    dues = {key: dues_on(account, today) for key, account in accounts.items()}
    wanted = [
        row_of(key, due, number if due.excuse is None else None)
        for key, listed in dues.items()
        for number, due in enumerate(listed, start=1)
    ]
    names = wanted[0].keys() if wanted else ()
    assert in_order([{name: row[name] for name in names} for row in found["dues"]]) == in_order(wanted)
    assert [
        (row["lot_key"], row["state"], row["due_on"], row["why"], row["excused_until"])
        for row in found["due_states"]
    ] == [state_row(key, accounts[key], listed, today) for key, listed in sorted(dues.items())]
    planned = [
        (key, *astuple(one)) for key, listed in dues.items() for one in plan_on(accounts[key], listed, today)
    ]
    columns = ("lot_key", *(field.name for field in fields(Planned)))
    assert sorted(tuple(row[name] for name in columns) for row in found["sampling_plan"]) == sorted(planned)


def in_order(rows: list[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: (row["lot_key"], row["why"], row["due_on"]))


def state_row(key: str, account: Account, listed: list[Due], today: date) -> tuple[Any, ...]:
    excuse, ruling = covering(listed, today), listed[0]
    return key, state_on(account, listed, today), ruling.due_on, ruling.why, excuse and excuse.last


# What holds on every day ----------------------------------------------------------------------------


def check_day(today: date, season: Season, found: dict[str, list[Row]]) -> None:
    """None is later than its rule or too early, the earliest not excused rules, excused ones never count."""
    states = {row["lot_key"]: row for row in found["due_states"]}
    assert states.keys() == {key for key, lot in season.lots.items() if lot.stands_on(today)}
    for row in found["dues"]:
        assert row["due_on"] <= row["rule_on"]
        assert row["due_on"] == row["rule_on"] or not season.is_closed(row["due_on"])
        assert row["due_on"] > row["caused_on"]
        assert row["not_before"] is None or row["due_on"] >= row["not_before"]
        assert (row["nth"] is None) == row["is_excused"]
    for key, state in states.items():
        counting = [row for row in found["dues"] if row["lot_key"] == key and not row["is_excused"]]
        assert state["due_on"] == min(row["due_on"] for row in counting)
        assert (state["why"], state["due_on"]) in {(row["why"], row["due_on"]) for row in counting}
        if state["state"] == "overdue":
            assert not any(holds(season.lots[key], state, today))
    for row in found["sampling_plan"]:
        assert today <= row["plan_on"] < today + timedelta(days=28)
        assert season.lots[row["lot_key"]].stands_on(row["plan_on"])
        # A pair that is overdue waits for the next feeding.
        is_late_pair = row["why"] == "feed_pair" and row["due_on"] <= today
        assert row["plan_on"] <= max(row["due_on"], today) or season.is_closed(today) or is_late_pair
        if row["purposes"] == "after_feed":
            assert is_pairable(season, row["plan_on"]) or not any(
                is_pairable(season, today + timedelta(days=number)) for number in range(4, 28)
            )
        # A pair is excused by the day of its first half.
        of_pair = next((one for one in found["dues"] if is_half_of(row, one)), None)
        if of_pair is not None or row["purposes"] != "after_feed":
            assert not any(holds(season.lots[row["lot_key"]], of_pair or row, today))


def is_pairable(season: Season, on: date) -> bool:
    """Whether a feeding of an open day has one among the three days before it."""
    return (
        on.weekday() in season.fed_weekdays
        and not season.is_closed(on)
        and not all(season.is_closed(on - timedelta(days=number)) for number in (1, 2, 3))
    )


def is_half_of(planned: Row, due: Row) -> bool:
    """Whether a planned sampling is one of the two that a due asks for that is not excused."""
    return (
        planned["lot_key"] == due["lot_key"]
        and planned["why"] == due["why"] == "feed_pair"
        and due["purposes"] == PAIR
        and not due["is_excused"]
    )


def holds(lot: Lot, row: Row, today: date) -> Iterator[bool]:
    """For each excuse that is known, whether it covers the day of a due."""
    for one in lot.excuses:
        if one.entered_on <= today:
            yield one.first <= row["due_on"] <= one.last and one.purpose in (
                None,
                *row["purposes"].split(","),
            )


# From one day to the next ---------------------------------------------------------------------------


def key_of(row: Row) -> tuple[str, str, date]:
    return row["lot_key"], row["why"], row["caused_on"]


def check_next_day(today: date, season: Season, before: list[Row], now: list[Row]) -> None:
    """What was asked for yesterday is asked for today, at the latest on the same day; or something happened today."""
    for row in before:
        lot = season.lots[row["lot_key"]]
        if not lot.stands_on(today) or has_happened(lot, season, row, today):
            continue
        still = [one for one in now if key_of(one) == key_of(row)]
        if row["is_excused"]:
            assert any(one["is_excused"] and one["due_on"] == row["due_on"] for one in still), row
        elif any(holds(lot, row, today)):
            # Excused from today on: listed so, or behind a nearer one of its chain, and the chain goes on after it.
            assert not any(holds(lot, row, today - timedelta(days=1)))
            assert any(one["is_excused"] and is_told_first(one, row, today) for one in still), row
            assert any(not one["is_excused"] and one["due_on"] > row["due_on"] for one in still) or is_once(
                row
            )
        else:
            assert [one["due_on"] for one in still if not one["is_excused"]] == [row["due_on"]], row


def is_told_first(excused: Row, row: Row, today: date) -> bool:
    """Whether an excused due is the row's own, or the next to come before it: only that one is listed ahead."""
    due_on: date = row["due_on"]
    told_on: date = excused["due_on"]
    return told_on == due_on or today < told_on < due_on


def is_once(row: Row) -> bool:
    """Whether the due is a follow-up, which is excused once and does not roll on."""
    return row["why"] not in ("first", "routine", "problem_crop")


def has_happened(lot: Lot, season: Season, row: Row, today: date) -> bool:
    """Whether something of today can have answered the due, or put another in its place."""
    if row["purposes"] == "after_feed" and today > row["due_on"]:
        # The day of feeding has passed: the pair is asked for whole.
        return True
    least = lot.account(season).pots
    read = {purpose for (on, purpose), (pots, _) in lot.samplings.items() if on == today and pots >= least}
    is_read = bool(read & {"routine", "retest"})
    is_treated = any(on == today for on, _ in lot.treatments)
    return {
        "after_out": is_read or is_treated,
        "after_pair_out": is_read or is_treated or "after_feed" in read,
        "after_treatment": is_treated or (is_read and today >= (row["not_before"] or today)),
        "symptoms": is_read or bool(read & {"affected", "healthy"}),
    }.get(row["why"], is_read or "after_feed" in read or "before_feed" in read)


# A second excuse, entered while the first one holds, reaches over the due to which that one has rolled on.
TWO_EXCUSES = Season(
    closed_weekdays=frozenset(),
    holidays=frozenset(),
    fed_weekdays=frozenset({2}),
    lots={
        "l0": Lot(
            container="plug",
            crop="poinsettia",
            is_periodic=False,
            start=day(0),
            end=None,
            samplings={(day(11), "routine"): (5, IN_RANGE)},
            treatments=(),
            excuses=(
                Excuse(day(3), day(17), None, "sold out", "Bo", entered_on=day(0)),
                Excuse(day(15), day(25), None, "frost", "Bo", entered_on=day(12)),
            ),
        )
    },
)


@settings(
    max_examples=examples(4),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(season=seasons())
@example(season=TWO_EXCUSES)
def test_a_season_day_by_day(warehouse: Connection, season: Season) -> None:
    before: list[Row] = []
    for today, found in walk(warehouse, season):
        check_account(today, season, found)
        check_day(today, season, found)
        check_next_day(today, season, before, found["dues"])
        before = found["dues"]
