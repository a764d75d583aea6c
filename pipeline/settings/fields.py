"""The kinds of field that settings are made of: numbers as TOML has them, days, texts and names on one line."""

from __future__ import annotations

import unicodedata
from datetime import date
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Strict, StringConstraints
from pydantic_core import PydanticCustomError


def _refuse_quoted_number(value: object) -> object:
    """TOML has numbers; a quoted one, or true and false, is a slip that must be seen."""
    if isinstance(value, str | bool):
        raise PydanticCustomError("number", "a number without quotes")
    return value


Number = Annotated[Decimal, BeforeValidator(_refuse_quoted_number)]
Whole = Annotated[int, Strict()]
Day = Annotated[date, Strict()]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


def _refuse_breaks(text: str) -> str:
    """A name goes into heads of mail, units of systemd and lines of a terminal, where a break begins something else."""
    if any(unicodedata.category(letter) in ("Cc", "Zl", "Zp") for letter in text):
        right = "a name on one line, without control characters,"
        raise PydanticCustomError("right", "{right}", {"right": right})
    return text


Name = Annotated[Text, AfterValidator(_refuse_breaks)]


class Frozen(BaseModel):
    """Base of all settings: no unknown keys, no later changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)
