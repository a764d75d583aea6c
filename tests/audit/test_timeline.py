"""Timelines and meter charts: what is drawn, where, and what is said of it."""

from datetime import date
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from pipeline.audit.meter_chart import draw_meter
from pipeline.audit.timeline import WIDTH, Lane, draw_timeline
from pipeline.languages import load_tongue

ENGLISH = load_tongue("en")
FROM, TO = date(2026, 3, 2), date(2026, 4, 6)
LOT = {"stands_from": date(2026, 3, 2), "ends_on": date(2026, 3, 30)}
TEXT = "{http://www.w3.org/2000/svg}text"


def due(state: str, **more: Any) -> dict[str, Any]:
    return {"due_on": date(2026, 3, 16), "state": state, "part": "routine", "taken_on": None, **more}


def sampling(**more: Any) -> dict[str, Any]:
    base = {"sampled_on": date(2026, 3, 16), "purpose": "routine", "is_counting": True, "is_pair_end": False}
    return {**base, "lines": 5, **more}


def drawn(*, dues: Any = (), samplings: Any = (), gaps: Any = ()) -> tuple[ET.Element, str]:
    chart = draw_timeline(ENGLISH, "A", FROM, TO, LOT, dues, samplings, gaps)
    return ET.fromstring(chart.svg), chart.alt  # noqa: S314 (drawn by us)


def words(svg: ET.Element) -> list[str]:
    return [one.text or "" for one in svg.iter(TEXT)]


def test_days_lie_between_the_ends_of_the_period() -> None:
    lane = Lane(FROM, TO)
    assert lane.x(FROM) < lane.x(date(2026, 3, 16)) < lane.x(TO) <= WIDTH
    assert lane.x(date(2025, 1, 1)) == lane.x(FROM)
    assert Lane(FROM, FROM).x(FROM) == lane.x(FROM)


@pytest.mark.parametrize(("state", "letter"), [("excused", "e"), ("open", "o"), ("not_knowable", "?")])
def test_states_that_count_in_no_share_are_letters(state: str, letter: str) -> None:
    svg, alt = drawn(dues=[due(state)])
    assert letter in words(svg)
    assert f"Dues: 1 {state.replace('_', ' ')}." in alt


def test_shapes_tell_on_time_late_and_missed_apart_without_colour() -> None:
    shapes = {
        state: drawn(dues=[due(state, taken_on=date(2026, 3, 20))])[0]
        for state in ("on_time", "late", "missed")
    }
    paths = {
        state: [one.get("d") for one in svg.iter("{http://www.w3.org/2000/svg}path")]
        for state, svg in shapes.items()
    }
    assert len({tuple(one or "" for one in told) for told in paths.values()}) == 3


def test_hollow_samplings_do_not_count() -> None:
    svg, alt = drawn(samplings=[sampling(), sampling(is_counting=False), sampling(lines=0)])
    circles = list(svg.iter("{http://www.w3.org/2000/svg}circle"))
    assert [one.get("fill") for one in circles] == ["#111", "#fff"]
    assert "Samplings: 2." in alt


def test_only_the_longest_gap_is_drawn_with_its_days() -> None:
    gaps = [
        {"from_on": FROM, "to_on": date(2026, 3, 8), "days": 6},
        {"from_on": date(2026, 3, 8), "to_on": date(2026, 3, 30), "days": 22},
    ]
    svg, alt = drawn(gaps=gaps)
    assert [word for word in words(svg) if word.endswith(" d")] == ["22 d"]
    assert alt.endswith("Longest gap 22 days.")


def test_a_lot_without_anything_is_drawn_too() -> None:
    _, alt = drawn()
    assert alt == "Timeline of lot A. Dues: none. Samplings: 0."


def check(on: date, slope: float | None, *, is_accepted: bool = True) -> dict[str, Any]:
    limits = {"slope_low_pct": 85, "slope_high_pct": 105, "offset_limit_mv": 30}
    return {"calibrated_on": on, "slope_pct": slope, "offset_mv": None, "is_accepted": is_accepted, **limits}


def test_a_failed_check_is_a_cross_and_limits_are_drawn() -> None:
    checks = [check(date(2026, 3, 16), 97.5), check(date(2026, 3, 30), 84, is_accepted=False)]
    chart = draw_meter(ENGLISH, "M1", FROM, TO, checks)
    svg = ET.fromstring(chart.svg)  # noqa: S314
    assert {"85", "105", "-30", "30"} <= set(words(svg))
    assert len(list(svg.iter("{http://www.w3.org/2000/svg}circle"))) == 1
    assert chart.alt == "Checks of meter M1: 2, not accepted 1. Slope from 84 to 97.5 %, last 84 %."


def test_the_days_of_a_short_gap_stand_beside_its_line() -> None:
    def gap(first: int, last: int) -> dict[str, Any]:
        return {"from_on": date(2026, 3, first), "to_on": date(2026, 3, last), "days": last - first}

    for first, last in ((20, 22), (2, 3)):
        svg, _ = drawn(gaps=[gap(first, last)])
        lane = Lane(FROM, TO)
        (hidden,) = svg.iter("{http://www.w3.org/2000/svg}rect")
        left = float(hidden.get("x", ""))
        assert left >= lane.x(date(2026, 3, last)) or left + 28 <= lane.x(date(2026, 3, first))


def test_short_gaps_one_after_the_other_are_told_once_and_clear_of_the_brackets() -> None:
    gaps = [
        {"from_on": date(2026, 3, day), "to_on": date(2026, 3, day + 1), "days": 1} for day in range(20, 25)
    ]
    lot = {"stands_from": date(2026, 3, 19), "ends_on": None}
    chart = draw_timeline(ENGLISH, "A", FROM, TO, lot, [], [], gaps)
    svg = ET.fromstring(chart.svg)  # noqa: S314 (drawn by us)
    assert [word for word in words(svg) if word.endswith(" d")] == ["1 d"]
    (hidden,) = svg.iter("{http://www.w3.org/2000/svg}rect")
    assert float(hidden.get("x", "")) + 28 < Lane(FROM, TO).x(date(2026, 3, 19))


def test_samplings_of_one_day_stand_beside_each_other_and_the_routine_one_in_its_place() -> None:
    many = [sampling(purpose="affected"), sampling(purpose="healthy"), sampling()]
    svg, _ = drawn(samplings=many)
    (circle,) = svg.iter("{http://www.w3.org/2000/svg}circle")
    squares = [float(one.get("x", "")) for one in svg.iter("{http://www.w3.org/2000/svg}rect")]
    assert float(circle.get("cx", "")) == Lane(FROM, TO).x(date(2026, 3, 16))
    assert len({*squares}) == 2
    assert min(squares) > float(circle.get("cx", ""))
