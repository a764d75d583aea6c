"""The range a lot is judged against: own, published, general, or none."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

import pytest

from pipeline.settings.policy import CropGroup, PolicyPeriod, Target
from pipeline.settings.words import Stage
from tests.sql.bench import Bench, site

UMASS = "UMass Extension, Greenhouse Updates, 24 Mar 2023"
RANGE = "low::double, high::double, basis"


def one(
    low: str,
    high: str,
    quantity: Literal["ph", "ec"] = "ph",
    stage: Stage | None = None,
    note: str = "our trial",
) -> Target:
    return Target(
        crop="Petunia ", quantity=quantity, low=Decimal(low), high=Decimal(high), stage=stage, note=note
    )


def own(low: str, high: str, quantity: Literal["ph", "ec"] = "ph", since: str = "2026-01-01") -> PolicyPeriod:
    return PolicyPeriod(valid_from=date.fromisoformat(since), targets=(one(low, high, quantity),))


def staged(*targets: Target, since: str = "2026-01-01") -> PolicyPeriod:
    return PolicyPeriod(valid_from=date.fromisoformat(since), targets=targets)


def target(
    bench: Bench, columns: str = RANGE, quantity: str = "ph", on: str = "2026-04-06"
) -> tuple[object, ...]:
    """The only lot's target on a day."""
    (row,) = bench.rows(
        "lot_targets", columns, f"quantity = '{quantity}' and valid_from <= '{on}' and valid_to > '{on}'"
    )
    return row


def test_the_published_row_that_the_policy_chooses(bench: Bench) -> None:
    bench.lots("crop\nPetunia")
    assert target(bench) == (5.4, 6.2, "published")
    source, how_known, remark = target(bench, "source, how_known, remark")
    assert str(source).startswith(UMASS)
    assert (how_known, remark) == ("read", None)


def test_the_preferred_source_holds_from_its_day_on(bench: Bench) -> None:
    order = ("New England Greenhouse Update, 30 Mar 2015",)
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 15), target_source_order=order)])
    bench.lots("crop\npetunia")
    assert target(bench, on="2026-03-14") == (5.4, 6.2, "published")
    assert target(bench, on="2026-03-15") == (5.5, 6.0, "published")


def test_the_groups_own_target_comes_before_the_published_one(bench: Bench) -> None:
    bench.use(policy=[own("5.5", "6.0")])
    bench.lots("crop\nPetunia")
    assert target(bench, f"{RANGE}, source, source_url, how_known") == (
        5.5,
        6.0,
        "group",
        "our trial",
        None,
        "own value",
    )


def test_the_sites_own_target_comes_before_the_groups(bench: Bench) -> None:
    bench.use(site(policy=[own("5.6", "6.1")]), site("south"), policy=[own("5.5", "6.0")])
    bench.lots("crop\npetunia")
    bench.lots("crop\npetunia", site_id="south")
    assert bench.rows("lot_targets", f"site_id, {RANGE}", "quantity = 'ph' and valid_to > '2026-04-06'") == [
        ("north", 5.6, 6.1, "site"),
        ("south", 5.5, 6.0, "group"),
    ]


def test_an_own_target_holds_from_its_day_on(bench: Bench) -> None:
    bench.use(policy=[own("5.5", "6.0", since="2026-03-15")])
    bench.lots("crop\npetunia")
    assert target(bench, on="2026-03-14") == (5.4, 6.2, "published")
    assert target(bench, on="2026-03-15") == (5.5, 6.0, "group")


def test_an_own_target_of_one_quantity_leaves_the_other(bench: Bench) -> None:
    bench.use(policy=[own("5.5", "6.0")])
    bench.lots("crop\npetunia")
    assert target(bench, quantity="ec") == (2.0, 3.5, "published")


def test_a_crop_in_no_table_has_the_general_ph_range_and_no_ec_target(bench: Bench) -> None:
    bench.lots("crop\nstar jasmine")
    assert target(bench, f"{RANGE}, remark") == (5.4, 6.2, "general", "no_published_target")
    assert target(bench, f"{RANGE}, remark", "ec") == (None, None, None, "no_published_target")


def grouped(*crops: CropGroup, since: str = "2026-01-01") -> PolicyPeriod:
    return PolicyPeriod(valid_from=date.fromisoformat(since), crops=crops)


def test_a_crop_in_no_table_takes_the_ranges_of_the_groups_that_the_policy_names(bench: Bench) -> None:
    crop = CropGroup(crop=" No Such  Crop", ph_group="iron-inefficient", feeding_level="light")
    bench.use(policy=[grouped(crop, since="2026-03-15")])
    bench.lots("crop\nno such crop")
    assert target(bench, on="2026-03-14") == (5.4, 6.2, "general")
    assert target(bench, f"{RANGE}, ph_group, remark") == (5.4, 5.8, "published", "iron-inefficient", None)
    assert target(bench, f"{RANGE}, remark", "ec") == (1.0, 2.6, "published", None)
    assert str(target(bench, "source")[0]).startswith("pH group iron-inefficient by the policy; Growing")
    assert str(target(bench, "source", "ec")[0]).startswith("feeding level light by the policy; NC State")


def test_a_range_printed_for_the_crop_goes_before_a_groups_and_an_own_one_before_both(bench: Bench) -> None:
    groups = (
        CropGroup(crop="petunia", ph_group="iron-efficient", feeding_level="heavy"),
        CropGroup(crop="no such crop", ph_group="iron-efficient"),
    )
    bench.use(policy=[grouped(*groups), own("2.2", "3.3", "ec")])
    bench.lots("lot_code | crop\nA | petunia\nB | no such crop")
    assert bench.rows("lot_targets", f"lot_key, quantity, {RANGE}", "valid_to > '2026-04-06'") == [
        ("a", "ec", 2.2, 3.3, "group"),
        ("a", "ph", 5.4, 6.2, "published"),
        ("b", "ec", None, None, None),
        ("b", "ph", 6.2, 6.8, "published"),
    ]


LAST_PH = "quantity = 'ph' and valid_to > '2026-04-06'"


def test_a_range_printed_without_a_group_has_the_policys_and_one_with_a_group_keeps_its_own(
    bench: Bench,
) -> None:
    groups = (
        CropGroup(crop="celosia", ph_group="iron-efficient"),
        CropGroup(crop="petunia", ph_group="iron-efficient"),
    )
    bench.use(policy=[grouped(*groups)])
    bench.lots("lot_code | crop\nA | celosia\nB | petunia")
    assert bench.rows("lot_targets", "lot_key, low::double, high::double, ph_group", LAST_PH) == [
        ("a", 6.0, 6.8, "iron-efficient"),
        ("b", 5.4, 6.2, "iron-inefficient"),
    ]


UNUSED = "unused_group, unused_low::double, unused_high::double"


def test_a_group_that_a_published_range_or_group_goes_before_is_told(bench: Bench) -> None:
    """Celosia: a range without a group; petunia: both; pansy: an own pH target; no such crop: neither is published."""
    crops = ("celosia", "petunia", "pansy", "no such crop")
    groups = [CropGroup(crop=crop, ph_group="iron-efficient", feeding_level="heavy") for crop in crops]
    own_ph = staged(
        Target(crop="pansy", quantity="ph", low=Decimal("5.5"), high=Decimal(6)),
    )
    bench.use(policy=[grouped(*groups), own_ph])
    bench.lots(
        "lot_code | crop | container_class\nA | celosia | pot_4in\nB | petunia | pot_4in\nC | pansy | pot_4in\n"
        "D | no such crop | pot_4in\nE | petunia | plug"
    )
    found = bench.rows("lot_targets", f"lot_key, quantity, {UNUSED}", "valid_to > '2026-04-06'")
    assert found == [
        ("a", "ec", "heavy", 2.6, 4.6),
        ("a", "ph", "iron-efficient", 6.2, 6.8),
        ("b", "ec", "heavy", 2.6, 4.6),
        ("b", "ph", "iron-efficient", 6.2, 6.8),
        ("c", "ec", "heavy", 2.6, 4.6),
        ("c", "ph", "iron-efficient", None, None),
        ("d", "ec", None, None, None),
        ("d", "ph", None, None, None),
        ("e", "ec", None, None, None),
        ("e", "ph", "iron-efficient", 6.2, 6.8),
    ]


def test_plugs_of_a_group_are_judged_on_ph_alone(bench: Bench) -> None:
    bench.use(policy=[grouped(CropGroup(crop="no such crop", ph_group="general", feeding_level="medium"))])
    bench.lots("crop | container_class\nno such crop | plug")
    assert target(bench) == (5.8, 6.2, "published")
    assert target(bench, f"{RANGE}, remark", "ec") == (None, None, None, "history_only")


@pytest.mark.parametrize(
    ("column", "value"),
    [("container_class", "plug"), ("container_class", "nursery"), ("feed_mode", "controlled_release")],
)
def test_some_lots_are_judged_on_ec_against_their_own_history_only(
    bench: Bench, column: str, value: str
) -> None:
    bench.lots(f"crop | {column}\npetunia | {value}")
    assert target(bench, f"{RANGE}, remark", "ec") == (None, None, None, "history_only")
    assert target(bench) == (5.4, 6.2, "published")


def test_an_own_ec_target_judges_them_after_all(bench: Bench) -> None:
    bench.use(policy=[own("1.0", "2.0", "ec")])
    bench.lots("crop | container_class\npetunia | plug")
    assert target(bench, f"{RANGE}, remark", "ec") == (1.0, 2.0, "group", None)


def test_a_lot_whose_line_cannot_be_used_has_no_target(bench: Bench) -> None:
    bench.lots("crop | problem\npetunia | missing")
    assert bench.rows("lot_targets", "quantity") == []


# Started on 2 March: establishing up to 15 March. Ends on 20 May: finishing from 30 April on (21 days).
STAGED_LOT = "crop | started_on | ends_on\npetunia | 2026-03-02 | 2026-05-20"


def test_a_target_for_the_stage_holds_from_its_first_day_to_its_last(bench: Bench) -> None:
    bench.use(policy=[staged(one("5.5", "6.0"), one("5.8", "6.3", stage="finishing"))])
    bench.lots(STAGED_LOT)
    assert target(bench, f"{RANGE}, own_stage", on="2026-04-29") == (5.5, 6.0, "group", None)
    assert target(bench, f"{RANGE}, own_stage", on="2026-04-30") == (5.8, 6.3, "group", "finishing")
    assert target(bench, f"{RANGE}, own_stage", on="2026-06-01") == (5.8, 6.3, "group", "finishing")


def test_without_one_for_the_stage_the_published_row_is_taken(bench: Bench) -> None:
    bench.use(policy=[staged(one("5.8", "6.3", stage="establishing"))])
    bench.lots(STAGED_LOT)
    assert target(bench, f"{RANGE}, own_stage", on="2026-03-15") == (5.8, 6.3, "group", "establishing")
    assert target(bench, f"{RANGE}, own_stage", on="2026-03-16") == (5.4, 6.2, "published", None)


def test_a_target_for_the_stage_goes_before_the_sites_for_all_stages(bench: Bench) -> None:
    of_stage = staged(one("5.8", "6.3", stage="active"))
    bench.use(site(policy=[own("5.6", "6.1")]), policy=[of_stage])
    bench.lots(STAGED_LOT)
    assert target(bench, on="2026-04-06") == (5.8, 6.3, "group")
    assert target(bench, on="2026-03-10") == (5.6, 6.1, "site")


def test_the_sites_for_a_stage_goes_before_the_groups_for_it(bench: Bench) -> None:
    bench.use(
        site(policy=[staged(one("5.7", "6.0", stage="active"))]),
        policy=[staged(one("5.8", "6.3", stage="active"))],
    )
    bench.lots(STAGED_LOT)
    assert target(bench) == (5.7, 6.0, "site")


def test_every_day_of_a_lot_has_one_target(bench: Bench) -> None:
    """Also of a lot so short that it is finishing before it is active, and across a change of policy."""
    bench.use(
        policy=[
            staged(one("5.8", "6.3", stage="finishing"), one("5.0", "6.0", stage="establishing")),
            staged(one("5.9", "6.3", stage="finishing"), since="2026-03-10"),
        ]
    )
    rows = "A | 2026-03-02 | 2026-03-20\nB | 2026-03-02 | -"
    bench.lots(f"lot_code | started_on | ends_on\n{rows}", same={"crop": "petunia"})
    bench.build("lot_targets")
    spans: dict[object, list[tuple[date, date]]] = {}
    for lot, first, last in bench.select("lot_targets", "lot_key, valid_from, valid_to", "quantity = 'ph'"):
        spans.setdefault(lot, []).append((first, last))
    for found in spans.values():
        assert [last for _, last in found[:-1]] == [first for first, _ in found[1:]]
    assert set(spans) == {"a", "b"}
    # 20 March less 21 days lies before the lot is 14 days old: never active
    lows = bench.select(
        "lot_targets", "low::double", "quantity = 'ph' and lot_key = 'a' and valid_to > '2026-03-10'"
    )
    assert lows == [(5.0,), (5.9,)]
