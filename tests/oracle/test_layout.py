"""Files that are held for their layout."""

import pytest

from tests.oracle.layout import read_in_layout
from tests.oracle.settings import Export


@pytest.mark.parametrize(
    ("unit", "problem"), [("mS/cm", None), ("dS/m", None), ("", None), ("x", "units_changed"), ("5", "units_changed"),
                          ("µS/cm", "units_changed"), ("ppm", "units_changed")]
)  # fmt: skip
def test_a_row_of_units_that_contradicts_the_column(unit: str, problem: str | None) -> None:
    export = Export("readings", "*", {"lot": ("Lot", None), "ec": ("EC", "mS/cm")}, units_row=True)
    assert read_in_layout(f"Lot,EC\n,{unit}\nA,2\n".encode(), export).file_problem == problem


@pytest.mark.parametrize(
    ("earlier", "order", "problem"),
    [
        (None, "fixed", None),
        (("Lot", "EC"), "fixed", None),
        (("EC", "Note", "Lot"), "fixed", "columns_moved"),
        (("EC", "Lot"), "any", None),
    ],
)
def test_moved_columns(earlier: tuple[str, ...] | None, order: str, problem: str | None) -> None:
    export = Export("readings", "*", {"lot": ("Lot", None), "ec": ("EC", "mS/cm")}, column_order=order)
    assert read_in_layout(b"Lot,EC\nA,2\n", export, earlier).file_problem == problem
