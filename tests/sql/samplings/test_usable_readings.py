"""What an accepted reading may be used for, and EC at 25 °C."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench


def usable(bench: Bench, columns: str) -> list[tuple[object, ...]]:
    """These columns of the readings, in the order of their lines."""
    bench.build("usable_readings")
    return [row[1:] for row in bench.select("usable_readings", f"record_no, {columns}")]


# EC at 25 °C ---------------------------------------------------------------------------------------


def test_a_compensating_meter_reads_at_25_degrees_already(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_ms_cm | temperature_c | ec_compensated\n3.0 | 15 | true\n3.0 | - | true")
    assert usable(bench, "ec_25_ms_cm, is_usable_ec") == [(Decimal(3), True), (Decimal(3), True)]


def test_ec_goes_to_25_degrees_by_the_policy_coefficient(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        "ec_ms_cm | temperature_c | ec_compensated\n3.0 | 15 | false\n3.0 | 25 | false\n3.0 | 30 | false"
    )
    # 3.0 / (1 + 0.0191 * -10), 3.0, 3.0 / (1 + 0.0191 * 5)
    assert usable(bench, "ec_25_ms_cm, is_usable_ec, ec_recorded_ms_cm") == [
        (Decimal("3.7083"), True, Decimal(3)),
        (Decimal("3.0000"), True, Decimal(3)),
        (Decimal("2.7385"), True, Decimal(3)),
    ]


def test_without_temperature_a_meter_that_does_not_compensate_gives_no_ec(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_compensated | temperature_c\nfalse | -")
    assert usable(bench, "is_usable_ph, is_usable_ec, why_not_ec, ec_25_ms_cm") == [
        (True, False, "no_temperature", None)
    ]


@pytest.mark.parametrize(
    ("temperature", "ec", "why"),
    [
        ("-0.1", None, "no_temperature"),
        # 2 / (1 + 0.0191 (T - 25))
        ("0", Decimal("3.8278"), None),
        ("50", Decimal("1.3536"), None),
        # 72 °F in a column of °C would make two thirds of a good EC
        ("72", None, "no_temperature"),
    ],
)
def test_leachate_is_neither_frozen_nor_hot(
    bench: Bench, temperature: str, ec: Decimal | None, why: str | None
) -> None:
    bench.lots()
    bench.readings(f"ec_compensated | temperature_c | ec_ms_cm\nfalse | {temperature} | 2")
    assert usable(bench, "ec_25_ms_cm, why_not_ec, ec_recorded_ms_cm") == [(ec, why, Decimal(2))]


def test_a_meter_that_compensates_needs_no_temperature(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_compensated | temperature_c | ec_ms_cm\ntrue | 72 | 2")
    assert usable(bench, "ec_25_ms_cm, why_not_ec") == [(Decimal(2), None)]


def test_the_coefficient_is_that_of_the_day(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 30), ec_alpha_per_c=Decimal("0.02"))])
    bench.lots()
    bench.readings(
        "sampled_on | ec_ms_cm | temperature_c\n2026-03-29 | 4 | 15\n2026-03-30 | 4 | 15",
        same={"ec_compensated": "false"},
    )
    assert usable(bench, "ec_25_ms_cm") == [(Decimal("4.9444"),), (Decimal("5.0000"),)]


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    readings=st.lists(
        st.tuples(
            st.decimals("0.1", "20", places=4),
            st.decimals("5", "40", places=2),
        ),
        min_size=20,
        max_size=20,
    )
)
def test_any_ec_goes_to_25_degrees_as_the_formula_says(
    bench: Bench, readings: list[tuple[Decimal, Decimal]]
) -> None:
    bench.connection.execute("truncate reading_lines; truncate records; truncate files")
    bench.lots()
    lines = "\n".join(f"{ec} | {celsius}" for ec, celsius in readings)
    bench.readings(f"ec_ms_cm | temperature_c\n{lines}", same={"ec_compensated": "false"})
    found = [float(str(ec)) for (ec,) in usable(bench, "ec_25_ms_cm")]
    wanted = [float(ec) / (1 + 0.0191 * (float(celsius) - 25)) for ec, celsius in readings]
    assert found == pytest.approx(wanted, abs=0.000_051)


# Volume --------------------------------------------------------------------------------------------

VOLUMES = """
leachate_ml
14.99
15
23.99
24
36
36.01
42
42.01
"""


def test_volumes_at_the_edges_of_tolerance_and_of_exclusion_stay_in(bench: Bench) -> None:
    # 30 mL asked for: 24-36 within 20 %, EC left out below 0.5 x 30 and above 1.4 x 30.
    bench.lots("container_class\npot_4in")
    bench.readings(VOLUMES)
    assert usable(
        bench, "leachate_ml::double, is_under_collected, is_over_collected, is_usable_ec, why_not_ec"
    ) == [
        (14.99, True, False, False, "under_collected"),
        (15.0, True, False, True, None),
        (23.99, True, False, True, None),
        (24.0, False, False, True, None),
        (36.0, False, False, True, None),
        (36.01, False, True, True, None),
        (42.0, False, True, True, None),
        (42.01, False, True, False, "over_collected"),
    ]


def test_a_range_of_volumes_counts_from_its_own_edges(bench: Bench) -> None:
    # 50-60 mL asked for: 40-72 within 20 %, EC left out below 25 and above 84.
    bench.lots("container_class\npot_6_5in_plus")
    bench.readings("leachate_ml\n24.9\n25\n40\n72\n84\n84.1")
    assert usable(bench, "is_under_collected or is_over_collected, is_usable_ec") == [
        (True, False),
        (True, True),
        (False, True),
        (False, True),
        (True, True),
        (True, False),
    ]


def test_a_volume_never_takes_ph_out(bench: Bench) -> None:
    bench.lots()
    bench.readings("leachate_ml\n1\n300\n-")
    assert usable(bench, "is_usable_ph") == [(True,)] * 3


def test_a_volume_that_was_not_recorded_keeps_ec_in(bench: Bench) -> None:
    bench.lots()
    bench.readings("leachate_ml\n-\n30")
    assert usable(bench, "is_without_volume, is_usable_ec, is_over_collected") == [
        (True, True, False),
        (False, True, False),
    ]


def test_a_volume_is_judged_by_the_policy_of_its_day(bench: Bench) -> None:
    change = {"pot_4in": ContainerChange(leachate_low_ml=Decimal(50), leachate_high_ml=Decimal(50))}
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 15), containers=change)])
    bench.lots()
    bench.readings("sampled_on | leachate_ml\n2026-03-14 | 50\n2026-03-15 | 50\n2026-03-15 | 20")
    assert usable(bench, "why_not_ec") == [("over_collected",), (None,), ("under_collected",)]


# What else is written down -------------------------------------------------------------------------


def test_poured_more_than_a_quarter_off_the_recipe(bench: Bench) -> None:
    bench.lots()
    bench.readings("poured_ml\n22.4\n22.5\n37.5\n37.6\n-")
    assert usable(bench, "is_poured_off_recipe") == [(True,), (False,), (False,), (True,), (False,)]


def test_more_leachate_than_water_poured(bench: Bench) -> None:
    bench.lots()
    bench.readings("poured_ml | leachate_ml\n30 | 30\n30 | 30.1\n- | 30")
    assert usable(bench, "is_more_than_poured") == [(False,), (True,), (False,)]


@pytest.mark.parametrize(
    ("container", "off"), [("pot_4in", [True, False, False, True]), ("nursery", [True, False, False, False])]
)
def test_drain_time_by_container(bench: Bench, container: str, off: list[bool]) -> None:
    bench.lots(f"container_class\n{container}")
    bench.readings("drain_min\n29\n30\n60\n61")
    assert [found for (found,) in usable(bench, "is_drained_off_recipe")] == off


@pytest.mark.parametrize(
    ("purpose", "condition", "effective"),
    [
        ("routine", "affected", "affected"),
        ("routine", "healthy", "routine"),
        ("routine", "-", "routine"),
        ("healthy", "-", "healthy"),
        ("retest", "affected", "retest"),
    ],
)
def test_an_affected_pot_of_a_routine_sampling_is_kept_apart(
    bench: Bench, purpose: str, condition: str, effective: str
) -> None:
    bench.lots()
    bench.readings(f"purpose | condition\n{purpose} | {condition}")
    assert usable(bench, "purpose, recorded_purpose") == [(effective, purpose)]


def test_what_was_not_measured_is_not_usable(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph | ec_ms_cm\n6.0 | -\n- | 3.0")
    assert usable(bench, "is_usable_ph, is_usable_ec, why_not_ec") == [
        (True, False, "not_measured"),
        (False, True, None),
    ]


def test_a_reading_without_a_code_takes_the_class_of_the_lot_at_its_place(bench: Bench) -> None:
    bench.lots("lot_code | house | container_class\nA | 1 | pot_4in\nB | 2 | pot_5_6in")
    bench.readings("lot_code | house\n- | 2")
    assert usable(bench, "lot_id, leachate_high_ml") == [("B", Decimal(50))]


def test_only_accepted_readings_are_there(bench: Bench) -> None:
    bench.lots()
    bench.readings("lot_code | problem\nA | -\nX | -\nA | ph_out_of_scale")
    assert bench.rows("usable_readings", "record_no") == [(1,)]


def test_a_temperature_that_makes_no_sense_is_none(bench: Bench) -> None:
    # 1 + 0.0191 (T - 25) is almost nothing at -27.36 °C, and below nothing at -40.
    bench.lots()
    bench.readings(
        """
        ec_ms_cm | temperature_c | ec_compensated
        2.0      | -27.36        | false
        2.0      | -40           | false
        2.0      | 0             | false
        """
    )
    assert bench.rows("usable_readings", "ec_25_ms_cm::double, why_not_ec") == [
        (3.8278, None),
        (None, "no_temperature"),
        (None, "no_temperature"),
    ]
