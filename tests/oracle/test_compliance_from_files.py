"""Compliance from raw CSV files over three nights: lists, readings and treatments that came late or were withdrawn."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.audit.evidence import Period
from pipeline.warehouse.audit import COMPLIANCE_MODELS, begin_audit, build_audit
from pipeline.warehouse.connect import reader
from tests.examples import examples
from tests.home import night
from tests.oracle.carried import assert_follows
from tests.oracle.compliance import judge_lot
from tests.oracle.raw_seasons import (
    GROUP,
    NIGHTS,
    POLICY,
    SITE,
    START,
    Drops,
    accounts,
    drops,
    proper_samplings,
)


def run_nights(home: Path, nights: Drops) -> None:
    folder = home / "sites" / "one" / "drop"
    folder.mkdir(parents=True)
    (home / "leachbook.toml").write_text(GROUP)
    (home / "policy.toml").write_text(POLICY)
    (home / "sites" / "one" / "site.toml").write_text(SITE)
    for day, files in zip(NIGHTS, nights, strict=True):
        for name, text in files.items():
            (folder / name).write_text(text)
        night(home, day)


@settings(max_examples=examples(3), deadline=None)
@given(nights=drops(), first=st.integers(0, 20))
def test_the_dossiers_figures_are_those_of_the_files(nights: Drops, first: int) -> None:
    from_on, to_on = START.replace(day=START.day + first), NIGHTS[-1]
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        run_nights(home, nights)
        with reader(home) as connection:
            begin_audit(connection, from_on, to_on, NIGHTS[-1])
            build_audit(connection, COMPLIANCE_MODELS)
            assert_follows(connection, Period(from_on, to_on, None), NIGHTS[-1])
            rows: list[dict[str, Any]] = connection.sql("from audit_dues").pl().to_dicts()
            proper = {
                lot_id: (count, samplings)
                for lot_id, count, samplings in connection.execute(
                    "select upper(lot_key), proper, samplings from compliance where level = 'lot' and part = 'all'"
                ).fetchall()
            }
    first_night = next((night for night, files in zip(NIGHTS, nights, strict=True) if files), NIGHTS[-1])
    for key, account, known in accounts(nights):
        if account.start > to_on or (account.end is not None and account.end < from_on):
            continue
        found = [
            (
                row["part"],
                row["why"],
                row["caused_on"],
                row["due_on"],
                row["state"],
                row["taken_on"],
                row["is_history"],
            )
            for row in rows
            if row["lot_id"] == key
        ]
        wanted = [
            (one.part, one.why, one.caused_on, one.due_on, one.state, one.taken, one.is_history)
            for one in judge_lot(account, from_on, to_on, first_night, known=known)
        ]
        assert sorted(found, key=str) == sorted(wanted, key=str), key
        assert proper[key] == proper_samplings(nights, key, from_on), key
