"""Sheets as people fill them in and spreadsheets save them: rows in, bytes out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.sheet_files import find_sheet, fit_sheet
from pipeline.intake.translate import Translated, translate
from pipeline.programme.sheet_csv import CALIBRATION_COLUMNS, SHEET_COLUMNS
from pipeline.settings import Export, SiteSettings
from pipeline.settings.sheet import read_export
from tests.intake.samples import make_site

HEADER: Final = (
    "site,lot,house,bench,position,crop,purpose,due_why,due_on,pot,pour_ml,collect_ml,date,ph,ec_ms_cm,leachate_ml,"
    "temperature_c,condition,drain_start,drain_end,sampler,meter,note"
)
CALIBRATIONS_HEADER: Final = (
    "meter,date,time,person,temperature_c,found_4,found_7,found_10,left_4,left_7,left_10,slope_pct,offset_mv,"
    "ec_standard_ms_cm,ec_found_ms_cm,ec_left_ms_cm,solution,solution_expires,note"
)
PRINTED: Final = {
    "site": "north",
    "lot": "A1",
    "house": "H1",
    "bench": "B2",
    "position": "2-7 edge",
    "crop": "petunia",
    "purpose": "routine",
    "due_why": "routine",
    "due_on": "2026-04-06",
    "pot": "1",
    "pour_ml": "75",
    "collect_ml": "50-60",
}
FILLED: Final = {**PRINTED, "date": "2026-04-07", "ph": "5.8", "ec_ms_cm": "1.95", "leachate_ml": "52"}


def write(
    rows: Iterable[Mapping[str, str]],
    columns: Sequence[str] = SHEET_COLUMNS,
    *,
    encoding: str = "utf-8-sig",
    delimiter: str = ",",
    quoting: int = csv.QUOTE_MINIMAL,
    line_end: str = "\r\n",
) -> bytes:
    """The table as a program saves it; a column that a row does not name is blank."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=line_end)  # type: ignore[arg-type]
    writer.writerow(columns)
    writer.writerows([row.get(name, "") for name in columns] for row in rows)
    return text.getvalue().encode(encoding)


def read_sheet(data: bytes, site: SiteSettings | None = None) -> tuple[ReadResult, Translated]:
    """Read a file that is known to be a sheet."""
    site = site or make_site()
    found = find_sheet(data)
    assert found is not None
    export = fit_sheet(read_export(site, found.number), site, data)
    result = read_records(data, export)
    return result, translate(result, export, site)


def one_line(
    site: SiteSettings | None = None, /, **cells: str
) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """A filled-in line of readings: its values, and (code, sentence) of each problem."""
    names = [*SHEET_COLUMNS, *(name for name in cells if name not in SHEET_COLUMNS)]
    _, translated = read_sheet(write([{**FILLED, **cells}], names), site)
    (row,) = translated.rows.to_dicts()
    return row, translated.problems.select("code", "sentence").rows()


def kinds(data: bytes) -> list[str]:
    """Kinds of the records below the header."""
    result, _ = read_sheet(data)
    return result.records["kind"].to_list()[1:]


def template(number: int, site: SiteSettings | None = None) -> Export:
    return read_export(site or make_site(), number)


__all__ = [
    "CALIBRATIONS_HEADER",
    "CALIBRATION_COLUMNS",
    "FILLED",
    "HEADER",
    "PRINTED",
    "SHEET_COLUMNS",
    "kinds",
    "one_line",
    "read_sheet",
    "template",
    "write",
]
