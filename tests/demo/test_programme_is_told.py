"""What the demo's documents say of samplings to come: each kind of due that the stories bring, and the plan."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from pipeline.reports.summary import Lot, Site, Summary


@pytest.fixture(scope="module")
def first(demo_home: Path) -> Summary:
    return Summary.model_validate_json((demo_home / "out" / "2026-04-02" / "summary.json").read_bytes())


@pytest.fixture(scope="module")
def second(demo_home: Path) -> Summary:
    return Summary.model_validate_json((demo_home / "out" / "2026-04-06" / "summary.json").read_bytes())


def lot_of(summary: Summary, lot_id: str) -> Lot:
    return next(lot for site in summary.sites for lot in site.lots if lot.lot_id == lot_id)


def site_of(summary: Summary, site_id: str) -> Site:
    return next(site for site in summary.sites if site.site_id == site_id)


def test_a_treated_lot_says_the_same_day_of_its_retest_everywhere(second: Summary) -> None:
    # Acid feed on 1 April, read again after seven days; petunias are on the problem list, last read on 31 March.
    lot = lot_of(second, "NR-101")
    assert lot.due.retest_due_on == date(2026, 4, 8)
    assert lot.due.why == (
        "Routine sampling due Tue 04/07/2026 (crop on the problem list, last read on 03/31/2026, every 7 days)."
    )
    assert lot.due.also == ["treated, retest due Wed 04/08/2026"]
    (treated,) = [reason for reason in lot.reasons if reason.code == "treated"]
    assert treated.sentence == "Treated on 04/01/2026 (acid feed), retest due Wed 04/08/2026."
    planned = [
        (day.plan_on, one.purpose)
        for day in site_of(second, "north-range").plan[:5]
        for one in day.samplings
        if one.lot_id == "NR-101"
    ]
    assert planned == [(date(2026, 4, 7), "routine"), (date(2026, 4, 8), "retest")]


def test_a_lot_still_out_at_its_retest_ranks_up(second: Summary) -> None:
    # Bicarbonate on 26 March waits three days; on 31 March the lot was low for the fifth time.
    lot = lot_of(second, "LA-01")
    (unmoved,) = [reason for reason in lot.reasons if reason.code == "unmoved_after_treatment"]
    assert unmoved.group_sentence == (
        "pH is still low on 31 Mar 2026, as it has been since 03 Mar 2026: the treatment of 26 Mar 2026 (bicarbonate) "
        "has not mended it."
    )
    last = next(one for one in reversed(lot.samplings) if one.counts and one.purpose == "routine")
    assert last.ph.mean is not None
    assert lot.score == pytest.approx((6.0 - last.ph.mean) / 0.2 * (1 + 5 + 1), abs=1e-6)


def test_an_excused_lot_says_until_when_why_and_by_whom(second: Summary) -> None:
    due = lot_of(second, "ER-219").due
    assert (due.state, due.excused_until, due.excused_late) == ("excused", date(2026, 4, 12), False)
    assert due.excuse == "Excused until 12.04.2026 (verkauft; Abholung nach Ostern, Haßfeld)."
    assert due.why == "Routine sampling due Sat 18.04.2026 (the next one after an excuse, every 14 days)."
    assert due.also == ["routine Sat 04.04.2026, excused"]


def test_an_excuse_that_came_too_late_says_so(second: Summary) -> None:
    due = lot_of(second, "ER-214").due
    assert (due.state, due.excused_late) == ("excused", True)
    assert due.excuse == (
        "Excused until 12.04.2026 (Versuch mit anderem Substrat; Topf nicht stören, Wülbern), entered after it was due."
    )
    assert due.also == ["routine Sat 04.04.2026, excused"]


def test_affected_plants_ask_for_affected_and_healthy_ones(first: Summary, second: Summary) -> None:
    assert lot_of(first, "ER-205").due.rule == "routine"
    lot = lot_of(second, "ER-205")
    assert lot.due.why == (
        "Affected and healthy plants, 5 pots each, by Tue 07.04.2026 (affected plants noted on 04.04.2026, within 3 "
        "days)."
    )
    sheet = site_of(second, "erlenwerth").sheet
    assert sheet is not None
    (block,) = [one for one in sheet.lots if one.lot_id == "ER-205"]
    assert [(group.purpose, len(group.pots)) for group in block.groups] == [("affected", 5), ("healthy", 5)]


def test_a_pair_around_a_feeding_is_planned_on_both_its_days(second: Summary) -> None:
    due = lot_of(second, "NR-119").due
    assert (due.rule, due.due_on) == ("feed_pair", date(2026, 4, 8))
    assert due.also == ["routine Tue 04/14/2026"]
    planned = [
        (day.plan_on, one.purpose, one.pots)
        for day in site_of(second, "north-range").plan
        for one in day.samplings
        if one.lot_id == "NR-119"
    ]
    # It stands for the routine sampling of the 14th; fed on Thursdays, the lot is read around that of two weeks later.
    assert planned == [
        (date(2026, 4, 8), "before_feed", 5),
        (date(2026, 4, 9), "after_feed", 5),
        (date(2026, 4, 22), "before_feed", 5),
        (date(2026, 4, 23), "after_feed", 5),
    ]
    (event,) = [
        one
        for one in site_of(second, "north-range").calendar
        if "NR-119" in " ".join(one.description or []) and one.starts_at.date() == date(2026, 4, 9)
    ]
    assert any("the day of the feeding" in line for line in event.description or [])


def test_plugs_due_on_a_day_without_sampling_are_due_the_day_before(first: Summary) -> None:
    due = lot_of(first, "NR-113").due
    assert (due.rule_on, due.due_on) == (date(2026, 4, 4), date(2026, 4, 3))
    assert due.why == (
        "Routine sampling due Fri 04/03/2026 (the site does not sample on Sat 4; last read on "
        "04/01/2026, every 3 days)."
    )


def test_a_missed_sampling_says_when_it_was_due(first: Summary) -> None:
    due = lot_of(first, "PB-01").due
    assert due.why == "Retest was due Wed 01/04/2026 (out of range on 25/03/2026, 7 days)."
    assert (due.state, due.days_overdue) == ("overdue", 1)


def test_no_site_plans_a_sampling_on_a_day_without_one(second: Summary) -> None:
    weekdays = {day.plan_on.isoweekday() for day in site_of(second, "north-range").plan}
    assert weekdays <= {1, 2, 3, 4, 5}
    plugs = [
        day.plan_on.day
        for day in site_of(second, "north-range").plan
        if any(one.lot_id == "NR-113" for one in day.samplings) and day.plan_on < date(2026, 4, 20)
    ]
    assert plugs == [6, 9, 10, 13, 16, 17]


def test_the_weeks_add_up_and_stand_on_the_pages(demo_home: Path, second: Summary) -> None:
    for site in second.sites:
        assert sum(week.pots for week in site.plan_weeks) == sum(day.pots for day in site.plan)
        for day in site.plan:
            assert day.pots == sum(one.pots for one in day.samplings)
            assert day.minutes == sum(one.minutes for one in day.samplings) == 4 * day.pots
    page = (demo_home / "out" / "latest" / "sites" / "north-range.html").read_text(encoding="utf-8")
    week = site_of(second, "north-range").plan_weeks[0]
    assert f"This week: {week.pots} pots, about" in page
    assert "WAITING" in page


def test_intervals_slacker_than_published_are_named_for_containers_in_use(second: Summary) -> None:
    named = {site.site_id: [one.container_class for one in site.slack_intervals] for site in second.sites}
    assert named["north-range"] == ["cell_pack", "pot_4in", "nursery"]
    assert all("nursery" not in classes for site, classes in named.items() if site != "north-range")


def test_the_schema_beside_the_document_knows_the_plan(demo_home: Path) -> None:
    schema = json.loads((demo_home / "out" / "latest" / "summary.schema.json").read_text(encoding="utf-8"))
    assert {"PlanDay", "PlanWeek", "PlannedSampling", "SlackInterval"} <= schema["$defs"].keys()
