"""Sentences about samplings that ought to happen: which rule asks, when, and what excuses them. Pure.

A row is one of the query `dues`; `w` writes dates as a page does.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final

from pipeline.languages import Speech
from pipeline.reports.wording_figures import days as count_days
from pipeline.reports.wording_figures import listed
from pipeline.reports.wording_rereads import ENGLISH_ISO

Row = Mapping[str, Any]

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_PLURAL: Final = ("symptoms", "feed_pair")
_EXCUSE: Final = ("excused_until", "excuse_reason", "excused_by")
MOST_REASON_LETTERS: Final = 80
"""What somebody wrote as a reason is cut on a page after so many letters; the export's line has all of it."""


def explain_due(row: Row, w: Speech, treatments: str | None) -> str:
    """What is due, when, and why, as one sentence. `treatments`: what was done, in words, for a retest after it."""
    if row["is_excused"]:
        return f"{_excused(row, w)}."
    name = _capital(_half(row, w) or _subject(row, w))
    if row["why"] == "symptoms":
        name = w("{name}, {n} pots each,", name=name, n=_each(row))
    told = "; ".join([*_moved(row, w), _cause(row, w, treatments)])
    return f"{_due(name, row, w)} ({told})."


def name_due(row: Row, w: Speech, excuse: Row | None = None) -> str:
    """The same in few words, for a list: "routine Tue 14 April". `excuse`: one that the page has told already."""
    if row["is_excused"]:
        if excuse is not None and all(row[name] == excuse[name] for name in _EXCUSE):
            places = {"name": _half(row, w) or _name(row, w), "when": w.weekday_and_day(row["due_on"])}
            return w("{name} {when}, excused", **places)
        return _excused(row, w)
    places = {
        "name": _half(row, w) or (w("treated, retest") if row["why"] == "after_treatment" else _name(row, w)),
        "when": _when(row, w),
    }
    told = {
        "symptoms": w("{name} by {when}", **places),
        "feed_pair": w("{name}, {when}", **places),
        "after_treatment": w("{name} due {when}", **places),
    }.get(row["why"], w("{name} {when}", **places))
    return w("{due} (overdue)", due=told) if row["due_on"] < row["as_of"] else told


def choose_listed(dues: Iterable[Row]) -> list[Row]:
    """The dues beside the one that rules, in order of their days; of those that one excuse covers, the first."""
    listed: dict[tuple[object, ...], Row] = {}
    for due in sorted(dues, key=lambda row: (row["due_on"], row["nth"] or 0, row["why"])):
        excuse = (due["excused_until"], due["excuse_reason"]) if due["is_excused"] else (due["due_on"],)
        if due["nth"] != 1:
            listed.setdefault((due["why"], due["is_excused"], *excuse), due)
    return list(listed.values())


def explain_excuse(row: Row, w: Speech) -> str:
    """Until when, why and by whom, without a full stop; says where it came too late."""
    who = ", ".join(filter(None, (_shorten(row["excuse_reason"]), _shorten(row["excused_by"]))))
    told = w("excused until {day}", day=w.day(row["excused_until"])) + (f" ({who})" if who else "")
    return w("{excuse}, entered after it was due", excuse=told) if row["is_excused_late"] else told


def list_closed(days: Sequence[date], w: Speech = ENGLISH_ISO) -> str:
    """Days on which a site does not sample: "Sat 4 and Sun 5", from four on as a span."""
    short = [f"{w.weekday(day)} {day.day}" for day in days]
    if len(short) > 3:
        return w("{first} to {last}", first=short[0], last=short[-1])
    return listed(w, short)


def _name(row: Row, w: Speech) -> str:
    return {
        "first": w("first sampling"),
        "routine": w("routine"),
        "problem_crop": w("routine"),
        "after_out": w("retest"),
        "after_pair_out": w("retest"),
        "after_treatment": w("retest"),
        "symptoms": w("affected and healthy plants"),
        "feed_pair": w("the day before and the day of feeding"),
    }[row["why"]]


def _subject(row: Row, w: Speech) -> str:
    if row["why"] in ("routine", "problem_crop"):
        return w("routine sampling")
    return w("treated, retest") if row["why"] == "after_treatment" else _name(row, w)


def _excused(row: Row, w: Speech) -> str:
    name = _half(row, w) or _name(row, w)
    return f"{name} {w.weekday_and_day(row['due_on'])} {explain_excuse(row, w)}"


def _due(name: str, row: Row, w: Speech) -> str:
    """The subject with its verb and its day."""
    places = {"name": name, "when": _when(row, w)}
    if row["due_on"] >= row["as_of"]:
        if row["why"] == "symptoms":
            return w("{name} by {when}", **places)
        return (
            w("{name}, {when}", **places) if row["why"] == "feed_pair" else w("{name} due {when}", **places)
        )
    if row["why"] in _PLURAL and not _half(row, w):
        return w("{name} were due {when}", **places)
    return w("{name} was due {when}", **places)


def _half(row: Row, w: Speech) -> str:
    """The name of a pair's second half, whose first was taken; nothing for any other due."""
    return w("the day of feeding") if row["purposes"] == "after_feed" else ""


def _when(row: Row, w: Speech) -> str:
    """The day; of a pair around a feeding both days, the second as the rule has it."""
    day = w.weekday_and_day(row["due_on"])
    if row["why"] != "feed_pair" or _half(row, w):
        return day
    return listed(w, [day, w.weekday_and_day(row["rule_on"] + timedelta(days=1))])


def _each(row: Row) -> int:
    return int(row["pots"]) // len(row["purposes"].split(","))


def _moved(row: Row, w: Speech) -> list[str]:
    """That a due was moved to a day before because the site does not sample on its own, or that none could be found."""
    days = (row["rule_on"] - row["due_on"]).days
    if row["is_on_closed_day"]:
        closed = list_closed([row["due_on"]], w)
        return [w("the site does not sample on {day}, but no earlier day would do", day=closed)]
    if days <= 0:
        return []
    told = list_closed([row["due_on"] + timedelta(days=number) for number in range(1, days + 1)], w)
    return [
        w.many("the site does not sample on {days}", "the site does not sample on {days}", days, days=told)
    ]


def _cause(row: Row, w: Speech, treatments: str | None) -> str:
    places = {"day": w.day(row["caused_on"]), "within": count_days(w, row["interval_days"])}
    why = row["why"]
    if why in ("routine", "problem_crop") and row["rule_on"] > row["caused_on"] + timedelta(
        days=row["interval_days"]
    ):
        return w("the next one after an excuse, every {within}", **places)
    if why == "after_treatment":
        return w("{treatments} on {day}, {within}", treatments=treatments or w("treated"), **places)
    if why == "feed_pair":
        return (
            w("the day before is read, a pair is one sampling")
            if _half(row, w)
            else w("a pair is one sampling")
        )
    return {
        "first": w("started on {day}, within {within}", **places),
        "routine": w("last read on {day}, every {within}", **places),
        "problem_crop": w("crop on the problem list, last read on {day}, every {within}", **places),
        "after_out": w("out of range on {day}, {within}", **places),
        "after_pair_out": w("pair around a feeding out of range on {day}, {within}", **places),
        "symptoms": w("affected plants noted on {day}, within {within}", **places),
    }[why]


def _shorten(text: str | None) -> str:
    text = " ".join((text or "").split()).rstrip(".")
    return text if len(text) <= MOST_REASON_LETTERS else f"{text[: MOST_REASON_LETTERS - 1]}…"


def _capital(text: str) -> str:
    return re.sub(r"^\w", lambda first: first[0].upper(), text)
