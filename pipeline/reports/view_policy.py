"""The policy in force as tables: single values, and the recipe of each container class side by side. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.reports.formats import Voice
from pipeline.reports.summary import PolicyValue

CONTAINER_PREFIX = "containers."
TARGET_PREFIX = "target "
FIGURE = re.compile(r"[\d.,–-]+")


@dataclass(frozen=True, slots=True)
class PolicyRow:
    """One value as a row."""

    meaning: str
    value: str
    is_figure: bool
    unit: str
    origin: str


@dataclass(frozen=True, slots=True)
class ContainerTable:
    """The values of all container classes: one row a class, one column a value."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PolicyView:
    """The policy in force on the as-of date."""

    rows: tuple[PolicyRow, ...]
    containers: ContainerTable | None


def describe_origin(value: PolicyValue, voice: Voice) -> str:
    """Say where a value comes from, and what the default would be where it is somebody's own."""
    text = voice.say.name("origin", value.origin)
    if value.source:
        source = voice.say.text(value.source)
        # "published: published worksheet" says it twice
        text = source if source.startswith(text) else f"{text}: {source}"
    if value.default is not None:
        default = write_value(value.default, voice) or voice.say("policy.nothing")
        text = f"{text}, {voice.say('policy.default', default=default)}"
    return text


def write_value(value: str, voice: Voice) -> str:
    """Write a value of the policy: a figure with the decimal mark of the page, anything else as it stands."""
    return value.replace(".", voice.say.decimal_mark) if FIGURE.fullmatch(value) else value


def make_policy_row(value: PolicyValue, voice: Voice) -> PolicyRow:
    """Return one value as a row. A target of the site's or group's own carries the crop in its name."""
    meaning = voice.say.text(value.meaning)
    if value.name.startswith(TARGET_PREFIX):
        meaning = voice.say("policy.target", crop=value.name.removeprefix(TARGET_PREFIX), why=meaning)
    return PolicyRow(
        meaning,
        write_value(value.value, voice),
        bool(FIGURE.fullmatch(value.value)),
        voice.say.text(value.unit or ""),
        describe_origin(value, voice),
    )


def make_container_table(values: list[PolicyValue], voice: Voice) -> ContainerTable | None:
    """Return the table of container classes from values named `containers.<class>.<value>`; None without any."""
    cells: dict[str, dict[str, str]] = {}
    headings: dict[str, str] = {}
    for value in values:
        _, container, field = value.name.split(".", 2)
        cells.setdefault(container, {})[field] = (
            f"{write_value(value.value, voice)} {voice.say.name('origin_letter', value.origin)}"
        )
        meaning = voice.say.text(value.meaning)
        headings.setdefault(field, f"{meaning}, {voice.say.text(value.unit)}" if value.unit else meaning)
    if not cells:
        return None
    return ContainerTable(
        headings=tuple(headings.values()),
        rows=tuple(
            (voice.say.name("container", container), tuple(row.get(field, "–") for field in headings))
            for container, row in cells.items()
        ),
        sources=tuple(dict.fromkeys(voice.say.text(value.source) for value in values if value.source)),
    )


def make_policy_view(values: Iterable[PolicyValue], voice: Voice) -> PolicyView:
    """Return the policy as single values and the container table."""
    values = list(values)
    in_table = [
        value for value in values if value.name.startswith(CONTAINER_PREFIX) and value.name.count(".") > 1
    ]
    return PolicyView(
        rows=tuple(make_policy_row(value, voice) for value in values if value not in in_table),
        containers=make_container_table(in_table, voice),
    )
