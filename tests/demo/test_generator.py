"""The committed demo exports are what the generator writes, byte for byte."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "demo_sites"


def drop_files(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for folder in ("sites", "second_night")
        for path in (root / folder).rglob("drop/*")
    }


def test_writes_the_committed_bytes(tmp_path: Path) -> None:
    subprocess.run([sys.executable, DEMO / "generate.py", tmp_path], check=True, capture_output=True)

    made, committed = drop_files(tmp_path), drop_files(DEMO)

    assert sorted(made) == sorted(committed)
    assert [name for name in made if made[name] != committed[name]] == []


def test_every_site_has_a_first_night() -> None:
    sites = {path.parent.name for path in DEMO.glob("sites/*/site.toml")}

    assert sites == {"north-range", "erlenwerth", "loma-alta", "pellbarrow"}
    assert {Path(name).parts[1] for name in drop_files(DEMO) if name.startswith("sites/")} == sites


def test_loma_alta_sends_nothing_for_the_second_night() -> None:
    arrived = {Path(name).parts[1] for name in drop_files(DEMO) if name.startswith("second_night/")}

    assert arrived == {"north-range", "erlenwerth", "pellbarrow"}


def test_stays_small() -> None:
    assert sum(map(len, drop_files(DEMO).values())) < 300_000
