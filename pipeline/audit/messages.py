"""What a dossier says, as messages that are put into a language where the pages are made. Pure.

A message is text in English that remembers how it was made, so that tables and sections are built without a
language. Text that is no message is data (codes of lots, names, lines of an export) and stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from pipeline.languages import ENGLISH, Tongue, load_tongue

CONTEXT: Final = "dossier"
"""Under which a catalog has the messages of dossiers: a heading there may need another word than elsewhere."""
_ENGLISH: Final = load_tongue(ENGLISH)


class Message(str):
    """English text with the message that it was made from; `number` chooses between one and `plural`.

    `context` None: a text that other pages say too. `is_frame`: signs alone between places, the same in every language.
    """

    __slots__ = ("context", "is_frame", "number", "plural", "template", "values")

    template: str
    plural: str | None
    number: int
    values: Mapping[str, Any]
    context: str | None
    is_frame: bool


def tell(template: str, /, **values: Any) -> Message:
    """A message, its places filled; places may hold messages."""
    return _make(template, None, 1, values, CONTEXT)


def tell_many(one: str, other: str, number: int, /, **values: Any) -> Message:
    """The message for one or for several; the number itself is the place {n}."""
    return _make(one, other, number, {"n": number, **values}, CONTEXT)


def shared(text: str, context: str | None = None) -> Message:
    """A text without places that the catalog has for other pages, under its context there."""
    return _make(text, None, 1, {}, context)


def join(parts: Iterable[str], between: str = ", ") -> Message:
    """Texts one after the other, messages among them."""
    values = {f"p{number}": part for number, part in enumerate(parts)}
    return _make(between.join(f"{{{name}}}" for name in values), None, 1, values, None, is_frame=True)


def plain(code: str | None) -> str:
    """A code of ours in plain words; a dash for none."""
    return "–" if code is None else tell(code.replace("_", " "))


def speak(text: str, tongue: Tongue) -> str:
    """A message in a language; anything else as it stands."""
    if not isinstance(text, Message):
        return text
    values = {
        name: speak(value, tongue) if isinstance(value, str) else value for name, value in text.values.items()
    }
    if text.is_frame:
        found = text.template
    elif text.plural is None:
        found = tongue.find(text.template, text.context)
    else:
        found = tongue.find_many(text.template, text.plural, text.number, text.context)
    return tongue.fill(found, values) if values else found


def speak_fixed(text: str, tongue: Tongue) -> str:
    """A heading or sentence of the program's own, message or not."""
    return speak(text, tongue) if isinstance(text, Message) else tongue.find(text, CONTEXT)


def _make(
    template: str,
    plural: str | None,
    number: int,
    values: Mapping[str, Any],
    context: str | None,
    *,
    is_frame: bool = False,
) -> Message:
    chosen = template if plural is None or number == 1 else plural
    made = Message(_ENGLISH.fill(chosen, values) if values else chosen)
    made.template, made.plural, made.number = template, plural, number
    made.values, made.context, made.is_frame = values, context, is_frame
    return made


WORDS: Final = (
    *("on time", "late", "missed", "excused", "open", "not knowable", "routine", "follow up", "first"),
    *("problem crop", "after out", "after pair out", "after treatment", "symptoms", "feed pair"),
    *("affected", "healthy"),
    *(
        "before feed",
        "after feed",
        "retest",
        "yes",
        "no",
        "partly",
        "not shown",
        "in range",
        "out",
        "clearly out",
    ),
    *(
        "close to limit",
        "too few pots",
        "no target",
        "other method",
        "volume",
        "no temperature",
        "not measured",
    ),
    *(
        "low",
        "high",
        "lots",
        "readings",
        "calibrations",
        "treatments",
        "feed checks",
        "exemptions",
        "plantings",
    ),
    *("people", "superseded", "withdrawn", "sown", "stuck", "potted", "transplanted", "as found", "as left"),
    *("leaching", "clear water", "acid feed", "basic feed", "feed change", "bicarbonate", "lime drench"),
    *("lime topdressing", "iron drench", "iron sulfate", "other"),
)
"""What codes are called, by `plain`."""
