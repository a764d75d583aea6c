"""What a pH electrode's calibration says: buffers at their temperature, slope, offset, error as found and as left.

An electrode gives E = offset - slope · (pH - 7). In theory the slope is ln(10)·R·T/F, 59.16 mV per pH at 25 °C
(Nernst). An electrode's slope is told in percent of that at the temperature of its buffers, its offset is what it
shows at pH 7.00.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl

from pipeline.measures.padded import Floats, column, pad, reason_of

GAS_CONSTANT: Final = 8.31446261815324
"""J/(mol K), exact in the SI."""
FARADAY: Final = 96485.33212331
"""C/mol, exact in the SI (to the digits given)."""
ZERO_C_IN_K: Final = 273.15
NEUTRAL_PH: Final = 7.0
USUAL_TEMPERATURE_C: Final = 25.0

STANDARD_SOURCE: Final = "JIS Z 8802 (confirmed 2011) as tabulated by HORIBA, Reference solutions"
TECHNICAL_SOURCE: Final = "Foxboro instruction MI 611-211, October 2005, Table 7 (American buffers)"
BUFFER_TEMPERATURES_C: Final = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0)
BUFFERS: Final[dict[str, tuple[str, tuple[float, ...]]]] = {
    "4.01": (STANDARD_SOURCE, (4.01, 4.01, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03, 4.04, 4.06)),
    "6.86": (STANDARD_SOURCE, (6.98, 6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84, 6.83, 6.83)),
    "9.18": (STANDARD_SOURCE, (9.46, 9.39, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10, 9.07, 9.04, 9.01)),
    "4.00": (TECHNICAL_SOURCE, (4.00, 4.00, 4.00, 4.00, 4.00, 4.00, 4.01, 4.02, 4.03, 4.04, 4.06)),
    "7.00": (TECHNICAL_SOURCE, (7.12, 7.09, 7.06, 7.04, 7.02, 7.00, 6.99, 6.99, 6.98, 6.98, 6.97)),
    "10.01": (TECHNICAL_SOURCE, (10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.86, 9.83)),
}
"""pH by temperature of each buffer (read), named by its value at 25 °C. What the bottle says goes before it."""
NOMINAL_TOLERANCE: Final = 0.011
"""A label may round: 7.01 and 10.00 are the buffers 7.00 and 10.01 (makers print either)."""


def nernst_slope_mv(temperature_c: Floats) -> Floats:
    """Theoretical slope in mV per pH at each temperature in °C: ln(10)·R·T/F, exact SI constants."""
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_C_IN_K
    slope: Floats = np.log(10.0) * GAS_CONSTANT * kelvin / FARADAY * 1000.0
    return slope


def buffer_names(nominal: Floats) -> list[str | None]:
    """Which buffer of the table each label means; None where none lies within 0.011 of it."""
    labels = np.array([float(name) for name in BUFFERS])
    away = np.abs(np.asarray(nominal, dtype=np.float64)[:, None] - labels[None, :])
    nearest = np.where(np.isfinite(away), away, np.inf).argmin(axis=1)
    names = list(BUFFERS)
    near = away[np.arange(nearest.size), nearest] <= NOMINAL_TOLERANCE
    return [names[number] if is_near else None for number, is_near in zip(nearest, near, strict=True)]


def buffer_ph(nominal: Floats, temperature_c: Floats) -> Floats:
    """pH of each buffer at its temperature in °C, straight lines between the rows of the table.

    NaN for a label that the table does not have and outside of 0 to 50 °C. Sources: `BUFFERS`.
    """
    temperatures = np.asarray(temperature_c, dtype=np.float64)
    names = np.array([name or "" for name in buffer_names(nominal)])
    ph = np.full(temperatures.shape, np.nan)
    for name, (_, values) in BUFFERS.items():
        at = np.interp(temperatures, BUFFER_TEMPERATURES_C, values, left=np.nan, right=np.nan)
        ph = np.where(names == name, at, ph)
    return ph


def fit_electrode(ph: Floats, mv: Floats) -> tuple[Floats, Floats, Floats]:
    """Slope (mV per pH, negative), offset (mV at pH 7.00) and largest distance from the line (mV), of each row.

    `ph`, `mv`: calibrations x buffers, NaN where there is none. Two buffers give the line, three or more the line
    of least squares. NaN below two different buffers.
    """
    there = np.isfinite(ph) & np.isfinite(mv)
    n = np.maximum(there.sum(axis=1), 1)
    x, y = np.where(there, ph, 0.0), np.where(there, mv, 0.0)
    mean_x, mean_y = x.sum(axis=1) / n, y.sum(axis=1) / n
    off_x = np.where(there, ph - mean_x[:, None], 0.0)
    off_y = np.where(there, mv - mean_y[:, None], 0.0)
    squares = np.square(off_x).sum(axis=1)
    slope = np.where(
        squares > 0.01, (off_x * off_y).sum(axis=1) / np.where(squares > 0.01, squares, 1.0), np.nan
    )
    offset = mean_y + slope * (NEUTRAL_PH - mean_x)
    rest = np.where(there, np.abs(off_y - slope[:, None] * off_x), 0.0).max(axis=1, initial=0.0)
    return slope, offset, np.where(np.isfinite(slope), rest, np.nan)


def electrode_checks(
    frame: pl.DataFrame,
    keys: Sequence[str],
    *,
    nominal: str,
    mv: str,
    temperature_c: str,
    bottle_ph: str | None = None,
) -> pl.DataFrame:
    """Slope and offset of each calibration from its readings in mV.

    `frame`: one row a buffer; `nominal` its label (pH at 25 °C), `mv` what the electrode gave, `temperature_c` of
    the buffer (null: taken as 25 °C, and `is_temperature_assumed` says so), `bottle_ph` its pH at that temperature
    as written on the bottle, which goes before the table where it is not null. Result, one row a calibration: keys,
    n_buffers, slope_mv_per_ph, slope_pct (of the theoretical one at the mean temperature of the buffers),
    offset_mv (at pH 7.00), worst_residual_mv, is_temperature_assumed, reason: `too_few` (fewer than two different
    buffers), `unknown_buffer` (one is not in the table, or its temperature is outside of it), null.
    """
    temperature = pl.col(temperature_c).cast(pl.Float64)
    rows = frame.with_columns(
        _assumed=temperature.is_null().cast(pl.Float64),
        _temperature=temperature.fill_null(USUAL_TEMPERATURE_C),
        _bottle=pl.lit(None, dtype=pl.Float64) if bottle_ph is None else pl.col(bottle_ph).cast(pl.Float64),
    )
    at = buffer_ph(
        rows[nominal].cast(pl.Float64).fill_null(np.nan).to_numpy(), rows["_temperature"].to_numpy()
    )
    rows = rows.with_columns(pl.coalesce("_bottle", pl.Series("_ph", at)).alias("_ph"))
    padded = pad(rows, keys, mv)
    ph, temperatures, there = padded.floats("_ph"), padded.floats("_temperature"), padded.is_there
    slope, offset, rest = fit_electrode(ph, padded.floats(mv))
    is_unknown = np.asarray((there & ~np.isfinite(ph)).any(axis=1), dtype=np.bool_)
    theory = nernst_slope_mv(np.where(there, temperatures, 0.0).sum(axis=1) / np.maximum(padded.n, 1))
    good = ~is_unknown & np.isfinite(slope)
    return padded.keys.with_columns(
        column("n_buffers", padded.n, pl.Int64),
        column("slope_mv_per_ph", np.where(good, slope, np.nan)),
        column("slope_pct", np.where(good, -slope / theory * 100.0, np.nan)),
        column("offset_mv", np.where(good, offset, np.nan)),
        column("worst_residual_mv", np.where(good, rest, np.nan)),
        pl.Series("is_temperature_assumed", (padded.floats("_assumed") > 0).any(axis=1)),
        reason_of((is_unknown, "unknown_buffer"), (~np.isfinite(slope), "too_few")),
    )


def ph_error(shown: pl.Series, nominal: pl.Series, temperature_c: pl.Series) -> pl.Series:
    """How far off a meter stood in a buffer, as found or as left: pH shown less the buffer's pH at its temperature.

    `shown` in pH, `nominal` the buffer's label, `temperature_c` in °C (null: 25 °C). Float64, null where nothing
    was shown or the table does not have the buffer.
    """
    at = buffer_ph(
        nominal.cast(pl.Float64).fill_null(np.nan).to_numpy(),
        temperature_c.cast(pl.Float64).fill_null(USUAL_TEMPERATURE_C).to_numpy(),
    )
    return column("ph_error", shown.cast(pl.Float64).fill_null(np.nan).to_numpy() - at)


def ec_error_share(shown_ms_cm: pl.Series, standard_ms_cm: pl.Series) -> pl.Series:
    """How far off a meter stood in an EC standard, as a share of it: 0.05 is 5 % too high.

    Both in mS/cm at 25 °C. Float64, null where one is missing or the standard is not above 0.
    """
    shown = shown_ms_cm.cast(pl.Float64).fill_null(np.nan).to_numpy()
    standard = standard_ms_cm.cast(pl.Float64).fill_null(np.nan).to_numpy()
    safe = np.where(standard > 0, standard, np.nan)
    return column("ec_error_share", (shown - safe) / safe)
