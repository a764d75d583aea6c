"""HTML to PDF/UA-1 (or PDF/A-3 with files attached) with WeasyPrint: nothing is fetched, a warning is an error."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from pipeline.errors import ReportError
from pipeline.reports.fonts import use_only_the_package_font

# Warnings that say nothing about the page.
HARMLESS_WARNINGS: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Attach:
    """A file that a PDF carries, with what it holds in one clause."""

    name: str
    data: bytes
    about: str


class RendererWarning(RuntimeError):
    """Raise when the renderer complained: a template or style sheet is wrong, which is a defect of ours."""


class WarningCollector(logging.Handler):
    """Keeps what the renderer says at level warning and above."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the message."""
        message = record.getMessage()
        if not message.startswith(HARMLESS_WARNINGS or ("\0",)):
            self.messages.append(message)


@contextmanager
def refuse_warnings() -> Iterator[None]:
    """Raise RendererWarning with everything that the renderer complained about meanwhile."""
    collector = WarningCollector()
    loggers = [logging.getLogger(name) for name in ("weasyprint", "fontTools")]
    for logger in loggers:
        logger.addHandler(collector)
    try:
        yield
    finally:
        for logger in loggers:
            logger.removeHandler(collector)
    if collector.messages:
        raise RendererWarning("; ".join(collector.messages))


def import_weasyprint(as_of: date) -> Any:
    """Import the renderer with the package's font and a fixed clock. Raises ReportError when a library is missing."""
    use_only_the_package_font()
    midnight = datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC)
    os.environ["SOURCE_DATE_EPOCH"] = str(int(midnight.timestamp()))
    try:
        import weasyprint
    except OSError as error:
        raise ReportError(
            "The PDF renderer needs libraries of the system that are missing: "
            "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0."
        ) from error
    return weasyprint


def make_pdf(
    html: str, pictures: Mapping[str, bytes], as_of: date, *, attach: Sequence[Attach] = ()
) -> bytes:
    """Render a page to PDF/UA-1, with files attached to PDF/A-3a. The page may use no address but `pictures`.

    The same page gives the same bytes. Raises RendererWarning on any complaint of the renderer.
    """
    weasyprint = import_weasyprint(as_of)
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class PictureFetcher(URLFetcher):  # type: ignore[misc]
        """Answers from memory and refuses everything else."""

        def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:  # noqa: ARG002 (the renderer names it)
            if url not in pictures:
                raise ValueError(f"{url} is not a picture of this page")
            return URLFetcherResponse(url, pictures[url], {"Content-Type": "image/svg+xml"})

    with refuse_warnings():
        document = weasyprint.HTML(
            string=html, url_fetcher=PictureFetcher(allowed_protocols=(), fail_on_errors=True)
        )
        midnight = datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC)
        files = [
            weasyprint.Attachment(
                string=one.data,
                name=one.name,
                description=one.about,
                relationship="Data",
                created=midnight,
                modified=midnight,
            )
            for one in attach
        ]
        options = {"pdf_variant": "pdf/a-3a", "attachments": files} if files else {"pdf_variant": "pdf/ua-1"}
        try:
            pdf: bytes = document.write_pdf(**options)
        except FatalURLFetchingError as error:  # no subclass of Exception: it would end a worker process
            raise RendererWarning(str(error)) from error
    return pdf
