"""Stop signals: a run that is asked to end unwinds in order, and what is just being published is finished first."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from types import FrameType
from typing import Final

STOP_SIGNALS: Final = (signal.SIGTERM, signal.SIGINT)
# Signals belong to the process, so what came of them does too.
_received: Final[list[int]] = []


class Stopped(BaseException):
    """Raised wherever the run is when SIGTERM or SIGINT arrives.

    No Exception, so that nothing on the way takes it for an error that it knows how to mend.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(signal.Signals(number).name)

    @property
    def exit_code(self) -> int:
        """What a shell says of a process that a signal ended."""
        return 128 + self.number


@contextmanager
def stop_in_order() -> Iterator[None]:
    """Turn stop signals into Stopped while the block runs.

    Libraries may answer an interrupted call with an error of their own: it comes out as Stopped too.
    """
    with _handled_by(_stop):
        try:
            yield
        except Stopped:
            raise
        except BaseException as error:
            if _received:
                raise Stopped(_received[0]) from error
            raise
        finally:
            _received.clear()


def _stop(number: int, _: FrameType | None) -> None:
    _received.append(number)
    raise Stopped(number)


def check_stop() -> None:
    """Raise Stopped where a signal came and was lost: what is raised in a callback from C is printed and forgotten."""
    if _received:
        raise Stopped(_received[0])


@contextmanager
def unstoppable() -> Iterator[None]:
    """Hold stop signals back until the block has ended; the first of them is given then.

    For the few renames between which neither the old state nor the new one is whole.
    """
    held: list[int] = []

    def hold(number: int, _: FrameType | None) -> None:
        held.append(number)

    with _handled_by(hold):
        yield
    if held:
        signal.raise_signal(held[0])


@contextmanager
def _handled_by(handler: signal._HANDLER) -> Iterator[None]:
    """Handle stop signals so; other threads than the main one get none and may set none."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = [(one, signal.signal(one, handler)) for one in STOP_SIGNALS]
    try:
        yield
    finally:
        for one, old in before:
            signal.signal(one, old)


def ignore_interrupts() -> None:
    """Leave Ctrl-C, which a terminal sends to the whole group, to the process that waits for this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def begin_worker() -> None:
    """What each worker process does first: leave Ctrl-C to its parent, and end when that has ended."""
    ignore_interrupts()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    """End this process once another has: workers of one that was killed would wait for work for ever."""
    parent.join()
    os._exit(1)
