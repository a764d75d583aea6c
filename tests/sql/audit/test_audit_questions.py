"""Questions about a site's figures over an audited period: each of its months, and the whole of it."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import date, timedelta

from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.audit import begin_audit, build_audit
from tests.sql.bench import AS_OF, Bench
from tests.sql.judgement.test_site_questions import load, spread

FROM, TO = date(2026, 1, 1), date(2026, 3, 31)
ASKED = "rule, quantity, from_on::varchar, until_on::varchar, n"


def asked(
    bench: Bench, from_on: date = FROM, to_on: date = TO, site_id: str | None = None
) -> list[tuple[object, ...]]:
    bench.build("site_questions")
    begin_audit(bench.connection, from_on, to_on, bench.as_of, site_id)
    build_audit(bench.connection, ["audit_questions"])
    return bench.connection.execute(f"select {ASKED} from audit_questions order by all").fetchall()  # noqa: S608


def moved(rows: Sequence[tuple[str, str, int]], last: date, *, days: int = 9) -> list[tuple[str, str, int]]:
    """The same readings on the last days up to one day."""
    return [(ph, ec, (AS_OF - last).days + at % days) for at, (ph, ec, _) in enumerate(rows)]


def test_a_preference_of_a_month_long_before_the_night_is_asked_about(bench: Bench) -> None:
    load(bench, moved(spread(120, ph_digits=(0, 5)), date(2026, 1, 20)))
    assert bench.rows("site_questions", "rule") == []
    assert asked(bench) == [
        ("last_digits", "ph", "2026-01-01", "2026-01-30", 120),
        ("last_digits", "ph", "2026-01-01", "2026-03-31", 120),
    ]


def test_a_month_is_not_drowned_by_honest_ones(bench: Bench) -> None:
    preferred = moved(spread(120, ph_digits=(0, 2, 4, 5, 6, 7, 8, 9)), date(2026, 1, 20))
    honest = [row for last in (date(2026, 2, 27), date(2026, 3, 29)) for row in moved(spread(900), last)]
    load(bench, [*preferred, *honest])
    assert asked(bench) == [("last_digits", "ph", "2026-01-01", "2026-01-30", 120)]


def test_too_few_a_month_are_asked_about_over_the_period(bench: Bench) -> None:
    rows = spread(150, ph_digits=(0, 5))
    load(bench, [(ph, ec, (AS_OF - TO).days + at % 89) for at, (ph, ec, _) in enumerate(rows)])
    assert asked(bench) == [("last_digits", "ph", "2026-01-01", "2026-03-31", 150)]


def test_what_lies_outside_the_period_is_not_asked_about(bench: Bench) -> None:
    load(bench, moved(spread(200, ph_digits=(0, 5)), AS_OF, days=5))
    assert bench.rows("site_questions", "rule") == [("last_digits",)]
    assert asked(bench) == []
    assert asked(bench, to_on=AS_OF) == [
        ("last_digits", "ph", "2026-01-01", "2026-04-06", 200),
        ("last_digits", "ph", "2026-03-08", "2026-04-06", 200),
    ]


def test_whole_numbers_and_a_rule_that_is_off(bench: Bench) -> None:
    draw = random.Random(3)  # noqa: S311 - a repeatable spread, nothing secret
    rows = [
        (f"5.{draw.randrange(10)}", "3" if at % 2 else f"2.{1 + at % 9}", 70 + at % 9) for at in range(60)
    ]
    load(bench, rows)
    until = AS_OF - timedelta(days=60)
    assert asked(bench, to_on=until) == [
        ("whole_ec", "ec", "2026-01-01", "2026-02-05", 60),
        ("whole_ec", "ec", "2026-01-07", "2026-02-05", 60),
    ]
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"whole_ec": "off"})])
    assert asked(bench, to_on=until) == []


def test_another_site_is_not_asked_about(bench: Bench) -> None:
    load(bench, moved(spread(120, ph_digits=(0, 5)), date(2026, 1, 20)))
    assert asked(bench, site_id="elsewhere") == []


def test_the_scale_is_asked_about_where_the_night_s_days_touch_the_period(bench: Bench) -> None:
    honest = [(f"5.{at % 10}{at // 10 % 10}", f"{2 + at % 9 / 10:.1f}", 20 + at % 20) for at in range(40)]
    halved = [(f"5.{at % 10}{at // 10 % 10}", f"{1 + at % 9 / 20:.1f}", at % 10) for at in range(40)]
    load(bench, [*honest, *halved])
    assert [row[0] for row in bench.rows("site_questions", "rule")] == ["scale_jump"]
    assert asked(bench) == [("scale_jump", "ec", "2026-02-10", "2026-04-06", 40)]
    assert asked(bench, to_on=date(2026, 2, 28)) == []
