"""Putting a night's results in place, and tidying up after a night that died on the way.

The order: files into the archive, the ledger's entries beside the ledger, warehouse, ledger, pages. Each step is
one rename, so whenever a night dies, what it replaced is there whole. The entries that lie beside the ledger say to
the next night whether the warehouse went out: only then do they belong into the ledger.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from pipeline.errors import ArchiveError
from pipeline.files import write_whole
from pipeline.intake import archive, ledger
from pipeline.intake.collect import CollectedFile
from pipeline.reports.summary import Night
from pipeline.settings import Settings
from pipeline.warehouse.connect import WAREHOUSE_NAME, Connection, publish
from pipeline.warehouse.load import NightRow

LATEST = "latest"
_FRESH = ".night"
_ASIDE = ".before"


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
    files: Sequence[CollectedFile],
    night: Night,
    night_no: int,
    connection: Connection,
    working: Path,
) -> None:
    """Archive the files, publish the warehouse, and write both down in the ledger.

    Raises ArchiveError when the disk refuses.
    """
    for file in files:
        archive.store(home, file.data)
    stored = archive.store_settings(home, settings.files)
    closing = ledger.night_entry(
        night.as_of,
        stored,
        night.facts_digest,
        night=night_no,
        files=night.new_files,
        records=night.new_records,
    )
    entries = [*(ledger.receipt_entry(file, night.as_of) for file in files), closing]
    _announce(home, entries)
    publish(connection, working, home)
    ledger.append(home, entries)
    _announced(home).unlink()


def settle_ledger(home: Path, last: NightRow | None) -> None:
    """Finish the ledger of a night that died after its warehouse went out; forget one that died before.

    `last` is the newest night that the warehouse knows.
    Raises ArchiveError when the ledger's chain is broken: then no night is begun that it could not hold.
    """
    written = ledger.read_ledger(home)
    path = _announced(home)
    try:
        entries = json.loads(path.read_bytes())
    except FileNotFoundError:
        return
    except ValueError as error:
        raise ArchiveError(f"{path}: cannot be read; take the file away and run the night again.") from error
    is_published = last is not None and entries[-1]["night"] == last.night_no
    is_written = bool(written) and written[-1] == {**entries[-1], "previous": written[-1]["previous"]}
    if is_published and not is_written:
        ledger.append(home, entries)
    path.unlink()


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
