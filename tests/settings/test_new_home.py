"""The home that `leachbook new` writes."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.errors import HomeError
from pipeline.settings import POLICY_CATALOGUE, PolicyValues, load_settings, resolve_policy, write_new_home
from pipeline.settings.findings import FINDINGS
from pipeline.settings.models import Export, SiteFacts
from pipeline.settings.new_home import render_policy


def test_it_passes_and_has_an_example_of_every_kind(tmp_path: Path) -> None:
    write_new_home(tmp_path / "home")
    settings = load_settings(tmp_path / "home")
    (site,) = settings.sites
    assert [export.kind for export in site.exports] == ["readings", "lots", "calibrations"]
    assert (site.folder / "drop").is_dir()
    assert [(one.values, one.own) for one in resolve_policy(settings, site)] == [
        (PolicyValues(), frozenset())
    ] * 2


def test_every_key_of_an_export_and_of_a_site_is_shown(tmp_path: Path) -> None:
    write_new_home(tmp_path / "home")
    (folder,) = (tmp_path / "home" / "sites").iterdir()
    shown = set(re.findall(r"^(?:# )?([a-z_]+) = ", (folder / "site.toml").read_text("utf-8"), re.MULTILINE))
    assert (set(Export.model_fields) - {"columns", "values"}) | set(SiteFacts.model_fields) <= shown


def test_a_header_that_the_comments_show_has_the_columns_of_the_example(tmp_path: Path) -> None:
    write_new_home(tmp_path / "home")
    (site,) = load_settings(tmp_path / "home").sites
    text = (site.folder / "site.toml").read_text(encoding="utf-8")
    shown = [
        line.removeprefix("#   ").split(",") for line in re.findall(r"^#   [A-Z].*$", text, re.MULTILINE)
    ]
    assert shown == [[column.column for column in export.columns.values()] for export in site.exports]


def test_policy_values_shown_as_comments_are_the_defaults(tmp_path: Path) -> None:
    """Taking every comment sign away gives the same policy, now as the group's own."""
    write_new_home(tmp_path / "home")
    uncommented = re.sub(r"^# (?=[a-z_]+ = |\[policy\.containers)", "", render_policy(), flags=re.MULTILINE)
    uncommented = uncommented[: uncommented.index("# Targets of your own")]
    (tmp_path / "home" / "policy.toml").write_text(uncommented, encoding="utf-8")
    settings = load_settings(tmp_path / "home")
    now = resolve_policy(settings, settings.sites[0])[-1]
    assert now.values == PolicyValues()
    assert now.own == {entry.name for entry in POLICY_CATALOGUE}


def test_every_remark_whose_level_can_be_set_is_shown_with_its_own(tmp_path: Path) -> None:
    shown = render_policy().partition("# [policy.finding_levels]")
    levels = re.sub(r"^# ", "", "".join(shown[1:]), flags=re.MULTILINE)
    write_new_home(tmp_path / "home")
    (tmp_path / "home" / "policy.toml").write_text(
        f"[[policy]]\nvalid_from = 2000-01-01\n{levels}", encoding="utf-8"
    )
    settings = load_settings(tmp_path / "home")
    set_there = resolve_policy(settings, settings.sites[0])[-1].values.finding_levels
    assert set_there == {rule.name: rule.level for rule in FINDINGS if rule.is_settable}


def test_every_value_says_unit_origin_and_meaning() -> None:
    text = " ".join(render_policy().replace("#", " ").split())
    for entry in POLICY_CATALOGUE:
        assert entry.meaning in text
        assert (entry.source or "") in text
    assert tomllib.loads(render_policy())["policy"][0].keys() == {"valid_from"}


def test_an_empty_folder_may_become_a_home(tmp_path: Path) -> None:
    write_new_home(tmp_path)
    assert load_settings(tmp_path).group.language == "en"


def test_what_is_there_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(
        HomeError, match=r"exists already and is not empty: name a folder that is not there yet\.$"
    ):
        write_new_home(tmp_path)
    with pytest.raises(HomeError, match="exists already"):
        write_new_home(tmp_path / "letter.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(HomeError, match="cannot be written"):
        write_new_home(tmp_path / "file" / "home")
