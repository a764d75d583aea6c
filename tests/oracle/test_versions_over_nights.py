"""Files that come again, changed, over several nights: the oracle's word on what became of each line."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from tests.home import DROP, GOOD_PH, LOTS, READINGS_HEADER, SITE, drop, make_home, night, pots
from tests.oracle.compare import compare
from tests.oracle.fates import DropFile, Night
from tests.oracle.small_home import REFERENCE
from tests.oracle.summary import compute

DAYS = (date(2026, 4, 6), date(2026, 4, 7), date(2026, 5, 6))
RIGHT = pots("H-1", "2026-04-05", GOOD_PH)
AHEAD = RIGHT.replace("2026-04-05", "2026-05-05")
UNLISTED = pots("L-9", "2026-04-05", GOOD_PH)
OTHER = pots("H-2", "2026-04-05", GOOD_PH)
OPEN = SITE.replace("numbers_pots = true\n", "")
WHOLE = SITE.replace("numbers_pots = true", 'numbers_pots = false\nmode = "cumulative"')
CHANGED = RIGHT.replace("routine,1,5.7", "routine,1,6.7")
# no pot has a number, and every pH was read anew
NUMBERLESS = "".join(
    f"{line.replace(f'routine,{n},', 'routine,,')}\n" for n, line in enumerate(RIGHT.splitlines(), 1)
)
READ_ANEW = NUMBERLESS.replace(",5.", ",6.")
ALL_ONE = "".join(
    f"{line.replace(f'routine,{n},', 'routine,1,')}\n" for n, line in enumerate(RIGHT.splitlines(), 1)
)


def test_the_oracle_agrees_on_a_whole_history_that_comes_late(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", site=WHOLE)
    (home / DROP / "readings_2026-04-02.csv").unlink()
    nights = []
    for day, name, text in zip(
        DAYS,
        ("readings_2026-04-06.csv", "readings_2026-04-01.csv", "readings_2026-04-03.csv"),
        (RIGHT + OTHER, CHANGED, RIGHT.replace("routine,2,5.8", "routine,2,6.8")),
        strict=True,
    ):
        drop(home, name, READINGS_HEADER + text)
        night(home, day)
        taken = {path.name: path.read_bytes() for path in (home / DROP).iterdir()}
        nights.append(Night(day, {"hill": [DropFile(f"drop/{name}", data) for name, data in taken.items()]}))
    ours = json.loads((home / "out" / DAYS[-1].isoformat() / "summary.json").read_text(encoding="utf-8"))
    assert compare(ours, compute(home, nights, REFERENCE)) == []
    site = ours["sites"][0]
    # of the two late files each has one line that is not in the newest
    assert (site["lines"]["withdrawn"], site["lines"]["superseded"], site["lines"]["repeated"]) == (1, 1, 8)
    (said,) = [one["sentence"] for one in site["findings"] if one["rule"] == "older_file"]
    assert said == (
        "drop/readings_2026-04-03.csv holds an older state than drop/readings_2026-04-06.csv, which had come "
        "before, so it changes nothing: 1 line of it that the newer one lacks or has otherwise is kept and not used. "
        "If it should count, save it again, with a later day where its name has one."
    )
    (lot,) = [lot for lot in site["lots"] if lot["lot_id"] == "H-1"]
    assert [one["ph"]["mean"] for one in lot["samplings"]] == [5.8]


@pytest.mark.parametrize(
    ("site", "files", "fates"),
    [
        # what the three nights find under one name, and accepted, held, repeated, superseded, withdrawn after them
        (OPEN, (AHEAD, RIGHT, RIGHT), (5, 0, 0, 5, 0)),
        (OPEN, (UNLISTED, RIGHT, RIGHT), (5, 0, 0, 5, 0)),
        (OPEN, (RIGHT + UNLISTED, RIGHT, RIGHT), (5, 0, 5, 0, 5)),
        (OPEN, (RIGHT, CHANGED, CHANGED), (5, 0, 4, 1, 0)),
        (OPEN, ("", "", ALL_ONE + "H-1,2026-04-05,routine,1,6.7,2.00,50,M1,\n"), (6, 0, 0, 0, 0)),
        (OPEN, (NUMBERLESS, READ_ANEW, READ_ANEW + OTHER), (10, 0, 5, 0, 5)),
        (WHOLE, (RIGHT, CHANGED, CHANGED), (5, 0, 4, 1, 0)),
        (WHOLE, (RIGHT, CHANGED + UNLISTED, RIGHT + OTHER), (10, 0, 9, 1, 5)),
    ],
)
def test_the_oracle_agrees_on_files_that_came_again(
    tmp_path: Path, site: str, files: tuple[str, ...], fates: tuple[int, ...]
) -> None:
    home = make_home(tmp_path / "home", site=site)
    (home / DROP / "readings_2026-04-02.csv").unlink()
    nights = []
    for day, text in zip(DAYS, files, strict=True):
        if text:
            drop(home, "readings.csv", READINGS_HEADER + text)
        night(home, day)
        taken = {path.name: path.read_bytes() for path in (home / DROP).iterdir()}
        nights.append(Night(day, {"hill": [DropFile(f"drop/{name}", data) for name, data in taken.items()]}))
    ours = json.loads((home / "out" / DAYS[-1].isoformat() / "summary.json").read_text(encoding="utf-8"))
    assert compare(ours, compute(home, nights, REFERENCE)) == []
    lines = ours["sites"][0]["lines"]
    told = tuple(lines[name] for name in ("accepted", "held", "repeated", "superseded", "withdrawn"))
    others = len(LOTS.splitlines()) - 1 + 2  # lots and meter checks, all accepted
    assert told == (fates[0] + others, *fates[1:])
