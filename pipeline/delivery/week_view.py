"""A head grower's message as lines of words: what matters this week, at most five kinds of it. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.delivery.changes import tell_changes
from pipeline.delivery.facts import Told
from pipeline.delivery.plan import Before
from pipeline.delivery.scope import take_lots
from pipeline.reports.formats import Phrases, Voice, load_phrases
from pipeline.reports.summary import Grower, Level, Lot, PlanDay, Site, Summary
from pipeline.reports.view import LEVELS, MOST_BARE_HOUSE, describe_freshness, write_minutes
from pipeline.reports.view_plan import THIS_WEEK_DAYS, describe_lateness, describe_purpose
from pipeline.reports.view_site import join_checks, make_action_line

MOST_LINES: Final = 5
MOST_LOTS = 3
"""House defaults: what a telephone shows without scrolling far; the report has the rest."""
MOST_A_DAY = 6
MOST_CAUSES = 2
MOST_CHECKS = 3


@dataclass(frozen=True, slots=True)
class Item:
    """One entry: a few words that stand out, and a sentence or two."""

    head: str
    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """One kind of thing to know or to do; `level` where it is a lot's level."""

    label: str
    items: tuple[Item, ...]
    level: Level | None = None


@dataclass(frozen=True, slots=True)
class Count:
    """How many lots have a level, in words."""

    level: Level
    text: str


@dataclass(frozen=True, slots=True)
class Week:
    """The message in words, without its attachments."""

    subject: str
    title: str
    as_of: str
    total: str
    counts: tuple[Count, ...]
    scope: str
    lines: tuple[Line, ...]
    correction_lead: str
    changes: tuple[str, ...]


def write_week(
    summary: Summary,
    site: Site,
    growers: list[Grower],
    told: Told,
    before: Before | None,
    voice: Voice,
    *,
    week: int,
) -> Week:
    """The message to these growers of a site (one recipient), as the newest night sees it; `week`: its number."""
    words = load_phrases(site.language, "mail")
    lots = take_lots(site, growers)
    counts = count_lots(lots, words)
    in_words = ", ".join(count.text for count in counts) or words("subject.no_lots")
    key = "subject" if before is None else "subject.correction"
    return Week(
        subject=words(key, site=site.name, week=week, counts=in_words),
        title=words("title", site=site.name, week=week),
        as_of=words(
            "as_of",
            day=voice.weekday_and_day(summary.night.as_of),
            freshness=describe_freshness(site, voice),
        ),
        total=words("total", n=len(lots), counts=in_words) if lots else words("nobody"),
        counts=counts,
        scope=_describe_scope(site, growers, lots, voice, words),
        lines=pick_lines(summary, site, lots, voice, words),
        correction_lead="" if before is None else words("correction.lead", day=voice.day(before.as_of)),
        changes=() if before is None else tell_changes(before.told, told, voice, words),
    )


def count_lots(lots: Sequence[Lot], words: Phrases) -> tuple[Count, ...]:
    """The levels that lots have, worst first, each with its number."""
    counts = Counter(lot.level for lot in lots)
    return tuple(Count(level, words(f"count.{level}", n=counts[level])) for level in LEVELS if counts[level])


def pick_lines(
    summary: Summary, site: Site, lots: Sequence[Lot], voice: Voice, words: Phrases
) -> tuple[Line, ...]:
    """At most five kinds, in the order in which they matter."""
    say = voice.say
    lines = [
        _list_level("act", lots, voice, words)
        or Line(say("level.act"), (Item("", words("act.none")),), "act"),
        _list_level("no_reading", lots, voice, words),
        Line(say("row.sample"), _list_samplings(summary, site, lots, voice, words)),
        Line(say("row.meter"), tuple(Item("", meter.sentence) for meter in site.meters if meter.sentence)),
        _list_held(site, voice, words),
        _list_watch(lots, voice, words),
    ]
    if not lots:
        lines = [line for line in lines[2:] if line is not None]
    return tuple(line for line in lines if line is not None and line.items)[:MOST_LINES]


def _describe_scope(
    site: Site, growers: list[Grower], lots: Sequence[Lot], voice: Voice, words: Phrases
) -> str:
    name = ", ".join(grower.name for grower in growers)
    if len(lots) == len(site.lots):
        return words("scope.all", name=name)
    houses = dict.fromkeys(_name_house(lot.house, voice) for lot in lots if lot.house)
    return words("scope", count=len(lots), all=len(site.lots), name=name, houses=", ".join(sorted(houses)))


def _name_house(house: str, voice: Voice) -> str:
    is_bare = len(house) <= MOST_BARE_HOUSE and " " not in house
    return voice.say("lot.house", house=house) if is_bare else house


def _crop(lot: Lot) -> str:
    return f"{lot.crop} ‘{lot.cultivar}’" if lot.cultivar else lot.crop


def _list_level(level: Level, lots: Sequence[Lot], voice: Voice, words: Phrases) -> Line | None:
    """The first lots of a level, each with its worst reason, what to check first, and when to read it again."""
    found = [lot for lot in lots if lot.level == level]
    if not found:
        return None
    items = []
    for lot in found[:MOST_LOTS]:
        line = make_action_line(lot, voice)
        head = words("lot", place=line.name.place, crop=_crop(lot), lot=lot.lot_id)
        checks = join_checks(line.checks[:MOST_CHECKS])
        told = [line.sentences[0], words("first", checks=checks) if checks else "", line.next_words]
        items.append(Item(head, " ".join(part for part in told if part)))
    return Line(voice.say.name("level", level), tuple(_end(items, len(found), words)), level)


def _end(items: list[Item], number: int, words: Phrases) -> list[Item]:
    more = number - MOST_LOTS
    return [*items, Item("", words("more", n=more))] if more > 0 else items


def _list_samplings(
    summary: Summary, site: Site, lots: Sequence[Lot], voice: Voice, words: Phrases
) -> tuple[Item, ...]:
    """What to sample within the week, a day an entry; what is overdue stands on the first open day."""
    by_code = {lot.lot_id: lot for lot in lots}
    days = [day for day in site.plan if (day.plan_on - summary.night.as_of).days < THIS_WEEK_DAYS]
    items = [item for day in days if (item := _tell_day(day, by_code, voice, words)) is not None]
    return tuple(items) or (Item("", words("sample.none")),)


def _tell_day(day: PlanDay, lots: dict[str, Lot], voice: Voice, words: Phrases) -> Item | None:
    planned = [one for one in day.samplings if one.lot_id in lots]
    if not planned:
        return None
    named = []
    for one in planned[:MOST_A_DAY]:
        lot = lots[one.lot_id]
        notes = [describe_purpose(one.purpose, voice), describe_lateness(one, lot, voice)]
        note = ", ".join(part for part in notes if part)
        key = "sample.lot_note" if note else "sample.lot"
        given = {"note": note} if note else {}
        named.append(words(key, lot=one.lot_id, crop=lot.crop, **given))
    more = len(planned) - MOST_A_DAY
    if more > 0:
        named.append(words("sample.more", n=more))
    text = words(
        "sample.day",
        lots="; ".join(named),
        pots=voice.say("sample.pots", n=sum(one.pots for one in planned)),
        time=write_minutes(sum(one.minutes for one in planned), voice),
    )
    return Item(voice.weekday_and_day(day.plan_on), text)


def _list_held(site: Site, voice: Voice, words: Phrases) -> Line:
    """Lines that wait, with what would release them; where none does, what else is the matter with the files."""
    if site.held:
        items = [Item("", f"{cause.sentence} {cause.mend}") for cause in site.held[:MOST_CAUSES]]
        more = len(site.held) - MOST_CAUSES
        if more > 0:
            items.append(Item("", words("held.more", n=more)))
        return Line(voice.say("row.held"), tuple(items))
    silent = [Item("", one.sentence) for one in site.findings if one.rule == "site_silent"]
    return Line(voice.say("row.files"), tuple(silent))


def _list_watch(lots: Sequence[Lot], voice: Voice, words: Phrases) -> Line:
    found = [lot for lot in lots if lot.level == "watch"]
    named = [words("sample.lot", lot=lot.lot_id, crop=lot.crop) for lot in found[:MOST_A_DAY]]
    if len(found) > MOST_A_DAY:
        named.append(words("sample.more", n=len(found) - MOST_A_DAY))
    text = words("watch", lots="; ".join(named))
    return Line(voice.say.name("level", "watch"), (Item("", text),) if found else (), "watch")
