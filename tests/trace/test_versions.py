"""`trace` says of a line that gave way from when to when it was known, and what took its place."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from tests.home import DAY, READINGS_HEADER, SITE, SITE_ID, drop, make_home, night, pots, run_cli

FIRST = "readings_2026-04-02.csv"


def test_a_corrected_and_a_withdrawn_line_have_their_days(tmp_path: Path) -> None:
    cumulative = SITE.replace("numbers_pots = true", 'numbers_pots = true\nmode = "cumulative"')
    home = make_home(tmp_path / "home", site=cumulative)
    night(home, DAY - timedelta(days=4))
    # pot 1 is corrected, pots 3 to 5 are gone
    drop(home, FIRST, READINGS_HEADER + pots("H-1", "2026-04-02", ("5.6", "5.8")))
    night(home)
    told = run_cli("trace", home, SITE_ID, "H-1").out
    days = "known from 2026-04-02 to 2026-04-06, "
    assert told.count(f"superseded: {days}replaced by line 2 of drop/{FIRST}") == 1
    assert told.count(f"withdrawn: {days}the newest file does not hold it any more") == 3
