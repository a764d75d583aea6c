"""Kills nights with SIGKILL at many moments and looks at what is left: python -m tests.faults.kill_nights [HOW_MANY].

Each night starts from the same home with new files in its drop folder. Whenever it dies, the warehouse and the
pages must be whole, the ones before or the new ones, and the next night must end as if nothing had happened.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from pipeline.intake import ledger
from pipeline.reports.summary import Summary
from pipeline.warehouse.connect import reader
from tests.conftest import ROOT, copy_home
from tests.home import DAY, GOOD_PH, READINGS_HEADER, drop, make_home, night, pots

# How long each step may take until the kill, in seconds; half of the nights are killed while they publish.
LONGEST = {"Looking": 0.1, "Loading": 0.1, "Judging": 0.2, "Rendering": 2.0, "Publishing": 0.8}
NEW_FILE = "readings_2026-04-05.csv"
FILES = sorted(["drop/lots.csv", "drop/meters.csv", "drop/readings_2026-04-02.csv", f"drop/{NEW_FILE}"])


@dataclass(frozen=True)
class Moment:
    """When a night is killed: so many seconds after it said that it begins a step."""

    step: str
    seconds: float


def begin(base: Path, home: Path) -> Path:
    """A copy of a home that had one night, with one new file."""
    copy_home(base, home)
    drop(home, NEW_FILE, READINGS_HEADER + pots("H-1", "2026-04-05", GOOD_PH))
    return home


def kill_run(arguments: list[str], moment: Moment) -> bool:
    """Run a command in a process of its own and kill it; whether it was still running then."""
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", *arguments],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        assert process.stderr is not None
        for line in process.stderr:
            if line.startswith(moment.step):
                time.sleep(moment.seconds)
                break
        was_running = process.poll() is None
        process.kill()
    return was_running


def kill_at(home: Path, moment: Moment) -> bool:
    """Kill a night; whether it was still running then."""
    return kill_run(["nightly", str(home), "--as-of", str(DAY)], moment)


def published(home: Path) -> Summary:
    """The document that stands; everything that belongs to it must be there."""
    pages = home / "out" / "latest"
    for name in ("overview.html", "overview.pdf", "sites/hill.html", "sites/hill.pdf", "summary.schema.json"):
        assert (pages / name).stat().st_size > 1000, name
    assert (pages / "overview.pdf").read_bytes().rstrip().endswith(b"%%EOF")
    return Summary.model_validate_json((pages / "summary.json").read_bytes())


def known_digest(home: Path) -> str:
    """The facts that the warehouse knows, asked of the warehouse itself."""
    with reader(home) as connection:
        ((digest,),) = connection.sql(
            "select facts_digest from nights order by night_no desc limit 1"
        ).fetchall()
    return str(digest)


def left_over(home: Path) -> list[str]:
    """What lies in a home that a finished night leaves nowhere."""
    hidden = [str(path.relative_to(home)) for path in home.rglob(".*") if path.name != ".night.lock"]
    return sorted(hidden + [path.name for path in home.glob("archive/night.*")])


def check_after_kill(home: Path, before: Summary, whole: Summary) -> str:
    """Say which pages stand after the kill, having seen that they and the warehouse are whole."""
    digests = (before.night.facts_digest, whole.night.facts_digest)
    assert known_digest(home) in digests
    if not (home / "out" / "2026-04-06").exists():
        return "pages set aside"  # between two renames: the next night puts them back
    stands = published(home)
    assert stands.night.facts_digest in digests
    return "old pages" if stands.night.facts_digest == digests[0] else "new pages"


def check_next_night(home: Path, whole: Summary) -> None:
    """The night after the killed one ends as if nothing had been killed."""
    night(home, pages=True)
    stands = published(home)
    assert stands.night.facts_digest == known_digest(home) == whole.night.facts_digest
    assert [site.lots for site in stands.sites] == [site.lots for site in whole.sites]
    assert ledger.verify_chain(home) is None
    entries = ledger.read_ledger(home)
    assert sorted(one["name"] for one in entries if one["kind"] == "receipt") == FILES
    assert [one["facts"] for one in entries if one["kind"] == "night"][-1] == whole.night.facts_digest
    assert left_over(home) == []


def main() -> None:
    """Kill nights at moments drawn by a fixed seed and print what stood after each."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    draw = random.Random(20260406)  # noqa: S311  moments, not secrets
    with tempfile.TemporaryDirectory() as folder:
        base = make_home(Path(folder) / "base")
        before = night(base, pages=True).summary
        whole = night(begin(base, Path(folder) / "whole"), pages=True).summary
        for number in range(how_many):
            step = "Publishing" if number % 2 else draw.choice(list(LONGEST))
            moment = Moment(step, draw.uniform(0, LONGEST[step]))
            home = begin(base, Path(folder) / f"home-{number}")
            was_running = kill_at(home, moment)
            stood = check_after_kill(home, before, whole)
            left = len(left_over(home))
            check_next_night(home, whole)
            state = "killed" if was_running else "had ended"
            sys.stdout.write(
                f"{step:10} +{moment.seconds:.3f} s: {state}, {stood}, {left} left over; mended\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
