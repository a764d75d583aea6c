"""Pydantic's errors in plain words: which key, what stands there, what would be right."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from pipeline.errors import SettingsProblem

_LONGEST_SHOWN = 60

_RIGHT_BY_TYPE = {
    "string_type": "text in quotes is needed",
    "string_too_short": "it must not be empty",
    "int_type": "a whole number without quotes is needed",
    "int_parsing": "a whole number without quotes is needed",
    "bool_type": "true or false, without quotes, is needed",
    "date_type": "a date like 2026-01-31, without quotes, is needed",
    "decimal_type": "a number is needed",
    "decimal_parsing": "a number is needed",
    "finite_number": "a number is needed",
    "tuple_type": "a list in brackets is needed",
    "list_type": "a list in brackets is needed",
    "dict_type": "a table is needed",
    "model_type": "a table is needed",
    "model_attributes_type": "a table is needed",
    "string_pattern_mismatch": 'small letters, digits and hyphens are needed, like "north-range"',
}

_WANTED = {
    "greater_than": "above {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "below {lt}",
    "less_than_equal": "{le} or less",
}


def show(value: object) -> str:
    """Return a value as somebody wrote it into a TOML file, cut where it is long."""
    match value:
        case bool():
            text = str(value).lower()
        case str():
            text = '"' + re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+", " ", value) + '"'
        case Decimal() | int() | date():
            text = str(value)
        case dict():
            text = "a table"
        case list() | tuple():
            text = "[" + ", ".join(show(item) for item in value) + "]"
        case _:
            text = str(value)
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1] + "…"


def name_nearest(word: str, known: Sequence[str]) -> str:
    """Return what would be right instead of an unknown word: the nearest one, and all that are known."""
    by_folded = {one.casefold(): one for one in known}
    folded = word.casefold()
    # "mS" is a shortened mS/cm, which comes first in its list, rather than the nearest by letters, mS/m.
    begun = [one for one in by_folded if len(folded) > 1 and one.startswith(f"{folded}/")]
    near = begun[:1] or get_close_matches(folded, by_folded, n=1, cutoff=0.55)
    listed = "known are " + ", ".join(known) if known else "nothing may stand here"
    return f'did you mean "{by_folded[near[0]]}"? {listed}' if near else listed


def explain_errors(
    error: ValidationError, model: type[BaseModel], file: str, prefix: str
) -> list[SettingsProblem]:
    """Return every error of one model as a problem; `prefix` is where the model stands in the file."""
    return [_explain_one(one, model, file, prefix) for one in error.errors(include_url=False)]


def _explain_one(error: ErrorDetails, model: type[BaseModel], file: str, prefix: str) -> SettingsProblem:
    place = [part for part in error["loc"] if part != "[key]"]
    key = join_key(prefix, place)
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    if kind == "missing":
        return SettingsProblem(file, key, "it is missing", _describe_missing(model, place))
    if kind == "extra_forbidden":
        owner = _model_at(model, place[:-1])
        known = list(owner.model_fields) if owner else []
        return SettingsProblem(file, key, "this key is unknown", name_nearest(str(place[-1]), known))
    if kind == "literal_error":
        # Pydantic writes choices as Python does: 'a', 'b' or "'"; signs are shown in quotes, as in the file.
        choices = [
            one or other for one, other in re.findall(r"""'([^']*)'|"([^"]*)\"""", context["expected"])
        ]
        known = [one if one[:1].isalnum() else f'"{one}"' for one in choices]
        found = "this key is unknown" if "[key]" in error["loc"] else f"it is {show(value)}"
        return SettingsProblem(file, key, found, name_nearest(str(value), known))
    if kind in _WANTED:
        right = f"{_WANTED[kind].format(**context)} is needed"
    elif kind == "right":
        right = f"{context['right']} is needed"
    elif kind == "number":
        right = "a number without quotes is needed"
    else:
        right = _RIGHT_BY_TYPE.get(kind, error["msg"])
    # of a whole table a rule says itself what it found
    return SettingsProblem(file, key, context.get("found", f"it is {show(value)}"), right)


def join_key(prefix: str, place: Iterable[object]) -> str:
    """Return a key as it is looked for in the file: `export 2: columns.ec`; list items count from 1."""
    text = ""
    for part in place:
        text += f" {part + 1}" if isinstance(part, int) else f".{part}" if text else str(part)
    return f"{prefix}: {text}" if prefix and text else prefix or text


def _describe_missing(model: type[BaseModel], place: Sequence[object]) -> str:
    owner = _model_at(model, place[:-1])
    facts = owner.model_fields.get(str(place[-1])) if owner else None
    meaning = facts.description if facts else None
    return f"write it ({meaning})" if meaning else "write it"


def _model_at(model: type[BaseModel], place: Sequence[object]) -> type[BaseModel] | None:
    """Return the model that stands at a key of another, through tables and lists."""
    current: type[BaseModel] | None = model
    for part in place:
        if current is not None and part in current.model_fields:
            current = _find_model(current.model_fields[str(part)].annotation)
        # Any other part is an index or a key of a table: the model is the one that the table holds.
    return current


def _find_model(annotation: Any) -> type[BaseModel] | None:
    """Return the one model inside an annotation like `tuple[Target, ...]` or `dict[str, Column]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_find_model(argument) for argument in typing.get_args(annotation))
    return next((one for one in found if one is not None), None)
