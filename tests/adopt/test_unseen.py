"""`leachbook adopt --json` over exports that were written before it was tried on them.

See unseen/README.md and unseen_kinds/README.md.

`python -m tests.adopt.test_unseen` prints the score with what is wrong.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from pipeline.adopt.columns import DAY_FIELDS
from pipeline.settings.words import KINDS
from tests.home import GROUP, SITE_ID, run_cli

TRUTHS = {path.parent.name: path for path in sorted(Path(__file__).parent.glob("unseen*/*/truth.toml"))}
NAMES = [name for name, path in TRUTHS.items() if path.parts[-3] == "unseen"]
NEWER_KINDS = [name for name, path in TRUTHS.items() if path.parts[-3] == "unseen_kinds"]
SITE = 'id = "hill"\nname = "Hill"\nextraction_method = "pour-through"\n'
DEFAULTS = {
    "encoding": "utf-8",
    "delimiter": ",",
    "decimal": ".",
    "thousands": "",
    "date_format": "%Y-%m-%d",
    "title_lines": 0,
    "units_row": False,
}
# What one file alone does not tell: asking is neither right nor wrong.
FREE = {"mode", "files", "extraction_method", "ec_compensated", "numbers_pots", "week_day", "week_starts"}
# While the scale of the one is asked, the other follows its first choice; held against the truth once it is answered.
FOLLOWS = {"columns.target_ec.unit": "columns.ec.unit"}
RIGHT, NAMED, WRONG = "right at first go", "ambiguity named", "wrong"

Facts = dict[str, Any]


@dataclass(frozen=True)
class Score:
    """How a proposal stands to the truth."""

    verdict: str
    faults: list[str]
    asked: list[str]


class Refused(Exception):
    """The command could not run on the file."""


def make_empty_home(folder: Path) -> Path:
    """A home with one site that has no export yet."""
    site = folder / "sites" / SITE_ID
    (site / "drop").mkdir(parents=True)
    (folder / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    (site / "site.toml").write_text(SITE, encoding="utf-8")
    return folder


def load_truth(name: str) -> Facts:
    return tomllib.loads(TRUTHS[name].read_text(encoding="utf-8"))


def adopt(home: Path, name: str, answers: Mapping[str, str]) -> tuple[Facts, Facts]:
    """The block as scored facts, and the open questions with their choices, both by our keys."""
    given = [part for key, value in answers.items() for part in ("--answer", f"{key}={value}")]
    ran = run_cli("adopt", home, SITE_ID, TRUTHS[name].with_name("export.csv"), "--json", *given)
    if ran.code not in (0, 1):
        raise Refused(ran.err.strip())
    said = ran.json
    (export,) = tomllib.loads(said["block"])["export"]
    return scored(export), {
        _our_key(one["key"]): [choice["value"] for choice in one["choices"]] for one in said["questions"]
    }


def _our_key(key: str) -> str:
    """A question's key as the block has it: unit.ec is columns.ec.unit, column.lot is columns.lot."""
    head, _, field = key.partition(".")
    return {"unit": f"columns.{field}.unit", "column": f"columns.{field}"}.get(head, key)


def _their_key(key: str) -> str:
    parts = key.split(".")
    if parts[0] != "columns":
        return key
    return f"unit.{parts[1]}" if len(parts) == 3 else f"column.{parts[1]}"


def scored(export: Facts) -> Facts:
    """What is scored of an [[export]], flat: kind, dialect, formats of mapped columns, columns and units."""
    columns = export["columns"]
    flat: Facts = {key: export.get(key, default) for key, default in DEFAULTS.items()}
    if not set(DAY_FIELDS) & set(columns):
        del flat["date_format"]
    flat["kind"] = export["kind"]
    flat |= {
        f"{name}_format": export.get(f"{name}_format") for name in ("time", "datetime") if name in columns
    }
    flat["total_words"] = sorted(word.casefold() for word in export.get("total_words", ()))
    for name, column in columns.items():
        flat[f"columns.{name}"] = column if isinstance(column, str) else column["column"]
        if isinstance(column, dict) and "unit" in column:
            flat[f"columns.{name}.unit"] = column["unit"]
    for name, words in export.get("values", {}).items():
        flat |= {f"values.{name}.{cell}": word for cell, word in words.items()}
    return flat


def compare(found: Facts, truth: Facts, except_for: set[str]) -> Iterator[str]:
    """Each scored key that is neither the truth nor as good."""
    right = scored(truth["export"][0])
    as_good: Facts = truth.get("also_right", {})
    keys = set(found) | set(right)
    # Words to be filled in are named, not wrong; only a truth that says what words mean is held against them.
    loose = {key for key in keys if key.startswith("values.") and (key not in found or not _has_words(right))}
    for key in sorted(keys - except_for - loose - {"total_words"}):
        theirs, ours = found.get(key), right.get(key)
        if theirs != ours and theirs not in as_good.get(key, []):
            yield f"{key} is {theirs!r} and should be {ours!r}"
    if not set(right["total_words"]) <= set(found["total_words"]):
        yield f"total_words are {found['total_words']} and should hold {right['total_words']}"


def _has_words(right: Facts) -> bool:
    return any(key.startswith("values.") for key in right)


def score(home: Path, name: str) -> Score:
    """Propose without an answer, look at what is asked, answer it by the truth and propose again."""
    try:
        return _score(home, name)
    except Refused as error:
        return Score(WRONG, [f"the file is refused: {error}"], [])


def _score(home: Path, name: str) -> Score:
    truth = load_truth(name)
    right = scored(truth["export"][0])
    ambiguous = {one["key"]: one["choices"] for one in truth.get("ambiguous", [])}
    may_ask = set(truth.get("may_ask", {}).get("keys", [])) | FREE
    found, questions = adopt(home, name, {})
    faults = []
    for key, choices in ambiguous.items():
        if key not in questions:
            faults.append(f"{key} is not asked, but taken as {found.get(key)!r}")
        elif set(choices) - set(questions[key]):
            faults.append(f"{key} is asked without {sorted(set(choices) - set(questions[key]))}")
    faults += [f"{key} is asked, but the file tells it" for key in set(questions) - set(ambiguous) - may_ask]
    following = {key for key, followed in FOLLOWS.items() if followed in questions}
    faults += compare(found, truth, set(questions) | set(ambiguous) | following)
    if questions and not faults:
        answers = {_their_key(key): str(right.get(key, choices[0])) for key, choices in questions.items()}
        found, still = adopt(home, name, answers)
        faults += [f"{key} is still asked" for key in still]
        faults += compare(found, truth, set())
    asked = sorted(set(questions) - FREE)
    asked += sorted(key for key in set(right) - set(found) if key.startswith("values."))
    return Score(WRONG if faults else NAMED if asked else RIGHT, faults, asked)


@pytest.mark.parametrize("name", TRUTHS)
def test_an_unseen_export_is_proposed_right_or_its_ambiguity_is_named(tmp_path: Path, name: str) -> None:
    seen = score(make_empty_home(tmp_path / "home"), name)
    assert seen.faults == []
    assert (seen.verdict == NAMED) >= bool(load_truth(name).get("ambiguous"))


def test_the_exports_are_there_with_all_kinds_and_their_ambiguities() -> None:
    assert len(NAMES) == 10
    assert sum(bool(load_truth(name).get("ambiguous")) for name in NAMES) == 3
    assert len(NEWER_KINDS) == 12
    assert {load_truth(name)["export"][0]["kind"] for name in NEWER_KINDS} == set(KINDS[3:])


def test_a_wrong_column_and_a_silent_choice_are_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def guessing(home: Path, name: str, answers: Mapping[str, str]) -> tuple[Facts, Facts]:
        found = scored(load_truth(name)["export"][0])
        return found | {"columns.note": "By"}, {}

    monkeypatch.setattr(f"{__name__}.adopt", guessing)
    seen = score(tmp_path, "tilden-benches")
    assert seen.verdict == WRONG
    assert [fault.split(" is ")[0] for fault in seen.faults] == [
        "date_format",
        "columns.ec.unit",
        "columns.note",
    ]


def main() -> None:
    """Print the verdict of each export and what is wrong."""
    with tempfile.TemporaryDirectory() as folder:
        home = make_empty_home(Path(folder) / "home")
        verdicts = []
        for name in TRUTHS:
            seen = score(home, name)
            verdicts.append(seen.verdict)
            sys.stdout.write(f"{name}: {seen.verdict}; asked {seen.asked}\n")
            sys.stdout.writelines(f"    {fault}\n" for fault in seen.faults)
    counts = [f"{verdicts.count(one)} {one}" for one in (RIGHT, NAMED, WRONG)]
    sys.stdout.write(", ".join(counts) + "\n")


if __name__ == "__main__":
    main()
