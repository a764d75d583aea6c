"""`leachbook verify DOSSIER.pdf`: what somebody changed is found, with its place, wherever it was changed."""

import csv
import hashlib
import io
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import duckdb
import pikepdf
import pytest

from pipeline.audit.check import compare_again
from pipeline.audit.reading import read_dossier
from pipeline.warehouse import connect
from tests.audit.homes import attachments, audit, make_audited_home
from tests.home import DROP, SITE, Ran, run_cli

DOSSIER = Path("out") / "audit" / "2026-03-02_2026-04-06" / "dossier.pdf"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = make_audited_home(tmp_path_factory.mktemp("check") / "home")
    assert audit(home).code == 0
    return home


@pytest.fixture
def home(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "home", symlinks=True))


def check(home: Path, dossier: Path | None = None) -> Ran:
    return run_cli("verify", dossier or home / DOSSIER, "--archive", home / "archive", "--json")


def sentences(told: Ran, part: str) -> list[str]:
    assert told.code == 1, told.err
    assert told.json["proven"] is False
    return [one["sentence"] for one in told.json["findings"] if one["part"] == part]


def replace_attachments(dossier: Path, changes: dict[str, bytes]) -> None:
    """Put other files into the PDF, under the same names."""
    with pikepdf.open(dossier, allow_overwriting_input=True) as pdf:
        for name, data in changes.items():
            pdf.attachments[name] = pikepdf.AttachedFileSpec(pdf, data, filename=name)
        pdf.save(dossier)


def edit(data: bytes, change: Callable[[dict[str, str]], None]) -> bytes:
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
    for row in rows:
        change(row)
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode("utf-8-sig")


def test_a_dossier_is_proven_away_from_its_home(home: Path, tmp_path: Path) -> None:
    away = tmp_path / "auditor"
    shutil.copytree(home / "archive", away / "archive")
    shutil.copyfile(home / DOSSIER, away / "dossier.pdf")
    shutil.rmtree(home)
    for folder in (away / "archive", away):
        told = run_cli("verify", away / "dossier.pdf", "--archive", folder, "--json")
        assert told.code == 0, told.out
        assert told.json["proven"] is True
        assert (told.json["files"], told.json["lots"]) == (5, 2)
    assert sorted(path.name for path in away.iterdir()) == ["archive", "dossier.pdf"]


def test_a_changed_byte_in_the_archive_is_named_by_its_file(home: Path) -> None:
    sha256 = hashlib.sha256((home / DROP / "readings_2026-03-08.csv").read_bytes()).hexdigest()
    path = home / "archive" / "files" / sha256[:2] / sha256
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    found = check(home)
    (told,) = sentences(found, "evidence")
    assert told.startswith(f"archive/files/{sha256[:2]}/{sha256}: was altered (file no. ")
    # the folder in which it was looked at is nobody's business
    (other,) = sentences(found, "archive")
    assert f"from the archive: archive/files/{sha256[:2]}/{sha256}: " in other
    assert "readings_2026-03-08.csv of hill" in told


def test_a_missing_file_of_the_archive_is_named(home: Path) -> None:
    sha256 = hashlib.sha256((home / DROP / "meters.csv").read_bytes()).hexdigest()
    (home / "archive" / "files" / sha256[:2] / sha256).unlink()
    (told,) = sentences(check(home), "evidence")
    assert "is missing or cannot be read" in told
    assert "drop/meters.csv of hill" in told


def test_a_deleted_row_of_the_ledger_is_named_by_line_and_file(home: Path) -> None:
    ledger = home / "archive" / "ledger.jsonl"
    lines = ledger.read_bytes().splitlines(keepends=True)
    gone = json.loads(lines[1])
    ledger.write_bytes(b"".join(lines[:1] + lines[2:]))
    told = check(home)
    broken = sentences(told, "ledger")
    assert any(one.startswith("archive/ledger.jsonl line 2: the entry does not follow") for one in broken)
    assert [one for one in sentences(told, "evidence") if f"has no receipt of {gone['name']} of hill" in one]


def test_a_ledger_written_anew_without_a_row_is_found_by_its_line(home: Path) -> None:
    """Whoever can write may chain the rest anew: the dossier knows the hash of the line that it was made from."""
    path = home / "archive" / "ledger.jsonl"
    entries = [json.loads(line) for line in path.read_bytes().splitlines()]
    del entries[1]
    previous, lines = "0" * 64, []
    for entry in entries:
        text = json.dumps({**entry, "previous": previous}, ensure_ascii=False, separators=(",", ":"))
        lines.append(text.encode())
        previous = hashlib.sha256(lines[-1]).hexdigest()
    path.write_bytes(b"\n".join(lines) + b"\n")
    assert [
        one
        for one in sentences(check(home), "ledger")
        if "is not the entry that the dossier was made from" in one
    ]


def test_an_edited_warehouse_is_refused_and_if_forced_named_by_row(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with duckdb.connect(home / "warehouse.duckdb") as connection:
        connection.execute(
            "update samplings set is_counting = false where lot_id = 'H-2' and sampled_on = date '2026-03-06'"
        ).fetchall()
    refused = audit(home)
    assert (refused.code, "is not the file that the last night left" in refused.err) == (2, True)
    monkeypatch.setattr(connect, "check_sealed", lambda _: None)
    assert audit(home).code == 0
    told = sentences(check(home), "archive")
    assert (
        "samplings.csv, site_id hill, lot_key h-2, sampled_on 2026-03-06, purpose routine: is_counting is false, the "
        "archive gives true."
    ) in told


def test_a_replaced_attachment_is_found_by_the_index_by_counting_and_by_the_archive(home: Path) -> None:
    def flatter(row: dict[str, str]) -> None:
        if row["state"] in ("open", "missed", "late"):
            row["state"] = "on_time"

    carried = attachments(home / DOSSIER)
    replace_attachments(home / DOSSIER, {"dues.csv": edit(carried["dues.csv"], flatter)})
    told = check(home)
    (of_index,) = sentences(told, "attachments")
    assert of_index.startswith("dues.csv: is not the file that index.csv names")
    for part, source in (("compliance", "the attached tables give"), ("archive", "the archive gives")):
        assert [one for one in sentences(told, part) if "state is on_time" in one and source in one]
    assert [one for one in sentences(told, "ledger") if "no entry of the ledger knows its SHA-256" in one]


def replace_with_index(dossier: Path, changes: dict[str, bytes]) -> None:
    """Put other tables into the PDF and make the index fit, as a forger would."""

    def point_to_it(row: dict[str, str]) -> None:
        if row["file"] in changes:
            data = changes[row["file"]]
            row["sha256"], row["size_bytes"] = hashlib.sha256(data).hexdigest(), str(len(data))

    index = edit(attachments(dossier)["index.csv"], point_to_it)
    replace_attachments(dossier, {**changes, "index.csv": index})


def test_a_replaced_attachment_with_a_new_index_is_still_found(home: Path) -> None:
    def better(row: dict[str, str]) -> None:
        row["proper"] = "yes"

    samplings = edit(attachments(home / DOSSIER)["samplings.csv"], better)
    replace_with_index(home / DOSSIER, {"samplings.csv": samplings})
    told = check(home)
    assert sentences(told, "attachments") == []
    row = "samplings.csv, site_id hill, lot_key h-1, sampled_on 2026-03-08, purpose routine: proper is yes, the "
    assert f"{row}attached tables give no." in sentences(told, "compliance")
    assert f"{row}archive gives no." in sentences(told, "archive")
    assert sentences(told, "ledger")


def test_a_changed_verdict_is_named_by_what_it_was_made_of_and_by_the_archive(home: Path) -> None:
    verdicts = attachments(home / DOSSIER)["verdicts.csv"]
    old, new = b"h-2,2026-03-06,routine,ph,in_range,in_range,", b"h-2,2026-03-06,routine,ph,low,out,"
    assert old in verdicts
    replace_with_index(home / DOSSIER, {"verdicts.csv": verdicts.replace(old, new)})
    told = check(home)
    assert sentences(told, "attachments") == []
    row = "verdicts.csv, site_id hill, lot_key h-2, sampled_on 2026-03-06, purpose routine, quantity ph: verdict is out"
    for part, source in (("compliance", "the attached tables give"), ("archive", "the archive gives")):
        assert f"{row}, {source} in_range." in sentences(told, part)


AFTER_OUT = "why after_out, due_on 2026-03-13, caused_on 2026-03-06"
AFTER_TREATMENT = "why after_treatment, due_on 2026-03-19, caused_on 2026-03-09"
MISSING, NO_SUCH = "the row is missing, the attached tables give it", "the attached tables give no such row"
SAMPLED = "sampled_on 2026-03-06, purpose routine"


@pytest.mark.parametrize(
    ("name", "old", "new", "place", "what"),
    [
        (
            "causes",
            "known_on\n",
            "known_on\nhill,h-2,after_out,2026-03-06,2026-03-13,7,2,,2026-04-02,retest,2026-04-02\n",
            f"causes.csv, AT, {AFTER_OUT}",
            NO_SUCH,
        ),
        (
            "treatments",
            "received_on\n",
            "received_on\nhill,H-2,h-2,2026-03-09,lime_drench,,,,false,1,2,drop/t.csv,2,2026-04-02\n",
            f"causes.csv, AT, {AFTER_TREATMENT}",
            MISSING,
        ),
        ("targets", ",5.8000,6.2000,", ",6.3000,6.8000,", f"causes.csv, AT, {AFTER_OUT}", MISSING),
        # a pot of 4.9 in place of 5.9 takes the mean from 6.0 to the edge of 5.8
        (
            "readings",
            "5.900,,3.0000,3.0000,",
            "4.900,,3.0000,3.0000,",
            f"verdicts.csv, AT, {SAMPLED}, quantity ph",
            "verdict is in_range, the attached tables give close_to_limit",
        ),
        (
            "samplings",
            "h-2,2026-03-06,routine,true,",
            "h-2,2026-03-06,routine,false,",
            f"samplings.csv, AT, {SAMPLED}",
            "is_counting is false, the attached tables give true",
        ),
    ],
)
def test_what_a_follow_up_hangs_on_is_worked_out_again(
    made: Path, name: str, old: str, new: str, place: str, what: str
) -> None:
    carried = read_dossier(made / DOSSIER)
    data = carried.files[f"{name}.csv"].decode()
    assert old in data
    assert compare_again(carried) == []
    files = {**carried.files, f"{name}.csv": data.replace(old, new).encode()}
    told = [one.sentence for one in compare_again(replace(carried, files=files))]
    assert f"{place.replace('AT', 'site_id hill, lot_key h-2', 1)}: {what}." in told


def test_a_dossier_without_what_compliance_is_made_of_says_so(made: Path) -> None:
    carried = read_dossier(made / DOSSIER)
    files = {name: data for name, data in carried.files.items() if name not in ("targets.csv", "gaps.csv")}
    (told,) = [one.sentence for one in compare_again(replace(carried, files=files))]
    assert told.startswith(
        "targets.csv, gaps.csv: not attached, so compliance cannot be computed again; ask for "
    )


def test_growers_are_worked_out_again_from_the_attached_houses(tmp_path: Path) -> None:
    growers = "".join(
        f'[[grower]]\nid = "{one}"\nname = "{one.title()}"\nemail = "{one}@hill.example"\nhouses = [{houses}]\n\n'
        for one, houses in (("ana", '"1", "2"'), ("bo", '"1"'))
    )
    home = make_audited_home(tmp_path / "home", site=SITE.replace("[[export]]", f"{growers}[[export]]", 1))
    assert audit(home).code == 0
    assert check(home).code == 0
    carried = attachments(home / DOSSIER)
    rows = {
        row["grower_id"]: row["lots"]
        for row in csv.DictReader(io.StringIO(carried["compliance.csv"].decode("utf-8-sig")))
        if row["level"] == "grower" and row["part"] == "all"
    }
    assert rows == {"ana": "2", "bo": "2"}

    def let_off(row: dict[str, str]) -> None:
        if row["grower_id"] == "bo":
            row["house_key"] = "3"

    replace_attachments(home / DOSSIER, {"growers.csv": edit(carried["growers.csv"], let_off)})
    told = check(home)
    assert any(one.startswith("growers.csv: is not the file") for one in sentences(told, "attachments"))
    assert (
        "lot_growers.csv, site_id hill, lot_key h-2, grower_id bo: the attached tables give no such row."
        in sentences(told, "compliance")
    )
    assert any("growers.csv, site_id hill, grower_id bo" in one for one in sentences(told, "archive"))


def test_an_attachment_that_is_missing_or_added_is_named(home: Path) -> None:
    with pikepdf.open(home / DOSSIER, allow_overwriting_input=True) as pdf:
        del pdf.attachments["held.csv"]
        pdf.attachments["more.csv"] = pikepdf.AttachedFileSpec(pdf, b"a\n1\n", filename="more.csv")
        pdf.save(home / DOSSIER)
    told = sentences(check(home), "attachments")
    assert [one.split(";")[0] for one in told] == [
        "held.csv: is missing",
        "more.csv: is attached, but index.csv does not name it",
    ]


def test_files_taken_out_of_the_index_are_missed(home: Path) -> None:
    carried = attachments(home / DOSSIER)
    rows = carried["files.csv"].decode("utf-8-sig").splitlines(keepends=True)
    replace_attachments(home / DOSSIER, {"files.csv": "".join(rows[:1] + rows[2:]).encode("utf-8-sig")})
    assert [one for one in sentences(check(home), "evidence") if one.startswith("files.csv: lacks drop/")]


def test_what_is_no_dossier_or_no_archive_is_said_in_one_sentence(home: Path, tmp_path: Path) -> None:
    text = tmp_path / "a.pdf"
    text.write_text("no pdf")
    told = run_cli("verify", text, "--archive", home / "archive")
    assert (told.code, "cannot be read as a PDF" in told.err) == (2, True)
    empty = pikepdf.new()
    empty.add_blank_page()
    empty.save(tmp_path / "b.pdf")
    told = run_cli("verify", tmp_path / "b.pdf", "--archive", home / "archive")
    assert (told.code, "carries no tables of a dossier" in told.err) == (2, True)
    told = run_cli("verify", home / DOSSIER, "--archive", tmp_path)
    assert (told.code, "holds no ledger.jsonl" in told.err) == (2, True)
    told = run_cli("verify", home / DOSSIER)
    assert (told.code, "say with --archive" in told.err) == (2, True)
    told = run_cli("verify", home, "--archive", home / "archive")
    assert (told.code, "leave it out" in told.err) == (2, True)
    told = run_cli("verify", tmp_path / "gone.pdf", "--archive", home / "archive")
    assert (told.code, "gone.pdf: there is no such file" in told.err) == (2, True)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("files.csv", b"a,b\n1,2\n"),
        ("dictionary.csv", b'table,column,type\nlots,site_id,"VARCHAR); drop table lots; --"\n'),
        ("samplings.csv", b"\xff\xfe"),
        ("index.csv", b"no index"),
    ],
)
def test_a_table_that_is_none_is_a_finding_and_no_traceback(home: Path, name: str, data: bytes) -> None:
    replace_attachments(home / DOSSIER, {name: data})
    told = check(home)
    assert sentences(told, "attachments"), told.out
    assert "Traceback" not in told.err


@pytest.mark.parametrize("data", [b"", b"key,value\nfrom_on,soon\n"])
def test_a_dossier_that_does_not_say_what_it_is_about_is_refused(home: Path, data: bytes) -> None:
    replace_attachments(home / DOSSIER, {"audit.csv": data})
    told = check(home)
    assert (told.code, "does not say what the dossier is about" in told.err) == (2, True)


def home_findings(home: Path) -> list[str]:
    told = run_cli("verify", home, "--json")
    return [one["sentence"] for one in told.json["findings"] if one["part"] == "dossiers"]


def test_the_home_s_own_proof_looks_at_its_dossiers(home: Path) -> None:
    told = run_cli("verify", home, "--json")
    assert (told.code, told.json["dossiers"]) == (0, 1), told.out
    folder = (home / DOSSIER).parent
    for name in ("dossier.pdf", "dues.csv"):
        data = bytearray((folder / name).read_bytes())
        data[len(data) // 2] ^= 1
        (folder / name).write_bytes(data)
    (folder / "gaps.csv").unlink()
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    mend = "make it again with `leachbook audit`, or bring it back from a backup."
    place = folder.relative_to(home)
    assert home_findings(home) == [
        f"{place}/dossier.pdf: is not what the audit wrote; {mend}",
        f"{place}/dues.csv: is not what the audit wrote; {mend}",
        f"{place}/gaps.csv: is missing or cannot be read; {mend}",
    ]
    assert audit(home).code == 0
    assert home_findings(home) == []


def test_a_dossier_that_no_audit_wrote_is_named_and_one_taken_away_is_not(home: Path) -> None:
    folder = (home / DOSSIER).parent
    folder.rename(folder.with_name("2026-01-01_2026-12-31"))
    # the very PDF that an audit wrote, under another period's name
    assert home_findings(home) == []
    foreign = folder.with_name("2026-01-01_2026-12-31") / "dossier.pdf"
    foreign.write_bytes(foreign.read_bytes() + b"\n")
    [told] = home_findings(home)
    assert told.startswith(
        "out/audit/2026-01-01_2026-12-31/dossier.pdf: no entry of the ledger knows it; make it "
    )
    shutil.rmtree(foreign.parent)
    assert home_findings(home) == []
