"""PDFs: tags, fonts, page numbers, breaks, the same bytes."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path
from typing import Any

import pdfplumber
import pikepdf
import pytest
from pdfua import Severity, validate

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.pdf import RendererWarning, make_pdf
from pipeline.reports.summary import HeldCause, HeldExample
from pipeline.reports.view_overview import make_overview_view
from pipeline.reports.view_site import make_site_view
from tests.reports.factory import AS_OF, make_lot, make_site, make_summary

KNOWN_WARNING = "UA-15-003"  # the renderer gives cells /Headers, and header cells no /Scope


@pytest.fixture(params=["small_night", "extreme_night", "empty_night"])
def night(request: pytest.FixtureRequest) -> Path:
    folder: Path = request.getfixturevalue(request.param)
    return folder


def find_pdfs(night: Path) -> list[Path]:
    """Overview and grower's PDF; the sampling sheet is held in test_sheet_pdf.py."""
    pdfs = sorted(path for path in night.rglob("*.pdf") if not path.stem.endswith("-sheet"))
    assert len(pdfs) == 2
    return pdfs


def read_pages(path: Path) -> list[str]:
    with pdfplumber.open(path) as pdf:
        return [page.extract_text() for page in pdf.pages]


def walk_structure(element: Any) -> list[Any]:
    found = [element]
    kids = element.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and ("/S" in kid or "/K" in kid):
            found += walk_structure(kid)
    return found


def test_pdfs_carry_title_language_tags_and_the_mark_of_the_standard(night: Path) -> None:
    for path in find_pdfs(night):
        with pikepdf.open(path) as pdf:
            assert pdf.Root.Lang == "en"
            assert bool(pdf.Root.MarkInfo.Marked)
            assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
            assert "/StructTreeRoot" in pdf.Root
            meta = pdf.open_metadata()
            assert meta["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
            assert "2026-04-06" in str(meta["{http://purl.org/dc/elements/1.1/}title"])
            assert "/JavaScript" not in pdf.Root.get("/Names", {})


def test_every_font_is_embedded_and_is_source_sans(night: Path) -> None:
    for path in find_pdfs(night):
        with pikepdf.open(path) as pdf:
            fonts = [
                o
                for o in pdf.objects
                if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
            ]
            assert fonts
            for font in fonts:
                assert "Source-Sans-3" in str(font.FontName)
                assert any(key in font for key in ("/FontFile2", "/FontFile3"))


def test_no_letter_is_missing_and_text_can_be_taken_out(night: Path) -> None:
    for path in find_pdfs(night):
        text = "".join(read_pages(path))
        assert "\ufffd" not in text
        assert "(cid:" not in text


def test_each_page_says_which_of_how_many_and_the_as_of_date(night: Path) -> None:
    for path in find_pdfs(night):
        pages = read_pages(path)
        for number, text in enumerate(pages, start=1):
            assert f"page {number} of {len(pages)}" in text
            assert "as of Mon 2026-04-06" in text


def test_the_site_stands_on_each_page(small_night: Path) -> None:
    pages = read_pages(small_night / "sites" / "site-1.pdf")
    sheet = "North range, sampling sheet, as of Mon 2026-04-06"
    assert all("North range, as of Mon 2026-04-06" in text or sheet in text for text in pages)


def test_every_figure_has_its_text_alternative(small_night: Path) -> None:
    with pikepdf.open(small_night / "sites" / "site-1.pdf") as pdf:
        elements = walk_structure(pdf.Root.StructTreeRoot)
        figures = [element for element in elements if element.get("/S") == "/Figure"]
        alternatives = [str(figure.get("/Alt", "")) for figure in figures]
    assert len(alternatives) == 6
    assert all(
        re.match(r"Chart of (pH|EC in mS/cm) over time, lot P-10[123]\. Target", text)
        for text in alternatives
    )


def test_nothing_lies_outside_the_margins(night: Path) -> None:
    for path in find_pdfs(night):
        with pdfplumber.open(path) as pdf:
            for page in pdf.pages:
                # The sheet needs the room for its boxes: 12 mm, as it has alone.
                side = 12 / 25.4 * 72 if ", sampling sheet, as of" in page.extract_text() else 36
                for thing in (*page.chars, *page.lines, *page.rects, *page.curves):
                    assert thing["x0"] >= side - 1, (path, page.page_number, thing.get("text"))
                    assert thing["x1"] <= page.width - side + 1, (path, page.page_number, thing.get("text"))
                    assert thing["bottom"] <= page.height


def test_the_checker_finds_nothing_but_what_is_known(night: Path) -> None:
    for path in find_pdfs(night):
        report = validate(str(path))
        found = {(one.rule_id, one.severity) for one in report.findings if one.severity != Severity.INFO}
        assert found <= {(KNOWN_WARNING, Severity.WARNING)}


def test_no_rate_stands_on_the_first_page(small_night: Path) -> None:
    pages = read_pages(small_night / "sites" / "site-1.pdf")
    assert "per 100 gal" not in pages[0]
    assert "per 100 gal" in " ".join(pages[1:])


def test_the_first_page_says_what_to_do_and_where_the_options_are(small_night: Path) -> None:
    first = read_pages(small_night / "sites" / "site-1.pdf")[0]
    text = " ".join(first.split())
    for part in (
        "4 lots",
        "ACT House 2, bench 2: petunia ‘Night Sky’ (P-101, 500 plants",
        "Next steps: check the meter;",
        "Options p. 2.",
        "SAMPLE Mon 2026-04-06:",
        "(5 pots, overdue 18 days)",
        "The next four weeks p. ",
        "METER M2: slope 84 %",
        "HELD 5 lines:",
        "RELEASED",
    ):
        assert part in text


def test_what_to_do_fits_the_first_half_page(small_night: Path) -> None:
    with pdfplumber.open(small_night / "sites" / "site-1.pdf") as pdf:
        page = pdf.pages[0]
        (heading,) = [line for line in page.extract_text_lines() if line["text"] == "All lots"]
        assert heading["top"] < page.height / 2


def test_no_block_is_cut_over_a_page() -> None:
    summary = make_summary([make_site(1, ("act", "act", "no_reading", "watch", "watch"))])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    view = make_site_view(summary, summary.sites[0], voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper="a4")
    pages = read_made_pages(make_pdf(page.html, page.pictures, AS_OF))
    for lot in summary.sites[0].lots:
        starts = [
            n for n, text in enumerate(pages) if re.search(rf"(ACT|READING|WATCH) {lot.lot_id} ", text) and n
        ]
        tables = [n for n, text in enumerate(pages) if f"Last samplings of lot {lot.lot_id}" in text]
        assert starts == tables
    for text in pages[1:4]:
        assert text.count("Next sampling:") == len(re.findall(r"^[■□◆] ", text, flags=re.M))


def test_no_text_of_an_export_makes_a_row_higher_than_a_page(tmp_path: Path) -> None:
    note = "\n".join(f"note {number}: pale at the door, عربية" for number in range(40))
    example = HeldExample(file="drop/" + "ع" * 100, line=1, text=note)
    held = HeldCause(
        cause="odd", what=note, sentence=note, mend=note, records=1, examples=[example], group_sentence=note
    )
    arabic: dict[str, Any] = dict.fromkeys(("crop", "cultivar", "house", "bench"), "إبرة الراعي " * 9)
    lots = [make_lot(1, "watch", **arabic), make_lot(2, "ok", **arabic)]
    summary = make_summary([make_site(1, (), lots=lots, held=[held])])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    site_view = make_site_view(summary, summary.sites[0], voice, for_print=True)
    overview = make_overview_view(summary, voice)
    for template, view in (("grower.html", site_view), ("overview.html", overview)):
        page = render_page(template, view, voice, medium="print", paper="a4")
        path = tmp_path / f"{template}.pdf"
        path.write_bytes(make_pdf(page.html, page.pictures, AS_OF))
        assert not [one for one in validate(str(path)).findings if one.severity == Severity.ERROR]
        assert all(text.count("\n") > 4 for text in read_pages(path)), "a heading stands alone on a page"
    screen = render_page("overview.html", overview, voice, medium="screen", paper="a4").html
    assert "note 39" in screen
    assert screen.count("إبرة الراعي " * 9) >= 2


def read_made_pages(pdf: bytes) -> list[str]:
    with pdfplumber.open(BytesIO(pdf)) as document:
        return [page.extract_text() for page in document.pages]


def test_a_table_over_two_pages_repeats_its_heading() -> None:
    summary = make_summary([make_site(1, ("ok",) * 70)])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    view = make_site_view(summary, summary.sites[0], voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper="letter")
    pages = read_made_pages(make_pdf(page.html, page.pictures, AS_OF))
    with_rows = [text for text in pages if re.search(r"^● OK P-", text, flags=re.M)]
    assert len(with_rows) > 1
    assert all("Last read" in text for text in with_rows)


def test_paper_follows_the_site() -> None:
    sizes = []
    for paper in ("a4", "letter"):
        summary = make_summary([make_site(1, (), paper=paper)])
        voice = Voice(load_phrases("en"), "%Y-%m-%d")
        view = make_site_view(summary, summary.sites[0], voice, for_print=True)
        page = render_page("grower.html", view, voice, medium="print", paper=summary.sites[0].paper)
        with pikepdf.open(BytesIO(make_pdf(page.html, page.pictures, AS_OF))) as pdf:
            sizes.append([round(float(x)) for x in pdf.pages[0].mediabox[2:]])
    assert sizes == [[595, 842], [612, 792]]


def test_strange_letters_are_printed_as_codes(extreme_night: Path) -> None:
    text = "".join(read_pages(extreme_night / "sites" / "site-3.pdf"))
    assert "[U+1F331]" in text
    assert "[U+202E]" in text


def test_the_same_page_gives_the_same_bytes() -> None:
    summary = make_summary([make_site(1, ("act",))])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")

    def make() -> bytes:
        view = make_site_view(summary, summary.sites[0], voice, for_print=True)
        page = render_page("grower.html", view, voice, medium="print", paper="a4")
        return make_pdf(page.html, page.pictures, AS_OF)

    assert make() == make()


def test_a_complaint_of_the_renderer_is_an_error() -> None:
    with pytest.raises(RendererWarning, match="no-such-property"):
        make_pdf('<html lang="en"><title>x</title><p style="no-such-property: 1">x', {}, AS_OF)


@pytest.mark.parametrize("address", ["chart:9", "file:///etc/hostname", "http://127.0.0.1:9/x.svg"])
def test_only_the_pictures_of_the_page_can_be_fetched(address: str) -> None:
    with pytest.raises(RendererWarning, match="Error fetching"):
        make_pdf(f'<html lang="en"><title>x</title><img alt="x" src="{address}">', {}, AS_OF)


def test_a_lot_that_was_never_sampled_has_a_block_without_charts() -> None:
    lot = make_lot(1, "no_reading", samplings=[])
    site = make_site(1, (), lots=[lot])
    summary = make_summary([site])
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    page = render_page(
        "grower.html", make_site_view(summary, site, voice, for_print=True), voice, medium="print", paper="a4"
    )
    assert page.pictures == {}
    assert "No sampling yet." in page.html
