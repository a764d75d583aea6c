"""The warehouse's exact-sum mean and SD, in DuckDB, against certified values of NIST.

NIST Statistical Reference Datasets (StRD), public domain: values certified to 15 digits. NumAcc3 defeats the
same formula in binary floating point, which is why the warehouse sums decimals.
"""

from __future__ import annotations

import duckdb
import polars as pl
import pytest

from tests.published.worked import read_worked

MEAN = "sum(x)::double / count(x)"
EXACT_SD = (
    "sqrt(greatest(0, (count(x) * sum(x * x) - sum(x) * sum(x))::double / (count(x) * (count(x) - 1))))"
)


def summarize(texts: pl.Series, decimal_type: str, sd: str = EXACT_SD) -> tuple[float, float]:
    """Mean and SD of decimal texts, computed in DuckDB from columns of `decimal_type`."""
    with duckdb.connect() as connection:
        connection.register("texts", pl.DataFrame({"t": texts}).to_arrow())
        query = f"select {MEAN}, {sd} from (select t::{decimal_type} as x from texts)"  # noqa: S608
        found = connection.execute(query).fetchone()
    if found is None:
        raise AssertionError("no row")
    return found[0], found[1]


def numacc3() -> pl.Series:
    """The first value, then the pair 500 times, as NIST describes the set: 1001 values."""
    return pl.Series(["1000000.2"] + ["1000000.1", "1000000.3"] * 500)


def test_mavro() -> None:
    mean, sd = summarize(read_worked("nist_mavro")["value"], "decimal(9, 4)")
    assert mean == pytest.approx(2.001856, abs=1e-13)
    assert sd == pytest.approx(0.000429123454003053, abs=1e-13)


def test_michelso() -> None:
    mean, sd = summarize(read_worked("nist_michelso")["value"], "decimal(9, 4)")
    assert mean == pytest.approx(299.8524, abs=1e-11)
    assert sd == pytest.approx(0.0790105478190518, abs=1e-12)


def test_numacc3() -> None:
    mean, sd = summarize(numacc3(), "decimal(9, 1)")
    assert mean == pytest.approx(1000000.2, abs=1e-9)
    assert sd == pytest.approx(0.1, abs=1e-9)


def test_numacc3_defeats_the_formula_in_binary_floating_point() -> None:
    _, sd = summarize(numacc3(), "double")
    assert abs(sd - 0.1) > 1e-9


# SiRstv: five instruments with five readings each, as five pots; the certified figure is the pooled SD.
def test_sirstv_pooled_sd() -> None:
    worked = read_worked("nist_sirstv")
    groups = worked.partition_by("instrument")
    variances = [summarize(group["resistance"], "decimal(9, 4)")[1] ** 2 for group in groups]
    assert len(variances) == 5
    assert (sum(variances) / 5) ** 0.5 == pytest.approx(0.104076068334656, abs=1e-12)


# Computed outside of this project with NumPy.
def test_sirstv_groups() -> None:
    expected = {
        "1": (196.24308, 0.0874732930670931),
        "2": (196.2443, 0.137974979615869),
        "3": (196.16702, 0.0937241270964981),
        "4": (196.14814, 0.104226738411992),
        "5": (196.14324, 0.0884479677550628),
    }
    worked = read_worked("nist_sirstv")
    found = {key[0]: group for key, group in worked.partition_by("instrument", as_dict=True).items()}
    assert found.keys() == expected.keys()
    for instrument, figures in expected.items():
        summary = summarize(found[instrument]["resistance"], "decimal(9, 4)")
        assert summary == pytest.approx(figures, abs=1e-9)
