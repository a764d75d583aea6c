"""A dossier's pages and its PDF/A-3 with the evidence attached. Pure: values in, bytes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import polars as pl

from pipeline.audit.evidence import Attached, Period
from pipeline.audit.known import Known
from pipeline.audit.messages import speak, tell
from pipeline.audit.sheet import Section, put_into, say_day
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
from pipeline.languages import Tongue, load_tongue
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
    contents_title: str = tell("Contents")
    contents_page: str = tell("p.")


def make_dossier(
    frames: Mapping[str, pl.DataFrame], period: Period, known: Known, attached: Sequence[Attached]
) -> bytes:
    """The dossier's PDF. The same facts, settings, version and fonts give the same bytes."""
    sites = {site.id: site.name for site in known.settings.sites if period.site_id in (None, site.id)}
    tongue = load_tongue(known.language(period.site_id))
    growers = {(site.id, one.id): one.name for site in known.settings.sites for one in site.growers}
    sections = (
        compliance_section(frames, sites, growers),
        procedure_section(frames, sites, growers, period),
        late_section(frames, sites),
        *record_sections(frames, sites),
        meters_section(frames, sites, period, tongue),
        lots_section(frames, sites, period, tongue),
        policy_section(frames, attached, sites),
        standards_section(),
        evidence_section(frames, sites),
        attachments_section(attached),
    )
    scope = next(iter(sites.values())) if len(sites) == 1 else known.settings.group.name
    view = DossierView(
        title=tell("Audit dossier: {scope}", scope=scope),
        group_name=known.settings.group.name,
        lead=tell(
            "Root-zone monitoring by the pour-through method, {first} to {last}. Was every lot sampled as often as the "
            "policy says, properly, with a checked meter, and can it be checked?",
            first=say_day(period.from_on),
            last=say_day(period.to_on),
        ),
        foot=tell(
            "Audit {first} to {last}, as known {day}",
            first=say_day(period.from_on),
            last=say_day(period.to_on),
            day=say_day(known.as_of),
        ),
        night=Made(known.leachbook, known.as_of),
        facts=identity_facts(period, known, attached),
        sections=sections,
        contents=True,
    )
    return write_pdf(view, tongue, known.settings.group.paper, known.as_of, attached)


def write_pdf(
    view: DossierView, tongue: Tongue, paper: Paper, as_of: date, attached: Sequence[Attached] = ()
) -> bytes:
    """Lay a view out in a language by the dossier's template; PDF/A-3 where something is attached, PDF/UA else."""
    said = replace(
        view,
        title=speak(view.title, tongue),
        lead=speak(view.lead, tongue),
        foot=speak(view.foot, tongue),
        facts=tuple((speak(name, tongue), speak(value, tongue)) for name, value in view.facts),
        sections=tuple(put_into(section, tongue) for section in view.sections),
        contents_title=speak(view.contents_title, tongue),
        contents_page=speak(view.contents_page, tongue),
    )
    voice = Voice(load_phrases(tongue.language), DATE_FORMAT)
    page = render_page("dossier.html", said, voice, medium="print", paper=paper)
    files = [Attach(one.file, one.data, speak(tell(one.about), tongue)) for one in attached]
    return make_pdf(page.html, page.pictures, as_of, attach=files)
