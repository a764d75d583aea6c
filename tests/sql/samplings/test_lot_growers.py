"""Who answers for a lot: the lot list, else the growers' houses, else a name that the settings do not know."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.settings import Grower
from pipeline.warehouse.connect import Connection
from tests.examples import examples
from tests.oracle.growers import who_answers
from tests.sql.bench import AS_OF, Bench, empty, models_for, open_warehouse, site

BUILT = [name.split("/")[1] for name in models_for("lot_growers")]
People = list[tuple[str, tuple[str, ...]]]


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


def answered(
    connection: Connection, people: People, lots: list[tuple[str | None, str | None]]
) -> dict[str, list[tuple[str, str]]]:
    """Growers and why they answer, by lot; `lots`: house and whom the list names."""
    empty(connection)
    bench = Bench(connection, AS_OF)
    growers = tuple(
        Grower(id=one, name=one.title(), email=f"{one}@hill.example", houses=houses) for one, houses in people
    )
    bench.use(site().model_copy(update={"growers": growers}))
    rows = "\n".join(
        f"l{number} | {house or '-'} | {listed or '-'}" for number, (house, listed) in enumerate(lots)
    )
    bench.lots(f"lot_code | house | grower_id\n{rows}")
    bench.build(*BUILT)
    found: dict[str, list[tuple[str, str]]] = {}
    for lot, grower, why in connection.sql(
        "select lot_key, grower_id, named_by from lot_growers order by all"
    ).fetchall():
        found.setdefault(lot, []).append((grower, why))
    return found


def test_the_list_goes_before_the_house_and_a_house_may_be_shared(warehouse: Connection) -> None:
    people: People = [("ana", ("1", "2")), ("bo", ("2",)), ("cy", ("9",))]
    lots = [("1", None), ("2", None), ("2", "ana"), ("3", "zoe"), ("1", "zoe"), ("3", None), (None, None)]
    assert answered(warehouse, people, lots) == {
        "l0": [("ana", "house")],
        "l1": [("ana", "house"), ("bo", "house")],
        "l2": [("ana", "list")],
        "l3": [("zoe", "list_alone")],
        "l4": [("ana", "house")],
    }


def test_who_has_no_houses_named_has_all_and_houses_compare_without_case(warehouse: Connection) -> None:
    assert answered(warehouse, [("ana", ()), ("bo", ("House A",))], [(None, None), ("house a", None)]) == {
        "l0": [("ana", "house")],
        "l1": [("ana", "house"), ("bo", "house")],
    }


houses = st.sampled_from(["1", "2", "House A", "house a"])
names = st.sampled_from(["ana", "bo", "cy", "zoe"])


@settings(
    max_examples=examples(15), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    people=st.dictionaries(st.sampled_from(["ana", "bo", "cy"]), st.lists(houses, max_size=3), max_size=3),
    lots=st.lists(st.tuples(st.none() | houses, st.none() | names), min_size=1, max_size=8),
)
def test_it_is_what_the_second_computation_says(
    warehouse: Connection, people: dict[str, list[str]], lots: list[tuple[str | None, str | None]]
) -> None:
    named = [(one, tuple(hers)) for one, hers in people.items()]
    found = answered(warehouse, named, lots)
    for number, (house, listed) in enumerate(lots):
        assert [one for one, _ in found.get(f"l{number}", [])] == who_answers(listed, house, named)
