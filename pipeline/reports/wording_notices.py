"""Sentences of the notices to the manager: what is wrong with runs, disk and mail, and the digest around them.

What a run said of its failure is written down in English when it happens, like all that the command line says.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pipeline.languages import Speech

Lines = tuple[Sequence[str], int]
"""The lines of a part that are written, and how many more there are."""


def say_failed_night(w: Speech, day: date | None, sentence: str) -> str:
    """A night that ended with an error; yesterday's pages stand."""
    if day is None:
        return w("The night failed, the pages before stand: {sentence}", sentence=sentence)
    return w(
        "The night of {day} failed, the pages before stand: {sentence}", day=w.day(day), sentence=sentence
    )


def say_missing_night(w: Speech, day: date) -> str:
    """A night that nobody ran, or that hangs."""
    return w("The night of {day} has not been run: see whether something hangs.", day=w.day(day))


def say_failed_week(w: Speech, day: date, sentence: str) -> str:
    """The growers' mail could not be made."""
    return w("The growers' mail of {day} failed: {sentence}", day=w.day(day), sentence=sentence)


def say_disk(w: Speech, free_mb: int) -> str:
    """Little room on the disk."""
    return w("The disk of the home is nearly full: {free} MB are free.", free=free_mb)


def say_lost_letter(w: Speech, number: int, recipient: str, subject: str, remark: str) -> str:
    """A letter that was refused for good, or tried too often."""
    return w(
        'Letter {number} to {recipient} ("{subject}") was not sent: {remark}. '
        "Mend the address, then resend or cancel it.",
        number=number,
        recipient=recipient,
        subject=subject,
        remark=remark,
    )


def say_doubtful_letter(w: Speech, number: int, recipient: str, subject: str) -> str:
    """A letter of which nobody can say whether it arrived."""
    return w(
        'Letter {number} to {recipient} ("{subject}") may have arrived or not: ask, then resend or cancel it.',
        number=number,
        recipient=recipient,
        subject=subject,
    )


def say_waiting_mail(w: Speech, number: int, remark: str) -> str:
    """Mail that no server takes; `remark`: what was said of the oldest."""
    return w.many(
        "1 letter waits for the mail server: {remark}.",
        "{n} letters wait for the mail server: {remark}.",
        number,
        remark=remark,
    )


def say_night_again(w: Speech) -> str:
    """Nights run again."""
    return w("The night has been run again, and its pages are in place.")


def say_week_again(w: Speech) -> str:
    """The growers' mail went its way again."""
    return w("The growers' mail has been made after all.")


def say_disk_again(w: Speech) -> str:
    """Room on the disk again."""
    return w("The disk of the home has room enough again.")


def say_mail_again(w: Speech) -> str:
    """No letter waits for the mail server any more."""
    return w("No letter waits long for the mail server any more.")


def say_site_again(w: Speech, site: str) -> str:
    """A site that was silent sends again."""
    return w("{site} is no longer silent.", site=site)


def say_file_again(w: Speech, site: str, file: str) -> str:
    """A file that was held, or could not be taken in, is no longer in question."""
    return w("{site}: {file} needs nobody any more: it was read, mended or replaced.", site=site, file=file)


def say_letter_sent(w: Speech, number: int, recipient: str, subject: str) -> str:
    """A letter that was lost or in doubt has gone out since."""
    return w(
        'Letter {number} to {recipient} ("{subject}") has been sent.',
        number=number,
        recipient=recipient,
        subject=subject,
    )


def say_letter_again(w: Speech, number: int, recipient: str, subject: str) -> str:
    """A letter that was lost or in doubt is to be sent once more."""
    return w(
        'Letter {number} to {recipient} ("{subject}") is being sent again.',
        number=number,
        recipient=recipient,
        subject=subject,
    )


def say_letter_let_be(w: Speech, number: int, recipient: str, subject: str) -> str:
    """A letter that was lost or in doubt was cancelled, or a newer one took its place."""
    return w(
        'Letter {number} to {recipient} ("{subject}") is settled: it was cancelled, or a newer one took its place.',
        number=number,
        recipient=recipient,
        subject=subject,
    )


def say_settled(w: Speech, sentence: str) -> str:
    """A trouble of which nothing more is known than how it was told."""
    return w("Settled: {sentence}", sentence=sentence)


def say_subject(w: Speech, group: str, new: int, over: int, still: int) -> str:
    """Subject of a digest, with its counts."""
    counts = []
    if new:
        counts.append(w.many("1 new trouble", "{n} new troubles", new))
    if over:
        counts.append(w.many("1 over", "{n} over", over))
    if still:
        counts.append(w("{number} as before", number=still))
    return f"{group}: {', '.join(counts)}"


def say_text(w: Speech, new: Lines, over: Lines, still: Lines) -> str:
    """The whole digest as plain text."""
    parts = [
        (w("New:"), new),
        (w("Over:"), over),
        (w("As told before:"), still),
    ]
    blocks = ["\n".join([head, *_list(w, lines)]) for head, lines in parts if lines[0]]
    blocks.append(
        w(
            "Each trouble is told once, and once more when it is over; at most one such message comes a day. "
            "The commands leachbook status and leachbook outbox tell more."
        )
    )
    return "\n\n".join(blocks) + "\n"


def _list(w: Speech, lines: Lines) -> list[str]:
    written, more = lines
    told = [f"- {line}" for line in written]
    return [*told, f"- {w('and {number} more', number=more)}"] if more else told
