"""The archive: every file that was ever received, and every version of the settings, by its hash.

Files lie at ``archive/files/<first two digits>/<sha256>``.  A file is written beside its place and renamed
into it, so a night that dies leaves either nothing or the whole file.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import ArchiveError
from pipeline.files import write_whole


def file_path(home: Path, sha256: str) -> Path:
    """Where the archive keeps the file with this hash."""
    return home / "archive" / "files" / sha256[:2] / sha256


def store(home: Path, data: bytes) -> str:
    """Keep a file and return its sha256; what is there already stays.

    A copy that no longer has the bytes its name promises is put right, since the right bytes are at hand.
    Raises ArchiveError when the disk refuses.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    path = file_path(home, sha256)
    try:
        if path.is_file() and path.read_bytes() == data:
            return sha256
        write_whole(path, data)
    except OSError as error:
        raise ArchiveError(
            f"{path}: cannot be written ({error.strerror}); free the disk or let this account write there."
        ) from error
    return sha256


def fetch(home: Path, sha256: str) -> bytes:
    """The bytes with this hash; raises ArchiveError when they are missing or are not those bytes any more."""
    path = file_path(home, sha256)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ArchiveError(
            f"{path}: cannot be read ({error.strerror}); bring it back from a backup of the archive."
        ) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise ArchiveError(f"{path}: its content is not what its name says; bring it back from a backup.")
    return data


def store_settings(home: Path, files: Mapping[str, bytes]) -> str:
    """Keep one version of the settings files (relative path to bytes) and return its sha256.

    The version is a small JSON file in the archive that names each settings file with its hash, so equal
    settings have equal hashes, whatever the order in which they were read.
    """
    listed = {name: store(home, data) for name, data in sorted(files.items())}
    text = json.dumps({"settings": listed}, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return store(home, text.encode("utf-8"))


def fetch_settings(home: Path, sha256: str) -> dict[str, bytes]:
    """The settings files of one version; raises ArchiveError."""
    listed: dict[str, str] = json.loads(fetch(home, sha256))["settings"]
    return {name: fetch(home, file) for name, file in listed.items()}
