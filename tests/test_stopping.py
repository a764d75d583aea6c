"""Stop signals in this process: where they come out, and where they are held back."""

from __future__ import annotations

import os
import signal
import threading

import pytest

from pipeline.stopping import Stopped, check_stop, stop_in_order, unstoppable


def send(number: int) -> None:
    os.kill(os.getpid(), number)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_comes_out_as_stopped_and_the_handlers_are_put_back(number: int) -> None:
    before = signal.getsignal(number)
    with pytest.raises(Stopped) as stop, stop_in_order():
        send(number)
    assert stop.value.exit_code == 128 + number
    assert signal.getsignal(number) == before


def test_an_error_by_which_a_library_answers_the_interruption_is_the_stop() -> None:
    def interrupted_query() -> None:
        try:
            send(signal.SIGTERM)
        except Stopped as stop:
            raise RuntimeError("Query interrupted") from stop

    with pytest.raises(Stopped, match="SIGTERM"), stop_in_order():
        interrupted_query()


def test_a_signal_that_a_callback_swallowed_is_found_at_the_next_look() -> None:
    lost = []

    def callback() -> None:
        try:
            send(signal.SIGTERM)
        except BaseException as error:
            lost.append(error)

    def work() -> None:
        check_stop()
        callback()
        assert [str(one) for one in lost] == ["SIGTERM"]
        check_stop()
        lost.append(ValueError("it went on"))

    with pytest.raises(Stopped, match="SIGTERM"), stop_in_order():
        work()
    assert len(lost) == 1
    check_stop()  # of the past once the block is over


def test_an_error_without_a_signal_stays_what_it_is() -> None:
    with pytest.raises(ValueError, match="mine"), stop_in_order():
        raise ValueError("mine")


def test_what_must_be_whole_is_finished_first() -> None:
    steps = []

    def publish() -> None:
        with unstoppable():
            steps.append("warehouse")
            send(signal.SIGTERM)
            steps.append("pages")
        steps.append("after")

    with pytest.raises(Stopped), stop_in_order():
        publish()
    assert steps == ["warehouse", "pages"]


def test_other_threads_leave_the_handlers_alone() -> None:
    ran = []

    def work() -> None:
        with stop_in_order(), unstoppable():
            ran.append(True)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert ran == [True]
