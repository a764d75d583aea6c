"""The overview: crops across the sites, the lots that print has room for, and links that stay."""

from __future__ import annotations

import pytest

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.view import name_anchor
from pipeline.reports.view_overview import MOST_LOTS, list_crops, make_overview_view
from tests.reports.factory import make_lot, make_site, make_summary

VOICE = Voice(load_phrases("en"), "%Y-%m-%d")


def test_each_crop_is_told_over_all_sites_whatever_its_case() -> None:
    sites = [
        make_site(1, (), lots=[make_lot(1, "ok", crop="Petunia"), make_lot(2, "ok", crop="viola")]),
        make_site(2, (), lots=[make_lot(3, "act", crop="petunia "), make_lot(4, "ok", crop="aster")]),
    ]
    rows = list_crops(make_summary(sites), VOICE)
    assert [(row.crop, row.sites, row.lots_total) for row in rows] == [
        ("Petunia", 2, 2),
        ("aster", 1, 1),
        ("viola", 1, 1),
    ]
    assert [count.count for count in rows[0].counts] == [1, 0, 0, 1]
    means = [
        [one.ph.mean for one in lot.samplings if one.counts and one.purpose in ("routine", "retest")][-1]
        for site in sites
        for lot in site.lots
        if "etunia" in lot.crop
    ]
    low, high = (f"{value:.2f}" for value in sorted(mean for mean in means if mean is not None))
    assert rows[0].ph == (low if low == high else f"{low}–{high}")


@pytest.mark.parametrize(("lots", "more"), [(MOST_LOTS, ""), (MOST_LOTS + 1, "1 more lot needs someone; ")])
def test_print_lists_three_hundred_lots_and_says_how_many_more(lots: int, more: str) -> None:
    summary = make_summary([make_site(1, (), lots=[make_lot(number, "watch") for number in range(lots)])])
    view = make_overview_view(summary, VOICE)
    printed = render_page("overview.html", view, VOICE, medium="print", paper="a4").html
    body = printed.partition('<table class="lots">')[2].partition("</table>")[0].partition("<tbody>")[2]
    assert body.count("<tr") == MOST_LOTS
    assert ("more lot needs someone; the page for the screen has it." in printed) is bool(more)
    on_screen = render_page("overview.html", view, VOICE, medium="screen", paper="a4").html
    assert on_screen.count("hidden>\n<td") == lots - MOST_LOTS


def test_a_lot_keeps_its_place_on_the_page_whatever_its_code() -> None:
    codes = ("NR-101", "nr-101 ", "Ä 1", "a_1", "a.1", "<b>")
    assert name_anchor("NR-101") == name_anchor("nr-101") == "lot-nr-101"
    assert len({name_anchor(code) for code in codes}) == len(codes)
