"""The list of measures with their published examples: true to the tests, and nothing left out."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from pipeline import measures

HERE = Path(__file__).parent
TESTS = HERE.parent
PAGE = (HERE / "README.md").read_text(encoding="utf-8")


def functions(path: Path) -> set[str]:
    """Names of the tests of one file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


def named() -> list[tuple[str, str]]:
    """Every test that the page names, as file and function."""
    return re.findall(r"`([\w/]+\.py)::(\w+)`", PAGE)


def test_every_test_that_is_named_exists() -> None:
    tests = named()
    assert len(tests) > 80
    assert [(file, name) for file, name in tests if name not in functions(TESTS / file)] == []
    assert [
        file for file in re.findall(r"`([\w/]+/test_\w+\.py)`", PAGE) if not (TESTS / file).exists()
    ] == []


def test_every_published_check_is_named() -> None:
    listed = set(named())
    found = {
        (f"published/{path.name}", name)
        for path in HERE.glob("test_*.py")
        if path != Path(__file__)
        for name in functions(path)
    }
    assert found - listed == set()


def test_every_module_of_the_measures_is_named() -> None:
    modules = {path.stem for path in Path(measures.__file__).parent.glob("*.py")} - {"__init__"}
    assert {name for name in modules if f"`{name}`" not in PAGE} == set()


def test_a_row_without_a_published_test_says_that_none_was_found() -> None:
    rows = [line.split(" | ") for line in PAGE.splitlines() if line.startswith("| ") and "::" in line]
    without = [row[0] for row in rows if "published/test_" not in row[3] and "none found" not in row[2]]
    # its critical value is checked against the printed one beside the rule's own tests
    assert without == ["| last digits by chance"]
