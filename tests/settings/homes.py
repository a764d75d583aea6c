"""A small home that passes; a test changes what it is about."""

from pathlib import Path

from pipeline.settings import SettingsError, SettingsProblem, load_settings

GROUP = """
name = "Two sites"
time_zone = "Europe/Madrid"
language = "es"
paper = "letter"
date_format = "%d.%m.%Y"
"""

SITE = """
id = "north"
name = "North"
extraction_method = "pour-through"
"""

GROWER = """
[[grower]]
id = "ana"
name = "Ana"
email = "ana@example.com"
"""

READINGS = """
[[export]]
kind = "readings"
files = "drop/readings*.csv"
[export.columns]
lot = "Lot"
date = "Date"
ph = "pH"
ec = {column = "EC", unit = "mS/cm"}
"""

LOTS = """
[[export]]
kind = "lots"
files = "drop/lots.csv"
[export.columns]
lot = "Lot"
crop = "Crop"
container = "Container"
started = "Potted"
"""


def write_home(
    home: Path,
    *,
    group: str = GROUP,
    policy: str | None = None,
    site: str = SITE + GROWER + READINGS + LOTS,
    **more_sites: str,
) -> Path:
    """Write a home; each further keyword is a site's folder and its site.toml."""
    home.mkdir(exist_ok=True)
    (home / "leachbook.toml").write_text(group, encoding="utf-8")
    if policy is not None:
        (home / "policy.toml").write_text(policy, encoding="utf-8")
    for folder, text in {"north": site, **more_sites}.items():
        (home / "sites" / folder / "drop").mkdir(parents=True)
        (home / "sites" / folder / "site.toml").write_text(text, encoding="utf-8")
    return home


def find_problems(home: Path) -> list[SettingsProblem]:
    """Return the mistakes of a home; none when it passes."""
    try:
        load_settings(home)
    except SettingsError as error:
        return error.problems
    return []


def lines(home: Path) -> list[str]:
    """Return the mistakes of a home as they are printed."""
    return [str(problem) for problem in find_problems(home)]
