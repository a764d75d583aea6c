"""Rows of a dossier to its sections: each lot with its timeline and samplings, the evidence, the policy. Pure."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

import polars as pl

from pipeline.audit.evidence import Attached, Period
from pipeline.audit.messages import join, plain, shared, tell, tell_many
from pipeline.audit.sheet import Block, Head, Row, Section, Table, days, make_table, say, say_day, say_span
from pipeline.audit.timeline import draw_timeline
from pipeline.audit.view import in_period, rows_of
from pipeline.intake.line_ranges import say_lines
from pipeline.languages import Tongue
from pipeline.reports.formats import load_phrases

Key = tuple[str, str]
MOST_LOTS: Final = 600
"""House default: so many lots are printed with their timelines, about a quarter of a second each."""
MOST_SAMPLINGS: Final = 4000
"""House default: so many samplings are printed over all lots; the attached CSV has all."""
_KEY_OF_TIMELINES: Final = (
    "Above, each due on its day: a bar is on time; a diamond with a line to the day it was answered is late; a "
    "cross is "
    "missed; o open, e excused, ? not knowable. A follow-up stands on a foot. Below, samplings: a dot is a "
    "routine one, a "
    "triangle a retest, a square another; hollow ones do not count. Between them the longest gap with its days. "
    "Brackets: "
    "start and end of the lot. Pots and volumes: usable ones, and right ones, beside how many a sampling needs."
)
_HOW_TO_FOLLOW: Final = (
    "Each sampling names file and lines: the number is that of the evidence index at the end, where the file "
    "stands with "
    "its SHA-256; its bytes are in the archive under that hash. readings.csv has each of these lines as the site "
    "wrote it."
)


def lots_section(
    frames: Mapping[str, pl.DataFrame],
    sites: Mapping[str, str],
    period: Period,
    tongue: Tongue,
    *,
    is_whole: bool = False,
) -> Section:
    """A block for each lot: facts, timeline, samplings with figures and lines; `is_whole`: however many they are.

    tongue: of the timelines, which are drawn with their words.
    """
    dues, gaps, samplings = (
        _by_lot(rows)
        for rows in (rows_of(frames, "dues"), rows_of(frames, "gaps"), in_period(frames, period))
    )
    figures = _figures(frames)
    places = _places(frames)
    compliance = {
        (row["site_id"], row["lot_key"]): row
        for row in rows_of(frames, "compliance")
        if row["level"] == "lot" and row["part"] == "all"
    }
    blocks: list[Block] = []
    left = frames["samplings"].height if is_whole else MOST_SAMPLINGS
    lots = _choose(rows_of(frames, "lots"), dues, None if is_whole else MOST_LOTS)
    for lot in lots:
        key = (lot["site_id"], lot["lot_key"])
        shown = samplings[key][: max(left, 0)]
        left -= len(shown)
        blocks.append(
            Block(
                f"{lot['lot_id']}  {lot['crop']}{_cultivar(lot)}",
                (
                    tell(
                        "{site}, {house}, {container}, {began} {start}, {end}, {plants} plants.",
                        site=sites[lot["site_id"]],
                        house=_house(lot["house"]),
                        container=_container(lot["container_class"]),
                        began=plain(lot["start_kind"]) if lot["start_kind"] else tell("started"),
                        start=say_day(lot["started_on"]),
                        end=_end(lot),
                        plants=say(lot["plants"]),
                    ),
                    _tell(compliance[key], dues[key]),
                ),
                draw_timeline(
                    tongue,
                    lot["lot_id"],
                    period.from_on,
                    period.to_on,
                    lot,
                    dues[key],
                    samplings[key],
                    gaps[key],
                ),
                _samplings_table(lot, shown, len(samplings[key]) - len(shown), figures, places),
            )
        )
    more = frames["lots"].height - len(lots)
    told = tell_many(
        "{n} more lot, with fewer dues that were late, missed or open, or none, is in the attached tables.",
        "{n} more lots, with fewer dues that were late, missed or open, or none, are in the attached tables.",
        more,
    )
    return Section(
        "lots", "Each lot", (_KEY_OF_TIMELINES, _HOW_TO_FOLLOW, *((told,) if more else ())), (), tuple(blocks)
    )


def _choose(
    lots: list[dict[str, Any]], dues: Mapping[Key, Sequence[Row]], most: int | None
) -> list[dict[str, Any]]:
    """The lots that are printed, by site and code; where there are too many, those with most dues not on time."""

    def not_on_time(lot: Row) -> int:
        return sum(row["state"] in ("late", "missed", "open") for row in dues[lot["site_id"], lot["lot_key"]])

    worst = sorted(lots, key=lambda one: (-not_on_time(one), one["site_id"], one["lot_id"]))[:most]
    return sorted(worst, key=lambda one: (one["site_id"], one["lot_id"]))


def _house(name: str | None) -> str:
    if name is None:
        return tell("no house named")
    named = name.lower().startswith(("house", "haus", "casa", "nave"))
    return name if named else tell("house {name}", name=name)


def _container(code: str) -> str:
    return shared(load_phrases("en").name("container", code), f"container.{code}")


def _end(lot: Row) -> str:
    if lot["ends_on"] is None:
        return tell("no end listed")
    return tell("ends {day}", day=say_day(lot["ends_on"]))


def _cultivar(lot: Row) -> str:
    return f" ‘{lot['cultivar']}’" if lot["cultivar"] else ""


def _by_lot(rows: Sequence[dict[str, Any]]) -> dict[Key, list[dict[str, Any]]]:
    grouped: dict[Key, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        grouped[row["site_id"], row["lot_key"]].append(row)
    return grouped


def _figures(frames: Mapping[str, pl.DataFrame]) -> dict[tuple[Any, ...], dict[str, Row]]:
    found: dict[tuple[Any, ...], dict[str, Row]] = defaultdict(dict)
    for row in rows_of(frames, "figures"):
        found[row["site_id"], row["lot_id"], row["sampled_on"], row["purpose"]][row["quantity"]] = row
    return found


def _places(frames: Mapping[str, pl.DataFrame]) -> dict[tuple[Any, ...], str]:
    lines: dict[tuple[Any, ...], dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    for row in rows_of(frames, "readings"):
        at = (row["site_id"], row["lot_id"], row["sampled_on"], row["purpose"])
        lines[at][row["file_id"]] += range(row["line_from"], row["line_to"] + 1)
    return {
        at: join((_say_lines(file_id, sorted(numbers)) for file_id, numbers in files.items()), "; ")
        for at, files in lines.items()
    }


def _say_lines(file_id: int, numbers: list[int]) -> str:
    told = say_lines(numbers).removeprefix("lines ").removeprefix("line ")
    if len(numbers) == 1:
        return tell("no. {file} line {line}", file=file_id, line=told)
    return tell("no. {file} lines {lines}", file=file_id, lines=told)


def _tell(row: Row, dues: Sequence[Row]) -> str:
    """What became of a lot's dues, in one line."""
    states = Counter(one["state"] for one in dues)
    words = ("on_time", "late", "missed", "open", "excused", "not_knowable")
    parts = [join((str(states[word]), plain(word)), " ") for word in words if states[word]]
    due = tell_many("{n} due", "{n} dues", row["dues"])
    told = [join((due, join(parts)), ": ") if parts else due]
    if row["longest_gap_days"] is not None:
        told.append(tell("Longest gap {days}", days=days(row["longest_gap_days"])))
    if row["most_days_to_first"] is not None:
        told.append(tell("First sampling after {days}", days=days(row["most_days_to_first"])))
    return join((join(told, ". "), "."), "")


def _samplings_table(
    lot: Row,
    rows: Sequence[Row],
    left: int,
    figures: Mapping[tuple[Any, ...], Mapping[str, Row]],
    places: Mapping[tuple[Any, ...], str],
) -> Table | None:
    if not rows and not left:
        return None
    made = []
    for row in rows:
        at = (lot["site_id"], lot["lot_id"], row["sampled_on"], row["purpose"])
        made.append(
            (
                say_day(row["sampled_on"]),
                plain(row["purpose"]),
                tell("{n} / {all}", n=row["n_ph"], all=row["min_pots"]),
                _figure(figures[at].get("ph")),
                _figure(figures[at].get("ec")),
                tell("{n} / {all}", n=row["n_volume_right"], all=row["min_pots"]),
                plain(row["calibrated"]),
                plain(row["proper"]),
                join((places.get(at, "–"), tell("corrected")))
                if row["is_corrected"]
                else places.get(at, "–"),
            )
        )
    table = make_table(
        "Samplings of the period",
        [
            Head("Day", 9),
            Head("For", 8),
            Head("Pots", 5),
            Head("pH: mean, target, verdict", 21),
            Head("EC mS/cm: mean, target, verdict", 22),
            Head("Volumes", 6),
            Head("Meter", 7),
            Head("Proper", 7),
            Head("File and lines", 15),
        ],
        made,
        file="samplings",
        kind="lot",
    )
    more = (
        tell_many(
            "{n} more sampling is in the attached samplings.csv.",
            "{n} more samplings are in the attached samplings.csv.",
            left,
        )
        if left
        else table.more
    )
    return Table(table.caption, table.heads, table.rows, table.empty, more, table.kind)


def _figure(row: Row | None) -> str:
    if row is None or row["mean"] is None:
        return "–"
    least = "≥ " if row["is_at_least"] and row["side"] == "high" else "≤ " if row["is_at_least"] else ""
    values: dict[str, Any] = {
        "least": least,
        "mean": Decimal(repr(row["mean"])).quantize(Decimal("0.01"), ROUND_HALF_UP),
        "verdict": _verdict(row),
    }
    if row["low"] is None:
        return tell("{least}{mean:.2f}: {verdict}", **values)
    low, high = round_edge(row["low"]), round_edge(row["high"])
    return tell("{least}{mean:.2f}, {low}–{high}: {verdict}", low=low, high=high, **values)


def round_edge(value: float) -> Decimal:
    """An edge of a target with one decimal, or two where it has them: 6.0, 2.25."""
    exact = Decimal(repr(float(value))).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return exact.quantize(Decimal("0.1")) if exact == exact.quantize(Decimal("0.1")) else exact


def _verdict(row: Row) -> str:
    verdict = plain(row["verdict"] or row["not_judged_why"])
    return join((verdict, plain(row["side"])), " ") if row["side"] in ("low", "high") else verdict


def evidence_section(frames: Mapping[str, pl.DataFrame], sites: Mapping[str, str]) -> Section:
    """The evidence index: every file with hash, size, receipt, and what became of its lines."""
    rows = rows_of(frames, "files")
    table = make_table(
        "Every file of the evidence",
        [
            Head("No.", 3, True),
            Head("Site", 8),
            Head("File", 14),
            Head("Size,\nbytes", 5, True),
            Head("Kind", 9),
            Head("Received", 7.5),
            Head("Lines", 4.5, True),
            Head("Used", 4.5, True),
            Head("Held", 4, True),
            Head("Re-\npeated", 5, True),
            Head("Super-\nseded", 5, True),
            Head("With-\ndrawn", 5, True),
            Head("No\ndata", 4, True),
            Head("SHA-256", 22),
        ],
        [
            (
                str(row["file_id"]),
                sites.get(row["site_id"], row["site_id"]),
                row["name"],
                f"{row['size_bytes']:,}",
                plain(row["kind"]),
                say_day(row["received_on"]),
                *(
                    str(row[name])
                    for name in (
                        "lines",
                        "accepted",
                        "held",
                        "repeated",
                        "superseded",
                        "withdrawn",
                        "not_data",
                    )
                ),
                f"{row['sha256'][:32]} {row['sha256'][32:]}",
            )
            for row in rows
        ],
        file="files",
        kind="evidence",
        most=2000,
    )
    lines = sum(row["lines"] for row in rows)
    return Section(
        "evidence",
        "Evidence index",
        (
            tell(
                "{files} files with {lines} lines. Of each file, lines are the sum over what became of them: nothing "
                "is lost. The archive keeps each file under its SHA-256, at archive/files/<first two signs>/<SHA-256>.",
                files=len(rows),
                lines=lines,
            ),
        ),
        (table,),
    )


_BASIS: Final = (
    *("first_within_days", "problem_crops", "problem_interval_days", "after_out_interval_days", "grace_days"),
    *("symptoms_within_days", "affected_pots", "wait_leaching_days", "wait_bicarbonate_days"),
    *("wait_feed_change_days", "wait_lime_drench_days", "wait_other_days", "volume_warn_share"),
    *("slope_low_pct", "slope_high_pct", "offset_limit_mv", "buffer_limit_ph", "ec_standard_share"),
)
_ENDINGS: Final = ("routine_interval_days", "min_usable_pots")


def policy_section(
    frames: Mapping[str, pl.DataFrame], attached: Sequence[Attached], sites: Mapping[str, str]
) -> Section:
    """What the policy asked for, as far as compliance hangs on it, and what the group or a site set itself."""
    table = next(one for one in attached if one.name == "policy")
    rows = rows_of(frames, "policy")
    spans = {(row["site_id"], row["valid_from"], row["valid_to"]) for row in rows}
    shown: dict[tuple[str, ...], list[Any]] = defaultdict(list)
    for row in rows:
        if row["name"] in _BASIS or row["name"].endswith(_ENDINGS) or row["origin"] == "own":
            at = (_name_value(row), row["value"], row["unit"], row["origin"], row["source"], row["default"])
            shown[tuple("" if one is None else one for one in at)].append(
                (row["site_id"], row["valid_from"], row["valid_to"])
            )
    made = make_table(
        "Values that compliance hangs on, and every value that the group or a site set itself",
        [
            Head("Value", 36),
            Head("Is", 14),
            Head("Unit", 7),
            Head("Origin and source", 25),
            Head("Where", 18),
        ],
        [
            (
                name,
                value or tell("none"),
                shared(unit) if unit else "–",
                _say_origin(origin, source, default),
                _say_where(where, spans, sites),
            )
            for (name, value, unit, origin, source, default), where in shown.items()
        ],
        file="policy",
    )
    return Section(
        "policy",
        "Policy in force",
        (
            tell(
                "A due is judged by the policy in force on the day from which it is counted. All {n} values with their "
                "origins are in policy.csv; the settings files are in the archive under the hashes of settings.csv.",
                n=table.rows,
            ),
        ),
        (made,),
    )


def _name_value(row: Row) -> str:
    """What a value means; one of a container class names that."""
    name, meaning = str(row["name"]), shared(str(row["meaning"]))
    if name.startswith("containers."):
        return join((_container(name.split(".")[1]), meaning), ": ")
    kind, _, crop = name.partition(" ")
    if kind == "target":
        return join((tell("target {crop}", crop=crop), meaning), ": ")
    return join((tell("crop {crop}", crop=crop), meaning), ": ") if kind == "crop" else meaning


def _say_origin(origin: str, source: str, default: str) -> str:
    told: str = tell(_ORIGIN[origin])
    if source:
        # a source that says so itself is not called published twice
        said = shared(source)
        told = said if source.startswith("published") else join((told, said), ": ")
    return join((told, tell("(default {default})", default=default)), " ") if default else told


def _say_where(where: Sequence[Any], spans: set[Any], sites: Mapping[str, str]) -> str:
    """At which sites and on which days a value holds, as short as can be."""
    if set(where) == spans:
        return tell("everywhere, all the time")
    by_days: dict[tuple[Any, Any], list[str]] = defaultdict(list)
    for site_id, first, last in where:
        by_days[first, last].append(sites[site_id])
    return join(
        (
            tell(
                "{sites}, {days}",
                sites=tell("all sites") if len(names) == len(sites) else ", ".join(names),
                days=say_span(first, last),
            )
            for (first, last), names in by_days.items()
        ),
        "; ",
    )


_ORIGIN: Final = {
    "P": "published",
    "C": "common practice",
    "H": "house default",
    "own": "set by the group or site",
}


def attachments_section(attached: Sequence[Attached]) -> Section:
    """What is attached, and how somebody checks it."""
    table = make_table(
        "Tables attached to this PDF",
        [Head("File", 14), Head("Rows", 5, True), Head("Holds", 35), Head("SHA-256", 46)],
        [(one.file, str(one.rows), tell(one.about), one.sha256) for one in attached],
        file="index",
        kind="evidence",
    )
    return Section("verify", "How to check this dossier", _HOW_TO_VERIFY, (table,))


_HOW_TO_VERIFY: Final = (
    (
        "Take this PDF and a copy of the archive folder, and type: leachbook verify dossier.pdf --archive "
        "FOLDER. It compares "
        "each attached table with the index, each file of the evidence with the archive and its ledger, computes "
        "compliance "
        "once more from the attached tables, and makes all tables anew from the archive as it was that night."
    ),
    (
        "The SHA-256 of this PDF was printed when it was made and stands in the ledger; a copy of the ledger "
        "that nobody at "
        "the group can change is what proves it. Without the program: open the attachments in any reader or "
        "spreadsheet; "
        "sha256sum names each file; dues.csv leads to samplings.csv, that to readings.csv with file and line, "
        "and files.csv "
        "to the archived file."
    ),
)

PARAGRAPHS: Final = (_KEY_OF_TIMELINES, _HOW_TO_FOLLOW, *_HOW_TO_VERIFY)
"""Sentences that stand in constants here, for the catalogs of other languages."""
