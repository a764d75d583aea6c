"""From a file's bytes to what the warehouse loads: read, translate, sift. Pure, so any executor can map it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from datetime import date, datetime
from itertools import groupby

import polars as pl

from pipeline.checks.sift import sift
from pipeline.intake.collect import CollectedFile, Listing, plan_collection
from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.translate import translate
from pipeline.settings import Export, PolicyInForce, SiteSettings
from pipeline.warehouse.load import FileFacts, NewFile

_NAME_DATE = re.compile(r"(?<!\d)(20\d{2})-?([01]\d)-?([0-3]\d)(?!\d)")


def order_files(files: Sequence[CollectedFile]) -> list[CollectedFile]:
    """Files of a night in the order in which they rule: date in the name, else time of change, then name."""
    return sorted(files, key=lambda file: (_ruling_day(file), file.modified_at, file.name))


def _ruling_day(file: CollectedFile) -> date:
    for year, month, day in _NAME_DATE.findall(file.name):
        try:
            return date(int(year), int(month), int(day))
        except ValueError:
            continue
    return file.modified_at.date()


def digest_reading(export: Export, site: SiteSettings, policy: Sequence[PolicyInForce]) -> str:
    """What of the settings the reading of a file hangs on, as one short text; where it changes, read again."""
    limits = groupby(policy, key=lambda span: span.values.ec_highest_ms_cm)
    parts = [
        export.model_dump_json(),
        site.model_dump_json(include={"extraction_method", "time_zone", "growers"}),
        *(f"{next(spans).valid_from} {limit}" for limit, spans in limits),
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def find_export(site: SiteSettings, kind: str, name: str) -> int | None:
    """Number (from 1) of the export of this kind that takes a file of this name today; None if none does."""
    listing = Listing(names=[name], folders=[], troubles=[])
    claims = plan_collection(site.exports, listing).claims
    return next((one.export_no for one in claims if site.exports[one.export_no - 1].kind == kind), None)


def receive(
    file: CollectedFile, export: Export, site: SiteSettings, policy: Sequence[PolicyInForce]
) -> NewFile:
    """Read one file in its export's dialect; whatever its bytes, every physical line is in one record."""
    result = read_records(file.data, export)
    translated = translate(result, export, site)
    problems = pl.concat(
        [
            _reading_problems(result),
            translated.problems.select("record_no", "code", "field", "cell", "sentence"),
            sift(translated, export, policy).select(
                "record_no",
                "code",
                pl.lit(None, dtype=pl.String).alias("field"),
                pl.lit(None, dtype=pl.String).alias("cell"),
                pl.col("detail").alias("sentence"),
            ),
        ]
    )
    facts = _facts(file, export, result, digest_reading(export, site, policy))
    return NewFile(facts, result.records, translated.rows, problems)


def _reading_problems(result: ReadResult) -> pl.DataFrame:
    """Records that are broken as lines; a problem of the whole file is not repeated for each."""
    broken = result.records.filter(pl.col("problem").is_not_null() & (pl.col("kind") == "data"))
    if result.file_problem is not None:
        broken = broken.filter(pl.col("problem") != result.file_problem.code)
    return broken.select(
        "record_no",
        pl.col("problem").alias("code"),
        pl.lit(None, dtype=pl.String).alias("field"),
        pl.lit(None, dtype=pl.String).alias("cell"),
        pl.coalesce("problem_detail", "problem").alias("sentence"),
    )


def _facts(file: CollectedFile, export: Export, result: ReadResult, reading_digest: str) -> FileFacts:
    problem = result.file_problem
    return FileFacts(
        site_id=file.site_id,
        kind=file.kind,
        export_no=file.export_no,
        mode=export.mode,
        numbers_pots=export.numbers_pots,
        name=file.name,
        sha256=file.sha256,
        size_bytes=file.size,
        modified_at=_plain(file.modified_at),
        lines=result.lines,
        problem=None if problem is None else problem.code,
        problem_sentence=None if problem is None else problem.sentence,
        problem_mend=None if problem is None else problem.mend,
        reading_digest=reading_digest,
    )


def _plain(moment: datetime) -> datetime:
    return moment.replace(microsecond=0)
