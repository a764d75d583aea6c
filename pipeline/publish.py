"""Putting a night's results in place, and tidying up after a night that died on the way.

The order: files into the archive, the warehouse sealed, the ledger's entries beside the ledger, warehouse, ledger,
pages. Each step is one rename, so whenever a night dies, what it replaced is there whole. The entries that lie beside
the ledger name the warehouse by its hash, so the next night knows whether it went out: only then do they belong into
the ledger. A warehouse that is made anew goes the same way.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path

from pipeline.calendar_night import pack_changes
from pipeline.errors import ArchiveError, WarehouseError
from pipeline.files import write_whole
from pipeline.haul import Haul
from pipeline.intake import archive, ledger
from pipeline.reports.summary import Night
from pipeline.settings import Settings
from pipeline.warehouse.connect import (
    WAREHOUSE_NAME,
    Connection,
    file_seal,
    mend,
    publish,
    seal,
    warehouse_path,
)
from pipeline.warehouse.load import NightRow
from pipeline.warehouse.proof import TableDigest, digest_tables
from pipeline.warehouse.runs import add_run

LATEST = "latest"
_FRESH = ".night"
_ASIDE = ".before"
_REPLACED = "replaced"


def pages_folder(home: Path, day: date) -> Path:
    """Where the pages of a night are."""
    return home / "out" / day.isoformat()


def make_fresh_folder(out: Path) -> Path:
    """Make an empty folder beside the one that it will replace."""
    fresh = out.with_name(f".{out.name}.{os.getpid()}{_FRESH}")
    fresh.mkdir(parents=True)
    return fresh


def publish_night(
    home: Path,
    settings: Settings,
    haul: Haul,
    night: Night,
    night_no: int,
    connection: Connection,
    working: Path,
    pages: Path | None = None,
    run: ledger.Entry | None = None,
) -> None:
    """Archive the files, publish the warehouse, and write both down in the ledger, with the hashes of the pages.

    `run`: the record of the run, as from `RunRecord.as_entry`.

    Raises ArchiveError when the disk refuses.
    """
    for file in haul.collected:
        archive.store(home, file.data)
    stored = archive.store_settings(home, settings.files)
    told = pack_changes(connection, night_no)
    if run is not None:
        add_run(connection, night_no, run)
    tables = digest_tables(connection)
    closing = ledger.night_entry(
        night.as_of,
        stored,
        night.facts_digest,
        night=night_no,
        leachbook=night.leachbook_version,
        files=night.new_files,
        records=night.new_records,
        troubles=[asdict(trouble) for trouble in haul.troubles],
        tables=_written(tables),
        warehouse=asdict(seal(connection, working)),
        **({} if told is None else {"calendars": archive.store(home, told)}),
        **({} if pages is None else {"pages": hash_pages(pages)}),
        **({} if run is None else {"run": run}),
    )
    entries = [*(ledger.receipt_entry(file, night.as_of) for file in haul.collected), closing]
    _announce(home, entries)
    publish(working, home)
    _finish(home, entries)


def hash_pages(folder: Path) -> dict[str, str]:
    """SHA-256 of every file of a night's pages, by its path below their folder. Raises OSError."""
    return {
        path.relative_to(folder).as_posix(): file_seal(path).sha256
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def sealed_pages(entries: Sequence[ledger.Entry]) -> dict[str, str]:
    """The hashes of the newest night's pages; empty where an older Leachbook wrote none."""
    newest = next((one for one in reversed(entries) if one.get("kind") == ledger.NIGHT), {})
    pages = newest.get("pages")
    return dict(pages) if isinstance(pages, dict) else {}


def find_altered(folder: Path, sealed: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Each page that is not the one that the ledger sealed: its path below the folder, and what is wrong.

    Files that no night wrote are let alone: somebody may keep notes beside the pages.
    """
    for name, sha256 in sealed.items():
        try:
            if file_seal(folder / name).sha256 != sha256:
                yield name, "is not what the night wrote"
        except OSError:
            yield name, "is missing or cannot be read"


def publish_rebuilt(
    home: Path, night_no: int, version: str, rebuilt_at: datetime, connection: Connection, working: Path
) -> Path | None:
    """Put a warehouse that was made anew in place; returns where the one before is kept, None where there was none.

    Raises ArchiveError when the disk refuses.
    """
    tables = digest_tables(connection)
    entry = ledger.rebuild_entry(
        rebuilt_at,
        night_no,
        leachbook=version,
        tables=_written(tables),
        warehouse=asdict(seal(connection, working)),
    )
    _announce(home, [entry])
    kept = _keep_aside(home, rebuilt_at)
    publish(working, home)
    _finish(home, [entry])
    return kept


def _keep_aside(home: Path, now: datetime) -> Path | None:
    """A second name for the warehouse as it stands, so that at no moment the first one is missing."""
    path = warehouse_path(home)
    if not path.exists():
        return None
    aside = path.with_name(f"{WAREHOUSE_NAME}.{_REPLACED}-{now:%Y%m%dT%H%M%S}")
    log = path.with_name(f"{path.name}.wal")
    if log.exists():
        # Written by somebody else; DuckDB would play it into the new file.
        log.replace(aside.with_name(f"{aside.name}.wal"))
    if not path.is_file():
        return path.replace(aside)
    aside.unlink(missing_ok=True)
    try:
        aside.hardlink_to(path)
    except OSError:
        # Not every file system knows second names.
        shutil.copyfile(path, aside)
    return aside


def _finish(home: Path, entries: Sequence[ledger.Entry]) -> None:
    ledger.append(home, entries)
    _announced(home).unlink()


def _written(tables: Mapping[str, TableDigest]) -> dict[str, dict[str, object]]:
    return {name: {"columns": list(one.columns), "figure": one.figure} for name, one in tables.items()}


def settle_ledger(home: Path) -> None:
    """Finish the ledger of a night that died after its warehouse went out; forget one that died before.

    Raises ArchiveError when the ledger's chain is broken: then no night is begun that it could not hold.
    """
    written = ledger.read_ledger(home)
    ledger.settle_head(home)
    entries = read_announced(home)
    if entries is None:
        return
    is_written = bool(written) and written[-1] == {**entries[-1], "previous": written[-1]["previous"]}
    if not is_written and is_in_place(home, entries):
        ledger.append(home, entries)
    _announced(home).unlink()


def read_announced(home: Path) -> list[ledger.Entry] | None:
    """Entries that a night or a rebuilding laid beside the ledger before it died; None where none did."""
    path = _announced(home)
    try:
        entries: list[ledger.Entry] = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    except ValueError as error:
        raise ArchiveError(f"{path}: cannot be read; take the file away and run the night again.") from error
    return entries


def is_in_place(home: Path, entries: Sequence[ledger.Entry]) -> bool:
    """Whether the warehouse that stands is the one that these entries end with."""
    path = warehouse_path(home)
    return path.is_file() and asdict(file_seal(path)) == entries[-1].get("warehouse")


def check_agreement(home: Path, last: NightRow | None) -> None:
    """See that warehouse and ledger end with the same night; `last` is the newest night that the warehouse knows.

    Raises WarehouseError where the warehouse is behind, ArchiveError where the ledger is, or where its end was cut off.
    """
    nights = [one for one in ledger.read_ledger(home) if one["kind"] == ledger.NIGHT]
    known = 0 if last is None else last.night_no
    told = nights[-1].get("night", 0) if nights else 0
    if known < told:
        raise WarehouseError(
            f"{warehouse_path(home)}: its newest night is number {known}, but the ledger ends with number {told}; "
            f"{mend(home)}"
        )
    if known > told:
        raise ArchiveError(
            f"{ledger.ledger_path(home)}: ends with night number {told}, but the warehouse knows number {known}; "
            "bring the ledger back from a backup."
        )
    ledger.refuse_cut(home)


def publish_pages(fresh: Path, out: Path) -> None:
    """Put a folder of pages in place of the one before, and let `latest` point to it."""
    aside = out.with_name(f".{out.name}.{os.getpid()}{_ASIDE}")
    if out.exists():
        out.replace(aside)
    fresh.replace(out)
    shutil.rmtree(aside, ignore_errors=True)
    point_latest(out)


def point_latest(out: Path) -> None:
    """Let `latest` point to these pages."""
    latest = out.with_name(LATEST)
    if latest.is_symlink() and str(latest.readlink()) == out.name:
        return
    link = out.with_name(f".{LATEST}.{os.getpid()}")
    link.symlink_to(out.name)
    link.replace(latest)


def sweep(home: Path) -> None:
    """Take away what nights that died left behind. Only for the holder of the night's lock: all of it is dead then."""
    for aside in home.glob(f"out/.*{_ASIDE}"):
        # The name is .<day>.<process>.before; without the day's folder the night died between two renames.
        out = aside.with_name(aside.name.split(".")[1])
        if not out.exists():
            aside.replace(out)
    for aside in home.glob(f"{WAREHOUSE_NAME}.{_REPLACED}-*"):
        # Still the warehouse itself: the rebuilding died before it put the new one in place.
        if warehouse_path(home).exists() and aside.samefile(warehouse_path(home)):
            aside.unlink()
    for leftover in _leftovers(home):
        if leftover.is_dir() and not leftover.is_symlink():
            shutil.rmtree(leftover, ignore_errors=True)
        else:
            leftover.unlink(missing_ok=True)


def _leftovers(home: Path) -> Iterator[Path]:
    patterns = (
        f".{WAREHOUSE_NAME}.*{_FRESH}*",
        f"out/.*{_FRESH}",
        f"out/.*{_ASIDE}",
        f"out/.{LATEST}.*",
        "archive/.new-*",
        "archive/files/*/.new-*",
    )
    for pattern in patterns:
        yield from list(home.glob(pattern))


def _announce(home: Path, entries: Sequence[ledger.Entry]) -> None:
    path = _announced(home)
    try:
        write_whole(path, json.dumps(entries, ensure_ascii=False).encode())
    except OSError as error:
        raise ArchiveError(
            f"{path}: cannot be written ({error.strerror}); free the disk or let this account write there."
        ) from error


def _announced(home: Path) -> Path:
    return home / "archive" / "night.announced"
