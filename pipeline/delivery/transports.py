"""How a message leaves: through an SMTP server, or as a file into a folder.

A transport opens a session; a session sends one message after the other and raises what went wrong by who is to act:

    TemporaryFailure  this message was not taken for the time being: try it again later
    PermanentFailure  this message was refused for good
    UncertainFailure  the last byte went, no answer came: it may have arrived
    TransportDown     no message can be sent now: no connection, a bad certificate, a wrong password
"""

from __future__ import annotations

import re
import smtplib
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal, NoReturn, Protocol

from pipeline.files import write_whole

Security = Literal["starttls", "tls", "none"]
FINAL_WAIT_SECONDS: Final = 600.0
"""How long a server may take to answer the last byte (RFC 5321, 4.5.3.2.6: ten minutes, or copies arise)."""


class SendFailure(Exception):
    """Base of what can go wrong with one message or with all. `code`: the server's answer, where there was one."""

    def __init__(self, remark: str, code: int | None = None) -> None:
        super().__init__(remark)
        self.remark = remark
        self.code = code


class TemporaryFailure(SendFailure):
    """Raise when a message was not taken for the time being (4xx, or the connection was lost before its last byte)."""


class PermanentFailure(SendFailure):
    """Raise when a message was refused for good (5xx to recipient or message)."""


class UncertainFailure(SendFailure):
    """Raise when the last byte of a message may have gone, and no answer came."""


class TransportDown(SendFailure):
    """Raise when no message at all can be sent: the rest need not be tried now."""


HandOver = Callable[[], None]


class Session(Protocol):
    """An open way out."""

    def send(self, recipient: str, message_id: str, message: bytes, hand_over: HandOver) -> None:
        """Send one message; `hand_over` is called right before the last byte goes.

        Raises TemporaryFailure, PermanentFailure, UncertainFailure, TransportDown.
        """


class Transport(Protocol):
    """A way out."""

    def open(self) -> AbstractContextManager[Session]:
        """Open a session, used for as many messages as there are. Raises TransportDown."""

    def has_arrived(self, message_id: str) -> bool | None:
        """Whether a message is there; None: this transport cannot tell."""


@dataclass(frozen=True, slots=True)
class FolderTransport:
    """Writes each message as a file into a folder, named by its Message-ID: the same message twice is one file."""

    folder: Path

    @contextmanager
    def open(self) -> Iterator[Session]:
        """Nothing is opened before the first message."""
        yield _FolderSession(self)

    def has_arrived(self, message_id: str) -> bool | None:
        """Whether its file is there: a file is written whole or not at all."""
        return self.path_of(message_id).is_file()

    def path_of(self, message_id: str) -> Path:
        """The file of a message."""
        name = re.sub(r"[^A-Za-z0-9._-]", "_", message_id.strip("<>").partition("@")[0])
        return self.folder / f"{name}.eml"


@dataclass(frozen=True, slots=True)
class _FolderSession:
    transport: FolderTransport

    def send(self, recipient: str, message_id: str, message: bytes, hand_over: HandOver) -> None:
        del recipient  # it stands in the message
        hand_over()
        path = self.transport.path_of(message_id)
        try:
            write_whole(path, message)
        except OSError as error:
            raise TransportDown(f"{path.parent}: cannot be written to ({error.strerror})") from error


@dataclass(frozen=True, slots=True)
class Login:
    """User and password; the password never shows in a repr or a log."""

    user: str
    password: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class SmtpTransport:
    """Sends through one SMTP server, its certificate checked (against `ca_file` where one is given).

    `sender` is the address that takes what comes back. Security `none` is for a server on this very machine.
    """

    host: str
    port: int
    security: Security
    sender: str
    login: Login | None = None
    ca_file: Path | None = None
    timeout_seconds: float = 60.0
    final_wait_seconds: float = FINAL_WAIT_SECONDS

    @contextmanager
    def open(self) -> Iterator[Session]:
        """Connect, secure, log in. Raises TransportDown."""
        session = _SmtpSession(self)
        session.connect()
        try:
            yield session
        finally:
            session.close()

    def has_arrived(self, message_id: str) -> bool | None:
        """An SMTP server cannot be asked."""
        del message_id
        return None


class _SmtpSession:
    """One connection, made anew where the server let it drop."""

    def __init__(self, transport: SmtpTransport) -> None:
        self._to = transport
        self._client: smtplib.SMTP | None = None

    def connect(self) -> smtplib.SMTP:
        """Connect, secure, log in. Raises TransportDown."""
        to = self._to
        place = f"{to.host}:{to.port}"
        try:
            context = ssl.create_default_context(cafile=to.ca_file)
        except (OSError, ssl.SSLError) as error:
            raise TransportDown(
                f"{to.ca_file}: no certificates can be read from it ({_say(error)})"
            ) from error
        try:
            client = self._client = self._call(context)
            client.ehlo_or_helo_if_needed()
            if to.security == "starttls":
                client.starttls(context=context)
                client.ehlo()
            if to.login is not None:
                client.login(to.login.user, to.login.password)
        except ssl.SSLCertVerificationError as error:
            self._fail(f"{place}: its certificate is not to be trusted ({error.verify_message})", error)
        except smtplib.SMTPAuthenticationError as error:
            self._fail(
                f"{place}: user or password is refused ({_text(error.smtp_error)})", error, error.smtp_code
            )
        except smtplib.SMTPNotSupportedError as error:
            self._fail(f"{place}: the server does not offer what the settings ask for ({error})", error)
        except smtplib.SMTPResponseException as error:
            self._fail(f"{place}: the server refuses ({_text(error.smtp_error)})", error, error.smtp_code)
        except (smtplib.SMTPException, OSError) as error:
            self._fail(f"{place}: no connection ({_say(error)})", error)
        return client

    def _call(self, context: ssl.SSLContext) -> smtplib.SMTP:
        to = self._to
        if to.security == "tls":
            return smtplib.SMTP_SSL(to.host, to.port, timeout=to.timeout_seconds, context=context)
        return smtplib.SMTP(to.host, to.port, timeout=to.timeout_seconds)

    def send(self, recipient: str, message_id: str, message: bytes, hand_over: HandOver) -> None:
        """Send one message over the connection, or over a new one where it was lost."""
        del message_id  # it stands in the message
        client = self._client or self.connect()
        try:
            self._offer(client, recipient, len(message))
            client.send(_quote(message))
        except (smtplib.SMTPServerDisconnected, OSError) as error:
            self.close()
            raise TemporaryFailure(
                f"the connection was lost before the message was over ({_say(error)})"
            ) from error
        hand_over()
        self._end(client)

    def close(self) -> None:
        """Say goodbye where somebody still listens."""
        client, self._client = self._client, None
        if client is not None:
            with suppress(smtplib.SMTPException, OSError):
                client.quit()
            client.close()

    def _offer(self, client: smtplib.SMTP, recipient: str, size: int) -> None:
        """Name sender, recipient and size, and ask to send the message."""
        most = int(client.esmtp_features.get("size") or 0) if client.does_esmtp else 0
        if 0 < most < size:
            raise PermanentFailure(
                f"the message has {size:,} bytes, the server takes {most:,}; set mail.size_limit_mb below that",
                552,
            )
        options = [f"SIZE={size}"] if "size" in client.esmtp_features else []
        code, text = client.mail(self._to.sender, options)
        if code != 250:
            self._reset(client, code)
            if 500 <= code < 600 and code != 552:
                raise TransportDown(f"the server refuses the sender {self._to.sender} ({_text(text)})", code)
            _refuse(code, text)
        code, text = client.rcpt(recipient)
        if code not in (250, 251, 252):
            self._reset(client, code)
            _refuse(code, text)
        code, text = client.docmd("DATA")
        if code != 354:
            self._reset(client, code)
            _refuse(code, text)

    def _end(self, client: smtplib.SMTP) -> None:
        """End the message and take the server's answer."""
        try:
            if client.sock is not None:
                client.sock.settimeout(max(self._to.final_wait_seconds, self._to.timeout_seconds))
            client.send(b".\r\n")
            code, text = client.getreply()
            if client.sock is not None:
                client.sock.settimeout(self._to.timeout_seconds)
        except (smtplib.SMTPException, OSError) as error:
            self.close()
            raise UncertainFailure(
                f"no answer came after the last byte ({_say(error)}); it may have arrived"
            ) from error
        if code != 250:
            self._reset(client, code)
            _refuse(code, text)

    def _reset(self, client: smtplib.SMTP, code: int) -> None:
        """Make the connection ready for the next message; 421 says that the server closes it."""
        if code == 421:
            self.close()
            return
        try:
            client.rset()
        except (smtplib.SMTPException, OSError):
            self.close()

    def _fail(self, remark: str, error: Exception, code: int | None = None) -> NoReturn:
        self.close()
        raise TransportDown(remark, code) from error


def _refuse(code: int, text: bytes) -> NoReturn:
    """A refusal by its code: 4xx for the time being, 5xx (and what is no SMTP) for good."""
    failure = TemporaryFailure if 400 <= code < 500 or code == -1 else PermanentFailure
    raise failure(f"the server answered {code} {_text(text)}", code)


def _quote(message: bytes) -> bytes:
    """The message as DATA carries it: a line that begins with a point gets another one, the last line is ended."""
    ended = message if message.endswith(b"\r\n") else message + b"\r\n"
    return re.sub(rb"(?m)^\.", b"..", ended)


def _text(answer: bytes | str) -> str:
    """A server's answer on one line, without control characters, cut where it is long."""
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    return " ".join("".join(one if one.isprintable() else " " for one in text).split())[:200]


def _say(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "it did not answer in time"
    if isinstance(error, socket.gaierror):
        return "the name of the server is not known"
    return _text(getattr(error, "strerror", None) or str(error) or type(error).__name__)
