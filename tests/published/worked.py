"""Reads the worked data beside the published checks; the lines that begin with # name the source."""

from __future__ import annotations

from pathlib import Path

import polars as pl

DATA = Path(__file__).parent / "data"


def read_worked(name: str) -> pl.DataFrame:
    """One file of `data`, every column still text, so that each test says what it makes of it."""
    return pl.read_csv(DATA / f"{name}.csv", comment_prefix="#", infer_schema=False)


def floats(frame: pl.DataFrame, column: str) -> pl.Series:
    """A column of worked data as Float64."""
    return frame[column].cast(pl.Float64)
