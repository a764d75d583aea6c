"""A week in a few lines, for the terminal and for machines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.outbox_run import describe_delivered, tell_delivered, tell_letter

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from pipeline.weekly import WeekResult

MOST_OPEN = 12
"""House default: letters that wait and are named; `leachbook outbox` has all."""
_KINDS = {"new": "new", "correction": "correction", "unchanged": "said already"}


def describe_week(result: WeekResult) -> dict[str, Any]:
    """A week's result for machines, without its night."""
    return {
        "night_was_run": result.was_night_run,
        "messages": [
            {
                "site": one.site,
                "recipient": one.recipient,
                "kind": one.kind,
                "subject": one.subject,
                "message_id": one.message_id,
                "state_before": None if one.letter is None else one.letter.state,
            }
            for one in result.written
        ],
        "sent": None if result.delivered is None else describe_delivered(result.delivered),
        "open": [
            {
                "letter": letter.letter_id,
                "site": letter.key.site,
                "recipient": letter.key.recipient,
                "state": letter.state,
                "attempts": letter.attempts,
                "code": letter.code,
                "remark": letter.remark,
            }
            for letter in result.open_letters
        ],
        "sites_without_grower": result.no_grower,
        "folder": str(result.post_folder) if result.post_folder else None,
        "preview": str(result.preview) if result.preview else None,
        "needs_somebody": result.needs_somebody,
    }


def tell_week(result: WeekResult, home: Path, zone: ZoneInfo) -> list[str]:
    """A week's result for a person, without its night: what was written, what went, what waits, by a zone's clocks."""
    counts = {kind: sum(one.kind == kind for one in result.written) for kind in _KINDS}
    words = ", ".join(f"{number} {_KINDS[kind]}" for kind, number in counts.items() if number)
    told = [f"Messages to head growers: {words or 'none'}."]
    told += [
        f"  {one.name} <{one.recipient}>: {one.subject}" for one in result.written if one.kind == "correction"
    ]
    told += [
        f"  {name}: site.toml names no head grower, so nobody was told; add a [[grower]]."
        for name in result.no_grower
    ]
    if result.preview is not None:
        return [*told, f"Nothing was sent or stored. Look at the .eml files in {result.preview}"]
    if result.delivered is not None:
        told += tell_delivered(result.delivered)
    if result.post_folder is not None:
        told.append(
            f'As files in {result.post_folder}; transport = "smtp" under [mail] in leachbook.toml sends them.'
        )
    if result.open_letters:
        told.append(f"{len(result.open_letters)} not done with:")
        told += [line for letter in result.open_letters[:MOST_OPEN] for line in tell_letter(letter, zone)]
        told.append(f"  leachbook outbox {home} lists, resends, cancels; with --send it sends what is due.")
    return told
