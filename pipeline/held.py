"""Held lines by site and cause, and lines that are no data by file, for the command that shows them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.intake.line_ranges import say_lines
from pipeline.reports.compile import reread_line
from pipeline.reports.summary import HeldExample, RereadLine
from pipeline.reports.wording import Wording
from pipeline.reports.wording_held import explain_file, is_harmless
from pipeline.settings import Settings

SHOWN = 5


class HeldGroup(BaseModel):
    """All lines of a site that wait for the same thing."""

    model_config = ConfigDict(frozen=True)

    site_id: str
    cause: str
    what: str | None
    sentence: str
    mend: str
    lines: list[HeldExample]


def list_held(causes: pl.DataFrame, lines: pl.DataFrame, settings: Settings) -> list[HeldGroup]:
    """Held lines by site and cause, the largest first."""
    by_cause: dict[tuple[str, ...], list[HeldExample]] = defaultdict(list)
    for row in lines.iter_rows(named=True):
        example = HeldExample(file=row["file"], line=row["line"], text=row["text"])
        by_cause[_key(row)].append(example)
    words = {site.id: Wording(site.date_format) for site in settings.sites}
    groups = []
    for row in causes.iter_rows(named=True):
        sentence, mend = words.get(row["site_id"], Wording("%Y-%m-%d")).held(row)
        groups.append(
            HeldGroup(
                site_id=row["site_id"],
                cause=row["cause"],
                what=row["what"],
                sentence=sentence,
                mend=mend,
                lines=by_cause[_key(row)],
            )
        )
    return sorted(groups, key=lambda group: (group.site_id, -len(group.lines), group.cause, group.what or ""))


def list_refused(troubles: pl.DataFrame, files: pl.DataFrame) -> list[HeldGroup]:
    """Files of the newest night of which no line can be listed: not taken, or without any line of data."""
    told = [
        (row["site_id"], row["code"], row["name"], row["sentence"].rstrip(";:") + ".", _capital(row["mend"]))
        for row in troubles.iter_rows(named=True)
    ]
    for row in files.iter_rows(named=True):
        if row["problem"] is not None and not row["records"] and not is_harmless(row):
            sentence, _, mend = explain_file(row).rpartition("; ")
            told.append((row["site_id"], row["problem"], row["name"], f"{sentence}.", _capital(mend)))
    return [
        HeldGroup(site_id=site, cause=cause, what=name, sentence=sentence, mend=mend, lines=[])
        for site, cause, name, sentence, mend in sorted(told)
    ]


def _capital(clause: str) -> str:
    return clause[:1].upper() + clause[1:]


def _key(row: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(str(row[name]) for name in ("site_id", "cause", "what", "likeness"))


def tell_held(groups: Sequence[HeldGroup], *, show_all: bool) -> list[str]:
    """The list for a terminal: sentence, mend, and the first lines of each cause."""
    if not groups:
        return ["No line is held."]
    told: list[str] = []
    for group in groups:
        shown = group.lines if show_all else group.lines[:SHOWN]
        told += [f"{group.site_id}: {group.sentence}", f"  {group.mend}"]
        told += [f"    {one.file} line {one.line}: {_printable(one.text)}" for one in shown]
        if len(shown) < len(group.lines):
            told.append(f"    and {len(group.lines) - len(shown)} more; leachbook held --all lists them")
    return told


class NotDataLine(BaseModel):
    """One line that a rule set aside: header, titles, units, separator, comments, totals, notes alone."""

    model_config = ConfigDict(frozen=True)

    line: int
    rule: str
    text: str


class NotDataFile(BaseModel):
    """A file of the newest that a site sent, with what in it is no data; of blank lines how many and where."""

    model_config = ConfigDict(frozen=True)

    site_id: str
    file: str
    blank: int
    blank_lines: str | None
    not_filled_in: int
    not_filled_in_lines: str | None
    lines: list[NotDataLine]


def list_not_data(files: pl.DataFrame, lines: pl.DataFrame) -> list[NotDataFile]:
    """Lines that are no data, by file in the order in which they were received."""
    by_file: dict[int, list[NotDataLine]] = defaultdict(list)
    for row in lines.iter_rows(named=True):
        by_file[row["file_id"]].append(NotDataLine(line=row["line"], rule=row["rule"], text=row["text"]))
    return [
        NotDataFile(
            site_id=row["site_id"],
            file=row["file"],
            blank=row["blank"],
            blank_lines=say_lines(row["blank_at"]) if row["blank"] else None,
            not_filled_in=row["not_filled_in"],
            not_filled_in_lines=say_lines(row["not_filled_in_at"]) if row["not_filled_in"] else None,
            lines=by_file[row["file_id"]],
        )
        for row in files.iter_rows(named=True)
    ]


def tell_not_data(files: Sequence[NotDataFile]) -> list[str]:
    """The list for a terminal: each line with its rule, and where the blank ones stand."""
    if not files:
        return ["Every line of the newest files is data."]
    told: list[str] = []
    for file in files:
        told.append(f"{file.site_id}: {file.file}")
        told += [f"    line {one.line}, {one.rule}: {_printable(one.text)}" for one in file.lines]
        if file.blank:
            told.append(f"    {file.blank_lines}, blank")
        if file.not_filled_in:
            told.append(f"    {file.not_filled_in_lines} of the sheet, not filled in")
    return told


class RereadNight(BaseModel):
    """What the newest night that read files again changed in one site."""

    model_config = ConfigDict(frozen=True)

    site_id: str
    as_of: date
    lines: list[RereadLine]


def list_reread(lines: pl.DataFrame) -> list[RereadNight]:
    """Rows of the query `reread_lines` by site."""
    return [
        RereadNight(
            site_id=str(site_id),
            as_of=rows["as_of"][0],
            lines=[reread_line(row, Wording("%Y-%m-%d")) for row in rows.iter_rows(named=True)],
        )
        for (site_id,), rows in lines.group_by("site_id", maintain_order=True)
    ]


def tell_reread(nights: Sequence[RereadNight]) -> list[str]:
    """The list for a terminal: each line with its values before and after."""
    if not nights:
        return ["No file was read again, or none of its lines changed by it."]
    told: list[str] = []
    for one in nights:
        count = "1 line" if len(one.lines) == 1 else f"{len(one.lines)} lines"
        told.append(f"{one.site_id}: {count} changed when files were read again on {one.as_of}")
        told += [_printable(f"    {line.file} {line.sentence}") for line in one.lines]
    return told


def _printable(text: str) -> str:
    """A line without what would steer a terminal: an export may hold anything."""
    return "".join(letter if letter.isprintable() or letter == "\t" else "�" for letter in text)
