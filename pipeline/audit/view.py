"""Rows of a dossier to its sections: what is said about the period as a whole. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import polars as pl

from pipeline.audit.evidence import Attached, Period
from pipeline.audit.known import Known
from pipeline.audit.messages import join, plain, tell
from pipeline.audit.sheet import Head, Row, Section, Table, days, make_table, say_day, say_share, say_span

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


def compliance_section(
    frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str], growers: Mapping[tuple[str, str], str]
) -> Section:
    """Shares on time by group, site, house and grower. `growers`: names by site and id."""
    rows = rows_of(frames, "compliance")
    tables = [
        _dues_table(
            "Dues by site: routine and follow-up apart",
            ("Site", "Part"),
            [
                (
                    (
                        tell("All sites") if row["level"] == "group" else sites[row["site_id"]],
                        _PART[row["part"]],
                    ),
                    row,
                )
                for level in ("group", "site")
                for row in sorted(
                    rows, key=lambda one: (one["site_id"] or "", list(_PART).index(one["part"]))
                )
                if row["level"] == level and not (level == "group" and len(sites) == 1)
            ],
        ),
        _dues_table(
            "Dues by house, routine and follow-up together",
            ("Site", "House"),
            [
                ((sites[row["site_id"]], row["house"] or tell("not named")), row)
                for row in rows
                if row["level"] == "house" and row["part"] == "all"
            ],
        ),
        _dues_table(
            "Dues by grower, routine and follow-up together",
            ("Site", "Grower"),
            [
                ((sites[row["site_id"]], _grower(growers, row)), row)
                for row in rows
                if row["level"] == "grower" and row["part"] == "all"
            ],
            _BY_GROWER,
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


_BY_GROWER: Final = tell(
    "A lot counts under each grower who answers for it: whom the lot list names, else every grower who has its house "
    "by the settings. A house that growers share counts under each of them, so these rows may add up to more than the "
    "site's; site and group count each lot once. Lots without anybody stand in the row of nobody named."
)


def _grower(growers: Mapping[tuple[str, str], str], row: Row) -> str:
    """The name by the settings, else what the lot list says."""
    answers = row["grower_id"]
    return growers.get((row["site_id"], answers), answers) or tell("nobody named")


def _excused(row: Row) -> str:
    return f"{row['excused']} ({row['excused_late']})" if row["excused_late"] else f"{row['excused']}"


_PART: Final = {"all": tell("both"), "routine": plain("routine"), "follow_up": plain("follow_up")}


def _dues_table(
    caption: str, names: tuple[str, str], rows: Sequence[tuple[tuple[str, str], Row]], note: str = ""
) -> Table:
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
        note=note,
    )


def procedure_section(
    frames: Mapping[str, pl.DataFrame],
    sites: Mapping[str, str],
    growers: Mapping[tuple[str, str], str],
    period: Period,
) -> Section:
    """How the samplings were done: pots, volumes, meters, places; longest gaps and first samplings."""
    rows = [row for row in rows_of(frames, "compliance") if row["part"] == "all"]
    tables = [
        _procedure_table(
            "Routine samplings and retests of the period, by site",
            ("Site",),
            [
                ((tell("All sites") if row["level"] == "group" else sites[row["site_id"]],), row)
                for row in sorted(rows, key=lambda one: (one["level"], one["site_id"] or ""))
                if row["level"] in ("group", "site")
            ],
        ),
        _procedure_table(
            "The same by house",
            ("Site", "House"),
            [
                ((sites[row["site_id"]], row["house"] or tell("not named")), row)
                for row in rows
                if row["level"] == "house"
            ],
        ),
        _procedure_table(
            "The same by grower",
            ("Site", "Grower"),
            [
                ((sites[row["site_id"]], _grower(growers, row)), row)
                for row in rows
                if row["level"] == "grower"
            ],
        ),
    ]
    names = {(row["site_id"], row["lot_key"]): row["lot_id"] for row in rows_of(frames, "lots")}
    improper = make_table(
        "Samplings of the period that were not proper",
        [
            Head("Site", 14),
            Head("Lot", 11),
            Head("Day", 10),
            Head("For", 9),
            Head("Pots /\nneeded", 8),
            Head("Vol. right /\nneeded", 9),
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
                tell("{n} / {all}", n=row["n_ph"], all=row["min_pots"]),
                tell("{n} / {all}", n=row["n_volume_right"], all=row["min_pots"]),
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
        (*tables, improper),
    )


def _procedure_table(
    caption: str, names: tuple[str, ...], rows: Sequence[tuple[tuple[str, ...], Row]]
) -> Table:
    """How samplings were done; `names` are the headings of what a row is about."""
    return make_table(
        caption,
        [
            *(Head(name, 24 / len(names)) for name in names),
            Head("Samp-\nlings", 6, True),
            Head("Enough\npots", 7, True),
            Head("Volumes\nright", 7, True),
            Head("Meter checked\nthat day", 11, True),
            Head("Pots from more\nthan one place", 11, True),
            Head("Proper", 14, True),
            Head("Longest\ngap", 7, True),
            Head("Started lots sampled,\nlongest wait", 13, True),
        ],
        [
            (
                *told,
                str(row["samplings"]),
                str(row["counting"]),
                str(row["volumes_right"]),
                _of_shown(row, "calibrated", "calibration_not_shown"),
                _of_shown(row, "spread", "spread_not_shown"),
                _say_proper(row),
                days(row["longest_gap_days"]),
                tell(
                    "{n} of {all}, {longest}",
                    n=row["lots_started_sampled"],
                    all=row["lots_started"],
                    longest=days(row["most_days_to_first"]),
                ),
            )
            for told, row in rows
        ],
        file="compliance",
    )


def _of_shown(row: Row, name: str, not_shown: str) -> str:
    """Of the samplings that show it; a dash where there was none at all."""
    shown = row["samplings"] - row[not_shown]
    if shown:
        return tell("{n} of {all}", n=row[name], all=shown)
    return plain("not_shown") if row["samplings"] else "–"


def _say_proper(row: Row) -> str:
    told = _of_shown(row, "proper", "proper_not_shown")
    share = row["share_proper"]
    return told if share is None else join((told, tell("({share})", share=say_share(share))), " ")


def in_period(frames: Mapping[str, pl.DataFrame], period: Period) -> list[dict[str, Any]]:
    """The samplings of the period's days that still have a line."""
    return [
        row
        for row in rows_of(frames, "samplings")
        if row["lines"] > 0 and row["sampled_on"] >= period.from_on
    ]


COUNTED_SINCE: Final = (
    "Counted since: the lot's start, the last sampling that counted, or what a follow-up was asked for by. After a "
    "missed due the next one follows by its interval."
)


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
            Head("Counted since", 11),
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
                plain("yes") if row["is_history"] else "–",
            )
            for row in sorted(
                rows, key=lambda one: (one["site_id"], order[one["state"]], one["due_on"], one["lot_id"])
            )
        ],
        file="dues",
        empty="Every due of the period was taken on time.",
    )
    return Section("late", "What was late, missed or open", (COUNTED_SINCE,), (table,))


def say_state(row: Row) -> str:
    """What became of a due, in words."""
    if row["state"] == "late":
        return tell("late by {days}", days=days(row["days_late"]))
    if row["state"] == "open":
        if row["days_open"]:
            return tell("open, {days}", days=days(row["days_open"]))
        return tell("open, due on the last day")
    if row["state"] == "excused":
        day = say_day(row["excused_until"])
        if row["is_excused_late"]:
            return tell("excused until {day}, entered late", day=day)
        return tell("excused until {day}", day=day)
    if row["state"] == "not_knowable":
        return tell("not knowable, received {day}", day=say_day(row["known_on"]))
    return plain(row["state"])


def _name_site(period: Period, known: Known) -> str | None:
    return next((site.name for site in known.settings.sites if site.id == period.site_id), None)


def identity_facts(period: Period, known: Known, attached: Sequence[Attached]) -> tuple[tuple[str, str], ...]:
    """What names this dossier, and nothing of the day on which it was made."""
    return (
        (tell("Period"), say_span(period.from_on, period.to_on)),
        (tell("Sites"), _name_site(period, known) or tell("all of the group")),
        (
            tell("As known"),
            tell("at the end of {day} (night number {n})", day=say_day(known.as_of), n=known.number),
        ),
        (tell("Made from"), tell("the facts with digest {digest}", digest=known.facts)),
        (tell("Settings"), tell("version with SHA-256 {hash}", hash=known.settings_sha256)),
        (
            tell("Ledger"),
            tell("up to line {n}, whose SHA-256 is {hash}", n=known.line, hash=known.line_sha256),
        ),
        (tell("Index"), tell("index.csv with SHA-256 {hash}", hash=attached[0].sha256)),
        (tell("Judged by"), f"Leachbook {known.leachbook}"),
    )
