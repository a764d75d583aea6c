"""What tonight's look into the drop folders brought, read and translated, and what is read again from the archive."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from datetime import datetime

from pipeline.intake import archive
from pipeline.intake.collect import Collected, CollectedFile, collect
from pipeline.receive import digest_reading, find_export, order_files, receive
from pipeline.settings import PolicyInForce, Settings, SiteSettings, resolve_policy
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.load import NewFile, ReadFile, Trouble, read_files, seen_files

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Haul:
    """Files taken in, the same read, what could not be taken, and earlier files that are read again."""

    collected: list[CollectedFile]
    files: list[NewFile]
    troubles: list[Trouble]
    again: list[tuple[ReadFile, NewFile]]


def collect_sites(
    connection: Connection, settings: Settings, say: Say, *, now: datetime | None = None
) -> dict[str, Collected]:
    """Look into the drop folder of every site, by site; `now` is what files that were just changed are held against."""
    seen = seen_files(connection)
    found: dict[str, Collected] = {}
    for site in settings.sites:
        say(f"Looking into the drop folder of {site.name}")
        known = {(kind, name, sha) for site_id, kind, _, name, sha in seen if site_id == site.id}
        found[site.id] = collect(site, known, now=now)
    return found


def read_haul(home: Path, connection: Connection, settings: Settings, found: Mapping[str, Collected]) -> Haul:
    """Read, translate and sift what was collected; `home` is where the archive lies."""
    haul = Haul([], [], [], [])
    before = read_files(connection)
    for site in settings.sites:
        collected = found.get(site.id, Collected([], [], []))
        haul.troubles.extend(_troubles(site.id, collected))
        policy = resolve_policy(settings, site)
        for file in order_files(collected.files):
            haul.collected.append(file)
            haul.files.append(receive(file, site.exports[file.export_no - 1], site, policy))
        mine = [old for old in before if old.site_id == site.id]
        haul.again.extend(_read_again(home, site, policy, mine))
    return haul


def _read_again(
    home: Path, site: SiteSettings, policy: Sequence[PolicyInForce], before: Sequence[ReadFile]
) -> Iterator[tuple[ReadFile, NewFile]]:
    """Read from the archive what was read under settings that have changed since: a mended mapping releases lines.

    A file that no export takes any more stays as it was read.
    """
    for old in before:
        export_no = find_export(site, old.kind, old.name)
        if export_no is None:
            continue
        export = site.exports[export_no - 1]
        if (export_no, digest_reading(export, site, policy)) != (old.export_no, old.reading_digest):
            file = CollectedFile(
                site_id=site.id,
                kind=old.kind,
                export_no=export_no,
                name=old.name,
                sha256=old.sha256,
                size=old.size_bytes,
                modified_at=old.modified_at,
                data=archive.fetch(home, old.sha256),
            )
            yield old, receive(file, export, site, policy)


def _troubles(site_id: str, found: Collected) -> list[Trouble]:
    mends = [
        Trouble(site_id, one.name, one.code, f"{one.name}: {one.sentence};", f"{one.mend}.")
        for one in found.troubles
    ]
    return mends + [
        Trouble(
            site_id,
            name,
            "unclaimed",
            f"{name}: no [[export]] of site.toml takes this file;",
            "add an export whose files pattern fits, or take the file away.",
        )
        for name in found.unclaimed
    ]
