"""The folders of sql/ as a whole: the build order, the head of every file, and an empty database."""

from __future__ import annotations

import re

import pytest

from pipeline.assets import sql_folder
from pipeline.measuring import measure_night
from pipeline.warehouse.build import BUILD_ORDER, HISTORY_MODELS, build_models, keep_fates
from pipeline.warehouse.statements import read_sql, sql_names
from tests.sql.bench import Bench, dependencies, open_warehouse

MODELS = (*BUILD_ORDER, *(f"history/{name}" for name in HISTORY_MODELS))
ALL_FILES = sorted(
    str(path.relative_to(sql_folder()).with_suffix("")) for path in sql_folder().rglob("*.sql")
)


def head(name: str) -> str:
    """The comment at the head of a file."""
    lines = []
    for line in read_sql(name).splitlines():
        if not line.startswith("--"):
            break
        lines.append(line.removeprefix("--").strip())
    return "\n".join(lines)


@pytest.mark.parametrize("folder", ["samplings", "judgement"])
def test_the_build_order_names_every_file_of_the_folder_once(folder: str) -> None:
    named = [name for name in BUILD_ORDER if name.startswith(f"{folder}/")]
    assert sorted(named) == [f"{folder}/{name}" for name in sql_names(folder)]


def test_a_model_reads_only_what_is_built_before_it() -> None:
    built: set[str] = set()
    models = {name.split("/")[1] for name in BUILD_ORDER}
    for name in BUILD_ORDER:
        missing = (dependencies()[name] & models) - built
        assert not missing, f"{name} reads {missing}"
        built.add(name.split("/")[1])


@pytest.mark.parametrize("name", ALL_FILES)
def test_every_file_says_what_it_is(name: str) -> None:
    assert re.match(r"[A-Z].{15,}", head(name))


@pytest.mark.parametrize("name", MODELS)
def test_a_model_names_its_grain_and_key(name: str) -> None:
    assert re.search(r"^grain: .+ key: .+", head(name), re.MULTILINE)


@pytest.mark.parametrize("name", MODELS)
def test_a_model_names_exactly_what_it_reads(name: str) -> None:
    named = re.search(r"^inputs: (.+)$", head(name), re.MULTILINE)
    assert named is not None
    assert set(named[1].split(", ")) == dependencies()[name]


@pytest.mark.parametrize("name", [name for name in ALL_FILES if name.startswith("queries/")])
def test_a_query_says_what_a_row_is(name: str) -> None:
    assert re.search(r"^grain: one .+", head(name), re.MULTILINE)


def test_everything_is_built_on_an_empty_database() -> None:
    with open_warehouse() as connection:
        bench = Bench(connection)
        build_models(connection, measure_night)
        keep_fates(connection)
        rows = {name.split("/")[1]: len(bench.select(name.split("/")[1], "*")) for name in MODELS}
    # Only the site itself has a row before anything was sent.
    assert {relation: count for relation, count in rows.items() if count} == {"site_states": 1}


def test_the_key_of_every_model_is_a_key(bench: Bench) -> None:
    bench.lots("lot_code | crop\nA | petunia\nB | poinsettia\nC | pansy")
    bench.calibrations("meter_id | slope_pct\nM1 | 84\nM2 | 98")
    for day in ("2026-03-09", "2026-03-16", "2026-03-23", "2026-03-30"):
        for lot, ph in (("A", "5.0"), ("B", "6.9")):
            bench.pots(
                f"{ph} {ph} {ph} {ph} {ph}", lot_code=lot, sampled_on=day, meter_id="M1", leachate_ml="50"
            )
    bench.readings("lot_code | purpose\nA | affected\nX | routine\n- | routine")
    build_models(bench.connection, measure_night)
    keep_fates(bench.connection)
    for name in MODELS:
        found = re.search(r"key: ([a-z_, ]+)", head(name))
        assert found is not None
        relation, key = name.split("/")[1], found[1].strip()
        doubled = [
            row for row in bench.select(relation, f"{key}, count(*) over (partition by {key})") if row[-1] > 1
        ]
        assert doubled == [], f"{relation}: {key}"
