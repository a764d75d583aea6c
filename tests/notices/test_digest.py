"""The digest: each trouble once, its end once, one a day, nothing lost, whatever comes and goes."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.languages import Speech, load_tongue
from pipeline.notices.digest import (
    Digest,
    Told,
    pack_known,
    plan_digest,
    unpack_known,
    write_digest,
)
from pipeline.notices.troubles import Trouble
from tests.examples import examples

MONDAY, TUESDAY, WEDNESDAY = (date(2026, 4, day) for day in (6, 7, 8))
ENGLISH, SPANISH = (Speech(load_tongue(language), "%d.%m.%Y") for language in ("en", "es"))
SILENT = Trouble("silent hill", "silent", "Hill: nothing new for 4 nights.")
DISK = Trouble("disk", "disk", "The disk is nearly full.", "The disk has room.")
NIGHT = Trouble("night", "night", "The night failed.")


def known_of(digest: Digest | None) -> tuple[Told, ...]:
    assert digest is not None
    return digest.known


def keys(items: tuple[Trouble | Told, ...]) -> list[str]:
    return [item.key for item in items]


def test_a_trouble_is_told_once_and_its_end_once() -> None:
    monday = plan_digest([SILENT], (), today=MONDAY, last_told_on=None)
    assert monday is not None
    assert (keys(monday.new), monday.over, monday.still) == (["silent hill"], (), ())
    assert plan_digest([SILENT], monday.known, today=TUESDAY, last_told_on=MONDAY) is None
    wednesday = plan_digest([], monday.known, today=WEDNESDAY, last_told_on=MONDAY)
    assert wednesday is not None
    assert (wednesday.new, keys(wednesday.over), wednesday.known) == ((), ["silent hill"], ())
    again = plan_digest([SILENT], wednesday.known, today=date(2026, 4, 9), last_told_on=WEDNESDAY)
    assert keys(known_of(again)) == ["silent hill"], "one that comes back is told anew"


def test_what_comes_after_todays_digest_waits_for_tomorrow_with_the_rest() -> None:
    monday = plan_digest([SILENT], (), today=MONDAY, last_told_on=None)
    assert plan_digest([SILENT, DISK], known_of(monday), today=MONDAY, last_told_on=MONDAY) is None
    tuesday = plan_digest([SILENT, DISK], known_of(monday), today=TUESDAY, last_told_on=MONDAY)
    assert tuesday is not None
    assert (keys(tuesday.new), keys(tuesday.still)) == (["disk"], ["silent hill"])
    assert [one.told_on for one in tuesday.known] == [MONDAY, TUESDAY]


def test_other_words_for_the_same_trouble_are_no_news() -> None:
    monday = plan_digest([NIGHT], (), today=MONDAY, last_told_on=None)
    other = Trouble("night", "night", "The night failed otherwise.")
    assert plan_digest([other], known_of(monday), today=TUESDAY, last_told_on=MONDAY) is None


def test_nothing_is_over_of_which_nothing_is_known() -> None:
    monday = plan_digest([SILENT, DISK], (), today=MONDAY, last_told_on=None)
    tuesday = plan_digest([], known_of(monday), today=TUESDAY, last_told_on=MONDAY, unknown={"silent"})
    assert tuesday is not None
    assert (keys(tuesday.over), keys(tuesday.known)) == (["disk"], ["silent hill"])


def test_what_is_known_is_read_back_and_a_damaged_note_is_nothing() -> None:
    known = known_of(plan_digest([SILENT, DISK], (), today=MONDAY, last_told_on=None))
    assert unpack_known(pack_known(known)) == known
    assert unpack_known("") == unpack_known('[{"key": 1}]') == ()


def test_the_words_of_a_digest() -> None:
    monday = known_of(plan_digest([SILENT, DISK], (), today=MONDAY, last_told_on=None))
    digest = plan_digest([SILENT, NIGHT], monday, today=TUESDAY, last_told_on=MONDAY)
    assert digest is not None
    subject, text = write_digest(digest, "Small group", ENGLISH)
    assert subject == "Small group: 1 new trouble, 1 over, 1 as before"
    assert text == (
        "New:\n- The night failed.\n\n"
        "Over:\n- The disk has room.\n\n"
        "As told before:\n- Hill: nothing new for 4 nights.\n\n"
        "Each trouble is told once, and once more when it is over; at most one such message comes a day. "
        "The commands leachbook status and leachbook outbox tell more.\n"
    )
    subject, text = write_digest(digest, "Small group", SPANISH)
    assert subject == "Small group: 1 problema nuevo, 1 resuelto, 1 como antes"
    assert text.startswith("Nuevo:\n- The night failed.\n\nResuelto:\n- The disk has room.")


def test_what_is_over_is_told_in_words_of_its_own() -> None:
    """What became of a letter is known only at its end; a trouble kept by an older version has no such words."""
    lost = Trouble("mail 7", "mail", "Letter 7 was not sent.")
    old = Told("silent vale", "silent", "Vale: nothing new for 9 nights.", MONDAY)
    monday = known_of(plan_digest([DISK, lost], (old,), today=MONDAY, last_told_on=None))
    assert unpack_known('[{"key":"k","kind":"disk","sentence":"s","told_on":"2026-04-06"}]')[0].recovery == ""
    digest = plan_digest([], (*monday, old), today=TUESDAY, last_told_on=MONDAY)
    assert digest is not None
    _, text = write_digest(digest, "G", ENGLISH, {"mail 7": "Letter 7 has been sent."})
    assert text.split("\n\n")[0].splitlines() == [
        "Over:",
        "- The disk has room.",
        "- Letter 7 has been sent.",
        "- Settled: Vale: nothing new for 9 nights.",
    ]


def test_a_hundred_troubles_are_one_short_message_and_each_stays_on_one_line() -> None:
    many = [
        Trouble(f"mail {number}", "mail", f"Letter {number}\nwas lost " + "x " * 500) for number in range(100)
    ]
    digest = plan_digest(many, (), today=MONDAY, last_told_on=None)
    assert digest is not None
    assert len(digest.known) == 100
    subject, text = write_digest(digest, "G", ENGLISH)
    assert subject == "G: 100 new troubles"
    listed = [line for line in text.splitlines() if line.startswith("- ")]
    assert (len(listed), listed[-1]) == (21, "- and 80 more")
    assert max(map(len, listed)) <= 402
    assert len(text) < 10_000


names = st.sets(st.sampled_from(["night", "disk", "mail 1", "silent a", "silent b"]))


@settings(max_examples=examples(100), deadline=None)
@given(days=st.lists(st.lists(names, min_size=1, max_size=4), max_size=12))
def test_whatever_comes_and_goes(days: list[list[set[str]]]) -> None:
    """Several looks a day: at most one digest each; the words about one trouble are new, over, new, over ...

    After each digest the manager knows just what was so at that look, and the first look of a day is never passed over.
    """
    known: tuple[Told, ...] = ()
    last_told_on: date | None = None
    told: dict[str, list[str]] = {}
    for number, looks in enumerate(days):
        today = MONDAY + number * timedelta(days=1)
        sent = 0
        for look, now in enumerate(looks):
            troubles = [Trouble(key, "disk", key) for key in sorted(now)]
            digest = plan_digest(troubles, known, today=today, last_told_on=last_told_on)
            if digest is None:
                assert look > 0 or {one.key for one in known} == now
                continue
            sent += 1
            for one in digest.new:
                told.setdefault(one.key, []).append("new")
            for over in digest.over:
                told.setdefault(over.key, []).append("over")
            known, last_told_on = digest.known, today
            assert {one.key for one in known} == now
        assert sent <= 1
    for words in told.values():
        assert words == (["new", "over"] * len(words))[: len(words)]
