"""Reading the file and the settings, and putting the block into site.toml: the only part that touches the disk."""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.adopt.block import quote, write_block
from pipeline.adopt.preview import Preview, read_preview
from pipeline.adopt.propose import Proposal, propose
from pipeline.errors import AdoptError, SettingsError, SiteNotFound
from pipeline.files import write_whole
from pipeline.intake.collect import DROP, Listing, list_site, plan_collection
from pipeline.intake.sheet_files import find_sheet
from pipeline.settings import Settings, SiteSettings, load_settings, resolve_policy
from pipeline.settings.explain import name_nearest
from pipeline.settings.sheet import SHEET_READINGS

_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Adoption:
    """A proposal for one file of one site, with its preview and its block."""

    settings: Settings
    site: SiteSettings
    proposal: Proposal
    preview: Preview
    block: str


def adopt_file(
    home: Path, site_name: str, file: Path, kind: str | None = None, answers: Mapping[str, str] | None = None
) -> Adoption:
    """Look at a file and propose its block; writes nothing.

    Raises SettingsError when the home's settings have mistakes, SiteNotFound, and AdoptError for the file.
    """
    settings = load_settings(home)
    site = find_site(settings, site_name)
    data = read_file(file)
    _refuse_sheet(site, file, data)
    proposal = propose(data, file.name, site, kind, answers)
    _refuse_claimed(site, proposal)
    if "files" not in (answers or {}):
        proposal = _narrow_pattern(site, proposal)
    proposal = _note_twin(site, proposal)
    preview = read_preview(
        data, proposal.export, _with_method(site, proposal), resolve_policy(settings, site)
    )
    return Adoption(settings, site, proposal, preview, write_block(proposal))


def _with_method(site: SiteSettings, proposal: Proposal) -> SiteSettings:
    """The site as it is once the block is written: with the extraction method that the file tells for certain."""
    method = proposal.extraction_method
    if method is None or method.sure != "certain":
        return site
    return site.model_copy(update={"extraction_method": method.value})


def find_site(settings: Settings, name: str) -> SiteSettings:
    """The site with this id or folder; raises SiteNotFound."""
    for site in settings.sites:
        if name in (site.id, site.folder.name):
            return site
    nearest = name_nearest(name, [site.id for site in settings.sites])
    raise SiteNotFound(
        f"{name} is no site of this home; {nearest}. For a new site copy the folder of another "
        "below sites/ and give it an id of its own."
    )


def read_file(file: Path) -> bytes:
    """The file's bytes; raises AdoptError."""
    try:
        if file.exists() and not file.is_file():
            raise AdoptError(f"{file} is no file; name one export.")
        return file.read_bytes()
    except OSError as error:
        raise AdoptError(
            f"{file}: cannot be read ({(error.strerror or 'unknown').lower()}); name a file that is there."
        ) from error


def _refuse_sheet(site: SiteSettings, file: Path, data: bytes) -> None:
    """A filled-in sheet is known by its header and needs no block."""
    sheet = find_sheet(data)
    if sheet is None:
        return
    what = "sampling sheet" if sheet.number == SHEET_READINGS else "sheet of meter checks"
    raise AdoptError(
        f"{file.name} is Leachbook's own {what} and needs no mapping; put it into {site.folder.name}/{DROP} as it is, "
        "filled in, and the next night takes it."
    )


def _refuse_claimed(site: SiteSettings, proposal: Proposal) -> None:
    """A file that an export of its kind takes already needs no second block."""
    name = f"{DROP}/{proposal.name}"
    for claim in plan_collection(site.exports, Listing([name], [], [])).claims:
        export = site.exports[claim.export_no - 1]
        if export.kind == proposal.kind.value:
            raise AdoptError(
                f"{proposal.name}: [[export]] {claim.export_no} of {site.folder.name}/site.toml already takes "
                f'{proposal.kind.value} from files like this ("{export.files}"); correct or remove that block.'
            )


def _narrow_pattern(site: SiteSettings, proposal: Proposal) -> Proposal:
    """Take the file's own name for a pattern that would take files of another export as well."""
    pattern = proposal.export.files
    names = list_site(site).names if site.folder.is_dir() else []
    others = plan_collection(site.exports, Listing(names, [], [])).claims
    theirs = {claim.name for claim in others}
    ours = {claim.name for claim in plan_collection([proposal.export], Listing(names, [], [])).claims}
    if not ours & theirs and pattern not in {export.files for export in site.exports}:
        return proposal
    return proposal.with_pattern(
        f"{DROP}/{proposal.name}", "the pattern of its name would take other files as well"
    )


def _note_twin(site: SiteSettings, proposal: Proposal) -> Proposal:
    """Say that an export of the kind has the very columns: the file may be the same export under another name."""
    for number, export in enumerate(site.exports, 1):
        if export.kind == proposal.kind.value and export.columns == proposal.export.columns:
            note = (
                f'[[export]] {number} of site.toml reads {export.kind} with these columns from "{export.files}". If '
                "this is the same export under another name, widen that pattern instead of adding a block: lines that "
                "come again are then told from new ones, and a newer whole history takes the place of the older."
            )
            return replace(proposal, notes=(*proposal.notes, note))
    return proposal


def append_block(home: Path, adoption: Adoption) -> Path:
    """Append the block to site.toml, all that is there kept byte for byte; returns the file's path.

    The new text is first read as a night would read it, together with all other settings.
    Raises AdoptError when that fails, or when the file was changed since it was read.
    """
    path = adoption.site.folder / "site.toml"
    key = path.relative_to(home).as_posix()
    before = path.read_bytes()
    if before != adoption.settings.files[key]:
        raise AdoptError(f"{path} was changed in the meantime; run the command again.")
    after = extend(before, adoption)
    _prove(adoption, key, after)
    write_whole(path, after)
    return path


def extend(before: bytes, adoption: Adoption) -> bytes:
    """The settings file with the block behind its last line, in the line ends that it has."""
    line_end = "\r\n" if b"\r\n" in before else "\n"
    text = before.decode("utf-8")
    method = adoption.proposal.extraction_method
    if method is not None and method.sure == "certain":
        text = _add_method(text, method.value, line_end)
    gap = "" if not text or text.endswith("\n") else line_end
    block = adoption.block.replace("\n", line_end)
    return (text + gap + line_end + block).encode("utf-8")


def _add_method(text: str, method: str, line_end: str) -> str:
    """Put the site's extraction method before its first table, which is the only place for it."""
    wanted = _parse(text) | {"extraction_method": method}
    line = f"extraction_method = {quote(method)}{line_end}"
    lines = text.splitlines(keepends=True)
    for at, one in enumerate(lines):
        if one.lstrip().startswith("["):
            candidate = "".join([*lines[:at], line, line_end, *lines[at:]])
            if _parse(candidate) == wanted:
                return candidate
    candidate = text + ("" if text.endswith("\n") else line_end) + line
    if _parse(candidate) == wanted:
        return candidate
    raise AdoptError(
        f'The extraction method finds no place in site.toml; write extraction_method = "{method}" above its tables.'
    )


def _parse(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError:
        return {}


def _prove(adoption: Adoption, key: str, after: bytes) -> None:
    """Load the settings as they would be, in a folder of their own."""
    with tempfile.TemporaryDirectory(prefix="leachbook-") as folder:
        copy = Path(folder)
        for name, data in (adoption.settings.files | {key: after}).items():
            target = copy / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
        try:
            load_settings(copy)
        except SettingsError as error:
            first = error.problems[0]
            raise AdoptError(f"The block would not be right ({first}); nothing was written.") from error
