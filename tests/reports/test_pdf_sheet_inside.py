"""The sampling sheet inside the weekly report: named on the first page, set as it is alone, one document."""

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

from pipeline.programme.sheet import Sheet
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.render_sheet import make_sheet_files
from pipeline.reports.view_sheet import sheet_facts
from pipeline.reports.view_site import make_site_view
from tests.programme.sheets import make_benches, make_row, sheet_of
from tests.programme.sheets import make_site as make_mapped_site
from tests.reports.factory import AS_OF, make_site, make_summary
from tests.reports.test_pdf import KNOWN_WARNING, walk_structure

LEVELS = ("act", "no_reading", "watch", *("ok",) * 9)
LANGUAGES = {"en": "%m/%d/%Y", "es": "%d/%m/%Y"}


def six_lots() -> Sheet:
    rows = [make_row(f"P-{number}", house="House 1") for number in range(6)]
    return sheet_of(*rows, site=make_mapped_site(make_benches("House 1")), meters=("M1", "M2"))


def print_weekly(language: str, sheet: Sheet | None) -> tuple[bytes, bytes]:
    """The report, and the same sheet alone."""
    form = LANGUAGES[language]
    site = make_site(1, LEVELS, language=language, date_format=form, sheet=sheet)
    summary = make_summary([site])
    voice = Voice(load_phrases(language), form)
    view = make_site_view(summary, site, voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper=site.paper)
    report = make_pdf(page.html, page.pictures, AS_OF)
    if sheet is None:
        return report, b""
    alone = make_sheet_files(sheet, sheet_facts(summary, site))
    return report, alone[f"{site.site_id}-sheet.pdf"]


@pytest.fixture(scope="module", params=sorted(LANGUAGES))
def printed(request: pytest.FixtureRequest) -> tuple[bytes, bytes]:
    return print_weekly(request.param, six_lots())


@pytest.fixture(scope="module")
def report(printed: tuple[bytes, bytes]) -> list[Any]:
    return list(pdfplumber.open(BytesIO(printed[0])).pages)


@pytest.fixture(scope="module")
def alone(printed: tuple[bytes, bytes]) -> list[Any]:
    return list(pdfplumber.open(BytesIO(printed[1])).pages)


def find_first(pages: list[Any]) -> int:
    """Index of the page on which the sheet begins."""
    heads = ("Sampling sheet:", "Hoja de muestreo:")
    (at,) = (place for place, page in enumerate(pages) if page.extract_text().startswith(heads))
    return int(at)


def body_letters(page: Any) -> list[tuple[str, float, float, float]]:
    """What stands on a page above its foot: each letter with its place in points and its size."""
    return [
        (char["text"], round(char["x0"], 1), round(char["top"], 1), round(char["size"], 1))
        for char in page.chars
        if char["bottom"] < page.height - 19 / 25.4 * 72
    ]


def test_the_first_page_names_the_page_of_the_sheet(report: list[Any]) -> None:
    flat = " ".join(report[0].extract_text().split())
    told = re.search(r"(?:Sheet|Hoja) p\. (\d+) (?:asks for|pide) 30 ", flat)
    assert told is not None
    assert int(told[1]) == find_first(report) + 1


def test_each_page_of_the_sheet_is_set_as_it_is_alone(report: list[Any], alone: list[Any]) -> None:
    first = find_first(report)
    assert len(alone) >= 3
    for inside, page in zip(report[first:], alone, strict=False):
        assert body_letters(inside) == body_letters(page)
        assert len(inside.rects) == len(page.rects)


def test_the_policy_stands_behind_the_sheet_on_a_page_of_its_own(report: list[Any], alone: list[Any]) -> None:
    behind = report[find_first(report) + len(alone)]
    assert len(report) > find_first(report) + len(alone)
    lines = behind.extract_text().splitlines()
    assert re.search(r"next four weeks|próximas cuatro semanas", lines[0])


def test_all_pages_are_counted_as_one_document_and_sheets_say_that_they_are(
    report: list[Any], alone: list[Any]
) -> None:
    sheets = range(find_first(report), find_first(report) + len(alone))
    for place, page in enumerate(report):
        last = page.extract_text().splitlines()[-1]
        assert re.search(rf"(?:page|página) {place + 1} (?:of|de) {len(report)}$", last)
        assert bool(re.search(r"sampling sheet|hoja de muestreo", last)) == (place in sheets)


def test_it_is_tagged_headings_nest_and_there_is_one_of_the_first_level(
    printed: tuple[bytes, bytes], tmp_path: Path
) -> None:
    path = tmp_path / "weekly.pdf"
    path.write_bytes(printed[0])
    found = {finding.rule_id for finding in validate(str(path)).findings if finding.severity != Severity.INFO}
    assert found <= {KNOWN_WARNING}
    with pikepdf.open(path) as pdf:
        tags = [str(one.get("/S")) for one in walk_structure(pdf.Root.StructTreeRoot)]
    levels = [int(tag[2:]) for tag in tags if re.fullmatch(r"/H\d", tag)]
    assert levels.count(1) == 1
    assert max(later - earlier for earlier, later in pairwise(levels)) <= 1


def test_a_week_in_which_nothing_is_due_carries_no_sheet() -> None:
    for sheet in (None, sheet_of(site=make_mapped_site(make_benches("House 1")))):
        report, _ = print_weekly("en", sheet)
        with pdfplumber.open(BytesIO(report)) as pdf:
            assert not any("Sampling sheet" in page.extract_text() for page in pdf.pages)
