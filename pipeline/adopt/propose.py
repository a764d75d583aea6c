"""From a file's bytes to a proposed [[export]]: dialect, kind, columns, formats, units, words and open questions.

Pure: the same bytes, site and answers give the same proposal.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.adopt.cell_guess import FREE_FIELDS, VALUE_FIELDS, CellWord, guess_words, known_share
from pipeline.adopt.columns import (
    DAY_FIELDS,
    TELLING_FIELDS,
    ColumnFacts,
    Match,
    best_named,
    could_be,
    has_unknown_alkalinity_unit,
    map_columns,
    missing_groups,
)
from pipeline.adopt.date_guess import guess_date_format, guess_datetime_format, guess_time_format
from pipeline.adopt.file_guess import guess_mode, guess_pattern
from pipeline.adopt.kind_guess import guess_kind
from pipeline.adopt.marks_guess import guess_marks
from pipeline.adopt.moments import span_days
from pipeline.adopt.numerals import middle_of, values_by_own_mark, values_of
from pipeline.adopt.questions import Choice, Desk, Guess, Question
from pipeline.adopt.sniff import Sheet, sniff
from pipeline.adopt.unit_guess import NO_UNIT, foreign_unit, guess_unit
from pipeline.errors import AdoptError
from pipeline.intake.header import find_column, header_key
from pipeline.intake.named_units import contradiction, contradiction_in_row, unit_taken
from pipeline.settings import Column, Export, SiteSettings
from pipeline.settings.words import FIELDS, UNIT_OF_FIELD, WORDS_BY_FIELD
from pipeline.units import UNITS

_FIGURES = frozenset(
    (
        *("ph", "ph_sd", "ec", "ec_sd", "poured", "leachate", "temperature", "drain", "n_pots", "plants"),
        *("slope", "offset", "ec_standard", "ec_found", "alkalinity", "nitrogen", "target_ec"),
        *("poured_ec", "ec_left", "mv_4", "mv_7", "mv_10"),
        *(f"{when}_{buffer}" for when in ("found", "left") for buffer in (4, 7, 10)),
    )
)
_KIN = {
    "ec_sd": "ec",
    "ec_found": "ec_standard",
    "ec_left": "ec_standard",
    "target_ec": "ec",
    "poured_ec": "ec",
}
# Two columns for one of these are asked about: the wrong one would be believed.
_WEIGHTY = (*DAY_FIELDS, "lot", "what", "place")
_RAW_EC = re.compile(
    r"\b(?:raw|uncomp\w*|uncorrected|unkompensiert|unkorrigiert|roh|sin compensar|non compens\w*|brut"
    r"|ongecompenseerd|ruw)\b"
)
_NAMES_A_BENCH = re.compile(r"\b(?:bench|tisch|mesa|banco|tablette|tafel)\b", re.IGNORECASE)
_NONE = "none"
_MOST_OF_WORDS = 0.6
_NEARLY_ALL = 0.8
_SIGN = re.compile(r"(?:[^\W\d_]\.?){2,4}")
# Half of a column below or above these is no leachate.
_LEAST_PH, _MOST_PH = 3.5, 9.5
_SPANNING = (
    ("date", "date_format"),
    ("datetime", "datetime_format"),
    ("started", "date_format"),
    ("from", "date_format"),
)
_METHOD_WHY = {
    "pour-through": "water poured on the pot, leachate caught below",
    "1:2 dilution": "one part of substrate in two parts of water",
    "saturated media extract": "substrate wetted to a paste, its water drawn off",
}


@dataclass(frozen=True, slots=True)
class Setting:
    """One key of the block: its value as TOML writes it, how sure, and why."""

    key: str
    value: str | int | bool | tuple[str, ...]
    guess: Guess


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One line under [export.columns]; `unit` is None for fields without a unit."""

    field: str
    header: str
    guess: Guess
    unit: Guess | None = None
    header_is_wrong: bool = False


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A column that no field takes, with one of its cells."""

    header: str
    example: str
    why: str


@dataclass(frozen=True)
class Proposal:
    """All that the block will say, and what is open.

    `export` is the block as settings would read it; `extraction_method` is asked for the site, where neither
    the site nor a column says it.
    """

    name: str
    kind: Guess
    settings: tuple[Setting, ...]
    columns: tuple[MappedColumn, ...]
    words: Mapping[str, tuple[CellWord, ...]]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    questions: tuple[Question, ...]
    extraction_method: Guess | None
    export: Export

    def with_pattern(self, pattern: str, why: str) -> Proposal:
        """The same proposal for other files."""
        settings = tuple(
            Setting("files", pattern, Guess(pattern, "likely", why)) if one.key == "files" else one
            for one in self.settings
        )
        return replace(self, settings=settings, export=self.export.model_copy(update={"files": pattern}))


def propose(
    data: bytes,
    name: str,
    site: SiteSettings,
    kind: str | None = None,
    answers: Mapping[str, str] | None = None,
) -> Proposal:
    """Propose a block for a file; raises AdoptError where the file cannot be an export at all."""
    desk = Desk(answers or {})
    sheet = sniff(data, name, desk)
    columns = [
        ColumnFacts(
            at, header, sheet.column(at), sheet.units[at] if sheet.units and at < len(sheet.units) else ""
        )
        for at, header in enumerate(sheet.header)
    ]
    found = guess_kind(columns, kind, desk, lambda one: _can_be(one, columns, name, desk))
    matches = _settle_columns(columns, found.value, name, desk)
    by_field = {match.field: match for match in matches}
    marks = guess_marks(
        {field: match.column for field, match in by_field.items() if field in _FIGURES},
        sheet.delimiter.value,
        desk,
    )
    dates = _guess_dates(by_field, site, desk)
    mapped = _with_units(matches, marks.decimal.value, desk)
    _need_a_figure(name, found.value, matches, mapped)
    matches = [match for match in matches if match.field in {one.field for one in mapped}]
    settings = [
        _plain("files", desk.settle("files", guess_pattern(name))),
        _plain("mode", guess_mode(found.value, name, _spans(by_field, dates, desk), desk)),
        *_dialect(sheet),
        _plain("decimal", marks.decimal),
        *([_plain("thousands", marks.thousands)] if marks.thousands else []),
        *(
            [Setting("number_marks", tuple(marks.number_marks.value.split()), marks.number_marks)]
            if marks.number_marks
            else []
        ),
        *(_plain(key, guess) for key, guess in dates.items()),
        *_field_settings(by_field, sheet, desk),
    ]
    words = {
        field: tuple(guess_words(field, by_field[field].column.cells, site.growers))
        for field in (*VALUE_FIELDS, *FREE_FIELDS)
        if field in by_field
    }
    method = _ask_method(found.value, by_field, site, desk)
    desk.check_all_used()
    return Proposal(
        name=name,
        kind=found,
        settings=tuple(settings),
        columns=tuple(mapped),
        words={field: found_words for field, found_words in words.items() if found_words},
        left_out=tuple(_left_out(columns, matches, found.value)),
        notes=tuple(_notes(columns, by_field)),
        questions=tuple(desk.questions),
        extraction_method=method,
        export=_as_export(found.value, settings, mapped, words),
    )


def _can_be(kind: str, columns: Sequence[ColumnFacts], name: str, desk: Desk) -> bool:
    """Whether columns are found for all that a kind cannot do without, be it by asking."""
    try:
        _settle_columns(columns, kind, name, Desk(desk.answers))
    except AdoptError:
        return False
    return True


def _settle_columns(columns: Sequence[ColumnFacts], kind: str, name: str, desk: Desk) -> list[Match]:
    """Mapping by headers, then by answers, then by what the cells could be; asks where it is open."""
    matches = {match.field: match for match in _drop_useless(map_columns(columns, kind))}
    _take_answers(matches, columns, kind, desk)
    for field, match in list(matches.items()):
        key = f"column.{field}"
        if key not in desk.answers and match.rivals and (field in _FIGURES or field in _WEIGHTY):
            candidates = _on_offer(field, (match.column, *match.rivals), matches, columns)
            matches[field] = _ask_column(field, candidates, f"two columns could be {field}", desk)
    for group in missing_groups(kind, list(matches)):
        _fill_group(group, matches, columns, kind, name, desk)
    if kind == "people":
        _ask_name(matches, columns, desk)
    if kind == "readings":
        for field in ("ph", "ec"):
            _ask_by_cells(field, matches, columns, desk)
    return sorted(matches.values(), key=lambda match: match.column.at)


def _drop_useless(matches: Sequence[Match]) -> list[Match]:
    """Where a date stands, a second time stamp and a week say nothing more; of a solution only the date is judged."""
    fields = {match.field for match in matches}
    useless: set[str] = set()
    if "date" in fields:
        useless = {"datetime", "week", "year"}
    elif "datetime" in fields:
        useless = {"week", "year", "time"}
    elif "week" not in fields:
        useless = {"year"}
    if "solution_expires" not in fields:
        useless = useless | {"solution"}
    return [match for match in matches if match.field not in useless]


def _take_answers(matches: dict[str, Match], columns: Sequence[ColumnFacts], kind: str, desk: Desk) -> None:
    for key in [key for key in desk.answers if key.startswith("column.")]:
        field = key.removeprefix("column.")
        if field not in FIELDS[kind].known:
            raise AdoptError(
                f"--answer {key}: {kind} have no such field; known are {', '.join(FIELDS[kind].known)}."
            )
        headers = [column.header for column in columns]
        answer = desk.settle(key, Guess("", "unsure", "")).value
        if answer == _NONE:
            matches.pop(field, None)
            continue
        at = find_column(headers, answer)
        if at is None:
            raise AdoptError(
                f"--answer {key}={answer}: no column has this header; there are {', '.join(headers)}."
            )
        for other in [name for name, match in matches.items() if match.column.at == at]:
            del matches[other]
        matches[field] = Match(field, columns[at], 1.0, "certain", "you said so")


def _free(matches: Mapping[str, Match], columns: Sequence[ColumnFacts]) -> list[ColumnFacts]:
    taken = {match.column.at for match in matches.values()}
    names = [header_key(column.header) for column in columns]
    return [
        column
        for column in columns
        if column.at not in taken and names[column.at] and names.count(names[column.at]) == 1
    ]


def _on_offer(
    field: str,
    first: Sequence[ColumnFacts],
    matches: Mapping[str, Match],
    columns: Sequence[ColumnFacts],
) -> list[ColumnFacts]:
    """The candidates, then every other column whose cells fit and that no other field has for certain."""
    certain = {other: match for other, match in matches.items() if match.sure == "certain"}
    theirs = {column.at for column in first}
    rest = [
        column for column in _free(certain, columns) if column.at not in theirs and could_be(field, column)
    ]
    return [*first, *rest]


def _fill_group(
    group: Sequence[str],
    matches: dict[str, Match],
    columns: Sequence[ColumnFacts],
    kind: str,
    name: str,
    desk: Desk,
) -> None:
    """Find a column by its cells for a field that the kind cannot do without, and ask."""
    free = _free(matches, columns)
    for field in group:
        match = _by_words(field, free)
        if match is not None and f"column.{field}" not in desk.answers:
            matches[field] = match
            return
        candidates = [column for column in free if could_be(field, column)]
        if not candidates:
            continue
        why = f"no header names the {field}, which {kind} need"
        matches[field] = _ask_column(field, _on_offer(field, candidates, matches, columns), why, desk)
        return
    if not _fill_from_taken(group, matches, columns, kind, desk):
        raise AdoptError(_tell_missing(group, columns, kind, name))


def _fill_from_taken(
    group: Sequence[str], matches: dict[str, Match], columns: Sequence[ColumnFacts], kind: str, desk: Desk
) -> bool:
    """Ask among the columns that another field has, but not for certain; that field gives way.

    Figures keep theirs: what is measured is no name of a lot because its figures could be a code. So do
    fields that the kind cannot do without either.
    """
    needed = set(missing_groups(kind, list(matches)))
    keeping = {
        match.column.at
        for field, match in matches.items()
        if field in _FIGURES or set(missing_groups(kind, [one for one in matches if one != field])) > needed
    }
    for field in group:
        candidates = [column for column in _on_offer(field, (), matches, columns) if column.at not in keeping]
        if candidates:
            why = f"no header names the {field}, which {kind} need"
            chosen = _ask_column(field, candidates, why, desk)
            for other in [one for one, match in matches.items() if match.column.at == chosen.column.at]:
                del matches[other]
            matches[field] = chosen
            return True
    return False


def _tell_missing(group: Sequence[str], columns: Sequence[ColumnFacts], kind: str, name: str) -> str:
    """One sentence about a column that the kind cannot do without, with the one whose cells say otherwise."""
    wanted = " or ".join(group)
    headers = ", ".join(
        f'"{" ".join(column.header.split())}"' for column in columns[:12] if column.header.strip()
    )
    named = [column for column in columns if column.cells and best_named(column, kind) in group]
    but = (
        f' ("{" ".join(named[0].header.split())}" is named like it, but not its cells, like '
        f'"{" ".join(named[0].cells[0].split())[:20]}")'
        if named
        else ""
    )
    return (
        f"{name} looks like {kind}, but no column for {wanted} is found among {headers}{but}; "
        f'say which with --answer column.{group[0]}="HEADER", or another kind with --kind.'
    )


def _by_words(field: str, free: Sequence[ColumnFacts]) -> Match | None:
    """The only column whose cells are words of a field that has its own, whatever its header."""
    if field not in TELLING_FIELDS:
        return None
    fitting = [column for column in free if known_share(field, column.cells) > _MOST_OF_WORDS]
    if len(fitting) != 1:
        return None
    return Match(field, fitting[0], 0.7, "likely", "no header names it, and the cells are words of it")


def _ask_name(matches: dict[str, Match], columns: Sequence[ColumnFacts], desk: Desk) -> None:
    """Names and short signs beside each other: which of them stands in the readings, the file does not tell."""
    if "name" not in matches or "column.name" in desk.answers:
        return
    named = matches["name"]
    others = [
        column
        for column in _free(matches, columns)
        if column in named.rivals
        or (_are_signs(column) and len(column.cells) > _NEARLY_ALL * len(named.column.cells))
    ]
    if others:
        why = "people must be named as in the readings, by name or by a short sign"
        matches["name"] = _ask_column("name", (named.column, *others), why, desk)


def _are_signs(column: ColumnFacts) -> bool:
    """Whether the cells are short signs of persons, such as initials."""
    return bool(column.cells) and all(_SIGN.fullmatch(cell) for cell in column.cells)


def _ask_by_cells(field: str, matches: dict[str, Match], columns: Sequence[ColumnFacts], desk: Desk) -> None:
    """A column that no header names but whose cells look like pH or EC: asked, never taken by itself."""
    if field in matches or f"column.{field}" in desk.answers:
        return
    candidates = [
        column for column in _free(matches, columns) if _is_nameless(column) and could_be(field, column)
    ]
    if field == "ec" and "ph" in matches:
        candidates = [column for column in candidates if column.number_share > 0.9]
    if not candidates:
        return
    candidates = _on_offer(field, candidates, matches, columns)
    match = _ask_column(
        field, candidates, f"no header names {field}, and these cells look like it", desk, may_be_none=True
    )
    if match.sure != "unsure":
        matches[field] = match


def _is_nameless(column: ColumnFacts) -> bool:
    """Whether a header says nothing: one that names another matter is not taken for pH by its size."""
    return column.unit is None and len(column.words.split()) <= 2


def _ask_column(
    field: str, candidates: Sequence[ColumnFacts], why: str, desk: Desk, *, may_be_none: bool = False
) -> Match:
    choices = [
        Choice(
            column.header,
            "with cells like " + ", ".join(" ".join(cell.split())[:20] for cell in column.cells[:3]),
        )
        for column in candidates
    ]
    if may_be_none:
        choices.append(Choice(_NONE, "none of them"))
    answer = desk.ask(Question(f"column.{field}", f"{why}: which column is {field}?", tuple(choices)))
    column = next((one for one in candidates if one.header == answer.value), candidates[0])
    return Match(field, column, 0.5, answer.sure, why)


def _guess_dates(by_field: Mapping[str, Match], site: SiteSettings, desk: Desk) -> dict[str, Guess]:
    found: dict[str, Guess] = {}
    days = [by_field[field].column for field in DAY_FIELDS if field in by_field]
    if days:
        found["date_format"] = guess_date_format(days, site.date_format, desk)
    if "datetime" in by_field:
        found["datetime_format"] = guess_datetime_format(by_field["datetime"].column, site.date_format, desk)
    if "time" in by_field:
        found["time_format"] = guess_time_format(by_field["time"].column, desk)
    return found


def _spans(by_field: Mapping[str, Match], dates: Mapping[str, Guess], desk: Desk) -> list[int]:
    """How many days the file spans, by each date format that is still in question."""
    for field, key in _SPANNING:
        if field in by_field and key in dates:
            asked = next((one for one in desk.questions if one.key == key), None)
            forms = [choice.value for choice in asked.choices] if asked else [dates[key].value]
            return [span_days(by_field[field].column.cells, form) for form in forms]
    weeks = len(by_field["week"].column.cells) if "week" in by_field else 1
    return [7 * (weeks - 1)]


def _with_units(matches: Sequence[Match], decimal: str, desk: Desk) -> list[MappedColumn]:
    units: dict[str, Guess] = {}
    order = sorted(matches, key=lambda match: match.field in _KIN)
    for match in order:
        if match.field in UNIT_OF_FIELD:
            kindred = units.get(_KIN.get(match.field, ""))
            units[match.field] = guess_unit(match.field, match.column, decimal, kindred, desk)
    return [
        MappedColumn(
            match.field,
            match.column.header,
            Guess(match.column.header, match.sure, match.why),
            units.get(match.field),
            _is_header_wrong(match, units.get(match.field)),
        )
        for match in matches
        if match.field not in units or units[match.field].value != NO_UNIT
    ]


def _is_header_wrong(match: Match, unit: Guess | None) -> bool:
    """Whether somebody named another unit than the header or the row of units, which a night has to be told."""
    if unit is None or unit.sure != "certain":
        return False
    column = Column(column=match.column.header, unit=unit.value)
    in_row = contradiction_in_row(match.field, column, match.column.unit_cell)
    return (in_row or contradiction(match.field, column, match.column.header)) is not None


def _need_a_figure(name: str, kind: str, matches: Sequence[Match], mapped: Sequence[MappedColumn]) -> None:
    """Raise AdoptError where a column that the kind cannot do without would be left out for its unit."""
    for group in missing_groups(kind, [one.field for one in mapped]):
        for match in matches:
            foreign = foreign_unit(match.field, match.column) if match.field in group else None
            if foreign is not None:
                header = " ".join(match.column.header.split())
                units = ", ".join(UNITS[UNIT_OF_FIELD[match.field]])
                raise AdoptError(
                    f'{name}: "{header}" is in {foreign}, which is no unit that is known here, and {kind} need its '
                    f"figures; export it in one of {units}, or name one with --answer unit.{match.field}=UNIT if the "
                    "header is wrong."
                )


def _plain(key: str, guess: Guess) -> Setting:
    return Setting(key, guess.value, guess)


def _dialect(sheet: Sheet) -> list[Setting]:
    found = [_plain("encoding", sheet.encoding), _plain("delimiter", sheet.delimiter)]
    if sheet.title_lines.value != "0":
        found.append(Setting("title_lines", int(sheet.title_lines.value), sheet.title_lines))
    if sheet.units is not None:
        guess = Guess("true", "certain", "units stand in a row under the header")
        found.append(Setting("units_row", True, guess))
    if sheet.total_words is not None:
        found.append(Setting("total_words", sheet.totals, sheet.total_words))
    if sheet.comment_prefix is not None:
        found.append(_plain("comment_prefix", sheet.comment_prefix))
    return found


def _field_settings(by_field: Mapping[str, Match], sheet: Sheet, desk: Desk) -> list[Setting]:
    """What only exports with an EC, numbered pots or weeks have to say."""
    found = []
    raw = "ec" in by_field and _RAW_EC.search(by_field["ec"].column.words)
    if raw or ("ec" in by_field and "ec_compensated" in desk.answers):
        guess = Guess("false", "likely", "the header says that EC is as measured, not brought to 25 °C")
        found.append(_yes_or_no("ec_compensated", guess, desk))
    if "pot" in by_field and (_numbers_pots(by_field, sheet) or "numbers_pots" in desk.answers):
        guess = Guess("true", "likely", "each pot of a sampling has a number of its own")
        found.append(_yes_or_no("numbers_pots", guess, desk))
    if "week" in by_field:
        rule = Guess("iso", "likely", "the rule of most calendars; january_1 and first_full_week are others")
        answer = desk.settle("week_rule", rule, ("iso", "january_1", "first_full_week"))
        found.append(_plain("week_rule", answer))
        day = Guess("wednesday", "likely", "the middle of the week stands for it; name the day of sampling")
        found.append(_plain("week_day", desk.settle("week_day", day)))
    return found


def _yes_or_no(key: str, guess: Guess, desk: Desk) -> Setting:
    answer = desk.settle(key, guess, ("true", "false"))
    return Setting(key, answer.value == "true", answer)


def _numbers_pots(by_field: Mapping[str, Match], sheet: Sheet) -> bool:
    """Whether lot or place, day, purpose and pot tell the lines apart, with more than one pot in a sampling."""
    fields = ("lot", "house", "bench", "position", "date", "datetime", "time", "purpose")
    group = [
        f"c{by_field[field].column.at}"
        for field in fields
        if field in by_field and field not in ("position", "time")
    ]
    pot = f"c{by_field['pot'].column.at}"
    frame = sheet.cells.select(*dict.fromkeys((*group, pot)))
    filled = frame.filter(frame[pot].str.strip_chars() != "")
    if filled.is_empty() or filled.height < 0.9 * frame.height:
        return False
    several = filled.height > filled.select(group).n_unique() if group else False
    return several and filled.n_unique() >= 0.97 * filled.height


def _ask_method(kind: str, by_field: Mapping[str, Match], site: SiteSettings, desk: Desk) -> Guess | None:
    if (
        kind != "readings"
        or "ec" not in by_field
        or "method" in by_field
        or site.extraction_method is not None
    ):
        return None
    text = "neither the site nor a column says how leachate is won, and an EC means nothing without it: how?"
    choices = tuple(Choice(method, _METHOD_WHY[method]) for method in WORDS_BY_FIELD["method"])
    return desk.ask(Question("extraction_method", text, choices))


def _left_out(columns: Sequence[ColumnFacts], matches: Sequence[Match], kind: str) -> list[LeftOut]:
    taken = {match.column.at for match in matches}
    names = [header_key(column.header) for column in columns]
    solutions = [match.column.at for match in map_columns(columns, kind) if match.field == "solution"]
    found = []
    for column in columns:
        if column.at in taken or not (column.cells or column.header.strip()):
            continue
        why = "no field is like it"
        field = best_named(column, kind)
        foreign = None if field is None else foreign_unit(field, column)
        if field is not None and foreign is not None:
            own = UNIT_OF_FIELD.get(field)
            units = unit_taken(field, Column(column="x")) if own is None else " or ".join(UNITS[own])
            why = f"it is in {foreign}, which is no unit that {field} can be in here; export it in {units}"
        if has_unknown_alkalinity_unit(column):
            why = "the settings know no such unit of alkalinity; export it in mg/L CaCO3 or meq/L"
        if column.at in solutions:
            why = "a solution without its date is not judged; --answer column.solution takes it all the same"
        if not names[column.at]:
            why = "it has no header"
        elif names.count(names[column.at]) > 1:
            why = "its header stands there more than once"
        example = " ".join(column.cells[0].split())[:30] if column.cells else ""
        found.append(LeftOut(" ".join(column.header.split()), example, why))
    return found


def _notes(columns: Sequence[ColumnFacts], by_field: Mapping[str, Match]) -> list[str]:
    notes = []
    if (
        "week" in by_field
        and "year" not in by_field
        and not any(re.match(r"\d{4}", cell) for cell in by_field["week"].column.cells[:5])
    ):
        notes.append("The weeks have no year: their lines will be held until a column says it.")
    ph = by_field.get("ph")
    if ph is not None and ph.column.cells and not _looks_like_ph(ph.column):
        notes.append("The figures in the column of pH do not look like pH: look at the five rows.")
    house = by_field.get("house")
    both = [cell for cell in house.column.cells if _NAMES_A_BENCH.search(cell)] if house is not None else []
    if both and "bench" not in by_field:
        notes.append(
            f'The column of the house names benches too, like "{" ".join(both[0].split())[:30]}": each would be a '
            "house of its own. Export house and bench in two columns, if the site's sheets and mail should know them."
        )
    doubled = {header_key(one.header) for one in columns if one.header.strip()}
    if len(doubled) < sum(bool(one.header.strip()) for one in columns):
        notes.append("A header stands there more than once: rename one, if its column matters.")
    return notes


def _looks_like_ph(column: ColumnFacts) -> bool:
    by_mark = (values_of(column.cells, "."), values_of(column.cells, ","), values_by_own_mark(column.cells))
    return any(_LEAST_PH <= middle_of(values) <= _MOST_PH for values in by_mark)


def _as_export(
    kind: str,
    settings: Sequence[Setting],
    mapped: Sequence[MappedColumn],
    words: Mapping[str, Sequence[CellWord]],
) -> Export:
    raw = {setting.key: setting.value for setting in settings}
    raw["kind"] = kind
    columns = {
        one.field: {"column": one.header}
        | ({"unit": one.unit.value} if one.unit else {})
        | ({"header_unit_is_wrong": True} if one.header_is_wrong else {})
        for one in mapped
    }
    values = {
        field: {one.cell: one.word for one in found if one.word is not None} for field, found in words.items()
    }
    filled = {field: table for field, table in values.items() if table}
    try:
        return Export.model_validate({**raw, "columns": columns, "values": filled})
    except ValueError as error:
        raise AdoptError(f"These settings do not go together: {_first_reason(error)}.") from error


def _first_reason(error: ValueError) -> str:
    from pydantic import ValidationError

    if isinstance(error, ValidationError):
        one = error.errors(include_url=False)[0]
        return f"{'.'.join(str(part) for part in one['loc'])} is {str(one['input'])[:40]!r}, {one['msg']} "
    return str(error)
