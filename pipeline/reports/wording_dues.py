"""Sentences about samplings that ought to happen: which rule asks, when, and what excuses them. Pure.

`write` writes one date as a page does; a row is one of the query `dues`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final

Row = Mapping[str, Any]
WriteDay = Callable[[date], str]

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NAMES: Final = {
    "first": "first sampling",
    "routine": "routine",
    "problem_crop": "routine",
    "after_out": "retest",
    "after_treatment": "retest",
    "symptoms": "affected and healthy plants",
    "feed_pair": "the day before and the day of feeding",
}
_SUBJECTS: Final = {
    **_NAMES,
    "routine": "routine sampling",
    "problem_crop": "routine sampling",
    "after_treatment": "treated, retest",
}
_PLURAL: Final = ("symptoms", "feed_pair")
MOST_REASON_LETTERS: Final = 80
"""What somebody wrote as a reason is cut on a page after so many letters; the export's line has all of it."""


def weekday_and(write: WriteDay) -> WriteDay:
    """A way of writing dates with the short day of the week before them."""
    return lambda day: f"{WEEKDAYS[day.weekday()]} {write(day)}"


def explain_due(row: Row, write: WriteDay, treatments: str | None) -> str:
    """What is due, when, and why, as one sentence. `treatments`: what was done, in words, for a retest after it."""
    day = weekday_and(write)
    if row["is_excused"]:
        return f"{_excused(row, write)}."
    name = _capital(_half(row) or _SUBJECTS[row["why"]])
    if row["why"] == "symptoms":
        name += f", {_each(row)} pots each,"
    told = "; ".join([*_moved(row), _cause(row, write, treatments)])
    return f"{name}{_verb(row)} {_when(row, day)} ({told})."


def name_due(row: Row, write: WriteDay) -> str:
    """The same in few words, for a list: "routine Tue 14 April"."""
    if row["is_excused"]:
        return _excused(row, write)
    name = _half(row) or ("treated, retest" if row["why"] == "after_treatment" else _NAMES[row["why"]])
    joint = {"symptoms": " by", "feed_pair": ",", "after_treatment": " due"}.get(row["why"], "")
    late = " (overdue)" if row["due_on"] < row["as_of"] else ""
    return f"{name}{joint} {_when(row, weekday_and(write))}{late}"


def choose_listed(dues: Iterable[Row]) -> list[Row]:
    """The dues beside the one that rules, in order of their days; of those that one excuse covers, the first."""
    listed: dict[tuple[object, ...], Row] = {}
    for due in sorted(dues, key=lambda row: (row["due_on"], row["nth"] or 0, row["why"])):
        excuse = (due["excused_until"], due["excuse_reason"]) if due["is_excused"] else (due["due_on"],)
        if due["nth"] != 1:
            listed.setdefault((due["why"], due["is_excused"], *excuse), due)
    return list(listed.values())


def explain_excuse(row: Row, write: WriteDay) -> str:
    """Until when, why and by whom, without a full stop; says where it came too late."""
    who = ", ".join(filter(None, (_shorten(row["excuse_reason"]), _shorten(row["excused_by"]))))
    late = ", entered after it was due" if row["is_excused_late"] else ""
    return f"excused until {write(row['excused_until'])}{f' ({who})' if who else ''}{late}"


def list_closed(days: Sequence[date]) -> str:
    """Days on which a site does not sample: "Sat 4 and Sun 5", from four on as a span."""
    short = [f"{WEEKDAYS[day.weekday()]} {day.day}" for day in days]
    if len(short) > 3:
        return f"{short[0]} to {short[-1]}"
    return short[0] if len(short) == 1 else f"{', '.join(short[:-1])} and {short[-1]}"


def _excused(row: Row, write: WriteDay) -> str:
    return (
        f"{_half(row) or _NAMES[row['why']]} {weekday_and(write)(row['due_on'])} {explain_excuse(row, write)}"
    )


def _verb(row: Row) -> str:
    if row["due_on"] >= row["as_of"]:
        return {"symptoms": " by", "feed_pair": ","}.get(row["why"], " due")
    return " were due" if row["why"] in _PLURAL and not _half(row) else " was due"


def _half(row: Row) -> str:
    """The name of a pair's second half, whose first was taken; nothing for any other due."""
    return "the day of feeding" if row["purposes"] == "after_feed" else ""


def _when(row: Row, day: WriteDay) -> str:
    """The day; of a pair around a feeding both days, the second as the rule has it."""
    if row["why"] != "feed_pair" or _half(row):
        return day(row["due_on"])
    return f"{day(row['due_on'])} and {day(row['rule_on'] + timedelta(days=1))}"


def _each(row: Row) -> int:
    return int(row["pots"]) // len(row["purposes"].split(","))


def _moved(row: Row) -> list[str]:
    """That a due was moved to a day before because the site does not sample on its own, or that none could be found."""
    days = (row["rule_on"] - row["due_on"]).days
    if row["is_on_closed_day"]:
        return [f"{list_closed([row['due_on']])} is not sampled, but no earlier day that is would do"]
    if days <= 0:
        return []
    closed = [row["due_on"] + timedelta(days=number) for number in range(1, days + 1)]
    return [f"{list_closed(closed)} {'is' if days == 1 else 'are'} not sampled"]


def _cause(row: Row, write: WriteDay, treatments: str | None) -> str:
    day, within = write(row["caused_on"]), _days(row["interval_days"])
    if row["why"] in ("routine", "problem_crop") and row["rule_on"] > row["caused_on"] + timedelta(
        days=row["interval_days"]
    ):
        return f"the next one after an excuse, every {within}"
    return {
        "first": f"started on {day}, within {within}",
        "routine": f"last read on {day}, every {within}",
        "problem_crop": f"crop on the problem list, last read on {day}, every {within}",
        "after_out": f"out of range on {day}, {within}",
        "after_treatment": f"{treatments or 'treated'} on {day}, {within}",
        "symptoms": f"affected plants noted on {day}, within {within}",
        "feed_pair": "the day before is read, a pair is one sampling"
        if _half(row)
        else "a pair is one sampling",
    }[row["why"]]


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def _shorten(text: str | None) -> str:
    text = " ".join((text or "").split()).rstrip(".")
    return text if len(text) <= MOST_REASON_LETTERS else f"{text[: MOST_REASON_LETTERS - 1]}…"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
