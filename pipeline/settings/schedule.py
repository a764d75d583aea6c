"""[schedule] of leachbook.toml: when runs are due, what becomes of missed ones, and when a disk is nearly full."""

from __future__ import annotations

import re
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from pipeline.settings.fields import Frozen, Text, Whole

Missed = Literal["newest", "same_day"]
WeekSlot = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "never"]


def _check_time_of_day(text: str) -> str:
    """A time of day as 04:00."""
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise PydanticCustomError(
            "right", "{right}", {"right": 'a time of day with four digits, like "04:00",'}
        )
    return text


TimeOfDay = Annotated[Text, AfterValidator(_check_time_of_day)]


class Schedule(Frozen):
    """When the runs are due, by the clocks of the group's time zone. House defaults.

    `missed_*`: what an outage left out is made up by the newest one alone, or only on its own day.
    `least_free_mb`: with less room on the home's disk, in MB (10^6 bytes), the manager is told.
    """

    night: TimeOfDay = "04:00"
    week_day: WeekSlot = "monday"
    week_time: TimeOfDay = "05:30"
    missed_nights: Missed = "newest"
    missed_weeks: Missed = "newest"
    least_free_mb: Whole = Field(1000, ge=0, le=10_000_000)

    @property
    def mail_day(self) -> int | None:
        """The weekday on which the growers' mail is due: 0 is Monday, None for no weekly mail."""
        return None if self.week_day == "never" else get_args(WeekSlot).index(self.week_day)
