"""Where a policy samples less often than somebody publishes, from the table of published frequencies."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.oracle.settings import Policy

CLASSES = ("plug", "cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus", "nursery")


@dataclass(frozen=True)
class Published:
    """What a source prints of some container classes, and the most days between two samplings by it."""

    classes: tuple[str, ...]
    printed: str
    most_days: int
    source: str


def read_frequencies(folder: Path) -> tuple[Published, ...]:
    """The rows of sampling_frequency.csv that name container classes and a longest time."""
    with (folder / "sampling_frequency.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Published(
                tuple(row["container_classes"].split()),
                row["frequency_as_printed"],
                int(row["interval_high_days"]),
                row["source"],
            )
            for row in csv.DictReader(file)
            if row["container_classes"] and row["interval_high_days"]
        )


def slack_part(
    policy: Policy, in_use: Iterable[str], frequencies: Iterable[Published]
) -> list[dict[str, Any]]:
    """Container classes in use that are sampled less often than one source at least says, with all its sources."""
    used, rows = set(in_use), list(frequencies)
    found: list[dict[str, Any]] = []
    for name in CLASSES:
        days = int(policy.containers[name]["routine_interval_days"])
        own = [row for row in rows if name in row.classes]
        if name in used and min((row.most_days for row in own), default=days) < days:
            found.append(
                {
                    "container_class": name,
                    "interval_days": days,
                    "published": [
                        {
                            "as_printed": row.printed,
                            "interval_high_days": row.most_days,
                            "source": row.source,
                        }
                        for row in own
                    ],
                }
            )
    return found
