"""Reading a table strictly: what is accepted, and the sentence for what is not."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pipeline.measures.reference_tables import PH, ReferenceTableBroken, Rule, read_table

RULES = {
    "row_no": Rule(pl.Int32()),
    "low": Rule(PH, required=False),
    "band": Rule(pl.String(), words=("low", "very low")),
    "classes": Rule(pl.String(), required=False, words=("plug", "pot_6_5in_plus"), several=True),
    "used": Rule(pl.Boolean(), words=("yes", "no")),
    "note": Rule(pl.String(), required=False),
}
HEADER = "row_no,low,band,classes,used,note\n"


def write(folder: Path, text: str) -> Path:
    path = folder / "bands.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_table_comes_back_typed(tmp_path: Path) -> None:
    path = write(tmp_path, HEADER + '1,5.4,very low,plug pot_6_5in_plus,yes,"a, b"\n2,,low,,no,\n')
    table = read_table(path, RULES)
    assert table.dtypes == [pl.Int32, PH, pl.String, pl.String, pl.Boolean, pl.String]
    assert table.rows() == [
        (1, Decimal("5.400"), "very low", "plug pot_6_5in_plus", True, "a, b"),
        (2, None, "low", None, False, None),
    ]


def test_another_header_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, "row_no,low,band,used,note\n")
    expected = (
        r"^bands\.csv: columns are row_no, low, band, used, note, "
        r"expected row_no, low, band, classes, used, note; restore the table or install leachbook again\.$"
    )
    with pytest.raises(ReferenceTableBroken, match=expected):
        read_table(path, RULES)


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("1,5.4055,low,,yes,", "line 2, low: found '5.4055'"),
        ('1,"5,4",low,,yes,', "line 2, low: found '5,4'"),
        ("1,5.,low,,yes,", "line 2, low: found '5.'"),
        ("1,5e0,low,,yes,", "line 2, low: found '5e0'"),
        ("1, 5.4,low,,yes,", "line 2, low: found ' 5.4'"),
        ("x,5.4,low,,yes,", "line 2, row_no: found 'x'"),
        (",5.4,low,,yes,", "line 2, row_no: found None"),
        ("1,5.4,,,yes,", "line 2, band: found None"),
        ("1,5.4,lowest,,yes,", "line 2, band: found 'lowest'"),
        ("1,5.4,low low,,yes,", "line 2, band: found 'low low'"),
        ("1,5.4,low,plug basket,yes,", "line 2, classes: found 'plug basket'"),
        ("1,5.4,low,,maybe,", "line 2, used: found 'maybe'"),
        ("1,5.4,low,,,", "line 2, used: found None"),
    ],
)
def test_a_bad_cell_is_refused(tmp_path: Path, line: str, problem: str) -> None:
    with pytest.raises(ReferenceTableBroken) as raised:
        read_table(write(tmp_path, f"{HEADER}{line}\n"), RULES)
    assert str(raised.value) == f"bands.csv: {problem}; restore the table or install leachbook again."


def test_all_columns_with_bad_cells_are_named_at_once(tmp_path: Path) -> None:
    path = write(tmp_path, HEADER + "1,5.4,low,,yes,\n2,x,low,,yes,\n3,y,lowest,,yes,\n")
    with pytest.raises(ReferenceTableBroken, match=r"line 3, low: found 'x'; line 4, band: found 'lowest'; "):
        read_table(path, RULES)
