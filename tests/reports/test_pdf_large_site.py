"""The weekly PDF of a site with three hundred lots and a held record of forty lines: nothing cut off, no page thin."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pdfplumber
import pytest

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.summary import HeldCause, HeldExample
from pipeline.reports.view_site import make_site_view
from tests.reports.factory import AS_OF, make_site, make_summary

LEVELS = ("act",) * 3 + ("no_reading",) * 3 + ("watch",) * 4 + ("ok",) * 290
LINES = [f"line-{number:02d} of what somebody wrote at great length" for number in range(40)]
MARGIN = 36 - 1
FOOT = 50


@pytest.fixture(scope="module")
def pages() -> list[Any]:
    site = make_site(1, LEVELS)
    held = HeldCause(
        cause="bad_cell",
        what=None,
        sentence="1 line: a cell cannot be read.",
        mend="Correct the cell.",
        records=1,
        examples=[HeldExample(file="drop/a.csv", line=7, text="\n".join(LINES))],
    )
    summary = make_summary([site.model_copy(update={"held": [held]})])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    view = make_site_view(summary, summary.sites[0], voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper="letter")
    return list(pdfplumber.open(BytesIO(make_pdf(page.html, page.pictures, AS_OF))).pages)


@pytest.fixture(scope="module")
def words(pages: list[Any]) -> list[str]:
    return [word["text"] for page in pages for word in page.extract_words()]


def test_nothing_lies_outside_the_margins_and_no_page_is_thin(pages: list[Any]) -> None:
    for page in pages:
        assert len(page.chars) > 300, page.page_number
        for thing in (*page.chars, *page.lines, *page.rects, *page.curves):
            assert thing["x0"] >= MARGIN, page.page_number
            assert thing["x1"] <= page.width - MARGIN, page.page_number
            assert thing["bottom"] <= page.height, page.page_number


def test_every_lot_stands_in_the_list(words: list[str]) -> None:
    lots = make_site(1, LEVELS).lots
    assert [lot.lot_id for lot in lots if lot.lot_id not in words] == []


def test_a_record_of_forty_lines_is_shown_by_its_first_ones(pages: list[Any]) -> None:
    (page,) = [page for page in pages if "drop/a.csv, 7" in page.extract_text()]
    text = " ".join(page.extract_text().split())
    assert LINES[0] in text
    assert LINES[-1] not in text


def test_no_heading_is_the_last_thing_on_a_page(pages: list[Any]) -> None:
    for page in pages[:-1]:
        body = [line for line in page.extract_text_lines() if line["bottom"] < page.height - FOOT]
        assert body[-1]["chars"][0]["size"] < 11, (page.page_number, body[-1]["text"])


def test_the_list_of_lots_repeats_its_head_on_each_page(pages: list[Any]) -> None:
    for page in pages:
        rows = [line for line in page.extract_text_lines() if " OK P-" in line["text"]]
        heads = [line for line in page.extract_text_lines() if line["text"].startswith("Level Lot Crop")]
        assert len(heads) == bool(rows), page.page_number
