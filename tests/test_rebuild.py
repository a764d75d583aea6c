"""A warehouse made anew from archive and ledger is the one that was lost, and nothing else is put in its place."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.errors import ArchiveError, LeachbookError, RebuildError
from pipeline.intake import archive, ledger
from pipeline.publish import sweep
from pipeline.rebuild import rebuild
from pipeline.verify import verify_home
from pipeline.warehouse.build import FACTS_OF_JUDGEMENT, JUDGEMENT_MODELS
from pipeline.warehouse.connect import reader, warehouse_path
from pipeline.warehouse.proof import BASE_TABLES, digest_tables, list_tables
from pipeline.warehouse.statements import read_sql
from tests.conftest import Share, copy_home
from tests.home import DAY, GOOD_PH, NOW, READINGS_HEADER, drop, night, pots, run_cli
from tests.test_publish import _KilledError, die_at
from tests.test_verify import NEXT_DAY, run_three_nights


@pytest.fixture(scope="session")
def three_nights(share: Share) -> Path:
    """Not to be changed: copy it."""
    return share("three-nights", run_three_nights)


@pytest.fixture
def home(three_nights: Path, tmp_path: Path) -> Path:
    return copy_home(three_nights, tmp_path / "home")


def contents(home: Path) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables, derived ones too."""
    with reader(home) as connection:
        return {
            table: sorted(connection.sql(f'from "{table}"').fetchall(), key=repr)
            for table in list_tables(connection)
        }


def kept(home: Path) -> list[Path]:
    return sorted(home.glob("warehouse.duckdb.replaced-*"))


def assert_proven(home: Path) -> None:
    assert verify_home(home, now=NOW).findings == []


def rewrite_ledger(home: Path, change: Any) -> None:
    """The ledger written anew, chain and all, with changed entries."""
    entries = ledger.read_ledger(home)
    ledger.ledger_path(home).unlink()
    ledger.head_path(home).unlink()
    ledger.append(home, [change(entry) for entry in entries])


def test_every_table_is_made_anew_as_it_was(home: Path) -> None:
    before, old = contents(home), warehouse_path(home).read_bytes()
    result = rebuild(home, now=NOW)
    assert contents(home) == before
    assert (result.nights, result.files, result.records) == (3, 4, 28)
    assert len(before["rereads"]) > 0
    assert {row[-1] for row in before["fate_history"]} == {None}
    assert kept(home) == [result.kept]
    assert kept(home)[0].read_bytes() == old
    assert_proven(home)


def test_the_demo_is_made_anew_as_it_was(demo_home: Path, tmp_path: Path) -> None:
    home = copy_home(demo_home, tmp_path / "demo")
    before = contents(home)
    ran = run_cli("rebuild", home, "--json")
    assert ran.code == 0
    newest = [entry for entry in ledger.read_ledger(home) if entry["kind"] == ledger.NIGHT][-1]
    assert (ran.json["nights"], ran.json["facts_digest"]) == (2, newest["facts"])
    after = contents(home)
    assert {table for table in before if before[table] != after[table]} == set()
    assert_proven(home)


def test_nights_go_on_after_a_rebuilding(home: Path) -> None:
    rebuild(home, now=NOW)
    assert night(home, NEXT_DAY, pages=True).is_unchanged
    drop(home, "readings_2026-04-06.csv", READINGS_HEADER + pots("H-2", "2026-04-06", GOOD_PH))
    assert not night(home, NEXT_DAY, pages=True).is_unchanged
    assert_proven(home)
    rebuild(home, now=NOW + timedelta(days=1))
    assert_proven(home)
    assert len(kept(home)) == 2


def test_fates_that_changed_keep_their_nights(home: Path) -> None:
    """Held lines whose lot arrives are released; the history of it is made anew with its nights."""
    drop(
        home,
        "lots_2.csv",
        (home / "sites/hill/drop/lots.csv").read_text() + "H-9,1,petunia,pot_5_6in,2026-03-02,,9\n",
    )
    night(home, NEXT_DAY)
    before = contents(home)
    assert any(row[-1] == 4 for row in before["fate_history"])
    rebuild(home, now=NOW)
    assert contents(home) == before


def test_a_missing_warehouse_is_never_begun_anew_in_silence(home: Path) -> None:
    before = contents(home)
    warehouse_path(home).unlink()
    for command in (("nightly", home, "--as-of", NEXT_DAY), ("held", home), ("trace", home, "hill", "H-1")):
        ran = run_cli(*command)
        assert ran.code == 2
        assert ran.err.splitlines()[-1] == (
            f"{home}/warehouse.duckdb: the file is gone, but the ledger knows nights; "
            f"run `leachbook rebuild {home}`, which makes it anew from the archive."
        )
    assert not warehouse_path(home).exists()
    ran = run_cli("rebuild", home)
    assert ran.code == 0
    assert ran.out == "Rebuilt from 3 nights: 4 files, 28 records, the same digest of facts each night.\n"
    assert (contents(home), kept(home)) == (before, [])


def test_a_damaged_warehouse_is_replaced_and_kept(home: Path) -> None:
    before = contents(home)
    warehouse_path(home).write_bytes(b"garbage")
    (home / "warehouse.duckdb.wal").write_bytes(b"of somebody")
    rebuild(home, now=NOW)
    assert contents(home) == before
    assert [path.read_bytes() for path in kept(home)] == [b"garbage", b"of somebody"]
    assert_proven(home)


def test_a_folder_in_its_place_is_put_aside(home: Path) -> None:
    warehouse_path(home).unlink()
    warehouse_path(home).mkdir()
    rebuild(home, now=NOW)
    assert kept(home)[0].is_dir()
    assert_proven(home)


def test_a_warehouse_of_an_earlier_night_is_refused_by_the_next(home: Path, one_night: Path) -> None:
    warehouse_path(home).write_bytes(warehouse_path(one_night).read_bytes())
    ran = run_cli("nightly", home, "--as-of", NEXT_DAY)
    assert ran.code == 2
    assert (
        "its newest night is number 1, but the ledger ends with number 3; run `leachbook rebuild" in ran.err
    )
    rebuild(home, now=NOW)
    assert night(home, NEXT_DAY, pages=True).is_unchanged


def refused(home: Path, error: type[LeachbookError] = ArchiveError) -> str:
    """What rebuild says when it refuses; the warehouse stands and nothing is left over."""
    before = warehouse_path(home).read_bytes()
    with pytest.raises(error) as raised:
        rebuild(home, now=NOW)
    assert warehouse_path(home).read_bytes() == before
    assert list(home.glob(".warehouse*")) == []
    assert kept(home) == []
    message = str(raised.value)
    assert message.endswith(".")
    assert "\n" not in message
    return message


def test_a_ledger_whose_end_was_cut_off_is_refused(home: Path) -> None:
    path = ledger.ledger_path(home)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:4]))
    assert "ends with night number 1, but the warehouse knows number 3" in refused(home)
    ran = run_cli("nightly", home, "--as-of", NEXT_DAY)
    assert ran.code == 2
    assert "bring the ledger back from a backup" in ran.err


def test_a_broken_ledger_is_refused(home: Path) -> None:
    path = ledger.ledger_path(home)
    path.write_bytes(path.read_bytes().replace(b"2026-04-02.csv", b"2026-04-03.csv", 1))
    assert "ledger.jsonl line 2: the entry does not follow" in refused(home)


def test_a_ledger_of_an_early_version_is_refused(home: Path) -> None:
    rewrite_ledger(home, lambda one: {key: value for key, value in one.items() if key != "troubles"})
    message = refused(home)
    assert "ledger.jsonl line 4: the night of 2026-04-06" in message
    assert "does not say troubles, so it cannot be replayed" in message


def test_a_receipt_that_is_missing_is_refused(home: Path) -> None:
    entries = ledger.read_ledger(home)
    ledger.ledger_path(home).unlink()
    ledger.head_path(home).unlink()
    ledger.append(home, entries[1:])
    assert "is night number 1 of 3 files, but number 1 of 2 would follow" in refused(home)


def test_an_archive_that_lacks_a_file_is_refused(home: Path) -> None:
    archive.file_path(home, ledger.read_ledger(home)[0]["sha256"]).unlink()
    assert "cannot be read (No such file or directory); bring it back from a backup" in refused(home)


def test_settings_of_the_archive_that_cannot_be_read_are_refused(home: Path) -> None:
    bad = archive.store_settings(home, {"leachbook.toml": b"name = 1"})
    rewrite_ledger(home, lambda one: {**one, "settings": bad} if one["kind"] == "night" else one)
    assert "this version of the settings cannot be read by this Leachbook (leachbook.toml: " in refused(home)


def test_settings_with_a_name_outside_of_the_home_are_refused(home: Path) -> None:
    sha = archive.store(home, b"x")
    bad = archive.store(home, json.dumps({"settings": {"../../evil.toml": sha}}).encode())
    rewrite_ledger(home, lambda one: {**one, "settings": bad} if one["kind"] == "night" else one)
    assert "names a settings file outside of the home (../../evil.toml)" in refused(home)


@pytest.mark.parametrize(
    ("version", "cause"),
    [
        (None, "install Leachbook again, or bring the ledger back"),
        ("0.0.1", "was run by Leachbook 0.0.1 and this is "),
    ],
)
def test_the_first_night_with_other_facts_is_named_with_what_may_be_the_cause(
    home: Path, version: str | None, cause: str
) -> None:
    def change(one: dict[str, Any]) -> dict[str, Any]:
        if one.get("night") != 2:
            return one
        return {**one, "facts": "1:2:3", "leachbook": version or one["leachbook"]}

    rewrite_ledger(home, change)
    message = refused(home, RebuildError)
    assert "the replay of night number 2 (2026-04-07) gives other facts than the ledger has" in message
    assert cause in message


def test_other_rows_with_the_same_facts_are_told(home: Path) -> None:
    def change(one: dict[str, Any]) -> dict[str, Any]:
        if one["kind"] != "night":
            return one
        return {
            **one,
            "tables": {**one["tables"], "records": {**one["tables"]["records"], "figure": "1:2:3"}},
        }

    rewrite_ledger(home, change)
    assert "gives the facts of the ledger, but other rows in the table records" in refused(home, RebuildError)


def test_a_home_without_a_night_has_nothing_to_rebuild(tmp_path: Path) -> None:
    ran = run_cli("rebuild", tmp_path)
    assert ran.code == 2
    assert "knows no night" in ran.err
    assert list(tmp_path.iterdir()) == []
    assert run_cli("rebuild", tmp_path / "nowhere").code == 2


def test_settings_of_today_that_cannot_be_read_do_not_matter(home: Path) -> None:
    (home / "leachbook.toml").write_text("name = 1", encoding="utf-8")
    rebuild(home, now=NOW)
    assert_proven(home)


@pytest.mark.parametrize("step", ["publish", "_finish"])
def test_a_rebuilding_that_died_is_finished_or_forgotten_by_the_next_night(
    home: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    import pipeline.publish

    before = contents(home)
    with monkeypatch.context() as patch:
        die_at(patch, pipeline.publish, step)
        with pytest.raises(_KilledError):
            rebuild(home, now=NOW)
    assert contents(home) == before
    assert night(home, NEXT_DAY, pages=True).is_unchanged
    assert len(kept(home)) == (0 if step == "publish" else 1)
    assert_proven(home)


def test_sweep_leaves_what_was_replaced(home: Path) -> None:
    rebuild(home, now=NOW)
    sweep(home)
    assert len(kept(home)) == 1


def test_a_replay_builds_all_that_the_digest_of_facts_reads() -> None:
    read = set(re.findall(r"(?:from|join) (\w+)", read_sql("history/facts_digest")))
    assert {"record_fates", "answered_dues"} <= read
    assert read & set(JUDGEMENT_MODELS) <= {name.split("/")[1] for name in FACTS_OF_JUDGEMENT}


def test_each_table_is_known_as_facts_or_is_made_anew_each_night(home: Path) -> None:
    """A new table of facts must get a digest; what a night empties and fills again needs none."""
    from pipeline.measuring import TABLES
    from pipeline.warehouse.build import BUILD_ORDER, HISTORY_MODELS
    from pipeline.warehouse.statements import read_sql

    with reader(home) as connection:
        tables = set(list_tables(connection))
    refilled = {
        "run", "sites", "policy", "policy_containers", "policy_problem_crops", "policy_finding_levels", "own_targets",
        "chosen_targets", "published_ranges", "crop_groups", "general_targets", "very_high_edges", "t_quantiles",
        "buffer_values", "closed_days", "feed_days", "benches", "grower_houses", "calendar_events", "file_days",
    }  # fmt: skip
    models = {name.split("/")[1] for name in BUILD_ORDER} | set(HISTORY_MODELS) | set(TABLES)
    facts = {one for one in tables - models - refilled if not one.startswith("policy_")}
    assert facts == set(BASE_TABLES)
    assert "rereads" in read_sql("schema/004_rereads")


def test_a_digest_sees_every_change_and_no_order() -> None:
    def figure(rows: str) -> str:
        connection = duckdb.connect()
        connection.execute(f"create table records as from (values {rows}) t(a, b)").fetchall()
        return digest_tables(connection, {"records": ["a", "b"]})["records"].figure

    plain = figure("('x', null), ('y', 'z')")
    assert plain == figure("('y', 'z'), ('x', null)")
    others = ("('x', 'NULL'), ('y', 'z')", "(null, 'x'), ('y', 'z')", "('x', ''), ('y', 'z')", "('x', null)")
    assert len({plain, *map(figure, others), figure("('x', null), ('y', 'z'), ('y', 'z')")}) == 6
    assert figure("('a, b', 'c')") != figure("('a', 'b, c')")


__all__ = ["DAY"]
