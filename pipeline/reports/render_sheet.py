"""The files of a site's sampling sheet: the PDF for the clipboard and the two CSVs to fill in."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.programme.sheet import Sheet
from pipeline.programme.sheet_csv import write_calibrations_csv, write_sheet_csv
from pipeline.reports.pages import Page, render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.view_sheet import SheetFacts, make_sheet_view, sheet_voice


def render_sheet_page(sheet: Sheet, facts: SheetFacts) -> Page:
    """The sheet as a page for print."""
    voice = sheet_voice(facts)
    view = make_sheet_view(sheet, facts, voice)
    return render_page("sheet.html", view, voice, medium="print", paper=facts.paper)


def make_sheet_files(sheet: Sheet, facts: SheetFacts) -> Mapping[str, bytes]:
    """The sheet's files by name: <site>-sheet.pdf, <site>-sheet.csv and <site>-sheet-calibrations.csv.

    The same sheet gives the same bytes. Raises ReportError when a library or the font is missing.
    """
    page = render_sheet_page(sheet, facts)
    return {
        f"{facts.site_id}-sheet.pdf": make_pdf(page.html, page.pictures, facts.as_of),
        f"{facts.site_id}-sheet.csv": write_sheet_csv(sheet, facts.site_id),
        f"{facts.site_id}-sheet-calibrations.csv": write_calibrations_csv(sheet),
    }
