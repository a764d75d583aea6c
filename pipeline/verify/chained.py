"""The ledger: its chain, and its nights, receipts and troubles held against what the warehouse knows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from pipeline.intake import ledger
from pipeline.publish import is_in_place, read_announced
from pipeline.verify.archived import Numbered
from pipeline.verify.findings import Finding
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.proof import fetch_files, fetch_nights, fetch_troubles

PLACE = "archive/ledger.jsonl"
_BACKUP = "bring the ledger back from a backup."


def walk_ledger(home: Path) -> tuple[Numbered, list[Finding]]:
    """Every entry that can be read, with its line, and where the chain is broken.

    Entries that a night announced and did not come to write are taken with it when their warehouse stands.
    """
    entries, broken = ledger.walk_chain(home)
    at_line = dict(entries)
    n_lines = len(ledger.line_hashes(home))
    findings = [
        Finding(
            "ledger",
            f"{PLACE} line {one.entry_no} "
            f"({'gone' if one.entry_no > n_lines else _say_entry(at_line.get(one.entry_no))}): {one.sentence}.",
        )
        for one in broken
    ]
    if entries and not ledger.head_path(home).exists():
        findings.append(
            Finding(
                "ledger",
                f"archive/{ledger.head_path(home).name}: is missing, so entries cut off at the ledger's end would not "
                f"show; bring it back from a backup, or let `leachbook nightly {home}` write it anew over the ledger "
                "as it stands.",
            )
        )
    announced = read_announced(home)
    if announced is not None:
        findings.append(
            Finding(
                "ledger",
                f"archive/night.announced: a night died while it was published; run `leachbook nightly {home}`, "
                "which finishes or forgets it.",
            )
        )
        if is_in_place(home, announced) and announced[-1].get("warehouse") not in [
            entry.get("warehouse") for _, entry in entries
        ]:
            entries = [*entries, *enumerate(announced, start=len(entries) + 1)]
    return entries, findings


def _say_entry(entry: ledger.Entry | None) -> str:
    if entry is None:
        return "no entry"
    kind = entry.get("kind")
    if kind == ledger.RECEIPT:
        return f"receipt of {entry.get('name')} of {entry.get('site')}"
    if kind == ledger.NIGHT:
        return f"night of {entry.get('as_of')}"
    return str(kind)


def is_ahead(connection: Connection, entries: Numbered) -> bool:
    """Whether the warehouse knows more nights than the ledger, which then lost entries."""
    told = [one for _, one in entries if one.get("kind") == ledger.NIGHT]
    return len(fetch_nights(connection)) > len(told)


def compare_with_warehouse(home: Path, connection: Connection, entries: Numbered) -> Iterator[Finding]:
    """Nights, files and troubles that ledger and warehouse do not have alike."""
    nights = [(line, one) for line, one in entries if one.get("kind") == ledger.NIGHT]
    known = fetch_nights(connection)
    if len(known) > len(nights):
        told = nights[-1][1].get("night") if nights else 0
        yield Finding(
            "ledger",
            f"{PLACE}: ends with night number {told}, but the warehouse knows number {known[-1]['night_no']} "
            f"({known[-1]['as_of']}), so entries were cut off or taken out; {_BACKUP}",
        )
    elif len(known) < len(nights):
        line, one = nights[-1]
        newest = known[-1]["night_no"] if known else 0
        yield Finding(
            "warehouse",
            f"warehouse.duckdb: its newest night is number {newest}, but {PLACE} line {line} tells of number "
            f"{one.get('night')}; run `leachbook rebuild {home}`.",
        )
    by_number = {one["night_no"]: one for one in known}
    for line, one in nights:
        row = by_number.get(one.get("night"))
        if row is not None:
            yield from _compare_night(line, one, row)
    yield from _compare_receipts(entries, fetch_files(connection))
    yield from _compare_troubles(nights, fetch_troubles(connection))


def _compare_night(line: int, entry: ledger.Entry, row: Mapping[str, Any]) -> Iterator[Finding]:
    told = {
        "as_of": entry.get("as_of"),
        "leachbook_version": entry.get("leachbook", row["leachbook_version"]),
        "facts_digest": entry.get("facts"),
        "new_files": entry.get("files"),
        "new_records": entry.get("records"),
    }
    for name, value in told.items():
        if str(row[name]) != str(value):
            yield Finding(
                "ledger",
                f"{PLACE} line {line}: the ledger has {name} {value} for night number {row['night_no']}, the warehouse "
                f"has {row[name]}; run `leachbook verify` on a backup to see which was changed.",
            )


def _compare_receipts(entries: Numbered, files: Sequence[Mapping[str, Any]]) -> Iterator[Finding]:
    lines: dict[tuple[Any, ...], int] = {}
    receipts: Counter[tuple[Any, ...]] = Counter()
    for line, one in entries:
        if one.get("kind") == ledger.RECEIPT:
            key = (
                str(one.get("received_on")),
                *(one.get(name) for name in ("site", "export_kind", "name", "sha256", "size")),
            )
            lines[key] = line
            receipts[key] += 1
    known = Counter(
        (
            str(one["received_on"]),
            *(one[name] for name in ("site_id", "kind", "name", "sha256", "size_bytes")),
        )
        for one in files
    )
    for key in receipts - known:
        yield Finding(
            "ledger",
            f"{PLACE} line {lines[key]}: the warehouse knows no such receipt of {key[3]} of {key[1]} on {key[0]} (size "
            f"{key[5]}, SHA-256 {str(key[4])[:12]}...), so one of the two was changed; {_BACKUP}",
        )
    for key in known - receipts:
        yield Finding(
            "ledger",
            f"{PLACE}: has no receipt of {key[3]} of {key[1]} on {key[0]} (SHA-256 {str(key[4])[:12]}...), which the "
            f"warehouse knows; {_BACKUP}",
        )


def _compare_troubles(
    nights: Sequence[tuple[int, ledger.Entry]], rows: Sequence[Mapping[str, Any]]
) -> Iterator[Finding]:
    for line, entry in nights:
        if "troubles" not in entry:
            continue
        told = Counter(tuple(sorted(one.items())) for one in entry["troubles"])
        known = Counter(
            tuple(sorted((name, value) for name, value in row.items() if name != "night_no"))
            for row in rows
            if row["night_no"] == entry.get("night")
        )
        for key in (told - known) + (known - told):
            where = dict(key)
            yield Finding(
                "ledger",
                f"{PLACE} line {line}: ledger and warehouse differ on {where['name']} in the drop folder of "
                f"{where['site_id']}; {_BACKUP}",
            )
