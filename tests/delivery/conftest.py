"""Certificates of the session, and an outbox whose clock the test turns."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.delivery.outbox import Outbox, open_outbox
from tests.delivery.smtp_server import Certificates, Server, make_certificates, run_server


@pytest.fixture(scope="session")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture(scope="session")
def one_server(certificates: Certificates) -> Iterator[Server]:
    with run_server(certificates) as running:
        yield running


@pytest.fixture
def server(one_server: Server) -> Server:
    """The session's server, without faults and with nothing received."""
    one_server.faults.clear()
    one_server.received.clear()
    return one_server


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    with open_outbox(tmp_path) as opened:
        yield opened
