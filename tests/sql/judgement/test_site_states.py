"""Each site as it stands on the as-of date."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin


def test_lines_by_fate(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph | pot\n6.0 | 1\n6.0 | 2", numbers_pots=True)
    bench.readings("record_kind | ph | pot\nheader | - | -\n- | 6.0 | 1\n- | 6.1 | 2", numbers_pots=True)
    bench.readings("lot_code\nX", export_no=2)
    bench.lots("lot_code\nB")
    columns = "records, accepted, held, repeated, superseded, withdrawn, not_data, lines"
    # Withdrawn with its lot, the two pots are held now, beside the unknown lot.
    assert bench.rows("site_states", columns) == [(8, 1, 3, 1, 1, 1, 1, 8)]


@pytest.mark.parametrize(
    ("as_of", "nights", "silent"),
    [(date(2026, 4, 6), 0, False), (date(2026, 4, 8), 2, False), (date(2026, 4, 9), 3, True)],
)
def test_silent_from_the_third_night_without_a_file(
    bench: Bench, as_of: date, nights: int, silent: bool
) -> None:
    bench.lots()
    bench.next_night(as_of)
    assert bench.rows("site_states", "nights_silent, is_silent") == [(nights, silent)]


def test_a_site_that_never_sent_anything_is_silent(bench: Bench) -> None:
    bench.use(site(), site("south"))
    bench.lots()
    columns = "site_id, is_silent, nights_silent, last_received_on::varchar, records, samplings"
    assert bench.rows("site_states", columns) == [
        ("north", False, 0, "2026-04-06", 1, 0),
        ("south", True, None, None, 0, 0),
    ]


def test_quality_over_28_days(begin: Begin) -> None:
    bench = begin(date(2026, 4, 6))
    bench.lots()
    bench.readings(
        """
        sampled_on | purpose  | n_pots | leachate_ml
        2026-03-09 | routine  | 5      | 30
        2026-03-10 | routine  | 5      | 30
        2026-03-20 | retest   | 5      | 50
        2026-03-25 | routine  | 4      | 30
        2026-04-06 | affected | 5      | 30
        """
    )
    assert bench.rows("site_states", "samplings, counting, proper, not_shown") == [(3, 2, 0, 1)]


def test_the_last_day_that_was_read(bench: Bench) -> None:
    bench.lots()
    bench.readings("lot_code | sampled_on\nA | 2026-03-20\nX | 2026-03-30")
    assert bench.rows("site_states", "last_reading_on::varchar") == [("2026-03-20",)]


def test_lots_that_are_over_are_counted(bench: Bench) -> None:
    bench.lots("lot_code | ends_on\nA | 2026-04-05\nB | 2026-04-06\nC | -")
    assert bench.rows("site_states", "lots_ended") == [(1,)]
