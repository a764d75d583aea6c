"""The outbox: every message that is meant to go out, kept in a SQLite file of its own before anything is sent.

A letter is one message to one recipient. Its key is report, site, period, recipient and content; what has been
enqueued under a key is never enqueued again, and an attempt always sends the bytes that were stored, so nobody gets
two different messages for one key.

    pending    stored, never tried
    sending    somebody is sending it, under a lease
    sent       the server (or the folder) took it
    retry      not taken for the time being; tried again when `due_at` has come
    failed     refused for good, or tried too often; told until somebody resends or cancels it
    unknown    the sender died, or lost the server, after the last byte: it may have arrived. Never sent again by
               itself, since that could bring a second copy; told until somebody resends or cancels it
    cancelled  somebody decided so
    replaced   a newer letter of the same report, site, period and recipient came before it went out

Any kind of message can use it: give it a `Key` with a `report` of its own and the whole message as bytes.
"""

from __future__ import annotations

import hashlib
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

from pipeline.assets import sql_folder
from pipeline.delivery.leases import is_dead, name_holder
from pipeline.delivery.retries import next_attempt_at
from pipeline.errors import OutboxError

HasArrived = Callable[[str], bool | None]
"""Asks a transport whether the message with this Message-ID is there; None: it cannot tell."""

State = Literal["pending", "sending", "sent", "retry", "failed", "unknown", "cancelled", "replaced"]
Outcome = Literal["sent", "temporary", "permanent", "unknown", "down", "died"]
OUTBOX_NAME: Final = "outbox.sqlite"
LEASE: Final = timedelta(minutes=30)
"""House default: longer than any attempt can take (a server has ten minutes for its last answer)."""
KEPT: Final = timedelta(days=35)
"""House default: how long the messages of letters that are done with stay, so that they can be sent again."""
OPEN_STATES: Final[frozenset[State]] = frozenset({"pending", "sending", "retry", "failed", "unknown"})
_VERSION: Final = 1


@dataclass(frozen=True, slots=True)
class Key:
    """What a letter is: `site` is empty for one about the group, `content` a digest of what it says."""

    report: str
    site: str
    period: str
    recipient: str
    content: str

    def digest(self) -> str:
        """Hexadecimal digest of all five parts."""
        parts = (self.report, self.site, self.period, self.recipient, self.content)
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter as it stands, without its message. `facts`: what its maker wanted to remember of it.

    `has_gone_out`: an attempt has sent it; it stays so while it is to be sent once more.
    """

    letter_id: int
    key: Key
    message_id: str
    subject: str
    state: State
    created_at: datetime
    changed_at: datetime
    due_at: datetime
    attempts: int
    code: int | None
    remark: str
    size_bytes: int
    facts: str
    has_gone_out: bool = False


@dataclass(frozen=True, slots=True)
class Draft:
    """A message that is to be stored. `message`: whole, with CRLF; `message_id`: the one in its head."""

    key: Key
    message: bytes
    message_id: str
    subject: str
    facts: str = ""


@dataclass(frozen=True, slots=True)
class Attempt:
    """What one attempt to send a letter came to; `code` is what the server answered, where it did."""

    ended_at: datetime
    outcome: Outcome
    code: int | None
    remark: str


@dataclass(frozen=True, slots=True)
class Claimed:
    """A letter that this process is to send: its lease is held."""

    letter_id: int
    recipient: str
    message_id: str
    attempts: int
    message: bytes


def make_message_id(key: Key, domain: str) -> str:
    """The Message-ID of a key, with the angle brackets; the same key always has the same one."""
    parts = (key.report, key.site, key.period, key.recipient.partition("@")[0])
    readable = ".".join(filter(None, (re.sub(r"[^A-Za-z0-9]+", "-", part)[:30].strip("-") for part in parts)))
    return f"<{readable}.{key.digest()[:20]}@{domain}>"


def outbox_path(home: Path) -> Path:
    """Where a home's outbox is."""
    return home / OUTBOX_NAME


@contextmanager
def open_outbox(home: Path, *, holder: str | None = None) -> Iterator[Outbox]:
    """Open the home's outbox, making it where there is none.

    Raises OutboxError when it is damaged, of a newer version, or cannot be written.
    """
    path = outbox_path(home)
    with _told(path):
        connection = sqlite3.connect(path, timeout=30.0, isolation_level=None)
    try:
        with _told(path):
            _prepare(connection, path)
        yield Outbox(connection, path, holder or name_holder())
    finally:
        connection.close()


class Outbox:
    """An open outbox. Instants are aware; each method is one transaction, on the disk when it returns.

    All methods raise OutboxError when the file cannot be read or written.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, holder: str) -> None:
        self._connection = connection
        self._path = path
        self._holder = holder

    def enqueue(
        self,
        key: Key,
        message: bytes,
        *,
        message_id: str,
        subject: str,
        now: datetime,
        facts: str = "",
        is_replacing: bool = False,
    ) -> bool:
        """Store the intention to send a message; False where its key is there already, whatever became of it.

        `message`: the whole message with CRLF, `message_id` the one in its head (see `make_message_id`).
        `is_replacing`: letters of the same report, site, period and recipient that have not gone out give way.
        """
        draft = Draft(key, message, message_id, subject, facts)
        return self.enqueue_together([draft], now, is_replacing=is_replacing)

    def enqueue_together(self, drafts: Sequence[Draft], now: datetime, *, is_replacing: bool = False) -> bool:
        """Store messages that belong together, all of them or none. False where all were there already.

        With `is_replacing` the first one takes the place of older ones of its kind; what went along with those (the
        content of such a letter is that of its first one, a blank, and something more) gives way too.
        """
        is_new = False
        with self._transaction():
            for number, draft in enumerate(drafts):
                is_new |= self._insert(draft, _write(now), is_replacing and number == 0)
        return is_new

    def _insert(self, draft: Draft, now: str, is_replacing: bool) -> bool:
        about = {**asdict(draft.key), "now": now}
        kept = {
            "message_id": draft.message_id,
            "subject": draft.subject,
            "facts": draft.facts,
            "size_bytes": len(draft.message),
            "message": zlib.compress(draft.message, 1),
        }
        rows = self._run("insert_letter", {**about, **kept})
        if rows and is_replacing:
            self._run("replace_unsent", {**about, "remark": "a newer one took its place"})
        return bool(rows)

    def letters(
        self, *, report: str | None = None, site: str | None = None, period: str | None = None
    ) -> list[Letter]:
        """Letters in the order in which they were stored: all, or those of one report, site or period."""
        rows = self._run("letters", {"report": report, "site": site, "period": period})
        return [_read_letter(row) for row in rows]

    def attempts(self, letter_id: int) -> list[Attempt]:
        """What each attempt to send a letter came to, oldest first."""
        rows = self._run("attempts", {"letter_id": letter_id})
        return [Attempt(_read(row[0]), *row[1:]) for row in rows]

    def message(self, letter_id: int) -> bytes | None:
        """The message of a letter; None where there is no such letter, or its message was let go."""
        rows = self._run("read_message", {"letter_id": letter_id})
        return zlib.decompress(rows[0][0]) if rows and rows[0][0] is not None else None

    def claim(self, now: datetime, *, after: int = 0) -> Claimed | None:
        """Take the next letter that is due, of those with a number above `after`, under a lease; None: none is."""
        with self._transaction():
            rows = self._run(
                "claim_next",
                {
                    "now": _write(now),
                    "after": after,
                    "holder": self._holder,
                    "lease_until": _write(now + LEASE),
                },
            )
        if not rows:
            return None
        letter_id, recipient, message_id, attempts, message = rows[0]
        return Claimed(letter_id, recipient, message_id, attempts, zlib.decompress(message))

    def mark_handing_over(self, claimed: Claimed, now: datetime) -> None:
        """Say that the last byte is about to go: who dies from here on leaves the letter `unknown`."""
        with self._transaction():
            self._run(
                "mark_handing_over",
                {"letter_id": claimed.letter_id, "holder": self._holder, "now": _write(now)},
            )

    def finish(
        self, claimed: Claimed, outcome: Outcome, now: datetime, *, code: int | None = None, remark: str = ""
    ) -> State:
        """Write down what an attempt came to; returns the letter's state from now on."""
        state, due_at = decide_state(outcome, claimed.attempts, now)
        told = {"letter_id": claimed.letter_id, "now": _write(now), "code": code, "remark": remark}
        with self._transaction():
            self._run(
                "finish_attempt",
                {**told, "state": state, "due_at": _write(due_at), "holder": self._holder},
            )
            self._run("insert_attempt", {**told, "outcome": outcome})
        return state

    def postpone_due(self, now: datetime, *, code: int | None, remark: str, after: int = 0) -> int:
        """Put off all letters that are due, because no server takes any; returns how many there were."""
        with self._transaction():
            rows = self._run("due_letters", {"now": _write(now), "after": after})
            for letter_id, attempts in rows:
                state, due_at = decide_state("down", attempts + 1, now)
                told = {"letter_id": letter_id, "now": _write(now), "code": code, "remark": remark}
                self._run("postpone", {**told, "state": state, "due_at": _write(due_at)})
                self._run("insert_attempt", {**told, "outcome": "down"})
        return len(rows)

    def is_any_due(self, now: datetime) -> bool:
        """Whether a letter waits to be sent now."""
        return bool(self._run("due_letters", {"now": _write(now), "after": 0}))

    def settle_dead(self, now: datetime, has_arrived: HasArrived, *, is_own_over: bool = False) -> int:
        """See after letters whose sender died; returns how many there were. `is_own_over`: this process sends no more.

        Where the last byte had not gone, the letter is due again. Where it may have gone, `has_arrived` is asked by
        the Message-ID; None (a server cannot be asked) makes it `unknown`.
        """
        settled = 0
        with self._transaction():
            for letter_id, message_id, _, holder, lease_until, handing_over_at in self._run("leases", {}):
                is_over = is_own_over and holder == self._holder
                if not is_over and not is_dead(holder) and _read(lease_until) > now:
                    continue
                state, remark = _settle(handing_over_at is not None, has_arrived, message_id)
                told = {"letter_id": letter_id, "now": _write(now), "remark": remark}
                self._run("settle", {**told, "state": state, "holder": holder})
                self._run(
                    "insert_attempt",
                    {**told, "code": None, "outcome": state if state in ("sent", "unknown") else "died"},
                )
                settled += 1
        return settled

    def resend(self, letter_id: int, now: datetime) -> Letter:
        """Make a letter due again, with the same bytes and Message-ID. Raises OutboxError where that cannot be.

        Errors tell instants by the clocks of the zone in which `now` is given.
        """
        letter = self._find(letter_id)
        if self.message(letter_id) is None:
            when = _tell_here(letter.changed_at, now)
            raise OutboxError(
                f"letter {letter_id}: its message is no longer kept ({letter.state} on {when}); "
                "run leachbook weekly for a new one."
            )
        return self._change(letter, "pending", now, "to be sent again, by hand", attempts=0)

    def cancel(self, letter_id: int, now: datetime) -> Letter:
        """Let a letter not be sent any more. Raises OutboxError where it has gone out already.

        One that was to be resent is again what it was before: sent, at its own instant. Errors tell instants by the
        clocks of the zone in which `now` is given.
        """
        letter = self._find(letter_id)
        if letter.state == "sent":
            raise OutboxError(
                f"letter {letter_id} was sent on {_tell_here(letter.changed_at, now)}; it cannot be taken back."
            )
        if letter.has_gone_out:
            sent_at = max(one.ended_at for one in self.attempts(letter_id) if one.outcome == "sent")
            return self._change(letter, "sent", sent_at, "not sent again, by hand", attempts=letter.attempts)
        return self._change(letter, "cancelled", now, "cancelled by hand", attempts=letter.attempts)

    def withdraw(self, key: Key, now: datetime) -> None:
        """Let a letter, and what belongs to it, not go out: it is no longer true. What has gone out stays as it is."""
        with self._transaction():
            remark = "no longer true before it went out"
            self._run("withdraw", {**asdict(key), "now": _write(now), "remark": remark})

    def forget_messages(self, now: datetime) -> None:
        """Let the messages go of letters that were done with long ago, and give their room back to the disk."""
        with self._transaction():
            self._run("forget_messages", {"before": _write(now - KEPT)})
        with _told(self._path):
            self._connection.execute("pragma incremental_vacuum").fetchall()

    def _find(self, letter_id: int) -> Letter:
        for letter in self.letters():
            if letter.letter_id == letter_id:
                return letter
        raise OutboxError(
            f"{self._path}: there is no letter {letter_id}; leachbook outbox lists their numbers."
        )

    def _change(self, letter: Letter, state: State, now: datetime, remark: str, *, attempts: int) -> Letter:
        if letter.state == "sending":
            raise OutboxError(
                f"letter {letter.letter_id} is being sent at this moment; wait until that has ended."
            )
        told = {"letter_id": letter.letter_id, "now": _write(now), "remark": remark, "attempts": attempts}
        with self._transaction():
            self._run("change_state", {**told, "state": state, "state_before": letter.state})
        return self._find(letter.letter_id)

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with _told(self._path):
            # Immediate: two processes never both think that they may write.
            self._connection.execute("begin immediate")
            try:
                yield
            except BaseException:
                self._connection.execute("rollback")
                raise
            self._connection.execute("commit")

    def _run(self, name: str, values: Mapping[str, object]) -> list[Any]:
        with _told(self._path):
            return self._connection.execute(_read_sql(name), values).fetchall()


def decide_state(outcome: Outcome, attempts: int, now: datetime) -> tuple[State, datetime]:
    """The state after an attempt, and when the letter is due again (`now` where it is not)."""
    if outcome == "sent":
        return "sent", now
    if outcome == "unknown":
        return "unknown", now
    due_at = None if outcome == "permanent" else next_attempt_at(attempts, now)
    return ("failed", now) if due_at is None else ("retry", due_at)


def _settle(may_have_gone: bool, has_arrived: HasArrived, message_id: str) -> tuple[State, str]:
    if not may_have_gone:
        return "pending", "whoever was sending it stopped before the last byte went; due again"
    arrived = has_arrived(message_id)
    if arrived is None:
        return "unknown", "whoever was sending it stopped while the server was taking it; it may have arrived"
    if arrived:
        return "sent", "whoever was sending it stopped after it had arrived"
    return "pending", "whoever was sending it stopped before it had arrived; due again"


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    """Make the tables of a new file. Raises OutboxError for one that a newer Leachbook made."""
    ((version,),) = connection.execute("pragma user_version").fetchall()
    if version > _VERSION:
        raise OutboxError(f"{path}: was made by a newer Leachbook; install that version.")
    connection.execute("pragma synchronous = full")
    connection.execute("pragma foreign_keys = on")
    if version == _VERSION:
        return
    # Must be said before the first table; else freed room never goes back to the disk.
    connection.execute("pragma auto_vacuum = incremental")
    connection.execute("begin immediate")
    ((version,),) = connection.execute("pragma user_version").fetchall()
    if version == 0:
        for name in ("create_letters", "create_attempts", "create_index"):
            connection.execute(_read_sql(name))
        connection.execute(f"pragma user_version = {_VERSION}")
    connection.execute("commit")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """SQLite's errors as one sentence."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            mend = "free the disk, or let this account read and write the file and its folder"
        else:
            mend = (
                "bring it back from a backup, or move it away: a new one is made, which knows of nothing sent"
            )
        raise OutboxError(f"{path}: the outbox cannot be used ({error}); {mend}.") from error


@cache
def _read_sql(name: str) -> str:
    return sql_folder("outbox", f"{name}.sql").read_text(encoding="utf-8")


def _tell_here(instant: datetime, now: datetime) -> str:
    return f"{instant.astimezone(now.tzinfo):%Y-%m-%d %H:%M %Z}"


def _write(instant: datetime) -> str:
    """An instant so that text order is time order."""
    return instant.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _read(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)


def _read_letter(row: tuple[Any, ...]) -> Letter:
    (
        letter_id,
        *key,
        message_id,
        subject,
        state,
        created_at,
        changed_at,
        due_at,
        attempts,
        code,
        remark,
        size,
        facts,
        has_gone_out,
    ) = row
    return Letter(
        letter_id,
        Key(*key),
        message_id,
        subject,
        state,
        _read(created_at),
        _read(changed_at),
        _read(due_at),
        attempts,
        code,
        remark,
        size,
        facts,
        bool(has_gone_out),
    )


__all__ = [
    "OPEN_STATES",
    "Attempt",
    "Claimed",
    "Draft",
    "HasArrived",
    "Key",
    "Letter",
    "Outbox",
    "Outcome",
    "State",
    "decide_state",
    "make_message_id",
    "open_outbox",
    "outbox_path",
]
