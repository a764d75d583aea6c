"""The digest over a real SMTP server: greylisted once, refused for a wrong password, in the end one message alone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipeline.delivery.outbox import Letter, open_outbox
from pipeline.schedule.tell import tell_manager
from tests.delivery.smtp_server import PASSWORD, USER, Server, make_certificates, run_server
from tests.home import GROUP

NOON = datetime(2026, 11, 3, 12, tzinfo=UTC)
TO = "jo@example.com"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with run_server(make_certificates(tmp_path_factory.mktemp("certificates"))) as running:
        yield running


@pytest.fixture
def mailing(home: Path, server: Server) -> Path:
    """A home whose night of today is missing, that mails through the server."""
    server.received.clear()
    server.faults.clear()
    (home / "leachbook.toml").write_text(
        GROUP
        + f"""manager = {{name = "Jo Field", email = "{TO}"}}
[schedule]
least_free_mb = 0
[mail]
transport = "smtp"
host = "localhost"
port = {server.port}
ca_file = "{server.ca_file}"
user = "{USER}"
password_env = "PW"
sender = {{name = "Leachbook", email = "reports@example.com"}}
""",
        encoding="utf-8",
    )
    return home


def tell(home: Path, now: datetime, password: str = PASSWORD) -> list[str]:
    said: list[str] = []
    tell_manager(home, lambda: now, {"PW": password}, said.append)
    return said


def only_letter(home: Path) -> Letter:
    with open_outbox(home) as outbox:
        (letter,) = outbox.letters()
    return letter


def test_a_greylisted_digest_goes_out_when_the_schedule_asks_again(mailing: Path, server: Server) -> None:
    server.faults.by_recipient[TO] = "greylisted"
    server.faults.times[TO] = 1
    tell(mailing, NOON)
    assert (only_letter(mailing).state, server.received.messages) == ("retry", [])
    for hours in (1, 2, 3):
        tell(mailing, NOON + timedelta(hours=hours))
    (message,) = server.received.to(TO)
    assert (message["Subject"], message["From"]) == (
        "Small group: 1 new trouble",
        "Leachbook <reports@example.com>",
    )
    assert only_letter(mailing).state == "sent"


def test_a_wrong_password_loses_no_digest_and_is_written_nowhere(mailing: Path, server: Server) -> None:
    wrong = "a wrong horse 2"
    (said,) = [one for one in tell(mailing, NOON, wrong) if "cannot be sent" in one]
    assert wrong not in said
    assert only_letter(mailing).state == "retry"
    tell(mailing, NOON + timedelta(hours=1))
    assert len(server.received.to(TO)) == 1
    written = [path for path in mailing.rglob("*") if path.is_file()]
    assert [
        path for path in written for word in (wrong, PASSWORD) if word.encode() in path.read_bytes()
    ] == []
