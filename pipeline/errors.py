"""Everything that can go wrong for the user, as types.

Each class is a user error: its text is one sentence that says where, what was found and what to do,
and the command line prints it without a traceback. Anything else that is raised is a defect.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class LeachbookError(Exception):
    """Raise when a run cannot go on and the user can mend it; the text is one whole sentence.

    `exit_code` is what the command ends with; 2 means "could not run".
    """

    exit_code = 2


@dataclass(frozen=True, slots=True, order=True)
class SettingsProblem:
    """One mistake: the file (below the home), the key, what stands there, what would be right."""

    file: str
    key: str
    found: str
    right: str

    def __str__(self) -> str:
        place = f"{self.file}: {self.key}" if self.key else self.file
        return f"{place}: {self.found}; {self.right}"


class SettingsError(LeachbookError):
    """Raise when settings files have mistakes: once, with the problems of all files together."""

    def __init__(self, problems: Iterable[SettingsProblem]) -> None:
        self.problems: list[SettingsProblem] = sorted(problems)
        count = len(self.problems)
        head = (
            "There is 1 mistake in the settings:"
            if count == 1
            else f"There are {count} mistakes in the settings:"
        )
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))


class HomeError(LeachbookError):
    """Raise when a folder is no home or cannot become one: missing, not empty, not readable or writable."""


class SiteNotFound(LeachbookError):
    """Raise when a command names a site, lot or sampling that the home lacks; name the nearest it has."""


class ArchiveError(LeachbookError):
    """Raise when the archive or its ledger cannot be read, written or does not agree with its own hashes."""


class WarehouseError(LeachbookError):
    """Raise when the warehouse file is missing, damaged, made by a newer version, or cannot be written."""


class RebuildError(LeachbookError):
    """Raise when a replay of the ledger does not give the facts or rows that the ledger tells; name the night."""


class NightRunning(LeachbookError):
    """Raise when another night holds the home's lock; name the holder (process, host, since when)."""


class InvariantBroken(LeachbookError):
    """Raise when a query of sql/invariants/ returned rows: the night is not published, yesterday's stays."""


class AsOfError(LeachbookError):
    """Raise when an as-of date is unreadable, in the future, or before the newest night of the home."""


class ReportError(LeachbookError):
    """Raise when a page or a PDF cannot be made or written: full disk, system library or font missing."""


class AuditError(LeachbookError):
    """Raise when a dossier cannot be made or checked: no day of it was known, or the file is no dossier."""


class OutboxError(LeachbookError):
    """Raise when the outbox cannot be read or written, or a letter cannot be resent or cancelled."""


class MailError(LeachbookError):
    """Raise when no mail can be made or sent as the settings are: password, certificate file or folder missing."""


class AdoptError(LeachbookError):
    """Raise when a file cannot be described as an export: not text, empty, no header, or already claimed."""


class AssetMissing(LeachbookError):
    """Raise when a file of the program itself (SQL, template, reference table) is not where it should be."""
