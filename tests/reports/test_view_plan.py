"""The planning view: this week by day, four weeks with totals, and what a lot's lines say of its next sampling."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from pipeline.programme.sheet import Sheet
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.summary import Due, Reason, Site
from pipeline.reports.view import tell_next, write_minutes
from pipeline.reports.view_overview import make_overview_view
from pipeline.reports.view_plan import list_this_week, list_weeks
from pipeline.reports.view_site import make_site_view
from tests.reports.factory import AS_OF, make_lot, make_site, make_small_summary, make_summary

VOICE = Voice(load_phrases("en"), "%Y-%m-%d")
# The second lot was never read, the first waits for a retest, the third and fourth are routine.
DUES: tuple[tuple[int, dict[str, Any]], ...] = (
    (2, {"state": "due_this_week", "purpose": "retest", "rule": "after_treatment"}),
    (-4, {"state": "never_sampled", "rule": "first"}),
    (0, {"state": "due_this_week"}),
    (2, {"state": "due_this_week", "purpose": "affected,healthy", "rule": "symptoms", "pots": 10}),
    (9, {"state": "not_yet"}),
    (40, {"state": "not_yet"}),
)


def make_due(days: int, **changes: Any) -> Due:
    facts: dict[str, Any] = {
        "state": "due_this_week",
        "due_on": AS_OF + timedelta(days=days),
        "purpose": "routine",
        "rule": "routine",
        "why": "Because.",
        "also": [],
        "days_overdue": -days if days < 0 else None,
        "pots": 5,
    }
    return Due(**(facts | changes))


@pytest.fixture
def site() -> Site:
    lots = [make_lot(number, "ok", due=make_due(days, **due)) for number, (days, due) in enumerate(DUES, 1)]
    return make_site(1, (), lots=lots)


def test_this_week_by_day_with_what_is_late_on_the_first(site: Site) -> None:
    days = list_this_week(site, AS_OF, VOICE)
    assert [(day.label, [item.name.lot_id for item in day.items], day.pots, day.minutes) for day in days] == [
        ("Mon 2026-04-06", ["P-102", "P-103"], "10", "40 min"),
        ("Wed 2026-04-08", ["P-101", "P-104"], "15", "60 min"),
    ]
    told = [(item.pots, item.purpose, item.late) for day in days for item in day.items]
    assert told == [
        ("5 pots", "", "overdue 4 days, never sampled yet"),
        ("5 pots", "", ""),
        ("5 pots", "retest", ""),
        ("10 pots", "affected and healthy plants", ""),
    ]


def test_four_weeks_with_totals_and_days_with_nothing_left_out(site: Site) -> None:
    weeks = list_weeks(site, VOICE)
    assert [(week.label, len(week.days), week.lots, week.pots, week.minutes) for week in weeks] == [
        ("2026-04-06 to 2026-04-12", 2, "4", "25", "100 min"),
        ("2026-04-13 to 2026-04-19", 1, "1", "5", "20 min"),
        ("2026-04-20 to 2026-04-26", 0, "0", "0", "0 min"),
        ("2026-04-27 to 2026-05-03", 0, "0", "0", "0 min"),
    ]


def test_a_site_with_nothing_planned_has_no_plan() -> None:
    view = make_site_view(make_small_summary(), make_site(1, ()), VOICE, for_print=False)
    assert (view.plan, view.sampling_days, view.week_total) == ((), (), "")


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0.0, "0 min"),
        (0.1, "1 min"),
        (12.0, "12 min"),
        (119.0, "119 min"),
        (119.5, "2 h"),
        (272.0, "4 h 32 min"),
    ],
)
def test_minutes_in_words(minutes: float, text: str) -> None:
    assert write_minutes(minutes, VOICE) == text


def make_sheet(pots: int) -> Sheet:
    # A page of the site says no more of it than its pots.
    return Sheet(
        until=date(2026, 4, 11),
        volume_unit="mL",
        temperature_unit="°C",
        lots=[],
        meters=[],
        buffers=[],
        pots=pots,
        minutes=4.0 * pots,
    )


AGAIN = "What falls due again within the week comes with a later night's sheet."


@pytest.mark.parametrize(
    ("pots", "screen", "printed"),
    [
        (25, "site-1-sheet.pdf asks for 25 pots.", "asks for 25 pots."),
        (1, f"site-1-sheet.pdf asks for 1 pot. {AGAIN}", f"asks for 1 pot. {AGAIN}"),
        (0, "", ""),
    ],
)
def test_the_sheet_beside_the_week(site: Site, pots: int, screen: str, printed: str) -> None:
    """On the screen it is a file beside the page, on paper it stands in the report itself."""
    with_sheet = site.model_copy(update={"sheet": make_sheet(pots)})
    summary = make_summary([with_sheet])
    for is_print, words in ((False, screen), (True, printed)):
        view = make_site_view(summary, with_sheet, VOICE, for_print=is_print)
        assert view.week_total == "This week: 25 pots, about 100 min."
        assert view.sheet_words == words


@pytest.mark.parametrize(
    ("due", "text"),
    [
        (make_due(2), "Because."),
        (make_due(2, also=["routine Tue 14", "x"]), "Because. Also: routine Tue 14; x."),
        (make_due(-3, state="overdue"), "Overdue 3 days. Because."),
        (make_due(-3, state="never_sampled"), "Overdue 3 days, never sampled yet. Because."),
        (make_due(30, state="ships_first"), "Ships before the next. Because."),
        (
            make_due(30, state="excused", excused_until=AS_OF + timedelta(days=14)),
            "Excused until 2026-04-20. Because.",
        ),
    ],
)
def test_a_block_tells_the_next_sampling_once(due: Due, text: str) -> None:
    assert tell_next(make_lot(1, "ok", due=due), VOICE) == text


@pytest.mark.parametrize(
    ("due", "text"),
    [
        (make_due(2), "Next sampling Wed 2026-04-08."),
        (make_due(-1, state="overdue"), "Sampling overdue 1 day."),
        (make_due(-2, state="overdue", rule="after_treatment"), "Retest overdue 2 days."),
        (make_due(2, rule="after_treatment"), "Treated, retest due Wed 2026-04-08."),
        (
            make_due(1, retest_due_on=AS_OF + timedelta(days=2)),
            "Next sampling Tue 2026-04-07; treated, retest due Wed 2026-04-08.",
        ),
        (
            make_due(30, state="excused", excused_until=AS_OF + timedelta(days=14)),
            "Sampling excused until 2026-04-20.",
        ),
        (make_due(2, due_on=None), ""),
    ],
)
def test_a_line_of_work_says_when_to_read_again(due: Due, text: str) -> None:
    site = make_site(1, (), lots=[make_lot(1, "act", due=due)])
    (line,) = make_site_view(make_summary([site]), site, VOICE, for_print=True).act
    assert line.next_words == text


def test_lots_that_wait_for_their_retest_have_a_line() -> None:
    treated = Reason(
        code="treated", level="note", quantity=None, side=None, sentence="Treated, retest due Wed."
    )
    waiting = make_due(2, rule="after_treatment", retest_due_on=AS_OF + timedelta(days=2))
    lots = [
        make_lot(1, "ok", due=waiting, reasons=[treated]),
        make_lot(2, "ok", due=make_due(2)),
        # an excused retest is not waited for
        make_lot(3, "ok", due=make_due(2), reasons=[treated]),
    ]
    site = make_site(1, (), lots=lots)
    view = make_site_view(make_summary([site]), site, VOICE, for_print=True)
    assert [(line.name.lot_id, line.sentence) for line in view.waiting] == [
        ("P-101", "Treated, retest due Wed.")
    ]


def test_excused_lots_have_a_line_with_end_reason_and_name() -> None:
    excuse = "Excused until 2026-04-20 (holiday shutdown, I. Falkner), entered after it was due."
    excused = make_due(
        30, state="excused", excused_until=AS_OF + timedelta(days=14), excuse=excuse, excused_late=True
    )
    site = make_site(1, (), lots=[make_lot(1, "ok", due=make_due(2)), make_lot(2, "ok", due=excused)])
    view = make_site_view(make_summary([site]), site, VOICE, for_print=True)
    assert [(line.name.lot_id, line.sentence) for line in view.excused] == [("P-102", excuse)]
    assert tell_next(site.lots[1], VOICE) == f"{excuse} Because."
    page = render_page("grower.html", view, VOICE, medium="print", paper="a4")
    assert "EXCUSED" in page.html
    assert excuse in page.html


def test_the_overview_has_pots_and_time_of_each_site_by_week(site: Site) -> None:
    view = make_overview_view(make_summary([site]), VOICE)
    assert view.plan_weeks[0] == "2026-04-06 to 2026-04-12"
    assert [cell.text for cell in view.plan[0].weeks] == [
        "25 pots, 100 min",
        "5 pots, 20 min",
        "nothing",
        "nothing",
    ]


@pytest.mark.parametrize(("days", "words"), [(2, "treated, retest due Wed 2026-04-08"), (-1, "")])
def test_a_block_s_state_says_that_a_treatment_waits(days: int, words: str) -> None:
    due = make_due(1, retest_due_on=AS_OF + timedelta(days=days))
    site = make_site(1, (), lots=[make_lot(1, "act", due=due)])
    (block,) = make_site_view(make_summary([site]), site, VOICE, for_print=True).blocks
    assert block.waiting == words


def test_a_day_names_a_dozen_lots_and_counts_the_rest() -> None:
    site = make_site(1, ("ok",) * 120)
    view = make_site_view(make_summary([site]), site, VOICE, for_print=True)
    html = render_page("grower.html", view, VOICE, medium="print", paper="a4").html
    week = html.partition('<section class="week">')[2].partition("</section>")[0]
    crowded = [len(day.items) for day in view.sampling_days if len(day.items) > 12]
    assert crowded
    for lots in crowded:
        assert f"{lots - 12} more lot{'' if lots == 13 else 's'}: see the next four weeks." in week
    assert week.count('<span class="code">') == sum(min(len(day.items), 12) for day in view.sampling_days)
