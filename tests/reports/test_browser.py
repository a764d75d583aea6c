"""Pages in a real browser, from the file, offline."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped, unused-ignore]
from playwright.sync_api import Browser, Page, sync_playwright

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.view_overview import make_overview_view
from tests.reports.factory import make_large_summary, make_lot, make_site, make_summary

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
CHROMIUM = shutil.which("chromium")

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="chromium is not installed: apt-get install chromium"
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-background-networking"]
        )
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(offline=True, viewport={"width": 1280, "height": 900})
    yield context.new_page()
    context.close()


@pytest.fixture(scope="module")
def overview(tmp_path_factory: pytest.TempPathFactory) -> Path:
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    view = make_overview_view(make_large_summary(), voice)
    path = tmp_path_factory.mktemp("browser") / "overview.html"
    path.write_text(render_page("overview.html", view, voice, medium="screen", paper="a4").html, "utf-8")
    return path


@pytest.fixture(scope="module")
def crowd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An overview of two sites with 320 lots that need someone, 20 of them at the second."""
    lots = [make_lot(number, "act" if number < 9 else "watch", crop="petunia") for number in range(300)]
    sites = [
        make_site(1, (), lots=lots),
        make_site(2, (), lots=[make_lot(number, "watch", crop="Begonia rex") for number in range(300, 320)]),
    ]
    voice = Voice(load_phrases("es"), "%d/%m/%Y")
    view = make_overview_view(make_summary(sites, language="es"), voice)
    path = tmp_path_factory.mktemp("crowd") / "overview.html"
    path.write_text(render_page("overview.html", view, voice, medium="screen", paper="a4").html, "utf-8")
    return path


def shown(page: Page) -> int:
    return page.locator("table#lots tbody tr:visible").count()


def test_three_hundred_lots_are_shown_until_all_are_asked_for(crowd: Path, page: Page) -> None:
    page.goto(crowd.as_uri())
    told = page.locator("form.find output")
    assert (shown(page), told.inner_text()) == (300, "300 a la vista de 320 que encajan, 320 en total")
    page.get_by_role("button", name="Mostrar todos").press("Enter")
    assert shown(page) == 320
    assert not page.get_by_role("button", name="Mostrar todos").is_visible()


def test_the_lots_of_many_sites_are_one_key_away(crowd: Path, page: Page) -> None:
    page.goto(crowd.as_uri())
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    heading = page.locator("h2", has_text="Lotes que necesitan a alguien")
    assert page.evaluate("location.hash") == "#lots-heading"
    box = heading.bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 450
    for link in page.locator("nav a[href^='#']").all():
        assert page.locator(str(link.get_attribute("href"))).count() == 1


def test_what_is_typed_and_chosen_leaves_the_lots_that_fit(crowd: Path, page: Page) -> None:
    page.goto(crowd.as_uri())
    box = page.get_by_role("searchbox", name="Buscar")
    box.press_sequentially("BEGÓNIA  rex")
    assert shown(page) == 20
    box.fill("")
    page.locator("select[name=level]").select_option("act")
    assert shown(page) == 9
    # sorting keeps what was chosen
    page.locator("table#lots thead th", has_text="Plantas").get_by_role("button").click()
    assert shown(page) == 9
    box.fill("nothing like it")
    assert shown(page) == 0
    box.fill("")
    page.locator("select[name=level]").select_option("")
    page.locator("select[name=site]").select_option(index=2)
    assert shown(page) == 20


def test_the_crowded_page_passes_the_accessibility_check(crowd: Path, page: Page) -> None:
    page.goto(crowd.as_uri())
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


def test_a_page_leads_to_a_lot_and_prints(small_night: Path, page: Page, tmp_path: Path) -> None:
    page.goto((small_night / "overview.html").as_uri())
    link = page.locator("table#lots tbody th a").first
    lot = link.inner_text()
    link.click()
    page.wait_for_url("**/sites/site-1.html#lot-*")
    block = page.locator(page.evaluate("'#' + CSS.escape(location.hash.slice(1))"))
    assert lot in block.locator("h3").inner_text()
    page.pdf(path=tmp_path / "page.pdf")
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF-")


# A window of 1280 pixels at 100, 200 and 400 % zoom: WCAG 2.2, criteria 1.4.4 and 1.4.10.
@pytest.mark.parametrize("width", [1280, 640, 320])
@pytest.mark.parametrize("name", ["overview.html", "sites/site-3.html"])
def test_pages_open_quietly_and_fit_the_window(
    extreme_night: Path, page: Page, name: str, width: int
) -> None:
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.set_viewport_size({"width": width, "height": 900})
    address = (extreme_night / name).as_uri()
    page.goto(address)
    assert page.evaluate("document.fonts.ready.then(() => document.fonts.check('16px \"Source Sans 3\"'))")
    assert said == []
    assert [url for url in asked if not url.startswith("data:font/woff2")] == [address]
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", ["overview.html", "sites/site-1.html"])
@pytest.mark.parametrize("width", [1280, 400])
def test_pages_pass_the_accessibility_check(small_night: Path, page: Page, name: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.goto((small_night / name).as_uri())
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


def test_the_accessibility_check_finds_a_bad_page(page: Page) -> None:
    page.set_content(
        '<html><body><img src="data:,x"><p style="color: #ccc">pale words on white</p></body></html>'
    )
    found = {violation["id"] for violation in Axe().run(page, options=RULES).response["violations"]}
    assert {"image-alt", "color-contrast", "html-has-lang"} <= found


def test_a_heading_sorts_by_key_and_turns_round(overview: Path, page: Page) -> None:
    page.goto(overview.as_uri())
    heading = page.locator("table.lots thead th", has_text="Plants")
    cells = page.locator("table.lots tbody td:nth-child(7)")
    heading.get_by_role("button").focus()
    page.keyboard.press("Enter")
    rising = [int(text.replace(",", "")) for text in cells.all_inner_texts()]
    assert rising == sorted(rising)
    assert heading.get_attribute("aria-sort") == "ascending"
    page.keyboard.press("Enter")
    falling = [int(text.replace(",", "")) for text in cells.all_inner_texts()]
    assert falling == rising[::-1] or falling == sorted(rising, reverse=True)
    assert heading.get_attribute("aria-sort") == "descending"


def test_the_level_column_sorts_by_attention_not_by_letters(overview: Path, page: Page) -> None:
    page.goto(overview.as_uri())
    page.locator("table.lots thead th", has_text="Level").get_by_role("button").click()
    words = page.locator("table.lots tbody td:nth-child(2)").all_inner_texts()
    order = list(dict.fromkeys(word.split(" ", 1)[1] for word in words))
    assert order == ["ACT", "NO CURRENT READING", "WATCH"]
