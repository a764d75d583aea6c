"""A wheel that is built from the tree and installed elsewhere has everything with it."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

SHOW_ASSETS = """
from pipeline import assets
for path in (assets.sql_folder("schema"), assets.sql_folder("invariants"), assets.templates_folder("charts"),
             assets.demo_folder("leachbook.toml"), assets.reference_folder("crop_targets.csv")):
    print(path)
"""


def run(*command: str | Path, cwd: Path, **environment: str) -> str:
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    if done.returncode:
        pytest.fail(f"{command} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")
    return done.stdout


def is_cache(path: Path) -> bool:
    return any(part.startswith(".") or part == "__pycache__" for part in path.relative_to(ROOT).parts)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder, cwd=ROOT)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the wheel is installed; the libraries are those of the environment."""
    target = tmp_path_factory.mktemp("elsewhere") / "site"
    pip = (sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target")
    run(*pip, target, wheel, cwd=target.parent, PIP_DISABLE_PIP_VERSION_CHECK="1")
    return target


def test_it_holds_every_file_and_nothing_that_a_run_makes(wheel: Path) -> None:
    held = set(zipfile.ZipFile(wheel).namelist())
    assert not [name for name in held if "__pycache__" in name or name.endswith((".pyc", ".duckdb"))]
    assert {name.split("/")[0] for name in held} == {"pipeline", "leachbook-0.1.0.dist-info"}
    folders = ["pipeline", "sql", "report_templates", "demo_sites"]
    there = [path for folder in folders for path in (ROOT / folder).rglob("*") if path.is_file()]
    names = [path.relative_to(ROOT).as_posix() for path in there if not is_cache(path)]
    inside = [name if name.startswith("pipeline/") else f"pipeline/_data/{name}" for name in names]
    assert [name for name in inside if name not in held] == []


def test_its_files_are_found_where_it_is_installed(installed: Path) -> None:
    found = run(
        sys.executable, "-c", SHOW_ASSETS, cwd=installed.parent, PYTHONPATH=str(installed)
    ).splitlines()
    assert len(found) == 5
    assert [path for path in found if not Path(path).is_relative_to(installed / "pipeline")] == []


def test_its_command_runs(installed: Path) -> None:
    command = installed / "bin" / "leachbook"
    assert "nightly" in run(command, "--help", cwd=installed.parent, PYTHONPATH=str(installed))


def test_the_demo_runs_from_it(installed: Path) -> None:
    command = installed / "bin" / "leachbook"
    run(command, "demo", "demo", cwd=installed.parent, PYTHONPATH=str(installed))
    latest = installed.parent / "demo" / "out" / "latest"
    assert (latest / "overview.html").stat().st_size > 0
    assert (latest / "overview.pdf").read_bytes().startswith(b"%PDF-")
