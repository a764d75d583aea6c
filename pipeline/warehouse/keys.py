"""What tells the rows of each table apart, as the head of its SQL file says."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache

from pipeline.warehouse.build import BUILD_ORDER, HISTORY_MODELS
from pipeline.warehouse.statements import read_sql, sql_names

_KEY = re.compile(r"\bkey: ([a-z0-9_]+(?:, [a-z0-9_]+)*)")
_TABLE = re.compile(r"((?:^--.*\n)+)create table (\w+)", re.MULTILINE)


@cache
def stated_keys() -> Mapping[str, tuple[str, ...]]:
    """Key columns of every table and relation whose SQL names them. A word too many may stand behind a key."""
    return dict(_stated())


def _stated() -> Iterator[tuple[str, tuple[str, ...]]]:
    for name in sql_names("schema"):
        for remarks, table in _TABLE.findall(read_sql(f"schema/{name}")):
            yield from _key_in(table, remarks)
    for name in (*BUILD_ORDER, *(f"history/{model}" for model in HISTORY_MODELS)):
        yield from _key_in(name.split("/")[1], read_sql(name))


def _key_in(table: str, remarks: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    found = _KEY.search(remarks)
    if found is not None:
        yield table, tuple(found[1].split(", "))


def key_of(table: str, columns: tuple[str, ...]) -> tuple[str, ...]:
    """Which of a table's columns tell its rows apart; all of them where nothing says so."""
    key = tuple(name for name in stated_keys().get(table, ()) if name in columns)
    return key or columns
