"""Meters, water and feed of a site, back to file and line, each step holding when worked out anew."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pipeline.trace import trace_site, write_site_trace
from pipeline.trace.site import SiteTrace
from tests.home import run_cli
from tests.sql.bench import Bench, settings_of, site


def trace(bench: Bench) -> SiteTrace:
    bench.build_traced()
    return trace_site(bench.connection, settings_of(site()), "north")


METER = "meter_id | calibrated_on | slope_pct | offset_mv | temperature_c | buffers | "


def test_slope_and_offset_from_mv_can_be_checked_by_hand(bench: Bench) -> None:
    bench.calibrations(
        METER + "buffer_4_mv | buffer_7_mv\nM1 | 2026-03-30 | - | - | 25 | 4.01 7.00 | 168.0 | -4.0"
    )
    (check,) = trace(bench).checks
    assert (check.of, check.name, check.line) == ("meter", "M1, 2026-03-30, as left", 1)
    told = "\n".join(check.steps)
    slope = np.polyfit([4.01, 7.0], [168.0, -4.0], 1)[0]
    shown, percent, theory = map(
        float, re.findall(r": (-?[\d.]+) mV per pH, ([\d.]+) % of the ([\d.]+) of theory", told)[0]
    )
    assert shown == pytest.approx(slope, abs=0.01)
    assert theory == 59.16
    assert percent == pytest.approx(-slope / theory * 100, abs=0.02)
    assert "at pH 7.00 that line shows -4 mV" in told
    assert check.steps[-1] == "accepted"


def test_buffers_as_found_stand_beside_their_ph_at_their_temperature(bench: Bench) -> None:
    # 7.00 at 10 °C is 7.06: Foxboro instruction MI 611-211, Table 7 (read).
    bench.calibrations(METER + "stage | found_7_ph\nM1 | 2026-03-30 | - | - | 10 | 7.00 | as_found | 6.90")
    (check,) = trace(bench).checks
    assert check.steps == [
        "buffers “7.00”, read as 7.00",
        "buffer 7 at 10 °C = pH 7.060: shown 6.9",
        "farthest buffer 0.16 pH off, accepted up to 0.1",
        "not accepted",
    ]


def test_every_check_of_a_meter_is_traced_newest_first(bench: Bench) -> None:
    bench.calibrations(
        "meter_id | calibrated_on | slope_pct\nm1 | 2026-03-02 | 99\nM1 | 2026-03-30 | 84\nB | 2026-03-01 | 90"
    )
    checks = trace(bench).checks
    assert [(one.name, one.steps[-1]) for one in checks] == [
        ("B, 2026-03-01, as left", "accepted"),
        ("M1, 2026-03-30, as left", "not accepted"),
        ("m1, 2026-03-02, as left", "accepted"),
    ]


def test_both_stages_of_a_line_are_traced_with_what_they_put_in_doubt(bench: Bench) -> None:
    bench.lots()
    bench.calibrations(
        METER + "found_4_ph | left_4_ph\nM1 | 2026-03-30 | 97 | 3 | 25 | 4.01/7.00 | 4.30 | 4.02"
    )
    bench.readings("sampled_on\n2026-03-24\n2026-03-24\n2026-03-30", same={"meter_id": "M1"})
    left, found = trace(bench).checks
    assert (left.name, left.steps[-1]) == ("M1, 2026-03-30, as left", "accepted")
    assert (found.name, found.line) == ("M1, 2026-03-30, as found", 1)
    assert found.steps[-3:] == [
        "farthest buffer 0.29 pH off, accepted up to 0.1",
        "not accepted",
        "puts in doubt: 2 readings before its day, 0 from its day on",
    ]


def test_ec_that_is_as_found_is_traced_so(bench: Bench) -> None:
    bench.calibrations(
        METER + "found_7_ph | left_7_ph | ec_standard_ms_cm | ec_found_ms_cm\n"
        "M1 | 2026-03-30 | 97 | 3 | 25 | - | 7.01 | 7.00 | 1.413 | 1.60"
    )
    left, found = trace(bench).checks
    assert (
        "EC standard 1.413 mS/cm, shown 1.6, as found, since EC as left is not written: 0.187 off, accepted up to "
        "0.05 × 1.413 = 0.07065"
    ) in left.steps
    assert [one.steps[-1] for one in (left, found)] == ["not accepted", "not accepted"]


@pytest.mark.parametrize(
    ("buffers", "first", "last"),
    [
        ("4,7", "buffers “4,7”, read as 4.00, 7.00", "accepted"),
        (
            "7.00/10.01",
            "buffers “7.00/10.01”, read as 7.00, 10.01",
            "its buffers, 7.00 to 10.01, do not bracket its readings 5.75 to 5.90: calibrate with 4 and 7",
        ),
        (
            "6,9",
            "buffers “6,9”: left unread, the cell can be read in more than one way or names none",
            "accepted",
        ),
    ],
)
def test_how_buffers_were_read_and_whether_they_bracket(
    bench: Bench, buffers: str, first: str, last: str
) -> None:
    bench.lots()
    bench.calibrations(f"buffers\n{buffers}")
    bench.readings("ph\n5.75\n5.90", same={"meter_id": "M1"})
    (check,) = trace(bench).checks
    assert (check.steps[0], check.steps[-1]) == (first, last)


CHECKS = (
    "place | checked_on | ec_ms_cm | ec_compensated | temperature_c | "
    "alkalinity_mg_l | target_ec_ms_cm | injector\n"
)


def test_water_and_feed(bench: Bench) -> None:
    bench.lots()
    bench.load_file(
        "feed_checks",
        CHECKS
        + "source_water | 2026-03-23 | 0.4 | true  | -  | 121 | -   | -\n"
        + "hose_end     | 2026-03-30 | 1.2 | false | 20 | -   | 1.9 | A\n"
        + "hose_end     | 2026-03-30 | 0.3 | true  | -  | -   | 1.9 | B",
    )
    water, a, b = trace(bench).checks
    assert water.name == "source water, 2026-03-23"
    assert water.steps[0] == "EC 0.4 mS/cm at 25 °C, as the meter shows it"
    assert water.steps[1].startswith(
        "alkalinity 121 mg/L CaCO3 beside 80-120 for 4 inch pot, acid above 150 ("
    )
    assert water.steps[1].endswith("): high")
    first, second = a.steps
    assert a.name == "hose end, A, 2026-03-30"
    alpha, degrees, at_25 = map(
        float, re.findall(r"\(1 \+ ([\d.]+) × \((\d+) - 25\)\) = ([\d.]+) mS/cm", first)[0]
    )
    assert 1.2 / (1 + alpha * (degrees - 25)) == pytest.approx(at_25, abs=0.0001)
    share = (at_25 - 0.4) / (1.9 - 0.4) * 100
    assert f"asked for are 1.9 - 0.4000 = 1.5000: {share:.1f} %, accepted 90-110 %: weak" in second
    assert b.steps[-1].endswith("the feed adds -0.1000: less than the water alone")


def test_a_site_without_checks_says_so(bench: Bench) -> None:
    assert write_site_trace(trace(bench))[-1] == "  none"


def test_the_command_without_a_lot_shows_lines_and_cells_as_they_stand(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "erlenwerth").out
    path = demo_home / "sites" / "erlenwerth" / "drop" / "Duengerkontrolle.csv"
    third = path.read_text(encoding="cp1252").splitlines()[3]
    assert f"  drop/Duengerkontrolle.csv line 4: {third}\n" in told
    assert "      cells: LF (µS/cm) “1350” µS/cm, LF Soll (µS/cm) “2000” µS/cm\n" in told
    # 1.35 less the water's 0.48, of 2.00 less 0.48
    assert f": {0.87 / 1.52 * 100:.1f} %, accepted 90-110 %: weak\n" in told
    traced = run_cli("trace", demo_home, "erlenwerth", "--json").json
    assert {one["of"] for one in traced["checks"]} == {"meter", "source_water", "hose_end"}


# Sites against each other --------------------------------------------------------------------------


def grown(bench: Bench, north: str, south: str) -> SiteTrace:
    """Two sites with as many lots of one crop as means are given, each of five equal pots."""
    both = (site("north"), site("south"))
    bench.use(*both)
    for site_id, means in (("north", north.split()), ("south", south.split())):
        lots = [f"{site_id[0].upper()}{number}" for number, _ in enumerate(means, start=1)]
        bench.lots("lot_code\n" + "\n".join(lots), site_id=site_id)
        rows = [f"{lot} | {mean}" for lot, mean in zip(lots, means, strict=True) for _ in range(5)]
        bench.readings("lot_code | ph\n" + "\n".join(rows), site_id=site_id)
    bench.build_traced()
    return trace_site(bench.connection, settings_of(*both), "south")


def test_lots_of_both_sites_and_the_tests_stand_in_the_trace(bench: Bench) -> None:
    north, south = "5.8 5.9 6.0 6.1", "6.3 6.4 6.6 6.5"
    found = [one for one in grown(bench, north, south).contrasts if one.quantity == "ph"]
    (one,) = found
    day = "2026-03-30"
    assert (one.crop, one.container_class, one.word) == ("poinsettia", "pot_4in", "clear")
    assert one.steps[0] == (
        f"North: N1 {day} 5.8000, N2 {day} 5.9000, N3 {day} 6.0000, N4 {day} 6.1000; mean 5.9500"
    )
    assert one.steps[1].startswith(f"South: S1 {day} 6.3000, ")
    assert one.steps[2].startswith("difference 5.9500 - 6.4500 = -0.5000, ")
    first, second = ([float(mean) for mean in means.split()] for means in (north, south))
    welch = stats.ttest_ind(first, second, equal_var=False).confidence_interval(0.95)
    assert f"= {welch.low:.4f} to {welch.high:.4f}" in one.steps[3]
    exact = stats.mannwhitneyu(first, second, method="exact")
    assert one.steps[4].startswith(f"U = {float(exact.statistic):g} of 4 × 4, p = {exact.pvalue:.4f} (")
    # What the trace works out anew is what the night has stored.
    (stored,) = bench.select("crop_contrasts", "difference, ci_low, ci_high, p, word", "quantity = 'ph'")
    assert stored == (
        pytest.approx(-0.5),
        pytest.approx(welch.low),
        pytest.approx(welch.high),
        pytest.approx(exact.pvalue),
        "clear",
    )


def test_one_lot_against_one_has_no_test_in_the_table_and_in_the_trace(bench: Bench) -> None:
    (one, _) = sorted(grown(bench, "5.8", "6.4").contrasts, key=lambda one: one.quantity, reverse=True)
    assert one.steps[3:] == ["too few lots: the smallest p that they can give is 1.0000"]
    columns = "n_first, n_second, mean_first, difference, word, ci_low, ci_high, p, hedges_g"
    (stored,) = bench.select("crop_contrasts", columns, "quantity = 'ph'")
    assert stored[:5] == (1, 1, 5.8, pytest.approx(-0.6), "too_few")
    assert stored[5:] == (None, None, None, None)


def test_a_crop_that_no_other_site_grows_is_held_against_nothing(bench: Bench) -> None:
    assert grown(bench, "5.8", "").contrasts == []


@pytest.mark.parametrize(("pots", "word"), [("5.0 5.1 5.2", "too_few"), ("5.0 5.1 5.2 5.3", "clear")])
def test_too_few_pots_have_no_test_in_the_table(bench: Bench, pots: str, word: str) -> None:
    bench.lots()
    healthy = " ".join(f"{float(pot) + 1:.1f}" for pot in pots.split())
    bench.pots(pots, purpose="affected", sampled_on="2026-03-30")
    bench.pots(healthy, purpose="healthy", sampled_on="2026-03-30")
    bench.measure()
    columns = "word, ci_low is null, ci_high is null, p is null, hedges_g is null, round(difference, 6)"
    (stored,) = bench.select("contrasts", columns, "quantity = 'ph'")
    is_null = word == "too_few"
    assert stored == (word, is_null, is_null, is_null, is_null, -1.0)
