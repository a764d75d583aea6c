"""The catalogue of findings: complete, and the page made from it up to date."""

from __future__ import annotations

import ast
import re
from datetime import date
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipeline.assets import sql_folder
from pipeline.reports import compile as compiled
from pipeline.reports import wording_findings, wording_held, wording_reasons, wording_site
from pipeline.reports.summary import Finding
from pipeline.settings import PolicyPeriod, findings_page
from pipeline.settings.findings import BY_NAME, FINDINGS, REASONS, SETTABLE, FindingRule, ReasonRule
from pipeline.settings.findings_page import write_page
from pipeline.settings.in_force import merge_policy
from tests.settings.finding_cases import CASES

TESTS = Path(__file__).parents[1]


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


def read_code(*parts: str) -> str:
    """The text of one file of the package."""
    return Path(findings_page.__file__).parents[1].joinpath(*parts).read_text(encoding="utf-8")


def rules_of_the_code() -> dict[str, set[str]]:
    """Every rule that the document's findings, and the causes of held lines, can name: by where it is made."""
    intake = "".join(read_code("intake", f"{name}.py") for name in ("decode", "header", "read"))
    sql = {
        name: sql_folder("judgement", f"{name}.sql").read_text(encoding="utf-8")
        for name in ("list_findings", "site_questions", "meter_findings")
    }
    fates = "".join(
        sql_folder("samplings", f"{name}.sql").read_text(encoding="utf-8")
        for name in ("record_fates", "kind_causes")
    )
    return {
        "made in the document": set(re.findall(r'rule="([a-z_]+)"', read_code("reports", "compile.py"))),
        "worded": {
            *wording_findings.FINDINGS,
            *wording_site.WATER_FINDINGS,
            *wording_site.LIST_FINDINGS,
            *wording_site.QUESTIONS,
        },
        "lists": set(re.findall(r"'([a-z_]+)'(?: as rule)?,\s+'(?:warn|note)'", sql["list_findings"])),
        "questions": set(re.findall(r"'([a-z_]+)'(?: as rule)?,\s+'(?:warn|note)'", sql["site_questions"])),
        "meters": set(re.findall(r"'([a-z_]+)'(?: as rule)?,\s+'(?:warn|note)'", sql["meter_findings"])),
        "drop folder": set(
            re.findall(r'FileTrouble\(\s*[\w.()]+,\s*"([a-z_]+)"', read_code("intake", "collect.py"))
        )
        | set(re.findall(r'"(unclaimed)"', read_code("haul.py"))),
        "files": set(re.findall(r'FileProblem\(\s*"([a-z_]+)"', intake)) | set(wording_held.FILE_PROBLEMS),
        "held": {*wording_held._HELD, *wording_held.MENDS}
        | {
            name
            for names in re.findall(
                r"'([a-z_]+)' as cause|then '((?:site|lot|place|in|before|after)_[a-z]+)'", fates
            )
            for name in names
            if name
        },
    }


def test_every_rule_that_the_code_can_name_is_in_the_catalogue() -> None:
    found = rules_of_the_code()
    assert all(found.values()), "a pattern that finds nothing compares nothing"
    assert {"site_silent", "crop_unknown", "new_columns"} <= found["made in the document"]
    assert len(found["drop folder"]) == 15
    missing = {where: rules - BY_NAME.keys() for where, rules in found.items() if rules - BY_NAME.keys()}
    assert missing == {}


def test_the_catalogue_names_no_rule_that_the_code_does_not_have() -> None:
    assert BY_NAME.keys() - set().union(*rules_of_the_code().values()) == set()


def test_every_reason_is_in_the_catalogue_once() -> None:
    names = [one.name for one in REASONS]
    assert sorted(names) == sorted(wording_reasons.REASONS)
    sql = sql_folder("judgement", "reasons.sql").read_text(encoding="utf-8")
    for name, level in re.findall(r"'([a-z_]+)' as code,\s+'([a-z_]+)' as level", sql):
        assert [one.levels for one in REASONS if one.name == name] == [(level,)], name


def test_a_source_stands_beside_each_published_rule() -> None:
    everything: list[FindingRule | ReasonRule] = [*FINDINGS, *REASONS]
    assert [rule.name for rule in everything if rule.origin == "P" and not rule.source] == []


def test_what_figures_hang_on_cannot_be_set() -> None:
    with pytest.raises(ValidationError, match="a finding whose level can be set"):
        PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"volume_excludes_ec": "off"})
    assert {BY_NAME[name].level for name in SETTABLE} == {"warn", "note"}


def cases_of(names: set[str]) -> dict[str, set[str]]:
    """Every test function below tests/ by its file."""
    found: dict[str, set[str]] = {}
    for name in {case.split("::")[0] for case in names}:
        tree = ast.parse((TESTS / name).read_text(encoding="utf-8"))
        found[name] = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    return found


def test_every_finding_has_a_failing_and_a_passing_case() -> None:
    assert CASES.keys() == BY_NAME.keys()
    known = cases_of({case for pair in CASES.values() for case in pair})
    missing = [
        (name, case)
        for name, pair in CASES.items()
        for case in pair
        if f"test_{case.split('::')[1]}" not in known[case.split("::")[0]]
    ]
    assert missing == []


def test_the_file_of_a_failing_case_names_its_finding() -> None:
    silent = [
        (name, speaks)
        for name, (speaks, _) in CASES.items()
        if name not in (TESTS / speaks.split("::")[0]).read_text(encoding="utf-8")
    ]
    assert silent == []


def sentence_tests() -> str:
    """The text of the tests that hold sentences of findings word by word."""
    return "".join(path.read_text(encoding="utf-8") for path in sorted((TESTS / "reports").glob("test_*.py")))


def test_the_sentence_of_every_finding_whose_level_can_be_set_is_held_by_a_test() -> None:
    told = set(re.findall(r'"([a-z_]+)"', sentence_tests()))
    assert set(SETTABLE) - told == set()


def test_the_level_of_every_finding_is_read_where_it_is_made() -> None:
    """A relation that makes settable findings joins the levels of the day's policy; the others get theirs at last."""
    joined = "".join(
        text
        for path in sorted(sql_folder("judgement").glob("*.sql"))
        if "policy_finding_levels" in (text := path.read_text(encoding="utf-8"))
    ) + sql_folder("judgement", "sampling_questions.sql").read_text(encoding="utf-8")
    # uneven_ and outlier_ carry the quantity, feed_ how far it is off
    stems = {"uneven_ph", "uneven_ec", "outlier_ph", "outlier_ec", "feed_weak", "feed_strong"}
    unread = {
        name
        for name in SETTABLE
        if f"'{name}'" not in joined and not (name in stems and f"'{name.split('_')[0]}_" in joined)
    }
    assert unread == set(compiled._LEVELLED_HERE)


@pytest.mark.parametrize("name", compiled._LEVELLED_HERE)
def test_the_level_of_a_finding_of_the_document_is_the_policy_s(name: str) -> None:
    def told(level: str) -> list[str]:
        policy = merge_policy((PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={name: level}),), ())[
            -1
        ]
        finding = Finding(rule=name, level="warn", sentence="Look at it.")
        return [one.level for one in compiled._with_levels([finding], policy)]

    assert [told("warn"), told("note"), told("off")] == [["warn"], ["note"], []]
