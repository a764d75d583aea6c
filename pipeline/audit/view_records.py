"""Rows of a dossier to its sections: what became of records, who sampled, and the checks of meters. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pipeline.audit.evidence import Period
from pipeline.audit.messages import join, plain, tell, tell_many
from pipeline.audit.meter_chart import draw_meter
from pipeline.audit.sentences import QUESTIONS
from pipeline.audit.sheet import (
    Block,
    Head,
    Row,
    Section,
    Table,
    make_table,
    say,
    say_day,
    say_place,
    say_span,
)
from pipeline.audit.view import rows_of
from pipeline.intake.line_ranges import say_lines
from pipeline.languages import Tongue
from pipeline.reports.pages import shorten

LONGEST_TEXT: Final = 160
"""Letters of a line as the site wrote it that are printed; the CSV has all."""


def record_sections(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> list[Section]:
    """Out of range and how closed, excuses, corrections, held lines, questions, people, completeness."""
    quantity = {"ph": "pH", "ec": "EC"}
    closings = make_table(
        "Means out of range, and how each row of them ended",
        [
            Head("Site", 16),
            Head("Lot", 12),
            Head("Of", 5),
            Head("Side", 7),
            Head("First", 11),
            Head("Last", 11),
            Head("Samplings", 9, True),
            Head("Treated", 17),
            Head("In range again", 12),
        ],
        [
            (
                sites[row["site_id"]],
                row["lot_id"],
                quantity[row["quantity"]],
                plain(row["side"]),
                say_day(row["out_on"]),
                say_day(row["last_out_on"]),
                str(row["samplings"]),
                _treatments(row["treatments"]),
                say_day(row["closed_on"]) if row["closed_on"] else tell("not in the period"),
            )
            for row in rows_of(frames, "closings")
        ],
        file="closings",
    )
    excuses = make_table(
        "Excuses that touch the period",
        [
            Head("Site", 15),
            Head("Lot", 11),
            Head("From", 10),
            Head("Until", 10),
            Head("Reason", 20),
            Head("By", 14),
            Head("Entered", 10),
            Head("File and line", 10),
        ],
        [
            (
                sites[row["site_id"]],
                row["lot_id"],
                say_day(row["from_on"]),
                say_day(row["until_on"]),
                say(row["reason"]),
                say(row["person"]),
                say_day(row["entered_on"]),
                say_place(row["file_id"], row["line"]),
            )
            for row in rows_of(frames, "excuses")
        ],
        file="excuses",
    )
    corrections = make_table(
        "Lines that gave way: the earlier version, and the one that rules",
        [
            Head("Site", 11),
            Head("What", 9),
            Head("Earlier version: file, line, received", 16),
            Head("It said", 21),
            Head("Changed", 9),
            Head("Later version: file, line, received", 14),
            Head("It says", 20),
        ],
        [
            (
                sites[row["site_id"]],
                join((plain(row["kind"]), plain(row["fate"]))),
                tell(
                    "no. {file} {name} line {line}, {day}",
                    file=row["file_id"],
                    name=row["file"],
                    line=row["line"],
                    day=say_day(row["received_on"]),
                ),
                shorten(row["text"] or "–", LONGEST_TEXT),
                say_day(row["changed_on"]),
                "–"
                if row["by_file_id"] is None
                else join(
                    (say_place(row["by_file_id"], row["by_line"]), say_day(row["by_received_on"])),
                ),
                plain("withdrawn") if row["by_text"] is None else shorten(row["by_text"], LONGEST_TEXT),
            )
            for row in rows_of(frames, "corrections")
        ],
        file="corrections",
    )
    return [
        Section(
            "closings",
            "What was out of range, and how it was closed",
            (
                (
                    "Samplings out on one side, one after the other, are one row here. Treated: from its first "
                    "day on."
                ),
            ),
            (closings,),
        ),
        Section("excuses", "Excused", (), (excuses,)),
        Section(
            "corrections",
            "Corrected and withdrawn lines",
            (
                "Nothing is overwritten: both versions stand in the archive, each in the file in which it came.",
            ),
            (corrections,),
        ),
        Section("held", "Held lines", _HELD, (_held_table(frames, sites),)),
        Section("questions", "Questions to ask", _QUESTIONS, (_question_table(frames, sites),)),
        _people_section(frames, sites),
    ]


_HELD: Final = (
    (
        "A held line is kept and in no figure of this dossier. What would release it is said in held.csv beside each "
        "line."
    ),
)
_QUESTIONS: Final = (
    (
        "These are questions, not findings of guilt: figures that look copied, last digits that come too often, "
        "a pace "
        "that is hard to keep, entries made long after, pots from one place. Ask whoever sampled."
    ),
    (
        "Last digits and whole numbers are looked at over the whole period and over each month of it (as many days "
        "as the policy has for such questions, counted back from the period's end). A jump of the scale and the row "
        "that pots came from are asked about the last days before the night of what was known; they stand here where "
        "those days touch the period."
    ),
)


def _treatments(text: str | None) -> str:
    """What was done and when, as the query lists it: `acid_feed 2026-04-01, leaching 2026-04-03`."""
    if text is None:
        return "–"
    done = (one.rsplit(" ", 1) for one in text.split(", "))
    return join(join((plain(what), day), " ") for what, day in done)


def _held_table(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Table:
    grouped: dict[tuple[str, str, int, str], list[int]] = defaultdict(list)
    for row in rows_of(frames, "held"):
        grouped[row["site_id"], row["file"], row["file_id"], row["sentence"]].append(row["line"])
    return make_table(
        "Held lines by file and cause",
        [Head("Site", 14), Head("File", 26), Head("Lines", 20), Head("Why", 40)],
        [
            (
                sites.get(site_id, site_id),
                tell("no. {file} {name}", file=file_id, name=file),
                _say_lines(lines),
                sentence,
            )
            for (site_id, file, file_id, sentence), lines in grouped.items()
        ],
        file="held",
    )


def _say_lines(lines: list[int]) -> str:
    return shorten(say_lines(sorted(lines)).removeprefix("lines ").removeprefix("line "), LONGEST_TEXT)


def _question_table(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Table:
    asked = [
        (sites[row["site_id"]], row["lot_id"], say_day(row["sampled_on"]), row["sentence"])
        for row in rows_of(frames, "remarks")
        if row["rule"] in QUESTIONS
    ]
    of_sites = [
        (
            sites[row["site_id"]],
            tell("all"),
            say_span(row["from_on"], row["until_on"]),
            row["sentence"],
        )
        for row in rows_of(frames, "site_questions")
    ]
    return make_table(
        "Questions about samplings and sites",
        [Head("Site", 15), Head("Lot", 11), Head("Day", 14), Head("Question", 60)],
        [*of_sites, *asked],
        file="remarks",
    )


def _people_section(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Section:
    people = make_table(
        "Who sampled",
        [
            Head("Site", 18),
            Head("Sampler", 22),
            Head("Samplings", 10, True),
            Head("Role", 18),
            Head("Trained", 12),
            Head("By", 20),
        ],
        [
            (
                sites[row["site_id"]],
                row["sampler"],
                str(row["samplings"]),
                say(row["role"]),
                say_day(row["trained_on"]) if row["is_list_sent"] else tell("no list sent"),
                say(row["trained_by"]),
            )
            for row in rows_of(frames, "people")
        ],
        file="people",
    )
    planted = rows_of(frames, "plantings")
    missing = make_table(
        "Planted lots that the lot list does not have",
        [Head("Site", 20), Head("Lot", 20), Head("Crop", 25), Head("Planted", 15), Head("File and line", 20)],
        [
            (
                sites[row["site_id"]],
                row["lot_id"],
                say(row["crop"]),
                say_day(row["planted_on"]),
                say_place(row["file_id"], row["line"]),
            )
            for row in planted
            if not row["is_listed"]
        ],
        file="plantings",
    )
    senders = {row["site_id"] for row in planted}
    silent = ", ".join(name for site_id, name in sites.items() if site_id not in senders)
    told = [
        tell_many(
            "{n} planted lot of the period was held against the lot lists.",
            "{n} planted lots of the period were held against the lot lists.",
            len(planted),
        )
    ]
    if silent:
        told.append(
            tell(
                "No planting list of the period from {sites}: whether their lot list is complete cannot be shown.",
                sites=silent,
            )
        )
    return Section("people", "People, and whether the lot list is complete", tuple(told), (people, missing))


def meters_section(
    frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str], period: Period, tongue: Tongue
) -> Section:
    """The checks of each meter over the period. tongue: of the charts, which are drawn with their words."""
    by_meter: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for row in rows_of(frames, "meters"):
        by_meter[row["site_id"], row["meter_id"].lower()].append(row)
    blocks = []
    for (site_id, _), checks in by_meter.items():
        meter = checks[0]["meter_id"]
        failed = [row for row in checks if not row["is_accepted"]]
        blocks.append(
            Block(
                tell("{site}, meter {meter}", site=sites[site_id], meter=meter),
                (
                    tell_many(
                        "{n} check, {failed} not accepted; last on {day}.",
                        "{n} checks, {failed} not accepted; last on {day}.",
                        len(checks),
                        failed=len(failed),
                        day=say_day(checks[-1]["calibrated_on"]),
                    ),
                ),
                draw_meter(tongue, meter, period.from_on, period.to_on, checks),
                None
                if not failed
                else make_table(
                    "Checks that were not accepted",
                    [
                        Head("Day", 14),
                        Head("As found or left", 14),
                        Head("Slope %", 12, True),
                        Head("Offset mV", 12, True),
                        Head("What failed", 28),
                        Head("File and line", 20),
                    ],
                    [
                        (
                            say_day(row["calibrated_on"]),
                            plain(row["stage"]),
                            say(row["slope_pct"]),
                            say(row["offset_mv"]),
                            _failures(row),
                            say_place(row["file_id"], row["line"]),
                        )
                        for row in failed
                    ],
                    file="meters",
                ),
            )
        )
    senders = {site_id for site_id, _ in by_meter}
    silent = ", ".join(name for site_id, name in sites.items() if site_id not in senders)
    told = (
        tell(
            "Dots are checks that were accepted, crosses those that were not; dashed lines are the policy's limits."
        ),
    )
    more = (tell("No check in the period from {sites}.", sites=silent),) if silent else ()
    return Section("meters", "Meters: checks with slope and offset", (*told, *more), (), tuple(blocks))


def _failures(row: Row) -> str:
    told = [word for name, word in _FAILURES.items() if row[name]]
    return join(told) if told else tell("called failed by the site")


_FAILURES: Final = {
    "is_slope_failed": tell("slope"),
    "is_offset_failed": tell("offset"),
    "is_buffer_failed": tell("buffer"),
    "is_ec_failed": tell("EC standard"),
}

PARAGRAPHS: Final = (*_HELD, *_QUESTIONS)
"""Sentences that stand in constants here, for the catalogs of other languages."""
