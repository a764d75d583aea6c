"""Deriving everything that reports need from the facts: one relation a file, in one explicit order."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.errors import InvariantBroken
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import quoted, read_sql, run_sql, sql_names

SAMPLING_MODELS = (
    "file_order",
    "line_appearances",
    "repeated_pots",
    "line_keys",
    "file_versions",
    "gone_lines",
    "line_twins",
    "left_lines",
    "changed_lines",
    "record_versions",
    "replaced_files",
    "lot_facts",
    "current_lots",
    "lot_growers",
    "reading_lots",
    "treatment_lots",
    "exemption_lots",
    "kind_causes",
    "record_fates",
    "treatments",
    "feed_checks",
    "exemptions",
    "plantings",
    "people",
    "named_buffers",
    "buffer_readings",
    "electrode_fits",
    "calibrations",
    "meter_days",
    "usable_readings",
    "checks_shown",
    "samplings",
    "sampling_figures",
)
JUDGEMENT_MODELS = (
    "lot_targets",
    "biased_figures",
    "verdicts",
    "treatment_waits",
    "streaks",
    "feed_pairs",
    "answered_dues",
    "pair_outs",
    "symptom_rounds",
    "standing_lots",
    "last_treatments",
    "last_verdicts",
    # the measures come in here
    "sampling_meters",
    "drifts",
    "depending_figures",
    "pair_verdicts",
    "feedings",
    "asked_dues",
    "dues",
    "due_states",
    "sampling_plan",
    "calendar_dues",
    "not_counting",
    "reasons",
    "attention",
    "sampling_questions",
    "sampling_findings",
    "site_questions",
    "water_findings",
    "list_findings",
    "meter_states",
    "meter_findings",
    "site_states",
    "held_causes",
)
HISTORY_MODELS = ("released_lines", "releases")
BUILD_ORDER = (
    *(f"samplings/{name}" for name in SAMPLING_MODELS),
    *(f"judgement/{name}" for name in JUDGEMENT_MODELS),
)


LAST_BEFORE_MEASURES = "judgement/last_verdicts"
# Which due a sampling answers is a fact; how late it was is told by the pair that it belongs to.
FACTS_OF_JUDGEMENT = ("judgement/feed_pairs", "judgement/answered_dues")


def build_facts(connection: Connection) -> None:
    """Rebuild sql/samplings and what else fates and the digest of facts hang on."""
    for name in (*(f"samplings/{name}" for name in SAMPLING_MODELS), *FACTS_OF_JUDGEMENT):
        _build(connection, name)


def build_models(connection: Connection, measure: Callable[[Connection], None]) -> None:
    """Rebuild every relation of sql/samplings and sql/judgement whole.

    `measure` fills the tables of the measures once what they look at is there.
    """
    for name in BUILD_ORDER:
        _build(connection, name)
        if name == LAST_BEFORE_MEASURES:
            measure(connection)


def keep_fates(connection: Connection) -> None:
    """Write tonight's changes of fate into their history, and find what they released."""
    run_sql(connection, "history/close_fates")
    run_sql(connection, "history/open_fates")
    for name in HISTORY_MODELS:
        _build(connection, f"history/{name}")


def check_invariants(connection: Connection) -> None:
    """Run every query of sql/invariants. Raises InvariantBroken with the first rows that should not be there."""
    for name in sql_names("invariants"):
        rows = connection.execute(f"{read_sql(f'invariants/{name}')} limit 3").fetchall()
        if rows:
            raise InvariantBroken(
                f"The night was stopped before anything was published: sql/invariants/{name}.sql found {rows}; "
                "yesterday's warehouse and pages stand. This is a fault of Leachbook, please report it."
            )


def facts_digest(connection: Connection) -> str:
    """One short text that is equal whenever the facts that count are equal."""
    return str(run_sql(connection, "history/facts_digest")[0][0])


def _build(connection: Connection, name: str) -> None:
    relation = quoted(name.split("/")[1])
    connection.execute(f"create or replace table {relation} as\n{read_sql(name)}").fetchall()
