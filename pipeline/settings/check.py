"""Checks of raw tables that need more than one key: pure, and tolerant of whatever stands there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.errors import SettingsProblem
from pipeline.settings.explain import name_nearest, show
from pipeline.settings.in_force import Periods, find_contradictions, merge_policy
from pipeline.settings.policy import PolicyPeriod
from pipeline.settings.words import FIELDS, MEASURED_FIELDS, UNIT_OF_FIELD, WORDS_BY_FIELD
from pipeline.units import UNITS, canonical_unit

RawTable = Mapping[str, Any]


def check_export(raw: RawTable, file: str, prefix: str) -> list[SettingsProblem]:
    """Return what is wrong between the keys of one [[export]]: dialect, fields, units, formats, words."""
    problems: list[SettingsProblem] = []

    def say(key: str, found: str, right: str) -> None:
        problems.append(SettingsProblem(file, f"{prefix}: {key}", found, right))

    for key, found, right in (*_check_numbers(raw), *_check_formats(raw), *_check_weeks(raw)):
        say(key, found, right)
    fields = FIELDS.get(raw["kind"]) if isinstance(raw.get("kind"), str) else None
    columns = raw.get("columns")
    if fields is None or not isinstance(columns, Mapping):
        return problems
    for field in columns:
        if field not in fields.known:
            say(f"columns.{field}", f"{raw['kind']} have no such field", name_nearest(field, fields.known))
    for group in fields.one_of:
        if not any(field in columns for field in group):
            say(
                "columns", f"{' or '.join(group)} is missing", f'add {group[0]} = "the header of that column"'
            )
    for column, format_key in (("time", "time_format"), ("datetime", "datetime_format")):
        if column in columns and format_key not in raw:
            right = 'write it, like "%H:%M"' if column == "time" else 'write it, like "%Y-%m-%d %H:%M"'
            say(format_key, f"it is missing, and columns has {column}", right)
    for field, found, right in _check_units(columns):
        say(f"columns.{field}", found, right)
    headers = {field: _header_of(columns[field]) for field in columns if field in MEASURED_FIELDS}
    counts = Counter(header for header in headers.values() if header)
    for field, header in headers.items():
        if counts[header] > 1:
            say(
                f"columns.{field}",
                f'"{header}" is named for two figures',
                "each figure has a column of its own",
            )
    for key, found, right in _check_values(raw.get("values"), columns):
        say(key, found, right)
    return problems


def _check_numbers(raw: RawTable) -> Iterable[tuple[str, str, str]]:
    """Marks that would make a number mean two things."""
    decimal, thousands = raw.get("decimal", "."), raw.get("thousands", "")
    if thousands and thousands == decimal:
        right = 'the two must differ, like decimal = "," with thousands = "."'
        yield "thousands", f"it is {show(thousands)}, which is the mark for decimals", right
    marks = raw.get("number_marks")
    for mark in marks if isinstance(marks, list) else ():
        if not isinstance(mark, str):
            continue
        if any(letter.isalnum() or letter in "+-" for letter in mark):
            right = "signs like * only: a digit, a letter, + or - says something about the number"
            yield "number_marks", f"{show(mark)} is part of a number or a unit", right
        elif any(part and part in mark for part in (decimal, thousands) if isinstance(part, str)):
            right = "take it away, or correct decimal and thousands"
            yield "number_marks", f"{show(mark)} holds a mark that numbers are written with", right


def _check_formats(raw: RawTable) -> Iterable[tuple[str, str, str]]:
    """Time zones in formats: an offset belongs to a date with a time, and a zone's name is not understood."""
    for key in ("date_format", "time_format", "datetime_format"):
        form = raw.get(key)
        if not isinstance(form, str):
            continue
        if "%Z" in form:
            right = 'the name of a zone is not understood; write an offset as "%z", or name time_zone'
            yield key, f"it is {show(form)}", right
        elif "%z" in form and key != "datetime_format":
            right = "an offset needs date and time together; map a column datetime with its datetime_format"
            yield key, f"it is {show(form)}", right


def _check_weeks(raw: RawTable) -> Iterable[tuple[str, str, str]]:
    starts = raw.get("week_starts", "monday")
    if starts != "monday" and raw.get("week_rule", "iso") == "iso":
        right = (
            'ISO weeks begin on monday; take it away, or set week_rule to "january_1" or "first_full_week"'
        )
        yield "week_starts", f'it is {show(starts)}, and week_rule is "iso"', right


def _header_of(column: object) -> str:
    header = column.get("column") if isinstance(column, Mapping) else column
    return header.strip() if isinstance(header, str) else ""


def _check_units(columns: RawTable) -> Iterable[tuple[str, str, str]]:
    for field, column in columns.items():
        unit = column.get("unit") if isinstance(column, Mapping) else None
        quantity = UNIT_OF_FIELD.get(field)
        if quantity is None:
            if unit is not None:
                yield f"{field}.unit", f"it is {show(unit)}", "this field has no unit, take it away"
            continue
        known = list(UNITS[quantity])
        if unit is None:
            header = _header_of(column) or "the header"
            yield (
                field,
                "its unit is missing",
                f'write {{column = "{header}", unit = "{known[0]}"}}; known are ' + (", ".join(known)),
            )
        elif not isinstance(unit, str) or canonical_unit(quantity, unit) is None:
            yield f"{field}.unit", f"{show(unit)} is not a known unit", name_nearest(str(unit), known)


def _check_values(values: object, columns: RawTable) -> Iterable[tuple[str, str, str]]:
    if not isinstance(values, Mapping):
        return
    for field, words in values.items():
        if field not in columns:
            yield f"values.{field}", "columns has no such field", name_nearest(field, list(columns))
        if not isinstance(words, Mapping):
            continue
        known = WORDS_BY_FIELD.get(field)
        for cell, word in words.items():
            if known and isinstance(word, str) and word not in known:
                yield f"values.{field}.{show(cell)}", f"it is {show(word)}", name_nearest(word, known)
        for cell, count in Counter(str(cell).strip().casefold() for cell in words).items():
            if count > 1:
                yield (
                    f"values.{field}",
                    f'"{cell}" stands there twice',
                    "cells compare without case and blanks",
                )


def check_pattern(pattern: object, folder: Path, file: str, key: str) -> list[SettingsProblem]:
    """Return a problem when the fixed part of a pattern leads out of the site's folder by a link."""
    if not isinstance(pattern, str) or "\0" in pattern:
        return []
    fixed = []
    for part in PurePosixPath(pattern).parts:
        if any(sign in part for sign in "*?["):
            break
        fixed.append(part)
    if ".." in fixed or pattern.startswith("/"):
        return []  # The model has said it.
    base = folder.resolve()
    if folder.joinpath(*fixed).resolve().is_relative_to(base):
        return []
    found = f"{show(pattern)} leads out of the site's folder by a link"
    return [SettingsProblem(file, key, found, "the files must lie inside the site's folder")]


def find_doubled(named: Iterable[tuple[str, object, SettingsProblem]]) -> list[SettingsProblem]:
    """Return the problem for each further appearance of a value; items are (scope, value, problem)."""
    seen: set[tuple[str, object]] = set()
    doubled = []
    for scope, value, problem in named:
        if (scope, value) in seen:
            doubled.append(problem)
        seen.add((scope, value))
    return doubled


def check_policy(group: Periods, site: Periods, file: str) -> list[SettingsProblem]:
    """Return the pairs of values that contradict each other on any day, where somebody set one of the two."""
    problems: dict[tuple[str, ...], SettingsProblem] = {}
    for period in merge_policy(group, site):
        for one in find_contradictions(period.values):
            if set(one.names) & period.own:
                key = next(name for name in one.names if name in period.own)
                since = f" from {period.valid_from}" if period.valid_from > date.min else ""
                problems.setdefault(
                    one.names, SettingsProblem(file, f"policy: {key}", one.found + since, one.right)
                )
    return list(problems.values())


def check_targets(periods: Periods, file: str) -> list[SettingsProblem]:
    """Return own targets whose edges are the wrong way round, lie off the pH scale, or stand there twice."""
    problems = []
    for number, period in enumerate(periods, start=1):
        keys = Counter(target.key for target in period.targets)
        for position, target in enumerate(period.targets, start=1):
            key = f"policy {number}: targets {position}"
            if target.low > target.high:
                found = f"low is {target.low} and high is {target.high}"
                problems.append(SettingsProblem(file, key, found, "low must not be above high"))
            if target.quantity == "ph" and target.high > 14:
                problems.append(SettingsProblem(file, key, f"high is {target.high}", "pH ends at 14"))
            if keys[target.key] > 1:
                stage = f" in the stage {target.stage}" if target.stage else ""
                found = f"{target.crop} has two targets for {target.quantity}{stage}"
                problems.append(SettingsProblem(file, key, found, "keep one of them"))
        problems += _check_crops(period, number, file)
    return problems


def _check_crops(period: PolicyPeriod, number: int, file: str) -> list[SettingsProblem]:
    """Crops that count among nothing, or are named twice."""
    problems = []
    first: dict[str, int] = {}
    for position, crop in enumerate(period.crops, start=1):
        key = f"policy {number}: crops {position}"
        if crop.ph_group is None and crop.feeding_level is None:
            right = "say its ph_group, its feeding_level, or both"
            problems.append(SettingsProblem(file, key, f"{crop.crop} has neither", right))
        earlier = first.setdefault(crop.key, position)
        if earlier != position:
            found = f"{crop.crop} stands at crops {earlier} already"
            problems.append(SettingsProblem(file, key, found, "write both of its groups in one row"))
    return problems
