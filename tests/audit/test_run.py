"""`leachbook audit`: the dossier, its tables, its hash in the ledger, and what was known then."""

import csv
import hashlib
import io
import json
from pathlib import Path

import pikepdf
import pytest

from tests.audit.homes import attachments, audit, correct_later, make_audited_home
from tests.home import LOTS_HEADER, READINGS_HEADER, make_home, night, run_cli


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_audited_home(tmp_path_factory.mktemp("audit") / "home")


@pytest.fixture(scope="module")
def dossier(home: Path) -> Path:
    told = audit(home)
    assert told.code == 0, told.err
    return home / "out" / "audit" / "2026-03-02_2026-04-06" / "dossier.pdf"


def read(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))


def test_the_tables_are_attached_and_lie_beside_the_dossier(dossier: Path) -> None:
    carried = attachments(dossier)
    beside = {path.name: path.read_bytes() for path in dossier.parent.glob("*.csv")}
    assert carried == beside
    index = {row["file"]: row for row in read(carried["index.csv"])}
    assert set(index) == set(carried) - {"index.csv"}
    for name, row in index.items():
        assert row["sha256"] == hashlib.sha256(carried[name]).hexdigest()
        assert int(row["rows"]) == len(read(carried[name]))


def test_its_hash_is_printed_and_stands_in_the_ledger(home: Path, dossier: Path) -> None:
    sha256 = hashlib.sha256(dossier.read_bytes()).hexdigest()
    entries = [json.loads(line) for line in (home / "archive" / "ledger.jsonl").read_text().splitlines()]
    (entry,) = [one for one in entries if one["kind"] == "audit"]
    assert (entry["sha256"], entry["from"], entry["night"]) == (sha256, "2026-03-02", 2)
    again = audit(home)
    assert f"SHA-256 {sha256}, noted in the ledger." in again.out


def test_the_home_is_still_proven_and_can_be_rebuilt(home: Path, dossier: Path) -> None:
    assert run_cli("verify", home).code == 0
    assert run_cli("rebuild", home).code == 0
    assert run_cli("verify", home).code == 0


def test_every_column_of_every_table_stands_in_the_dictionary(dossier: Path) -> None:
    carried = attachments(dossier)
    told = {(row["table"], row["column"]): row for row in read(carried["dictionary.csv"])}
    for name, data in carried.items():
        if name == "dictionary.csv":
            continue
        header = next(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
        for column in header:
            assert told[name.removesuffix(".csv"), column]["meaning"]


def test_a_figure_leads_to_line_and_file(home: Path, dossier: Path) -> None:
    carried = attachments(dossier)
    (due,) = [row for row in read(carried["dues.csv"]) if row["lot_id"] == "H-1" and row["why"] == "first"]
    sampled = [
        row
        for row in read(carried["readings.csv"])
        if row["lot_id"] == "H-1" and row["sampled_on"] == due["taken_on"]
    ]
    assert len(sampled) == 5
    files = {row["file_id"]: row for row in read(carried["files.csv"])}
    for row in sampled:
        sha256 = files[row["file_id"]]["sha256"]
        archived = (home / "archive" / "files" / sha256[:2] / sha256).read_text().splitlines()
        assert archived[int(row["line_from"]) - 1] == row["text"]


def test_both_versions_of_a_corrected_line_are_shown(dossier: Path) -> None:
    (row,) = read(attachments(dossier)["corrections.csv"])
    assert (row["fate"], row["changed_on"], row["by_received_on"]) == (
        "superseded",
        "2026-04-06",
        "2026-04-06",
    )
    assert ",5.7," in row["text"]
    assert ",5.6," in row["by_text"]


def test_text_that_a_spreadsheet_would_run_is_disarmed(dossier: Path) -> None:
    notes = {row["note"] for row in read(attachments(dossier)["readings.csv"])}
    assert "'=1+1" in notes


def test_what_was_known_then_is_made_again_to_the_byte(tmp_path: Path) -> None:
    home = make_audited_home(tmp_path / "home")
    first = audit(home, "--json")
    correct_later(home)
    again = audit(home, "--as-known", "2026-04-07", "--json")
    assert again.code == 0, again.err
    assert again.json["sha256"] == first.json["sha256"]
    assert again.json["as_known"] == "2026-04-06"
    now = audit(home, "--json")
    assert now.json["sha256"] != first.json["sha256"]
    folders = sorted(path.name for path in (home / "out" / "audit").iterdir())
    assert folders == ["2026-03-02_2026-04-06", "2026-03-02_2026-04-06_as-known-2026-04-07"]
    assert Path(again.json["dossier"]).read_bytes() != Path(now.json["dossier"]).read_bytes()


def test_a_period_ends_with_what_was_known(home: Path, dossier: Path) -> None:
    told = run_cli("audit", home, "--from", "2026-04-03", "--to", "2026-05-31", "--as-known", "2026-04-30")
    assert told.code == 0, told.err
    assert "as known at the end of 2026-04-06" in told.out
    assert "What came after 2026-04-06 was not known" in told.out


def test_a_period_in_which_no_lot_stood_is_said_to_be_one(home: Path) -> None:
    told = run_cli("audit", home, "--from", "2025-01-01", "--to", "2025-01-31")
    assert told.code == 0, told.err
    assert "  No lot stood in this period: nothing was due, and the dossier says so.\n" in told.out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--from", "2026-04-06", "--to", "2026-04-01"), "--to 2026-04-01 is before --from 2026-04-06"),
        (("--from", "2026-05-01", "--to", "2026-05-31"), "--from 2026-05-01 lies after the night"),
        (
            ("--from", "2026-03-01", "--to", "2026-03-31", "--as-known", "2026-03-31"),
            "no night of",
        ),
        (("--from", "2026-03-01", "--to", "2026-03-31", "--site", "hil"), "hill"),
    ],
)
def test_what_cannot_be_audited_is_said_in_one_sentence(
    home: Path, arguments: tuple[str, ...], sentence: str
) -> None:
    told = run_cli("audit", home, *arguments)
    assert told.code == 2
    assert sentence in told.err
    assert len(told.err.splitlines()) == 1


def test_a_home_without_a_night_is_told_so(tmp_path: Path) -> None:
    told = audit(make_home(tmp_path / "home"))
    assert (told.code, "no night has been run yet" in told.err) == (2, True)


def test_the_dossier_of_one_site_has_its_own_folder(home: Path, dossier: Path) -> None:
    told = audit(home, "--site", "hill", "--json")
    assert told.code == 0, told.err
    assert Path(told.json["dossier"]).parent.name == "2026-03-02_2026-04-06_hill"
    assert [row["site"] for row in told.json["sites"]] == [None, "hill"]


def test_each_lot_has_its_timeline_in_words_too(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        alts = [
            str(item.Alt) for item in pdf.objects if isinstance(item, pikepdf.Dictionary) and "/Alt" in item
        ]
    assert any(alt.startswith("Timeline of lot H-1. Dues: ") for alt in alts)
    assert any(alt.startswith("Checks of meter M1: ") for alt in alts)


def test_a_home_without_a_lot_in_the_period_has_a_dossier_too(tmp_path: Path) -> None:
    empty = {"lots.csv": LOTS_HEADER, "readings_2026-04-02.csv": READINGS_HEADER}
    home = make_home(tmp_path / "home", **empty)
    night(home)
    told = audit(home, "--draw", 2, "--seed", "a", "--as-known", "2026-04-30", "--json")
    assert told.code == 0, told.err
    assert (told.json["sites"], told.json["drawn"], told.json["changes_since"]) == ([], [], 0)
    assert run_cli("verify", told.json["dossier"], "--archive", home).code == 0
