"""What was read anew, in words."""

from __future__ import annotations

import pytest

from pipeline.reports.wording_rereads import name_value, say_reread_line


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("ec_ms_cm", "EC (mS/cm)"),
        ("ph", "pH"),
        ("leachate_ml", "leachate (mL)"),
        ("temperature_c", "temperature (°C)"),
        ("lot_code", "lot code"),
    ],
)
def test_columns_are_said_with_their_unit(column: str, said: str) -> None:
    assert name_value(column) == said


def test_a_line_tells_values_and_fates() -> None:
    row = {
        "line": 4,
        "changed_values": [
            {"field": "ph", "before": None, "after": "5.8"},
            {"field": "note", "before": "", "after": "two words"},
        ],
        "is_moved": True,
        "fate_before": "not_data",
        "cause_before": None,
        "fate_after": "held",
        "cause_after": "lot_unknown",
    }
    assert say_reread_line(row) == (
        "line 4: pH nothing → 5.8; note “” → “two words”; no data → held (lot unknown)"
    )
    row |= {"is_moved": False}
    assert say_reread_line(row).endswith("“two words”")
