"""Units that a header or a row of units says: taken as they are, and never a known one beside one that is not."""

from __future__ import annotations

import pytest

from pipeline.adopt import propose
from pipeline.adopt.block import write_block
from pipeline.adopt.preview import read_preview
from pipeline.errors import AdoptError
from tests.adopt.helpers import SITE, keys, mapped, table

NAME = "log_2026-03-30.csv"


@pytest.mark.parametrize(
    ("ec", "drain", "row", "units"),
    [
        ("EC (mS/cm)", "Drain (cl)", "1.85;13", ("mS/cm", "cL")),
        ("EC (S/m)", "Drain (dl)", "0.185;1.3", ("S/m", "dL")),
        ("EC (mS/m)", "Drain (l)", "185;0.13", ("mS/m", "L")),
        ("EC µS/m", "Drain cc", "185000;130", ("µS/m", "mL")),
    ],
)
def test_metric_units_are_read_to_the_same_figures(
    ec: str, drain: str, row: str, units: tuple[str, str]
) -> None:
    data = table(f"Date;Lot;pH;{ec};{drain}\n2026-03-30;A-1;5.8;{row}\n2026-03-31;A-2;6.1;{row}")
    proposal = propose(data, NAME, SITE)
    assert not proposal.questions
    found = {one.field: one.unit.value for one in proposal.columns if one.unit}
    assert (found["ec"], found["leachate"]) == units
    first = read_preview(data, proposal.export, SITE).rows[0]
    assert (first["ec_ms_cm"], first["leachate_ml"]) == ("1.85", "130")


def test_a_row_of_units_is_recognised_by_units_that_are_and_are_not_known() -> None:
    data = table("Date;Lot;pH;EC;Temp (K);Drain\n;;;S/m;;cl\n2026-03-30;A-1;5.8;0.185;293;13")
    proposal = propose(data, NAME, SITE)
    assert proposal.export.units_row
    assert {one.field: one.unit.value for one in proposal.columns if one.unit} == {
        "ec": "S/m",
        "leachate": "cL",
    }
    (left,) = proposal.left_out
    assert left.why == "it is in K, which is no unit that temperature can be in here; export it in °C or °F"


def test_an_unknown_unit_is_asked_and_its_column_left_out() -> None:
    data = table("Date;Lot;pH;EC (CF);Drain time (h)\n2026-03-30;A-1;5.8;18.5;1\n2026-03-31;A-2;6.1;21.0;2")
    proposal = propose(data, NAME, SITE)
    assert keys(proposal) == {"unit.ec"}
    assert proposal.questions[0].text == (
        '"EC (CF)" is in CF, which is no unit that is known here: which unit are its figures in?'
    )
    assert {"ec", "drain"}.isdisjoint(mapped(proposal))
    assert [one.header for one in proposal.left_out] == ["EC (CF)", "Drain time (h)"]
    assert (
        "it is in h, which is no unit that drain can be in here; export it in min" in proposal.left_out[1].why
    )


def test_a_unit_that_somebody_names_against_the_header_is_written_so_that_a_night_reads_it() -> None:
    data = table("Date;Lot;pH;EC (CF)\n2026-03-30;A-1;5.8;1.85")
    proposal = propose(data, NAME, SITE, None, {"unit.ec": "mS/cm"})
    assert 'ec = { column = "EC (CF)", unit = "mS/cm", header_unit_is_wrong = true }' in write_block(proposal)
    assert read_preview(data, proposal.export, SITE).file_problem is None


def test_a_file_whose_only_figures_are_in_an_unknown_unit_is_refused() -> None:
    with pytest.raises(AdoptError, match=r'"EC \(CF\)" is in CF, which is no unit that is known here'):
        propose(table("Date;Lot;EC (CF)\n2026-03-30;A-1;1.85"), NAME, SITE)
