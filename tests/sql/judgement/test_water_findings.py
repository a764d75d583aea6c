"""Source water and feed of a site: each rule with a check that meets it and one that does not."""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest

from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.statements import fetch
from tests.sql.bench import AS_OF, Bench

WATER = "place | checked_on | ec_ms_cm | alkalinity_mg_l | target_ec_ms_cm | injector\n"


def findings(bench: Bench, checks: str, columns: str = "rule, level") -> list[tuple[object, ...]]:
    bench.load_file("feed_checks", WATER + checks)
    bench.measure()
    return bench.rows("water_findings", columns)


@pytest.mark.parametrize(
    ("alkalinity", "found"),
    [
        ("79", [("alkalinity_outside", "note")]),
        ("80", []),
        ("120", []),
        ("121", [("alkalinity_outside", "note")]),
        ("150", [("alkalinity_outside", "note")]),
        ("151", [("alkalinity_acid", "warn")]),
    ],
)
def test_alkalinity_by_container(bench: Bench, alkalinity: str, found: list[tuple[object, ...]]) -> None:
    bench.lots()
    assert findings(bench, f"source_water | 2026-03-30 | 0.4 | {alkalinity} | - | -") == found


def test_one_water_is_one_finding_with_each_range_in_it(bench: Bench) -> None:
    bench.lots("lot_code | container_class\nA | plug\nB | pot_4in\nC | pot_5_6in\nD | pot_6_5in_plus")
    found = findings(
        bench,
        "source_water | 2026-03-30 | 0.4 | 200 | - | -",
        "rule, c, ranges[1].classes, ranges[1].high, ranges",
    )
    [(rule, acid_above, classes, high, ranges)] = found
    assert (rule, acid_above, classes, high) == ("alkalinity_acid", 150.0, ["plug"], 60.0)
    assert isinstance(ranges, list)
    assert [one["classes"] for one in ranges] == [["plug"], ["pot_4in", "pot_5_6in", "pot_6_5in_plus"]]
    assert [(one["low"], one["high"]) for one in ranges] == [(40.0, 60.0), (80.0, 120.0)]


def test_the_last_check_speaks(bench: Bench) -> None:
    bench.lots()
    checks = "source_water | 2026-03-02 | 0.4 | 200 | - | -\nsource_water | 2026-03-30 | 0.4 | 100 | - | -"
    assert findings(bench, checks) == []


def test_a_check_of_more_than_sixty_days_ago_is_not_used(bench: Bench) -> None:
    bench.lots()
    assert str(AS_OF) == "2026-04-06"
    assert findings(bench, "source_water | 2026-02-04 | 0.4 | 200 | - | -") == []
    assert len(findings(bench, "source_water | 2026-02-05 | 0.4 | 200 | - | -")) == 1


@pytest.mark.parametrize(
    ("hose", "rules"),
    [
        ("1.74", ["feed_weak"]),
        ("1.75", []),
        ("2.05", []),
        ("2.06", ["feed_strong"]),
        ("0.40", ["feed_weak"]),
        ("0.39", ["feed_below_water"]),
    ],
)
def test_the_feed_less_the_water_against_what_it_should_add(
    bench: Bench, hose: str, rules: list[str]
) -> None:
    # 1.90 asked for, the water has 0.40: the feed should add 1.50, and 10 % either way is no remark.
    checks = f"source_water | 2026-03-30 | 0.4 | - | - | -\nhose_end | 2026-03-30 | {hose} | - | 1.9 | A"
    assert findings(bench, checks, "rule, place") == [(rule, "A") for rule in rules]


def test_both_figures_and_both_days_stand_in_the_row(bench: Bench) -> None:
    checks = "source_water | 2026-03-23 | 0.4 | - | - | -\nhose_end | 2026-03-30 | 1.0 | - | 1.9 | A"
    row = findings(bench, checks, "checked_on::varchar, water_on::varchar, a, b, c, d")
    assert row == [("2026-03-30", "2026-03-23", 1.0, 0.4, 1.9, pytest.approx(0.4))]


def test_without_water_nothing_is_said(bench: Bench) -> None:
    assert findings(bench, "hose_end | 2026-03-30 | 1.0 | - | 1.9 | A") == []


def test_less_than_water_is_said_without_a_target_too(bench: Bench) -> None:
    checks = "source_water | 2026-03-30 | 0.4 | - | - | -\nhose_end | 2026-03-30 | 0.3 | - | - | A"
    assert findings(bench, checks, "rule") == [("feed_below_water",)]


def test_each_injector_by_its_last_check(bench: Bench) -> None:
    checks = """
        source_water | 2026-03-30 | 0.4 | - | -   | -
        hose_end     | 2026-03-16 | 1.0 | - | 1.9 | A
        hose_end     | 2026-03-30 | 1.9 | - | 1.9 | A
        hose_end     | 2026-03-30 | 2.9 | - | 1.9 | B
    """
    assert findings(bench, checks.strip(), "rule, place") == [("feed_strong", "B")]


def test_tolerance_and_level_are_the_policys(bench: Bench) -> None:
    bench.use(
        policy=[
            PolicyPeriod(
                valid_from=AS_OF,
                feed_tolerance_share=Decimal("0.5"),
                finding_levels={"alkalinity_acid": "off", "feed_strong": "note"},
            )
        ]
    )
    bench.lots()
    checks = """
        source_water | 2026-03-30 | 0.4 | 300 | -   | -
        hose_end     | 2026-03-30 | 1.3 | -   | 1.9 | A
        hose_end     | 2026-03-30 | 2.9 | -   | 1.9 | B
    """
    assert findings(bench, checks.strip(), "rule, level, place") == [("feed_strong", "note", "B")]


def test_the_checks_that_are_used_with_their_words(bench: Bench) -> None:
    bench.lots("lot_code | container_class\nA | plug\nB | pot_4in")
    checks = """
        source_water | 2026-03-02 | 0.40 | 90  | -   | -
        source_water | 2026-03-23 | 0.50 | 100 | -   | -
        hose_end     | 2026-03-23 | 2.00 | -   | 2.0 | A
        hose_end     | 2026-03-02 | 0.30 | -   | -   | B
        hose_end     | 2026-03-23 | 1.00 | -   | 2.0 | C
        hose_end     | 2026-03-16 | 1.00 | -   | 2.0 | C
    """
    bench.load_file("feed_checks", WATER + checks.strip())
    bench.measure()
    found = fetch(bench.connection, "queries/water_checks").select(
        pl.col("checked_on").cast(pl.String),
        "place",
        "spot",
        "ec_ms_cm",
        "alkalinity_mg_l",
        "water_ec_ms_cm",
        "words",
    )
    assert found.rows() == [
        ("2026-03-02", "source_water", None, 0.4, 90.0, None, []),
        ("2026-03-23", "source_water", None, 0.5, 100.0, None, ["high"]),
        ("2026-03-23", "hose_end", "A", 2.0, None, 0.5, ["as_set"]),
        ("2026-03-02", "hose_end", "B", 0.3, None, 0.4, ["below_water"]),
        ("2026-03-23", "hose_end", "C", 1.0, None, 0.5, ["weak"]),
    ]
