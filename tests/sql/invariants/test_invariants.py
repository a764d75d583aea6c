"""Each invariant is silent on a sound warehouse and speaks when a table is broken."""

from __future__ import annotations

import pytest

from pipeline.errors import InvariantBroken
from pipeline.measuring import measure_night
from pipeline.warehouse.build import build_models, check_invariants
from pipeline.warehouse.statements import sql_names
from tests.sql.bench import Bench

LOOSE_VERDICT = "update verdicts set side = null, not_judged_why = null where quantity = 'ph'"
VERSION = (
    "insert into calendar_history values ('north', 'u', {sequence}, 'confirmed', timestamp '2026-04-06 08:00', 'UTC', "
    "20, 'House 1', 'Sample', 'd', {from_night}, {until_night})"
)
BROKEN: dict[str, list[str]] = {
    "every_accepted_reading_is_used": [
        "delete from usable_readings where record_no = 1",
        "insert into usable_readings from usable_readings where record_no = 1",
    ],
    "lines_balance": [
        "update files set lines = lines + 1 where file_id = 1",
        "delete from records where file_id = 2",
    ],
    "lines_follow_each_other": [
        "update records set line_from = line_from + 1 where file_id = 2 and record_no = 3",
        "update records set line_to = line_to + 1 where file_id = 2 and record_no = 2",
        "update records set line_from = 2 where record_no = 1 and file_id = 1",
    ],
    "no_due_is_late": [
        "update dues set due_on = rule_on + 1",
        "update dues set due_on = caused_on",
        "update dues set not_before = due_on + 1",
        "insert into dues from dues",
        "update dues set nth = null",
        "update dues set is_excused = true, nth = null",
        "update sampling_plan set plan_on = plan_on - 100",
        "update standing_lots set ends_on = date '2026-04-05'",
        "delete from standing_lots",
    ],
    "one_due_a_lot": [
        "delete from due_states",
        "delete from attention",
        "insert into due_states from due_states",
        "update due_states set due_on = due_on + 1",
        "update dues set is_excused = true",
    ],
    "one_fate_a_record": [
        "delete from record_fates where file_id = 1",
        "insert into record_fates from record_fates where file_id = 1",
        "update record_fates set cause = null where fate = 'held'",
        "update record_fates set cause = 'lot_unknown' where fate = 'accepted'",
    ],
    "one_newest_version_an_event": [
        VERSION.format(sequence=1, from_night=1, until_night="null"),
        VERSION.format(sequence=0, from_night=1, until_night="2"),
        ";".join(VERSION.format(sequence=n, from_night=n + 1, until_night="null") for n in (0, 1)),
        ";".join(VERSION.format(sequence=n, from_night=1, until_night=1 - n or "null") for n in (0, 1)),
    ],
    "one_verdict_a_sampling": [
        "delete from verdicts where quantity = 'ec'",
        "insert into verdicts from verdicts where quantity = 'ec'",
        LOOSE_VERDICT,
        "update verdicts set side = 'low', not_judged_why = 'volume'",
    ],
}


@pytest.fixture
def sound(bench: Bench) -> Bench:
    """A warehouse with accepted and held lines and a lot that was never sampled."""
    bench.lots("lot_code\nA\nB")
    bench.readings("lot_code | ph\nA | 6.0\nA | 6.1\nX | 6.0")
    build_models(bench.connection, measure_night)
    return bench


def test_every_invariant_is_tested() -> None:
    assert sorted(BROKEN) == sql_names("invariants")


def test_all_are_silent_on_a_sound_warehouse(sound: Bench) -> None:
    assert {name: sound.run(f"invariants/{name}") for name in BROKEN} == {name: [] for name in BROKEN}


def test_all_are_silent_on_an_empty_warehouse(bench: Bench) -> None:
    build_models(bench.connection, measure_night)
    check_invariants(bench.connection)


@pytest.mark.parametrize("name", BROKEN)
def test_it_speaks_when_a_table_is_broken(sound: Bench, name: str) -> None:
    for damage in BROKEN[name]:
        sound.connection.begin()
        sound.connection.execute(damage)
        found = sound.run(f"invariants/{name}")
        sound.connection.rollback()
        assert found != [], damage


def test_a_broken_one_stops_the_night_with_its_rows(sound: Bench) -> None:
    check_invariants(sound.connection)
    sound.connection.execute("update files set lines = 9 where file_id = 1")
    with pytest.raises(InvariantBroken) as raised:
        check_invariants(sound.connection)
    message = str(raised.value)
    assert (
        "sql/invariants/lines_balance.sql found [(1, 'drop/lots-1.csv', 'file has 9 lines, its records hold 2')]"
        in message
    )
    assert "yesterday's warehouse and pages stand" in message
