"""What the schema and the heads of the SQL files say of a table: grain, key, inputs, and each column with its type."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

import polars as pl

from pipeline.warehouse.build import BUILD_ORDER
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.keys import key_of
from pipeline.warehouse.load import LINE_TABLES
from pipeline.warehouse.proof import list_tables
from pipeline.warehouse.statements import fetch, quoted, read_sql, sql_names

_CREATED = re.compile(r"((?:^--.*\n)+)create table (\w+)", re.MULTILINE)
_GRAIN = re.compile(r"\bgrain: (.*?)(?:\.? key:|$)", re.MULTILINE)
_INPUTS = re.compile(r"^-- inputs: (.*)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Head:
    """The head of one table: `made_by` is its SQL file, below the folder sql."""

    grain: str
    made_by: str
    inputs: tuple[str, ...]


@cache
def stated_heads() -> Mapping[str, Head]:
    """Head of every table and relation whose SQL names its grain."""
    return dict(_stated())


def _stated() -> Iterator[tuple[str, Head]]:
    for name in sql_names("schema"):
        for remarks, table in _CREATED.findall(read_sql(f"schema/{name}")):
            yield table, _head(remarks, f"schema/{name}")
    for name in BUILD_ORDER:
        yield name.split("/")[1], _head(read_sql(name), name)


def _head(text: str, made_by: str) -> Head:
    grain, inputs = _GRAIN.search(text), _INPUTS.search(text)
    return Head(
        grain[1].strip() if grain else "",
        f"{made_by}.sql",
        tuple(inputs[1].split(", ")) if inputs else (),
    )


def list_types(connection: Connection, relation: str) -> dict[str, str]:
    """Columns of a table in their order, each with its type as DuckDB writes it."""
    rows = fetch(connection, "queries/column_types", {"relation": relation})
    return dict(rows.select("column_name", "data_type").iter_rows())


def column_origins(connection: Connection, relation: str) -> dict[str, str]:
    """Where each column of a relation comes from: the site's export, as read, or the SQL file that works it out."""
    tables, head = list_tables(connection), stated_heads()[relation]
    kinds = {table: kind for kind, table in LINE_TABLES.items()}
    origins = {}
    for column in list_types(connection, relation):
        lines = [one for one in head.inputs if one in kinds and column in tables.get(one, ())]
        is_read = bool(lines) and column not in ("file_id", "record_no", "purpose")
        origins[column] = f"the sites' export of {kinds[lines[0]]}" if is_read else f"sql/{head.made_by}"
    return origins


def fetch_sorted(connection: Connection, relation: str) -> pl.DataFrame:
    """All rows of a relation in the order of its key, so that the same facts give the same file."""
    columns = tuple(list_types(connection, relation))
    order = ", ".join(quoted(name) for name in dict.fromkeys((*key_of(relation, columns), *columns)))
    # Names are our own and quoted; SQL has no parameter for them.
    frame: pl.DataFrame = connection.sql(f"select * from {quoted(relation)} order by {order}").pl()  # noqa: S608
    return frame
