"""The proof as a story: archive, ledger, warehouse, balance, pages, dossiers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from pipeline.errors import ArchiveError, HomeError, LeachbookError, WarehouseError
from pipeline.intake import ledger
from pipeline.night_lock import night_lock
from pipeline.rebuild import SettingsShelf, read_nights, replayed
from pipeline.settings import Settings
from pipeline.verify.archived import Numbered, check_archive
from pipeline.verify.balance import Balance, check_balance, list_versions
from pipeline.verify.chained import compare_with_warehouse, is_ahead, walk_ledger
from pipeline.verify.dossiers import check_dossiers
from pipeline.verify.findings import Finding
from pipeline.verify.pages import check_pages
from pipeline.verify.stored import check_blocks, check_file, check_tables, find_sealed, name_rows
from pipeline.warehouse.connect import Connection, mend, warehouse_path
from pipeline.warehouse.proof import doubted

Say = Callable[[str], None]


@dataclass(slots=True)
class VerifyResult:
    """What was looked at, and what is wrong; no finding means that all of it is proven."""

    nights: int = 0
    archived: int = 0
    dossiers: int = 0
    balance: Balance = field(default_factory=lambda: Balance(0, 0, 0))
    findings: list[Finding] = field(default_factory=list)


def verify_home(home: Path, *, now: datetime, say: Say = lambda _: None) -> VerifyResult:
    """Prove a home, holding its night's lock; nothing in it is changed. `now` is an aware instant.

    Raises HomeError when no night has been run, NightRunning, ArchiveError when the ledger cannot be opened.
    """
    if not home.is_dir():
        raise HomeError(f"{home} is not a folder: give the folder of a home.")
    if not ledger.ledger_path(home).exists() and not warehouse_path(home).exists():
        raise HomeError(f"{home}: no night has been run yet; run `leachbook nightly {home}` first.")
    with night_lock(home, now):
        return _verify(home, say)


def _verify(home: Path, say: Say) -> VerifyResult:
    result = VerifyResult()
    say("Walking the ledger")
    entries, broken = walk_ledger(home)
    result.findings.extend(broken)
    result.nights = sum(one.get("kind") == ledger.NIGHT for _, one in entries)
    say("Hashing the archive")
    findings, result.archived = check_archive(home, entries, is_whole=not broken)
    result.findings.extend(findings)
    if warehouse_path(home).is_file():
        _verify_warehouse(home, entries, result, say)
    else:
        result.findings.append(Finding("warehouse", f"warehouse.duckdb: the file is gone; {mend(home)}"))
    say("Looking at the pages and dossiers")
    result.findings.extend(check_pages(home, entries))
    findings, result.dossiers = check_dossiers(home, entries)
    result.findings.extend(findings)
    return result


def _verify_warehouse(home: Path, entries: Numbered, result: VerifyResult, say: Say) -> None:
    say("Reading every block of the warehouse")
    # A ledger that lost its end has nothing of the night that the warehouse holds: to compare the two would name
    # every row, and a rebuilding, which is refused, as the mend.
    is_cut = _is_ahead(home, entries)
    sealed = None if is_cut else find_sealed(entries)
    wrong = [*([] if is_cut else check_file(home, sealed)), *check_blocks(home)]

    def tables(connection: Connection) -> None:
        if sealed is not None:
            wrong.extend(check_tables(home, connection, sealed))

    def facts(connection: Connection) -> None:
        result.findings.extend(compare_with_warehouse(home, connection, entries))

    def balance(connection: Connection) -> None:
        found, result.balance = check_balance(home, connection, list(_load_versions(home, entries)))
        result.findings.extend(found)

    for what, step in (
        ("Comparing the tables with the ledger", tables),
        ("Comparing nights and files with the ledger", facts),
        ("Balancing lines and records", balance),
    ):
        say(what)
        # Each step opens the file anew: damage that one of them meets must not silence the others.
        try:
            with doubted(home) as connection:
                step(connection)
        except WarehouseError as error:
            wrong.append(Finding("warehouse", str(error)))
    result.findings.extend(dict.fromkeys(wrong))
    if is_cut:
        result.findings.append(
            Finding(
                "warehouse",
                "warehouse.duckdb: holds a night that the ledger does not have, so its tables are not compared; bring "
                f"the ledger back from a backup and run `leachbook verify {home}` again.",
            )
        )
    elif wrong:
        result.findings.extend(_name_rows(home, say))


def _is_ahead(home: Path, entries: Numbered) -> bool:
    """Whether the warehouse knows more nights than the ledger; not where it cannot be asked."""
    try:
        with doubted(home) as connection:
            return is_ahead(connection, entries)
    except WarehouseError:
        return False


def _load_versions(home: Path, entries: Numbered) -> Iterator[Settings]:
    with SettingsShelf(home) as shelf:
        for sha256 in list_versions(entries):
            try:
                yield shelf.take(sha256)
            except ArchiveError:
                continue  # a version that is not whole is one of the archive's findings


def _name_rows(home: Path, say: Say) -> list[Finding]:
    """What of a warehouse that is not the ledger's is wrong, row by row, as far as archive and ledger can say it."""
    say("Replaying the archive to find out which rows differ")
    try:
        nights = read_nights(home, ledger.read_ledger(home))
        with replayed(home, nights, say) as expected:
            rows = list(name_rows(home, expected))
    except LeachbookError as error:
        return [Finding("warehouse", f"warehouse.duckdb: its rows cannot be compared: {error}")]
    return rows or [
        Finding(
            "warehouse",
            "warehouse.duckdb: every row of it is what the archive gives, so only unused space, DuckDB's own pages or "
            f"the ledger's last entry were changed; {mend(home)}",
        )
    ]
