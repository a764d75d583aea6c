"""Whether a week's message is new, corrects one that went out, or has been said already. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from pipeline.delivery.facts import Told, read_facts
from pipeline.delivery.outbox import Letter, State

Kind = Literal["new", "correction", "unchanged"]
TOO_LARGE: Final = 552
"""The answer of a server to a message that is larger than it takes (RFC 1870, 6.1)."""
_GONE_OUT: Final[frozenset[State]] = frozenset({"sent", "unknown", "sending"})


@dataclass(frozen=True, slots=True)
class Before:
    """The message that a correction takes the place of, by what it told and on which day it was judged."""

    message_id: str
    told: Told
    as_of: date


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do for one recipient. `before`: of a correction; `letter`: of `unchanged`, the one that stands.

    `withdrawn`: a correction that has not gone out, while what it would correct is true again.
    """

    kind: Kind
    before: Before | None = None
    letter: Letter | None = None
    withdrawn: Letter | None = None


def decide(letters: Sequence[Letter], told: Told, most_bytes: int) -> Decision:
    """Decide by all letters of one report, site, period and recipient, oldest first.

    A message that may have arrived is never said again; what differs from it goes out as its correction. What has not
    gone out gives way to a newer one without a word about it. One that was cancelled or refused stays so until there
    is something else to say; one that was too large for the server is written anew once `most_bytes` is below its size.
    """
    standing = [letter for letter in letters if letter.state != "replaced"]
    if not standing:
        return Decision("new")
    newest = standing[-1]
    said = read_facts(newest.facts)
    is_shrinking = (newest.state, newest.code) == ("failed", TOO_LARGE) and newest.size_bytes > most_bytes
    if said is not None and said[0].is_same(told) and not is_shrinking:
        return Decision("unchanged", letter=newest)
    gone = next(
        (letter for letter in reversed(letters) if letter.has_gone_out or letter.state in _GONE_OUT), None
    )
    facts = None if gone is None else read_facts(gone.facts)
    if gone is None or facts is None:
        return Decision("new")
    if facts[0].is_same(told):
        return Decision("unchanged", letter=gone, withdrawn=newest)
    return Decision("correction", Before(gone.message_id, *facts))
