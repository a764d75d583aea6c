"""Cells of treatments, feed checks, exemptions, planting lists and lists of people into typed columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    # translate has these translators in its table, so it is not imported while the program runs
    from pipeline.intake.translate import _Sheet as Sheet

_MOST_INT64 = 2**63 - 1

TREATMENTS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "lot_code": pl.String(),
    "house": pl.String(),
    "bench": pl.String(),
    "crop": pl.String(),
    "treated_on": pl.Date(),
    "treated_time": pl.Time(),
    "treatment": pl.String(),
    "product": pl.String(),
    "rate": pl.String(),
    "person": pl.String(),
    "note": pl.String(),
    "cells": pl.String(),
}
FEED_CHECKS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "checked_on": pl.Date(),
    "checked_time": pl.Time(),
    "place": pl.String(),
    "house": pl.String(),
    "injector": pl.String(),
    "ec_ms_cm": pl.Decimal(9, 4),
    "temperature_c": pl.Decimal(5, 2),
    "ph": pl.Decimal(6, 3),
    "alkalinity_mg_l": pl.Decimal(8, 2),
    "nitrogen_ppm": pl.Decimal(8, 2),
    "target_ec_ms_cm": pl.Decimal(9, 4),
    "person": pl.String(),
    "note": pl.String(),
    "ec_compensated": pl.Boolean(),
    "cells": pl.String(),
}
EXEMPTIONS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "lot_code": pl.String(),
    "house": pl.String(),
    "bench": pl.String(),
    "crop": pl.String(),
    "purpose": pl.String(),
    "from_on": pl.Date(),
    "until_on": pl.Date(),
    "reason": pl.String(),
    "person": pl.String(),
    "entered_on": pl.Date(),
    "note": pl.String(),
    "cells": pl.String(),
}
PLANTINGS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "lot_code": pl.String(),
    "crop": pl.String(),
    "cultivar": pl.String(),
    "house": pl.String(),
    "bench": pl.String(),
    "planted_on": pl.Date(),
    "ships_on": pl.Date(),
    "plants": pl.Int64(),
    "note": pl.String(),
    "cells": pl.String(),
}
PEOPLE_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "name": pl.String(),
    "role": pl.String(),
    "trained_on": pl.Date(),
    "trained_by": pl.String(),
    "until_on": pl.Date(),
    "note": pl.String(),
    "cells": pl.String(),
}
MORE_SCHEMAS: Mapping[str, dict[str, pl.DataType]] = {
    "treatments": TREATMENTS_SCHEMA,
    "feed_checks": FEED_CHECKS_SCHEMA,
    "exemptions": EXEMPTIONS_SCHEMA,
    "plantings": PLANTINGS_SCHEMA,
    "people": PEOPLE_SCHEMA,
}


def _treatments(sheet: Sheet) -> dict[str, pl.Series]:
    sheet.need("what", "write what was done")
    day, time = sheet.day_and_time()
    _need_one(sheet, ("lot", "house"), "write which lot was treated, or the house")
    return {
        "lot_code": sheet.text("lot"),
        "house": sheet.text("house"),
        "bench": sheet.text("bench"),
        "crop": sheet.text("crop"),
        "treated_on": day,
        "treated_time": time,
        "treatment": sheet.word("what"),
        "product": sheet.text("product"),
        "rate": sheet.text("rate"),
        "person": sheet.text("person"),
        "note": sheet.note(),
    }


def _feed_checks(sheet: Sheet) -> dict[str, pl.Series]:
    sheet.need("place", "write where it was measured: source water, hose end or tank")
    day, time = sheet.day_and_time()
    _need_one(
        sheet,
        ("ec", "ph", "alkalinity", "nitrogen"),
        "enter what was measured, or take the line out",
        code="nothing_measured",
    )
    return {
        "checked_on": day,
        "checked_time": time,
        "place": sheet.word("place"),
        "house": sheet.text("house"),
        "injector": sheet.text("injector"),
        "ec_ms_cm": sheet.number("ec"),
        "temperature_c": sheet.number("temperature"),
        "ph": sheet.number("ph"),
        "alkalinity_mg_l": sheet.number("alkalinity"),
        "nitrogen_ppm": sheet.number("nitrogen"),
        "target_ec_ms_cm": sheet.number("target_ec"),
        "person": sheet.text("person"),
        "note": sheet.note(),
        "ec_compensated": pl.Series([sheet.export.ec_compensated], dtype=pl.Boolean()).new_from_index(
            0, len(sheet.record_no)
        ),
    }


def _exemptions(sheet: Sheet) -> dict[str, pl.Series]:
    _need_one(sheet, ("lot", "house"), "write which lot is excused, or the house")
    sheet.need("from", "write the first day of the excuse")
    sheet.need("until", "write the last day of the excuse, an excuse without an end is none")
    sheet.need("reason", "write why the lot need not be sampled")
    sheet.need("person", "write who excused it")
    first, last = sheet.days("from"), sheet.days("until")
    backwards = (
        pl.DataFrame([first.alias("first"), last.alias("last")])
        .select(
            pl.when(pl.col("last") < pl.col("first")).then(
                pl.format("lies before the first day of the excuse, {}; correct one of them", pl.col("first"))
            )
        )
        .to_series()
    )
    sheet.report("until", "until_before_from", backwards)
    return {
        "lot_code": sheet.text("lot"),
        "house": sheet.text("house"),
        "bench": sheet.text("bench"),
        "crop": sheet.text("crop"),
        "purpose": sheet.word("purpose"),
        "from_on": first,
        "until_on": last,
        "reason": sheet.text("reason"),
        "person": sheet.text("person"),
        "entered_on": sheet.days("entered_on"),
        "note": sheet.note(),
    }


def _plantings(sheet: Sheet) -> dict[str, pl.Series]:
    sheet.need("lot", "write the lot's code in it")
    _need_one(sheet, ("planted", "ships"), "write when the lot is planted or when it ships")
    return {
        "lot_code": sheet.text("lot"),
        "crop": sheet.text("crop"),
        "cultivar": sheet.text("cultivar"),
        "house": sheet.text("house"),
        "bench": sheet.text("bench"),
        "planted_on": sheet.days("planted"),
        "ships_on": sheet.days("ships"),
        "plants": sheet.whole("plants", 0, _MOST_INT64, pl.Int64()),
        "note": sheet.note(),
    }


def _people(sheet: Sheet) -> dict[str, pl.Series]:
    sheet.need("name", "write who it is, as the readings name the sampler")
    return {
        "name": sheet.text("name"),
        "role": sheet.text("role"),
        "trained_on": sheet.days("trained_on"),
        "trained_by": sheet.text("trained_by"),
        "until_on": sheet.days("until"),
        "note": sheet.note(),
    }


MORE_TRANSLATORS: Mapping[str, Callable[[Sheet], dict[str, pl.Series]]] = {
    "treatments": _treatments,
    "feed_checks": _feed_checks,
    "exemptions": _exemptions,
    "plantings": _plantings,
    "people": _people,
}


def _need_one(sheet: Sheet, names: Sequence[str], why: str, code: str = "missing") -> None:
    """Of these fields at least one cell must be filled in, among those that the export has."""
    mapped = [name for name in names if name in sheet.export.columns]
    if not mapped:
        return
    blank = pl.select(pl.all_horizontal([sheet.trimmed(name).is_null() for name in mapped])).to_series()
    titles = [f'"{sheet.title(name)}"' for name in mapped]
    named = titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} or {titles[-1]}"
    sheet.report_rows(mapped[0], code, blank, f"the column {named} is blank; {why}")
