"""Increments that came again under their own name: which of their lines gave way, worked out file beside file."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

DAY_FIELDS = frozenset({"date", "datetime", "time", "year", "week", "from", "until"})
PLACE_FIELDS = frozenset({"lot", "house", "bench", "crop"})
LISTS = ("lots", "people", "plantings")


@dataclass(frozen=True)
class Line:
    """One data line. `says`: equal where two lines say the same and are the k-th that do; `cells` by field, None
    where the line could not be divided; `faulty`: the fields of its own problems.
    """

    says: Hashable
    key: Hashable | None
    sampling: Hashable | None
    day: date | None
    lot: str | None
    cells: dict[str, str] | None
    text: str
    faulty: frozenset[str]

    def others(self, but: frozenset[str]) -> frozenset[tuple[str, str]] | None:
        """Its cells without these fields."""
        return (
            None
            if self.cells is None
            else frozenset((name, cell) for name, cell in self.cells.items() if name not in but)
        )

    @property
    def signs(self) -> str:
        """Its letters and figures alone."""
        return "".join(letter for letter in self.text.lower() if letter.isalnum())


@dataclass(frozen=True)
class Copy:
    """One file of an increment export that could be read."""

    number: int
    name: str
    lines: tuple[Line, ...]

    def says(self) -> set[Hashable]:
        return {line.says for line in self.lines}

    def keys(self) -> set[Hashable]:
        return {line.key for line in self.lines if line.key is not None}


def is_newer_version(later: Copy, earlier: Copy) -> bool:
    """At least half of the earlier one's lines, by what they say or by their key; or all its samplings again."""
    says, keys = later.says(), later.keys()
    again = sum(line.says in says or line.key in keys for line in earlier.lines)
    return (again > 0 and len(earlier.lines) <= 2 * again) or has_its_samplings(later, earlier)


def has_its_samplings(later: Copy, earlier: Copy) -> bool:
    """Three readings or more, none with a key, and each of their samplings with as many lines without a key."""
    if len(earlier.lines) < 3 or any(line.key is not None or line.sampling is None for line in earlier.lines):
        return False
    return all(
        [line.key for line in later.lines if line.sampling == sampling]
        == [None for line in earlier.lines if line.sampling == sampling]
        for sampling in {line.sampling for line in earlier.lines}
    )


def gave_way(
    kind: str, copies: Sequence[Copy], accepted: set[Hashable], causes: dict[Hashable, str]
) -> dict[Hashable, str]:
    """Superseded or withdrawn for each line that gave way, by what it says.

    `accepted`: lines that an earlier night accepted; `causes`: what held each line last, on an earlier night.
    """
    last = {line.says: (copy, line) for copy in copies for line in copy.lines}
    first = {says: copy.number for copy in reversed(copies) for says in copy.says()}
    order = {line.says: at for at, line in enumerate(unique_lines(copies))}
    newest = {copy.name: copy for copy in copies}
    in_newest = {says for copy in newest.values() for says in copy.says()}
    fates: dict[Hashable, str] = {}
    missing: dict[tuple[int, int], list[Line]] = {}
    waiting: dict[int, list[Line]] = {}
    by_number = {copy.number: copy for copy in copies}
    for says, (copy, line) in last.items():
        after = [one for one in copies if one.name == copy.name and one.number > copy.number]
        newer = next((one for one in after if is_newer_version(one, copy)), None)
        if newer is not None and kind not in LISTS:
            missing.setdefault((copy.number, newer.number), []).append(line)
        elif says not in in_newest and says in causes and says not in accepted:
            waiting.setdefault(copy.number, []).append(line)
    for (at, later_at), gone in missing.items():
        gone.sort(key=lambda line: order[line.says])
        fates |= left_for_version(by_number[at], gone, by_number[later_at], first)
    for at, gone in waiting.items():
        gone.sort(key=lambda line: order[line.says])
        copy = by_number[at]
        for later in copies:
            if later.name == copy.name and later.number > at:
                new = [line for line in later.lines if first[line.says] > at]
                fates |= dict.fromkeys(mended(copy, gone, new, causes), "superseded")
    return fates


def unique_lines(copies: Sequence[Copy]) -> Iterable[Line]:
    """Each line where it stood first."""
    return {
        line.says: line for copy in reversed(copies) for line in reversed(copy.lines)
    }.values().__reversed__()


def kth(
    old: Sequence[tuple[Hashable, Line]], new: Sequence[tuple[Hashable, Line]]
) -> list[tuple[Line, Line]]:
    """The k-th old line of a group beside the k-th new one."""
    pairs = []
    for group in {group for group, _ in old}:
        olds = [line for one, line in old if one == group]
        news = [line for one, line in new if one == group]
        pairs += list(zip(olds, news, strict=False))
    return pairs


def without_own_faults(old: Sequence[Line], new: Sequence[Line]) -> list[tuple[Line, Line]]:
    """Lines with a fault of their own beside new ones that are the same in every other cell."""
    pairs = []
    for but in {widened(line.faulty) for line in old if line.faulty}:
        own = [line for line in old if line.faulty and widened(line.faulty) == but and line.cells is not None]
        pairs += kth(
            [(line.others(but), line) for line in own],
            [(line.others(but), line) for line in new if line.cells is not None],
        )
    return pairs


def widened(fields: frozenset[str]) -> frozenset[str]:
    """A date may be in two columns, and a place as well."""
    days = {"date", "datetime", "time", "year", "week"}
    more: set[str] = set(fields)
    if fields & days:
        more |= days
    if fields & {"from", "until"}:
        more |= {"from", "until"}
    return frozenset(more)


def divided_at_last(old: Sequence[Line], new: Sequence[Line]) -> list[tuple[Line, Line]]:
    """Lines that could not be divided beside new ones that have their letters and figures, or go on from them."""
    pairs = []
    for signs in {line.signs for line in old if line.cells is None}:
        fitting = [
            line
            for line in new
            if line.cells is not None and line.signs.startswith(signs) and len(line.signs) <= 2 * len(signs)
        ]
        pairs += kth(
            [(signs, line) for line in old if line.cells is None and line.signs == signs],
            [(signs, line) for line in fitting],
        )
    return pairs


def but_for(fields: frozenset[str], old: Sequence[Line], new: Sequence[Line]) -> list[tuple[Line, Line]]:
    return kth(
        [(line.others(fields), line) for line in old if line.cells is not None],
        [(line.others(fields), line) for line in new if line.cells is not None],
    )


def left_for_version(
    copy: Copy, gone: Sequence[Line], later: Copy, first: dict[Hashable, int]
) -> dict[Hashable, str]:
    """Lines that a newer version of their file has no more."""
    new = [line for line in later.lines if first[line.says] > copy.number]
    mends = without_own_faults(gone, new)
    mends += [
        pair for pair in divided_at_last(gone, new) if pair[0].says not in {old.says for old, _ in mends}
    ]
    taken = {old.says for old, _ in mends}
    takers = {one.says for _, one in mends}
    stood, keys, later_keys = copy.says(), copy.keys(), later.keys()
    went = [line for line in gone if line.says not in taken and line.key not in later_keys]
    came = [
        line
        for line in later.lines
        if line.says not in stood and line.says not in takers and (line.key is None or line.key not in keys)
    ]
    for sampling in {line.sampling for line in went if line.sampling is not None}:
        old = [line for line in went if line.sampling == sampling]
        if len(old) == sum(line.sampling == sampling for line in came) == 1:
            taken.add(old[0].says)
    last_day = max((line.day for line in copy.lines if line.day is not None), default=date.min)
    not_after = [line for line in new if line.day is not None and line.day <= last_day]
    taken |= {old.says for old, _ in but_for(DAY_FIELDS, gone, not_after)}
    taken |= {old.says for old, _ in but_for(PLACE_FIELDS, gone, new)}
    days = [line.day for line in later.lines if line.day is not None]
    return {
        line.says: "superseded" if line.says in taken else "withdrawn"
        for line in gone
        if line.says in taken or line.day is None or not days or line.day >= min(days)
    }


def mended(
    copy: Copy, gone: Sequence[Line], new: Sequence[Line], causes: dict[Hashable, str]
) -> set[Hashable]:
    """Lines that were never accepted and that one more increment has as they should be."""
    found = {old.says for old, _ in without_own_faults(gone, new) + divided_at_last(gone, new)}
    ahead = [line for line in gone if causes[line.says] == "in_future"]
    found |= {old.says for old, _ in but_for(DAY_FIELDS, ahead, new)}
    outside = [line for line in gone if causes[line.says] in ("before_start", "after_end")]
    for line in outside:
        slips = [one for one in new if line.day and one.day and is_slip(line.day, one.day)]
        found |= {old.says for old, _ in but_for(DAY_FIELDS, [line], slips)}
    placeless = [line for line in gone if causes[line.says] == "place_unclear"]
    found |= {old.says for old, _ in but_for(PLACE_FIELDS, placeless, new)}
    unknown = [line for line in gone if causes[line.says] in ("lot_unknown", "lot_held")]
    found |= {
        old.says for old, _ in but_for(PLACE_FIELDS, unknown, [line for line in new if line.lot is None])
    }
    for fields, open_lines in (
        (DAY_FIELDS, ahead + outside),
        (PLACE_FIELDS, placeless + unknown + outside),
    ):
        for sampling in {line.sampling for line in open_lines if line.sampling is not None}:
            whole = [line for line in copy.lines if line.sampling == sampling]
            own = [line for line in open_lines if line.sampling == sampling]
            if comes_again_whole(fields, own, whole, new):
                found |= {line.says for line in own}
    return found


def is_slip(old: date, new: date) -> bool:
    """Another year or another month, or day and month exchanged."""
    return (
        (old.day == new.day and (old.month == new.month or old.year == new.year))
        or (old.year == new.year and (old.month, old.day) == (new.day, new.month))
    )  # fmt: skip


def comes_again_whole(
    fields: frozenset[str], own: Sequence[Line], whole: Sequence[Line], new: Sequence[Line]
) -> bool:
    """Three lines or more, not all alike, all of which some one other sampling has."""
    if len(whole) < 3 or len(own) != len(whole) or len({line.others(fields) for line in own}) < 2:
        return False
    return any(
        len(but_for(fields, own, [line for line in new if line.sampling == other])) == len(whole)
        for other in {line.sampling for line in new}
    )
