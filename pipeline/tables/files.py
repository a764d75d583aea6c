"""The bytes of one table in each format. Pure: frames in, bytes out.

What a site wrote is data: in XLSX every text is written as text and marked as such, in CSV an apostrophe goes before
what a spreadsheet would run. Parquet keeps every letter, since nothing runs it.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pipeline.programme.sheet_csv import ENCODING, disarm

MOST_ROWS: Final = 1_048_575
"""Rows that a sheet holds below its header; a longer table goes on in a second sheet."""
WIDEST: Final = 40
_LOOKED_AT: Final = 200
_FIRST_YEAR: Final = 1900
"""A workbook knows no earlier day; such a one is written as text."""
_LONGEST_CELL: Final = 32_767


def flatten(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists and pairs as text, for formats whose cells hold one value."""
    nested = [
        name for name, dtype in frame.schema.items() if isinstance(dtype, pl.List | pl.Struct | pl.Array)
    ]
    return frame.with_columns(
        pl.col(name).map_elements(_write_nested, return_dtype=pl.String, skip_nulls=True) for name in nested
    )


def _write_nested(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_write_nested(one)}" for key, one in value.items())
    if isinstance(value, pl.Series | list | tuple):
        return "; ".join(_write_nested(one) for one in value)
    return str(value)


def to_parquet(frame: pl.DataFrame) -> bytes:
    """A table as Parquet, types and letters as they are."""
    out = io.BytesIO()
    frame.write_parquet(out)
    return out.getvalue()


def to_csv(frame: pl.DataFrame) -> bytes:
    """A table as CSV for spreadsheets: UTF-8 with its mark, ISO dates, true and false, no cell that runs."""
    flat = flatten(frame)
    texts = [name for name, dtype in flat.schema.items() if dtype == pl.String]
    safe = flat.with_columns(
        pl.col(name).map_elements(disarm, return_dtype=pl.String, skip_nulls=True) for name in texts
    )
    out = io.BytesIO()
    safe.write_csv(out)
    return out.getvalue().decode("utf-8").encode(ENCODING)


def to_xlsx(
    tables: Mapping[str, pl.DataFrame], heads: Mapping[str, Sequence[str]], made_on: datetime
) -> bytes:
    """All tables as one workbook: a sheet each, its header frozen, with filters, units in the headers.

    The same tables give the same bytes: `made_on` is the only date in the file.
    """
    import xlsxwriter

    out = io.BytesIO()
    # Nothing that a site wrote may become a formula, a link or a number.
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    }
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"created": made_on.replace(tzinfo=None), "author": "Leachbook"})
    formats = {
        "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}),
        "text": book.add_format({"quote_prefix": True}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "time": book.add_format({"num_format": "hh:mm"}),
        "moment": book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
    }
    for name, frame in tables.items():
        flat = flatten(frame)
        for part, title in _parts(name, flat):
            _write_sheet(book.add_worksheet(title), part, heads[name], formats)
    book.close()
    return out.getvalue()


def _parts(name: str, frame: pl.DataFrame) -> Iterator[tuple[pl.DataFrame, str]]:
    yield frame[:MOST_ROWS], name
    for number, first in enumerate(range(MOST_ROWS, frame.height, MOST_ROWS), start=2):
        yield frame[first : first + MOST_ROWS], f"{name} ({number})"


def _write_sheet(sheet: Any, frame: pl.DataFrame, heads: Sequence[str], formats: Mapping[str, Any]) -> None:
    for number, (head, column) in enumerate(zip(heads, frame.get_columns(), strict=True)):
        sheet.write_string(0, number, head, formats["head"])
        write, style = _writer(sheet, column.dtype, formats)
        for row, value in enumerate(column, start=1):
            if value is None:
                continue
            if isinstance(value, date) and value.year < _FIRST_YEAR:
                sheet.write_string(row, number, value.isoformat(), formats["text"])
            else:
                write(row, number, _cell(value), style)
        sheet.set_column(number, number, _width(head, column))
    sheet.freeze_panes(1, 0)
    if frame.width:
        sheet.autofilter(0, 0, frame.height, frame.width - 1)


def _writer(
    sheet: Any, dtype: pl.DataType, formats: Mapping[str, Any]
) -> tuple[Callable[[int, int, Any, Any], Any], Any]:
    if dtype == pl.Boolean:
        return sheet.write_boolean, None
    if dtype == pl.Date:
        return sheet.write_datetime, formats["date"]
    if dtype == pl.Time:
        return sheet.write_datetime, formats["time"]
    if dtype == pl.Datetime:
        return sheet.write_datetime, formats["moment"]
    if dtype.is_numeric():
        return sheet.write_number, None
    return sheet.write_string, formats["text"]


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return value if len(value) <= _LONGEST_CELL else f"{value[: _LONGEST_CELL - 1]}…"
    return float(value) if isinstance(value, Decimal) else value


def _width(head: str, column: pl.Series) -> int:
    longest = max((len(_shown(value)) for value in column[:_LOOKED_AT] if value is not None), default=0)
    return min(max(longest, min(len(head), WIDEST // 2)) + 2, WIDEST)


def _shown(value: Any) -> str:
    return value.isoformat() if isinstance(value, date | datetime | time) else str(value)
