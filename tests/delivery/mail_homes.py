"""Homes that have mail to send: head growers in site.toml, and a server of the test in leachbook.toml."""

from __future__ import annotations

from pathlib import Path

from tests.delivery.smtp_server import USER, Server

PASSWORD_NAME = "TEST_SMTP_PASSWORD"


def add_mail(home: Path, server: Server | None, *, growers: int = 3, more: str = "") -> list[str]:
    """Give a home head growers, and mail by the server (None: into the folder); returns the growers' addresses."""
    addresses = [f"grower{number}@hill.example" for number in range(1, growers + 1)]
    with (home / "sites" / "hill" / "site.toml").open("a", encoding="utf-8") as file:
        for number, address in enumerate(addresses, start=1):
            file.write(f'\n[[grower]]\nid = "g{number}"\nname = "Grower {number}"\nemail = "{address}"\n')
    with (home / "leachbook.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{_by_server(server) if server else '[mail]'}\n{more}\n")
    return addresses


def _by_server(server: Server) -> str:
    return (
        '[mail]\ntransport = "smtp"\nhost = "localhost"\n'
        f'port = {server.port}\nca_file = "{server.ca_file}"\nuser = "{USER}"\npassword_env = "{PASSWORD_NAME}"\n'
        'sender = {name = "Leachbook", email = "reports@quillmere.example"}\n'
    )
