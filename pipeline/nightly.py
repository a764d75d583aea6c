"""One night, as a story: collect, read, load, judge, check, render, publish."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from pipeline.errors import AsOfError, ReportError
from pipeline.haul import Haul, collect_sites, read_haul
from pipeline.intake.ledger import NIGHT, read_ledger
from pipeline.judge import judge_night
from pipeline.measures.reference_tables import (
    load_buffers_by_temperature,
    load_corrective_options,
    load_ec_bands,
    load_sampling_frequency,
)
from pipeline.night_lock import night_lock
from pipeline.publish import (
    check_agreement,
    find_altered,
    make_fresh_folder,
    pages_folder,
    point_latest,
    publish_night,
    publish_pages,
    sealed_pages,
    settle_ledger,
    sweep,
)
from pipeline.reports.compile import compile_summary
from pipeline.reports.render import SITE_FILES, render_night
from pipeline.reports.rows import Published as Shown
from pipeline.reports.summary import Night, Summary
from pipeline.run_record import RunRecord, recorded_night
from pipeline.settings import PolicyInForce, Settings, check_home, load_settings, resolve_policy
from pipeline.stopping import unstoppable
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.load import (
    NightRow,
    last_night,
    read_files,
)
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.query import fetch_tables
from pipeline.warehouse.sealed import check_sealed

Say = Callable[[str], None]


class Render(Protocol):
    """Writes the pages of a night into an existing folder; says which files it wrote."""

    def __call__(self, summary: Summary, folder: Path, *, executor: Executor | None) -> list[Path]:
        """Write them; with an executor side by side. Raises ReportError."""


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
            site.lines.held
            or any(
                finding.level == "hold" or (finding.rule, finding.level) == ("site_silent", "warn")
                for finding in site.findings
            )
            for site in self.summary.sites
        )


def run_night(
    home: Path,
    as_of: date | None = None,
    *,
    now: datetime,
    say: Say = lambda _: None,
    executor: Executor | None = None,
    render: Render = render_night,
) -> NightResult:
    """Run the night of `as_of` (the group's today by default) and publish its warehouse and pages.

    `now` is an aware instant; `render` writes the pages. Until the last step nothing that exists is touched.
    Raises SettingsError, AsOfError, NightRunning, WarehouseError, InvariantBroken, ReportError, HomeError.
    """
    check_home(home)
    with night_lock(home, now) as died, recorded_night(home, now, as_of) as record:
        if died is not None:
            say(f"The run before ended without a word ({died})")
            record.log.warning("the run before died", holder=died)
        settings = load_settings(home)
        day = _check_as_of(as_of, now.astimezone(ZoneInfo(settings.group.time_zone)).date())
        sweep(home)
        result = _run(home, settings, day, record, say, partial(_render, executor=executor, render=render))
        record.is_good(day, needs_somebody=result.needs_somebody)
        return result


def _run(
    home: Path,
    settings: Settings,
    day: date,
    record: RunRecord,
    say: Say,
    render: Callable[[Summary, Path], Path],
) -> NightResult:
    settle_ledger(home)
    with night_copy(home) as (connection, working):
        migrate(connection)
        last = last_night(connection)
        if read_files(connection):
            # A home that has received nothing yet may begin on any day.
            _check_order(day, last)
        check_agreement(home, last)
        if last is not None:
            # What somebody altered would otherwise be sealed tonight as if the archive had said so.
            check_sealed(home)
        haul = _take_in(home, connection, settings, record, say)
        night_no, night = judge_night(connection, settings, day, haul, say, stage=record.stage)
        out = pages_folder(home, day)
        stored = _stored_pages(home, out, settings)
        if stored is not None and last is not None and _is_same(last, night, stored.night):
            say("Nothing new: the pages of this night stand as they are")
            point_latest(out)
            return NightResult(stored, out, is_unchanged=True)
        with record.stage("compile") as counts:
            summary = _summarize(connection, settings, night)
            counts.update(_count_summary(summary))
        say("Rendering pages")
        with record.stage("render") as counts:
            fresh = render(summary, out)
            counts["files"] = sum(1 for path in fresh.rglob("*") if path.is_file())
        try:
            say("Publishing")
            with record.stage("publish"), unstoppable():
                # Its own time is in the log alone: what is published cannot hold how long that took.
                run = record.as_entry()
                publish_night(home, settings, haul, night, night_no, connection, working, fresh, run=run)
                publish_pages(fresh, out)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    return NightResult(summary, out, is_unchanged=False)


def _take_in(home: Path, connection: Connection, settings: Settings, record: RunRecord, say: Say) -> Haul:
    """Collect what lies in the drop folders, and read it."""
    with record.stage("collect") as counts:
        found = collect_sites(connection, settings, say, now=record.started_at)
        counts["files"] = sum(len(one.files) for one in found.values())
    with record.stage("read") as counts:
        haul = read_haul(home, connection, settings, found)
        counts.update(files=len(haul.files), refused=len(haul.troubles), read_again=len(haul.again))
    return haul


def _count_summary(summary: Summary) -> dict[str, int]:
    return {
        "sites": len(summary.sites),
        "lots": sum(len(site.lots) for site in summary.sites),
        "held_lines": sum(site.lines.held for site in summary.sites),
    }


def find_night(home: Path, settings: Settings, day: date) -> NightResult | None:
    """The night of a day, if it was run to its end as the newest one and its pages stand; None where it has to be run.

    Raises ArchiveError where the ledger cannot be read.
    """
    nights = [one for one in read_ledger(home) if one["kind"] == NIGHT]
    if not nights or nights[-1]["as_of"] != day.isoformat():
        return None
    out = pages_folder(home, day)
    stored = _stored_pages(home, out, settings)
    return None if stored is None else NightResult(stored, out, is_unchanged=True)


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


def _stored_pages(home: Path, out: Path, settings: Settings) -> Summary | None:
    """The document of the pages that stand in a folder; None when any of them is missing, damaged or altered."""
    of_sites = [f"sites/{site.id}{ending}" for site in settings.sites for ending in SITE_FILES]
    if not all((out / name).is_file() for name in ("overview.html", "overview.pdf", *of_sites)):
        return None
    try:
        if next(find_altered(out, sealed_pages(read_ledger(home))), None) is not None:
            return None
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


def _summarize(connection: Connection, settings: Settings, night: Night) -> Summary:
    return compile_summary(
        fetch_tables(connection),
        settings,
        _policy_on(settings, night.as_of),
        Shown(
            load_ec_bands(),
            load_corrective_options(),
            load_sampling_frequency(),
            load_buffers_by_temperature(),
        ),
        night,
    )


def _render(summary: Summary, out: Path, executor: Executor | None, render: Render) -> Path:
    """Write all pages into a folder beside the one they will replace."""
    try:
        fresh = make_fresh_folder(out)
    except OSError as error:
        raise ReportError(
            f"{out}: no pages can be written there ({error.strerror}); make room or give write permission."
        ) from error
    try:
        # Starting worker processes costs more than it saves where there is one site.
        render(summary, fresh, executor=executor if len(summary.sites) > 1 else None)
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
