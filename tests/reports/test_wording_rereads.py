"""What was read anew, in words."""

from __future__ import annotations

import pytest

from pipeline.reports.wording import Wording
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


# Sentences of the findings "new_columns" and "older_file".
WORDS = Wording("%-d %b")


def test_columns_that_no_field_takes_are_named_and_what_became_of_their_cells() -> None:
    row = {"file": "drop/r.csv", "titles": ["Weather", "Moon"], "is_noted": True}
    assert WORDS.new_columns(row) == (
        "drop/r.csv has columns that no field takes: “Weather”, “Moon”. Their cells are kept with the note; this is "
        "said once."
    )
    assert WORDS.new_columns({**row, "titles": ["Moon"], "is_noted": False}) == (
        "drop/r.csv has a column that no field takes: “Moon”. This is said once; map what is needed, or set "
        'extra_columns = "note" to keep such cells with the note.'
    )


@pytest.mark.parametrize(
    ("left_out", "lines"),
    [
        (0, "the newer one has all of its lines"),
        (1, "1 line of it that the newer one lacks or has otherwise is kept and not used"),
        (3, "3 lines of it that the newer one lacks or has otherwise are kept and not used"),
    ],
)
def test_a_history_that_came_after_a_newer_one_says_what_it_did_not_change(left_out: int, lines: str) -> None:
    row = {"file": "drop/a.csv", "newer_file": "drop/b.csv", "left_out": left_out}
    assert WORDS.older_file(row) == (
        f"drop/a.csv holds an older state than drop/b.csv, which had come before, so it changes nothing: {lines}. If "
        "it should count, save it again, with a later day where its name has one."
    )
