"""Settings and files for the tests of the intake: a test names only what it is about."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.translate import Translated, translate
from pipeline.settings import Column, Export, SiteSettings

READING_COLUMNS: dict[str, Any] = {
    "lot": "Lot",
    "date": "Date",
    "ph": "pH",
    "ec": Column(column="EC", unit="mS/cm"),
}
READING_HEADER = "Lot,Date,pH,EC"


def make_export(**changes: Any) -> Export:
    """Readings with commas, decimal points, ISO dates, and the columns Lot, Date, pH and EC in mS/cm."""
    facts: dict[str, Any] = {"kind": "readings", "files": "drop/*.csv", "columns": READING_COLUMNS, **changes}
    return Export(**facts)


def make_site(folder: Path = Path("site"), **changes: Any) -> SiteSettings:
    """A site in Chicago that uses pour-through."""
    facts: dict[str, Any] = {
        "id": "north",
        "name": "North",
        "time_zone": "America/Chicago",
        "extraction_method": "pour-through",
        "folder": folder,
        **changes,
    }
    return SiteSettings(**facts)


def read_text(text: str, **changes: Any) -> ReadResult:
    """Read a text as a file of `make_export(**changes)`."""
    export = make_export(**changes)
    return read_records(text.encode(export.encoding), export)


def read_body(*lines: str, **changes: Any) -> ReadResult:
    """Read lines below the usual header."""
    return read_text("\n".join([READING_HEADER, *lines]) + "\n", **changes)


def translate_text(text: str, *, site: SiteSettings | None = None, **changes: Any) -> Translated:
    """Read and translate a text as a file of `make_export(**changes)`."""
    export = make_export(**changes)
    result = read_records(text.encode(export.encoding), export)
    return translate(result, export, site or make_site())


def covered_lines(result: ReadResult) -> list[int]:
    """Every physical line that the records cover, in their order."""
    return [
        line
        for first, last in result.records.select("line_from", "line_to").iter_rows()
        for line in range(first, last + 1)
    ]
