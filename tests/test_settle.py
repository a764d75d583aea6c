"""A file that was changed just before the night waits, and nobody need do anything."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

from pipeline.nightly import run_night
from tests.home import DAY, NOW, SITE, drop, find_lot, make_home, night, only_site, pots, write_tables

MORE = "readings_2026-04-05.csv"
SETTLES = SITE.replace('name = "Hill"\n', 'name = "Hill"\nsettle_minutes = 10\n')


def test_a_file_that_was_just_changed_waits_and_nobody_is_called(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", site=SETTLES)
    night(home, DAY - timedelta(days=1))
    header = "Lot,Date,Purpose,Pot,pH,EC (mS/cm),Leachate (mL),Meter,Note\n"
    path = drop(home, MORE, header + pots("H-1", "2026-04-05", ("5.7", "5.8", "5.9", "5.8", "5.8")))
    changed = (NOW - timedelta(minutes=9)).timestamp()
    os.utime(path, (changed, changed))

    waiting = night(home, DAY)
    (finding,) = [one for one in only_site(waiting.summary).findings if one.rule == "settling"]
    assert (finding.level, finding.file) == ("note", f"drop/{MORE}")
    assert finding.sentence == (
        f"drop/{MORE}: the file was changed less than 10 minutes before the night (settle_minutes in site.toml); "
        "nothing to do: the next night takes it."
    )
    assert not waiting.needs_somebody
    assert waiting.summary.night.new_files == 0

    taken = run_night(home, DAY, now=NOW + timedelta(minutes=1), render=write_tables)
    assert not [one for one in only_site(taken.summary).findings if one.rule == "settling"]
    assert str(find_lot(taken.summary, "H-1").samplings[-1].sampled_on) == "2026-04-05"
