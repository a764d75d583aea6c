"""An audit as a story: open what was known, look back, write tables and pages, note the hash in the ledger."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import __version__
from pipeline.audit.draw import draw_lots, make_drawn
from pipeline.audit.evidence import Attached, Period, add_background, attach
from pipeline.audit.known import Known, open_known
from pipeline.audit.pages import make_dossier
from pipeline.audit.sentences import add_sentences
from pipeline.audit.sheet import say_share
from pipeline.audit.since import tell_since
from pipeline.errors import AuditError, HomeError, ReportError
from pipeline.files import write_whole
from pipeline.intake import ledger
from pipeline.night_lock import night_lock
from pipeline.publish import settle_ledger, sweep
from pipeline.settings import Settings
from pipeline.trace.find import find_site
from pipeline.warehouse.audit import begin_audit, build_audit, fetch_audit
from pipeline.warehouse.connect import Connection

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Draw:
    """How many lots are drawn, and from which seed."""

    number: int
    seed: str


DOSSIER = "dossier.pdf"


@dataclass(frozen=True, slots=True)
class AuditResult:
    """A dossier that was written. `period`: as judged, which may end with the night before the day asked for.

    `beside`: what changed since, and the drawn lots' files, where asked for; `changes`: how many values changed since.
    """

    period: Period
    asked_until: date
    known: Known
    sha256: str
    path: Path
    tables: list[Attached]
    shares: list[dict[str, Any]]
    beside: list[Path]
    drawn: list[dict[str, Any]]
    changes: int | None


def run_audit(
    home: Path,
    from_on: date,
    to_on: date,
    site_id: str | None = None,
    *,
    as_known: date | None = None,
    draw: Draw | None = None,
    now: datetime,
    say: Say = lambda _: None,
) -> AuditResult:
    """Write the dossier of a period to out/audit/, with its tables beside it, and its hash into the ledger.

    `as_known`: judge by what was known at the end of that day; then what changed since is written beside it.
    `draw`: lots to draw for the auditor's own check. `now` is an aware instant.
    Raises HomeError, AuditError, SiteNotFound, NightRunning, ArchiveError, RebuildError, WarehouseError, ReportError.
    """
    if to_on < from_on:
        raise AuditError(f"--to {to_on} is before --from {from_on}; give the first day, then the last one.")
    if not ledger.ledger_path(home).exists():
        raise HomeError(f"{home}: no night has been run yet; run `leachbook nightly {home}` first.")
    with night_lock(home, now):
        sweep(home)
        settle_ledger(home)
        ledger.refuse_cut(home)
        with open_known(home, as_known, say) as (connection, known):
            period = _period(known, from_on, to_on, site_id)
            say("Looking back over the period")
            frames = look_back(connection, period, known)
        attached = attach(frames)
        say("Laying out the dossier")
        pdf = make_dossier(frames, period, known, attached)
        folder = home / "out" / "audit" / _folder(period, to_on, as_known)
        sha256 = hashlib.sha256(pdf).hexdigest()
        _write(folder, [(DOSSIER, pdf), *((one.file, one.data) for one in attached)])
        more: dict[str, bytes] = {}
        changes = None
        if as_known is not None:
            say("Looking for what changed since")
            with open_known(home, None) as (connection, newest):
                since = tell_since(frames, look_back(connection, period, newest), period, known, newest)
            changes = len(since.changes)
            more |= {"since.pdf": since.pdf, "since.csv": since.csv}
        drawn: set[tuple[str, str]] = set()
        if draw is not None:
            say("Laying out the drawn lots")
            chosen = draw_lots(frames["lots"].select("site_id", "lot_key").rows(), draw.number, draw.seed)
            drawn = set(chosen)
            name = "".join(letter if letter.isalnum() else "-" for letter in draw.seed)
            more[f"drawn_{draw.number}_{name}.pdf"] = make_drawn(frames, period, known, chosen, draw.seed)
        _write(folder, list(more.items()))
        files = [(DOSSIER, pdf), *((one.file, one.data) for one in attached), *more.items()]
        entry = ledger.audit_entry(
            now,
            sha256,
            folder=folder.name,
            files={name: hashlib.sha256(data).hexdigest() for name, data in files},
            **{
                "from": period.from_on.isoformat(),
                "to": period.to_on.isoformat(),
                "site": site_id,
                "as_of": known.as_of.isoformat(),
                "night": known.number,
                "leachbook": __version__,
            },
        )
        ledger.append(home, [entry])
    return AuditResult(
        period=period,
        asked_until=to_on,
        known=known,
        sha256=sha256,
        path=folder / DOSSIER,
        tables=attached,
        shares=_shares(frames, known.settings),
        beside=[folder / name for name in more],
        drawn=[row for row in frames["lots"].to_dicts() if (row["site_id"], row["lot_key"]) in drawn],
        changes=changes,
    )


def look_back(connection: Connection, period: Period, known: Known) -> dict[str, pl.DataFrame]:
    """Every table of a dossier, with its sentences."""
    begin_audit(connection, period.from_on, period.to_on, known.as_of, period.site_id)
    build_audit(connection)
    return add_background(
        add_sentences(fetch_audit(connection), known.language(period.site_id)), period, known
    )


def _period(known: Known, from_on: date, to_on: date, site_id: str | None) -> Period:
    if site_id is not None:
        site_id = find_site(known.settings, site_id).id
    until = min(to_on, known.as_of)
    if until < from_on:
        raise AuditError(
            f"--from {from_on} lies after the night of what was known ({known.as_of}); give an earlier day, or run "
            "`leachbook nightly` first."
        )
    return Period(from_on, until, site_id)


def _folder(period: Period, asked_until: date, as_known: date | None) -> str:
    asked = Period(period.from_on, asked_until, period.site_id).name
    return asked if as_known is None else f"{asked}_as-known-{as_known}"


def _write(folder: Path, files: Sequence[tuple[str, bytes]]) -> None:
    try:
        for name, data in files:
            write_whole(folder / name, data)
    except OSError as error:
        raise ReportError(
            f"{folder} cannot be written: {error.strerror}; make room or give write permission."
        ) from error


def _shares(frames: dict[str, pl.DataFrame], settings: Settings) -> list[dict[str, Any]]:
    names = {site.id: site.name for site in settings.sites}
    rows = frames["compliance"].filter(pl.col("level").is_in(["group", "site"]) & (pl.col("part") == "all"))
    return [
        {"name": "All sites" if row["site_id"] is None else names[row["site_id"]], **row}
        for row in rows.sort("level", "site_id").iter_rows(named=True)
    ]


def describe_audit_result(result: AuditResult) -> dict[str, Any]:
    """What was written, for machines."""
    return {
        "from": result.period.from_on.isoformat(),
        "to": result.period.to_on.isoformat(),
        "site": result.period.site_id,
        "as_known": result.known.as_of.isoformat(),
        "dossier": str(result.path),
        "sha256": result.sha256,
        "tables": [one.file for one in result.tables],
        "beside": [str(path) for path in result.beside],
        "changes_since": result.changes,
        "drawn": [{"site": row["site_id"], "lot": row["lot_id"]} for row in result.drawn],
        "sites": [
            {
                "site": row["site_id"],
                "share_on_time": _number(row["share_on_time"]),
                "share_on_time_with_excused": _number(row["share_on_time_with_excused"]),
                "share_proper": _number(row["share_proper"]),
                **{
                    name: row[name]
                    for name in (
                        *(
                            "lots",
                            "dues",
                            "on_time",
                            "late",
                            "missed",
                            "excused",
                            "open_dues",
                            "not_knowable",
                        ),
                        *("history", "samplings", "longest_gap_days"),
                    )
                },
            }
            for row in result.shares
        ],
    }


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def tell_audit(result: AuditResult) -> list[str]:
    """What was written, for a person."""
    period, known = result.period, result.known
    told = [f"Audit {period.from_on} to {period.to_on}, as known at the end of {known.as_of}."]
    if result.asked_until > period.to_on:
        told.append(f"  What came after {period.to_on} was not known to that night and is not judged.")
    if not result.shares:
        told.append("  No lot stood in this period: nothing was due, and the dossier says so.")
    # of one site alone the group says the same
    for row in result.shares[1:] if len(result.shares) == 2 else result.shares:
        proper = "not shown" if row["share_proper"] is None else say_share(row["share_proper"])
        told.append(
            f"  {row['name']}: {row['dues']} dues of {row['lots']} lots, {say_share(row['share_on_time'])} on time "
            f"({say_share(row['share_on_time_with_excused'])} with the excused); {row['late']} late, {row['missed']} "
            f"missed, {row['open_dues']} open; proper {proper}; longest gap {row['longest_gap_days']} days."
        )
    if result.drawn:
        told.append("  Drawn for a check of your own:")
        told += [f"    {row['site_id']}: {row['lot_id']} {row['crop']}" for row in result.drawn]
    if result.changes is not None:
        told.append(
            "  Nothing of it changed since."
            if result.changes == 0
            else f"  Since then {result.changes} values changed; since.pdf and since.csv name them."
        )
    told += [f"  {path}" for path in result.beside]
    return [*told, f"  {result.path}", f"  SHA-256 {result.sha256}, noted in the ledger."]
