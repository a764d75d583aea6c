"""One week, as a story: the night if it has not run, a message to each head grower into the outbox, then the post."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from pipeline.delivery.outbox import OPEN_STATES, Letter, Outbox, open_outbox, outbox_path
from pipeline.delivery.post import Clock, Delivered, deliver_due
from pipeline.delivery.transports import FolderTransport
from pipeline.delivery.ways import make_transport
from pipeline.delivery.week_letters import (
    WEEKLY,
    SiteMail,
    Written,
    write_site_letters,
)
from pipeline.delivery.week_names import begin_week, name_period
from pipeline.errors import AsOfError, MailError
from pipeline.files import write_whole
from pipeline.night_lock import night_lock
from pipeline.nightly import NightResult, Render, find_night, run_night
from pipeline.reports.render import render_night
from pipeline.reports.summary import Summary
from pipeline.run_record import recorded_week
from pipeline.settings import Settings, load_settings

Say = Callable[[str], None]
PREVIEW: Final = "mail-preview"
SITES_AT_ONCE: Final = 8
"""House default: so many sites' messages are in memory at once."""
FARTHEST_WEEK: Final = timedelta(days=10)
"""House default: a week is made up within seven days, from a night that may have been judged some days before."""
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class WeekResult:
    """What a week did. `written`: one for each recipient; `delivered`: None where nothing was to be sent.

    `open_letters`: all letters of the outbox that are not done with, older ones too; `no_grower`: sites of which nobody
    is told; `preview`: the folder with the messages of a week that sends nothing.
    """

    night: NightResult
    was_night_run: bool
    written: list[Written]
    open_letters: list[Letter]
    no_grower: list[str]
    delivered: Delivered | None = None
    post_folder: Path | None = None
    preview: Path | None = None

    @property
    def needs_somebody(self) -> bool:
        """Something of the night or of the mail waits for somebody: exit code 1."""
        return bool(self.night.needs_somebody or self.open_letters or self.no_grower)


def run_week(
    home: Path,
    as_of: date | None = None,
    *,
    week: date | None = None,
    now: datetime,
    clock: Clock,
    environment: Mapping[str, str],
    is_sending: bool = True,
    say: Say = lambda _: None,
    executor: Executor | None = None,
    render: Render = render_night,
) -> WeekResult:
    """Run the week of `as_of` (the group's today by default): the night if it has not run, then the growers' mail.

    Every message is in the outbox before the first one is sent. What was said before is not said again; what changed
    goes out as a correction. `week`: the day of the mail whose week this is; a week that an outage put off, or whose
    hour comes before the night's, judges from a night of another week, and must not be named after that. `clock` gives
    the instants of sending, `environment` may hold the password. Raises what `run_night` raises, AsOfError, MailError,
    OutboxError.
    """
    settings = load_settings(home)
    # A password that is missing is told before an hour of work, not after it.
    transport = make_transport(settings.group.mail, home, environment) if is_sending else None
    day = as_of or now.astimezone(ZoneInfo(settings.group.time_zone)).date()
    begun = begin_week(_check_week(week, day) or day, settings.group.schedule.mail_day)
    night = find_night(home, settings, day)
    was_run = night is None
    if night is None:
        night = run_night(home, day, now=now, say=say, executor=executor, render=render)
    no_grower = [site.name for site in settings.sites if not site.growers]
    # No night may put other pages in place while these are read.
    if transport is None:
        with night_lock(home, now):
            night = _find_again(home, settings, night)
            written, preview = _preview(home, settings, night, begun, now, executor, say)
        return WeekResult(night, was_run, written, [], no_grower, preview=preview)
    with recorded_week(home, now) as record, open_outbox(home) as outbox:
        with record.stage("write messages") as counts, night_lock(home, now):
            night = _find_again(home, settings, night)
            written = _store(outbox, settings, night, begun, now, executor, say)
            counts |= {str(kind): number for kind, number in Counter(one.kind for one in written).items()}
        say("Sending")
        with record.stage("send") as counts:
            delivered = deliver_due(outbox, transport, clock, say=say)
            counts |= {str(state): number for state, number in delivered.by_state.items()}
            counts["put_off"] = delivered.postponed
        if delivered.down:
            record.log.warning("mail cannot be sent", sentence=delivered.down)
        outbox.forget_messages(clock())
        record.is_good_week(begun, night.summary.night.as_of)
        still_open = [letter for letter in outbox.letters() if letter.state in OPEN_STATES]
    folder = transport.folder if isinstance(transport, FolderTransport) else None
    return WeekResult(night, was_run, written, still_open, no_grower, delivered, folder)


def _find_again(home: Path, settings: Settings, night: NightResult) -> NightResult:
    """The night as its pages stand now; one that this week ran itself is still told with what it loaded."""
    found = find_night(home, settings, night.summary.night.as_of)
    return night if found is None else replace(found, is_unchanged=night.is_unchanged)


def _check_week(week: date | None, as_of: date) -> date | None:
    """The day of the mail as it is given. Raises AsOfError where no night could be judged for it from that day."""
    if week is not None and abs(week - as_of) > FARTHEST_WEEK:
        raise AsOfError(
            f"--week {week}: is more than {FARTHEST_WEEK.days} days from {as_of}, from which it is judged; "
            "give the day of the mail, or leave --week out."
        )
    return week


def _store(
    outbox: Outbox,
    settings: Settings,
    night: NightResult,
    begun: date,
    now: datetime,
    executor: Executor | None,
    say: Say,
) -> list[Written]:
    """Write the messages and store them; those of one recipient together or not at all."""
    say("Writing messages")
    kept: list[Written] = []
    known = outbox.letters(report=WEEKLY, period=name_period(begun))
    for written in _write(settings, night, begun, known, now, executor):
        if written.withdrawn is not None:
            outbox.withdraw(written.withdrawn.key, now)
        if written.drafts:
            outbox.enqueue_together(written.drafts, now, is_replacing=True)
        kept.append(written.without_messages())
    return kept


def _preview(
    home: Path,
    settings: Settings,
    night: NightResult,
    begun: date,
    now: datetime,
    executor: Executor | None,
    say: Say,
) -> tuple[list[Written], Path]:
    """Write the messages into a folder to be looked at; the outbox is read, if there is one, and stays as it is."""
    say("Writing messages")
    known: list[Letter] = []
    if outbox_path(home).exists():
        with open_outbox(home) as outbox:
            known = outbox.letters(report=WEEKLY, period=name_period(begun))
    folder = FolderTransport(home / "out" / PREVIEW / night.summary.night.as_of.isoformat())
    kept = []
    for written in _write(settings, night, begun, known, now, executor):
        for draft in written.drafts:
            path = folder.path_of(draft.message_id)
            try:
                write_whole(path, draft.message)
            except OSError as error:
                raise MailError(
                    f"{path}: cannot be written ({error.strerror}); make room or give write permission."
                ) from error
        kept.append(written.without_messages())
    return kept, folder.folder


def _write(
    settings: Settings,
    night: NightResult,
    begun: date,
    known: Sequence[Letter],
    now: datetime,
    executor: Executor | None,
) -> Iterator[Written]:
    """The messages of all sites, some sites at once: a group's whole mail would not fit into memory."""
    jobs = list(plan_mail(settings, night.summary, night.out, known, now, begun))
    # Starting worker processes costs more than it saves where there is one site.
    pool = executor if len(jobs) > 1 else None
    for some in _take_in_turn(jobs, SITES_AT_ONCE):
        try:
            results = list(
                map(write_site_letters, some) if pool is None else pool.map(write_site_letters, some)
            )
        except BrokenExecutor as error:
            raise MailError(
                "A process that writes the messages was ended from outside, perhaps because memory ran out; what was "
                "stored before is in the outbox, run leachbook weekly again."
            ) from error
        for result in results:
            yield from result


def plan_mail(
    settings: Settings, summary: Summary, out: Path, known: Sequence[Letter], now: datetime, begun: date
) -> Iterator[SiteMail]:
    """One job for each site that has a grower; the week is named by the day on which it began. Pure."""
    of_site = {site.id: site for site in settings.sites}
    for site in summary.sites:
        growers = of_site[site.site_id].growers if site.site_id in of_site else ()
        if growers:
            yield SiteMail(
                summary=summary.model_copy(update={"sites": [site], "crop_contrasts": []}),
                out=out,
                mail=settings.group.mail,
                manager=settings.group.manager,
                growers=growers,
                known=tuple(letter for letter in known if letter.key.site == site.site_id),
                now=now,
                period=name_period(begun),
            )


def _take_in_turn(items: Sequence[_T], number: int) -> Iterable[Sequence[_T]]:
    return (items[start : start + number] for start in range(0, len(items), number))


__all__ = ["WeekResult", "plan_mail", "run_week"]
