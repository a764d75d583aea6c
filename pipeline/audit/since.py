"""What changed since a dossier's night: its tables then against the same tables now, as a page and as CSV. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pipeline.audit.differences import KEYS, Difference, find_differences
from pipeline.audit.evidence import Period
from pipeline.audit.known import Known
from pipeline.audit.messages import join, plain, tell
from pipeline.audit.pages import DossierView, Made, write_pdf
from pipeline.audit.reading import read_table
from pipeline.audit.sheet import Head, Section, make_table, say_day, say_place, say_share, say_span
from pipeline.audit.view import say_state
from pipeline.languages import load_tongue
from pipeline.tables.files import to_csv

_TABLES: Final = (
    *("compliance", "dues", "samplings", "figures", "lots", "rules", "treatments", "excuses", "meters"),
    "files",
)
_LEFT_OUT: Final = {"file_id", "record_no", "excuse_file_id", "excuse_record_no"}
_SHOWN_LEVELS: Final = ("group", "site")
_OF_SAMPLINGS: Final = {"samplings", "proper", "longest_gap_days"}
"""Figures that are the same whatever part of the dues is looked at."""
_COUNTS: Final = {
    "dues": "dues",
    "on_time": "on time",
    "late": "late",
    "missed": "missed",
    "excused": "excused",
    "open_dues": "open",
    "not_knowable": "not knowable",
    "share_on_time": "share on time",
    "share_on_time_with_excused": "with the excused",
    "samplings": "samplings",
    "proper": "proper",
    "longest_gap_days": "longest gap, days",
}


@dataclass(frozen=True, slots=True)
class Since:
    """The page and the table of what changed; `changes` is empty where nothing did."""

    changes: list[Difference]
    pdf: bytes
    csv: bytes


def tell_since(
    then: Mapping[str, pl.DataFrame],
    now: Mapping[str, pl.DataFrame],
    period: Period,
    known: Known,
    newest: Known,
) -> Since:
    """Hold the tables of two nights against each other. `known`: the dossier's night, `newest`: the home's last "
    "one."""
    changes = [
        one
        for table in _TABLES
        for one in find_differences(table, _as_text(then[table]), _as_text(now[table]))
        if one.column not in _LEFT_OUT
    ]
    frame = pl.DataFrame(
        [
            {
                "table": one.table,
                "row": one.place,
                "column": one.column,
                "then": one.first,
                "now": one.second,
            }
            for one in changes
        ],
        schema=dict.fromkeys(("table", "row", "column", "then", "now"), pl.String),
    )
    return Since(changes, _make_page(changes, then, now, period, known, newest), to_csv(frame))


def _as_text(frame: pl.DataFrame) -> pl.DataFrame:
    return read_table(to_csv(frame))


def _make_page(
    changes: Sequence[Difference],
    then: Mapping[str, pl.DataFrame],
    now: Mapping[str, pl.DataFrame],
    period: Period,
    known: Known,
    newest: Known,
) -> bytes:
    names = {site.id: site.name for site in (*known.settings.sites, *newest.settings.sites)}
    view = DossierView(
        title=tell("What changed since"),
        group_name=known.settings.group.name,
        lead=tell(
            "The period {days}, as known at the end of {then} (then) and of {now} (now). {what}",
            days=say_span(period.from_on, period.to_on),
            then=say_day(known.as_of),
            now=say_day(newest.as_of),
            what=tell("Every change stands in since.csv.")
            if changes
            else tell("Nothing that the dossier shows has changed."),
        ),
        foot=tell("Changes from {first} to {last}", first=say_day(known.as_of), last=say_day(newest.as_of)),
        night=Made(newest.leachbook, newest.as_of),
        facts=(),
        sections=(
            _compliance(changes, names),
            _dues(changes, then, now, names),
            _records(changes, then, now, names),
        ),
        contents=False,
    )
    tongue = load_tongue(known.language(period.site_id))
    return write_pdf(view, tongue, known.settings.group.paper, newest.as_of)


def _compliance(changes: Sequence[Difference], names: Mapping[str, str]) -> Section:
    rows = [
        (
            names.get(key["site_id"], tell("All sites")),
            tell("both") if key["part"] == "all" else plain(key["part"]),
            tell(_COUNTS[one.column]),
            _say_figure(one.column, one.first),
            _say_figure(one.column, one.second),
        )
        for one in changes
        if one.table == "compliance" and one.column in _COUNTS
        for key in [_key(one)]
        if key["level"] in _SHOWN_LEVELS and (key["part"] == "all" or one.column not in _OF_SAMPLINGS)
    ]
    table = make_table(
        "Figures of compliance by site",
        [
            Head("Site", 24),
            Head("Part", 16),
            Head("Figure", 24),
            Head("Then", 18, True),
            Head("Now", 18, True),
        ],
        rows,
        file="since",
        empty="No figure of the group or a site changed.",
    )
    return Section("since-compliance", "Compliance", (), (table,))


def _say_figure(column: str, value: str | None) -> str:
    if value is None:
        return "–"
    return say_share(Decimal(value)) if column.startswith("share_") else value


def _dues(
    changes: Sequence[Difference],
    then: Mapping[str, pl.DataFrame],
    now: Mapping[str, pl.DataFrame],
    names: Mapping[str, str],
) -> Section:
    keys = sorted(
        {
            one.key
            for one in changes
            if one.table == "dues" and one.column in (None, "state", "taken_on", "days_late", "days_open")
        }
    )
    before, after = _by_key(then["dues"]), _by_key(now["dues"])
    table = make_table(
        "Dues that came out otherwise, came or went",
        [
            Head("Site", 16),
            Head("Lot", 12),
            Head("Why", 14),
            Head("Due", 12),
            Head("Then", 23),
            Head("Now", 23),
        ],
        [
            (
                names.get(row["site_id"], row["site_id"]),
                row["lot_id"],
                plain(row["why"]),
                say_day(row["due_on"]),
                _told(before.get(key)),
                _told(after.get(key)),
            )
            for key in keys
            for row in [after.get(key) or before[key]]
        ],
        file="since",
    )
    return Section("since-dues", "Dues", (), (table,))


def _by_key(frame: pl.DataFrame) -> dict[tuple[str, ...], dict[str, Any]]:
    return {tuple(str(row[name]) for name in KEYS["dues"]): row for row in frame.to_dicts()}


def _told(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return tell("no such due")
    told = say_state(row)
    return told if row["taken_on"] is None else join((told, say_day(row["taken_on"])))


def _records(
    changes: Sequence[Difference],
    then: Mapping[str, pl.DataFrame],
    now: Mapping[str, pl.DataFrame],
    names: Mapping[str, str],
) -> Section:
    before = set(then["files"]["file_id"])
    came = make_table(
        "Files received since",
        [Head("No.", 6, True), Head("Site", 22), Head("File", 40), Head("Kind", 14), Head("Received", 18)],
        [
            (
                str(row["file_id"]),
                names.get(row["site_id"], row["site_id"]),
                row["name"],
                plain(row["kind"]),
                say_day(row["received_on"]),
            )
            for row in now["files"].to_dicts()
            if row["file_id"] not in before
        ],
        file="since",
    )
    known = {(row["file_id"], row["line"]) for row in then["corrections"].to_dicts()}
    corrected = make_table(
        "Lines corrected or withdrawn since",
        [
            Head("Site", 13),
            Head("It was", 9),
            Head("File and line", 15),
            Head("It said", 25),
            Head("Changed", 10),
            Head("It says now", 28),
        ],
        [
            (
                names.get(row["site_id"], row["site_id"]),
                plain(row["fate"]),
                say_place(row["file_id"], row["line"]),
                row["text"] or "–",
                say_day(row["changed_on"]),
                "–"
                if row["by_text"] is None
                else tell(
                    "{text} ({place})",
                    text=row["by_text"],
                    place=say_place(row["by_file_id"], row["by_line"]),
                ),
            )
            for row in now["corrections"].to_dicts()
            if (row["file_id"], row["line"]) not in known
        ],
        file="since",
    )
    counts: dict[str, set[tuple[str, ...]]] = defaultdict(set)
    for one in changes:
        counts[one.table].add(one.key)
    told = [tell("{n} of {table}", n=len(keys), table=table) for table, keys in counts.items()]
    return Section(
        "since-records",
        "Records",
        (tell("Rows that differ, by table: {tables}.", tables=join(told)),) if told else (),
        (came, corrected),
    )


def _key(one: Difference) -> dict[str, Any]:
    return dict(zip(KEYS[one.table], one.key, strict=True))
