"""Where a policy of a small home samples less often than is published."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.oracle.small_home import LOT_HEADER, only_site, summary_of

AS_OF = date(2026, 4, 6)
LOTS = (
    "P,2,petunia,pot_4in,2025-12-01,2026-06-08,800\nQ,2,pansy,pot_4in,2025-12-01,2026-06-08,90\n"
    "R,1,pansy,plug,2025-12-01,2026-06-08,90\nS,1,pansy,cell_pack,2025-12-01,2026-04-05,90\n"
)
OWN = "[[policy]]\nvalid_from = 2026-01-01\n"


def slack(home: Path, policy: str = "") -> list[dict[str, Any]]:
    summary = summary_of(home, [(AS_OF, {"lots.csv": LOT_HEADER + LOTS})], "", policy)
    found: list[dict[str, Any]] = only_site(summary)["slack_intervals"]
    return found


def test_four_inch_pots_every_fortnight(tmp_path: Path) -> None:
    (found,) = slack(tmp_path)
    # the cell packs have been shipped, and plugs every 3 days are within 2 to 4
    assert (found["container_class"], found["interval_days"]) == ("pot_4in", 14)
    assert [(one["as_printed"], one["interval_high_days"]) for one in found["published"]] == [
        ("weekly", 7),
        ("weekly", 7),
    ]


@pytest.mark.parametrize(
    ("own", "classes"),
    [
        ("[policy.containers.pot_4in]\nroutine_interval_days = 7\n", []),
        ("[policy.containers.pot_4in]\nroutine_interval_days = 8\n", ["pot_4in"]),
        ("[policy.containers.plug]\nroutine_interval_days = 5\n", ["plug", "pot_4in"]),
    ],
)
def test_an_interval_of_one_s_own(tmp_path: Path, own: str, classes: list[str]) -> None:
    assert [one["container_class"] for one in slack(tmp_path, OWN + own)] == classes
