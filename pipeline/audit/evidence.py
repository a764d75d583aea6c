"""The evidence that a dossier carries: each table as CSV, the policy, a dictionary, and an index of all. Pure.

Cells are written as for spreadsheets (nothing that one would run). The same rows give the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Final

import polars as pl

from pipeline.audit.known import Known
from pipeline.reports.policy_lines import list_policy
from pipeline.settings import POLICY_CATALOGUE, Settings, resolve_policy
from pipeline.tables.catalogue import Meaning, load_meanings
from pipeline.tables.files import to_csv

ORDER: Final = (
    *("audit", "compliance", "dues", "gaps", "lots", "lot_growers"),
    *("samplings", "figures", "readings", "rules", "verdicts", "targets", "treatments", "causes"),
    *(
        "excuses",
        "closings",
        "corrections",
        "held",
        "meters",
        "remarks",
        "site_questions",
        "people",
        "plantings",
    ),
    *(
        "growers",
        "feed_days",
        "closed_days",
        "checks_shown",
        "feed_pair_crops",
        "published_ranges",
        "policy_spans",
    ),
    *("files", "settings", "policy", "dictionary"),
)
"""The tables in the order in which they are attached; `index` goes before them."""
ABOUT: Final[Mapping[str, str]] = {
    "index": "Every attached table with its SHA-256, size and number of rows",
    "audit": "What this dossier is about: period, sites, night, ledger entry, versions",
    "compliance": "Shares and counts by lot, house, site, grower and group",
    "dues": "Every due of the period and what became of it",
    "gaps": "Stretches of days without a counting sampling",
    "lots": "The lots that stood in the period",
    "lot_growers": "Which head grower answers for which lot",
    "samplings": "Every sampling of these lots up to the period's end, and how it was done",
    "figures": "What the samplings showed, against the target of the day",
    "readings": "Every line behind the samplings: file, line, the site's own text, and what became of it",
    "rules": "Intervals that the policy asked for, by lot and span of days",
    "causes": "What asked for follow-ups",
    "verdicts": "What each sampling came to against its target, from the lots' start on",
    "targets": "The range that each lot is judged against, and who set it",
    "treatments": "What was done to the lots to mend pH or EC",
    "excuses": "Excused samplings with reason and name",
    "closings": "Means out of range and how each was closed",
    "corrections": "Corrected and withdrawn lines with both versions",
    "held": "Lines that are kept out until they can be used",
    "meters": "Meter checks with slope and offset",
    "remarks": "Remarks on samplings, questions among them",
    "site_questions": "Questions about a site's figures, over the period and each month of it",
    "people": "Samplers and their training",
    "plantings": "Planted lots beside the lot list",
    "growers": "Head growers by the settings, with their houses",
    "feed_days": "Days of feeding by the settings, for lots that are fed periodically",
    "closed_days": "Days without sampling by the settings",
    "checks_shown": "From which day on each site shows its meter checks",
    "published_ranges": "Published ranges of these lots' crops",
    "feed_pair_crops": "Crops that the policy wants read in pairs around a feeding",
    "policy_spans": "The policy's plain values, one column each, for computing again",
    "files": "Index of the evidence: every file with SHA-256, size, day of receipt and lines by fate",
    "settings": "The settings files of that night, by their hashes",
    "policy": "The policy in force in the period, with origin and source of each value",
    "dictionary": "Every column of these tables: type, unit, meaning",
}


@dataclass(frozen=True, slots=True)
class Period:
    """What an audit looks at: days, and one site or all."""

    from_on: date
    to_on: date
    site_id: str | None

    @property
    def name(self) -> str:
        """As a folder is called."""
        return f"{self.from_on}_{self.to_on}{'' if self.site_id is None else f'_{self.site_id}'}"


@dataclass(frozen=True, slots=True)
class Attached:
    """One attached table."""

    name: str
    data: bytes
    rows: int

    @property
    def file(self) -> str:
        """The name of the attached file."""
        return f"{self.name}.csv"

    @property
    def sha256(self) -> str:
        """Its hash."""
        return hashlib.sha256(self.data).hexdigest()

    @property
    def about(self) -> str:
        """What it holds, in one clause."""
        return ABOUT[self.name]


def describe_audit(period: Period, known: Known) -> pl.DataFrame:
    """The facts that name a dossier, as rows of key and value."""
    facts = {
        "group": known.settings.group.name,
        "from_on": period.from_on.isoformat(),
        "to_on": period.to_on.isoformat(),
        "site_id": period.site_id or "",
        "as_of": known.as_of.isoformat(),
        "night": str(known.number),
        "leachbook": known.leachbook,
        "facts": known.facts,
        "settings_sha256": known.settings_sha256,
        "ledger_line": str(known.line),
        "ledger_sha256": known.line_sha256,
    }
    return pl.DataFrame({"key": list(facts), "value": list(facts.values())})


def list_settings(settings: Settings) -> pl.DataFrame:
    """The settings files with their hashes and sizes, as the archive has them."""
    rows = [
        {"name": name, "sha256": hashlib.sha256(data).hexdigest(), "size_bytes": len(data)}
        for name, data in sorted(settings.files.items())
    ]
    return pl.DataFrame(rows, schema={"name": pl.String, "sha256": pl.String, "size_bytes": pl.Int64})


def list_policies(period: Period, settings: Settings) -> pl.DataFrame:
    """Every value of the policy that was in force on a day of the period, by site and span of days."""
    rows = [
        {
            "site_id": site.id,
            "valid_from": max(span.valid_from, period.from_on),
            "valid_to": min(period.to_on, (span.valid_to or date.max) - timedelta(days=1)),
            **{
                name: getattr(value, name)
                for name in ("name", "value", "unit", "origin", "meaning", "source", "default")
            },
        }
        for site in settings.sites
        if period.site_id in (None, site.id)
        for span in resolve_policy(settings, site)
        if span.valid_from <= period.to_on and (span.valid_to is None or span.valid_to > period.from_on)
        for value in list_policy(span)
    ]
    texts = ("name", "value", "unit", "origin", "meaning", "source", "default")
    schema: dict[str, Any] = {"site_id": pl.String, "valid_from": pl.Date, "valid_to": pl.Date}
    return pl.DataFrame(rows, schema={**schema, **dict.fromkeys(texts, pl.String)})


def add_background(
    frames: Mapping[str, pl.DataFrame], period: Period, known: Known
) -> dict[str, pl.DataFrame]:
    """The same tables with what names the dossier, the settings files and the policy."""
    return {
        **frames,
        "audit": describe_audit(period, known),
        "settings": list_settings(known.settings),
        "policy": list_policies(period, known.settings),
    }


def attach(frames: Mapping[str, pl.DataFrame]) -> list[Attached]:
    """Every table as it is attached, the index first."""
    tables = dict(frames)
    tables["dictionary"] = pl.DataFrame(list(_dictionary({**tables, "index": _index([])})))
    attached = [Attached(name, to_csv(tables[name]), tables[name].height) for name in ORDER]
    return [Attached("index", to_csv(_index(attached)), len(attached)), *attached]


def _index(attached: list[Attached]) -> pl.DataFrame:
    rows = [
        {
            "file": one.file,
            "sha256": one.sha256,
            "size_bytes": len(one.data),
            "rows": one.rows,
            "about": one.about,
        }
        for one in attached
    ]
    schema = {
        "file": pl.String,
        "sha256": pl.String,
        "size_bytes": pl.Int64,
        "rows": pl.Int64,
        "about": pl.String,
    }
    return pl.DataFrame(rows, schema=schema)


def _dictionary(tables: Mapping[str, pl.DataFrame]) -> Iterator[dict[str, str]]:
    meanings = meanings_of_audit()
    for name in ("index", *ORDER):
        if name == "dictionary":
            continue
        for column, dtype in tables[name].schema.items():
            told = meanings.get(f"{name}.{column}") or meanings[column]
            yield {
                "table": name,
                "column": column,
                "type": write_type(dtype),
                "unit": told.unit,
                "meaning": told.meaning,
            }


def write_type(dtype: pl.DataType) -> str:
    """A type as DuckDB writes it, so that a table can be read back as it was."""
    if isinstance(dtype, pl.Decimal):
        return f"DECIMAL({dtype.precision},{dtype.scale})"
    names: dict[Any, str] = {
        pl.Int32: "INTEGER",
        pl.Int64: "BIGINT",
        pl.Float64: "DOUBLE",
        pl.Boolean: "BOOLEAN",
        pl.Date: "DATE",
        pl.Time: "TIME",
    }
    if isinstance(dtype, pl.Datetime):
        return "TIMESTAMP"
    return names.get(dtype.base_type(), "VARCHAR")


@cache
def meanings_of_audit() -> Mapping[str, Meaning]:
    """Meanings of columns: the dossier's own, else those of the tables that are handed out."""
    path = Path(__file__).with_name("meanings.csv")
    with path.open(encoding="utf-8", newline="") as stream:
        own = {row["column"]: Meaning(row["unit"], row["meaning"]) for row in csv.DictReader(stream)}
    policy = {
        f"policy_spans.{entry.name}": Meaning(entry.unit or "", entry.meaning) for entry in POLICY_CATALOGUE
    }
    return {**load_meanings(), **policy, **own}
