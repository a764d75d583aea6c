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
    ("below", "problem"),
    [(",µS/cm", "units_changed"), (",mS/cm", None), ("A,µS/cm", None), (",2", None), (",", None)],
)
def test_a_row_of_units_that_nobody_declared_contradicts_too(below: str, problem: str | None) -> None:
    export = Export("readings", "*", {"lot": ("Lot", None), "ec": ("EC", "mS/cm")})
    assert read_in_layout(f"Lot,EC\n{below}\nB7,2\n".encode(), export).file_problem == problem


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


@pytest.mark.parametrize(
    ("name", "title", "unit", "problem"),
    [
        ("ec", "EC (mS/m)", "mS/cm", "units_changed"),
        ("ec", "EC (CF)", "mS/cm", "units_changed"),
        ("ec", "EC mS/m", "mS/m", None),
        ("ec", "EC (leachate)", "mS/cm", None),
        ("leachate", "Drain (cl)", "mL", "units_changed"),
        ("leachate", "Drain cl", "mL", "units_changed"),
        ("temperature", "Temp (K)", "°C", "units_changed"),
        ("drain", "Drain (h)", None, "units_changed"),
        ("ph", "pH (Topf)", None, None),
    ],
)
def test_a_header_that_names_another_unit(
    name: str, title: str, unit: str | None, problem: str | None
) -> None:
    columns = {"lot": ("Lot", None), name: (title, unit)}
    text = f"Lot,{title}\nA,2\n".encode()
    assert read_in_layout(text, Export("readings", "*", columns)).file_problem == problem
    assert read_in_layout(text, Export("readings", "*", columns, wrong_headers=(name,))).file_problem is None
