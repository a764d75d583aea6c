"""Small frames of samplings and pots for the tests of measures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl

FIRST_DAY = date(2026, 1, 5)


def samplings(
    values: Sequence[float | None],
    *,
    lot: str = "A",
    every_days: int = 14,
    segment: Sequence[int] | None = None,
) -> pl.DataFrame:
    """One lot's samplings, one every fortnight from a Monday on."""
    return pl.DataFrame(
        {
            "lot": [lot] * len(values),
            "day": [FIRST_DAY + timedelta(days=every_days * nth) for nth in range(len(values))],
            "value": values,
            "segment": list(segment) if segment is not None else [1] * len(values),
        },
        schema={"lot": pl.String, "day": pl.Date, "value": pl.Float64, "segment": pl.Int64},
    )


def pots(values: Sequence[float | None], *, lot: str = "A") -> pl.DataFrame:
    """One sampling's pots."""
    return pl.DataFrame(
        {"lot": [lot] * len(values), "value": values}, schema={"lot": pl.String, "value": pl.Float64}
    )
