"""What a run did, as lines of JSON in the home's log folder: one object a line, with the run's id.

The standard library's logging is enough: structlog would bind one field for us, the run id, and bring a dependency.
What is written are our own words, counts and names of files; never a cell, a note or a password.
"""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, Final

LOG_FOLDER: Final = "log"
LOG_NAME: Final = "runs.jsonl"
MOST_BYTES: Final = 2_000_000
KEPT_FILES: Final = 5
"""House defaults: 2 MB are some years of quiet nights; five older files are kept."""
_SECRET: Final = re.compile(r"passw|secret|token|credential|login", re.IGNORECASE)


class RunLog:
    """Writes events of one run."""

    def __init__(self, logger: logging.Logger, run_id: str) -> None:
        self._logger = logger
        self._run_id = run_id

    def info(self, event: str, **fields: object) -> None:
        """Something that belongs to a run which goes well."""
        self._write(logging.INFO, event, fields)

    def warning(self, event: str, **fields: object) -> None:
        """Something that somebody may want to know."""
        self._write(logging.WARNING, event, fields)

    def error(self, event: str, **fields: object) -> None:
        """What ended a run."""
        self._write(logging.ERROR, event, fields)

    def _write(self, level: int, event: str, fields: dict[str, object]) -> None:
        self._logger.log(level, event, extra={"run_id": self._run_id, "fields": fields})


@contextmanager
def open_run_log(home: Path, run_id: str) -> Iterator[RunLog]:
    """Open the home's log for one run; a log that cannot be written stops no run."""
    # A logger of its own, in no register: two homes in one process do not write into each other's log.
    logger = logging.Logger("leachbook", logging.INFO)
    handler = _Lines(home / LOG_FOLDER / LOG_NAME)
    logger.addHandler(handler)
    try:
        yield RunLog(logger, run_id)
    finally:
        handler.close()


class _Lines(RotatingFileHandler):
    """Lines of JSON; the folder is made with the first of them."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, maxBytes=MOST_BYTES, backupCount=KEPT_FILES, encoding="utf-8", delay=True)
        self.setFormatter(_AsJson())

    def emit(self, record: logging.LogRecord) -> None:
        try:
            Path(self.baseFilename).parent.mkdir(exist_ok=True)
            super().emit(record)
        except OSError:
            self.handleError(record)

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  the library calls it so
        """Let it be: what went wrong is told on standard error by the run itself, and a full disk by the notices."""


class _AsJson(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "run": getattr(record, "run_id", ""),
            "event": record.getMessage(),
            **hide_secrets(getattr(record, "fields", {})),
        }
        return json.dumps(told, ensure_ascii=False, default=str)


def hide_secrets(fields: dict[str, object]) -> dict[str, object]:
    """The fields with whatever is named like a secret struck out."""
    return {name: "***" if _SECRET.search(name) else value for name, value in fields.items()}
