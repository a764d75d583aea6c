"""Published cases through the whole of the SQL: from lines of an export to the verdict."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl
import pytest

from pipeline.measures.ec import ec_band
from pipeline.measures.reference_tables import load_ec_bands
from pipeline.warehouse.connect import Connection
from tests.sql.bench import Bench, empty, open_warehouse

VERDICT = "quantity, side, verdict, low::double, high::double, is_inside_another"


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


@pytest.fixture
def bench(warehouse: Connection) -> Bench:
    empty(warehouse)
    return Bench(warehouse)


def judge(bench: Bench, crop: str, ph: str, ec: str) -> list[tuple[object, ...]]:
    """Verdicts on five pots alike of a lot of this crop, EC first."""
    bench.lots(f"crop | started_on\n{crop} | 2026-02-02")
    bench.readings("ph | ec_ms_cm\n" + f"{ph} | {ec}\n" * 5)
    return bench.rows("verdicts", VERDICT)


# Greenhouse Management, "The case of the curious pH drop" (read): poinsettia at pH 4.8 to 4.9, targets by
# pour-through 5.8-6.2 and 2.5-4.5 mS/cm. EC 3.0 is an example inside that range (computed).
def test_poinsettia_at_ph_4_9_is_clearly_low_and_its_ec_of_3_0_in_range(bench: Bench) -> None:
    assert judge(bench, "Poinsettia", "4.9", "3.0") == [
        ("ec", "in_range", "in_range", 2.5, 4.5, False),
        ("ph", "low", "clearly_out", 5.8, 6.2, False),
    ]
    columns = "code, level, quantity, side"
    assert bench.rows("reasons", columns) == [("clearly_out", "act", "ph", "low")]
    sources = bench.select("lot_targets", "distinct source, how_known")
    assert len(sources) == 1
    assert "The case of the curious pH drop" in sources[0][0]


# UMass Extension, Greenhouse Updates, 10 Apr 2023, iron/manganese toxicity in geraniums (read): zonal geraniums
# at pH 5.5. The range is that of UMass Extension, Greenhouse Updates, 24 Mar 2023 (read): 6.0-6.6.
def test_zonal_geranium_at_ph_5_5_is_clearly_low(bench: Bench) -> None:
    _, ph = judge(bench, "geranium, zonal", "5.5", "3.0")
    assert ph == ("ph", "low", "clearly_out", 6.0, 6.6, False)
    (source,) = bench.select("lot_targets", "source", "quantity = 'ph'")
    assert str(source[0]).startswith("UMass Extension, Greenhouse Updates, 24 Mar 2023")


# UMass Extension, Greenhouse Updates, 24 Mar 2023 (read): petunia 5.4-6.2. No other source prints an edge
# above 6.2, so nothing softens the verdict.
def test_petunia_at_ph_6_4_is_high_and_above_every_published_range(bench: Bench) -> None:
    _, ph = judge(bench, "petunia", "6.4", "2.6")
    assert ph == ("ph", "high", "clearly_out", 5.4, 6.2, False)
    highest = bench.select(
        "published_ranges", "max(high)::double", "crop_key = 'petunia' and quantity = 'ph'"
    )
    assert highest == [(6.2,)]


# Univ. of Florida IFAS (read): iron-inefficient crops above 6.4. At 6.4 itself the threshold is not crossed.
@pytest.mark.parametrize(("middle", "verdict"), [("6.40", "out"), ("6.45", "clearly_out")])
def test_petunia_beyond_6_4_is_clearly_out_however_much_the_pots_differ(
    bench: Bench, middle: str, verdict: str
) -> None:
    bench.lots("crop\npetunia")
    wide = [f"{float(middle) + step:.2f}" for step in (-0.8, -0.4, 0.0, 0.4, 0.8)]
    bench.pots(" ".join(wide))
    assert bench.rows("verdicts", "side, verdict", "quantity = 'ph'") == [("high", verdict)]


# Kent County Extension, 27 Feb 2008, quoting UMass/UConn (read): 2.6 mS/cm is low by pour-through, normal by
# saturated media extract and extreme by 1:2 dilution; the same mean of the same pots.
@pytest.mark.parametrize(
    ("method", "band"),
    [("pour-through", "low"), ("saturated media extract", "normal"), ("1:2 dilution", "extreme")],
)
def test_a_mean_of_2_6_is_in_the_band_of_its_method(bench: Bench, method: str, band: str) -> None:
    bench.lots("crop\nstar jasmine")
    bench.pots("2.5 2.55 2.6 2.65 2.7", quantity="ec_ms_cm", method=method)
    bench.build("sampling_figures")
    figures = bench.connection.sql(
        "select mean, any_value(u.method) as method from sampling_figures as f "
        "inner join usable_readings as u using (lot_key) where quantity = 'ec' group by mean"
    ).pl()
    rounded = figures.select(pl.col("method"), ec=pl.col("mean").round(4).cast(pl.Decimal(9, 4)))
    assert rounded.select(ec_band(pl.col("method"), pl.col("ec"), load_ec_bands())).item() == band
