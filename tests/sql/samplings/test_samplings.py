"""Samplings: enough pots to count, and done properly or not."""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench, site

VOLUME_OF = {"right": "30", "over": "37", "far": "43", "unknown": "-"}


def test_a_sampling_is_one_lot_day_and_purpose(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.readings(
        """
        lot_code | sampled_on | purpose
        A        | 2026-03-29 | routine
        A        | 2026-03-30 | routine
        A        | 2026-03-30 | routine
        A        | 2026-03-30 | retest
        B        | 2026-03-30 | routine
        """
    )
    assert bench.rows("samplings", "lot_key, strftime(sampled_on, '%d'), purpose, n_pots") == [
        ("a", "29", "routine", 1),
        ("a", "30", "retest", 1),
        ("a", "30", "routine", 2),
        ("b", "30", "routine", 1),
    ]


@pytest.mark.parametrize(
    ("container", "pots", "counts"),
    [
        ("pot_4in", 4, False),
        ("pot_4in", 5, True),
        ("pot_6_5in_plus", 4, False),
        ("nursery", 2, False),
        ("nursery", 3, True),
    ],
)
def test_five_pots_count_and_in_nursery_containers_three(
    bench: Bench, container: str, pots: int, counts: bool
) -> None:
    bench.lots(f"container_class\n{container}")
    bench.pots(" 6.0" * pots, leachate_ml="50")
    assert bench.rows("samplings", "is_counting") == [(counts,)]


def test_pots_without_ph_do_not_make_a_sampling_count(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph\n6.0\n6.0\n6.0\n6.0\n-")
    assert bench.rows("samplings", "n_pots, n_ph, n_ec, is_counting") == [(5, 4, 5, False)]


def test_a_summary_line_stands_for_its_pots(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots\n5")
    assert bench.rows("samplings", "n_pots, n_ph, is_counting, is_ec_countable") == [(5, 5, True, True)]


def test_ec_needs_as_many_pots_as_ph(bench: Bench) -> None:
    bench.lots()
    bench.readings("leachate_ml\n30\n30\n30\n30\n43")
    assert bench.rows("samplings", "is_counting, is_ec_countable, pots_volume_excluded") == [(True, False, 1)]


def test_pots_are_counted_by_what_is_the_matter(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        """
        leachate_ml | ec_ms_cm | ec_compensated
        37          | 3.0      | true
        43          | 3.0      | true
        20          | 3.0      | true
        -           | 3.0      | true
        30          | -        | true
        30          | 3.0      | false
        """
    )
    columns = (
        "pots_over_collected, pots_under_collected, pots_without_volume, pots_volume_excluded, pots_without_ec, "
        "pots_without_temperature"
    )
    assert bench.rows("samplings", columns) == [(2, 1, 1, 1, 1, 1)]


def test_volumes_of_a_sampling(bench: Bench) -> None:
    bench.lots()
    bench.readings("leachate_ml\n30.25\n30.30\n-")
    assert bench.rows(
        "samplings", "leachate_median_ml, leachate_min_ml::double, leachate_max_ml::double"
    ) == [(pytest.approx(30.275), 30.25, 30.3)]


# Proper --------------------------------------------------------------------------------------------


def proper(bench: Bench) -> str:
    ((found,),) = bench.rows("samplings", "proper")
    return str(found)


def test_proper_with_volumes_and_a_meter_calibrated_that_day(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("calibrated_on\n2026-03-30")
    bench.pots("6 6 6 6 6", meter_id="M1")
    assert proper(bench) == "yes"


def test_not_shown_where_the_site_sends_no_calibrations(bench: Bench) -> None:
    bench.lots()
    bench.pots("6 6 6 6 6", meter_id="M1")
    assert proper(bench) == "not_shown"


@pytest.mark.parametrize("calibrated_on", ["2026-03-29", "2026-03-31"])
def test_not_proper_with_a_meter_calibrated_on_another_day(bench: Bench, calibrated_on: str) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations(f"calibrated_on\n{calibrated_on}")
    bench.pots("6 6 6 6 6", meter_id="M1")
    assert proper(bench) == "no"


@pytest.mark.parametrize("meter", ["-", "M2"])
def test_every_pot_needs_a_calibrated_meter(bench: Bench, meter: str) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("meter_id\nM1")
    bench.readings(f"meter_id\nM1\nM1\nM1\nM1\nM1\n{meter}")
    assert proper(bench) == "no"


@pytest.mark.parametrize(
    ("sixth", "outcome"), [("right", "not_shown"), ("over", "no"), ("far", "no"), ("unknown", "no")]
)
def test_five_pots_need_a_volume_within_the_tolerance(bench: Bench, sixth: str, outcome: str) -> None:
    bench.lots()
    volumes = ["30", "30", "30", "30", "-", VOLUME_OF[sixth]]
    bench.readings("leachate_ml\n" + "\n".join(volumes))
    assert proper(bench) == outcome


def test_not_proper_with_too_few_pots(bench: Bench) -> None:
    bench.lots()
    bench.pots("6 6 6 6")
    assert proper(bench) == "no"


def test_not_proper_where_ec_is_missing(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_ms_cm\n3.0\n3.0\n3.0\n3.0\n-")
    assert proper(bench) == "no"


# Meters --------------------------------------------------------------------------------------------


def test_one_doubtful_meter_puts_the_sampling_in_doubt(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("meter_id | slope_pct\nM1 | 98\nM2 | 84")
    bench.readings("meter_id\nM1\nM2\n-")
    assert bench.rows("samplings", "is_meter_in_doubt, is_meter_calibrated, meter_ids") == [
        (True, False, ["M1", "M2"])
    ]
