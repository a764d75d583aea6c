"""The lots as the newest lists know them."""

from __future__ import annotations

from tests.sql.bench import Bench


def test_a_lot_is_known_by_its_code_in_lower_case_and_shown_as_written(bench: Bench) -> None:
    bench.lots("lot_code | crop\nP-114 | Petunia")
    assert bench.rows("current_lots", "lot_key, lot_id, crop, crop_key") == [
        ("p-114", "P-114", "Petunia", "petunia")
    ]


def test_the_newest_line_of_a_lot_is_the_lot(bench: Bench) -> None:
    bench.lots("lot_code | plants\np-1 | 1000")
    bench.lots("lot_code | plants\nP-1 | 900")
    assert bench.rows("current_lots", "lot_id, plants, file_id") == [("P-1", 900, 2)]


def test_a_withdrawn_lot_is_gone(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.lots("lot_code\nA")
    assert bench.rows("current_lots", "lot_id") == [("A",)]


def test_a_lot_whose_line_cannot_be_used_is_kept_with_its_sentence(bench: Bench) -> None:
    bench.lots("lot_code | problem\nA | -\nB | date_unreadable missing")
    assert bench.rows("current_lots", "lot_id, is_usable, unusable_sentence") == [
        ("A", True, None),
        ("B", False, "date_unreadable found"),
    ]


def test_a_line_without_a_code_is_no_lot(bench: Bench) -> None:
    bench.lots("lot_code | problem\n- | missing")
    assert bench.rows("current_lots", "lot_id") == []


def test_sites_have_lots_of_the_same_code(bench: Bench) -> None:
    bench.lots("lot_code\nA")
    bench.lots("lot_code\nA", site_id="south")
    assert bench.rows("current_lots", "site_id, lot_id") == [("north", "A"), ("south", "A")]


def test_two_exports_that_list_one_lot_give_one_lot(bench: Bench) -> None:
    bench.lots("lot_code | house\nA | 1", export_no=1)
    bench.lots("lot_code | house\nA | 2", export_no=2)
    assert bench.rows("current_lots", "lot_id, house") == [("A", "2")]
