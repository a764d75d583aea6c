"""What of the mail waits for somebody, and the command that mends it: for `status` and `outbox`, and for machines.

It stands on the terminal of somebody who may read the home, so letters are named by address; the log names nobody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pipeline.delivery.outbox import Letter, State, open_outbox, outbox_path
from pipeline.errors import OutboxError

MOST_NAMED: Final = 5
"""House default: so many letters are named in a line, and in a command to copy; leachbook outbox has all."""


def describe_mail(home: Path) -> dict[str, Any]:
    """Letters that failed, those that may have arrived (`unknown`), how many wait (`waiting`).

    `error`: why the outbox cannot be read, null where it can or there is none.
    """
    letters: list[Letter] = []
    error = None
    if outbox_path(home).exists():
        try:
            with open_outbox(home) as outbox:
                letters = outbox.letters()
        except OutboxError as broken:
            error = str(broken)
    return {
        "failed": _describe(letters, "failed"),
        "unknown": _describe(letters, "unknown"),
        "waiting": sum(letter.state in ("pending", "sending", "retry") for letter in letters),
        "error": error,
    }


def _describe(letters: Sequence[Letter], state: State) -> list[dict[str, Any]]:
    return [
        {
            "letter": one.letter_id,
            "recipient": one.key.recipient,
            "subject": one.subject,
            "changed_at": one.changed_at.isoformat(),
            "attempts": one.attempts,
            "code": one.code,
            "remark": one.remark,
        }
        for one in letters
        if one.state == state
    ]


def tell_mail(mail: Mapping[str, Any], home: Path) -> list[str]:
    """The same for a person, in a few lines; none where nothing waits. `mail` as from `describe_mail`."""
    if mail["error"] is not None:
        return [f"MAIL: {mail['error']}"]
    failed, unknown = mail["failed"], mail["unknown"]
    told = []
    if failed:
        told.append(f"MAIL: {_count(len(failed))} failed: {_name(failed)}.")
    if unknown:
        told.append(f"MAIL: {_count(len(unknown))} may have arrived or not: {_name(unknown)}.")
    mends = tell_mend([one["letter"] for one in failed], [one["letter"] for one in unknown], home)
    told += [f"  {line}" for line in mends]
    if mail["waiting"]:
        told.append(
            f"Mail: {_count(mail['waiting'])} not sent yet; leachbook outbox {home} says when it is tried again."
        )
    return told


def tell_mend(failed: Sequence[int], unknown: Sequence[int], home: Path) -> list[str]:
    """What mends letters that failed, and those of which nobody knows: commands with their numbers, to copy."""
    told = []
    if failed:
        told.append(
            f"failed: once the address or the server is mended, leachbook outbox {home} "
            f"{_options('--resend', failed)} --send; or let it be with {_options('--cancel', failed)}."
        )
    if unknown:
        told.append(
            f"unknown: ask whether it arrived; if so, leachbook outbox {home} {_options('--cancel', unknown)}; "
            f"if not, {_options('--resend', unknown)} --send."
        )
    return told


def _options(option: str, numbers: Sequence[int]) -> str:
    return " ".join(f"{option} {number}" for number in numbers[:MOST_NAMED])


def _name(letters: Sequence[Mapping[str, Any]]) -> str:
    named = [f"letter {one['letter']} to {one['recipient']}" for one in letters[:MOST_NAMED]]
    more = len(letters) - MOST_NAMED
    return ", ".join([*named, f"and {more} more"] if more > 0 else named)


def _count(number: int) -> str:
    return "1 letter" if number == 1 else f"{number} letters"
