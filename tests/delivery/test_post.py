"""What becomes of letters at a real SMTP server that does everything wrong that servers do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest

from pipeline.delivery.outbox import Outbox, open_outbox
from pipeline.delivery.post import Delivered, deliver_due
from pipeline.delivery.retries import WAITS
from pipeline.delivery.transports import HandOver, Login, SmtpTransport
from tests.delivery.letters import SENDER, Clock, key_to, letter_to, put, states, write
from tests.delivery.smtp_server import (
    PASSWORD,
    SLOW_SECONDS,
    USER,
    Certificates,
    Fault,
    Server,
    find_free_port,
    run_server,
)

A, B, C = "ana@hill.example", "bo@hill.example", "cy@hill.example"


def reach(server: Server, **other: object) -> SmtpTransport:
    """The way to a server, with waits that a busy machine does not outlast."""
    given: dict[str, object] = {
        "host": "localhost",
        "port": server.port,
        "security": "starttls",
        "sender": SENDER,
        "login": Login(USER, PASSWORD),
        "ca_file": server.ca_file,
        "timeout_seconds": 30.0,
        "final_wait_seconds": 30.0,
        **other,
    }
    return SmtpTransport(**given)  # type: ignore[arg-type]


def post(outbox: Outbox, transport: SmtpTransport, clock: Clock) -> Delivered:
    return deliver_due(outbox, transport, clock)


def outcomes(outbox: Outbox, recipient: str) -> list[tuple[str, int | None]]:
    letter = letter_to(outbox, recipient)
    return [(one.outcome, one.code) for one in outbox.attempts(letter.letter_id)]


def test_all_are_sent_over_one_connection_as_they_were_stored(server: Server, outbox: Outbox) -> None:
    keys = [key_to(one) for one in (A, B, C)]
    for key in keys:
        put(outbox, key)
    done = post(outbox, reach(server), Clock())
    assert (done.by_state, done.down, done.postponed) == ({"sent": 3}, "", 0)
    assert server.received.messages == [(key.recipient, write(key)) for key in keys]
    assert server.received.connections == 1
    assert post(outbox, reach(server), Clock()).tried == 0
    assert len(server.received.messages) == 3


# fault, state and attempts after one round, state in the end after all rounds, messages that arrived
FAULTS: list[tuple[Fault, str, int | None, str, int]] = [
    ("refused", "failed", 550, "failed", 0),
    ("greylisted", "retry", 451, "sent", 1),
    ("dropped before DATA", "retry", None, "sent", 1),
    ("dropped after DATA", "unknown", None, "unknown", 1),
    ("dropped untaken", "unknown", None, "unknown", 0),
    ("slow to begin", "retry", None, "sent", 1),
    ("slow to end", "unknown", None, "unknown", 1),
    ("refused text", "failed", 554, "failed", 0),
    ("busy text", "retry", 452, "sent", 1),
]


@pytest.mark.parametrize(("fault", "first", "code", "last", "arrived"), FAULTS)
def test_a_fault_of_one_stops_nobody_else(
    fault: Fault, first: str, code: int | None, last: str, arrived: int, server: Server, outbox: Outbox
) -> None:
    for one in (A, B, C):
        put(outbox, key_to(one))
    server.faults.by_recipient[B] = fault
    server.faults.times[B] = 1
    clock = Clock()
    waits = {"timeout_seconds": 2.0, "final_wait_seconds": 2.0} if fault.startswith("slow") else {}
    assert all(wait < SLOW_SECONDS for wait in waits.values())
    done = post(outbox, reach(server, **waits), clock)
    assert states(outbox) == {A: "sent", B: first, C: "sent"}
    assert (done.tried, done.down) == (3, "")
    outcome = {"failed": "permanent", "retry": "temporary", "unknown": "unknown"}[first]
    assert outcomes(outbox, B) == [(outcome, code)]
    assert letter_to(outbox, B).attempts == 1
    assert letter_to(outbox, B).remark
    # nothing is tried before its time, and only what was not taken is tried then
    clock.turn(minutes=4)
    assert post(outbox, reach(server), clock).tried == 0
    clock.turn(minutes=2)
    post(outbox, reach(server), clock)
    assert states(outbox) == {A: "sent", B: last, C: "sent"}
    assert letter_to(outbox, B).attempts == (2 if last == "sent" else 1)
    clock.turn(days=30)
    assert post(outbox, reach(server), clock).tried == 0
    assert len(server.received.to(B)) == arrived
    # whatever happened, one key never brought two different messages
    assert {data for to, data in server.received.messages if to == B} <= {write(key_to(B))}


def test_greylisting_that_never_ends_is_given_up_after_growing_waits(server: Server, outbox: Outbox) -> None:
    put(outbox, key_to(A))
    server.faults.by_recipient[A] = "greylisted"
    clock = Clock()
    waits: list[timedelta] = []
    while (letter := letter_to(outbox, A)).state in ("pending", "retry"):
        waits.append(letter.due_at - clock.now)
        clock.now = letter.due_at
        post(outbox, reach(server), clock)
    assert tuple(waits[1:]) == WAITS
    assert list(WAITS) == sorted(WAITS)
    assert (letter.state, letter.attempts, letter.code) == ("failed", len(WAITS) + 1, 451)
    assert server.received.messages == []


def test_a_wrong_password_puts_all_off_and_asks_once(server: Server, outbox: Outbox) -> None:
    for one in (A, B, C):
        put(outbox, key_to(one))
    clock = Clock()
    done = post(outbox, reach(server, login=Login(USER, "wrong horse")), clock)
    assert "user or password is refused" in done.down
    assert "horse" not in done.down
    assert (done.tried, done.postponed) == (0, 3)
    assert states(outbox) == {A: "retry", B: "retry", C: "retry"}
    assert outcomes(outbox, C) == [("down", 535)]
    clock.turn(minutes=6)
    post(outbox, reach(server), clock)
    assert states(outbox) == {A: "sent", B: "sent", C: "sent"}


def test_a_certificate_of_a_stranger_is_refused_before_anything_is_said(
    server: Server, outbox: Outbox, certificates: Certificates
) -> None:
    put(outbox, key_to(A))
    done = post(outbox, reach(server, ca_file=certificates.strangers_file), Clock())
    assert "its certificate is not to be trusted" in done.down
    assert states(outbox) == {A: "retry"}
    assert server.received.named == {}


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_with_another_name_is_refused(
    certificates: Certificates, outbox: Outbox, security: str
) -> None:
    put(outbox, key_to(A))
    with run_server(certificates, security=security, has_other_name=True) as server:  # type: ignore[arg-type]
        done = post(outbox, reach(server, security=security), Clock())
    assert "its certificate is not to be trusted" in done.down
    assert states(outbox) == {A: "retry"}


def test_over_tls_from_the_first_byte(certificates: Certificates, outbox: Outbox) -> None:
    put(outbox, key_to(A))
    with run_server(certificates, security="tls") as server:
        post(outbox, reach(server, security="tls"), Clock())
        assert [to for to, _ in server.received.messages] == [A]


def test_a_server_without_starttls_gets_neither_password_nor_message(
    certificates: Certificates, outbox: Outbox
) -> None:
    put(outbox, key_to(A))
    with run_server(certificates, security="none") as server:
        done = post(outbox, reach(server), Clock())
        assert server.received.messages == []
    assert "does not offer what the settings ask for" in done.down


def test_where_nobody_listens_all_wait_and_come_to_an_end_together(outbox: Outbox) -> None:
    for one in (A, B):
        put(outbox, key_to(one))
    nowhere = SmtpTransport("localhost", find_free_port(), "starttls", SENDER, timeout_seconds=1)
    clock = Clock()
    assert "no connection" in post(outbox, nowhere, clock).down
    for wait in WAITS:
        assert states(outbox) == {A: "retry", B: "retry"}
        clock.now += wait
        post(outbox, nowhere, clock)
    assert states(outbox) == {A: "failed", B: "failed"}


def test_a_server_that_answers_nobody_is_left_after_three(server: Server, outbox: Outbox) -> None:
    many = [f"p{number}@hill.example" for number in range(6)]
    for one in many:
        put(outbox, key_to(one))
        server.faults.by_recipient[one] = "dropped before DATA"
    done = post(outbox, reach(server), Clock())
    assert "3 messages in a row" in done.down
    assert (done.tried, done.postponed) == (3, 3)
    assert set(states(outbox).values()) == {"retry"}


def test_a_message_above_the_servers_limit_is_refused_with_the_mend(
    certificates: Certificates, outbox: Outbox
) -> None:
    put(outbox, key_to(A))
    with run_server(certificates, most_bytes=50) as server:
        post(outbox, reach(server), Clock())
    letter = letter_to(outbox, A)
    assert (letter.state, letter.code) == ("failed", 552)
    assert "size_limit_mb" in letter.remark


def test_two_at_once_never_send_one_letter_twice(server: Server, tmp_path: Path) -> None:
    many = [f"p{number}@hill.example" for number in range(8)]
    with open_outbox(tmp_path) as one, open_outbox(tmp_path, holder="elsewhere:1:") as other:
        for each in many:
            put(one, key_to(each))
        # each takes letters in turn while the other holds one
        held = other.claim(Clock()())
        assert held is not None
        post(one, reach(server), Clock())
        assert sorted(to for to, _ in server.received.messages) == sorted(set(many) - {held.recipient})
        other.finish(held, "temporary", Clock()())
        assert states(one)[held.recipient] == "retry"


class _StopError(BaseException):
    """Ends a round wherever it is, as a stop signal does."""


@dataclass(frozen=True)
class Stopping:
    """A way out that is stopped right before, or right after, the last byte of its second message."""

    is_after: bool
    sent: list[str] = field(default_factory=list)

    @contextmanager
    def open(self) -> Iterator[Stopping]:
        yield self

    def send(self, recipient: str, message_id: str, message: bytes, hand_over: HandOver) -> None:
        if self.sent and not self.is_after:
            raise _StopError
        hand_over()
        if self.sent:
            raise _StopError
        self.sent.append(recipient)

    def has_arrived(self, message_id: str) -> bool | None:
        return None


@pytest.mark.parametrize(("is_after", "state"), [(False, "pending"), (True, "unknown")])
def test_a_round_that_is_stopped_holds_no_letter_back(outbox: Outbox, is_after: bool, state: str) -> None:
    for one in (A, B, C):
        put(outbox, key_to(one))
    with pytest.raises(_StopError):
        deliver_due(outbox, Stopping(is_after), Clock())
    assert states(outbox) == {A: "sent", B: state, C: "pending"}
