"""Worker processes of the command line: they end with the run that started them."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import suppress

from tests.conftest import ROOT

RUN = """
import os, sys
from pipeline.cli import _pool
if __name__ == "__main__":
    with _pool() as pool:
        print(pool.submit(os.getpid).result(), flush=True)
        sys.stdin.read()
"""


def is_there(process: int) -> bool:
    with suppress(ProcessLookupError):
        os.kill(process, 0)
        return True
    return False


def test_workers_of_a_killed_run_end_instead_of_waiting_for_work_for_ever() -> None:
    command = [sys.executable, "-c", RUN]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        worker = int(run.stdout.readline())
        assert is_there(worker)
        run.kill()
        until = time.monotonic() + 30
        while is_there(worker) and time.monotonic() < until:
            time.sleep(0.02)
        assert not is_there(worker)
