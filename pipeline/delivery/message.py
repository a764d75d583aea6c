"""A mail message as bytes, by the standard library's EmailMessage. Pure: the same parts give the same bytes.

Names and subjects come from settings and exports: whatever is in them, a head stays one line.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from typing import Final

from pipeline.settings.addresses import to_wire

_POLICY: Final = SMTP.clone(max_line_length=78)
_ID: Final = re.compile(r"<[A-Za-z0-9._-]+@[A-Za-z0-9.-]+>")
_LONGEST_ID: Final = 900
_LONGEST_NAME: Final = 70
_LONGEST_SUBJECT: Final = 140


@dataclass(frozen=True, slots=True)
class Mailbox:
    """A person or program with an address."""

    name: str
    email: str


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes along; `kind` is its media type, such as application/pdf."""

    name: str
    kind: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Parts:
    """What a message is made of. `answers`: the Message-ID of the one that it corrects."""

    sender: Mailbox
    to: Mailbox
    subject: str
    text: str
    html: str | None = None
    attachments: Sequence[Attachment] = ()
    copy_to: Mailbox | None = None
    reply_to: Mailbox | None = None
    answers: str | None = None
    language: str = "en"


def write_message(parts: Parts, message_id: str, written_at: datetime) -> bytes:
    """The whole message with CRLF. `written_at` is an aware instant. Raises ValueError for what is no address."""
    message = EmailMessage(policy=_POLICY)
    message["From"] = _address(parts.sender)
    message["To"] = _address(parts.to)
    if parts.copy_to is not None:
        message["Cc"] = _address(parts.copy_to)
    if parts.reply_to is not None:
        message["Reply-To"] = _address(parts.reply_to)
    message["Subject"] = one_line(parts.subject, _LONGEST_SUBJECT)
    message["Date"] = written_at
    # Holiday notices are not answered to a program (RFC 3834).
    message["Auto-Submitted"] = "auto-generated"
    told = [f"Content-Language: {parts.language}"]
    message.set_content(parts.text, cte="quoted-printable", headers=told)
    if parts.html is not None:
        message.add_alternative(parts.html, subtype="html", cte="quoted-printable", headers=told)
    for attachment in parts.attachments:
        _attach(message, attachment)
    _fix_boundaries(message, message_id)
    return _write_ids(message_id, parts.answers) + message.as_bytes()


def _write_ids(message_id: str, answers: str | None) -> bytes:
    """The fields with ids of messages, a line each: the library would fold long ones, or encode them as if words."""
    fields = {"Message-ID": message_id}
    if answers is not None:
        fields |= {"In-Reply-To": answers, "References": answers}
    for one in fields.values():
        if not _ID.fullmatch(one) or len(one) > _LONGEST_ID:
            raise ValueError(one)
    return "".join(f"{name}: {one}\r\n" for name, one in fields.items()).encode("ascii")


def one_line(text: str, longest: int) -> str:
    """A text that may stand in a head: on one line, without control characters, cut where it is long."""
    line = " ".join("".join(one if one.isprintable() else " " for one in text).split())
    return line if len(line) <= longest else f"{line[: longest - 1]}…"


def name_file(name: str) -> str:
    """A file's name that no mail program takes for a path."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip(".-") or "file"


def _address(mailbox: Mailbox) -> Address:
    return Address(one_line(mailbox.name, _LONGEST_NAME), addr_spec=to_wire(mailbox.email))


def _attach(message: EmailMessage, attachment: Attachment) -> None:
    main, _, sub = attachment.kind.partition("/")
    name = name_file(attachment.name)
    if main == "text":
        text = attachment.data.decode("utf-8")
        message.add_attachment(text, subtype=sub, filename=name, cte="base64")
    else:
        message.add_attachment(attachment.data, maintype=main, subtype=sub, filename=name)


def _fix_boundaries(message: EmailMessage, message_id: str) -> None:
    """Marks between parts that come from the Message-ID, not from chance: so a message can be made again."""
    for number, part in enumerate(one for one in message.walk() if one.is_multipart()):
        digest = hashlib.sha256(f"{message_id} {number}".encode()).hexdigest()
        part.set_boundary(f"=_{digest[:40]}")
