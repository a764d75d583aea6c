"""Into which published band an EC falls, and between which edges that band lies. Pure."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import polars as pl

from pipeline.measures.ec import ec_band, ec_band_limits
from pipeline.measures.reference_tables import load_ec_bands


@lru_cache(maxsize=1)
def _bands() -> pl.DataFrame:
    return load_ec_bands()


def band_steps(method: str | None, mean: float | None) -> list[str]:
    """The band of a mean EC (mS/cm at 25 °C) by its extraction method; nothing where none is published."""
    if mean is None or method is None:
        return []
    one = pl.DataFrame({"method": [method], "mean": [round(mean, 4)]})
    band = one.select(ec_band(pl.col("method"), pl.col("mean"), _bands())).item()
    if band is None:
        return [f"no published band for {method}: the number means nothing by itself"]
    limits = ec_band_limits(_bands()).filter((pl.col("method") == method) & (pl.col("band") == band))
    return [
        (
            f"published band for {method}: {mean:.4f} is {_span(limits.row(0, named=True))}, “{band}” "
            f"({limits['source'][0]}, {limits['how_known'][0]}); it informs and decides nothing beside a target"
        )
    ]


def _span(row: dict[str, Any]) -> str:
    low = f"{'from' if row['low_included'] else 'above'} {float(row['low_ms_cm']):g}"
    if row["high_ms_cm"] is None:
        return low
    return f"{low} {'up to' if row['high_included'] else 'and below'} {float(row['high_ms_cm']):g}"


__all__ = ["band_steps"]
