"""A dossier's pages and its PDF/A-3 with the evidence attached. Pure: values in, bytes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import polars as pl

from pipeline.audit.evidence import Attached, Period
from pipeline.audit.known import Known
from pipeline.audit.sheet import Section, say_day
from pipeline.audit.standards import standards_section
from pipeline.audit.view import (
    compliance_section,
    identity_facts,
    late_section,
    procedure_section,
)
from pipeline.audit.view_lots import (
    attachments_section,
    evidence_section,
    lots_section,
    policy_section,
)
from pipeline.audit.view_records import meters_section, record_sections
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.pages import Paper, render_page
from pipeline.reports.pdf import Attach, make_pdf

DATE_FORMAT: Final = "%Y-%m-%d"


@dataclass(frozen=True, slots=True)
class Made:
    """What the head of a page says of the run."""

    leachbook_version: str
    as_of: date


@dataclass(frozen=True, slots=True)
class DossierView:
    """All that the template shows."""

    title: str
    group_name: str
    lead: str
    foot: str
    night: Made
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    contents: bool


def make_dossier(
    frames: Mapping[str, pl.DataFrame], period: Period, known: Known, attached: Sequence[Attached]
) -> bytes:
    """The dossier's PDF. The same facts, settings, version and fonts give the same bytes."""
    sites = {site.id: site.name for site in known.settings.sites if period.site_id in (None, site.id)}
    growers = {(site.id, one.id): one.name for site in known.settings.sites for one in site.growers}
    sections = (
        compliance_section(frames, sites, growers),
        procedure_section(frames, sites, growers, period),
        late_section(frames, sites),
        *record_sections(frames, sites),
        meters_section(frames, sites, period),
        lots_section(frames, sites, period),
        policy_section(frames, attached, sites),
        standards_section(),
        evidence_section(frames, sites),
        attachments_section(attached),
    )
    scope = next(iter(sites.values())) if len(sites) == 1 else known.settings.group.name
    view = DossierView(
        title=f"Audit dossier: {scope}",
        group_name=known.settings.group.name,
        lead=f"Root-zone monitoring by the pour-through method, {say_day(period.from_on)} to {say_day(period.to_on)}. "
        "Was every lot sampled as often as the policy says, properly, with a checked meter, and can it be checked?",
        foot=f"Audit {say_day(period.from_on)} to {say_day(period.to_on)}, as known {say_day(known.as_of)}",
        night=Made(known.leachbook, known.as_of),
        facts=identity_facts(period, known, attached),
        sections=sections,
        contents=True,
    )
    return write_pdf(view, known.settings.group.paper, known.as_of, attached)


def write_pdf(view: Any, paper: Paper, as_of: date, attached: Sequence[Attached] = ()) -> bytes:
    """Lay a view out by the dossier's template; PDF/A-3 where something is attached, PDF/UA else."""
    voice = Voice(load_phrases("en"), DATE_FORMAT)
    page = render_page("dossier.html", view, voice, medium="print", paper=paper)
    files = [Attach(one.file, one.data, one.about) for one in attached]
    return make_pdf(page.html, page.pictures, as_of, attach=files)
