"""The sampling sheet on paper: boxes to write in, nothing cut, nothing that needs colour, in both languages."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from functools import cache
from io import BytesIO
from typing import Any

import pdfplumber
import pikepdf
import pytest
from pdfua import Severity, validate

from pipeline.assets import templates_folder
from pipeline.programme.sheet import Sheet
from pipeline.reports.formats import Voice, load_phrases, read_phrases
from pipeline.reports.render_sheet import make_sheet_files, render_sheet_page
from pipeline.reports.view_sheet import (
    MOST_POTS_ROOMY,
    MOST_POTS_WHOLE,
    SheetFacts,
    make_sheet_view,
    sheet_voice,
)
from tests.programme.sheets import AS_OF, make_benches, make_left_out, make_row, make_site, sheet_of

MM = 72 / 25.4
SIDE = 12 * MM
KNOWN_WARNING = "UA-15-003"  # the renderer gives cells /Headers, and header cells no /Scope
LONG = "Donaudampfschifffahrtsgesellschaftsgewächshausverwaltung"
ODD = "<b>'Coral'</b> & \"x\" 🌱 \u202eabc\x07"
FACTS = SheetFacts(
    site_id="hill",
    site_name="Hill",
    group_name="Group",
    language="en",
    paper="letter",
    date_format="%m/%d/%Y",
    as_of=AS_OF,
    version="0.1.0",
)
US: dict[str, Any] = {"volume_unit": "fl oz", "temperature_unit": "°F"}


def lots(count: int, **changes: Any) -> list[dict[str, Any]]:
    houses = ("House 1", "House 2", "House 10")
    return [
        make_row(f"P-{number:03}", house=houses[number * 3 // count], bench=str(1 + number % 2), **changes)
        for number in range(count)
    ]


def all_kinds() -> list[dict[str, Any]]:
    """A due of each rule, with everything that a block can say."""
    late = {"due_on": AS_OF - timedelta(days=3)}
    wait = {"not_before": AS_OF + timedelta(days=1), "due_on": AS_OF + timedelta(days=1)}
    return [
        make_row("A", why="first", caused_on=AS_OF - timedelta(days=5), interval_days=7),
        make_row("B", why="after_out", purposes="retest", interval_days=7, nth=1, **late),
        make_row("B", why="problem_crop", interval_days=7, nth=2),
        make_row("C", why="after_treatment", purposes="retest", interval_days=7, **wait),
        make_row("D", why="symptoms", purposes="affected,healthy", pots=10, interval_days=3),
        make_row("E", why="feed_pair", purposes="before_feed,after_feed", pots=10),
        make_row(
            "F", house=None, bench=None, cultivar=None, plants=None, caused_on=None, container_class="nursery"
        ),
        make_row(
            "G", house="7", bench="9, 11", container_class="plug", pots=1, plants=1, leachate_high_ml=60
        ),
    ]


def tall_lots() -> list[dict[str, Any]]:
    """As many pots as a lot may have on one page, for each kind of block."""
    return [
        make_row("A", pots=MOST_POTS_WHOLE),
        make_row("B", why="symptoms", purposes="affected,healthy", pots=MOST_POTS_WHOLE, interval_days=3),
        make_row("C", why="feed_pair", purposes="before_feed,after_feed", pots=MOST_POTS_WHOLE),
        make_row("D", pots=MOST_POTS_ROOMY + 1),
        make_row("E", pots=1, plants=0),
    ]


def case(name: str) -> tuple[Sheet, SheetFacts]:
    spanish = replace(FACTS, language="es", paper="a4", date_format="%d/%m/%Y")
    a4 = replace(FACTS, paper="a4", date_format="%d.%m.%Y")
    mapped = make_benches("House 1", "House 2", "House 10")
    cases = {
        "one": ((lots(1), ("M1",), make_site(mapped)), a4),
        "one_letter": ((lots(1), ("M1",), make_site(mapped, **US)), FACTS),
        "none": (([], ("M1", "M2"), make_site(mapped)), FACTS),
        "no_meters": ((lots(2), (), make_site(mapped)), a4),
        "sixty": ((lots(60), ("M1", "M2", "M3"), make_site(mapped, **US)), FACTS),
        "kinds": ((all_kinds(), ("M1", "M2"), make_site(mapped)), a4),
        "kinds_es": ((all_kinds(), ("M1", "M2"), make_site(mapped)), spanish),
        "no_map": ((lots(3), ("M1",), make_site()), FACTS),
        "tall": ((tall_lots(), ("M1",), make_site(mapped, **US)), FACTS),
        "many_pots": ((lots(2, pots=45), ("M1",), make_site(mapped)), FACTS),
        "long": (
            (
                [
                    make_row("L" * 60, crop=f"{LONG} {LONG}", cultivar=LONG, house=f"{LONG} {LONG}", bench=LONG),
                    make_row("Q", crop=ODD, cultivar=ODD, house=ODD, bench=ODD),
                ],
                ("M" * 50, ODD, "M3", "M4", "M5"),
                make_site([*make_benches(f"{LONG} {LONG}", benches=(LONG,))], **US),
            ),
            replace(FACTS, site_name=f"{LONG} {ODD} {LONG}"),
        ),
    }  # fmt: skip
    (rows, meters, site), facts = cases[name]
    return sheet_of(*rows, site=site, meters=meters, left_out=off_the_sheet(name)), facts


def off_the_sheet(name: str) -> list[dict[str, Any]]:
    ships = {"because": "ships_first", "because_until": AS_OF, "reason": None, "person": None}
    return {
        "none": [make_left_out("N-9")],
        "kinds": [make_left_out("N-10", **ships), make_left_out("N-9")],
        "kinds_es": [make_left_out("N-10", **ships), make_left_out("N-9")],
        "long": [make_left_out("L" * 60, crop=LONG, reason=f"{LONG} {ODD} {LONG}", person=LONG)] * 33,
    }.get(name, [])


CASES = (
    "one",
    "one_letter",
    "none",
    "no_meters",
    "sixty",
    "kinds",
    "kinds_es",
    "no_map",
    "tall",
    "many_pots",
    "long",
)


@cache
def pdf_of(name: str) -> bytes:
    sheet, facts = case(name)
    return make_sheet_files(sheet, facts)[f"{facts.site_id}-sheet.pdf"]


@cache
def pages_of(name: str) -> list[Any]:
    return list(pdfplumber.open(BytesIO(pdf_of(name))).pages)


@cache
def texts_of(name: str) -> list[str]:
    return [page.extract_text() for page in pages_of(name)]


def flat(name: str) -> str:
    return " ".join(" ".join(texts_of(name)).split())


@cache
def box_rows(name: str) -> list[tuple[Any, Any]]:
    """The lines of boxes for pots and for what meters read, each with its page."""
    labels = ("should read", "as found", "as left", "debe marcar", "antes de ajustar", "tras ajustar")
    return [
        (page, row)
        for page in pages_of(name)
        for table in page.find_tables()
        for row, cells in zip(table.rows, table.extract(), strict=True)
        if re.fullmatch(r"\d+", cells[0] or "") or " ".join((cells[0] or "").split()) in labels
    ]


# Finding the boxes of thirty pages takes long, and they are those of one_letter.
@pytest.mark.parametrize("name", sorted({*CASES} - {"sixty"}))
def test_every_box_is_nine_millimetres_high_and_wide(name: str) -> None:
    boxes = [(page, cell) for page, row in box_rows(name) for cell in row.cells if cell is not None]
    for page, (x0, top, x1, bottom) in boxes:
        assert bottom - top >= 9 * MM, page.page_number
        assert x1 - x0 >= 9 * MM, page.page_number
    sheet, _ = case(name)
    assert len(boxes) == 15 * (len(sheet.meters) or 2) + 10 * sheet.pots


@pytest.mark.parametrize("name", CASES)
def test_named_boxes_leave_eight_millimetres_under_their_names(name: str) -> None:
    words = ("Slope", "Pendiente", "Sampler", "Muestreó")
    found = 0
    for page in pages_of(name):
        for word in page.extract_words():
            if word["text"] not in words:
                continue
            around = [
                rect
                for rect in page.rects
                if rect["x0"] <= word["x0"] and word["x1"] <= rect["x1"]
                and rect["top"] <= word["top"] and word["bottom"] <= rect["bottom"]
            ]  # fmt: skip
            smallest = min(around, key=lambda rect: rect["bottom"] - rect["top"])
            assert smallest["bottom"] - word["bottom"] >= 8 * MM
            found += 1
    assert found == (len(case(name)[0].meters) or 2) + len(case(name)[0].lots)


@pytest.mark.parametrize("name", CASES)
def test_nothing_lies_outside_the_margins(name: str) -> None:
    for page in pages_of(name):
        for thing in (*page.chars, *page.lines, *page.rects, *page.curves):
            assert thing["x0"] >= SIDE - 1, (page.page_number, thing.get("text"))
            assert thing["x1"] <= page.width - SIDE + 1, (page.page_number, thing.get("text"))
            assert thing["top"] >= 15 * MM, (page.page_number, thing.get("text"))
            assert thing["bottom"] <= page.height - 5 * MM, (page.page_number, thing.get("text"))


@pytest.mark.parametrize("name", sorted({*CASES} - {"sixty"}))
def test_no_letter_is_smaller_than_nine_points_and_places_are_larger(name: str) -> None:
    assert min(char["size"] for page in pages_of(name) for char in page.chars) >= 9 - 0.01
    drawn = [
        char
        for page, row in box_rows(name)
        if len(row.cells) == 10
        for cell in (row.cells[0], row.cells[2], row.cells[3])
        for char in page.crop(cell).chars
        if char["text"].isdigit()
    ]
    assert all(char["size"] >= 13 - 0.01 for char in drawn)
    assert bool(drawn) == bool(case(name)[0].lots)


@pytest.mark.parametrize("name", CASES)
def test_nothing_is_drawn_in_colour_or_grey(name: str) -> None:
    colours = {"g", "G", "rg", "RG", "k", "K", "sc", "SC", "scn", "SCN"}
    seen = 0
    with pikepdf.open(BytesIO(pdf_of(name))) as pdf:
        for page in pdf.pages:
            assert "/XObject" not in page.get("/Resources", {}) or not page.Resources.XObject
            for step in pikepdf.parse_content_stream(page):
                assert isinstance(step, pikepdf.ContentStreamInstruction)
                if str(step.operator) in colours:
                    seen += 1
                    values = {float(str(value)) for value in step.operands}
                    assert values in ({0.0}, {1.0}), step
    assert seen


@pytest.mark.parametrize(
    "name", ["one", "one_letter", "no_meters", "sixty", "kinds", "no_map", "tall", "long"]
)
def test_the_block_of_one_lot_stands_on_one_page(name: str) -> None:
    sheet, _ = case(name)
    pages = texts_of(name)
    if name != "long":
        for lot in sheet.lots:
            head = re.compile(rf"^{lot.number}\s?{lot.lot_id} petunia", re.MULTILINE)
            assert sum(bool(head.search(text)) for text in pages) == 1, lot.lot_id
    # On each page as many lines of boxes as the lots that begin on it have pots.
    at = 0
    for text in pages:
        mine = sheet.lots[at : at + text.count("Sampler")]
        wanted = sum(len(group.pots) for lot in mine for group in lot.groups if group.purpose != "affected")
        assert text.count("□ healthy") == wanted
        at += len(mine)
    assert at == len(sheet.lots)


def test_many_pots_repeat_the_lot_and_the_headings_on_each_page() -> None:
    pages = texts_of("many_pots")
    with_boxes = [text for text in pages if "□ healthy" in text]
    assert len(with_boxes) >= 6
    assert all("Collected mL" in text and re.search(r"Lot P-00[01], 45 pots", text) for text in with_boxes)
    assert sum(text.count("□ healthy") for text in pages) == 90


@pytest.mark.parametrize("name", CASES)
def test_each_page_says_which_of_how_many_which_site_and_which_day(name: str) -> None:
    pages = texts_of(name)
    for number, text in enumerate(pages, start=1):
        lines = text.splitlines()
        if case(name)[1].language == "es":
            assert lines[-1].startswith("Hill, hoja de muestreo, al lun 06/04/2026")
            assert lines[-1].endswith(f"página {number} de {len(pages)}")
            assert "Enjuagar entre macetas" in lines[-2]
        else:
            site = "Hill" if name != "long" else LONG[:20]
            assert re.search(rf"^{site}.*sampling sheet, as of Mon 0[46].0[46].2026", lines[-1])
            assert lines[-1].endswith(f"page {number} of {len(pages)}")
            assert "Rinse between pots" in lines[-2]


def test_a_small_sheet_is_few_pages() -> None:
    assert (len(texts_of("none")), len(texts_of("one")), len(texts_of("one_letter"))) == (1, 2, 2)


@pytest.mark.parametrize("name", CASES)
def test_the_checker_finds_no_error(name: str, tmp_path: Any) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf_of(name))
    found = {finding.rule_id for finding in validate(str(path)).findings if finding.severity != Severity.INFO}
    assert found <= {KNOWN_WARNING}


@pytest.mark.parametrize(("name", "language"), [("kinds", "en"), ("kinds_es", "es"), ("long", "en")])
def test_the_file_carries_title_language_and_tags(name: str, language: str) -> None:
    with pikepdf.open(BytesIO(pdf_of(name))) as pdf:
        assert str(pdf.Root.Lang) == language
        assert bool(pdf.Root.MarkInfo.Marked)
        assert "/StructTreeRoot" in pdf.Root
        title = str(pdf.open_metadata()["{http://purl.org/dc/elements/1.1/}title"])
        assert ("hoja de muestreo" if language == "es" else "sampling sheet") in title
        assert "2026" in title


@pytest.mark.parametrize(("name", "size"), [("one", [595, 842]), ("one_letter", [612, 792])])
def test_paper_follows_the_site(name: str, size: list[int]) -> None:
    with pikepdf.open(BytesIO(pdf_of(name))) as pdf:
        assert [round(float(side)) for side in pdf.pages[0].mediabox[2:]] == size


def test_a_lot_says_why_what_and_how_much() -> None:
    text = flat("one_letter")
    for part in (
        "1 P-000 petunia ‘Night Sky’",
        "House 1, bench 1; 5–6 inch pots, 1,200 plants",
        "Why: routine, every 14 days, last read Wed 03/25/2026.",
        "due Wed 04/08/2026",
        "Pour 2.5 fl oz (75 mL)",
        "Collect 1.7 fl oz (50 mL)",
        "Drain 30–60 min",
        "Routine, 5 pots: places drawn at random",
        "Collected fl oz",
        "15 °C (59 °F)",
        "1 sampling, 5 pots, about 20 min.",
        "minutes; write start and end",
    ):
        assert part in text, part


def test_a_site_in_millilitres_sees_no_ounces_and_no_fahrenheit() -> None:
    text = flat("one")
    assert "Pour 75 mL" in text
    assert "fl oz" not in text
    assert "°F" not in text


def test_each_rule_is_told_in_words() -> None:
    text = flat("kinds")
    for part in (
        "Why: first sampling, within 7 days of the start on Wed 01.04.2026.",
        "overdue 3 days was due Fri 03.04.2026",
        "to be read again within 7 days. Answers also: routine for a crop to watch closely (Wed 08.04.2026).",
        "Not before Tue 07.04.2026: the treatment needs that long.",
        "Affected plants, 5 pots: pick plants that show it, mark them with a label",
        "Healthy plants for comparison, 5 pots: places drawn at random",
        "Why: pair before and after the feeding of Thu 09.04.2026.",
        "Before feeding, the day before, 5 pots",
        "place not given; nursery containers",
        "House 7, bench 9, 11; plugs",
        "Collect 50–60 mL",
        "Routine, 1 pot: pick from all over",
    ):
        assert part in text, part


def test_spanish_is_spanish_with_a_decimal_comma() -> None:
    text = flat("kinds_es")
    for part in (
        "Motivo: primer muestreo",
        "atrasado 3 días tocaba el vie 03/04/2026",
        "Verter 75 mL",
        "Recoger 50 mL",
        "Escurrir 30–60 min",
        "1.200 plantas",
        "bandeja de alvéolos",
        "Plantas afectadas, 5 macetas",
        "CE mS/cm",
        "lixiviado",
        "conductividad",
        "7,04",
        "mesa 1",
    ):
        assert part in text, part
    assert "7.04" not in text
    assert not re.search(r"\b(pots|bench|due|pour|drain|healthy)\b", text, re.IGNORECASE)


def test_fluid_ounces_in_spanish_have_a_comma() -> None:
    sheet = sheet_of(make_row(), site=make_site(**US))
    page = render_sheet_page(sheet, replace(FACTS, language="es"))
    assert "2,5 fl oz (75 mL)" in page.html


def test_nothing_due_is_said() -> None:
    text = flat("none")
    assert "Nothing is due at this site up to Sun 04/12/2026." in text
    assert "The walk" not in text


def test_without_meters_there_are_two_empty_boxes() -> None:
    assert len(re.findall(r"Meter _{5,}", flat("no_meters"))) == 2


def test_meters_are_named_above_their_boxes() -> None:
    first = texts_of("sixty")[0]
    assert "Meter M1 Meter M2" in first
    assert "Meter M3" in first


def test_the_walk_lists_every_lot_by_house() -> None:
    text = flat("sixty")
    walk = text[text.index("The walk") : text.index("How Mind")]
    assert re.findall(r"House \d+:", walk) == ["House 1:", "House 2:", "House 10:"]
    assert [int(number) for number in re.findall(r"□\s?(\d+?)\s?(?:P-|Irrigate)", walk)] == list(range(1, 61))


def test_drawn_places_stand_in_their_boxes() -> None:
    sheet, _ = case("one")
    wanted = [f"{pot.pot} {pot.bench} {pot.row} {pot.column}" for pot in sheet.lots[0].groups[0].pots]
    lines = texts_of("one")[1]
    assert all(re.search(rf"^{line}\b", lines, re.MULTILINE) for line in wanted)


def test_a_lot_that_is_asked_for_on_two_days_says_so_at_the_first() -> None:
    wait = {"not_before": AS_OF + timedelta(days=3), "due_on": AS_OF + timedelta(days=3)}
    rows = [
        make_row("A", nth=1),
        make_row("A", why="after_treatment", purposes="retest", interval_days=7, nth=2, **wait),
    ]
    view = make_sheet_view(sheet_of(*rows), FACTS, sheet_voice(FACTS))
    first, second = view.lots
    assert first.again == "Once more on Thu 04/09/2026: retest after a treatment."
    assert (second.again, second.not_before) == (
        "",
        "Not before Thu 04/09/2026: the treatment needs that long.",
    )
    tags = [
        stop.tag
        for house in make_sheet_view(sheet_of(*rows), FACTS, sheet_voice(FACTS)).walk
        for stop in house.stops
    ]
    assert tags == ["due Wed 04/08/2026", "not before Thu 04/09/2026"]


def test_text_of_an_export_is_escaped_and_strange_letters_are_codes() -> None:
    sheet, facts = case("long")
    html = render_sheet_page(sheet, facts).html
    assert "<b>'Coral'" not in html
    text = flat("long")
    assert "[U+1F331]" in text
    assert "[U+202E]" in text


def test_a_date_format_with_its_own_weekday_has_it_once() -> None:
    facts = replace(FACTS, date_format="%a %d %b")
    view = make_sheet_view(sheet_of(make_row()), facts, sheet_voice(facts))
    assert view.lots[0].tag == "due Wed 08 Apr"


def test_the_same_sheet_gives_the_same_bytes() -> None:
    sheet, facts = case("kinds")
    assert make_sheet_files(sheet, facts)["hill-sheet.pdf"] == pdf_of("kinds")


def test_every_phrase_is_printed_somewhere() -> None:
    sources = "".join(
        path.read_text("utf-8")
        for path in (
            templates_folder("partials", "sheet.html"),
            templates_folder("partials", "sheet_style.html"),
            templates_folder().parent / "pipeline" / "reports" / "view_sheet.py",
            templates_folder().parent / "pipeline" / "reports" / "formats.py",
        )
    )
    groups = (
        "why.",
        "left_out.",
        "container.",
        "purpose.",
        "steps.",
        "cautions.",
        "meters.should",
        "meters.found",
        "meters.left",
    )
    unused = [
        key for key in read_phrases("sheet") if f'"{key}"' not in sources and not key.startswith(groups)
    ]
    assert unused == []


def test_a_language_without_a_sheet_speaks_english() -> None:
    assert load_phrases("fr", "sheet").language == "en"
    assert Voice(load_phrases("es", "sheet"), "%d/%m/%Y").weekday_and_day(AS_OF) == "lun 06/04/2026"


def test_what_is_due_and_not_asked_for_is_told_with_its_reason() -> None:
    text = flat("kinds")
    ships = "N-10 petunia: routine, due Wed 08.04.2026; ships Mon 06.04.2026."
    excused = "N-9 petunia: routine, due Wed 08.04.2026; excused until Wed 15.04.2026 (house is being cleaned, Ada)."
    assert f"Due and not on this sheet {excused} {ships}" in text
    assert "excused until" in flat("none")
    assert "Toca y no está en esta hoja" in flat("kinds_es")
    assert "3 more are on the site’s page." in flat("long").replace("'", "’")


@pytest.mark.parametrize(("name", "label"), [("kinds", "Drain start"), ("kinds_es", "Escurre desde")])
def test_a_pair_has_boxes_for_each_of_its_two_days(name: str, label: str) -> None:
    """Every other lot is read on one day, affected and healthy plants too."""
    sheet, _ = case(name)
    pairs = [lot for lot in sheet.lots if [group.purpose for group in lot.groups][:1] == ["before_feed"]]
    assert len(pairs) == 1
    assert flat(name).count(label) == len(sheet.lots) + len(pairs)


def test_the_walk_tells_the_pots_of_a_pair_day_by_day() -> None:
    assert "E petunia, 5 pots due Wed 08.04.2026 and 5 on Thu 09.04.2026" in flat("kinds")


def test_a_lot_without_plants_is_to_be_corrected() -> None:
    assert "The lot list says 0 plants: correct it, or give the lot an end." in flat("tall")
