"""Questions about a site's readings as a whole: digits, whole numbers, a jump of the scale."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from scipy.stats import chi2

from pipeline.assets import sql_folder
from pipeline.settings import PolicyPeriod
from tests.sql.bench import AS_OF, Bench


def load(bench: Bench, rows: Iterable[tuple[str, str, int]]) -> None:
    """Readings as pH, EC and days before the as-of date."""
    lines = [f"{ph} | {ec} | {AS_OF - timedelta(days=days)}" for ph, ec, days in rows]
    bench.lots("lot_code | started_on\nA | 2025-12-01")
    bench.readings("ph | ec_ms_cm | sampled_on\n" + "\n".join(lines))


def spread(number: int, *, ph_digits: Sequence[int] = range(10)) -> list[tuple[str, str, int]]:
    """Readings whose last digits come equally often, but for those of pH that are named."""
    draw = random.Random(7)  # noqa: S311 - a repeatable spread, nothing secret
    return [
        (f"5.{draw.randrange(10)}{ph_digits[at % len(ph_digits)]}", f"2.{at // 10 % 10}{at % 10}", 1 + at % 9)
        for at in range(number)
    ]


def questions(bench: Bench, columns: str = "rule, level, quantity, n") -> list[tuple[object, ...]]:
    return bench.rows("site_questions", columns)


def test_even_digits_ask_nothing(bench: Bench) -> None:
    load(bench, spread(200))
    assert questions(bench) == []


def test_digits_that_are_preferred_are_asked_about(bench: Bench) -> None:
    load(bench, spread(200, ph_digits=(0, 5)))
    assert questions(bench) == [("last_digits", "note", "ph", 200)]


def test_99_readings_are_too_few(bench: Bench) -> None:
    load(bench, spread(99, ph_digits=(0, 5)))
    assert questions(bench) == []


def test_with_one_decimal_the_digit_is_the_reading_itself(bench: Bench) -> None:
    load(bench, [("5.8", f"2.{at % 10}{at // 10 % 10}", 1) for at in range(200)])
    assert questions(bench) == []


def test_readings_of_an_earlier_month_do_not_count(bench: Bench) -> None:
    load(bench, [(ph, ec, 31) for ph, ec, _ in spread(200, ph_digits=(0, 5))])
    assert questions(bench) == []


def test_chi_square_is_that_of_scipy(bench: Bench) -> None:
    load(bench, spread(200, ph_digits=(0, 5)))
    # 100 readings each for two digits, none for eight, 20 expected for all
    assert questions(bench, "c, a in (0.0, 5.0), b") == [(2 * 80**2 / 20 + 8 * 20, True, 0.5)]


def test_the_critical_value_is_the_table_s() -> None:
    text = sql_folder("judgement", "site_questions.sql").read_text(encoding="utf-8")
    assert f"chi_square > {chi2.isf(0.001, 9):.3f}" in text


def test_whole_numbers_of_ec(bench: Bench) -> None:
    load(bench, [("5.8", "2" if at < 15 else "2.1", 1) for at in range(50)])
    assert questions(bench, "rule, n, a") == [("whole_ec", 50, 15.0)]


def test_fewer_whole_numbers_ask_nothing(bench: Bench) -> None:
    load(bench, [("5.8", "2" if at < 14 else "2.1", 1) for at in range(50)])
    assert questions(bench) == []


def jump(before: str, now: str) -> list[tuple[str, str, int]]:
    return [("5.8", before, 20)] * 15 + [("5.8", now, 5)] * 15


def test_a_scale_that_jumps(bench: Bench) -> None:
    load(bench, jump("2.1", "1.05"))
    assert questions(bench, "rule, level, a, b, c") == [("scale_jump", "warn", 1.05, 2.1, 0.5)]


def test_young_plugs_that_come_into_the_books_are_no_jump(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2025-12-01\nB | 2025-12-01\nP | 2026-03-30")
    days = {"A": (1, 20), "B": (3, 22), "P": (1, 2, 3, 4)}
    ec = {"A": "2.6", "B": "2.4", "P": "1.2"}
    lines = [
        f"{lot} | 5.8 | {ec[lot]} | {AS_OF - timedelta(days=ago)}"
        for lot in days
        for ago in days[lot]
        for _ in range(8)
    ]
    bench.readings("lot_code | ph | ec_ms_cm | sampled_on\n" + "\n".join(lines))
    assert questions(bench) == []


def test_a_lot_that_is_read_more_often_is_no_jump(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2025-12-01\nB | 2025-12-01")
    rows = [("A", "2.8", 20, 16), ("B", "1.4", 21, 5), ("A", "2.8", 1, 5), ("B", "1.4", 2, 16)]
    lines = [
        f"{lot} | 5.8 | {ec} | {AS_OF - timedelta(days=ago)}"
        for lot, ec, ago, pots in rows
        for _ in range(pots)
    ]
    bench.readings("lot_code | ph | ec_ms_cm | sampled_on\n" + "\n".join(lines))
    assert questions(bench) == []


def test_a_moderate_change_is_no_jump(bench: Bench) -> None:
    load(bench, jump("2.1", "1.9"))
    assert questions(bench) == []


def test_the_policy_silences_a_question(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"scale_jump": "off"})])
    load(bench, jump("2.1", "1.05"))
    assert questions(bench) == []
