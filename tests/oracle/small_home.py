"""Small homes for the oracle's own tests, written out in the test."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from tests.oracle.fates import DropFile, Night
from tests.oracle.summary import compute

REFERENCE = Path(__file__).parents[2] / "pipeline" / "reference"

GROUP = 'name = "Small"\ntime_zone = "UTC"\n'
SITE = """
id = "one"
name = "One"
time_zone = "UTC"
extraction_method = "pour-through"

[[export]]
kind = "readings"
files = "drop/readings*.csv"
numbers_pots = true
[export.columns]
lot = "lot"
house = "house"
date = "date"
purpose = "purpose"
pot = "pot"
n_pots = "n"
ph = "ph"
ec = {column = "ec", unit = "mS/cm"}
leachate = {column = "ml", unit = "mL"}
condition = "condition"
meter = "meter"

[[export]]
kind = "lots"
files = "drop/lots*.csv"
mode = "cumulative"
[export.columns]
lot = "lot"
house = "house"
crop = "crop"
container = "container"
started = "started"
ends = "ends"
plants = "plants"
"""
CALIBRATIONS = """
[[export]]
kind = "calibrations"
files = "drop/meters*.csv"
[export.columns]
meter = "meter"
date = "date"
slope = "slope"
offset = "offset"
"""
WITH_BUFFERS = CALIBRATIONS + 'buffers = "buffers"\n'
LOT_HEADER = "lot,house,crop,container,started,ends,plants\n"
READING_HEADER = "lot,house,date,purpose,pot,n,ph,ec,ml,condition,meter\n"


def pots(
    lot: str,
    day: str,
    values: list[tuple[float | str, float | str, float | str]],
    purpose: str = "routine",
    meter: str = "M1",
    start: int = 1,
) -> str:
    """Lines of one sampling, a pot each: pH, EC in mS/cm, mL of leachate."""
    return "".join(
        f"{lot},,{day},{purpose},{number},,{ph},{ec},{ml},,{meter}\n"
        for number, (ph, ec, ml) in enumerate(values, start=start)
    )


def summary_of(
    home: Path, nights: list[tuple[date, dict[str, str]]], site_extra: str = "", policy: str = ""
) -> dict[str, Any]:
    """The oracle's summary of a home with one site; each night has the files that lie in the drop folder."""
    folder = home / "sites" / "one"
    folder.mkdir(parents=True, exist_ok=True)
    (home / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    (home / "policy.toml").write_text(policy, encoding="utf-8")
    (folder / "site.toml").write_text(SITE + site_extra, encoding="utf-8")
    return compute(
        home,
        [
            Night(
                as_of,
                {"one": [DropFile(f"drop/{name}", text.encode()) for name, text in files.items()]},
            )
            for as_of, files in nights
        ],
        REFERENCE,
    )


def only_site(summary: dict[str, Any]) -> dict[str, Any]:
    (site,) = summary["sites"]
    assert isinstance(site, dict)
    return site


def lot_named(summary: dict[str, Any], lot_id: str) -> dict[str, Any]:
    (lot,) = [lot for site in summary["sites"] for lot in site["lots"] if lot["lot_id"] == lot_id]
    assert isinstance(lot, dict)
    return lot
