"""Lines of sheets: the dues that samplings answer, pots that somebody added, and sheets that came to the wrong site."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.sql.bench import AS_OF, Bench, site

SHEET = {"export_no": 0, "numbers_pots": True}
DUE = {"due_why": "routine", "due_on": "2026-03-28", "is_purpose_blank": "false"}
ADDED = {"due_why": None, "due_on": None, "is_purpose_blank": "true"}
ANSWERS = "lot_key, strftime(sampled_on, '%d'), purpose, due_why, strftime(due_on, '%d'), pots, days_late"


def pots(*numbers: int, ph: str = "6.0") -> str:
    return "pot | ph\n" + "\n".join(f"{number} | {ph}" for number in numbers)


def test_a_sampling_answers_the_due_that_its_lines_name(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.readings(pots(1, 2, 3, 4, 5), same=DUE, **SHEET)
    bench.readings("pot | lot_code\n1 | B")
    assert bench.rows("answered_dues", ANSWERS) == [("a", "30", "routine", "routine", "28", 5, 2)]
    assert bench.select("answered_dues", "lot_id, is_counting, first_file_id, first_received_on") == [
        ("A", True, 2, AS_OF)
    ]


@pytest.mark.parametrize(("due_on", "late"), [("2026-03-29", 1), ("2026-03-30", 0), ("2026-04-02", 0)])
def test_days_late_are_counted_from_the_due(bench: Bench, due_on: str, late: int) -> None:
    bench.lots()
    bench.readings(pots(1), same={**DUE, "due_on": due_on}, **SHEET)
    assert bench.rows("answered_dues", "days_late, is_counting") == [(late, False)]


@pytest.mark.parametrize(("first_on", "late"), [("2026-03-28", 0), ("2026-03-29", 1)])
def test_a_pair_is_as_late_as_its_first_half(bench: Bench, first_on: str, late: int) -> None:
    """The lines of both halves name the first day; the second is a day later by the rule, which is not late."""
    bench.lots("started_on\n2026-03-02")
    due = {"due_why": "feed_pair", "due_on": "2026-03-28", "is_purpose_blank": "false"}
    second_on = (date.fromisoformat(first_on) + timedelta(days=1)).isoformat()
    for on, purpose in ((first_on, "before_feed"), (second_on, "after_feed")):
        bench.readings(pots(1, 2, 3, 4, 5), same={**due, "sampled_on": on, "purpose": purpose}, **SHEET)
    assert bench.rows("answered_dues", "purpose, days_late") == [("after_feed", late), ("before_feed", late)]


def test_affected_and_healthy_pots_answer_one_due_in_two_samplings(bench: Bench) -> None:
    bench.lots()
    symptoms = {**DUE, "due_why": "symptoms"}
    bench.readings("pot | purpose\n1 | affected\n1 | healthy", same=symptoms, **SHEET)
    assert [row[2:4] for row in bench.rows("answered_dues", ANSWERS)] == [
        ("affected", "symptoms"),
        ("healthy", "symptoms"),
    ]


def test_an_affected_pot_that_is_kept_apart_answers_nothing(bench: Bench) -> None:
    bench.lots()
    bench.readings("pot | condition\n1 | healthy\n2 | affected", same=DUE, **SHEET)
    assert bench.rows("samplings", "purpose, n_pots") == [("affected", 1), ("routine", 1)]
    assert bench.rows("answered_dues", "purpose, pots") == [("routine", 1)]


def test_the_first_version_of_a_corrected_sheet_tells_since_when_it_is_answered(bench: Bench) -> None:
    bench.lots()
    bench.readings(pots(1, 2), same=DUE, **SHEET)
    bench.build("record_fates")
    bench.run("history/close_fates")
    bench.run("history/open_fates")
    bench.next_night(AS_OF + timedelta(days=1))
    bench.readings(pots(1, 2, ph="6.1"), same=DUE, **SHEET)
    assert bench.rows("answered_dues", "pots, first_file_id, first_received_on") == [(2, 2, AS_OF)]
    assert bench.rows("usable_readings", "file_id, ph::varchar") == [(3, "6.100"), (3, "6.100")]


# Pots that somebody added


def test_added_pots_belong_to_the_sampling_of_their_day(bench: Bench) -> None:
    bench.lots()
    bench.readings(pots(1, 2, 3, 4), same={**DUE, "purpose": "retest"}, **SHEET)
    bench.readings(pots(5, 6), same=ADDED, **SHEET)
    bench.readings(pots(7), same={**ADDED, "sampled_on": "2026-03-31"}, **SHEET)
    assert bench.rows("samplings", "strftime(sampled_on, '%d'), purpose, n_pots") == [
        ("30", "retest", 6),
        ("31", "routine", 1),
    ]
    # only the drawn ones were asked for
    assert bench.rows("answered_dues", "purpose, pots") == [("retest", 4)]


@pytest.mark.parametrize(
    ("condition", "purpose"), [("healthy", "healthy"), ("affected", "affected"), ("-", "routine")]
)
def test_beside_two_samplings_the_condition_tells_whose_an_added_pot_is(
    bench: Bench, condition: str, purpose: str
) -> None:
    bench.lots()
    bench.readings("pot | purpose\n1 | affected\n1 | healthy", same=DUE, **SHEET)
    bench.readings(f"pot | condition\n6 | {condition}", same=ADDED, **SHEET)
    assert bench.rows("usable_readings", "purpose", "pot = '6'") == [(purpose,)]


def test_other_exports_say_nothing_of_an_added_pot(bench: Bench) -> None:
    bench.lots()
    bench.readings("purpose\nretest")
    bench.readings(pots(1), same=ADDED, **SHEET)
    assert bench.rows("samplings", "purpose, n_pots") == [("retest", 1), ("routine", 1)]


# Boxes that are filled in later


def test_a_box_with_a_fault_gives_way_to_the_same_box_under_another_name(bench: Bench) -> None:
    bench.lots()
    bench.readings("pot | sampled_on | problem\n1 | - | missing\n2 | - | missing", same=DUE, **SHEET)
    bench.readings(pots(1), same=DUE, **SHEET)
    assert bench.rows("record_fates", "file_id, record_no, fate", "export_kind = 'readings'") == [
        (2, 1, "superseded"),
        (2, 2, "held"),
        (3, 1, "accepted"),
    ]
    assert bench.rows("record_versions", "ruling_file_id, ruling_record_no", "version = 'superseded'") == [
        (3, 1)
    ]


@pytest.mark.parametrize(
    "other", [{"due_on": "2026-03-27"}, {"purpose": "retest"}, {"lot_code": "B"}, {"pot": "2"}]
)
def test_another_box_does_not_take_its_place(bench: Bench, other: dict[str, str]) -> None:
    bench.lots("lot_code\nA\nB")
    bench.readings("sampled_on | problem\n- | missing", same={**DUE, "pot": "1"}, **SHEET)
    bench.readings("ph\n6.0", same={**DUE, "pot": "1", **other}, **SHEET)
    assert bench.rows("record_fates", "fate", "file_id = 2") == [("held",)]


def test_a_box_that_was_filled_in_does_not_give_way_by_its_due(bench: Bench) -> None:
    """Too few pots on one day and a second round on another are two samplings of one due."""
    bench.lots()
    bench.readings(pots(1), same=DUE, **SHEET)
    bench.readings(pots(1), same={**DUE, "sampled_on": "2026-04-01"}, **SHEET)
    assert bench.rows("samplings", "strftime(sampled_on, '%d'), n_pots") == [("01", 1), ("30", 1)]


# Sheets of another site


def test_a_sheet_at_the_wrong_site_waits_until_it_came_to_its_own(bench: Bench) -> None:
    bench.use(site("north"), site("south"))
    for where in ("north", "south"):
        bench.lots(site_id=where)
    # the bench takes name and rows into the hash of a file
    same = {**DUE, "pot": "1"}
    bench.readings("ph | problem\n6.0 | other_site", site_id="north", same=same, name="drop/s.csv", **SHEET)
    assert bench.rows("record_fates", "fate", "file_id = 3") == [("held",)]
    bench.readings("ph\n6.0", site_id="south", same=same, name="drop/s.csv", **SHEET)
    assert bench.rows("record_fates", "fate", "file_id = 3") == [("held",)]
    bench.connection.execute("update files set sha256 = 'one' where file_id in (3, 4)").fetchall()
    assert bench.rows("record_fates", "file_id, fate", "file_id in (3, 4)") == [
        (3, "superseded"),
        (4, "accepted"),
    ]


def test_a_sheet_with_lines_of_this_site_too_waits_on(bench: Bench) -> None:
    bench.use(site("north"), site("south"))
    bench.lots(site_id="north")
    bench.readings("pot | problem\n1 | other_site\n2 | -", site_id="north", same=DUE, **SHEET)
    bench.readings("pot\n1\n2", site_id="south", same=DUE, **SHEET)
    bench.connection.execute("update files set sha256 = 'one' where file_id > 1").fetchall()
    assert bench.rows("record_fates", "record_no, fate", "file_id = 2") == [(1, "held"), (2, "accepted")]


# Meter checks of a site that has no export of them


def test_meter_checks_on_the_sheet_show_calibration_from_the_first_one_on(bench: Bench) -> None:
    bench.lots()
    for day in ("2026-03-16", "2026-03-30", "2026-04-02"):
        bench.pots("6.0 6.0 6.0 6.0 6.0", sampled_on=day, meter_id="M1")
    assert {row[0] for row in bench.rows("samplings", "proper")} == {"not_shown"}
    bench.calibrations("calibrated_on\n2026-03-30", export_no=-1)
    assert bench.rows("checks_shown", "site_id, from_on") == [("north", date(2026, 3, 30))]
    assert bench.rows("samplings", "strftime(sampled_on, '%m-%d'), proper, has_calibrations") == [
        ("03-16", "not_shown", False),
        ("03-30", "yes", True),
        ("04-02", "no", True),
    ]


def test_a_site_with_an_export_of_checks_shows_them_from_the_beginning(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("calibrated_on\n2026-03-30")
    assert bench.rows("checks_shown", "from_on") == [(date(1, 1, 1),)]
    bench.use(site())
    assert bench.rows("checks_shown", "from_on") == []
