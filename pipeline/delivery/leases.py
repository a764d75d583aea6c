"""Who is sending a letter: a process by host, number and start, so that a dead one is known at once."""

from __future__ import annotations

import os
import socket
from contextlib import suppress
from pathlib import Path


def name_holder(process: int | None = None) -> str:
    """The name under which a process (this one by default) holds a lease: host, number, and when it started."""
    number = os.getpid() if process is None else process
    return f"{socket.gethostname()}:{number}:{_started(number)}"


def is_dead(holder: str) -> bool:
    """Whether the holder certainly lives no more. Of another host nothing is certain: its lease has to run out."""
    host, _, rest = holder.rpartition(":")[0].rpartition(":")
    number = int(rest) if rest.isdigit() else 0
    if host != socket.gethostname() or number <= 0:
        return False
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        pass
    # Another process may have got the number since.
    return name_holder(number) != holder


def _started(number: int) -> str:
    """When a process started, in ticks since the machine did; empty where the system does not tell."""
    with suppress(OSError, IndexError):
        # The name in brackets may hold blanks; the start is the 20th field behind it.
        return Path(f"/proc/{number}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()[19]
    return ""
