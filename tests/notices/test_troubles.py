"""What counts as a trouble: runs, disk and mail; for those of sites see tests/schedule/test_tell.py."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from pipeline.delivery.outbox import Key, Letter, State
from pipeline.languages import Speech, load_tongue
from pipeline.notices.troubles import Disk, Runs, find_troubles, tell_letters_over, unknown_kinds

NOW = datetime(2026, 4, 7, 5, tzinfo=UTC)
ENGLISH, SPANISH = (Speech(load_tongue(language), "%d.%m.%Y") for language in ("en", "es"))


def letter(number: int, state: State, hours_ago: float = 0, remark: str = "no such mailbox") -> Letter:
    at = NOW - timedelta(hours=hours_ago)
    key = Key("weekly", "hill", "2026-W15", "ana@example.com", "c")
    return Letter(number, key, "<m>", "Hill, week 15", state, at, at, at, 1, None, remark, 10, "")


def say(
    *,
    runs: Runs | None = None,
    letters: tuple[Letter, ...] = (),
    disk: Disk | None = None,
    told: tuple[str, ...] = (),
    speech: Speech = ENGLISH,
) -> list[tuple[str, str]]:
    found = find_troubles(runs or Runs(), None, letters, disk, told=told, speech=speech, now=NOW)
    return [(one.key, one.sentence) for one in found]


def test_nothing_is_wrong() -> None:
    assert say(letters=(letter(1, "sent"), letter(2, "retry", 5.9)), disk=Disk(10**10, 10**9)) == []


def test_a_night_that_failed_is_told_before_one_that_is_missing() -> None:
    failed = Runs(failed_night=(date(2026, 4, 7), "out: no room."), missing_night=date(2026, 4, 6))
    assert say(runs=failed) == [
        ("night", "The night of 07.04.2026 failed, the pages before stand: out: no room.")
    ]
    assert say(runs=Runs(missing_night=date(2026, 4, 6))) == [
        ("night", "The night of 06.04.2026 has not been run: see whether something hangs.")
    ]
    assert say(runs=Runs(failed_week=(date(2026, 4, 6), "no password"))) == [
        ("week", "The growers' mail of 06.04.2026 failed: no password")
    ]


@pytest.mark.parametrize(
    ("free_mb", "told", "is_trouble"),
    [(999, (), True), (1000, (), False), (1199, ("disk",), True), (1200, ("disk",), False)],
)
def test_a_disk_is_nearly_full_below_the_least_and_until_a_fifth_above_it(
    free_mb: int, told: tuple[str, ...], is_trouble: bool
) -> None:
    found = say(disk=Disk(free_mb * 10**6, 1000 * 10**6), told=told)
    assert [key for key, _ in found] == (["disk"] if is_trouble else [])


def test_letters_that_are_lost_are_told_each_and_those_that_wait_together() -> None:
    found = say(
        letters=(
            letter(1, "failed"),
            letter(2, "unknown"),
            letter(3, "retry", 7, "connection refused"),
            letter(4, "pending", 6.5),
            letter(5, "cancelled", 100),
        )
    )
    assert found == [
        (
            "mail 1",
            (
                'Letter 1 to ana@example.com ("Hill, week 15") was not sent: no such mailbox. '
                "Mend the address, then resend or cancel it."
            ),
        ),
        (
            "mail 2",
            'Letter 2 to ana@example.com ("Hill, week 15") may have arrived or not: ask, then resend or cancel it.',
        ),
        ("mail", "2 letters wait for the mail server: connection refused."),
    ]


def test_they_are_in_the_language_of_the_group() -> None:
    assert say(disk=Disk(5_000_000, 10**9), speech=SPANISH) == [
        ("disk", "El disco de la carpeta de trabajo está casi lleno: quedan 5 MB libres.")
    ]


def test_kinds_of_which_nothing_is_known() -> None:
    assert unknown_kinds(None, None) == {"silent", "file", "disk"}
    assert unknown_kinds(None, Disk(1, 1)) == {"silent", "file"}


def test_each_trouble_but_a_letter_has_words_for_its_end_and_a_letter_what_became_of_it() -> None:
    runs = Runs(failed_night=(date(2026, 4, 7), "no"), failed_week=(date(2026, 4, 6), "no"))
    waiting = (letter(3, "retry", 7), letter(1, "failed"))
    found = find_troubles(runs, None, waiting, Disk(1, 10**9), told=(), speech=ENGLISH, now=NOW)
    assert {one.key: one.recovery for one in found} == {
        "night": "The night has been run again, and its pages are in place.",
        "week": "The growers' mail has been made after all.",
        "disk": "The disk of the home has room enough again.",
        "mail": "No letter waits long for the mail server any more.",
        "mail 1": "",
    }
    states: tuple[State, ...] = ("sent", "cancelled", "replaced", "pending", "failed", "unknown")
    letters = [letter(number, state) for number, state in enumerate(states)]
    about = 'to ana@example.com ("Hill, week 15")'
    let_be = "is settled: it was cancelled, or a newer one took its place."
    assert tell_letters_over(letters, ENGLISH) == {
        "mail 0": f"Letter 0 {about} has been sent.",
        "mail 1": f"Letter 1 {about} {let_be}",
        "mail 2": f"Letter 2 {about} {let_be}",
        "mail 3": f"Letter 3 {about} is being sent again.",
    }
