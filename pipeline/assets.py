"""Where the files lie that belong to the program and are not Python: SQL, templates, reference tables, demo.

In a checkout (and an editable install) they stand beside the package; in a wheel they are inside it, under
`pipeline/_data`. Nothing else in the program works out such a path.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import AssetMissing

PACKAGE = Path(__file__).resolve().parent


def find_asset_root(package: Path = PACKAGE) -> Path:
    """Return the folder that holds `sql`, `report_templates` and `demo_sites` for this package."""
    inside = package / "_data"
    return inside if inside.is_dir() else package.parent


def find_asset(*parts: str, package: Path = PACKAGE) -> Path:
    """Return the path of one shipped file or folder, for example `find_asset("sql", "schema")`.

    Raises AssetMissing when it is not there: then the installation is damaged.
    """
    path = find_asset_root(package).joinpath(*parts)
    if not path.exists():
        raise AssetMissing(f"{path} is missing: the installation is damaged, install leachbook again.")
    return path


def sql_folder(*parts: str) -> Path:
    """Folder of the SQL files, or a folder or file in it."""
    return find_asset("sql", *parts)


def templates_folder(*parts: str) -> Path:
    """Folder of the Jinja2 templates, style sheets and chart specs, or something in it."""
    return find_asset("report_templates", *parts)


def demo_folder(*parts: str) -> Path:
    """Folder of the four invented sites, or something in it."""
    return find_asset("demo_sites", *parts)


def reference_folder(*parts: str) -> Path:
    """Folder of the published tables (CSV, each row with its source), or one of them.

    Raises AssetMissing when it is not there.
    """
    path = PACKAGE.joinpath("reference", *parts)
    if not path.exists():
        raise AssetMissing(f"{path} is missing: the installation is damaged, install leachbook again.")
    return path
