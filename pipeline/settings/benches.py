"""Where pots stand and when a site feeds: the tables [[bench]] and [[feeding]] of a site.toml."""

from __future__ import annotations

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from pipeline.settings.fields import Day, Frozen, Text, Whole
from pipeline.settings.words import WeekDay


def _refuse(right: str, found: str) -> PydanticCustomError:
    return PydanticCustomError("right", "{right}", {"right": right, "found": found})


def fold_name(name: str) -> str:
    """The name by which houses, benches and lots compare, as lower() does it in SQL: without case and outer blanks."""
    return name.strip().lower()


class Bench(Frozen):
    """A bench of the site's map, in walking order: places in rows and columns, or only how many there are.

    `rows` are counted from the front, the side from which people work; `columns` along the bench.
    """

    house: Text
    name: Text
    rows: Whole | None = Field(None, ge=1, le=1000)
    columns: Whole | None = Field(None, ge=1, le=1000)
    places: Whole | None = Field(None, ge=1, le=1_000_000)

    @model_validator(mode="after")
    def _say_how_many(self) -> Bench:
        said = [name for name in ("rows", "columns", "places") if getattr(self, name) is not None]
        if said not in (["rows", "columns"], ["places"]):
            raise _refuse(
                "rows and columns, as in rows = 4 and columns = 20, or places alone, as in places = 80,",
                f"it says {' and '.join(said) or 'neither'}",
            )
        return self

    @property
    def size(self) -> int:
        """How many places the bench has."""
        return self.places if self.places is not None else (self.rows or 0) * (self.columns or 0)


class Feeding(Frozen):
    """When periodically fed lots get their feed: weekdays or days, for a house, some lots, or the whole site."""

    house: Text | None = None
    lots: tuple[Text, ...] = ()
    weekdays: tuple[WeekDay, ...] = ()
    days: tuple[Day, ...] = ()

    @model_validator(mode="after")
    def _say_when(self) -> Feeding:
        if not self.weekdays and not self.days:
            raise _refuse(
                'weekdays = ["thursday"] or days = [2026-04-09]', "it has neither weekdays nor days"
            )
        return self
