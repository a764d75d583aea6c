"""All pages of a night: the summary with its schema, the overview, and the pages of each site."""

from __future__ import annotations

import json
from collections.abc import Iterable
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from pipeline import files
from pipeline.errors import ReportError
from pipeline.reports.fonts import make_page_font
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import Page, render_page
from pipeline.reports.pdf import make_pdf
from pipeline.reports.render_sheet import make_sheet_files
from pipeline.reports.site_calendar import make_site_calendar
from pipeline.reports.summary import Site, Summary
from pipeline.reports.view_overview import make_overview_view
from pipeline.reports.view_sheet import sheet_facts
from pipeline.reports.view_site import make_site_view

SITE_FILES = (".html", ".pdf", ".ics", "-sheet.pdf", "-sheet.csv", "-sheet-calibrations.csv")
"""What a night writes for each site, each name behind the site's id."""


@dataclass(frozen=True, slots=True)
class SiteJob:
    """What one process needs to make the pages of one site; `summary` holds that site alone."""

    summary: Summary
    folder: Path
    page_font: str


@dataclass(frozen=True, slots=True)
class OverviewJob:
    """What one process needs to make the overview."""

    summary: Summary
    folder: Path
    page_font: str


Job = SiteJob | OverviewJob


def write_whole(path: Path, data: bytes) -> Path:
    """Write a file under a temporary name and rename it: it is there whole or not at all.

    Raises ReportError when the disk refuses.
    """
    try:
        files.write_whole(path, data)
    except OSError as error:
        raise ReportError(
            f"{path} cannot be written: {error.strerror}; make room or give write permission."
        ) from error
    return path


def write_summary(summary: Summary, folder: Path) -> list[Path]:
    """Write summary.json and its JSON Schema."""
    schema = Summary.model_json_schema(mode="serialization")
    return [
        write_whole(folder / "summary.json", (summary.model_dump_json(indent=1) + "\n").encode()),
        write_whole(folder / "summary.schema.json", (json.dumps(schema, indent=1) + "\n").encode()),
    ]


def render_site(job: SiteJob) -> list[Path]:
    """Write the HTML page of one site, the grower's PDF, the calendar and the sampling sheet."""
    site = job.summary.sites[0]
    voice = Voice(load_phrases(site.language), site.date_format)
    screen = render_page(
        "site.html",
        make_site_view(job.summary, site, voice, for_print=False),
        voice,
        medium="screen",
        paper=site.paper,
        page_font=job.page_font,
    )
    printed = print_report(job.summary, site, voice)
    return [
        *write_pair(job.folder / "sites" / site.site_id, screen, printed, job.summary),
        write_whole(
            job.folder / "sites" / f"{site.site_id}.ics",
            make_site_calendar(site, job.summary.night.as_of),
        ),
        *write_sheet(job),
    ]


def print_report(summary: Summary, site: Site, voice: Voice, week: int | None = None) -> Page:
    """The grower's report of one site, laid out for paper; `week` as in `make_site_view`."""
    view = make_site_view(summary, site, voice, for_print=True, week=week)
    return render_page("grower.html", view, voice, medium="print", paper=site.paper)


def write_sheet(job: SiteJob) -> list[Path]:
    """Write the sampling sheet of one site: PDF, CSV and the CSV for calibrations."""
    site = job.summary.sites[0]
    if site.sheet is None:
        return []
    made = make_sheet_files(site.sheet, sheet_facts(job.summary, site))
    return [write_whole(job.folder / "sites" / name, data) for name, data in made.items()]


def render_overview(job: OverviewJob) -> list[Path]:
    """Write the overview as HTML and PDF."""
    summary = job.summary
    voice = Voice(load_phrases(summary.language), summary.date_format)
    view = make_overview_view(summary, voice)
    screen = render_page(
        "overview.html", view, voice, medium="screen", paper=summary.paper, page_font=job.page_font
    )
    printed = render_page("overview.html", view, voice, medium="print", paper=summary.paper)
    return write_pair(job.folder / "overview", screen, printed, summary)


def write_pair(base: Path, screen: Page, printed: Page, summary: Summary) -> list[Path]:
    """Write a page for the screen and its PDF beside it."""
    pdf = make_pdf(printed.html, printed.pictures, summary.night.as_of)
    return [
        write_whole(base.with_name(f"{base.name}.html"), screen.html.encode()),
        write_whole(base.with_name(f"{base.name}.pdf"), pdf),
    ]


def render_job(job: Job) -> list[Path]:
    """Do one job, in whatever process."""
    return render_overview(job) if isinstance(job, OverviewJob) else render_site(job)


def plan_jobs(summary: Summary, folder: Path, page_font: str) -> list[Job]:
    """Return one job for each site, those with most lots that need someone first, and one for the overview."""
    by_work = sorted(summary.sites, key=lambda site: -sum(lot.level != "ok" for lot in site.lots))
    jobs: list[Job] = [
        SiteJob(summary.model_copy(update={"sites": [site]}), folder, page_font) for site in by_work
    ]
    return [*jobs, OverviewJob(summary, folder, page_font)]


def render_night(summary: Summary, folder: Path, *, executor: Executor | None) -> list[Path]:
    """Write every page of a night into an existing folder; return the files written.

    With an executor (a process pool by forkserver or spawn, never fork) the sites are made side by side.
    Raises ReportError when a file cannot be written or a library or font is missing.
    """
    written = write_summary(summary, folder)
    jobs = plan_jobs(summary, folder, make_page_font())
    results: Iterable[list[Path]] = (
        map(render_job, jobs) if executor is None else executor.map(render_job, jobs)
    )
    for paths in results:
        written += paths
    return written
