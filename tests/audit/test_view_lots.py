"""What a dossier writes of one lot's samplings."""

import pytest

from pipeline.audit.view_lots import round_edge


@pytest.mark.parametrize(("edge", "text"), [(6.0, "6.0"), (6.6, "6.6"), (2.25, "2.25"), (1, "1.0")])
def test_an_edge_of_a_target_has_one_decimal_or_the_two_it_was_set_with(edge: float, text: str) -> None:
    assert f"{round_edge(edge)}" == text
