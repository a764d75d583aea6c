"""Nights of a home from what lies on disk: a first drop, and later ones laid over it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from tests.oracle.fates import DropFile, Night


def read_drop(site_folder: Path) -> dict[str, DropFile]:
    """Files of a site's drop folder by their name relative to the site's folder."""
    return {
        path.relative_to(site_folder).as_posix(): DropFile(
            path.relative_to(site_folder).as_posix(), path.read_bytes(), path.stat().st_mtime
        )
        for path in sorted((site_folder / "drop").rglob("*"))
        if path.is_file()
    }


def demo_nights(demo_sites: Path, first: date, second: date) -> list[Night]:
    """Two nights: the files in sites/, then those in second_night/ laid over them (same name: replaced)."""
    before = {
        folder.name: read_drop(folder)
        for folder in sorted((demo_sites / "sites").iterdir())
        if folder.is_dir()
    }
    after = {name: dict(files) for name, files in before.items()}
    for folder in sorted((demo_sites / "second_night").iterdir()):
        if folder.is_dir():
            after[folder.name].update(read_drop(folder))
    return [
        Night(as_of, {name: list(files.values()) for name, files in drops.items()})
        for as_of, drops in ((first, before), (second, after))
    ]
