"""Loading a haul and judging everything anew: from facts to relations that are sound."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date

import polars as pl

from pipeline import __version__
from pipeline.calendar_night import keep_calendars
from pipeline.haul import Haul
from pipeline.measures.ec import very_high_edges
from pipeline.measures.reference_tables import (
    load_buffers_by_temperature,
    load_crop_targets,
    load_ec_bands,
    load_general_targets,
    load_group_targets,
)
from pipeline.measures.t_table import t_quantiles
from pipeline.measures.targets import choose_targets, list_published_ranges
from pipeline.measuring import measure_night
from pipeline.receive import name_days
from pipeline.reports.summary import Night
from pipeline.run_record import Stages, untimed
from pipeline.settings import Settings
from pipeline.warehouse.build import build_facts, build_models, check_invariants, facts_digest, keep_fates
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.load import (
    finish_night,
    load_files,
    load_troubles,
    read_files,
    reload_files,
    start_night,
)
from pipeline.warehouse.policy_tables import Published, load_settings_tables
from pipeline.warehouse.reread import note_fates
from pipeline.warehouse.statements import replace_rows

Say = Callable[[str], None]
Calendars = Callable[[Connection, Settings, int], None]


def judge_night(
    connection: Connection,
    settings: Settings,
    day: date,
    haul: Haul,
    say: Say,
    *,
    version: str = __version__,
    facts_only: bool = False,
    calendars: Calendars = keep_calendars,
    stage: Stages = untimed,
) -> tuple[int, Night]:
    """Load what is new, rebuild everything that follows from it, and see that it is sound.

    A night that is replayed has the `version` that ran it then, and with `facts_only` no judgement: the next
    night's facts do not hang on it. `calendars` writes down what the night numbered so makes known of events; `stage`
    times what is done.
    """
    digest = settings_digest(settings)
    say(f"Loading {_count(len(haul.files), 'new file')}")
    night_no = start_night(connection, day, version, digest)
    load_settings_tables(connection, settings, _published())
    if haul.again:
        say(f"Reading {_count(len(haul.again), 'earlier file')} again, because their settings changed")
    with stage("load") as counts:
        reload_files(connection, night_no, haul.again)
        records = load_files(connection, night_no, day, haul.files)
        counts["records"] = records
        load_troubles(connection, night_no, haul.troubles)
        replace_rows(connection, "file_days", name_days(read_files(connection), settings.sites))
    with stage("judge"):
        if facts_only:
            build_facts(connection)
        else:
            say("Judging samplings and lots")
            build_models(connection, measure_night)
        keep_fates(connection)
        if haul.again:
            note_fates(connection)
        calendars(connection, settings, night_no)
    with stage("check"):
        if not facts_only:
            check_invariants(connection)
        facts = facts_digest(connection)
    finish_night(connection, night_no, facts, len(haul.files), records)
    return night_no, Night(
        leachbook_version=version,
        as_of=day,
        facts_digest=facts,
        settings_digest=digest,
        new_files=len(haul.files),
        new_records=records,
    )


def settings_digest(settings: Settings) -> str:
    """One short text that is equal whenever the settings files are equal."""
    parts = [f"{name}\0{hashlib.sha256(data).hexdigest()}" for name, data in sorted(settings.files.items())]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _published() -> Published:
    crop_targets = load_crop_targets()
    general = load_general_targets().filter(pl.col("used"))
    chosen_columns = ["crop_key", "quantity", "low", "high", "source", "source_url", "how_known", "ph_group"]
    return Published(
        ranges=list_published_ranges(crop_targets).select(
            "crop_key", "quantity", "row_no", "low", "high", "source", "how_known"
        ),
        general=general.select("quantity", "low", "high", "source", "source_url", "how_known"),
        groups=load_group_targets().select(
            "quantity",
            "group_name",
            pl.col("low", "high").cast(pl.Decimal(9, 4)),
            "source",
            "source_url",
            "how_known",
        ),
        t_table=t_quantiles().select("df", "t"),
        very_high_edges=very_high_edges(load_ec_bands()),
        buffers=load_buffers_by_temperature().select("buffer", "temperature_c", "ph", "source", "how_known"),
        choose=lambda order: choose_targets(crop_targets, order).select(chosen_columns),
    )


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
