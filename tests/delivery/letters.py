"""Letters for tests: small messages with a key of their own, and a clock that is turned by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from pipeline.delivery.outbox import Key, Letter, Outbox, make_message_id

START = datetime(2026, 4, 6, 6, 0, tzinfo=UTC)
SENDER = "reports@quillmere.example"


@dataclass
class Clock:
    """A clock that stands until it is turned."""

    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def turn(self, **by: float) -> datetime:
        self.now += timedelta(**by)
        return self.now


def key_to(recipient: str, content: str = "c1", site: str = "hill", period: str = "2026-W15") -> Key:
    return Key("weekly", site, period, recipient, content)


def write(key: Key, text: str = "Good morning") -> bytes:
    """A small message as bytes; lines that begin with a point are the trap of SMTP."""
    return (
        f"From: {SENDER}\r\nTo: {key.recipient}\r\nSubject: Week 15\r\n"
        f"Message-ID: {make_message_id(key, 'quillmere.example')}\r\n\r\n{text} {key.content}\r\n.\r\n..end\r\n"
    ).encode()


def put(outbox: Outbox, key: Key, now: datetime = START, *, is_replacing: bool = False) -> bool:
    return outbox.enqueue(
        key,
        write(key),
        message_id=make_message_id(key, "quillmere.example"),
        subject="Week 15",
        now=now,
        is_replacing=is_replacing,
    )


def letter_to(outbox: Outbox, recipient: str) -> Letter:
    (letter,) = [one for one in outbox.letters() if one.key.recipient == recipient]
    return letter


def states(outbox: Outbox) -> dict[str, str]:
    return {one.key.recipient: one.state for one in outbox.letters()}
