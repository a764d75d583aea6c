"""What a night costs that changes 50 of 100,000 lines, beside the first load of them, and how the warehouse grows.

python -m tests.bench.cumulative_nights [NIGHTS] sends one growing file again each night and prints two tables.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import date, timedelta
from pathlib import Path

import click

from pipeline.haul import collect_sites, read_haul
from pipeline.intake.read import read_records
from pipeline.judge import judge_night
from pipeline.settings import Settings, load_settings
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.migrate import migrate
from tests.home import DROP, LOTS_HEADER, READINGS_HEADER, SITE, drop, make_home

NIGHTS = 60
LOTS = 400
SAMPLINGS = 50
POTS = 5
CORRECTED, DELETED, ADDED = 20, 10, 20
FIRST = date(2026, 4, 6)
NAME = "readings.csv"


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds of one night's steps."""

    reading: float
    intake: float
    loading: float
    judging: float


def line(draw: random.Random, lot: int, week: int, pot: int) -> str:
    day = FIRST - timedelta(weeks=SAMPLINGS - week)
    ph, ec = draw.gauss(5.9, 0.2), max(0.2, draw.gauss(2.4, 0.5))
    return f"L-{lot:03d},{day},routine,{pot},{ph:.2f},{ec:.2f},50,M1,"


def first_lines(draw: random.Random) -> list[str]:
    return [
        line(draw, lot, week, pot)
        for week in range(SAMPLINGS)
        for lot in range(LOTS)
        for pot in range(1, POTS + 1)
    ]


def changed_lines(draw: random.Random, lines: list[str], night: int) -> list[str]:
    """The file of the next night: some lines corrected, some gone, some new."""
    after = list(lines)
    for at in draw.sample(range(len(after)), CORRECTED):
        cells = after[at].split(",")
        cells[4] = f"{draw.gauss(5.9, 0.2):.2f}"
        after[at] = ",".join(cells)
    for at in sorted(draw.sample(range(len(after)), DELETED), reverse=True):
        del after[at]
    return after + [line(draw, draw.randrange(LOTS), SAMPLINGS - 1, POTS + night) for _ in range(ADDED)]


def put(home: Path, lines: list[str]) -> bytes:
    data = (READINGS_HEADER + "\n".join(lines) + "\n").encode()
    drop(home, NAME, data)
    return data


def seconds_of(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def run(home: Path, connection: Connection, loaded: Settings, day: date, data: bytes) -> Cost:
    """One night without pages; the steps of judge_night are told apart by what it says."""
    export = loaded.sites[0].exports[0]
    reading = seconds_of(lambda: read_records(data, export))
    started = time.perf_counter()
    haul = read_haul(home, connection, loaded, collect_sites(connection, loaded, lambda _: None))
    read = time.perf_counter()
    said: dict[str, float] = {}

    def say(text: str) -> None:
        said[text.split()[0]] = time.perf_counter()

    judge_night(connection, loaded, day, haul, say)
    ended = time.perf_counter()
    return Cost(reading, read - started, said["Judging"] - read, ended - said["Judging"])


def median(costs: list[Cost]) -> Cost:
    middle = len(costs) // 2
    return Cost(*(sorted(getattr(one, field.name) for one in costs)[middle] for field in fields(Cost)))


def size_of(connection: Connection, warehouse: Path) -> float:
    """Megabytes of the warehouse once everything is written to it."""
    connection.execute("checkpoint").fetchall()
    return warehouse.stat().st_size / 1e6


def main(nights: int) -> None:
    draw = random.Random(50)  # noqa: S311  invented readings, no secret
    with tempfile.TemporaryDirectory() as folder:
        site = SITE.replace("numbers_pots = true", 'numbers_pots = true\nmode = "cumulative"')
        home = make_home(Path(folder) / "home", site=site)
        (home / DROP / "readings_2026-04-02.csv").unlink()
        lots = (f"L-{lot:03d},1,petunia,pot_5_6in,2025-01-06,,800\n" for lot in range(LOTS))
        drop(home, "lots.csv", LOTS_HEADER + "".join(lots))
        loaded = load_settings(home)
        lines = first_lines(draw)
        costs: list[Cost] = []
        sizes: dict[int, float] = {}
        with night_copy(home) as (connection, warehouse):
            migrate(connection)
            for night in range(nights):
                if night:
                    lines = changed_lines(draw, lines, night)
                data = put(home, lines)
                costs.append(run(home, connection, loaded, FIRST + timedelta(days=night), data))
                if night + 1 in (1, 2, 10, nights):
                    sizes[night + 1] = size_of(connection, warehouse)
            (stored,) = connection.execute("select count(*) from reading_lines").fetchall()[0]
        show(costs, sizes, len(data) / 1e6, int(stored))


def show(costs: list[Cost], sizes: dict[int, float], megabytes: float, stored: int) -> None:
    first, later = costs[0], median(costs[1:])
    click.echo(f"{LOTS * SAMPLINGS * POTS} lines, {megabytes:.1f} MB; seconds, later nights as medians\n")
    click.echo("| step | first load | 50 lines changed |\n|---|---|---|")
    names = ("reading", "all of the intake: reading, matching, translating", "loading", "judging")
    for field, name in zip(fields(Cost), names, strict=True):
        click.echo(f"| {name} | {getattr(first, field.name):.2f} | {getattr(later, field.name):.2f} |")
    click.echo(f"\n{stored} lines were translated in {len(costs)} nights.\n")
    click.echo("| nights | warehouse (MB) |\n|---|---|")
    for night, size in sizes.items():
        click.echo(f"| {night} | {size:.1f} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else NIGHTS)
