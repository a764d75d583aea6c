"""The sampling sheet alone, from the newest night, for any day up to which somebody wants to sample."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import __version__
from pipeline.errors import ReportError
from pipeline.files import write_whole
from pipeline.measures.reference_tables import load_buffers_by_temperature
from pipeline.programme.sheet import Sheet, SheetLeftOut, make_sheet
from pipeline.programme.sheet_buffers import list_buffers
from pipeline.reports.pages import shorten
from pipeline.reports.render_sheet import make_sheet_files
from pipeline.reports.view_sheet import SheetFacts
from pipeline.settings import load_settings
from pipeline.trace.find import find_site
from pipeline.warehouse.connect import reader
from pipeline.warehouse.query import fetch_sheet

MOST_LEFT_OUT = 20
MOST_LETTERS = 60


@dataclass(frozen=True, slots=True)
class SheetResult:
    """A sheet that was written, and where."""

    site_id: str
    as_of: date
    sheet: Sheet
    paths: tuple[Path, ...]


def write_sheet(home: Path, site_id: str, until: date | None = None) -> SheetResult:
    """Write the sheet of a site to out/sheets/<site>_<day>/: what is due up to `until`, overdue included.

    By default that is six days after the as-of day of the newest night, as on the night's own sheet.
    Raises SettingsError, SiteNotFound, WarehouseError (no night yet), ReportError.
    """
    settings = load_settings(home)
    site = find_site(settings, site_id)
    with reader(home) as connection:
        rows = fetch_sheet(connection, until)
    sheet = make_sheet(
        site,
        rows.lots.filter(pl.col("site_id") == site.id).iter_rows(named=True),
        rows.meters.filter(pl.col("site_id") == site.id)["meter_id"],
        list_buffers(load_buffers_by_temperature()),
        as_of=rows.as_of,
        until=rows.until,
        left_out=rows.left_out.filter(pl.col("site_id") == site.id).iter_rows(named=True),
    )
    facts = SheetFacts(
        site_id=site.id,
        site_name=site.name,
        group_name=settings.group.name,
        language=site.language,
        paper=site.paper,
        date_format=site.date_format,
        as_of=rows.as_of,
        version=__version__,
    )
    folder = home / "out" / "sheets" / f"{site.id}_{sheet.until}"
    paths = [_write(folder / name, data) for name, data in make_sheet_files(sheet, facts).items()]
    return SheetResult(site.id, rows.as_of, sheet, tuple(paths))


def _write(path: Path, data: bytes) -> Path:
    try:
        write_whole(path, data)
    except OSError as error:
        raise ReportError(
            f"{path} cannot be written: {error.strerror}; make room or give write permission."
        ) from error
    return path


def tell_sheet(result: SheetResult) -> list[str]:
    """What a terminal shows of a sheet."""
    sheet = result.sheet
    until = f"up to {sheet.until} (as of {result.as_of})"
    if sheet.lots:
        samplings = f"{len(sheet.lots)} sampling{'s' if len(sheet.lots) > 1 else ''}"
        pots = f"{sheet.pots} pot{'s' if sheet.pots > 1 else ''}"
        head = f"{result.site_id}: {samplings}, {pots}, about {sheet.minutes:.0f} min, due {until}"
    else:
        head = f"{result.site_id}: nothing is due {until}; the sheet says so"
    left_out = [f"  not on it: {_tell_left_out(one)}" for one in sheet.left_out[:MOST_LEFT_OUT]]
    more = len(sheet.left_out) - MOST_LEFT_OUT
    if more > 0:
        left_out.append(f"  not on it: {more} more; the sheet lists them")
    return [head, *left_out, *(f"  {path}" for path in result.paths)]


def _tell_left_out(one: SheetLeftOut) -> str:
    """A due that is not asked for, and why."""
    if one.because == "ships_first":
        return f"{one.lot_id}, due {one.due_on}, ships {one.because_until}"
    who = ", ".join(
        shorten(" ".join(text.split()), MOST_LETTERS) for text in (one.reason, one.person) if text
    )
    return f"{one.lot_id}, due {one.due_on}, excused until {one.because_until}{f' ({who})' if who else ''}"


def describe_sheet(result: SheetResult) -> dict[str, Any]:
    """The same for a machine."""
    return {
        "site_id": result.site_id,
        "as_of": result.as_of.isoformat(),
        "files": [str(path) for path in result.paths],
        "sheet": result.sheet.model_dump(mode="json"),
    }
