"""[mail] of leachbook.toml: how mail leaves, who sends it, how large a message may be."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, Field, StrictBool
from pydantic_core import PydanticCustomError

from pipeline.errors import SettingsProblem
from pipeline.settings.addresses import Email
from pipeline.settings.explain import show
from pipeline.settings.fields import Frozen, Name, Number, Text, Whole

PASSWORD_NAME: Final = "LEACHBOOK_SMTP_PASSWORD"  # noqa: S105  the name of a variable
PORTS: Final = {"starttls": 587, "tls": 465, "none": 25}


def _refuse(right: str) -> PydanticCustomError:
    return PydanticCustomError("right", "{right}", {"right": right})


def _check_host(text: str) -> str:
    if not _is_number(text) and any(
        letter.isspace() or letter in "/:@" or not letter.isprintable() for letter in text
    ):
        raise _refuse('the name of a server alone, like "smtp.example.com",')
    return text


def _check_variable(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", text):
        raise _refuse(f'the name of a variable, like "{PASSWORD_NAME}",')
    return text


def _check_link(text: str) -> str:
    if any(letter.isspace() or not letter.isprintable() for letter in text) or not text.startswith(
        ("https://", "http://", "file://", "\\\\")
    ):
        raise _refuse(
            "an address without blanks that begins with https://, http://, file:// or two backslashes"
        )
    return text.rstrip("/\\")


class Sender(Frozen):
    """Who the mail is from: the name that people see, and the address that takes what comes back."""

    name: Name
    email: Email


class Mail(Frozen):
    """How mail leaves. Paths count from the home. House defaults; the ports are those of RFC 8314 and RFC 6409."""

    transport: Literal["folder", "smtp"] = "folder"
    folder: Text = "out/mail"
    host: Annotated[Text, AfterValidator(_check_host)] | None = None
    port: Whole | None = Field(None, ge=1, le=65535)
    security: Literal["starttls", "tls", "none"] = "starttls"
    ca_file: Text | None = None
    user: Text | None = None
    password_env: Annotated[Text, AfterValidator(_check_variable)] | None = None
    password_file: Text | None = None
    timeout_seconds: Whole = Field(60, ge=1, le=600)
    sender: Sender | None = None
    reply_to: Email | None = None
    copy_to_manager: StrictBool = False
    size_limit_mb: Number = Field(Decimal(10), gt=0, le=150)
    over_limit: Literal["split", "link"] = "split"
    link: Annotated[Text, AfterValidator(_check_link)] | None = None

    @property
    def server_port(self) -> int:
        """The port of the server: the one given, else the usual one of the way in which it is secured."""
        return PORTS[self.security] if self.port is None else self.port

    @property
    def most_bytes(self) -> int:
        """How large a message may be, as it goes over the wire."""
        return int(self.size_limit_mb * 1_000_000)


def check_mail(raw_group: Mapping[str, Any], file: str) -> list[SettingsProblem]:
    """Return what is wrong between the keys of [mail], whatever stands there."""
    raw = raw_group.get("mail")
    if not isinstance(raw, Mapping):
        return []
    problems = list(_check_server(raw)) if raw.get("transport") == "smtp" else []
    if raw.get("copy_to_manager") is True and "manager" not in raw_group:
        problems.append(
            ("copy_to_manager", "it is true, and manager is missing", "name the manager above [mail]")
        )
    if raw.get("over_limit") == "link" and "link" not in raw:
        right = 'write where the folder out/ can be read, like link = "https://files.example.com/leachbook"'
        problems.append(("link", 'it is missing, and over_limit is "link"', right))
    return [SettingsProblem(file, f"mail.{key}", found, right) for key, found, right in problems]


def _check_server(raw: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """What the transport smtp needs."""
    if "host" not in raw:
        yield "host", 'it is missing, and transport is "smtp"', 'name the server, like "smtp.example.com"'
    if "sender" not in raw:
        right = 'write sender = {name = "Leachbook", email = "reports@example.com"}'
        yield "sender", 'it is missing, and transport is "smtp"', right
    passwords = [key for key in ("password_env", "password_file") if key in raw]
    if "user" in raw and not passwords:
        right = (
            f'write password_env = "{PASSWORD_NAME}" or password_file; the password itself never stands here'
        )
        yield "user", f"it is {show(raw['user'])}, and no password is named", right
    if "user" not in raw and passwords:
        yield passwords[0], "it is there, and user is missing", "write user, or take it away"
    if len(passwords) == 2:
        yield "password_file", "it is there beside password_env", "keep one of the two"
    if raw.get("security") == "none":
        if not is_this_machine(raw.get("host")):
            right = (
                '"starttls" or "tls" is needed; "none" is for a server on this machine (host = "localhost")'
            )
            yield "security", 'it is "none"', right
        elif "user" in raw:
            yield (
                "user",
                'it is there, and security is "none"',
                "a password needs starttls or tls; take one away",
            )


def is_this_machine(host: object) -> bool:
    """Whether a server is this very machine."""
    if not isinstance(host, str):
        return False
    return host.lower() == "localhost" or (_is_number(host) and ipaddress.ip_address(host).is_loopback)


def _is_number(host: str) -> bool:
    """Whether a server is named by its number, as in 127.0.0.1 or ::1."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
