"""Sentences for the codes that the models give: short, one thought each, figures with units.

Every function is pure: figures in, one sentence out. Dates are written the site's way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from pipeline.reports.formats import format_signed
from pipeline.reports.wording_dues import choose_listed, explain_due, explain_excuse, name_due, weekday_and
from pipeline.reports.wording_held import explain_file, explain_held
from pipeline.reports.wording_meters import (
    explain_doubted,
    explain_meter,
    explain_meter_finding,
    explain_not_bracketed,
)

Row = Mapping[str, Any]
QUANTITY_WORDS = {"ph": "pH", "ec": "EC"}
UNITS = {"ph": "", "ec": " mS/cm"}
_MOST_POTS = 50  # more than anybody would sample
CONTAINER_WORDS = {
    "plug": "plug tray",
    "cell_pack": "cell pack",
    "pot_4in": "4 inch pot",
    "pot_5_6in": "5 to 6 inch pot",
    "pot_6_5in_plus": "6.5 inch pot or larger",
    "nursery": "nursery container",
}

TREATMENT_WORDS = {
    "leaching": "leaching",
    "clear_water": "clear water",
    "acid_feed": "acid feed",
    "basic_feed": "basic feed",
    "feed_change": "a change of feed",
    "bicarbonate": "bicarbonate",
    "lime_drench": "a lime drench",
    "lime_topdressing": "a lime topdressing",
    "iron_drench": "an iron drench",
    "iron_sulfate": "iron sulfate",
    "other": "another treatment",
}


class Wording:
    """Sentences with dates in one site's style (`date_format` is strftime), and in the group's for the overview."""

    def __init__(self, date_format: str, group_date_format: str | None = None) -> None:
        self.date_format = date_format
        self._group = (
            None if group_date_format in (None, date_format) else Wording(group_date_format or date_format)
        )

    def for_group(self, write: Callable[[Wording], str | None]) -> str | None:
        """What `write` makes in the group's style; None where the site writes dates alike."""
        return None if self._group is None else write(self._group)

    def day(self, value: date) -> str:
        """One date as the site writes it."""
        return value.strftime(self.date_format)

    def reason(self, row: Row) -> str:
        """Sentence for one row of the relation `reasons`."""
        return _REASONS[row["code"]](self, row)

    def due(self, row: Row) -> str:
        """Sentence for one row of the query `dues`."""
        treatments = row.get("treatments")
        return explain_due(row, self.day, None if treatments is None else _treatments(treatments))

    def other_dues(self, rows: Sequence[Row]) -> list[str]:
        """The dues of one lot beside the one that rules, excused ones too, in a few words each."""
        return [name_due(row, self.day) for row in choose_listed(rows)]

    def excuse(self, row: Row) -> str:
        """Until when a lot's sampling is excused, why and by whom, for one row of the query `lots`."""
        told = explain_excuse(row, self.day)
        return f"{told[:1].upper()}{told[1:]}."

    def slack_interval(
        self, container_class: str, days: int, published: Sequence[tuple[str, str, str]]
    ) -> str:
        """A routine interval that is longer than a published one; published: rate, source, how it is known."""
        rates: dict[str, list[str]] = {}
        for rate, source, known in published:
            rates.setdefault(rate.replace(" (EC)", ", EC"), []).append(
                f"{source}, {'from memory' if known == 'memory' else known}"
            )
        told = "; ".join(f"{rate} ({'; '.join(sources)})" for rate, sources in rates.items())
        return f"Policy: {_containers([container_class])} every {_days(days)}. Published: {told}."

    def finding(self, row: Row) -> str:
        """Sentence for one row of the relation `sampling_findings`."""
        return _with_purpose(row, self._finding(row))

    def _finding(self, row: Row) -> str:
        if row["rule"] in _METER_FINDINGS:
            return _METER_FINDINGS[row["rule"]](self, row)
        if row["rule"] in _DATED_FINDINGS:
            return _DATED_FINDINGS[row["rule"]](row, self.day(date.fromisoformat(row["what"])))
        return _FINDINGS[row["rule"]](row)

    def water_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `water_findings`."""
        return _WATER_FINDINGS[row["rule"]](self, row)

    def list_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `list_findings`."""
        return _LIST_FINDINGS[row["rule"]](row)

    def contrast(self, row: Row) -> str:
        """Two samplings of a lot against each other, for one row of the relation `contrasts`."""
        return _contrast(self, row)

    def pots_needed(self, quantity: str, figure: Row, precision: float, asked: int) -> str:
        """Whether the pots that are asked for give the policy's precision, or how many would be needed.

        `figure`: n and pots_needed of a sampling; without the latter its pots were too few to say.
        """
        name, unit = QUANTITY_WORDS[quantity], UNITS[quantity] or " pH"
        pots = figure["pots_needed"]
        if pots is None:
            return f"{name}: too few pots ({figure['n']}) to say how many would be needed for ±{precision:g}{unit}."
        verb = "is" if asked == 1 else "are"
        if pots <= asked:
            return f"{name}: {_pots(asked)} {verb} enough for ±{precision:g}{unit}."
        many = f"more than {_MOST_POTS} pots" if pots > _MOST_POTS else _pots(pots)
        return f"{name}: {many} would be needed for ±{precision:g}{unit}, {asked} {verb} asked for."

    def question(self, row: Row) -> str:
        """Sentence for one row of the relation `site_questions`."""
        return _QUESTIONS[row["rule"]](row)

    def meter(self, row: Row, findings: Sequence[Row]) -> str | None:
        """Sentences for one row of the relation `meter_states` with its `meter_findings`; None when all is well."""
        return explain_meter(row, findings, self.day)

    def meter_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `meter_findings`."""
        return explain_meter_finding(row, self.day)

    def trend_state(self, row: Row) -> str:
        """What can be said of a trend, for one row of the relation `trends`; also that nothing can be said."""
        name, unit = _named(row)
        slope = row["slope_per_week"]
        # As in the reasons: a test of order knows no size.
        if row["is_trend"] and abs(slope) * 8 < row["step"] - 1e-8:
            return (
                f"{name}: moves one way over {row['n']} samplings, but by less than {row['step']:g}{unit} in eight "
                f"weeks (slope {format_signed(slope)}{unit} a week)."
            )
        if row["is_trend"]:
            return _trend(
                self,
                {
                    **row,
                    "mean": row["slope_per_week"],
                    "ci_low": row["slope_low"],
                    "ci_high": row["slope_high"],
                    "pots": row["n"],
                    "since_on": row["first_day"],
                },
            )
        if row["is_trend"] is None:
            moves = "" if slope is None else f", slope {format_signed(slope)}{unit} a week"
            counted = _count(row["n"], "sampling")
            return f"{name}: {counted} since the last change, no trend judged (5 are needed){moves}."
        return (
            f"{name}: no trend over {row['n']} samplings, slope {format_signed(slope)}{unit} a week "
            f"(p {row['p']:.2f})."
        )

    def own_chart_state(self, row: Row) -> str:
        """Where the last sampling stands on the lot's own chart, for one row of the query `own_charts`."""
        name, unit = _named(row)
        if row["ewma"] is None:
            reason = {
                "too_few": "too few samplings since the last change for a chart of its own (6 are needed)",
                "baseline": "the last sampling belongs to the baseline",
                "no_spread": "the first samplings are all alike, so there is no limit",
            }[row["reason"]]
            return f"{name}: {reason}."
        place = {"low": "below", "high": "above", None: "within"}[row["ewma_side"]]
        return (
            f"{name}: weighted mean of the samplings {row['ewma']:.2f}{unit}, {place} the limits "
            f"{_ends(row['ewma_low'], row['ewma_high'])}{unit} around the first five samplings "
            f"({row['centre']:.2f}{unit})."
        )

    def silent(self, name: str, last: date | None, nights: int | None) -> str:
        """A site that sends nothing."""
        if last is None:
            return f"{name} has sent nothing yet; check that its exports reach the drop folder."
        return (
            f"{name} has sent nothing for {_count(nights or 0, 'night')}, the last files came on {self.day(last)}; "
            "check the export and the drop folder."
        )

    def released(self, row: Row) -> str:
        """One row of the relation `releases`."""
        why = {
            "lot_unknown": f"lot {row['lot_code']} is now in the lot list",
            "lot_held": f"the line of lot {row['lot_code']} in the lot list can now be used",
            "place_unclear": "their place now fits exactly one lot",
            "in_future": "their date has come",
        }.get(row["cause"], "what held them was mended")
        return f"{_count(row['records'], 'line')} held before {'is' if row['records'] == 1 else 'are'} taken up: {why}."

    def reread(self, row: Row) -> str:
        """One row of the query `rereads_tonight`."""
        parts = [f"values of {_count(row['changed_lines'], 'line')} changed" if row["changed_lines"] else ""]
        for name, word in (("accepted", "in use"), ("held", "held")):
            before, after = row[f"{name}_before"], row[f"{name}_after"]
            if before != after:
                parts.append(f"{_count(after, 'line')} {word}, {before} before")
        told = "; ".join(part for part in parts if part) or "nothing changed"
        if row["accepted_after"] < row["accepted_before"]:
            return (
                f"{row['file']} was read again because the settings changed, and fewer of its lines can be used now: "
                f"{told}. Look at what was changed in site.toml."
            )
        return f"{row['file']} was read again under the mended settings: {told}."

    def older_file(self, row: Row) -> str:
        """One row of the query `older_files`."""
        left = row["left_out"]
        lines = "the newer one has all of its lines"
        if left:
            is_kept = "is kept and not used" if left == 1 else "are kept and not used"
            lines = f"{_count(left, 'line')} of it that the newer one lacks or has otherwise {is_kept}"
        return (
            f"{row['file']} holds an older state than {row['newer_file']}, which had come before, so it changes "
            f"nothing: {lines}. If it shall count, save it again, with a later day where its name has one."
        )

    def new_columns(self, row: Row) -> str:
        """One row of the query `new_columns`."""
        titles = ", ".join(f"“{title}”" for title in row["titles"][:6])
        more = f" and {len(row['titles']) - 6} more" if len(row["titles"]) > 6 else ""
        which = "a column" if len(row["titles"]) == 1 else "columns"
        return (
            f"{row['file']} has {which} that no field takes: {titles}{more}. This is said once; map what is needed, or "
            'set extra_columns = "note" to keep such cells with the note.'
        )

    def held(self, row: Row) -> tuple[str, str]:
        """Sentence and mend for one row of the relation `held_causes`."""
        return explain_held(row, self.day)

    def file(self, row: Row) -> str:
        """One row of the query `files_tonight` whose file has a problem."""
        return explain_file(row)

    def unknown_crop(self, crop: str, lots: int, nearest: str | None) -> str:
        """A crop that no published table has and for which no target of one's own is set."""
        hint = f" Did you mean “{nearest}”?" if nearest else ""
        return (
            f"{_count(lots, 'lot')} of “{crop}”: no published table has this crop.{hint} It is judged by the general "
            "pH range and not on EC; give it a name of the tables under [export.values.crop] in site.toml, or a "
            "target of your own in policy.toml."
        )


def _out(words: Wording, row: Row) -> str:
    name, target = QUANTITY_WORDS[row["quantity"]], _range(row["quantity"], row["low"], row["high"])
    day = words.day(row["sampled_on"])
    how = "clearly out" if row["code"] == "clearly_out" else "out"
    out = f"on {day}: {how}, target {target}, {_in_a_row(words, row)}."
    if row["flag"]:
        bound, why = (
            ("at least", "too much leachate dilutes")
            if row["side"] == "high"
            else ("at most", "too little leachate makes EC read high")
        )
        return f"{name} {bound} {row['bound']:.2f}{UNITS[row['quantity']]} ({_pots(row['bound_pots'])}, {why}) {out}"
    return f"{_mean(row)} {out}{_asks_for_nothing(row)}"


def _asks_for_nothing(row: Row) -> str:
    """Why a low EC is a note only; its stage is that of the sampling."""
    if (row["quantity"], row["side"], row["level"]) != ("ec", "low", "note"):
        return ""
    stages = {
        "finishing": "while a lot is finishing",
        "establishing": "while a lot is establishing itself",
    }
    return f" Low EC is expected {stages[row['stage']]} and asks for nothing."


def _in_a_row(words: Wording, row: Row) -> str:
    if row["in_a_row"] < 2:
        return str(row["side"])
    return f"{_nth(row['in_a_row'])} {row['side']} in a row since {words.day(row['since_on'])}"


def _very_high(words: Wording, row: Row) -> str:
    at_least = "at least " if row["flag"] else ""
    return (
        f"EC {at_least}{row['mean']:.2f} mS/cm on {words.day(row['sampled_on'])} is in the published band very high or "
        "above: salt injury is likely."
    )


def _affected_out(words: Wording, row: Row) -> str:
    return (
        f"Affected plants on {words.day(row['sampled_on'])}: {_mean(row)}, clearly out, {row['side']}; "
        f"target {_range(row['quantity'], row['low'], row['high'])}."
    )


def _never_counted(_: Wording, row: Row) -> str:
    return f"No counting sampling since the lot started {_days(row['days'])} ago."


def _not_read(words: Wording, row: Row) -> str:
    return (
        f"Last read {_days(row['days'])} ago, on {words.day(row['sampled_on'])}; "
        f"a sampling is due every {_days(row['pots'])}."
    )


def _close(words: Wording, row: Row) -> str:
    edge = {"low": "the lower edge of", "high": "the upper edge of", None: "both edges of"}[row["side"]]
    return (
        f"{_mean(row)} on {words.day(row['sampled_on'])}: close to {edge} "
        f"target {_range(row['quantity'], row['low'], row['high'])}."
    )


def _uneven(words: Wording, row: Row) -> str:
    name, unit = QUANTITY_WORDS[row["quantity"]], UNITS[row["quantity"]]
    return (
        f"Uneven lot on {words.day(row['sampled_on'])}: {name} differs from pot to pot with an SD of "
        f"{row['mean']:.2f}{unit} (the policy allows {row['first_mean']:.2f}{unit}); look at watering and feed."
    )


def _affected(words: Wording, row: Row) -> str:
    sampled = f"Affected plants were sampled apart on {words.day(row['sampled_on'])} ({_pots(row['pots'])})"
    return f"{sampled}." if row["is_compared"] else f"{sampled}: compare them with the healthy ones."


def _meter_in_doubt(words: Wording, row: Row) -> str:
    return (
        f"Read on {words.day(row['sampled_on'])} with {explain_doubted(row['doubted_meters'], words.day)}: "
        "calibrate it and read again before acting."
    )


def _not_counting(words: Wording, row: Row) -> str:
    return (
        f"The sampling of {words.day(row['sampled_on'])} does not count: "
        f"{_pots(row['pots'])} usable, {row['min_pots']} needed."
    )


def _ec_not_judged(words: Wording, row: Row) -> str:
    day = words.day(row["sampled_on"])
    if row["side"] is None:
        return (
            f"EC of {day} is not judged: the meter does not compensate for temperature, "
            "and no temperature was written down."
        )
    median = f"median {row['mean']:.0f} mL instead of {_ml(row['low'], row['high'])}"
    if row["side"] == "both":
        return (
            f"EC of {day} is not judged: too much leachate was collected from {_pots(row['pots'])} and too little from "
            f"{_pots(row['min_pots'])} ({median})."
        )
    amount, bias = ("much", "low") if row["side"] == "high" else ("little", "high")
    return (
        f"EC of {day} is not judged: too {amount} leachate was collected from {_pots(row['pots'])} ({median}), "
        f"which makes EC read {bias}."
    )


def _surprising(_: Wording, row: Row) -> str:
    return (
        f"A surprising {QUANTITY_WORDS[row['quantity']]}: well inside at the sampling before, clearly out now. "
        "Check and calibrate the meter, read again, then judge."
    )


def _drift(_: Wording, row: Row) -> str:
    name, unit = QUANTITY_WORDS[row["quantity"]], UNITS[row["quantity"]]
    verb = "rose" if row["side"] == "high" else "fell"
    return (
        f"{name} {verb} from sampling to sampling over the last {row['pots']}: "
        f"{row['first_mean']:.2f} to {row['mean']:.2f}{unit}."
    )


def _named(row: Row) -> tuple[str, str]:
    return QUANTITY_WORDS[row["quantity"]], UNITS[row["quantity"]]


def _one_pot(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    return (
        f"{name} of {words.day(row['sampled_on'])} depends on one pot at {row['first_mean']:.2f}{unit}: the mean is "
        f"{row['mean']:.2f}{unit} with it and {row['ci_low']:.2f}{unit} without, target "
        f"{_range(row['quantity'], row['low'], row['high'])}. Read that pot again."
    )


def _trend(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    verb = "rises" if row["mean"] > 0 else "falls"
    return (
        f"{name} {verb} by {abs(row['mean']):.2f}{unit} a week ({_speeds(row)}) over {row['pots']} samplings since "
        f"{words.day(row['since_on'])}: more than chance would make it."
    )


def _speeds(row: Row) -> str:
    """The interval of a slope, without a sign where both ends go the same way."""
    low, high = row["ci_low"], row["ci_high"]
    if low * high < 0:
        return f"{format_signed(low)} to {format_signed(high)}"
    ends = sorted((abs(low), abs(high)))
    return f"{ends[0]:.2f}-{ends[1]:.2f}"


def _forecast(words: Wording, row: Row) -> str:
    name, _ = _named(row)
    way = "rises above" if row["side"] == "high" else "falls below"
    first = "any day now" if row["flag"] else words.day(row["since_on"])
    last = row["until_on"]
    until = f"between {first} and {words.day(last)}" if last is not None else f"at the earliest {first}"
    return f"If it goes on like this, {name} {way} its target about {words.day(row['sampled_on'])} ({until})."


def _off_baseline(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    way, edge = ("up", row["ci_high"]) if row["side"] == "high" else ("down", row["ci_low"])
    return (
        f"{name} has moved away from this lot's own start: its weighted mean is now {row['mean']:.2f}{unit} "
        f"({words.day(row['sampled_on'])}), its first five samplings had {row['first_mean']:.2f}{unit}, and {way} to "
        f"{edge:.2f}{unit} would be chance."
    )


def _affected_differ(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    side = "above" if row["side"] == "high" else "below"
    ends = [abs(row[end]) for end in ("ci_low", "ci_high") if row[end] is not None]
    interval = f" ({min(ends):.2f}-{max(ends):.2f})" if ends else ""
    return (
        f"Affected plants of {words.day(row['sampled_on'])}: {name} {row['mean']:.2f}{unit}, "
        f"{abs(row['mean'] - row['first_mean']):.2f}{interval} {side} the healthy ones."
    )


def _affected_unexplained(words: Wording, row: Row) -> str:
    return (
        f"pH and EC do not explain the affected plants of {words.day(row['sampled_on'])}: they read like the healthy "
        "ones. Look at roots and pests, send tissue to a laboratory."
    )


def _affected_too_few(words: Wording, row: Row) -> str:
    return (
        f"Affected and healthy plants of {words.day(row['sampled_on'])} cannot be told apart by "
        f"{row['pots']} and {_pots(row['min_pots'])}: take five of each."
    )


def _treatments(text: str) -> str:
    """What was done, from the codes of one day."""
    return " and ".join(TREATMENT_WORDS[code] for code in text.split(","))


def _treated(words: Wording, row: Row) -> str:
    is_or_was = "was due" if row["flag"] else "due"
    return (
        f"Treated on {words.day(row['sampled_on'])} ({_treatments(row['what'])}), retest {is_or_was} "
        f"{weekday_and(words.day)(row['until_on'])}."
    )


def _retest_missed(words: Wording, row: Row) -> str:
    return (
        f"Retest missed: treated on {words.day(row['sampled_on'])} ({_treatments(row['what'])}), the retest was due "
        f"{weekday_and(words.day)(row['until_on'])}, {_days(row['days'])} ago. Nobody knows yet whether it helped."
    )


def _unmoved(words: Wording, row: Row) -> str:
    return (
        f"{QUANTITY_WORDS[row['quantity']]} is still {row['side']} on {words.day(row['sampled_on'])}, as it has been "
        f"since {words.day(row['since_on'])}: the treatment of {words.day(row['until_on'])} "
        f"({_treatments(row['what'])}) has not mended it."
    )


def _treatment_result(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    moved = row["mean"] - row["first_mean"]
    figures = (
        f"After {_treatments(row['what'])} on {words.day(row['until_on'])}: {name} {row['first_mean']:.2f}{unit} on "
        f"{words.day(row['since_on'])}, {row['mean']:.2f}{unit} on {words.day(row['sampled_on'])}"
    )
    if row["flag"]:
        return f"{figures}; {row['pots']} and {_pots(row['min_pots'])} are too few to tell whether it moved."
    interval = (
        ""
        if row["ci_low"] is None
        else f" ({format_signed(row['ci_low'])} to {format_signed(row['ci_high'])})"
    )
    is_clear = row["side"] is not None
    return f"{figures}, {format_signed(moved)}{interval}: {_move(row, moved, row['ci_low'], row['ci_high'], is_clear)}."


def _move(row: Row, moved: float, low: float | None, high: float | None, is_clear: bool) -> str:
    """What is said of a move from before to after, one wording for reason and contrast.

    An interval that leaves 0 out is a move; below one step of the policy it is a small one.
    """
    word = "rise" if moved > 0 else "fall"
    if is_clear:
        return f"a clear {word}"
    if low is None or high is None or low <= 0 <= high:
        return "no clear move"
    if abs(moved) < row["step"] - 1e-9:
        return f"a small {word}, less than {row['step']:g}{UNITS[row['quantity']] or ' pH'}"
    return f"a {word}, but so few pots do not prove it"


def _alkaline_water(words: Wording, row: Row) -> str:
    return (
        f"pH rises by {row['first_mean']:.2f} a week, and the source water has "
        f"{row['mean']:.0f} mg/L alkalinity as CaCO3 ({words.day(row['sampled_on'])}), published for these containers: "
        f"{_alkalinity(row['low'], row['high'])} mg/L. The water may be the cause."
    )


def _alkalinity(low: float | None, high: float) -> str:
    return f"up to {high:.0f}" if low is None else f"{low:.0f}-{high:.0f}"


_POT_CLASSES = ("pot_4in", "pot_5_6in", "pot_6_5in_plus")


def _containers(classes: Sequence[str]) -> str:
    if set(_POT_CLASSES) <= set(classes):
        classes = [*(name for name in classes if name not in _POT_CLASSES), "pots"]
    names = [
        {"pot_6_5in_plus": "6.5 inch pots and larger", "pots": "pots of all sizes"}.get(name)
        or f"{CONTAINER_WORDS[name]}s"
        for name in classes
    ]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _alkalinity_off(words: Wording, row: Row) -> str:
    """One water against the ranges of all containers for which it lies outside."""
    ranges = row["ranges"]
    shown = ", ".join(
        f"{_alkalinity(one['low'], one['high'])} mg/L for {_containers(one['classes'])}" for one in ranges
    )
    is_low = [one["low"] is not None and row["a"] < one["low"] for one in ranges]
    side = "below" if all(is_low) else "outside" if any(is_low) else "above"
    acid = (
        ""
        if row["c"] is None
        else f" Expect pH to rise; above {row['c']:.0f} mg/L growers consider treating the water with acid."
    )
    return (
        f"Source water of {words.day(row['checked_on'])}: alkalinity {row['a']:.0f} mg/L as CaCO3, {side} the "
        f"published {shown}.{acid}"
    )


def _hose(row: Row) -> str:
    return f"Feed at the hose end ({row['place']})" if row["place"] else "Feed at the hose end"


def _feed_off(words: Wording, row: Row) -> str:
    word = "weak" if row["rule"] == "feed_weak" else "strong"
    added, wanted = row["a"] - row["b"], row["c"] - row["b"]
    return (
        f"{_hose(row)} is {word}: {row['a']:.2f} mS/cm on {words.day(row['checked_on'])}, its target is "
        f"{row['c']:.2f} mS/cm. The source water has {row['b']:.2f} mS/cm ({words.day(row['water_on'])}), so the feed "
        f"adds {added:.2f} mS/cm instead of {wanted:.2f} mS/cm ({row['d'] * 100:.0f} %). Check injector and stock tank."
    )


def _feed_below_water(words: Wording, row: Row) -> str:
    return (
        f"{_hose(row)} has {row['a']:.2f} mS/cm on {words.day(row['checked_on'])}, less than the source water alone "
        f"({row['b']:.2f} mS/cm on {words.day(row['water_on'])}). Check the meter, and whether both were the same "
        "water."
    )


_WATER_FINDINGS: dict[str, Callable[[Wording, Row], str]] = {
    "alkalinity_outside": _alkalinity_off,
    "alkalinity_acid": _alkalinity_off,
    "feed_weak": _feed_off,
    "feed_strong": _feed_off,
    "feed_below_water": _feed_below_water,
}
_MOST_NAMES = 5


def _is(names: Sequence[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _some(names: list[str]) -> str:
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return ", ".join(names[:_MOST_NAMES]) + more


_LIST_FINDINGS: dict[str, Callable[[Row], str]] = {
    "lot_not_listed": lambda r: (
        f"{_count(len(r['names']), 'planted lot')} {_is(r['names'])} not in the lot list: {_some(r['names'])}. "
        f"Nobody is asked to sample {'it' if len(r['names']) == 1 else 'them'}."
    ),
    "sampler_not_trained": lambda r: (
        f"{_count(r['readings'], 'reading')} of the last 28 days by somebody who is not in the list of people or was "
        f"trained later: {_some(r['names'])}."
    ),
    "lot_code_twice": lambda r: (
        f"Codes that differ only in capital letters are taken as one lot: {_some(r['names'])}. "
        "Give one of them another."
    ),
    "lot_gone": lambda r: (
        f"{'Lot' if len(r['names']) == 1 else 'Lots'} {_some(r['names'])} {_is(r['names'])} gone from the site's lot "
        f"list: {_count(r['readings'], 'reading')} of {'it' if len(r['names']) == 1 else 'them'} "
        f"{'waits' if r['readings'] == 1 else 'wait'} until the list has {'it' if len(r['names']) == 1 else 'them'} "
        "again."
    ),
    "pots_not_told_apart": lambda r: (
        f"{_some(r['names'])}: {_count(r['readings'], 'reading')} of samplings in which a pot's number comes twice. "
        "Each counts as a pot of its own, and a correction of one of them cannot be told from another pot. Number the "
        "pots, or write numbers_pots = false into the [[export]], and this is said no more."
    ),
}


def _contrast(words: Wording, row: Row) -> str:
    name, unit = _named(row)
    first, second = {
        "affected": ("affected plants", "healthy ones"),
        "feed": ("before feeding", "after feeding"),
        "treatment": ("before the treatment", "after it"),
    }[row["comparison"]]
    figures = (
        f"{name} {row['mean_first']:.2f}{unit} {first} ({words.day(row['first_on'])}), "
        f"{row['mean_second']:.2f}{unit} {second} ({words.day(row['second_on'])})"
    )
    if row["word"] == "too_few":
        return f"{figures}: too few pots to tell them apart."
    difference, low, high = row["difference"], row["ci_low"], row["ci_high"]
    is_clear = row["word"] == "clear"
    if row["comparison"] == "affected":
        verdict = _gap(row, difference, low, high)
    else:
        # What moved is what came after less what was before.
        difference, low, high = -difference, _minus(high), _minus(low)
        verdict = _move(row, difference, low, high, is_clear)
    interval = "" if low is None else f", {format_signed(low)} to {format_signed(high)}"
    return f"{figures}: {verdict} ({format_signed(difference)}{interval})."


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _gap(row: Row, difference: float, low: float | None, high: float | None) -> str:
    """What is said of two groups of pots of one day."""
    if row["word"] == "clear":
        return "a clear difference"
    if low is None or high is None or low <= 0 <= high:
        return "no clear difference"
    if abs(difference) < row["step"] - 1e-9:
        return f"a small difference, less than {row['step']:g}{UNITS[row['quantity']] or ' pH'}"
    return "a difference, but so few pots do not prove it"


_DATED_FINDINGS: dict[str, Callable[[Row, str], str]] = {
    "same_as_before": lambda r, day: (
        f"All {_pots(r['of_pots'])} read as they did on {day}. Were they read anew?"
    ),
    "ec_below_water": lambda r, day: (
        f"EC {r['a']:.2f} mS/cm in the leachate, the source water had {r['b']:.2f} mS/cm on {day}: check the meter, "
        "and what was poured."
    ),
}

_METER_FINDINGS: dict[str, Callable[[Wording, Row], str]] = {
    "meter_in_doubt": lambda words, r: f"Read with {explain_doubted(r['doubted_meters'], words.day)}.",
    "buffers_not_bracketing": lambda _, r: explain_not_bracketed(r["meters_not_bracketed"]),
}

_REASONS: dict[str, Callable[[Wording, Row], str]] = {
    "clearly_out": _out,
    "out": _out,
    "ec_very_high": _very_high,
    "affected_clearly_out": _affected_out,
    "never_counted": _never_counted,
    "not_read_lately": _not_read,
    "close_to_limit": _close,
    "uneven": _uneven,
    "affected_noted": _affected,
    "meter_in_doubt": _meter_in_doubt,
    "last_did_not_count": _not_counting,
    "ec_not_judged": _ec_not_judged,
    "surprising": _surprising,
    "depends_on_one_pot": _one_pot,
    "trend": _trend,
    "forecast": _forecast,
    "off_baseline": _off_baseline,
    "affected_differ": _affected_differ,
    "affected_unexplained": _affected_unexplained,
    "affected_too_few": _affected_too_few,
    "drift": _drift,
    "treated": _treated,
    "retest_missed": _retest_missed,
    "unmoved_after_treatment": _unmoved,
    "treatment_result": _treatment_result,
    "alkaline_water": _alkaline_water,
}

_FINDINGS: dict[str, Callable[[Row], str]] = {
    "too_few_pots": lambda r: (
        f"{_pots(r['pots'])} usable for pH, {r['low']:.0f} needed: shown, but it does not count."
    ),
    "over_collected": lambda r: (
        f"Over-collected: {_of_pots(r)}, {_ml(r['a'], r['b'])} instead of {_ml(r['low'], r['high'])}. "
        "Too much leachate dilutes: EC reads low."
    ),
    "under_collected": lambda r: (
        f"Under-collected: {_of_pots(r)}, {_ml(r['a'], r['b'])} instead of {_ml(r['low'], r['high'])}. "
        "Too little leachate makes EC read high."
    ),
    "volume_excludes_ec": lambda r: (
        f"EC of {_of_pots(r)} left out: leachate volume too far off. Their pH stays in."
    ),
    "no_temperature": lambda r: (
        f"EC of {_of_pots(r)} left out: the meter does not compensate and no temperature was written down; "
        "at 15 °C EC reads about 20 % low."
    ),
    "volume_not_recorded": lambda r: f"Leachate volume not written down for {_of_pots(r)}.",
    "unequal_volumes": lambda r: (
        f"Unequal volumes, {r['low']:.0f}-{r['high']:.0f} mL: collect the same from each pot."
    ),
    "poured_off_recipe": lambda r: (
        f"Water poured off the recipe on {_of_pots(r)}: {_ml(r['a'], r['b'])} instead of {r['low']:.0f} mL."
    ),
    "poured_not_distilled": lambda r: (
        f"{_of_pots(r)} poured with {r['what'].replace(',', ' and ')} water whose EC is not written down: "
        "nobody can tell what it adds to the leachate."
    ),
    "more_than_poured": lambda r: (
        f"More leachate than water poured on {_of_pots(r)}: an entry error, or the pots had not drained."
    ),
    "drain_time": lambda r: (
        f"Drain time of {_of_pots(r)} {_span(r['a'], r['b'])} min instead of "
        f"{_span(r['low'], r['high'])} min."
    ),
    "meter_not_calibrated": lambda r: (
        f"No accepted calibration of meter {r['what']} on this day."
        if r["what"]
        else "No meter written down."
    ),
    "affected_in_routine": lambda r: _set_apart(r),
    "all_alike": lambda r: (
        f"All {_pots(r['of_pots'])} read exactly alike{_alike(r)}. Was each pot read by itself?"
    ),
    "outlier_ph": lambda r: _outlier(r, "ph"),
    "outlier_ec": lambda r: _outlier(r, "ec"),
    "one_bench": lambda r: (
        f"All {_pots(r['pots'])} came from bench {r['what']}, the lot stands on others too: pick from all over."
    ),
    "one_position": lambda r: (
        f"All {_pots(r['pots'])} came from one place ({r['what']}): pick from all over, the middle and the back too."
    ),
    "too_fast": lambda r: (
        f"By the time stamps {_pots(r['of_pots'])} were read {r['a']:.0f} s apart. Was each left to settle?"
    ),
    "entered_late": lambda r: (
        f"{_of_pots(r)} came {_days(round(r['a']))} after they were read. Were they written down that day?"
    ),
    "reading_corrected": lambda r: (
        f"{_count(r['pots'], 'reading')} replaced by a later version; both are kept."
    ),
    "sent_again": lambda r: (
        f"{r['what']} came again with {_count(r['pots'], 'more reading')} of this sampling, and without "
        f"{round(r['a'])} that it had before. All of them count. If it corrects them, number the pots, or send the "
        "file again with no more than half of its lines changed at a time."
    ),
    "uneven_ph": lambda r: f"Uneven: SD {r['a']:.2f} pH between pots (the policy allows {r['high']:.2f}).",
    "uneven_ec": lambda r: f"Uneven: SD {r['a']:.2f} mS/cm between pots (the policy allows {r['high']:.2f}).",
}


_PURPOSES = {
    "affected": "Affected plants",
    "healthy": "Healthy for comparison",
    "before_feed": "Before feeding",
    "after_feed": "After feeding",
    "retest": "Retest",
}


def _with_purpose(row: Row, sentence: str) -> str:
    """The sentence with what the sampling was for, where it was not a routine one."""
    purpose = _PURPOSES.get(row["purpose"])
    if purpose is None or row["rule"] == "affected_in_routine":
        return sentence
    # "EC of ..." stays as it is
    start = sentence if sentence[1:2].isupper() else sentence[:1].lower() + sentence[1:]
    return f"{purpose}{',' if re.match(r'[a-z-]+:', start) else ':'} {start}"


def _set_apart(row: Row) -> str:
    """Affected pots of a routine sampling, and what a comparison would take: five of each."""
    pots, needed = row["pots"], row["low"]
    wanted = (
        ""
        if pots >= needed
        else f"; for a comparison read {needed:.0f} affected and {needed:.0f} healthy ones"
    )
    return f"{_pots(pots)} marked as affected, kept apart from the routine figure{wanted}."


def _alike(row: Row) -> str:
    """What all pots read, where it was one quantity alone."""
    if row["b"] is None:
        return f", pH {row['a']:g}"
    return f", EC {row['b']:g}{UNITS['ec']}" if row["a"] is None else ""


def _outlier(row: Row, quantity: str) -> str:
    name, unit = QUANTITY_WORDS[quantity], UNITS[quantity]
    which = "1 pot lies" if row["pots"] == 1 else f"{row['pots']} pots lie"
    furthest = "" if row["pots"] == 1 else "up to "
    without = "" if row["high"] is None else f" ({_ends(row['high'], row['b'])})"
    it, stays = ("it", "It stays") if row["pots"] == 1 else ("them", "They stay")
    return (
        f"{which} apart, {furthest}{name} {row['a']:.2f}{unit}: without {it} the mean is {row['low']:.2f}{without}. "
        f"{stays} in the figure.{_grubbs(row)}"
    )


def _grubbs(row: Row) -> str:
    """What Grubbs' test says beside, from seven pots."""
    if row["grubbs_g"] is None:
        return ""
    word = "agrees" if row["is_grubbs_outlier"] else "does not"
    beside = "above" if row["is_grubbs_outlier"] else "not above"
    return (
        f" Grubbs' test {word}: G {row['grubbs_g']:.2f}, {beside} its 5 % limit of "
        f"{row['grubbs_critical']:.2f}."
    )


_QUESTIONS: dict[str, Callable[[Row], str]] = {
    "last_digits": lambda r: (
        f"Of {r['n']} {QUANTITY_WORDS[r['quantity']]} readings of the last month {r['b'] * 100:.0f} % end in "
        f"{r['a']:.0f}, where one in ten would be expected. Are all digits of the meter written down?"
    ),
    "whole_ec": lambda r: (
        f"{r['a']:.0f} of {r['n']} EC readings of the last month are whole numbers. Are they rounded?"
    ),
    "scale_jump": lambda r: (
        f"The median EC of the last 14 days is {r['a']:.2f} mS/cm, before it was {r['b']:.2f} mS/cm: "
        f"about {_factor(r['c'])}. "
        "Was a meter, its scale or the unit of the column changed?"
    ),
    "front_of_bench": lambda r: (
        f"Of {r['n']} pots of the last month whose row is written down {r['a']:.0f} stood in the front row, where "
        f"{_whole_or_tenth(r['b'])} would be expected by chance: take pots from the middle and the back too."
    ),
}


def _whole_or_tenth(value: float) -> str:
    text = f"{value:.1f}"
    return text.removesuffix(".0")


def _factor(value: float) -> str:
    if value in (1000.0, 2.0):
        return f"{value:.0f} times as much"
    return {0.001: "a thousandth", 0.5: "half", 0.7: "0.7 times"}.get(value, f"{value:.1f} times as much")


def _mean(row: Row) -> str:
    name, unit = QUANTITY_WORDS[row["quantity"]], UNITS[row["quantity"]]
    interval = "" if row["ci_low"] is None else f" ({_ends(row['ci_low'], row['ci_high'])})"
    return f"{name} {row['mean']:.2f}{unit}{interval}"


def _ends(low: float, high: float) -> str:
    """Both ends of an interval of pH or EC, which do not go below 0."""
    return f"{max(0.0, low):.2f}-{max(0.0, high):.2f}"


def _edge(value: float) -> str:
    text = f"{value:.2f}"
    return text[:-1] if text.endswith("0") else text


def _range(quantity: str, low: float, high: float) -> str:
    return f"{_edge(low)}-{_edge(high)}{UNITS[quantity]}"


def _ml(low: float, high: float) -> str:
    return f"{_span(low, high)} mL"


def _span(low: float, high: float) -> str:
    first, last = f"{low:.0f}", f"{high:.0f}"
    return first if first == last else f"{first}-{last}"


def _nth(number: int) -> str:
    suffix = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{suffix}"


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"


def _days(number: int) -> str:
    return _count(number, "day")


def _pots(number: int) -> str:
    return _count(number, "pot")


def _of_pots(row: Row) -> str:
    return f"{row['pots']} of {_pots(row['of_pots'])}"
