"""Every finding: its name, what it is about, its level, its rule in words, and where the rule is from.

The catalogue is the one list that settings, documentation and tests share.
findings_page makes the page FINDINGS.md from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pipeline.settings.words import Origin, SettableLevel

About = Literal["line", "file", "pot", "sampling", "lot", "meter", "site"]
Level = Literal["hold", "exclude", "warn", "note"]
SETTABLE_LEVELS: tuple[str, ...] = get_args(SettableLevel)


@dataclass(frozen=True, slots=True)
class FindingRule:
    """One rule.

    `is_settable`: its level may be set by policy (warn, note or off). What holds a line or leaves a pot out is not,
    since figures hang on it.
    """

    name: str
    about: About
    level: Level
    is_settable: bool
    rule: str
    origin: Origin
    source: str | None = None


ReasonLevel = Literal["act", "no_reading", "watch", "note"]


@dataclass(frozen=True, slots=True)
class ReasonRule:
    """One reason of a lot's level: the levels that it can give, and its rule in words. None is settable."""

    name: str
    levels: tuple[ReasonLevel, ...]
    rule: str
    origin: Origin
    source: str | None = None


def _hold(name: str, rule: str, *, about: About = "line", origin: Origin = "C") -> FindingRule:
    return FindingRule(name, about, "hold", False, rule, origin)


def _remark(
    name: str,
    rule: str,
    *,
    level: Level = "warn",
    origin: Origin = "H",
    source: str | None = None,
    about: About = "sampling",
) -> FindingRule:
    return FindingRule(name, about, level, True, rule, origin, source)


FINDINGS: tuple[FindingRule, ...] = (
    _hold("lot_unknown", "the lot is in no lot list; released when it arrives"),
    _hold("lot_held", "the lot's own line in the lot list cannot be used"),
    _hold("place_unclear", "no code, and not exactly one lot stood in this house, bench and crop that day"),
    _hold("date_unreadable", "the date is not in the export's format, or is no day of the calendar"),
    _hold("week_unreadable", "year and week do not name a week"),
    _hold("days_disagree", "date, time stamp, time of day and week of one line do not go together"),
    _hold("number_unreadable", "the cell is no number in the export's way of writing"),
    _hold("value_unknown", "the word has no meaning in the settings"),
    _hold(
        "sheet_day",
        "a date in a filled-in sheet that is neither ISO nor in the order of the site's date_format",
    ),
    _hold("sheet_word", "a word in a filled-in sheet that its column does not know"),
    _hold("other_site", "the line of a filled-in sheet is of another site"),
    _hold("drain_backwards", "draining ends before it begins"),
    _hold("missing", "a cell that the kind of export cannot do without is blank"),
    _hold(
        "nothing_measured",
        "a reading without pH and EC, or a feed check without EC, pH, alkalinity and nitrogen",
    ),
    _hold("until_before_from", "an excuse ends before it begins"),
    _hold("ragged", "the line has not as many cells as the header"),
    _hold("quoting", "a quotation mark is not closed, or stands inside a text"),
    _hold("nul_bytes", "the line has zero bytes"),
    _hold("looks_like_data", "the line begins like a comment or a total and has the cells of a record"),
    FindingRule(
        "method_missing",
        "line",
        "hold",
        False,
        "neither the line nor the site names the extraction method: the same EC is low, normal or extreme by method",
        "P",
        "UMass Extension, soil testing chapter: 2.6 mS/cm by three methods",
    ),
    _hold("ph_out_of_scale", "pH below 0 or above 14"),
    _hold("ec_out_of_scale", "EC negative or above the policy's highest EC", origin="H"),
    _hold("ph_ec_swapped", "the file's median pH is below 3.5 and its median EC 4 to 9 mS/cm", origin="H"),
    _hold("in_future", "the day has not come yet"),
    _hold("before_start", "before the lot's start"),
    _hold("after_end", "after the lot's end"),
    _hold("site_removed", "no site.toml has the site any more; released when it comes back"),
    _hold("encoding", "the file's bytes are not in the encoding of the settings", about="file"),
    _hold("delimiter", "the header is divided by another delimiter", about="file"),
    _hold("columns_changed", "a mapped column is missing, renamed or doubled", about="file"),
    _hold("columns_moved", "the mapped columns stand in another order than before", about="file"),
    _hold("units_changed", "the row of units contradicts the mapped unit, or is none", about="file"),
    _hold("empty_file", "the file has no header", about="file"),
    _hold(
        "header_only",
        "the file has a header and no line: a note where files bring only new lines, held where they are whole lists",
        about="file",
    ),
    _hold(
        "claimed_twice",
        "two exports of one kind claim the file, so its lines would count twice",
        about="file",
    ),
    _hold("bad_name", "the file's name is not utf-8", about="file"),
    _hold("changing", "the file changed while it was read", about="file"),
    _hold("gone", "the file was gone when it was to be read", about="file"),
    _hold("unreadable", "the file cannot be read", about="file"),
    _hold("not_a_file", "a pipe or a device stands where a file should be", about="file"),
    _hold("directory", "a folder stands where a file should be", about="file"),
    _hold("dangling_link", "the link leads to nothing", about="file"),
    _hold("looping_link", "the link leads to itself", about="file"),
    _hold("leaves_folder", "the link leads out of the site's folder", about="file"),
    _hold("no_drop_folder", "the drop folder is not there", about="file"),
    _hold("unreadable_folder", "a folder cannot be read", about="file"),
    _hold("linked_folder", "a folder is a link, and links to folders are not followed", about="file"),
    FindingRule(
        "settling",
        "file",
        "note",
        False,
        "changed less than settle_minutes ago: the next night takes it",
        "C",
    ),
    FindingRule("unclaimed", "file", "note", False, "no export of site.toml takes the file", "C"),
    _remark(
        "new_columns",
        "columns that no field takes, said once for each",
        level="note",
        origin="C",
        about="file",
    ),
    _remark(
        "older_file",
        "a whole history that is older, by the day in its name or its time of change, than one that came before it: "
        "it changes nothing",
        level="note",
        about="file",
    ),
    FindingRule(
        "volume_excludes_ec",
        "pot",
        "exclude",
        False,
        "leachate above 1.4 times the upper or below half the lower target: EC left out, pH stays in",
        "H",
        "where dilution begins, 60-70 mL for 50: published, from memory",
    ),
    FindingRule(
        "no_temperature",
        "pot",
        "exclude",
        False,
        "the meter does not compensate and no temperature is given: EC left out",
        "P",
        "at 15 °C it reads about 20 % low: conductivity-logger manual",
    ),
    FindingRule(
        "odd_temperature",
        "pot",
        "exclude",
        False,
        "the meter does not compensate and the temperature is none of a leachate, outside of 0 to 50 °C: EC left out",
        "H",
    ),
    _remark("over_collected", "leachate more than 20 % above the class's target: EC reads low"),
    _remark("under_collected", "leachate more than 20 % below the class's target: EC reads high"),
    _remark("volume_not_recorded", "no leachate volume is written down", origin="C"),
    _remark("unequal_volumes", "range of the volumes above 30 % of their median"),
    _remark("poured_off_recipe", "water poured more than 25 % off the class's recipe"),
    _remark(
        "poured_not_distilled",
        "poured with rain, tap or other water, and its EC is not written down: nobody can tell what it adds",
        origin="C",
    ),
    _remark(
        "ec_below_water",
        "mean leachate EC below that of the source water at its last check, at most 60 days before",
        origin="C",
    ),
    _remark("more_than_poured", "more leachate than water poured", origin="C"),
    _remark("drain_time", "drain time outside 30-60 minutes, nursery 30-120", origin="C"),
    _remark(
        "meter_in_doubt",
        "read with a meter whose check before, or next one, failed",
        origin="P",
        source="published worksheet",
    ),
    _remark("meter_not_calibrated", "no accepted calibration of the meter that day", origin="C"),
    _remark(
        "affected_in_routine",
        "a pot marked as affected inside a routine sampling is kept apart from its figure",
        level="note",
        origin="P",
        source="extension guides: sample affected and healthy plants separately",
    ),
    _remark(
        "too_few_pots",
        "fewer usable pots than needed: shown, does not count; not of pots set apart from a routine sampling",
        origin="C",
    ),
    _remark("uneven_ph", "SD of pH between pots above the policy's"),
    _remark("uneven_ec", "SD of EC between pots above the policy's"),
    _remark(
        "outlier_ph",
        "modified z-score by median and MAD above 3.5, and at least 0.3 pH from the median; "
        "from seven pots Grubbs' test is told beside; never left out",
        origin="P",
        source="Iglewicz and Hoaglin 1993, Grubbs 1969; the distance is a house default",
    ),
    _remark(
        "outlier_ec",
        "modified z-score by median and MAD above 3.5, and at least 0.5 mS/cm from the median; "
        "from seven pots Grubbs' test is told beside; never left out",
        origin="P",
        source="Iglewicz and Hoaglin 1993, Grubbs 1969; the distance is a house default",
    ),
    _remark(
        "one_bench", "all pots from one bench, though the lot was read on others", level="note", origin="C"
    ),
    _remark("one_position", "all pots from one kind of place, such as the edge", level="note", origin="C"),
    _remark(
        "all_alike",
        "all pots alike to the last digit in whatever was read, of pH or EC alone from five pots, as a question",
        origin="C",
    ),
    _remark(
        "same_as_before",
        "the same pH and EC, pot by pot, as at the sampling before, as a question",
        origin="C",
    ),
    _remark("too_fast", "pots read faster than the policy's pace by their time stamps, as a question"),
    _remark("entered_late", "received much later than sampled, as a question", level="note"),
    _remark(
        "reading_corrected",
        "a reading was replaced by a later version; both are kept",
        level="note",
        origin="C",
    ),
    _remark(
        "sent_again",
        "a file that came again under its name brought readings of a sampling and has earlier ones of it no more, "
        "without being a newer version of the file: all of them count",
    ),
    _remark("solution_expired", "a buffer or EC standard used after its date", origin="C", about="meter"),
    _remark(
        "slope_marginal",
        "slope accepted but outside 95-102 %",
        origin="P",
        source="published, from memory",
        about="meter",
    ),
    _remark(
        "slope_failed",
        "slope outside 85-105 %, stated or worked out from mV at the temperature of the buffers",
        origin="P",
        source="published worksheet on slope and offset",
        about="meter",
    ),
    _remark(
        "offset_failed",
        "offset at pH 7 more than 30 mV either way",
        origin="P",
        source="published worksheet on slope and offset",
        about="meter",
    ),
    _remark("buffer_off", "a buffer more than 0.1 pH off its pH at its temperature", about="meter"),
    _remark(
        "ec_standard_off",
        "EC standard more than 5 % off; where EC as left is not written, what was found was left",
        about="meter",
    ),
    _remark(
        "check_marked_failed",
        "the site's own record calls the check failed, and none of its figures does",
        origin="C",
        about="meter",
    ),
    _remark(
        "buffers_not_bracketing",
        "the buffers of the day's accepted check do not lie on both sides of what the meter read that day: that day is "
        "not calibrated",
        origin="C",
        about="meter",
    ),
    _remark(
        "buffers_unread",
        "the cell of buffers can be read in two ways, or holds what is no buffer: it is left unread",
        about="meter",
    ),
    _remark("site_silent", "nothing new arrived for as many nights as the policy allows", about="site"),
    _remark(
        "crop_unknown",
        "a crop that no published table has and for which neither site nor group set a target",
        origin="C",
        about="site",
    ),
    _remark(
        "policy_crop_unknown",
        "a crop in the policy that no lot of the site and no published table has, and that is written nearly like one "
        "that is grown",
        about="site",
    ),
    _remark(
        "alkalinity_outside",
        "alkalinity of the source water outside the published range for the containers that the site grows",
        level="note",
        origin="P",
        source="pipeline/reference/alkalinity_targets.csv",
        about="site",
    ),
    _remark(
        "alkalinity_acid",
        "alkalinity of the source water above the figure from which the source treats water with acid",
        origin="P",
        source="pipeline/reference/alkalinity_targets.csv",
        about="site",
    ),
    _remark(
        "feed_weak",
        "feed at the hose end adds more than 10 % less to the water than it should",
        about="site",
    ),
    _remark(
        "feed_strong",
        "feed at the hose end adds more than 10 % more to the water than it should",
        about="site",
    ),
    _remark(
        "feed_below_water",
        "feed at the hose end has less EC than the source water alone",
        origin="C",
        about="site",
    ),
    _remark(
        "lot_not_listed",
        "planted by the as-of date and not yet shipped, but not in the lot list",
        about="site",
    ),
    _remark(
        "sampler_not_trained",
        "readings of the last 28 days by somebody whom the list of people lacks, or who was trained later; only where "
        "the site sends the list",
        level="note",
        about="site",
    ),
    _remark(
        "lot_code_twice",
        "codes in the newest lot list that differ only in case: they are one lot",
        level="note",
        about="site",
    ),
    _remark(
        "lot_gone",
        "a lot whose line was withdrawn from a whole lot list, while readings of it wait",
        about="site",
    ),
    _remark(
        "lot_ends_first",
        "a lot of the lot list that ends before it starts: it stands on no day",
        about="site",
    ),
    _remark(
        "pots_not_told_apart",
        "a pot's number comes twice in a sampling and the settings do not say whether pots are numbered; said once",
        level="note",
        about="site",
    ),
    _remark(
        "last_digits",
        "last digits of a month's readings are not evenly spread (chi-square, 9 degrees of freedom, above 27.88, the "
        "0.1 % point; at least 100 readings with two decimals), as a question",
        level="note",
        origin="P",
        source="NIST/SEMATECH e-Handbook 1.3.5.15 and 1.3.6.7.4",
        about="site",
    ),
    _remark(
        "whole_ec",
        "at least 30 % of a month's EC readings are whole numbers (at least 50 readings), as a question",
        level="note",
        about="site",
    ),
    _remark(
        "scale_jump",
        "the median EC of the last 14 days is about 1000, 0.5 or 0.7 times that of the 42 days before, or the other "
        "way round, of the lots read in both together and lot by lot (at least 15 readings each)",
        about="site",
    ),
    _remark(
        "front_of_bench",
        "more pots of a month from the front row of mapped benches than picking by lot would give (exact binomial tail "
        "below 1 %, at least 20 pots whose row is written down; affected plants and those beside them apart)",
        about="site",
    ),
)
_READ_APART = "extension guides: sample affected and healthy plants separately"
REASONS: tuple[ReasonRule, ...] = (
    ReasonRule(
        "clearly_out",
        ("act", "watch", "note"),
        "interval and mean beyond the target by the policy's margin, or a published threshold crossed; watch with a "
        "meter in doubt or where one pot decides; low EC only in the active stage, else a note",
        "H",
    ),
    ReasonRule(
        "out", ("act", "watch", "note"), "mean outside the target; act when several in a row are", "H"
    ),
    ReasonRule(
        "ec_very_high",
        ("act", "watch"),
        "EC in the published band very high or above",
        "P",
        'UMass Extension, soil testing chapter, pour-through band "very high"',
    ),
    ReasonRule(
        "affected_clearly_out",
        ("act", "watch"),
        "affected plants, sampled apart, are clearly out",
        "P",
        _READ_APART,
    ),
    ReasonRule(
        "pair_clearly_out",
        ("act", "watch", "note"),
        "a pair around a feeding, newest sampling of the lot: low EC before it, or high EC or pH after it, clearly out",
        "H",
    ),
    ReasonRule("pair_out", ("act", "watch", "note"), "the same, out", "H"),
    ReasonRule("never_counted", ("no_reading",), "no counting sampling since the lot started", "H"),
    ReasonRule(
        "not_read_lately", ("no_reading",), "last counting sampling older than the routine interval", "C"
    ),
    ReasonRule("close_to_limit", ("watch", "note"), "mean in range, its interval over an edge", "H"),
    ReasonRule("uneven", ("watch",), "SD between pots above the policy's", "H"),
    ReasonRule("depends_on_one_pot", ("watch", "note"), "without one pot the side would be another", "H"),
    ReasonRule("affected_noted", ("watch",), "affected plants were sampled apart", "P", _READ_APART),
    ReasonRule(
        "affected_differ", ("watch",), "affected plants clearly differ from healthy ones", "P", _READ_APART
    ),
    ReasonRule(
        "affected_unexplained", ("note",), "affected plants read like the healthy ones", "P", _READ_APART
    ),
    ReasonRule("affected_too_few", ("note",), "too few pots to hold affected and healthy apart", "H"),
    ReasonRule(
        "meter_in_doubt",
        ("watch",),
        "last sampling read with a meter whose check before, or next one, failed",
        "C",
    ),
    ReasonRule("last_did_not_count", ("watch",), "a newer sampling has too few usable pots", "C"),
    ReasonRule("ec_not_judged", ("watch",), "too many pots off the leachate volume, or no temperature", "H"),
    ReasonRule("surprising", ("note",), "well inside at the sampling before, clearly out now", "C"),
    ReasonRule(
        "trend",
        ("note",),
        "the last means rise or fall beyond chance (exact Mann-Kendall, at least five) and fast enough to matter",
        "P",
        "Mann 1945, Kendall 1975",
    ),
    ReasonRule(
        "forecast",
        ("watch", "note"),
        "by its trend the lot leaves its target; watch within two samplings",
        "H",
    ),
    ReasonRule(
        "off_baseline",
        ("note",),
        "weighted mean (EWMA) outside the limits around the lot's first five samplings",
        "P",
        "NIST/SEMATECH e-Handbook 6.3.2.4",
    ),
    ReasonRule(
        "drift", ("note",), "means moved the same way, sampling after sampling, by a step or more", "H"
    ),
    ReasonRule("treated", ("note",), "treated, and not read again yet", "C"),
    ReasonRule("retest_missed", ("watch",), "treated, and not read again by the day of the retest", "H"),
    ReasonRule(
        "unmoved_after_treatment",
        ("watch",),
        "at the retest still out on the side on which it was before the treatment",
        "H",
    ),
    ReasonRule("treatment_result", ("note",), "sampling after a treatment against the one before it", "H"),
    ReasonRule(
        "alkaline_water", ("note",), "pH rises and the source water has more alkalinity than published", "H"
    ),
)
BY_NAME: dict[str, FindingRule] = {rule.name: rule for rule in FINDINGS}
SETTABLE: tuple[str, ...] = tuple(rule.name for rule in FINDINGS if rule.is_settable)
