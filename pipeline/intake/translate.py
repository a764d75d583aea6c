"""Cells of an export into typed columns in our units, with the problems beside; no input and output.

Work is done on whole columns; where a cell needs Python (exact decimals, dates in odd formats) each
different text is looked at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

import polars as pl

from pipeline.intake.days import (
    DEFAULT_MOMENT_FORMATS,
    DEFAULT_TIME_FORMATS,
    explain_moment,
    is_in_week,
    read_moments,
    read_week,
)
from pipeline.intake.header import header_key, mapped_keys, place_of
from pipeline.intake.numbers import NumberFormat, plain_pattern, read_number, read_whole
from pipeline.intake.read import ReadResult
from pipeline.intake.refused import Refused
from pipeline.intake.sheet_cells import ARMED, NUMBER_OF_POT, plain_decimal, read_clock, read_sheet_day
from pipeline.intake.translate_more import MORE_SCHEMAS, MORE_TRANSLATORS
from pipeline.settings import Export, SiteSettings
from pipeline.settings.sheet import SheetExport
from pipeline.settings.words import UNIT_OF_FIELD, WORDS_BY_FIELD

READINGS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "lot_code": pl.String(),
    "house": pl.String(),
    "bench": pl.String(),
    "position": pl.String(),
    "crop": pl.String(),
    "sampled_on": pl.Date(),
    "sampled_time": pl.Time(),
    "purpose": pl.String(),
    "pot": pl.String(),
    "n_pots": pl.Int32(),
    "ph": pl.Decimal(6, 3),
    "ph_sd": pl.Decimal(6, 3),
    "ec_ms_cm": pl.Decimal(9, 4),
    "ec_sd_ms_cm": pl.Decimal(9, 4),
    "poured_ml": pl.Decimal(8, 2),
    "leachate_ml": pl.Decimal(8, 2),
    "temperature_c": pl.Decimal(5, 2),
    "drain_min": pl.Decimal(6, 1),
    "condition": pl.String(),
    "sampler": pl.String(),
    "meter_id": pl.String(),
    "method": pl.String(),
    "note": pl.String(),
    "ec_compensated": pl.Boolean(),
    "poured_with": pl.String(),
    "poured_ec_ms_cm": pl.Decimal(9, 4),
    "due_why": pl.String(),
    "due_on": pl.Date(),
    "is_purpose_blank": pl.Boolean(),
    "cells": pl.String(),
}
LOTS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "lot_code": pl.String(),
    "house": pl.String(),
    "bench": pl.String(),
    "crop": pl.String(),
    "cultivar": pl.String(),
    "container_class": pl.String(),
    "started_on": pl.Date(),
    "start_kind": pl.String(),
    "ends_on": pl.Date(),
    "plants": pl.Int64(),
    "grower_id": pl.String(),
    "substrate": pl.String(),
    "irrigation": pl.String(),
    "feed_mode": pl.String(),
    "note": pl.String(),
    "valid_from": pl.Date(),
    "parent_code": pl.String(),
    "event": pl.String(),
    "cells": pl.String(),
}
CALIBRATIONS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "meter_id": pl.String(),
    "calibrated_on": pl.Date(),
    "calibrated_time": pl.Time(),
    "person": pl.String(),
    "slope_pct": pl.Decimal(6, 2),
    "offset_mv": pl.Decimal(6, 1),
    "buffers": pl.String(),
    "ec_standard_ms_cm": pl.Decimal(9, 4),
    "ec_found_ms_cm": pl.Decimal(9, 4),
    "passed": pl.Boolean(),
    "note": pl.String(),
    "stage": pl.String(),
    "found_4_ph": pl.Decimal(6, 3),
    "found_7_ph": pl.Decimal(6, 3),
    "found_10_ph": pl.Decimal(6, 3),
    "left_4_ph": pl.Decimal(6, 3),
    "left_7_ph": pl.Decimal(6, 3),
    "left_10_ph": pl.Decimal(6, 3),
    "buffer_4_mv": pl.Decimal(6, 1),
    "buffer_7_mv": pl.Decimal(6, 1),
    "buffer_10_mv": pl.Decimal(6, 1),
    "temperature_c": pl.Decimal(5, 2),
    "ec_left_ms_cm": pl.Decimal(9, 4),
    "solution": pl.String(),
    "solution_expires_on": pl.Date(),
    "cells": pl.String(),
}
ROW_SCHEMAS: Mapping[str, dict[str, pl.DataType]] = {
    "readings": READINGS_SCHEMA,
    "lots": LOTS_SCHEMA,
    "calibrations": CALIBRATIONS_SCHEMA,
    **MORE_SCHEMAS,
}
PROBLEMS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "field": pl.String(),
    "cell": pl.String(),
    "code": pl.String(),
    "sentence": pl.String(),
}

_BUFFER_READINGS = ("found_4", "found_7", "found_10", "left_4", "left_7", "left_10")
_YES = frozenset({"yes", "y", "true", "1", "ok", "pass", "passed"})
_NO = frozenset({"no", "n", "false", "0", "fail", "failed"})
# More pots than a greenhouse samples in a year; a figure beyond it would also burst the sums.
_MOST_POTS = 99_999
_MOST_INT64 = 2**63 - 1
_LONGEST_SHOWN = 60
_NANOSECONDS_IN_MINUTE = 60_000_000_000
_BETWEEN = "\x1f"  # stands between week and year; no sheet has it in a cell


@dataclass(frozen=True)
class Translated:
    """`rows`: one per data record, typed; a record that could not be read has only its record_no.

    `problems`: record_no, field, cell (as it stands, trimmed), code (``date_unreadable``, ``days_disagree``,
    ``number_unreadable``, ``value_unknown``, ``week_unreadable``, ``missing``, ``nothing_measured``,
    ``drain_backwards``, and of a sheet ``sheet_day``, ``sheet_word``, ``other_site``) and sentence.  A sentence
    starts at the cell: whoever prints it puts file name and line number before it.
    """

    rows: pl.DataFrame
    problems: pl.DataFrame


def translate(result: ReadResult, export: Export, site: SiteSettings) -> Translated:
    """Translate the records of one file; what is wrong in a cell becomes a problem, never an exception."""
    sheet = _Sheet(result, export, site)
    columns = _TRANSLATORS[export.kind](sheet)
    schema = ROW_SCHEMAS[export.kind]
    typed = pl.DataFrame(
        [
            sheet.record_no,
            *(columns[name].rename(name) for name in schema if name not in ("record_no", "cells")),
        ]
    ).with_columns(sheet.cells_as_json().alias("cells"))
    data = result.records.filter(pl.col("kind") == "data").select("record_no")
    rows = data.join(typed, on="record_no", how="left", maintain_order="left").cast(schema)  # type: ignore[arg-type]
    return Translated(rows.select(list(schema)), sheet.all_problems())


@dataclass(frozen=True)
class _Numeric:
    """What a numeric field keeps: digits before and after the point, and a good value as an example.

    `own_unit`: the one unit that a field without a choice of units is in; `fractions`: ``1/2`` is a figure.
    """

    digits: int
    decimals: int
    example: str
    own_unit: str | None = None
    fractions: bool = False


_NUMERIC: Mapping[str, _Numeric] = {
    "ph": _Numeric(3, 3, "5.8"),
    "ph_sd": _Numeric(3, 3, "0.2"),
    "ec": _Numeric(5, 4, "1.85"),
    "ec_sd": _Numeric(5, 4, "0.35"),
    "poured": _Numeric(6, 2, "75", fractions=True),
    "poured_ec": _Numeric(5, 4, "0.35"),
    "leachate": _Numeric(6, 2, "50", fractions=True),
    "temperature": _Numeric(3, 2, "21.5"),
    "drain": _Numeric(5, 1, "45", own_unit="min", fractions=True),
    "slope": _Numeric(4, 2, "98.5", own_unit="%"),
    "offset": _Numeric(5, 1, "-12.5", own_unit="mv"),
    "ec_standard": _Numeric(5, 4, "1.413"),
    "ec_found": _Numeric(5, 4, "1.41"),
    "ec_left": _Numeric(5, 4, "1.41"),
    **{f"{when}_{buffer}": _Numeric(3, 3, "4.02") for when in ("found", "left") for buffer in (4, 7, 10)},
    **{f"mv_{buffer}": _Numeric(5, 1, "-172.5", own_unit="mv") for buffer in (4, 7, 10)},
    "target_ec": _Numeric(5, 4, "1.9"),
    "alkalinity": _Numeric(6, 2, "120"),
    "nitrogen": _Numeric(6, 2, "150", own_unit="ppm"),
    "n_pots": _Numeric(10, 0, "5"),
    "plants": _Numeric(19, 0, "5"),
}


# Of pH and EC a figure below 0 is held by a rule of its own, which says more.
_NEVER_BELOW_0: Final = frozenset(
    ("ph_sd", "ec_sd", "poured", "poured_ec", "leachate", "drain", "target_ec", "alkalinity", "nitrogen")
)


@dataclass
class _Sheet:
    """The cells of one file by field, and the problems found so far."""

    result: ReadResult
    export: Export
    site: SiteSettings
    _problems: list[pl.DataFrame] = field(default_factory=list)

    @property
    def record_no(self) -> pl.Series:
        return self.result.cells["record_no"]

    def raw(self, name: str) -> pl.Series | None:
        """The cells of a field as they stand, or None where the export does not have it."""
        column = self.export.columns.get(name)
        if column is None or self.result.header is None:
            return None
        at = place_of(self.result.header, column)
        cells = self.result.cells
        return cells[f"c{at}"].alias(name) if at is not None and f"c{at}" in cells.columns else None

    def trimmed(self, name: str) -> pl.Series:
        """The cells of a field without blanks around them; null where blank or not in the export."""
        raw = self.raw(name)
        if raw is None:
            return self.blank(name)
        text = raw.str.strip_chars()
        return text.set(text == "", None)

    def text(self, name: str) -> pl.Series:
        """Trimmed cells with the export's own words replaced by ours."""
        cells = self.trimmed(name)
        if isinstance(self.export, SheetExport):
            cells = cells.str.replace(ARMED, "$1")
        words = {_word_key(found): ours.strip() for found, ours in self.export.values.get(name, {}).items()}
        if not words:
            return cells
        texts = cells.drop_nulls().unique()
        ours = [words.get(_word_key(text), text) or None for text in texts]
        return _look_up(cells, texts, pl.Series(ours, dtype=pl.String))

    def blank(self, name: str, dtype: pl.DataType | None = None) -> pl.Series:
        return pl.Series(name, [None] * self.record_no.len(), dtype=dtype or pl.String())

    def convert(
        self,
        name: str,
        cells: pl.Series,
        code: str,
        dtype: pl.DataType,
        read: Callable[[str], object],
    ) -> pl.Series:
        """Convert each different text once; `read` returns the value, or why not."""
        texts = cells.drop_nulls().unique()
        outcomes = [read(text) for text in texts]
        values = pl.Series([None if isinstance(one, Refused) else one for one in outcomes], dtype=dtype)
        reasons = pl.Series(
            [one.reason if isinstance(one, Refused) else None for one in outcomes], dtype=pl.String
        )
        if reasons.null_count() < len(reasons):
            self.report(name, code, _look_up(cells, texts, reasons))
        return _look_up(cells, texts, values)

    def report(self, name: str, code: str, reasons: pl.Series) -> None:
        """Add a problem for each row that has a reason; the sentence names column and cell before it."""
        frame = pl.DataFrame(
            [
                self.record_no,
                self.trimmed(name).alias("cell"),
                reasons.alias("reason"),
            ]
        ).filter(pl.col("reason").is_not_null())
        title = self.title(name)
        sentences = [
            f"{title} {_quoted(cell)} {reason}" for cell, reason in frame.select("cell", "reason").iter_rows()
        ]
        self._add(frame["record_no"], name, frame["cell"].fill_null(""), code, sentences)

    def report_rows(self, name: str, code: str, where: pl.Series, sentence: str) -> None:
        """Add the same problem, about a blank cell, for each row that is marked."""
        numbers = self.record_no.filter(where)
        self._add(
            numbers, name, pl.Series([""] * len(numbers), dtype=pl.String), code, [sentence] * len(numbers)
        )

    def _add(self, numbers: pl.Series, name: str, cells: pl.Series, code: str, sentences: list[str]) -> None:
        if numbers.is_empty():
            return
        self._problems.append(
            pl.DataFrame(
                {
                    "record_no": numbers,
                    "field": [name] * len(numbers),
                    "cell": cells,
                    "code": [code] * len(numbers),
                    "sentence": sentences,
                },
                schema=PROBLEMS_SCHEMA,
            )
        )

    def all_problems(self) -> pl.DataFrame:
        if not self._problems:
            return pl.DataFrame(schema=PROBLEMS_SCHEMA)
        return pl.concat(self._problems).sort("record_no", maintain_order=True)

    def title(self, name: str) -> str:
        """The column's header as the site writes it."""
        column = self.export.columns.get(name)
        return name if column is None else " ".join(column.column.split())

    def cells_as_json(self) -> pl.Series:
        """The mapped cells of each record as they stand: a JSON object by field."""
        raw = [cells for name in self.export.columns if (cells := self.raw(name)) is not None]
        if not raw or self.record_no.is_empty():
            return self.blank("cells")
        return pl.DataFrame(raw).select(pl.struct(pl.all()).struct.json_encode()).to_series()

    def form(self, name: str) -> NumberFormat:
        """How this export writes a numeric field and how it is kept."""
        kept, export, column = _NUMERIC[name], self.export, self.export.columns.get(name)
        return NumberFormat(
            export.decimal,
            kept.digits,
            kept.decimals,
            kept.example,
            thousands=export.thousands,
            marks=export.number_marks,
            quantity=UNIT_OF_FIELD.get(name),
            unit=None if column is None else column.unit,
            own_unit=kept.own_unit,
            fractions=kept.fractions,
            is_settable=not isinstance(export, SheetExport),
            has_minus_zero=name != "ph",
            has_negatives=name not in _NEVER_BELOW_0,
        )

    def number(self, name: str) -> pl.Series:
        """A numeric field: figures that need no second look as a whole column, each odd one by itself."""
        form = self.form(name)
        dtype = pl.Decimal(form.digits + form.decimals, form.decimals)
        cells = self.text(name)
        if isinstance(self.export, SheetExport):
            return self.convert(
                name, cells, "number_unreadable", dtype, lambda text: _read_either(text, form)
            )
        if not form.conversion.is_identity:
            return self.convert(name, cells, "number_unreadable", dtype, lambda text: read_number(text, form))
        is_plain = cells.str.contains(plain_pattern(form)).fill_null(value=False)
        plain = cells.set(~is_plain, None).str.replace(form.decimal, ".", literal=True).cast(dtype)
        if (is_plain | cells.is_null()).all():
            return plain
        odd = cells.set(is_plain, None)
        return _first_known(
            plain,
            self.convert(name, odd, "number_unreadable", dtype, lambda text: read_number(text, form)),
        )

    def whole(self, name: str, least: int, most: int, dtype: pl.DataType) -> pl.Series:
        form = self.form(name)
        return self.convert(
            name,
            self.text(name),
            "number_unreadable",
            dtype,
            lambda text: read_whole(text, form, least, most),
        )

    def note(self) -> pl.Series:
        """The note, with what stands in unmapped columns behind it where the settings ask for that."""
        note = self.text("note")
        if self.export.extra_columns != "note" or self.result.header is None:
            return note
        mapped = mapped_keys(self.export)
        parts = [note]
        for at, header in enumerate(self.result.header):
            if header_key(header) in mapped or f"c{at}" not in self.result.cells.columns:
                continue
            cell = self.result.cells[f"c{at}"].str.strip_chars()
            # A column without a header is named by its place.
            named = " ".join(header.split()) or f"column {at + 1}"
            parts.append(pl.select(pl.when(cell != "").then(pl.lit(f"{named}: ") + cell)).to_series())
        joined = pl.select(pl.concat_str(parts, separator="; ", ignore_nulls=True)).to_series()
        return joined.set(joined == "", None)

    def word(self, name: str) -> pl.Series:
        """A field that must end up as one of our words."""
        known = {_word_key(word): word for word in WORDS_BY_FIELD[name]}
        is_sheet = isinstance(self.export, SheetExport)
        mend = "" if is_sheet else f", or say what it means under [export.values.{name}] in site.toml"
        refused = Refused(f"is none of {', '.join(WORDS_BY_FIELD[name])}; write one of them{mend}")
        return self.convert(
            name,
            self.text(name),
            "sheet_word" if is_sheet else "value_unknown",
            pl.String(),
            lambda text: known.get(_word_key(text), refused),
        )

    def truth(self, name: str) -> pl.Series:
        refused = Refused(
            f"is neither yes nor no; write one of them, or say what it means under [export.values.{name}] "
            "in site.toml"
        )

        def read(text: str) -> bool | Refused:
            key = text.casefold()
            return True if key in _YES else False if key in _NO else refused

        return self.convert(name, self.text(name), "value_unknown", pl.Boolean(), read)

    def moments(self, name: str, formats: tuple[str, ...], what: str) -> pl.Series:
        """Local moments by the export's format; `what` is what the cell should be, for the message."""
        cells = self.text(name)
        texts = cells.drop_nulls().unique()
        moments = read_moments(texts, formats, self.site.time_zone)
        if moments.null_count():
            reasons = pl.Series(
                [
                    explain_moment(text, formats, what) if moment is None else None
                    for text, moment in zip(texts, moments, strict=True)
                ],
                dtype=pl.String,
            )
            self.report(name, "date_unreadable", _look_up(cells, texts, reasons))
        return _look_up(cells, texts, moments)

    def days(self, name: str) -> pl.Series:
        if isinstance(self.export, SheetExport):
            order = self.export.day_order
            return self.convert(
                name, self.text(name), "sheet_day", pl.Date(), lambda text: read_sheet_day(text, order)
            )
        return self.moments(name, (self.export.date_format,), "date").dt.date()

    def clock(self, name: str) -> pl.Series:
        """Times of day as people write them, whatever the export's format."""
        return self.convert(name, self.text(name), "date_unreadable", pl.Time(), read_clock)

    def times(self, name: str) -> pl.Series:
        if isinstance(self.export, SheetExport):
            return self.clock(name)
        formats = (self.export.time_format,) if self.export.time_format else DEFAULT_TIME_FORMATS
        return self.moments(name, formats, "time").dt.time()

    def day_and_time(self) -> tuple[pl.Series, pl.Series]:
        """Day and time of day from `date`, `datetime` or `week` (in this order) and `time` or `datetime`."""
        form = self.export.datetime_format
        moments = self.moments("datetime", (form,) if form else DEFAULT_MOMENT_FORMATS, "date with a time")
        days, weeks, times = self.days("date"), self._week_days(), self.times("time")
        day = _first_known(days, moments.dt.date(), weeks)
        time = _first_known(times, moments.dt.time())
        self._say_other_days(days, moments)
        self._say_other_times(times, moments)
        self._say_other_weeks(_first_known(days, moments.dt.date()), weeks)
        dated = [name for name in ("date", "datetime", "week") if name in self.export.columns]
        nothing = _all_blank([self.trimmed(name) for name in dated])
        if dated:
            self.report_rows(
                dated[0],
                "missing",
                nothing,
                f'the column "{self.title(dated[0])}" is blank; write the date in it',
            )
        return day, time

    def _say_other_days(self, days: pl.Series, moments: pl.Series) -> None:
        """Report a date beside a time stamp of another day: one of the two is wrong, and nobody knows which."""
        differ = (days != moments.dt.date()).fill_null(value=False)
        self._report_pairs("date", "datetime", differ, "name different days")

    def _say_other_times(self, times: pl.Series, moments: pl.Series) -> None:
        """Report a time of day beside a time stamp of another minute; seconds are often left out in one of them."""
        theirs = moments.dt.time()
        differ = (times.dt.hour() != theirs.dt.hour()) | (times.dt.minute() != theirs.dt.minute())
        self._report_pairs("time", "datetime", differ.fill_null(value=False), "name different times")

    def _say_other_weeks(self, days: pl.Series, weeks: pl.Series) -> None:
        """Report a day that is not in the week beside it."""
        beside = pl.DataFrame(
            {"week": self.text("week"), "year": self.text("year").fill_null(""), "day": days}
        )
        both = beside.filter(days.is_not_null() & weeks.is_not_null()).unique(maintain_order=True)
        rule, starts = self.export.week_rule, self.export.week_starts
        outside = [not is_in_week(week, year, day, rule, starts) for week, year, day in both.iter_rows()]
        wrong = both.with_columns(pl.Series("is_wrong", outside, dtype=pl.Boolean))
        differ = beside.join(wrong, on=["week", "year", "day"], how="left", maintain_order="left")
        dated = self.trimmed("date")
        is_wrong = differ["is_wrong"].fill_null(value=False)
        self._report_pairs(
            "date", "week", is_wrong & dated.is_not_null(), "do not go together: the day is not in that week"
        )
        self._report_pairs(
            "datetime", "week", is_wrong & dated.is_null(), "do not go together: the day is not in that week"
        )

    def _report_pairs(self, first: str, second: str, differ: pl.Series, what: str) -> None:
        """Add a problem for each marked row that names both of its cells."""
        if not differ.any():
            return
        others = self.trimmed(second)
        reasons = [
            f"and {self.title(second)} {_quoted(other)} {what}; correct one of them" if is_other else None
            for other, is_other in zip(others, differ, strict=True)
        ]
        self.report(first, "days_disagree", pl.Series(reasons, dtype=pl.String))

    def _week_days(self) -> pl.Series:
        if "week" not in self.export.columns:
            return self.blank("week", pl.Date())
        both = pl.select(
            pl.concat_str(self.text("week"), self.text("year").fill_null(""), separator=_BETWEEN)
        )

        def read(text: str) -> object:
            week, year = text.split(_BETWEEN, 1)
            export = self.export
            return read_week(week, year, export.week_day, export.week_rule, export.week_starts)

        return self.convert("week", both.to_series(), "week_unreadable", pl.Date(), read)

    def need(self, name: str, why: str) -> None:
        """A blank cell of a field that the kind cannot do without is a problem."""
        if name in self.export.columns:
            sentence = f'the column "{self.title(name)}" is blank; {why}'
            self.report_rows(name, "missing", self.trimmed(name).is_null(), sentence)


def _readings(sheet: _Sheet) -> dict[str, pl.Series]:
    day, time = sheet.day_and_time()
    places = [name for name in ("lot", "house") if name in sheet.export.columns]
    if places:
        named = " or ".join(f'"{sheet.title(name)}"' for name in places)
        sentence = f"the column {named} is blank; write which lot was sampled, or the house that it stands in"
        nowhere = _all_blank([sheet.trimmed(name) for name in places])
        sheet.report_rows(places[0], "missing", nowhere, sentence)
    measured = [name for name in ("ph", "ec") if name in sheet.export.columns]
    if measured:
        sentence = "neither pH nor EC is given; enter what was measured, or take the line out"
        sheet.report_rows(
            measured[0], "nothing_measured", _all_blank([sheet.trimmed(name) for name in measured]), sentence
        )
    default_method = sheet.site.extraction_method
    method = sheet.word("method")
    purpose = sheet.word("purpose")
    is_sheet = isinstance(sheet.export, SheetExport)
    if is_sheet:
        _check_site(sheet)
    return {
        "lot_code": sheet.text("lot"),
        "house": sheet.text("house"),
        "bench": sheet.text("bench"),
        "position": sheet.text("position"),
        "crop": sheet.text("crop"),
        "sampled_on": day,
        "sampled_time": time,
        "purpose": purpose.fill_null("routine"),
        "pot": sheet.text("pot").str.replace(NUMBER_OF_POT, "$1") if is_sheet else sheet.text("pot"),
        "n_pots": sheet.whole("n_pots", 1, _MOST_POTS, pl.Int32()).fill_null(1),
        "ph": sheet.number("ph"),
        "ph_sd": sheet.number("ph_sd"),
        "ec_ms_cm": sheet.number("ec"),
        "ec_sd_ms_cm": sheet.number("ec_sd"),
        "poured_ml": sheet.number("poured"),
        "leachate_ml": sheet.number("leachate"),
        "temperature_c": sheet.number("temperature"),
        "drain_min": _first_known(sheet.number("drain"), _drained(sheet)),
        "condition": sheet.word("condition"),
        "sampler": sheet.text("sampler"),
        "meter_id": sheet.text("meter"),
        "method": method if default_method is None else method.fill_null(default_method),
        "note": sheet.note(),
        "ec_compensated": pl.Series([sheet.export.ec_compensated], dtype=pl.Boolean).new_from_index(
            0, len(sheet.record_no)
        ),
        "poured_with": sheet.word("poured_with"),
        "poured_ec_ms_cm": sheet.number("poured_ec"),
        "due_why": sheet.text("due_why"),
        "due_on": sheet.days("due_on"),
        "is_purpose_blank": purpose.is_null() if is_sheet else sheet.blank("purpose", pl.Boolean()),
    }


def _check_site(sheet: _Sheet) -> None:
    """A sheet of another site that was dropped here: its lots may have the names of this site's."""
    site = sheet.site
    refused = Refused(f"is another site than this one, {site.id}; drop the sheet at its own site")
    names = {_word_key(site.id), _word_key(site.name)}
    sheet.convert(
        "site",
        sheet.text("site"),
        "other_site",
        pl.String(),
        lambda text: text if _word_key(text) in names else refused,
    )


def _drained(sheet: _Sheet) -> pl.Series:
    """Minutes from the end of irrigation to pouring, where both are written; a day has no other side of midnight."""
    start, end = sheet.clock("drain_start"), sheet.clock("drain_end")
    minutes = pl.select((end.cast(pl.Int64) - start.cast(pl.Int64)) / _NANOSECONDS_IN_MINUTE).to_series()
    is_backwards = (minutes < 0).fill_null(value=False)
    if is_backwards.any():
        starts = sheet.trimmed("drain_start")
        reasons = [
            f"is before {sheet.title('drain_start')} {_quoted(begun)}; correct one of the two, or leave both blank"
            if is_wrong
            else None
            for begun, is_wrong in zip(starts, is_backwards, strict=True)
        ]
        sheet.report("drain_end", "drain_backwards", pl.Series(reasons, dtype=pl.String))
    return minutes.set(is_backwards, None).round(1).cast(pl.Decimal(6, 1)).alias("drain")


def _lots(sheet: _Sheet) -> dict[str, pl.Series]:
    sheet.need("lot", "write the lot's code in it")
    sheet.need("crop", "write which crop the lot is")
    sheet.need("container", "write the lot's container size, because volumes and intervals hang on it")
    sheet.need("started", "write the day on which the lot was sown, stuck, potted or transplanted")
    return {
        "lot_code": sheet.text("lot"),
        "house": sheet.text("house"),
        "bench": sheet.text("bench"),
        "crop": sheet.text("crop"),
        "cultivar": sheet.text("cultivar"),
        "container_class": sheet.word("container"),
        "started_on": sheet.days("started"),
        "start_kind": sheet.word("start_kind"),
        "ends_on": sheet.days("ends"),
        "plants": sheet.whole("plants", 0, _MOST_INT64, pl.Int64()),
        "grower_id": _grower_ids(sheet),
        "substrate": sheet.text("substrate"),
        "irrigation": sheet.text("irrigation"),
        "feed_mode": sheet.word("feed_mode"),
        "note": sheet.note(),
        "valid_from": sheet.days("valid_from"),
        "parent_code": sheet.text("parent"),
        "event": sheet.word("event"),
    }


def _calibrations(sheet: _Sheet) -> dict[str, pl.Series]:
    sheet.need("meter", "write which meter was calibrated")
    day, time = sheet.day_and_time()
    return {
        "meter_id": sheet.text("meter"),
        "calibrated_on": day,
        "calibrated_time": time,
        "person": sheet.text("person"),
        "slope_pct": sheet.number("slope"),
        "offset_mv": sheet.number("offset"),
        "buffers": sheet.text("buffers"),
        "ec_standard_ms_cm": sheet.number("ec_standard"),
        "ec_found_ms_cm": sheet.number("ec_found"),
        "passed": sheet.truth("passed"),
        "note": sheet.note(),
        "stage": sheet.word("stage"),
        **{f"{name}_ph": sheet.number(name) for name in _BUFFER_READINGS},
        **{f"buffer_{buffer}_mv": sheet.number(f"mv_{buffer}") for buffer in (4, 7, 10)},
        "temperature_c": sheet.number("temperature"),
        "ec_left_ms_cm": sheet.number("ec_left"),
        "solution": sheet.text("solution"),
        "solution_expires_on": sheet.days("solution_expires"),
    }


_TRANSLATORS: Mapping[str, Callable[[_Sheet], dict[str, pl.Series]]] = {
    "readings": _readings,
    "lots": _lots,
    "calibrations": _calibrations,
    **MORE_TRANSLATORS,
}


def _grower_ids(sheet: _Sheet) -> pl.Series:
    """Sites write a grower's id or name; one that the settings do not know stays as it is written."""
    cells = sheet.text("grower")
    by_key = {key: grower.id for grower in sheet.site.growers for key in (_word_key(grower.name), grower.id)}
    texts = cells.drop_nulls().unique()
    ids = pl.Series([by_key.get(_word_key(text), text) for text in texts], dtype=pl.String)
    return _look_up(cells, texts, ids)


def _read_either(text: str, form: NumberFormat) -> Decimal | Refused:
    """A figure with a decimal point or a decimal comma, whichever its own cell has."""
    plain = plain_decimal(text, is_volume=form.quantity == "volume")
    return plain if isinstance(plain, Refused) else read_number(plain, form)


def _look_up(cells: pl.Series, texts: pl.Series, values: pl.Series) -> pl.Series:
    """The value of each cell, where `values` go with the different `texts`; null stays null."""
    if texts.is_empty():
        return pl.Series(cells.name, [None] * len(cells), dtype=values.dtype)
    table = pl.DataFrame([texts.alias("text"), values.alias("value")])
    return cells.to_frame("text").join(table, on="text", how="left", maintain_order="left")["value"]


def _first_known(*columns: pl.Series) -> pl.Series:
    return pl.select(pl.coalesce(list(columns))).to_series()


def _all_blank(columns: list[pl.Series]) -> pl.Series:
    return pl.select(pl.all_horizontal([column.is_null() for column in columns])).to_series()


def _word_key(text: str) -> str:
    """Words compare trimmed and without regard to case, blanks, hyphens and underscores."""
    return " ".join(text.replace("_", " ").replace("-", " ").split()).casefold()


def _quoted(cell: str | None) -> str:
    """A cell as a message shows it: on one line, not longer than a message bears."""
    text = " ".join((cell or "").split())
    shown = text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1] + "…"
    return f'"{shown}"'
