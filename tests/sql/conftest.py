"""One migrated warehouse with the shipped policy, emptied for every test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

import pytest

from pipeline.warehouse.connect import Connection
from tests.sql.bench import AS_OF, Bench, empty, load, open_warehouse, site

Begin = Callable[[date], Bench]


@pytest.fixture(scope="session")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


@pytest.fixture
def begin(warehouse: Connection) -> Iterator[Begin]:
    """Begin the first night, on any date."""
    begun: list[Bench] = []

    def begin_on(as_of: date) -> Bench:
        begun.append(Bench(warehouse, as_of))
        return begun[-1]

    empty(warehouse)
    yield begin_on
    if any(bench.has_own_settings for bench in begun):
        load(warehouse, site())


@pytest.fixture
def bench(begin: Begin) -> Bench:
    """A warehouse in the night of Monday 6 April 2026."""
    return begin(AS_OF)
