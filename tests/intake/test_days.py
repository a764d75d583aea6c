from datetime import date, datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.days import read_moment, read_moments, read_week
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
        ("14", "0000", "is not a week of 0000; ISO weeks go from 1 to 52, in some years to 53"),
    ],
)
def test_unreadable_week(text: str, year: str, reason: str) -> None:
    assert read_week(text, year, "wednesday") == Refused(reason)
