"""Holds that need nothing but the record itself: figures that no root zone has, a method nobody named.

Holds that need the lots (unknown lot, before its start, after its end, in the future) are worked out in SQL.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import polars as pl

from pipeline.intake.translate import Translated
from pipeline.settings import Export, PolicyInForce

HOLDS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "code": pl.String(),
    "detail": pl.String(),
}

PH_LOWEST = Decimal(0)
PH_HIGHEST = Decimal(14)

# An EC that some other unit would bring into this range was probably written in that unit (house default).
_PLAUSIBLE_LOW_MS_CM = Decimal("0.1")
_PLAUSIBLE_HIGH_MS_CM = Decimal(20)
# No root zone has such a pH while EC looks like a pH: the columns were exchanged (house default).
_SWAPPED_PH_BELOW = 3.5
_SWAPPED_EC_FROM = 4.0
_SWAPPED_EC_TO = 9.0
_SWAPPED_FROM_LINES = 3
_SCALES = ((Decimal(1000), "µS/cm"), (Decimal(500), "ppm"), (Decimal(640), "ppm"), (Decimal(700), "ppm"))


def sift(
    translated: Translated,
    export: Export,
    policy: Sequence[PolicyInForce],
    repeated: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Return record_no, code and detail, one row per reason, for the records that must be held.

    Codes: ``ph_ec_swapped`` (all records of a file whose median pH is below 3.5 and median EC 4 to 9 mS/cm, house
    default), ``ph_out_of_scale`` (outside 0-14), ``ec_out_of_scale`` (negative, or above the policy's
    ec_highest_ms_cm in force on the day; mS/cm), ``method_missing`` (neither line nor site names the
    extraction method: the same EC is low or extreme by method).  Feed checks have those of pH and EC alone,
    other kinds none.  `repeated`: ph and ec_ms_cm of the file's other lines, which are known already: they
    count in the medians of the file and are not sifted again.
    """
    if export.kind == "feed_checks":
        checks = translated.rows.filter(pl.col("cells").is_not_null()).rename({"checked_on": "sampled_on"})
        return pl.concat([_sift_ph(checks), _sift_ec(checks, policy)]).sort("record_no", maintain_order=True)
    if export.kind != "readings":
        return pl.DataFrame(schema=HOLDS_SCHEMA)
    rows = translated.rows.filter(pl.col("cells").is_not_null())
    found = [_sift_swapped(rows, repeated), _sift_ph(rows), _sift_ec(rows, policy), _sift_method(rows)]
    return pl.concat(found).sort("record_no", maintain_order=True)


def explain_ec(ec_ms_cm: Decimal, highest_ms_cm: Decimal) -> str:
    """Say what is wrong with an EC in mS/cm that is held, and which unit it looks like."""
    shown = f"{ec_ms_cm.normalize():f}"
    if ec_ms_cm < 0:
        return f"EC {shown} mS/cm is negative; read it again"
    words = f"EC {shown} mS/cm is above {highest_ms_cm.normalize():f} mS/cm"
    for factor, unit in _SCALES:
        scaled = ec_ms_cm / factor
        if _PLAUSIBLE_LOW_MS_CM <= scaled <= _PLAUSIBLE_HIGH_MS_CM:
            return f"{words}; it looks like {unit}: check the unit of the column in site.toml"
    return f"{words}; read it again"


def _sift_swapped(rows: pl.DataFrame, repeated: pl.DataFrame | None) -> pl.DataFrame:
    figures = rows.select("ph", "ec_ms_cm")
    if repeated is not None:
        figures = pl.concat([figures, repeated.select("ph", "ec_ms_cm")])
    medians = figures.select(
        pl.col("ph").median().cast(pl.Float64), pl.col("ec_ms_cm").median().cast(pl.Float64)
    )
    ph, ec = medians.row(0)
    both = figures.drop_nulls()
    if both.height < _SWAPPED_FROM_LINES or ph is None or ec is None:
        return _holds(rows["record_no"].clear(), "ph_ec_swapped", [])
    if not (ph < _SWAPPED_PH_BELOW and _SWAPPED_EC_FROM <= ec <= _SWAPPED_EC_TO):
        return _holds(rows["record_no"].clear(), "ph_ec_swapped", [])
    detail = (
        f"the file's median pH is {ph:.2f} and its median EC {ec:.2f} mS/cm: pH and EC look swapped; "
        "exchange the columns ph and ec under [export.columns] in site.toml, or mend the export"
    )
    return _holds(rows["record_no"], "ph_ec_swapped", [detail] * rows.height)


def _sift_ph(rows: pl.DataFrame) -> pl.DataFrame:
    off = rows.filter((pl.col("ph") < PH_LOWEST) | (pl.col("ph") > PH_HIGHEST))
    details = [f"pH {value.normalize():f} is outside 0 to 14; read it again" for value in off["ph"]]
    return _holds(off["record_no"], "ph_out_of_scale", details)


def _sift_ec(rows: pl.DataFrame, policy: Sequence[PolicyInForce]) -> pl.DataFrame:
    limits = pl.DataFrame(
        {
            "valid_from": [period.valid_from for period in policy],
            "highest": [Decimal(str(period.values.ec_highest_ms_cm)) for period in policy],
        },
        schema={"valid_from": pl.Date(), "highest": pl.Decimal(9, 4)},
    ).sort("valid_from")
    # A record without a readable day is held for that already; the first policy serves for its figures.
    dated = (
        rows.select("record_no", "ec_ms_cm", pl.col("sampled_on").fill_null(limits["valid_from"].min()))
        .sort("sampled_on", maintain_order=True)
        .join_asof(limits, left_on="sampled_on", right_on="valid_from", strategy="backward")
    )
    off = dated.filter((pl.col("ec_ms_cm") < 0) | (pl.col("ec_ms_cm") > pl.col("highest")))
    details = [explain_ec(ec, highest) for ec, highest in off.select("ec_ms_cm", "highest").iter_rows()]
    return _holds(off["record_no"], "ec_out_of_scale", details)


def _sift_method(rows: pl.DataFrame) -> pl.DataFrame:
    off = rows.filter(pl.col("method").is_null())
    detail = (
        "neither the line nor the site names the extraction method; set extraction_method in site.toml, "
        "because the same EC is low or extreme by method"
    )
    return _holds(off["record_no"], "method_missing", [detail] * off.height)


def _holds(numbers: pl.Series, code: str, details: list[str]) -> pl.DataFrame:
    return pl.DataFrame(
        {"record_no": numbers, "code": [code] * len(numbers), "detail": details}, schema=HOLDS_SCHEMA
    )
