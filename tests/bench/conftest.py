"""The simulated rules are held against what the night itself computes: the shipped SQL on a real warehouse."""

from __future__ import annotations

from tests.sql.conftest import begin, bench, warehouse

__all__ = ["begin", "bench", "warehouse"]
