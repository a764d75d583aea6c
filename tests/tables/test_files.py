"""Tables as files: what a site wrote is never run by a spreadsheet, and nothing is lost on the way."""

import csv
import io
from datetime import UTC, date, datetime, time
from decimal import Decimal

import openpyxl
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.tables import files
from pipeline.tables.files import to_csv, to_parquet, to_xlsx

MADE_ON = datetime(2026, 4, 6, tzinfo=UTC)
RUNS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", '=HYPERLINK("http://a","b")', "http://a", "0012"]


def frame() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "note": RUNS,
            "ph": [Decimal("5.800")] * len(RUNS),
            "is_out": [True] * len(RUNS),
            "sampled_on": [date(2026, 4, 2)] * len(RUNS),
            "sampled_time": [time(8, 5)] * len(RUNS),
            "meters": [["M1", "M2"]] * len(RUNS),
            "none": [None] * len(RUNS),
        },
        schema_overrides={"ph": pl.Decimal(6, 3), "none": pl.Float64},
    )


def heads() -> list[str]:
    return ["note", "ph (pH)", *frame().columns[2:]]


def test_a_workbook_keeps_every_text_as_text_and_runs_none() -> None:
    data = to_xlsx({"readings": frame()}, {"readings": heads()}, MADE_ON)
    sheet = openpyxl.load_workbook(io.BytesIO(data))["readings"]
    cells = [sheet.cell(row, 1) for row in range(2, len(RUNS) + 2)]
    assert [cell.value for cell in cells] == RUNS
    assert {cell.data_type for cell in cells} == {"s"}
    assert all(cell.quotePrefix for cell in cells)
    assert not any(cell.hyperlink for cell in cells)


def test_a_workbook_has_types_units_a_frozen_header_and_filters() -> None:
    data = to_xlsx({"readings": frame()}, {"readings": heads()}, MADE_ON)
    sheet = openpyxl.load_workbook(io.BytesIO(data))["readings"]
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref == f"A1:G{len(RUNS) + 1}"
    assert [cell.value for cell in sheet[1]] == heads()
    assert [cell.value for cell in sheet[2]][1:] == [
        5.8,
        True,
        datetime(2026, 4, 2),
        time(8, 5),
        "M1; M2",
        None,
    ]


def test_a_table_that_is_too_long_for_a_sheet_goes_on_in_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "MOST_ROWS", 4)
    book = openpyxl.load_workbook(io.BytesIO(to_xlsx({"readings": frame()}, {"readings": heads()}, MADE_ON)))
    assert book.sheetnames == ["readings", "readings (2)", "readings (3)"]
    told = [row[0] for name in book.sheetnames for row in book[name].iter_rows(min_row=2, values_only=True)]
    assert told == RUNS


def test_the_same_tables_give_the_same_bytes() -> None:
    one, other = (to_xlsx({"readings": frame()}, {"readings": heads()}, MADE_ON) for _ in range(2))
    assert one == other


def test_an_empty_table_has_its_header() -> None:
    data = to_xlsx({"readings": frame().clear()}, {"readings": heads()}, MADE_ON)
    sheet = openpyxl.load_workbook(io.BytesIO(data))["readings"]
    assert [cell.value for cell in sheet[1]] == heads()
    assert to_csv(frame().clear()).decode("utf-8-sig").strip() == ",".join(frame().columns)


def test_csv_disarms_what_a_spreadsheet_would_run() -> None:
    rows = list(csv.DictReader(io.StringIO(to_csv(frame()).decode("utf-8-sig"))))
    assert [row["note"] for row in rows] == [
        *(f"'{text}" for text in RUNS[:7]),
        "http://a",
        "0012",
    ]
    assert rows[0]["ph"] == "5.800"
    assert rows[0]["meters"] == "M1; M2"


def test_parquet_keeps_types_and_letters() -> None:
    assert_frame_equal(pl.read_parquet(io.BytesIO(to_parquet(frame()))), frame())


def test_a_day_before_workbooks_begin_is_text() -> None:
    old = pl.DataFrame({"valid_from": [date(1, 1, 1), date(1900, 1, 1), date(9999, 12, 31)]})
    sheet = openpyxl.load_workbook(io.BytesIO(to_xlsx({"t": old}, {"t": ["valid_from"]}, MADE_ON)))["t"]
    assert [cell.value for cell in sheet["A"][1:]] == [
        "0001-01-01",
        datetime(1900, 1, 1),
        datetime(9999, 12, 31),
    ]
