"""What the rules remark about a sampling: each rule with a sampling that meets it and one that does not."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings import PolicyPeriod
from tests.sql.bench import Bench, site

# Differing pots, so that the rule about equal ones keeps quiet.
PH = ("5.9", "6.0", "6.1", "6.0", "5.95")


def five(column: str, *values: str) -> str:
    """Five pots; the last value holds for the pots that are not named."""
    filled = [*values, *[values[-1]] * (5 - len(values))]
    return f"ph | {column}\n" + "\n".join(f"{ph} | {value}" for ph, value in zip(PH, filled, strict=True))


def findings(
    bench: Bench, table: str, columns: str = "rule, level", lot: str = "lot_code\nA"
) -> list[tuple[object, ...]]:
    bench.lots(lot)
    bench.readings(table)
    return bench.rows("sampling_findings", columns)


def test_a_sampling_by_the_book_has_no_finding(bench: Bench) -> None:
    assert findings(bench, five("drain_min", "45")) == []


CASES = {
    "volume_not_recorded": ("warn", five("leachate_ml", "-", "30"), five("leachate_ml", "30")),
    "over_collected": ("warn", five("leachate_ml", "37", "36"), five("leachate_ml", "36")),
    "under_collected": ("warn", five("leachate_ml", "23", "24"), five("leachate_ml", "24")),
    "volume_excludes_ec": ("exclude", five("leachate_ml", "42.1", "42"), five("leachate_ml", "42")),
    "unequal_volumes": (
        "warn",
        five("leachate_ml", "25", "34.1", "30"),
        five("leachate_ml", "25", "34", "30"),
    ),
    "no_temperature": ("exclude", five("ec_compensated", "false", "true"), five("ec_compensated", "true")),
    "odd_temperature": (
        "exclude",
        "ec_compensated | temperature_c\n" + "false | 50.1\n" * 5,
        "ec_compensated | temperature_c\n" + "false | 50\n" * 5,
    ),
    "poured_off_recipe": ("warn", five("poured_ml", "37.6", "37.5"), five("poured_ml", "37.5")),
    "poured_not_distilled": (
        "warn",
        five("poured_with", "rain", "distilled"),
        five("poured_with", "deionised", "-"),
    ),
    "more_than_poured": ("warn", five("leachate_ml", "31", "30"), five("leachate_ml", "30")),
    "drain_time": ("warn", five("drain_min", "61", "60"), five("drain_min", "60", "30")),
    "affected_in_routine": ("note", five("condition", "affected", "-"), five("condition", "healthy", "-")),
    "uneven_ph": ("warn", "ph\n5.6\n5.7\n6.0\n6.3\n6.4", "ph\n5.7\n5.8\n6.0\n6.2\n6.3"),
    "uneven_ec": ("warn", "ec_ms_cm\n2.6\n3\n3.5\n4\n4.4", "ec_ms_cm\n3\n3\n3.5\n4\n4"),
    "all_alike": ("warn", "ph\n6\n6\n6\n6\n6", "ph\n6\n6\n6\n6\n6.01"),
    "too_few_pots": ("warn", "ph\n6\n6.1\n6\n6.2", "ph\n6\n6.1\n6\n6.2\n6"),
}


# Modified z-scores by hand: pH median 5.95, MAD 0.04, 0.6745 × 0.30 / 0.04 = 5.1; EC median 3.0, MAD 0.1, 3.4 and more.
APART = "ph | ec_ms_cm\n5.91 | 2.9\n5.95 | 3.0\n5.95 | 3.0\n5.99 | 3.1\n"


def of_outliers(bench: Bench, odd: str) -> list[tuple[object, ...]]:
    bench.lots()
    bench.readings(APART + odd)
    bench.measure()
    found = bench.rows("sampling_findings", "rule, level, pots, a, low")
    return [one for one in found if str(one[0]).startswith("outlier_")]


def test_a_pot_that_lies_apart(bench: Bench) -> None:
    (ec, ph) = of_outliers(bench, "6.25 | 3.6")
    assert ph == ("outlier_ph", "warn", 1, 6.25, pytest.approx(5.95))
    assert ec == ("outlier_ec", "warn", 1, 3.6, pytest.approx(3.0))


def test_a_pot_that_lies_less_far_is_no_finding(bench: Bench) -> None:
    # 0.29 pH and 0.49 mS/cm from the median: nearer than the policy's 0.3 and 0.5
    assert of_outliers(bench, "6.24 | 3.49") == []


def remarks(bench: Bench, tables: dict[str, str]) -> dict[str, set[tuple[object, object]]]:
    """Findings of samplings of lots that are named after a rule."""
    bench.lots("lot_code\n" + "\n".join(tables))
    for lot, table in tables.items():
        bench.readings(table, same={"lot_code": lot})
    found: dict[str, set[tuple[object, object]]] = {lot: set() for lot in tables}
    for lot, rule, level in bench.rows("sampling_findings", "lot_key, rule, level"):
        found[lot].add((rule, level))
    return found


def test_each_rule_finds_what_it_is_about(bench: Bench) -> None:
    found = remarks(bench, {rule: broken for rule, (_, broken, _) in CASES.items()})
    assert {rule for rule, (level, *_) in CASES.items() if (rule, level) not in found[rule]} == set()


def test_each_rule_is_silent_at_its_limit(bench: Bench) -> None:
    found = remarks(bench, {rule: passed for rule, (*_, passed) in CASES.items()})
    assert {rule for rule in CASES if rule in {name for name, _ in found[rule]}} == set()


def test_volumes_stand_beside_the_finding(bench: Bench) -> None:
    found = findings(bench, five("leachate_ml", "37", "40", "30"), "rule, pots, of_pots, low, high, a, b")
    assert ("over_collected", 2, 5, 30.0, 30.0, 30.0, 40.0) in found


def test_too_few_pots_say_how_many_are_needed(bench: Bench) -> None:
    assert findings(bench, "ph\n6\n6.1", "pots, of_pots, low") == [(2, 2, 5.0)]


SET_APART = "ph | condition\n" + "\n".join(f"{ph} | -" for ph in PH) + "\n6.9 | affected"


def test_a_pot_set_apart_from_a_routine_sampling_is_no_sampling_that_is_too_small(bench: Bench) -> None:
    assert findings(bench, SET_APART, "purpose, rule, pots, low") == [
        ("affected", "affected_in_routine", 1, 5.0)
    ]


def test_affected_plants_sampled_apart_can_be_too_few(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph\n6.9\n6.8", same={"purpose": "affected"})
    assert bench.rows("sampling_findings", "purpose, rule, pots, low") == [
        ("affected", "too_few_pots", 2, 5.0)
    ]


def test_set_apart_beside_sampled_apart_can_be_too_few(bench: Bench) -> None:
    bench.lots()
    bench.readings(SET_APART)
    bench.readings("ph\n6.9\n6.8", same={"purpose": "affected"})
    assert bench.rows("sampling_findings", "rule, pots") == [("affected_in_routine", 1), ("too_few_pots", 3)]


def test_equal_pots_of_a_summary_line_are_not_copied(bench: Bench) -> None:
    assert findings(bench, "n_pots\n5") == []


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("ph | ec_ms_cm\n" + "5.8 | -\n" * 5, [("all_alike", 5.8, None)]),
        ("ph | ec_ms_cm\n" + "5.8 | -\n" * 4 + "5.9 | -", []),
        ("ph | ec_ms_cm\n" + "5.8 | -\n" * 4, []),
        # EC with one more digit is another figure
        ("ph | ec_ms_cm\n" + "5.8 | 2.6\n" * 4 + "5.8 | 2.61", []),
        # where EC was read in some pots only, what was read is alike
        ("ph | ec_ms_cm\n" + "5.8 | 2.6\n" * 2 + "5.8 | -\n" * 3, [("all_alike", 5.8, 2.6)]),
        ("ph | ec_ms_cm\n" + "5.8 | 2.6\n" + "5.8 | 2.7\n" + "5.8 | -\n" * 3, []),
    ],
)
def test_what_was_not_read_does_not_hide_copied_figures(
    bench: Bench, table: str, told: list[tuple[object, ...]]
) -> None:
    found = findings(bench, table, "rule, a, b")
    assert [row for row in found if row[0] == "all_alike"] == told


def test_ec_alone_is_asked_about_too(bench: Bench) -> None:
    found = findings(bench, "ph | ec_ms_cm\n" + "- | 2.6\n" * 5, "rule, a, b")
    assert ("all_alike", None, 2.6) in found


def test_ec_without_a_temperature_is_alike_as_it_was_written(bench: Bench) -> None:
    table = "ph | ec_ms_cm | ec_compensated\n" + "5.8 | 2.6 | false\n" * 5
    assert ("all_alike", 5.8, 2.6) in findings(bench, table, "rule, a, b")
    other = (
        "lot_code | ph | ec_ms_cm | ec_compensated\n"
        + "B | 5.8 | 2.6 | false\n" * 4
        + "B | 5.8 | 2.7 | false"
    )
    assert findings(bench, other, "lot_key, rule", lot="lot_code\nB").count(("b", "all_alike")) == 0


@pytest.mark.parametrize(("pots", "ec", "asked"), [(3, "3.0", 1), (4, "-", 0), (5, "-", 1)])
def test_of_one_quantity_alone_a_nursery_container_takes_five_too(
    bench: Bench, pots: int, ec: str, asked: int
) -> None:
    bench.lots("container_class\nnursery")
    bench.readings("ph | ec_ms_cm\n" + f"5.8 | {ec}\n" * pots)
    found = [rule for (rule,) in bench.rows("sampling_findings", "rule")]
    assert found.count("all_alike") == asked


def test_equal_ph_with_different_ec_is_not_copied(bench: Bench) -> None:
    assert findings(bench, "ec_ms_cm\n3\n3\n3\n3\n3.1") == []


def test_nursery_containers_may_drain_for_two_hours(bench: Bench) -> None:
    same = {"leachate_ml": "50", "poured_ml": "120"}
    bench.lots("container_class\nnursery")
    bench.readings(five("drain_min", "120"), same=same)
    assert bench.rows("sampling_findings", "rule") == []


def same_values(day: str) -> str:
    return "ph | sampled_on\n" + "\n".join(f"{ph} | {day}" for ph in PH)


def test_the_same_figures_as_before_are_asked_about(bench: Bench) -> None:
    bench.lots()
    bench.readings(same_values("2026-03-16"))
    bench.readings(same_values("2026-03-30"))
    assert bench.rows("sampling_findings", "rule, level, sampled_on::varchar, what") == [
        ("same_as_before", "warn", "2026-03-30", "2026-03-16")
    ]


def test_one_pot_that_differs_is_enough(bench: Bench) -> None:
    bench.lots()
    bench.readings(same_values("2026-03-16"))
    bench.readings(same_values("2026-03-30").replace("6.1", "6.15"))
    assert bench.rows("sampling_findings", "rule") == []


def benches(*names: str) -> str:
    return five("bench", *names)


def test_pots_of_one_bench_where_the_lot_stands_on_more(bench: Bench) -> None:
    bench.lots()
    bench.readings(benches("1", "2"), same={"sampled_on": "2026-03-16"})
    assert findings(bench, benches("3"), "rule, level, what") == [
        ("one_bench", "note", "3"),
        ("same_as_before", "warn", "2026-03-16"),
    ]


def test_a_lot_that_was_never_read_on_another_bench_may_stand_on_one(bench: Bench) -> None:
    assert findings(bench, benches("3")) == []


def test_pots_of_one_kind_of_place(bench: Bench) -> None:
    assert findings(bench, five("position", "edge"), "rule, level, what") == [
        ("one_position", "note", "edge")
    ]


def test_one_pot_from_elsewhere_is_enough(bench: Bench) -> None:
    assert findings(bench, five("position", "middle", "edge")) == []


def test_pots_that_were_read_too_fast(bench: Bench) -> None:
    # 59 seconds over four steps: less than 15 each. The bench writes times in minutes.
    assert (
        findings(bench, five("sampled_time", "09:00", "09:00", "09:00", "09:00", "09:01"), "rule, pots, low")
        == []
    )
    policy = [PolicyPeriod(valid_from=date(2026, 1, 1), pace_seconds=16)]
    bench.use(policy=policy)
    assert bench.rows("sampling_findings", "rule, pots, low, a") == [("too_fast", 5, 16.0, 15.0)]


def test_one_time_for_all_pots_says_nothing_of_the_pace(bench: Bench) -> None:
    assert findings(bench, five("sampled_time", "09:00")) == []


def test_a_reading_that_came_late(bench: Bench) -> None:
    bench.lots()
    bench.next_night(date(2026, 4, 14))
    bench.readings(five("drain_min", "45"), same={"sampled_on": "2026-04-06"})
    assert bench.rows("sampling_findings", "rule, level, pots, a") == [("entered_late", "note", 5, 8.0)]


def test_records_from_before_the_first_night_are_not_late(bench: Bench) -> None:
    bench.lots()
    bench.next_night(date(2026, 4, 14))
    assert findings(bench, five("drain_min", "45")) == []


def numbered(*ph: str) -> str:
    return "pot | ph\n" + "\n".join(f"{pot} | {value}" for pot, value in enumerate(ph, 1))


def test_a_reading_that_replaced_another_is_noted(bench: Bench) -> None:
    bench.lots()
    bench.readings(numbered(*PH), numbers_pots=True)
    bench.readings(numbered("5.5", *PH[1:]), numbers_pots=True)
    assert bench.rows("sampling_findings", "rule, level, pots") == [("reading_corrected", "note", 1)]


def test_readings_that_a_file_adds_under_its_name_without_those_before_are_remarked_on(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph\n" + "\n".join(PH), name="drop/r.csv")
    bench.next_night(date(2026, 4, 7))
    # two of five lines come again
    bench.readings("ph\n" + "\n".join([*PH[:2], "7.1", "7.2", "7.3", "7.4"]), name="drop/r.csv")
    told = bench.rows("sampling_findings", "level, pots, of_pots, a, what", "rule = 'sent_again'")
    assert told == [("warn", 4, 9, 3.0, "drop/r.csv")]


@pytest.mark.parametrize(
    ("name", "later"),
    [("drop/r.csv", [*PH, "7.1"]), ("drop/r.csv", [*PH[:4], "7.1"]), ("drop/other.csv", ["7.1"])],
)
def test_more_pots_a_correction_or_another_file_are_not(bench: Bench, name: str, later: list[str]) -> None:
    bench.lots()
    bench.readings("ph\n" + "\n".join(PH), name="drop/r.csv")
    bench.next_night(date(2026, 4, 7))
    bench.readings("ph\n" + "\n".join(later), name=name)
    assert bench.rows("sampling_findings", "rule", "rule = 'sent_again'") == []


def test_the_policy_sets_a_level(bench: Bench) -> None:
    levels = {"drain_time": "note", "under_collected": "off"}
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels=levels)])
    table = "ph | drain_min | leachate_ml\n" + "\n".join(
        f"{ph} | 61 | {ml}" for ph, ml in zip(PH, ("22", "30", "30", "30", "30"), strict=True)
    )
    assert findings(bench, table) == [("drain_time", "note")]


def test_a_level_of_the_policy_holds_from_its_day(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 31), finding_levels={"drain_time": "off"})])
    assert findings(bench, five("drain_min", "61")) == [("drain_time", "warn")]


# Meters --------------------------------------------------------------------------------------------


def meter_findings(
    bench: Bench,
    meter: str,
    *,
    slope: str = "98",
    day: str = "2026-03-30",
    columns: str = "rule, level, what",
) -> list[tuple[object, ...]]:
    bench.use(site(calibrations=True))
    bench.calibrations(f"calibrated_on | slope_pct\n{day} | {slope}")
    return findings(bench, five("meter_id", meter), columns)


def test_a_meter_calibrated_that_day_is_no_finding(bench: Bench) -> None:
    assert meter_findings(bench, "M1") == []


def test_a_meter_without_a_check_that_day(bench: Bench) -> None:
    assert meter_findings(bench, "M1", day="2026-03-29") == [("meter_not_calibrated", "warn", "M1")]


def test_no_meter_written_down(bench: Bench) -> None:
    assert meter_findings(bench, "-", columns="rule, coalesce(what, '')") == [("meter_not_calibrated", "")]


def test_a_meter_in_doubt_says_only_that_and_names_the_check(bench: Bench) -> None:
    assert meter_findings(bench, "M1", slope="84", columns="rule, level, doubted_meters") == [
        ("meter_in_doubt", "warn", [{"meter_id": "M1", "failed_on": date(2026, 3, 30)}])
    ]


@pytest.mark.parametrize(
    ("buffers", "rules"), [("4.01/7.00", []), ("7.00/10.01", ["buffers_not_bracketing"]), ("6,9", [])]
)
def test_buffers_that_do_not_bracket_the_readings(bench: Bench, buffers: str, rules: list[str]) -> None:
    bench.use(site(calibrations=True))
    bench.calibrations(f"buffers\n{buffers}")
    found = findings(bench, five("meter_id", "M1"), "rule, meters_not_bracketed")
    figures = {"lowest_buffer": 7.0, "highest_buffer": 10.01, "lowest_ph": 5.9, "highest_ph": 6.1}
    assert found == [(rule, [{"meter_id": "M1", **figures}]) for rule in rules]


def test_only_the_meter_without_a_check_is_named(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.calibrations("meter_id | buffers\nM1 | 4.01/7.00\nM3 | 7.00/10.01")
    table = "ph | meter_id\n5.9 | M1\n6.0 | M2\n6.1 | M1\n6.0 | M3\n5.95 | M1"
    found = findings(bench, table, "rule, coalesce(what, meters_not_bracketed[1].meter_id)")
    assert found == [("buffers_not_bracketing", "M3"), ("meter_not_calibrated", "M2")]


def test_a_site_without_calibrations_is_not_told_each_day(bench: Bench) -> None:
    assert findings(bench, five("meter_id", "M1")) == []


def test_rain_water_whose_ec_is_known_is_no_remark(bench: Bench) -> None:
    assert findings(bench, five("poured_with | poured_ec_ms_cm", "rain | 0.05")) == []


WATERS = "place | checked_on | ec_ms_cm\n"


@pytest.mark.parametrize(
    ("water", "rules"),
    [
        ("source_water | 2026-03-30 | 3.01", ["ec_below_water"]),
        ("source_water | 2026-03-30 | 3.0", []),
        ("source_water | 2026-03-31 | 3.01", []),
        ("source_water | 2026-01-29 | 3.01", ["ec_below_water"]),
        ("source_water | 2026-01-28 | 3.01", []),
        ("hose_end | 2026-03-30 | 3.01", []),
        ("source_water | 2026-03-02 | 3.01\nsource_water | 2026-03-30 | 0.4", []),
    ],
)
def test_leachate_below_its_source_water(bench: Bench, water: str, rules: list[str]) -> None:
    bench.load_file("feed_checks", WATERS + water)
    assert findings(bench, five("ec_ms_cm", "3.0"), "rule") == [(rule,) for rule in rules]
