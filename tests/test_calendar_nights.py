"""Calendar files of a real home over nights: what people imported is right, and a rebuilding knows what it was."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipeline.intake import archive, ledger
from pipeline.rebuild import rebuild
from pipeline.verify import verify_home
from pipeline.warehouse.connect import reader, warehouse_path
from pipeline.warehouse.proof import digest_tables
from tests.conftest import Share, copy_home
from tests.home import (
    DAY,
    GOOD_PH,
    LOTS,
    NOW,
    READINGS_HEADER,
    SITE,
    SITE_ID,
    drop,
    make_home,
    night,
    only_site,
    pots,
    read_summary,
)
from tests.programme.calendars import Client, find_lines, read_events, read_second
from tests.test_rebuild import contents

ZONED = SITE.replace(
    'name = "Hill"', 'name = "Hill"\ntime_zone = "America/New_York"\ncalendar_time = "06:30"'
)


LAST = DAY + timedelta(days=15)


def later(days: int) -> date:
    return DAY + timedelta(days=days)


def calendar_of(home: Path, day: date) -> bytes:
    data = (home / "out" / day.isoformat() / "sites" / f"{SITE_ID}.ics").read_bytes()
    assert len(read_second(data).events) == len(list(read_events(data)))
    return data


def set_site(home: Path, text: str) -> None:
    (home / "sites" / SITE_ID / "site.toml").write_text(text, encoding="utf-8")


def shown(client: Client) -> list[tuple[str, str]]:
    return sorted((one["DTSTART"].dt.isoformat(), str(one["SUMMARY"])) for one in client.shown.values())


def run_course(folder: Path) -> None:
    """A home and the file of each of its nights, numbered: lots sampled, overdue and shipped, the unit switched."""
    home, by_lot = folder / "home", ZONED.replace("calendar_time", 'calendar = "lot"\ncalendar_time')
    folder.mkdir()

    def run(day: date) -> None:
        night(home, day)
        number = len(list(folder.glob("*.ics")))
        (folder / f"{number}.ics").write_bytes(calendar_of(home, day))

    make_home(home, site=ZONED)
    run(DAY)
    drop(home, "readings_2026-04-16.csv", READINGS_HEADER + pots("H-1", "2026-04-15", GOOD_PH))
    run(later(10))
    run(later(12))
    set_site(home, by_lot)
    run(later(12))
    drop(home, "lots.csv", LOTS.replace("2026-06-20", "2026-04-19"))
    run(later(14))
    drop(home, "lots.csv", LOTS.replace("2026-06-20", "2026-04-19").replace("2026-05-20", "2026-04-28"))
    run(LAST)


@pytest.fixture(scope="session")
def course(share: Share) -> Path:
    """Not to be changed."""
    return share("calendar-course", run_course)


@pytest.fixture
def home(course: Path, tmp_path: Path) -> Path:
    return copy_home(course / "home", tmp_path / "home")


def test_what_people_imported_is_what_is_due(course: Path) -> None:
    client, told = Client(), []
    for number in range(6):
        client.take((course / f"{number}.ics").read_bytes())
        told.append(shown(client))
    one_lot = "Sample House 1: 1 lot, 5 pots, about 20 min"
    assert told == [
        [("2026-04-16T06:30:00-04:00", "Sample House 1: 2 lots, 10 pots, about 40 min")],
        [("2026-04-16T06:30:00-04:00", one_lot), ("2026-04-29T06:30:00-04:00", one_lot)],
        [
            ("2026-04-18T06:30:00-04:00", f"{one_lot}, overdue 2 days"),
            ("2026-04-29T06:30:00-04:00", one_lot),
        ],
        [
            (
                "2026-04-18T06:30:00-04:00",
                "Sample H-2 poinsettia, House 1: 5 pots, about 20 min, overdue 2 days",
            ),
            ("2026-04-29T06:30:00-04:00", "Sample H-1 petunia, House 1: 5 pots, about 20 min"),
        ],
        [("2026-04-29T06:30:00-04:00", "Sample H-1 petunia, House 1: 5 pots, about 20 min")],
        [],
    ]


def test_who_imports_only_the_last_file_has_the_same(course: Path) -> None:
    for first in range(5):
        client = Client()
        for number in (first, 5):
            client.take((course / f"{number}.ics").read_bytes())
        assert shown(client) == []


def test_the_summary_holds_what_the_file_holds(course: Path) -> None:
    home, day = course / "home", later(10)
    site = only_site(read_summary(home, day))
    events = list(read_events(calendar_of(home, day)))
    assert [(one.uid, one.sequence, one.status.upper(), one.minutes) for one in site.calendar] == [
        (str(one["UID"]), one["SEQUENCE"], str(one["STATUS"]), one["DURATION"].dt.seconds // 60)
        for one in events
    ]
    assert [one.description for one in site.calendar] == [
        str(one["DESCRIPTION"]).split("\n") for one in events
    ]
    assert site.time_zone == "America/New_York"


def test_the_same_night_twice_changes_no_calendar(home: Path) -> None:
    before, rows = calendar_of(home, LAST), contents(home)["calendar_history"]
    night(home, LAST, pages=True)
    assert night(home, LAST, pages=True).is_unchanged
    # Pages that are gone are made again, by a night of its own.
    (home / "out" / LAST.isoformat() / "overview.html").unlink()
    assert not night(home, LAST, pages=True).is_unchanged
    assert calendar_of(home, LAST) == before
    assert contents(home)["calendar_history"] == rows
    # A later night without news says the same, but for what it cancels 60 days long.
    night(home, later(16))
    assert calendar_of(home, later(16)) == before
    night(home, later(90))
    assert find_lines(calendar_of(home, later(90)), "UID") == []


def test_a_rebuilding_knows_what_people_were_told(home: Path) -> None:
    before = contents(home)
    assert {row[3] for row in before["calendar_history"]} == {"confirmed", "cancelled"}
    assert max(row[2] for row in before["calendar_history"]) >= 2
    warehouse_path(home).unlink()
    rebuild(home, now=NOW)
    assert contents(home) == before
    assert verify_home(home, now=NOW).findings == []
    # And goes on from there.
    drop(home, "lots.csv", LOTS)
    night(home, later(16))
    assert verify_home(home, now=NOW).findings == []


def test_the_archive_says_what_people_were_told_whatever_this_leachbook_would_say(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later version words and judges otherwise; numbers that were given out stay given out."""
    before = contents(home)["calendar_history"]
    monkeypatch.setattr("pipeline.calendar_night.make_events", lambda *_: [])
    warehouse_path(home).unlink()
    rebuild(home, now=NOW)
    assert contents(home)["calendar_history"] == before


def test_the_ledger_names_what_the_archive_keeps_of_calendars(home: Path) -> None:
    nights = [one for one in ledger.read_ledger(home) if one["kind"] == ledger.NIGHT]
    kept = [
        json.loads(archive.fetch(home, one["calendars"]))["calendar"] for one in nights if "calendars" in one
    ]
    with reader(home) as connection:
        assert digest_tables(connection)["calendar_history"].figure.startswith(f"{sum(map(len, kept))}:")
    path = archive.file_path(home, nights[0]["calendars"])
    data = path.read_bytes()
    path.write_bytes(data.replace(b"House 1", b"House 2"))
    (finding,) = verify_home(home, now=NOW).findings
    assert "was altered (the calendars of 2026-04-06, ledger line " in str(finding)
    path.unlink()
    (finding,) = verify_home(home, now=NOW).findings
    assert "is missing (the calendars of 2026-04-06" in str(finding)


def test_a_home_without_sites_or_lots_has_a_calendar_that_programs_take(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", **{"lots.csv": LOTS.splitlines(keepends=True)[0]})
    night(home)
    assert read_second(calendar_of(home, DAY)).events == []
