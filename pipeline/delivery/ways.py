"""From [mail] in leachbook.toml to the transport that it asks for; the password is read when it is needed."""

from __future__ import annotations

import stat
from collections.abc import Mapping
from pathlib import Path

from pipeline.delivery.transports import FolderTransport, Login, SmtpTransport, Transport
from pipeline.errors import MailError
from pipeline.settings.addresses import to_wire
from pipeline.settings.mail import Mail

_SETTINGS = "leachbook.toml: mail"


def make_transport(mail: Mail, home: Path, environment: Mapping[str, str]) -> Transport:
    """The transport that the settings ask for. Raises MailError when password or certificate cannot be read."""
    if mail.transport == "folder" or mail.host is None or mail.sender is None:
        return FolderTransport(home / mail.folder)
    ca_file = None if mail.ca_file is None else home / mail.ca_file
    if ca_file is not None and not ca_file.is_file():
        raise MailError(
            f"{_SETTINGS}.ca_file: {ca_file} is not there; name the file with the authority's certificate."
        )
    return SmtpTransport(
        host=mail.host,
        port=mail.server_port,
        security=mail.security,
        sender=to_wire(mail.sender.email),
        login=None if mail.user is None else Login(mail.user, read_password(mail, home, environment)),
        ca_file=ca_file,
        timeout_seconds=float(mail.timeout_seconds),
    )


def read_password(mail: Mail, home: Path, environment: Mapping[str, str]) -> str:
    """The password from the environment, or from a file that only its owner may read.

    Raises MailError when it is missing, open to others, or has letters that SMTP's login does not carry.
    """
    if mail.password_file is not None:
        place = f"{_SETTINGS}.password_file: {home / mail.password_file}"
        password = _read_private(home / mail.password_file, place)
    else:
        place = f"{_SETTINGS}.password_env: the variable {mail.password_env}"
        password = environment.get(mail.password_env or "", "")
    if not password:
        raise MailError(f"{place} is empty or not there; put the password of {mail.user} into it.")
    if not password.isascii() or not password.isprintable():
        raise MailError(
            f"{place} holds letters beyond ASCII, which the login cannot carry; choose another password."
        )
    return password


def _read_private(path: Path, place: str) -> str:
    try:
        mode = path.stat().st_mode
        if stat.S_IMODE(mode) & 0o077:
            raise MailError(
                f"{place} can be read by others (mode {stat.S_IMODE(mode):o}); run chmod 600 on it."
            )
        return path.read_text(encoding="utf-8").strip("\r\n")
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise MailError(f"{place} cannot be read ({reason}); let this account read it.") from error
