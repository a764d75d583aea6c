"""HTML pages: structure, safety, nothing fetched."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
from pathlib import Path
from typing import Any

import pytest
from jinja2 import UndefinedError
from lxml import html  # type: ignore[import-untyped, unused-ignore]

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import break_after_marks, make_environment, render_page
from pipeline.reports.render import SiteJob, render_site
from pipeline.reports.view_overview import make_overview_view
from tests.reports.factory import make_large_summary, make_small_summary

VOICE = Voice(load_phrases("en"), "%Y-%m-%d")


def parse(path: Path) -> Any:
    return html.document_fromstring(path.read_text("utf-8"))


def find_screen_pages(night: Path) -> list[Path]:
    return sorted(night.rglob("*.html"))


@pytest.fixture(params=["small_night", "extreme_night", "empty_night"])
def night(request: pytest.FixtureRequest) -> Path:
    folder: Path = request.getfixturevalue(request.param)
    return folder


def test_pages_have_language_title_and_one_main_heading(night: Path) -> None:
    for path in find_screen_pages(night):
        page = parse(path)
        assert page.get("lang") == "en"
        assert page.findtext("head/title")
        assert len(page.findall(".//h1")) == 1
        assert len(page.findall(".//main")) == 1


def test_headings_leave_out_no_level(night: Path) -> None:
    for path in find_screen_pages(night):
        levels = [int(element.tag[1]) for element in parse(path).iter("h1", "h2", "h3", "h4")]
        assert all(b <= a + 1 for a, b in itertools.pairwise(levels)), path


def test_tables_have_caption_head_and_scope(night: Path) -> None:
    for path in find_screen_pages(night):
        for table in parse(path).iter("table"):
            assert table.findtext("caption")
            assert table.find("thead") is not None
            assert {th.get("scope") for th in table.iter("th")} <= {"col", "row"}
            widths = {len(row) for row in table.iter("tr")}
            assert len(widths) == 1, table.findtext("caption")


def test_every_picture_has_a_text_alternative(small_night: Path) -> None:
    pictures = parse(small_night / "sites" / "site-1.html").xpath("//svg/parent::div")
    assert len(pictures) == 8
    assert all(picture.get("role") == "img" for picture in pictures)
    assert all("samplings that count, from a mean of" in picture.get("aria-label") for picture in pictures)


def test_pages_refer_to_nothing_outside(night: Path) -> None:
    for path in find_screen_pages(night):
        text = path.read_text("utf-8")
        page = parse(path)
        links = [element.get("href") for element in page.iter("a")]
        assert all(link.startswith("#") or (path.parent / link.partition("#")[0]).exists() for link in links)
        assert not page.xpath("//link | //img | //iframe | //script[@src] | //object")
        assert set(re.findall(r"url\(([^)]{5})", text)) == {"data:"}
        assert "@import" not in text


def test_links_inside_a_page_find_their_place(night: Path) -> None:
    for path in find_screen_pages(night):
        page = parse(path)
        ids = [element.get("id") for element in page.xpath("//*[@id]")]
        assert len(ids) == len(set(ids))
        assert {a.get("href")[1:] for a in page.iter("a") if a.get("href").startswith("#")} <= set(ids)


def test_links_of_the_overview_find_the_lot_on_the_site_page(small_night: Path) -> None:
    page = parse(small_night / "overview.html")
    links = [a.get("href") for a in page.iter("a")]
    parts = [link for link in links if link.startswith("#")]
    assert parts == ["#lots-heading", "#crops-heading", "#meters-heading", "#held-heading"]
    assert all(page.xpath(f"//h2[@id='{part[1:]}']") for part in parts)
    lots = [link for link in links if "#lot-" in link]
    assert len(lots) == 3
    assert [link for link in links if "#" in link and link not in (*parts, *lots)] == [
        "sites/site-1.html#plan"
    ]
    assert parse(small_night / "sites" / "site-1.html").xpath("//section[@id='plan']")
    for link in lots:
        file, _, anchor = link.partition("#")
        assert parse(small_night / file).xpath(f"//article[@id='{anchor}']")


def test_text_of_an_export_is_never_markup(extreme_night: Path) -> None:
    for path in find_screen_pages(extreme_night):
        page = parse(path)
        scripts = list(page.iter("script"))
        assert len(scripts) == 1
        assert "alert" not in scripts[0].text
        assert "<script>alert('x')</script> & \"Coral\" 🌱 بتونيا [U+202E]abc[U+0007]" in page.text_content()


def test_the_policy_allows_the_one_script_and_nothing_fetched(small_night: Path) -> None:
    page = parse(small_night / "overview.html")
    (policy,) = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    digest = base64.b64encode(hashlib.sha256(page.find(".//script").text.encode()).digest()).decode()
    assert "default-src 'none'" in policy
    assert f"script-src 'sha256-{digest}'" in policy


def test_the_overview_shows_sites_lots_meters_and_held_lines(small_night: Path) -> None:
    page = parse(small_night / "overview.html")
    captions = [caption.text_content() for caption in page.iter("caption")]
    assert len(captions) == 6
    text = " ".join(page.text_content().split())
    for part in (
        "North range",
        "3 of 4",
        "37 of 40",
        "P-102",
        "M2: slope 84 %",
        "Send the lot list with P-114",
        "2026-04-06 to 2026-04-12",
        "20 pots, 80 min",
    ):
        assert part in text
    assert "2026-04-03,P-114,House 1,5.9,2.10,30" in text


def test_the_plan_has_a_row_for_each_day_under_its_week(small_night: Path) -> None:
    site = make_small_summary().sites[0]
    page = parse(small_night / "sites" / "site-1.html")
    weeks = page.xpath("//table[@class='plan']/tbody")
    assert len(weeks) == 4
    rows = [row for week in weeks for row in week.findall("tr")]
    assert len(rows) == 4 + len(site.plan)
    linked = {a.get("href") for row in rows for a in row.iter("a")}
    assert linked == {f"#lot-{lot.lot_id.lower()}" for lot in site.lots}
    first = " ".join(rows[0].text_content().split())
    assert first.startswith("2026-04-06 to 2026-04-12")
    assert first.endswith(f"{site.plan_weeks[0].pots}80 min")


def test_a_policy_slacker_than_published_is_told_beside_the_plan_and_the_policy(small_night: Path) -> None:
    page = parse(small_night / "sites" / "site-1.html")
    (sentence,) = [one.sentence for one in make_small_summary().sites[0].slack_intervals]
    for section in ("plan", "policy"):
        assert [
            note.text_content()
            for note in page.xpath(f"//section[@class='{section}']//p[@class='note']")
            if note.text_content().startswith("Policy:")
        ] == [sentence]


def test_a_site_page_shows_every_sampling_and_every_pot_with_its_line(small_night: Path) -> None:
    site = make_small_summary().sites[0]
    page = parse(small_night / "sites" / "site-1.html")
    samplings = page.xpath("//table[@class='samplings']/tbody/tr")
    assert len(samplings) == sum(len(lot.samplings) for lot in site.lots)
    pots = page.xpath("//table[@class='pots']/tbody/tr")
    assert len(pots) == sum(len(sampling.pots) for lot in site.lots for sampling in lot.samplings)
    first = site.lots[0].samplings[-1].pots[0]
    assert [pots[0][-2].text_content(), pots[0][-1].text_content()] == [first.file, str(first.line)]
    assert "3 pots usable for pH, 5 needed" in page.text_content()


def test_every_option_stands_with_source_cautions_and_the_line(small_night: Path) -> None:
    page = parse(small_night / "sites" / "site-1.html")
    sections = page.xpath("//section[@class='options']")
    assert len(sections) == 2
    for section in sections:
        for option in section.iter("li"):
            assert "Cautions:" in option.text_content()
            assert "Source:" in option.text_content()
        line = section.xpath("p[@class='caution']")[0].text_content()
        for part in (
            "few plants first",
            "follow the label",
            "wear protection",
            "extension service",
            "local codes",
        ):
            assert part in line


def test_lines_that_are_no_data_stand_under_their_file(small_night: Path) -> None:
    section = parse(small_night / "sites" / "site-1.html").xpath("//section[@class='files']")[0]
    (details,) = section.findall("details")
    assert details.findtext("summary") == "drop/readings_2026-04-05.csv: 5 lines that are not data"
    rows = [[" ".join(cell.text_content().split()) for cell in row] for row in details.findall(".//tbody/tr")]
    assert rows == [["1", "header", "Lot,Date,pH,EC"], ["52", "total word", "Total,,<b>12</b>,"]]
    assert [line.text for line in details.findall("p")] == [
        "and 3 more; leachbook held --not-data lists them",
        "1 blank line.",
    ]


def test_an_empty_site_says_so(empty_night: Path) -> None:
    text = parse(empty_night / "sites" / "site-1.html").text_content()
    for part in ("Nothing received yet", "No lot stands in a house", "No file arrived", "No line is held"):
        assert part in text


def test_a_site_page_of_sixteen_lots_stays_small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.reports.render.make_pdf", lambda *_: b"")
    summary = make_large_summary()
    job = SiteJob(summary.model_copy(update={"sites": [summary.sites[0]]}), tmp_path, "A" * 46_000)
    assert render_site(job)[0].stat().st_size < 3_000_000


def test_a_missing_name_in_a_template_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        make_environment(VOICE, "screen").from_string("{{ view.nothing }}").render(view=object())


def test_print_replaces_letters_that_the_font_lacks_and_escapes_the_rest() -> None:
    template = "<p>{{ text }}</p>"
    shown = {
        medium: make_environment(VOICE, medium).from_string(template).render(text="🌱 <b>")
        for medium in ("print", "screen")
    }
    assert shown == {"print": "<p>[U+1F331] &lt;b&gt;</p>", "screen": "<p>🌱 &lt;b&gt;</p>"}


def test_rendering_twice_gives_the_same_page() -> None:
    view = make_overview_view(make_small_summary(), VOICE)
    pages = {render_page("overview.html", view, VOICE, medium="screen", paper="a4").html for _ in range(2)}
    assert len(pages) == 1


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("A-1,2026-03-02,5.8", ["A-1,", "2026-03-02,", "5.8"]),
        # a comma is a decimal mark where semicolons part the cells, a stroke between figures parts a day
        ("A;5,8;<b>", ["A;", "5,8;", "&lt;b&gt;"]),
        ("03/12/2026", ["03/12/2026"]),
        ("drop/log_1.csv", ["drop/", "log_", "1.csv"]),
        ("1.85, at 25 °C", ["1.85, at 25 °C"]),
    ],
)
def test_a_printed_line_goes_over_after_its_marks(text: str, parts: list[str]) -> None:
    assert str(break_after_marks(text)).split("<wbr>") == parts
