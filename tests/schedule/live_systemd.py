"""Starts a systemd of its own and lets a block talk to it: units are tried by what will run them, not by their text.

The manager is `systemd --user`, the same program that runs a machine's units, in a mount namespace and a cgroup
namespace of its own with an empty /run. So it sees no unit of the machine, and leaves
nothing behind but an empty cgroup `init.scope`.
Needs Debian's package systemd, and the right to make namespaces (root has it).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SYSTEMD = Path("/lib/systemd/systemd")
LONGEST_SECONDS = 120.0
_PREPARE = """
set -e
mount --make-rprivate /
mount -t tmpfs tmpfs /run
mkdir -p /run/systemd/system
exec "$@"
"""
_APART = ("unshare", "--mount", "--cgroup", "--", "sh", "-c", _PREPARE, "sh")


@dataclass(frozen=True)
class Live:
    """A running manager. `folder`: where it finds units; `stamps`: when each timer last went off, as it believes."""

    base: Path
    process: subprocess.Popen[bytes]

    @property
    def folder(self) -> Path:
        return self.base / ".config" / "systemd" / "user"

    @property
    def stamps(self) -> Path:
        return self.base / ".local" / "share" / "systemd" / "timers"

    def control(self, *words: str) -> subprocess.CompletedProcess[str]:
        """What systemctl says to these words."""
        # Through the manager's own mounts, since its socket lies below them.
        enter = ["nsenter", f"--target={self.process.pid}", "--mount", "--cgroup", "--"]
        return subprocess.run(
            [*enter, "systemctl", "--user", *words],
            env=_environment(self.base),
            capture_output=True,
            text=True,
            timeout=LONGEST_SECONDS,
            check=False,
        )

    def show(self, unit: str) -> dict[str, str]:
        """All properties of a unit."""
        lines = self.control("show", unit).stdout.splitlines()
        return {name: value for name, _, value in (line.partition("=") for line in lines)}

    def timers(self) -> list[dict[str, Any]]:
        """What list-timers says."""
        told: list[dict[str, Any]] = json.loads(self.control("list-timers", "--all", "--output=json").stdout)
        return told

    def wait_until(self, is_so: Callable[[], bool], what: str) -> None:
        """Wait for something that the manager does by itself."""
        end = time.monotonic() + LONGEST_SECONDS
        while not is_so():
            assert time.monotonic() < end, f"{what}: not within {LONGEST_SECONDS:.0f} s"
            time.sleep(0.05)


def find_hindrance() -> str | None:
    """Why no systemd can be started here; None where one can."""
    for need in ("systemctl", "unshare", "nsenter"):
        if shutil.which(need) is None:
            return f"{need} is missing"
    if not SYSTEMD.is_file():
        return f"{SYSTEMD} is missing"
    tried = subprocess.run(
        [*_APART, "true"],
        capture_output=True,
        text=True,
        check=False,
    )
    return None if tried.returncode == 0 else f"no namespace can be made: {tried.stderr.strip()}"


def _environment(base: Path) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    return {**kept, "HOME": str(base), "XDG_RUNTIME_DIR": str(base / "run"), "TZ": "UTC"}


@contextmanager
def run_systemd(base: Path) -> Iterator[Live]:
    """A manager whose files lie below an empty folder; gone when the block ends. Raises OSError where none starts."""
    (base / "run").mkdir(parents=True, mode=0o700)
    with (base / "said").open("wb") as said:
        process = subprocess.Popen(
            [*_APART, str(SYSTEMD), "--user", "--unit=basic.target", "--log-target=console"],
            env=_environment(base),
            stdout=said,
            stderr=said,
        )
    live = Live(base, process)
    live.folder.mkdir(parents=True)
    live.stamps.mkdir(parents=True)
    try:
        _await_start(live)
        yield live
    finally:
        live.control("exit")
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _await_start(live: Live) -> None:
    end = time.monotonic() + 30
    while live.control("is-system-running").stdout.strip() not in ("running", "degraded"):
        if live.process.poll() is not None or time.monotonic() > end:
            said = (live.base / "said").read_text(encoding="utf-8", errors="replace")
            raise OSError(f"systemd did not come up: {said.strip()[-300:]}")
        time.sleep(0.05)


if __name__ == "__main__":
    sys.stdout.write(f"{find_hindrance() or 'a systemd can be started here'}\n")
