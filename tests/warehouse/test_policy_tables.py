"""Settings and published tables as relations."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

import duckdb
import pytest

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod, Target
from pipeline.settings.policy_scalars import PolicyScalars
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.policy_tables import load_settings_tables
from tests.sql.bench import load, published_for, settings_of, site

EVER, NEVER = date(1, 1, 1), date(9999, 12, 31)
SPRING = date(2026, 3, 15)


@pytest.fixture(scope="module")
def connection() -> Iterator[Connection]:
    """One for all tests: each replaces whatever the one before it loaded."""
    with duckdb.connect(":memory:") as opened:
        migrate(opened)
        yield opened


def rows(connection: Connection, query: str) -> list[tuple[object, ...]]:
    return connection.execute(f"{query} order by all").fetchall()


def test_sites_and_whether_they_send_calibrations(connection: Connection) -> None:
    load(connection, site("north", calibrations=True), site("south"))
    assert rows(connection, "from sites") == [("north", "North", True, None), ("south", "South", False, None)]


def test_the_shipped_policy_holds_for_ever(connection: Connection) -> None:
    load(connection, site())
    assert rows(connection, "select valid_from, valid_to, volume_exclude_over, act_in_a_row from policy") == [
        (EVER, NEVER, Decimal("1.4"), 2)
    ]


def test_every_value_that_the_models_read_is_the_shipped_one(connection: Connection) -> None:
    load(connection, site())
    (row,) = connection.table("policy").pl().iter_rows(named=True)
    for name, field in PolicyScalars.model_fields.items():
        if name in row:
            assert row[name] == (float(field.default) if isinstance(row[name], float) else field.default), (
                name
            )
    assert row.keys() - set(PolicyScalars.model_fields) == {"site_id", "valid_from", "valid_to"}


def test_a_period_begins_a_new_span_for_every_site(connection: Connection) -> None:
    period = PolicyPeriod(valid_from=SPRING, clear_margin_ph=Decimal("0.25"))
    load(connection, site(), site("south"), policy=[period])
    assert rows(connection, "select site_id, valid_from, valid_to, clear_margin_ph from policy") == [
        ("north", EVER, SPRING, Decimal("0.2")),
        ("north", SPRING, NEVER, Decimal("0.25")),
        ("south", EVER, SPRING, Decimal("0.2")),
        ("south", SPRING, NEVER, Decimal("0.25")),
    ]


def test_the_sites_own_period_is_its_own(connection: Connection) -> None:
    period = PolicyPeriod(valid_from=SPRING, grace_days=0)
    load(connection, site(policy=[period]), site("south"))
    assert rows(connection, "select site_id, grace_days from policy") == [
        ("north", 0),
        ("north", 2),
        ("south", 2),
    ]


def test_values_with_more_decimals_later_are_not_rounded_to_the_first(connection: Connection) -> None:
    periods = [
        PolicyPeriod(
            valid_from=date(2026, 1, 1), offset_limit_mv=Decimal(20), clear_margin_ph=Decimal("0.125")
        ),
        PolicyPeriod(valid_from=SPRING, offset_limit_mv=Decimal("17.5")),
    ]
    load(connection, site(), policy=periods)
    assert rows(connection, "select valid_from, offset_limit_mv, clear_margin_ph from policy")[1:] == [
        (date(2026, 1, 1), Decimal(20), Decimal("0.125")),
        (SPRING, Decimal("17.5"), Decimal("0.125")),
    ]


def test_containers_by_span(connection: Connection) -> None:
    change = {"plug": ContainerChange(routine_interval_days=2, leachate_high_ml=Decimal("33.5"))}
    load(connection, site(), policy=[PolicyPeriod(valid_from=SPRING, containers=change)])
    assert rows(
        connection,
        "select valid_from, leachate_high_ml, routine_interval_days, min_usable_pots from policy_containers "
        "where container_class = 'plug'",
    ) == [
        (EVER, Decimal(30), 3, 5),
        (SPRING, Decimal("33.5"), 2, 5),
    ]
    assert rows(connection, "select count(distinct container_class), count(*) from policy_containers") == [
        (6, 12)
    ]


def test_problem_crops_compare_in_lower_case(connection: Connection) -> None:
    load(connection, site(), policy=[PolicyPeriod(valid_from=SPRING, problem_crops=("Petunia ",))])
    assert rows(connection, "select valid_from, crop_key from policy_problem_crops") == [(SPRING, "petunia")]


def test_own_targets_say_who_set_them_and_from_when(connection: Connection) -> None:
    ph = Target(crop="Petunia", quantity="ph", low=Decimal("5.5"), high=Decimal(6))
    ec = Target(crop="petunia", quantity="ec", low=Decimal("1.25"), high=Decimal("2.675"), note="trial")
    load(
        connection,
        site(policy=[PolicyPeriod(valid_from=SPRING, targets=(ec,))]),
        policy=[PolicyPeriod(valid_from=date(2026, 1, 1), targets=(ph,))],
    )
    assert rows(
        connection, "select valid_from, quantity, low, high, basis, note, crop_key from own_targets"
    ) == [
        (date(2026, 1, 1), "ph", Decimal("5.5"), Decimal(6), "group", None, "petunia"),
        (SPRING, "ec", Decimal("1.25"), Decimal("2.675"), "site", "trial", "petunia"),
        (SPRING, "ph", Decimal("5.5"), Decimal(6), "group", None, "petunia"),
    ]


def test_published_tables_are_there_for_every_site(connection: Connection) -> None:
    load(connection, site(), site("south"))
    counts = "(select count(*) from published_ranges) > 100, (select count(*) from general_targets)"
    assert rows(connection, f"select {counts}") == [(True, 1)]
    assert rows(
        connection,
        "select site_id, low, high from chosen_targets where crop_key = 'petunia' and quantity = 'ph'",
    ) == [
        ("north", Decimal("5.4"), Decimal("6.2")),
        ("south", Decimal("5.4"), Decimal("6.2")),
    ]
    assert rows(connection, "select ph_group from crop_groups where crop_key = 'petunia'") == [
        ("iron-inefficient",)
    ]


def test_a_second_night_replaces_the_first_ones_settings(connection: Connection) -> None:
    own = Target(crop="petunia", quantity="ph", low=Decimal(5), high=Decimal(6))
    load(connection, site(), site("south"), policy=[PolicyPeriod(valid_from=SPRING, targets=(own,))])
    load(connection, site())
    assert rows(connection, "select site_id from policy") == [("north",)]
    assert rows(connection, "from own_targets") == []
    assert rows(connection, "select distinct site_id from chosen_targets") == [("north",)]


def test_a_group_without_sites_has_no_rows(connection: Connection) -> None:
    settings = settings_of()
    load_settings_tables(connection, settings, published_for(settings))
    for table in ("sites", "policy", "policy_containers", "own_targets", "chosen_targets"):
        assert connection.table(table).fetchall() == []
