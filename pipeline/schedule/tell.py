"""Tells the manager, at most once a day, what is wrong and what is over, and carries all mail that waits.

The digest and what the manager knows after it are stored in the outbox in one step, so a crash loses neither and
repeats neither. Whoever asks again on the same day finds the digest there.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from pipeline.delivery.message import Mailbox, Parts, write_message
from pipeline.delivery.outbox import Key, Letter, Outbox, make_message_id, open_outbox, outbox_path
from pipeline.delivery.post import Clock, deliver_due
from pipeline.delivery.ways import make_transport
from pipeline.errors import HomeError
from pipeline.languages import Speech, load_tongue
from pipeline.notices.digest import Digest, Told, pack_known, plan_digest, unpack_known, write_digest
from pipeline.notices.troubles import Disk, Runs, Trouble, find_troubles, tell_letters_over, unknown_kinds
from pipeline.outbox_run import log_delivered
from pipeline.overview_lines import read_latest
from pipeline.reports.summary import Summary
from pipeline.run_state import read_failed_night
from pipeline.schedule.due import Done, Timetable, due_at, make_timetable
from pipeline.schedule.keep import read_group
from pipeline.schedule.state import ScheduleState, failed_runs, read_schedule, what_is_done
from pipeline.settings import Group, Person
from pipeline.settings.addresses import to_wire

Say = Callable[[str], None]
NOTICE: Final = "notice"
"""The report by which the outbox knows these letters."""
GRACE: Final = timedelta(hours=1)
"""House default: the digest of a day waits so long for its night, which may be tried again meanwhile."""
OVERDUE: Final = timedelta(hours=6)
"""House default: a night that was not run so long after it was due is told as missing."""
_NOBODY: Final = Mailbox("Leachbook", "leachbook@localhost.invalid")


@dataclass(frozen=True, slots=True)
class ToldNow:
    """What was looked at and what came of it. `digest`: None where nothing is to be told now."""

    troubles: list[Trouble]
    digest: Digest | None


def tell_manager(home: Path, clock: Clock, environment: Mapping[str, str], say: Say) -> ToldNow:
    """Store today's digest, if there is one to tell, and send what is due. `clock` gives aware instants.

    Without a manager in the settings nobody is told. Raises SettingsError, MailError, OutboxError.
    """
    group = read_group(home)
    told = ToldNow([], None)
    if group.manager is not None:
        told = _store_digest(home, group, group.manager, clock(), say)
    if outbox_path(home).exists():
        transport = make_transport(group.mail, home, environment)
        with open_outbox(home) as outbox:
            delivered = deliver_due(outbox, transport, clock)
        if delivered.down:
            say(f"Mail cannot be sent now: {delivered.down}")
        if delivered.tried or delivered.down:
            log_delivered(home, delivered, clock(), by="schedule")
    return told


def _store_digest(home: Path, group: Group, manager: Person, now: datetime, say: Say) -> ToldNow:
    timetable = make_timetable(group.schedule, group.time_zone)
    state = read_schedule(home) or ScheduleState(since=now)
    done = what_is_done(home, state)
    summary = _read_summary(home)
    disk = _look_at_disk(home, group)
    speech = Speech(load_tongue(group.language), group.date_format)
    letters = _read_letters(home)
    last_told_on, known = _what_is_known(letters)
    troubles = find_troubles(
        _how_runs_stand(home, now, state, done, timetable),
        summary,
        # A notice that did not go out is no news for the next notice.
        (letter for letter in letters if letter.key.report != NOTICE),
        disk,
        told={one.key for one in known},
        speech=speech,
        now=now,
    )
    today = now.astimezone(timetable.zone).date()
    if not is_time_to_tell(now, done, timetable):
        return ToldNow(troubles, None)
    digest = plan_digest(
        troubles, known, today=today, last_told_on=last_told_on, unknown=unknown_kinds(summary, disk)
    )
    if digest is not None:
        subject, text = write_digest(digest, group.name, speech, tell_letters_over(letters, speech))
        with open_outbox(home) as outbox:
            _enqueue(outbox, group, manager, today, subject, text, digest, now)
        say(f"Notice to {manager.email}: {subject}")
    return ToldNow(troubles, digest)


def is_time_to_tell(now: datetime, done: Done, timetable: Timetable) -> bool:
    """Whether the day's digest may go: once its night was run, or an hour after that was due. Pure."""
    today = now.astimezone(timetable.zone).date()
    due = due_at(today, timetable.night, timetable.zone)
    if due is None or now < due:
        return False
    is_run = (
        done.night is not None and done.night >= today and (done.night_at is None or done.night_at >= due)
    )
    return is_run or now >= due + GRACE


def _how_runs_stand(
    home: Path, now: datetime, state: ScheduleState, done: Done, timetable: Timetable
) -> Runs:
    failed = read_failed_night(home)
    # A night that was killed could not write down that it failed; the schedule saw it end.
    open_failures = failed_runs(home, state)
    night, week = (
        next((one for one in open_failures if one.kind == kind), None) for kind in ("night", "week")
    )
    seen = None if night is None else (night.day, night.sentence)
    return Runs(
        failed_night=seen if failed is None else (failed.as_of, failed.sentence),
        missing_night=find_missing_night(now, done, timetable),
        failed_week=None if week is None else (week.day, week.sentence),
    )


def find_missing_night(now: datetime, done: Done, timetable: Timetable) -> date | None:
    """The newest night that ought to have been run some hours ago and was not. Pure."""
    long_ago = now - OVERDUE
    day = long_ago.astimezone(timetable.zone).date()
    due = due_at(day, timetable.night, timetable.zone)
    if due is None or due > long_ago:
        day -= timedelta(days=1)
    is_run = done.night is not None and done.night >= day
    is_new = done.night is None and done.since is not None and done.since > long_ago
    return None if is_run or is_new else day


def _read_summary(home: Path) -> Summary | None:
    try:
        return read_latest(home)
    except HomeError:
        return None


def _look_at_disk(home: Path, group: Group) -> Disk | None:
    try:
        free = shutil.disk_usage(home).free
    except OSError:
        return None
    return Disk(free, group.schedule.least_free_mb * 1_000_000)


def _read_letters(home: Path) -> list[Letter]:
    if not outbox_path(home).exists():
        return []
    with open_outbox(home) as outbox:
        return outbox.letters()


def _what_is_known(letters: list[Letter]) -> tuple[date | None, tuple[Told, ...]]:
    """When the manager was told last, and what he knows since."""
    notices = [letter for letter in letters if letter.key.report == NOTICE]
    if not notices:
        return None, ()
    return date.fromisoformat(notices[-1].key.period), unpack_known(notices[-1].facts)


def _enqueue(
    outbox: Outbox,
    group: Group,
    manager: Person,
    today: date,
    subject: str,
    text: str,
    digest: Digest,
    now: datetime,
) -> None:
    sender = group.mail.sender
    mailbox = _NOBODY if sender is None else Mailbox(sender.name, sender.email)
    # One a day: the day is the content too, so that a second one of the day cannot be stored.
    key = Key(NOTICE, "", today.isoformat(), manager.email, today.isoformat())
    message_id = make_message_id(key, to_wire(mailbox.email).rpartition("@")[2])
    parts = Parts(
        sender=mailbox,
        to=Mailbox(manager.name, manager.email),
        subject=subject,
        text=text,
        language=group.language,
    )
    outbox.enqueue(
        key,
        write_message(parts, message_id, now),
        message_id=message_id,
        subject=subject,
        now=now,
        facts=pack_known(digest.known),
    )
