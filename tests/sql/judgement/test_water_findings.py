"""Source water and feed of a site: each rule with a check that meets it and one that does not."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import AS_OF, Bench

WATER = "place | checked_on | ec_ms_cm | alkalinity_mg_l | target_ec_ms_cm | injector\n"


def findings(bench: Bench, checks: str, columns: str = "rule, level, place") -> list[tuple[object, ...]]:
    bench.load_file("feed_checks", WATER + checks)
    bench.measure()
    return bench.rows("water_findings", columns)


@pytest.mark.parametrize(
    ("alkalinity", "found"),
    [
        ("79", [("alkalinity_outside", "note", "pot_4in")]),
        ("80", []),
        ("120", []),
        ("121", [("alkalinity_outside", "note", "pot_4in")]),
        ("150", [("alkalinity_outside", "note", "pot_4in")]),
        ("151", [("alkalinity_acid", "warn", "pot_4in")]),
    ],
)
def test_alkalinity_by_container(bench: Bench, alkalinity: str, found: list[tuple[object, ...]]) -> None:
    bench.lots()
    assert findings(bench, f"source_water | 2026-03-30 | 0.4 | {alkalinity} | - | -") == found


def test_each_range_has_a_finding_of_its_own(bench: Bench) -> None:
    bench.lots("lot_code | container_class\nA | plug\nB | pot_4in\nC | pot_5_6in")
    found = findings(
        bench, "source_water | 2026-03-30 | 0.4 | 200 | - | -", "rule, place, low, high, acid_above"
    )
    assert found == [
        ("alkalinity_acid", "pot_4in,pot_5_6in", 80.0, 120.0, 150.0),
        ("alkalinity_outside", "plug", 40.0, 60.0, None),
    ]


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
