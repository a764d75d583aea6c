"""A ledger whose last entries somebody cut off: each kind of last entry is missed, and no run goes on over the gap."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pipeline.intake import ledger
from pipeline.rebuild import rebuild
from pipeline.verify import verify_home
from tests.audit.homes import FROM, NIGHTS, TO, audit, make_audited_home
from tests.home import NOW, night_by_command, run_cli

LAST = ("night", "rebuild", "audit", "audit made again")


@pytest.fixture(scope="module")
def homes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Homes by the last entry of their ledgers. Not to be changed: copy them."""
    folder = tmp_path_factory.mktemp("heads")
    made = {"night": make_audited_home(folder / "night")}

    def follow(before: str, name: str) -> Path:
        made[name] = Path(shutil.copytree(made[before], folder / name.replace(" ", "-"), symlinks=True))
        return made[name]

    rebuild(follow("night", "rebuild"), now=NOW)
    assert audit(follow("night", "audit")).code == 0
    assert audit(follow("audit", "audit made again")).code == 0
    for name, kind in zip(LAST, ("night", "rebuild", "audit", "audit"), strict=True):
        assert ledger.read_ledger(made[name])[-1]["kind"] == kind
    return made


@pytest.fixture(params=LAST)
def home(request: pytest.FixtureRequest, homes: dict[str, Path], tmp_path: Path) -> Path:
    return Path(shutil.copytree(homes[request.param], tmp_path / "home", symlinks=True))


def said(home: Path) -> list[str]:
    return [one.sentence for one in verify_home(home, now=NOW).findings if one.part == "ledger"]


def cut(home: Path) -> bytes:
    """Take the last line of the ledger away; return what is left."""
    path = ledger.ledger_path(home)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    return path.read_bytes()


def test_a_ledger_without_its_last_entry_is_told_with_the_line_that_is_gone(home: Path) -> None:
    assert said(home) == []
    lines = len(ledger.line_hashes(home))
    cut(home)
    assert [
        one
        for one in said(home)
        if f"line {lines} (gone): the ledger ends before it, but ledger.head knows {lines} lines" in one
    ]


def test_no_run_goes_on_over_the_gap_and_none_touches_what_is_left(home: Path) -> None:
    left = cut(home)
    for told in (
        night_by_command(home, NIGHTS[2]),
        audit(home),
        run_cli("rebuild", home),
        run_cli("audit", home, "--from", FROM, "--to", TO, "--json"),
    ):
        assert told.code == 2
        assert "cut off" in told.err + told.out or "ends with night number 1" in told.err + told.out
        assert "Traceback" not in told.err
    assert ledger.ledger_path(home).read_bytes() == left


def test_a_head_put_away_lets_runs_go_on_and_is_missed_until_then(
    homes: dict[str, Path], tmp_path: Path
) -> None:
    home = Path(shutil.copytree(homes["audit"], tmp_path / "home", symlinks=True))
    cut(home)
    ledger.head_path(home).unlink()
    assert [one for one in said(home) if "ledger.head: is missing" in one]
    assert night_by_command(home, NIGHTS[2]).code in (0, 1)
    assert not [one for one in said(home) if "ledger.head" in one]


def test_a_run_that_died_between_ledger_and_head_is_no_damage(homes: dict[str, Path], tmp_path: Path) -> None:
    home = Path(shutil.copytree(homes["audit"], tmp_path / "home", symlinks=True))
    head = ledger.head_path(home)
    after = head.read_bytes()
    behind = ledger.head_path(homes["night"]).read_bytes()
    assert behind != after
    head.write_bytes(behind)
    assert said(home) == []
    assert night_by_command(home, NIGHTS[1]).code in (0, 1)
    assert said(home) == []
    assert head.read_bytes() not in (after, behind)


@pytest.mark.parametrize(
    "text", ["", "{}", "[3]", '{"lines": "x", "sha256": 1}', '{"lines": -1, "sha256": ""}']
)
def test_an_altered_head_is_one_sentence(homes: dict[str, Path], tmp_path: Path, text: str) -> None:
    home = Path(shutil.copytree(homes["night"], tmp_path / "home", symlinks=True))
    ledger.head_path(home).write_text(text)
    told = run_cli("verify", home)
    assert told.code in (1, 2)
    assert "ledger.head" in told.out + told.err
    assert "Traceback" not in told.err
