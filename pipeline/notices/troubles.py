"""What is wrong now, as values: each trouble with a key that stays the same as long as it does. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final, Literal

from pipeline.delivery.outbox import Letter
from pipeline.languages import Speech
from pipeline.reports.summary import Site, Summary
from pipeline.reports.wording_held import FILE_PROBLEMS
from pipeline.reports.wording_notices import (
    say_disk,
    say_disk_again,
    say_doubtful_letter,
    say_failed_night,
    say_failed_week,
    say_file_again,
    say_letter_again,
    say_letter_let_be,
    say_letter_sent,
    say_lost_letter,
    say_mail_again,
    say_missing_night,
    say_night_again,
    say_site_again,
    say_waiting_mail,
    say_week_again,
)

Kind = Literal["night", "week", "disk", "mail", "silent", "file"]
NIGHT_KEY, WEEK_KEY, DISK_KEY, WAITING_KEY = "night", "week", "disk", "mail"

LONGEST_WAIT: Final = timedelta(hours=6)
"""House default: mail that waits longer than this for its server is a trouble; a greylisted message is not."""
ENOUGH_AGAIN: Final = 1.2
"""House default: a disk that was nearly full has room again with so many times the least, else it would flicker."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that is wrong: a key, what kind it is, and a sentence in the group's language.

    `recovery`: what is told once it is over; for a letter what became of it is told instead (`tell_letters_over`).
    """

    key: str
    kind: Kind
    sentence: str
    recovery: str = ""


@dataclass(frozen=True, slots=True)
class Runs:
    """How runs stand. `failed_night`, `failed_week`: the day and the sentence; `missing_night`: due, and not run."""

    failed_night: tuple[date | None, str] | None = None
    missing_night: date | None = None
    failed_week: tuple[date, str] | None = None


@dataclass(frozen=True, slots=True)
class Disk:
    """Room on the home's disk, in bytes: what is free, and the least that the settings want."""

    free: int
    least: int


def find_troubles(
    runs: Runs,
    summary: Summary | None,
    letters: Iterable[Letter],
    disk: Disk | None,
    *,
    told: Collection[str],
    speech: Speech,
    now: datetime,
) -> list[Trouble]:
    """Everything that is wrong at this instant, worst first; `told`: keys of what the manager knows."""
    return [
        *_of_runs(runs, speech),
        *_of_disk(disk, told, speech),
        *_of_mail(letters, speech, now),
        *(trouble for site in (summary.sites if summary else ()) for trouble in _of_site(site, speech)),
    ]


def unknown_kinds(summary: Summary | None, disk: Disk | None) -> frozenset[Kind]:
    """Kinds of which nothing is known at the moment: nobody may be told that such a trouble is over."""
    kinds: set[Kind] = set()
    if summary is None:
        kinds |= {"silent", "file"}
    if disk is None:
        kinds.add("disk")
    return frozenset(kinds)


def _of_runs(runs: Runs, speech: Speech) -> Iterator[Trouble]:
    if runs.failed_night is not None:
        yield Trouble(
            NIGHT_KEY, "night", say_failed_night(speech, *runs.failed_night), say_night_again(speech)
        )
    elif runs.missing_night is not None:
        yield Trouble(
            NIGHT_KEY, "night", say_missing_night(speech, runs.missing_night), say_night_again(speech)
        )
    if runs.failed_week is not None:
        yield Trouble(WEEK_KEY, "week", say_failed_week(speech, *runs.failed_week), say_week_again(speech))


def _of_disk(disk: Disk | None, told: Collection[str], speech: Speech) -> Iterator[Trouble]:
    if disk is None:
        return
    least = disk.least * (ENOUGH_AGAIN if DISK_KEY in told else 1)
    if disk.free < least:
        yield Trouble(DISK_KEY, "disk", say_disk(speech, disk.free // 1_000_000), say_disk_again(speech))


def _of_mail(letters: Iterable[Letter], speech: Speech, now: datetime) -> Iterator[Trouble]:
    waiting: list[Letter] = []
    for letter in letters:
        if letter.state in ("failed", "unknown"):
            yield Trouble(_letter_key(letter), "mail", _say_letter(letter, speech))
        elif letter.state in ("pending", "retry") and now - letter.created_at > LONGEST_WAIT:
            waiting.append(letter)
    if waiting:
        oldest = min(waiting, key=lambda letter: letter.created_at)
        yield Trouble(
            WAITING_KEY,
            "mail",
            say_waiting_mail(speech, len(waiting), oldest.remark),
            say_mail_again(speech),
        )


def tell_letters_over(letters: Iterable[Letter], speech: Speech) -> dict[str, str]:
    """What became of each letter that is a trouble no more, by the key that it had as one."""
    return {
        _letter_key(letter): _say_letter_over(letter, speech)
        for letter in letters
        if letter.state not in ("failed", "unknown")
    }


def _letter_key(letter: Letter) -> str:
    return f"mail {letter.letter_id}"


def _say_letter_over(letter: Letter, speech: Speech) -> str:
    about = (letter.letter_id, letter.key.recipient, letter.subject)
    if letter.state == "sent":
        return say_letter_sent(speech, *about)
    if letter.state in ("cancelled", "replaced"):
        return say_letter_let_be(speech, *about)
    return say_letter_again(speech, *about)


def _say_letter(letter: Letter, speech: Speech) -> str:
    about = (letter.letter_id, letter.key.recipient, letter.subject)
    if letter.state == "unknown":
        return say_doubtful_letter(speech, *about)
    return say_lost_letter(speech, *about, letter.remark)


def _of_site(site: Site, speech: Speech) -> Iterator[Trouble]:
    for finding in site.findings:
        if finding.rule == "site_silent" and finding.level == "warn":
            told_as = finding.group_sentence or finding.sentence
            yield Trouble(f"silent {site.site_id}", "silent", told_as, say_site_again(speech, site.name))
    # A held file is among the causes each night, and what could not be taken in among the findings.
    files = [
        (cause.what, cause.group_sentence or cause.sentence)
        for cause in site.held
        if cause.cause in FILE_PROBLEMS and cause.what
    ]
    files += [
        (finding.file, finding.group_sentence or finding.sentence)
        for finding in site.findings
        if finding.file is not None and finding.level == "hold" and finding.line is None
    ]
    told: set[str] = set()
    for name, sentence in files:
        if name not in told:
            told.add(name)
            yield Trouble(
                f"file {site.site_id} {name}",
                "file",
                f"{site.name}: {sentence}",
                say_file_again(speech, site.name, name),
            )
