import hashlib
import os
import socket
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipeline.intake.collect import (
    Claim,
    Collected,
    Listing,
    collect,
    plan_collection,
    read_descriptor,
)
from pipeline.settings import SiteSettings
from tests.intake.samples import make_export, make_site


@pytest.fixture
def site(tmp_path: Path) -> SiteSettings:
    folder = tmp_path / "sites" / "north"
    (folder / "drop").mkdir(parents=True)
    exports = (
        make_export(files="drop/readings_*.csv"),
        make_export(
            kind="lots",
            files="drop/lots*.csv",
            columns={"lot": "Lot", "crop": "Crop", "container": "Pot", "started": "On"},
        ),
    )
    return make_site(folder, exports=exports)


def drop(site: SiteSettings, name: str, data: bytes = b"Lot\n") -> Path:
    path = site.folder / "drop" / name
    path.write_bytes(data)
    return path


def names(collected: Collected) -> list[str]:
    return [file.name for file in collected.files]


def troubles(collected: Collected) -> list[tuple[str, str, str]]:
    return [(one.name, one.code, one.sentence) for one in collected.troubles]


def test_new_files_are_taken_with_their_facts(site: SiteSettings) -> None:
    path = drop(site, "readings_2026-04-05.csv", b"abc")
    os.utime(path, ns=(0, 1_775_400_000_123_456_789))
    (file,) = collect(site, set()).files
    assert (file.site_id, file.kind, file.export_no) == ("north", "readings", 1)
    assert (file.name, file.size, file.data) == ("drop/readings_2026-04-05.csv", 3, b"abc")
    assert file.sha256 == hashlib.sha256(b"abc").hexdigest()
    assert file.modified_at.replace(microsecond=0) == datetime(2026, 4, 5, 14, 40, tzinfo=UTC)


def test_seen_files_are_not_taken_again_unless_their_content_changed(site: SiteSettings) -> None:
    drop(site, "readings_1.csv", b"one")
    drop(site, "lots.csv", b"lots")
    first = collect(site, set())
    seen = {(file.kind, file.name, file.sha256) for file in first.files}
    assert names(first) == ["drop/lots.csv", "drop/readings_1.csv"]
    assert names(collect(site, seen)) == []
    drop(site, "lots.csv", b"lots, changed")
    assert names(collect(site, seen)) == ["drop/lots.csv"]


def test_files_that_no_export_claims_are_named_but_not_hidden_ones(site: SiteSettings) -> None:
    drop(site, "holiday.jpg")
    drop(site, ".gitkeep")
    (site.folder / "drop" / "old").mkdir()
    drop(site, "old/readings_1.csv")
    (site.folder / "site.toml").write_text("")
    assert collect(site, set()).unclaimed == ["drop/holiday.jpg", "drop/old/readings_1.csv"]


def test_folder_where_a_file_should_be(site: SiteSettings) -> None:
    (site.folder / "drop" / "readings_1.csv").mkdir()
    drop(site, "readings_2.csv")
    collected = collect(site, set())
    assert troubles(collected) == [
        ("drop/readings_1.csv", "directory", "a folder stands where a file should be")
    ]
    assert names(collected) == ["drop/readings_2.csv"]


def test_unreadable_file_and_the_rest_goes_on(site: SiteSettings) -> None:
    drop(site, "readings_1.csv", b"secret")
    drop(site, "readings_2.csv", b"open")

    def read(descriptor: int) -> bytes:
        data = read_descriptor(descriptor)
        if data == b"secret":
            raise PermissionError(13, "Permission denied")
        return data

    collected = collect(site, set(), read_bytes=read)
    assert troubles(collected) == [
        ("drop/readings_1.csv", "unreadable", "the file cannot be read (permission denied)")
    ]
    assert names(collected) == ["drop/readings_2.csv"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_file_without_permission(site: SiteSettings) -> None:
    drop(site, "readings_1.csv").chmod(0)
    assert [code for _, code, _ in troubles(collect(site, set()))] == ["unreadable"]


def test_links(site: SiteSettings, tmp_path: Path) -> None:
    outside = tmp_path / "secret.csv"
    outside.write_text("not for us")
    folder = site.folder / "drop"
    real = site.folder / "kept.csv"
    real.write_bytes(b"kept")
    (folder / "readings_dangling.csv").symlink_to("nowhere.csv")
    (folder / "readings_loop.csv").symlink_to("readings_loop.csv")
    (folder / "readings_out.csv").symlink_to(outside)
    (folder / "readings_inside.csv").symlink_to(real)
    (folder / "readings_folder.csv").symlink_to(site.folder)
    collected = collect(site, set())
    assert [(file.name, file.data) for file in collected.files] == [("drop/readings_inside.csv", b"kept")]
    assert troubles(collected) == [
        (
            "drop/readings_dangling.csv",
            "dangling_link",
            'the link leads to "nowhere.csv", which is not there',
        ),
        ("drop/readings_folder.csv", "directory", "a folder stands where a file should be"),
        ("drop/readings_loop.csv", "looping_link", "the link leads to itself"),
        ("drop/readings_out.csv", "leaves_folder", "the link leads out of the site's folder"),
    ]


def test_linked_folders_are_not_followed(site: SiteSettings, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (site.folder / "drop").rmdir()
    (site.folder / "drop").symlink_to(tmp_path / "elsewhere")
    assert troubles(collect(site, set())) == [
        ("drop", "linked_folder", "the folder is a link, and links to folders are not followed")
    ]


def test_pipes_and_sockets_do_not_hang_the_night(site: SiteSettings) -> None:
    os.mkfifo(site.folder / "drop" / "readings_1.csv")
    with socket.socket(socket.AF_UNIX) as server:
        before = Path.cwd()
        os.chdir(site.folder / "drop")
        try:
            server.bind("readings_2.csv")
        finally:
            os.chdir(before)
        found = troubles(collect(site, set()))
    assert [(name, code) for name, code, _ in found] == [
        ("drop/readings_1.csv", "not_a_file"),
        ("drop/readings_2.csv", "unreadable"),
    ]


@pytest.mark.parametrize("change", ["grow", "rewrite", "replace"])
def test_file_that_changes_while_it_is_read(site: SiteSettings, change: str) -> None:
    path = drop(site, "readings_1.csv", b"first")
    os.utime(path, (0, 1_000_000))

    def read(descriptor: int) -> bytes:
        data = read_descriptor(descriptor)
        if change == "grow":
            with path.open("ab") as stream:
                stream.write(b" more")
        elif change == "rewrite":
            path.write_bytes(b"other")
        else:
            new = path.with_name("new")
            new.write_bytes(b"other")
            new.replace(path)
        return data

    collected = collect(site, set(), read_bytes=read)
    assert troubles(collected) == [("drop/readings_1.csv", "changing", "the file changed while it was read")]
    assert names(collected) == []
    assert names(collect(site, set())) == ["drop/readings_1.csv"]


WRITER = """
import sys

with open(sys.argv[1], "ab", buffering=0) as stream:
    for line in sys.stdin.buffer:
        stream.write(line)
        print("written", flush=True)
"""


def test_file_that_a_real_process_writes_while_it_is_read(site: SiteSettings) -> None:
    path = drop(site, "readings_1.csv", b"Lot\n")
    writer = subprocess.Popen(
        [
            sys.executable,
            "-c",
            WRITER,
            str(path),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert writer.stdin is not None
    assert writer.stdout is not None

    def write_line(line: bytes) -> None:
        assert writer.stdin is not None
        assert writer.stdout is not None
        writer.stdin.write(line)
        writer.stdin.flush()
        assert writer.stdout.readline() == b"written\n"

    def read(descriptor: int) -> bytes:
        half = os.read(descriptor, 2)
        write_line(b"A-1\n")
        return half + os.read(descriptor, 1000)

    try:
        collected = collect(site, set(), read_bytes=read)
    finally:
        writer.communicate(timeout=30)
    assert (names(collected), [code for _, code, _ in troubles(collected)]) == ([], ["changing"])
    (file,) = collect(site, set()).files
    assert file.data == b"Lot\nA-1\n"


NIGHT = datetime(2026, 4, 6, 4, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("seconds_before", "minutes", "is_taken"),
    [
        (599, 10, False),
        (600, 10, True),
        (1, 0, True),
        (0, 0, True),
        # the writer's clock is a minute ahead of ours
        (-60, 10, False),
        # a date in a far future is wrong, and no reason to wait for it
        (-86_400, 10, True),
    ],
)
def test_file_that_has_just_been_changed_waits_for_the_next_night(
    site: SiteSettings, seconds_before: int, minutes: int, is_taken: bool
) -> None:
    site = site.model_copy(update={"settle_minutes": minutes})
    path = drop(site, "readings_1.csv")
    changed = (NIGHT - timedelta(seconds=seconds_before)).timestamp()
    os.utime(path, (changed, changed))
    collected = collect(site, set(), now=NIGHT)
    waiting = [
        (
            "drop/readings_1.csv",
            "settling",
            "the file was changed less than 10 minutes before the night (settle_minutes in site.toml)",
        )
    ]
    assert troubles(collected) == ([] if is_taken else waiting)
    assert names(collected) == (["drop/readings_1.csv"] if is_taken else [])
    assert names(collect(site, set(), now=NIGHT + timedelta(hours=12))) == ["drop/readings_1.csv"]


def test_file_that_is_known_need_not_settle(site: SiteSettings) -> None:
    site = site.model_copy(update={"settle_minutes": 10})
    path = drop(site, "readings_1.csv")
    os.utime(path, (NIGHT.timestamp(), NIGHT.timestamp()))
    seen = {("readings", "drop/readings_1.csv", hashlib.sha256(b"Lot\n").hexdigest())}
    assert collect(site, seen, now=NIGHT) == Collected([], [], [])


def test_file_that_is_gone_when_it_is_to_be_read(site: SiteSettings) -> None:
    drop(site, "readings_1.csv")
    second = drop(site, "readings_2.csv")

    def read(descriptor: int) -> bytes:
        second.unlink(missing_ok=True)
        return read_descriptor(descriptor)

    assert troubles(collect(site, set(), read_bytes=read)) == [
        ("drop/readings_2.csv", "gone", "the file was gone when it was to be read")
    ]


def test_name_that_is_not_utf8(site: SiteSettings) -> None:
    raw = os.fsencode(site.folder / "drop") + b"/readings_\xff.csv"
    with open(raw, "wb") as stream:  # noqa: PTH123 - a name that Path would refuse to print
        stream.write(b"Lot\n")
    assert troubles(collect(site, set())) == [
        ("drop/readings_\\udcff.csv", "bad_name", "the file's name is not utf-8")
    ]


def test_missing_drop_folder(site: SiteSettings) -> None:
    (site.folder / "drop").rmdir()
    assert troubles(collect(site, set())) == [("drop", "no_drop_folder", "the folder is not there")]


def test_two_exports_of_one_kind_must_not_share_a_file() -> None:
    exports = (make_export(files="drop/*.csv"), make_export(files="drop/readings_*.csv"))
    plan = plan_collection(exports, Listing(["drop/readings_1.csv", "drop/other.csv"], [], []))
    assert plan.claims == [Claim("drop/other.csv", 1)]
    assert [(one.name, one.code, one.sentence) for one in plan.troubles] == [
        (
            "drop/readings_1.csv",
            "claimed_twice",
            "[[export]] 1 and 2 of site.toml both claim the file, so its lines would count twice",
        )
    ]


def test_exports_of_different_kinds_may_share_a_file() -> None:
    lots = make_export(
        kind="lots", files="drop/all.csv", columns={"lot": "L", "crop": "C", "container": "P", "started": "S"}
    )
    plan = plan_collection((make_export(files="drop/*.csv"), lots), Listing(["drop/all.csv"], [], []))
    assert (plan.claims, plan.troubles) == ([Claim("drop/all.csv", 1), Claim("drop/all.csv", 2)], [])


@pytest.mark.parametrize(
    ("pattern", "matching", "other"),
    [
        ("drop/*.csv", "drop/a.csv", "drop/x/a.csv"),
        ("drop/**/*.csv", "drop/x/y/a.csv", "other/a.csv"),
        ("drop/**/*.csv", "drop/a.csv", "drop/a.csv.bak"),
        ("drop/a?.csv", "drop/ab.csv", "drop/abc.csv"),
        ("drop/[ab]1.csv", "drop/b1.csv", "drop/c1.csv"),
        ("drop/[!ab]1.csv", "drop/c1.csv", "drop/a1.csv"),
        ("drop/[0-9].csv", "drop/7.csv", "drop/-.csv"),
        ("./drop/a+(1).csv", "drop/a+(1).csv", "drop/aa(1).csv"),
        ("drop/[.csv", "drop/[.csv", "drop/a.csv"),
        ("drop/**", "drop/x/y", "dropx"),
        ("drop/A.csv", "drop/A.csv", "drop/a.csv"),
    ],
)
def test_patterns(pattern: str, matching: str, other: str) -> None:
    plan = plan_collection((make_export(files=pattern),), Listing([matching, other], [], []))
    assert [claim.name for claim in plan.claims] == [matching]


def test_files_outside_drop_but_in_the_site_are_taken_where_a_pattern_names_them(site: SiteSettings) -> None:
    (site.folder / "log" / "2026").mkdir(parents=True)
    (site.folder / "log" / "2026" / "a.csv").write_bytes(b"x")
    (site.folder / "log" / "notes.txt").write_bytes(b"x")
    other = site.model_copy(update={"exports": (make_export(files="log/*/a.csv"),)})
    collected = collect(other, set())
    assert (names(collected), collected.unclaimed) == (["log/2026/a.csv"], [])


def test_a_second_look_changes_nothing(site: SiteSettings) -> None:
    drop(site, "readings_1.csv")
    drop(site, "else.txt")
    before = subprocess.run(["ls", "-laR", str(site.folder)], capture_output=True, check=True).stdout
    first = collect(site, set())
    assert collect(site, set()) == first
    after = subprocess.run(["ls", "-laR", str(site.folder)], capture_output=True, check=True).stdout
    assert before == after
