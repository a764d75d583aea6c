"""What tonight's look into the drop folders brought, read and translated, and what is read again from the archive."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from pipeline.intake import archive
from pipeline.intake.collect import Collected, CollectedFile, collect
from pipeline.receive import Before, add_known, digest_reading, find_export, order_files, receive
from pipeline.settings import PolicyInForce, Settings, SiteSettings, resolve_policy
from pipeline.settings.sheet import read_export
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.load import (
    NewFile,
    ReadFile,
    Trouble,
    known_lines,
    next_file_id,
    read_files,
    seen_files,
)

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
    next_id = next_file_id(connection)
    for site in settings.sites:
        collected = found.get(site.id, Collected([], [], []))
        haul.troubles.extend(_troubles(site.id, collected))
        reader = _SiteReader(connection, site, resolve_policy(settings, site), before)
        # Earlier files first: what they are read as is what tonight's lines are compared with.
        haul.again.extend(reader.read_again(home))
        for file in order_files(collected.files, site):
            haul.collected.append(file)
            haul.files.append(reader.read(file, next_id + len(haul.files)))
    return haul


@dataclass(frozen=True, slots=True)
class _Read:
    """What a file leaves for those after it."""

    file_id: int
    kind: str
    export_no: int
    header: str | None


class _SiteReader:
    """The files of one site, read in the order in which they rule, each knowing what came before it."""

    def __init__(
        self,
        connection: Connection,
        site: SiteSettings,
        policy: Sequence[PolicyInForce],
        before: Sequence[ReadFile],
    ) -> None:
        self._connection = connection
        self._site = site
        self._policy = policy
        self._before = [old for old in before if old.site_id == site.id]
        self._known: dict[tuple[str, int], pl.DataFrame] = {}
        again = {old.file_id for old, _ in self._changed()}
        self._headers = [
            _Read(old.file_id, old.kind, old.export_no, old.header)
            for old in self._before
            if old.problem is None and old.file_id not in again
        ]

    def read(self, file: CollectedFile, file_id: int) -> NewFile:
        """Read one file that has or will have this number."""
        export = read_export(self._site, file.export_no)
        key = file.kind, file.export_no
        known = self._known.get(key)
        if known is None:
            digest = digest_reading(export, self._site, self._policy)
            known = known_lines(self._connection, self._site.id, file.kind, file.export_no, digest)
        header = self._header_before(file, file_id)
        new = receive(file, export, self._site, self._policy, Before(file_id, known, header))
        self._known[key] = add_known(known, new, file_id)
        if new.facts.problem is None:
            self._headers.append(_Read(file_id, file.kind, file.export_no, new.facts.header))
        return new

    def read_again(self, home: Path) -> Iterator[tuple[ReadFile, NewFile]]:
        """Read from the archive what was read under settings that have changed since, in the order of the files.

        A mended mapping releases lines. A file that no export takes any more stays as it was read.
        """
        for old, export_no in self._changed():
            file = CollectedFile(
                site_id=self._site.id,
                kind=old.kind,
                export_no=export_no,
                name=old.name,
                sha256=old.sha256,
                size=old.size_bytes,
                modified_at=old.modified_at,
                data=archive.fetch(home, old.sha256),
            )
            yield old, self.read(file, old.file_id)

    def _changed(self) -> list[tuple[ReadFile, int]]:
        """Earlier files that today's settings read otherwise, with the number of their export today."""
        changed = []
        for old in self._before:
            export_no = find_export(self._site, old.kind, old.name, old.export_no)
            if export_no is None:
                continue
            digest = digest_reading(read_export(self._site, export_no), self._site, self._policy)
            # A file without a layout was loaded before layouts were told apart.
            is_old = old.layout is None and old.problem is None
            if is_old or (export_no, digest) != (old.export_no, old.reading_digest):
                changed.append((old, export_no))
        return changed

    def _header_before(self, file: CollectedFile, file_id: int) -> list[str] | None:
        """The header of the newest readable file of the same export before this one."""
        own = [
            one
            for one in self._headers
            if (one.kind, one.export_no) == (file.kind, file.export_no)
            and one.file_id < file_id
            and one.header is not None
        ]
        if not own:
            return None
        header: list[str] = json.loads(max(own, key=lambda one: one.file_id).header or "[]")
        return header


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
            "let leachbook adopt propose one for it, widen the files pattern of one that fits, or take the file away.",
        )
        for name in found.unclaimed
    ]
