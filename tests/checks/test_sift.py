from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from pipeline.checks.sift import explain_ec, sift
from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from pipeline.settings import PolicyPeriod, SiteSettings, merge_policy
from tests.intake.samples import READING_HEADER, make_export, make_site

DEFAULTS = merge_policy((), ())


def holds(
    *lines: str, site: SiteSettings | None = None, policy: Any = DEFAULTS, **changes: Any
) -> list[tuple[int, str, str]]:
    export = make_export(**changes)
    data = "\n".join([READING_HEADER, *lines]).encode()
    translated = translate(read_records(data, export), export, site or make_site())
    return list(sift(translated, export, policy).iter_rows())


@pytest.mark.parametrize("ph", ["0", "5.8", "14", ""])
def test_ph_on_the_scale(ph: str) -> None:
    assert holds(f"A1,2026-04-05,{ph},1.9") == []


@pytest.mark.parametrize("ph", ["-0.1", "14.001", "58"])
def test_ph_out_of_scale(ph: str) -> None:
    assert holds(f"A1,2026-04-05,{ph},1.9") == [
        (2, "ph_out_of_scale", f"pH {ph} is outside 0 to 14; read it again")
    ]


@pytest.mark.parametrize("ec", ["0", "20", ""])
def test_ec_on_the_scale(ec: str) -> None:
    assert holds(f"A1,2026-04-05,5.8,{ec}") == []


@pytest.mark.parametrize(
    ("ec", "detail"),
    [
        ("-0.1", "EC -0.1 mS/cm is negative; read it again"),
        ("20.0001", "EC 20.0001 mS/cm is above 20 mS/cm; read it again"),
        (
            "1850",
            "EC 1850 mS/cm is above 20 mS/cm; it looks like µS/cm: check the unit of the column in site.toml",
        ),
        ("75", "EC 75 mS/cm is above 20 mS/cm; it looks like ppm: check the unit of the column in site.toml"),
        ("30000", "EC 30000 mS/cm is above 20 mS/cm; read it again"),
    ],
)
def test_ec_out_of_scale(ec: str, detail: str) -> None:
    assert holds(f"A1,2026-04-05,5.8,{ec}") == [(2, "ec_out_of_scale", detail)]


def test_limit_of_the_day_s_policy() -> None:
    policy = merge_policy((PolicyPeriod(valid_from=date(2026, 4, 6), ec_highest_ms_cm=Decimal(8)),), ())
    found = holds("A1,2026-04-05,5.8,9", "A1,2026-04-06,5.8,9", "A1,2026-04-07,5.8,8", policy=policy)
    assert found == [(3, "ec_out_of_scale", "EC 9 mS/cm is above 8 mS/cm; read it again")]


def test_record_without_a_readable_day_is_sifted_all_the_same() -> None:
    assert [code for _, code, _ in holds("A1,soon,99,99")] == ["ph_out_of_scale", "ec_out_of_scale"]


def test_method_named_by_nobody() -> None:
    open_site = make_site(extraction_method=None)
    assert holds("A1,2026-04-05,5.8,1.9", site=open_site) == [
        (
            2,
            "method_missing",
            (
                "neither the line nor the site names the extraction method; set extraction_method in "
                "site.toml, because the same EC is low or extreme by method"
            ),
        )
    ]
    assert holds("A1,2026-04-05,5.8,1.9") == []


def test_records_that_could_not_be_read_are_left_to_the_reader() -> None:
    assert holds("A1,2026-04-05,5.8", site=make_site(extraction_method=None)) == []


def test_all_reasons_in_record_order() -> None:
    found = holds("A1,2026-04-05,5.8,99", "A1,2026-04-05,99,99")
    assert [(record, code) for record, code, _ in found] == [
        (2, "ec_out_of_scale"),
        (3, "ph_out_of_scale"),
        (3, "ec_out_of_scale"),
    ]


def test_other_kinds_have_no_such_holds() -> None:
    export = make_export(kind="calibrations", columns={"meter": "Meter", "date": "Date"})
    translated = translate(read_records(b"Meter,Date\nM1,2026-04-05\n", export), export, make_site())
    assert sift(translated, export, DEFAULTS).is_empty()


def test_figures_are_printed_without_trailing_zeros_or_exponents() -> None:
    assert (
        explain_ec(Decimal("30000.0000"), Decimal("20.0000"))
        == "EC 30000 mS/cm is above 20 mS/cm; read it again"
    )
