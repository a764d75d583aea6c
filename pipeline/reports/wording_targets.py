"""Sentences about the range that a lot is judged against: why there is none, and what of the policy it goes before."""

from __future__ import annotations

from typing import Final

from pipeline.languages import Speech
from pipeline.reports.wording_figures import CONTAINER_WORDS, QUANTITY_WORDS, Row, range_of

GROUP_WORDS: Final = {
    "iron-inefficient": "iron-inefficient",
    "general": "general",
    "iron-efficient": "iron-efficient",
    "light": "light",
    "medium": "medium",
    "heavy": "heavy",
}


def explain_no_target(w: Speech, quantity: str, container_class: str, *, is_controlled_release: bool) -> str:
    """Why lots of a kind are not judged on a quantity without a target of their own."""
    name = w(QUANTITY_WORDS[quantity])
    if is_controlled_release:
        return w(
            "No {name} target: lots on controlled-release fertilizer are judged only against a target of their "
            "own, and the policy sets none.",
            name=name,
        )
    return w(
        "No {name} target: a {container} is judged only against a target of its own, and the policy sets none.",
        name=name,
        container=w(CONTAINER_WORDS[container_class]),
    )


def explain_unpublished(w: Speech, quantity: str, *, is_general_used: bool) -> str:
    """That nobody publishes a target for the crop, and what is used instead."""
    name = w(QUANTITY_WORDS[quantity])
    if is_general_used:
        return w("No published {name} target for this crop; the general range is used.", name=name)
    return w("No published {name} target for this crop.", name=name)


def explain_unused_group(w: Speech, row: Row) -> str | None:
    """That the group among which the policy counts the crop does not decide, for one row of the relation `lot_targets`.

    None where it does, or where the policy names none.
    """
    if row["unused_group"] is None:
        return None
    group, quantity = w(GROUP_WORDS[row["unused_group"]]), row["quantity"]
    asked = (
        w("The policy counts this crop as a {group} feeder.", group=group)
        if quantity == "ec"
        else w("The policy counts this crop in the pH group {group}.", group=group)
    )
    told = [asked]
    if row["unused_low"] is not None:
        told.append(
            w(
                "That group's range, {range}, is not used: a range published for the crop itself goes before it.",
                range=range_of(w, quantity, row["unused_low"], row["unused_high"]),
            )
        )
    if quantity == "ph" and row["ph_group"] != row["unused_group"]:
        told.append(
            w(
                "Action limits and options go by the pH group that is published for it, {group}.",
                group=w(GROUP_WORDS[row["ph_group"]]),
            )
        )
    elif quantity == "ph":
        told.append(w("Action limits and options go by the group."))
    return " ".join(told)
