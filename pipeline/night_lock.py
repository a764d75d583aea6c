"""One run at a time: a lock file beside the warehouse, and beside it who holds it.

The lock is the operating system's, so it is free as soon as its holder is dead, however that died. What a dead holder
leaves is its name, and the next one to come recognises it by that.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import HomeError, NightRunning

LOCK_NAME = ".night.lock"
HOLDER_NAME = ".night.holder"


@contextmanager
def night_lock(home: Path, now: datetime) -> Iterator[str | None]:
    """Hold the home's lock while a night runs; the operating system frees it when the process dies.

    Yields the name that a holder left which died without giving the lock back, None where the last one ended in order.
    Raises NightRunning with the holder's name, HomeError when the home cannot be written to or locked.
    """
    lock = FileLock(home / LOCK_NAME)
    holder = home / HOLDER_NAME
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        who = _read_holder(home) or "another process"
        raise NightRunning(f"{home}: a night is running ({who}); wait until it has ended.") from error
    except NotImplementedError as error:
        raise HomeError(
            f"{home}: its file system knows no locks, so two nights could not be kept apart; "
            "move the home to a local disk."
        ) from error
    except OSError as error:
        raise HomeError(
            f"{home}: cannot be written to ({error.strerror}); check the folder's owner and mode."
        ) from error
    try:
        died = _read_holder(home)
        try:
            holder.write_text(f"{_name_holder(now)}\n", encoding="utf-8")
        except OSError as error:
            raise HomeError(
                f"{home}: cannot be written to ({error.strerror}); check the folder's owner, mode and free space."
            ) from error
        yield died
    finally:
        with suppress(OSError):
            holder.unlink(missing_ok=True)
        lock.release()


def find_holder(home: Path) -> str | None:
    """Who holds the home's lock at this moment; None where nobody does, whatever name a dead one left."""
    if not (home / LOCK_NAME).exists():
        return None
    lock = FileLock(home / LOCK_NAME)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        return _read_holder(home) or "another process"
    except (OSError, NotImplementedError):
        # Whoever wants to run will be told why he cannot.
        return None
    lock.release()
    return None


def _name_holder(now: datetime) -> str:
    return f"process {os.getpid()} on {socket.gethostname()} since {now.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _read_holder(home: Path) -> str | None:
    try:
        return (home / HOLDER_NAME).read_text(encoding="utf-8").strip() or None
    except (OSError, UnicodeDecodeError):
        return None
