"""A real SMTP server in a thread (aiosmtpd), with TLS, a login, and faults that a test orders by recipient."""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any, Literal

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

Fault = Literal[
    "refused",
    "greylisted",
    "dropped before DATA",
    "dropped after DATA",
    "dropped untaken",
    "slow to begin",
    "slow to end",
    "refused text",
    "busy text",
]
USER, PASSWORD = "leachbook", "correct horse 1"
SLOW_SECONDS = 8.0


@dataclass
class Received:
    """What the server did: messages that it took, in order, and how often each recipient was named.

    Without `is_keeping` the messages themselves are let go.
    """

    is_keeping: bool = True
    messages: list[tuple[str, bytes]] = field(default_factory=list)
    named: Counter[str] = field(default_factory=Counter)
    connections: int = 0

    def clear(self) -> None:
        self.messages.clear()
        self.named.clear()
        self.connections = 0

    def to(self, recipient: str) -> list[EmailMessage]:
        return [
            message_from_bytes(data, policy=policy.default) for one, data in self.messages if one == recipient
        ]


@dataclass
class Faults:
    """What goes wrong for whom; a fault with a number of times is over after so many."""

    by_recipient: dict[str, Fault] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    _event: str | None = None
    _left: int = 0
    _call: Callable[[], object] | None = None

    def call_at(self, event: str | None, times: int, call: Callable[[], object] | None) -> None:
        """Call something when an event happens for the n-th time, before the server's answer to it goes out."""
        self._event, self._left, self._call = event, times, call

    def happened(self, event: str) -> None:
        if event != self._event:
            return
        self._left -= 1
        if self._left == 0 and self._call is not None:
            self._call()

    def clear(self) -> None:
        self.by_recipient.clear()
        self.times.clear()
        self.call_at(None, 0, None)

    def take(self, recipient: str, *kinds: Fault) -> Fault | None:
        fault = self.by_recipient.get(recipient)
        if fault not in kinds or self.times.get(recipient, 1) <= 0:
            return None
        if recipient in self.times:
            self.times[recipient] -= 1
        return fault


class _FaultySmtp(SMTP):
    """aiosmtpd's protocol, with a connection that can be dropped when DATA is asked for."""

    faults: Faults
    received: Received

    async def smtp_DATA(self, arg: str) -> None:
        recipients = self.envelope.rcpt_tos if self.envelope else []
        if any(self.faults.take(one, "dropped before DATA") for one in recipients):
            _drop(self)
            return
        await super().smtp_DATA(arg)

    def connection_made(self, transport: Any) -> None:
        if self.transport is None:
            self.received.connections += 1
        super().connection_made(transport)


def _drop(server: SMTP) -> None:
    """Let the connection break without a word."""
    assert isinstance(server.transport, asyncio.Transport)
    server.transport.abort()


class _Handler:
    def __init__(self, faults: Faults, received: Received, *, needs_login: bool) -> None:
        self.needs_login = needs_login
        self.faults = faults
        self.received = received

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        self.received.named[address] += 1
        if self.needs_login and not session.authenticated:
            return "530 5.7.0 Log in first"
        match self.faults.take(address, "refused", "greylisted", "slow to begin"):
            case "refused":
                return "550 5.1.1 No such mailbox here"
            case "greylisted":
                return "451 4.7.1 Greylisted, come back later"
            case "slow to begin":
                await asyncio.sleep(SLOW_SECONDS)
        envelope.rcpt_tos.append(address)
        self.faults.happened("recipient named")
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        (address,) = envelope.rcpt_tos
        self.faults.happened("message over")
        fault = self.faults.take(
            address, "dropped after DATA", "dropped untaken", "slow to end", "refused text", "busy text"
        )
        if fault == "refused text":
            return "554 5.7.1 Looks like spam"
        if fault == "busy text":
            return "452 4.3.1 Out of room"
        if fault != "dropped untaken":
            content = envelope.content
            assert isinstance(content, bytes)
            self.received.messages.append((address, content if self.received.is_keeping else b""))
        if fault in ("dropped after DATA", "dropped untaken"):
            _drop(server)
        if fault == "slow to end":
            await asyncio.sleep(SLOW_SECONDS)
        self.faults.happened("taken")
        return "250 Taken"


class _FaultyController(Controller):
    def factory(self) -> SMTP:
        made = _FaultySmtp(self.handler, **self.SMTP_kwargs)
        made.faults, made.received = self.handler.faults, self.handler.received
        return made


@dataclass
class Server:
    """A running server; `ca_file` is what its certificate is signed by."""

    port: int
    ca_file: Path
    received: Received
    faults: Faults


@dataclass(frozen=True)
class Certificates:
    """A certificate authority of this test session, the file of its certificate, and a server's own."""

    ca_file: Path
    ours: ssl.SSLContext
    other_name: ssl.SSLContext
    strangers_file: Path


def make_certificates(folder: Path) -> Certificates:
    authority, stranger = trustme.CA(), trustme.CA()
    folder.mkdir(parents=True, exist_ok=True)
    authority.cert_pem.write_to_path(folder / "ca.pem")
    stranger.cert_pem.write_to_path(folder / "stranger.pem")

    def context(name: str) -> ssl.SSLContext:
        made = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        authority.issue_cert(name).configure_cert(made)
        return made

    return Certificates(
        folder / "ca.pem", context("localhost"), context("mail.elsewhere.example"), folder / "stranger.pem"
    )


def _check_login(server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
    is_right = isinstance(data, LoginPassword) and (data.login, data.password) == (
        USER.encode(),
        PASSWORD.encode(),
    )
    return AuthResult(success=is_right, handled=False)


def find_free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def run_server(
    certificates: Certificates,
    *,
    security: Literal["starttls", "tls", "none"] = "starttls",
    has_other_name: bool = False,
    most_bytes: int = 33_554_432,
) -> Iterator[Server]:
    """A server on localhost that runs in a thread until the block ends."""
    faults, received = Faults(), Received()
    context = certificates.other_name if has_other_name else certificates.ours
    secured: dict[str, Any] = {}
    if security == "starttls":
        secured = {"tls_context": context, "require_starttls": True}
        secured |= {"authenticator": _check_login, "auth_required": True}
    elif security == "tls":
        # aiosmtpd knows only STARTTLS as secure, and warns where a login is required without: see handle_RCPT.
        secured = {"authenticator": _check_login, "auth_require_tls": False}
    controller = _FaultyController(
        _Handler(faults, received, needs_login=security != "none"),
        hostname="localhost",
        port=find_free_port(),
        ssl_context=context if security == "tls" else None,
        data_size_limit=most_bytes,
        **secured,
    )
    controller.start()
    try:
        yield Server(controller.port, certificates.ca_file, received, faults)
    finally:
        controller.stop()
