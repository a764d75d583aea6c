"""A sample of the script beside it: rebuildings killed at two moments."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import Share, copy_home
from tests.faults.kill_nights import Moment
from tests.faults.kill_rebuild import check
from tests.test_verify import run_three_nights


@pytest.mark.parametrize(
    ("moment", "stood"),
    [(Moment("Replaying night 3", 0.02), "killed, old warehouse"), (Moment("Publishing", 0.01), None)],
)
def test_a_killed_rebuilding_leaves_a_whole_warehouse(
    share: Share, tmp_path: Path, moment: Moment, stood: str | None
) -> None:
    base = share("three-nights", run_three_nights)
    found = check(base, copy_home(base, tmp_path / "home"), moment)
    assert stood in (None, found)
