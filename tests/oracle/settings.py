"""Settings of a home, read again without the product's models."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

MEASURED_CLASSES = ("plug", "cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus", "nursery")

DEFAULTS: dict[str, str] = {
    "min_usable_pots": "5",
    "summary_ph_sd": "0.2",
    "summary_ec_sd_ms_cm": "0.4",
    "ec_alpha_per_c": "0.0191",
    "volume_warn_share": "0.20",
    "volume_exclude_over": "1.4",
    "volume_exclude_under": "0.5",
    "pour_warn_share": "0.25",
    "unequal_volume_share": "0.30",
    "ec_highest_ms_cm": "20",
    "uneven_ph_sd": "0.30",
    "uneven_ec_sd_ms_cm": "0.60",
    "clear_margin_ph": "0.2",
    "clear_margin_ec_share": "0.15",
    "clear_margin_ec_low_ms_cm": "0.4",
    "clear_margin_ec_high_ms_cm": "0.5",
    "ph_action_high_iron_inefficient": "6.4",
    "ph_action_low_iron_efficient": "5.5",
    "ph_action_low_other": "5.4",
    "ec_act_ms_cm": "6.6",
    "ec_low_act_share": "0.6",
    "act_in_a_row": "2",
    "first_within_days": "7",
    "problem_interval_days": "7",
    "after_out_interval_days": "7",
    "grace_days": "2",
    "silent_after_nights": "3",
    "slope_low_pct": "85",
    "slope_high_pct": "105",
    "slope_warn_low_pct": "95",
    "slope_warn_high_pct": "102",
    "offset_limit_mv": "30",
    "buffer_limit_ph": "0.1",
    "ec_standard_share": "0.05",
    "establishing_days": "14",
    "finishing_days": "21",
    "step_ph": "0.2",
    "step_ec_ms_cm": "0.5",
    "finishing_high_ec_weight": "1.5",
    "quality_days": "28",
    "affected_within_days": "14",
    "outlier_ph": "0.3",
    "outlier_ec_ms_cm": "0.5",
    "precision_ph": "0.2",
    "precision_ec_ms_cm": "0.3",
    "trend_samplings": "6",
    "pace_seconds": "15",
    "late_entry_days": "7",
    "question_days": "30",
    "wait_leaching_days": "2",
    "wait_bicarbonate_days": "3",
    "wait_feed_change_days": "7",
    "wait_lime_drench_days": "10",
    "wait_other_days": "7",
    "before_treatment_days": "21",
    "water_check_days": "60",
    "feed_tolerance_share": "0.10",
    "symptoms_within_days": "3",
    "affected_pots": "5",
    "minutes_per_pot": "4",
}

# class: pour, leachate low, leachate high (mL), pots, days between routine samplings, drain low and high
# (min)
CONTAINER_DEFAULTS: dict[str, tuple[int, int, int, int, int, int, int]] = {
    "plug": (30, 30, 30, 5, 3, 30, 60),
    "cell_pack": (30, 30, 30, 5, 14, 30, 60),
    "pot_4in": (30, 30, 30, 5, 14, 30, 60),
    "pot_5_6in": (75, 50, 50, 5, 14, 30, 60),
    "pot_6_5in_plus": (100, 50, 60, 5, 14, 30, 60),
    "nursery": (120, 50, 50, 3, 14, 30, 120),
}
CONTAINER_KEYS = (
    "pour_ml",
    "leachate_low_ml",
    "leachate_high_ml",
    "min_usable_pots",
    "routine_interval_days",
    "drain_low_min",
    "drain_high_min",
)
# Days between routine samplings where a group goes by what is published for each container.
PUBLISHED_INTERVALS = {
    "plug": 3,
    "cell_pack": 7,
    "pot_4in": 7,
    "pot_5_6in": 14,
    "pot_6_5in_plus": 14,
    "nursery": 7,
}
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DEFAULT_SOURCE_ORDER = ("UMass Extension, Greenhouse Updates, 24 Mar 2023",)


def fold(text: str) -> str:
    """Names and codes compare trimmed and without regard to case."""
    return text.strip().casefold()


@dataclass(frozen=True)
class Policy:
    """The values in force on one day."""

    values: dict[str, Fraction]
    containers: dict[str, dict[str, Fraction]]
    problem_crops: frozenset[str]
    source_order: tuple[str, ...]
    # (crop, quantity) -> low, high
    # by crop, quantity and stage; None: every stage
    site_targets: dict[tuple[str, str, str | None], tuple[Fraction, Fraction]]
    group_targets: dict[tuple[str, str, str | None], tuple[Fraction, Fraction]]
    own: frozenset[str]
    finding_levels: dict[str, str]
    # Crops read in pairs around a feeding, beside those on the problem list.
    paired_crops: frozenset[str] = frozenset()
    # (crop, quantity) -> pH group or feeding level
    crop_groups: dict[tuple[str, str], str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Fraction:
        return self.values[name]


@dataclass(frozen=True)
class Export:
    """One kind of CSV file that a site drops, and how to read it."""

    kind: str
    files: str
    columns: dict[str, tuple[str, str | None]]
    mode: str = "increment"
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    number_marks: tuple[str, ...] = ()
    date_format: str = "%Y-%m-%d"
    time_format: str | None = None
    datetime_format: str | None = None
    title_lines: int = 0
    units_row: bool = False
    column_order: str = "fixed"
    extra_columns: str = "ignore"
    ec_compensated: bool = True
    numbers_pots: bool | None = None
    week_rule: str = "iso"
    week_starts: str = "monday"
    week_day: str = "wednesday"
    total_words: tuple[str, ...] = ("total", "totals", "sum", "mean", "average")
    comment_prefix: str = "#"
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    states_totals: bool = False
    wrong_headers: tuple[str, ...] = ()


@dataclass(frozen=True)
class MapBench:
    """A bench of a site's map; rows from the front."""

    house: str
    name: str
    rows: int | None
    columns: int | None
    places: int | None


@dataclass(frozen=True)
class SiteSettings:
    """A site as its site.toml describes it."""

    folder_name: str
    site_id: str
    name: str
    language: str
    paper: str
    date_format: str
    extraction_method: str | None
    time_zone: str
    growers: tuple[dict[str, Any], ...]
    exports: tuple[Export, ...]
    policy_tables: tuple[dict[str, Any], ...]
    benches: tuple[MapBench, ...] = ()
    holidays: frozenset[date] = frozenset()
    no_sampling: frozenset[str] = frozenset()
    feedings: tuple[dict[str, Any], ...] = ()
    calendar: str = "house_day"
    calendar_time: str = "08:00"
    volume_unit: str = "mL"
    temperature_unit: str = "°C"

    def is_closed(self, day: date) -> bool:
        """Whether the site does not sample on that day."""
        return day in self.holidays or WEEKDAYS[day.weekday()] in self.no_sampling

    def sends(self, kind: str) -> bool:
        return any(export.kind == kind for export in self.exports)


@dataclass(frozen=True)
class Home:
    """A home's settings."""

    name: str
    language: str
    paper: str
    date_format: str
    policy_tables: tuple[dict[str, Any], ...]
    sites: tuple[SiteSettings, ...]


def read_toml(path: Path) -> dict[str, Any]:
    """A TOML file with exact decimals; nothing when the file is missing."""
    if not path.exists():
        return {}
    return tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)


def read_export(table: dict[str, Any]) -> Export:
    """An [[export]] table; every key that is absent keeps its default."""
    columns: dict[str, tuple[str, str | None]] = {}
    for name, column in table["columns"].items():
        if isinstance(column, str):
            columns[name] = (column, None)
        else:
            columns[name] = (column["column"], column.get("unit"))
    wrong = [
        name
        for name, one in table["columns"].items()
        if isinstance(one, dict) and one.get("header_unit_is_wrong")
    ]
    values = {
        name: {fold(cell): word for cell, word in words.items()}
        for name, words in table.get("values", {}).items()
    }
    plain: dict[str, Any] = {
        key: table[key]
        for key in (
            "mode",
            "encoding",
            "delimiter",
            "decimal",
            "thousands",
            "date_format",
            "time_format",
            "datetime_format",
            "title_lines",
            "units_row",
            "column_order",
            "extra_columns",
            "ec_compensated",
            "numbers_pots",
            "week_rule",
            "week_starts",
            "week_day",
            "comment_prefix",
        )
        if key in table
    }
    for key in ("total_words", "number_marks"):
        if key in table:
            plain[key] = tuple(table[key])
    plain["states_totals"] = "total_words" in table
    return Export(
        kind=table["kind"],
        files=table["files"],
        columns=columns,
        values=values,
        wrong_headers=tuple(wrong),
        **plain,
    )


def read_site(folder: Path, group: dict[str, Any]) -> SiteSettings:
    """A site; language, paper and date format are the group's unless the site has its own."""
    table = read_toml(folder / "site.toml")
    return SiteSettings(
        folder_name=folder.name,
        site_id=table["id"],
        name=table["name"],
        language=table.get("language", group.get("language", "en")),
        paper=table.get("paper", group.get("paper", "a4")),
        date_format=table.get("date_format", group.get("date_format", "%Y-%m-%d")),
        extraction_method=table.get("extraction_method"),
        time_zone=table.get("time_zone", group["time_zone"]),
        growers=tuple(table.get("grower", [])),
        exports=tuple(read_export(export) for export in table.get("export", [])),
        policy_tables=tuple(table.get("policy", [])),
        benches=tuple(
            MapBench(one["house"], one["name"], one.get("rows"), one.get("columns"), one.get("places"))
            for one in table.get("bench", [])
        ),
        holidays=frozenset(table.get("holidays", [])),
        no_sampling=frozenset(table.get("no_sampling", [])),
        feedings=tuple(table.get("feeding", [])),
        calendar=table.get("calendar", "house_day"),
        calendar_time=table.get("calendar_time", "08:00"),
        volume_unit=table.get("volume_unit", "mL"),
        temperature_unit=table.get("temperature_unit", "°C"),
    )


def read_home(home: Path) -> Home:
    """All settings files of a home."""
    group = read_toml(home / "leachbook.toml")
    folders = sorted(path.parent for path in (home / "sites").glob("*/site.toml"))
    return Home(
        name=group["name"],
        language=group.get("language", "en"),
        paper=group.get("paper", "a4"),
        date_format=group.get("date_format", "%Y-%m-%d"),
        policy_tables=tuple(read_toml(home / "policy.toml").get("policy", [])),
        sites=tuple(read_site(folder, group) for folder in folders),
    )


def tables_in_force(tables: tuple[dict[str, Any], ...], day: date) -> list[dict[str, Any]]:
    """Policy tables that are valid on the day, oldest first."""
    return sorted(
        (table for table in tables if table["valid_from"] <= day), key=lambda table: table["valid_from"]
    )


def policy_on(home: Home, site: SiteSettings, day: date) -> Policy:
    """Defaults, changed by the group's tables up to the day, changed by the site's."""
    values = {name: Fraction(value) for name, value in DEFAULTS.items()}
    containers = {
        name: dict(zip(CONTAINER_KEYS, (Fraction(number) for number in numbers), strict=True))
        for name, numbers in CONTAINER_DEFAULTS.items()
    }
    pots_set: set[str] = set()
    days_set: set[str] = set()
    routine_by = "custom"
    paired_crops: frozenset[str] = frozenset()
    problem_crops: frozenset[str] = frozenset()
    source_order = DEFAULT_SOURCE_ORDER
    crop_groups: dict[tuple[str, str], str] = {}
    own: set[str] = set()
    levels: dict[str, str] = {}
    targets: dict[str, dict[tuple[str, str, str | None], tuple[Fraction, Fraction]]] = {
        "group": {},
        "site": {},
    }
    for owner, tables in (("group", home.policy_tables), ("site", site.policy_tables)):
        for table in tables_in_force(tables, day):
            for name, value in table.items():
                if name == "valid_from":
                    continue
                own.add(name)
                if name == "targets":
                    for target in value:
                        key = (fold(target["crop"]), target["quantity"], target.get("stage"))
                        targets[owner][key] = (Fraction(target["low"]), Fraction(target["high"]))
                elif name == "crops":
                    for crop in value:
                        for quantity, what in (("ph", "ph_group"), ("ec", "feeding_level")):
                            if what in crop:
                                crop_groups[fold(crop["crop"]), quantity] = crop[what]
                elif name == "containers":
                    for container_class, changed in value.items():
                        for key_name, number in changed.items():
                            own.add(f"containers.{container_class}.{key_name}")
                            containers[container_class][key_name] = Fraction(number)
                            if key_name == "min_usable_pots":
                                pots_set.add(container_class)
                            if key_name == "routine_interval_days":
                                days_set.add(container_class)
                elif name == "routine_by":
                    routine_by = value
                elif name == "feed_pair_crops":
                    paired_crops = frozenset(fold(crop) for crop in value)
                elif name == "finding_levels":
                    levels |= value
                elif name == "problem_crops":
                    problem_crops = frozenset(fold(crop) for crop in value)
                elif name == "target_source_order":
                    source_order = tuple(value)
                else:
                    values[name] = Fraction(value)
    # The general number of pots, where a group sets it, holds for every class that was not set by itself.
    if "min_usable_pots" in own:
        for container_class in MEASURED_CLASSES:
            if container_class not in pots_set:
                containers[container_class]["min_usable_pots"] = values["min_usable_pots"]
    if routine_by == "container":
        for container_class, days in PUBLISHED_INTERVALS.items():
            if container_class not in days_set:
                containers[container_class]["routine_interval_days"] = Fraction(days)
    return Policy(
        values=values,
        containers=containers,
        problem_crops=problem_crops,
        source_order=source_order,
        site_targets=targets["site"],
        group_targets=targets["group"],
        own=frozenset(own),
        finding_levels=levels,
        paired_crops=paired_crops,
        crop_groups=crop_groups,
    )
