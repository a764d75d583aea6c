"""A lot's trace says for what it is due, by which rule and from which day."""

from __future__ import annotations

from pipeline.trace.lot import trace_lot, write_trace
from tests.sql.bench import Bench, settings_of, site


def due_lines(bench: Bench) -> list[str]:
    bench.build_traced()
    lines = write_trace(trace_lot(bench.connection, settings_of(site()), "north", "A"))
    if "Due as of the last night, what rules first" not in lines:
        return []
    return lines[lines.index("Due as of the last night, what rules first") + 1 :]


def test_what_rules_comes_first_then_the_others_by_day(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.0 5.0 5.0 5.0 5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-04-03 | bicarbonate")
    bench.load_file("exemptions", "purpose | entered_on\nroutine | 2026-03-20")
    assert due_lines(bench) == [
        "  Treated, retest due Mon 2026-04-06 (bicarbonate on 2026-04-03, 3 days).",
        "  Routine sampling due Mon 2026-04-13 (last read on 2026-03-30, every 14 days).",
    ]


def test_a_lot_that_has_ended_is_due_for_nothing(bench: Bench) -> None:
    bench.lots("ends_on\n2026-04-05")
    bench.pots("6 6 6 6 6")
    assert due_lines(bench) == []
