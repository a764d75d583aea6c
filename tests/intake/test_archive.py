import hashlib
import os
from pathlib import Path

import pytest

from pipeline.errors import ArchiveError
from pipeline.files import write_whole
from pipeline.intake.archive import fetch, fetch_settings, file_path, store, store_settings


def everything(home: Path) -> list[str]:
    return sorted(str(path.relative_to(home)) for path in home.rglob("*") if path.is_file())


def test_file_lies_at_its_hash(tmp_path: Path) -> None:
    sha256 = store(tmp_path, b"abc")
    assert sha256 == hashlib.sha256(b"abc").hexdigest()
    assert everything(tmp_path) == [f"archive/files/ba/{sha256}"]
    assert fetch(tmp_path, sha256) == b"abc"


def test_storing_again_touches_nothing(tmp_path: Path) -> None:
    sha256 = store(tmp_path, b"abc")
    before = file_path(tmp_path, sha256).stat()
    assert store(tmp_path, b"abc") == sha256
    after = file_path(tmp_path, sha256).stat()
    # It is read to be compared, so the time of access may move.
    assert (after.st_ino, after.st_mtime_ns, after.st_ctime_ns) == (
        before.st_ino,
        before.st_mtime_ns,
        before.st_ctime_ns,
    )


def test_damaged_copy_is_noticed_and_put_right_when_the_bytes_come_again(tmp_path: Path) -> None:
    sha256 = store(tmp_path, b"abc")
    file_path(tmp_path, sha256).write_bytes(b"abd")
    with pytest.raises(
        ArchiveError, match="its content is not what its name says; bring it back from a backup"
    ):
        fetch(tmp_path, sha256)
    store(tmp_path, b"abc")
    assert fetch(tmp_path, sha256) == b"abc"


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=r"cannot be read \(No such file or directory\); bring it back"):
        fetch(tmp_path, "0" * 64)


def test_disk_that_refuses(tmp_path: Path) -> None:
    (tmp_path / "archive").write_text("a file where the folder should be")
    with pytest.raises(ArchiveError, match="cannot be written"):
        store(tmp_path, b"abc")


def test_writing_that_fails_leaves_the_old_file_and_no_remains(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    write_whole(path, b"old")

    def refuse(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"new")
    assert everything(tmp_path) == ["file"]
    assert path.read_bytes() == b"old"


def test_settings_have_one_hash_whatever_their_order(tmp_path: Path) -> None:
    files = {"leachbook.toml": b"a", "sites/n/site.toml": b"b"}
    first = store_settings(tmp_path, files)
    assert store_settings(tmp_path, dict(reversed(files.items()))) == first
    assert fetch_settings(tmp_path, first) == files
    assert store_settings(tmp_path, {**files, "policy.toml": b""}) != first
