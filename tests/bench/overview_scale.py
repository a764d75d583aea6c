"""The overview of a large group in a real browser: size of the file, time to make it, time until it can be used.

    python -m tests.bench.overview_scale [sites] [lots a site]

prints one line for each figure. Levels are shared out as in a bad week: of a hundred lots 4 act, 4 have no current
reading, 12 are to watch.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import click
from playwright.sync_api import sync_playwright

from pipeline.reports.fonts import make_page_font
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.summary import Summary
from pipeline.reports.view_overview import make_overview_view
from tests.reports.factory import make_lot, make_site, make_summary

WEEK = ("act",) * 4 + ("no_reading",) * 4 + ("watch",) * 12 + ("ok",) * 80


def make_group(sites: int, lots: int) -> Summary:
    """A group whose lots are some hundred different ones, under codes of their own."""
    kinds = [make_lot(number, level) for number, level in enumerate(WEEK)]
    return make_summary(
        [
            make_site(
                site,
                (),
                name=f"Site {site}",
                lots=[
                    kinds[number % len(kinds)].model_copy(
                        update={"lot_id": f"{site}-{number}", "rank": site + sites * number}
                    )
                    for number in range(lots)
                ],
            )
            for site in range(1, sites + 1)
        ]
    )


def main(sites: int = 200, lots: int = 100) -> None:
    """Make the page, open it, sort it and search in it."""
    summary = make_group(sites, lots)
    voice = Voice(load_phrases("en"), "%Y-%m-%d")
    began = time.perf_counter()
    view = make_overview_view(summary, voice)
    page = render_page("overview.html", view, voice, medium="screen", paper="a4", page_font=make_page_font())
    click.echo(
        f"made in {time.perf_counter() - began:.2f} s: {sites} sites, {sites * lots} lots, {len(view.lots)} listed"
    )
    folder = Path(tempfile.mkdtemp())
    path = folder / "overview.html"
    path.write_text(page.html, "utf-8")
    click.echo(f"size {path.stat().st_size / 1e6:.2f} MB")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        opened = browser.new_page()
        began = time.perf_counter()
        opened.goto(path.as_uri())
        opened.locator("form.find output").wait_for()
        click.echo(f"opened and ready in {time.perf_counter() - began:.2f} s")
        steps: dict[str, Callable[[], None]] = {
            "searched": lambda: opened.get_by_role("searchbox").fill("site 17"),
            "sorted": lambda: opened.locator("table#lots thead button").nth(6).click(),
            "search taken back": lambda: opened.get_by_role("searchbox").fill(""),
        }
        for what, act in steps.items():
            began = time.perf_counter()
            act()
            opened.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
            click.echo(f"{what} in {time.perf_counter() - began:.2f} s")
        browser.close()
    shutil.rmtree(folder)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
