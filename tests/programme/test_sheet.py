"""What a sampling sheet asks for: the walk, one sampling for several dues, pots and their places."""

from __future__ import annotations

import itertools
import random
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pipeline.measures.reference_tables import load_buffers_by_temperature
from pipeline.programme.draw import BenchMap, draw_places
from pipeline.programme.sheet import Sheet, natural_key
from pipeline.programme.sheet_buffers import list_buffers
from pipeline.settings.benches import Bench
from tests.programme.sheets import AS_OF, UNTIL, make_benches, make_row, make_site, sheet_of


def day(number: int) -> Any:
    return AS_OF + timedelta(days=number)


def walk_of(sheet: Sheet) -> list[str]:
    return [lot.lot_id for lot in sheet.lots]


def test_a_lot_has_the_recipe_and_the_pots_that_its_due_asks_for() -> None:
    (lot,) = sheet_of(make_row(leachate_high_ml=60)).lots
    assert (lot.lot_id, lot.house, lot.bench, lot.crop, lot.cultivar) == (
        "A",
        "House 1",
        "1",
        "petunia",
        "Night Sky",
    )
    assert (lot.pour_ml, lot.collect_low_ml, lot.collect_high_ml) == (75, 50, 60)
    assert (lot.drain_low_min, lot.drain_high_min) == (30, 60)
    assert [(group.purpose, len(group.pots)) for group in lot.groups] == [("routine", 5)]
    assert [pot.pot for pot in lot.groups[0].pots] == [1, 2, 3, 4, 5]


def test_nothing_due_is_a_sheet_without_lots() -> None:
    sheet = sheet_of(meters=())
    assert (sheet.lots, sheet.meters, sheet.pots, sheet.minutes) == ([], [], 0, 0)
    assert sheet.until == UNTIL


def test_pots_and_minutes_are_summed() -> None:
    sheet = sheet_of(make_row("A"), make_row("B", pots=10, why="symptoms", purposes="affected,healthy"))
    assert (sheet.pots, sheet.minutes) == (15, 60)


def test_house_2_is_walked_before_house_10_where_there_is_no_map() -> None:
    rows = [
        make_row("A", house="House 10", bench="1"),
        make_row("B", house="House 2", bench="10"),
        make_row("C", house="House 2", bench="9"),
        make_row("D", house=None, bench=None),
    ]
    assert walk_of(sheet_of(*rows, site=make_site())) == ["C", "B", "A", "D"]


def test_the_walk_follows_the_map_where_it_has_the_place() -> None:
    site = make_site([*make_benches("North", benches=("2", "1")), *make_benches("East")])
    rows = [
        make_row("A", house="East", bench="1"),
        make_row("B", house="north", bench="1"),
        make_row("C", house="North", bench="2"),
        make_row("D", house="Attic", bench="1"),
        make_row("E", house="East", bench="nowhere"),
    ]
    assert walk_of(sheet_of(*rows, site=site)) == ["C", "B", "A", "E", "D"]


def test_a_lot_s_samplings_stand_beside_each_other_and_lots_of_a_bench_in_order_of_their_codes() -> None:
    rows = [
        make_row("A-10"),
        make_row("A-9"),
        make_row("A-9", why="symptoms", purposes="affected,healthy", pots=10, nth=2),
    ]
    assert walk_of(sheet_of(*rows)) == ["A-9", "A-9", "A-10"]
    assert [lot.number for lot in sheet_of(*rows).lots] == [1, 2, 3]


def test_one_sampling_answers_a_routine_due_and_a_retest() -> None:
    (lot,) = sheet_of(
        make_row(why="after_out", purposes="retest", due_on=day(-3), nth=1),
        make_row(due_on=day(4), nth=2),
    ).lots
    assert (lot.due.why, lot.due.days_overdue, [due.why for due in lot.also]) == ("after_out", 3, ["routine"])
    assert [group.purpose for group in lot.groups] == ["retest"]


def test_a_due_of_today_is_not_overdue() -> None:
    (lot,) = sheet_of(make_row(due_on=AS_OF)).lots
    assert lot.due.days_overdue is None


def test_the_larger_number_of_pots_is_read() -> None:
    (lot,) = sheet_of(make_row(nth=1), make_row(why="after_out", purposes="retest", pots=7, nth=2)).lots
    assert lot.n_pots == 7


def test_a_retest_whose_waiting_time_is_not_over_is_a_sampling_of_its_own() -> None:
    rows = [
        make_row(due_on=day(1), nth=1),
        make_row(
            why="after_treatment",
            purposes="retest",
            due_on=day(3),
            not_before=day(3),
            caused_on=day(-4),
            nth=2,
        ),
    ]
    first, second = sheet_of(*rows).lots
    assert (first.due.why, first.not_before, second.due.why, second.not_before) == (
        "routine",
        None,
        "after_treatment",
        day(3),
    )


def test_a_retest_whose_waiting_time_is_over_when_the_other_is_taken_is_answered_by_it() -> None:
    rows = [
        make_row(due_on=day(3), nth=1),
        make_row(why="after_treatment", purposes="retest", due_on=day(3), not_before=day(2), nth=2),
    ]
    (lot,) = sheet_of(*rows).lots
    assert [due.why for due in lot.also] == ["after_treatment"]
    # Taken early it would come within the wait.
    assert lot.not_before == day(2)


def test_an_overdue_sampling_is_taken_today_and_answers_what_may_be_read_today() -> None:
    rows = [
        make_row(due_on=day(-5), nth=1),
        make_row(why="after_treatment", purposes="retest", due_on=AS_OF, not_before=AS_OF, nth=2),
    ]
    (lot,) = sheet_of(*rows).lots
    assert (len(lot.also), lot.not_before) == (1, None)


@pytest.mark.parametrize(("plants", "needed"), [(None, None), (4, 5), (5, None), (0, 5)])
def test_a_lot_with_too_few_plants_says_how_many_it_takes(plants: int | None, needed: int | None) -> None:
    (lot,) = sheet_of(make_row(plants=plants)).lots
    assert lot.needed_pots == needed


def test_the_second_half_of_a_pair_is_read_alone_and_keeps_the_pair_s_first_day() -> None:
    half = make_row(why="feed_pair", purposes="after_feed", due_on=day(3), nth=1)
    (lot,) = sheet_of(half, make_row(due_on=day(6), nth=2)).lots
    assert [(group.purpose, len(group.pots)) for group in lot.groups] == [("after_feed", 5)]
    assert (lot.due.rule_on, lot.due.due_on) == (day(2), day(3))
    assert [due.why for due in lot.also] == ["routine"]


def test_affected_plants_are_read_apart_from_the_routine() -> None:
    rows = [
        make_row(why="symptoms", purposes="affected,healthy", pots=10, due_on=day(1), nth=1),
        make_row(nth=2),
    ]
    symptoms, routine = sheet_of(*rows).lots
    assert [(group.purpose, len(group.pots)) for group in symptoms.groups] == [
        ("affected", 5),
        ("healthy", 5),
    ]
    assert (symptoms.also, routine.due.why) == ([], "routine")


def test_nobody_draws_where_affected_plants_stand_but_where_healthy_ones_do() -> None:
    (lot,) = sheet_of(make_row(why="symptoms", purposes="affected,healthy", pots=10)).lots
    affected, healthy = lot.groups
    assert not affected.is_drawn
    assert healthy.is_drawn


def test_a_pair_around_a_feeding_stands_for_the_routine_sampling() -> None:
    rows = [
        make_row(why="feed_pair", purposes="before_feed,after_feed", pots=10, due_on=day(1), nth=1),
        make_row(nth=2),
        make_row(why="after_out", purposes="retest", due_on=day(4), nth=3),
    ]
    pair, retest = sheet_of(*rows).lots
    assert [(group.purpose, len(group.pots)) for group in pair.groups] == [
        ("before_feed", 5),
        ("after_feed", 5),
    ]
    assert [due.why for due in pair.also] == ["routine"]
    assert (retest.due.why, retest.also) == ("after_out", [])


@pytest.mark.parametrize(("again_on", "is_answered"), [(2, True), (1, False)])
def test_a_pair_stands_for_the_retest_after_a_pair_if_it_is_whole_by_then(
    again_on: int, *, is_answered: bool
) -> None:
    rows = [
        make_row(
            why="feed_pair", purposes="before_feed,after_feed", pots=10, rule_on=day(1), due_on=day(1), nth=1
        ),
        make_row(why="after_pair_out", purposes="retest", due_on=day(again_on), nth=2),
    ]
    pair, *others = sheet_of(*rows).lots
    assert [due.why for due in pair.also] == (["after_pair_out"] if is_answered else [])
    assert [lot.due.why for lot in others] == ([] if is_answered else ["after_pair_out"])


def test_pots_of_different_purposes_are_drawn_apart() -> None:
    (lot,) = sheet_of(make_row(why="feed_pair", purposes="before_feed,after_feed", pots=10)).lots
    before, after = ([(pot.row, pot.column) for pot in group.pots] for group in lot.groups)
    assert before != after


def test_places_are_those_that_the_due_s_own_key_draws() -> None:
    (lot,) = sheet_of(make_row(bench="2")).lots
    bench = BenchMap(2, "House 1", "2", 4, 20, 80)
    wanted = draw_places([bench], 5, key="hill|a|2026-04-08|routine")
    assert [(pot.bench, pot.row, pot.column, pot.zone) for pot in lot.groups[0].pots] == [
        (place.bench, place.row, place.column, place.zone) for place in wanted
    ]


def test_a_sheet_printed_later_has_the_same_places() -> None:
    first = sheet_of(make_row()).lots[0].groups
    later = sheet_of(make_row(), make_row("B"), as_of=day(3), until=day(9)).lots[0].groups
    assert first == later


def test_a_lot_without_a_bench_is_drawn_from_all_of_its_house() -> None:
    (lot,) = sheet_of(make_row(bench=None, pots=10)).lots
    assert {pot.bench for pot in lot.groups[0].pots} == {"1", "2"}


def test_a_bench_without_rows_gives_numbers_of_places() -> None:
    (lot,) = sheet_of(make_row(), site=make_site([Bench(house="House 1", name="1", places=90)])).lots
    pots = lot.groups[0].pots
    assert all(pot.row is None and pot.place is not None and 1 <= pot.place <= 90 for pot in pots)


def test_without_a_map_no_place_is_drawn_but_the_pots_are_asked_for() -> None:
    (lot,) = sheet_of(make_row(), site=make_site()).lots
    assert [pot.model_dump(exclude_none=True) for pot in lot.groups[0].pots] == [
        {"pot": n} for n in range(1, 6)
    ]
    assert not lot.groups[0].is_drawn


def test_meters_stand_in_the_order_of_their_names() -> None:
    assert sheet_of(meters=["M10", "m2", "M1"]).meters == ["M1", "m2", "M10"]


def test_buffers_read_what_the_published_table_says() -> None:
    """Foxboro instruction MI 611-211, October 2005, Table 7 (read)."""
    buffers = list_buffers(load_buffers_by_temperature())
    assert {buffer.label_ph: buffer.ph_at_c for buffer in buffers} == {
        4.00: {15: 4.00, 20: 4.00, 25: 4.00, 30: 4.01},
        7.00: {15: 7.04, 20: 7.02, 25: 7.00, 30: 6.99},
        10.01: {15: 10.12, 20: 10.06, 25: 10.01, 30: 9.97},
    }
    assert all("Foxboro" in buffer.source for buffer in buffers)


def test_the_sheet_comes_back_whole_from_json() -> None:
    sheet = sheet_of(make_row(), make_row("B", why="symptoms", purposes="affected,healthy", pots=10))
    assert Sheet.model_validate_json(sheet.model_dump_json()) == sheet


def test_a_purpose_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ValidationError, match="purpose"):
        sheet_of(make_row(purposes="whim"))


@settings(deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(chance: random.Random) -> None:
    rows = [
        make_row(
            f"L{number}",
            house=f"House {number % 3 * 5}",
            bench=str(number % 2),
            nth=nth,
            why=why,
            purposes=what,
        )
        for number in range(6)
        for nth, (why, what) in enumerate(
            (("routine", "routine"), ("after_out", "retest"), ("symptoms", "affected,healthy")), start=1
        )
    ]
    wanted = sheet_of(*rows)
    chance.shuffle(rows)
    assert sheet_of(*rows) == wanted


@given(
    st.lists(
        st.sampled_from(["House 2", "House 10", "house 1", "", None, "ß", "２", "B-3", "7a", "²"]), min_size=1
    )
)
def test_any_names_can_be_put_in_order(names: list[str | None]) -> None:
    keys = [natural_key(name) for name in sorted(names, key=natural_key)]
    assert all(one <= other for one, other in itertools.pairwise(keys))


@pytest.mark.parametrize(
    ("names", "wanted"),
    [
        (["House 10", "House 2"], ["House 2", "House 10"]),
        (["b", "A"], ["A", "b"]),
        ([None, "z", ""], ["z", None, ""]),
        (["B2-10", "B2-9"], ["B2-9", "B2-10"]),
    ],
)
def test_names_stand_as_people_count(names: list[str | None], wanted: list[str | None]) -> None:
    assert sorted(names, key=natural_key) == wanted


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.sampled_from(["routine", "after_out", "symptoms"])), unique=True)
)
def test_every_due_is_answered_by_exactly_one_sampling(dues: list[tuple[int, str]]) -> None:
    purposes = {"routine": "routine", "after_out": "retest", "symptoms": "affected,healthy"}
    rows = [
        make_row(f"L{lot}", why=why, purposes=purposes[why], nth=nth, pots=10)
        for nth, (lot, why) in enumerate(dues)
    ]
    answered = [(lot.lot_id, due.why) for lot in sheet_of(*rows).lots for due in (lot.due, *lot.also)]
    assert sorted(answered) == sorted((f"L{lot}", why) for lot, why in dues)
