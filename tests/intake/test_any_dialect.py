"""Property: any table, written in any dialect and read back, is the same table, exactly.

`LEACHBOOK_EXAMPLES=10000` in the environment tries as many files instead of the suite's 500.
"""

from hypothesis import HealthCheck, given, settings

from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from tests.examples import examples
from tests.intake.any_dialect import Written, files
from tests.intake.samples import make_site


@settings(
    max_examples=examples(500),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)
@given(files())
def test_any_table_in_any_dialect_is_the_same_table(written: Written) -> None:
    result = read_records(written.data, written.export)
    assert result.file_problem is None
    translated = translate(result, written.export, make_site(time_zone=written.zone))
    assert translated.problems.rows() == []
    names = list(written.rows[0])
    assert list(translated.rows.select(names).iter_rows(named=True)) == written.rows
