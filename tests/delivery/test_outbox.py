"""The outbox file: what is stored once, who may take it, and what a death leaves."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.delivery.leases import is_dead, name_holder
from pipeline.delivery.outbox import (
    KEPT,
    LEASE,
    Key,
    Outbox,
    decide_state,
    make_message_id,
    open_outbox,
    outbox_path,
)
from pipeline.delivery.post import deliver_due
from pipeline.delivery.retries import WAITS, next_attempt_at
from pipeline.delivery.transports import FolderTransport
from pipeline.errors import OutboxError
from tests.delivery.letters import START, Clock, key_to, letter_to, put, states, write

A, B = "ana@hill.example", "bo@hill.example"


def cannot_tell(message_id: str) -> None:
    """A server cannot be asked."""


def dead_holder() -> str:
    """The name of a process of this machine that has ended."""
    process = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    name = name_holder(process.pid)
    process.communicate(b"\n")
    return name


def test_a_key_is_stored_once_whatever_comes_after(outbox: Outbox) -> None:
    assert put(outbox, key_to(A))
    assert not put(outbox, key_to(A))
    assert put(outbox, key_to(A, "c2"))
    assert put(outbox, key_to(A, site="vale"))
    assert put(outbox, key_to(A, period="2026-W16"))
    assert put(outbox, key_to(B))
    assert len({one.message_id for one in outbox.letters()}) == len(outbox.letters()) == 5


def test_the_bytes_that_were_stored_first_are_those_that_go(outbox: Outbox, tmp_path: Path) -> None:
    put(outbox, key_to(A))
    outbox.enqueue(key_to(A), b"other", message_id="<other@x>", subject="Other", now=START)
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    (file,) = (tmp_path / "mail").iterdir()
    assert file.read_bytes() == write(key_to(A))


@settings(deadline=None)
@given(st.tuples(*[st.text(max_size=5)] * 5), st.tuples(*[st.text(max_size=5)] * 5))
def test_two_keys_share_a_message_id_only_if_they_are_the_same(
    one: tuple[str, str, str, str, str], other: tuple[str, str, str, str, str]
) -> None:
    same = make_message_id(Key(*one), "x.example") == make_message_id(Key(*other), "x.example")
    assert same == (one == other)


def test_a_newer_report_takes_the_place_of_what_has_not_gone_out(outbox: Outbox, tmp_path: Path) -> None:
    put(outbox, key_to(A))
    put(outbox, key_to(B))
    put(outbox, key_to(A, "c2"), is_replacing=True)
    assert [(one.key.recipient, one.state) for one in outbox.letters()] == [
        (A, "replaced"),
        (B, "pending"),
        (A, "pending"),
    ]
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    put(outbox, key_to(A, "c3"), is_replacing=True)
    assert [one.state for one in outbox.letters()] == ["replaced", "sent", "sent", "pending"]


def test_what_is_withdrawn_takes_its_copies_with_it_and_nothing_else(outbox: Outbox) -> None:
    put(outbox, key_to(A, "c1"))
    put(outbox, key_to(B, "c1"))
    put(outbox, Key("weekly-copy", "hill", "2026-W15", "boss@hill.example", "c1 for a"))
    put(outbox, Key("weekly-copy", "hill", "2026-W15", "boss@hill.example", "c11"))
    outbox.withdraw(key_to(A, "c1"), START)
    assert [one.state for one in outbox.letters()] == ["replaced", "pending", "replaced", "pending"]


def test_a_lease_keeps_others_away_until_it_runs_out(tmp_path: Path) -> None:
    clock = Clock()
    with open_outbox(tmp_path) as one, open_outbox(tmp_path, holder="elsewhere:7:1") as other:
        put(one, key_to(A))
        assert other.claim(clock()) is not None
        assert one.claim(clock()) is None
        assert one.settle_dead(clock(), cannot_tell) == 0
        clock.now += LEASE
        assert one.settle_dead(clock(), cannot_tell) == 1
        assert states(one) == {A: "pending"}
        assert one.claim(clock()) is not None


def test_who_died_before_the_last_byte_leaves_the_letter_due(tmp_path: Path) -> None:
    with open_outbox(tmp_path, holder=dead_holder()) as dead:
        put(dead, key_to(A))
        assert dead.claim(START) is not None
    with open_outbox(tmp_path) as outbox:
        outbox.settle_dead(START, cannot_tell)
        assert states(outbox) == {A: "pending"}
        (attempt,) = outbox.attempts(1)
        assert (attempt.outcome, letter_to(outbox, A).attempts) == ("died", 1)


@pytest.mark.parametrize(("told", "state"), [(None, "unknown"), (True, "sent"), (False, "pending")])
def test_who_died_after_the_last_byte_leaves_what_the_transport_can_tell(
    tmp_path: Path, told: bool | None, state: str
) -> None:
    with open_outbox(tmp_path, holder=dead_holder()) as dead:
        put(dead, key_to(A))
        claimed = dead.claim(START)
        assert claimed is not None
        dead.mark_handing_over(claimed, START)
    with open_outbox(tmp_path) as outbox:
        outbox.settle_dead(START, lambda _: told)
        assert states(outbox) == {A: state}
        if state == "unknown":
            assert outbox.claim(START + timedelta(days=99)) is None
            assert "may have arrived" in letter_to(outbox, A).remark


def test_who_was_taken_for_dead_and_was_not_puts_it_right(tmp_path: Path) -> None:
    with open_outbox(tmp_path) as one, open_outbox(tmp_path, holder="elsewhere:7:1") as slow:
        put(one, key_to(A))
        claimed = slow.claim(START)
        assert claimed is not None
        slow.mark_handing_over(claimed, START)
        one.settle_dead(START + LEASE, cannot_tell)
        assert states(one) == {A: "unknown"}
        slow.finish(claimed, "sent", START + LEASE)
        assert states(one) == {A: "sent"}


def test_a_process_is_known_by_its_start_as_well_as_its_number() -> None:
    mine = name_holder()
    assert not is_dead(mine)
    assert is_dead(mine.rpartition(":")[0] + ":1")
    assert is_dead(dead_holder())
    assert not is_dead("some other host:1:1")


def test_a_letter_that_was_refused_is_sent_again_when_somebody_says_so(
    outbox: Outbox, tmp_path: Path
) -> None:
    put(outbox, key_to(A))
    claimed = outbox.claim(START)
    assert claimed is not None
    assert outbox.finish(claimed, "permanent", START, code=550, remark="no such mailbox") == "failed"
    assert outbox.resend(1, START).state == "pending"
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    assert states(outbox) == {A: "sent"}
    assert [one.outcome for one in outbox.attempts(1)] == ["permanent", "sent"]


def test_what_is_cancelled_is_not_sent_and_what_was_sent_is_not_cancelled(
    outbox: Outbox, tmp_path: Path
) -> None:
    put(outbox, key_to(A))
    put(outbox, key_to(B))
    assert outbox.cancel(1, START).state == "cancelled"
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    assert states(outbox) == {A: "cancelled", B: "sent"}
    with pytest.raises(OutboxError, match="letter 2 was sent on 2026-04-06 06:00 UTC"):
        outbox.cancel(2, START)
    with pytest.raises(OutboxError, match="there is no letter 3"):
        outbox.resend(3, START)


def test_a_letter_that_went_out_once_stays_known_as_such(outbox: Outbox, tmp_path: Path) -> None:
    put(outbox, key_to(A))
    assert not outbox.letters()[0].has_gone_out
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    resent = outbox.resend(1, START)
    assert (resent.state, resent.has_gone_out) == ("pending", True)
    # Not sending it once more does not take back that it was sent.
    assert outbox.cancel(1, START).state == "sent"


def test_what_is_being_sent_is_let_alone(outbox: Outbox) -> None:
    put(outbox, key_to(A))
    outbox.claim(START)
    for change in (outbox.resend, outbox.cancel):
        with pytest.raises(OutboxError, match="being sent at this moment"):
            change(1, START)


def test_messages_of_what_is_done_with_are_let_go_and_letters_stay(outbox: Outbox, tmp_path: Path) -> None:
    put(outbox, key_to(A))
    put(outbox, key_to(B))
    outbox.cancel(2, START)
    outbox.resend(2, START)
    deliver_due(outbox, FolderTransport(tmp_path / "mail"), Clock())
    put(outbox, key_to(A, "c2"))
    outbox.forget_messages(START + KEPT)
    assert outbox.message(1) == write(key_to(A))
    outbox.forget_messages(START + KEPT + timedelta(seconds=1))
    assert [outbox.message(number) is None for number in (1, 2, 3)] == [True, True, False]
    assert not put(outbox, key_to(A))
    with pytest.raises(OutboxError, match="no longer kept"):
        outbox.resend(1, START)


def test_a_damaged_file_and_one_of_a_newer_version_are_named(tmp_path: Path) -> None:
    path = outbox_path(tmp_path)
    path.write_bytes(b"this is no database at all, but a text of some length" * 20)
    with (
        pytest.raises(OutboxError, match=r"outbox\.sqlite: the outbox cannot be used .* a backup"),
        open_outbox(tmp_path),
    ):
        pass
    path.unlink()
    with sqlite3.connect(path) as connection:
        connection.execute("pragma user_version = 9")
    connection.close()
    with pytest.raises(OutboxError, match="newer Leachbook"), open_outbox(tmp_path):
        pass


def test_a_home_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutboxError, match="unable to open"), open_outbox(tmp_path / "nowhere"):
        pass


@settings(deadline=None)
@given(st.integers(-3, 40))
def test_tries_end(attempts: int) -> None:
    at = next_attempt_at(attempts, START)
    assert (at is None) == (attempts < 1 or attempts > len(WAITS))
    assert at is None or at > START
    assert decide_state("temporary", attempts, START)[0] == ("failed" if at is None else "retry")
    assert decide_state("permanent", attempts, START) == ("failed", START)
