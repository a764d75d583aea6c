"""Why a lot has its level: every code with a case that gives it and one that does not.

The lot is an active poinsettia: pH 5.8-6.2, EC 2.5-4.5 mS/cm. The last sampling is of 30 March, seven days ago.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod, Target
from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin

REASON = "code, level, quantity, side"
NOT_DRIFT = "code <> 'drift'"
COLUMN_OF = {"ph": "ph", "ec": "ec_ms_cm"}


def alike(value: str, pots: int = 5) -> str:
    return f"{value} " * pots


def reasons(bench: Bench, columns: str = REASON, where: str = NOT_DRIFT) -> list[tuple[object, ...]]:
    return bench.rows("reasons", columns, where)


def weekly(bench: Bench, *means: str, quantity: str = "ph", lot: str = "A") -> None:
    """Samplings of five pots that hardly differ, a week apart, the last on 30 March."""
    lines = [
        f"{lot} | {date(2026, 3, 30) - timedelta(days=7 * back)} | {Decimal(mean) + Decimal(step) / 1000}"
        for back, mean in enumerate(reversed(means))
        for step in (-2, -1, 0, 1, 2)
    ]
    bench.readings(f"lot_code | sampled_on | {COLUMN_OF[quantity]}\n" + "\n".join(lines))


def test_a_lot_in_range_has_no_reason(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    assert reasons(bench) == []


# Out of range --------------------------------------------------------------------------------------


def test_clearly_out_is_act(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.0")
    assert reasons(bench) == [("clearly_out", "act", "ph", "low")]


def test_out_is_watch(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.7")
    assert reasons(bench) == [("out", "watch", "ph", "low")]


def test_the_figures_of_the_sentence_stand_beside(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.5", "5.4")
    columns = "mean, low::double, high::double, in_a_row, sampled_on::varchar, since_on::varchar, flag"
    assert reasons(bench, columns) == [(5.4, 5.8, 6.2, 2, "2026-03-30", "2026-03-23", False)]


def test_two_in_a_row_beyond_the_margin_are_act_though_only_out(bench: Bench) -> None:
    # 6.4 lies inside another published range, so it is never clearly out, but beyond 6.2 by the margin.
    bench.lots()
    weekly(bench, "6.4", "6.4")
    assert reasons(bench) == [("out", "act", "ph", "high")]


def test_two_in_a_row_need_the_margin_twice(bench: Bench) -> None:
    cases = {"first-near": ("6.3", "6.4"), "second-near": ("6.4", "6.3"), "first-in": ("6.0", "6.4")}
    bench.lots("lot_code\n" + "\n".join(cases))
    for lot, means in cases.items():
        weekly(bench, *means, lot=lot)
    assert reasons(bench, f"lot_key, {REASON}") == [
        (lot, "out", "watch", "ph", "high") for lot in sorted(cases)
    ]


def test_the_number_in_a_row_is_the_policys(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), act_in_a_row=3)])
    bench.lots()
    weekly(bench, "6.4", "6.4")
    assert reasons(bench, "level") == [("watch",)]
    bench.pots(alike("6.4"), sampled_on="2026-04-02")
    assert reasons(bench, "level") == [("act",)]


def test_only_the_last_counting_sampling_decides(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.0", "6.0")
    assert reasons(bench) == []


# EC ------------------------------------------------------------------------------------------------


def test_high_ec_clearly_out_is_act(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.5", quantity="ec")
    assert reasons(bench) == [("clearly_out", "act", "ec", "high")]


def test_low_ec_is_act_only_far_below_or_twice(bench: Bench) -> None:
    # 0.6 x 2.5 is 1.5.
    cases = {"once": ("1.8",), "edge": ("1.5",), "far": ("1.49",), "twice": ("2.4", "1.8")}
    bench.lots("lot_code\n" + "\n".join(cases))
    for lot, means in cases.items():
        weekly(bench, *means, quantity="ec", lot=lot)
    assert reasons(bench, f"lot_key, {REASON}") == [
        ("edge", "clearly_out", "watch", "ec", "low"),
        ("far", "clearly_out", "act", "ec", "low"),
        ("once", "clearly_out", "watch", "ec", "low"),
        ("twice", "clearly_out", "act", "ec", "low"),
    ]


STAGES = "lot_code | started_on | ends_on\nyoung | 2026-03-20 | -\nold | 2026-02-02 | 2026-04-10"


def test_low_ec_outside_the_active_stage_is_a_note(bench: Bench) -> None:
    bench.lots(STAGES)
    for lot in ("young", "old"):
        weekly(bench, "1.0", quantity="ec", lot=lot)
    assert reasons(bench) == [("clearly_out", "note", "ec", "low")] * 2


def test_high_ec_is_act_in_every_stage(bench: Bench) -> None:
    bench.lots(STAGES)
    for lot in ("young", "old"):
        weekly(bench, "5.5", quantity="ec", lot=lot)
    assert reasons(bench) == [("clearly_out", "act", "ec", "high")] * 2


def test_ec_of_66_and_more_is_act_whatever_the_target(bench: Bench) -> None:
    wide = Target(crop="poinsettia", quantity="ec", low=Decimal(2), high=Decimal(8))
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), targets=(wide,))])
    bench.lots("lot_code\nA\nB")
    bench.pots(alike("6.6"), quantity="ec_ms_cm", lot_code="A")
    bench.pots(alike("6.59"), quantity="ec_ms_cm", lot_code="B")
    assert reasons(bench, f"lot_key, {REASON}, mean") == [("a", "ec_very_high", "act", "ec", "high", 6.6)]


def test_ec_of_66_speaks_where_a_crop_has_no_published_target_but_not_for_history_only_lots(
    bench: Bench,
) -> None:
    bench.lots(
        "lot_code | crop | container_class\nA | lavender | pot_4in\nB | lavender | pot_4in\nC | lavender | plug"
    )
    bench.pots(alike("6.6"), quantity="ec_ms_cm", lot_code="A")
    bench.pots(alike("6.59"), quantity="ec_ms_cm", lot_code="B")
    bench.pots(alike("7.0"), quantity="ec_ms_cm", lot_code="C")
    where = f"{NOT_DRIFT} and quantity = 'ec'"
    assert reasons(bench, f"lot_key, {REASON}, mean", where) == [
        ("a", "ec_very_high", "act", "ec", "high", 6.6)
    ]


def test_over_collected_and_still_very_high_is_act(bench: Bench) -> None:
    bench.lots()
    bench.pots(alike("6.8"), quantity="ec_ms_cm", leachate_ml="50")
    assert reasons(bench, "code, level, flag, mean") == [
        ("ec_very_high", "act", None, 6.8),
        ("out", "watch", True, None),
    ]


def test_a_mean_reaching_over_the_lower_ec_edge_outside_active_is_a_note(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nyoung | 2026-03-20\ngrown | 2026-02-02")
    for lot in ("young", "grown"):
        bench.pots("2.4 2.7 2.5 2.6 2.5", quantity="ec_ms_cm", lot_code=lot)
    assert reasons(bench, f"lot_key, {REASON}") == [
        ("grown", "close_to_limit", "watch", "ec", "low"),
        ("young", "close_to_limit", "note", "ec", "low"),
    ]


# Close to limit, uneven, surprising, drift ---------------------------------------------------------


def test_close_to_limit_is_watch_and_names_the_edge(bench: Bench) -> None:
    cases = {"both": "5.7 6.3 6.0 5.8 6.2", "high": "6.3 6.1 6.2 6.1 6.2", "low": "5.7 5.9 5.8 5.9 5.8"}
    bench.lots("lot_code\n" + "\n".join(cases))
    for lot, pots in cases.items():
        bench.pots(pots, lot_code=lot)
    assert reasons(bench, f"lot_key, {REASON}") == [
        ("both", "close_to_limit", "watch", "ph", None),
        ("high", "close_to_limit", "watch", "ph", "high"),
        ("low", "close_to_limit", "watch", "ph", "low"),
    ]


def test_an_uneven_lot_is_watch_with_its_sd_and_the_policys(bench: Bench) -> None:
    bench.lots()
    bench.pots("2.6 3.0 3.5 4.0 4.4", quantity="ec_ms_cm")
    columns = "code, level, quantity, mean > first_mean, first_mean"
    assert ("uneven", "watch", "ec", True, 0.6) in reasons(bench, columns)


def test_clearly_out_after_clearly_in_is_surprising(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0", "5.0")
    assert ("surprising", "note", "ph", "low") in reasons(bench)


def test_clearly_out_after_out_is_no_surprise(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    weekly(bench, "5.0", "5.0", lot="A")
    weekly(bench, "5.7", "5.0", lot="B")
    assert {code for (code,) in reasons(bench, "code")} == {"clearly_out"}


def test_a_mean_that_moved_that_way_for_a_while_is_no_surprise(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.15", "6.1", "6.0", "5.0")
    assert [code for (code,) in reasons(bench, "code", "true")] == ["clearly_out", "drift"]


def test_a_drift_is_a_note(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "5.85", "5.95", "6.05", "6.15")
    columns = "code, level, quantity, side, first_mean, mean, pots"
    assert reasons(bench, columns, "true") == [("drift", "note", "ph", "high", 5.85, 6.15, 4)]


# Trend and forecast --------------------------------------------------------------------------------


TREND = "code in ('trend', 'forecast')"


@pytest.mark.parametrize(
    ("quantity", "means", "speaks"),
    [
        # A step in eight weeks is 0.025 pH a week, 0.0625 mS/cm a week.
        ("ph", ("5.900", "5.925", "5.950", "5.975", "6.000"), True),
        ("ph", ("5.900", "5.924", "5.948", "5.972", "5.996"), False),
        ("ph", ("6.100", "6.075", "6.050", "6.025", "6.000"), True),
        ("ph", ("6.008", "6.006", "6.004", "6.002", "6.000"), False),
        ("ec", ("3.0000", "3.0625", "3.1250", "3.1875", "3.2500"), True),
        ("ec", ("3.0000", "3.0620", "3.1240", "3.1860", "3.2480"), False),
    ],
)
def test_a_trend_speaks_from_a_step_in_eight_weeks(
    bench: Bench, quantity: str, means: tuple[str, ...], *, speaks: bool
) -> None:
    bench.lots()
    weekly(bench, *means, quantity=quantity)
    bench.measure()
    assert bench.select("trends", "is_trend", f"quantity = '{quantity}'") == [(True,)]
    side = "high" if means[-1] > means[0] else "low"
    assert reasons(bench, REASON, "code = 'trend'") == ([("trend", "note", quantity, side)] if speaks else [])


def test_a_forecast_speaks_only_of_a_trend_that_does(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    weekly(bench, "6.050", "6.075", "6.100", "6.125", "6.150", lot="A")
    weekly(bench, "6.054", "6.078", "6.102", "6.126", "6.150", lot="B")
    bench.measure()
    assert bench.select("trends", "lot_key, heads_for", "quantity = 'ph'") == [("a", "high"), ("b", "high")]
    assert reasons(bench, f"lot_key, {REASON}", "code = 'forecast'") == [
        ("a", "forecast", "watch", "ph", "high")
    ]


def test_a_forecast_whose_day_has_passed_says_how_long_nobody_read(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.050", "6.075", "6.100", "6.125", "6.150")
    bench.measure()
    ((likely, last),) = bench.select("trends", "likely_on, last_day", "quantity = 'ph'")
    assert bench.select("run", "as_of", f"as_of <= date '{likely}'")
    assert reasons(bench, "days", "code = 'forecast'") == [(None,)]
    later = likely + timedelta(days=1)
    bench.connection.execute("update run set as_of = $day", {"day": later}).fetchall()
    bench.measure()
    assert reasons(bench, "days", "code = 'forecast'") == [((later - last).days,)]


def test_a_lot_whose_last_mean_is_out_has_no_forecast(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    weekly(bench, "6.00", "6.05", "6.10", "6.15", "6.19", lot="A")
    weekly(bench, "6.00", "6.05", "6.10", "6.15", "6.21", lot="B")
    bench.measure()
    assert reasons(bench, "lot_key, code", TREND) == [("a", "forecast"), ("a", "trend"), ("b", "trend")]


def test_a_trend_of_no_size_takes_no_surprise_away(bench: Bench) -> None:
    bench.lots()
    # Two falls in a row at the end: no drift either.
    weekly(bench, "6.000", "5.999", "5.997", "5.998", "5.996", "5.000")
    bench.measure()
    assert bench.select("trends", "is_trend", "quantity = 'ph'") == [(True,)]
    assert ("surprising", "note", "ph", "low") in reasons(bench)


# Meter in doubt ------------------------------------------------------------------------------------


def in_doubt(bench: Bench, mean: str, *, quantity: str = "ph", before: str | None = None) -> None:
    """A lot read with a meter whose last check failed."""
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-01 | 84")
    for day, value in (("2026-03-23", before), ("2026-03-30", mean)):
        if value is not None:
            bench.pots(alike(value), quantity=quantity, sampled_on=day, meter_id="M1")


@pytest.mark.parametrize(
    ("quantity", "before", "mean"),
    [("ph", None, "5.0"), ("ph", "6.4", "6.4"), ("ec_ms_cm", None, "7.0"), ("ec_ms_cm", "1.0", "1.0")],
)
def test_a_meter_in_doubt_leads_to_watch_at_most(
    bench: Bench, quantity: str, before: str | None, mean: str
) -> None:
    in_doubt(bench, mean, quantity=quantity, before=before)
    found = reasons(bench, "level, code")
    assert {level for level, _ in found} == {"watch"}
    assert ("watch", "meter_in_doubt") in found


@pytest.mark.parametrize(
    ("quantity", "before", "mean", "level"),
    [
        ("ph", "6.9", "6.8", "act"),
        # out again, though no longer clearly
        ("ph", "6.9", "6.3", "act"),
        # low EC asks for less haste; the other side and an earlier mean within the margin are nothing that stays
        ("ec_ms_cm", "1.0", "1.0", "watch"),
        ("ph", "5.0", "6.9", "watch"),
        ("ph", "6.3", "6.9", "watch"),
    ],
)
def test_what_a_trusted_meter_found_stays_act_while_a_meter_in_doubt_reads_out(
    bench: Bench, quantity: str, before: str, mean: str, level: str
) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-23 | 98\n2026-03-30 | 84")
    bench.pots(alike(before), quantity=quantity, sampled_on="2026-03-23", meter_id="M1")
    bench.pots(alike(mean), quantity=quantity, sampled_on="2026-03-30", meter_id="M1")
    found = reasons(bench, "code, level")
    assert ("meter_in_doubt", "watch") in found
    assert [stands for code, stands in found if code in ("out", "clearly_out")] == [level]


def test_a_meter_in_doubt_is_watch_even_in_range(bench: Bench) -> None:
    in_doubt(bench, "6.0")
    assert reasons(bench, "code, level, meter, doubted_meters[1].failed_on::varchar") == [
        ("meter_in_doubt", "watch", "M1", "2026-03-01")
    ]


def test_after_the_next_good_check_the_meter_is_trusted(bench: Bench) -> None:
    in_doubt(bench, "5.0")
    bench.calibrations("calibrated_on | slope_pct\n2026-03-20 | 98")
    assert reasons(bench) == [("clearly_out", "act", "ph", "low")]


# Affected plants -----------------------------------------------------------------------------------


def test_affected_plants_are_noted_for_14_days(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    for lot, day in (("A", "2026-03-23"), ("B", "2026-03-22")):
        weekly(bench, "6.0", lot=lot)
        bench.pots("6.0 6.0", sampled_on=day, purpose="affected", lot_code=lot)
    assert reasons(bench, "lot_key, code, level, pots") == [("a", "affected_noted", "watch", 2)]


def test_affected_plants_clearly_out_are_act(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bench.pots(alike("5.0"), sampled_on="2026-04-01", purpose="affected")
    assert reasons(bench) == [
        ("affected_clearly_out", "act", "ph", "low"),
        ("affected_noted", "watch", None, None),
    ]


def test_affected_plants_that_do_not_count_or_are_only_out_are_watch(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    for lot, pots in (("A", alike("5.0", 4)), ("B", alike("5.7"))):
        weekly(bench, "6.0", lot=lot)
        bench.pots(pots, sampled_on="2026-04-01", purpose="affected", lot_code=lot)
    assert reasons(bench) == [("affected_noted", "watch", None, None)] * 2


def test_low_ec_of_affected_plants_is_act_only_in_the_active_stage(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nyoung | 2026-03-20\ngrown | 2026-02-02")
    for lot in ("young", "grown"):
        weekly(bench, "6.0", lot=lot)
        bench.pots(
            alike("1.0"), quantity="ec_ms_cm", sampled_on="2026-04-01", purpose="affected", lot_code=lot
        )
    assert reasons(bench, "lot_key, code, level", "code = 'affected_clearly_out'") == [
        ("grown", "affected_clearly_out", "act")
    ]


def test_a_meter_in_doubt_keeps_affected_plants_at_watch(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bench.calibrations("calibrated_on | slope_pct\n2026-03-31 | 80")
    bench.pots(alike("5.0"), purpose="affected", sampled_on="2026-03-31", meter_id="M1")
    assert ("affected_clearly_out", "watch", "ph", "low") in reasons(bench)


def test_low_ec_of_affected_plants_is_act_only_far_below(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    for lot, ec in (("A", "1.6"), ("B", "1.4")):
        weekly(bench, "6.0", lot=lot)
        bench.pots(alike(ec), quantity="ec_ms_cm", purpose="affected", sampled_on="2026-03-31", lot_code=lot)
    where = "code = 'affected_clearly_out'"
    # 0.6 x 2.5 = 1.5
    assert reasons(bench, "lot_key, level", where) == [("a", "watch"), ("b", "act")]


def test_pots_that_lean_both_ways_are_told_apart(bench: Bench) -> None:
    bench.lots()
    bench.pots("3.0", quantity="ec_ms_cm", leachate_ml="50")
    bench.pots("3.0", quantity="ec_ms_cm", leachate_ml="10")
    bench.pots(alike("3.0", 3), quantity="ec_ms_cm")
    assert reasons(bench, "code, side, pots, min_pots") == [("ec_not_judged", "both", 1, 1)]


def test_only_the_latest_affected_sampling_speaks(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bench.pots(alike("5.0"), sampled_on="2026-03-31", purpose="affected")
    bench.pots(alike("6.0"), sampled_on="2026-04-02", purpose="affected")
    assert reasons(bench, "code, sampled_on::varchar") == [("affected_noted", "2026-04-02")]


# No reading ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("as_of", "old"), [(date(2026, 4, 15), False), (date(2026, 4, 16), True)])
def test_not_read_within_interval_and_grace_is_no_reading(begin: Begin, as_of: date, old: bool) -> None:
    bench = begin(as_of)
    bench.lots()
    weekly(bench, "6.0")
    assert reasons(bench, "code, level, days, pots") == (
        [("not_read_lately", "no_reading", 17, 14)] if old else []
    )


def test_plugs_have_no_grace(bench: Bench) -> None:
    bench.lots("lot_code | container_class\nA | plug\nB | plug")
    bench.pots(alike("6.0"), sampled_on="2026-04-03", lot_code="A")
    bench.pots(alike("6.0"), sampled_on="2026-04-02", lot_code="B")
    assert reasons(bench, "lot_key, code") == [("b", "not_read_lately")]


def test_a_lot_never_counted_after_its_first_seven_days(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2026-03-30\nB | 2026-03-29")
    assert reasons(bench, "lot_key, code, level, days") == [("b", "never_counted", "no_reading", 8)]


def test_a_lot_to_act_on_stays_so_when_it_was_not_read_lately(begin: Begin) -> None:
    bench = begin(date(2026, 5, 4))
    bench.lots()
    weekly(bench, "5.0")
    assert reasons(bench, "code, level") == [("clearly_out", "act"), ("not_read_lately", "no_reading")]
    assert bench.rows("attention", "level") == [("act",)]


# Samplings that do not count -----------------------------------------------------------------------


def test_a_later_sampling_with_too_few_pots_is_watch(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bench.pots("6.0 6.0 6.0", sampled_on="2026-04-02")
    assert reasons(bench, "code, level, pots, min_pots, held_lines") == [
        ("last_did_not_count", "watch", 3, 5, None)
    ]


def test_held_lines_that_may_complete_a_sampling_are_counted(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bad = "ph_out_of_scale"
    rows = [
        *["6.0 | 2026-04-02 | -"] * 3,
        f"- | 2026-04-02 | {bad}",
        "6.0 | - | date_unreadable",
        f"- | 2026-04-01 | {bad}",
    ]
    bench.readings("ph | sampled_on | problem\n" + "\n".join(rows))
    assert reasons(bench, "code, pots, held_lines") == [("last_did_not_count", 3, 2)]


def test_an_earlier_one_or_one_of_another_purpose_is_not(bench: Bench) -> None:
    bench.lots()
    weekly(bench, "6.0")
    bench.pots("6.0 6.0 6.0", sampled_on="2026-03-20")
    bench.pots("6.0 6.0 6.0", sampled_on="2026-04-02", purpose="before_feed")
    assert reasons(bench) == []


# EC not judged -------------------------------------------------------------------------------------


def test_ec_not_judged_for_volume_is_watch_and_says_which_way(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    for lot, volume in (("A", "50"), ("B", "10")):
        bench.pots(alike("3.0"), quantity="ec_ms_cm", leachate_ml=volume, lot_code=lot)
    columns = f"lot_key, {REASON}, pots, mean, low::double, high::double"
    assert reasons(bench, columns) == [
        ("a", "ec_not_judged", "watch", "ec", "high", 5, 50.0, 30.0, 30.0),
        ("b", "ec_not_judged", "watch", "ec", "low", 5, 10.0, 30.0, 30.0),
    ]


def test_ec_not_judged_for_temperature_is_watch(bench: Bench) -> None:
    bench.lots()
    bench.pots(alike("3.0"), quantity="ec_ms_cm", ec_compensated="false")
    assert reasons(bench) == [("ec_not_judged", "watch", "ec", None)]


def test_ec_not_judged_matters_only_where_there_is_a_target(bench: Bench) -> None:
    bench.lots("crop\nstar jasmine")
    bench.pots(alike("3.0"), quantity="ec_ms_cm", leachate_ml="50")
    assert reasons(bench) == []


def test_ec_that_was_not_measured_is_no_reason(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ec_ms_cm\n5 | -")
    assert reasons(bench) == []


# Whose policy --------------------------------------------------------------------------------------


def test_a_lot_is_read_often_enough_by_the_policy_of_its_site(bench: Bench) -> None:
    change = {"pot_4in": ContainerChange(routine_interval_days=5)}
    strict = PolicyPeriod(valid_from=date(2026, 1, 1), containers=change)
    bench.use(site(policy=[strict]), site("south"))
    for site_id in ("north", "south"):
        bench.lots(site_id=site_id)
        bench.readings("n_pots\n5", site_id=site_id)
    assert reasons(bench, "site_id, code") == [("north", "not_read_lately")]
