"""One night at a time: a lock file beside the warehouse, and beside it who holds it."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import HomeError, NightRunning

LOCK_NAME = ".night.lock"
HOLDER_NAME = ".night.holder"


@contextmanager
def night_lock(home: Path, now: datetime) -> Iterator[None]:
    """Hold the home's lock while a night runs; the operating system frees it when the process dies.

    Raises NightRunning with the holder's name, HomeError when the home cannot be written to.
    """
    lock = FileLock(home / LOCK_NAME)
    holder = home / HOLDER_NAME
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        who = holder.read_text(encoding="utf-8").strip() if holder.exists() else "another process"
        raise NightRunning(f"{home}: a night is running ({who}); wait until it has ended.") from error
    except OSError as error:
        raise HomeError(
            f"{home}: cannot be written to ({error.strerror}); check the folder's owner and mode."
        ) from error
    try:
        try:
            holder.write_text(
                f"process {os.getpid()} on {socket.gethostname()} since {now:%Y-%m-%d %H:%M}\n",
                encoding="utf-8",
            )
        except OSError as error:
            raise HomeError(
                f"{home}: cannot be written to ({error.strerror}); check the folder's owner, mode and free space."
            ) from error
        yield
    finally:
        with suppress(OSError):
            holder.unlink(missing_ok=True)
        lock.release()
