"""Who answers for a lot, decided for one lot at a time from the settings as they are written."""

from __future__ import annotations

from collections.abc import Sequence


def same_name(name: str) -> str:
    """The name by which houses compare: without case and outer blanks."""
    return name.strip().lower()


def who_answers(
    listed: str | None, house: str | None, growers: Sequence[tuple[str, Sequence[str]]]
) -> list[str]:
    """Ids of those who answer for a lot, in alphabetical order; growers: id and houses (none: all of the site)."""
    if listed in [one for one, _ in growers]:
        return [str(listed)]
    hers = sorted(
        one
        for one, houses in growers
        if not houses or (house is not None and same_name(house) in map(same_name, houses))
    )
    if hers or listed is None:
        return hers
    return [listed]
