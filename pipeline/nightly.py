"""One night, as a story: collect, read, load, judge, check, render, publish."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
from pydantic import ValidationError

from pipeline import __version__
from pipeline.errors import AsOfError, ReportError
from pipeline.intake import archive
from pipeline.intake.collect import Collected, CollectedFile, collect
from pipeline.measures.ec import very_high_edges
from pipeline.measures.reference_tables import (
    load_corrective_options,
    load_crop_targets,
    load_ec_bands,
    load_general_targets,
)
from pipeline.measures.t_table import t_quantiles
from pipeline.measures.targets import choose_targets, list_published_ranges
from pipeline.night_lock import night_lock
from pipeline.publish import (
    make_fresh_folder,
    pages_folder,
    point_latest,
    publish_night,
    publish_pages,
    settle_ledger,
    sweep,
)
from pipeline.receive import digest_reading, find_export, order_files, receive
from pipeline.reports.compile import compile_summary
from pipeline.reports.render import render_night
from pipeline.reports.rows import Published as Shown
from pipeline.reports.summary import Night, Summary
from pipeline.settings import PolicyInForce, Settings, SiteSettings, load_settings, resolve_policy
from pipeline.warehouse.build import build_models, check_invariants, facts_digest, keep_fates
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.load import (
    NewFile,
    NightRow,
    ReadFile,
    Trouble,
    finish_night,
    last_night,
    load_files,
    load_troubles,
    read_files,
    reload_files,
    seen_files,
    start_night,
)
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.policy_tables import Published, load_settings_tables
from pipeline.warehouse.query import fetch_tables

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class NightResult:
    """What a night did. `is_unchanged`: nothing was new, so nothing was written again."""

    summary: Summary
    out: Path
    is_unchanged: bool

    @property
    def needs_somebody(self) -> bool:
        """Something is held, could not be read, or a site is quiet: exit code 1."""
        return any(
            site.is_silent or site.lines.held or any(finding.level == "hold" for finding in site.findings)
            for site in self.summary.sites
        )


@dataclass(frozen=True, slots=True)
class _Haul:
    """What tonight's look into the drop folders brought."""

    collected: list[CollectedFile]
    files: list[NewFile]
    troubles: list[Trouble]
    again: list[tuple[ReadFile, NewFile]]


def run_night(
    home: Path,
    as_of: date | None = None,
    *,
    now: datetime,
    say: Say = lambda _: None,
    executor: Executor | None = None,
) -> NightResult:
    """Run the night of `as_of` (the group's today by default) and publish its warehouse and pages.

    `now` is an aware instant. Until the last step nothing that exists is touched.
    Raises SettingsError, AsOfError, NightRunning, WarehouseError, InvariantBroken, ReportError, HomeError.
    """
    settings = load_settings(home)
    day = _check_as_of(as_of, now.astimezone(ZoneInfo(settings.group.time_zone)).date())
    with night_lock(home, now):
        sweep(home)
        return _run(home, settings, day, say, executor)


def _run(home: Path, settings: Settings, day: date, say: Say, executor: Executor | None) -> NightResult:
    with night_copy(home) as (connection, working):
        migrate(connection)
        last = last_night(connection)
        if read_files(connection):
            # A home that has received nothing yet may begin on any day.
            _check_order(day, last)
        settle_ledger(home, last)
        haul = _haul(home, connection, settings, say)
        night_no, night = _judge(connection, settings, day, haul, say)
        out = pages_folder(home, day)
        stored = _stored_pages(out, settings)
        if stored is not None and last is not None and _is_same(last, night, stored.night):
            say("Nothing new: the pages of this night stand as they are")
            point_latest(out)
            return NightResult(stored, out, is_unchanged=True)
        summary = _summarize(connection, settings, night)
        say("Rendering pages")
        fresh = _render(summary, out, executor)
        say("Publishing")
        publish_night(home, settings, haul.collected, night, night_no, connection, working)
        publish_pages(fresh, out)
    return NightResult(summary, out, is_unchanged=False)


def _check_as_of(as_of: date | None, today: date) -> date:
    if as_of is not None and as_of > today:
        raise AsOfError(f"--as-of {as_of} lies in the future (today is {today}); give a day that has come.")
    return as_of or today


def _check_order(day: date, last: NightRow | None) -> None:
    if last is not None and day < last.as_of:
        raise AsOfError(
            f"--as-of {day} is before the newest night of this home ({last.as_of}); "
            f"give {last.as_of} or a later day."
        )


def _haul(home: Path, connection: Connection, settings: Settings, say: Say) -> _Haul:
    """Collect, read, translate and sift what is new at every site."""
    seen = seen_files(connection)
    collected: list[CollectedFile] = []
    troubles: list[Trouble] = []
    files: list[NewFile] = []
    again: list[tuple[ReadFile, NewFile]] = []
    before = read_files(connection)
    for site in settings.sites:
        say(f"Looking into the drop folder of {site.name}")
        known = {(kind, name, sha) for site_id, kind, _, name, sha in seen if site_id == site.id}
        found = collect(site, known)
        troubles += _troubles(site.id, found)
        policy = resolve_policy(settings, site)
        for file in order_files(found.files):
            collected.append(file)
            files.append(receive(file, site.exports[file.export_no - 1], site, policy))
        again += _read_again(home, site, policy, [old for old in before if old.site_id == site.id])
    return _Haul(collected, files, troubles, again)


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


def _judge(connection: Connection, settings: Settings, day: date, haul: _Haul, say: Say) -> tuple[int, Night]:
    """Load what is new, rebuild everything that follows from it, and see that it is sound."""
    digest = _settings_digest(settings)
    say(f"Loading {len(haul.files)} new files")
    night_no = start_night(connection, day, __version__, digest)
    load_settings_tables(connection, settings, _published())
    if haul.again:
        say(f"Reading {len(haul.again)} earlier files again, because their settings changed")
    reload_files(connection, haul.again)
    records = load_files(connection, night_no, day, haul.files)
    load_troubles(connection, night_no, haul.troubles)
    say("Judging samplings and lots")
    build_models(connection)
    keep_fates(connection)
    check_invariants(connection)
    facts = facts_digest(connection)
    finish_night(connection, night_no, facts, len(haul.files), records)
    return night_no, Night(
        leachbook_version=__version__,
        as_of=day,
        facts_digest=facts,
        settings_digest=digest,
        new_files=len(haul.files),
        new_records=records,
    )


def _settings_digest(settings: Settings) -> str:
    parts = [f"{name}\0{hashlib.sha256(data).hexdigest()}" for name, data in sorted(settings.files.items())]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _stored_pages(out: Path, settings: Settings) -> Summary | None:
    """The document of the pages that stand in a folder; None when any of them is missing or damaged."""
    bases = ["overview", *(f"sites/{site.id}" for site in settings.sites)]
    if not all((out / f"{base}.{kind}").is_file() for base in bases for kind in ("html", "pdf")):
        return None
    try:
        return Summary.model_validate_json((out / "summary.json").read_bytes())
    except (OSError, ValidationError):
        return None


def _is_same(last: NightRow, night: Night, pages: Night) -> bool:
    """Whether this night would only repeat the last one, and the pages that stand are of it."""

    def mark(one: NightRow | Night) -> tuple[date, str, str, str]:
        return one.as_of, one.leachbook_version, one.settings_digest, one.facts_digest

    return night.new_files == 0 and mark(last) == mark(night) == mark(pages)


def _policy_on(settings: Settings, day: date) -> dict[str, PolicyInForce]:
    return {
        site.id: next(
            span
            for span in resolve_policy(settings, site)
            if span.valid_from <= day and (span.valid_to is None or day < span.valid_to)
        )
        for site in settings.sites
    }


def _published() -> Published:
    crop_targets = load_crop_targets()
    general = load_general_targets().filter(pl.col("used"))
    chosen_columns = ["crop_key", "quantity", "low", "high", "source", "source_url", "how_known", "ph_group"]
    return Published(
        ranges=list_published_ranges(crop_targets).select(
            "crop_key", "quantity", "row_no", "low", "high", "source", "how_known"
        ),
        general=general.select("quantity", "low", "high", "source", "source_url", "how_known"),
        t_table=t_quantiles().select("df", "t"),
        very_high_edges=very_high_edges(load_ec_bands()),
        choose=lambda order: choose_targets(crop_targets, order).select(chosen_columns),
    )


def _summarize(connection: Connection, settings: Settings, night: Night) -> Summary:
    return compile_summary(
        fetch_tables(connection),
        settings,
        _policy_on(settings, night.as_of),
        Shown(load_ec_bands(), load_corrective_options()),
        night,
    )


def _render(summary: Summary, out: Path, executor: Executor | None) -> Path:
    """Write all pages into a folder beside the one they will replace."""
    try:
        fresh = make_fresh_folder(out)
    except OSError as error:
        raise ReportError(
            f"{out}: no pages can be written there ({error.strerror}); make room or give write permission."
        ) from error
    try:
        # Starting worker processes costs more than it saves where there is one site.
        render_night(summary, fresh, executor=executor if len(summary.sites) > 1 else None)
    except BrokenExecutor as error:
        shutil.rmtree(fresh, ignore_errors=True)
        raise ReportError(
            f"{out}: a process that makes its pages was ended from outside, perhaps because memory ran out; "
            "the pages before stand, run the night again."
        ) from error
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    return fresh
