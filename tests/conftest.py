"""Homes that several tests share: each is made once a session, whichever xdist worker comes first."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock

from tests.home import Ran, make_home, night

ROOT = Path(__file__).parents[1]

Build = Callable[[Path], object]
Share = Callable[[str, Build], Path]


@pytest.fixture(scope="session")
def share(tmp_path_factory: pytest.TempPathFactory) -> Share:
    """Make a folder once a session, also when the session runs in several processes."""
    base = tmp_path_factory.getbasetemp()
    root = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base

    def made(name: str, build: Build) -> Path:
        folder = root / f"shared-{name}"
        done = root / f"shared-{name}.done"
        with FileLock(root / f"shared-{name}.lock"):
            if not done.exists():
                build(folder)
                done.touch()
        return folder

    return made


def run_process(*arguments: object) -> Ran:
    """Run the command line in a process of its own."""
    command = [sys.executable, "-m", "pipeline.cli", *(str(one) for one in arguments)]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return Ran(ran.returncode, ran.stdout, ran.stderr)


def _build_demo(folder: Path) -> None:
    ran = run_process("demo", folder, "--json")
    for name, text in (("out", ran.out), ("err", ran.err), ("code", str(ran.code))):
        folder.with_name(f"{folder.name}.{name}").write_text(text, encoding="utf-8")


@pytest.fixture(scope="session")
def demo_home(share: Share) -> Path:
    """The demo after its two nights. Not to be changed: copy it."""
    return share("demo", _build_demo)


@pytest.fixture(scope="session")
def demo_ran(demo_home: Path) -> Ran:
    """What `leachbook demo --json` ended with and printed."""
    out, err, code = (
        demo_home.with_name(f"{demo_home.name}.{name}").read_text(encoding="utf-8")
        for name in ("out", "err", "code")
    )
    return Ran(int(code), out, err)


@pytest.fixture(scope="session")
def one_night(share: Share) -> Path:
    """A small home after one good night. Not to be changed: copy it."""
    return share("one-night", lambda folder: night(make_home(folder), pages=True))


@pytest.fixture
def home(one_night: Path, tmp_path: Path) -> Path:
    """A copy of the small home after one good night, to be changed at will."""
    return copy_home(one_night, tmp_path / "home")


def copy_home(home: Path, target: Path) -> Path:
    """A copy with its times and its links."""
    shutil.copytree(home, target, symlinks=True)
    return target
