"""The date formats of an export: those that read every dated column, and a question where two do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pipeline.adopt.columns import ColumnFacts
from pipeline.adopt.moments import commonest_day, day_formats, first_of_two_orders, span_days
from pipeline.adopt.questions import Choice, Desk, Guess, Question
from pipeline.errors import AdoptError
from pipeline.intake.days import is_day_number

_LONG_DAY = "%-d %B %Y"
_LONG_SPAN_DAYS = 3 * 366


def guess_date_format(columns: Sequence[ColumnFacts], hint: str, desk: Desk) -> Guess:
    """One format for all columns of days; `hint` is the format in which the site prints dates."""
    per_column = [day_formats(column.cells, with_times=True) for column in columns if column.cells]
    common = (
        [form for form in per_column[0] if all(form in forms for forms in per_column)] if per_column else []
    )
    if not common and any(per_column):
        common = max(per_column, key=len)
    return _choose("date_format", common, columns, hint, desk)


def guess_datetime_format(column: ColumnFacts, hint: str, desk: Desk) -> Guess:
    """The format of a column with days and times."""
    return _choose("datetime_format", column.moments, [column], hint, desk)


def guess_time_format(column: ColumnFacts, desk: Desk) -> Guess:
    """The format of a column with times of day."""
    forms = column.times or ["%H:%M"]
    return desk.settle(
        "time_format", Guess(forms[0], "certain" if column.times else "unsure", _reads_all(column))
    )


def _choose(key: str, forms: Sequence[str], columns: Sequence[ColumnFacts], hint: str, desk: Desk) -> Guess:
    column = columns[0]
    if not column.cells:
        return desk.settle(key, Guess("%Y-%m-%d", "unsure", "the column is empty"))
    if not forms:
        if key in desk.answers:
            return desk.settle(key, Guess("", "unsure", ""))
        raise AdoptError(_explain_unread(key, column))
    sensible = _without_long_spans(_without_odd_ones(forms), column)
    if len(sensible) == 1:
        why = _reads_all(column)
        if _is_order_plain(sensible[0], columns):
            return desk.settle(key, Guess(sensible[0], "certain", why))
        return desk.settle(
            key, Guess(sensible[0], "likely", f"{why}; {_two_readings(key, column, sensible[0])}")
        )
    cell = next((one for one in column.cells if len(_meanings(one, sensible)) > 1), column.cells[0])
    text = (
        f'no day above 12 tells day from month in "{" ".join(column.header.split())}": which day is {cell}?'
    )
    if not all("%y" in form or "%Y" in form for form in sensible) or any(
        f.startswith("%y") for f in sensible
    ):
        text = f'"{cell}" in "{" ".join(column.header.split())}" can be read in more than one way: which day is it?'
    choices = tuple(Choice(form, f"{cell} is {_say(cell, form)}") for form in sensible)
    proposed = next((form for form in sensible if form.startswith(hint)), None)
    return desk.ask(Question(key, text, choices, proposed))


def _explain_unread(key: str, column: ColumnFacts) -> str:
    """Why no format reads a column: two orders in it, a spreadsheet's day numbers, or something else."""
    cell, header = " ".join(column.cells[0].split())[:40], " ".join(column.header.split())
    if key == "date_format" and sum(is_day_number(one) for one in column.cells) > len(column.cells) / 2:
        return (
            f'"{cell}" in the column "{header}" looks like a spreadsheet\'s day number; format the column as dates '
            "and export it again."
        )
    orders = first_of_two_orders(column.cells) if key == "date_format" else None
    if orders is not None:
        return (
            f'"{orders[0]}" and "{orders[1]}" in the column "{header}" put day and month in different orders; '
            f"correct the file, or name the order with --answer {key}=FORMAT, and the others are held."
        )
    common = commonest_day(column.cells) if key == "date_format" else None
    if common is not None:
        form, good, bad = common
        return (
            f'most days in the column "{header}" are written like "{good}", but not "{bad}"; correct the file, or '
            f"say --answer {key}={form}, and what is written otherwise is held."
        )
    return (
        f'no date format reads "{cell}" in the column "{header}"; export its dates in figures, '
        f"or name the format with --answer {key}=FORMAT."
    )


def _without_odd_ones(forms: Sequence[str]) -> list[str]:
    """With points between, nobody writes the month first; of formats that mean the same, the first is enough."""
    kept = [form for form in forms if not form.startswith("%m.%d.")] or list(forms)
    return list(dict.fromkeys(kept))


def _without_long_spans(forms: Sequence[str], column: ColumnFacts) -> list[str]:
    """A format that scatters the days over many years is wrong where another keeps them together."""
    spans = {form: span_days(column.cells, form) for form in forms}
    short = [form for form in forms if spans[form] <= _LONG_SPAN_DAYS]
    return short or list(forms)


def _is_order_plain(form: str, columns: Sequence[ColumnFacts]) -> bool:
    """Whether the cells themselves rule out another order of day and month."""
    if not form.startswith("%d."):
        return True
    turned = form.replace("%d.%m.", "%m.%d.")
    return any(turned not in day_formats(column.cells, with_times=True) for column in columns if column.cells)


def _two_readings(key: str, column: ColumnFacts, form: str) -> str:
    """Both days that a cell with points may mean, and which is taken."""
    turned = form.replace("%d.%m.", "%m.%d.")
    cell = next((one for one in column.cells if len(_meanings(one, [form, turned])) > 1), column.cells[0])
    return (
        f"with points the day stands first, so {cell} is {_say(cell, form)}; "
        f"where it is {_say(cell, turned)}, answer {key}={turned}"
    )


def _meanings(cell: str, forms: Sequence[str]) -> set[datetime]:
    found = set()
    for form in forms:
        try:
            found.add(datetime.strptime(cell, form))
        except ValueError:
            continue
    return found


def _say(cell: str, form: str) -> str:
    try:
        return datetime.strptime(cell, form).strftime(_LONG_DAY)
    except ValueError:
        return "not a day"


def _reads_all(column: ColumnFacts) -> str:
    return (
        f'it reads cells like "{" ".join(column.cells[0].split())[:30]}"'
        if column.cells
        else "the column is empty"
    )
