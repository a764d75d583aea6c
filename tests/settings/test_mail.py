"""[mail] in leachbook.toml: every mistake by file, key and what would be right."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.settings import Mail, SettingsError, load_settings, write_new_home
from pipeline.settings.mail import check_mail
from tests.settings.homes import GROUP, write_home

MANAGER = 'manager = {name = "Jo", email = "jo@example.com"}\n'
SMTP = """
[mail]
transport = "smtp"
host = "smtp.example.com"
user = "reports"
password_env = "LEACHBOOK_SMTP_PASSWORD"
sender = {name = "Leachbook", email = "reports@example.com"}
"""


def said(home: Path) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        load_settings(home)
    return [str(problem) for problem in caught.value.problems]


def test_without_a_word_about_mail_it_goes_into_a_folder(tmp_path: Path) -> None:
    mail = load_settings(write_home(tmp_path)).group.mail
    assert (mail.transport, mail.folder, mail.copy_to_manager) == ("folder", "out/mail", False)


def test_a_server_with_all_that_it_needs(tmp_path: Path) -> None:
    mail = load_settings(write_home(tmp_path, group=GROUP + MANAGER + SMTP)).group.mail
    assert (mail.host, mail.server_port, mail.most_bytes) == ("smtp.example.com", 587, 10_000_000)


@pytest.mark.parametrize(("security", "port"), [("starttls", 587), ("tls", 465)])
def test_the_port_follows_the_way_it_is_secured(security: str, port: int) -> None:
    assert Mail.model_validate({"security": security}).server_port == port
    assert Mail.model_validate({"security": security, "port": 2525}).server_port == 2525


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ('host = "smtp.example.com"\n', ""),
            ('host: it is missing, and transport is "smtp"; name the server, like "smtp.example.com"'),
        ),
        (
            ('"smtp.example.com"', '"smtp://mail.example.com:25"'),
            (
                'host: it is "smtp://mail.example.com:25"; the name of a server alone, like '
                '"smtp.example.com", is needed'
            ),
        ),
        (
            ('sender = {name = "Leachbook", email = "reports@example.com"}', ""),
            (
                'sender: it is missing, and transport is "smtp"; write sender = {name = "Leachbook", '
                'email = "reports@example.com"}'
            ),
        ),
        (
            ("reports@example.com", "jörg@example.com"),
            'sender.email: it is "jörg@example.com"; one address like name@example.com is needed',
        ),
        (
            ('password_env = "LEACHBOOK_SMTP_PASSWORD"\n', ""),
            (
                'user: it is "reports", and no password is named; write password_env = '
                '"LEACHBOOK_SMTP_PASSWORD" or password_file; the password itself never stands here'
            ),
        ),
        (
            ('password_env = "LEACHBOOK_SMTP_PASSWORD"', 'password_env = "A"\npassword_file = "b"'),
            "password_file: it is there beside password_env; keep one of the two",
        ),
        (
            ('user = "reports"\n', ""),
            "password_env: it is there, and user is missing; write user, or take it away",
        ),
        (
            ('transport = "smtp"', 'transport = "smtp"\nsecurity = "none"'),
            (
                'security: it is "none"; "starttls" or "tls" is needed; "none" is for a server on this '
                'machine (host = "localhost")'
            ),
        ),
        (
            (
                'transport = "smtp"\nhost = "smtp.example.com"',
                'transport = "smtp"\nhost = "::1"\nsecurity = "none"',
            ),
            ('user: it is there, and security is "none"; a password needs starttls or tls; take one away'),
        ),
        (
            ('"LEACHBOOK_SMTP_PASSWORD"', '"A\\nExecStart=/bin/true"'),
            (
                'password_env: it is "A ExecStart=/bin/true"; the name of a variable, like '
                '"LEACHBOOK_SMTP_PASSWORD", is needed'
            ),
        ),
        (
            ('{name = "Leachbook"', '{name = "Leach\\r\\nBcc: somebody@elsewhere.example"'),
            (
                'sender.name: it is "Leach Bcc: somebody@elsewhere.example"; a name on one line, without '
                "control characters, is needed"
            ),
        ),
        (
            ('transport = "smtp"', 'transport = "post"'),
            'transport: it is "post"; known are folder, smtp',
        ),
        (
            ('transport = "smtp"', 'transport = "smtp"\nport = 70000'),
            "port: it is 70000; 65535 or less is needed",
        ),
        (
            ('transport = "smtp"', 'transport = "smtp"\nsize_limit_mb = 0'),
            "size_limit_mb: it is 0; above 0 is needed",
        ),
        (
            ('transport = "smtp"', 'transport = "smtp"\nover_limit = "link"'),
            (
                'link: it is missing, and over_limit is "link"; write where the folder out/ can be read, '
                'like link = "https://files.example.com/leachbook"'
            ),
        ),
        (
            ('transport = "smtp"', 'transport = "smtp"\nlink = "javascript:alert(1)"'),
            (
                'link: it is "javascript:alert(1)"; an address without blanks that begins with https://, '
                "http://, file:// or two backslashes is needed"
            ),
        ),
    ],
)
def test_a_mistake_is_named_with_what_would_be_right(
    tmp_path: Path, change: tuple[str, str], told: str
) -> None:
    assert said(write_home(tmp_path, group=GROUP + MANAGER + SMTP.replace(*change))) == [
        f"leachbook.toml: mail.{told}"
    ]


def test_a_copy_needs_a_manager(tmp_path: Path) -> None:
    home = write_home(tmp_path, group=GROUP + "[mail]\ncopy_to_manager = true\n")
    assert said(home) == [
        "leachbook.toml: mail.copy_to_manager: it is true, and manager is missing; name the manager above [mail]"
    ]


def test_a_password_in_the_settings_is_refused_and_not_shown(tmp_path: Path) -> None:
    home = write_home(tmp_path, group=GROUP + SMTP + 'password = "correct horse"\n')
    (told,) = said(home)
    assert told.startswith("leachbook.toml: mail.password: this key is unknown; did you mean")
    assert "horse" not in told


def test_a_new_home_shows_every_key_as_it_stands(tmp_path: Path) -> None:
    write_new_home(tmp_path / "home")
    text = (tmp_path / "home" / "leachbook.toml").read_text("utf-8")
    section = text.partition("[mail]\n")[2]
    shown = dict(re.findall(r"^# ([a-z_]+) = (.+?)(?:   +#.*)?$", section, re.MULTILINE))
    assert set(shown) == set(Mail.model_fields)
    # taken out of their comments they are good settings, but for the two ways to name a password
    written = "\n".join(f"{key} = {value}" for key, value in shown.items() if key != "password_file")
    mail = tomllib.loads(f"[mail]\n{written}")
    assert Mail.model_validate(mail["mail"]).transport == "smtp"
    assert check_mail({**mail, "manager": {}}, "leachbook.toml") == []


@pytest.mark.parametrize("value", ["5", '"smtp"', "[]"])
def test_anything_else_under_mail_is_a_mistake_and_no_crash(tmp_path: Path, value: str) -> None:
    (told,) = said(write_home(tmp_path, group=GROUP + f"mail = {value}\n"))
    assert told.startswith("leachbook.toml: mail: it is ")
