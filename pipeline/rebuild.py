"""The warehouse made anew: every night of the ledger replayed from the archive, with the settings of that night."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from pipeline import __version__
from pipeline.calendar_night import replay_calendars
from pipeline.errors import ArchiveError, HomeError, RebuildError, SettingsError
from pipeline.haul import Haul, read_haul
from pipeline.intake import archive, ledger
from pipeline.intake.collect import Collected, CollectedFile
from pipeline.judge import judge_night
from pipeline.night_lock import night_lock
from pipeline.publish import publish_rebuilt, settle_ledger, sweep
from pipeline.settings import Settings, load_settings
from pipeline.stopping import unstoppable
from pipeline.warehouse.connect import Connection, fresh_warehouse, warehouse_path
from pipeline.warehouse.load import Trouble
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.proof import digest_tables, newest_night
from pipeline.warehouse.runs import add_run

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class LedgerNight:
    """One night as the ledger tells it: its receipts, and the entry that closes it."""

    receipts: list[ledger.Entry]
    closing: ledger.Entry

    @property
    def number(self) -> int:
        """The night's number."""
        return int(self.closing["night"])

    @property
    def as_of(self) -> date:
        """The day that it judged from."""
        return date.fromisoformat(self.closing["as_of"])


@dataclass(frozen=True, slots=True)
class RebuildResult:
    """A warehouse that was made anew. `kept`: where the one before lies, None where there was none."""

    nights: int
    files: int
    records: int
    facts_digest: str
    kept: Path | None


def rebuild(home: Path, *, now: datetime, say: Say = lambda _: None) -> RebuildResult:
    """Make the warehouse anew from archive and ledger and put it in place; the one before is kept beside it.

    `now` is an aware instant. Until the last step nothing that exists is touched.
    Raises HomeError, NightRunning, ArchiveError when archive or ledger do not hold what is needed, RebuildError when
    the replay gives other facts than the ledger, WarehouseError when the new file cannot be written.
    """
    if not home.is_dir():
        raise HomeError(f"{home} is not a folder: give the folder of a home.")
    if not ledger.ledger_path(home).exists():
        raise _no_night(home)
    with night_lock(home, now):
        sweep(home)
        settle_ledger(home)
        nights = read_nights(home, ledger.read_ledger(home))
        _refuse_if_behind(home, nights)
        ledger.refuse_cut(home)
        with fresh_warehouse(home) as (connection, working):
            replay(home, connection, nights, say)
            _check_tables(connection, nights[-1])
            say("Publishing")
            last = nights[-1]
            with unstoppable():
                kept = publish_rebuilt(home, last.number, __version__, now, connection, working)
    return RebuildResult(
        nights=len(nights),
        files=sum(len(one.receipts) for one in nights),
        records=sum(int(one.closing["records"]) for one in nights),
        facts_digest=last.closing["facts"],
        kept=kept,
    )


def read_nights(home: Path, entries: Sequence[ledger.Entry]) -> list[LedgerNight]:
    """The nights of the ledger with all that a replay needs. Raises ArchiveError where something is missing."""
    path = ledger.ledger_path(home)
    nights: list[LedgerNight] = []
    receipts: list[ledger.Entry] = []
    for line, entry in enumerate(entries, start=1):
        if entry["kind"] == ledger.RECEIPT:
            receipts.append(entry)
        elif entry["kind"] == ledger.NIGHT:
            night = LedgerNight(receipts, entry)
            _check_night(night, len(nights) + 1, f"{path} line {line}")
            nights.append(night)
            receipts = []
    if not nights:
        raise _no_night(home)
    return nights


def _no_night(home: Path) -> ArchiveError:
    path = ledger.ledger_path(home)
    return ArchiveError(
        f"{path}: knows no night; bring it back from a backup, or run `leachbook nightly {home}` if there was none."
    )


def _check_night(night: LedgerNight, number: int, place: str) -> None:
    lacking = sorted(
        {"night", "facts", "settings", "files", "records", "leachbook", "troubles", "tables"}
        - night.closing.keys()
    )
    if lacking:
        raise ArchiveError(
            f"{place}: the night of {night.closing.get('as_of', '?')} was written by an early Leachbook and does not "
            f"say {lacking[0]}, so it cannot be replayed; bring the warehouse back from a backup."
        )
    if (night.number, night.closing["files"]) != (number, len(night.receipts)):
        raise ArchiveError(
            f"{place}: is night number {night.number} of {night.closing['files']} files, but number {number} of "
            f"{len(night.receipts)} would follow; bring the ledger back from a backup."
        )


def _refuse_if_behind(home: Path, nights: Sequence[LedgerNight]) -> None:
    """A warehouse that can be read and knows later nights must not be replaced by one that forgets them."""
    known = newest_night(warehouse_path(home))
    if known is not None and known > nights[-1].number:
        raise ArchiveError(
            f"{ledger.ledger_path(home)}: ends with night number {nights[-1].number}, but the warehouse knows "
            f"number {known}; bring the ledger back from a backup, or move {warehouse_path(home).name} away to do "
            "without those nights."
        )


def replay(home: Path, connection: Connection, nights: Sequence[LedgerNight], say: Say) -> None:
    """Run every night of the ledger into an empty warehouse; only the last one is judged.

    Raises ArchiveError when the archive lacks something, RebuildError at the first night whose facts are others.
    """
    migrate(connection)
    with SettingsShelf(home) as shelf:
        for night in nights:
            say(f"Replaying night {night.number} of {len(nights)}, as of {night.as_of}")
            settings = shelf.take(night.closing["settings"])
            haul = _haul_again(home, connection, settings, night)
            is_last = night is nights[-1]
            kept = night.closing.get("calendars")
            _, judged = judge_night(
                connection,
                settings,
                night.as_of,
                haul,
                lambda _: None,
                version=night.closing["leachbook"],
                facts_only=not is_last,
                calendars=partial(
                    replay_calendars,
                    kept=None if kept is None else archive.fetch(home, kept),
                    is_judged=is_last,
                ),
            )
            if "run" in night.closing:
                add_run(connection, night.number, night.closing["run"])
            if judged.facts_digest != night.closing["facts"]:
                raise RebuildError(
                    f"{ledger.ledger_path(home)}: the replay of night number {night.number} ({night.as_of}) gives "
                    f"other facts than the ledger has for it; {_cause(night)}"
                )


class SettingsShelf:
    """Versions of the settings from the archive, each written to a folder of its own and loaded once."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._folder = tempfile.TemporaryDirectory(prefix="leachbook-settings-")
        self._loaded: dict[str, Settings] = {}

    def __enter__(self) -> SettingsShelf:
        return self

    def __exit__(self, *_: object) -> None:
        self._folder.cleanup()

    def take(self, sha256: str) -> Settings:
        """One version; raises ArchiveError when it is not whole or this Leachbook cannot read it."""
        if sha256 not in self._loaded:
            self._loaded[sha256] = self._load(sha256)
        return self._loaded[sha256]

    def _load(self, sha256: str) -> Settings:
        folder = Path(self._folder.name, sha256)
        for name, data in archive.fetch_settings(self._home, sha256).items():
            path = folder / name
            if not path.resolve().is_relative_to(folder.resolve()):
                raise ArchiveError(
                    f"{archive.file_path(self._home, sha256)}: names a settings file outside of the home ({name}); "
                    "bring it back from a backup."
                )
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        try:
            return load_settings(folder)
        except SettingsError as error:
            raise ArchiveError(
                f"{archive.file_path(self._home, sha256)}: this version of the settings cannot be read by this "
                f"Leachbook ({error.problems[0]}); install the Leachbook that wrote it."
            ) from error


def _haul_again(home: Path, connection: Connection, settings: Settings, night: LedgerNight) -> Haul:
    found: dict[str, Collected] = {}
    for receipt in night.receipts:
        site = found.setdefault(receipt["site"], Collected([], [], []))
        site.files.append(_received(home, receipt))
    haul = read_haul(home, connection, settings, found)
    if [file.sha256 for file in haul.collected] != [one["sha256"] for one in night.receipts]:
        raise RebuildError(
            f"{ledger.ledger_path(home)}: the files of night number {night.number} do not come in the order of the "
            f"ledger; {_cause(night)}"
        )
    return replace(haul, troubles=[Trouble(**one) for one in night.closing["troubles"]])


def _received(home: Path, receipt: Mapping[str, Any]) -> CollectedFile:
    return CollectedFile(
        site_id=receipt["site"],
        kind=receipt["export_kind"],
        export_no=receipt["export_no"],
        name=receipt["name"],
        sha256=receipt["sha256"],
        size=receipt["size"],
        modified_at=datetime.fromisoformat(receipt["modified_at"]),
        data=archive.fetch(home, receipt["sha256"]),
    )


def _check_tables(connection: Connection, last: LedgerNight) -> None:
    wanted = {name: one["columns"] for name, one in last.closing["tables"].items()}
    for name, digest in digest_tables(connection, wanted).items():
        if digest.figure != last.closing["tables"][name]["figure"]:
            raise RebuildError(
                f"The replay gives the facts of the ledger, but other rows in the table {name}; {_cause(last)}"
            )


def _cause(night: LedgerNight) -> str:
    told = night.closing["leachbook"]
    if told != __version__:
        return (
            f"that night was run by Leachbook {told} and this is {__version__}, which may judge otherwise: "
            f"install {told} and rebuild with it."
        )
    return (
        "it was run by this version of Leachbook, so a table of the program or the ledger itself was changed: install "
        "Leachbook again, or bring the ledger back from a backup."
    )


@contextmanager
def replayed(home: Path, nights: Sequence[LedgerNight], say: Say) -> Iterator[Path]:
    """A warehouse file made from archive and ledger, closed; it is taken away in the end. For the lock's holder."""
    with fresh_warehouse(home) as (connection, working):
        replay(home, connection, nights, say)
        connection.checkpoint()
        connection.close()
        yield working


def describe_rebuild(result: RebuildResult) -> dict[str, Any]:
    """What a rebuilding did, for machines."""
    return {
        "nights": result.nights,
        "files": result.files,
        "records": result.records,
        "facts_digest": result.facts_digest,
        "kept": None if result.kept is None else str(result.kept),
    }


def tell_rebuild(result: RebuildResult) -> list[str]:
    """What a rebuilding did, for a person."""
    done = f"Rebuilt from {result.nights} nights: {result.files} files, {result.records:,} records"
    told = [f"{done}, the same digest of facts each night."]
    if result.kept is not None:
        told.append(
            f"The warehouse before is kept as {result.kept}; take it away when you no longer need it."
        )
    return told
