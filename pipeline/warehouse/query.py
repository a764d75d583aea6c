"""What reports and commands read from the warehouse, as frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import polars as pl

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import fetch, fetch_relation, sql_names

Tables = Mapping[str, pl.DataFrame]

SHEET_DAYS: Final = 6
"""A night's sampling sheet asks for what is due until so many days after the as-of day, as `due this week` does."""

MOST_REREAD_LINES: Final = 20
"""House default: so many lines that reading files again changed stand on a site's page; the command has them all."""

_QUERIES: Final = (
    "lots",
    "dues",
    "sampling_plan_days",
    "planned_samplings",
    "samplings",
    "figures",
    "pots",
    "targets",
    "own_charts",
    "fed_days",
    "meter_findings",
    "water_checks",
    "corrections_tonight",
    "rereads_tonight",
    "released_files",
    "older_files",
    "new_columns",
    "files_tonight",
    "not_data_lines",
    "not_data_files",
    "troubles",
    "calendar",
)
_RELATIONS: Final = (
    "reasons",
    "sampling_findings",
    "site_questions",
    "meter_states",
    "site_states",
    "held_causes",
    "releases",
    "published_ranges",
    "trends",
    "contrasts",
    "treatments",
    "water_findings",
    "list_findings",
    "crop_contrasts",
)


def fetch_tables(connection: Connection) -> dict[str, pl.DataFrame]:
    """Everything that the pages of tonight are made of, by the name of its query or relation."""
    sheet = fetch_sheet(connection)
    return {
        **{name: fetch(connection, f"queries/{name}") for name in _QUERIES},
        **{name: fetch_relation(connection, name) for name in _RELATIONS},
        "reread_lines": fetch_reread_lines(connection, only_tonight=True, most=MOST_REREAD_LINES),
        "sheet_lots": sheet.lots,
        "sheet_meters": sheet.meters,
        "sheet_left_out": sheet.left_out,
    }


def fetch_reread_lines(
    connection: Connection, *, only_tonight: bool = False, most: int | None = None
) -> pl.DataFrame:
    """Lines that reading files again changed, tonight or in the newest night that did so; `most` of each site."""
    return fetch(connection, "queries/reread_lines", {"only_tonight": only_tonight, "most": most})


def fetch_as_of(connection: Connection) -> date:
    """The day that the warehouse was last judged from."""
    as_of: date = fetch_relation(connection, "run")["as_of"].item()
    return as_of


@dataclass(frozen=True, slots=True)
class SheetRows:
    """What sampling sheets are made of, for all sites: dues up to a day with their lots, dues left out, and meters."""

    as_of: date
    until: date
    lots: pl.DataFrame
    left_out: pl.DataFrame
    meters: pl.DataFrame


def fetch_sheet(connection: Connection, until: date | None = None) -> SheetRows:
    """Dues up to `until`, by default those of SHEET_DAYS after the as-of day, and the meters seen lately."""
    as_of = fetch_as_of(connection)
    last = as_of + timedelta(days=SHEET_DAYS) if until is None else until
    lots, left_out = (
        fetch(connection, f"queries/{name}", {"until": last}) for name in ("sheet_lots", "sheet_left_out")
    )
    return SheetRows(as_of, last, lots, left_out, fetch(connection, "queries/sheet_meters"))


def fetch_measured(connection: Connection) -> dict[str, pl.DataFrame]:
    """What the measures are worked out from, by the name of its query in sql/measures."""
    return {name: fetch(connection, f"measures/{name}") for name in sql_names("measures")}


def fetch_held(connection: Connection) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Causes of held lines, and every held line."""
    return fetch_relation(connection, "held_causes"), fetch(connection, "queries/held_lines")


def fetch_refused(connection: Connection) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What lay in the drop folders of the newest night and was not taken, and the files that came that day."""
    return fetch(connection, "queries/troubles"), fetch(connection, "queries/files_tonight")


def fetch_not_data(connection: Connection) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The newest files of each site with their lines that are no data counted, and these lines but the blank ones."""
    return fetch(connection, "queries/not_data_files"), fetch(connection, "queries/not_data_lines")


def fetch_lot(connection: Connection, site_id: str, lot_key: str) -> pl.DataFrame:
    """One lot by its code in lower case; no row where the site has none."""
    return fetch(connection, "queries/trace_lot", {"site_id": site_id, "lot_key": lot_key})


def fetch_lot_codes(connection: Connection, site_id: str) -> list[str]:
    """Codes of all lots of a site."""
    return fetch(connection, "queries/trace_lot_codes", {"site_id": site_id})["lot_id"].to_list()


def fetch_lot_samplings(connection: Connection, site_id: str, lot_key: str) -> pl.DataFrame:
    """Samplings of one lot, a row for pH and one for EC each, oldest first."""
    return fetch(connection, "queries/trace_samplings", {"site_id": site_id, "lot_key": lot_key})


def fetch_lot_lines(connection: Connection, site_id: str, lot_key: str, sampled_on: date) -> pl.DataFrame:
    """Every reading line of a lot on one day, with raw cells."""
    return fetch(
        connection,
        "queries/trace_lines",
        {"site_id": site_id, "lot_key": lot_key, "sampled_on": sampled_on},
    )


def fetch_answered_dues(connection: Connection, site_id: str, lot_key: str) -> pl.DataFrame:
    """The dues that a lot's samplings answer, by the sheets on which they were written down."""
    return fetch(connection, "queries/answered_dues", {"site_id": site_id, "lot_key": lot_key})


def fetch_lot_dues(connection: Connection, site_id: str, lot_key: str) -> pl.DataFrame:
    """Every due of a standing lot as of the last night, excused ones too; none of a lot that has ended."""
    dues = fetch(connection, "queries/dues")
    return dues.filter((pl.col("site_id") == site_id) & (pl.col("lot_key") == lot_key))


@dataclass(frozen=True, slots=True)
class StandingRows:
    """What a lot's place on tonight's pages was worked out from; no row in `lots` where it does not stand.

    attention holds all lots of the group, everything else the one lot.
    """

    attention: pl.DataFrame
    lots: pl.DataFrame
    reasons: pl.DataFrame
    figures: pl.DataFrame
    last_verdicts: pl.DataFrame
    pair_verdicts: pl.DataFrame
    depending: pl.DataFrame
    drifts: pl.DataFrame
    contrasts: pl.DataFrame
    findings: pl.DataFrame
    samplings: pl.DataFrame
    lines: pl.DataFrame
    treatments: pl.DataFrame
    waters: pl.DataFrame


def fetch_standing(connection: Connection, site_id: str, lot_key: str) -> StandingRows:
    """Everything by which one lot has its level, its place and its remarks."""
    lot = {"site_id": site_id, "lot_key": lot_key}

    def of_the_lot(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.filter((pl.col("site_id") == site_id) & (pl.col("lot_key") == lot_key))

    relations = {
        field: of_the_lot(fetch_relation(connection, relation))
        for field, relation in (
            ("reasons", "reasons"),
            ("last_verdicts", "last_verdicts"),
            ("pair_verdicts", "pair_verdicts"),
            ("depending", "depending_figures"),
            ("drifts", "drifts"),
            ("contrasts", "contrasts"),
            ("findings", "sampling_findings"),
            ("samplings", "samplings"),
        )
    }
    return StandingRows(
        attention=fetch_relation(connection, "attention"),
        lots=of_the_lot(fetch(connection, "queries/lots")),
        figures=of_the_lot(fetch(connection, "queries/figures")),
        lines=fetch(connection, "queries/trace_used_lines", lot),
        treatments=fetch(connection, "queries/trace_treatments", lot),
        waters=fetch(connection, "queries/trace_lot_waters", lot),
        **relations,
    )


def fetch_written(connection: Connection, site_id: str) -> pl.DataFrame:
    """Readings of single pots of a site as they were written down lately."""
    return fetch(connection, "queries/trace_written", {"site_id": site_id})


def fetch_list_lines(connection: Connection, site_id: str) -> pl.DataFrame:
    """The lines behind what a site's lists say against each other."""
    return fetch(connection, "queries/trace_lists", {"site_id": site_id})


def fetch_site_findings(connection: Connection, site_id: str) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Tonight's questions about a site's readings, and what its lists say against each other."""
    questions, lists = (fetch_relation(connection, name) for name in ("site_questions", "list_findings"))
    return questions.filter(pl.col("site_id") == site_id), lists.filter(pl.col("site_id") == site_id)


def fetch_lot_ranges(connection: Connection, site_id: str, lot_key: str) -> pl.DataFrame:
    """Every published range of a lot's crop."""
    return fetch(connection, "queries/trace_ranges", {"site_id": site_id, "lot_key": lot_key})


def fetch_lot_measured(connection: Connection, site_id: str, lot_key: str) -> dict[str, pl.DataFrame]:
    """What the measures of one lot are worked out from, and the policy's limits for its site."""
    return of_lot(fetch_measured(connection), site_id, lot_key)


def of_lot(tables: Tables, site_id: str, lot_key: str) -> dict[str, pl.DataFrame]:
    """Of each table the rows of one lot, or of its site where the table knows no lots."""
    mine = {name: frame.filter(pl.col("site_id") == site_id) for name, frame in tables.items()}
    return {
        name: frame.filter(pl.col("lot_key") == lot_key) if "lot_key" in frame.columns else frame
        for name, frame in mine.items()
    }


def fetch_crop_means(connection: Connection) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The lots' means by which sites are held against each other, and the policy's limits of every site."""
    return fetch(connection, "measures/crop_means"), fetch(connection, "measures/limits")


def fetch_recorded_rows(connection: Connection, site_id: str) -> pl.DataFrame:
    """Pots of a site whose row on a mapped bench is written down, by how many rows the bench has."""
    return fetch(connection, "measures/recorded_rows").filter(pl.col("site_id") == site_id)


def fetch_checks(connection: Connection, site_id: str) -> pl.DataFrame:
    """Every check of the meters of a site with its line, newest first."""
    return fetch(connection, "queries/trace_checks", {"site_id": site_id})


def fetch_buffers(connection: Connection, site_id: str) -> pl.DataFrame:
    """What the meters of a site showed in their buffers."""
    return fetch(connection, "queries/trace_buffers", {"site_id": site_id})


def fetch_lot_meters(connection: Connection, site_id: str, lot_key: str, sampled_on: date) -> pl.DataFrame:
    """The meters of a lot's samplings on one day, and what their checks make of it."""
    return fetch(
        connection,
        "queries/trace_meters",
        {"site_id": site_id, "lot_key": lot_key, "sampled_on": sampled_on},
    )


def fetch_traced_waters(connection: Connection, site_id: str) -> pl.DataFrame:
    """Checks of water and feed that tonight takes, with their lines."""
    return fetch(connection, "queries/trace_waters", {"site_id": site_id})


def fetch_line_spans(connection: Connection, lines: pl.DataFrame) -> pl.DataFrame:
    """What each of these lines (file_id, record_no) was taken for, from which as-of date to which, oldest first."""
    return fetch(
        connection,
        "queries/line_spans",
        {"file_ids": lines["file_id"].to_list(), "record_nos": lines["record_no"].to_list()},
    )
