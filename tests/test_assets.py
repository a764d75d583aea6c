"""Where shipped files are looked for."""

from pathlib import Path

import pytest

from pipeline import assets
from pipeline.errors import AssetMissing


def test_in_a_checkout_they_stand_beside_the_package(tmp_path: Path) -> None:
    package = tmp_path / "pipeline"
    package.mkdir()
    assert assets.find_asset_root(package) == tmp_path


def test_installed_they_are_inside_the_package(tmp_path: Path) -> None:
    package = tmp_path / "pipeline"
    (package / "_data" / "sql").mkdir(parents=True)
    (tmp_path / "sql").mkdir()
    assert assets.find_asset("sql", package=package) == package / "_data" / "sql"


def test_a_missing_one_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(
        AssetMissing, match=r"sql is missing: the installation is damaged, install leachbook again\.$"
    ):
        assets.find_asset("sql", package=tmp_path)
    with pytest.raises(AssetMissing, match=r"none\.csv is missing"):
        assets.reference_folder("none.csv")


def test_every_shipped_folder_is_there() -> None:
    assert assets.sql_folder("schema").is_dir()
    assert assets.templates_folder("charts").is_dir()
    assert assets.demo_folder("leachbook.toml").is_file()
    assert assets.reference_folder("crop_targets.csv").is_file()
