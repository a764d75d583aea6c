"""Homes that were tampered with for real: whatever was altered, verify names it with its place."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.intake import archive, ledger
from pipeline.verify import VerifyResult, verify_home
from pipeline.verify.archived import count_lines
from pipeline.verify.pages import check_pages
from pipeline.warehouse.connect import warehouse_path
from tests.conftest import Share, copy_home
from tests.home import DAY, DROP, GOOD_PH, NOW, READINGS_HEADER, SITE, drop, make_home, night, pots, run_cli

NEXT_DAY = DAY + timedelta(days=1)
READINGS = "drop/readings_2026-04-02.csv of hill"
SAMPLING = "site_id hill, lot_key h-1, sampled_on 2026-04-02, purpose routine"


def run_three_nights(home: Path) -> None:
    """A night with files, a silent one with a stray file, and one with held lines and a mapping that has changed."""
    night(make_home(home))
    drop(home, "stray.bin", b"x")
    night(home, NEXT_DAY)
    late = READINGS_HEADER + pots("H-1", "2026-04-05", GOOD_PH) + pots("H-9", "2026-04-05", GOOD_PH)
    drop(home, "readings_2026-04-05.csv", late)
    changed = SITE.replace("numbers_pots = true", "numbers_pots = false")
    (home / "sites" / "hill" / "site.toml").write_text(changed, encoding="utf-8")
    night(home, NEXT_DAY, pages=True)


@pytest.fixture(scope="session")
def three_nights(share: Share) -> Path:
    """Not to be changed: copy it."""
    return share("three-nights", run_three_nights)


@pytest.fixture
def home(three_nights: Path, tmp_path: Path) -> Path:
    return copy_home(three_nights, tmp_path / "home")


def prove(home: Path) -> VerifyResult:
    return verify_home(home, now=NOW)


def said(home: Path, part: str) -> list[str]:
    return [one.sentence for one in prove(home).findings if one.part == part]


def tamper(home: Path, statement: str) -> None:
    """What anybody with DuckDB can do; the file is whole again afterwards."""
    connection = duckdb.connect(warehouse_path(home))
    connection.execute(statement)
    connection.close()


def flip(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 0x10
    path.write_bytes(data)


def test_a_home_that_nobody_touched_is_proven(home: Path) -> None:
    before = {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}
    ran = run_cli("verify", home, "--json")
    assert ran.code == 0
    assert ran.json == {
        "proven": True,
        "nights": 3,
        # four exports, two settings files of which one changed, two lists of them, two nights with news for calendars
        "archived_files": 11,
        "files": 4,
        "lines": 28,
        "records": 28,
        "dossiers": 0,
        "findings": [],
    }
    assert {path: path.read_bytes() for path in home.rglob("*") if path.is_file()} == before


def test_the_command_tells_a_person_and_ends_with_one(home: Path) -> None:
    path = archive.file_path(home, ledger.read_ledger(home)[0]["sha256"])
    flip(path, 5)
    ran = run_cli("verify", home)
    assert ran.code == 1
    assert ran.out.splitlines()[0].startswith("Not proven (3 nights in the ledger, 10 files in the archive")
    assert f"  {path.relative_to(home)}: was altered (drop/" in ran.out


def test_the_demo_is_proven(demo_home: Path, tmp_path: Path) -> None:
    assert prove(copy_home(demo_home, tmp_path / "demo")).findings == []


@pytest.mark.parametrize("where", [0.00001, 0.2, 0.55, 0.9999])
def test_a_flipped_byte_of_the_warehouse(home: Path, where: float) -> None:
    path = warehouse_path(home)
    flip(path, int(path.stat().st_size * where))
    (first, *rest) = said(home, "warehouse")
    assert first.startswith("warehouse.duckdb: is not the file that night number 3 left (")
    assert f"run `leachbook rebuild {home}`" in first
    assert rest, "says what of it is wrong, or that no row is"


def test_a_byte_in_unused_space(home: Path) -> None:
    path = warehouse_path(home)
    path.write_bytes(path.read_bytes() + b"\0" * 10)
    assert "every row of it is what the archive gives" in said(home, "warehouse")[-1]


def test_damage_is_named_down_to_the_column(home: Path) -> None:
    path = warehouse_path(home)
    data = path.read_bytes()
    # The file may hold blocks of earlier nights that nothing uses any more: each copy is hit.
    for hit in re.finditer(b"H-1,2026-04-02,routine,1,5.7,2.60,50,M1", data):
        flip(path, hit.start())
    assert any("table records, column text: cannot be read (" in one for one in said(home, "warehouse"))


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (
            "delete from reading_lines where ph = 5.7 and sampled_on = '2026-04-02'",
            f"table reading_lines: {READINGS} line 2 (record 2): the row was removed",
        ),
        (
            "update reading_lines set ph = 5.1 where ph = 5.7 and sampled_on = '2026-04-02'",
            f"table reading_lines: {READINGS} line 2 (record 2): ph is 5.100, the archive gives 5.700",
        ),
        (
            "insert into lot_lines (file_id, record_no, lot_code) values (77, 1, 'H-7')",
            "table lot_lines: file_id 77, record_no 1: the row was put there, no file gives it",
        ),
        (
            "update fate_history set until_night = 3 where fate = 'not_data' and file_id = 1",
            "until_night is 3, the archive gives empty",
        ),
        (
            "update nights set as_of = '2026-04-05' where night_no = 1",
            "table nights: night_no 1: as_of is 2026-04-05",
        ),
        (
            "delete from file_troubles",
            "table file_troubles: night_no 2, site_id hill, name drop/stray.bin: the row was",
        ),
        (
            "update verdicts set side = 'high' where lot_key = 'h-2' and quantity = 'ec'",
            f"table verdicts: {SAMPLING.replace('h-1', 'h-2')}, quantity ec: side is 'high', the archive gives '",
        ),
        (
            "delete from samplings where lot_key = 'h-1' and sampled_on = '2026-04-02'",
            f"table samplings: {SAMPLING}: the row was removed",
        ),
        (
            "insert into samplings select * replace ('retest' as purpose) from samplings where lot_key = 'h-1'",
            f"table samplings: {SAMPLING.replace('routine', 'retest')}: the row was put there, nothing that",
        ),
        (
            "delete from usable_readings where record_no = 2 and sampled_on = '2026-04-02'",
            f"table usable_readings: {READINGS} line 2 (record 2): the row was removed",
        ),
        ("update run set as_of = '2026-04-01'", "table run: "),
        ("drop table verdicts", "table verdicts: the table was taken away"),
        ("drop table record_fates", "table record_fates: the table was taken away"),
        (
            "alter table reading_lines drop column ph",
            "table reading_lines: the table or one of its columns is gone",
        ),
        ("create table mine as select 1 as one", "table mine: the table was put there, no night makes it"),
    ],
)
def test_rows_and_tables_that_were_altered_are_named(home: Path, statement: str, says: str) -> None:
    tamper(home, statement)
    found = said(home, "warehouse")
    assert any(says in one for one in found), found
    assert all(one.endswith(".") and "\n" not in one for one in found)


def test_what_follows_from_an_altered_row_is_named_after_it(home: Path) -> None:
    tamper(home, "delete from attention")
    tamper(home, "update reading_lines set ph = 5.1 where ph = 5.7 and sampled_on = '2026-04-02'")
    rows = [one for one in said(home, "warehouse") if ": site_id " in one or f": {READINGS}" in one]
    assert "table reading_lines: " in rows[0]
    assert "table attention: site_id hill, lot_key h-1: the row was removed" in rows[1]


def test_no_more_than_twenty_rows_are_named(home: Path) -> None:
    tamper(home, "update records set text = text || '!' where text is not null")
    rows = [one for one in said(home, "warehouse") if "table records: drop/" in one]
    assert len(rows) == 20
    assert any(
        "table records: " in one and "rows are not what the archive gives" in one
        for one in said(home, "warehouse")
    )


def test_a_record_that_lost_its_fate_is_out_of_balance(home: Path) -> None:
    tamper(
        home, "delete from record_fates where file_id = (select min(file_id) from files) and record_no = 2"
    )
    assert any("lines over the six fates, but there are" in one for one in said(home, "balance"))


def test_lines_are_counted_on_the_file_itself(home: Path) -> None:
    tamper(home, "update files set lines = lines + 1 where kind = 'lots'")
    assert any(
        one.startswith("drop/lots.csv of hill: 4 lines in the warehouse, but there are 3;")
        for one in said(home, "balance")
    )


@pytest.mark.parametrize(
    ("data", "encoding", "lines"),
    [
        (b"", "utf-8", 0),
        (b"\xef\xbb\xbf", "utf-8-sig", 0),
        (b"a\r\nb\rc\nd", "cp1252", 4),
        (b"a\n\r\n", "utf-8", 2),
        ("a\r\nb".encode("utf-16"), "utf-16", 2),
        ("a\u0a0d\n".encode("utf-16-be"), "utf-16", 1),
        (b"\xfe\xff" + "a\u0a0d\n".encode("utf-16-be"), "utf-16", 1),
        (b"a\0\n\0x", "utf-16", 2),
        ("a\nb\n".encode("utf-16-be"), "utf-16-be", 2),
    ],
)
def test_count_of_lines(data: bytes, encoding: str, lines: int) -> None:
    assert count_lines(data, encoding) == lines


def test_a_file_of_the_archive_that_was_deleted_or_added(home: Path) -> None:
    receipt = ledger.read_ledger(home)[0]
    path = archive.file_path(home, receipt["sha256"])
    path.unlink()
    (path.parent / "mine").write_bytes(b"x")
    (home / "archive" / "notes.txt").write_bytes(b"x")
    found = said(home, "archive")
    assert len(found) == 3
    assert found[0].startswith(
        f"{path.relative_to(home)}: is missing ({receipt['name']} of hill, ledger line 1)"
    )
    assert [one.split(":")[0] for one in found[1:]] == [
        str((path.parent / "mine").relative_to(home)),
        "archive/notes.txt",
    ]


def test_a_version_of_the_settings_that_was_altered(home: Path) -> None:
    version = ledger.read_ledger(home)[-1]["settings"]
    inner = json.loads(archive.fetch(home, version))["settings"]["sites/hill/site.toml"]
    flip(archive.file_path(home, inner), 3)
    (found,) = said(home, "archive")
    assert "was altered (sites/hill/site.toml in the settings of 2026-04-07" in found


Lines = list[bytes]


def change_receipt(lines: Lines) -> Lines:
    return [lines[0].replace(b"2026-04-02.csv", b"2026-04-03.csv"), *lines[1:]]


def remove_receipt(lines: Lines) -> Lines:
    return lines[1:]


def insert_receipt(lines: Lines) -> Lines:
    return [lines[0], lines[0], *lines[1:]]


def cut_end(lines: Lines) -> Lines:
    return lines[:-1]


def cut_to_first_night(lines: Lines) -> Lines:
    return lines[:4]


def change_last(lines: Lines) -> Lines:
    return [*lines[:-1], lines[-1].replace(b'"records":11', b'"records":12')]


def forge_whole_chain(lines: Lines) -> Lines:
    """Everything written anew over a changed receipt: only the warehouse can tell."""
    previous, forged = ledger.FIRST_PREVIOUS, []
    for entry in map(json.loads, change_receipt(lines)):
        entry["previous"] = previous
        forged.append(json.dumps(entry, ensure_ascii=False, separators=(",", ":")).encode())
        previous = ledger._hash(forged[-1])
    return forged


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (change_receipt, "line 2 (receipt of "),
        (
            change_receipt,
            "line 1: the warehouse knows no such receipt of drop/readings_2026-04-03.csv of hill",
        ),
        (remove_receipt, "line 1 (receipt of drop/"),
        (remove_receipt, "has no receipt of drop/readings_2026-04-02.csv of hill on 2026-04-06"),
        (
            insert_receipt,
            "line 2 (receipt of drop/readings_2026-04-02.csv of hill): the entry does not follow",
        ),
        (cut_end, "ends with night number 2, but the warehouse knows number 3"),
        (cut_to_first_night, "ends with night number 1, but the warehouse knows number 3"),
        (change_last, "line 7: the ledger has new_records 12 for night number 3, the warehouse has 11"),
        (
            forge_whole_chain,
            "line 1: the warehouse knows no such receipt of drop/readings_2026-04-03.csv of hill",
        ),
    ],
)
def test_a_ledger_that_was_changed(home: Path, damage: Callable[[Lines], Lines], says: str) -> None:
    path = ledger.ledger_path(home)
    before = path.read_bytes().splitlines()
    after = damage(before)
    assert after != before
    path.write_bytes(b"".join(line + b"\n" for line in after))
    found = said(home, "ledger")
    assert any(
        f"archive/ledger.jsonl {says}" in one or f"archive/ledger.jsonl: {says}" in one for one in found
    ), found


def test_a_ledger_cut_off_sends_nobody_to_rebuild_or_to_take_files_away(home: Path) -> None:
    path = ledger.ledger_path(home)
    path.write_bytes(b"".join(line + b"\n" for line in cut_to_first_night(path.read_bytes().splitlines())))
    told = [one.sentence for one in verify_home(home, now=NOW).findings]
    assert any("its tables are not compared; bring the ledger back" in one for one in told)
    assert any("leave it until the ledger is back" in one for one in told)
    assert not [one for one in told if "rebuild" in one or "take it away" in one]


def test_a_figure_changed_in_the_document_or_a_page_is_found_and_made_again(home: Path) -> None:
    pages = home / "out" / "2026-04-07"
    assert said(home, "pages") == []
    document = pages / "summary.json"
    told = document.read_text(encoding="utf-8")
    changed = re.sub(r'"plants": ?800', '"plants": 801', told, count=1)
    assert changed != told
    document.write_text(changed, encoding="utf-8")
    with (pages / "sites" / "hill.pdf").open("ab") as stream:
        stream.write(b" ")
    (pages / "overview.html").unlink()
    (pages / "notes.txt").write_text("mine", encoding="utf-8")
    found = said(home, "pages")
    assert sorted(one.split(";")[0] for one in found) == [
        "out/2026-04-07/overview.html: is missing or cannot be read",
        "out/2026-04-07/sites/hill.pdf: is not what the night wrote",
        "out/2026-04-07/summary.json: is not what the night wrote",
    ]
    assert run_cli("nightly", home, "--as-of", "2026-04-07").code in (0, 1)
    assert said(home, "pages") == []


def test_pages_of_a_ledger_without_their_hashes_are_known_by_the_digest_of_facts(home: Path) -> None:
    pages = home / "out" / "2026-04-07"
    numbered = [
        (number, {key: value for key, value in entry.items() if key != "pages"})
        for number, entry in enumerate(ledger.read_ledger(home), 1)
    ]
    assert list(check_pages(home, numbered)) == []
    facts = numbered[-1][1]["facts"]
    for page in (pages / "summary.json", pages / "sites" / "hill.html"):
        page.write_text(page.read_text(encoding="utf-8").replace(facts[:12], "1:2:3"), encoding="utf-8")
    assert [one.sentence.split(":")[0] for one in check_pages(home, numbered)] == [
        "out/2026-04-07/summary.json",
        "out/2026-04-07/sites/hill.html",
    ]


def test_a_warehouse_that_is_gone_or_was_opened_for_writing(home: Path) -> None:
    (home / "warehouse.duckdb.wal").write_bytes(b"")
    assert any("something other than a night wrote to it" in one for one in said(home, "warehouse"))
    (home / "warehouse.duckdb.wal").unlink()
    warehouse_path(home).unlink()
    assert said(home, "warehouse") == [
        f"warehouse.duckdb: the file is gone; run `leachbook rebuild {home}`, which makes it anew from the archive."
    ]


def test_what_cannot_be_proven_at_all_ends_with_two(tmp_path: Path) -> None:
    ran = run_cli("verify", tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert "no night has been run yet" in ran.err
    assert run_cli("verify", tmp_path / "nowhere").code == 2


def test_a_file_that_no_export_takes_any_more_is_still_balanced(home: Path) -> None:
    changed = (
        (home / "sites" / "hill" / "site.toml").read_text(encoding="utf-8").replace("readings*.csv", "r*.txt")
    )
    (home / "sites" / "hill" / "site.toml").write_text(changed, encoding="utf-8")
    night(home, NEXT_DAY)
    assert prove(home).findings == []
    assert (home / DROP / "readings_2026-04-05.csv").exists()


@pytest.mark.parametrize(
    "statement",
    [
        "update reading_lines set ph = 5.1 where record_no = 2",
        "update records set text = 'H-1,2026-04-02,routine,1,9,9,9,M1,' where record_no = 2",
        "delete from lot_lines where record_no = 2",
        "delete from records where record_no = 2",
        "delete from fate_history where record_no = 2",
    ],
)
def test_the_next_night_does_not_seal_what_somebody_altered(home: Path, statement: str) -> None:
    tamper(home, statement)
    entries = ledger.ledger_path(home).read_bytes()
    drop(home, "readings_2026-05-01.csv", READINGS_HEADER + pots("H-1", "2026-05-01", ("5.8",)))
    ran = run_cli("nightly", home, "--as-of", "2026-05-02")
    assert ran.code == 2
    assert ran.err.rstrip().endswith(f"run `leachbook rebuild {home}`, which makes it anew from the archive.")
    assert ledger.ledger_path(home).read_bytes() == entries
    for command in (("held", home), ("status", home)):
        assert run_cli(*command).code == 2
