"""The ledger ``archive/ledger.jsonl``: one entry a line, only ever added to, each chained to the one before.

Every entry carries ``previous``, the sha256 of the line before it (64 zeros in the first), so a changed,
removed or inserted line shows at the next one.  A cut end does not show in the chain itself, so its head, the number
of lines and the hash of the last one, stands beside it in ``ledger.head``, written after each adding.  A head that is
behind is that of a run that died between the two: the next one brings it up.  The warehouse knows its own nights
besides, and the two are held against each other.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipeline.errors import ArchiveError
from pipeline.files import write_whole
from pipeline.intake.collect import CollectedFile

FIRST_PREVIOUS = "0" * 64
RECEIPT = "receipt"
NIGHT = "night"
REBUILD = "rebuild"
AUDIT = "audit"

Entry = dict[str, Any]


@dataclass(frozen=True)
class BrokenEntry:
    """The first entry that does not follow from the one before: its line (from 1) and what is wrong."""

    entry_no: int
    sentence: str


def ledger_path(home: Path) -> Path:
    """Where a home keeps its ledger."""
    return home / "archive" / "ledger.jsonl"


def head_path(home: Path) -> Path:
    """Where the head of the ledger is kept."""
    return home / "archive" / "ledger.head"


def receipt_entry(file: CollectedFile, received_on: date) -> Entry:
    """The entry for one file received in the night with this as-of date."""
    return {
        "kind": RECEIPT,
        "received_on": received_on.isoformat(),
        "site": file.site_id,
        "export_kind": file.kind,
        "export_no": file.export_no,
        "name": file.name,
        "sha256": file.sha256,
        "size": file.size,
        "modified_at": file.modified_at.isoformat(),
    }


def night_entry(as_of: date, settings_sha256: str, facts_digest: str, **more: object) -> Entry:
    """The entry that closes a night; `more` are further plain values."""
    return {
        "kind": NIGHT,
        "as_of": as_of.isoformat(),
        "settings": settings_sha256,
        "facts": facts_digest,
        **more,
    }


def rebuild_entry(rebuilt_at: datetime, night: int, **more: object) -> Entry:
    """The entry for a warehouse that was made anew up to this night; `more` are further plain values."""
    return {"kind": REBUILD, "rebuilt_at": rebuilt_at.isoformat(), "night": night, **more}


def audit_entry(made_at: datetime, sha256: str, **more: object) -> Entry:
    """The entry for a dossier that was handed out, by the hash of its PDF; `more` are further plain values."""
    return {"kind": AUDIT, "made_at": made_at.isoformat(), "sha256": sha256, **more}


def append(home: Path, entries: Iterable[Mapping[str, Any]]) -> str:
    """Add entries in one step that is done wholly or not at all; return the hash of the last line.

    Raises ArchiveError when the chain as it stands is broken, its end was cut off, or the disk refuses: a ledger is
    never continued over a break.
    """
    lines = _read_lines(home)
    broken = _first_broken(lines) or _cut_end(home, lines)
    if broken:
        raise ArchiveError(f"{ledger_path(home)} line {broken.entry_no}: {broken.sentence}.")
    previous = _hash(lines[-1]) if lines else FIRST_PREVIOUS
    added = False
    for entry in entries:
        line = _write_line(entry, previous)
        lines.append(line)
        previous = _hash(line)
        added = True
    if added:
        _write(ledger_path(home), b"".join(line + b"\n" for line in lines))
        _write_head(home, lines)
    return previous


def settle_head(home: Path) -> None:
    """Bring up the head of a ledger to which a run added that died before it wrote the head.

    A head that knows more than the ledger stays: `refuse_cut` says so. Raises ArchiveError when the disk refuses.
    """
    lines = _read_lines(home)
    if lines and _cut_end(home, lines) is None and _read_head(home) != _head(lines):
        _write_head(home, lines)


def refuse_cut(home: Path) -> None:
    """See that the ledger reaches to what its head knows. Raises ArchiveError where its end was cut off."""
    broken = _cut_end(home, _read_lines(home))
    if broken:
        raise ArchiveError(f"{ledger_path(home)} line {broken.entry_no}: {broken.sentence}.")


def read_ledger(home: Path) -> list[Entry]:
    """All entries, oldest first; no ledger yet is an empty one.  Raises ArchiveError for a broken chain."""
    lines = _read_lines(home)
    broken = _first_broken(lines)
    if broken:
        raise ArchiveError(f"{ledger_path(home)} line {broken.entry_no}: {broken.sentence}.")
    return [json.loads(line) for line in lines]


def verify_chain(home: Path) -> BrokenEntry | None:
    """The first entry that breaks the chain, or None where it holds."""
    return _first_broken(_read_lines(home))


def walk_chain(home: Path) -> tuple[list[tuple[int, Entry]], list[BrokenEntry]]:
    """Every entry that can be read with its line (from 1), and every one that breaks the chain, its end among them."""
    lines = _read_lines(home)
    entries = []
    for number, line in enumerate(lines, 1):
        try:
            entry = json.loads(line)
        except ValueError:
            continue
        if isinstance(entry, dict):
            entries.append((number, entry))
    broken = list(_broken(lines))
    cut = _cut_end(home, lines)
    return entries, [*broken, cut] if cut else broken


def last_hash(home: Path) -> str:
    """The hash of the last line, which a warehouse remembers to notice a cut ledger."""
    lines = _read_lines(home)
    return _hash(lines[-1]) if lines else FIRST_PREVIOUS


def line_hashes(home: Path) -> list[str]:
    """The hash of every line, oldest first: with its number it names a state of the ledger."""
    return [_hash(line) for line in _read_lines(home)]


def _cut_end(home: Path, lines: list[bytes]) -> BrokenEntry | None:
    """Where the ledger does not reach, or does not lead to, the line that its head names; None without a head."""
    head = _read_head(home)
    if head is None:
        return None
    number, sha256 = head
    if number > len(lines):
        return BrokenEntry(
            len(lines) + 1,
            f"the ledger ends before it, but {head_path(home).name} knows {number} lines, so its end was cut off; "
            f"bring the ledger back from a backup, or move {head_path(home).name} away to do without what is gone",
        )
    if number and _hash(lines[number - 1]) != sha256:
        return BrokenEntry(
            number,
            f"is not the entry that {head_path(home).name} names, so the entries up to it were written anew; bring the "
            "ledger back from a backup",
        )
    return None


def _head(lines: list[bytes]) -> tuple[int, str]:
    return len(lines), _hash(lines[-1])


def _read_head(home: Path) -> tuple[int, str] | None:
    path = head_path(home)
    try:
        head = json.loads(path.read_bytes())
        return int(head["lines"]), str(head["sha256"])
    except FileNotFoundError:
        return None
    except OSError as error:
        raise ArchiveError(f"{path}: cannot be read ({error.strerror}); let this account read it.") from error
    except (ValueError, TypeError, KeyError) as error:
        raise ArchiveError(f"{path}: was altered; bring it back from a backup.") from error


def _write_head(home: Path, lines: list[bytes]) -> None:
    number, sha256 = _head(lines)
    _write(head_path(home), json.dumps({"lines": number, "sha256": sha256}).encode() + b"\n")


def _write(path: Path, data: bytes) -> None:
    try:
        write_whole(path, data)
    except OSError as error:
        raise ArchiveError(
            f"{path}: cannot be written ({error.strerror}); free the disk or let this account write there."
        ) from error


def _first_broken(lines: list[bytes]) -> BrokenEntry | None:
    return next(_broken(lines), None)


def _broken(lines: list[bytes]) -> Iterator[BrokenEntry]:
    """Every entry that cannot be read or does not follow from the one before."""
    previous = FIRST_PREVIOUS
    for number, line in enumerate(lines, 1):
        try:
            entry = json.loads(line)
        except ValueError:  # not JSON, or not utf-8
            yield BrokenEntry(number, "the entry cannot be read; bring the ledger back from a backup")
        else:
            if not isinstance(entry, dict) or entry.get("previous") != previous:
                yield BrokenEntry(
                    number,
                    "the entry does not follow from the one before, so one of the two was changed, added or "
                    "removed; bring the ledger back from a backup",
                )
        previous = _hash(line)


def _read_lines(home: Path) -> list[bytes]:
    path = ledger_path(home)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    except OSError as error:
        raise ArchiveError(f"{path}: cannot be read ({error.strerror}); let this account read it.") from error
    # Only LF ends an entry: JSON text may hold other separators that splitlines would take for ends.
    return data.removesuffix(b"\n").split(b"\n") if data else []


def _write_line(entry: Mapping[str, Any], previous: str) -> bytes:
    text = json.dumps(
        {**entry, "previous": previous}, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )
    return text.encode("utf-8")


def _hash(line: bytes) -> str:
    return hashlib.sha256(line).hexdigest()
