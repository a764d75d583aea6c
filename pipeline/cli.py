"""The command line: parse, call, print. Results on standard output, progress and errors on standard error."""

from __future__ import annotations

import json
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from datetime import UTC, date, datetime
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import Any, Literal, NoReturn

import click

from pipeline import __version__
from pipeline.errors import LeachbookError
from pipeline.stopping import Stopped, begin_worker, stop_in_order

Say = Callable[[str], None]
HOME = click.argument("home", type=click.Path(path_type=Path, file_okay=False))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")


class _Day(click.DateTime):
    """A day as the ledger writes it."""

    def __init__(self) -> None:
        super().__init__(formats=["%Y-%m-%d"])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"{value!r} is no day that can be read here; write it like 2026-11-20.", param, ctx)


DAY = _Day()


class _KindOfFile(click.ParamType[str]):
    """A kind that the settings know; they are loaded when one is named, so that starting stays quick."""

    name = "kind"

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str | None:
        return self._choice().get_metavar(param, ctx)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        return self._choice().convert(value, param, ctx)

    @staticmethod
    def _choice() -> click.Choice[str]:
        from pipeline.settings.words import KINDS

        return click.Choice(KINDS)


KIND = _KindOfFile()


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="leachbook")
def cli() -> None:
    """Watch container crops over all your sites by the pour-through method.

    A home is a folder with the settings of a group and a drop folder for each site's CSV exports.

    \b
    leachbook demo              see everything on four invented sites
    leachbook new my_home       make a home of your own
    leachbook nightly my_home   read what arrived, judge it, render the pages
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; an error of the user is one sentence and exit code 2."""
    is_machine = "--json" in (sys.argv[1:] if arguments is None else arguments)
    try:
        with stop_in_order():
            cli.main(arguments, standalone_mode=False)
    except Stopped as stop:
        _refuse(f"Stopped by {stop}; what was published before stands.", stop.exit_code, as_json=is_machine)
    except LeachbookError as error:
        _refuse(str(error), error.exit_code, as_json=is_machine)
    except OSError as error:
        place = error.filename or "A file"
        reason = error.strerror or type(error).__name__
        sentence = f"{place}: {reason}; check the disk's free space and who may write there."
        _refuse(sentence, LeachbookError.exit_code, as_json=is_machine)
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except click.ClickException as error:
        if is_machine:
            _refuse(error.format_message(), error.exit_code, as_json=True)
        error.show()
        sys.exit(error.exit_code)
    except click.exceptions.Exit as finished:
        sys.exit(finished.exit_code)
    except Exception:
        # Python would end with 1, which a night's timer takes for success.
        traceback.print_exc()
        sentence = "This is a fault of Leachbook, please report it; what was published before stands."
        _refuse(sentence, LeachbookError.exit_code, as_json=is_machine)


def _refuse(sentence: str, code: int, *, as_json: bool, beside: Mapping[str, Any] | None = None) -> NoReturn:
    """End with an error: its sentence on standard error, for a machine also as an object on standard output.

    `beside`: what the command found all the same.
    """
    click.echo(sentence, err=True)
    if as_json:
        told = {**(beside or {}), "error": sentence, "exit_code": code}
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    sys.exit(code)


@cli.command()
@HOME
def new(home: Path) -> None:
    """Make HOME: commented settings, ready for a first site.

    Example: leachbook new my_home
    """
    from pipeline.settings import write_new_home

    write_new_home(home)
    click.echo(f"{home} is ready.")
    click.echo(
        f"Next: open {home / 'leachbook.toml'} and the site.toml under {home / 'sites'}, put an export"
    )
    click.echo(f"into the site's drop folder, and run: leachbook nightly {home}")


@cli.command()
@HOME
@click.option("--as-of", type=DAY, help="The day to judge from, YYYY-MM-DD (today by default).")
@AS_JSON
def nightly(home: Path, as_of: datetime | None, as_json: bool) -> None:
    """Read what the sites dropped into HOME, judge it and render the pages.

    Ends with 0 when all is well, 1 when something is held or a site is quiet, 2 when it could not run.

    Example: leachbook nightly my_home --as-of 2026-04-06
    """
    from pipeline.nightly import run_night
    from pipeline.overview_lines import describe_night, tell_night

    with _progress() as say, _pool() as executor:
        result = run_night(home, _day(as_of), now=datetime.now(UTC), say=say, executor=executor)
    _print(as_json, describe_night(result), tell_night(result))
    sys.exit(1 if result.needs_somebody else 0)


@cli.command()
@HOME
@click.option("--as-of", type=DAY, help="The day to judge from, YYYY-MM-DD (today by default).")
@click.option(
    "--week",
    type=DAY,
    help="The day of the mail, YYYY-MM-DD, whose week this is (that of --as-of by default).",
)
@click.option("--no-send", is_flag=True, help="Write the messages to be looked at; store and send nothing.")
@AS_JSON
def weekly(home: Path, as_of: datetime | None, week: datetime | None, no_send: bool, as_json: bool) -> None:
    """Run the night of HOME if it has not run, then mail each head grower the week's report.

    Every message is stored in the outbox before the first one is sent. What was said this week is not said again; what
    changed since goes out as a correction. Ends with 0 when all is well, 1 when the night or a message needs
    somebody, 2 when it could not run.

    Example: leachbook weekly my_home --no-send
    """
    from pipeline.overview_lines import describe_night, tell_night
    from pipeline.run_lines import find_zone
    from pipeline.weekly import run_week
    from pipeline.weekly_lines import describe_week, tell_week

    with _progress() as say, _pool() as executor:
        result = run_week(
            home,
            _day(as_of),
            week=_day(week),
            now=datetime.now(UTC),
            clock=lambda: datetime.now(UTC),
            environment=os.environ,
            is_sending=not no_send,
            say=say,
            executor=executor,
        )
    described = {"night": describe_night(result.night), **describe_week(result)}
    told = tell_night(result.night, standing_home=None if result.was_night_run else home)
    _print(as_json, described, [*told, *tell_week(result, home, find_zone(home))])
    sys.exit(1 if result.needs_somebody else 0)


@cli.command()
@HOME
@click.option("--all", "is_all", is_flag=True, help="List what is done with as well.")
@click.option(
    "--resend", type=int, multiple=True, metavar="NUMBER", help="Make a letter due again; repeatable."
)
@click.option(
    "--cancel", type=int, multiple=True, metavar="NUMBER", help="Let a letter not be sent; repeatable."
)
@click.option("--send", is_flag=True, help="Send what is due now.")
@AS_JSON
def outbox(
    home: Path, is_all: bool, resend: tuple[int, ...], cancel: tuple[int, ...], send: bool, as_json: bool
) -> None:
    """List the letters of HOME that are not done with; resend, cancel, send what is due.

    A letter that is resent keeps its text and Message-ID. Ends with 1 when letters are failed or unknown, which
    nothing but you ends, or when no mail can be sent; else with 0.

    Example: leachbook outbox my_home --resend 12 --send
    """
    from pipeline.outbox_run import (
        change_letters,
        describe_delivered,
        describe_outbox,
        list_letters,
        send_due,
        tell_delivered,
        tell_outbox,
    )
    from pipeline.run_lines import find_zone

    if resend or cancel:
        change_letters(home, resend=resend, cancel=cancel, now=datetime.now(UTC))
    delivered = None
    if send:
        delivered = send_due(home, clock=lambda: datetime.now(UTC), environment=os.environ)
    listed = list_letters(home)
    described = {
        "sent": None if delivered is None else describe_delivered(delivered),
        "letters": describe_outbox(listed),
    }
    told = [] if delivered is None else tell_delivered(delivered)
    _print(as_json, described, [*told, *tell_outbox(home, listed, find_zone(home), is_all=is_all)])
    is_stuck = any(one.letter.state in ("failed", "unknown") for one in listed)
    sys.exit(1 if is_stuck or (delivered is not None and delivered.down) else 0)


@cli.command()
@HOME
@AS_JSON
def status(home: Path, as_json: bool) -> None:
    """Say who needs what in HOME, when the last good night was, how long its stages took, and what failed since.

    Mail that failed, or that may have arrived or not, is named with the command that mends it.

    Ends with 0, or with 2 when there is no home or its warehouse is missing or damaged.

    Example: leachbook status my_home
    """
    from pipeline.mail_lines import describe_mail, tell_mail
    from pipeline.overview_lines import check_warehouse, describe_status, read_latest, tell_status
    from pipeline.run_lines import describe_runs, find_zone, tell_runs

    summary = read_latest(home)
    runs, mail = describe_runs(home), describe_mail(home)
    described = {**describe_status(summary), **runs, "mail": mail}
    told = tell_status(summary, [*tell_runs(runs, find_zone(home)), *tell_mail(mail, home)])
    try:
        check_warehouse(home)
    except LeachbookError as error:
        # What the pages say is still worth knowing.
        if not as_json:
            _print(False, None, told)
        _refuse(str(error), error.exit_code, as_json=as_json, beside=described)
    _print(as_json, described, told)


@cli.command()
@HOME
@click.option("--all", "show_all", is_flag=True, help="List every line, not the first five of each cause.")
@click.option(
    "--not-data",
    "not_data",
    is_flag=True,
    help="List what is no data in each site's newest files, and by which rule.",
)
@click.option(
    "--read-again",
    "read_again",
    is_flag=True,
    help="List every value that changed when mended settings last had files read again.",
)
@AS_JSON
def held(home: Path, show_all: bool, not_data: bool, read_again: bool, as_json: bool) -> None:
    """List the held lines of HOME: file, line, reason, and what would release them.

    Example: leachbook held my_home
    """
    from pipeline.held import (
        list_held,
        list_not_data,
        list_refused,
        list_reread,
        tell_held,
        tell_not_data,
        tell_reread,
    )
    from pipeline.settings import load_settings
    from pipeline.warehouse.connect import reader
    from pipeline.warehouse.query import fetch_held, fetch_not_data, fetch_refused, fetch_reread_lines

    settings = load_settings(home)
    with reader(home) as connection:
        if not_data:
            files = list_not_data(*fetch_not_data(connection))
            _print(as_json, [file.model_dump(mode="json") for file in files], tell_not_data(files))
            return
        if read_again:
            nights = list_reread(fetch_reread_lines(connection))
            _print(as_json, [one.model_dump(mode="json") for one in nights], tell_reread(nights))
            return
        causes = list_refused(*fetch_refused(connection)) + list_held(*fetch_held(connection), settings)
    _print(as_json, [cause.model_dump(mode="json") for cause in causes], tell_held(causes, show_all=show_all))


@cli.command()
@HOME
@click.argument("site")
@click.argument("lot", required=False)
@click.option("--on", type=DAY, help="The day of the sampling, YYYY-MM-DD (the last one by default).")
@AS_JSON
def trace(home: Path, site: str, lot: str | None, on: datetime | None, as_json: bool) -> None:
    """Follow the figures of LOT at SITE back to file, line and cell; without LOT those of its meters, water and feed.

    Example: leachbook trace my_home north-range NR-101 --on 2026-03-31
    """
    from pipeline.settings import load_settings
    from pipeline.trace import trace_lot, trace_site, write_site_trace, write_trace
    from pipeline.warehouse.connect import reader

    settings = load_settings(home)
    with reader(home) as connection:
        if lot is None:
            checks = trace_site(connection, settings, site)
            _print(as_json, checks.model_dump(mode="json"), write_site_trace(checks))
            return
        traced = trace_lot(connection, settings, site, lot, _day(on))
    _print(as_json, traced.model_dump(mode="json"), write_trace(traced))


@cli.command()
@HOME
@click.argument("site")
@click.option("--for", "until", type=DAY, help="Sample what is due up to this day, YYYY-MM-DD.")
@AS_JSON
def sheet(home: Path, site: str, until: datetime | None, as_json: bool) -> None:
    """Write the sampling sheet of SITE in HOME: a PDF for the clipboard, and the CSVs to fill in and drop.

    It asks for what is due until six days after the newest night, overdue lots included, or up to --for DATE.

    Example: leachbook sheet my_home north-range --for 2026-04-10
    """
    from pipeline.sheet_run import describe_sheet, tell_sheet, write_sheet

    written = write_sheet(home, site, _day(until))
    _print(as_json, describe_sheet(written), tell_sheet(written))


@cli.command()
@HOME
@click.argument("site")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--kind", type=KIND, help="What the file holds.")
@click.option(
    "--answer", "answers", multiple=True, metavar="KEY=VALUE", help="Answer a question; repeatable."
)
@click.option("--yes", is_flag=True, help="Write the block without asking, if no question is open.")
@AS_JSON
def adopt(
    home: Path, site: str, file: Path, kind: str | None, answers: tuple[str, ...], yes: bool, as_json: bool
) -> None:
    """Propose an [[export]] for FILE of SITE in HOME and append it to the site's site.toml.

    Shows dialect, columns, units and words, how sure each is and why, and five lines as they would be read.
    What the file does not tell is asked on a terminal; elsewhere it is listed and can be given by --answer.
    Ends with 0 when the block was written or nothing is open, 1 when questions are open, 2 when it could not run.

    Example: leachbook adopt my_home first-site ~/Downloads/Messwerte.csv
    """
    from pipeline.adopt import adopt_file, append_block
    from pipeline.adopt.prompt import ask_on_terminal
    from pipeline.adopt.questions import read_answers
    from pipeline.adopt.tell import describe_proposal, tell_proposal, tell_question, tell_written

    given = read_answers(answers)
    is_asked = not as_json and sys.stdin.isatty() and sys.stdout.isatty()
    adoption = adopt_file(home, site, file, kind, given)
    while is_asked and adoption.proposal.questions:
        question = adoption.proposal.questions[0]
        given[question.key] = ask_on_terminal(question)
        adoption = adopt_file(home, site, file, kind, given)
    proposal, preview = adoption.proposal, adoption.preview
    if not as_json:
        _print(False, None, tell_proposal(proposal, preview))
    is_open = bool(proposal.questions)
    is_wanted = yes or (is_asked and click.confirm("Append this to site.toml?", default=True))
    path = append_block(home, adoption) if is_wanted and not is_open else None
    if as_json:
        described = describe_proposal(
            proposal, preview, adoption.block, site=adoption.site.id, written=path is not None
        )
        _print(True, described, [])
    elif path is not None:
        click.echo(tell_written(proposal, path, path.parent / "drop"))
    elif is_open:
        click.echo("Open questions; answer each with --answer KEY=VALUE. Nothing was written.")
        for question in proposal.questions:
            for line in tell_question(question):
                click.echo(line)
    else:
        click.echo("Nothing was written; add --yes to append the block to site.toml.")
    sys.exit(1 if is_open else 0)


@cli.command()
@click.argument("home", type=click.Path(path_type=Path), metavar="HOME|DOSSIER.pdf")
@click.option(
    "--archive",
    "archive_folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="For a dossier: the archive folder, or a copy of it.",
)
@AS_JSON
def verify(home: Path, archive_folder: Path | None, as_json: bool) -> None:
    """Prove HOME, or a dossier away from its home.

    HOME: hash the archive, walk the ledger, read every block of the warehouse, balance the lines.
    DOSSIER.pdf with --archive: attachments against their index, the evidence against archive and ledger, compliance
    computed again, every table made anew.

    Ends with 0 when all is proven, 1 when something is wrong (each thing with place and mend), 2 when it could not run.

    Example: leachbook verify dossier.pdf --archive copy_of_archive
    """
    if home.is_file():
        _verify_dossier(home, archive_folder, as_json=as_json)
    if archive_folder is not None:
        raise click.UsageError(
            f"--archive goes with a dossier, but {home} is a folder; leave it out."
            if home.is_dir()
            else f"{home}: there is no such file; give the dossier's PDF."
        )
    from pipeline.verify import describe_verify, tell_verify, verify_home

    with _progress() as say:
        result = verify_home(home, now=datetime.now(UTC), say=say)
    _print(as_json, describe_verify(result), tell_verify(result))
    sys.exit(1 if result.findings else 0)


def _verify_dossier(dossier: Path, archive_folder: Path | None, *, as_json: bool) -> NoReturn:
    from pipeline.audit.check import check_dossier, describe_check, tell_check

    if archive_folder is None:
        raise click.UsageError(f"{dossier} is a file: say with --archive where the archive of its home is.")
    with _progress() as say:
        checked = check_dossier(dossier, archive_folder, say=say)
    _print(as_json, describe_check(checked), tell_check(checked))
    sys.exit(1 if checked.findings else 0)


@cli.command()
@HOME
@AS_JSON
def rebuild(home: Path, as_json: bool) -> None:
    """Make the warehouse of HOME anew from its archive and ledger; the one before is kept beside it.

    Example: leachbook rebuild my_home
    """
    from pipeline.rebuild import describe_rebuild, tell_rebuild
    from pipeline.rebuild import rebuild as rebuild_home

    with _progress() as say:
        result = rebuild_home(home, now=datetime.now(UTC), say=say)
    _print(as_json, describe_rebuild(result), tell_rebuild(result))


@cli.command()
@HOME
@click.option("--from", "from_on", type=DAY, required=True, help="First day of the period, YYYY-MM-DD.")
@click.option("--to", "to_on", type=DAY, required=True, help="Last day of the period, YYYY-MM-DD.")
@click.option("--site", help="One site alone.")
@click.option("--as-known", type=DAY, help="Judge by what was known at the end of this day, YYYY-MM-DD.")
@click.option("--draw", "number", type=click.IntRange(1), help="Draw so many lots for a check of your own.")
@click.option("--seed", help="What they are drawn by: the same seed draws the same lots.")
@AS_JSON
def audit(
    home: Path,
    from_on: datetime,
    to_on: datetime,
    site: str | None,
    as_known: datetime | None,
    number: int | None,
    seed: str | None,
    as_json: bool,
) -> None:
    """Write the auditor's dossier of HOME for a period: a PDF with its evidence attached, and the same tables as CSV.

    Its SHA-256 is printed and kept in the ledger. With --as-known an earlier state is made again from the archive, and
    what changed since is written beside it. With --draw and --seed the full files of lots drawn at random, by site.

    Example: leachbook audit my_home --from 2026-01-01 --to 2026-03-31
    """
    from pipeline.audit.run import Draw, describe_audit_result, run_audit, tell_audit

    if (number is None) != (seed is None):
        raise click.UsageError(
            "--draw and --seed go together: say how many lots, and a seed that you choose."
        )
    draw = None if number is None or seed is None else Draw(number, seed)
    with _progress() as say:
        result = run_audit(
            home,
            from_on.date(),
            to_on.date(),
            site,
            as_known=_day(as_known),
            draw=draw,
            now=datetime.now(UTC),
            say=say,
        )
    _print(as_json, describe_audit_result(result), tell_audit(result))


@cli.command()
@HOME
@click.option(
    "--format", "form", type=click.Choice(["parquet", "csv", "xlsx"]), default="xlsx", show_default=True
)
@AS_JSON
def tables(home: Path, form: Literal["parquet", "csv", "xlsx"], as_json: bool) -> None:
    """Hand out the tables of HOME's newest night with a dictionary of every column, for whatever you use next.

    Example: leachbook tables my_home --format parquet
    """
    from pipeline.tables import describe_tables, tell_tables, write_tables

    result = write_tables(home, form)
    _print(as_json, describe_tables(result), tell_tables(result))


@cli.command()
@HOME
@click.option("--print", "form", type=click.Choice(["systemd", "cron"]), help="Print units or lines instead.")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Write the units into this folder.")
@click.option("--once", is_flag=True, help="Do what is due now, and end.")
@AS_JSON
def schedule(home: Path, form: str | None, folder: Path | None, once: bool, as_json: bool) -> None:
    """Keep the runs of HOME going: the night each day, the growers' mail each week, as leachbook.toml says.

    With --print, units for systemd or lines for cron, which ask it from then on: the main road. With --once it does
    what is due and ends: with 0 when all is well, 1 when something is held or a site is quiet, 2 when a run failed.
    Without either it stays, asks itself once a minute, and ends by Ctrl-C or SIGTERM.

    Example: leachbook schedule my_home --print systemd
    """
    from pipeline.schedule.run import keep, once_now, print_units

    if form is not None:
        written = print_units(home, form, folder)
        _print(as_json, written.files, written.lines)
        return
    if folder is not None:
        raise click.UsageError("--to goes with --print systemd; add it, or leave --to out.")

    def say(text: str) -> None:
        click.echo(text, err=True)

    if not once:
        keep(home, say=say)
    result = once_now(home, say=say)
    _print(as_json, result.described, [])
    sys.exit(result.exit_code)


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default="leachbook_demo")
@AS_JSON
def demo(folder: Path, as_json: bool) -> None:
    """Copy four invented sites into FOLDER (leachbook_demo by default), run two nights, a week and an audit over them.

    Example: leachbook demo
    """
    from pipeline.demo import run_demo
    from pipeline.overview_lines import describe_night, tell_demo
    from pipeline.weekly_lines import describe_week

    started = datetime.now(UTC)
    with _progress() as say, _pool() as executor:
        result = run_demo(folder, now=started, say=say, executor=executor)
    seconds = (datetime.now(UTC) - started).total_seconds()
    described = [describe_night(night) for night in result.nights]
    described[-1]["week"] = describe_week(result.week)
    described[-1]["dossier"] = str(result.dossier)
    _print(as_json, described, tell_demo(result, seconds))


def _day(value: datetime | None) -> date | None:
    return None if value is None else value.date()


def _print(as_json: bool, data: Any, lines: list[str]) -> None:
    if as_json:
        click.echo(json.dumps(data, ensure_ascii=False, indent=2))
    else:
        for line in lines:
            click.echo(line)


@contextmanager
def _progress() -> Iterator[Say]:
    """A moving line on a terminal, plain lines elsewhere; both on standard error."""
    if not sys.stderr.isatty():
        yield lambda text: click.echo(text, err=True)
        return
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("Starting") as spinner:
        yield lambda text: spinner.update(text)


@contextmanager
def _pool() -> Iterator[Executor]:
    """Worker processes for rendering; never forked, since the libraries hold locks that a fork would copy."""
    executor = ProcessPoolExecutor(mp_context=get_context("forkserver"), initializer=begin_worker)
    with executor:
        try:
            yield executor
        except Stopped:
            # Pages that nobody will read are not waited for.
            executor.shutdown(wait=False, cancel_futures=True)
            for worker in active_children():
                worker.terminate()
            raise


if __name__ == "__main__":
    main()
