"""`leachbook outbox`: what is in the outbox, and sending what is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.delivery.outbox import OPEN_STATES, Attempt, Letter, open_outbox, outbox_path
from pipeline.delivery.post import Clock, Delivered, deliver_due
from pipeline.delivery.ways import make_transport
from pipeline.errors import OutboxError
from pipeline.mail_lines import tell_mend
from pipeline.run_log import open_run_log
from pipeline.run_record import name_run
from pipeline.settings import load_settings


@dataclass(frozen=True, slots=True)
class Listed:
    """A letter with its attempts."""

    letter: Letter
    attempts: list[Attempt]


def list_letters(home: Path) -> list[Listed]:
    """All letters of a home, oldest first. Raises HomeError, SettingsError, OutboxError."""
    load_settings(home)
    if not outbox_path(home).exists():
        return []
    with open_outbox(home) as outbox:
        return [Listed(letter, outbox.attempts(letter.letter_id)) for letter in outbox.letters()]


def send_due(home: Path, *, clock: Clock, environment: Mapping[str, str]) -> Delivered:
    """Send what is due in the outbox now; the log tells it. Raises HomeError, SettingsError, MailError, OutboxError."""
    settings = load_settings(home)
    transport = make_transport(settings.group.mail, home, environment)
    if not outbox_path(home).exists():
        return Delivered()
    began = clock()
    with open_outbox(home) as outbox:
        delivered = deliver_due(outbox, transport, clock)
    log_delivered(home, delivered, began, by="hand")
    return delivered


def log_delivered(home: Path, delivered: Delivered, began: datetime, *, by: str) -> None:
    """Write one round of the post into the log; `by`: who asked for it. Counts, and nobody's address."""
    with open_run_log(home, name_run(began)) as log:
        log.info(
            "mail",
            by=by,
            **{str(state): number for state, number in delivered.by_state.items()},
            postponed=delivered.postponed,
            down=delivered.down,
        )


def change_letters(
    home: Path, *, resend: tuple[int, ...], cancel: tuple[int, ...], now: datetime
) -> list[Letter]:
    """Resend and cancel letters by their numbers; the log tells it. Raises HomeError, SettingsError, OutboxError."""
    here = now.astimezone(ZoneInfo(load_settings(home).group.time_zone))
    if not outbox_path(home).exists():
        raise OutboxError(f"{outbox_path(home)}: there is no outbox yet; leachbook weekly makes it.")
    both = sorted(set(resend) & set(cancel))
    if both:
        raise OutboxError(f"letter {both[0]} cannot be resent and cancelled at once; say which.")
    with open_outbox(home) as outbox:
        changed = [
            *(outbox.resend(number, here) for number in resend),
            *(outbox.cancel(number, here) for number in cancel),
        ]
    with open_run_log(home, name_run(now)) as log:
        log.info("letters changed", by="hand", resend=list(resend), cancel=list(cancel))
    return changed


def describe_outbox(listed: list[Listed]) -> list[dict[str, Any]]:
    """Letters for machines."""
    return [
        {
            "letter": one.letter.letter_id,
            "report": one.letter.key.report,
            "site": one.letter.key.site,
            "period": one.letter.key.period,
            "recipient": one.letter.key.recipient,
            "subject": one.letter.subject,
            "message_id": one.letter.message_id,
            "state": one.letter.state,
            "stored_at": one.letter.created_at.isoformat(),
            "changed_at": one.letter.changed_at.isoformat(),
            "due_at": one.letter.due_at.isoformat() if one.letter.state in ("pending", "retry") else None,
            "attempts": one.letter.attempts,
            "code": one.letter.code,
            "remark": one.letter.remark,
            "bytes": one.letter.size_bytes,
            "history": [
                {
                    "at": each.ended_at.isoformat(),
                    "outcome": each.outcome,
                    "code": each.code,
                    "remark": each.remark,
                }
                for each in one.attempts
            ],
        }
        for one in listed
    ]


def tell_outbox(home: Path, listed: list[Listed], zone: ZoneInfo, *, is_all: bool) -> list[str]:
    """Letters for a person: those that are not done with, or all; `zone`: whose clocks the reader goes by."""
    shown = [one.letter for one in listed if is_all or one.letter.state in OPEN_STATES]
    done = len(listed) - len(shown)
    told = [line for letter in shown for line in tell_letter(letter, zone)]
    if not listed:
        return [f"The outbox of {home} is empty."]
    if not shown:
        told.append("Nothing waits.")
    if done:
        told.append(f"{_count(done, 'letter')} done with: leachbook outbox {home} --all lists them.")
    failed, unknown = (
        [one.letter_id for one in shown if one.state == state] for state in ("failed", "unknown")
    )
    told += tell_mend(failed, unknown, home)
    if any(letter.state in ("pending", "retry") for letter in shown):
        told.append(
            f"pending and retry go out when they are due: leachbook outbox {home} --send sends them then."
        )
    return told


def tell_letter(letter: Letter, zone: ZoneInfo) -> list[str]:
    """One letter: number, state, to whom, what; below it why, and when it is tried again, by the clocks of a zone."""
    told = [f"{letter.letter_id:>5}  {letter.state:<9}  {letter.key.recipient}  {letter.subject}"]
    why = letter.remark
    if letter.state == "retry":
        why = f"{why}; tried {_times(letter.attempts)}, again at {_tell_instant(letter.due_at, zone)}"
    elif letter.state in ("failed", "unknown"):
        why = f"{why}; tried {_times(letter.attempts)}, last {_tell_instant(letter.changed_at, zone)}"
    elif letter.state == "sent":
        why = _tell_instant(letter.changed_at, zone)
    return [*told, f"         {why}"] if why else told


def tell_delivered(delivered: Delivered) -> list[str]:
    """What one round of the post came to."""
    counts = ", ".join(f"{number} {state}" for state, number in sorted(delivered.by_state.items()))
    nothing = "Mail: none was sent." if delivered.down else "Mail: nothing was due."
    told = [f"Mail: {counts}." if counts else nothing]
    if delivered.down:
        more = f" {_count(delivered.postponed, 'letter')} put off." if delivered.postponed else ""
        told.append(f"  No mail can be sent: {delivered.down}.{more}")
    return told


def describe_delivered(delivered: Delivered) -> dict[str, Any]:
    """What one round of the post came to, for machines."""
    return {
        "by_state": dict(delivered.by_state),
        "down": delivered.down or None,
        "postponed": delivered.postponed,
    }


def _tell_instant(instant: datetime, zone: ZoneInfo) -> str:
    return f"{instant.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
