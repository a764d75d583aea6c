"""View models: what is said, in which order, and what is left out."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from pipeline.reports.charts import Size
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.summary import Due, Finding, HeldCause, PolicyValue, Reason, Source, WaterCheck
from pipeline.reports.view import (
    collect_sources,
    count_levels,
    describe_due,
    describe_figures,
    describe_freshness,
    describe_source,
    list_reasons,
    make_lot_block,
    make_lot_row,
    name_place,
)
from pipeline.reports.view_overview import make_overview_view
from pipeline.reports.view_policy import make_policy_view
from pipeline.reports.view_site import MOST_LINES, describe_check, join_checks, make_site_view
from tests.reports.factory import (
    AS_OF,
    LEVELS,
    OPTIONS,
    POLICY,
    make_figures,
    make_large_summary,
    make_lot,
    make_sampling,
    make_site,
    make_small_summary,
    make_summary,
)

VOICE = Voice(load_phrases("en"), "%Y-%m-%d")


def make_due(state: Any, on: date | None, **changes: Any) -> Due:
    facts: dict[str, Any] = {
        "state": state,
        "due_on": on,
        "purpose": "routine",
        "why": "Because.",
        "also": [],
        "days_overdue": (AS_OF - on).days if on and on < AS_OF else None,
        "pots": 5,
    }
    return Due(**(facts | changes))


@pytest.mark.parametrize(
    ("due", "text"),
    [
        (make_due("due_this_week", AS_OF), "Mon 2026-04-06"),
        (make_due("due_this_week", AS_OF + timedelta(days=6)), "Sun 2026-04-12"),
        (make_due("not_yet", AS_OF + timedelta(days=7)), "2026-04-13"),
        (make_due("overdue", AS_OF - timedelta(days=1)), "overdue 1 day"),
        (make_due("overdue", AS_OF - timedelta(days=3)), "overdue 3 days"),
        (make_due("never_sampled", AS_OF - timedelta(days=3)), "overdue 3 days, never sampled yet"),
        (make_due("ships_first", AS_OF + timedelta(days=9)), "ships before the next"),
        (make_due("not_yet", None), "not yet"),
        (
            make_due("excused", AS_OF + timedelta(days=20), excused_until=AS_OF + timedelta(days=14)),
            "excused until 2026-04-20",
        ),
        (
            make_due(
                "due_this_week",
                AS_OF + timedelta(days=2),
                rule="after_treatment",
                retest_due_on=AS_OF + timedelta(days=2),
            ),
            "treated, retest due Wed 2026-04-08",
        ),
        (
            make_due("due_this_week", AS_OF + timedelta(days=1), retest_due_on=AS_OF + timedelta(days=2)),
            "Tue 2026-04-07; treated, retest due Wed 2026-04-08",
        ),
        (
            make_due(
                "overdue",
                AS_OF - timedelta(days=2),
                rule="after_treatment",
                retest_due_on=AS_OF - timedelta(days=2),
            ),
            "overdue 2 days",
        ),
    ],
)
def test_due_in_words(due: Due, text: str) -> None:
    assert describe_due(make_lot(1, "ok", due=due), AS_OF, VOICE) == text


@pytest.mark.parametrize(
    ("changes", "sign", "verdict"),
    [
        ({"side": "low", "verdict": "clearly_out", "in_a_row": 3}, "▼", "low, clearly out, 3rd in a row"),
        ({"side": "high", "verdict": "out", "in_a_row": 1}, "▲", "high, out"),
        (
            {"side": "high", "verdict": "out", "inside_another_range": True},
            "▲",
            "high, out, inside another published range",
        ),
        ({"side": "in_range", "verdict": "close_to_limit"}, "", "close to limit"),
        ({"side": "in_range", "verdict": "in_range"}, "", "OK"),
        ({"side": None, "verdict": None, "not_judged_why": "volume"}, "", "not judged: volume"),
        ({"side": None, "verdict": None, "not_judged_why": None}, "", "not judged"),
    ],
)
def test_verdict_in_words(changes: dict[str, Any], sign: str, verdict: str) -> None:
    text = describe_figures(make_figures([5.4] * 5, 5.4, 6.2, **changes), 2, VOICE)
    assert (text.sign, text.verdict) == (sign, verdict)


def test_a_mean_known_to_lie_further_out_says_at_least() -> None:
    high = make_figures(
        [2.0, 2.1], 1.0, 2.6, side="high", verdict="out", at_least=True, bound=3.0, bound_pots=5
    )
    low = make_figures([], 1.0, 2.6, side="low", verdict="out", at_least=True, bound=0.5, bound_pots=5)
    # What decided has no interval of its own.
    told = [describe_figures(figures, 2, VOICE) for figures in (high, low)]
    assert [(text.mean, text.interval) for text in told] == [("≥\u202f3.00", ""), ("≤\u202f0.50", "")]


def test_an_interval_from_an_assumed_sd_is_marked() -> None:
    figures = make_figures([5.4, 5.6, 5.5, 5.5, 5.5], 5.4, 6.2, sd_assumed=True)
    assert describe_figures(figures, 2, VOICE).interval.endswith("†")


def test_counts_show_every_level_worst_first() -> None:
    counts = count_levels({"ok": 3}, VOICE)
    assert [(item.mark.sign, item.mark.word, item.count) for item in counts] == [
        ("■", "ACT", 0),
        ("□", "NO CURRENT READING", 0),
        ("◆", "WATCH", 0),
        ("●", "OK", 3),
    ]


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "Readings to Sun 2026-04-05"),
        (
            {"is_silent": True, "nights_silent": 4, "last_received_on": date(2026, 4, 2)},
            "Silent for 4 nights: last file Thu 2026-04-02",
        ),
        ({"last_received_on": None}, "Nothing received yet"),
        ({"last_reading_on": None}, "Files to Mon 2026-04-06, no readings yet"),
    ],
)
def test_freshness_in_words(changes: dict[str, Any], text: str) -> None:
    assert describe_freshness(make_site(1, (), **changes), VOICE) == text


def test_in_print_only_lots_that_need_someone_get_a_block() -> None:
    summary = make_small_summary()
    site = summary.sites[0]
    printed = make_site_view(summary, site, VOICE, for_print=True)
    screen = make_site_view(summary, site, VOICE, for_print=False)
    assert [block.lot.level for block in printed.blocks] == ["act", "no_reading", "watch"]
    assert [row.has_block for row in printed.rows] == [True, True, True, False]
    assert [block.lot.level for block in screen.blocks] == list(LEVELS)


def test_the_first_page_lists_a_bounded_number_of_lots_and_says_how_many_more() -> None:
    summary = make_summary([make_site(1, ("act",) * (MOST_LINES + 2))])
    view = make_site_view(summary, summary.sites[0], VOICE, for_print=True)
    assert (len(view.act), view.act_more) == (MOST_LINES, 2)


def test_action_lines_carry_titles_of_options_and_no_rates() -> None:
    summary = make_small_summary()
    (line,) = make_site_view(summary, summary.sites[0], VOICE, for_print=True).act
    assert line.checks == (
        "Check the meter",
        "Change to a nitrate fertilizer",
        "Flowable lime or potassium bicarbonate",
    )
    assert "; " in line.checks_in_words
    assert line.checks_in_words == "; ".join(title[0].lower() + title[1:] for title in line.checks)
    assert join_checks(["Mida el agua", "EC of the water", "pH again", ""]) == (
        "mida el agua; EC of the water; pH again; "
    )
    assert "100 gal" not in repr((line.sentences, line.checks, line.name))


def test_a_block_shows_the_newest_samplings_and_says_how_many_are_left_out() -> None:
    lot = make_lot(1, "act")
    block = make_lot_block(lot, AS_OF, VOICE, chart_days=126, chart_size=Size(300, 100), most_rows=6)
    days = [row.sampling.sampled_on for row in block.rows]
    assert days == sorted(days, reverse=True)
    assert (len(days), block.rows_left_out) == (6, len(lot.samplings) - 6)


def test_a_lot_without_target_says_why() -> None:
    lot = make_lot(1, "ok", target_ec=None, no_target_why={"ec": "No published EC target for this crop."})
    block = make_lot_block(lot, AS_OF, VOICE, chart_days=126, chart_size=Size(300, 100), most_rows=6)
    assert [target.missing for target in block.targets] == ["", "No published EC target for this crop."]


def test_sources_are_named_once() -> None:
    policy = [
        PolicyValue(
            name="a", value="1", unit=None, origin="P", meaning="a", source="Some guide", default=None
        ),
        PolicyValue(
            name="b", value="1", unit=None, origin="P", meaning="b", source="Some guide", default=None
        ),
        PolicyValue(name="c", value="1", unit=None, origin="H", meaning="c", source=None, default=None),
    ]
    sources = [
        text for text, _ in collect_sources([make_lot(1, "act"), make_lot(2, "act")], policy, [], VOICE)
    ]
    assert sources == sorted(set(sources))
    assert sources.count("Some guide") == 1


def test_the_overview_ranks_lots_across_sites_and_leaves_out_those_that_are_ok() -> None:
    view = make_overview_view(make_large_summary(), VOICE)
    ranks = [item.row.lot.rank for item in view.lots]
    assert ranks == sorted(ranks)
    assert {item.row.lot.level for item in view.lots} == {"act", "no_reading", "watch"}
    assert len({item.site.site_id for item in view.lots[:4]}) > 1
    assert [row.site.name for row in view.silent] == ["River bend"]


def test_a_bare_house_number_is_called_a_house() -> None:
    assert [
        name_place(make_lot(1, "ok", house=house, bench=None), VOICE) for house in ("2", "B", "Haus 3", None)
    ] == [
        "House 2",
        "House B",
        "Haus 3",
        "place not given",
    ]


def test_a_held_file_is_told_once_on_the_first_page() -> None:
    told = Finding(rule="columns_changed", level="hold", sentence="drop/a.csv: held.", file="drop/a.csv")
    silent = Finding(rule="site_silent", level="warn", sentence="Nothing for 4 nights.")
    held = HeldCause(
        cause="columns_changed", what="drop/a.csv", sentence="a", mend="b", records=9, examples=[]
    )
    summary = make_summary([make_site(1, ("ok",), findings=[told, silent], held=[held])])
    view = make_site_view(summary, summary.sites[0], VOICE, for_print=True)
    assert view.file_sentences == ("Nothing for 4 nights.",)


def test_the_table_of_lots_goes_to_the_second_page_when_the_first_cannot_hold_it() -> None:
    def is_spread(lots: int) -> bool:
        summary = make_summary([make_site(1, ("ok",) * lots)])
        return make_site_view(summary, summary.sites[0], VOICE, for_print=True).is_spread

    assert [is_spread(n) for n in (0, 4, 40)] == [False, False, True]


def test_policy_values_of_containers_stand_side_by_side() -> None:
    view = make_policy_view(POLICY, VOICE)
    assert [row.meaning for row in view.rows] == [value.meaning for value in POLICY[:3]]
    assert view.rows[2].origin == "own value, the default is 0.30"
    assert view.containers is not None
    assert view.containers.headings == ("Days between routine samplings, 4 inch pots, days",)
    assert view.containers.rows == (("4 inch pots", ("14 C",)),)


def test_a_source_that_says_published_is_not_called_published_twice() -> None:
    def origin(source: str) -> str:
        value = PolicyValue(name="slope_low_pct", value="85", unit="%", origin="P", meaning="slope",
                            source=source, default=None)  # fmt: skip
        return make_policy_view([value], VOICE).rows[0].origin

    assert origin("published worksheet on slope and offset") == "published worksheet on slope and offset"
    assert origin("UMass Extension") == "published: UMass Extension"


def test_policy_without_containers_has_no_table() -> None:
    assert make_policy_view(POLICY[:3], VOICE).containers is None


def make_policy_value(
    name: str, value: str, meaning: str = "crops", default: str | None = None
) -> PolicyValue:
    return PolicyValue(
        name=name, value=value, unit=None, origin="own", meaning=meaning, source=None, default=default
    )


def test_an_own_target_names_its_crop_and_an_empty_default_says_nothing() -> None:
    own = make_policy_value("target zinnia", "5.8-6.4", meaning="own trial")
    crops = make_policy_value("problem_crops", "petunia", default="")
    rows = make_policy_view([own, crops], VOICE).rows
    assert (rows[0].meaning, rows[0].is_figure) == ("target zinnia: own trial", True)
    assert (rows[1].origin, rows[1].is_figure) == ("own value, the default is none", False)


def test_an_own_target_for_a_stage_says_for_which() -> None:
    source = Source(basis="group", text="our trial", how_known="own value", stage="finishing")
    assert describe_source(source, VOICE) == ("own value of the group for lots that are finishing: our trial")
    plain = source.model_copy(update={"stage": None})
    assert describe_source(plain, VOICE) == "own value of the group: our trial"


def test_common_practice_is_no_source() -> None:
    option = OPTIONS[0].model_copy(
        update={"source": "common practice (no source)", "how_known": "common practice"}
    )
    lot = make_lot(1, "ok", options=[option], target_ph=None, target_ec=None)
    assert collect_sources([lot], [], [], VOICE) == ()


def test_no_interval_goes_below_0() -> None:
    figures = make_figures([5.0, 5.1], 2.0, 3.5, mean=5.06, ci_low=-5.28, ci_high=15.41)
    assert describe_figures(figures, 2, VOICE).interval == "0.00–15.41"


def test_a_sign_beside_an_ok_lot_is_explained() -> None:
    fed_low = [make_sampling(AS_OF, [5.8] * 5, [0.8] * 5, (5.4, 6.2, 1.0, 2.6))]
    for lot, explained in ((make_lot(1, "ok"), False), (make_lot(1, "ok", samplings=fed_low), True)):
        summary = make_summary([make_site(1, (), lots=[lot])])
        view = make_site_view(summary, summary.sites[0], VOICE, for_print=True)
        assert view.has_out_but_ok is explained
        page = render_page("grower.html", view, VOICE, medium="print", paper="a4").html
        assert ("▲ ▼ beside an OK lot" in page) is explained


def test_the_general_range_says_that_the_crop_has_none_of_its_own() -> None:
    lot = make_lot(1, "watch")
    assert lot.target_ph is not None
    general = Source(basis="general", text="A paper", url=None, how_known="read")
    plain = lot.model_copy(update={"target_ph": lot.target_ph.model_copy(update={"source": general})})
    block = make_lot_block(plain, AS_OF, VOICE, chart_days=90, chart_size=Size(300, 100), most_rows=None)
    assert block.targets[0].source == "no published pH target for this crop; general range: A paper (read)"
    assert make_lot_row(plain, AS_OF, VOICE, True).ph_target.endswith("*")
    assert "*" not in make_lot_row(lot, AS_OF, VOICE, True).ph_target
    summary = make_summary([make_site(1, ("ok",))])
    assert not make_site_view(summary, summary.sites[0], VOICE, for_print=True).has_general_range
    site = summary.sites[0].model_copy(update={"lots": [plain]})
    assert make_site_view(summary, site, VOICE, for_print=True).has_general_range


def make_reason(code: str) -> Reason:
    return Reason(code=code, level="watch", quantity=None, side=None, sentence=code)


def test_that_affected_plants_were_sampled_is_not_said_beside_how_they_differ() -> None:
    noted, differ = make_reason("affected_noted"), make_reason("affected_differ")
    lot = make_lot(1, "watch", reasons=[differ, noted])
    assert list_reasons(lot) == (differ,)
    assert list_reasons(make_lot(1, "watch", reasons=[noted])) == (noted,)
    block = make_lot_block(lot, AS_OF, VOICE, chart_days=90, chart_size=Size(300, 100), most_rows=None)
    assert block.reasons == (differ,)
    summary = make_summary([make_site(1, ("watch",))])
    site = summary.sites[0].model_copy(update={"lots": [lot]})
    told = make_overview_view(summary.model_copy(update={"sites": [site]}), VOICE).lots[0].sentences
    assert told == ("affected_differ",)
    assert make_site_view(summary, site, VOICE, for_print=True).watch[0].sentences == ("affected_differ",)


def test_what_a_remark_on_water_leans_on_stands_beside_the_table_and_among_the_sources() -> None:
    finding = Finding(rule="alkalinity_acid", level="warn", sentence="Alkalinity.", sources=["A paper"])
    summary = make_summary([make_site(1, ("ok",), findings=[finding])])
    view = make_site_view(summary, summary.sites[0], VOICE, for_print=True)
    assert view.water_sentences == ("Alkalinity.",)
    assert view.water_sources == ("A paper",)
    assert ("A paper", "published") in view.sources


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["acid", "high"], "alkalinity high, acid to be considered"),
        (["high"], "alkalinity high"),
        ([], "not judged"),
    ],
)
def test_high_alkalinity_is_said_once(words: list[Any], said: str) -> None:
    check = WaterCheck(
        checked_on=AS_OF,
        place="source_water",
        spot=None,
        ec_ms_cm=0.5,
        alkalinity_mg_l=210.0,
        target_ec_ms_cm=None,
        water_on=None,
        water_ec_ms_cm=None,
        words=words,
    )
    assert describe_check(check, VOICE).judged == said
