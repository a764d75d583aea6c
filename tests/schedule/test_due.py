"""Which runs are due: hand-made cases, invariants over random schedules, and a year of minutes in three zones."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.schedule.due import Done, DueRun, Timetable, Tried, due_at, due_runs, next_due, wait_after
from tests.examples import examples

NEW_YORK, BERLIN, LORD_HOWE = (
    ZoneInfo(name) for name in ("America/New_York", "Europe/Berlin", "Australia/Lord_Howe")
)
SPRING = {NEW_YORK: date(2026, 3, 8), BERLIN: date(2026, 3, 29), LORD_HOWE: date(2026, 10, 4)}
AUTUMN = {NEW_YORK: date(2026, 11, 1), BERLIN: date(2026, 10, 25), LORD_HOWE: date(2026, 4, 5)}
MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)


def table(zone: ZoneInfo, night: str = "02:15", week: str = "02:45", **more: object) -> Timetable:
    """Both runs inside the hours that the clock changes leave out or repeat, in all three zones."""
    plain = Timetable(zone, time.fromisoformat(night), 6, time.fromisoformat(week))
    return replace(plain, **more)  # type: ignore[arg-type]


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def finish(done: Done, run: DueRun, now: datetime) -> Done:
    """What is known after a run went well."""
    if run.kind == "night":
        return replace(done, night=run.as_of, night_at=now)
    return replace(done, week=run.day)


@pytest.mark.parametrize(
    ("zone", "day", "at", "expected"),
    [
        (NEW_YORK, "2026-03-07", "02:30", "2026-03-07 07:30"),
        (NEW_YORK, "2026-03-08", "02:30", "2026-03-08 07:00"),  # 2:30 is left out: at the change, 3:00
        (NEW_YORK, "2026-03-09", "02:30", "2026-03-09 06:30"),
        (NEW_YORK, "2026-11-01", "01:30", "2026-11-01 05:30"),  # 1:30 comes twice: the first
        (BERLIN, "2026-03-29", "02:30", "2026-03-29 01:00"),
        (BERLIN, "2026-10-25", "02:30", "2026-10-25 00:30"),
        (LORD_HOWE, "2026-10-04", "02:15", "2026-10-03 15:30"),  # half an hour is left out
        (LORD_HOWE, "2026-04-05", "01:45", "2026-04-04 14:45"),
        (ZoneInfo("America/Havana"), "2026-03-08", "00:15", "2026-03-08 05:00"),  # midnight is left out
    ],
)
def test_the_instant_at_which_a_local_time_has_come(zone: ZoneInfo, day: str, at: str, expected: str) -> None:
    assert due_at(date.fromisoformat(day), time.fromisoformat(at), zone) == utc(expected)


def test_a_day_that_a_zone_left_out_has_no_run() -> None:
    """Samoa went from 29 to 31 December 2011."""
    samoa = ZoneInfo("Pacific/Apia")
    assert due_at(date(2011, 12, 30), time(4), samoa) is None
    timetable = table(samoa, "04:00", week_day=None)
    done = Done(night=date(2011, 12, 29), night_at=utc("2011-12-29 14:00"))
    assert due_runs(utc("2011-12-30 13:59"), done, timetable) == []
    assert [run.day for run in due_runs(utc("2011-12-30 14:00"), done, timetable)] == [date(2011, 12, 31)]


def walk(
    timetable: Timetable, start: datetime, end: datetime, off: tuple[datetime, datetime] | None = None
) -> list[tuple[datetime, DueRun]]:
    """Ask as the loop does, and do at once what is due; `off`: nobody asks in between.

    Once a minute on the days around both clock changes; on other days, which are all alike, every quarter of an hour,
    unless LEACHBOOK_EXAMPLES asks for more.
    """
    changes = (SPRING[timetable.zone], AUTUMN[timetable.zone])
    is_long = "LEACHBOOK_EXAMPLES" in os.environ
    done = Done(since=start)
    ran = []
    now = start
    while now < end:
        if off is None or not off[0] <= now < off[1]:
            for run in due_runs(now, done, timetable):
                ran.append((now, run))
                done = finish(done, run, now)
        is_near = is_long or any(abs(now.date() - change) <= 2 * DAY for change in changes)
        now += MINUTE if is_near else 15 * MINUTE
    return ran


YEAR = (datetime(2026, 1, 1, tzinfo=UTC), datetime(2027, 1, 1, tzinfo=UTC))


@pytest.mark.parametrize("zone", [NEW_YORK, BERLIN, LORD_HOWE], ids=str)
def test_a_year_of_minutes_has_each_night_once_and_each_week_once(zone: ZoneInfo) -> None:
    timetable = table(zone)
    ran = walk(timetable, *YEAR)
    nights = [(now, run.day) for now, run in ran if run.kind == "night"]
    weeks = [(now, run.day) for now, run in ran if run.kind == "week"]
    # The first was due before anybody asked: the new home gets its first pages at once.
    first, *days = [day for _, day in nights]
    local_days = sorted({moment.astimezone(zone).date() for moment in hours(*YEAR)})
    expected = [
        day for day in local_days if YEAR[0] < (due_at(day, timetable.night, zone) or YEAR[0]) < YEAR[1]
    ]
    assert days == expected
    assert len(days) in (364, 365)
    assert first == days[0] - DAY
    assert [day for _, day in weeks] == [day for day in expected if day.weekday() == 6]
    assert all(run.as_of == run.day for _, run in ran)
    # On the minute, and never before the local clock shows the time.
    for now, day in nights[1:]:
        local = now.astimezone(zone).replace(tzinfo=None)
        assert local >= datetime.combine(day, timetable.night)
        before = (now - MINUTE).astimezone(zone).replace(tzinfo=None)
        assert before < datetime.combine(day, timetable.night)
    changes = [now for now, _ in nights if now.astimezone(zone).time() != timetable.night]
    assert len(changes) == 2, "the first, and the one in the hour that is left out"


def hours(start: datetime, end: datetime) -> list[datetime]:
    return [start + number * timedelta(hours=1) for number in range(int((end - start) / timedelta(hours=1)))]


@pytest.mark.parametrize("zone", [NEW_YORK, BERLIN, LORD_HOWE], ids=str)
@pytest.mark.parametrize("change", [SPRING, AUTUMN], ids=["spring", "autumn"])
def test_an_outage_of_ten_days_over_a_clock_change_is_made_up_by_one_night(
    zone: ZoneInfo, change: dict[ZoneInfo, date]
) -> None:
    """From Friday noon, over two Sundays and the change on the second: one night, and the newer of the two weeks."""
    sunday = change[zone]
    gone = datetime.combine(sunday - 9 * DAY, time(12), zone).astimezone(UTC)
    back = gone + 10 * DAY
    ran = walk(table(zone), gone - 10 * DAY, gone + 20 * DAY, (gone, back))
    assert [run for now, run in ran if gone <= now <= back + MINUTE] == [
        DueRun("night", sunday + DAY, as_of=sunday + DAY),
        DueRun("week", sunday, as_of=sunday + DAY),
    ]
    assert max(Counter((run.kind, run.day) for _, run in ran).values()) == 1
    missed = {sunday - number * DAY for number in range(9)}
    first = ran[0][1].day
    expected = [first + number * DAY for number in range(31) if first + number * DAY not in missed]
    assert [run.day for _, run in ran if run.kind == "night"] == expected
    weeks = [run.day for _, run in ran if run.kind == "week"]
    assert weeks == [day for day in (sunday + number * 7 * DAY for number in range(-3, 4)) if day in weeks]
    assert sunday - 7 * DAY not in weeks
    assert {sunday - 14 * DAY, sunday, sunday + 7 * DAY} <= set(weeks)


def test_missed_runs_are_left_out_where_the_policy_says_so() -> None:
    timetable = table(BERLIN, "04:00", "05:30", missed_nights="same_day", missed_weeks="same_day")
    done = Done(
        night=date(2026, 6, 1),
        night_at=utc("2026-06-01 02:00"),
        week=date(2026, 5, 31),
        since=utc("2026-01-01"),
    )
    assert due_runs(utc("2026-06-10 00:30"), done, timetable) == [], "02:30 on the 10th: the 9th is over"
    assert [(run.kind, run.day) for run in due_runs(utc("2026-06-10 10:00"), done, timetable)] == [
        ("night", date(2026, 6, 10))
    ], "late on its own day; the week of Sunday the 7th is over"
    sunday = due_runs(utc("2026-06-14 20:00"), done, timetable)
    assert [(run.kind, run.day) for run in sunday] == [
        ("night", date(2026, 6, 14)),
        ("week", date(2026, 6, 14)),
    ]


def test_a_week_that_is_sent_late_judges_from_the_newest_night() -> None:
    timetable = table(BERLIN, "04:00", "05:30")
    done = Done(night=date(2026, 6, 9), night_at=utc("2026-06-09 02:01"), week=date(2026, 5, 31))
    assert due_runs(utc("2026-06-09 10:00"), done, timetable) == [
        DueRun("week", date(2026, 6, 7), as_of=date(2026, 6, 9))
    ]


def test_a_night_that_was_run_by_hand_before_its_time_is_run_again_in_time() -> None:
    timetable = table(BERLIN, "04:00", week_day=None)
    done = Done(night=date(2026, 6, 9), night_at=utc("2026-06-08 22:30"))
    assert due_runs(utc("2026-06-09 01:59"), done, timetable) == []
    assert [run.day for run in due_runs(utc("2026-06-09 02:00"), done, timetable)] == [date(2026, 6, 9)]
    by_day = replace(done, night_at=utc("2026-06-09 02:00"))
    assert due_runs(utc("2026-06-09 12:00"), by_day, timetable) == []


def test_weeks_before_the_schedule_began_are_owed_by_nobody() -> None:
    timetable = table(BERLIN, "04:00", "05:30")
    begun = Done(since=utc("2026-06-10 08:00"))
    assert [run.kind for run in due_runs(utc("2026-06-10 08:00"), begun, timetable)] == ["night"]
    begun = finish(begun, DueRun("night", date(2026, 6, 14), date(2026, 6, 14)), utc("2026-06-14 02:00"))
    assert [run.day for run in due_runs(utc("2026-06-14 03:30"), begun, timetable)] == [date(2026, 6, 14)]


def test_no_weekly_mail_where_the_settings_say_never() -> None:
    done = Done(night=date(2026, 6, 14), night_at=utc("2026-06-14 02:00"))
    assert due_runs(utc("2026-06-14 20:00"), done, table(BERLIN, "04:00", week_day=None)) == []


def test_a_run_that_failed_is_tried_again_after_growing_waits_and_the_next_day_at_once() -> None:
    timetable = table(BERLIN, "04:00", week_day=None)
    failed_at = utc("2026-06-09 02:00")
    done = Done(
        night=date(2026, 6, 8),
        night_at=utc("2026-06-08 02:00"),
        tried=(Tried("night", date(2026, 6, 9), 1, failed_at),),
    )
    assert due_runs(failed_at + timedelta(minutes=14), done, timetable) == []
    assert len(due_runs(failed_at + timedelta(minutes=15), done, timetable)) == 1
    assert len(due_runs(utc("2026-06-10 02:00"), done, timetable)) == 1
    assert [wait_after(times) / MINUTE for times in (1, 2, 3, 4, 1000)] == [15, 60, 240, 240, 240]


def test_the_next_due_run_is_named() -> None:
    timetable = table(BERLIN, "04:00", "05:30")
    assert next_due(utc("2026-06-09 02:00"), timetable) == utc("2026-06-10 02:00")
    assert next_due(utc("2026-06-14 02:00"), timetable) == utc("2026-06-14 03:30")


times = st.times(min_value=time(0), max_value=time(23, 59)).map(
    lambda one: one.replace(second=0, microsecond=0)
)
zones = st.sampled_from(
    [
        "UTC",
        "America/New_York",
        "Europe/Berlin",
        "Australia/Lord_Howe",
        "America/Havana",
        "Africa/Cairo",
        "Asia/Tehran",
    ]
).map(ZoneInfo)


@settings(max_examples=examples(60), deadline=None)
@given(
    zone=zones,
    night=times,
    week=times,
    week_day=st.integers(0, 6),
    start=st.datetimes(datetime(2021, 1, 1), datetime(2027, 1, 1)),
    gaps=st.lists(
        st.one_of(st.integers(1, 90), st.integers(200, 1600), st.integers(1500, 15000)),
        min_size=5,
        max_size=60,
    ),
    missed=st.sampled_from(["newest", "same_day"]),
)
def test_however_seldom_it_is_asked(
    zone: ZoneInfo, night: time, week: time, week_day: int, start: datetime, gaps: list[int], missed: str
) -> None:
    """No run twice, none before its time, names only grow, and whoever asks always finds the newest night done."""
    timetable = Timetable(zone, night, week_day, week, missed, missed)  # type: ignore[arg-type]
    now = start.replace(tzinfo=UTC)
    done = Done(since=now)
    seen: list[DueRun] = []
    for gap in gaps:
        runs = due_runs(now, done, timetable)
        assert [run.kind for run in runs] in ([], ["night"], ["week"], ["night", "week"])
        for run in runs:
            at = night if run.kind == "night" else week
            due = due_at(run.day, at, zone)
            assert due is not None
            assert due <= now
            seen.append(run)
            done = finish(done, run, now)
        assert due_runs(now, done, timetable) == []
        local = now.astimezone(zone)
        if local.time() >= night:
            assert done.night == local.date()
        now += gap * MINUTE
    for kind in ("night", "week"):
        days = [run.day for run in seen if run.kind == kind]
        assert days == sorted(set(days))
    as_of = [run.as_of for run in seen]
    assert as_of == sorted(as_of), "nights only go forward"
