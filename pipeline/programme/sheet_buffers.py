"""What pH buffers read at the temperatures of a potting shed, for the calibration boxes on a sampling sheet."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

import polars as pl
from pydantic import BaseModel, ConfigDict, Field

# The series that bottles sold as pH 4, 7 and 10 follow; nominal at 25 °C.
NOMINALS: Final = (Decimal("4.00"), Decimal("7.00"), Decimal("10.01"))
TEMPERATURES_C: Final = (15, 20, 25, 30)


class SheetBuffer(BaseModel):
    """One buffer: what its label says, and its pH at each temperature in °C."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    label_ph: float
    ph_at_c: dict[int, float] = Field(description="pH by temperature in °C")
    source: str


def list_buffers(published: pl.DataFrame) -> list[SheetBuffer]:
    """The buffers of the sheet from the published table (as from `load_buffers_by_temperature`)."""
    rows = published.select("buffer", "temperature_c", "ph", "source").rows()
    return [
        SheetBuffer(
            label_ph=float(nominal),
            ph_at_c={
                at: float(ph)
                for at in TEMPERATURES_C
                for buffer, temperature, ph, _ in rows
                if Decimal(str(buffer)) == nominal and temperature == at
            },
            source=next(source for buffer, _, _, source in rows if Decimal(str(buffer)) == nominal),
        )
        for nominal in NOMINALS
    ]


__all__ = ["NOMINALS", "TEMPERATURES_C", "SheetBuffer", "list_buffers"]
