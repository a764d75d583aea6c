"""Of which water a header speaks that names pH or EC: the leachate, or water before it reaches the pot.

All words are folded, as `dictionary.fold` leaves them. The words are those of the trade in the five languages.
"""

from __future__ import annotations

import re
from typing import Literal

_PH = r"ph"
_EC = r"(?:ec|ce|lf|egv|tds|cond|conducti\w*|conductimet\w*|(?:el)?leitf\w*|leitwert|geleid\w*|salzgehalt|salinity)"
_STEMS = (
    r"(?:run ?off|leach\w*|drain\w*|dran|dranage|dranwasser|draenwasser|effluent|pour ?thr\w*"
    r"|tropfwasser|sicker\w*|per[ck]ol\w*|ablauf\w*|abtropf\w*|leckwasser"
    r"|lixiviad\w*|drenaj\w*|drenad\w*|escurri\w*|lekwater|uitlek\w*|lixiviat\w*|egout\w*)"
)
_NAMES_PH = re.compile(rf"\b(?:{_STEMS}?{_PH}|phwert)\b")
_NAMES_EC = re.compile(rf"\b{_EC}\b")
_LEACHATE = re.compile(rf"\b{_STEMS}")
_OTHER_WATER = re.compile(
    r"\b(?:water|agua|wasser|eau|tap|grifo|leitungswasser|kraan\w*|robinet|well|brunnen\w*|pozo|puits|source"
    r"|feed|fert\w*|nutri\w*|nahr\w*|giess\w*|dunge?\w*|duenge\w*|riego|abono|gift|giet\w*|voeding\w*|arrosage|apport"
    r"|drip\w*|goteo|gotero|druppel\w*|goutt\w*|tank|bak|bac|stock|rain|regen\w*|lluvia|pluie)\b"
)
# An amount or a time, though its header names pH or EC as well.
_AMOUNT = re.compile(
    r"\b(?:volum\w*|vol|ml|menge|cantidad|hoeveelheid|quantite|time|zeit|minut\w*|tiempo|temps|tijd)\b"
)
# With one of these a header speaks of something about the pH or EC of leachate.
_ABOUT = re.compile(
    r"\b(?:temp\w*|meters?|gerat|geraet|sonde|sonda|min|max|target|ziel\w*|soll\w*|setpoint|streef\w*|objetivo"
    r"|consigna|cible|consigne|sd|std\w*|stdev|stabw|streuung|spreiding|standard\w*|standaard\w*|desv\w*|ecart"
    r"|diff\w*|delta)\b"
)


def named_quantity(words: str) -> Literal["ph", "ec"] | None:
    """Whether a header names pH or EC; None where it names neither, both, or an amount beside it."""
    has_ph, has_ec = bool(_NAMES_PH.search(words)), bool(_NAMES_EC.search(words))
    if has_ph == has_ec or _AMOUNT.search(words):
        return None
    return "ph" if has_ph else "ec"


def is_of_leachate(words: str) -> bool:
    """Whether a header names the water that came out of the pot."""
    return bool(_LEACHATE.search(words))


def is_about(words: str) -> bool:
    """Whether a header speaks of a target, a spread, a meter or the like rather than of the figure itself."""
    return bool(_ABOUT.search(words))


def is_of_other_water(words: str) -> bool:
    """Whether a header names water that did not come out of the pot."""
    return bool(_OTHER_WATER.search(words)) and not is_of_leachate(words)
