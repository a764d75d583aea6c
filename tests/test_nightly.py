"""Nights over real files: what is published, what a second run leaves alone, what the archive and the ledger hold."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from pipeline.errors import AsOfError, SettingsError
from pipeline.intake import archive, ledger
from pipeline.nightly import run_night
from tests.home import (
    DAY,
    DROP,
    GOOD_PH,
    LOTS,
    NOW,
    READINGS_HEADER,
    SITE,
    drop,
    find_lot,
    make_home,
    night,
    night_by_command,
    only_site,
    pots,
    read_summary,
    run_cli,
)

NEXT_DAY = DAY + timedelta(days=1)
PAGES = (
    "overview.html",
    "overview.pdf",
    "sites/hill-sheet-calibrations.csv",
    "sites/hill-sheet.csv",
    "sites/hill-sheet.pdf",
    "sites/hill.html",
    "sites/hill.ics",
    "sites/hill.pdf",
    "summary.json",
    "summary.schema.json",
)


def times(home: Path) -> dict[str, int]:
    """When each published file was last written, to the nanosecond; links and the lock aside.

    So is what a run writes about itself, also one that changes nothing or is refused: health file, log, failure.
    """
    return {
        str(path.relative_to(home)): path.stat().st_mtime_ns
        for path in sorted(home.rglob("*"))
        if path.is_file()
        and not path.is_symlink()
        and path.name not in (".night.lock", "health.json", "runs.jsonl", "failed_night.json")
    }


def test_a_night_publishes_pages_warehouse_and_archive(one_night: Path) -> None:
    pages = one_night / "out" / "latest"
    assert str(pages.readlink()) == "2026-04-06"
    assert sorted(str(one.relative_to(pages)) for one in pages.rglob("*") if one.is_file()) == sorted(PAGES)
    names = {one.name for one in one_night.iterdir()}
    of_the_run = {".night.lock", "health.json", "log"}
    assert names == of_the_run | {"archive", "leachbook.toml", "out", "sites", "warehouse.duckdb"}


def test_a_good_night_needs_nobody(one_night: Path) -> None:
    summary = read_summary(one_night)
    assert summary.lots_by_level == {"act": 0, "no_reading": 0, "watch": 0, "ok": 2}
    assert (summary.night.new_files, summary.night.new_records) == (3, 17)


def test_a_night_tells_how_many_records_it_read_headers_included(tmp_path: Path) -> None:
    """Records, not lines: a note may break its line. The csv module counts the files as they lie there."""
    broken = READINGS_HEADER + 'H-1,2026-04-02,routine,1,5.8,2.6,50,M1,"two\nlines, one record"\n'
    home = make_home(tmp_path / "home", **{"readings_2026-04-02.csv": broken})
    files = sorted((home / DROP).iterdir())
    texts = [file.read_text(encoding="utf-8") for file in files]
    records = sum(len(list(csv.reader(io.StringIO(text)))) for text in texts)
    headers = len(files)
    assert (records, sum(text.count("\n") for text in texts), headers) == (8, 9, 3)
    ran = night_by_command(home, DAY)
    assert ran.out.splitlines()[0] == f"Night of {DAY}: 3 new files with {records} records, headers included."
    drop(home, "readings_2026-04-06.csv", READINGS_HEADER)
    ran = night_by_command(home, DAY)
    assert ran.out.splitlines()[0] == f"Night of {DAY}: 1 new file with 1 record, headers included."


def test_the_same_night_again_loads_nothing_and_writes_nothing(home: Path) -> None:
    before, first = times(home), read_summary(home)
    said: list[str] = []
    again = run_night(home, DAY, now=NOW, say=said.append)
    assert again.is_unchanged
    assert not again.needs_somebody
    assert again.summary == first
    assert times(home) == before
    assert said[-1] == "Nothing new: the pages of this night stand as they are"


def test_the_command_says_that_nothing_was_new(home: Path) -> None:
    digest = read_summary(home).night.facts_digest
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 0
    assert ran.out.splitlines()[0] == (
        f"Night of 2026-04-06: nothing new loaded, same digest of facts ({digest[:24]}...)."
    )
    as_json = run_cli("nightly", home, "--as-of", DAY, "--json").json
    assert (as_json["unchanged"], as_json["new_files"], as_json["facts_digest"]) == (True, 0, digest)


def test_pages_that_are_missing_are_written_again(home: Path) -> None:
    (home / "out" / "latest" / "overview.pdf").unlink()
    assert not night(home, pages=True).is_unchanged
    assert (home / "out" / "latest" / "overview.pdf").exists()


def test_settings_that_changed_are_seen_on_the_pages(home: Path) -> None:
    before = read_summary(home).night
    (home / "policy.toml").write_text(
        "[[policy]]\nvalid_from = 2026-01-01\n"
        "[[policy.targets]]\ncrop = 'petunia'\nquantity = 'ph'\nlow = 6.0\nhigh = 6.4\nnote = 'trial'\n",
        encoding="utf-8",
    )
    after = night(home, pages=True)
    assert not after.is_unchanged
    assert after.summary.night.facts_digest == before.facts_digest
    assert after.summary.night.settings_digest != before.settings_digest
    assert after.summary.night.new_files == 0
    assert find_lot(read_summary(home), "H-1").level == "watch"
    assert "target 6.0-6.4" in (home / "out" / "latest" / "sites" / "hill.html").read_text(encoding="utf-8")


def test_the_same_facts_have_the_same_digest_in_another_home(one_night: Path, tmp_path: Path) -> None:
    """Also when the files came over two nights, and with other times on them."""
    home = make_home(tmp_path / "elsewhere")
    later = home / DROP / "readings_2026-04-02.csv"
    content = later.read_bytes()
    later.unlink()
    first = night(home, DAY - timedelta(days=1)).summary.night
    drop(home, later.name, content)
    second = night(home).summary.night
    assert first.facts_digest != second.facts_digest == read_summary(one_night).night.facts_digest


def test_an_empty_night_after_a_night_is_a_night_of_its_own(home: Path) -> None:
    after = night(home, NEXT_DAY)
    assert not after.is_unchanged
    assert (after.summary.night.new_files, only_site(after.summary).nights_silent) == (0, 1)
    assert str((home / "out" / "latest").readlink()) == "2026-04-07"
    assert (home / "out" / "2026-04-06" / "overview.pdf").exists()
    nights = [one for one in ledger.read_ledger(home) if one["kind"] == "night"]
    assert [(one["as_of"], one["files"]) for one in nights] == [("2026-04-06", 3), ("2026-04-07", 0)]


def test_an_as_of_date_in_the_future_is_refused(home: Path) -> None:
    with pytest.raises(AsOfError) as caught:
        run_night(home, date(2026, 11, 2), now=NOW)
    assert str(caught.value) == (
        "--as-of 2026-11-02 lies in the future (today is 2026-11-01); give a day that has come."
    )


def test_today_is_the_day_at_the_group(tmp_path: Path) -> None:
    """04:00 UTC on 1 November is still 31 October in Los Angeles."""
    home = make_home(tmp_path / "home")
    (home / "leachbook.toml").write_text(
        'name = "West"\ntime_zone = "America/Los_Angeles"\n', encoding="utf-8"
    )
    with pytest.raises(AsOfError, match="today is 2026-10-31"):
        run_night(home, date(2026, 11, 1), now=NOW)


def test_an_as_of_date_before_the_newest_night_is_refused(home: Path) -> None:
    before = times(home)
    with pytest.raises(AsOfError) as caught:
        night(home, date(2026, 4, 5))
    assert str(caught.value) == (
        "--as-of 2026-04-05 is before the newest night of this home (2026-04-06); give 2026-04-06 or a later day."
    )
    assert times(home) == before


def test_settings_with_mistakes_stop_the_night_before_anything_is_touched(home: Path) -> None:
    before = times(home)
    (home / "sites" / "hill" / "site.toml").write_text(
        SITE.replace("delimiter", "x") + "\nnoise = 1\n", encoding="utf-8"
    )
    with pytest.raises(SettingsError):
        night(home)
    changed = {name for name, time in times(home).items() if before.get(name) != time}
    assert changed == {"sites/hill/site.toml"}


def test_summary_is_valid_by_its_schema(demo_home: Path) -> None:
    for day in ("2026-04-02", "2026-04-06"):
        folder = demo_home / "out" / day
        schema = json.loads((folder / "summary.schema.json").read_bytes())
        Draft202012Validator.check_schema(schema)
        Draft202012Validator(schema).validate(json.loads((folder / "summary.json").read_bytes()))
        assert schema["additionalProperties"] is False


def test_the_archive_holds_every_file_by_its_hash(demo_home: Path) -> None:
    receipts = [one for one in ledger.read_ledger(demo_home) if one["kind"] == "receipt"]
    for one in receipts:
        assert hashlib.sha256(archive.fetch(demo_home, one["sha256"])).hexdigest() == one["sha256"]
        assert len(archive.fetch(demo_home, one["sha256"])) == one["size"]
    lying = {
        (path.parents[1].name, hashlib.sha256(path.read_bytes()).hexdigest())
        for path in demo_home.glob("sites/*/drop/*")
    }
    assert lying <= {(one["site"], one["sha256"]) for one in receipts}


def test_the_ledger_has_one_receipt_a_file_and_one_entry_a_night(demo_home: Path) -> None:
    assert ledger.verify_chain(demo_home) is None
    entries = ledger.read_ledger(demo_home)
    nights = [one for one in entries if one["kind"] == "night"]
    assert [one["as_of"] for one in nights] == ["2026-04-02", "2026-04-06"]
    for one in nights:
        received = [entry for entry in entries if entry.get("received_on") == one["as_of"]]
        summary = json.loads((demo_home / "out" / one["as_of"] / "summary.json").read_bytes())
        files = [file for site in summary["sites"] for file in site["files_tonight"]]
        assert len(received) == one["files"] == summary["night"]["new_files"] == len(files)
        assert one["facts"] == summary["night"]["facts_digest"]
        assert one["records"] == summary["night"]["new_records"] == sum(file["records"] for file in files)
    keys = [(one["site"], one["name"], one["sha256"]) for one in entries if one["kind"] == "receipt"]
    assert len(keys) == len(set(keys))


def test_the_ledger_names_the_settings_of_each_night(demo_home: Path) -> None:
    last = [entry for entry in ledger.read_ledger(demo_home) if entry["kind"] == ledger.NIGHT][-1]
    kept = archive.fetch_settings(demo_home, last["settings"])
    assert kept["policy.toml"] == (demo_home / "policy.toml").read_bytes()
    assert len(kept) == 2 + len(list(demo_home.glob("sites/*/site.toml")))


POLICY = """
[[policy]]
valid_from = 2026-01-01
[[policy.targets]]
crop = "petunia"
quantity = "ph"
low = 5.0
high = 5.5
note = "the group's"

[[policy]]
valid_from = 2026-03-20
[policy.containers.pot_5_6in]
min_usable_pots = 6
"""
SITE_POLICY = """
[[policy]]
valid_from = 2026-04-01
[policy.containers.pot_5_6in]
min_usable_pots = 4
[[policy.targets]]
crop = "petunia"
quantity = "ph"
low = 5.5
high = 6.0
note = "the site's"
"""


@pytest.fixture(scope="module")
def own_policy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    head, *rest = SITE.split("[[export]]", 1)
    home = make_home(
        tmp_path_factory.mktemp("own-policy") / "home",
        site=head + SITE_POLICY + "[[export]]" + "".join(rest),
        policy=POLICY,
        **{
            "readings_2026-03-12.csv": READINGS_HEADER + pots("H-1", "2026-03-12", GOOD_PH),
            "readings_2026-03-26.csv": READINGS_HEADER + pots("H-1", "2026-03-26", GOOD_PH),
        },
    )
    night(home)
    return home


def test_each_day_is_judged_by_the_policy_in_force_on_it(own_policy: Path) -> None:
    lot = find_lot(read_summary(own_policy), "H-1")
    judged = [(str(one.sampled_on), one.min_pots, one.counts, one.ph.side) for one in lot.samplings]
    assert judged == [
        ("2026-03-12", 5, True, "high"),  # the group's target, five pots are enough
        ("2026-03-26", 6, False, None),  # the group's second policy asks for six
        ("2026-04-02", 4, True, "in_range"),  # the site's own target and number of pots
    ]


def test_an_own_target_says_who_set_it_and_what_is_published(own_policy: Path) -> None:
    target = find_lot(read_summary(own_policy), "H-1").target_ph
    assert target is not None
    assert (target.low, target.high, target.source.basis, target.source.text) == (
        5.5,
        6.0,
        "site",
        "the site's",
    )
    assert (5.4, 6.2) in [(one.low, one.high) for one in target.others]


def test_the_policy_in_force_is_told_with_its_defaults(own_policy: Path) -> None:
    told = {one.name: one for one in only_site(read_summary(own_policy)).policy}
    own = told["containers.pot_5_6in.min_usable_pots"]
    assert (own.value, own.origin, own.default) == ("4", "own", "5")
    assert told["act_in_a_row"].origin != "own"
    assert (told["target petunia"].value, told["target petunia"].meaning) == ("5.5-6.0", "the site's")


def test_a_corrected_file_supersedes_by_lot_day_and_pot(home: Path) -> None:
    corrected = READINGS_HEADER + pots("H-1", "2026-04-02", ("6.9", *GOOD_PH[1:]))
    drop(home, "readings_2026-04-07.csv", corrected)
    site = only_site(night(home, NEXT_DAY).summary)
    assert (site.lines.superseded, site.lines.repeated) == (1, 4)
    lot = next(lot for lot in site.lots if lot.lot_id == "H-1")
    assert lot.samplings[0].ph.max == 6.9


def test_lines_are_released_when_their_lot_arrives(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    drop(home, "readings_2026-04-05.csv", READINGS_HEADER + pots("H-9", "2026-04-05", GOOD_PH))
    assert only_site(night(home).summary).lines.held == 5
    drop(home, "lots.csv", LOTS + "H-9,2,pansy,pot_4in,2026-03-20,2026-05-20,100\n")
    site = only_site(night(home, NEXT_DAY).summary)
    assert (site.lines.held, site.released_tonight) == (0, 5)
    assert site.released_sentences == ["5 lines held before are taken up: lot H-9 is now in the lot list."]


def test_a_site_that_never_sent_anything_is_quiet(tmp_path: Path) -> None:
    home = tmp_path / "home"
    assert run_cli("new", home).code == 0
    ran = run_cli("nightly", home)
    assert ran.code == 1
    assert (
        ran.out.splitlines()[2]
        == "  First site has sent nothing yet; check that its exports reach the drop folder."
    )


def test_a_home_that_has_received_nothing_may_still_begin_on_an_earlier_day(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    files = [(path.name, path.read_bytes()) for path in (home / DROP).iterdir()]
    for name, _ in files:
        (home / DROP / name).unlink()
    run_night(home, date(2026, 5, 1), now=NOW)
    for name, data in files:
        drop(home, name, data)
    assert night(home).summary.night.new_files == len(files)
