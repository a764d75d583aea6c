from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.days import (
    WEEK_DAYS,
    day_of_week,
    explain_moment,
    read_moment,
    read_moments,
    read_week,
)
from pipeline.intake.refused import Refused

ZONE = "Europe/Madrid"


@pytest.mark.parametrize(
    ("text", "form", "moment"),
    [
        ("05.04.2026", "%d.%m.%Y", datetime(2026, 4, 5)),
        ("5.4.2026", "%d.%m.%Y", datetime(2026, 4, 5)),
        ("04/05/2026", "%m/%d/%Y", datetime(2026, 4, 5)),
        ("4/5/26 2:05 PM", "%m/%d/%y %I:%M %p", datetime(2026, 4, 5, 14, 5)),
        ("2026-04-05T14:05:09", "%Y-%m-%dT%H:%M:%S", datetime(2026, 4, 5, 14, 5, 9)),
        ("2026-07-05 23:30+0000", "%Y-%m-%d %H:%M%z", datetime(2026, 7, 6, 1, 30)),
        ("31.04.2026", "%d.%m.%Y", None),
        ("05.04.2026 ", "%d.%m.%Y", None),
        ("2026-04-05", "%d.%m.%Y", None),
        ("0000-01-01", "%Y-%m-%d", None),
        ("+12026-01-01", "%Y-%m-%d", None),
        ("0001-01-01 00:00+1400", "%Y-%m-%d %H:%M%z", None),
        ("05.04.26", "%d.%m.%y", datetime(2026, 4, 5)),
        ("05.04.26", "%d.%m.%Y", None),
        ("05.04.2026", "%d.%m.%y", None),
        ("46113", "%Y-%m-%d", None),
        # 11 January or 1 November: a format without marks between its numbers takes full ones only.
        ("2026111", "%Y%m%d", None),
        ("461131", "%Y%m%d", None),
        ("20260405", "%Y%m%d", datetime(2026, 4, 5)),
    ],
)
def test_moment_by_its_format_alone(text: str, form: str, moment: datetime | None) -> None:
    assert read_moment(text, [form], ZONE) == moment
    assert read_moments(pl.Series([text]), [form], ZONE).to_list() == [moment]


def test_first_format_that_fits() -> None:
    texts = pl.Series(["9:30", "09:30:15", "9h30"])
    times = read_moments(texts, ["%H:%M", "%H:%M:%S"], ZONE).dt.time().cast(pl.String).to_list()
    assert times == ["09:30:00", "09:30:15", None]


def test_no_texts() -> None:
    assert read_moments(pl.Series([], dtype=pl.String), ["%Y-%m-%d"], ZONE).dtype == pl.Datetime("us")


@pytest.mark.parametrize(
    ("text", "local"),
    [
        ("2026-03-29T00:59:59Z", datetime(2026, 3, 29, 1, 59, 59)),
        ("2026-03-29T01:00:00Z", datetime(2026, 3, 29, 3)),
        ("2026-10-25T02:30:00+02:00", datetime(2026, 10, 25, 2, 30)),
        ("2026-10-25T02:30:00+01:00", datetime(2026, 10, 25, 2, 30)),
        ("2026-12-31T20:00:00-0530", datetime(2027, 1, 1, 2, 30)),
        ("2026-04-05T00:30:00+1400", datetime(2026, 4, 4, 12, 30)),
        ("2026-04-05T00:30:00+2400", None),
        ("2026-04-05T00:30:00", None),
    ],
)
def test_a_stamp_with_an_offset_is_an_instant(text: str, local: datetime | None) -> None:
    form = "%Y-%m-%dT%H:%M:%S%z"
    assert read_moment(text, [form], ZONE) == local
    assert read_moments(pl.Series([text]), [form], ZONE).to_list() == [local]


@pytest.mark.parametrize(
    "local",
    [
        datetime(2026, 3, 29, 2, 30),  # the clocks jump from 2 to 3
        datetime(2026, 10, 25, 2, 30),  # and show 2 to 3 twice
    ],
)
def test_a_local_time_at_the_changing_of_the_clocks_stays_as_it_is_written(local: datetime) -> None:
    text, form = local.strftime("%d.%m.%Y %H:%M"), "%d.%m.%Y %H:%M"
    assert read_moment(text, [form], ZONE) == local
    assert read_moments(pl.Series([text]), [form], ZONE).to_list() == [local]


@settings(deadline=None)
@given(
    st.lists(
        st.datetimes(
            datetime(1980, 1, 1),
            datetime(2060, 1, 1),
            timezones=st.builds(
                lambda minutes: timezone(timedelta(minutes=minutes)), st.integers(-14 * 60, 14 * 60)
            ),
        ).map(lambda moment: moment.replace(microsecond=0)),
        max_size=5,
    ),
    st.sampled_from([ZONE, "America/Chicago", "Pacific/Apia", "Asia/Kathmandu", "UTC"]),
    st.lists(st.text("0123456789-T:+Z ", max_size=26), max_size=3),
)
def test_whole_columns_of_stamps_agree_with_single_ones(
    stamps: list[datetime], zone: str, odd: list[str]
) -> None:
    form = "%Y-%m-%dT%H:%M:%S%z"
    texts = [stamp.isoformat() for stamp in stamps] + [stamp.strftime(form) for stamp in stamps] + odd
    column = read_moments(pl.Series(texts, dtype=pl.String), [form], zone).to_list()
    assert column[: len(stamps)] == [
        stamp.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for stamp in stamps
    ]
    assert column == [read_moment(text, [form], zone) for text in texts]


@pytest.mark.parametrize(
    ("text", "form", "what", "sentence"),
    [
        (
            "46113",
            "%d.%m.%Y",
            "date",
            (
                "looks like a spreadsheet's day number (46113 stands for 2026-04-01); format the column as a date "
                "and export it again, like 25.04.2026"
            ),
        ),
        (
            "46113,4375",
            "%d.%m.%Y %H:%M",
            "date with a time",
            (
                "looks like a spreadsheet's day number (46113 stands for 2026-04-01); format the column as a date "
                "and export it again, like 25.04.2026 09:30"
            ),
        ),
        (
            "05.04.26",
            "%d.%m.%Y",
            "date",
            "has a year of two digits; write it like 25.04.2026, or change date_format in site.toml",
        ),
        ("31.04.2026", "%d.%m.%Y", "date", "is not a date; write it like 25.04.2026"),
        (
            "2026-04-25T09:30",
            "%Y-%m-%dT%H:%M%z",
            "date with a time",
            ("is not a date with a time; write it like 2026-04-25T09:30+0000"),
        ),
        ("46113", "%H:%M", "time", "is not a time; write it like 09:30"),
    ],
)
def test_why_a_text_is_no_day(text: str, form: str, what: str, sentence: str) -> None:
    assert explain_moment(text, [form], what) == sentence


FORMATS = st.sampled_from(
    ["%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y %H:%M:%S", "%Y%m%d", "%Y-%m-%dT%H:%M", "%H:%M %d-%m-%Y"]
)


@settings(max_examples=300, deadline=None)
@given(
    FORMATS,
    st.lists(st.text("0123456789-./: T+", max_size=20), max_size=5),
    st.lists(st.datetimes(datetime(1000, 1, 1)), max_size=5),
)
def test_whole_columns_agree_with_single_texts(form: str, texts: list[str], moments: list[datetime]) -> None:
    every = texts + [moment.strftime(form) for moment in moments]
    column = read_moments(pl.Series(every, dtype=pl.String), [form], ZONE)
    assert column.to_list() == [read_moment(text, [form], ZONE) for text in every]


@pytest.mark.parametrize(
    ("text", "year", "day"),
    [
        ("14", "2026", date(2026, 4, 1)),
        ("W14", "2026", date(2026, 4, 1)),
        ("wk 14", "2026", date(2026, 4, 1)),
        ("KW14", "2026", date(2026, 4, 1)),
        ("2026-W14", "", date(2026, 4, 1)),
        ("2026W14", None, date(2026, 4, 1)),
        ("2026/14", None, date(2026, 4, 1)),
        ("2026-W14", "2026", date(2026, 4, 1)),
        ("KW 14/2026", "", date(2026, 4, 1)),
        ("14/2026", "2026", date(2026, 4, 1)),
        ("W14-2026", "", date(2026, 4, 1)),
        ("2026-W04", "", date(2026, 1, 21)),
        ("KW 4/2026", "", date(2026, 1, 21)),
        ("4", "2026", date(2026, 1, 21)),
        ("KW-14", "2026", date(2026, 4, 1)),
        ("13/2026", "", date(2026, 3, 25)),
        ("1", "2026", date(2025, 12, 31)),
        ("53", "2026", date(2026, 12, 30)),
    ],
)
def test_week_is_the_iso_week_and_its_wednesday(text: str, year: str | None, day: date) -> None:
    assert read_week(text, year, "wednesday") == day


def test_another_day_may_stand_for_the_week() -> None:
    assert read_week("14", "2026", "monday") == date(2026, 3, 30)


@pytest.mark.parametrize(
    ("text", "year", "reason"),
    [
        ("spring", "2026", "is not a week; write it like 14"),
        ("12345", "2026", "is not a week; write it like 14"),
        ("14", "", "has no year; fill the year's column or write it like 2026-W14"),
        ("14", "26", 'cannot be placed, as its year "26" is not a year; write it like 2026'),
        ("2025-W14", "2026", 'names another year than the year\'s column, which has "2026"; correct one'),
        ("53", "2025", "is not a week of 2025; ISO weeks go from 1 to 52, in some years to 53"),
        ("0", "2026", "is not a week of 2026; ISO weeks go from 1 to 52, in some years to 53"),
        ("14/2025", "2026", 'names another year than the year\'s column, which has "2026"; correct one'),
        ("14", "0000", "is not a week of 0000; ISO weeks go from 1 to 52, in some years to 53"),
        ("2026-04", "", "may be a month as well as a week; write the week like 2026-W04"),
        ("2026/4", "2026", "may be a month as well as a week; write the week like 2026-W04"),
        ("04/2026", "", "may be a month as well as a week; write the week like 2026-W04"),
        ("12-2026", "", "may be a month as well as a week; write the week like 2026-W12"),
        ("-14", "2026", "is not a week; write it like 14"),
        (".14", "2026", "is not a week; write it like 14"),
        ("2026-", "2026", "is not a week; write it like 14"),
    ],
)
def test_unreadable_week(text: str, year: str, reason: str) -> None:
    assert read_week(text, year, "wednesday") == Refused(reason)


@pytest.mark.parametrize(
    ("rule", "starts", "week", "week_day", "day"),
    [
        # 1 January 2026 is a Thursday.  Its week runs from Sunday 28 December; what lies in the old year is cut.
        ("january_1", "sunday", 1, "friday", date(2026, 1, 2)),
        ("january_1", "sunday", 1, "wednesday", date(2026, 1, 1)),
        ("january_1", "sunday", 2, "sunday", date(2026, 1, 4)),
        ("january_1", "sunday", 14, "wednesday", date(2026, 4, 1)),
        ("january_1", "sunday", 53, "wednesday", date(2026, 12, 30)),
        ("january_1", "sunday", 53, "saturday", date(2026, 12, 31)),
        ("january_1", "sunday", 54, "wednesday", None),
        ("january_1", "monday", 2, "monday", date(2026, 1, 5)),
        ("january_1", "thursday", 1, "thursday", date(2026, 1, 1)),
        # The first Sunday of 2026 is the 4th, so the first whole week begins then.
        ("first_full_week", "sunday", 1, "sunday", date(2026, 1, 4)),
        ("first_full_week", "sunday", 13, "wednesday", date(2026, 4, 1)),
        ("first_full_week", "sunday", 52, "saturday", date(2027, 1, 2)),
        ("first_full_week", "sunday", 53, "sunday", None),
        ("first_full_week", "monday", 1, "wednesday", date(2026, 1, 7)),
        ("first_full_week", "thursday", 53, "thursday", date(2026, 12, 31)),
        ("first_full_week", "sunday", 0, "sunday", None),
        ("january_1", "sunday", 0, "sunday", None),
    ],
)
def test_weeks_by_the_other_rules(rule: str, starts: str, week: int, week_day: str, day: date | None) -> None:
    assert day_of_week(2026, week, week_day, rule, starts) == day
    read = read_week(str(week), "2026", week_day, rule, starts)
    assert read == day if day else isinstance(read, Refused)


def test_a_leap_year_that_begins_on_the_last_day_of_a_week_has_54_weeks() -> None:
    assert day_of_week(2028, 54, "sunday", "january_1", "sunday") == date(2028, 12, 31)
    assert date(2028, 1, 1).strftime("%A") == "Saturday"


def test_unknown_weeks_say_how_far_weeks_go() -> None:
    assert read_week("55", "2026", "monday", "january_1", "sunday") == Refused(
        "is not a week of 2026; where week 1 holds 1 January, weeks go from 1 to 53, in some years to 54"
    )
    assert read_week("0", "2026", "monday", "first_full_week", "sunday") == Refused(
        "is not a week of 2026; where week 1 is the year's first whole week, weeks go from 1 to 52, in some "
        "years to 53"
    )
    assert isinstance(read_week("53", "9999", "saturday", "first_full_week", "sunday"), date | Refused)


DAYS = st.dates(date(1950, 1, 1), date(2100, 12, 31))


@settings(deadline=None)
@given(DAYS)
def test_iso_weeks_are_python_s(day: date) -> None:
    year, week, weekday = day.isocalendar()
    assert day_of_week(year, week, WEEK_DAYS[weekday - 1], "iso", "monday") == day


@settings(deadline=None)
@given(DAYS, st.sampled_from([("sunday", "%U"), ("monday", "%W")]))
def test_first_full_weeks_are_those_of_strftime_from_1_on(day: date, way: tuple[str, str]) -> None:
    starts, directive = way
    week = int(day.strftime(directive))
    if week:
        assert day_of_week(day.year, week, WEEK_DAYS[day.weekday()], "first_full_week", starts) == day


@settings(deadline=None)
@given(DAYS, st.sampled_from(WEEK_DAYS))
def test_every_day_is_in_one_first_full_week(day: date, starts: str) -> None:
    name = WEEK_DAYS[day.weekday()]
    holders = [
        (year, week)
        for year in (day.year - 1, day.year)
        for week in range(55)
        if day_of_week(year, week, name, "first_full_week", starts) == day
    ]
    assert len(holders) == 1


@settings(deadline=None)
@given(DAYS, st.sampled_from(WEEK_DAYS))
def test_weeks_from_1_january_on_by_counting_days(day: date, starts: str) -> None:
    week = 1
    counted = date(day.year, 1, 1)
    while counted < day:
        counted += timedelta(days=1)
        week += WEEK_DAYS[counted.weekday()] == starts
    assert day_of_week(day.year, week, WEEK_DAYS[day.weekday()], "january_1", starts) == day
