"""Rows of a real warehouse into the document: whole, repeatable, and changed rows change what they are about."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.measures.reference_tables import (
    load_buffers_by_temperature,
    load_corrective_options,
    load_ec_bands,
    load_sampling_frequency,
)
from pipeline.reports.compile import compile_summary
from pipeline.reports.compile_lot import choose_options
from pipeline.reports.rows import Published
from pipeline.reports.summary import Lot, Summary
from pipeline.settings import POLICY_CATALOGUE, Settings, load_settings, resolve_policy
from pipeline.warehouse.connect import reader
from pipeline.warehouse.query import fetch_tables

Tables = dict[str, pl.DataFrame]


@pytest.fixture(scope="module")
def stored(demo_home: Path) -> Summary:
    return Summary.model_validate_json((demo_home / "out" / "latest" / "summary.json").read_bytes())


@pytest.fixture(scope="module")
def settings(demo_home: Path) -> Settings:
    return load_settings(demo_home)


@pytest.fixture(scope="module")
def tables(demo_home: Path) -> Tables:
    with reader(demo_home) as connection:
        return fetch_tables(connection)


def compiled(tables: Tables, settings: Settings, stored: Summary) -> Summary:
    policies = {site.id: resolve_policy(settings, site)[-1] for site in settings.sites}
    return compile_summary(
        tables,
        settings,
        policies,
        Published(
            load_ec_bands(),
            load_corrective_options(),
            load_sampling_frequency(),
            load_buffers_by_temperature(),
        ),
        stored.night,
    )


def lot_of(summary: Summary, lot_id: str) -> Lot:
    return next(lot for site in summary.sites for lot in site.lots if lot.lot_id == lot_id)


def test_the_same_rows_make_the_same_document(tables: Tables, settings: Settings, stored: Summary) -> None:
    assert compiled(tables, settings, stored) == stored


def test_the_order_of_rows_within_a_table_does_not_matter(
    tables: Tables, settings: Settings, stored: Summary
) -> None:
    loose = ("reasons", "dues", "sampling_findings", "meter_states", "site_states", "held_causes", "releases")
    shuffled = {
        **tables,
        **{name: tables[name].sample(fraction=1, shuffle=True, seed=7) for name in loose},
    }
    assert compiled(shuffled, settings, stored) == stored


def test_ranks_run_over_all_sites_without_a_gap(stored: Summary) -> None:
    lots = [lot for site in stored.sites for lot in site.lots]
    assert sorted(lot.rank for lot in lots) == list(range(1, len(lots) + 1))
    levels = [lot.level for lot in sorted(lots, key=lambda lot: lot.rank)]
    order = ("act", "no_reading", "watch", "ok")
    assert levels == sorted(levels, key=order.index)
    for site in stored.sites:
        assert [lot.rank for lot in site.lots] == sorted(lot.rank for lot in site.lots)


def test_counts_are_those_of_the_lots(stored: Summary) -> None:
    assert stored.lots_by_level == {
        level: sum(site.lots_by_level[level] for site in stored.sites) for level in stored.lots_by_level
    }
    for site in stored.sites:
        states = [lot.due.state for lot in site.lots]
        assert site.dues_by_state == {state: states.count(state) for state in site.dues_by_state}
        assert site.lots_on_time == len(states) - states.count("overdue") - states.count("never_sampled")
        assert site.released_tonight == sum(int(text.split()[0]) for text in site.released_sentences)


def test_reasons_stand_worst_first(stored: Summary) -> None:
    order = ("act", "no_reading", "watch", "note")
    for site in stored.sites:
        for lot in site.lots:
            levels = [order.index(reason.level) for reason in lot.reasons]
            assert levels == sorted(levels)
            assert lot.level == "ok" or lot.reasons[0].level == lot.level


def test_options_fit_the_side_and_the_crop_and_come_mild_first(stored: Summary) -> None:
    everything = load_corrective_options().to_dicts()
    lot = lot_of(stored, "NR-101")
    assert lot.ph_group == "iron-inefficient"
    fitting = [
        one["title"]
        for one in everything
        if (one["quantity"], one["side"]) == ("ph", "high")
        and one["ph_group"] in (None, lot.ph_group)
        and one["needs_in_a_row"] <= 3
    ]
    # pH 6.52 of a petunia: above 6.4, but neither a calibrachoa nor 6.9 to 7.4
    fitting.remove("Fe-EDDHA drench (calibrachoa, pH 6.9 to 7.4)")
    assert [option.title for option in lot.options] == fitting
    assert "Acid-reaction fertilizer" in fitting


def test_an_option_for_some_crops_or_readings_is_shown_for_those_alone() -> None:
    def titles(crop: str, ph_group: str | None, quantity: str, side: str, *means: float) -> set[str]:
        reasons = [
            {"code": "out", "level": "act", "quantity": quantity, "side": side, "in_a_row": 3, "mean": mean}
            for mean in means
        ]
        everything = load_corrective_options().to_dicts()
        return {option.title for option in choose_options(reasons, crop, ph_group, everything)}

    liquid, below = "Liquid limestone at about pH 4.0", "Lime or bicarbonate below pH 5.4"
    zonal = titles("geranium, zonal", "iron-efficient", "ph", "low", 5.36)
    assert below in zonal
    assert liquid not in zonal
    assert {liquid, below} <= titles("pansy", None, "ph", "low", 4.1)
    assert {liquid, below}.isdisjoint(titles("pansy", None, "ph", "low", 5.4))
    # Affected plants alone may be what an option is published for.
    assert below in titles("pansy", None, "ph", "low", 5.5, 5.2)
    iron = "Fe-EDDHA drench (calibrachoa, pH 6.9 to 7.4)"
    assert iron in titles("Calibrachoa, trailing", "iron-inefficient", "ph", "high", 6.9)
    assert iron not in titles("calibrachoa", "iron-inefficient", "ph", "high", 6.89)
    assert iron not in titles("petunia", "iron-inefficient", "ph", "high", 7.0)
    acid = "Acid-reaction fertilizer"
    assert acid not in titles("petunia", "iron-inefficient", "ph", "high", 6.4)
    assert acid in titles("petunia", "iron-inefficient", "ph", "high", 6.41)
    leach = "Leach with twice the pot volume"
    assert leach in titles("African violet", None, "ec", "high", 5.0)
    assert leach not in titles("poinsettia", None, "ec", "high", 5.0)


def test_options_fit_a_reading_that_is_only_a_bound() -> None:
    reason = {"code": "out", "level": "watch", "quantity": "ec", "side": "high", "in_a_row": 1}
    everything = load_corrective_options().to_dicts()
    chosen = choose_options([{**reason, "mean": None, "bound": 5.06}], "dahlia", None, everything)
    assert chosen[0].title == "Check the meter first"


def test_an_option_that_needs_a_row_of_samplings_waits_for_it(
    tables: Tables, settings: Settings, stored: Summary
) -> None:
    everything = load_corrective_options()
    waiting = everything.filter(
        (pl.col("quantity") == "ph") & (pl.col("side") == "high") & (pl.col("needs_in_a_row") > 1)
    )
    assert waiting.height, "the shipped table has such options"
    first = {
        **tables,
        "reasons": tables["reasons"].with_columns(
            in_a_row=pl.when(pl.col("lot_key") == "nr-101").then(1).otherwise(pl.col("in_a_row"))
        ),
    }
    before = [one.title for one in lot_of(stored, "NR-101").options]
    after = [one.title for one in lot_of(compiled(first, settings, stored), "NR-101").options]
    assert set(before) - set(after) == set(waiting["title"]) & set(before) != set()


def test_a_note_brings_no_options(stored: Summary) -> None:
    lot = lot_of(stored, "ER-203")
    assert [reason.level for reason in lot.reasons] == ["note"] * len(lot.reasons) != []
    assert lot.options == []


def test_why_there_is_no_target_is_said(stored: Summary) -> None:
    assert lot_of(stored, "NR-113").no_target_why["ec"] == (
        "No EC target: a plug tray is judged only against a target of its own, and the policy sets none."
    )
    assert lot_of(stored, "NR-115").no_target_why["ec"] == (
        "No EC target: lots on controlled-release fertilizer are judged only against a target "
        "of their own, and the policy sets none."
    )
    assert lot_of(stored, "LA-09").no_target_why == {
        "ph": "Sin objetivo de pH publicado para este cultivo; se usa el rango general.",
        "ec": "Sin objetivo de CE publicado para este cultivo.",
    }
    assert lot_of(stored, "NR-101").no_target_why == {}


def test_the_policy_is_told_whole(stored: Summary) -> None:
    for site in stored.sites:
        names = [one.name for one in site.policy if not one.name.startswith("target ")]
        assert names == [entry.name for entry in POLICY_CATALOGUE]
        own = {one.name for one in site.policy if one.origin == "own"}
        assert "problem_crops" in own
        assert all(
            (one.default is None) == (one.origin != "own" or "target " in one.name) for one in site.policy
        )


@pytest.mark.parametrize(("problem", "level"), [("header_only", "note"), ("empty_file", "hold")])
def test_a_file_s_problem_is_a_finding(
    tables: Tables, settings: Settings, stored: Summary, problem: str, level: str
) -> None:
    files = tables["files_tonight"].with_columns(
        problem=pl.when(pl.col("name") == "drop/sheet_2026-04-03.csv")
        .then(pl.lit(problem))
        .otherwise("problem"),
        problem_sentence=pl.when(pl.col("name") == "drop/sheet_2026-04-03.csv")
        .then(pl.lit("it has nothing"))
        .otherwise("problem_sentence"),
    )
    summary = compiled({**tables, "files_tonight": files}, settings, stored)
    (site,) = [site for site in summary.sites if site.site_id == "pellbarrow"]
    (finding,) = [one for one in site.findings if one.rule == problem]
    assert (finding.level, finding.file) == (level, "drop/sheet_2026-04-03.csv")
    assert finding.sentence.startswith("drop/sheet_2026-04-03.csv: it has nothing; ")


def test_what_could_not_be_taken_is_a_finding_with_its_mend(
    tables: Tables, settings: Settings, stored: Summary
) -> None:
    troubles = pl.DataFrame(
        {
            "site_id": ["pellbarrow"] * 2,
            "name": ["drop/x.csv", "drop/notes.txt"],
            "code": ["directory", "unclaimed"],
            "sentence": ["drop/x.csv: a folder;", "drop/notes.txt: nobody takes it;"],
            "mend": ["take it away.", "take it away."],
        }
    )
    summary = compiled({**tables, "troubles": troubles}, settings, stored)
    (site,) = [site for site in summary.sites if site.site_id == "pellbarrow"]
    assert [(one.rule, one.level, one.sentence) for one in site.findings] == [
        ("directory", "hold", "drop/x.csv: a folder; take it away."),
        ("unclaimed", "note", "drop/notes.txt: nobody takes it; take it away."),
    ]
