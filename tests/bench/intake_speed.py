"""Time of the intake for clean readings beside DuckDB's bare read_csv: python -m tests.bench.intake_speed [MB]

Every way reads the same invented files in the same run. The files are made once, in memory and in a temporary folder.
Beside the seconds by the clock stand those of the processors, which say as much on a machine that is busy.
"""

from __future__ import annotations

import os
import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import click
import duckdb

from pipeline.intake.collect import CollectedFile
from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from pipeline.receive import receive
from pipeline.settings import Column, Export, Settings, SiteSettings, resolve_policy
from tests.sql.bench import settings_of

FILES = 20
MEGABYTES = 100
HEADER = "Lot,Date,Pot,pH,EC (mS/cm),Leachate (mL),Temperature (°C),Meter,Sampler,Note"
EXPORT = Export(
    kind="readings",
    files="drop/readings*.csv",
    numbers_pots=True,
    columns={
        "lot": Column(column="Lot"),
        "date": Column(column="Date"),
        "pot": Column(column="Pot"),
        "ph": Column(column="pH"),
        "ec": Column(column="EC (mS/cm)", unit="mS/cm"),
        "leachate": Column(column="Leachate (mL)", unit="mL"),
        "temperature": Column(column="Temperature (°C)", unit="°C"),
        "meter": Column(column="Meter"),
        "sampler": Column(column="Sampler"),
        "note": Column(column="Note"),
    },
)
SITE = SiteSettings(
    id="hill",
    name="Hill",
    time_zone="UTC",
    folder=Path("hill"),
    extraction_method="pour-through",
    exports=(EXPORT,),
)


def make_file(draw: random.Random, size: int) -> bytes:
    """Clean readings of about so many bytes; every twentieth note stands in quotation marks."""
    lines = [HEADER]
    length = len(HEADER)
    first = date(2024, 1, 2)
    while length < size:
        lot = f"H-{draw.randrange(2000):04d}"
        day = first + timedelta(days=draw.randrange(700))
        for pot in range(1, 6):
            note = '"pale, lower leaves"' if draw.random() < 0.05 else ""
            line = (
                f"{lot},{day},{pot},{draw.gauss(5.9, 0.3):.2f},{max(0.2, draw.gauss(2.4, 0.6)):.2f},"
                f"{draw.randrange(45, 56)},{draw.gauss(21, 1):.1f},M{draw.randrange(4)},AB,{note}"
            )
            lines.append(line)
            length += len(line) + 1
    return ("\n".join(lines) + "\n").encode()


def timed(what: str, work: Callable[[], object], megabytes: float) -> None:
    started, worked = time.perf_counter(), time.process_time()
    work()
    seconds, busy = time.perf_counter() - started, time.process_time() - worked
    click.echo(f"| {what} | {seconds:.1f} | {seconds / megabytes * 100:.1f} | {busy / megabytes * 100:.1f} |")


@click.command()
@click.argument("megabytes", type=click.FloatRange(min=1), default=MEGABYTES)
def main(megabytes: float) -> None:
    """Make so many MEGABYTES of clean readings, read them every way, print a table."""
    draw = random.Random(2026)  # noqa: S311  invented readings, no secrets
    files = [make_file(draw, int(megabytes * 1e6 / FILES)) for _ in range(FILES)]
    real = sum(map(len, files)) / 1e6
    lines = sum(data.count(b"\n") for data in files)
    settings: Settings = settings_of(SITE)
    policy = resolve_policy(settings, SITE)
    moment = datetime(2026, 4, 6, tzinfo=UTC)
    click.echo(f"{real:.0f} MB, {lines:,} lines in {FILES} files, {os.cpu_count()} cores\n")
    click.echo("| what | s | s per 100 MB | processor s per 100 MB |\n|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for number, data in enumerate(files):
            (Path(folder) / f"readings-{number}.csv").write_bytes(data)
        with duckdb.connect() as connection:
            query = f"create table t as select * from read_csv('{folder}/*.csv', header = true)"  # noqa: S608  our own folder
            timed(
                "DuckDB read_csv, bare, typed by itself", lambda: connection.execute(query).fetchall(), real
            )
    timed("read, whole columns", lambda: [read_records(data, EXPORT) for data in files], real)
    timed("read, line by line", lambda: [read_records(data, EXPORT, is_quick=False) for data in files], real)
    read = [read_records(data, EXPORT) for data in files]
    timed("translate what was read", lambda: [translate(one, EXPORT, SITE) for one in read], real)

    def take(number: int, data: bytes) -> object:
        name = f"drop/readings-{number}.csv"
        file = CollectedFile("hill", "readings", 1, name, f"{number:064d}", len(data), moment, data)
        return receive(file, EXPORT, SITE, policy)

    timed("all of the intake: read, translate, sift", lambda: [take(*one) for one in enumerate(files)], real)


if __name__ == "__main__":
    main()
