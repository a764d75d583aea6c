"""What was known at the end of a day: the night that counts, its settings, and a warehouse as that night left it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline.errors import AuditError
from pipeline.intake import ledger
from pipeline.rebuild import LedgerNight, SettingsShelf, read_nights, replayed
from pipeline.settings import Settings
from pipeline.warehouse.connect import Connection, reader
from pipeline.warehouse.migrate import refuse_older
from pipeline.warehouse.proof import open_file

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Known:
    """One night as the ledger has it. `line`, `line_sha256`: the entry that closes it, by number (from 1) and "
    "hash."""

    number: int
    as_of: date
    leachbook: str
    facts: str
    settings_sha256: str
    line: int
    line_sha256: str
    settings: Settings

    def language(self, site_id: str | None) -> str:
        """In which a dossier is written: that of the site that it is about, else the group's."""
        of_site = (site.language for site in self.settings.sites if site.id == site_id)
        return next(of_site, self.settings.group.language)


@contextmanager
def open_known(home: Path, day: date | None, say: Say = lambda _: None) -> Iterator[tuple[Connection, Known]]:
    """Open the warehouse of the last night up to a day (None: of the newest night), for reading.

    An earlier night is replayed from archive and ledger, as a rebuilding does; the home's own warehouse is not touched.
    For the lock's holder. Raises AuditError where no night was run by then, ArchiveError, RebuildError, WarehouseError.
    """
    nights = read_nights(home, ledger.read_ledger(home))
    until = [night for night in nights if day is None or night.as_of <= day]
    if not until:
        raise AuditError(
            f"--as-known {day}: no night of {home} had been run by then, the first is of {nights[0].as_of}; "
            "give that day or a later one."
        )
    with SettingsShelf(home) as shelf:
        known = _describe(home, until[-1], shelf)
        if len(until) == len(nights):
            with reader(home) as connection:
                refuse_older(connection)
                yield connection, known
            return
        with replayed(home, until, say) as path, open_file(path) as connection:
            yield connection, known


@contextmanager
def open_known_night(
    home: Path, number: int, say: Say = lambda _: None
) -> Iterator[tuple[Connection, Known]]:
    """Make the warehouse of one night anew from archive and ledger, wherever they lie, and open it for reading.

    Raises AuditError where the ledger has no such night, ArchiveError, RebuildError.
    """
    nights = read_nights(home, ledger.read_ledger(home))
    if not 0 < number <= len(nights):
        raise AuditError(f"the ledger knows {len(nights)} nights, the dossier was made from number {number}.")
    with SettingsShelf(home) as shelf:
        known = _describe(home, nights[number - 1], shelf)
        with replayed(home, nights[:number], say) as path, open_file(path) as connection:
            yield connection, known


def _describe(home: Path, night: LedgerNight, shelf: SettingsShelf) -> Known:
    entries, _ = ledger.walk_chain(home)
    line = next(
        number
        for number, entry in entries
        if entry.get("kind") == ledger.NIGHT and entry.get("night") == night.number
    )
    return Known(
        number=night.number,
        as_of=night.as_of,
        leachbook=night.closing["leachbook"],
        facts=night.closing["facts"],
        settings_sha256=night.closing["settings"],
        line=line,
        line_sha256=ledger.line_hashes(home)[line - 1],
        settings=shelf.take(night.closing["settings"]),
    )
