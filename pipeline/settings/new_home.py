"""Writes a home that is ready for a first site: commented settings that pass as they are."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from textwrap import fill

from pipeline.errors import HomeError
from pipeline.settings.containers import CONTAINER_DEFAULTS
from pipeline.settings.findings import FINDINGS, FindingRule
from pipeline.settings.load import GROUP_FILE, POLICY_FILE, SITE_FILE, SITES_FOLDER
from pipeline.settings.policy import ORIGIN_WORDS, POLICY_CATALOGUE, PolicyEntry

FIRST_SITE = "first-site"
_TEXTS = Path(__file__).parent / "first_home"

_POLICY_HEAD = """\
# The policy: every number that a judgement hangs on. Change nothing first: as it stands, the defaults hold.
# To change a value take the # and the blank in front of it away. Each is followed by its unit, by where it
# comes from (published, with the source; common practice; or house default, yours to set), and its meaning.
# A change of policy is a further [[policy]] table at the end with its own valid_from and only what changes:
# each day is judged by the policy in force on it. A site.toml may hold [[policy]] tables for that site alone.

[[policy]]
valid_from = 2000-01-01
"""

_POLICY_TARGETS = """
# Targets of your own go before the published ones: pH, or EC in mS/cm at 25 °C.
# [[policy.targets]]
# crop = "petunia"
# quantity = "ph"          # "ph" or "ec"
# low = 5.4
# high = 6.0
# stage = "finishing"      # leave out for all stages, else "establishing", "active" or "finishing"
# note = "our own trials"

# A crop that no published table has can count among a pH group and a feeding level, whose published ranges it takes.
# [[policy.crops]]
# crop = "scaevola"
# ph_group = "iron-inefficient"   # or "general", "iron-efficient"
# feeding_level = "light"         # or "medium", "heavy"
"""

_POLICY_REMARKS = """
# How loud a remark is: "warn", "note" or "off". Off silences it and changes no fact: a failed check stays failed.
# [policy.finding_levels]
"""


def write_new_home(home: Path) -> None:
    """Write leachbook.toml, policy.toml and a first site with its drop folder.

    Raises HomeError when the folder is there already and not empty, or cannot be written.
    """
    try:
        if home.exists() and (not home.is_dir() or any(home.iterdir())):
            raise HomeError(f"{home} exists already and is not empty: name a folder that is not there yet.")
        site = home / SITES_FOLDER / FIRST_SITE
        (site / "drop").mkdir(parents=True)
        (site / SITE_FILE).write_bytes((_TEXTS / SITE_FILE).read_bytes())
        (home / POLICY_FILE).write_text(render_policy(), encoding="utf-8")
        # Last, because this file is what makes the folder a home.
        (home / GROUP_FILE).write_bytes((_TEXTS / GROUP_FILE).read_bytes())
    except OSError as error:
        raise HomeError(f"{home} cannot be written ({error.strerror}): choose another place.") from error


def render_policy() -> str:
    """Return policy.toml with every value shown at its default, as a comment."""
    scalars = [entry for entry in POLICY_CATALOGUE if "." not in entry.name]
    parts = [_POLICY_HEAD, *(_render_entry(entry, entry.name) for entry in scalars)]
    for container in CONTAINER_DEFAULTS:
        prefix = f"containers.{container}."
        parts.append(f"\n# [policy.{prefix[:-1]}]\n")
        parts += [
            _render_container_entry(entry, entry.name.removeprefix(prefix))
            for entry in POLICY_CATALOGUE
            if entry.name.startswith(prefix)
        ]
    remarks = [_render_remark(rule) for rule in FINDINGS if rule.is_settable]
    return "".join([*parts, _POLICY_TARGETS, _POLICY_REMARKS, *remarks])


def _render_entry(entry: PolicyEntry, name: str) -> str:
    text = f"{_describe_origin(entry)}: {entry.meaning}"
    comment = fill(text, 106, initial_indent="#   ", subsequent_indent="#   ")
    unit = f"   # {entry.unit}" if entry.unit else ""
    return f"\n# {name} = {_as_toml(entry.default)}{unit}\n{comment}\n"


def _render_remark(rule: FindingRule) -> str:
    return f'# {rule.name} = "{rule.level}"   # {rule.rule}\n'


def _render_container_entry(entry: PolicyEntry, name: str) -> str:
    return (
        f"# {name} = {_as_toml(entry.default)}   # {entry.unit}; {_describe_origin(entry)}: {entry.meaning}\n"
    )


def _describe_origin(entry: PolicyEntry) -> str:
    origin = ORIGIN_WORDS[entry.origin]
    return f"{origin} ({entry.source})" if entry.source else origin


def _as_toml(value: object) -> str:
    match value:
        case tuple():
            return "[" + ", ".join(_as_toml(item) for item in value) + "]"
        case Decimal() | int():
            return str(value)
        case _:
            return f'"{value}"'
