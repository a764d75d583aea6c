import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pipeline.errors import ArchiveError
from pipeline.intake.collect import CollectedFile
from pipeline.intake.ledger import (
    FIRST_PREVIOUS,
    append,
    last_hash,
    ledger_path,
    night_entry,
    read_ledger,
    receipt_entry,
    verify_chain,
)

FILE = CollectedFile(
    "north", "lots", 2, "drop/lös\u2028.csv", "ab" * 32, 3, datetime(2026, 4, 5, 1, 2, 3, tzinfo=UTC), b"abc"
)


def write_three(home: Path) -> list[bytes]:
    append(home, [receipt_entry(FILE, date(2026, 4, 5)), night_entry(date(2026, 4, 5), "s1", "f1")])
    append(home, [night_entry(date(2026, 4, 6), "s1", "f2", files=0)])
    return ledger_path(home).read_bytes().splitlines(keepends=True)


def test_entries_come_back_in_order_and_chained(tmp_path: Path) -> None:
    write_three(tmp_path)
    first, second, third = read_ledger(tmp_path)
    assert first.pop("previous") == FIRST_PREVIOUS
    assert first == {
        "kind": "receipt",
        "received_on": "2026-04-05",
        "site": "north",
        "export_kind": "lots",
        "export_no": 2,
        "name": "drop/lös\u2028.csv",
        "sha256": "ab" * 32,
        "size": 3,
        "modified_at": "2026-04-05T01:02:03+00:00",
    }
    assert (second["kind"], second["as_of"], second["facts"]) == ("night", "2026-04-05", "f1")
    assert (third["files"], third["previous"]) != (0, second["previous"])
    assert verify_chain(tmp_path) is None


def test_no_ledger_yet(tmp_path: Path) -> None:
    assert (read_ledger(tmp_path), verify_chain(tmp_path), last_hash(tmp_path)) == ([], None, FIRST_PREVIOUS)


def test_nothing_to_add_writes_nothing(tmp_path: Path) -> None:
    assert append(tmp_path, []) == FIRST_PREVIOUS
    assert not ledger_path(tmp_path).exists()


def test_last_hash_moves_with_each_entry_and_shows_a_cut_end(tmp_path: Path) -> None:
    lines = write_three(tmp_path)
    whole = last_hash(tmp_path)
    ledger_path(tmp_path).write_bytes(b"".join(lines[:2]))
    assert verify_chain(tmp_path) is None
    assert last_hash(tmp_path) != whole


def change_second(lines: list[bytes]) -> list[bytes]:
    return [lines[0], lines[1].replace(b'"f1"', b'"fx"'), lines[2]]


def remove_second(lines: list[bytes]) -> list[bytes]:
    return [lines[0], lines[2]]


def insert_copy(lines: list[bytes]) -> list[bytes]:
    return [lines[0], lines[0], *lines[1:]]


def remove_first(lines: list[bytes]) -> list[bytes]:
    return lines[1:]


def tear_last(lines: list[bytes]) -> list[bytes]:
    return [*lines[:2], lines[2][:-10]]


def add_noise(lines: list[bytes]) -> list[bytes]:
    return [lines[0], b"\xff\n", *lines[1:]]


def add_list(lines: list[bytes]) -> list[bytes]:
    return [lines[0], b"[]\n", *lines[1:]]


@pytest.mark.parametrize(
    ("damage", "entry_no", "says"),
    [
        (change_second, 3, "does not follow"),
        (remove_second, 2, "does not follow"),
        (insert_copy, 2, "does not follow"),
        (remove_first, 1, "does not follow"),
        (tear_last, 3, "cannot be read"),
        (add_noise, 2, "cannot be read"),
        (add_list, 2, "does not follow"),
    ],
)
def test_first_broken_entry_is_named_and_never_written_over(
    tmp_path: Path, damage: object, entry_no: int, says: str
) -> None:
    assert callable(damage)
    damaged = b"".join(damage(write_three(tmp_path)))
    ledger_path(tmp_path).write_bytes(damaged)
    broken = verify_chain(tmp_path)
    assert broken is not None
    assert broken.entry_no == entry_no
    assert says in broken.sentence
    with pytest.raises(ArchiveError, match=f"line {entry_no}: the entry {says}"):
        append(tmp_path, [{"kind": "night"}])
    with pytest.raises(ArchiveError, match=f"line {entry_no}: "):
        read_ledger(tmp_path)
    assert ledger_path(tmp_path).read_bytes() == damaged


def test_an_entry_cannot_choose_its_own_place_in_the_chain(tmp_path: Path) -> None:
    append(tmp_path, [{"kind": "night", "previous": "mine"}])
    assert json.loads(ledger_path(tmp_path).read_bytes())["previous"] == FIRST_PREVIOUS


def test_ledger_that_cannot_be_written_or_read(tmp_path: Path) -> None:
    ledger_path(tmp_path).mkdir(parents=True)
    with pytest.raises(ArchiveError, match=r"cannot be read \(Is a directory\)"):
        read_ledger(tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    (other / "archive").write_text("a file where the folder should be")
    with pytest.raises(ArchiveError, match="cannot be"):
        append(other, [{"kind": "night"}])
