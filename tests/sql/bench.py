"""A real warehouse for one test: small tables in, the shipped SQL files run, rows out.

A test names only the columns that it is about; the rest are filled from the defaults below. Tables are written as

    lot_code | ph  | ec_ms_cm
    A        | 5.9 | 3.0

and go in through the loader of the nightly run, in the columns of the translated exports. An empty cell or `-` is
NULL. Three columns more are for the line itself: `text` (by default the line's own values, so equal lines are equal
texts), `record_kind` (data) and `problem` (code of a problem that keeps the line out).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import duckdb
import polars as pl

from pipeline.intake.translate import ROW_SCHEMAS
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
from pipeline.measuring import TABLES as MEASURED_TABLES
from pipeline.measuring import measure_night
from pipeline.settings import Column, Export, Group, Settings, SiteSettings
from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.build import BUILD_ORDER, HISTORY_MODELS
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.load import FileFacts, NewFile, load_files, start_night
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.policy_tables import Published, load_settings_tables
from pipeline.warehouse.statements import quoted, read_sql, run_sql

AS_OF: Final = date(2026, 4, 6)
"""The night of every test that names no other: a Monday."""

# An active lot of a crop whose other published ranges lie close by: pH 5.8-6.2, EC 2.5-4.5 mS/cm.
LOT: Final = {
    "lot_code": "A",
    "house": "1",
    "crop": "poinsettia",
    "container_class": "pot_4in",
    "started_on": "2026-02-02",
    "start_kind": "potted",
    "plants": "1000",
    "feed_mode": "constant",
}
# One pot in the middle of both targets, poured and collected by the recipe.
READING: Final = {
    "lot_code": "A",
    "sampled_on": "2026-03-30",
    "purpose": "routine",
    "n_pots": "1",
    "ph": "6.0",
    "ec_ms_cm": "3.0",
    "poured_ml": "30",
    "leachate_ml": "30",
    "method": "pour-through",
    "ec_compensated": "true",
}
CALIBRATION: Final = {
    "meter_id": "M1",
    "calibrated_on": "2026-03-30",
    "slope_pct": "98",
    "offset_mv": "5",
}
TREATMENT: Final = {"lot_code": "A", "treated_on": "2026-03-30", "treatment": "acid_feed"}
FEED_CHECK: Final = {
    "checked_on": "2026-03-30",
    "place": "hose_end",
    "ec_ms_cm": "1.8",
    "ec_compensated": "true",
}
EXEMPTION: Final = {
    "lot_code": "A",
    "from_on": "2026-03-23",
    "until_on": "2026-04-12",
    "reason": "sold out",
    "person": "Ann",
}
PLANTING: Final = {"lot_code": "A", "crop": "poinsettia", "planted_on": "2026-02-02", "plants": "1000"}
PERSON: Final = {"name": "Ann", "trained_on": "2026-01-12", "trained_by": "Bo"}
DEFAULTS: Final[Mapping[str, Mapping[str, str]]] = {
    "readings": READING,
    "lots": LOT,
    "calibrations": CALIBRATION,
    "treatments": TREATMENT,
    "feed_checks": FEED_CHECK,
    "exemptions": EXEMPTION,
    "plantings": PLANTING,
    "people": PERSON,
}
LINE_COLUMNS: Final = ("text", "record_kind", "problem")
BROKEN: Final = ("ragged", "quoting")
# What an export calls a field whose column has another name.
FIELDS: Final = {
    "lot_code": "lot",
    "sampled_on": "date",
    "ec_ms_cm": "ec",
    "meter_id": "meter",
    "treated_on": "date",
}
SIFTED: Final = ("ph_out_of_scale", "ec_out_of_scale", "method_missing")

Row = dict[str, str | None]


def parse_table(table: str) -> list[Row]:
    """Rows of a table written with bars; an empty cell or `-` is None."""
    lines = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in table.strip().splitlines()
        if line.strip()
    ]
    header, *body = lines
    return [
        {name: None if cell in ("", "-") else cell for name, cell in zip(header, cells, strict=True)}
        for cells in body
    ]


def site(
    site_id: str = "north", *, calibrations: bool = False, policy: Sequence[PolicyPeriod] = ()
) -> SiteSettings:
    """A site; with `calibrations` it has an export of meter checks."""
    exports = (
        (Export(kind="calibrations", files="drop/meters*.csv", columns={"meter": Column(column="Meter")}),)
        if calibrations
        else ()
    )
    return SiteSettings(
        id=site_id,
        name=site_id.title(),
        time_zone="UTC",
        folder=Path(site_id),
        exports=exports,
        policy=tuple(policy),
    )


def settings_of(*sites: SiteSettings, policy: Sequence[PolicyPeriod] = ()) -> Settings:
    """A group with these sites and the shipped policy, changed by the periods given."""
    return Settings(group=Group(name="Test", time_zone="UTC"), policy=tuple(policy), sites=sites)


def published_for(settings: Settings) -> Published:
    """The shipped published tables, chosen as the shipped policy does."""
    crop_targets = load_crop_targets()
    chosen_columns = ["crop_key", "quantity", "low", "high", "source", "source_url", "how_known", "ph_group"]
    return Published(
        ranges=list_published_ranges(crop_targets).select(
            "crop_key", "quantity", "row_no", "low", "high", "source", "how_known"
        ),
        general=load_general_targets()
        .filter(pl.col("used"))
        .select("quantity", "low", "high", "source", "source_url", "how_known"),
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


def open_warehouse() -> Connection:
    """A migrated warehouse in memory, with one site under the shipped policy.

    One thread, because the tables are small and tests run side by side.
    """
    connection = duckdb.connect(":memory:", config={"threads": 1})
    migrate(connection)
    load(connection, site())
    return connection


def load(connection: Connection, *sites: SiteSettings, policy: Sequence[PolicyPeriod] = ()) -> None:
    """Fill the relations of the settings for these sites, the group's policy being the shipped one changed so."""
    settings = settings_of(*sites, policy=policy)
    load_settings_tables(connection, settings, published_for(settings))


FACT_TABLES: Final = (
    "nights",
    "files",
    "records",
    "record_problems",
    "reading_lines",
    "lot_lines",
    "calibration_lines",
    "treatment_lines",
    "feed_check_lines",
    "exemption_lines",
    "planting_lines",
    "people_lines",
    "file_days",
    "rereads",
    "reread_values",
    "reread_fates",
    "file_troubles",
    "fate_history",
    "calendar_history",
    "calendar_events",
)


def empty(connection: Connection) -> None:
    """Back to a warehouse that has seen no night: faster than a new one for each test.

    What was derived stays until a test builds it again.
    """
    for table in (*FACT_TABLES, *MEASURED_TABLES):
        connection.execute(f"truncate {quoted(table)}").fetchall()


@lru_cache(maxsize=1)
def dependencies() -> dict[str, frozenset[str]]:
    """What each model reads from, found by DuckDB itself."""
    with duckdb.connect() as connection:
        return {
            name: frozenset(connection.get_table_names(read_sql(name)))
            for name in (*BUILD_ORDER, *(f"history/{name}" for name in HISTORY_MODELS))
        }


def models_for(*relations: str) -> list[str]:
    """The models that these relations need, themselves included, in the order of the build."""
    by_relation = {name.split("/")[1]: name for name in BUILD_ORDER}
    wanted: set[str] = set()
    open_names = [by_relation[relation] for relation in relations]
    while open_names:
        name = open_names.pop()
        if name not in wanted:
            wanted.add(name)
            open_names += [by_relation[read] for read in dependencies()[name] if read in by_relation]
    return [name for name in BUILD_ORDER if name in wanted]


class Bench:
    """A migrated warehouse with the shipped policy in which one night has begun."""

    def __init__(self, connection: Connection, as_of: date = AS_OF) -> None:
        self.connection = connection
        self.night_no = start_night(connection, as_of, "0", "settings")
        self.as_of = as_of
        self.has_own_settings = False
        self._names = 0

    def next_night(self, as_of: date) -> None:
        """Begin the night after."""
        self.as_of = as_of
        self.night_no = start_night(self.connection, as_of, "0", "settings")

    def use(self, *sites: SiteSettings, policy: Sequence[PolicyPeriod] = ()) -> None:
        """Other settings than one site without meter checks under the shipped policy."""
        self.has_own_settings = True
        load(self.connection, *(sites or (site(),)), policy=policy)

    def lots(self, table: str = "lot_code\nA", **facts: Any) -> None:
        """A lot list: by default cumulative, as most are."""
        self.load_file("lots", table, **{"mode": "cumulative", **facts})

    def readings(self, table: str, **facts: Any) -> None:
        """An export of readings: by default the night's own lines (increment)."""
        self.load_file("readings", table, **facts)

    def calibrations(self, table: str, **facts: Any) -> None:
        """An export of meter checks."""
        self.load_file("calibrations", table, **facts)

    def pots(self, values: str, *, quantity: str = "ph", **same: str) -> None:
        """One sampling from its pots' values, written with blanks between; `same` holds for every pot."""
        rows = "\n".join(values.split())
        self.readings(f"{quantity}\n{rows}", same=same)

    def load_file(
        self,
        kind: str,
        table: str,
        *,
        site_id: str = "north",
        mode: str = "increment",
        export_no: int = 1,
        numbers_pots: bool | None = False,
        name: str | None = None,
        problem: str | None = None,
        same: Mapping[str, str | None] | None = None,
    ) -> None:
        """Load one file. `same`: columns that have one value on every line; `problem`: the whole file is held."""
        self._names += 1
        rows: list[Row] = [{**DEFAULTS[kind], **(same or {}), **row} for row in parse_table(table)]
        file_name = name or f"drop/{kind}-{self._names}.csv"
        facts = FileFacts(
            site_id=site_id,
            kind=kind,
            export_no=export_no,
            mode=mode,
            numbers_pots=numbers_pots,
            name=file_name,
            sha256=f"sha of {file_name}: {rows}",
            size_bytes=1,
            modified_at=datetime(2026, 4, 6, 3),
            lines=len(rows),
            problem=problem,
            problem_sentence=None if problem is None else f"{problem} found",
            problem_mend=None if problem is None else "send it again",
        )
        new = NewFile(facts, _records(rows), _typed(kind, rows), _problems(rows))
        load_files(self.connection, self.night_no, self.as_of, [new])

    def build(self, *relations: str) -> None:
        """Build these models and what they need, from the shipped files."""
        for name in models_for(*relations):
            relation = quoted(name.split("/")[1])
            self.connection.execute(f"create or replace table {relation} as\n{read_sql(name)}").fetchall()

    def measure(self) -> None:
        """Build what the measures look at, and fill their tables."""
        self.build("last_verdicts", "last_treatments", "lot_targets", "sampling_figures", "feed_checks")
        measure_night(self.connection)

    def build_traced(self) -> None:
        """Measure, and build every model that a trace of a lot or of a site reads."""
        self.measure()
        self.build(
            *(
                "lot_growers",
                "streaks",
                "answered_dues",
                "sampling_meters",
                "attention",
                "due_states",
                "reasons",
            ),
            *("sampling_findings", "calibrations", "buffer_readings", "usable_readings"),
            *("site_questions", "list_findings"),
        )

    def rows(self, relation: str, columns: str, where: str = "true") -> list[tuple[Any, ...]]:
        """Build a model and return these columns, sorted by them."""
        self.build(relation)
        return self.select(relation, columns, where)

    def select(self, relation: str, columns: str, where: str = "true") -> list[tuple[Any, ...]]:
        """These columns of a relation as it stands, sorted by them."""
        query = f"select {columns} from {quoted(relation)} where {where} order by all"  # noqa: S608 - test's own text
        return self.connection.execute(query).fetchall()

    def run(self, name: str) -> list[tuple[Any, ...]]:
        """Rows of one SQL file, by its name with the folder."""
        return run_sql(self.connection, name)


def _records(rows: Sequence[Row]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "record_no": number,
                "line_from": number,
                "line_to": number,
                "kind": row.get("record_kind") or "data",
                "text": row.get("text") or _own_text(row),
            }
            for number, row in enumerate(rows, start=1)
        ],
        schema={
            "record_no": pl.Int64,
            "line_from": pl.Int64,
            "line_to": pl.Int64,
            "kind": pl.String,
            "text": pl.String,
        },
    )


def _own_text(row: Row) -> str:
    return ";".join(
        f"{key}={value}"
        for key, value in sorted(row.items())
        if value is not None and key not in LINE_COLUMNS
    )


def _typed(kind: str, rows: Sequence[Row]) -> pl.DataFrame:
    """The translated rows of the data records, every value cast as the translator types it."""
    schema = ROW_SCHEMAS[kind]
    data = [
        (number, row)
        for number, row in enumerate(rows, start=1)
        if (row.get("record_kind") or "data") == "data"
    ]
    for _, row in data:
        unknown = row.keys() - schema.keys() - set(LINE_COLUMNS)
        if unknown:
            raise KeyError(f"no such column of {kind}: {sorted(unknown)}")
    texts = pl.DataFrame(
        {
            "record_no": [number for number, _ in data],
            **{
                name: [row.get(name) for _, row in data]
                for name in schema
                if name not in ("record_no", "cells")
            },
        },
        schema={name: pl.Int64 if name == "record_no" else pl.String for name in schema if name != "cells"},
    )
    cells = [_cells(row) for _, row in data]
    return texts.select(
        *(_cast(name, dtype) for name, dtype in schema.items() if name != "cells"),
        pl.Series("cells", cells, dtype=pl.String),
    )


def _cells(row: Row) -> str | None:
    """The cells by field, as they stand; none where the line could not be divided into cells."""
    if (row.get("problem") or "") in BROKEN:
        return None
    fields = {"ph": None, "ec": None, **{FIELDS.get(name, name): cell for name, cell in row.items()}}
    return json.dumps({name: cell for name, cell in fields.items() if name not in LINE_COLUMNS})


def _cast(name: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if dtype == pl.Boolean:
        return column == "true"
    if dtype == pl.Date:
        return column.str.to_date("%Y-%m-%d")
    if dtype == pl.Time:
        return column.str.to_time("%H:%M")
    return column.cast(dtype)


def _problems(rows: Sequence[Row]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "record_no": number,
                "code": code,
                "field": None if code in SIFTED else "ph",
                "cell": None,
                "sentence": f"{code} found",
            }
            for number, row in enumerate(rows, start=1)
            for code in (row.get("problem") or "").split()
        ],
        schema={
            "record_no": pl.Int64,
            "code": pl.String,
            "field": pl.String,
            "cell": pl.String,
            "sentence": pl.String,
        },
    )
