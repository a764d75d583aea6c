"""What the demo sites tell: every story that the reports must find, and the level of every lot, both nights.

A plain table. Whoever is not named in `LEVELS` is `ok` on both nights, or not yet known to the lot list.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

FIRST_NIGHT = date(2026, 4, 2)
SECOND_NIGHT = date(2026, 4, 6)

Level = Literal["act", "no_reading", "watch", "ok"]
About = Literal["lot", "meter", "file", "site", "line"]


@dataclass(frozen=True)
class Story:
    """One thing that happened: who or what it is about, in words, and what must be seen of it."""

    site: str
    about: About
    subject: str
    words: str
    level: Level | None = None
    """Level of the lot on the second night; None where it is not about a lot's level."""
    holds: tuple[str, ...] = ()
    records_held: int | None = None
    """Records of this story that are still held on the second night."""
    due: str | None = None
    """Sampling state on the second night, where it belongs to the story."""


STORIES = (
    # North Range
    Story(
        "north-range",
        "lot",
        "NR-101",
        "petunias creep up in pH from 5.7 to 6.52 against 5.4-6.2, third high in a row, clearly out",
        "act",
        due="due_this_week",
    ),
    Story(
        "north-range",
        "lot",
        "NR-106",
        "snapdragons rise from 5.66 to 6.07 within 5.4-6.2: forecast to leave the range before the sampling after next",
        "watch",
    ),
    Story("north-range", "lot", "NR-108", "last read on meter M2, in doubt", "watch"),
    Story("north-range", "lot", "NR-109", "last read on meter M2, in doubt", "watch"),
    Story("north-range", "lot", "NR-110", "last read on meter M2, in doubt", "watch"),
    Story(
        "north-range", "meter", "M2", "slope sinks from 96 to 84 % on 2 April: failed, 15 readings in doubt"
    ),
    Story(
        "north-range",
        "lot",
        "NR-111",
        "vinca last read on 17 March, 6 days overdue",
        "no_reading",
        due="overdue",
    ),
    Story(
        "north-range",
        "lot",
        "NR-112",
        "dianthus potted on 23 March, never read",
        "no_reading",
        due="never_sampled",
    ),
    Story("north-range", "lot", "NR-118", "uneven: EC spread 0.69 mS/cm, inside the range", "watch"),
    Story(
        "north-range",
        "lot",
        "NR-119",
        "pH 6.13, its interval crosses the edge 6.2: close to limit; due before and after Thursday's feeding",
        "watch",
        due="due_this_week",
    ),
    Story("north-range", "lot", "NR-116", "dahlia potted last week: first sampling due on 7 April", "ok"),
    Story("north-range", "lot", "NR-113", "plugs, read every 2 or 3 days; no EC target", "ok"),
    Story("north-range", "lot", "NR-114", "nursery azalea, four pots are enough; no EC target", "ok"),
    Story(
        "north-range",
        "lot",
        "NR-115",
        "verbena baskets on controlled release at 1.1 mS/cm: no EC target for them",
        "ok",
    ),
    Story(
        "north-range",
        "lot",
        "NR-103",
        "one yellow plant put among routine pots in February: kept apart",
        "ok",
    ),
    Story("north-range", "lot", "NR-104", "lot code typed in lower case by one sampler", "ok"),
    Story("north-range", "line", "NR-191", "a lot code that no list explains", None, ("lot_unknown",), 5),
    Story("north-range", "line", "NR-105", "pH n/a in February", None, ("number_unreadable",), 1),
    Story(
        "north-range",
        "file",
        "drop/readings_2026-04-05.csv",
        "a new tablet writes 'EC mS/cm' for 'EC (mS/cm)': the whole file is held",
        None,
        ("columns_changed",),
        9,
    ),
    Story(
        "north-range",
        "file",
        "drop/readings_2026-03-28.csv",
        "its first line repeats the file before",
    ),
    Story(
        "north-range",
        "line",
        "NR-107",
        "pH of one pot keyed wrong in March, corrected in a later file: superseded",
    ),
    # Erlenwerth
    Story(
        "erlenwerth",
        "lot",
        "ER-201",
        "poinsettia stock plants: EC climbs from 3.4 to 5.2 against 2.5-4.5, third high in a row",
        "act",
        due="due_this_week",
    ),
    Story(
        "erlenwerth",
        "lot",
        "ER-211",
        "leachate 75-85 mL against 50 for weeks in Haus 4: EC not judged",
        "watch",
    ),
    Story(
        "erlenwerth",
        "lot",
        "ER-212",
        "leachate 75-85 mL against 50 for weeks in Haus 4: EC not judged",
        "watch",
    ),
    Story(
        "erlenwerth", "lot", "ER-210", "over-collected in Haus 4 too, but there is no EC target to miss", "ok"
    ),
    Story("erlenwerth", "meter", "G2", "nobody calibrated it on 26 March: ER-202, ER-206, ER-209 not proper"),
    Story(
        "erlenwerth", "lot", "ER-203", "EC 0.82 in the last weeks before sale, below 1.0: a note only", "ok"
    ),
    Story(
        "erlenwerth",
        "lot",
        "ER-219",
        "snapdragons last read on 21 March, excused until 12 April: sold",
        "ok",
        due="excused",
    ),
    Story(
        "erlenwerth",
        "lot",
        "ER-205",
        "zonal geraniums: two yellow plants sampled apart on 4 April, affected and healthy due by the 7th",
        "watch",
        due="due_this_week",
    ),
    Story(
        "erlenwerth",
        "lot",
        "ER-214",
        "dianthus due on 4 April, excused until the 12th, but only entered on the 5th",
        "ok",
        due="excused",
    ),
    Story("erlenwerth", "lot", "ER-218", "vinca potted last week: first sampling due on 6 April", "ok"),
    Story(
        "erlenwerth", "lot", "ER-216", "unknown on the first night, its 5 lines released by the second", "ok"
    ),
    Story(
        "erlenwerth", "lot", "ER-217", "unknown on the first night, its 5 lines released by the second", "ok"
    ),
    Story("erlenwerth", "lot", "ER-215", "judged on the site's own EC target", "ok"),
    Story(
        "erlenwerth",
        "line",
        "ER-207",
        "6,87 typed for 5,87: corrected by the second night, one line superseded",
    ),
    Story("erlenwerth", "line", "ER-208", "pH '5,8x' in February", None, ("number_unreadable",), 1),
    # Loma Alta
    Story("loma-alta", "site", "loma-alta", "nothing received since the first night: four nights silent"),
    Story(
        "loma-alta",
        "lot",
        "LA-01",
        "zonal geraniums: pH 5.36 against 6.0-6.6, fifth low in a row; affected 5.18, healthy 5.43",
        "act",
        due="due_this_week",
    ),
    Story(
        "loma-alta",
        "lot",
        "LA-06",
        "New Guinea impatiens at 5.92: out, but inside another published range",
        "watch",
    ),
    Story("loma-alta", "lot", "LA-10", "three pots on 1 April: the last sampling does not count", "watch"),
    Story(
        "loma-alta",
        "lot",
        "LA-17",
        "portulaca last read on 12 March, 11 days overdue",
        "no_reading",
        due="overdue",
    ),
    Story("loma-alta", "lot", "LA-09", "lavender: no published target, general pH range, no EC target", "ok"),
    Story(
        "loma-alta",
        "lot",
        "LA-11",
        "one sampling in February without temperature: its EC is not usable",
        "ok",
    ),
    Story("loma-alta", "lot", "LA-16", "sown last week on the bench of the shipped lilies", "ok"),
    Story("loma-alta", "line", "B", "a line with house B and no bench", None, ("place_unclear",), 1),
    Story("loma-alta", "line", "LA-07", "pH 'OL' in March", None, ("number_unreadable",), 1),
    Story("loma-alta", "site", "loma-alta", "four of five pots from the front row since 10 March"),
    # Pellbarrow
    Story(
        "pellbarrow",
        "lot",
        "PB-01",
        "dahlias go hungry: EC 1.7, 1.4, 1.3 against 2.0-3.5, third low in a row, clearly out (SD assumed)",
        "act",
        due="due_this_week",
    ),
    Story(
        "pellbarrow",
        "lot",
        "PB-13",
        "campanula at pH 6.1, interval over the edge 6.2: close to limit",
        "watch",
    ),
    Story(
        "pellbarrow",
        "lot",
        "PB-16",
        "coleus last read in week 11, 12 days overdue",
        "no_reading",
        due="overdue",
    ),
    Story("pellbarrow", "lot", "PB-02", "fuchsia on controlled release; no EC target", "ok"),
    Story("pellbarrow", "lot", "PB-15", "marigolds transplanted last week", "ok"),
    Story(
        "pellbarrow",
        "file",
        "drop/sheet_2026-02-18.csv",
        "EC in µS/cm under an mS/cm heading: all 8 lines held, 'looks like µS/cm'",
        None,
        ("ec_out_of_scale",),
        8,
    ),
    Story("pellbarrow", "line", "PB-12", "mean EC 'n/a' in March", None, ("number_unreadable",), 1),
    Story(
        "pellbarrow",
        "line",
        "house 3, fuchsia",
        "no such crop stands in house 3",
        None,
        ("place_unclear",),
        1,
    ),
)

LEVELS: dict[str, tuple[Level, Level]] = {
    # lot: (first night, second night)
    "NR-101": ("act", "act"),
    "NR-106": ("ok", "watch"),
    "NR-108": ("ok", "watch"),
    "NR-109": ("ok", "watch"),
    "NR-110": ("ok", "watch"),
    "NR-111": ("ok", "no_reading"),
    "NR-112": ("no_reading", "no_reading"),
    "NR-118": ("watch", "watch"),
    "NR-119": ("watch", "watch"),
    "ER-201": ("act", "act"),
    "ER-205": ("ok", "watch"),
    "ER-207": ("watch", "ok"),
    "ER-211": ("watch", "watch"),
    "ER-212": ("watch", "watch"),
    "LA-01": ("act", "act"),
    "LA-06": ("watch", "watch"),
    "LA-10": ("watch", "watch"),
    "LA-17": ("no_reading", "no_reading"),
    "PB-01": ("act", "act"),
    "PB-13": ("ok", "watch"),
    "PB-16": ("no_reading", "no_reading"),
}

LOTS_STANDING = {
    # site: (first night, second night)
    "north-range": (18, 18),
    "erlenwerth": (16, 18),
    "loma-alta": (16, 16),
    "pellbarrow": (15, 15),
}

LOTS_ENDED = {"north-range": 1, "erlenwerth": 1, "loma-alta": 1, "pellbarrow": 1}
