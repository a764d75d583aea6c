"""Days of feed of the standing lots: by weekday and by date, of the lots and houses that the site names."""

from __future__ import annotations

from datetime import date

from pipeline.settings.benches import Feeding
from tests.sql.bench import Bench, site


def fed(bench: Bench, *feedings: Feeding) -> list[tuple[str, str]]:
    bench.use(site().model_copy(update={"feedings": feedings}))
    bench.lots(
        "lot_code | house | feed_mode | started_on\nA | 1 | periodic | 2026-03-26\nB | 2 | periodic | 2026-03-30\n"
        "C | 1 | constant | 2026-03-01"
    )
    bench.build("standing_lots")
    return sorted((row[1], row[2].isoformat()) for row in bench.run("queries/fed_days"))


def test_every_week_from_the_lot_s_start_to_the_as_of_day(bench: Bench) -> None:
    assert fed(bench, Feeding(weekdays=("thursday",))) == [
        ("a", "2026-03-26"),
        ("a", "2026-04-02"),
        ("b", "2026-04-02"),
    ]


def test_a_day_named_twice_is_one_day(bench: Bench) -> None:
    both = Feeding(house="1", weekdays=("thursday",), days=(date(2026, 4, 2), date(2026, 4, 4)))
    assert fed(bench, both) == [("a", "2026-03-26"), ("a", "2026-04-02"), ("a", "2026-04-04")]


def test_feeding_of_named_lots(bench: Bench) -> None:
    assert fed(bench, Feeding(lots=("B",), days=(date(2026, 4, 1),))) == [("b", "2026-04-01")]


def test_no_day_before_the_start_and_none_ahead(bench: Bench) -> None:
    days = (date(2026, 3, 25), date(2026, 4, 6), date(2026, 4, 7))
    assert fed(bench, Feeding(days=days)) == [("a", "2026-04-06"), ("b", "2026-04-06")]
