"""A sample of the script beside it: nights killed at three moments, each followed by a night that is right."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.reports.summary import Summary
from tests.conftest import Share
from tests.faults.kill_nights import (
    Moment,
    begin,
    check_after_kill,
    check_next_night,
    kill_at,
    left_over,
    published,
)
from tests.home import night


@pytest.fixture(scope="module")
def whole(one_night: Path, share: Share) -> Summary:
    """The document of the night that nobody kills."""
    return published(share("killed-by-nobody", lambda folder: night(begin(one_night, folder), pages=True)))


@pytest.mark.parametrize(
    ("moment", "stands"),
    [
        (Moment("Judging", 0.05), "old pages"),
        (Moment("Rendering", 0.3), "old pages"),
        (Moment("Publishing", 0.02), None),
    ],
    ids=lambda value: value.step if isinstance(value, Moment) else "",
)
def test_a_killed_night_leaves_all_whole_and_the_next_one_is_right(
    one_night: Path, whole: Summary, tmp_path: Path, moment: Moment, stands: str | None
) -> None:
    home = begin(one_night, tmp_path / "home")
    was_running = kill_at(home, moment)
    found = check_after_kill(home, published(one_night), whole)
    if stands is not None:
        assert (was_running, found) == (True, stands)
        assert left_over(home), "the killed night left its working copy"
    check_next_night(home, whole)
