"""The pages of one very large site: 300 lots, thirty of them in need, one with a reason of forty lines.

    python -m tests.bench.large_site

prints time, pages and size, and whatever lies outside the margins or stands on a page nearly empty.
"""

from __future__ import annotations

import time
from io import BytesIO

import click
import pdfplumber

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.view_site import make_site_view
from tests.reports.factory import AS_OF, make_site, make_summary

LEVELS = ("act",) * 8 + ("no_reading",) * 8 + ("watch",) * 14 + ("ok",) * 270
LONG = "\n".join(f"line {number} of a text that somebody wrote at great length" for number in range(40))
MARGIN, THIN = 35, 300


def main() -> None:
    """Make both pages and look at the PDF."""
    site = make_site(1, LEVELS)
    first = site.lots[0]
    reasons = [first.reasons[0].model_copy(update={"sentence": LONG}), *first.reasons[1:]]
    site = site.model_copy(update={"lots": [first.model_copy(update={"reasons": reasons}), *site.lots[1:]]})
    summary, voice = make_summary([site]), Voice(load_phrases("en"), "%Y-%m-%d")
    began = time.perf_counter()
    view = make_site_view(summary, site, voice, for_print=True)
    page = render_page("grower.html", view, voice, medium="print", paper="a4")
    pdf = make_pdf(page.html, page.pictures, AS_OF)
    took = time.perf_counter() - began
    pages = pdfplumber.open(BytesIO(pdf)).pages
    click.echo(f"PDF: {len(pages)} pages, {len(pdf) / 1e6:.1f} MB, {took:.1f} s")
    began = time.perf_counter()
    view = make_site_view(summary, site, voice, for_print=False)
    html = render_page("site.html", view, voice, medium="screen", paper="a4").html
    click.echo(f"HTML: {len(html) / 1e6:.1f} MB, {time.perf_counter() - began:.1f} s")
    outside = [
        (one.page_number, letter["text"])
        for one in pages
        for letter in one.chars
        if letter["x0"] < MARGIN or letter["x1"] > one.width - MARGIN or letter["bottom"] > one.height
    ]
    click.echo(f"outside the margins: {outside[:5] or 'nothing'}")
    click.echo(f"thin pages: {[one.page_number for one in pages if len(one.chars) < THIN] or 'none'}")


if __name__ == "__main__":
    main()
