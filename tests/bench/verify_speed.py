"""How long verify and rebuild take: on 60 nights of one small site, and on 1.5 million readings of one night.

    .venv/bin/python -m tests.bench.verify_speed [NIGHTS] [READINGS]

Pages are not rendered. `altered`: verify after one value was changed by SQL, so the archive is replayed to name
the row.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from time import perf_counter

import duckdb

from pipeline.haul import collect_sites, read_haul
from pipeline.judge import judge_night
from pipeline.publish import publish_night
from pipeline.rebuild import rebuild
from pipeline.settings import load_settings
from pipeline.verify import Finding, verify_home
from pipeline.warehouse.connect import night_copy, warehouse_path
from pipeline.warehouse.migrate import migrate
from tests.home import DAY, GOOD_PH, LOTS_HEADER, NOW, READINGS_HEADER, drop, make_home, pots

PER_FILE = 15_000


def _quiet(_: str) -> None:
    """Nobody watches these nights."""


def quiet_night(home: Path, day: date) -> None:
    """A night without pages."""
    settings = load_settings(home)
    with night_copy(home) as (connection, working):
        migrate(connection)
        haul = read_haul(home, connection, settings, collect_sites(connection, settings, _quiet, now=NOW))
        night_no, night = judge_night(connection, settings, day, haul, _quiet)
        publish_night(home, settings, haul, night, night_no, connection, working)


def many_nights(home: Path, nights: int) -> None:
    """One site, two samplings of five pots each night."""
    make_home(home)
    for number in range(nights):
        day = DAY + timedelta(days=number)
        lines = pots("H-1", str(day), GOOD_PH) + pots("H-2", str(day), GOOD_PH)
        drop(home, f"readings_{day}.csv", READINGS_HEADER + lines)
        quiet_night(home, day)


def many_readings(home: Path, readings: int) -> None:
    """One night over files of PER_FILE readings: lots of five pots every third day."""
    make_home(home)
    per_day = PER_FILE // len(GOOD_PH)
    lots = "".join(f"B-{lot},1,petunia,pot_5_6in,2025-01-02,,100\n" for lot in range(per_day))
    drop(home, "lots_many.csv", LOTS_HEADER + lots)
    for number in range(readings // PER_FILE):
        day = str(DAY - timedelta(days=3 * number))
        lines = "".join(pots(f"B-{lot}", day, GOOD_PH) for lot in range(per_day))
        drop(home, f"readings_many_{day}.csv", READINGS_HEADER + lines)
    quiet_night(home, DAY)


def seconds(work: Callable[[], object]) -> float:
    begin = perf_counter()
    work()
    return perf_counter() - begin


def measure(name: str, make: Callable[[Path], None]) -> str:
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        nights_s = seconds(lambda: make(home))
        verify_s = seconds(lambda: verify_home(home, now=NOW))
        rebuild_s = seconds(lambda: rebuild(home, now=NOW))
        size = warehouse_path(home).stat().st_size / 1e6
        # Without pages there is one finding; whatever else is found would spoil the figures.
        parts = {one.part for one in verify_home(home, now=NOW).findings}
        if parts != {"pages"}:
            sys.exit(f"{name}: not proven: {parts}")
        connection = duckdb.connect(warehouse_path(home))
        connection.execute(
            "update reading_lines set ph = 9 where record_no = 5 and file_id = (select min(file_id) from reading_lines)"
        ).fetchall()
        connection.close()
        told: list[Finding] = []
        altered_s = seconds(lambda: told.extend(verify_home(home, now=NOW).findings))
        if not any("ph is 9.000" in one.sentence for one in told):
            sys.exit(f"{name}: the altered row was not named")
    return (
        f"| {name} | {size:,.0f} MB | {nights_s:.1f} | {verify_s:.1f} | {rebuild_s:.1f} | {altered_s:.1f} |"
    )


def main() -> None:
    nights = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    readings = int(sys.argv[2]) if len(sys.argv) > 2 else 1_500_000
    sys.stdout.write(
        "| home | warehouse | nights, s | verify, s | rebuild, s | verify when altered, s |\n"
        "|---|---|---|---|---|---|\n"
    )
    for name, make in (
        (f"{nights} nights", lambda home: many_nights(home, nights)),
        (f"{readings:,} readings", lambda home: many_readings(home, readings)),
    ):
        sys.stdout.write(measure(name, make) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
