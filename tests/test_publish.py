"""What a night that died leaves behind, and what the next night makes of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

import pipeline.nightly
import pipeline.publish
from pipeline.intake import ledger
from pipeline.publish import pages_folder, point_latest, publish_pages, sweep
from pipeline.warehouse.connect import reader
from tests.home import DAY, GOOD_PH, READINGS_HEADER, drop, find_lot, night, pots, read_summary

NEXT_DAY = DAY + timedelta(days=1)
NEW = READINGS_HEADER + pots("H-1", "2026-04-05", GOOD_PH)


class _KilledError(BaseException):
    """Stands for the end of the process at a chosen step; nothing may catch it."""


def die_at(monkeypatch: pytest.MonkeyPatch, module: object, name: str) -> None:
    def die(*_: object, **__: object) -> None:
        raise _KilledError

    monkeypatch.setattr(module, name, die)


def ledger_nights(home: Path) -> list[tuple[str, int]]:
    return [(one["as_of"], one["files"]) for one in ledger.read_ledger(home) if one["kind"] == "night"]


def receipts(home: Path) -> list[str]:
    return sorted(one["name"] for one in ledger.read_ledger(home) if one["kind"] == "receipt")


def has_new_sampling(home: Path) -> bool:
    with reader(home) as connection:
        rows = connection.sql("from samplings where sampled_on = date '2026-04-05'").fetchall()
    return bool(rows)


@pytest.mark.parametrize(
    ("module", "step", "is_published"),
    [
        (pipeline.publish, "publish", False),  # before the warehouse went out
        (ledger, "append", True),  # before the ledger knew it
        (pipeline.nightly, "publish_pages", True),  # before the pages went out
    ],
)
def test_the_next_night_finishes_or_forgets_what_a_dead_one_began(
    home: Path, monkeypatch: pytest.MonkeyPatch, module: object, step: str, is_published: bool
) -> None:
    drop(home, "readings_2026-04-05.csv", NEW)
    before = read_summary(home)
    with monkeypatch.context() as patch:
        die_at(patch, module, step)
        with pytest.raises(_KilledError):
            night(home)
    assert has_new_sampling(home) is is_published
    assert read_summary(home) == before, "yesterday's pages stand whole"

    after = night(home)
    assert not after.is_unchanged
    assert len(find_lot(read_summary(home), "H-1").samplings) == 2
    assert has_new_sampling(home)
    assert ledger.verify_chain(home) is None
    names = ["lots.csv", "meters.csv", "readings_2026-04-02.csv", "readings_2026-04-05.csv"]
    assert receipts(home) == [f"drop/{name}" for name in names], "one receipt a file"
    finished = [("2026-04-06", 1), ("2026-04-06", 0)] if is_published else [("2026-04-06", 1)]
    assert ledger_nights(home) == [("2026-04-06", 3), *finished]
    assert left_over(home) == []


def left_over(home: Path) -> list[str]:
    """Everything that is no part of a home between two nights."""
    hidden = [path.name for path in home.rglob(".*") if path.name != ".night.lock"]
    return sorted(hidden + [path.name for path in home.glob("archive/night.*")])


def test_an_entry_that_reached_the_ledger_is_not_written_twice(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drop(home, "readings_2026-04-05.csv", NEW)
    append: Callable[..., str] = ledger.append

    def append_and_die(*arguments: object) -> None:
        append(*arguments)
        raise _KilledError

    with monkeypatch.context() as patch:
        patch.setattr(ledger, "append", append_and_die)
        with pytest.raises(_KilledError):
            night(home)
    assert (home / "archive" / "night.announced").exists()
    entries = ledger.read_ledger(home)
    night(home)
    assert ledger.read_ledger(home)[: len(entries)] == entries
    assert len(receipts(home)) == 4
    assert left_over(home) == []


def test_sweep_takes_away_what_dead_nights_left_and_nothing_else(home: Path) -> None:
    before = sorted(home.rglob("*"))
    for name in (
        ".warehouse.duckdb.1.night",
        ".warehouse.duckdb.1.night.wal",
        "out/.latest.1",
        "archive/.new-abc",
        "archive/files/ab/.new-abc",
    ):
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).touch()
    (home / "archive" / "files" / "ab" / ".new-link").symlink_to(home / "leachbook.toml")
    for name in (
        "out/.2026-04-06.1.night/sites",
        "out/.2026-04-06.1.before",
        ".warehouse.duckdb.1.night.tmp",
    ):
        (home / name).mkdir(parents=True)
    sweep(home)
    after = [path for path in sorted(home.rglob("*")) if path.name != "ab" or path in before]
    assert after == before


def test_sweep_puts_pages_back_that_a_night_died_over(home: Path) -> None:
    pages = pages_folder(home, DAY)
    before = read_summary(home)
    pages.replace(pages.with_name(".2026-04-06.1.before"))
    sweep(home)
    assert read_summary(home) == before
    assert left_over(home) == []


def test_pages_replace_pages_and_latest_follows(tmp_path: Path) -> None:
    out = tmp_path / "2026-04-06"
    for text in ("first", "second"):
        fresh = tmp_path / f".{text}"
        fresh.mkdir()
        (fresh / "page").write_text(text, encoding="utf-8")
        publish_pages(fresh, out)
        assert (tmp_path / "latest" / "page").read_text(encoding="utf-8") == text
    assert sorted(path.name for path in tmp_path.iterdir()) == ["2026-04-06", "latest"]


def test_latest_that_points_to_the_pages_is_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "2026-04-06"
    out.mkdir()
    point_latest(out)
    before = (tmp_path / "latest").lstat()
    point_latest(out)
    assert (tmp_path / "latest").lstat() == before


def test_a_night_that_died_before_latest_was_set_is_followed_by_one_that_sets_it(home: Path) -> None:
    (home / "out" / "latest").unlink()
    assert night(home).is_unchanged
    assert str((home / "out" / "latest").readlink()) == "2026-04-06"
