"""Compliance by SQL and by a walk through the days agree over random seasons."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.audit.evidence import Period
from pipeline.warehouse.audit import COMPLIANCE_MODELS, begin_audit, build_audit
from pipeline.warehouse.connect import Connection
from tests.examples import examples
from tests.oracle.carried import assert_follows
from tests.oracle.compliance import Judged, judge_lot, longest_gap, shares
from tests.programme.seasons import DAYS, Season, day, load_season, seasons
from tests.sql.bench import Bench, empty, models_for, open_warehouse

COLUMNS = ("part", "why", "caused_on", "due_on", "state", "taken_on", "is_history")
BUILT = models_for(
    *("samplings", "verdicts", "treatments", "exemptions", "treatment_waits", "symptom_rounds"),
    *("feed_pairs", "pair_outs", "sampling_questions", "lot_growers"),
)


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


def audit(connection: Connection, season: Season, from_on: date, to_on: date) -> list[dict[str, Any]]:
    empty(connection)
    bench = Bench(connection, day(DAYS))
    load_season(bench, season)
    bench.build(*(name.split("/")[1] for name in BUILT))
    begin_audit(connection, from_on, to_on, day(DAYS))
    build_audit(connection, COMPLIANCE_MODELS)
    rows: list[dict[str, Any]] = connection.sql("from audit_dues").pl().to_dicts()
    return rows


@settings(
    max_examples=examples(15), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(season=seasons(), first=st.integers(0, 12), length=st.integers(4, DAYS))
def test_sql_and_the_walk_agree(warehouse: Connection, season: Season, first: int, length: int) -> None:
    from_on, to_on = day(first), day(min(first + length, DAYS))
    rows = audit(warehouse, season, from_on, to_on)
    looked_at = {row["lot_key"] for row in warehouse.sql("from audit_lots").pl().to_dicts()}
    gaps = dict(warehouse.sql("select lot_key, max(days) from sampling_gaps group by lot_key").fetchall())
    for key, lot in season.lots.items():
        account = lot.account(season)
        stood = lot.start <= to_on and (lot.end is None or lot.end >= from_on)
        assert (key in looked_at) == stood
        if not stood:
            continue
        # Everything was received on the last day, so all of it is history but what falls on that day.
        wanted = judge_lot(account, from_on, to_on, day(DAYS), as_of=day(DAYS))
        found = sorted(
            (row for row in rows if row["lot_key"] == key),
            key=lambda row: (row["due_on"], row["part"], row["why"], row["caused_on"]),
        )
        assert [tuple(row[name] for name in COLUMNS) for row in found] == [
            (one.part, one.why, one.caused_on, one.due_on, one.state, one.taken, one.is_history)
            for one in wanted
        ]
        assert [
            row["days_late"] if row["state"] == "late" else row["days_open"]
            for row in found
            if row["state"] in ("late", "open")
        ] == [one.days for one in wanted if one.state in ("late", "open")]
        assert gaps.get(key) == longest_gap(account, from_on, to_on)
        check_shares(warehouse, key, wanted)
    assert_follows(warehouse, Period(from_on, to_on, None), day(DAYS))


def check_shares(connection: Connection, key: str, wanted: list[Judged]) -> None:
    for part in ("all", "routine", "follow_up"):
        chosen = [one for one in wanted if part in ("all", one.part)]
        ((found, with_excused),) = connection.execute(
            "select share_on_time, share_on_time_with_excused from compliance"
            " where level = 'lot' and lot_key = $key and part = $part",
            {"key": key, "part": part},
        ).fetchall()
        without, including = shares(chosen)
        assert found == rounded(without)
        assert with_excused == rounded(including)


def rounded(share: Fraction | None) -> Any:
    from decimal import ROUND_HALF_UP, Decimal

    if share is None:
        return None
    return (Decimal(share.numerator) / Decimal(share.denominator)).quantize(Decimal("0.0001"), ROUND_HALF_UP)
