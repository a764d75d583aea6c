"""What goes along with a head grower's message, and what to do where that is too much for mail."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import pikepdf

from pipeline.delivery.message import Attachment, name_file
from pipeline.delivery.week_names import name_period, read_week
from pipeline.reports.formats import Phrases, Voice, load_phrases
from pipeline.reports.pdf import make_pdf
from pipeline.reports.render import print_report
from pipeline.reports.summary import Site, Summary

_BASE64: Final = 78 / 57  # 57 bytes become a line of 76 letters and its end
ROOM_FOR_WORDS: Final = 60_000
"""Bytes kept free for head, text and HTML of a message; they take some 20,000."""


@dataclass(frozen=True, slots=True)
class Enclosed:
    """A file that goes along, with what it is in the reader's words."""

    attachment: Attachment
    what: str


@dataclass(frozen=True, slots=True)
class Load:
    """What the messages to one recipient carry: the first one's files, and those of each further one.

    `link`: where the report is instead; `left_out`: the report's file, where it goes in no way at all.
    """

    first: tuple[Enclosed, ...]
    further: tuple[Enclosed, ...] = ()
    link: str = ""
    left_out: str = ""


def measure(attachment: Attachment) -> int:
    """About how many bytes a file takes in a message."""
    return int(len(attachment.data) * _BASE64) + 400


def read_enclosed(
    summary: Summary, site: Site, out: Path, words: Phrases, period: str
) -> tuple[Enclosed, list[Enclosed]]:
    """The report of a site, and what else goes along: sheet and calendar, named by the week of the mail.

    `period`: that week, as `2026-W15`. Raises OSError, ReportError.
    """
    folder = out / "sites"
    stem = name_file(f"{site.site_id}-{period.lower()}")
    report = Attachment(f"{stem}.pdf", "application/pdf", _take_report(summary, site, folder, period))
    beside = []
    if site.sheet is not None and site.sheet.pots:
        sheet = (folder / f"{site.site_id}-sheet.pdf").read_bytes()
        what = words("attached.sheet", n=site.sheet.pots)
        beside.append(Enclosed(Attachment(f"{stem}-sheet.pdf", "application/pdf", sheet), what))
    calendar = (folder / f"{site.site_id}.ics").read_bytes()
    beside.append(Enclosed(Attachment(f"{stem}.ics", "text/calendar", calendar), words("attached.calendar")))
    return Enclosed(report, words("attached.report")), beside


def is_named_alike(as_of: date, period: str) -> bool:
    """Whether the pages of a night bear the name of the week that its mail is about."""
    return name_period(as_of) == period


def _take_report(summary: Summary, site: Site, folder: Path, period: str) -> bytes:
    """The night's PDF; laid out anew where it bears another week than the mail, since one report has one name."""
    if is_named_alike(summary.night.as_of, period):
        return (folder / f"{site.site_id}.pdf").read_bytes()
    voice = Voice(load_phrases(site.language), site.date_format)
    page = print_report(summary, site, voice, week=read_week(period))
    return make_pdf(page.html, page.pictures, summary.night.as_of)


def share_out(
    report: Enclosed, beside: Sequence[Enclosed], most_bytes: int, link: str | None, words: Phrases
) -> Load:
    """Say what goes into which message, so that none is larger than `most_bytes`.

    `link`: where the report can be read; None: it is split by pages over further messages.
    """
    room = most_bytes - ROOM_FOR_WORDS
    small = tuple(_take_fitting(beside, room))
    used = sum(measure(one.attachment) for one in small)
    if used + measure(report.attachment) <= room:
        return Load((report, *small))
    if link is not None:
        return Load(small, link=link)
    parts = split_report(report.attachment, room)
    if not parts:
        return Load(small, left_out=report.attachment.name)
    named = tuple(Enclosed(one, words("attached.part", first=first, last=last)) for one, first, last in parts)
    if used + measure(named[0].attachment) <= room:
        return Load((named[0], *small), named[1:])
    return Load(small, named)


def split_report(report: Attachment, room: int) -> list[tuple[Attachment, int, int]]:
    """The report as files of some pages each, with first and last page; empty where one page alone is too large."""
    with pikepdf.open(io.BytesIO(report.data)) as whole:
        return _split_pages(whole, 0, len(whole.pages), report, room)


def _split_pages(
    whole: pikepdf.Pdf, start: int, end: int, report: Attachment, room: int
) -> list[tuple[Attachment, int, int]]:
    with pikepdf.new() as some:
        # Links to pages of another part lead nowhere; tags stay with the whole report, which lies with the pages.
        some.add_pages_from(whole, range(start, end))
        some.remove_unreferenced_resources()
        if "/Lang" in whole.Root:
            some.Root.Lang = str(whole.Root.Lang)
        if "/Title" in whole.docinfo:
            some.docinfo["/Title"] = str(whole.docinfo["/Title"])
        stream = io.BytesIO()
        # A fixed number in place of one from the clock: the same pages are the same bytes.
        some.save(stream, deterministic_id=True)
    name = f"{report.name.removesuffix('.pdf')}-p{start + 1}-{end}.pdf"
    part = Attachment(name, report.kind, stream.getvalue())
    if measure(part) <= room:
        return [(part, start + 1, end)]
    if end - start == 1:
        return []
    middle = (start + end) // 2
    halves = [_split_pages(whole, *span, report, room) for span in ((start, middle), (middle, end))]
    return [*halves[0], *halves[1]] if all(halves) else []


def _take_fitting(beside: Sequence[Enclosed], room: int) -> Iterator[Enclosed]:
    """As many of the small files as there is room for, in their order."""
    used = 0
    for one in beside:
        size = measure(one.attachment)
        if used + size <= room:
            used += size
            yield one
