"""What site.toml says for the sampling programme: benches, feed days, closed days, the calendar; and each mistake."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.settings import SiteSettings, load_settings, resolve_policy
from pipeline.settings.benches import Bench, Feeding
from pipeline.settings.containers import CONTAINER_DEFAULTS, CONTAINER_INTERVAL_DAYS
from tests.settings.homes import GROWER, LOTS, READINGS, SITE, lines, write_home

IN_SITE = "sites/north/site.toml: "
BENCH = '[[bench]]\nhouse = "House 1"\nname = "1"\n'
FEEDING = "[[feeding]]\n"
WEEK_DAYS = "known are monday, tuesday, wednesday, thursday, friday, saturday, sunday"
SIZE = "rows and columns, as in rows = 4 and columns = 20, or places alone, as in places = 80, is needed"
POLICY = "[[policy]]\nvalid_from = 2026-01-01\n"


def home_with(folder: Path, *, facts: str = "", tables: str = "", policy: str | None = None) -> Path:
    return write_home(folder, site=f"{SITE}{facts}\n{GROWER}{READINGS}{LOTS}{tables}", policy=policy)


def read(folder: Path, *, facts: str = "", tables: str = "") -> SiteSettings:
    (site,) = load_settings(home_with(folder, facts=facts, tables=tables)).sites
    return site


# ------------------------------------------------------------------------------------------------------- what passes


def test_without_any_of_it(tmp_path: Path) -> None:
    site = read(tmp_path)
    assert (site.benches, site.feedings, site.holidays, site.no_sampling) == ((), (), (), ())
    assert (site.calendar, site.calendar_time) == ("house_day", "08:00")


def test_benches_stay_in_walking_order(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        tables="""
        [[bench]]
        house = "House 2"
        name = "Pad"
        places = 300

        [[bench]]
        house = "House 1"
        name = "1"
        rows = 4
        columns = 20
        """,
    )
    assert site.benches == (
        Bench(house="House 2", name="Pad", places=300),
        Bench(house="House 1", name="1", rows=4, columns=20),
    )
    assert [one.size for one in site.benches] == [300, 80]


def test_two_houses_may_have_a_bench_of_one_name(tmp_path: Path) -> None:
    tables = BENCH + "places = 8\n" + BENCH.replace("House 1", "House 2") + "places = 9\n"
    assert [one.house for one in read(tmp_path, tables=tables).benches] == ["House 1", "House 2"]


def test_feedings(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        tables="""
        [[feeding]]
        weekdays = ["monday", "thursday"]

        [[feeding]]
        house = "House 1"
        lots = ["N-1", "N-2"]
        days = [2026-04-09]
        """,
    )
    assert site.feedings == (
        Feeding(weekdays=("monday", "thursday")),
        Feeding(house="House 1", lots=("N-1", "N-2"), days=(date(2026, 4, 9),)),
    )


def test_closed_days_and_the_calendar(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        facts="""
        holidays = [2026-04-03, 2026-12-25]
        no_sampling = ["saturday", "sunday"]
        calendar = "lot"
        calendar_time = "06:30"
        """,
    )
    assert site.holidays == (date(2026, 4, 3), date(2026, 12, 25))
    assert site.no_sampling == ("saturday", "sunday")
    assert (site.calendar, site.calendar_time) == ("lot", "06:30")


def test_six_closed_weekdays_leave_one(tmp_path: Path) -> None:
    days = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday")
    assert read(tmp_path, facts=f"no_sampling = {list(days)}").no_sampling == days


def interval_days(folder: Path, policy: str | None) -> dict[str, int]:
    settings = load_settings(home_with(folder, policy=policy))
    (span,) = [one for one in resolve_policy(settings, settings.sites[0]) if one.valid_to is None]
    return {name: rule.routine_interval_days for name, rule in span.values.containers.items()}


def test_routine_by_custom_is_what_ships(tmp_path: Path) -> None:
    shipped = {name: rule.routine_interval_days for name, rule in CONTAINER_DEFAULTS.items()}
    assert interval_days(tmp_path / "a", None) == shipped
    assert interval_days(tmp_path / "b", POLICY + 'routine_by = "custom"\n') == shipped
    assert shipped["plug"] == 3
    assert {days for name, days in shipped.items() if name != "plug"} == {14}


def test_routine_by_container_is_as_published(tmp_path: Path) -> None:
    """Plugs twice a week (3 days), packs, 4 inch and nursery weekly, 5 inch and larger every two weeks."""
    found = interval_days(tmp_path, POLICY + 'routine_by = "container"\n')
    assert found == CONTAINER_INTERVAL_DAYS
    assert found == {
        "plug": 3,
        "cell_pack": 7,
        "pot_4in": 7,
        "pot_5_6in": 14,
        "pot_6_5in_plus": 14,
        "nursery": 7,
    }


def test_an_interval_of_its_own_goes_before_the_published_one(tmp_path: Path) -> None:
    policy = POLICY + 'routine_by = "container"\n[policy.containers.pot_4in]\nroutine_interval_days = 10\n'
    found = interval_days(tmp_path, policy)
    assert (found["pot_4in"], found["cell_pack"]) == (10, 7)


def test_other_values_of_the_programme(tmp_path: Path) -> None:
    policy = (
        POLICY
        + 'symptoms_within_days = 2\naffected_pots = 4\nminutes_per_pot = 2.5\nfeed_pair_crops = ["hydrangea, pink"]\n'
    )
    (period,) = load_settings(home_with(tmp_path, policy=policy)).policy
    assert (period.symptoms_within_days, period.affected_pots, period.minutes_per_pot) == (
        2,
        4,
        Decimal("2.5"),
    )
    assert period.feed_pair_crops == ("hydrangea, pink",)


# ---------------------------------------------------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        pytest.param(
            'holidays = ["2026-12-25"]',
            'holidays 1: it is "2026-12-25"; a date like 2026-01-31, without quotes, is needed',
            id="holiday in quotes",
        ),
        pytest.param(
            "holidays = [2026-12-24, 2026-12-25T08:00:00]",
            "holidays 2: it is 2026-12-25 08:00:00; a date like 2026-01-31, without quotes, is needed",
            id="holiday with a time",
        ),
        pytest.param(
            "holidays = 2026-12-25",
            "holidays: it is 2026-12-25; a list in brackets is needed",
            id="one holiday without brackets",
        ),
        pytest.param(
            'no_sampling = ["saterday"]',
            f'no_sampling 1: it is "saterday"; did you mean "saturday"? {WEEK_DAYS}',
            id="weekday mistyped",
        ),
        pytest.param(
            'no_sampling = ["sunday", "Saturday"]',
            f'no_sampling 2: it is "Saturday"; did you mean "saturday"? {WEEK_DAYS}',
            id="weekday with a capital",
        ),
        pytest.param(
            'no_sampling = "sunday"',
            'no_sampling: it is "sunday"; a list in brackets is needed',
            id="one weekday without brackets",
        ),
        pytest.param(
            'no_sampling = ["sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"]',
            'no_sampling: it is ["sunday", "monday", "tuesday", "wednesday", "thursday", "f…; '
            "at least one weekday on which sampling is possible, so six days at most, is needed",
            id="never open",
        ),
        pytest.param(
            'calendar = "house"',
            'calendar: it is "house"; did you mean "house_day"? known are lot, house_day',
            id="calendar",
        ),
        pytest.param(
            'calendar_time = "8:00"',
            'calendar_time: it is "8:00"; a time of day with four digits, like "08:00" is needed',
            id="three digits",
        ),
        pytest.param(
            'calendar_time = "24:00"',
            'calendar_time: it is "24:00"; a time of day with four digits, like "08:00" is needed',
            id="no such hour",
        ),
        pytest.param(
            "calendar_time = 08:00:00",
            "calendar_time: it is 08:00:00; text in quotes is needed",
            id="time without quotes",
        ),
    ],
)
def test_mistakes_of_the_site(tmp_path: Path, facts: str, said: str) -> None:
    assert lines(home_with(tmp_path, facts=facts)) == [IN_SITE + said]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        pytest.param(BENCH, f"bench 1: it says neither; {SIZE}", id="no size"),
        pytest.param(BENCH + "rows = 4\n", f"bench 1: it says rows; {SIZE}", id="rows alone"),
        pytest.param(BENCH + "columns = 4\n", f"bench 1: it says columns; {SIZE}", id="columns alone"),
        pytest.param(
            BENCH + "rows = 4\ncolumns = 20\nplaces = 80\n",
            f"bench 1: it says rows and columns and places; {SIZE}",
            id="all three",
        ),
        pytest.param(
            BENCH + "rows = 4\nplaces = 80\n",
            f"bench 1: it says rows and places; {SIZE}",
            id="rows and places",
        ),
        pytest.param(
            BENCH + "rows = 0\ncolumns = 5\n", "bench 1: rows: it is 0; 1 or more is needed", id="no row"
        ),
        pytest.param(
            BENCH + "rows = 4.5\ncolumns = 5\n",
            "bench 1: rows: it is 4.5; a whole number without quotes is needed",
            id="half a row",
        ),
        pytest.param(
            BENCH + 'rows = 4\ncolumns = "20"\n',
            'bench 1: columns: it is "20"; a whole number without quotes is needed',
            id="columns in quotes",
        ),
        pytest.param(
            BENCH + "rows = 4\ncolumns = 1001\n",
            "bench 1: columns: it is 1001; 1000 or less is needed",
            id="too many columns",
        ),
        pytest.param(BENCH + "places = 0\n", "bench 1: places: it is 0; 1 or more is needed", id="no place"),
        pytest.param(
            BENCH + "row = 4\ncolumns = 20\n",
            'bench 1: row: this key is unknown; did you mean "rows"? known are house, name, rows, columns, places',
            id="unknown key",
        ),
        pytest.param(
            '[[bench]]\nname = "1"\nplaces = 80\n', "bench 1: house: it is missing; write it", id="no house"
        ),
        pytest.param(
            '[[bench]]\nhouse = "House 1"\nplaces = 80\n',
            "bench 1: name: it is missing; write it",
            id="no name",
        ),
        pytest.param(
            '[[bench]]\nhouse = "House 1"\nname = 1\nplaces = 80\n',
            "bench 1: name: it is 1; text in quotes is needed",
            id="name without quotes",
        ),
        pytest.param(
            BENCH + "places = 8\n" + BENCH.replace("House 1", " house 1 ") + "places = 9\n",
            'bench 2: name: "1" of house 1 is there twice; describe each bench once',
            id="twice",
        ),
        pytest.param(
            BENCH.replace("[[bench]]", "[bench]") + "places = 8\n",
            "bench: [bench] is one table; write [[bench]] with two brackets, as often as needed",
            id="one pair of brackets",
        ),
    ],
)
def test_mistakes_of_a_bench(tmp_path: Path, table: str, said: str) -> None:
    assert lines(home_with(tmp_path, tables=table)) == [IN_SITE + said]


NO_DAY = 'it has neither weekdays nor days; weekdays = ["thursday"] or days = [2026-04-09] is needed'


@pytest.mark.parametrize(
    ("table", "said"),
    [
        pytest.param(FEEDING + 'house = "House 1"\n', f"feeding 1: {NO_DAY}", id="no day"),
        pytest.param(FEEDING + "weekdays = []\ndays = []\n", f"feeding 1: {NO_DAY}", id="empty lists"),
        pytest.param(
            FEEDING + 'weekdays = ["thurs"]\n',
            f'feeding 1: weekdays 1: it is "thurs"; did you mean "thursday"? {WEEK_DAYS}',
            id="weekday mistyped",
        ),
        pytest.param(
            FEEDING + 'weekdays = "thursday"\n',
            'feeding 1: weekdays: it is "thursday"; a list in brackets is needed',
            id="without brackets",
        ),
        pytest.param(
            FEEDING + 'days = ["2026-04-09"]\n',
            'feeding 1: days 1: it is "2026-04-09"; a date like 2026-01-31, without quotes, is needed',
            id="day in quotes",
        ),
        pytest.param(
            FEEDING + 'lots = "A"\nweekdays = ["monday"]\n',
            'feeding 1: lots: it is "A"; a list in brackets is needed',
            id="one lot without brackets",
        ),
        pytest.param(
            FEEDING + 'lots = ["A", " "]\nweekdays = ["monday"]\n',
            'feeding 1: lots 2: it is " "; it must not be empty',
            id="empty lot",
        ),
        pytest.param(
            FEEDING + 'weekday = ["monday"]\nweekdays = ["monday"]\n',
            'feeding 1: weekday: this key is unknown; did you mean "weekdays"? known are house, lots, weekdays, days',
            id="unknown key",
        ),
        pytest.param(
            '[feeding]\nweekdays = ["monday"]\n',
            "feeding: [feeding] is one table; write [[feeding]] with two brackets, as often as needed",
            id="one pair of brackets",
        ),
    ],
)
def test_mistakes_of_a_feeding(tmp_path: Path, table: str, said: str) -> None:
    assert lines(home_with(tmp_path, tables=table)) == [IN_SITE + said]


@pytest.mark.parametrize(
    ("value", "said"),
    [
        pytest.param(
            'routine_by = "containers"',
            'routine_by: it is "containers"; did you mean "container"? known are custom, container',
            id="routine_by",
        ),
        pytest.param(
            "symptoms_within_days = 0", "symptoms_within_days: it is 0; 1 or more is needed", id="at once"
        ),
        pytest.param(
            "symptoms_within_days = 31", "symptoms_within_days: it is 31; 30 or less is needed", id="too late"
        ),
        pytest.param("affected_pots = 1", "affected_pots: it is 1; 2 or more is needed", id="one pot"),
        pytest.param("minutes_per_pot = 0", "minutes_per_pot: it is 0; 0.1 or more is needed", id="no time"),
        pytest.param(
            'feed_pair_crops = "lily"',
            'feed_pair_crops: it is "lily"; a list in brackets is needed',
            id="one crop without brackets",
        ),
    ],
)
def test_mistakes_of_the_policy(tmp_path: Path, value: str, said: str) -> None:
    assert lines(home_with(tmp_path, policy=f"{POLICY}{value}\n")) == [f"policy.toml: policy 1: {said}"]


def test_mistakes_of_several_tables_come_at_once(tmp_path: Path) -> None:
    tables = BENCH + "rows = 0\ncolumns = 5\n" + BENCH + FEEDING + 'weekdays = ["mondy"]\n'
    found = lines(home_with(tmp_path, facts="holidays = [1]", tables=tables))
    assert sorted(one.split(";")[0] for one in found) == [
        IN_SITE + "bench 1: rows: it is 0",
        IN_SITE + "bench 2: it says neither",
        IN_SITE + 'feeding 1: weekdays 1: it is "mondy"',
        IN_SITE + "holidays 1: it is 1",
    ]
