"""One digest a day: what is new, what is over, what still stands. Pure: troubles and what was told in, a digest out.

Each trouble is told once, and once that it is over. What comes up after today's digest waits for tomorrow's, and what
is over again by then is not told at all.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import shorten
from typing import Final

from pydantic import TypeAdapter, ValidationError

from pipeline.languages import Speech
from pipeline.notices.troubles import Kind, Trouble
from pipeline.reports.wording_notices import say_settled, say_subject, say_text

LONGEST_LINE: Final = 400
MOST_LINES: Final = 20
"""House default: so many lines of a part are written; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Told:
    """A trouble that the manager knows of, as he was told it, and since when; `recovery`: what to tell at its end."""

    key: str
    kind: Kind
    sentence: str
    told_on: date
    recovery: str = ""


@dataclass(frozen=True, slots=True)
class Digest:
    """What to tell: new and over are told once, `still` is what was told before. `known`: what he knows afterwards."""

    new: tuple[Trouble, ...]
    over: tuple[Told, ...]
    still: tuple[Told, ...]
    known: tuple[Told, ...]


def plan_digest(
    troubles: Sequence[Trouble],
    known: Sequence[Told],
    *,
    today: date,
    last_told_on: date | None,
    unknown: Collection[Kind] = (),
) -> Digest | None:
    """What to tell today; None where there is nothing, or today's digest has gone out already.

    `unknown`: kinds that cannot be looked at now, so that nothing of them is over.
    """
    if last_told_on is not None and last_told_on >= today:
        return None
    now = {trouble.key for trouble in troubles}
    before = {told.key for told in known}
    new = tuple(_first_of_each(trouble for trouble in troubles if trouble.key not in before))
    over = tuple(told for told in known if told.key not in now and told.kind not in unknown)
    if not new and not over:
        return None
    still = tuple(told for told in known if told not in over)
    fresh = tuple(Told(one.key, one.kind, one.sentence, today, one.recovery) for one in new)
    return Digest(new, over, still, (*still, *fresh))


def _first_of_each(troubles: Iterable[Trouble]) -> Iterator[Trouble]:
    seen: set[str] = set()
    for trouble in troubles:
        if trouble.key not in seen:
            seen.add(trouble.key)
            yield trouble


def write_digest(
    digest: Digest, group_name: str, speech: Speech, became: Mapping[str, str] | None = None
) -> tuple[str, str]:
    """Subject and text in the group's language; `became`: for some keys, what became of what is over."""
    ends = became or {}
    subject = say_subject(speech, group_name, len(digest.new), len(digest.over), len(digest.still))
    text = say_text(
        speech,
        _cut([one.sentence for one in digest.new]),
        _cut([ends.get(one.key) or one.recovery or say_settled(speech, one.sentence) for one in digest.over]),
        _cut([one.sentence for one in digest.still]),
    )
    return subject, text


def _cut(sentences: list[str]) -> tuple[list[str], int]:
    # A run may have said what is wrong on several lines, as for mistaken settings.
    lines = [shorten(one, LONGEST_LINE, placeholder=" …") for one in sentences[:MOST_LINES]]
    return lines, max(0, len(sentences) - MOST_LINES)


_TOLD: Final = TypeAdapter(tuple[Told, ...])


def pack_known(known: tuple[Told, ...]) -> str:
    """What the manager knows, as the outbox keeps it beside the digest that told it: both are stored or neither is."""
    return _TOLD.dump_json(known).decode()


def unpack_known(text: str) -> tuple[Told, ...]:
    """The same read back; nothing where it cannot be read: then everything is told once more."""
    try:
        return _TOLD.validate_json(text)
    except ValidationError:
        return ()
