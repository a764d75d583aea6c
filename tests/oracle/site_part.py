"""The part of a site in the oracle's summary: lines by fate, held lines, meters, water, findings, policy, lots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any

from tests.oracle.attention import LEVELS
from tests.oracle.calendar import calendar_part
from tests.oracle.dues import STATES, plan_on, state_on
from tests.oracle.fates import Ref, SiteFacts
from tests.oracle.intervals import slack_part
from tests.oracle.lot_account import plan_part, weeks_part
from tests.oracle.lot_part import iso, lot_part
from tests.oracle.meters import meter_part, quality_part
from tests.oracle.records import Record
from tests.oracle.samplings import Sampling
from tests.oracle.settings import Home, Policy, SiteSettings, policy_on
from tests.oracle.sheet import sheet_part
from tests.oracle.site_findings import all_site_findings, is_silent
from tests.oracle.standing import Standing
from tests.oracle.targets import References
from tests.oracle.water import Waters, water_part


def lines_part(facts: SiteFacts) -> dict[str, int]:
    """Physical lines and records of all files received so far, records by fate."""
    fates = Counter(fate.fate for fate in facts.fates.values())
    return {
        "lines": sum(file.read.lines for file in facts.files),
        "records": sum(len(file.read.records) for file in facts.files),
        **{
            fate: fates[fate]
            for fate in ("accepted", "held", "repeated", "superseded", "withdrawn", "not_data")
        },
    }


def not_data_part(records: Sequence[Record]) -> dict[str, Any]:
    """The first 50 records of a file that are neither data nor blank, how many more, and how many blank ones.

    Lines of a sheet that are not filled in are counted like blank ones, for themselves.
    """
    aside = [record for record in records if record.kind not in ("data", "blank", "not_filled_in")]
    return {
        "not_data": [{"line": one.line_from, "rule": one.kind, "text": one.text} for one in aside[:50]],
        "not_data_more": len(aside[50:]),
        "blank_lines": sum(1 for record in records if record.kind == "blank"),
        "not_filled_in": sum(1 for record in records if record.kind == "not_filled_in"),
    }


def held_part(facts: SiteFacts) -> list[dict[str, Any]]:
    """Held records by cause and by what they wait for, with every record that an example may show."""
    groups: dict[tuple[str, str | None], list[Ref]] = {}
    for ref, fate in facts.fates.items():
        if fate.fate == "held":
            groups.setdefault((fate.cause or "", fate.what), []).append(ref)
    return [
        {
            "cause": cause,
            "what": what,
            "records": len(refs),
            "may_show": [
                {
                    "file": facts.files[ref.file_no].name,
                    "line": facts.files[ref.file_no].read.records[ref.record_no - 1].line_from,
                    "text": facts.files[ref.file_no].read.records[ref.record_no - 1].text,
                }
                for ref in refs
            ],
        }
        for (cause, what), refs in groups.items()
    ]


def gave_way(before: SiteFacts | None, now: SiteFacts, word: str) -> int:
    """Lines that are superseded or withdrawn tonight and were not last night; files held whole do not count."""
    was = before.fates if before is not None else {}
    return sum(
        1
        for ref, fate in now.fates.items()
        if fate.fate == word
        and (ref not in was or was[ref].fate != word)
        and now.files[ref.file_no].read.file_problem is None
    )


def released(before: SiteFacts | None, now: SiteFacts) -> list[Ref]:
    """Records held last night and accepted tonight."""
    if before is None:
        return []
    return [
        ref for ref, fate in before.fates.items() if fate.fate == "held" and now.fates[ref].fate == "accepted"
    ]


def released_files(before: SiteFacts | None, now: SiteFacts) -> list[dict[str, Any]]:
    """The same by file: where these records begin, each run of lines as its first and last."""
    by_file: dict[int, list[int]] = {}
    for ref in released(before, now):
        record = now.files[ref.file_no].read.records[ref.record_no - 1]
        by_file.setdefault(ref.file_no, []).append(record.line_from)
    parts = []
    for file_no, lines in sorted(by_file.items()):
        runs: list[list[int]] = []
        for line in sorted(lines):
            if runs and runs[-1][-1] + 1 == line:
                runs[-1].append(line)
            else:
                runs.append([line])
        said = ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
        parts.append(
            {
                "file": now.files[file_no].name,
                "received_on": iso(now.files[file_no].received_on),
                "records": len(lines),
                "lines": f"{'line' if len(lines) == 1 else 'lines'} {said}",
            }
        )
    return parts


def policy_numbers(policy: Policy) -> dict[str, float]:
    """Values in force that are numbers, by name; those of container classes as class.value."""
    values = {name: float(value) for name, value in policy.values.items()}
    for container_class, numbers in policy.containers.items():
        for name, value in numbers.items():
            values[f"containers.{container_class}.{name}"] = float(value)
    return values


def site_part(
    home: Home,
    site: SiteSettings,
    facts: SiteFacts,
    before: SiteFacts | None,
    samplings: dict[str, list[Sampling]],
    ranked: list[tuple[int, Standing]],
    references: References,
    waters: Waters,
    as_of: date,
) -> dict[str, Any]:
    policy = policy_on(home, site, as_of)
    own = [(rank, standing) for rank, standing in ranked if standing.site_id == site.site_id]
    received = [file.received_on for file in facts.files]
    silent = (as_of - max(received)).days if received else None
    states = [(standing, state_on(standing.account, standing.dues, as_of)) for _, standing in own]
    dues = Counter(state for _, state in states)
    planned = [
        (standing.lot, one) for _, standing in own for one in plan_on(standing.account, standing.dues, as_of)
    ]
    minutes = float(policy["minutes_per_pot"])
    meters = {reading.meter_id for reading in facts.readings if reading.meter_id is not None} | {
        calibration.meter_id for calibration in facts.calibrations
    }
    return {
        "site_id": site.site_id,
        "name": site.name,
        "language": site.language,
        "paper": site.paper,
        "date_format": site.date_format,
        "growers": [
            {
                "grower_id": grower["id"],
                "name": grower["name"],
                "houses": list(grower.get("houses", [])),
            }
            for grower in site.growers
        ],
        "first_received_on": iso(min(received)) if received else None,
        "last_received_on": iso(max(received)) if received else None,
        "nights_silent": silent,
        "is_silent": is_silent(facts, policy, as_of),
        "last_reading_on": iso(max((reading.sampled_on for reading in facts.readings), default=None)),
        "lots_by_level": {
            level: sum(1 for _, standing in own if standing.level == level) for level in LEVELS
        },
        "dues_by_state": {state: dues[state] for state in STATES},
        "pots_due": sum(
            standing.dues[0].pots
            for standing, state in states
            if state in ("overdue", "never_sampled", "due_this_week")
        ),
        "lots_on_time": sum(1 for _, state in states if state not in ("overdue", "never_sampled")),
        "plan": plan_part(planned, minutes, as_of),
        "plan_weeks": weeks_part(planned, minutes, as_of),
        "slack_intervals": slack_part(
            policy, (standing.lot.container_class for _, standing in own), references.frequencies
        ),
        "quality_28_days": quality_part(samplings, policy, as_of),
        "lines": lines_part(facts),
        "files_tonight": [
            {
                "name": file.name,
                "kind": file.export.kind,
                "received_on": iso(file.received_on),
                "lines": file.read.lines,
                "records": len(file.read.records),
                "is_held": file.read.file_problem is not None,
                **not_data_part(file.read.records),
            }
            for file in facts.files
            if file.received_on == as_of
        ],
        "released_tonight": len(released(before, facts)),
        "released_files": released_files(before, facts),
        "superseded_tonight": gave_way(before, facts, "superseded"),
        "withdrawn_tonight": gave_way(before, facts, "withdrawn"),
        "held": held_part(facts),
        "meters": [meter_part(meter, facts, home, site, as_of) for meter in sorted(meters)],
        "water": water_part(waters),
        "time_zone": site.time_zone,
        "calendar": calendar_part(site, [standing for _, standing in own], minutes, as_of),
        "policy": policy_numbers(policy),
        "findings": [
            {"rule": rule, "level": level}
            for rule, level in all_site_findings(
                facts, samplings, [standing for _, standing in own], waters, policy, references, as_of
            )
        ],
        "lots": [
            lot_part(standing, rank, policy, references, facts, waters, site, as_of) for rank, standing in own
        ],
        "sheet": sheet_part(site, [standing for _, standing in own], facts, policy, as_of),
        "lots_ended": sum(
            1 for lot in facts.lots.values() if lot.ends_on is not None and lot.ends_on < as_of
        ),
    }
