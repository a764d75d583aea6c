"""Lots drawn at random for an auditor's own check, by site, with their full files. Pure but for the layout.

Design: the sites' shares n * lots / all are rounded by systematic sampling with a random start, in the order of their
ids, so that each site gets its share rounded up or down and, on average, exactly its share; within a site each lot has
the same chance. So every lot is drawn with chance n / all. Random numbers are those of programme.draw: the same seed
and the same lots give the same draw on any machine.
Source: systematic sampling with unequal sizes, Madow 1949 (from memory).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import accumulate, pairwise
from typing import Any

import polars as pl

from pipeline.audit.evidence import Period
from pipeline.audit.known import Known
from pipeline.audit.messages import plain, tell
from pipeline.audit.pages import DossierView, Made, write_pdf
from pipeline.audit.sheet import Block, Head, Section, Table, make_table, say, say_day, say_place, say_span
from pipeline.audit.view import COUNTED_SINCE, rows_of, say_state
from pipeline.audit.view_lots import lots_section
from pipeline.languages import load_tongue
from pipeline.programme.draw import RandomStream

Key = tuple[str, str]
"""Site and lot in lower case."""


def draw_lots(lots: Sequence[Key], number: int, seed: str) -> list[Key]:
    """Draw so many of the lots, stratified by site; all of them where there are no more. Order of `lots` is no "
    "matter."""
    by_site: dict[str, list[Key]] = defaultdict(list)
    for lot in sorted(set(lots)):
        by_site[lot[0]].append(lot)
    whole = sum(len(one) for one in by_site.values())
    number = min(number, whole)
    if not number:
        return []
    start = RandomStream(f"{seed}|sites").below(whole)
    ends = accumulate((number * len(one) for one in by_site.values()), initial=0)
    marks = [-((start - end) // whole) for end in ends]
    return [
        lot
        for (site_id, listed), (before, after) in zip(by_site.items(), pairwise(marks), strict=True)
        for lot in sorted(_choose(listed, after - before, RandomStream(f"{seed}|{site_id}")))
    ]


def _choose(listed: Sequence[Key], count: int, stream: RandomStream) -> list[Key]:
    """So many of a site's lots, each with the same chance: the first places of a shuffle."""
    left = list(listed)
    return [left.pop(stream.below(len(left))) for _ in range(count)]


def make_drawn(
    frames: Mapping[str, pl.DataFrame], period: Period, known: Known, drawn: Sequence[Key], seed: str
) -> bytes:
    """The full files of the drawn lots: dues, samplings, every line as the site wrote it, with file and line."""
    sites = {site.id: site.name for site in known.settings.sites}
    tongue = load_tongue(known.language(period.site_id))
    wanted = pl.DataFrame(drawn, schema={"site_id": pl.String, "lot_key": pl.String}, orient="row")
    lots = frames["lots"].join(wanted, on=["site_id", "lot_key"], how="semi")
    summary = lots_section({**frames, "lots": lots}, sites, period, tongue, is_whole=True)
    blocks: list[Block] = []
    for block, lot in zip(
        summary.blocks,
        sorted(lots.to_dicts(), key=lambda one: (one["site_id"], one["lot_id"])),
        strict=True,
    ):
        blocks += [
            block,
            Block(tell("{lot}: dues", lot=lot["lot_id"]), (), None, _dues_table(frames, lot)),
            Block(
                tell("{lot}: lines as the site wrote them", lot=lot["lot_id"]),
                (),
                None,
                _lines_table(frames, lot, period),
            ),
        ]
    view = DossierView(
        title=tell("Lots drawn for a check of your own: {n}", n=len(drawn)),
        group_name=known.settings.group.name,
        lead=tell(
            "Drawn at random, stratified by site, with the seed {seed} from the {n} lots of {days}, as known at the "
            "end of {day}. The same seed draws the same lots.",
            seed=seed,
            n=frames["lots"].height,
            days=say_span(period.from_on, period.to_on),
            day=say_day(known.as_of),
        ),
        foot=tell("Drawn lots, {days}, seed {seed}", days=say_span(period.from_on, period.to_on), seed=seed),
        night=Made(known.leachbook, known.as_of),
        facts=(),
        sections=(
            Section(
                "drawn",
                "Full files of the drawn lots",
                (*summary.paragraphs, COUNTED_SINCE),
                (),
                tuple(blocks),
            ),
            Section("drawn-files", "Files named here", (), (_files_table(frames, drawn),)),
        ),
        contents=False,
    )
    return write_pdf(view, tongue, known.settings.group.paper, known.as_of)


def _of_lot(
    frames: Mapping[str, pl.DataFrame], table: str, lot: Mapping[str, Any], name: str
) -> list[dict[str, Any]]:
    return [
        row for row in rows_of(frames, table) if (row["site_id"], row[name]) == (lot["site_id"], lot[name])
    ]


def _dues_table(frames: Mapping[str, pl.DataFrame], lot: Mapping[str, Any]) -> Table:
    return make_table(
        "Every due of the period",
        [
            Head("Part", 14),
            Head("Why", 16),
            Head("Counted since", 14),
            Head("Due", 14),
            Head("Answered", 14),
            Head("It is", 28),
        ],
        [
            (
                plain(row["part"]),
                plain(row["why"]),
                say_day(row["caused_on"]),
                say_day(row["due_on"]),
                say_day(row["taken_on"]),
                say_state(row),
            )
            for row in sorted(
                _of_lot(frames, "dues", lot, "lot_key"), key=lambda one: (one["due_on"], one["part"])
            )
        ],
        file="dues",
    )


def _lines_table(frames: Mapping[str, pl.DataFrame], lot: Mapping[str, Any], period: Period) -> Table:
    return make_table(
        "Lines behind the samplings",
        [
            Head("Day", 9),
            Head("For", 8),
            Head("Pot", 5),
            Head("pH", 5, True),
            Head("EC 25 °C", 7, True),
            Head("mL", 5, True),
            Head("Sampler", 9),
            Head("Meter", 6),
            Head("File and line", 10),
            Head("The line as the site wrote it", 36),
        ],
        [
            (
                say_day(row["sampled_on"]),
                plain(row["purpose"]),
                say(row["pot"]),
                _mark(row["ph"], is_used=row["is_usable_ph"]),
                _mark(row["ec_25_ms_cm"], is_used=row["is_usable_ec"]),
                _plain(row["leachate_ml"]),
                say(row["sampler"]),
                say(row["meter_id"]),
                say_place(row["file_id"], row["line_from"]),
                row["text"] or "–",
            )
            for row in _of_lot(frames, "readings", lot, "lot_id")
            # samplings and dues above are those of the period
            if row["sampled_on"] >= period.from_on
        ],
        file="readings",
        most=2000,
    )


def _plain(value: Any) -> str:
    return "–" if value is None else f"{round(float(value), 2):g}"


def _mark(value: Any, *, is_used: bool) -> str:
    """A figure; in brackets where it is in no mean."""
    return _plain(value) if is_used or value is None else f"({_plain(value)})"


def _files_table(frames: Mapping[str, pl.DataFrame], drawn: Sequence[Key]) -> Table:
    named = {(site_id, lot_key) for site_id, lot_key in drawn}
    ids = {(row["site_id"], row["lot_key"]): row["lot_id"] for row in rows_of(frames, "lots")}
    lots = {(site_id, ids[site_id, lot_key]) for site_id, lot_key in named}
    wanted = {
        row["file_id"] for row in rows_of(frames, "readings") if (row["site_id"], row["lot_id"]) in lots
    }
    return make_table(
        "Evidence of the drawn lots",
        [Head("No.", 5, True), Head("File", 32), Head("Received", 13), Head("SHA-256", 50)],
        [
            (
                str(row["file_id"]),
                f"{row['site_id']}: {row['name']}",
                say_day(row["received_on"]),
                row["sha256"],
            )
            for row in rows_of(frames, "files")
            if row["file_id"] in wanted
        ],
        file="files",
        kind="evidence",
    )
