"""The published tables in `pipeline/reference`, read with strict types.

Every cell is checked before it becomes a value: headers must be exactly as written here, a number must be a
plain decimal that its column can keep without rounding, a word must be one of its set. Edges come back as
Decimal, because a reading on an edge belongs to the range and binary fractions would move it off the edge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, get_args

import polars as pl

from pipeline.assets import reference_folder
from pipeline.errors import LeachbookError
from pipeline.settings.words import CONTAINER_CLASSES, ExtractionMethod

HOW_KNOWN: Final = ("read", "memory", "common practice")
"""How a figure is known: seen in its source, recalled and not seen, or customary without a source."""

PH_GROUPS: Final = ("iron-inefficient", "general", "iron-efficient")
FEEDING_LEVELS: Final = ("light", "medium", "heavy")
EXTRACTION_METHODS: Final[tuple[str, ...]] = get_args(ExtractionMethod)
EC_BAND_NAMES: Final = ("very low", "low", "normal", "high", "very high", "extreme")
OPTION_KINDS: Final = ("meter", "feed", "injector", "roots", "fertilizer", "drench")
COMPARISONS: Final = ("above", "at_or_above", "below", "at_or_below", "between")

PH = pl.Decimal(6, 3)
EC = pl.Decimal(9, 4)
VOLUME = pl.Decimal(8, 2)


MEND: Final = "restore the table or install leachbook again"


class ReferenceTableBroken(LeachbookError):
    """Raise when a shipped table does not have the columns or the values that it should have."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What the cells of one column must be.

    `dtype` is the type of the result; `required` refuses empty cells; `words` lists what may stand there;
    `several` allows more than one of the words, with blanks between.
    """

    dtype: pl.DataType
    required: bool = True
    words: tuple[str, ...] = ()
    several: bool = False


TEXT = Rule(pl.String())
OPTIONAL_TEXT = Rule(pl.String(), required=False)
COUNT = Rule(pl.Int32())
OPTIONAL_COUNT = Rule(pl.Int32(), required=False)
YES_NO = Rule(pl.Boolean(), words=("yes", "no"))
CLASSES = Rule(pl.String(), required=False, words=CONTAINER_CLASSES, several=True)

SOURCE_RULES: Final[Mapping[str, Rule]] = {
    "source": TEXT,
    "source_url": OPTIONAL_TEXT,
    "how_known": Rule(pl.String(), words=HOW_KNOWN),
}

CROP_TARGETS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "crop": TEXT,
    "latin_name": OPTIONAL_TEXT,
    "ph_low": Rule(PH, required=False),
    "ph_high": Rule(PH, required=False),
    "ec_low_ms_cm": Rule(EC, required=False),
    "ec_high_ms_cm": Rule(EC, required=False),
    "feeding_level": Rule(pl.String(), required=False, words=FEEDING_LEVELS),
    "ph_group": Rule(pl.String(), required=False, words=PH_GROUPS),
    **SOURCE_RULES,
}

GENERAL_TARGETS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "quantity": Rule(pl.String(), words=("ph",)),
    "applies_to": TEXT,
    "low": Rule(PH),
    "high": Rule(PH),
    "used": YES_NO,
    **SOURCE_RULES,
}

GROUP_TARGETS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "quantity": Rule(pl.String(), words=("ph", "ec")),
    "group_name": TEXT,
    "low": Rule(VOLUME),
    "high": Rule(VOLUME),
    **SOURCE_RULES,
}

EC_BANDS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "method": Rule(pl.String(), words=EXTRACTION_METHODS),
    "band_no": COUNT,
    "band": Rule(pl.String(), words=EC_BAND_NAMES),
    "low_ms_cm": Rule(EC),
    "high_ms_cm": Rule(EC, required=False),
    "used": YES_NO,
    "note": OPTIONAL_TEXT,
    **SOURCE_RULES,
}

CONTAINER_VOLUMES: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "container": TEXT,
    "container_classes": CLASSES,
    "pour_ml": Rule(VOLUME, required=False),
    "pour_us_fl_oz_as_printed": OPTIONAL_TEXT,
    "leachate_low_ml": Rule(VOLUME),
    "leachate_high_ml": Rule(VOLUME),
    "leachate_us_fl_oz_as_printed": OPTIONAL_TEXT,
    "drain_low_min": OPTIONAL_COUNT,
    "drain_high_min": OPTIONAL_COUNT,
    "used": YES_NO,
    "note": OPTIONAL_TEXT,
    **SOURCE_RULES,
}

SAMPLING_FREQUENCY: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "crop_or_container": TEXT,
    "container_classes": CLASSES,
    "frequency_as_printed": OPTIONAL_TEXT,
    "interval_low_days": OPTIONAL_COUNT,
    "interval_high_days": OPTIONAL_COUNT,
    "minimum_sample": OPTIONAL_TEXT,
    "note": OPTIONAL_TEXT,
    **SOURCE_RULES,
}

CORRECTIVE_OPTIONS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "quantity": Rule(pl.String(), words=("ph", "ec")),
    "side": Rule(pl.String(), words=("low", "high")),
    "ph_group": Rule(pl.String(), required=False, words=PH_GROUPS),
    "crops": OPTIONAL_TEXT,
    "ph_low": Rule(PH, required=False),
    "ph_high": Rule(PH, required=False),
    "order_no": COUNT,
    "kind": Rule(pl.String(), words=OPTION_KINDS),
    "title": TEXT,
    "text": TEXT,
    "wait": OPTIONAL_TEXT,
    "cautions": TEXT,
    "needs_in_a_row": COUNT,
    **SOURCE_RULES,
}

ACTION_THRESHOLDS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "quantity": Rule(pl.String(), words=("ph", "ec", "iron")),
    "unit": Rule(pl.String(), words=("pH", "mS/cm", "ppm")),
    "applies_to": TEXT,
    "method": Rule(pl.String(), required=False, words=EXTRACTION_METHODS),
    "comparison": Rule(pl.String(), words=COMPARISONS),
    "edge": Rule(EC),
    "edge_high": Rule(EC, required=False),
    "meaning": TEXT,
    "policy_name": OPTIONAL_TEXT,
    "note": OPTIONAL_TEXT,
    **SOURCE_RULES,
}

METER_LIMITS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "quantity": Rule(pl.String(), words=("slope", "offset")),
    "unit": Rule(pl.String(), words=("%", "mV")),
    "low": Rule(pl.Decimal(6, 2)),
    "high": Rule(pl.Decimal(6, 2)),
    "policy_low": OPTIONAL_TEXT,
    "policy_high": OPTIONAL_TEXT,
    "meaning": TEXT,
    **SOURCE_RULES,
}

BUFFERS_BY_TEMPERATURE: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "buffer": Rule(pl.Decimal(4, 2)),
    "temperature_c": COUNT,
    "ph": Rule(pl.Decimal(4, 2)),
    **SOURCE_RULES,
}

ALKALINITY_TARGETS: Final[Mapping[str, Rule]] = {
    "row_no": COUNT,
    "container": TEXT,
    "container_classes": CLASSES,
    "low_mg_l": Rule(VOLUME, required=False),
    "high_mg_l": Rule(VOLUME),
    "acid_above_mg_l": Rule(VOLUME, required=False),
    "used": YES_NO,
    "note": OPTIONAL_TEXT,
    **SOURCE_RULES,
}

TABLES: Final[Mapping[str, Mapping[str, Rule]]] = {
    "crop_targets": CROP_TARGETS,
    "general_targets": GENERAL_TARGETS,
    "group_targets": GROUP_TARGETS,
    "ec_bands": EC_BANDS,
    "container_volumes": CONTAINER_VOLUMES,
    "sampling_frequency": SAMPLING_FREQUENCY,
    "corrective_options": CORRECTIVE_OPTIONS,
    "action_thresholds": ACTION_THRESHOLDS,
    "meter_limits": METER_LIMITS,
    "buffers_by_temperature": BUFFERS_BY_TEMPERATURE,
    "alkalinity_targets": ALKALINITY_TARGETS,
}


def crop_key(crop: pl.Expr) -> pl.Expr:
    """The form in which crop names are compared: outer blanks off, lower case."""
    return crop.str.strip_chars().str.to_lowercase()


def cell_pattern(rule: Rule) -> str | None:
    """The whole-cell pattern that a column's rule demands, or None where any text will do."""
    if isinstance(rule.dtype, pl.Decimal):
        # No more decimals than the column keeps: a cast would round the rest away without a word.
        return rf"^-?\d+(?:\.\d{{1,{rule.dtype.scale}}})?$"
    if isinstance(rule.dtype, pl.Int32):
        return r"^\d+$"
    if rule.words:
        word = "|".join(word.replace("+", r"\+").replace(".", r"\.") for word in rule.words)
        return rf"^(?:{word})(?: (?:{word}))*$" if rule.several else rf"^(?:{word})$"
    return None


def find_bad_cells(cells: pl.DataFrame, rules: Mapping[str, Rule]) -> list[str]:
    """Return one sentence for each column that holds a cell its rule refuses, naming the first such line."""
    problems = []
    for name, rule in rules.items():
        pattern = cell_pattern(rule)
        refused = pl.col(name).is_null() if rule.required else pl.lit(value=False)
        if pattern is not None:
            refused = refused | ~pl.col(name).str.contains(pattern).fill_null(value=True)
        bad = cells.with_row_index("line", offset=2).filter(refused).select("line", name)
        if bad.height:
            line, found = bad.row(0)
            problems.append(f"line {line}, {name}: found {found!r}")
    return problems


def typed(name: str, rule: Rule) -> pl.Expr:
    """Turn a checked column of text into its type; `yes` and `no` become true and false."""
    cell = pl.col(name)
    return (
        (cell == "yes").alias(name)
        if isinstance(rule.dtype, pl.Boolean)
        else cell.cast(rule.dtype, strict=True)
    )


def read_table(path: Path, rules: Mapping[str, Rule]) -> pl.DataFrame:
    """Read one shipped table (CSV, UTF-8, header first) and return it typed by `rules`, rows in file order.

    Raises ReferenceTableBroken when the header is another one or cells are refused, naming all such columns.
    """
    cells = pl.read_csv(path, infer_schema=False, encoding="utf8")
    if cells.columns != list(rules):
        raise ReferenceTableBroken(
            f"{path.name}: columns are {', '.join(cells.columns)}, expected {', '.join(rules)}; {MEND}."
        )
    problems = find_bad_cells(cells, rules)
    if problems:
        raise ReferenceTableBroken(f"{path.name}: {'; '.join(problems)}; {MEND}.")
    return cells.select(typed(name, rule) for name, rule in rules.items())


def load_table(name: str) -> pl.DataFrame:
    """Load a shipped table by its name in TABLES. Raises AssetMissing or ReferenceTableBroken."""
    return read_table(reference_folder(f"{name}.csv"), TABLES[name])


def load_crop_targets() -> pl.DataFrame:
    """Published ranges by crop (pour-through EC, mS/cm at 25 °C), one row a crop and source, with a key."""
    return load_table("crop_targets").with_columns(crop_key=crop_key(pl.col("crop")))


def load_general_targets() -> pl.DataFrame:
    """Ranges for crops that have none of their own; `used` marks the one that the tool takes."""
    return load_table("general_targets")


def load_group_targets() -> pl.DataFrame:
    """Ranges of pH groups and of feeding levels (mS/cm), for crops that the policy counts among one."""
    return load_table("group_targets")


def load_ec_bands() -> pl.DataFrame:
    """EC bands (mS/cm) by extraction method as printed; `used` marks the set that the tool takes."""
    return load_table("ec_bands")


def load_container_volumes() -> pl.DataFrame:
    """Water to pour and leachate to collect (mL), drain times (min), as published and as customary."""
    return load_table("container_volumes")


def load_sampling_frequency() -> pl.DataFrame:
    """How often to sample (days) by container or crop, as published and as customary."""
    return load_table("sampling_frequency")


def load_corrective_options() -> pl.DataFrame:
    """Options for a quantity that is low or high, mild ones first; never an order, each with its caution."""
    return load_table("corrective_options").sort("quantity", "side", "order_no", "row_no")


def load_action_thresholds() -> pl.DataFrame:
    """Published figures at which to act; `policy_name` names the policy value that carries one."""
    return load_table("action_thresholds")


def load_meter_limits() -> pl.DataFrame:
    """Limits for the slope (% of theory) and offset (mV) of a pH electrode."""
    return load_table("meter_limits")


def load_buffers_by_temperature() -> pl.DataFrame:
    """pH of each buffer at each temperature in °C; `buffer` is its pH at 25 °C, as its label says."""
    return load_table("buffers_by_temperature")


def load_alkalinity_targets() -> pl.DataFrame:
    """Alkalinity (mg/L CaCO3) that containers bear; a row without classes speaks of water in general."""
    return load_table("alkalinity_targets")
