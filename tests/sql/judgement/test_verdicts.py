"""Each quantity of a sampling against the lot's target.

Poinsettia (the default): pH 5.8-6.2, EC 2.5-4.5 mS/cm, another pH range 6.0-6.4 and another EC range 2.6-4.6.
Petunia: pH 5.4-6.2 (other ranges 5.3-5.8 and narrower), EC 2.0-3.5. Zonal geranium: pH 6.0-6.6 (others 5.8-6.8).
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

import pytest

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod, Target
from tests.sql.bench import Bench

Quantity = Literal["ph", "ec"]
NO_PUBLISHED_ROW = "star jasmine"


def own(crop: str, quantity: Quantity, low: str, high: str) -> PolicyPeriod:
    target = Target(crop=crop, quantity=quantity, low=Decimal(low), high=Decimal(high))
    return PolicyPeriod(valid_from=date(2026, 1, 1), targets=(target,))


def judge(
    bench: Bench,
    *samplings: str,
    crop: str = "poinsettia",
    quantity: Quantity = "ph",
    columns: str = "side, verdict",
    **same: str,
) -> list[tuple[object, ...]]:
    """Verdicts on samplings written as the values of their pots, each of a lot of its own."""
    names = [f"L{number:02}" for number in range(len(samplings))]
    bench.lots("lot_code | crop\n" + "\n".join(f"{name} | {crop}" for name in names))
    column = "ph" if quantity == "ph" else "ec_ms_cm"
    for name, pots in zip(names, samplings, strict=True):
        bench.pots(pots, quantity=column, lot_code=name, **same)
    rows = bench.rows("verdicts", f"lot_key, {columns}", f"quantity = '{quantity}'")
    return [row[1:] for row in rows]


def five(value: str) -> str:
    """Five pots with this mean that hardly differ: an interval of a few thousandths."""
    return " ".join(str(Decimal(value) + step * Decimal("0.001")) for step in (-2, -1, 0, 1, 2))


# Sides ---------------------------------------------------------------------------------------------


def test_edges_belong_to_the_range(bench: Bench) -> None:
    cases = (five("5.799"), five("5.8"), five("6.2"), five("6.201"))
    assert judge(bench, *cases, columns="side") == [("low",), ("in_range",), ("in_range",), ("high",)]


# 7 x 5.4 / 7 is 5.3999999999999995 in binary fractions.
def test_equal_pots_on_the_edge_are_in_range_whatever_their_number(bench: Bench) -> None:
    bench.use(policy=[own(NO_PUBLISHED_ROW, "ph", "5.4", "6.2")])
    cases = [" 5.4" * pots for pots in (5, 6, 7, 11, 12, 14)]
    # Pots all alike have the policy's spread, which reaches over the edge.
    assert judge(bench, *cases, crop=NO_PUBLISHED_ROW) == [("in_range", "close_to_limit")] * len(cases)


def test_pots_that_average_the_edge_exactly_are_in_range(bench: Bench) -> None:
    assert judge(bench, "5.7 5.9 5.75 5.85 5.8", columns="side") == [("in_range",)]


def test_close_to_limit_where_the_interval_reaches_over_an_edge(bench: Bench) -> None:
    near_low, near_high, well_inside = "5.7 5.9 5.8 5.9 5.8", "6.3 6.1 6.2 6.1 6.2", "6.0 6.01 6.0 5.99 6.0"
    assert judge(bench, near_low, near_high, well_inside) == [
        ("in_range", "close_to_limit"),
        ("in_range", "close_to_limit"),
        ("in_range", "in_range"),
    ]


def test_ec_is_judged_against_its_own_target(bench: Bench) -> None:
    cases = (five("2.4"), five("2.5"), five("4.5"), five("4.7"))
    assert judge(bench, *cases, quantity="ec", columns="side") == [
        ("low",),
        ("in_range",),
        ("in_range",),
        ("high",),
    ]


# Clearly out ---------------------------------------------------------------------------------------


def test_clearly_out_needs_the_margin_of_02_ph(bench: Bench) -> None:
    # 5.4 and more, where no action threshold decides; 6.45 and more, above every published range.
    cases = (five("5.601"), five("5.6"), five("6.399"), five("6.41"))
    assert judge(bench, *cases) == [
        ("low", "out"),
        ("low", "clearly_out"),
        ("high", "out"),
        ("high", "clearly_out"),
    ]


def test_clearly_out_needs_an_interval_wholly_beyond_the_edge(bench: Bench) -> None:
    wide, narrow = "5.9 5.2 5.9 5.2 5.5", "5.5 5.6 5.5 5.6 5.5"
    assert judge(bench, wide, narrow) == [("low", "out"), ("low", "clearly_out")]


def test_one_pot_has_no_interval_and_is_never_clearly_out_by_it(bench: Bench) -> None:
    one_pot = {"pot_4in": ContainerChange(min_usable_pots=1)}
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), containers=one_pot)])
    assert judge(bench, "5.5") == [("low", "out")]


@pytest.mark.parametrize(
    ("edges", "means"),
    [
        # 15 % of 3.0 and of 4.0
        (("3.0", "4.0"), ("2.551", "2.55", "4.599", "4.6")),
        # 15 % would be 0.15 and 0.30: 0.4 mS/cm below and 0.5 above at least
        (("1.0", "2.0"), ("0.601", "0.6", "2.499", "2.5")),
    ],
)
def test_the_margin_of_ec_is_15_percent_of_the_edge_or_a_least_distance(
    bench: Bench, edges: tuple[str, str], means: tuple[str, ...]
) -> None:
    bench.use(policy=[own(NO_PUBLISHED_ROW, "ec", *edges)])
    cases = tuple(five(mean) for mean in means)
    assert judge(bench, *cases, crop=NO_PUBLISHED_ROW, quantity="ec") == [
        ("low", "out"),
        ("low", "clearly_out"),
        ("high", "out"),
        ("high", "clearly_out"),
    ]


# Action thresholds ---------------------------------------------------------------------------------


def spread(mean: str) -> str:
    """Five pots around a mean, so uneven that the interval decides nothing."""
    middle = Decimal(mean)
    return " ".join(str(middle + Decimal(step)) for step in ("-0.8", "-0.4", "0", "0.4", "0.8"))


def test_above_64_iron_inefficient_crops_are_clearly_out(bench: Bench) -> None:
    assert judge(bench, spread("6.4"), spread("6.41"), crop="petunia") == [
        ("high", "out"),
        ("high", "clearly_out"),
    ]


def test_above_64_says_nothing_of_other_crops(bench: Bench) -> None:
    assert judge(bench, spread("6.9"), crop="poinsettia") == [("high", "out")]


def test_below_55_iron_efficient_crops_are_clearly_out(bench: Bench) -> None:
    cases = (spread("5.5"), spread("5.49"))
    assert judge(bench, *cases, crop="geranium, zonal") == [("low", "out"), ("low", "clearly_out")]


def test_below_54_other_crops_are_clearly_out(bench: Bench) -> None:
    assert judge(bench, spread("5.4"), spread("5.39")) == [("low", "out"), ("low", "clearly_out")]


def test_a_target_that_begins_lower_knows_no_threshold_of_54(bench: Bench) -> None:
    bench.use(policy=[own(NO_PUBLISHED_ROW, "ph", "5.399", "6.0")])
    assert judge(bench, spread("5.3"), crop=NO_PUBLISHED_ROW) == [("low", "out")]


def test_a_threshold_that_is_the_edge_itself_needs_interval_and_margin(bench: Bench) -> None:
    # The general range begins at 5.4, below which others are acted on.
    cases = (spread("5.39"), five("5.201"), five("5.2"))
    assert judge(bench, *cases, crop=NO_PUBLISHED_ROW) == [
        ("low", "out"),
        ("low", "out"),
        ("low", "clearly_out"),
    ]


# Other published ranges ----------------------------------------------------------------------------


def test_inside_another_published_range_it_is_only_out(bench: Bench) -> None:
    # Another source gives poinsettia 6.0-6.4; 6.4 is beyond 6.2 by the margin.
    cases = (five("6.4"), five("6.401"))
    assert judge(bench, *cases, columns="side, verdict, is_inside_another") == [
        ("high", "out", True),
        ("high", "clearly_out", False),
    ]


def test_another_range_softens_a_crossed_threshold_too(bench: Bench) -> None:
    # Petunia: 5.35 is below 5.4, but inside 5.3-5.8 of another source; 5.2 is inside none.
    cases = (five("5.35"), five("5.2"))
    assert judge(bench, *cases, crop="petunia", columns="verdict, is_inside_another") == [
        ("out", True),
        ("clearly_out", False),
    ]


def test_in_range_no_other_range_matters(bench: Bench) -> None:
    assert judge(bench, five("6.1"), columns="verdict, is_inside_another") == [("in_range", False)]


def test_ranges_of_the_other_quantity_do_not_soften(bench: Bench) -> None:
    # pH 3.0 would lie inside the EC range.
    assert judge(bench, five("3.0")) == [("low", "clearly_out")]


# Not judged ----------------------------------------------------------------------------------------


def why(bench: Bench, table: str, crop: str = "poinsettia") -> dict[str, str | None]:
    """Why each quantity of one sampling is not judged."""
    bench.lots(f"crop\n{crop}")
    bench.readings(table)
    return dict(bench.rows("verdicts", "quantity, not_judged_why"))


def test_too_few_pots_are_not_judged(bench: Bench) -> None:
    assert why(bench, "ph\n4.0\n4.0\n4.0\n4.0") == {"ph": "too_few_pots", "ec": "too_few_pots"}


def test_five_pots_are_judged(bench: Bench) -> None:
    assert why(bench, "ph\n4.0\n4.0\n4.0\n4.0\n4.0") == {"ph": None, "ec": None}


def test_without_a_target_there_is_no_verdict(bench: Bench) -> None:
    assert why(bench, "ph\n6\n6\n6\n6\n6", NO_PUBLISHED_ROW) == {"ph": None, "ec": "no_target"}


def test_ec_that_nobody_measured(bench: Bench) -> None:
    assert why(bench, "ec_ms_cm\n-\n-\n-\n-\n3") == {"ph": None, "ec": "not_measured"}


def test_ec_without_temperature(bench: Bench) -> None:
    assert why(bench, "ec_compensated\nfalse\nfalse\ntrue\ntrue\ntrue") == {
        "ph": None,
        "ec": "no_temperature",
    }


def test_ec_with_volumes_too_far_off(bench: Bench) -> None:
    assert why(bench, "leachate_ml\n60\n60\n30\n30\n30") == {"ph": None, "ec": "volume"}


# At least ------------------------------------------------------------------------------------------


def ec_of(bench: Bench, volume: str, *samplings: str) -> list[tuple[object, ...]]:
    """Verdicts on the EC of samplings whose leachate has one volume."""
    columns = "side, verdict, is_at_least, not_judged_why"
    return judge(bench, *samplings, quantity="ec", columns=columns, leachate_ml=volume)


def test_over_collected_and_still_above_the_range_is_high_at_least(bench: Bench) -> None:
    assert ec_of(bench, "50", five("5.5")) == [("high", "out", True, None)]


def test_over_collected_and_not_above_the_range_is_not_judged(bench: Bench) -> None:
    assert ec_of(bench, "50", five("2.0"), five("4.5")) == [(None, None, False, "volume")] * 2


def test_under_collected_and_still_below_the_range_is_low_at_least(bench: Bench) -> None:
    assert ec_of(bench, "10", five("1.5")) == [("low", "out", True, None)]


def test_under_collected_and_not_below_the_range_is_not_judged(bench: Bench) -> None:
    assert ec_of(bench, "10", five("2.5"), five("5.5")) == [(None, None, False, "volume")] * 2


def test_pots_that_lean_the_other_way_do_not_help_to_decide(bench: Bench) -> None:
    bench.lots()
    # Four far over, one mildly under: only four of five cannot read too high.
    bench.readings("leachate_ml | ec_ms_cm\n50 | 6\n50 | 6\n50 | 6\n50 | 6\n20 | 6")
    assert bench.rows("verdicts", "side, not_judged_why", "quantity = 'ec'") == [(None, "volume")]


def test_at_least_is_as_far_out_as_the_pots_that_decide(bench: Bench) -> None:
    # 5.5 lies 1.0 beyond 4.5, two steps of 0.5 mS/cm, and over the margin of a tenth; 4.7 is not over it.
    columns = "judged_mean, steps_beyond, is_beyond_margin, n"
    assert judge(bench, five("5.5"), five("4.7"), quantity="ec", columns=columns, leachate_ml="50") == [
        (5.5, pytest.approx(2.0), True, None),
        (4.7, pytest.approx(0.4), False, None),
    ]


def test_at_least_very_high_is_very_high(bench: Bench) -> None:
    cases = (five("6.6"), five("6.5"))
    assert judge(bench, *cases, quantity="ec", columns="is_ec_very_high", leachate_ml="50") == [
        (True,),
        (False,),
    ]


# What else a verdict says --------------------------------------------------------------------------


def test_ec_of_66_and_more_is_very_high(bench: Bench) -> None:
    cases = (five("6.599"), five("6.6"), "6.5 6.7 6.55 6.65 6.6")
    assert judge(bench, *cases, quantity="ec", columns="is_ec_very_high") == [(False,), (True,), (True,)]


def test_nursery_containers_know_no_very_high_ec(bench: Bench) -> None:
    bench.use(policy=[own("poinsettia", "ec", "2.5", "4.5")])
    bench.lots("container_class\nnursery")
    bench.pots(five("7"), quantity="ec_ms_cm", leachate_ml="50")
    assert bench.rows("verdicts", "side, is_ec_very_high", "quantity = 'ec'") == [("high", False)]


def test_ec_below_06_of_the_low_edge_is_far_below(bench: Bench) -> None:
    # 0.6 x 2.5 is 1.5.
    cases = (five("1.5"), five("1.499"))
    assert judge(bench, *cases, quantity="ec", columns="is_ec_far_below") == [(False,), (True,)]


def test_steps_beyond_the_edge(bench: Bench) -> None:
    # 0.2 pH is one step.
    cases = (five("5.4"), five("6.5"), five("6.0"))
    assert judge(bench, *cases, columns="steps_beyond") == [
        (pytest.approx(2.0),),
        (pytest.approx(1.5),),
        (0.0,),
    ]


def test_uneven_above_the_policys_sd(bench: Bench) -> None:
    even, uneven = "5.7 5.8 6.0 6.2 6.3", "5.6 5.7 6.0 6.3 6.4"
    assert judge(bench, even, uneven, columns="is_uneven, sd > 0.3") == [(False, False), (True, True)]


def test_an_assumed_sd_is_never_uneven(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), summary_ph_sd=Decimal("0.5"))])
    assert judge(bench, "6.0", columns="is_uneven, is_sd_assumed", n_pots="5") == [(False, True)]


def test_pots_in_range_are_counted_edges_included(bench: Bench) -> None:
    assert judge(bench, "5.79 5.8 6.0 6.2 6.21", columns="pots_in_range") == [(3,)]


def test_pots_in_range_are_unknown_of_a_summary_line(bench: Bench) -> None:
    assert judge(bench, "6.0", columns="pots_in_range", n_pots="5") == [(None,)]


def test_low_ec_is_outside_active_in_the_first_14_and_the_last_21_days(bench: Bench) -> None:
    bench.lots("started_on | ends_on\n2026-02-02 | 2026-03-31")
    for day in ("2026-02-15", "2026-02-16", "2026-03-10", "2026-03-11"):
        bench.pots(five("1"), quantity="ec_ms_cm", sampled_on=day)
    columns = "sampled_on::varchar, stage, is_low_ec_outside_active"
    assert bench.rows("verdicts", columns, "quantity = 'ec'") == [
        ("2026-02-15", "establishing", True),
        ("2026-02-16", "active", False),
        ("2026-03-10", "active", False),
        ("2026-03-11", "finishing", True),
    ]


def test_a_sampling_is_judged_by_the_policy_of_its_day(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 15), clear_margin_ph=Decimal("0.4"))])
    bench.lots()
    for day in ("2026-03-14", "2026-03-15"):
        bench.pots(five("5.5"), sampled_on=day)
    assert bench.rows("verdicts", "sampled_on::varchar, verdict", "quantity = 'ph'") == [
        ("2026-03-14", "clearly_out"),
        ("2026-03-15", "out"),
    ]


def test_a_number_of_another_method_is_not_held_against_pour_through_targets(bench: Bench) -> None:
    bench.lots()
    bench.pots("1.0 " * 5, quantity="ec_ms_cm", method="1:2 dilution")
    columns = "side, verdict, not_judged_why, is_ec_very_high"
    assert bench.rows("verdicts", columns, "quantity = 'ec'") == [(None, None, "other_method", False)]


def test_very_high_begins_where_the_band_of_the_method_begins(bench: Bench) -> None:
    # UMass: saturated media extract 5.0-6.0 is very high, and a shared edge belongs to the lower band.
    bench.lots("lot_code\nA\nB")
    bench.pots("5.0 " * 5, quantity="ec_ms_cm", method="saturated media extract", lot_code="A")
    bench.pots("5.01 " * 5, quantity="ec_ms_cm", method="saturated media extract", lot_code="B")
    assert bench.rows("verdicts", "lot_key, is_ec_very_high", "quantity = 'ec'") == [
        ("a", False),
        ("b", True),
    ]


def test_published_ranges_do_not_soften_a_number_of_another_method(bench: Bench) -> None:
    # 2.0 lies inside the published 1.0-2.6 of pansy, which is of the pour-through.
    own = Target(crop="pansy", quantity="ec", low=Decimal("0.8"), high=Decimal("1.3"))
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), targets=(own,))])
    bench.lots("lot_code | crop\nA | pansy\nB | pansy")
    bench.pots("2.0 " * 5, quantity="ec_ms_cm", method="1:2 dilution", lot_code="A")
    bench.pots("2.0 " * 5, quantity="ec_ms_cm", lot_code="B")
    assert bench.rows("verdicts", "lot_key, verdict, is_inside_another", "quantity = 'ec'") == [
        ("a", "clearly_out", False),
        ("b", "out", True),
    ]
