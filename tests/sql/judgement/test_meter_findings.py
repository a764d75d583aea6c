"""Remarks on checks of meters, each with a case that passes and one that does not."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench

BLANK: dict[str, str | None] = {"slope_pct": None, "offset_mv": None}


def remarks(bench: Bench, table: str, columns: str = "rule, level") -> list[tuple[object, ...]]:
    bench.calibrations(table, same=BLANK)
    return bench.rows("meter_findings", columns)


@pytest.mark.parametrize(
    ("columns", "good", "bad", "rule"),
    [
        ("solution_expires_on", "2026-03-30", "2026-03-29", "solution_expired"),
        ("slope_pct", "95", "94.99", "slope_marginal"),
        ("slope_pct", "102", "102.01", "slope_marginal"),
        ("slope_pct", "98", "84.99", "slope_failed"),
        ("offset_mv", "-30", "-30.1", "offset_failed"),
        ("left_7_ph", "7.10", "7.101", "buffer_off"),
        ("found_4_ph", "3.91", "3.90", "buffer_off"),
        ("ec_standard_ms_cm | ec_found_ms_cm", "2.0 | 2.1", "2.0 | 2.1001", "ec_standard_off"),
    ],
)
def test_each_remark(bench: Bench, columns: str, good: str, bad: str, rule: str) -> None:
    assert remarks(bench, f"{columns}\n{good}\n{bad}", "record_no, rule, level") == [(2, rule, "warn")]


def test_the_figures_stand_beside_a_remark(bench: Bench) -> None:
    table = "slope_pct | solution | solution_expires_on\n80 | lot 7 | 2026-01-31"
    assert remarks(bench, table, "rule, a, low, high, on_day, what") == [
        ("slope_failed", 80.0, 85.0, 105.0, None, None),
        ("solution_expired", None, None, None, date(2026, 1, 31), "lot 7"),
    ]


def test_the_policy_sets_the_level(bench: Bench) -> None:
    levels = {"slope_marginal": "note", "solution_expired": "off"}
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels=levels)])
    assert remarks(bench, "slope_pct | solution_expires_on\n94 | 2026-01-31") == [("slope_marginal", "note")]
