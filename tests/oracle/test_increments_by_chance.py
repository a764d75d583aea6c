"""Increments drawn at random that come again under their names: the same fates by SQL and by the oracle."""

from __future__ import annotations

import random
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipeline.haul import collect_sites, read_haul
from pipeline.judge import judge_night
from pipeline.settings import load_settings
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.migrate import migrate
from tests.examples import examples
from tests.home import DROP, READINGS_HEADER, SITE, drop, make_home
from tests.oracle.fates import DropFile, Night, Ref, facts_on
from tests.oracle.settings import read_home

FIRST = date(2026, 4, 6)
NIGHTS = 4
NAMES = ("readings.csv", "readings_b.csv")
LOT_CODES = ("H-1", "H-1", "h-1", "H-2", "L-9", "")
DAYS = ("2026-04-05", "2026-04-05", "2026-04-04", "2026-03-05", "2026-05-04", "2025-04-05", "04.05.2026", "")
SETTINGS = {
    "numbered": SITE,
    "open": SITE.replace("numbers_pots = true\n", ""),
    "unnumbered": SITE.replace("numbers_pots = true", "numbers_pots = false"),
}


def draw_line(draw: random.Random) -> list[str]:
    figures = draw.choice(("5.8", "5.8", "5.9", "58", "5.8O", ""))
    note = draw.choice(("", "", "wet"))
    pot = draw.choice(("", "", "", "1", "1", "2", "3"))
    purpose = draw.choice(("routine", "routine", "retest"))
    return [draw.choice(LOT_CODES), draw.choice(DAYS), purpose, pot, figures, "2.60", "50", "M1", note]


def change(line: list[str], draw: random.Random) -> list[str]:
    """The line with one cell drawn anew."""
    at = draw.choice((0, 1, 1, 2, 3, 4, 4, 8))
    return [*line[:at], draw_line(draw)[at], *line[at + 1 :]]


def write_line(line: list[str], draw: random.Random) -> str:
    """The line as one of several exports would write it: quoted, with blanks, or broken."""
    way = draw.choice(("plain",) * 6 + ("quoted", "blank", "broken"))
    if way == "quoted":
        return ",".join(f'"{cell}"' for cell in line) + "\n"
    if way == "blank":
        return ", ".join(line) + "\n"
    return ",".join(line[: 6 if way == "broken" else None]) + "\n"


def next_version(lines: list[list[str]], draw: random.Random) -> list[list[str]]:
    """What comes next under a name: the same lines, some of them changed, gone or new, or other ones."""
    if draw.random() < 0.25:
        return [draw_line(draw) for _ in range(draw.randint(1, 6))]
    if draw.random() < 0.15:
        # every figure anew, as whoever corrects a whole column does
        return [[*line[:4], draw.choice(("5.5", "5.6", "5.7")), *line[5:]] for line in lines]
    if draw.random() < 0.2:
        at, cell = draw.choice(((0, "H-1"), (1, "2026-04-05")))
        return [[*line[:at], cell, *line[at + 1 :]] for line in lines]
    kept = [change(line, draw) if draw.random() < 0.3 else line for line in lines if draw.random() < 0.9]
    return kept + [draw_line(draw) for _ in range(draw.randint(0, 2))] or [draw_line(draw)]


def run_night(home: Path, connection: Connection, day: date) -> None:
    loaded = load_settings(home)
    haul = read_haul(home, connection, loaded, collect_sites(connection, loaded, lambda _: None))
    # What calendars were told is judged, and only facts are asked for.
    judge_night(connection, loaded, day, haul, lambda _: None, facts_only=True, calendars=lambda *_: None)


@pytest.mark.parametrize("settings", sorted(SETTINGS))
@pytest.mark.parametrize("seed", range(examples(2)))
def test_the_oracle_and_the_models_agree(tmp_path: Path, settings: str, seed: int) -> None:
    check(tmp_path / "home", SETTINGS[settings], seed)


def check(folder: Path, site: str, seed: int) -> None:
    """Some nights of two names; every record of the last night has one fate in both computations."""
    draw = random.Random(seed)  # noqa: S311  test data, not secrets
    home = make_home(folder, site=site)
    (home / DROP / "readings_2026-04-02.csv").unlink()
    lines = {name: [draw_line(draw) for _ in range(draw.randint(2, 7))] for name in NAMES}
    nights: list[Night] = []
    with night_copy(home) as (connection, _):
        migrate(connection)
        for number in range(NIGHTS):
            for name in NAMES:
                if number == 0 or draw.random() < 0.8:
                    drop(home, name, READINGS_HEADER + "".join(write_line(one, draw) for one in lines[name]))
                lines[name] = next_version(lines[name], draw)
            day = FIRST + timedelta(days=number)
            run_night(home, connection, day)
            taken = [
                DropFile(f"drop/{path.name}", path.read_bytes(), path.stat().st_mtime)
                for path in (home / DROP).iterdir()
            ]
            nights.append(Night(day, {"hill": taken}))
        found = {
            Ref(file_id - 1, record_no): fate
            for file_id, record_no, fate in connection.execute(
                "select file_id, record_no, fate from record_fates"
            ).fetchall()
        }
    loaded = read_home(home)
    facts = facts_on(loaded, loaded.sites[0], nights)
    assert found == {ref: fate.fate for ref, fate in facts.fates.items()}
