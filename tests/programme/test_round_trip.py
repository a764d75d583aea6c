"""A real home over a season: each night's sheet is filled in by script and dropped, and the next night knows it."""

from __future__ import annotations

import csv
import io
import shutil
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Final

import pytest

from pipeline.nightly import NightResult
from pipeline.reports.summary import Site
from pipeline.warehouse.connect import reader
from tests.home import DROP, GROUP, LOTS_HEADER, SITE_ID, drop, find_lot, night, only_site, run_cli

SITE: Final = """
id = "hill"
name = "Hill"
extraction_method = "pour-through"

[[bench]]
house = "1"
name = "B1"
rows = 4
columns = 20

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
"""
LOTS: Final = LOTS_HEADER + (
    "S-1,1,petunia,pot_5_6in,2026-02-25,2026-07-20,800\n"
    "S-2,1,poinsettia,pot_5_6in,2026-02-23,2026-07-20,400\n"
    "S-3,1,petunia,pot_4in,2026-02-16,2026-07-20,1200\n"
    "-4,2,poinsettia,pot_5_6in,2026-02-16,2026-07-20,300\n"
)
START: Final = date(2026, 3, 2)
WEEKS: Final = 9
# A pH in the middle of each crop's target, and what the pots of a lot differ from it by.
MIDDLE: Final = {"petunia": Decimal("5.8"), "poinsettia": Decimal("6.0")}
SPREAD: Final = [Decimal(step) / 10 for step in (-1, 0, 0, 1, 0)]
# In one week a lot is far too low, so that a retest is asked for.
LOW_WEEK: Final = ("S-2", 4)

Rows = list[dict[str, str]]
Save = Callable[[Sequence[str], Rows], bytes]


def make_home(home: Path, site: str = SITE) -> Path:
    (home / DROP).mkdir(parents=True)
    (home / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    (home / "sites" / SITE_ID / "site.toml").write_text(site, encoding="utf-8")
    drop(home, "lots.csv", LOTS)
    return home


def printed(home: Path, day: date, name: str = "hill-sheet.csv") -> tuple[list[str], Rows]:
    """The night's CSV as a script reads it."""
    text = (home / "out" / day.isoformat() / "sites" / name).read_bytes().decode("utf-8-sig")
    reader = csv.DictReader(io.StringIO(text))
    rows = list(reader)
    return list(reader.fieldnames or ()), rows


def saved(
    columns: Sequence[str],
    rows: Rows,
    *,
    encoding: str = "utf-8-sig",
    delimiter: str = ",",
    mark: str = ".",
    day: str = "%Y-%m-%d",
) -> bytes:
    """As a program saves the table: decimals and dates as it writes them."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerow(columns)
    for row in rows:
        cells = {
            **row,
            **{
                name: row[name].replace(".", mark)
                for name in ("ph", "ec_ms_cm", "leachate_ml", "temperature_c")
            },
            **{
                name: f"{date.fromisoformat(row[name]):{day}}" if row[name] else ""
                for name in ("date", "due_on")
            },
        }
        writer.writerow([cells[name] for name in columns])
    return text.getvalue().encode(encoding)


def continental(columns: Sequence[str], rows: Rows) -> bytes:
    return saved(columns, rows, encoding="cp1252", delimiter=";", mark=",", day="%d.%m.%Y")


def unicode_text(columns: Sequence[str], rows: Rows) -> bytes:
    return saved(columns, rows, encoding="utf-16", delimiter="\t", mark=",", day="%d-%b-%Y")


def fill(rows: Rows, monday: date, ph: Callable[[dict[str, str]], Decimal]) -> Rows:
    """Every box, on the Monday of the sheet."""
    return [
        {
            **row,
            "date": monday.isoformat(),
            "ph": f"{ph(row)}",
            "ec_ms_cm": "3.00" if row["crop"] == "poinsettia" else "2.40",
            "leachate_ml": row["collect_ml"].partition("-")[0],
            "temperature_c": "21.5",
            "condition": "h",
            "drain_start": "8:00",
            "drain_end": "8:45",
            "sampler": "Ann Größe",
            "meter": "M1",
        }
        for row in rows
    ]


def steady(row: dict[str, str]) -> Decimal:
    return MIDDLE[row["crop"]] + SPREAD[(int(row["pot"]) - 1) % len(SPREAD)]


@dataclass
class Season:
    """What was filled in, week by week, and what each night made of it."""

    home: Path
    nights: list[NightResult] = field(default_factory=list)
    filled: list[Rows] = field(default_factory=list)

    @property
    def mondays(self) -> list[date]:
        return [result.summary.night.as_of for result in self.nights]

    def pots(self, weeks: int) -> dict[tuple[str, date, str], list[dict[str, str]]]:
        """The lines of the first weeks by lot, day and purpose."""
        found = defaultdict(list)
        for rows in self.filled[:weeks]:
            for row in rows:
                lot = row["lot"].removeprefix("'")
                found[lot, date.fromisoformat(row["date"]), row["purpose"]].append(row)
        return dict(found)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """Nine weeks: each Monday's sheet is filled in and dropped, in one of three dialects, under any name."""
    run = Season(make_home(tmp_path_factory.mktemp("season") / "home"))
    dialects: list[tuple[str, Save]] = [("csv", saved), ("csv", continental), ("txt", unicode_text)]
    for week in range(WEEKS):
        monday = START + timedelta(weeks=week)
        run.nights.append(night(run.home, monday))
        columns, rows = printed(run.home, monday)

        def ph(row: dict[str, str], week: int = week) -> Decimal:
            return steady(row) - (Decimal(1) if (row["lot"], week) == LOW_WEEK else 0)

        # Each lot on its due day, or at once where that is over.
        on_time = [{**row, "date": max(row["due_on"], monday.isoformat())} for row in fill(rows, monday, ph)]
        run.filled.append(on_time)
        ending, save = dialects[week % len(dialects)]
        drop(run.home, f"Copy of sheet ({week}).{ending}", save(columns, run.filled[-1]))
    return run


def test_a_season_of_sheets_is_taken_in_line_by_line(season: Season) -> None:
    for week, result in enumerate(season.nights):
        lines = only_site(result.summary).lines
        readings = sum(map(len, season.filled[:week]))
        headers = 1 + sum(1 for rows in season.filled[:week])
        assert (lines.accepted, lines.held, lines.repeated, lines.superseded, lines.not_data) == (
            4 + readings,
            0,
            0,
            0,
            headers,
        )
    assert sum(map(len, season.filled)) > 80


def test_every_figure_is_the_one_that_was_filled_in(season: Season) -> None:
    for week, result in enumerate(season.nights):
        pots = season.pots(week)
        told = {
            (lot.lot_id, one.sampled_on, one.purpose): one
            for lot in only_site(result.summary).lots
            for one in lot.samplings
        }
        assert told.keys() == pots.keys()
        for key, rows in pots.items():
            mean = float(sum(Decimal(row["ph"]) for row in rows) / len(rows))
            assert told[key].ph.mean == pytest.approx(mean, abs=1e-9)
            assert told[key].n_pots == len(rows)
            assert told[key].counts
            assert {pot.ph for pot in told[key].pots} == {float(row["ph"]) for row in rows}
    with reader(season.home) as connection:
        same = connection.execute(
            "select distinct drain_min, temperature_c, condition, sampler, meter_id, poured_ml from usable_readings"
        ).fetchall()
    assert same == [(Decimal("45.0"), Decimal("21.50"), "healthy", "Ann Größe", "M1", None)]


def test_every_sampling_answers_the_due_that_it_was_printed_for(season: Season) -> None:
    last = season.nights[-1].summary
    for (lot, day, purpose), rows in season.pots(WEEKS - 1).items():
        (sampling,) = [
            one for one in find_lot(last, lot).samplings if (one.sampled_on, one.purpose) == (day, purpose)
        ]
        named = {(row["due_why"], date.fromisoformat(row["due_on"])) for row in rows}
        assert {(one.why, one.due_on) for one in sampling.answers} == named


def test_what_was_answered_is_due_no_more(season: Season) -> None:
    for week, result in enumerate(season.nights[1:], start=1):
        answered = {
            (row["lot"], row["due_why"], row["due_on"]) for rows in season.filled[:week] for row in rows
        }
        _, asked = printed(season.home, season.mondays[week])
        assert not answered & {(row["lot"], row["due_why"], row["due_on"]) for row in asked}
        for lot in only_site(result.summary).lots:
            assert lot.due.state in ("not_yet", "due_this_week")
    # every lot was asked for more than once, and the low one for a retest, which came back in range
    asked_for = defaultdict(set)
    for rows in season.filled:
        for row in rows:
            asked_for[row["lot"]].add((row["due_why"], row["due_on"]))
    assert {lot: len(dues) > 2 for lot, dues in asked_for.items()} == dict.fromkeys(
        ("S-1", "S-2", "S-3", "'-4"), True
    )
    assert "after_out" in {why for why, _ in asked_for["S-2"]}


def test_the_season_is_made_anew_from_the_archive_and_proven(season: Season) -> None:
    rebuilt, verified = run_cli("rebuild", season.home), run_cli("verify", season.home)
    assert (rebuilt.code, verified.code) == (0, 0), rebuilt.err + verified.err
    assert f"Rebuilt from {WEEKS} nights" in rebuilt.out


# One week, in all the ways in which it comes back


@pytest.fixture(scope="module")
def first_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = make_home(tmp_path_factory.mktemp("week") / "home")
    night(home, START)
    return home


@pytest.fixture
def home(first_night: Path, tmp_path: Path) -> Path:
    """The morning after the first night, for one test."""
    copied = tmp_path / "home"
    shutil.copytree(first_night, copied, symlinks=True)
    return copied


def site_after(home: Path, days: int) -> Site:
    return only_site(night(home, START + timedelta(days=days)).summary)


def states(site: Site) -> Mapping[str, str]:
    return {lot.lot_id: lot.due.state for lot in site.lots}


def test_the_due_list_is_empty_once_the_sheet_came_back(home: Path) -> None:
    columns, rows = printed(home, START)
    assert {row["lot"] for row in rows} == {"S-1", "S-2", "S-3", "'-4"}
    drop(home, "sheet", continental(columns, fill(rows, START, steady)))
    site = site_after(home, 7)
    assert site.lines.accepted == 4 + len(rows)
    assert set(states(site).values()) == {"not_yet"}
    assert printed(home, START + timedelta(days=7))[1] == []
    traced = run_cli("trace", home, SITE_ID, "S-3")
    assert "answers the first sampling due 2026-02-23, 7 days late (5 pots on the sheet)" in traced.out
    assert "ph “5,7” → pH 5.7" in traced.out


def test_boxes_that_are_left_blank_come_later_under_another_name(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    half = [full if full["lot"] == "S-1" else blank for full, blank in zip(whole, rows, strict=True)]
    drop(home, "Monday.csv", saved(columns, half))
    first = site_after(home, 1)
    assert (first.lines.accepted, first.lines.held, first.lines.not_data) == (4 + 5, 0, 2 + 15)
    assert first.files_tonight[0].not_filled_in == 15
    assert {lot for lot, state in states(first).items() if state != "not_yet"} == {"S-2", "S-3", "-4"}
    drop(home, "Tuesday.csv", saved(columns, whole))
    second = site_after(home, 2)
    # what was known is only repeated
    assert (second.lines.accepted, second.lines.repeated, second.lines.superseded) == (4 + 20, 5, 0)
    assert set(states(second).values()) == {"not_yet"}
    # the same file again is no work, and under a third name it brings nothing
    drop(home, "Tuesday again.csv", saved(columns, whole))
    third = site_after(home, 3)
    assert (third.lines.accepted, third.lines.repeated, third.lines.superseded) == (4 + 20, 25, 0)
    drop(home, "Tuesday.csv", saved(columns, whole))
    assert site_after(home, 4).lines == third.lines


def test_a_corrected_sheet_supersedes_by_pot_whatever_its_name_and_dialect(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    drop(home, "sheet.csv", saved(columns, whole))
    night(home, START + timedelta(days=1))
    corrected = [{**row, "ph": "6.1"} if (row["lot"], row["pot"]) == ("S-1", "2") else row for row in whole]
    drop(home, "mended.txt", unicode_text(columns, corrected))
    site = site_after(home, 2)
    assert (site.lines.accepted, site.lines.superseded) == (4 + 20, 20)
    (sampling,) = [one for lot in site.lots if lot.lot_id == "S-1" for one in lot.samplings]
    assert sorted(pot.ph or 0 for pot in sampling.pots) == [5.7, 5.8, 5.8, 5.9, 6.1]


def test_added_pots_belong_to_the_sampling_and_notes_alone_are_listed(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    added = {**dict.fromkeys(columns, ""), "lot": "s-1", "date": whole[0]["date"], "ec_ms_cm": "2.40"}
    more = [{**added, "pot": "6", "ph": "5.8"}, {**added, "pot": "7", "ph": "5.8", "site": "hill"}]
    dry = [
        {**row, **dict.fromkeys(columns[12:-1], ""), "note": "pot dry"}
        for row in whole
        if row["lot"] == "S-2"
    ]
    others = [row for row in whole if row["lot"] != "S-2"]
    drop(home, "sheet.csv", continental(columns, [*others, *more, *dry]))
    site = site_after(home, 7)
    assert (site.lines.accepted, site.lines.held) == (4 + 15 + 2, 0)
    (sampling,) = [one for lot in site.lots if lot.lot_id == "S-1" for one in lot.samplings]
    assert (sampling.n_pots, sampling.purpose) == (7, "routine")
    assert [one.rule for one in site.files_tonight[0].not_data] == ["header", *["noted_only"] * 5]
    assert states(site)["S-2"] == "never_sampled"
    listed = run_cli("held", home, "--not-data").out
    assert "noted_only" in listed
    assert "pot dry" in listed


def test_a_sheet_of_another_site_is_held_with_a_sentence(home: Path) -> None:
    columns, rows = printed(home, START)
    theirs = [{**row, "site": "dale"} for row in fill(rows, START, steady)]
    drop(home, "sheet.csv", saved(columns, theirs))
    site = site_after(home, 1)
    assert (site.lines.accepted, site.lines.held) == (4, 20)
    assert [(one.cause, one.records, one.mend) for one in site.held] == [
        ("other_site", 20, "Drop the sheet at the site that it is of.")
    ]
    assert 'site "dale" is another site than this one, hill' in site.held[0].sentence


def test_what_is_wrong_in_a_box_holds_its_line_alone(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    faults = [
        {"date": ""},
        {"ph": "5.8.1"},
        {"ph": "", "ec_ms_cm": ""},
        {"condition": "?"},
        {"drain_end": "7:59"},
    ]
    spoiled = [{**row, **fault} for row, fault in zip(whole[:5], faults, strict=True)]
    drop(home, "sheet.csv", saved(columns, [*spoiled, *whole[5:]]))
    site = site_after(home, 1)
    assert (site.lines.accepted, site.lines.held) == (4 + 15, 5)
    assert {one.cause for one in site.held} == {
        "missing",
        "number_unreadable",
        "nothing_measured",
        "sheet_word",
        "drain_backwards",
    }
    drop(home, "mended.csv", saved(columns, whole))
    mended = site_after(home, 2)
    assert (mended.lines.accepted, mended.lines.held, mended.lines.superseded) == (4 + 20, 0, 5)


def test_dates_of_two_meanings_wait_for_the_sites_own_format(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    drop(home, "sheet.csv", saved(columns, whole, day="%m/%d/%Y"))
    held = site_after(home, 7)
    assert {one.cause for one in held.held} == {"sheet_day"}
    path = home / "sites" / SITE_ID / "site.toml"
    path.write_text(SITE.replace('name = "Hill"', 'name = "Hill"\ndate_format = "%m/%d/%Y"', 1))
    site = only_site(night(home, START + timedelta(days=7)).summary)
    assert (site.lines.accepted, site.lines.held) == (4 + 20, 0)
    assert set(states(site).values()) == {"not_yet"}
    assert run_cli("rebuild", home).code == 0
    assert run_cli("verify", home).code == 0


def test_meter_checks_come_back_on_their_own_sheet(home: Path) -> None:
    columns, rows = printed(home, START)
    whole = fill(rows, START, steady)
    drop(
        home,
        "sheet.csv",
        saved(columns, [{**row, "meter": "M2"} if row["lot"] == "S-3" else row for row in whole]),
    )
    seen = site_after(home, 4)
    assert {one.proper for lot in seen.lots for one in lot.samplings} == {"not_shown"}
    names, meters = printed(home, START + timedelta(days=4), "hill-sheet-calibrations.csv")
    assert [row["meter"] for row in meters] == ["M1", "M2"]
    days = sorted({row["date"] for row in whole})
    checks = [
        *(
            {**meters[0], "date": day, "time": "7.30 am", "found_4": "4,02", "found_7": "7,01"}
            for day in days
        ),
        meters[1],
    ]
    text = "\r\n".join(";".join(row[name] for name in names) for row in checks)
    drop(home, "meters.csv", f"{';'.join(names)}\r\n{text}\r\n")
    site = site_after(home, 5)
    assert site.lines.held == 0
    assert {lot.lot_id: [one.proper for one in lot.samplings] for lot in site.lots} == {
        "S-1": ["yes"],
        "S-2": ["yes"],
        "S-3": ["no"],
        "-4": ["yes"],
    }
    assert "ph “" in run_cli("trace", home, SITE_ID, "S-1").out


def test_adopt_says_that_a_sheet_needs_no_mapping(home: Path) -> None:
    names = ("hill-sheet.csv", "hill-sheet-calibrations.csv")
    told = [
        run_cli("adopt", home, SITE_ID, home / "out" / START.isoformat() / "sites" / name) for name in names
    ]
    assert [one.code for one in told] == [2, 2]
    assert "hill-sheet.csv is Leachbook's own sampling sheet and needs no mapping" in told[0].err
    assert "own sheet of meter checks and needs no mapping; put it into hill/drop as it is" in told[1].err
