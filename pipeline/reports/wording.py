"""Sentences for the codes that the models give: short, one thought each, figures with units.

Every function is pure: figures in, one sentence out, in the site's language and with its dates. Which sentence belongs
to which code stands in wording_reasons, wording_findings, wording_site, wording_meters, wording_dues and wording_held.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from pipeline.languages import ENGLISH, Speech, load_tongue
from pipeline.reports.wording_dues import choose_listed, explain_due, explain_excuse, name_due
from pipeline.reports.wording_figures import (
    CONTAINER_WORDS,
    QUANTITY_WORDS,
    TREATMENT_WORDS,
    UNITS,
    Row,
    containers_of,
    days,
    ends,
    lines,
    pots,
    quantity_of,
    signed,
    treatments_of,
    unit_of,
)
from pipeline.reports.wording_findings import explain_finding
from pipeline.reports.wording_held import explain_file, explain_held, explain_trouble
from pipeline.reports.wording_meters import explain_meter, explain_meter_finding
from pipeline.reports.wording_reasons import explain_reason, explain_trend
from pipeline.reports.wording_rereads import say_reread_line
from pipeline.reports.wording_site import (
    LIST_FINDINGS,
    QUESTIONS,
    QUESTIONS_OF_DAYS,
    WATER_FINDINGS,
    explain_contrast,
)
from pipeline.reports.wording_targets import explain_no_target, explain_unpublished, explain_unused_group

_MOST_POTS = 50  # more than anybody would sample
_MOST_TITLES = 6


class Wording:
    """Sentences in one site's language and date style (strftime), and in the group's for the overview."""

    def __init__(
        self,
        date_format: str,
        group_date_format: str | None = None,
        language: str = ENGLISH,
        group_language: str | None = None,
    ) -> None:
        self.speech = Speech(load_tongue(language), date_format)
        theirs = (group_date_format or date_format, group_language or language)
        self._group = None if theirs == (date_format, language) else Wording(theirs[0], language=theirs[1])

    def for_group(self, write: Callable[[Wording], str | None]) -> str | None:
        """What `write` makes in the group's style; None where the site speaks and writes dates alike."""
        return None if self._group is None else write(self._group)

    def group_texts(self, write: Callable[[Wording], list[str]]) -> list[str] | None:
        """Several sentences in the group's style; None where the site speaks and writes dates alike."""
        return None if self._group is None else write(self._group)

    def day(self, value: date) -> str:
        """One date as the site writes it."""
        return self.speech.day(value)

    def reason(self, row: Row) -> str:
        """Sentence for one row of the relation `reasons`."""
        return explain_reason(self.speech, row)

    def due(self, row: Row) -> str:
        """Sentence for one row of the query `dues`."""
        treatments = row.get("treatments")
        return explain_due(
            row, self.speech, None if treatments is None else treatments_of(self.speech, treatments)
        )

    def other_dues(self, rows: Sequence[Row], excuse: Row | None = None) -> list[str]:
        """The dues of one lot beside the one that rules, excused ones too, in a few words each.

        `excuse`: the one that stands beside the list in full, so that the list need not say it again.
        """
        return [name_due(row, self.speech, excuse) for row in choose_listed(rows)]

    def excuse(self, row: Row) -> str:
        """Until when a lot's sampling is excused, why and by whom, for one row of the query `lots`."""
        told = explain_excuse(row, self.speech)
        return f"{told[:1].upper()}{told[1:]}."

    def slack_interval(
        self, container_class: str, interval_days: int, published: Sequence[tuple[str, str, str]]
    ) -> str:
        """A routine interval that is longer than a published one; published: rate, source, how it is known."""
        w = self.speech
        rates: dict[str, list[str]] = {}
        for rate, source, known in published:
            how = {"memory": w("from memory"), "read": w("read")}.get(known, w(known))
            rates.setdefault(w(rate).replace(" (EC)", ", EC"), []).append(f"{source}, {how}")
        told = "; ".join(f"{rate} ({'; '.join(sources)})" for rate, sources in rates.items())
        return w(
            "Policy: {containers} every {days}. Published: {rates}.",
            containers=containers_of(w, [container_class]),
            days=days(w, interval_days),
            rates=told,
        )

    def finding(self, row: Row) -> str:
        """Sentence for one row of the relation `sampling_findings`."""
        return explain_finding(self.speech, row)

    def water_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `water_findings`."""
        return WATER_FINDINGS[row["rule"]](self.speech, row)

    def list_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `list_findings`."""
        return LIST_FINDINGS[row["rule"]](self.speech, row)

    def contrast(self, row: Row) -> str:
        """Two samplings of a lot against each other, for one row of the relation `contrasts`."""
        return explain_contrast(self.speech, row)

    def pots_needed(self, quantity: str, figure: Row, precision: float, asked: int) -> str:
        """Whether the pots that are asked for give the policy's precision, or how many would be needed.

        `figure`: n and pots_needed of a sampling; without the latter its pots were too few to say.
        """
        w, needed = self.speech, figure["pots_needed"]
        places = {
            "name": w(QUANTITY_WORDS[quantity]),
            "precision": f"±{w.figure(precision, 'g')}{UNITS[quantity] or ' pH'}",
        }
        if needed is None:
            return w(
                "{name}: too few pots ({found}) to say how many would be needed to know the mean within "
                "{precision}.",
                found=figure["n"],
                **places,
            )
        if needed <= asked:
            return w.many(
                "{name}: by their spread, {n} pot is enough to know the mean within {precision}.",
                "{name}: by their spread, {n} pots are enough to know the mean within {precision}.",
                asked,
                **places,
            )
        many = w("more than {n} pots", n=_MOST_POTS) if needed > _MOST_POTS else pots(w, needed)
        return w.many(
            "{name}: by their spread, {pots} would be needed to know the mean within {precision}; {n} is asked for.",
            "{name}: by their spread, {pots} would be needed to know the mean within {precision}; {n} are asked "
            "for.",
            asked,
            pots=many,
            **places,
        )

    def question(self, row: Row) -> str:
        """Sentence for one row of the relation `site_questions`."""
        return QUESTIONS[row["rule"]](self.speech, row)

    def question_of_days(self, row: Row) -> str:
        """Sentence for one row of the relation `audit_questions`, which names its days."""
        return QUESTIONS_OF_DAYS[row["rule"]](self.speech, row)

    def meter(self, row: Row, findings: Sequence[Row]) -> str | None:
        """Sentences for one row of the relation `meter_states` with its `meter_findings`; None when all is well."""
        return explain_meter(row, findings, self.speech)

    def meter_finding(self, row: Row) -> str:
        """Sentence for one row of the relation `meter_findings`."""
        return explain_meter_finding(row, self.speech)

    def trend_state(self, row: Row) -> str:
        """What can be said of a trend, for one row of the relation `trends`; also that nothing can be said."""
        w, slope = self.speech, row["slope_per_week"]
        places: dict[str, Any] = {"name": quantity_of(w, row), "unit": unit_of(row)}
        # As in the reasons: a test of order knows no size.
        if row["is_trend"] and abs(slope) * 8 < row["step"] - 1e-8:
            return w(
                "{name}: moves one way over {n} samplings, but by less than {step:g}{unit} in eight weeks (slope "
                "{slope}{unit} a week).",
                n=row["n"],
                step=row["step"],
                slope=signed(w, slope),
                **places,
            )
        if row["is_trend"]:
            return explain_trend(
                w,
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
            moves = (
                ""
                if slope is None
                else w(", slope {slope}{unit} a week", slope=signed(w, slope), unit=unit_of(row))
            )
            return w.many(
                "{name}: {n} sampling since the last change, no trend judged (5 are needed){moves}.",
                "{name}: {n} samplings since the last change, no trend judged (5 are needed){moves}.",
                row["n"],
                moves=moves,
                **places,
            )
        return w(
            "{name}: no trend over {n} samplings, slope {slope}{unit} a week (p {p:.2f}).",
            n=row["n"],
            slope=signed(w, slope),
            p=row["p"],
            **places,
        )

    def own_chart_state(self, row: Row) -> str:
        """Where the last sampling stands on the lot's own chart, for one row of the query `own_charts`."""
        w, name = self.speech, quantity_of(self.speech, row)
        if row["ewma"] is None:
            return {
                "too_few": w(
                    "{name}: too few samplings since the last change to see a drift from its own start (6 are "
                    "needed).",
                    name=name,
                ),
                "baseline": w("{name}: the last sampling belongs to the baseline.", name=name),
                "no_spread": w("{name}: the first samplings are all alike, so there is no limit.", name=name),
            }[row["reason"]]
        return w(
            "{name}: weighted mean of the samplings {mean:.2f}{unit}, {place} the limits {limits}{unit} around the "
            "first five samplings ({start:.2f}{unit}).",
            name=name,
            mean=row["ewma"],
            unit=unit_of(row),
            place={"low": w("below"), "high": w("above"), None: w("within")}[row["ewma_side"]],
            limits=ends(w, row["ewma_low"], row["ewma_high"]),
            start=row["centre"],
        )

    def no_target(self, quantity: str, container_class: str, *, is_controlled_release: bool) -> str:
        """Why lots of a kind are not judged on a quantity without a target of their own."""
        return explain_no_target(
            self.speech, quantity, container_class, is_controlled_release=is_controlled_release
        )

    def unused_group(self, row: Row) -> str | None:
        """That the policy's group for a crop is not used, for one row of `lot_targets`; None where it is."""
        return explain_unused_group(self.speech, row)

    def unpublished(self, quantity: str, *, is_general_used: bool) -> str:
        """That nobody publishes a target for the crop, and what is used instead."""
        return explain_unpublished(self.speech, quantity, is_general_used=is_general_used)

    def silent(self, name: str, last: date | None, nights: int | None) -> str:
        """A site that sends nothing."""
        w = self.speech
        if last is None:
            return w("{site} has sent nothing yet; check that its exports reach the drop folder.", site=name)
        return w.many(
            "{site} has sent nothing for {n} night, the last files came on {day}; check the export and the drop "
            "folder.",
            "{site} has sent nothing for {n} nights, the last files came on {day}; check the export and the drop "
            "folder.",
            nights or 0,
            site=name,
            day=self.day(last),
        )

    def releases(self, rows: Sequence[Row]) -> list[str]:
        """Rows of the relation `releases`: one sentence for each thing that the lines had waited for."""
        records: dict[str, int] = {}
        for row in rows:
            why = self._why_released(row)
            records[why] = records.get(why, 0) + row["records"]
        return [
            self.speech.many(
                "{n} line held before is taken up: {why}.",
                "{n} lines held before are taken up: {why}.",
                number,
                why=why,
            )
            for why, number in records.items()
        ]

    def _why_released(self, row: Row) -> str:
        w = self.speech
        return {
            "lot_unknown": w("lot {lot} is now in the lot list", lot=row["lot_code"]),
            "lot_held": w("the line of lot {lot} in the lot list can now be used", lot=row["lot_code"]),
            "place_unclear": w("the place now fits exactly one lot"),
            "in_future": w("the day has come"),
        }.get(row["cause"], w("the cause was mended"))

    def reread(self, row: Row) -> str:
        """One row of the query `rereads_tonight`."""
        w = self.speech
        parts = []
        if row["changed_lines"]:
            parts.append(w("values of {lines} changed", lines=lines(w, row["changed_lines"])))
        for name in ("accepted", "held"):
            before, after = row[f"{name}_before"], row[f"{name}_after"]
            places = {"lines": lines(w, after), "before": before}
            if before != after and name == "accepted":
                parts.append(w("{lines} in use, {before} before", **places))
            elif before != after:
                parts.append(w("{lines} held, {before} before", **places))
        told = {"file": row["file"], "changes": "; ".join(parts) or w("nothing changed")}
        if row["accepted_after"] < row["accepted_before"]:
            return w(
                "{file} was read again because the settings changed, and fewer of its lines can be used now: "
                "{changes}. Look at what was changed in site.toml.",
                **told,
            )
        return w("{file} was read again under the mended settings: {changes}.", **told)

    def reread_line(self, row: Row) -> str:
        """One row of the query `reread_lines`, without its file."""
        return say_reread_line(row, self.speech)

    def older_file(self, row: Row) -> str:
        """One row of the query `older_files`."""
        w, left = self.speech, row["left_out"]
        told = (
            w.many(
                "{n} line of it that the newer one lacks or has otherwise is kept and not used",
                "{n} lines of it that the newer one lacks or has otherwise are kept and not used",
                left,
            )
            if left
            else w("the newer one has all of its lines")
        )
        return w(
            "{file} holds an older state than {newer}, which had come before, so it changes nothing: {lines}. If "
            "it should count, save it again, with a later day where its name has one.",
            file=row["file"],
            newer=row["newer_file"],
            lines=told,
        )

    def new_columns(self, row: Row) -> str:
        """One row of the query `new_columns`; `is_noted`: the export keeps such cells with the note."""
        w, titles = self.speech, row["titles"]
        shown = ", ".join(f"“{title}”" for title in titles[:_MOST_TITLES])
        if len(titles) > _MOST_TITLES:
            shown = w("{names} and {n} more", names=shown, n=len(titles) - _MOST_TITLES)
        if row["is_noted"]:
            return w.many(
                "{file} has a column that no field takes: {titles}. Its cells are kept with the note; this is said "
                "once.",
                "{file} has columns that no field takes: {titles}. Their cells are kept with the note; this is said "
                "once.",
                len(titles),
                file=row["file"],
                titles=shown,
            )
        return w.many(
            "{file} has a column that no field takes: {titles}. This is said once; map what is needed, or set "
            'extra_columns = "note" to keep such cells with the note.',
            "{file} has columns that no field takes: {titles}. This is said once; map what is needed, or set "
            'extra_columns = "note" to keep such cells with the note.',
            len(titles),
            file=row["file"],
            titles=shown,
        )

    def held(self, row: Row) -> tuple[str, str]:
        """Sentence and mend for one row of the relation `held_causes`."""
        return explain_held(row, self.speech)

    def file(self, row: Row) -> str:
        """One row of the query `files_tonight` whose file has a problem."""
        return explain_file(row, self.speech)

    def trouble(self, row: Row) -> str:
        """One row of the query `troubles`: a file or folder that the night could not take."""
        return explain_trouble(row, self.speech)

    def policy_crop(self, crop: str, near: str) -> str:
        """A crop that the policy names and nobody has, beside one that is grown and written nearly alike."""
        w = self.speech
        return w(
            "The policy names the crop “{crop}”, which no lot here and no published table has: what it sets for it "
            "does nothing. Did you mean “{near}”?",
            crop=crop,
            near=near,
        )

    def unknown_crop(self, crop: str, lots: int, nearest: str | None) -> str:
        """A crop that no published table has and for which no target of one's own is set."""
        w = self.speech
        hint = " " + w("Did you mean “{nearest}”?", nearest=nearest) if nearest else ""
        return w.many(
            "{n} lot of “{crop}”: no published table has this crop.{hint} It is judged by the general pH range and "
            "not on EC; give it a name of the tables under [export.values.crop] in site.toml, or a target of your own "
            "in policy.toml.",
            "{n} lots of “{crop}”: no published table has this crop.{hint} It is judged by the general pH range and "
            "not on EC; give it a name of the tables under [export.values.crop] in site.toml, or a target of your own "
            "in policy.toml.",
            lots,
            crop=crop,
            hint=hint,
        )


__all__ = ["CONTAINER_WORDS", "TREATMENT_WORDS", "Row", "Wording"]
