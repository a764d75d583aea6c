"""Lines of an increment, once a later file of their name holds them no more."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.bench import Bench

NAME = "drop/readings.csv"
COLUMNS = "lot_code | sampled_on | pot | ph"
FIRST = date(2026, 4, 6)
AHEAD = f"{COLUMNS}\nA | 2026-05-04 | 1 | 6.0"


def night(bench: Bench, day: date) -> None:
    """Ends the night that runs, and begins the one of this day."""
    bench.build("record_fates")
    bench.run("history/close_fates")
    bench.run("history/open_fates")
    bench.next_night(day)


def fates(bench: Bench) -> list[tuple[object, ...]]:
    """File, fate and cause of each reading."""
    return bench.rows("record_fates", "file_id, record_no, fate, cause", "export_kind = 'readings'")


def test_a_line_with_a_date_ahead_gives_way_to_the_corrected_file_for_good(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    assert fates(bench) == [(2, 1, "held", "in_future")]
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    corrected = [(2, 1, "superseded", None), (3, 1, "accepted", None)]
    assert fates(bench) == corrected
    assert bench.select("record_versions", "ruling_file_id, ruling_record_no", "file_id = 2") == [(3, 1)]
    # its day comes, and it is no sampling
    night(bench, date(2026, 5, 20))
    assert fates(bench) == corrected


@pytest.mark.parametrize("changed", ["name", "no file", "held whole"])
def test_it_waits_as_long_as_no_readable_file_of_its_name_came(bench: Bench, changed: str) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    night(bench, date(2026, 4, 7))
    right = f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0"
    if changed == "name":
        bench.readings(right, name="drop/readings-2.csv")
    elif changed == "held whole":
        bench.readings(right, name=NAME, problem="delimiter")
    assert fates(bench)[0] == (2, 1, "held", "in_future")


def test_a_line_that_a_newer_version_of_its_file_has_no_more_is_withdrawn(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0\nA | 2026-04-05 | 2 | 6.1", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 2 | 6.1", name=NAME)
    assert fates(bench) == [(2, 1, "withdrawn", None), (2, 2, "accepted", None), (3, 1, "repeated", None)]
    assert bench.select("record_versions", "ruling_file_id, ruling_record_no", "file_id = 2") == [
        (None, None),
        (None, None),
    ]


def pots(*values: str, day: str = "2026-04-05", lot: str = "A") -> str:
    """Lines of one sampling without pots' numbers."""
    return "".join(f"\n{lot} | {day} | {value}" for value in values)


UNNUMBERED = "lot_code | sampled_on | ph"


def after(bench: Bench, earlier: str, later: str, **facts: str) -> list[tuple[object, ...]]:
    """Fates of the earlier file's lines and the line that took their place, once the later file came under its name."""
    bench.lots("lot_code\nA\nB")
    bench.readings(f"{UNNUMBERED}{facts.get('columns', '')}{earlier}", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{UNNUMBERED}{facts.get('columns', '')}{later}", name=NAME)
    fates(bench)
    return bench.rows("record_versions", "record_no, version, ruling_record_no", "file_id = 2")


def test_the_one_line_of_a_sampling_that_was_changed_is_superseded_by_what_came(bench: Bench) -> None:
    told = after(bench, pots("5.8", "5.9", "6.0", "6.1", "6.2"), pots("6.2", "5.8", "5.9", "6.5", "6.1"))
    assert told == [
        (1, "current", None),
        (2, "current", None),
        (3, "superseded", 4),
        (4, "current", None),
        (5, "current", None),
    ]


def test_two_changed_lines_of_a_sampling_cannot_be_told_apart_and_are_withdrawn(bench: Bench) -> None:
    told = after(bench, pots("5.8", "5.9", "6.0", "6.1"), pots("5.8", "5.9", "6.5", "6.6"))
    assert [version for _, version, _ in told] == ["current", "current", "withdrawn", "withdrawn"]


@pytest.mark.parametrize(
    ("later", "is_newer"),
    [(pots("5.8", "5.9", "7.0", "7.1", "7.2"), True), (pots("5.8", "7.0", "7.1", "7.2", "7.3"), False)],
)
def test_half_of_the_lines_make_a_newer_version(bench: Bench, later: str, is_newer: bool) -> None:
    told = after(bench, pots("5.8", "5.9", "6.0", "6.1"), later)
    assert [version for _, version, _ in told[2:]] == (["withdrawn"] if is_newer else ["current"]) * 2


TWO = pots("5.8", "5.9", "6.0") + pots("6.1", "6.2", lot="B")


@pytest.mark.parametrize(
    ("earlier", "later", "is_newer"),
    [
        # every figure of a column was corrected
        (TWO, pots("5.5", "5.6", "5.7") + pots("6.4", "6.5", lot="B"), True),
        # and a sampling was added
        (
            TWO,
            pots("5.5", "5.6", "5.7") + pots("6.4", "6.5", lot="B") + pots("6.6", lot="B", day="2026-04-04"),
            True,
        ),
        # another number of pots, another day, another lot: who knows
        (TWO, pots("5.5", "5.6", "5.7") + pots("6.4", lot="B"), False),
        (TWO, pots("5.5", "5.6", "5.7", "5.5") + pots("6.4", "6.5", lot="B"), False),
        (TWO, pots("5.5", "5.6", "5.7") + pots("6.4", "6.5", lot="B", day="2026-04-04"), False),
        # two lines are too few to go by
        (pots("5.8", "5.9"), pots("5.5", "5.6"), False),
    ],
)
def test_the_same_samplings_with_as_many_lines_make_a_newer_version(
    bench: Bench, earlier: str, later: str, is_newer: bool
) -> None:
    told = after(bench, earlier, later)
    assert {version for _, version, _ in told} == ({"withdrawn"} if is_newer else {"current"})


def test_means_that_were_corrected_all_at_once_are_superseded_by_what_came(bench: Bench) -> None:
    days = ("2026-04-01", "2026-04-02", "2026-04-03")
    told = after(
        bench, "".join(pots("5.8", day=day) for day in days), "".join(pots("6.1", day=day) for day in days)
    )
    assert told == [(1, "superseded", 1), (2, "superseded", 2), (3, "superseded", 3)]


def test_other_pots_of_the_same_samplings_are_no_correction(bench: Bench) -> None:
    bench.lots()
    for first in (1, 4):
        lines = "".join(f"\nA | 2026-04-05 | {pot} | 6.{pot}" for pot in range(first, first + 3))
        bench.readings(COLUMNS + lines, name=NAME, numbers_pots=None)
        night(bench, date(2026, 4, 7))
    assert [row[2] for row in fates(bench)] == ["accepted"] * 6


def test_equal_lines_count_as_often_as_they_stand_there(bench: Bench) -> None:
    # one of four equal lines is less than half of them
    told = after(bench, pots("5.8", "5.8", "5.8", "5.8"), pots("5.8", "6.0"))
    assert {version for _, version, _ in told} == {"current"}


def test_a_date_or_a_lot_corrected_in_a_newer_version_is_told_as_such(bench: Bench) -> None:
    old = pots("5.8", "5.9", "6.0", day="2026-04-04") + pots("6.1", day="2026-03-04") + pots("6.2", lot="B")
    new = pots("5.8", "5.9", "6.0", "6.1", day="2026-04-04") + pots("6.2")
    assert after(bench, old, new)[3:] == [(4, "superseded", 4), (5, "superseded", 5)]


def test_days_before_the_first_of_the_newer_version_stay(bench: Bench) -> None:
    # an export of the last three days
    days = ["2026-04-01", "2026-04-02", "2026-04-03", "2026-04-04"]
    window = [pots("5.8", "5.9", day=day) for day in days]
    told = after(bench, "".join(window[:3]), "".join(window[1:]))
    assert {version for _, version, _ in told} == {"current"}


def test_a_newer_version_is_found_behind_another_increment(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.readings(UNNUMBERED + pots("5.8", "5.9", "6.0"), name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(UNNUMBERED + pots("6.4", "6.5", lot="B"), name=NAME)
    night(bench, date(2026, 4, 8))
    bench.readings(UNNUMBERED + pots("5.8", "5.9", "6.2"), name=NAME)
    assert [row[2] for row in fates(bench)] == [
        *("accepted", "accepted", "superseded"),
        *("accepted", "accepted"),
        *("repeated", "repeated", "accepted"),
    ]


def test_a_key_makes_a_newer_version_too(bench: Bench) -> None:
    bench.lots()
    lines = "\nA | 2026-04-05 | 1 | 6.0\nA | 2026-04-05 | 2 | 6.1\nA | 2026-04-05 | 3 | 6.2"
    bench.readings(COLUMNS + lines, name=NAME, numbers_pots=True)
    night(bench, date(2026, 4, 7))
    # every value is another, and pot 3 is called 4
    bench.readings(
        f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.3\nA | 2026-04-05 | 2 | 6.4\nA | 2026-04-05 | 4 | 6.5",
        name=NAME,
        numbers_pots=True,
    )
    fates(bench)
    told = bench.rows("record_versions", "record_no, version, ruling_record_no", "file_id = 2")
    assert told == [(1, "superseded", 1), (2, "superseded", 2), (3, "superseded", 3)]


def test_what_another_file_brought_last_is_its_own(bench: Bench) -> None:
    bench.lots()
    bench.readings(UNNUMBERED + pots("5.8", "5.9"), name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(UNNUMBERED + pots("5.9"), name="drop/other.csv")
    night(bench, date(2026, 4, 8))
    bench.readings(UNNUMBERED + pots("5.8", "6.2"), name=NAME)
    assert fates(bench)[:2] == [(2, 1, "accepted", None), (2, 2, "accepted", None)]


@pytest.mark.parametrize("kind", ["lots", "plantings", "people"])
def test_lists_in_pieces_lose_nothing(bench: Bench, kind: str) -> None:
    name = {"lots": "lot_code", "plantings": "lot_code", "people": "name"}[kind]
    bench.load_file(kind, f"{name}\nA\nB", name="drop/list.csv")
    night(bench, date(2026, 4, 7))
    bench.load_file(kind, f"{name}\nA\nC", name="drop/list.csv")
    versions = bench.rows("record_versions", "file_id, record_no, version")
    assert versions == [(1, 1, "current"), (1, 2, "current"), (2, 1, "repeated"), (2, 2, "current")]


def test_meter_checks_that_were_corrected_do_not_stand_twice(bench: Bench) -> None:
    checks = "meter_id | slope_pct\nM1 | {}\nM2 | 97"
    bench.calibrations(checks.format(84), name="drop/meters.csv")
    night(bench, date(2026, 4, 7))
    bench.calibrations(checks.format(94), name="drop/meters.csv")
    versions = bench.rows("record_versions", "file_id, record_no, version")
    assert versions[:2] == [(1, 1, "withdrawn"), (1, 2, "current")]


def test_the_next_piece_under_the_same_name_leaves_lines_that_wait_for_a_lot(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nP-1 | 2026-04-05 | 1 | 6.0", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nP-1 | 2026-04-06 | 1 | 6.2", name=NAME)
    assert fates(bench)[0] == (2, 1, "held", "lot_unknown")
    night(bench, date(2026, 4, 8))
    bench.lots("lot_code\nA\nP-1")
    assert {fate for _, _, fate, _ in fates(bench)} == {"accepted"}


def held_after(bench: Bench, earlier: str, *later: str, columns: str = COLUMNS) -> list[tuple[object, ...]]:
    """What became of the earlier file's lines once one more increment came under its name: fate and cause."""
    bench.lots(
        "lot_code | started_on | ends_on\nA | 2026-02-02 | -\nB | 2026-02-02 | -\nE | 2026-02-02 | 2026-04-01"
    )
    bench.readings(columns + earlier, name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(columns + "".join(later), name=NAME)
    return [row[2:] for row in fates(bench) if row[0] == 2]


LINE = "\nP-1 | 2026-04-05 | 1 | 6.0"


@pytest.mark.parametrize(
    "later",
    [
        # another day, another lot that is known or not, another pot, another figure
        LINE.replace("04-05", "04-06"),
        LINE.replace("P-1", "B"),
        LINE.replace("P-1", "P-2"),
        LINE.replace("| 1 |", "| 2 |"),
        LINE.replace("6.0", "6.1"),
    ],
)
def test_a_line_that_waits_for_a_lot_gives_way_to_no_other_reading(bench: Bench, later: str) -> None:
    assert held_after(bench, LINE, later) == [("held", "lot_unknown")]


def test_a_line_of_an_unknown_lot_gives_way_to_itself_with_a_place_alone(bench: Bench) -> None:
    columns = "lot_code | house | bench | ph"
    assert held_after(bench, "\nP-1 | - | - | 6.0", "\n- | 1 | 2 | 6.0", columns=columns) == [
        ("superseded", None)
    ]


def test_a_line_whose_place_is_unclear_gives_way_to_itself_with_its_lot(bench: Bench) -> None:
    columns = "lot_code | house | ph"
    assert held_after(bench, "\n- | 9 | 6.0", "\nA | 9 | 6.0", columns=columns) == [("superseded", None)]


@pytest.mark.parametrize("problem", ["number_unreadable", "ph_out_of_scale"])
def test_a_line_with_a_fault_of_its_own_gives_way_to_itself_mended_alone(bench: Bench, problem: str) -> None:
    faulty = f"\nA | 2026-04-05 | 1 | 60 | {problem}"
    columns = f"{COLUMNS} | problem"
    assert held_after(bench, faulty, "\nA | 2026-04-06 | 1 | 6.0 | -", columns=columns) == [("held", problem)]


@pytest.mark.parametrize("problem", ["number_unreadable", "ph_out_of_scale"])
def test_and_the_mended_line_is_named(bench: Bench, problem: str) -> None:
    faulty = f"\nA | 2026-04-05 | 1 | 60 | {problem}"
    later = "\nA | 2026-04-06 | 1 | 6.2 | -", "\nA | 2026-04-05 | 1 | 6.0 | -"
    assert held_after(bench, faulty, *later, columns=f"{COLUMNS} | problem") == [("superseded", None)]
    assert bench.select("record_versions", "ruling_file_id, ruling_record_no", "file_id = 2") == [(3, 2)]


def test_one_mended_line_takes_the_place_of_one(bench: Bench) -> None:
    faulty = "\nA | 2026-04-05 | 1 | 60 | ph_out_of_scale\nA | 2026-04-05 | 1 | 61 | ph_out_of_scale"
    later = "\nA | 2026-04-05 | 1 | 6.0 | -"
    told = held_after(bench, faulty, later, columns=f"{COLUMNS} | problem")
    assert told == [("superseded", None), ("held", "ph_out_of_scale")]


def test_a_line_that_was_there_before_mends_nothing(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name="drop/other.csv")
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS} | problem\nA | 2026-04-05 | 1 | 60 | ph_out_of_scale", name=NAME)
    night(bench, date(2026, 4, 8))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    assert fates(bench)[1] == (3, 1, "held", "ph_out_of_scale")


@pytest.mark.parametrize(
    ("earlier", "later", "gives_way"),
    [
        # another year, another month, day and month exchanged
        ("A | 2025-04-05", "A | 2026-04-05", True),
        ("E | 2026-04-05", "E | 2026-03-05", True),
        ("A | 2026-01-03", "A | 2026-03-01", True),
        # the next sampling of a lot whose days the list has wrong
        ("A | 2026-01-22", "A | 2026-01-29", False),
        ("E | 2026-04-03", "E | 2026-04-06", False),
        ("E | 2026-04-05", "A | 2026-04-05", False),
    ],
)
def test_a_day_outside_its_lot_gives_way_to_a_slip_mended_alone(
    bench: Bench, earlier: str, later: str, gives_way: bool
) -> None:
    told = held_after(bench, f"\n{earlier} | 1 | 6.0", f"\n{later} | 1 | 6.0")
    assert [fate for fate, _ in told] == ["superseded" if gives_way else "held"]


SAMPLING = "".join(f"\n{{lot}} | {{day}} | {pot} | 6.{pot}" for pot in (1, 2, 3))


@pytest.mark.parametrize(
    ("lines", "lot", "day", "fate"),
    [
        (SAMPLING, "B", "2026-04-05", "superseded"),
        # another day as well: it is the other lot's own
        (SAMPLING, "B", "2026-04-06", "held"),
        # two lines, or three that are alike, may be the same by chance
        (SAMPLING[: SAMPLING.rindex("\n")], "B", "2026-04-05", "held"),
        ("\n{lot} | {day} | 1 | 6.0" * 3, "B", "2026-04-05", "held"),
    ],
)
def test_another_lot_is_believed_of_a_whole_sampling(
    bench: Bench, lines: str, lot: str, day: str, fate: str
) -> None:
    earlier, later = lines.format(lot="P-1", day="2026-04-05"), lines.format(lot=lot, day=day)
    assert {told for told, _ in held_after(bench, earlier, later)} == {fate}


@pytest.mark.parametrize(
    ("text", "later", "fate"),
    [
        # a comma between figures that should have been a point; a line that breaks off; another line; hardly a line
        ("A,2026-04-05,1,6,0", "A,2026-04-05,1,6.0", "superseded"),
        ("A,2026-04-05,", "A,2026-04-05,1,6.0", "superseded"),
        ("A,2026-04-05,1,6,0", "A,2026-04-05,1,6.1", "held"),
        ("A,20", "A,2026-04-05,1,6.0", "held"),
    ],
)
def test_a_line_that_could_not_be_divided_gives_way_to_what_it_should_have_been(
    bench: Bench, text: str, later: str, fate: str
) -> None:
    columns = "lot_code | sampled_on | text | problem"
    broken = f"\n- | - | {text} | ragged"
    assert [
        one for one, _ in held_after(bench, broken, f"\nA | 2026-04-05 | {later} | -", columns=columns)
    ] == [fate]


def test_a_line_that_comes_back_is_a_line_again(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    night(bench, date(2026, 4, 8))
    bench.readings(AHEAD + "\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    assert fates(bench)[0] == (2, 1, "held", "in_future")


def test_a_version_that_waits_keeps_its_place_and_one_that_was_withdrawn_gives_it_back(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", numbers_pots=True)
    night(bench, date(2026, 4, 7))
    bad = f"{COLUMNS} | problem\nA | 2026-04-05 | 1 | 60 | ph_out_of_scale"
    bench.readings(bad, numbers_pots=True, name=NAME)
    assert [fate for _, _, fate, _ in fates(bench)] == ["superseded", "held"]
    night(bench, date(2026, 4, 8))
    other = "A | 2026-04-05 | 2 | 6.1"
    bench.readings(f"{COLUMNS}\n{other}", numbers_pots=True, name=NAME)
    assert [fate for _, _, fate, _ in fates(bench)] == ["superseded", "held", "accepted"]
    night(bench, date(2026, 4, 9))
    bench.readings(f"{bad}\n{other} | -", numbers_pots=True, name=NAME)
    night(bench, date(2026, 4, 10))
    bench.readings(f"{COLUMNS}\n{other}", numbers_pots=True, name=NAME)
    assert [fate for _, _, fate, _ in fates(bench)][:2] == ["accepted", "withdrawn"]


def test_what_a_whole_list_has_no_more_is_withdrawn_whether_it_was_held_or_not(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME, mode="cumulative")
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME, mode="cumulative")
    assert fates(bench) == [(2, 1, "withdrawn", None), (3, 1, "accepted", None)]
