"""Looking into a site's drop folder and taking what is new: planning is pure, doing touches the disk.

Whatever stands in the folder, one bad entry never stops the rest: it becomes a FileTrouble.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import stat
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import MappingProxyType

from pipeline.intake.sheet_files import HEAD_BYTES, find_sheet
from pipeline.settings import Export, SiteSettings
from pipeline.settings.sheet import is_sheet, read_export

DROP = "drop"


@dataclass(frozen=True)
class FileTrouble:
    """Something in the drop folder that could not be taken.

    `name` is relative to the site's folder; `sentence` starts after it, `mend` is a clause that can follow a
    semicolon.  Codes: ``no_drop_folder``, ``unreadable_folder``, ``linked_folder``, ``directory``,
    ``not_a_file``, ``unreadable``, ``dangling_link``, ``looping_link``, ``leaves_folder``, ``changing``,
    ``bad_name``, ``claimed_twice``, ``gone``, ``settling``.
    """

    name: str
    code: str
    sentence: str
    mend: str


@dataclass(frozen=True)
class CollectedFile:
    """One file taken in for one export.

    `export_no` counts the site's exports from 1, and is 0 or less for a sheet (see settings.sheet); `name` is
    relative to the site's folder; `size` in bytes; `modified_at` in UTC.
    """

    site_id: str
    kind: str
    export_no: int
    name: str
    sha256: str
    size: int
    modified_at: datetime
    data: bytes


@dataclass(frozen=True)
class Collected:
    """What a look into the drop folder brought.

    `files` are new (or new in content), `unclaimed` are names in the drop folder that no export claims.
    """

    files: list[CollectedFile]
    troubles: list[FileTrouble]
    unclaimed: list[str]


@dataclass(frozen=True)
class Claim:
    """A name below the site's folder and the number of the export that claims it."""

    name: str
    export_no: int


@dataclass(frozen=True)
class Plan:
    """What to take, decided by names and by which of them are sheets."""

    claims: list[Claim]
    troubles: list[FileTrouble]
    unclaimed: list[str]


@dataclass(frozen=True)
class Listing:
    """Names below a site's folder (posix, relative to it): everything that is not a plain folder."""

    names: list[str]
    folders: list[str]
    troubles: list[FileTrouble]


class _RefusedFile(Exception):
    """Carries a trouble from where it is noticed to the loop over the files."""

    def __init__(self, trouble: FileTrouble) -> None:
        super().__init__(trouble.sentence)
        self.trouble = trouble


ReadBytes = Callable[[int], bytes]


def read_descriptor(descriptor: int) -> bytes:
    """Everything that an open file holds."""
    with os.fdopen(os.dup(descriptor), "rb") as stream:
        return stream.read()


def collect(
    site: SiteSettings,
    seen: Collection[tuple[str, str, str]],
    *,
    now: datetime | None = None,
    read_bytes: ReadBytes = read_descriptor,
) -> Collected:
    """Take the files of a site's drop folder that were not seen yet.

    `seen` holds (export kind, name, sha256) of what earlier nights took.  A new file that was changed less
    than the site's settle_minutes before `now` (an aware instant; None for no such wait) is left for the next
    night.  `read_bytes` is there so that a test can let a file change, or fail, while it is read.
    """
    listing = list_site(site)
    plan = plan_collection(site.exports, listing, find_sheets(site.folder, listing))
    files: list[CollectedFile] = []
    troubles = [*plan.troubles]
    for claim in plan.claims:
        try:
            file = _take(site, claim, read_bytes)
        except _RefusedFile as refused:
            troubles.append(refused.trouble)
            continue
        if (file.kind, file.name, file.sha256) in seen:
            continue
        if now is not None and _is_settling(file, site, now):
            troubles.append(_settling(file, site))
        else:
            files.append(file)
    return Collected(files, _unique(troubles), plan.unclaimed)


def plan_collection(
    exports: Sequence[Export], listing: Listing, sheets: Mapping[str, int] = MappingProxyType({})
) -> Plan:
    """Decide by names which export takes which file; two exports of one kind must not share a file.

    `sheets`: names of files that are sheets, whatever patterns fit them, with the number of their export.
    """
    patterns = [(number, export, _pattern(export.files)) for number, export in enumerate(exports, 1)]
    claims: list[Claim] = []
    troubles = list(listing.troubles)
    unclaimed: list[str] = []
    for name in sorted(listing.names):
        if name in sheets:
            claims.append(Claim(name, sheets[name]))
            continue
        takers = [(number, export) for number, export, pattern in patterns if pattern.fullmatch(name)]
        kinds = [export.kind for _, export in takers]
        if len(set(kinds)) < len(kinds):
            numbers = " and ".join(str(number) for number, _ in takers)
            sentence = (
                f"[[export]] {numbers} of site.toml both claim the file, so its lines would count twice"
            )
            troubles.append(
                FileTrouble(name, "claimed_twice", sentence, "make their patterns (files) distinct")
            )
        elif takers:
            claims += [Claim(name, number) for number, _ in takers]
        elif name.startswith(f"{DROP}/") and not _is_hidden(name):
            unclaimed.append(name)
    taken_for_files = (
        name for name in sorted(listing.folders) if any(pattern.fullmatch(name) for *_, pattern in patterns)
    )
    troubles += [_directory(name) for name in taken_for_files]
    return Plan(claims, troubles, unclaimed)


def find_sheets(base: Path, listing: Listing) -> dict[str, int]:
    """Files at the top of the drop folder that have the header of a sheet, with the number of its export.

    Only their first bytes are looked at; a file that cannot be opened is told of where it is taken.
    """
    found: dict[str, int] = {}
    for name in listing.names:
        folder, _, last = name.rpartition("/")
        if folder != DROP or _is_hidden(last):
            continue
        sheet = find_sheet(_peek(base, name))
        if sheet is not None:
            found[name] = sheet.number
    return found


def _peek(base: Path, name: str) -> bytes:
    """The first bytes of a plain file inside the site's folder; nothing of anything else."""
    try:
        descriptor = os.open(_inside(base, name), os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except (_RefusedFile, OSError, ValueError):
        return b""
    try:
        # One byte more, so that it shows whether the file ends here.
        return os.read(descriptor, HEAD_BYTES + 1) if stat.S_ISREG(os.fstat(descriptor).st_mode) else b""
    except OSError:
        return b""
    finally:
        os.close(descriptor)


def list_site(site: SiteSettings) -> Listing:
    """Everything in the drop folder and in the folders that patterns name; links are not followed."""
    roots = {DROP, *(_fixed_folder(export.files) for export in site.exports)}
    # A root below another root is walked with it.
    tops = [one for one in sorted(roots) if not any(_is_below(one, other) for other in roots if other != one)]
    listing = Listing([], [], [])
    for top in tops:
        _walk(site.folder, top, listing)
    return listing


def _walk(base: Path, folder: str, listing: Listing) -> None:
    place = base / folder if folder else base
    if folder and place.is_symlink():
        sentence = "the folder is a link, and links to folders are not followed"
        listing.troubles.append(
            FileTrouble(_shown(folder), "linked_folder", sentence, "make it a real folder")
        )
        return
    try:
        entries = sorted(os.scandir(place), key=lambda entry: entry.name)
    except FileNotFoundError:
        listing.troubles.append(
            FileTrouble(_shown(folder), "no_drop_folder", "the folder is not there", "make the folder")
        )
        return
    except OSError as error:
        sentence = f"the folder cannot be read ({_reason(error)})"
        mend = "let the account that runs the night read it"
        listing.troubles.append(FileTrouble(_shown(folder), "unreadable_folder", sentence, mend))
        return
    for entry in entries:
        name = f"{folder}/{entry.name}" if folder else entry.name
        if entry.is_dir(follow_symlinks=False):
            listing.folders.append(name)
            _walk(base, name, listing)
        else:
            listing.names.append(name)


def _take(site: SiteSettings, claim: Claim, read_bytes: ReadBytes) -> CollectedFile:
    """Stat, read and hash, stat again; raises _RefusedFile with the trouble."""
    name = claim.name
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        sentence = "the file's name is not utf-8"
        raise _RefusedFile(FileTrouble(_shown(name), "bad_name", sentence, "rename the file")) from None
    path = _inside(site.folder, name)
    try:
        # Without O_NONBLOCK the night would wait for ever at a named pipe.
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as error:
        raise _RefusedFile(_unopened(name, error)) from error
    try:
        before = os.fstat(descriptor)
        if stat.S_ISDIR(before.st_mode):
            raise _RefusedFile(_directory(name))
        if not stat.S_ISREG(before.st_mode):
            sentence = "it is a pipe or a device, not a file"
            raise _RefusedFile(FileTrouble(name, "not_a_file", sentence, "put the export there as a file"))
        data = read_bytes(descriptor)
        after = os.fstat(descriptor)
        there = path.stat()
    except OSError as error:
        raise _RefusedFile(_unopened(name, error)) from error
    finally:
        os.close(descriptor)
    if not (_mark(before) == _mark(after) == _mark(there)) or len(data) != after.st_size:
        sentence = "the file changed while it was read"
        mend = "nothing to do: the next night takes it, when it is complete"
        raise _RefusedFile(FileTrouble(name, "changing", sentence, mend))
    sheet = find_sheet(data) if is_sheet(claim.export_no) else None
    if is_sheet(claim.export_no) and (sheet is None or sheet.number != claim.export_no):
        sentence, mend = "the file changed between two looks at it", "nothing to do: the next night takes it"
        raise _RefusedFile(FileTrouble(name, "changing", sentence, mend))
    return CollectedFile(
        site_id=site.id,
        kind=read_export(site, claim.export_no).kind,
        export_no=claim.export_no,
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        size=len(data),
        modified_at=datetime.fromtimestamp(after.st_mtime, UTC),
        data=data,
    )


def _is_settling(file: CollectedFile, site: SiteSettings, now: datetime) -> bool:
    """Whether the file was changed so lately that its writer may not be done.

    A clock that is a little ahead of ours is allowed for; a file from a far future has a wrong date and would
    wait for ever.
    """
    return abs(now - file.modified_at) < timedelta(minutes=site.settle_minutes)


def _settling(file: CollectedFile, site: SiteSettings) -> FileTrouble:
    unit = "minute" if site.settle_minutes == 1 else "minutes"
    sentence = (
        f"the file was changed less than {site.settle_minutes} {unit} before the night "
        "(settle_minutes in site.toml)"
    )
    return FileTrouble(file.name, "settling", sentence, "nothing to do: the next night takes it")


def _inside(folder: Path, name: str) -> Path:
    """The real path of a name, which must lie in the site's folder; raises _RefusedFile."""
    path = folder / name
    try:
        real = path.resolve(strict=True)
    except FileNotFoundError:
        if path.is_symlink():
            sentence = f'the link leads to "{_shown(str(path.readlink()))}", which is not there'
            mend = "put the file there or take the link away"
            raise _RefusedFile(FileTrouble(name, "dangling_link", sentence, mend)) from None
        sentence = "the file was gone when it was to be read"
        raise _RefusedFile(
            FileTrouble(name, "gone", sentence, "put it there again if it is needed")
        ) from None
    except (RuntimeError, OSError) as error:  # RuntimeError is how 3.11 and 3.12 report a loop of links
        if isinstance(error, RuntimeError) or error.errno == errno.ELOOP:
            sentence = "the link leads to itself"
            trouble = FileTrouble(name, "looping_link", sentence, "take the link away")
            raise _RefusedFile(trouble) from None
        raise _RefusedFile(_unopened(name, error)) from error
    if not real.is_relative_to(folder.resolve()):
        sentence = "the link leads out of the site's folder"
        mend = "put the file itself into the drop folder"
        raise _RefusedFile(FileTrouble(name, "leaves_folder", sentence, mend))
    return real


def _mark(status: os.stat_result) -> tuple[int, int, int, int]:
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def _directory(name: str) -> FileTrouble:
    sentence = "a folder stands where a file should be"
    return FileTrouble(_shown(name), "directory", sentence, "take the folder away or rename it")


def _unopened(name: str, error: OSError) -> FileTrouble:
    sentence = f"the file cannot be read ({_reason(error)})"
    return FileTrouble(name, "unreadable", sentence, "let the account that runs the night read it")


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()


def _shown(name: str) -> str:
    """A name that can be printed and stored, whatever bytes it has."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _is_hidden(name: str) -> bool:
    return name.rsplit("/", 1)[-1].startswith(".")


def _is_below(folder: str, other: str) -> bool:
    return not other or folder.startswith(f"{other}/")


def _fixed_folder(pattern: str) -> str:
    """The folder that a pattern names before its first wildcard."""
    parts = _parts(pattern)[:-1]
    fixed: list[str] = []
    for part in parts:
        if set(part) & set("*?["):
            break
        fixed.append(part)
    return "/".join(fixed)


def _parts(pattern: str) -> list[str]:
    return [part for part in pattern.split("/") if part not in ("", ".")]


def _pattern(glob: str) -> re.Pattern[str]:
    """A glob as a regular expression over posix names; `*` stays within a folder, `**` goes through them."""
    written = "(?s:"
    parts = _parts(glob)
    for at, part in enumerate(parts):
        is_last = at == len(parts) - 1
        if part == "**":
            written += ".*" if is_last else "(?:[^/]+/)*"
        else:
            written += _part_pattern(part) + ("" if is_last else "/")
    return re.compile(written + ")")


def _part_pattern(part: str) -> str:
    written = ""
    at = 0
    while at < len(part):
        letter = part[at]
        close = part.find("]", at + 2) if letter == "[" else -1
        if letter == "*":
            written += "[^/]*"
        elif letter == "?":
            written += "[^/]"
        elif close > 0:
            inner = part[at + 1 : close]
            negated = inner.startswith("!")
            written += f"(?!/)[{'^' if negated else ''}{_set_pattern(inner[negated:])}]"
            at = close
        else:
            written += re.escape(letter)
        at += 1
    return written


def _set_pattern(inner: str) -> str:
    return "".join(letter if letter == "-" else re.escape(letter) for letter in inner)


def _unique(troubles: list[FileTrouble]) -> list[FileTrouble]:
    return sorted(set(troubles), key=lambda trouble: (trouble.name, trouble.code))
