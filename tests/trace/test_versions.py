"""`trace` says of a line that gave way from when to when it was known, and what took its place."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from tests.home import DAY, LOTS, READINGS_HEADER, SITE, SITE_ID, drop, make_home, night, pots, run_cli

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
    # pot 2 stands as it was, and pot 1 as it was corrected
    assert told.count("      in use since 2026-04-02\n") == 1
    assert told.count("      in use since 2026-04-06\n") == 1
    assert told.count(f"withdrawn: {days}the newest file does not hold it any more") == 3


def test_a_line_that_was_held_says_until_when(tmp_path: Path) -> None:
    home = make_home(
        tmp_path / "home",
        **{"readings_2026-04-05.csv": READINGS_HEADER + pots("L-9", "2026-04-05", ("5.7",))},
    )
    night(home)
    drop(home, "lots_2026-04-07.csv", LOTS + "L-9,1,petunia,pot_5_6in,2026-03-02,2026-05-20,800\n")
    night(home, DAY + timedelta(days=1))
    assert (
        "      in use since 2026-04-07; held (lot unknown) from 2026-04-06 to 2026-04-07\n"
        in run_cli("trace", home, SITE_ID, "L-9").out
    )
    traced = run_cli("trace", home, SITE_ID, "L-9", "--json").json
    assert [
        (one["fate"], one["known_from"], one["known_to"])
        for one in traced["samplings"][0]["lines"][0]["known"]
    ] == [("held", "2026-04-06", "2026-04-07"), ("accepted", "2026-04-07", None)]
