"""Telling the manager, the whole way: real nights, real files, real .eml messages, over four days."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipeline.delivery.outbox import open_outbox
from pipeline.errors import ReportError, SettingsError
from pipeline.nightly import run_night
from pipeline.run_lines import describe_runs, tell_runs
from pipeline.schedule.due import Done, DueRun, Timetable
from pipeline.schedule.keep import explain_exit
from pipeline.schedule.state import ScheduleState, after_failure, write_schedule
from pipeline.schedule.tell import NOTICE, ToldNow, find_missing_night, is_time_to_tell, tell_manager
from tests.home import GROUP, READINGS_HEADER, drop, make_home, pots, write_tables

MANAGER = GROUP + 'manager = {name = "Jo Field", email = "jo@example.com"}\n'
BERLIN = Timetable(ZoneInfo("Europe/Berlin"), time(4), None, time(5, 30))


def at(day: int, clock: str) -> datetime:
    return datetime.combine(date(2026, 4, day), time.fromisoformat(clock), UTC)


def run(home: Path, day: int) -> None:
    run_night(home, date(2026, 4, day), now=at(day, "04:00"), render=write_tables)


def tell(home: Path, now: datetime) -> ToldNow:
    return tell_manager(home, lambda: now, {}, lambda _: None)


def mails(home: Path) -> list[tuple[str, str]]:
    """Subject and text of each message in the folder, oldest first."""
    with open_outbox(home) as outbox:
        found = [
            message_from_bytes(outbox.message(one.letter_id) or b"", policy=policy.default)
            for one in outbox.letters(report=NOTICE)
        ]
    assert len(list((home / "out" / "mail").glob("*.eml"))) == len(found)
    assert {str(one["To"]) for one in found} == {"Jo Field <jo@example.com>"}
    return [(str(one["Subject"]), one.get_content().replace("\r\n", "\n")) for one in found]


def refuse(*_: object, **__: object) -> list[Path]:
    raise ReportError("out: no room.")


def test_the_manager_hears_of_each_trouble_once_and_of_its_end_once(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    (home / "leachbook.toml").write_text(MANAGER, encoding="utf-8")
    run(home, 6)
    assert tell(home, at(6, "04:10")) == ToldNow([], None)
    assert not (home / "outbox.sqlite").exists(), "nothing to tell makes no outbox"

    bad = drop(home, "readings_2026-04-07.csv", "Lot,Date,Purpose,Acid\nH-1,2026-04-07,routine,5.8\n")
    run(home, 7)
    told = tell(home, at(7, "04:10"))
    assert [one.kind for one in told.troubles] == ["file"]
    for later in ("04:11", "12:00", "23:50"):
        assert tell(home, at(7, later)).digest is None, "one a day, and nothing is new"
    ((subject, text),) = mails(home)
    assert subject == "Small group: 1 new trouble"
    assert "- Hill: " in text
    assert bad.name in text

    good_file = READINGS_HEADER + pots("H-1", "2026-04-08", ("5.8",))
    drop(home, "readings_2026-04-08.csv", good_file)
    with pytest.raises(ReportError):
        run_night(home, date(2026, 4, 8), now=at(8, "04:00"), render=refuse)
    assert tell(home, at(8, "04:59")).digest is None, "it may be tried again within the hour"
    assert tell(home, at(8, "05:00")).digest is not None
    subject, text = mails(home)[-1]
    assert subject == "Small group: 1 new trouble, 1 as before"
    assert "- The night of 2026-04-08 failed, the pages before stand: out: no room." in text

    drop(home, bad.name, READINGS_HEADER + pots("H-1", "2026-04-07", ("5.8", "5.9")))
    run(home, 9)
    assert tell(home, at(9, "04:05")).troubles == []
    subject, text = mails(home)[-1]
    assert subject == "Small group: 2 over"
    assert text.split("\n\n")[0].splitlines() == [
        "Over:",
        "- Hill: drop/readings_2026-04-07.csv needs nobody any more: it was read, mended or replaced.",
        "- The night has been run again, and its pages are in place.",
    ]
    assert len(mails(home)) == 3


def test_mistaken_settings_reach_the_manager_of_the_night_before(tmp_path: Path) -> None:
    """Nobody can be mailed by settings that cannot be read, so those of the newest night are taken from the archive."""
    home = make_home(tmp_path / "home")
    (home / "leachbook.toml").write_text(MANAGER, encoding="utf-8")
    run(home, 6)
    (home / "leachbook.toml").write_text('name = "Small group"\ntime_zone = "Mars"\n', encoding="utf-8")
    with pytest.raises(SettingsError):
        run(home, 7)
    tell(home, at(7, "05:00"))
    ((subject, text),) = mails(home)
    assert subject == "Small group: 1 new trouble"
    assert 'leachbook.toml: time_zone: it is "Mars"' in text


def test_a_killed_night_is_told_by_what_the_schedule_saw(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    (home / "leachbook.toml").write_text(MANAGER, encoding="utf-8")
    (home / "state").mkdir()
    sentence = explain_exit(-9, "Rendering pages\n")
    run_of = DueRun("night", date(2026, 4, 7), date(2026, 4, 7))
    write_schedule(home, after_failure(ScheduleState(since=at(1, "00:00")), run_of, at(7, "04:02"), sentence))
    tell(home, at(7, "05:00"))
    ((_, text),) = mails(home)
    assert (
        "The night of 2026-04-07 failed, the pages before stand: It was ended from outside (SIGKILL)" in text
    )
    told = tell_runs(describe_runs(home), ZoneInfo("UTC"))
    assert told[0].startswith("THE NIGHT OF 2026-04-07 FAILED once, last 2026-04-07 04:02 UTC: It was ended")
    run_night(home, date(2026, 4, 7), now=at(7, "09:00"), render=write_tables)
    assert len(tell_runs(describe_runs(home), ZoneInfo("UTC"))) == 1, "made up by hand"
    tell(home, at(8, "05:00"))
    assert mails(home)[-1][0] == "Small group: 1 over"


def test_without_a_manager_nobody_is_told(home: Path) -> None:
    assert tell(home, datetime(2026, 12, 1, 12, tzinfo=UTC)) == ToldNow([], None)
    assert not (home / "outbox.sqlite").exists()


def test_the_nightless_and_the_silent_are_told_by_whoever_asks(home: Path) -> None:
    """Nothing runs any more: the watcher alone is alive, and says so in the language of the group."""
    spanish = MANAGER + 'language = "es"\n[schedule]\nleast_free_mb = 0\n'
    (home / "leachbook.toml").write_text(spanish, encoding="utf-8")
    now = datetime(2026, 11, 3, 12, tzinfo=UTC)
    (trouble,) = tell(home, now).troubles
    assert trouble.sentence == "La noche del 2026-11-03 no se ha ejecutado: compruebe si algo está colgado."
    assert mails(home)[0][0] == "Small group: 1 problema nuevo"


@pytest.mark.parametrize(
    ("night", "night_at", "now", "expected"),
    [
        (7, "02:05", "02:06", True),  # 4:00 in Berlin is 2:00 UTC
        (7, "01:30", "02:06", False),  # by hand, before its time
        (6, "02:05", "02:59", False),
        (6, "02:05", "03:00", True),
        (7, "02:05", "01:59", False),
    ],
)
def test_a_digest_waits_for_the_days_night_or_an_hour(
    night: int, night_at: str, now: str, expected: bool
) -> None:
    done = Done(night=date(2026, 4, night), night_at=at(night, night_at))
    assert is_time_to_tell(at(7, now), done, BERLIN) is expected


def test_a_night_is_missing_six_hours_after_it_was_due() -> None:
    done = Done(night=date(2026, 4, 6), night_at=at(6, "02:05"), since=at(1, "00:00"))
    assert find_missing_night(at(7, "07:59"), done, BERLIN) is None
    assert find_missing_night(at(7, "08:00"), done, BERLIN) == date(2026, 4, 7)
    begun = Done(since=at(7, "02:30"))
    assert find_missing_night(at(7, "08:29"), begun, BERLIN) is None
    assert find_missing_night(at(7, "09:00"), begun, BERLIN) == date(2026, 4, 7)
    assert find_missing_night(at(8, "02:00") + timedelta(hours=6), done, BERLIN) == date(2026, 4, 8)
