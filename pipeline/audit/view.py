"""Rows of a dossier to its sections: what is said about the period as a whole. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, Final

import polars as pl

from pipeline.audit.evidence import Attached, Period
from pipeline.audit.known import Known
from pipeline.audit.meter_chart import draw_meter
from pipeline.audit.sentences import QUESTIONS
from pipeline.audit.sheet import (
    Block,
    Head,
    Row,
    Section,
    Table,
    days,
    make_table,
    plain,
    say,
    say_day,
    say_share,
)
from pipeline.reports.pages import shorten

LONGEST_TEXT: Final = 160
_COUNTS: Final = (
    Head("Dues", 6, True),
    Head("On time", 6, True),
    Head("Late", 5, True),
    Head("Missed", 6.5, True),
    Head("Excused\n(entered late)", 9, True),
    Head("Open", 5.5, True),
    Head("Not know-\nable", 7, True),
    Head("Of these\nhistory", 7, True),
    Head("Share\non time", 8, True),
    Head("with the\nexcused", 8, True),
)


def rows_of(frames: Mapping[str, pl.DataFrame], name: str) -> list[dict[str, Any]]:
    """Rows of a table."""
    return frames[name].to_dicts()


def compliance_section(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Section:
    """Shares on time by group, site, house and grower, and how the samplings were done."""
    rows = rows_of(frames, "compliance")
    tables = [
        _dues_table(
            "Dues by site: routine and follow-up apart",
            ("Site", "Part"),
            [
                (
                    ("All sites" if row["level"] == "group" else sites[row["site_id"]], _PART[row["part"]]),
                    row,
                )
                for level in ("group", "site")
                for row in rows
                if row["level"] == level and not (level == "group" and len(sites) == 1)
            ],
        ),
        _dues_table(
            "Dues by house, routine and follow-up together",
            ("Site", "House"),
            [
                ((sites[row["site_id"]], row["house"] or "not named"), row)
                for row in rows
                if row["level"] == "house" and row["part"] == "all"
            ],
        ),
        _dues_table(
            "Dues by grower, routine and follow-up together",
            ("Site", "Grower"),
            [
                ((sites[row["site_id"]], row["grower_id"] or "not named"), row)
                for row in rows
                if row["level"] == "grower" and row["part"] == "all"
            ],
        ),
    ]
    return Section(
        "compliance",
        "Was every lot sampled on time?",
        (
            (
                "A due is on time up to its day, with the policy's days of grace where the interval is 14 days "
                "and more. "
                "It is late when the sampling came after that and before the lot's next routine due, missed when "
                "that "
                "one, or the lot's end, came first. Excused: an excuse holds its day, and it was not taken on "
                "time. Open: "
                "untaken at the end of the period. Not knowable: the list, treatment or reading that it hangs on was "
                "received after its day. Share on time: of on time, late and missed; open and not knowable ones "
                "count in "
                "no share. History: dues before the site's first night, judged from the records as they stand."
            ),
        ),
        tuple(tables),
    )


def _excused(row: Row) -> str:
    late = f" ({row['excused_late']})" if row["excused_late"] else ""
    return f"{row['excused']}{late}"


_PART: Final = {"all": "both", "routine": "routine", "follow_up": "follow-up"}


def _dues_table(caption: str, names: tuple[str, str], rows: Sequence[tuple[tuple[str, str], Row]]) -> Table:
    return make_table(
        caption,
        [Head(names[0], 17), Head(names[1], 15), *_COUNTS],
        [
            (
                *told,
                *(str(row[name]) for name in ("dues", "on_time", "late", "missed")),
                _excused(row),
                *(str(row[name]) for name in ("open_dues", "not_knowable", "history")),
                say_share(row["share_on_time"]),
                say_share(row["share_on_time_with_excused"]),
            )
            for told, row in rows
        ],
        file="compliance",
    )


def procedure_section(
    frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str], period: Period
) -> Section:
    """How the samplings were done: pots, volumes, meters, places; longest gaps and first samplings."""
    rows = [
        row
        for row in rows_of(frames, "compliance")
        if row["part"] == "all" and row["level"] in ("group", "site")
    ]
    table = make_table(
        "Routine samplings and retests of the period",
        [
            Head("Site", 16),
            Head("Samp-\nlings", 7, True),
            Head("Enough\npots", 8, True),
            Head("Volumes\nright", 8, True),
            Head("Meter checked\nthat day", 12, True),
            Head("Pots from more\nthan one place", 12, True),
            Head("Proper", 14, True),
            Head("Longest\ngap", 8, True),
            Head("Started lots sampled,\nlongest wait", 15, True),
        ],
        [
            (
                "All sites" if row["level"] == "group" else sites[row["site_id"]],
                str(row["samplings"]),
                str(row["counting"]),
                str(row["volumes_right"]),
                _of_shown(row["calibrated"], row["samplings"] - row["calibration_not_shown"]),
                _of_shown(row["spread"], row["samplings"] - row["spread_not_shown"]),
                (
                    f"{_of_shown(row['proper'], row['samplings'] - row['proper_not_shown'])} "
                    f"({say_share(row['share_proper'])})"
                ),
                days(row["longest_gap_days"]),
                f"{row['lots_started_sampled']} of {row['lots_started']}, {days(row['most_days_to_first'])}",
            )
            for row in sorted(rows, key=lambda one: (one["level"], one["site_id"] or ""))
        ],
        file="compliance",
    )
    names = {(row["site_id"], row["lot_key"]): row["lot_id"] for row in rows_of(frames, "lots")}
    improper = make_table(
        "Samplings of the period that were not proper",
        [
            Head("Site", 14),
            Head("Lot", 11),
            Head("Day", 10),
            Head("For", 9),
            Head("Pots", 8, True),
            Head("Volumes right", 9, True),
            Head("Meter checked", 9),
            Head("Meters", 12),
            Head("Sampler", 18),
        ],
        [
            (
                sites[row["site_id"]],
                names[row["site_id"], row["lot_key"]],
                say_day(row["sampled_on"]),
                plain(row["purpose"]),
                f"{row['n_ph']} of {row['min_pots']}",
                f"{row['n_volume_right']} of {row['min_pots']}",
                plain(row["calibrated"]),
                row["meters"] or "–",
                row["samplers"] or "–",
            )
            for row in in_period(frames, period)
            if row["proper"] == "no" and row["purpose"] in ("routine", "retest")
        ],
        file="samplings",
    )
    return Section(
        "procedure",
        "Was it done properly?",
        (
            (
                "A sampling counts with enough usable pots; it is proper when their volumes are recorded and "
                "within the "
                "tolerance and each meter had an accepted check that day. Where a site sends no meter checks, or no "
                "places of pots, that is not shown, and such samplings are left out of what is said of them. The "
                "longest "
                "gap runs from one counting sampling of a lot to the next; start and end of the period, or of "
                "the lot, "
                "bound it."
            ),
        ),
        (table, improper),
    )


def _of_shown(number: int, shown: int) -> str:
    return f"{number} of {shown}" if shown else "not shown"


def in_period(frames: Mapping[str, pl.DataFrame], period: Period) -> list[dict[str, Any]]:
    """The samplings of the period's days that still have a line."""
    return [
        row
        for row in rows_of(frames, "samplings")
        if row["lines"] > 0 and row["sampled_on"] >= period.from_on
    ]


def late_section(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Section:
    """Every due that was not taken on time, by site and lot."""
    rows = [row for row in rows_of(frames, "dues") if row["state"] != "on_time"]
    order = {"missed": 0, "late": 1, "open": 2, "excused": 3, "not_knowable": 4}
    table = make_table(
        "Dues that were not taken on time",
        [
            Head("Site", 14),
            Head("Lot", 10),
            Head("Why", 13),
            Head("Counted from", 11),
            Head("Due", 10),
            Head("Answered", 10),
            Head("It is", 20),
            Head("Before the first night", 12),
        ],
        [
            (
                sites[row["site_id"]],
                row["lot_id"],
                plain(row["why"]),
                say_day(row["caused_on"]),
                say_day(row["due_on"]),
                say_day(row["taken_on"]),
                say_state(row),
                "yes" if row["is_history"] else "–",
            )
            for row in sorted(
                rows, key=lambda one: (one["site_id"], order[one["state"]], one["due_on"], one["lot_id"])
            )
        ],
        file="dues",
        empty="Every due of the period was taken on time.",
    )
    return Section("late", "What was late, missed or open", (), (table,))


def say_state(row: Row) -> str:
    """What became of a due, in words."""
    if row["state"] == "late":
        return f"late by {days(row['days_late'])}"
    if row["state"] == "open":
        return f"open, {days(row['days_open'])}" if row["days_open"] else "open, due on the last day"
    if row["state"] == "excused":
        late = ", entered late" if row["is_excused_late"] else ""
        return f"excused until {say_day(row['excused_until'])}{late}"
    if row["state"] == "not_knowable":
        return f"not knowable, received {say_day(row['known_on'])}"
    return plain(row["state"])


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
                row["side"],
                say_day(row["out_on"]),
                say_day(row["last_out_on"]),
                str(row["samplings"]),
                plain(row["treatments"]),
                say_day(row["closed_on"]) if row["closed_on"] else "not in the period",
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
                f"no. {row['file_id']} line {row['line']}",
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
            Head("Earlier version: file, line, received", 17),
            Head("It said", 24),
            Head("Changed", 9),
            Head("Later version: file, line, received", 13),
            Head("It says", 17),
        ],
        [
            (
                sites[row["site_id"]],
                f"{plain(row['kind'])}, {row['fate']}",
                f"no. {row['file_id']} {row['file']} line {row['line']}, {say_day(row['received_on'])}",
                shorten(row["text"] or "–", LONGEST_TEXT),
                say_day(row["changed_on"]),
                "–"
                if row["by_file_id"] is None
                else f"no. {row['by_file_id']} line {row['by_line']}, {say_day(row['by_received_on'])}",
                "withdrawn" if row["by_text"] is None else shorten(row["by_text"], LONGEST_TEXT),
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
)


def _held_table(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Table:
    grouped: dict[tuple[str, str, int, str], list[int]] = defaultdict(list)
    for row in rows_of(frames, "held"):
        grouped[row["site_id"], row["file"], row["file_id"], row["sentence"]].append(row["line"])
    return make_table(
        "Held lines by file and cause",
        [Head("Site", 14), Head("File", 26), Head("Lines", 20), Head("Why", 40)],
        [
            (sites.get(site_id, site_id), f"no. {file_id} {file}", _say_lines(lines), sentence)
            for (site_id, file, file_id, sentence), lines in grouped.items()
        ],
        file="held",
    )


def _say_lines(lines: list[int]) -> str:
    from pipeline.intake.line_ranges import say_lines

    return shorten(say_lines(sorted(lines)).removeprefix("lines ").removeprefix("line "), LONGEST_TEXT)


def _question_table(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Table:
    asked = [
        (sites[row["site_id"]], row["lot_id"], say_day(row["sampled_on"]), row["sentence"])
        for row in rows_of(frames, "remarks")
        if row["rule"] in QUESTIONS
    ]
    of_sites = [
        (sites[row["site_id"]], "all", "four weeks up to the night", row["sentence"])
        for row in rows_of(frames, "site_questions")
        if row["site_id"] in sites
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
                say_day(row["trained_on"]) if row["is_list_sent"] else "no list sent",
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
                f"no. {row['file_id']} line {row['line']}",
            )
            for row in planted
            if not row["is_listed"]
        ],
        file="plantings",
    )
    senders = {row["site_id"] for row in planted}
    silent = ", ".join(name for site_id, name in sites.items() if site_id not in senders)
    told = f"{len(planted)} planted lots of the period were held against the lot lists. " + (
        f"No planting list of the period from {silent}: whether their lot list is complete cannot be shown."
        if silent
        else ""
    )
    return Section(
        "people", "People, and whether the lot list is complete", (told.strip(),), (people, missing)
    )


def meters_section(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str], period: Period) -> Section:
    """The checks of each meter over the period."""
    by_meter: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for row in rows_of(frames, "meters"):
        by_meter[row["site_id"], row["meter_id"].lower()].append(row)
    blocks = []
    for (site_id, _), checks in by_meter.items():
        meter = checks[0]["meter_id"]
        failed = [row for row in checks if not row["is_accepted"]]
        blocks.append(
            Block(
                f"{sites[site_id]}, meter {meter}",
                (
                    (
                        f"{len(checks)} checks, {len(failed)} not accepted; last on "
                        f"{say_day(checks[-1]['calibrated_on'])}."
                    ),
                ),
                draw_meter(meter, period.from_on, period.to_on, checks),
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
                            f"no. {row['file_id']} line {row['line']}",
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
        "Dots are checks that were accepted, crosses those that were not; dashed lines are the policy's limits.",
    )
    more = (f"No check in the period from {silent}.",) if silent else ()
    return Section("meters", "Meters: checks with slope and offset", (*told, *more), (), tuple(blocks))


def _failures(row: Row) -> str:
    told = [
        word
        for name, word in (
            ("is_slope_failed", "slope"),
            ("is_offset_failed", "offset"),
            ("is_buffer_failed", "buffer"),
            ("is_ec_failed", "EC standard"),
        )
        if row[name]
    ]
    return ", ".join(told) or "called failed by the site"


def identity_facts(period: Period, known: Known, attached: Sequence[Attached]) -> tuple[tuple[str, str], ...]:
    """What names this dossier, and nothing of the day on which it was made."""
    return (
        ("Period", f"{say_day(period.from_on)} to {say_day(period.to_on)}"),
        ("Sites", period.site_id or "all of the group"),
        ("As known", f"at the end of {say_day(known.as_of)} (night number {known.number})"),
        ("Made from", f"the facts with digest {known.facts}"),
        ("Settings", f"version with SHA-256 {known.settings_sha256}"),
        ("Ledger", f"up to line {known.line}, whose SHA-256 is {known.line_sha256}"),
        ("Index", f"index.csv with SHA-256 {attached[0].sha256}"),
        ("Judged by", f"Leachbook {known.leachbook}"),
    )
