"""What the published warehouse is known by, and whether it still is that file. Without DuckDB: `status` asks it too."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.errors import WarehouseError
from pipeline.intake.ledger import ledger_path, read_ledger

WAREHOUSE_NAME = "warehouse.duckdb"


def warehouse_path(home: Path) -> Path:
    """Where a home keeps its warehouse."""
    return home / WAREHOUSE_NAME


@dataclass(frozen=True, slots=True)
class Seal:
    """What a closed warehouse file is known by: SHA-256 and size in bytes."""

    sha256: str
    size: int


def file_seal(path: Path) -> Seal:
    """Hash and size of a file. Raises OSError."""
    with path.open("rb") as stream:
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        return Seal(sha256, stream.tell())


def check_sealed(home: Path) -> None:
    """See that the published warehouse is the file that the newest night or rebuilding sealed.

    A home whose ledger has no seal yet is not looked at, nor one whose last night was just being published when it
    ended: its warehouse is in place before the ledger says so. Raises WarehouseError, ArchiveError.
    """
    if not ledger_path(home).exists() or (home / "archive" / "night.announced").exists():
        return
    told = [(one.get("night"), one["warehouse"]) for one in read_ledger(home) if "warehouse" in one]
    if not told:
        return
    path = warehouse_path(home)
    newest, seal = told[-1]
    if path.stat().st_size == seal["size"] and file_seal(path).sha256 == seal["sha256"]:
        return
    found = asdict(file_seal(path))
    earlier = next((night for night, seal in told if seal == found), None)
    what = (
        "is not the file that the last night left, it was cut or altered"
        if earlier is None
        else f"its newest night is number {earlier}, but the ledger ends with number {newest}"
    )
    raise WarehouseError(f"{path}: {what}; {mend(home)}")


def mend(home: Path) -> str:
    """What helps where a warehouse is damaged, missing or not that of the ledger; a clause with its full stop."""
    return f"run `leachbook rebuild {home}`, which makes it anew from the archive."
