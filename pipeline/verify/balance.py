"""The balance: lines of each archived file, counted on its bytes, against records and against the six fates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import ArchiveError
from pipeline.intake import archive, ledger
from pipeline.intake.decode import shown_encoding
from pipeline.intake.sheet_files import fit_sheet
from pipeline.receive import find_export
from pipeline.settings import Settings
from pipeline.settings.sheet import read_export
from pipeline.verify.archived import Numbered, count_lines
from pipeline.verify.findings import Finding
from pipeline.warehouse.connect import Connection, mend
from pipeline.warehouse.proof import fetch_balance


@dataclass(frozen=True, slots=True)
class Balance:
    """What was counted: files, physical lines, records."""

    files: int
    lines: int
    records: int


def check_balance(
    home: Path, connection: Connection, versions: Sequence[Settings]
) -> tuple[list[Finding], Balance]:
    """Hold each file's lines and records against each other; `versions` are the settings, newest first."""
    rows = fetch_balance(connection).to_dicts()
    findings = [finding for row in rows for finding in _check_file(home, row, versions)]
    counted = Balance(
        len(rows), sum(int(row["lines"]) for row in rows), sum(int(row["records"]) for row in rows)
    )
    return findings, counted


def list_versions(entries: Numbered) -> list[str]:
    """Hashes of the versions of the settings, newest first, each once."""
    found = [str(one.get("settings")) for _, one in reversed(entries) if one.get("kind") == ledger.NIGHT]
    return list(dict.fromkeys(found))


def _check_file(home: Path, row: dict[str, Any], versions: Sequence[Settings]) -> Iterator[Finding]:
    place = f"{row['name']} of {row['site_id']}"
    counts: list[tuple[str, int, int]] = [
        ("lines in its records", row["lines"], row["record_lines"]),
        ("lines over the six fates", row["lines"], row["fate_lines"]),
        ("records over the six fates", row["records"], row["fate_records"]),
        ("records with a fate in the history", row["records"], row["standing_fates"]),
    ]
    try:
        data = archive.fetch(home, row["sha256"])
    except ArchiveError:
        pass  # the archive's own findings say so
    else:
        encoding = _find_encoding(row, data, versions)
        if encoding is not None:
            counts.insert(
                0, ("lines in the warehouse", count_lines(data, shown_encoding(data, encoding)), row["lines"])
            )
    for what, should, is_ in counts:
        if should != is_:
            yield Finding("balance", f"{place}: {is_} {what}, but there are {should}; {mend(home)}")


def _find_encoding(row: dict[str, Any], data: bytes, versions: Sequence[Settings]) -> str | None:
    """The encoding that the file was last read in: that of the newest settings with an export that takes it."""
    for settings in versions:
        for site in settings.sites:
            if site.id == row["site_id"]:
                number = find_export(site, row["kind"], row["name"], row["export_no"])
                if number is not None:
                    return fit_sheet(read_export(site, number), site, data).encoding
    return None
