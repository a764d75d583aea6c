"""A home with one small site, real files in its drop folder, nights in this process, and the command line."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

from pipeline.cli import main
from pipeline.nightly import NightResult, run_night
from pipeline.programme.sheet_csv import write_calibrations_csv, write_sheet_csv
from pipeline.reports.render import render_night, write_summary, write_whole
from pipeline.reports.site_calendar import make_site_calendar
from pipeline.reports.summary import Lot, Site, Summary

NOW = datetime(2026, 11, 1, 4, 0, tzinfo=UTC)
DAY = date(2026, 4, 6)
SITE_ID = "hill"
DROP = Path("sites") / SITE_ID / "drop"

GROUP = 'name = "Small group"\ntime_zone = "UTC"\n'
SITE = """
id = "hill"
name = "Hill"
extraction_method = "pour-through"

[[export]]
kind = "readings"
files = "drop/readings*.csv"
numbers_pots = true
[export.columns]
lot = "Lot"
date = "Date"
purpose = "Purpose"
pot = "Pot"
ph = "pH"
ec = {column = "EC (mS/cm)", unit = "mS/cm"}
leachate = {column = "Leachate (mL)", unit = "mL"}
meter = "Meter"
note = "Note"

[[export]]
kind = "lots"
files = "drop/lots*.csv"
mode = "cumulative"
[export.columns]
lot = "Lot"
house = "House"
crop = "Crop"
container = "Container"
started = "Potted"
ends = "Ships"
plants = "Plants"

[[export]]
kind = "calibrations"
files = "drop/meters*.csv"
[export.columns]
meter = "Meter"
date = "Date"
slope = "Slope (%)"
offset = "Offset (mV)"
"""
READINGS_HEADER = "Lot,Date,Purpose,Pot,pH,EC (mS/cm),Leachate (mL),Meter,Note\n"
LOTS_HEADER = "Lot,House,Crop,Container,Potted,Ships,Plants\n"
METERS_HEADER = "Meter,Date,Slope (%),Offset (mV)\n"
LOTS = LOTS_HEADER + (
    "H-1,1,petunia,pot_5_6in,2026-03-02,2026-05-20,800\n"
    "H-2,1,poinsettia,pot_5_6in,2026-03-02,2026-06-20,400\n"
)
METERS = METERS_HEADER + "M1,2026-04-02,97.5,4\nM1,2026-03-26,97.8,3\n"


def pots(
    lot: str, day: str, ph: Sequence[str], *, ec: str = "2.60", purpose: str = "routine", meter: str = "M1"
) -> str:
    """Lines of one sampling, a pot for each pH, 50 mL of leachate each."""
    return "".join(
        f"{lot},{day},{purpose},{number},{value},{ec},50,{meter},\n" for number, value in enumerate(ph, 1)
    )


GOOD_PH = ("5.7", "5.8", "5.9", "5.8", "5.8")
GOOD_PH_2 = ("5.9", "6.0", "6.1", "6.0", "6.0")
READINGS = (
    READINGS_HEADER + pots("H-1", "2026-04-02", GOOD_PH) + pots("H-2", "2026-04-02", GOOD_PH_2, ec="3.00")
)


def make_home(home: Path, *, site: str = SITE, policy: str | None = None, **files: str | bytes) -> Path:
    """Make a home whose site has two lots, a good sampling of each and a meter; `files` as in `drop`."""
    folder = home / DROP
    folder.mkdir(parents=True)
    (home / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    (home / "sites" / SITE_ID / "site.toml").write_text(site, encoding="utf-8")
    if policy is not None:
        (home / "policy.toml").write_text(policy, encoding="utf-8")
    good = {"lots.csv": LOTS, "meters.csv": METERS, "readings_2026-04-02.csv": READINGS}
    for name, content in {**good, **files}.items():
        drop(home, name, content)
    return home


def drop(home: Path, name: str, content: str | bytes) -> Path:
    """Put a file into the site's drop folder."""
    path = home / DROP / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def night(home: Path, day: date = DAY, *, pages: bool = False) -> NightResult:
    """Run a night in this process.

    Without `pages` it writes what a machine reads (summary, calendar, the sheet's CSVs) and lays out no page:
    laying out is two thirds of a small night, and most tests open none.
    """
    return run_night(home, day, now=NOW, render=render_night if pages else write_tables)


def write_tables(summary: Summary, folder: Path, *, executor: Executor | None) -> list[Path]:
    """Write the files of a night that need no layout."""
    written = write_summary(summary, folder)
    for site in summary.sites:
        base = folder / "sites" / site.site_id
        written.append(write_whole(base.with_suffix(".ics"), make_site_calendar(site, summary.night.as_of)))
        if site.sheet is not None:
            filled = {
                "-sheet.csv": write_sheet_csv(site.sheet, site.site_id),
                "-sheet-calibrations.csv": write_calibrations_csv(site.sheet),
            }
            written += [write_whole(base.with_name(base.name + end), data) for end, data in filled.items()]
    return written


@dataclass(frozen=True)
class Ran:
    """What a command ended with and printed."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run_cli(*arguments: object) -> Ran:
    """Run the command line in this process, as the installed command does."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main([str(one) for one in arguments])
        except SystemExit as finished:
            code = finished.code or 0
    assert isinstance(code, int)
    return Ran(code, out.getvalue(), err.getvalue())


def night_by_command(home: Path, day: date, *options: str) -> Ran:
    """The command `nightly` without laying out pages, for tests of what it prints and keeps."""
    with patch.dict(run_night.__kwdefaults__ or {}, render=write_tables):
        return run_cli("nightly", home, "--as-of", day, *options)


def read_summary(home: Path, day: date = DAY) -> Summary:
    return Summary.model_validate_json((home / "out" / day.isoformat() / "summary.json").read_bytes())


def only_site(summary: Summary) -> Site:
    (site,) = summary.sites
    return site


def find_lot(summary: Summary, lot_id: str) -> Lot:
    (lot,) = [lot for site in summary.sites for lot in site.lots if lot.lot_id == lot_id]
    return lot
