"""The meters of each sampling."""

from __future__ import annotations

from tests.sql.bench import Bench


def test_each_meter_of_a_sampling_stands_by_itself_and_no_meter_too(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("meter_id | slope_pct\nM1 | 98\nM2 | 84")
    bench.readings("meter_id\nM1\nM1\nM2\nM3\n-")
    columns = "coalesce(meter_id, ''), is_checked, is_calibrated, is_in_doubt, doubt_on::varchar"
    assert bench.rows("sampling_meters", columns) == [
        ("", False, False, False, None),
        ("M1", True, True, False, None),
        ("M2", False, False, True, "2026-03-30"),
        ("M3", False, False, False, None),
    ]
