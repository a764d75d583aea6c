"""Spans of fates in days: what a line was taken for, from which as-of date to which."""

from __future__ import annotations

from datetime import date

from pipeline.warehouse.statements import run_sql
from tests.sql.bench import AS_OF, Bench

SECOND, THIRD = date(2026, 4, 7), date(2026, 4, 8)


def close(bench: Bench) -> None:
    """The end of a night, as far as fates go."""
    bench.build("record_fates")
    for name in ("history/close_fates", "history/open_fates"):
        run_sql(bench.connection, name)


def spans(bench: Bench, *lines: tuple[int, int]) -> list[tuple[int, int, str, str | None, date, date | None]]:
    file_ids, record_nos = zip(*lines, strict=True)
    found: list[tuple[int, int, str, str | None, date, date | None]] = run_sql(
        bench.connection,
        "queries/line_spans",
        {"file_ids": list(file_ids), "record_nos": list(record_nos)},
    )
    return found


def test_spans_of_a_line_in_days(bench: Bench) -> None:
    bench.readings("lot_code | pot\nX | 1\nX | 2", mode="cumulative")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code\nX")
    close(bench)
    bench.next_night(THIRD)
    bench.readings("lot_code | pot\nX | 1", mode="cumulative")
    close(bench)
    assert spans(bench, (1, 2)) == [
        (1, 2, "held", "lot_unknown", AS_OF, SECOND),
        (1, 2, "accepted", None, SECOND, THIRD),
        (1, 2, "withdrawn", None, THIRD, None),
    ]
    assert spans(bench, (1, 1), (3, 1)) == [
        (1, 1, "held", "lot_unknown", AS_OF, SECOND),
        (1, 1, "accepted", None, SECOND, None),
        (3, 1, "repeated", None, THIRD, None),
    ]


def test_what_held_between_two_runs_of_one_night_has_no_span(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(AS_OF)
    bench.lots("lot_code\nX")
    close(bench)
    assert spans(bench, (1, 1)) == [(1, 1, "accepted", None, AS_OF, None)]
