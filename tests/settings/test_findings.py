"""The catalogue of findings: complete, and the page made from it up to date."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipeline.assets import sql_folder
from pipeline.settings import PolicyPeriod, findings_page
from pipeline.settings.findings import BY_NAME, FINDINGS, SETTABLE
from pipeline.settings.findings_page import write_page


def test_the_page_is_made_from_the_code() -> None:
    page = Path(findings_page.__file__).with_name("FINDINGS.md")
    assert page.read_text(encoding="utf-8") == write_page()


def test_every_finding_of_a_sampling_or_site_is_in_the_catalogue_with_its_level() -> None:
    found: dict[str, str] = {}
    for name in ("sampling_findings", "sampling_questions"):
        text = sql_folder("judgement", f"{name}.sql").read_text(encoding="utf-8")
        found |= dict(re.findall(r"purpose, '([a-z_]+)'(?: as rule)?,\s+'([a-z]+)'", text))
    assert found.pop("uneven_", "warn") == "warn"
    assert {name: BY_NAME[name].level for name in found} == found
    assert len(found) > 15


def test_a_source_stands_beside_each_published_rule() -> None:
    assert [rule.name for rule in FINDINGS if rule.origin == "P" and not rule.source] == []


def test_what_figures_hang_on_cannot_be_set() -> None:
    with pytest.raises(ValidationError, match="a finding whose level can be set"):
        PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"volume_excludes_ec": "off"})
    assert {BY_NAME[name].level for name in SETTABLE} == {"warn", "note"}
