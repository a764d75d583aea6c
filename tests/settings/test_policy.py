"""Policy values: their catalogue, their ranges, and which are in force on which day."""

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from pydantic import BaseModel

from pipeline.settings import (
    CONTAINER_DEFAULTS,
    POLICY_CATALOGUE,
    PolicyInForce,
    PolicyPeriod,
    PolicyValues,
    load_settings,
    merge_policy,
    resolve_policy,
)
from tests.settings.homes import GROWER, SITE, find_problems, lines, write_home


def resolve(home: Path) -> list[PolicyInForce]:
    settings = load_settings(home)
    return resolve_policy(settings, settings.sites[0])


def test_without_any_policy_the_defaults_hold_from_the_first_day_on(tmp_path: Path) -> None:
    (only,) = resolve(write_home(tmp_path))
    assert (only.valid_from, only.valid_to, only.own) == (date(1, 1, 1), None, frozenset())
    assert only.values == PolicyValues()
    assert only.values.containers == CONTAINER_DEFAULTS


def test_later_tables_change_only_what_they_list_and_the_site_goes_before_the_group(tmp_path: Path) -> None:
    home = write_home(
        tmp_path,
        policy="""
            [[policy]]
            valid_from = 2026-03-01
            grace_days = 4
            [[policy]]
            valid_from = 2026-01-01
            grace_days = 3
            step_ph = 0.1
            """,
        site=SITE + "[[policy]]\nvalid_from = 2026-02-01\ngrace_days = 0\n",
    )
    found = [
        (
            str(one.valid_from),
            str(one.valid_to),
            one.values.grace_days,
            str(one.values.step_ph),
            sorted(one.own),
        )
        for one in resolve(home)
    ]
    assert found == [
        ("0001-01-01", "2026-01-01", 2, "0.2", []),
        ("2026-01-01", "2026-02-01", 3, "0.1", ["grace_days", "step_ph"]),
        ("2026-02-01", "2026-03-01", 0, "0.1", ["grace_days", "step_ph"]),
        ("2026-03-01", "None", 0, "0.1", ["grace_days", "step_ph"]),
    ]


def test_a_container_keeps_what_a_table_does_not_list(tmp_path: Path) -> None:
    home = write_home(
        tmp_path,
        policy="[[policy]]\nvalid_from = 2026-01-01\n"
        "[policy.containers.pot_4in]\nroutine_interval_days = 7\n",
    )
    now = resolve(home)[-1]
    assert now.own == {"containers.pot_4in.routine_interval_days"}
    assert now.values.containers["pot_4in"] == CONTAINER_DEFAULTS["pot_4in"].model_copy(
        update={"routine_interval_days": 7}
    )
    assert now.values.containers["plug"] == CONTAINER_DEFAULTS["plug"]


def test_own_targets_replace_each_other_by_crop_and_quantity(tmp_path: Path) -> None:
    def target(crop: str, quantity: str, low: float, high: float) -> str:
        return f'[[policy.targets]]\ncrop = "{crop}"\nquantity = "{quantity}"\nlow = {low}\nhigh = {high}\n'

    home = write_home(
        tmp_path,
        policy="[[policy]]\nvalid_from = 2026-01-01\n"
        + target("Petunia", "ph", 5.4, 6.0)
        + target("petunia", "ec", 1.5, 2.5),
        site=SITE + "[[policy]]\nvalid_from = 2025-01-01\n" + target("petunia", "ph", 5.5, 5.9),
    )
    now = resolve(home)[-1]
    assert [(one.crop, one.quantity, one.low, one.high, one.set_by) for one in now.values.targets] == [
        ("petunia", "ph", Decimal("5.5"), Decimal("5.9"), "site"),
        ("petunia", "ec", Decimal("1.5"), Decimal("2.5"), "group"),
    ]
    assert "targets" in now.own


def test_a_later_row_of_a_crop_changes_only_what_it_lists(tmp_path: Path) -> None:
    def crop(name: str, *lines: str) -> str:
        return "\n".join(["[[policy.crops]]", f'crop = "{name}"', *lines, ""])

    home = write_home(
        tmp_path,
        policy="[[policy]]\nvalid_from = 2026-01-01\n"
        + crop("Scaevola", 'ph_group = "general"', 'feeding_level = "light"')
        + crop("lantana", 'feeding_level = "medium"'),
        site=SITE
        + "[[policy]]\nvalid_from = 2026-02-01\n"
        + crop("scaevola", 'ph_group = "iron-inefficient"')
        + "[[policy]]\nvalid_from = 2026-03-01\n"
        + crop("lantana", 'ph_group = "general"', 'feeding_level = "heavy"'),
    )

    def crops(period: PolicyInForce) -> list[tuple[str, str | None, str | None]]:
        return [(one.crop, one.ph_group, one.feeding_level) for one in period.values.crops]

    before, first, second, third = resolve(home)
    assert crops(before) == []
    assert crops(first) == [("Scaevola", "general", "light"), ("lantana", None, "medium")]
    assert crops(second) == [("scaevola", "iron-inefficient", "light"), ("lantana", None, "medium")]
    assert crops(third) == [("scaevola", "iron-inefficient", "light"), ("lantana", "general", "heavy")]
    assert "crops" in third.own


def test_own_targets_of_other_stages_stand_beside_each_other(tmp_path: Path) -> None:
    def target(low: float, stage: str | None = None) -> str:
        of_stage = f'stage = "{stage}"\n' if stage else ""
        return f'[[policy.targets]]\ncrop = "petunia"\nquantity = "ph"\nlow = {low}\nhigh = 6.5\n{of_stage}'

    home = write_home(
        tmp_path,
        policy="[[policy]]\nvalid_from = 2026-01-01\n" + target(5.4) + target(5.6, "finishing"),
        site=SITE + "[[policy]]\nvalid_from = 2026-01-01\n" + target(5.7, "finishing"),
    )
    assert [(one.stage, one.low, one.set_by) for one in resolve(home)[-1].values.targets] == [
        (None, Decimal("5.4"), "group"),
        ("finishing", Decimal("5.7"), "site"),
    ]


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        pytest.param(
            "slope_low_pct = 96",
            "policy: slope_low_pct: slope_low_pct is 96 and slope_warn_low_pct is 95 from 2026-01-01; "
            "slope_low_pct must not be above slope_warn_low_pct",
            id="wrong way round with a default",
        ),
        pytest.param(
            '[[policy.crops]]\ncrop = "scaevola"',
            "policy 1: crops 1: scaevola has neither; say its ph_group, its feeding_level, or both",
            id="a crop without a group",
        ),
        pytest.param(
            '[[policy.crops]]\ncrop = "lantana"\nph_group = "general"\n'
            '[[policy.crops]]\ncrop = "Lantana"\nfeeding_level = "light"',
            "policy 1: crops 2: Lantana stands at crops 1 already; write both of its groups in one row",
            id="a crop twice",
        ),
        pytest.param(
            "volume_warn_share = -0.1",
            "policy 1: volume_warn_share: it is -0.1; 0 or more is needed",
            id="negative",
        ),
        pytest.param(
            "act_in_a_row = 1", "policy 1: act_in_a_row: it is 1; 2 or more is needed", id="one is no row"
        ),
        pytest.param(
            "grace_days = 2.5",
            "policy 1: grace_days: it is 2.5; a whole number without quotes is needed",
            id="half",
        ),
        pytest.param(
            'step_ph = "0.2"',
            'policy 1: step_ph: it is "0.2"; a number without quotes is needed',
            id="quoted",
        ),
        pytest.param("step_ph = nan", "policy 1: step_ph: it is NaN; a number is needed", id="nan"),
        pytest.param(
            "[policy.containers.pot_4in]\npour_ml = 0",
            "policy 1: containers.pot_4in.pour_ml: it is 0; above 0 is needed",
            id="no water",
        ),
        pytest.param(
            "[policy.containers.pot_4]\npour_ml = 30",
            'policy 1: containers.pot_4: this key is unknown; did you mean "pot_4in"? '
            "known are plug, cell_pack, pot_4in, pot_5_6in, pot_6_5in_plus, nursery",
            id="unknown container",
        ),
        pytest.param(
            "[policy.containers.pot_4in]\nleachate_low_ml = 40",
            "policy: containers.pot_4in.leachate_low_ml: containers.pot_4in.leachate_low_ml is 40 and "
            "containers.pot_4in.leachate_high_ml is 30 from 2026-01-01; containers.pot_4in.leachate_low_ml "
            "must not be above containers.pot_4in.leachate_high_ml",
            id="volumes the wrong way round",
        ),
        pytest.param(
            '[[policy.targets]]\ncrop = "petunia"\nquantity = "ph"\nlow = 6.2\nhigh = 5.4',
            "policy 1: targets 1: low is 6.2 and high is 5.4; low must not be above high",
            id="target the wrong way round",
        ),
        pytest.param(
            '[[policy.targets]]\ncrop = "petunia"\nquantity = "pH"\nlow = 5.4\nhigh = 6.2',
            'policy 1: targets 1.quantity: it is "pH"; did you mean "ph"? known are ph, ec',
            id="unknown quantity",
        ),
    ],
)
def test_a_mistake_in_the_policy(tmp_path: Path, policy: str, said: str) -> None:
    home = write_home(tmp_path, policy="[[policy]]\nvalid_from = 2026-01-01\n" + policy)
    assert lines(home) == ["policy.toml: " + said]


def test_a_contradiction_of_the_group_is_not_told_again_by_a_site(tmp_path: Path) -> None:
    home = write_home(
        tmp_path,
        policy="[[policy]]\nvalid_from = 2026-01-01\nslope_low_pct = 96\n",
        site=SITE + GROWER + "[[policy]]\nvalid_from = 2026-02-01\ngrace_days = 1\n",
    )
    assert [line.split(":")[0] for line in lines(home)] == ["policy.toml"]


def test_a_value_above_the_policy_line_is_told_where_it_belongs(tmp_path: Path) -> None:
    (problem,) = find_problems(write_home(tmp_path, policy="grace_days = 3\n"))
    assert problem.right == "policy values stand below a [[policy]] line with its valid_from"


def test_every_value_in_force_is_in_the_catalogue_with_its_default() -> None:
    def names(model: BaseModel, prefix: str = "") -> set[str]:
        return {prefix + name for name in type(model).model_fields}

    values = PolicyValues()
    expected = names(values) - {"containers", "targets", "crops", "finding_levels"}
    for container, rule in values.containers.items():
        expected |= names(rule, f"containers.{container}.")
    assert {entry.name for entry in POLICY_CATALOGUE} == expected
    for entry in POLICY_CATALOGUE:
        if "." not in entry.name:
            assert getattr(values, entry.name) == entry.default


def test_what_is_published_names_its_source_and_nothing_else_does() -> None:
    assert [entry.name for entry in POLICY_CATALOGUE if (entry.origin == "P") != bool(entry.source)] == []
    assert [entry.name for entry in POLICY_CATALOGUE if not entry.meaning] == []


def test_the_general_number_of_pots_means_every_class_that_is_not_named() -> None:
    period = PolicyPeriod.model_validate(
        {
            "valid_from": date(2026, 1, 1),
            "min_usable_pots": 4,
            "containers": {"plug": {"min_usable_pots": 6}},
        }
    )
    (_, merged) = merge_policy([period], [])
    pots = {name: rule.min_usable_pots for name, rule in merged.values.containers.items()}
    assert pots == {
        "plug": 6,
        "cell_pack": 4,
        "pot_4in": 4,
        "pot_5_6in": 4,
        "pot_6_5in_plus": 4,
        "nursery": 4,
    }


def test_one_mistake_in_a_table_does_not_hide_what_contradicts_the_rest(tmp_path: Path) -> None:
    home = write_home(
        tmp_path,
        policy="""
            [[policy]]
            valid_from = 2026-01-01
            typo = 1
            [policy.containers.plug]
            leachate_low_ml = 40
            leachate_high_ml = 20
            [[policy.targets]]
            crop = "petunia"
            quantity = "ph"
            low = 6.4
            high = 5.4
            [[policy]]
            valid_from = 2026-01-01
        """,
    )
    said = lines(home)
    assert [line for line in said if "typo" in line]
    assert [line for line in said if "is there twice" in line]
    assert [line for line in said if "low must not be above high" in line]
    assert [line for line in said if "leachate_low_ml" in line]
