"""Every story that the demo tells is found in the documents of its two nights, and nothing else is called `act`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.reports.summary import Lot, Sampling, Site, Summary
from tests.demo.stories import (
    FIRST_NIGHT,
    LEVELS,
    LOTS_ENDED,
    LOTS_STANDING,
    SECOND_NIGHT,
    STORIES,
    Story,
)

NIGHTS = (FIRST_NIGHT, SECOND_NIGHT)


@pytest.fixture(scope="module")
def nights(demo_home: Path) -> tuple[Summary, Summary]:
    first, second = (
        Summary.model_validate_json((demo_home / "out" / str(day) / "summary.json").read_bytes())
        for day in NIGHTS
    )
    return first, second


@pytest.fixture(scope="module")
def second(nights: tuple[Summary, Summary]) -> Summary:
    return nights[1]


def site_of(summary: Summary, site_id: str) -> Site:
    return next(site for site in summary.sites if site.site_id == site_id)


def lot_of(summary: Summary, lot_id: str) -> Lot:
    return next(lot for site in summary.sites for lot in site.lots if lot.lot_id == lot_id)


def on(lot: Lot, day: str) -> list[Sampling]:
    return [one for one in lot.samplings if str(one.sampled_on) == day]


def told(story: Story) -> str:
    return f"{story.site}: {story.subject}"


@pytest.mark.parametrize("night", [0, 1])
def test_every_lot_has_the_level_of_its_story(nights: tuple[Summary, Summary], night: int) -> None:
    found = {lot.lot_id: lot.level for site in nights[night].sites for lot in site.lots if lot.level != "ok"}
    assert found == {lot: levels[night] for lot, levels in LEVELS.items() if levels[night] != "ok"}


@pytest.mark.parametrize("night", [0, 1])
def test_nothing_else_is_act(nights: tuple[Summary, Summary], night: int) -> None:
    acts = {lot.lot_id for site in nights[night].sites for lot in site.lots if lot.level == "act"}
    assert acts == {"NR-101", "ER-201", "LA-01", "PB-01"}
    assert nights[night].lots_by_level["act"] == 4


@pytest.mark.parametrize("night", [0, 1])
def test_the_lots_that_stand_are_listed_and_those_that_ended_are_counted(
    nights: tuple[Summary, Summary], night: int
) -> None:
    for site in nights[night].sites:
        assert len(site.lots) == LOTS_STANDING[site.site_id][night]
        assert site.lots_ended == LOTS_ENDED[site.site_id]


LOT_STORIES = [story for story in STORIES if story.about == "lot"]


@pytest.mark.parametrize("story", LOT_STORIES, ids=told)
def test_a_lot_s_story(second: Summary, story: Story) -> None:
    lot = lot_of(second, story.subject)
    assert lot.level == story.level
    if story.due is not None:
        assert lot.due.state == story.due


HELD_STORIES = [story for story in STORIES if story.records_held]


@pytest.mark.parametrize("story", HELD_STORIES, ids=told)
def test_a_story_of_held_lines(second: Summary, story: Story) -> None:
    site = site_of(second, story.site)
    causes = [cause for cause in site.held if cause.cause in story.holds]
    if story.about == "file":
        causes = [cause for cause in causes if any(one.file == story.subject for one in cause.examples)]
    elif story.holds == ("lot_unknown",):
        causes = [cause for cause in causes if cause.what == story.subject]
    assert causes, "the story is held for its reason"
    assert sum(cause.records for cause in causes) == story.records_held


def test_no_line_is_held_that_no_story_tells(second: Summary) -> None:
    told_of = sum(story.records_held or 0 for story in HELD_STORIES)
    assert sum(site.lines.held for site in second.sites) == told_of == 28


def figures(lot: Lot, quantity: str) -> list[tuple[float, int]]:
    """Means and how many in a row, of the samplings that are out."""
    routine = [one for one in lot.samplings if one.purpose in ("routine", "retest") and one.counts]
    both = [one.ph if quantity == "ph" else one.ec for one in routine]
    return [(round(one.mean, 2), one.in_a_row) for one in both if one.mean is not None and one.in_a_row]


def test_petunias_creep_up_in_ph(second: Summary) -> None:
    lot = lot_of(second, "NR-101")
    assert [in_a_row for _, in_a_row in figures(lot, "ph")] == [1, 2, 3]
    assert figures(lot, "ph")[-1] == (6.52, 3)
    last = lot.samplings[-1]
    assert (last.ph.verdict, last.ph.side) == ("clearly_out", "high")
    assert min(one.ph.mean or 9 for one in lot.samplings) < 5.8
    assert lot.options, "published options stand beside it"


def test_poinsettia_ec_climbs(second: Summary) -> None:
    lot = lot_of(second, "ER-201")
    assert figures(lot, "ec")[-1] == (5.22, 3)
    assert lot.samplings[-1].ec.verdict == "clearly_out"


def test_geraniums_low_in_ph_with_affected_plants_beside(second: Summary) -> None:
    lot = lot_of(second, "LA-01")
    assert figures(lot, "ph")[-1] == (5.36, 5)
    apart = {one.purpose: round(one.ph.mean or 0, 2) for one in on(lot, str(lot.last_counting_on))}
    assert apart == {"routine": 5.36, "affected": 5.18, "healthy": 5.43}
    assert {reason.code for reason in lot.reasons if reason.level == "act"} >= {
        "clearly_out",
        "affected_clearly_out",
    }


def test_dahlias_go_hungry_by_the_sheet(second: Summary) -> None:
    lot = lot_of(second, "PB-01")
    assert figures(lot, "ec") == [(1.7, 1), (1.4, 2), (1.3, 3)]
    assert lot.samplings[-1].ec.sd_assumed


def test_leachate_was_over_collected_for_weeks(second: Summary) -> None:
    for lot_id in ("ER-211", "ER-212"):
        lot = lot_of(second, lot_id)
        late = [one for one in lot.samplings if str(one.sampled_on) >= "2026-03-01"]
        assert late
        assert all(one.ec.not_judged_why == "volume" for one in late)
        assert all(75 <= (one.leachate_median_ml or 0) <= 85 for one in late)
        assert "ec_not_judged" in {reason.code for reason in lot.reasons}
    assert lot_of(second, "ER-210").target_ec is None


def test_a_remark_names_file_and_lines_of_its_pots(second: Summary) -> None:
    (apart, sampling) = next(
        (finding, one)
        for one in lot_of(second, "ER-201").samplings
        for finding in one.findings
        if finding.rule == "outlier_ec"
    )
    (pot,) = [one for one in sampling.pots if one.ec_ms_cm == pytest.approx(5.22)]
    assert apart.places == f"{pot.file} line {pot.line}"
    late = lot_of(second, "ER-211").samplings[-1]
    (over,) = [one for one in late.findings if one.rule == "over_collected"]
    assert over.places == f"{late.pots[0].file} lines {late.pots[0].line}-{late.pots[-1].line}"
    assert late.pots[-1].line - late.pots[0].line == 4


def test_nobody_calibrated_a_meter_one_day(second: Summary) -> None:
    (meter,) = [one for one in site_of(second, "erlenwerth").meters if one.meter_id == "G2"]
    assert [str(day) for day in meter.days_used_without_calibration] == ["2026-03-26"]
    for lot_id in ("ER-202", "ER-206", "ER-209"):
        (sampling,) = on(lot_of(second, lot_id), "2026-03-26")
        assert (sampling.meter_calibrated, sampling.proper, sampling.counts) == (False, "no", True)


def test_a_meter_fails_and_puts_readings_in_doubt(nights: tuple[Summary, Summary]) -> None:
    first, second = (
        next(one for one in site_of(night, "north-range").meters if one.meter_id == "M2") for night in nights
    )
    assert not first.in_doubt
    assert (second.in_doubt, second.slope_pct, second.readings_in_doubt) == (True, 84, 15)


def test_three_pots_do_not_count(second: Summary) -> None:
    lot = lot_of(second, "LA-10")
    (sampling,) = on(lot, "2026-04-01")
    assert (sampling.n_pots, sampling.counts, sampling.ph.not_judged_why) == (3, False, "too_few_pots")
    assert "last_did_not_count" in {reason.code for reason in lot.reasons}


def test_a_site_is_silent(second: Summary) -> None:
    assert [site.site_id for site in second.sites if site.is_silent] == ["loma-alta"]


def test_a_renamed_column_holds_the_file_and_names_the_nearest(second: Summary) -> None:
    (finding,) = [one for one in site_of(second, "north-range").findings if one.rule == "columns_changed"]
    assert finding.file == "drop/readings_2026-04-05.csv"
    assert '"EC (mS/cm)" (the nearest header is "EC mS/cm")' in finding.sentence


def test_a_wrong_unit_is_recognised(second: Summary) -> None:
    (cause,) = [one for one in site_of(second, "pellbarrow").held if one.cause == "ec_out_of_scale"]
    assert "looks like µS/cm" in cause.sentence


FATES: dict[str, tuple[str, Callable[[Site], int]]] = {
    "NR-107": ("superseded", lambda site: site.lines.superseded),
    "drop/readings_2026-03-28.csv": ("repeated", lambda site: site.lines.repeated),
    "ER-207": ("superseded", lambda site: site.lines.superseded),
}


@pytest.mark.parametrize("subject", FATES)
def test_corrections_and_repeats_are_counted(second: Summary, subject: str) -> None:
    (story,) = [one for one in STORIES if one.subject == subject]
    fate, count = FATES[subject]
    assert count(site_of(second, story.site)) >= 1, fate


def test_an_affected_plant_in_a_routine_sampling_is_kept_apart(second: Summary) -> None:
    lot = lot_of(second, "NR-103")
    rules = {finding.rule for one in lot.samplings for finding in one.findings}
    assert "affected_in_routine" in rules


def test_lots_without_an_ec_target_say_why(second: Summary) -> None:
    for lot_id in ("NR-113", "NR-114", "NR-115", "LA-09", "PB-02"):
        lot = lot_of(second, lot_id)
        assert lot.target_ec is None
        assert lot.no_target_why["ec"]


def test_a_mean_inside_another_published_range_is_out_but_no_more(second: Summary) -> None:
    figure = lot_of(second, "LA-06").samplings[-1].ph
    assert (figure.verdict, figure.inside_another_range, round(figure.mean or 0, 2)) == ("out", True, 5.92)


def test_an_uneven_lot_and_lots_close_to_a_limit(second: Summary) -> None:
    assert "uneven" in {reason.code for reason in lot_of(second, "NR-118").reasons}
    for lot_id in ("NR-119", "PB-13"):
        assert "close_to_limit" in {reason.code for reason in lot_of(second, lot_id).reasons}


def test_what_a_treatment_did_to_ph_stands_before_what_it_did_to_ec(second: Summary) -> None:
    reasons = lot_of(second, "LA-01").reasons
    assert [one.quantity for one in reasons if one.code == "treatment_result"] == ["ph", "ec"]


def test_pots_that_would_do_are_held_against_one_sampling(second: Summary) -> None:
    lot = lot_of(second, "ER-205")
    assert (lot.due.purpose, lot.due.pots) == ("affected,healthy", 10)
    assert (
        lot.pots_sentences["ph"] == "pH: by their spread, 5 pots are enough to know the mean within ±0.2 pH."
    )


def test_an_own_target_of_the_site_is_used(second: Summary) -> None:
    target = lot_of(second, "ER-215").target_ec
    assert target is not None
    assert (target.source.basis, target.low, target.high) == ("site", 1.5, 2.5)


def test_low_ec_before_sale_is_a_note_only(second: Summary) -> None:
    lot = lot_of(second, "ER-203")
    assert lot.stage == "finishing"
    assert {reason.level for reason in lot.reasons} == {"note"}


def test_a_sampling_without_temperature_has_no_usable_ec(second: Summary) -> None:
    lot = lot_of(second, "LA-11")
    (sampling,) = [
        one for one in lot.samplings if any(pot.why_not_ec == "no_temperature" for pot in one.pots)
    ]
    assert (sampling.sampled_on.month, sampling.ec.n, sampling.counts) == (2, 0, True)


def test_released_lots_were_unknown_the_night_before(nights: tuple[Summary, Summary]) -> None:
    first, second = (site_of(night, "erlenwerth") for night in nights)
    waiting = {cause.what: cause.records for cause in first.held if cause.cause == "lot_unknown"}
    assert waiting == {"ER-216": 5, "ER-217": 5}
    assert second.released_tonight == 10
    assert {"ER-216", "ER-217"} <= {lot.lot_id for lot in second.lots}


def test_a_code_typed_in_lower_case_finds_its_lot(second: Summary) -> None:
    lot = lot_of(second, "NR-104")
    assert all(one.counts for one in lot.samplings)
    assert not [c for c in site_of(second, "north-range").held if (c.what or "").lower() == "nr-104"]


@pytest.mark.parametrize(
    ("site_id", "rule", "words"),
    [
        ("north-range", "alkalinity_acid", ("218 mg/L", "above what is published", "tends to raise pH")),
        ("erlenwerth", "feed_weak", ("Mischer 2", "1.35 mS/cm", "57 %", "injector")),
        ("north-range", "lot_not_listed", ("NR-120",)),
        (
            "loma-alta",
            "front_of_bench",
            (
                "Of 168 pots",
                "135 stood in the front row",
                "where 53 would be expected",
                "middle and the back",
            ),
        ),
    ],
)
def test_water_feed_and_planting_lists_are_told_with_their_figures(
    second: Summary, site_id: str, rule: str, words: tuple[str, ...]
) -> None:
    (finding,) = [one for one in site_of(second, site_id).findings if one.rule == rule]
    assert finding.level == "warn"
    assert [word for word in words if word not in (finding.group_sentence or finding.sentence)] == []


@pytest.mark.parametrize(
    ("lot_id", "code", "words"),
    [
        ("NR-101", "treated", ("acid feed", "04/01/2026", "04/08/2026")),
        ("LA-01", "treatment_result", ("bicarbonate", "03/26/2026", "a small fall", "less than 0.2 pH")),
        ("NR-101", "trend", ("0.11", "a week", "6 samplings")),
    ],
)
def test_treatments_and_trends_are_told_with_their_figures(
    second: Summary, lot_id: str, code: str, words: tuple[str, ...]
) -> None:
    reasons = [one for one in lot_of(second, lot_id).reasons if one.code == code]
    told = " ".join(f"{one.sentence} {one.group_sentence or ''}" for one in reasons)
    assert [word for word in words if word not in told] == []
