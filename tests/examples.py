"""How many examples a property tries: few in the suite, as many as wanted in a run of its own."""

from __future__ import annotations

import os


def examples(in_suite: int) -> int:
    """`in_suite`, unless the environment's `LEACHBOOK_EXAMPLES` says another number."""
    return int(os.environ.get("LEACHBOOK_EXAMPLES", str(in_suite)))
