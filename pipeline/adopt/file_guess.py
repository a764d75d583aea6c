"""What a file's name and the span of its days say: the pattern, and whether it is the whole history."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.adopt.questions import Choice, Desk, Guess, Question

_MOVING = re.compile(
    r"""
    (?: (?:19|20)\d\d [-_. ]? [01]\d [-_. ]? [0-3]\d            # 2026-04-06, 20260406
      | [0-3]\d [-_. ] [01]?\d [-_. ] (?:(?:19|20)\d\d | \d\d)  # 06.04.2026
      | (?<=kw)[-_. ]?\d+ | (?<=wk)[-_. ]?\d+ | (?<=week)[-_. ]?\d+ | (?<=semana)[-_. ]?\d+
      | (?<=[-_ ]w)\d+ | (?<=[-_ ]s)\d+
      | \d{2,}                                                   # 2026, 14, 0042
    )
    (?: [T_ -]? \d\d [-:.h]? \d\d (?:[-:.]?\d\d)? )?            # a time of day behind it
    """,
    re.IGNORECASE | re.VERBOSE,
)
_UNSAFE = re.compile(r"[*?\[\]\\:\x00-\x1f\x7f]")
_LONG_SPAN_DAYS = 21
# A month's file that is written over looks like one that grows, and taken for it would withdraw the month before.
_LONGEST_PART_DAYS = 45
# Lists of what is planned and of who is there: their days say nothing of what a file brings.
_LISTS = ("plantings", "people")


def guess_pattern(name: str) -> Guess:
    """The pattern of files like this one below the site's folder: what moves in the name becomes a star."""
    stem, dot, ending = name.rpartition(".") if "." in name.strip(".") else (name, "", "")
    safe = _UNSAFE.sub("?", stem)
    starred = re.sub(r"\*(?:[-_. ]*\*)+", "*", _MOVING.sub("*", safe))
    tail = f"{dot}{_UNSAFE.sub('?', ending)}"
    if starred == safe:
        return Guess(f"drop/{safe}{tail}", "likely", "no date stands in its name")
    if not re.search(r"[^\W\d_]", starred):
        # A star alone would take every file that the site drops.
        starred = "[0-9]" + starred.lstrip("*") if starred != "*" else "[0-9]*"
    return Guess(f"drop/{starred}{tail}", "likely", "what moves in its name is a star")


def has_date(name: str) -> bool:
    """Whether the name moves with the day or the week."""
    return bool(_MOVING.search(name.rpartition(".")[0] or name))


def guess_mode(kind: str, name: str, spans: Sequence[int], desk: Desk) -> Guess:
    """Increment or cumulative; `spans` are its days from first to last, by each format that may be meant."""
    choices = ("increment", "cumulative")
    dated = has_date(name)
    if not dated and kind in _LISTS:
        why = "its name has no date, and such a list is mostly sent whole"
        return desk.settle("mode", Guess("cumulative", "likely", why), choices)
    if dated and max(spans) <= _LONG_SPAN_DAYS and kind not in ("lots", *_LISTS):
        why = f"its name has a date and its days span {_days(max(spans))}"
        return desk.settle("mode", Guess("increment", "likely", why), choices)
    text = "does each file bring only what is new, or the whole history again?"
    if not dated and min(spans) > _LONGEST_PART_DAYS:
        why = f"its name has no date and its days span {_days(min(spans))}, so it grows"
        return desk.settle("mode", Guess("cumulative", "likely", why), choices)
    grows = not dated and min(spans) > _LONG_SPAN_DAYS
    if grows:
        text = f"{text[:-1]}, as its name has no date and its days span {_days(min(spans))}?"
    return desk.ask(
        Question(
            "mode",
            text,
            (
                Choice("increment", "only new lines; nothing is ever withdrawn"),
                Choice("cumulative", "a line that is gone from the newest file is withdrawn"),
            ),
            "cumulative" if grows else "increment",
        )
    )


def _days(span: int) -> str:
    return "1 day" if span == 1 else f"{span} days"
