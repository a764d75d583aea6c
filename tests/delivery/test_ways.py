"""From settings to a transport: where the password comes from, and what is said when it cannot be had."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.delivery.transports import FolderTransport, SmtpTransport
from pipeline.delivery.ways import make_transport
from pipeline.errors import MailError
from pipeline.settings import Mail

SERVER = {
    "transport": "smtp",
    "host": "smtp.example.com",
    "user": "reports",
    "sender": {"name": "Leachbook", "email": "reports@bücher.example"},
}


def smtp(**more: object) -> Mail:
    return Mail.model_validate({**SERVER, **more})


def refused(mail: Mail, home: Path, environment: dict[str, str] | None = None) -> str:
    with pytest.raises(MailError) as caught:
        make_transport(mail, home, environment or {})
    return str(caught.value)


def test_a_folder_counts_from_the_home(tmp_path: Path) -> None:
    assert make_transport(Mail(), tmp_path, {}) == FolderTransport(tmp_path / "out" / "mail")


def test_a_password_comes_from_the_environment_and_shows_nowhere(tmp_path: Path) -> None:
    made = make_transport(smtp(password_env="PW"), tmp_path, {"PW": "s3cret"})
    assert isinstance(made, SmtpTransport)
    assert made.login is not None
    assert (made.login.user, made.login.password) == ("reports", "s3cret")
    assert "s3cret" not in repr(made)
    assert made.sender == "reports@xn--bcher-kva.example"


def test_a_password_that_is_not_there_is_asked_for(tmp_path: Path) -> None:
    assert refused(smtp(password_env="PW"), tmp_path) == (
        "leachbook.toml: mail.password_env: the variable PW is empty or not there; put the password of reports into it."
    )


def test_a_file_is_read_only_if_nobody_else_can(tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text("s3cret\n", "utf-8")
    file.chmod(0o640)
    told = refused(smtp(password_file="password"), tmp_path)
    assert told.endswith("password can be read by others (mode 640); run chmod 600 on it.")
    file.chmod(0o600)
    made = make_transport(smtp(password_file="password"), tmp_path, {})
    assert isinstance(made, SmtpTransport)
    assert made.login is not None
    assert made.login.password == "s3cret"
    assert "is empty or not there" in refused(smtp(password_file="elsewhere"), tmp_path)


def test_letters_that_the_login_cannot_carry_are_told(tmp_path: Path) -> None:
    assert "letters beyond ASCII" in refused(smtp(password_env="PW"), tmp_path, {"PW": "größe"})


def test_a_missing_authority_is_told(tmp_path: Path) -> None:
    told = refused(smtp(password_env="PW", ca_file="ca.pem"), tmp_path, {"PW": "x"})
    assert told.startswith("leachbook.toml: mail.ca_file: ")
    assert "ca.pem is not there" in told
