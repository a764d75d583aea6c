"""An audit of the demo: its stories come out, and its schedule is the one by which growers were told what is due."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import polars as pl
import pytest

from pipeline.audit import view_lots
from pipeline.audit.evidence import Period, attach
from pipeline.audit.known import open_known
from pipeline.audit.run import look_back
from pipeline.languages import load_tongue
from pipeline.warehouse.connect import Connection

FROM, TO = date(2026, 1, 1), date(2026, 4, 6)
Looked = tuple[Connection, dict[str, pl.DataFrame]]


@pytest.fixture(scope="module")
def looked(demo_home: Any) -> Iterator[Looked]:
    with open_known(demo_home, None) as (connection, known):
        yield connection, look_back(connection, Period(FROM, TO, None), known)


def due(looked: Looked, lot_id: str, **wanted: Any) -> dict[str, Any]:
    rows = [
        row
        for row in looked[1]["dues"].to_dicts()
        if row["lot_id"] == lot_id and all(row[name] == value for name, value in wanted.items())
    ]
    assert rows, (lot_id, wanted)
    return dict(rows[-1])


def test_what_the_growers_are_told_is_due_is_what_the_audit_counts(looked: Looked) -> None:
    """An audit builds the schedule from the start on, a night from the last sampling: both meet at the end."""
    connection, _ = looked
    differing = connection.execute(
        """
        select l.lot_id, d.why, d.rule_on, r.due_on
        from dues as d
        inner join standing_lots as l using (site_id, lot_key)
        inner join routine_dues as r
            on d.site_id = r.site_id and d.lot_key = r.lot_key and d.caused_on = r.caused_on
            and r.caused_on = r.counted_from
        where d.purposes = 'routine' and not d.is_excused and d.rule_on <> r.due_on
            -- one that rolled on past an excuse
            and d.rule_on = d.caused_on + d.interval_days
        """
    ).fetchall()
    assert differing == []
    ((compared,),) = connection.execute("select count(*) from dues where purposes = 'routine'").fetchall()
    assert compared > 60


def test_the_stories_of_the_demo_come_out(looked: Looked) -> None:
    # NR-111 was last read on 17 March: overdue 6 days; NR-112 was never sampled
    assert (due(looked, "NR-111")["state"], due(looked, "NR-111")["days_open"]) == ("open", 6)
    assert due(looked, "NR-112", why="first")["state"] == "open"
    # ER-219 is excused in time, ER-214 only after its day
    assert (due(looked, "ER-219")["state"], due(looked, "ER-219")["is_excused_late"]) == ("excused", False)
    assert (due(looked, "ER-214")["state"], due(looked, "ER-214")["is_excused_late"]) == ("excused", True)
    # LA-01 was treated on 26 March, to be read again from the 29th; the reading of the 31st came with the routine one
    retest = due(looked, "LA-01", why="after_treatment")
    assert (retest["due_on"], retest["state"]) == (date(2026, 3, 29), "missed")


def test_meters_corrections_and_lists_come_out(looked: Looked) -> None:
    frames = looked[1]
    failed = frames["meters"].filter(~pl.col("is_accepted"))
    assert failed.select("meter_id", "calibrated_on", "slope_pct").rows() == [
        ("M2", date(2026, 4, 2), failed["slope_pct"][0])
    ]
    assert float(failed["slope_pct"][0]) == 84
    assert set(frames["corrections"]["fate"]) == {"superseded"}
    missing = frames["plantings"].filter(~pl.col("is_listed"))
    assert missing["lot_id"].to_list() == ["NR-120"]
    untrained = frames["people"].filter(pl.col("is_list_sent") & pl.col("trained_on").is_null())
    assert untrained["sampler"].to_list() == ["dk"]
    assert "front row" in frames["site_questions"]["sentence"].item()


def test_lines_of_each_file_are_the_sum_of_what_became_of_them(looked: Looked) -> None:
    files = looked[1]["files"]
    fates = ("accepted", "held", "repeated", "superseded", "withdrawn", "not_data")
    assert files.filter(pl.sum_horizontal(fates) != pl.col("lines")).is_empty()


def test_the_parts_of_each_level_add_up(looked: Looked) -> None:
    compliance = looked[1]["compliance"]
    counts = ("dues", "on_time", "late", "missed", "excused", "open_dues", "not_knowable", "history")
    for part in ("all", "routine", "follow_up"):
        of_part = compliance.filter(pl.col("part") == part)
        sums = of_part.group_by("level").agg(pl.col(counts).sum()).sort("level")
        assert sums.select(counts).unique().height == 1, part
    whole = compliance.filter(pl.col("level") == "group").row(
        by_predicate=pl.col("part") == "all", named=True
    )
    assert whole["dues"] == sum(
        whole[name] for name in ("on_time", "late", "missed", "excused", "open_dues", "not_knowable")
    )


def test_the_tables_of_the_demo_repeat_to_the_byte(looked: Looked, demo_home: Any) -> None:
    with open_known(demo_home, None) as (connection, known):
        again = attach(look_back(connection, Period(FROM, TO, None), known))
    assert [one.sha256 for one in attach(looked[1])] == [one.sha256 for one in again]


def test_of_too_many_lots_those_with_most_dues_not_on_time_are_printed(
    looked: Looked, monkeypatch: pytest.MonkeyPatch
) -> None:
    sites = {name: name for name in looked[1]["lots"]["site_id"]}
    monkeypatch.setattr(view_lots, "MOST_LOTS", 2)
    cut = view_lots.lots_section(looked[1], sites, Period(FROM, TO, None), load_tongue("en"))
    assert [block.title.split()[0] for block in cut.blocks] == ["ER-214", "LA-01"]
    assert cut.paragraphs[-1].startswith("69 more lots, ")
    whole = view_lots.lots_section(looked[1], sites, Period(FROM, TO, None), load_tongue("en"), is_whole=True)
    assert len(whole.blocks) == 71
