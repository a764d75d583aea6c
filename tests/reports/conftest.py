"""Nights rendered once for all tests of the pages."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.reports.render import render_night
from tests.reports.factory import make_empty_summary, make_extreme_summary, make_small_summary


@pytest.fixture(scope="session")
def small_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small")
    render_night(make_small_summary(), folder, executor=None)
    return folder


@pytest.fixture(scope="session")
def extreme_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("extreme")
    render_night(make_extreme_summary(), folder, executor=None)
    return folder


@pytest.fixture(scope="session")
def empty_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("empty")
    render_night(make_empty_summary(), folder, executor=None)
    return folder
