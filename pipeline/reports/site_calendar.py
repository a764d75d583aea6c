"""The calendar file of a site, from the document of the night."""

from __future__ import annotations

from datetime import date

from pipeline.programme.calendar import Entry, make_calendar
from pipeline.reports.summary import Site


def make_site_calendar(site: Site, as_of: date) -> bytes:
    """The bytes of sites/<site>.ics: what is to be sampled, and what was taken off in the last 60 days."""
    entries = [
        Entry(**{name: getattr(event, name) for name in type(event).model_fields}) for event in site.calendar
    ]
    return make_calendar(site.name, site.language, site.time_zone, as_of, entries)
