"""[schedule] of leachbook.toml: its defaults, its mistakes, and that a new home shows every key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.settings import Schedule, SettingsError, load_settings, write_new_home
from tests.settings.homes import GROUP, write_home


def test_defaults_hold_where_nothing_is_said(tmp_path: Path) -> None:
    assert load_settings(write_home(tmp_path)).group.schedule == Schedule()


def test_what_is_said_holds(tmp_path: Path) -> None:
    said = GROUP + '[schedule]\nnight = "23:15"\nweek_day = "never"\nmissed_weeks = "same_day"\n'
    assert load_settings(write_home(tmp_path, group=said)).group.schedule == Schedule(
        night="23:15", week_day="never", missed_weeks="same_day"
    )


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            'night = "4:00"',
            'schedule.night: it is "4:00"; a time of day with four digits, like "04:00", is needed',
        ),
        ("night = 04:00:00", "schedule.night: it is 04:00:00; text in quotes is needed"),
        (
            'week_day = "mondey"',
            (
                'schedule.week_day: it is "mondey"; did you mean "monday"? known are monday, tuesday, wednesday, '
                "thursday, friday, saturday, sunday, never"
            ),
        ),
        ('missed_nights = "all"', 'schedule.missed_nights: it is "all"; known are newest, same_day'),
        ("least_free_mb = -1", "schedule.least_free_mb: it is -1; 0 or more is needed"),
        (
            'nigth = "04:00"',
            (
                'schedule.nigth: this key is unknown; did you mean "night"? known are night, week_day, week_time, '
                "missed_nights, missed_weeks, least_free_mb"
            ),
        ),
    ],
)
def test_a_mistake_is_named_with_file_key_and_mend(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(SettingsError) as error:
        load_settings(write_home(tmp_path, group=f"{GROUP}[schedule]\n{line}\n"))
    assert [str(one) for one in error.value.problems] == [f"leachbook.toml: {said}"]


def test_a_new_home_shows_every_key_with_its_default(tmp_path: Path) -> None:
    write_new_home(tmp_path / "home")
    text = (tmp_path / "home" / "leachbook.toml").read_text(encoding="utf-8")
    shown = text.split("[schedule]")[1].split("\n[")[0]
    keys = dict(re.findall(r'^# ([a-z_]+) = "?([^"\s]+)"?', shown, re.MULTILINE))
    assert keys == {name: str(value) for name, value in Schedule().model_dump().items()}
    # With every remark sign taken away it still loads, and says the same.
    bare = re.sub(r"^# (?=[a-z_]+ = )", "", shown, flags=re.MULTILINE)
    (tmp_path / "home" / "leachbook.toml").write_text(text.replace(shown, bare), encoding="utf-8")
    assert load_settings(tmp_path / "home").group.schedule == Schedule()
