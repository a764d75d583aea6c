"""Kills rebuildings with SIGKILL at many moments: python -m tests.faults.kill_rebuild [HOW_MANY].

Whenever one dies, a whole warehouse with the same rows stands, the one before or the new one, and the home is
proven once a night has finished or forgotten what the dead one began.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from pipeline.verify import verify_home
from pipeline.warehouse.connect import reader, warehouse_path
from pipeline.warehouse.proof import TableDigest, digest_tables
from tests.conftest import copy_home
from tests.faults.kill_nights import Moment, kill_run, left_over
from tests.home import NOW, night
from tests.test_verify import NEXT_DAY, run_three_nights

LONGEST = {"Replaying night 1": 0.3, "Replaying night 3": 0.5, "Publishing": 0.8}


def kill_at(home: Path, moment: Moment) -> bool:
    """Kill a rebuilding; whether it was still running then."""
    return kill_run(["rebuild", str(home)], moment)


def rows_of(home: Path) -> dict[str, TableDigest]:
    with reader(home) as connection:
        return digest_tables(connection)


def check(base: Path, home: Path, moment: Moment) -> str:
    """Kill one rebuilding and look at what stands; says which warehouse that is."""
    before, rows = warehouse_path(base).read_bytes(), rows_of(base)
    was_running = kill_at(home, moment)
    assert rows_of(home) == rows
    stands = "old" if warehouse_path(home).read_bytes() == before else "new"
    night(home, NEXT_DAY)
    assert left_over(home) == []
    assert verify_home(home, now=NOW).findings == []
    return f"{'killed' if was_running else 'had ended'}, {stands} warehouse"


def main() -> None:
    """Kill rebuildings at moments drawn by a fixed seed and print what stood after each."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    draw = random.Random(20260406)  # noqa: S311  moments, not secrets
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder) / "base"
        run_three_nights(base)
        for number in range(how_many):
            step = "Publishing" if number % 2 else draw.choice(list(LONGEST))
            moment = Moment(step, draw.uniform(0, LONGEST[step]))
            stood = check(base, copy_home(base, Path(folder) / f"home-{number}"), moment)
            sys.stdout.write(f"{step:18} +{moment.seconds:.3f} s: {stood}; mended and proven\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
