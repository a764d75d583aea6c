"""Reads a home's settings and names every mistake of every file at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from pipeline.errors import HomeError, SettingsError, SettingsProblem
from pipeline.settings.benches import Bench, Feeding, fold_name
from pipeline.settings.check import check_export, check_pattern, check_policy, check_targets, find_doubled
from pipeline.settings.explain import explain_errors, name_nearest, show
from pipeline.settings.in_force import PolicyInForce, merge_policy
from pipeline.settings.mail import check_mail
from pipeline.settings.models import Export, Group, Grower, Settings, SiteFacts, SiteSettings
from pipeline.settings.policy import PolicyPeriod
from pipeline.settings.policy_scalars import PolicyScalars

GROUP_FILE = "leachbook.toml"
POLICY_FILE = "policy.toml"
SITES_FOLDER = "sites"
SITE_FILE = "site.toml"

_INHERITED = ("time_zone", "language", "paper", "date_format")
_PLACE_IN_TOML = re.compile(
    r"^(?P<what>.*?) \(at (?P<where>line \d+, column \d+|end of document)\)$", re.DOTALL
)

_M = TypeVar("_M", bound=BaseModel)
_Raw = Mapping[str, Any]


@dataclass
class _Reading:
    """What has been read so far: the files as they are, and the mistakes."""

    home: Path
    files: dict[str, bytes] = field(default_factory=dict)
    problems: list[SettingsProblem] = field(default_factory=list)
    site_ids: dict[str, str] = field(default_factory=dict)

    def say(self, file: str, key: str, found: str, right: str) -> None:
        self.problems.append(SettingsProblem(file, key, found, right))


def load_settings(home: Path) -> Settings:
    """Read leachbook.toml, policy.toml and every site.toml of a home.

    Raises HomeError when the folder is no home, SettingsError with all mistakes of all files.
    """
    check_home(home)
    reading = _Reading(home)
    raw_group = _read_toml(reading, GROUP_FILE)
    group = _parse(reading, Group, raw_group, GROUP_FILE) if raw_group is not None else None
    reading.problems += check_mail(raw_group or {}, GROUP_FILE)
    policy = _read_group_policy(reading)
    sites = _read_sites(reading, raw_group or {}, policy)
    if reading.problems or group is None:
        raise SettingsError(reading.problems)
    return Settings(group, policy, tuple(sites), reading.files)


def load_group(home: Path) -> Group:
    """Read leachbook.toml alone. Raises HomeError when the folder is no home, SettingsError with its mistakes."""
    check_home(home)
    reading = _Reading(home)
    raw = _read_toml(reading, GROUP_FILE)
    group = _parse(reading, Group, raw, GROUP_FILE) if raw is not None else None
    if group is None:
        raise SettingsError(reading.problems)
    return group


def check_home(home: Path) -> None:
    """See that a folder is a home. Raises HomeError."""
    if not home.is_dir():
        raise HomeError(f"{home} is not a folder: make a home with `leachbook new {home}`.")
    if not (home / GROUP_FILE).exists():
        raise HomeError(f"{home} has no {GROUP_FILE}: it is no home; make one with `leachbook new DIR`.")


def resolve_policy(settings: Settings, site: SiteSettings) -> list[PolicyInForce]:
    """Return the policy that holds at a site, as periods without gaps from 0001-01-01 on."""
    return merge_policy(settings.policy, site.policy)


def _read_toml(reading: _Reading, file: str) -> dict[str, Any] | None:
    """Read one file into plain tables, numbers with a point as Decimal; None when that failed."""
    try:
        data = (reading.home / file).read_bytes()
    except OSError as error:
        reading.say(file, "", f"it cannot be read ({error.strerror})", "it must be a readable file")
        return None
    reading.files[file] = data
    try:
        # Windows editors put a byte order mark in front.
        return tomllib.loads(data.decode("utf-8-sig"), parse_float=Decimal)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        reading.say(file, f"line {line}", "it is not UTF-8 text", "save the file as UTF-8")
    except tomllib.TOMLDecodeError as error:
        match = _PLACE_IN_TOML.match(str(error))
        where, what = (match["where"], match["what"]) if match else ("", str(error))
        right = "write key = value, text in quotes, lists in brackets, each key once"
        reading.say(file, where, f"this is not TOML: {what}", right)
    return None


def _parse(
    reading: _Reading, model: type[_M], raw: object, file: str, prefix: str = "", **given: object
) -> _M | None:
    """Validate one table; its mistakes are noted and None comes back."""
    if not isinstance(raw, Mapping):
        reading.say(file, prefix, f"it is {show(raw)}", "a table is needed")
        return None
    try:
        return model.model_validate({**given, **raw})
    except ValidationError as error:
        reading.problems += explain_errors(error, model, file, prefix)
        return None


def _take_list(reading: _Reading, raw: _Raw, key: str, file: str) -> Sequence[Any]:
    """Return the tables of `[[key]]`; a single [key] or anything else is a mistake."""
    value = raw.get(key, [])
    if isinstance(value, list):
        return value
    found = f"[{key}] is one table" if isinstance(value, Mapping) else f"it is {show(value)}"
    reading.say(file, key, found, f"write [[{key}]] with two brackets, as often as needed")
    return []


def _refuse_unknown(reading: _Reading, raw: _Raw, known: Sequence[str], file: str) -> None:
    for key in raw:
        if key in known:
            continue
        right = name_nearest(key, known)
        if key in PolicyScalars.model_fields:
            right = "policy values stand below a [[policy]] line with its valid_from"
        reading.say(file, key, "this key is unknown", right)


def _read_group_policy(reading: _Reading) -> tuple[PolicyPeriod, ...]:
    if not (reading.home / POLICY_FILE).exists():
        return ()
    raw = _read_toml(reading, POLICY_FILE)
    if raw is None:
        return ()
    _refuse_unknown(reading, raw, ["policy"], POLICY_FILE)
    periods = _read_periods(reading, raw, POLICY_FILE)
    reading.problems += check_policy(periods, (), POLICY_FILE)
    return periods


def _read_periods(reading: _Reading, raw: _Raw, file: str) -> tuple[PolicyPeriod, ...]:
    """Read the [[policy]] tables of a file."""
    tables = _take_list(reading, raw, "policy", file)
    parsed = [
        _parse(reading, PolicyPeriod, table, file, f"policy {number}") or _parse_rest(table)
        for number, table in enumerate(tables, start=1)
    ]
    periods = tuple(period for period in parsed if period is not None)
    reading.problems += check_targets(periods, file)
    reading.problems += find_doubled(
        (
            "valid_from",
            period.valid_from,
            SettingsProblem(
                file,
                f"policy {number}: valid_from",
                f"{period.valid_from} is there twice",
                "put the two tables together",
            ),
        )
        for number, period in enumerate(parsed, start=1)
        if period is not None
    )
    return periods


def _parse_rest(table: object) -> PolicyPeriod | None:
    """What of a policy table is sound, so that one mistake does not hide what contradicts the rest of it."""
    rest = deepcopy(dict(table)) if isinstance(table, Mapping) else {}
    try:
        return PolicyPeriod.model_validate(rest)
    except ValidationError as error:
        for one in error.errors(include_url=False):
            _drop(rest, [part for part in one["loc"] if part != "[key]"])
    try:
        return PolicyPeriod.model_validate(rest)
    except ValidationError:
        return None


def _drop(table: dict[str, Any], place: Sequence[int | str]) -> None:
    """Take the value at a place out of a table; of a list, only the mistaken entry is emptied."""
    if not place:
        return
    key, inner = str(place[0]), table.get(str(place[0]))
    if isinstance(inner, dict) and len(place) > 1:
        _drop(inner, place[1:])
    else:
        table.pop(key, None)


def _read_sites(reading: _Reading, raw_group: _Raw, policy: tuple[PolicyPeriod, ...]) -> list[SiteSettings]:
    folders = _list_site_folders(reading)
    sites = [_read_site(reading, folder, raw_group, policy) for folder in folders]
    return [site for site in sites if site is not None]


def _list_site_folders(reading: _Reading) -> list[Path]:
    """Return the folders below sites/ in the order of their names; hidden ones are not sites."""
    root = reading.home / SITES_FOLDER
    try:
        folders = sorted(one for one in root.iterdir() if one.is_dir() and not one.name.startswith("."))
    except OSError as error:
        reading.say(
            SITES_FOLDER, "", f"it cannot be read ({error.strerror})", "it must be a folder with the sites"
        )
        return []
    if not folders:
        reading.say(SITES_FOLDER, "", "there is no site", f"make a folder with a {SITE_FILE} for each site")
    return folders


def _read_site(
    reading: _Reading, folder: Path, raw_group: _Raw, group_policy: tuple[PolicyPeriod, ...]
) -> SiteSettings | None:
    file = f"{SITES_FOLDER}/{folder.name}/{SITE_FILE}"
    if not (folder / SITE_FILE).exists():
        reading.say(file, "", "it is missing", "write it, or move the folder out of sites/")
        return None
    raw = _read_toml(reading, file)
    if raw is None:
        return None
    before = len(reading.problems)
    lists = ["grower", "export", "policy", "bench", "feeding"]
    _refuse_unknown(reading, raw, [*SiteFacts.model_fields, *lists], file)
    facts_raw = {key: value for key, value in raw.items() if key in SiteFacts.model_fields}
    # A mistake in the group's value is told once, there; here it must not hide what the site says.
    inherited = {
        key: raw_group[key] for key in _INHERITED if key in raw_group and _is_good(key, raw_group[key])
    }
    facts = _parse(reading, SiteFacts, facts_raw, file, **({"time_zone": "UTC"} | inherited))
    growers = _read_growers(reading, raw, file)
    exports = _read_exports(reading, raw, folder, file)
    benches = _read_benches(reading, raw, file)
    feedings = _read_feedings(reading, raw, file)
    policy = _read_periods(reading, raw, file)
    if policy:
        told = {problem.key for problem in reading.problems if problem.file == POLICY_FILE}
        reading.problems += [
            problem for problem in check_policy(group_policy, policy, file) if problem.key not in told
        ]
    _note_doubled_site(reading, raw.get("id"), file)
    if facts is None or len(reading.problems) > before:
        return None
    return SiteSettings(
        **facts.model_dump(exclude_unset=True),
        folder=folder,
        growers=growers,
        exports=exports,
        policy=policy,
        benches=benches,
        feedings=feedings,
    )


def _is_good(key: str, value: object) -> bool:
    try:
        Group.model_validate({"name": "-", "time_zone": "UTC", key: value})
    except ValidationError:
        return False
    return True


def _read_growers(reading: _Reading, raw: _Raw, file: str) -> tuple[Grower, ...]:
    tables = _take_list(reading, raw, "grower", file)
    parsed = [
        _parse(reading, Grower, table, file, f"grower {number}")
        for number, table in enumerate(tables, start=1)
    ]
    reading.problems += find_doubled(
        (
            "id",
            table["id"],
            SettingsProblem(
                file,
                f"grower {number}: id",
                f"{show(table['id'])} is there twice",
                "give each grower its own id",
            ),
        )
        for number, table in enumerate(tables, start=1)
        if isinstance(table, Mapping) and isinstance(table.get("id"), str)
    )
    return tuple(grower for grower in parsed if grower is not None)


def _read_benches(reading: _Reading, raw: _Raw, file: str) -> tuple[Bench, ...]:
    tables = _take_list(reading, raw, "bench", file)
    parsed = [
        _parse(reading, Bench, table, file, f"bench {number}") for number, table in enumerate(tables, start=1)
    ]
    reading.problems += find_doubled(
        (
            "bench",
            (fold_name(bench.house), fold_name(bench.name)),
            SettingsProblem(
                file,
                f"bench {number}: name",
                f"{show(bench.name)} of {bench.house} is there twice",
                "describe each bench once",
            ),
        )
        for number, bench in enumerate(parsed, start=1)
        if bench is not None
    )
    return tuple(bench for bench in parsed if bench is not None)


def _read_feedings(reading: _Reading, raw: _Raw, file: str) -> tuple[Feeding, ...]:
    tables = _take_list(reading, raw, "feeding", file)
    parsed = [
        _parse(reading, Feeding, table, file, f"feeding {number}")
        for number, table in enumerate(tables, start=1)
    ]
    return tuple(feeding for feeding in parsed if feeding is not None)


def _read_exports(reading: _Reading, raw: _Raw, folder: Path, file: str) -> tuple[Export, ...]:
    tables = _take_list(reading, raw, "export", file)
    parsed = []
    patterns = []
    for number, table in enumerate(tables, start=1):
        prefix = f"export {number}"
        parsed.append(_parse(reading, Export, table, file, prefix))
        if not isinstance(table, Mapping):
            continue
        key = f"{prefix}: files"
        reading.problems += check_export(table, file, prefix)
        reading.problems += check_pattern(table.get("files"), folder, file, key)
        if isinstance(table.get("files"), str):
            found = f"{show(table['files'])} is there twice"
            patterns.append(
                (
                    "files",
                    table["files"],
                    SettingsProblem(file, key, found, "a file belongs to one export only"),
                )
            )
    reading.problems += find_doubled(patterns)
    return tuple(export for export in parsed if export is not None)


def _note_doubled_site(reading: _Reading, site_id: object, file: str) -> None:
    """Note that an earlier site has the same id, even if that site has mistakes of its own."""
    if not isinstance(site_id, str):
        return
    other = reading.site_ids.setdefault(site_id, file)
    if other != file:
        reading.say(file, "id", f"{show(site_id)} is also the id in {other}", "give each site its own id")
