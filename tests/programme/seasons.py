"""Random small seasons of one site, as lines for the warehouse and as accounts for the second computation.

Days are counted from DAY_0, a Monday. Samplings and treatments are known on their day, excuses on the day of their
entry. A sampling is one line that stands for several pots; EC is not measured, so that pH alone can be out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, get_args

from hypothesis import strategies as st

from pipeline.settings import SiteSettings
from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from pipeline.settings.words import WeekDay
from tests.oracle.dues import Account, Excuse, Symptoms, Taken
from tests.sql.bench import Bench, site

DAY_0: Final = date(2026, 3, 2)
DAYS: Final = 30
WEEKDAYS: Final = get_args(WeekDay)
# Container class: days between routine samplings, pots.
CONTAINERS: Final = {"plug": (3, 5), "pot_4in": (14, 5), "nursery": (14, 3)}
PROBLEM_CROP, PAIRED_CROP, PROBLEM_DAYS = "petunia", "poinsettia", 7
WAITS: Final = {"leaching": 2, "acid_feed": 7, "lime_drench": 10}
SYMPTOMS: Final = Symptoms(within=3, spoken_of=7, pots=5)
POLICY: Final = PolicyPeriod(
    valid_from=date(2026, 1, 1),
    problem_crops=(PROBLEM_CROP,),
    feed_pair_crops=(PAIRED_CROP,),
    affected_within_days=SYMPTOMS.spoken_of,
)
IN_RANGE, OUT = "6.0", "5.0"
"""pH: far inside and far outside the published ranges of both crops."""


def day(number: int) -> date:
    return DAY_0 + timedelta(days=number)


@dataclass(frozen=True)
class Season:
    """A site and its lots by their keys; `samplings`: lot, day, purpose to pots and pH."""

    closed_weekdays: frozenset[int]
    holidays: frozenset[date]
    fed_weekdays: frozenset[int]
    lots: dict[str, Lot]

    def is_closed(self, on: date) -> bool:
        return on.weekday() in self.closed_weekdays or on in self.holidays

    def site(self) -> SiteSettings:
        return site().model_copy(
            update={
                "no_sampling": tuple(WEEKDAYS[number] for number in sorted(self.closed_weekdays)),
                "holidays": tuple(sorted(self.holidays)),
                "feedings": (
                    Feeding(weekdays=tuple(WEEKDAYS[number] for number in sorted(self.fed_weekdays))),
                ),
            }
        )


@dataclass(frozen=True)
class Lot:
    """One lot with all that will be done to it."""

    container: str
    crop: str
    is_periodic: bool
    start: date
    end: date | None
    samplings: dict[tuple[date, str], tuple[int, str]]
    treatments: tuple[tuple[date, str], ...]
    excuses: tuple[Excuse, ...]

    def stands_on(self, on: date) -> bool:
        return self.start <= on and (self.end is None or on <= self.end)

    def account(self, season: Season) -> Account:
        interval, pots = CONTAINERS[self.container]
        is_problem = self.crop == PROBLEM_CROP
        return Account(
            start=self.start,
            end=self.end,
            is_problem_crop=is_problem,
            first_within=7,
            interval=min(interval, PROBLEM_DAYS) if is_problem else interval,
            after_out_within=7,
            pots=pots,
            taken=tuple(
                Taken(on, purpose, count, pots, ph == OUT and purpose != "before_feed")
                for (on, purpose), (count, ph) in sorted(self.samplings.items())
                if self.stands_on(on)
            ),
            retests=self.retests(),
            excuses=self.excuses,
            is_closed=season.is_closed,
            is_fed=(lambda on: on.weekday() in season.fed_weekdays) if self.is_periodic else None,
            symptoms_on=lambda _: SYMPTOMS,
        )

    def retests(self) -> tuple[tuple[date, date], ...]:
        """Days of treatments with the day on which the longest wait of that day is over."""
        waits: dict[date, int] = {}
        for on, what in self.treatments:
            if self.stands_on(on):
                waits[on] = max(waits.get(on, 0), WAITS[what])
        return tuple((on, on + timedelta(days=wait)) for on, wait in sorted(waits.items()))


numbers = st.integers(0, DAYS - 1)
PURPOSES: Final = (
    "routine",
    "routine",
    "routine",
    "retest",
    "affected",
    "healthy",
    "before_feed",
    "after_feed",
)


@st.composite
def excuses(draw: st.DrawFn) -> Excuse:
    first = draw(numbers)
    return Excuse(
        first=day(first),
        last=day(first + draw(st.integers(0, 16))),
        purpose=draw(st.sampled_from([None, None, "routine", "retest", "affected", "before_feed"])),
        reason=draw(st.sampled_from(["sold out", "closed", "frost"])),
        person=draw(st.sampled_from(["Ann", "Bo"])),
        entered_on=day(first + draw(st.integers(-4, 8))),
    )


@st.composite
def lots(draw: st.DrawFn) -> Lot:
    start = draw(st.integers(0, 10))
    length = draw(st.none() | st.integers(5, DAYS))
    samplings = draw(
        st.dictionaries(
            st.tuples(numbers.map(day), st.sampled_from(PURPOSES)),
            st.tuples(st.sampled_from([5, 5, 5, 6, 3]), st.sampled_from([IN_RANGE, OUT])),
            min_size=3,
            max_size=10,
        )
    )
    return Lot(
        container=draw(st.sampled_from(sorted(CONTAINERS))),
        crop=draw(st.sampled_from([PROBLEM_CROP, PAIRED_CROP])),
        is_periodic=draw(st.booleans()),
        start=day(start),
        end=None if length is None else day(start + length),
        samplings=samplings,
        treatments=tuple(
            draw(st.lists(st.tuples(numbers.map(day), st.sampled_from(sorted(WAITS))), max_size=2))
        ),
        excuses=tuple(draw(st.lists(excuses(), max_size=2))),
    )


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    spans = draw(st.lists(st.tuples(numbers, st.integers(1, 5)), max_size=2))
    grown = draw(st.lists(lots(), min_size=3, max_size=6))
    return Season(
        closed_weekdays=draw(st.frozensets(st.integers(0, 6), max_size=2)),
        holidays=frozenset(day(first + more) for first, length in spans for more in range(length)),
        fed_weekdays=draw(st.frozensets(st.integers(0, 6), min_size=1, max_size=2)),
        lots={f"l{number}": lot for number, lot in enumerate(grown)},
    )


def load_season(bench: Bench, season: Season) -> None:
    """The whole season as files of one night."""
    bench.use(season.site(), policy=[POLICY])
    bench.lots(
        "lot_code | crop | container_class | started_on | ends_on | feed_mode\n"
        + "\n".join(
            f"{key} | {lot.crop} | {lot.container} | {lot.start} | {lot.end or '-'} | "
            f"{'periodic' if lot.is_periodic else 'constant'}"
            for key, lot in season.lots.items()
        )
    )
    tables = {
        "readings": (
            "lot_code | sampled_on | purpose | n_pots | ph | ec_ms_cm",
            [
                f"{key} | {on} | {purpose} | {count} | {ph} | -"
                for key, lot in season.lots.items()
                for (on, purpose), (count, ph) in lot.samplings.items()
            ],
        ),
        "treatments": (
            "lot_code | treated_on | treatment",
            [f"{key} | {on} | {what}" for key, lot in season.lots.items() for on, what in lot.treatments],
        ),
        "exemptions": (
            "lot_code | from_on | until_on | purpose | reason | person | entered_on",
            [
                f"{key} | {one.first} | {one.last} | {one.purpose or '-'} | {one.reason} | {one.person} | "
                f"{one.entered_on}"
                for key, lot in season.lots.items()
                for one in lot.excuses
            ],
        ),
    }
    for kind, (header, rows) in tables.items():
        if rows:
            bench.load_file(kind, "\n".join((header, *rows)))
