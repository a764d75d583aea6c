"""What the account that runs the night may not read or write: in a process without the power of root."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.home import DAY, DROP, READINGS_HEADER, Ran, drop, make_home, only_site, pots, read_summary

NOBODY = 65534
PYTHON = Path(sys.executable).resolve()
REACHABLE = all(folder.stat().st_mode & 0o001 for folder in (ROOT, *ROOT.parents, *PYTHON.parents))
# Root without the power to pass over permission bits: what is nobody's to get at is still root's own.
POWERLESS = ("setpriv", "--bounding-set=-dac_override,-dac_read_search")
pytestmark = pytest.mark.skipif(
    os.geteuid() == 0 and not REACHABLE and shutil.which(POWERLESS[0]) is None,
    reason="root binds no permission bits, nobody cannot get at what lies below a private folder, no setpriv",
)


@pytest.fixture
def home() -> Iterator[Path]:
    """A home that belongs to nobody, where nobody can get at it (the folders of pytest are private)."""
    base = Path(tempfile.mkdtemp(prefix="leachbook-test-"))
    base.chmod(0o755)
    yield make_home(base / "home")
    shutil.rmtree(base)


def run_as_nobody(home: Path, *arguments: object) -> Ran:
    """Run the command line as nobody when this is root, or as a root that permission bits bind, else as who this is."""
    is_root = os.geteuid() == 0 and REACHABLE
    if is_root:
        for path in [home, *home.rglob("*")]:
            os.chown(path, NOBODY, NOBODY, follow_symlinks=False)
    command = [sys.executable, "-m", "pipeline.cli", *(str(one) for one in arguments)]
    if os.geteuid() == 0 and not REACHABLE:
        command = [*POWERLESS, *command]
    ran = subprocess.run(
        command,
        cwd=ROOT,
        env={**os.environ, "HOME": str(home), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        user=NOBODY if is_root else None,
        group=NOBODY if is_root else None,
        extra_groups=[] if is_root else None,
    )
    return Ran(ran.returncode, ran.stdout, ran.stderr)


def test_a_file_that_may_not_be_read_is_named_and_the_rest_done(home: Path) -> None:
    bad = drop(home, "readings_2026-04-04.csv", READINGS_HEADER + pots("H-1", "2026-04-04", ("5.8",)))
    bad.chmod(0)
    ran = run_as_nobody(home, "nightly", home, "--as-of", DAY)
    sentence = (
        "drop/readings_2026-04-04.csv: the file cannot be read (permission denied); "
        "let the account that runs the night read it."
    )
    assert (ran.code, "Traceback" in ran.err) == (1, False)
    site = only_site(read_summary(home))
    assert [one.sentence for one in site.findings] == [sentence]
    assert len(site.files_tonight) == 3
    assert f"  Hill: {sentence}\n" in ran.out


def troubles_below_drop(home: Path, mode: int) -> list[tuple[str, str]]:
    """Rule and sentence of the site's findings after a night with a folder of this mode in the drop folder."""
    folder = home / DROP / "old"
    folder.mkdir()
    (folder / "notes.txt").write_text("nothing", encoding="utf-8")
    folder.chmod(mode)
    ran = run_as_nobody(home, "nightly", home, "--as-of", DAY)
    folder.chmod(0o755)
    assert "Traceback" not in ran.err
    site = only_site(read_summary(home))
    assert len(site.files_tonight) == 3
    return [(one.rule, one.sentence) for one in site.findings]


def test_a_folder_that_may_not_be_read_is_named_and_the_rest_done(home: Path) -> None:
    assert troubles_below_drop(home, 0) == [
        (
            "unreadable_folder",
            "drop/old: the folder cannot be read (permission denied); let the account that runs the night read it.",
        )
    ]


def test_a_folder_that_may_be_read_is_no_trouble(home: Path) -> None:
    assert "unreadable_folder" not in {rule for rule, _ in troubles_below_drop(home, 0o755)}


def test_a_home_that_may_not_be_written_to_is_said_so(home: Path) -> None:
    (home / DROP).chmod(0o755)
    home.chmod(0o555)
    ran = run_as_nobody(home, "nightly", home, "--as-of", DAY)
    home.chmod(0o755)
    assert ran.code == 2
    assert (
        ran.err == f"{home}: cannot be written to (Permission denied); check the folder's owner and mode.\n"
    )


def test_a_folder_for_pages_that_may_not_be_written_to_is_said_so(home: Path) -> None:
    out = home / "out"
    out.mkdir()
    out.chmod(0o555)
    ran = run_as_nobody(home, "nightly", home, "--as-of", DAY)
    assert ran.code == 2
    assert ran.err.splitlines()[-1] == (
        f"{out / str(DAY)}: no pages can be written there (Permission denied); "
        "make room or give write permission."
    )
    assert not (home / "warehouse.duckdb").exists()


def test_settings_that_may_not_be_read_are_named(home: Path) -> None:
    (home / "leachbook.toml").chmod(0)
    ran = run_as_nobody(home, "nightly", home, "--as-of", DAY)
    assert ran.code == 2
    assert ran.err == (
        "There is 1 mistake in the settings:\n"
        "  leachbook.toml: it cannot be read (Permission denied); it must be a readable file\n"
    )
