"""Mail addresses: one plain address, in the form that every server takes."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from pipeline.settings.fields import Text

# The dot-atom of RFC 5321, 4.1.2: what may stand before the @ without quotes. Letters beyond ASCII there need a server
# that speaks SMTPUTF8, and many do not.
_LOCAL = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*")
_LABEL = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?")
_LONGEST_LOCAL, _LONGEST_LABEL, _LONGEST_ADDRESS = 64, 63, 254


def to_wire(address: str) -> str:
    """An address as it goes over the wire: the part behind the @ in ASCII (IDNA), in small letters.

    Raises ValueError for what is no address: several, a name beside it, a line break, a part that is too long.
    """
    local, at, domain = address.rpartition("@")
    if not at or not _LOCAL.fullmatch(local) or len(local) > _LONGEST_LOCAL:
        raise ValueError(address)
    try:
        wire = domain.encode("idna").decode("ascii").lower()
    except UnicodeError:
        raise ValueError(address) from None
    labels = wire.split(".")
    if len(labels) < 2 or len(labels[-1]) < 2 or labels[-1].isdigit():
        raise ValueError(address)
    if any(not _LABEL.fullmatch(label) or len(label) > _LONGEST_LABEL for label in labels):
        raise ValueError(address)
    if len(local) + 1 + len(wire) > _LONGEST_ADDRESS:
        raise ValueError(address)
    return f"{local}@{wire}"


def _check_email(text: str) -> str:
    """One plain address: it goes into a mail header, so nothing else may stand beside it."""
    try:
        to_wire(text)
    except ValueError:
        right = "one address like name@example.com"
        raise PydanticCustomError("right", "{right}", {"right": right}) from None
    return text


Email = Annotated[Text, AfterValidator(_check_email)]
