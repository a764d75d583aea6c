"""Whole histories that come late go before the newer ones; everything else rules as it came."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest

from pipeline.warehouse.statements import run_sql
from tests.sql.bench import Bench

FIRST, SECOND, THIRD = date(2026, 4, 6), date(2026, 4, 7), date(2026, 4, 8)
EARLY, LATE, AHEAD = datetime(2026, 4, 5, 9), datetime(2026, 4, 6, 9), datetime(2027, 1, 1)


def history(
    bench: Bench, named: str | None, changed: datetime, *, mode: str = "cumulative", **facts: Any
) -> None:
    bench.lots(mode=mode, **facts)
    bench.connection.execute(
        "update files set modified_at = ? where file_id = (select max(file_id) from files)", [changed]
    )
    bench.connection.execute("insert into file_days select max(file_id), ?::date from files", [named])


def order(bench: Bench) -> tuple[list[int], dict[int, int | None]]:
    """File numbers as they rule, and by late file the newer one that had come."""
    bench.build("file_order")
    rows = bench.select("file_order", "order_no, file_id, newer_file_id")
    return [row[1] for row in sorted(rows)], {row[1]: row[2] for row in rows if row[2] is not None}


@pytest.mark.parametrize(
    ("first", "second", "is_late"),
    [
        # days in names
        (("2026-04-05", EARLY), ("2026-04-04", LATE), True),
        (("2026-04-04", LATE), ("2026-04-05", EARLY), False),
        # the same day: the time of change
        (("2026-04-05", LATE), ("2026-04-05", EARLY), True),
        (("2026-04-05", EARLY), ("2026-04-05", LATE), False),
        (("2026-04-05", EARLY), ("2026-04-05", EARLY), False),
        # no day in one of the names: the time of change
        ((None, LATE), (None, EARLY), True),
        ((None, EARLY), (None, LATE), False),
        ((None, EARLY), ("2026-04-04", LATE), False),
        (("2026-04-06", EARLY), (None, LATE), False),
        # a clock or a name that is ahead of the day of receipt says nothing
        ((None, AHEAD), (None, EARLY), False),
        (("2026-12-31", EARLY), ("2026-04-07", LATE), False),
        (("2026-12-31", LATE), ("2026-12-31", EARLY), False),
    ],
)
def test_which_of_two_histories_is_older(
    bench: Bench, first: tuple[str | None, datetime], second: tuple[str | None, datetime], is_late: bool
) -> None:
    history(bench, *first)
    bench.next_night(SECOND)
    history(bench, *second)
    assert order(bench) == (([2, 1], {2: 1}) if is_late else ([1, 2], {}))


def test_several_late_ones_go_by_their_own_days(bench: Bench) -> None:
    history(bench, "2026-04-05", LATE)
    bench.next_night(SECOND)
    history(bench, "2026-04-07", LATE)
    bench.next_night(THIRD)
    history(bench, "2026-04-06", LATE)
    history(bench, "2026-04-03", LATE)
    history(bench, "2026-04-02", LATE)
    assert order(bench) == ([5, 4, 1, 3, 2], {3: 2, 4: 1, 5: 1})


def test_increments_other_exports_files_of_one_night_and_held_ones_stay_as_they_came(bench: Bench) -> None:
    history(bench, "2026-04-05", LATE, mode="increment")
    history(bench, "2026-04-06", LATE, export_no=2)
    history(bench, "2026-04-06", LATE, problem="columns_changed", export_no=3)
    bench.next_night(SECOND)
    history(bench, "2026-04-04", LATE, mode="increment")
    history(bench, "2026-04-04", LATE, export_no=3)
    history(bench, "2026-04-07", LATE, export_no=4)
    history(bench, "2026-04-03", LATE, export_no=4)
    assert order(bench) == ([1, 2, 3, 4, 5, 6, 7], {})


def test_an_older_history_withdraws_nothing_and_its_own_lines_do_not_rule(bench: Bench) -> None:
    table = "lot_code | plants\n{}"
    bench.lots("lot_code | plants\nA | 10\nB | 20", mode="cumulative")
    bench.connection.execute("insert into file_days values (1, '2026-04-05')")
    bench.next_night(SECOND)
    bench.lots(table.format("A | 9\nC | 30"), mode="cumulative")
    bench.connection.execute("insert into file_days values (2, '2026-04-01')")
    bench.build("record_versions")
    assert bench.select("record_versions", "file_id, record_no, version, ruling_file_id") == [
        (1, 1, "current", None),
        (1, 2, "current", None),
        (2, 1, "superseded", 1),
        (2, 2, "withdrawn", None),
    ]
    assert run_sql(bench.connection, "queries/older_files") == [
        ("north", "drop/lots-2.csv", "drop/lots-1.csv", 2)
    ]
