"""Exports written down in tests, a site to adopt them for, and somebody who answers every question."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pipeline.adopt import Proposal, propose
from pipeline.settings import Grower, SiteSettings

SITE = SiteSettings(
    id="somewhere",
    name="Somewhere",
    time_zone="Europe/Berlin",
    extraction_method="pour-through",
    folder=Path("somewhere"),
    growers=(Grower(id="kaethe", name="Käthe Wülbern", email="kaethe@quillmere.example"),),
)
NO_METHOD = SITE.model_copy(update={"extraction_method": None})


def table(text: str) -> bytes:
    """A table as it is written in a test, in utf-8, without the blanks before its lines."""
    return "\n".join(line.strip(" ") for line in text.strip().splitlines()).encode() + b"\n"


def keys(proposal: Proposal) -> set[str]:
    """What is asked."""
    return {question.key for question in proposal.questions}


def setting(proposal: Proposal, key: str) -> object:
    """The value of a key of the block, None where the block does not have it."""
    return next((one.value for one in proposal.settings if one.key == key), None)


def mapped(proposal: Proposal) -> dict[str, str]:
    """Field and header."""
    return {one.field: one.header for one in proposal.columns}


def answer_all(
    data: bytes,
    name: str,
    site: SiteSettings = SITE,
    kind: str | None = None,
    given: Mapping[str, str] | None = None,
) -> tuple[Proposal, dict[str, str]]:
    """Answer what is asked by what is proposed, else by the first choice; the proposal and the answers."""
    answers = dict(given or {})
    proposal = propose(data, name, site, kind, answers)
    for _ in range(40):
        if not proposal.questions:
            return proposal, answers
        question = proposal.questions[0]
        answers[question.key] = question.proposed or question.choices[0].value
        proposal = propose(data, name, site, kind, answers)
    raise AssertionError(f"questions never end: {keys(proposal)}")


__all__ = ["NO_METHOD", "SITE", "answer_all", "keys", "mapped", "setting", "table"]
