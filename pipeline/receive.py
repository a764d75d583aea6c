"""From a file's bytes to what the warehouse loads: read, translate, sift. Pure, so any executor can map it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import groupby

import polars as pl

from pipeline.checks.sift import sift
from pipeline.intake.collect import CollectedFile, Listing, plan_collection
from pipeline.intake.known import KNOWN_SCHEMA, add_content, find_known, lay_out, no_lines, number_equal_texts
from pipeline.intake.name_day import day_in_name
from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.sheet_files import fit_sheet
from pipeline.intake.translate import translate
from pipeline.settings import Export, PolicyInForce, SiteSettings
from pipeline.settings.sheet import is_sheet, read_export
from pipeline.warehouse.load import FileFacts, NewFile, ReadFile


def order_files(files: Sequence[CollectedFile], site: SiteSettings | None = None) -> list[CollectedFile]:
    """Files of a night in the order in which they rule: day in the name, else time of change, then name.

    `site`: whose files they are; a name like 02.04.2026 puts day or month first as the dates of its export do, else
    those of the site.
    """
    return sorted(files, key=lambda file: (_ruling_day(file, site), file.modified_at, file.name))


def name_days(files: Sequence[ReadFile], sites: Sequence[SiteSettings]) -> pl.DataFrame:
    """The day in the name of each file of the warehouse: file_id, named_day (null where it names none)."""
    by_id = {site.id: site for site in sites}
    days = [(file.file_id, _named_day(file, by_id.get(file.site_id))) for file in files]
    return pl.DataFrame(days, schema={"file_id": pl.Int32, "named_day": pl.Date}, orient="row")


def _named_day(file: ReadFile, site: SiteSettings | None) -> date | None:
    if site is None or file.export_no > len(site.exports):
        return day_in_name(file.name, [])
    return day_in_name(file.name, _date_formats(read_export(site, file.export_no), site))


def _ruling_day(file: CollectedFile, site: SiteSettings | None) -> date:
    formats = [] if site is None else _date_formats(read_export(site, file.export_no), site)
    return day_in_name(file.name, formats) or file.modified_at.date()


def _date_formats(export: Export, site: SiteSettings) -> list[str]:
    """What says whether the day or the month stands first in the names of an export's files."""
    return [form for form in (export.date_format, export.datetime_format, site.date_format) if form]


def digest_reading(export: Export, site: SiteSettings, policy: Sequence[PolicyInForce]) -> str:
    """What of the settings the reading of a file hangs on, as one short text; where it changes, read again."""
    limits = groupby(policy, key=lambda span: span.values.ec_highest_ms_cm)
    parts = [
        export.model_dump_json(),
        # Words for totals that the site states count for more than the same words by default.
        *(("total_words stated",) if "total_words" in export.model_fields_set else ()),
        site.model_dump_json(include={"extraction_method", "time_zone"}),
        # Whom a line names is told by id and name; where their mail goes says nothing of a file.
        *(f"{grower.id} {grower.name}" for grower in site.growers if "grower" in export.columns),
        *(f"{next(spans).valid_from} {limit}" for limit, spans in limits),
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def find_export(site: SiteSettings, kind: str, name: str, export_no: int) -> int | None:
    """Number of the export of this kind that takes a file of this name today; None if none does.

    `export_no`: the number under which the file came. A sheet is one by its header, under any settings.
    """
    if is_sheet(export_no):
        return export_no
    listing = Listing(names=[name], folders=[], troubles=[])
    claims = plan_collection(site.exports, listing).claims
    return next((one.export_no for one in claims if site.exports[one.export_no - 1].kind == kind), None)


@dataclass(frozen=True, slots=True)
class Before:
    """What the files before one mean for it.

    `file_id`: the number that the file has or will have. `known`: lines of the same export read under the same settings
    (see intake.known). `header`: the header of the newest readable file before it of its site, kind and export.
    """

    file_id: int = 1
    known: pl.DataFrame = field(default_factory=no_lines)
    header: list[str] | None = None


def receive(
    file: CollectedFile,
    export: Export,
    site: SiteSettings,
    policy: Sequence[PolicyInForce],
    before: Before | None = None,
) -> NewFile:
    """Read one file in its export's dialect; whatever its bytes, every physical line is in one record.

    Lines that `before` knows are only counted as repeated; the rest is translated and sifted.
    """
    before = before or Before()
    # What the reading hangs on are the settings; the dialect of a sheet is in its bytes.
    digest = digest_reading(export, site, policy)
    export = fit_sheet(export, site, file.data)
    result = read_records(file.data, export, earlier_header=before.header)
    layout = lay_out(result.header, export) if result.header and result.file_problem is None else None
    if layout is not None:
        result = replace(result, records=add_content(result, export))
    repeated = _repeated(result, layout, before)
    fresh = _without(result, repeated["record_no"])
    translated = translate(fresh, export, site)
    problems = pl.concat(
        [
            _reading_problems(fresh),
            translated.problems.select("record_no", "code", "field", "cell", "sentence"),
            sift(translated, export, policy, repeated.select("ph", "ec_ms_cm")).select(
                "record_no",
                "code",
                pl.lit(None, dtype=pl.String).alias("field"),
                pl.lit(None, dtype=pl.String).alias("cell"),
                pl.col("detail").alias("sentence"),
            ),
        ]
    )
    facts = _facts(file, export, result, digest)
    same_as = repeated.select(
        "record_no",
        pl.col("file_id").alias("same_as_file_id"),
        pl.col("first_record_no").cast(pl.Int32).alias("same_as_record_no"),
    )
    return NewFile(replace(facts, layout=layout), result.records, translated.rows, problems, same_as)


def add_known(known: pl.DataFrame, new: NewFile, file_id: int) -> pl.DataFrame:
    """The known lines with those that this file brought first."""
    if new.facts.layout is None:
        return known
    data = number_equal_texts(new.records).filter(pl.col("kind") == "data")
    first = data.join(new.same_as, on="record_no", how="anti") if new.same_as is not None else data
    figures = [name for name in ("ph", "ec_ms_cm") if name in new.rows.columns]
    lines = first.join(new.rows.select("record_no", *figures), on="record_no", how="left").with_columns(
        pl.lit(new.facts.layout).alias("layout"),
        pl.lit(file_id).alias("file_id"),
        *(pl.lit(None).alias(name) for name in ("ph", "ec_ms_cm") if name not in figures),
    )
    return pl.concat([known, lines.select(list(KNOWN_SCHEMA)).cast(KNOWN_SCHEMA)])  # type: ignore[arg-type]


def _repeated(result: ReadResult, layout: str | None, before: Before) -> pl.DataFrame:
    known = before.known if layout is not None else no_lines()
    return find_known(number_equal_texts(result.records), layout or "", known, before.file_id)


def _without(result: ReadResult, numbers: pl.Series) -> ReadResult:
    """The file without these records, for the steps that look at one record after the other."""
    if numbers.is_empty():
        return result
    left_out = numbers.to_frame("record_no")
    return replace(
        result,
        records=result.records.join(left_out, on="record_no", how="anti", maintain_order="left"),
        cells=result.cells.join(left_out, on="record_no", how="anti", maintain_order="left"),
    )


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
        header=None if result.header is None else json.dumps(result.header, ensure_ascii=False),
        extra_columns=None if result.header is None else json.dumps(result.extra, ensure_ascii=False),
    )


def _plain(moment: datetime) -> datetime:
    return moment.replace(microsecond=0)
