"""From a long frame to arrays with one row a group, and back: what lets a measure run over all lots at once.

Groups have different lengths. Each is put to the left of its row and the rest is NaN, so that a measure is a
few operations on whole arrays and never a loop over lots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

GROUP: Final = "_group"
PLACE: Final = "_place"
DECIMALS: Final = 9
"""Values are compared after rounding to so many decimals: two equal means may differ in their last bits."""


@dataclass(frozen=True, slots=True)
class Padded:
    """Groups as rows.

    `keys`: one row a group, in the order of the keys. `long`: the used rows of the frame with their group and
    place in it. `n`: values a group. Rows without a value (null, NaN) are left out.
    """

    keys: pl.DataFrame
    long: pl.DataFrame
    n: Ints

    @property
    def width(self) -> int:
        """The longest group; at least 1, so that arrays have a column also where there are no groups."""
        return max(1, int(self.n.max(initial=0)))

    @property
    def is_there(self) -> Bools:
        """Where a group has a value: groups x width."""
        there: Bools = np.arange(self.width)[None, :] < self.n[:, None]
        return there

    def floats(self, column: str) -> Floats:
        """A numeric column of the frame as groups x width, NaN where there is nothing."""
        values = np.full((self.n.size, self.width), np.nan)
        group = self.long[GROUP].to_numpy()
        place = self.long[PLACE].to_numpy()
        values[group, place] = self.long[column].cast(pl.Float64).fill_null(np.nan).to_numpy()
        return values

    def days(self, column: str) -> Floats:
        """A Date column as days since 1970-01-01, groups x width, NaN where there is nothing."""
        as_days = self.long.with_columns(pl.col(column).cast(pl.Int32))
        return Padded(self.keys, as_days, self.n).floats(column)

    def flatten(self, values: NDArray[np.generic]) -> NDArray[np.generic]:
        """An array of groups x width as a column beside `long`."""
        flat: NDArray[np.generic] = values[self.long[GROUP].to_numpy(), self.long[PLACE].to_numpy()]
        return flat


def pad(
    frame: pl.DataFrame,
    keys: Sequence[str],
    value: str,
    *,
    order: Sequence[str] = (),
    last: int | None = None,
) -> Padded:
    """Group `frame` by `keys` and put each group's values in their `order` into a row.

    `last` keeps only so many values from each group's end. Rows whose `value` is null or NaN are left out, and
    a group that has no other is too.
    """
    is_value = pl.col(value).cast(pl.Float64).is_finite().fill_null(value=False)
    rows = frame.filter(is_value).sort([*keys, *order], maintain_order=True)
    # The rows are sorted: a group begins where a key changes, which is quicker to find than to group again.
    begins = pl.any_horizontal(pl.col(key).ne_missing(pl.col(key).shift()) for key in keys)
    index = pl.int_range(pl.len(), dtype=pl.Int64)
    rows = rows.with_columns((begins | (index == 0)).cum_sum().cast(pl.Int64).alias(GROUP) - 1)
    rows = rows.with_columns(pl.int_range(pl.len(), dtype=pl.Int64).over(GROUP).alias(PLACE))
    if last is not None:
        size = pl.len().cast(pl.Int64).over(GROUP)
        rows = rows.with_columns(pl.col(PLACE) - (size - last).clip(lower_bound=0)).filter(pl.col(PLACE) >= 0)
    n = np.bincount(rows[GROUP].to_numpy()).astype(np.int64) if rows.height else np.zeros(0, dtype=np.int64)
    return Padded(rows.filter(pl.col(PLACE) == 0).select(keys), rows, n)


def column(
    name: str, values: NDArray[np.generic], dtype: type[pl.DataType] | pl.DataType = pl.Float64
) -> pl.Series:
    """An array as a column; NaN, and NaT, become null."""
    series = pl.Series(name, values)
    if series.dtype.is_float():
        series = series.fill_nan(None)
    return series.cast(dtype)


def reason_of(*cases: tuple[Bools, str]) -> pl.Series:
    """A String column: the word of the first case that holds in a row, null where none does."""
    holds = np.stack([is_so for is_so, _ in cases], axis=1)
    first = np.where(holds.any(axis=1), holds.argmax(axis=1), len(cases))
    words = pl.Series("reason", [*(word for _, word in cases), None], dtype=pl.String)
    return words.gather(first)


def nan_median(values: Floats) -> Floats:
    """Median of each row without its NaN; NaN for a row that holds nothing else."""
    n = np.isfinite(values).sum(axis=1)
    in_order = np.sort(values, axis=1)
    rows = np.arange(values.shape[0])
    lower = in_order[rows, np.maximum(n - 1, 0) // 2]
    upper = in_order[rows, np.minimum(n // 2, values.shape[1] - 1)]
    return np.where(n > 0, (lower + upper) / 2.0, np.nan)


def nan_mean(values: Floats) -> Floats:
    """Mean of each row without its NaN; NaN for a row that holds nothing else."""
    there = np.isfinite(values)
    n = there.sum(axis=1)
    total = np.where(there, values, 0.0).sum(axis=1)
    return np.where(n > 0, total / np.maximum(n, 1), np.nan)


def nan_sd(values: Floats) -> Floats:
    """Standard deviation of each row (n - 1) without its NaN; NaN below two values. Two passes."""
    there = np.isfinite(values)
    n = there.sum(axis=1)
    off = np.where(there, values - nan_mean(values)[:, None], 0.0)
    return np.where(n > 1, np.sqrt(np.square(off).sum(axis=1) / np.maximum(n - 1, 1)), np.nan)
