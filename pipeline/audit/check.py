"""A dossier checked away from its home: attachments, evidence, ledger, compliance, and all of it made anew."""

from __future__ import annotations

import csv
import hashlib
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, Final

import polars as pl

from pipeline.audit.differences import Difference, count_rows, find_differences, say_value
from pipeline.audit.evidence import Attached, Period, attach
from pipeline.audit.known import open_known_night
from pipeline.audit.reading import Carried, read_dossier, read_table
from pipeline.audit.run import look_back
from pipeline.errors import AuditError, LeachbookError
from pipeline.intake import archive, ledger
from pipeline.measures.ec import very_high_edges
from pipeline.measures.reference_tables import load_ec_bands
from pipeline.measures.t_table import t_quantiles
from pipeline.programme.sheet_csv import rearm
from pipeline.tables.files import to_csv
from pipeline.verify.findings import Finding, Part
from pipeline.warehouse.audit import GIVEN, WORKED_OUT_AGAIN, compute_again

Say = Callable[[str], None]
MOST_NAMED: Final = 5
_UNREADABLE: Final = (KeyError, TypeError, ValueError, csv.Error, pl.exceptions.PolarsError)
"""What tables raise that somebody wrote who did not know them."""


@dataclass(slots=True)
class DossierCheck:
    """What was looked at, and what is wrong; no finding means that all of it is proven."""

    path: Path
    sha256: str
    tables: int = 0
    files: int = 0
    lots: int = 0
    findings: list[Finding] = field(default_factory=list)


def check_dossier(path: Path, archive_folder: Path, *, say: Say = lambda _: None) -> DossierCheck:
    """Check a dossier against a copy of the archive; nothing is changed.

    `archive_folder` holds ledger.jsonl, or is a home. Raises AuditError when the PDF is no dossier or the folder no
    archive, ArchiveError when its ledger cannot be opened.
    """
    carried = read_dossier(path)
    result = DossierCheck(path, hashlib.sha256(path.read_bytes()).hexdigest())
    with _home_of(archive_folder) as home:
        for what, step in (
            ("Comparing the attached tables with their index", _check_attached),
            ("Walking the ledger", partial(_check_ledger, home, result.sha256)),
            ("Hashing the evidence", partial(_check_evidence, home, result)),
            ("Computing compliance again from the attached tables", partial(_check_compliance, result)),
            ("Making every table anew from the archive", partial(_check_anew, home, say)),
        ):
            say(what)
            try:
                result.findings += step(carried)
            except _UNREADABLE as error:
                # What one step cannot read must not silence the others.
                result.findings.append(
                    Finding(
                        "attachments",
                        f"{what} came to no end: a table is not as a dossier has it ({type(error).__name__}: "
                        f"{error}); "
                        "ask for the dossier as it was handed out.",
                    )
                )
    result.tables = len(carried.files)
    return result


@contextmanager
def _home_of(folder: Path) -> Iterator[Path]:
    """A folder in which the archive stands as in a home; the archive itself is only read."""
    inside = next((one for one in (folder, folder / "archive") if (one / "ledger.jsonl").is_file()), None)
    if inside is None:
        raise AuditError(
            f"{folder}: holds no ledger.jsonl; give the archive folder of the home, or a copy of it."
        )
    with tempfile.TemporaryDirectory(prefix="leachbook-dossier-") as name:
        home = Path(name)
        (home / "archive").symlink_to(inside.resolve(), target_is_directory=True)
        yield home


def _check_attached(carried: Carried) -> Iterator[Finding]:
    if "index.csv" not in carried.files:
        yield _attached("index.csv", "is missing")
        return
    index = {row["file"]: row for row in carried.table("index").to_dicts()}
    for name, row in index.items():
        data = carried.files.get(name)
        if data is None:
            yield _attached(name, "is missing")
        elif hashlib.sha256(data).hexdigest() != row["sha256"]:
            yield _attached(name, "is not the file that index.csv names, so it was replaced or altered")
    for name in sorted({*carried.files} - {*index, "index.csv"}):
        yield _attached(name, "is attached, but index.csv does not name it")


def _attached(name: str, what: str) -> Finding:
    return Finding("attachments", f"{name}: {what}; ask for the dossier as it was handed out.")


def _check_ledger(home: Path, sha256: str, carried: Carried) -> Iterator[Finding]:
    entries, broken = ledger.walk_chain(home)
    for one in broken:
        yield Finding("ledger", f"archive/ledger.jsonl line {one.entry_no}: {one.sentence}.")
    line, hashes = int(carried.facts["ledger_line"]), ledger.line_hashes(home)
    if line > len(hashes):
        yield Finding(
            "ledger",
            f"archive/ledger.jsonl: ends with line {len(hashes)}, but the dossier was made from {line} lines, so "
            "its end was "
            "cut off or the copy is older; ask for a newer copy of the archive.",
        )
    elif hashes[line - 1] != carried.facts["ledger_sha256"]:
        yield Finding(
            "ledger",
            f"archive/ledger.jsonl line {line}: is not the entry that the dossier was made from, so lines up to "
            "it were changed, "
            "added or removed; compare with an older copy of the ledger.",
        )
    if not any(entry.get("kind") == ledger.AUDIT and entry.get("sha256") == sha256 for _, entry in entries):
        yield Finding(
            "ledger",
            f"{carried.path.name}: no entry of the ledger knows its SHA-256 {sha256}, so it is not the PDF that "
            "was handed out, "
            "or the copy of the archive is older than it; ask for both again.",
        )


def _check_evidence(home: Path, result: DossierCheck, carried: Carried) -> list[Finding]:
    """What is wrong with the files of the evidence; those that are as the dossier names them are counted."""
    found: list[Finding] = []
    rows = carried.table("files").to_dicts()
    for row in rows:
        problem = _look_at(home, row, f"file no. {row['file_id']}, {row['name']} of {row['site_id']}")
        result.files += problem is None
        found += [] if problem is None else [problem]
    for row in carried.table("settings").to_dicts():
        problem = _look_at(home, row, f"settings {row['name']}")
        found += [] if problem is None else [problem]
    return [*found, *_compare_receipts(home, carried, rows)]


def _look_at(home: Path, row: Mapping[str, Any], what: str) -> Finding | None:
    sha256 = str(row["sha256"])
    if len(sha256) != 64 or not sha256.isalnum():
        return Finding(
            "evidence", f"files.csv: names no hash for {what}; ask for the dossier as it was handed out."
        )
    path = archive.file_path(home, sha256)
    place = path.relative_to(home)
    try:
        data = path.read_bytes()
    except OSError:
        return Finding(
            "evidence", f"{place}: is missing or cannot be read ({what}); ask for it, or for a newer copy."
        )
    if hashlib.sha256(data).hexdigest() != sha256 or str(len(data)) != row["size_bytes"]:
        return Finding(
            "evidence", f"{place}: was altered ({what}); compare with an older copy of the archive."
        )
    return None


def _compare_receipts(home: Path, carried: Carried, rows: list[dict[str, Any]]) -> Iterator[Finding]:
    """Receipts of the ledger beside the evidence index: the same files, no more and no fewer."""
    entries, _ = ledger.walk_chain(home)
    site_id, until = carried.period.site_id, int(carried.facts["ledger_line"])
    told = {
        (entry.get("site"), entry.get("name"), entry.get("sha256"), entry.get("received_on"))
        for line, entry in entries
        if entry.get("kind") == ledger.RECEIPT and line <= until and site_id in (None, entry.get("site"))
    }
    listed = {(row["site_id"], row["name"], row["sha256"], row["received_on"]) for row in rows}
    for site, name, _, received in sorted(told - listed, key=str):
        yield Finding(
            "evidence",
            f"files.csv: lacks {name} of {site}, which the ledger received on {received}; ask for the dossier as "
            "it was "
            "handed out.",
        )
    for site, name, _, received in sorted(listed - told, key=str):
        yield Finding(
            "evidence",
            f"archive/ledger.jsonl: has no receipt of {name} of {site} on {received}, which files.csv names; an "
            "entry was "
            "removed or altered, compare with an older copy of the ledger.",
        )


def _check_compliance(result: DossierCheck, carried: Carried) -> list[Finding]:
    found = compare_again(carried)
    # none where the tables of it are lacking
    result.lots = carried.table("lots").height if "lots.csv" in carried.files else 0
    return found


def compare_again(carried: Carried) -> list[Finding]:
    """What comes out otherwise when samplings, follow-ups, dues and shares are worked out from the attached tables."""
    lacking = [name for name in (*GIVEN, *WORKED_OUT_AGAIN) if f"{name}.csv" not in carried.files]
    if lacking:
        names = ", ".join(f"{name}.csv" for name in lacking)
        return [
            Finding(
                "compliance",
                f"{names}: not attached, so compliance cannot be computed again; ask for the dossier as it was handed "
                f"out, or check it with the Leachbook that made it ({carried.facts.get('leachbook', 'unknown')}).",
            )
        ]
    types: dict[str, dict[str, str]] = {}
    for row in carried.table("dictionary").to_dicts():
        types.setdefault(row["table"], {})[row["column"]] = row["type"]
    tables = {name: carried.table(name) for name in GIVEN}
    as_of = date.fromisoformat(carried.facts["as_of"])
    try:
        again = work_out(tables, types, carried.period, as_of)
    except LeachbookError as error:
        return [Finding("compliance", f"The attached tables cannot be computed again: {error}")]
    findings = []
    for name, frame in again.items():
        told = list(find_differences(name, carried.table(name), read_table(to_csv(frame))))
        findings += _say_differences("compliance", told, "the attached tables give")
    return findings


def work_out(
    tables: Mapping[str, pl.DataFrame], types: Mapping[str, Mapping[str, str]], period: Period, as_of: date
) -> dict[str, pl.DataFrame]:
    """Work out again what follows from attached tables (those of GIVEN, as text). Raises WarehouseError."""
    constants = {
        "t_quantiles": t_quantiles().select("df", "t"),
        "very_high_edges": very_high_edges(load_ec_bands()),
    }
    # An apostrophe before a formula would sort otherwise than the formula.
    as_written = {
        name: frame.with_columns(pl.all().map_elements(rearm, return_dtype=pl.String, skip_nulls=True))
        for name, frame in tables.items()
    }
    return compute_again(as_written, types, constants, period.from_on, period.to_on, as_of)


def _check_anew(home: Path, say: Say, carried: Carried) -> list[Finding]:
    """Every table made from the archive as it was that night, against the attached ones."""
    try:
        with open_known_night(home, int(carried.facts["night"]), say) as (connection, known):
            made = attach(look_back(connection, carried.period, known))
    except LeachbookError as error:
        # The archive is looked at in a folder of its own; whoever reads this knows it as the one that was given.
        told = str(error).replace(f"{home}/", "")
        return [Finding("archive", f"The tables cannot be made anew from the archive: {told}")]
    return [finding for one in made for finding in _compare_table(carried, one)]


def _compare_table(carried: Carried, one: Attached) -> list[Finding]:
    data = carried.files.get(one.file)
    if data is None or data == one.data or one.name == "index":
        return []  # a missing one is told with the index, and the index hangs on all others
    try:
        told = list(find_differences(one.name, read_table(data), read_table(one.data)))
    except _UNREADABLE:
        told = []
    if not told:
        return [
            Finding(
                "archive",
                f"{one.file}: is not written as the archive gives it; ask for the dossier as it was handed out.",
            )
        ]
    return _say_differences("archive", told, "the archive gives")


def _say_differences(part: Part, told: list[Difference], source: str) -> list[Finding]:
    named = [Finding(part, f"{_say(one, source)}.") for one in told[:MOST_NAMED]]
    if len(told) > MOST_NAMED:
        named.append(
            Finding(
                part, f"{told[0].table}.csv: {len(told)} values in {count_rows(told)} rows differ in all."
            )
        )
    return named


def _say(one: Difference, source: str) -> str:
    place = f"{one.table}.csv, {one.place}"
    if one.column is None:
        return (
            f"{place}: {source} no such row"
            if one.second is None
            else f"{place}: the row is missing, {source} it"
        )
    return f"{place}: {one.column} is {say_value(one.first)}, {source} {say_value(one.second)}"


def describe_check(result: DossierCheck) -> dict[str, Any]:
    """A check for machines."""
    return {
        "proven": not result.findings,
        "dossier": str(result.path),
        "sha256": result.sha256,
        "tables": result.tables,
        "files": result.files,
        "lots": result.lots,
        "findings": [{"part": one.part, "sentence": one.sentence} for one in result.findings],
    }


def tell_check(result: DossierCheck) -> list[str]:
    """A check for a person."""
    looked = (
        f"{result.tables} attached tables, {result.files} files of the evidence; compliance of {result.lots} lots "
        "computed again from the attached lines, treatments, excuses, lots, targets, rules and settings, which are "
        "taken at their word; every table, these included, made anew from the archive"
    )
    if not result.findings:
        return [f"Proven: {looked}. SHA-256 {result.sha256} stands in the ledger."]
    return [f"Not proven ({looked}):", *(f"  {one.sentence}" for one in result.findings)]
