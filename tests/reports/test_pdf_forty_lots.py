"""The weekly PDF of a site with forty lots, in Spanish: short enough, whole, tagged, and in one language."""

from __future__ import annotations

import re
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pdfplumber
import pikepdf
import pytest
from pdfua import Severity, validate

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.view_site import make_site_view
from tests.reports.factory import AS_OF, make_site, make_summary
from tests.reports.test_pdf import KNOWN_WARNING, walk_structure

# A bad week: ten of forty lots need somebody.
LEVELS = ("act",) * 2 + ("no_reading",) * 2 + ("watch",) * 6 + ("ok",) * 30
MARGIN = 36 - 1


@pytest.fixture(scope="module")
def weekly() -> bytes:
    summary = make_summary([make_site(1, LEVELS, language="es", date_format="%d/%m/%Y")])
    voice = Voice(load_phrases("es"), "%d/%m/%Y")
    view = make_site_view(summary, summary.sites[0], voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper="a4")
    return make_pdf(page.html, page.pictures, AS_OF)


@pytest.fixture(scope="module")
def pages(weekly: bytes) -> list[Any]:
    return list(pdfplumber.open(BytesIO(weekly)).pages)


@pytest.fixture(scope="module")
def structure(weekly: bytes) -> list[tuple[str, list[str]]]:
    """Tags in reading order, each with those below it."""
    with pikepdf.open(BytesIO(weekly)) as pdf:
        return [
            (str(one.get("/S")), [str(below.get("/S")) for below in walk_structure(one)])
            for one in walk_structure(pdf.Root.StructTreeRoot)
            if "/S" in one
        ]


def test_forty_lots_take_less_than_twelve_pages(pages: list[Any]) -> None:
    assert len(pages) < 12


def test_no_page_is_empty_and_nothing_lies_outside_the_margins(pages: list[Any]) -> None:
    for page in pages:
        assert len(page.chars) > 300, page.page_number
        for thing in (*page.chars, *page.lines, *page.rects, *page.curves):
            assert thing["x0"] >= MARGIN
            assert thing["x1"] <= page.width - MARGIN
            assert thing["bottom"] <= page.height


def test_no_heading_is_the_last_thing_on_a_page(pages: list[Any]) -> None:
    for page in pages[:-1]:
        body = [line for line in page.extract_text_lines() if line["bottom"] < page.height - 50]
        assert body[-1]["chars"][0]["size"] < 11, (page.page_number, body[-1]["text"])


def test_it_is_tagged_and_the_checker_finds_only_what_is_known(weekly: bytes, tmp_path: Path) -> None:
    path = tmp_path / "weekly.pdf"
    path.write_bytes(weekly)
    report = validate(str(path))
    found = {finding.rule_id for finding in report.findings if finding.severity != Severity.INFO}
    assert found <= {KNOWN_WARNING}
    with pikepdf.open(path) as pdf:
        assert str(pdf.Root.Lang) == "es"


def test_headings_nest(structure: list[tuple[str, list[str]]]) -> None:
    levels = [int(tag[2:]) for tag, _ in structure if re.fullmatch(r"/H\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    steps = [later - earlier for earlier, later in pairwise(levels)]
    assert max(steps) <= 1


def test_every_table_has_headers_and_every_figure_says_what_it_shows(
    weekly: bytes, structure: list[tuple[str, list[str]]]
) -> None:
    tables = [below for tag, below in structure if tag == "/Table"]
    assert tables
    assert all("/TH" in below for below in tables)
    with pikepdf.open(BytesIO(weekly)) as pdf:
        figures = [one for one in walk_structure(pdf.Root.StructTreeRoot) if one.get("/S") == "/Figure"]
        told = [str(one.get("/Alt", "")) for one in figures]
    assert told
    assert all(text.startswith(("Gráfico del pH en el tiempo", "Gráfico de la CE en mS/cm")) for text in told)


def test_it_speaks_spanish_with_a_decimal_comma(pages: list[Any]) -> None:
    text = " ".join(page.extract_text() for page in pages)
    assert f"página 1 de {len(pages)}" in text
    assert re.search(r"pH \d,\d\d \(\d,\d\d-\d,\d\d\)", text) or re.search(
        r"\d,\d\d \(\d,\d\d–\d,\d\d\)", text
    )
    assert "(cid:" not in text
    english = re.findall(r"\b(?:Next sampling|needs? someone|as of|Held lines|Policy in force)\b", text)
    assert english == []
