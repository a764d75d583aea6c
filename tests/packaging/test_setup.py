"""What the set-up script does about system packages, with stand-ins for the machine's own commands."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

# Knows of one package that is there, one that was removed; all else is unknown to it, as with the real one.
DPKG_QUERY = """#!/bin/sh
printf 'libthere-1=installed\\nlibgone-1=config-files\\n'
echo 'dpkg-query: no packages found matching libnever-1' >&2
exit 1
"""


def source_setup(tmp_path: Path, packages: str, *, user_id: int) -> tuple[int, str, str]:
    """Source setup.sh with these packages; return exit code, what it said, and what apt-get was asked for."""
    asked = tmp_path / "asked"
    stubs = {
        "dpkg-query": DPKG_QUERY,
        "id": f"#!/bin/sh\necho {user_id}\n",
        # Ends the script here: nothing is installed in a test.
        "apt-get": f'#!/bin/sh\necho "$@" >>{asked}\ncase $* in *install*) exit 100 ;; esac\n',
    }
    folder = tmp_path / "stubs"
    folder.mkdir()
    for name, text in stubs.items():
        (folder / name).write_text(text, encoding="utf-8")
        (folder / name).chmod(0o755)
    done = subprocess.run(
        ["/bin/sh", "-euc", f'root="{tmp_path}" extra= packages="{packages}"; . {ROOT}/demo_sites/setup.sh'],
        env={"PATH": f"{folder}:/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return done.returncode, done.stderr, asked.read_text(encoding="utf-8") if asked.exists() else ""


def test_somebody_who_is_not_root_reads_in_one_line_what_to_type(tmp_path: Path) -> None:
    code, said, asked = source_setup(tmp_path, "libthere-1 libgone-1 libnever-1", user_id=1000)
    assert said == (
        "leachbook: system packages are missing, type: sudo apt-get install -y libgone-1 libnever-1\n"
    )
    assert (code, asked) == (2, "")


def test_root_installs_what_is_missing_and_a_failure_is_said(tmp_path: Path) -> None:
    code, said, asked = source_setup(tmp_path, "libthere-1 libnever-1", user_id=0)
    assert asked == "-qq update\n-qq install -y --no-install-recommends libnever-1\n"
    assert said.splitlines() == [
        "leachbook: installing libnever-1",
        "leachbook: apt-get could not install libnever-1: mend what it says above, then start again",
    ]
    assert code == 2


def test_a_machine_that_has_all_goes_straight_to_the_environment(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_text("no project", encoding="utf-8")
    code, said, asked = source_setup(tmp_path, "libthere-1", user_id=1000)
    assert asked == ""
    assert said.startswith("leachbook: setting up .venv")
    assert said.endswith("leachbook: the set-up did not work: mend what it says above, then start again\n")
    assert code == 2
    assert not list((tmp_path / ".venv").glob("stamp-*"))
