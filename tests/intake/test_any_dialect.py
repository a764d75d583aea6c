"""Property: any table, written in any dialect and read back, is the same table, exactly.

`LEACHBOOK_EXAMPLES=10000` in the environment tries as many files instead of the suite's 500.
"""

from hypothesis import HealthCheck, given, settings

from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from tests.examples import examples
from tests.intake.any_dialect import Written, files
from tests.intake.samples import make_site

LIMITS = settings(
    max_examples=examples(500),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)


@LIMITS
@given(files())
def test_any_table_in_any_dialect_is_the_same_table(written: Written) -> None:
    result = read_records(written.data, written.export)
    assert result.file_problem is None
    translated = translate(result, written.export, make_site(time_zone=written.zone))
    assert translated.problems.rows() == []
    names = list(written.rows[0])
    assert list(translated.rows.select(names).iter_rows(named=True)) == written.rows


@LIMITS
@given(files(loses_units=True))
def test_a_file_that_lost_its_row_of_units_loses_no_record(written: Written) -> None:
    result = read_records(written.data, written.export)
    data = result.records.filter(kind="data")
    assert data.height == len(written.rows)
    assert result.file_problem is None or (data["problem"] == result.file_problem.code).all()
    assert (result.cells.height == 0) == (result.file_problem is not None)
