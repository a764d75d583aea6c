"""Statistics of a sampling, held against Python's statistics and SciPy's t."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.sql.bench import Bench

FIGURES = "n, mean, sd, ci_low, ci_high"


def figures(bench: Bench, columns: str = FIGURES, quantity: str = "ph") -> tuple[object, ...]:
    """These figures of the only sampling."""
    (row,) = bench.rows("sampling_figures", columns, f"quantity = '{quantity}'")
    return row


def test_pots_give_mean_sd_and_t_interval(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.8 5.9 6.0 6.1 6.2")
    half = 2.776445 * 0.1581139 / math.sqrt(5)
    assert figures(bench) == pytest.approx((5, 6.0, 0.1581139, 6.0 - half, 6.0 + half), abs=1e-6)


def test_median_and_extremes(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.801 6.4 5.802 5.1")
    assert figures(bench, "median, min::double, max::double, is_sd_assumed, has_summary_line") == (
        pytest.approx(5.8015),
        5.1,
        6.4,
        False,
        False,
    )


def test_the_median_of_ec_is_not_rounded_to_its_column(bench: Bench) -> None:
    bench.lots()
    bench.pots("2.5001 2.5002", quantity="ec_ms_cm")
    assert figures(bench, "median", "ec") == (pytest.approx(2.50015, abs=1e-12),)


def test_one_pot_has_no_sd_and_no_interval(bench: Bench) -> None:
    bench.lots()
    bench.pots("6.1")
    assert figures(bench) == (1, 6.1, None, None, None)


def test_pots_all_alike_have_the_spread_of_the_policy_taken_as_known(bench: Bench) -> None:
    # Alike to the last digit is a question (was each read by itself?), not certainty.
    bench.lots()
    bench.pots("6.1 6.1 6.1 6.1 6.1")
    half = 1.959963984540054 * 0.2 / 5**0.5
    assert figures(bench) == pytest.approx((5, 6.1, 0.2, 6.1 - half, 6.1 + half))
    assert figures(bench, "is_sd_assumed") == (True,)


def test_the_sum_is_exact(bench: Bench) -> None:
    # 0.1 + 0.2 would not be 0.3 in binary fractions.
    bench.lots()
    bench.pots("5.1 5.2 5.3")
    assert figures(bench, "sum_x") == (Decimal("15.6000"),)


def test_only_usable_pots_go_into_ec(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_ms_cm | leachate_ml\n3.0 | 30\n3.2 | 30\n9.0 | 43\n9.0 | 14")
    assert figures(bench, "n, mean", "ec") == (2, pytest.approx(3.1))
    assert figures(bench, "n", "ph") == (4,)


def test_a_quantity_that_nobody_measured_has_no_figures(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_ms_cm\n-\n-")
    assert bench.rows("sampling_figures", "quantity") == [("ph",)]


# Summary lines -------------------------------------------------------------------------------------


def test_a_summary_line_without_sd_takes_the_policys_as_known(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ph\n5 | 6.0")
    half = 1.959964 * 0.2 / math.sqrt(5)
    assert figures(bench) == pytest.approx((5, 6.0, 0.2, 6.0 - half, 6.0 + half), abs=1e-6)
    assert figures(bench, "is_sd_assumed, median, min, max") == (True, None, None, None)


def test_a_summary_line_of_ec_takes_the_policys_ec_sd(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ec_ms_cm\n5 | 3.0")
    assert figures(bench, "sd, is_sd_assumed", "ec") == (pytest.approx(0.4), True)


def test_a_summary_line_with_its_own_sd_has_a_t_interval(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ph | ph_sd\n5 | 6.0 | 0.1")
    half = 2.776445 * 0.1 / math.sqrt(5)
    assert figures(bench) == pytest.approx((5, 6.0, 0.1, 6.0 - half, 6.0 + half), abs=1e-6)
    assert figures(bench, "is_sd_assumed, has_summary_line") == (False, True)


def test_summary_lines_weigh_as_many_pots_as_they_stand_for(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ph | ph_sd\n4 | 6.0 | 0.1\n1 | 5.0 | -")
    # Two lines: an SD of one of them is not the SD of all pots.
    assert figures(bench, "n, mean, sd, is_sd_assumed") == (5, pytest.approx(5.8), pytest.approx(0.2), True)


def test_the_sd_of_a_summary_line_goes_to_25_degrees_with_its_mean(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        "n_pots | ec_ms_cm | ec_sd_ms_cm | temperature_c | ec_compensated\n5 | 3.0 | 0.3 | 15 | false"
    )
    assert figures(bench, "mean, sd", "ec") == pytest.approx((3.7083, 0.37083), abs=1e-6)


def test_lines_of_one_pot_are_no_summary_whatever_stands_beside(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ph | ph_sd\n1 | 6.0 | 0.5\n1 | 6.2 | 0.5")
    assert figures(bench, "sd, is_sd_assumed") == (pytest.approx(0.1414214), False)


# Against another implementation --------------------------------------------------------------------


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    samplings=st.lists(
        st.lists(
            st.tuples(
                st.decimals("3", "9", places=3),
                st.decimals("0", "20", places=4),
            ),
            min_size=1,
            max_size=12,
        ),
        min_size=5,
        max_size=20,
    )
)
def test_figures_equal_those_of_python_and_scipy(
    bench: Bench, samplings: list[list[tuple[Decimal, Decimal]]]
) -> None:
    bench.connection.execute("truncate reading_lines; truncate lot_lines; truncate records; truncate files")
    bench.lots("lot_code\n" + "\n".join(f"L{number}" for number in range(len(samplings))))
    lines = [f"L{number} | {ph} | {ec}" for number, pots in enumerate(samplings) for ph, ec in pots]
    bench.readings("lot_code | ph | ec_ms_cm\n" + "\n".join(lines))
    wanted: dict[tuple[str, str], list[float]] = defaultdict(list)
    for number, pots in enumerate(samplings):
        for ph, ec in pots:
            wanted[f"l{number}", "ph"].append(float(ph))
            wanted[f"l{number}", "ec"].append(float(ec))
    found = bench.rows("sampling_figures", f"lot_key, quantity, {FIGURES}, median")
    assert {(lot, quantity) for lot, quantity, *_ in found} == wanted.keys()
    for lot, quantity, n, mean, sd, low, high, median in found:
        values = wanted[lot, quantity]
        assert (n, median) == (len(values), pytest.approx(statistics.median(values)))
        assert mean == pytest.approx(statistics.mean(values), abs=1e-9)
        if n == 1:
            assert (sd, low, high) == (None, None, None)
            continue
        spread = statistics.stdev(values)
        assert sd == pytest.approx(spread, abs=1e-6)
        if spread > 0:
            interval = stats.t.interval(0.95, n - 1, loc=statistics.mean(values), scale=spread / math.sqrt(n))
            assert (low, high) == pytest.approx(interval, abs=1e-5)
