"""What is proposed for exports in five languages, and what is asked instead of guessed."""

from __future__ import annotations

import pytest

from pipeline.adopt import propose
from pipeline.errors import AdoptError
from tests.adopt.helpers import NO_METHOD, SITE, answer_all, keys, mapped, setting, table

SPANISH = """
    sep=;
    Vivero Las Lomas;;;;;;;
    Fecha;Lote;Nº maceta;pH;CE;Vol. lixiviado;Temp.;Observaciones
    ;;;;(µS/cm);(mL);(°C);
    23/04/2026;A-12;1;5,8;1.850;55;21,5;
    23/04/2026;A-12;2;5,9;1.920;52;21,6;ok
    24/04/2026;A-13;1;6,1;2.050;48;20,9;
    Promedio;;;5,93;1.940;51;;
"""
GERMAN = """
    Zeitstempel;Partie Nr.;Topf-Nr.;pH-Wert;Leitfähigkeit;Sickerwassermenge [ml];Wassertemperatur;Prüfer
    03.04.2026 08:15;ER-1;1;5,8;1850;52;19,1;KW
    03.04.2026 08:17;ER-1;2;5,9;1790;55;19,3;KW
"""
DUTCH = """
    Partij;Kas;Gewas;Ras;Potmaat;Oppotdatum;Wijze;Afleverdatum;Aantal;Teler;Potgrond;Bemesting
    P-1;1;Staande geranium;Rode;12 cm;3-2-2026;opgepot;1-5-2026;1.200;Wülbern;turf;bij elke gietbeurt
    P-2;1;Petunia;Wit;P9;20-2-2026;verspeend;15-5-2026;800;Wülbern;turf;wekelijks
"""
FRENCH = """
    Date de prélèvement;N° de lot;Serre;Nb de pots;pH moyen;Écart-type pH;CE moyenne (mS/cm);Température;Préleveur
    15/04/2026;L-101;Serre 2;5;5,82;0,12;1,85;19,5;MD
    16/04/2026;L-102;Serre 2;5;6,10;0,20;2,05;20,1;MD
"""
CALIBRATIONS = """
    Fecha;Medidor;Calibrado por;Pendiente (%);Desfase (mV);Tampones;Patrón CE;CE leída;Resultado
    3/4/2026;M1;ana;98,2;-3,1;4,01/7,00;1413;1400;Apto
    13/4/2026;M1;ana;97,9;-2,8;4,01/7,00;1413;1420;No apto
"""


def test_a_spanish_log_with_titles_units_and_totals() -> None:
    proposal = propose(table(SPANISH), "lecturas_2026-04-24.csv", SITE)
    assert proposal.kind.value == "readings"
    assert mapped(proposal) == {
        "date": "Fecha",
        "lot": "Lote",
        "pot": "Nº maceta",
        "ph": "pH",
        "ec": "CE",
        "leachate": "Vol. lixiviado",
        "temperature": "Temp.",
        "note": "Observaciones",
    }
    units = {one.field: one.unit.value for one in proposal.columns if one.unit}
    assert units == {"ec": "µS/cm", "leachate": "mL", "temperature": "°C"}
    assert setting(proposal, "files") == "drop/lecturas_*.csv"
    assert setting(proposal, "delimiter") == ";"
    assert setting(proposal, "decimal") == ","
    assert setting(proposal, "thousands") == "."
    assert setting(proposal, "units_row") is True
    assert setting(proposal, "total_words") == ("Promedio",)
    assert setting(proposal, "date_format") == "%d/%m/%Y"
    assert setting(proposal, "mode") == "increment"
    assert not proposal.questions


def test_a_german_log_asks_for_the_unit_of_its_conductivity() -> None:
    proposal = propose(table(GERMAN), "probe_20260403.csv", SITE)
    assert mapped(proposal)["leachate"] == "Sickerwassermenge [ml]"
    assert mapped(proposal)["sampler"] == "Prüfer"
    assert setting(proposal, "datetime_format") == "%d.%m.%Y %H:%M"
    assert keys(proposal) == {"unit.ec"}
    assert [choice.value for choice in proposal.questions[0].choices][:2] == ["µS/cm", "ppm 500"]


def test_a_dutch_list_of_lots_with_its_words() -> None:
    proposal = propose(table(DUTCH), "partijen.csv", SITE, None, {"mode": "cumulative"})
    assert proposal.kind.value == "lots"
    values = proposal.export.values
    assert values["crop"] == {"Staande geranium": "geranium, zonal"}
    assert values["container"] == {"12 cm": "pot_5_6in", "P9": "pot_4in"}
    assert values["start_kind"] == {"opgepot": "potted", "verspeend": "transplanted"}
    assert values["feed_mode"] == {"bij elke gietbeurt": "constant", "wekelijks": "periodic"}
    assert values["grower"] == {"Wülbern": "kaethe"}
    assert setting(proposal, "thousands") == "."
    assert setting(proposal, "date_format") == "%d-%m-%Y"


def test_french_means_with_their_spread() -> None:
    proposal = propose(table(FRENCH), "releves semaine 16.csv", SITE)
    assert mapped(proposal)["n_pots"] == "Nb de pots"
    assert mapped(proposal)["ph_sd"] == "Écart-type pH"
    assert mapped(proposal)["ec"] == "CE moyenne (mS/cm)"
    assert setting(proposal, "files") == "drop/releves semaine *.csv"
    assert not proposal.questions


def test_calibrations_take_their_unit_from_usual_solutions() -> None:
    proposal = propose(table(CALIBRATIONS), "cal.csv", SITE, None, {"mode": "increment"})
    assert proposal.kind.value == "calibrations"
    assert {one.unit.value for one in proposal.columns if one.unit} == {"µS/cm"}
    assert proposal.export.values["passed"] == {"Apto": "yes", "No apto": "no"}


def _readings(rows: str, header: str = "Date,Lot,pH,EC (mS/cm)") -> bytes:
    return table(f"{header}\n{rows}")


@pytest.mark.parametrize(
    ("data", "asked"),
    [
        (_readings("03/04/2026,A-1,5.8,1.9\n04/04/2026,A-1,5.9,1.8"), "date_format"),
        (_readings("2026-04-03,A-1,5.8,350\n2026-04-03,A-2,5.9,420", "Date,Lot,pH,EC"), "unit.ec"),
        (_readings("2026-04-03,A-1,5.8,950\n2026-04-03,A-2,5.9,990", "Date,Lot,pH,EC ppm"), "unit.ec"),
        (_readings("2026-04-03,A-1,5.8,38\n2026-04-03,A-2,5.9,47", "Date,Lot,pH,Temp"), "unit.temperature"),
        (_readings("2026-04-03,A-1,5.8,6.1\n2026-04-03,A-2,5.9,6.0", "Date,Lot,pH 1,pH 2"), "column.ph"),
        (_readings("2026-04-03,A-1,5.8,1.9\n2026-04-03,A-2,5.9,2.9", "Date,Lot,Wert,EC"), "column.ph"),
        (_readings("2026-04-03,A-1,5.8*,1.9\n2026-04-03,A-2,5.9,2.9"), "number_marks"),
        (table("Date;Lot;EC\n2026-04-03;A-1;1,234\n2026-04-03;A-2;2,345"), "decimal"),
        (table("Date;Lot;pH;EC (mS/cm)\n2026-04-03;A-1;5.8;1,9\n2026-04-03;A-2;5.9;2,1"), "decimal"),
    ],
)
def test_what_the_file_does_not_tell_is_asked(data: bytes, asked: str) -> None:
    proposal = propose(data, "log_2026-04-03.csv", SITE)
    assert asked in keys(proposal)
    question = next(one for one in proposal.questions if one.key == asked)
    assert len(question.choices) >= 2 or asked.startswith("column.")
    for choice in question.choices:
        answered = propose(data, "log_2026-04-03.csv", SITE, None, {asked: choice.value})
        assert asked not in keys(answered)


@pytest.mark.parametrize(
    ("data", "unasked"),
    [
        (_readings("13/04/2026,A-1,5.8,1.9\n04/04/2026,A-1,5.9,1.8"), "date_format"),
        (_readings("2026-04-03,A-1,5.8,1.9\n2026-04-03,A-2,5.9,2.2", "Date,Lot,pH,EC"), "unit.ec"),
        (_readings("2026-04-03,A-1,5.8,68\n2026-04-03,A-2,5.9,71", "Date,Lot,pH,Temp"), "unit.temperature"),
        (_readings("2026-04-03,A-1,5.8,6.1\n2026-04-03,A-2,5.9,6.0", "Date,Lot,pH,Feed pH"), "column.ph"),
        (table("Date;Lot;EC (mS/cm)\n2026-04-03;A-1;1,234\n2026-04-03;A-2;2,345"), "decimal"),
    ],
)
def test_what_the_file_tells_is_not_asked(data: bytes, unasked: str) -> None:
    assert unasked not in keys(propose(data, "log_2026-04-03.csv", SITE))


def test_the_extraction_method_is_asked_only_where_nobody_says_it() -> None:
    data = _readings("2026-04-03,A-1,5.8,1.9")
    assert "extraction_method" in keys(propose(data, "log_2026-04-03.csv", NO_METHOD))
    assert "extraction_method" not in keys(propose(data, "log_2026-04-03.csv", SITE))
    with_column = _readings("2026-04-03,A-1,5.8,1.9,SME", "Date,Lot,pH,EC (mS/cm),Method")
    assert "extraction_method" not in keys(propose(with_column, "log_2026-04-03.csv", NO_METHOD))


def test_mode_follows_name_and_span_and_is_asked_else() -> None:
    short = _readings("2026-04-03,A-1,5.8,1.9")
    long = _readings("2026-01-03,A-1,5.8,1.9\n2026-04-03,A-1,5.8,1.9")
    assert setting(propose(short, "log_2026-04-03.csv", SITE), "mode") == "increment"
    assert setting(propose(long, "log.csv", SITE), "mode") == "cumulative"
    assert "mode" in keys(propose(short, "log.csv", SITE))
    month = _readings("2026-03-01,A-1,5.8,1.9\n2026-03-31,A-1,5.8,1.9")
    asked = {question.key: question.proposed for question in propose(month, "log.csv", SITE).questions}
    assert asked["mode"] == "cumulative"
    assert "mode" in keys(propose(long, "log_2026-04-03.csv", SITE))


def test_a_word_that_nobody_knows_is_to_be_filled_in() -> None:
    data = _readings(
        "2026-04-03,A-1,5.8,1.9,R\n2026-04-03,A-2,5.9,2.0,retest", "Date,Lot,pH,EC (mS/cm),Purpose"
    )
    proposal = propose(data, "log_2026-04-03.csv", SITE)
    assert [(one.cell, one.word) for one in proposal.words["purpose"]] == [("R", None)]
    assert "purpose" not in proposal.export.values


def test_columns_that_nothing_takes_are_listed() -> None:
    data = _readings("2026-04-03,A-1,5.8,1.9,sun", "Date,Lot,pH,EC (mS/cm),Weather")
    left = propose(data, "log_2026-04-03.csv", SITE).left_out
    assert [(one.header, one.example) for one in left] == [("Weather", "sun")]


def test_answers_choose_columns_and_are_checked() -> None:
    data = _readings("2026-04-03,A-1,5.8,6.1", "Date,Lot,pH 1,pH 2")
    proposal = propose(data, "log_2026-04-03.csv", SITE, None, {"column.ph": "ph 2"})
    assert mapped(proposal)["ph"] == "pH 2"
    for answers, what in (
        ({"column.ph": "nowhere"}, "no column has this header"),
        ({"column.colour": "pH 1"}, "no such field"),
        ({"decimal": "x"}, "must be one of"),
        ({"unit.leachate": "mL"}, "nothing of this name is asked"),
    ):
        with pytest.raises(AdoptError, match=what):
            propose(data, "log_2026-04-03.csv", SITE, None, answers)


def test_what_a_kind_needs_and_no_column_has_is_one_sentence() -> None:
    with pytest.raises(AdoptError, match="no column for date or datetime or week"):
        propose(_readings("A-1,5.8,1.9", "Lot,pH,EC (mS/cm)"), "log.csv", SITE, "readings")


def test_dates_that_no_format_reads_are_one_sentence() -> None:
    with pytest.raises(AdoptError, match="no date format reads"):
        propose(
            _readings("am Dienstag,A-1,5.8,1.9\nam Montag,A-1,5.9,1.8", "Datum,Lot,pH,EC (mS/cm)"),
            "log.csv",
            SITE,
        )


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        (
            "46114,A-1,5.8,1.9\n46115,A-1,5.9,1.8",
            '"46114" in the column "Date" looks like a spreadsheet\'s day',
        ),
        (
            "13/04/2026,A-1,5.8,1.9\n04/14/2026,A-1,5.9,1.8",
            '"13/04/2026" and "04/14/2026" in the column "Date"',
        ),
        (
            "17.11.2026,A-1,5.8,1.9\n2026-11-17,A-1,5.9,1.8\n18.11.2026,A-1,5.9,1.8\n19.11.2026,A-1,5.9,1.8",
            'most days in the column "Date" are written like "17.11.2026", but not "2026-11-17"; correct the file',
        ),
    ],
)
def test_dates_that_cannot_be_read_say_what_they_are(rows: str, sentence: str) -> None:
    with pytest.raises(AdoptError) as refused:
        propose(_readings(rows), "log.csv", SITE)
    assert sentence in str(refused.value)


MIXED = "2026-04-03;A-1;5,8;1,234\n2026-04-04;A-2;5.9;1.234\n2026-04-05;A-2;6.0;1.234"


@pytest.mark.parametrize("unit", ["mS/cm", "µS/cm"])
def test_figures_with_both_marks_keep_their_columns_and_are_asked_about(unit: str) -> None:
    data = _readings(MIXED, f"Date;Lot;pH;EC ({unit})")
    proposal = propose(data, "log_2026-04-03.csv", SITE)
    assert {"ph", "ec"} <= set(mapped(proposal))
    assert {"decimal", "thousands"} <= keys(proposal)
    answers = {"decimal": ".", "thousands": "none"}
    answered = propose(data, "log_2026-04-03.csv", SITE, None, answers)
    assert not answered.questions
    assert answered.export.thousands == ""


def test_one_column_with_both_marks_is_asked_about_though_the_others_have_one() -> None:
    data = _readings("2026-04-03;A-1;5.8;1,234\n2026-04-04;A-2;5.9;1.234", "Date;Lot;pH;EC (µS/cm)")
    (question,) = propose(data, "log_2026-04-03.csv", SITE).questions
    assert question.key == "thousands"
    assert question.text.startswith("1,234 and 1.234 stand in one file")


def test_a_slip_among_many_leaves_the_thousands_likely() -> None:
    rows = "".join(f"2026-04-{day:02};A-1;5,8;1.85{day % 10}\n" for day in range(1, 29))
    rows += "".join(f"2026-03-{day:02};A-1;5,{day};1.86{day % 10}\n" for day in range(1, 29))
    data = _readings(rows + "2026-04-30;A-1;5.9;1.900", "Date;Lot;pH;EC (µS/cm)")
    proposal = propose(data, "log_2026-04-03.csv", SITE, None, {"mode": "increment"})
    assert not proposal.questions
    assert (setting(proposal, "decimal"), setting(proposal, "thousands")) == (",", ".")


def test_weeks_stand_for_days() -> None:
    data = _readings("14,2026,House 1,5.8\n15,2026,House 2,5.9", "Week,Year,House,Mean pH")
    proposal = propose(data, "sheet.csv", SITE)
    assert mapped(proposal) == {"week": "Week", "year": "Year", "house": "House", "ph": "Mean pH"}
    assert setting(proposal, "week_rule") == "iso"


def test_every_question_ends() -> None:
    data = table(
        "a,b,c,d\n2026-04-03,L-1,5.8,1.9\n2026-04-03,L-2,5.9,2.9\n2026-04-04,L-2,6.1,2.1\n2026-04-04,L-3,6.2,2.2"
    )
    proposal, answers = answer_all(data, "x.csv")
    assert mapped(proposal) == {"date": "a", "lot": "b", "ph": "c", "ec": "d"}
    assert set(answers) == {"kind", "column.date", "column.lot", "column.ph", "column.ec", "mode"}


def test_a_share_is_neither_a_volume_nor_a_time() -> None:
    data = _readings("2026-04-03,A-1,5.8,22\n2026-04-03,A-2,5.9,25", "Date,Lot,pH,Drain %")
    proposal = propose(data, "log_2026-04-03.csv", SITE)
    assert [one.header for one in proposal.left_out] == ["Drain %"]


def test_days_that_a_format_scatters_over_years_are_not_asked_about() -> None:
    data = _readings("13-04-26,A-1,5.8,1.9\n20-04-26,A-1,5.9,1.8")
    assert setting(propose(data, "log_2026-04-20.csv", SITE), "date_format") == "%d-%m-%y"


def test_feed_beside_drain_is_left_out() -> None:
    data = _readings(
        "2026-04-03,A-1,6.1,1.4,5.8,1.9\n2026-04-03,A-2,6.1,1.4,5.9,2.0",
        "Datum,Partij,pH gift,EC gift,pH drain,EC drain",
    )
    proposal = propose(data, "log_2026-04-03.csv", SITE)
    assert mapped(proposal) == {"date": "Datum", "lot": "Partij", "ph": "pH drain", "ec": "EC drain"}
    assert not proposal.questions


def test_a_pattern_and_a_compensation_can_be_overruled() -> None:
    answers = {"files": "drop/log*.csv", "ec_compensated": "false"}
    proposal = propose(_readings("2026-04-03,A-1,5.8,1.9"), "log_2026-04-03.csv", SITE, None, answers)
    assert proposal.export.files == "drop/log*.csv"
    assert proposal.export.ec_compensated is False


def test_one_slip_among_many_figures_does_not_open_the_question_of_the_mark() -> None:
    rows = [
        f"{day:02}.04.2026;A-{day};5,{day % 10};{1 + day // 10},{day % 10}{day // 10}" for day in range(1, 29)
    ]
    data = table("\n".join(["Datum;Partie;pH;LF (mS/cm)", *rows, "29.04.2026;A-29;5.8;1,9"]))
    proposal = propose(data, "log_2026-04-29.csv", SITE, None, {"mode": "increment"})
    assert setting(proposal, "decimal") == ","
    assert not proposal.questions


def test_figures_that_are_no_ph_are_remarked_on() -> None:
    exchanged = _readings("2026-04-03,A-1,1.9,5.8\n2026-04-03,A-2,2.0,5.9")
    assert any("do not look like pH" in note for note in propose(exchanged, "log_2026-04-03.csv", SITE).notes)
    assert not propose(_readings("2026-04-03,A-1,6,2"), "log_2026-04-03.csv", SITE).notes


def test_a_day_with_points_names_its_other_reading() -> None:
    text = "Datum;Partie;Topf;pH;LF (mS/cm)\n03.04.2026;A-1;1;5,8;1,9\n04.04.2026;A-1;2;5,9;1,8\n"
    (told,) = [
        one.guess.why
        for one in propose(table(text), "werte_2026-04-04.csv", SITE).settings
        if one.key == "date_format"
    ]
    assert told.endswith(
        "with points the day stands first, so 03.04.2026 is 3 April 2026; where it is 4 March 2026, answer "
        "date_format=%m.%d.%Y"
    )
    turned = propose(
        table(text), "werte_2026-04-04.csv", SITE, None, {"date_format": "%m.%d.%Y", "mode": "increment"}
    )
    assert setting(turned, "date_format") == "%m.%d.%Y"


def test_a_number_of_plants_is_no_number_of_pots() -> None:
    numbered = """
        Jour,Lot,Plante n°,EC (mS/cm),pH
        12.05.2026,V-1,1,1.8,5.9
        12.05.2026,V-1,2,1.75,6.0
        13.05.2026,V-2,1,2.2,6.4
    """
    assert mapped(propose(table(numbered), "mesures.csv", SITE))["pot"] == "Plante n°"
    counted = """
        Date,Lot,N,EC (mS/cm),pH
        2026-05-12,V-1,5,1.8,5.9
        2026-05-13,V-2,6,2.2,6.4
    """
    assert mapped(propose(table(counted), "means.csv", SITE))["n_pots"] == "N"


def test_a_code_that_was_taken_for_the_crop_is_offered_for_the_lot() -> None:
    log = """
        Crop code,Read on,Pot #,EC (mS/cm),pH,Runoff (mL)
        MUM-7,03/24/2026,1,3.5,6.2,50
        MUM-7,03/24/2026,2,4.1,6.1,52
        MUM-8,03/25/2026,1,2.9,5.7,48
    """
    proposal = propose(table(log), "log.csv", SITE)
    lot = next(question for question in proposal.questions if question.key == "column.lot")
    assert [choice.value for choice in lot.choices] == ["Crop code"]
    assert mapped(proposal) == {
        "lot": "Crop code",
        "date": "Read on",
        "pot": "Pot #",
        "ec": "EC (mS/cm)",
        "ph": "pH",
        "leachate": "Runoff (mL)",
    }


def test_a_column_of_figures_is_not_offered_for_the_lot() -> None:
    probe = """
        timestamp;cond_uScm;ph;device
        2026-04-22T08:14:00;2140;6.11;P9
        2026-04-22T08:15:00;1985;6.08;P9
    """
    with pytest.raises(AdoptError, match="no column for lot or house is found"):
        propose(table(probe), "probe_dump.csv", SITE, "readings", {"column.meter": "device"})


def test_a_column_of_weeks_named_like_a_day_is_told() -> None:
    lots = """
        Satz;Kultur;Topf;Getopft KW;Stück
        2601;Petunie;12 cm;08/2026;2400
        2602;Petunie;13 cm;06/2026;1850
    """
    with pytest.raises(AdoptError, match='"Getopft KW" is named like it, but not its cells, like "08/2026"'):
        propose(table(lots), "Kulturliste.csv", SITE)


def test_a_house_that_names_its_bench_is_told() -> None:
    lots = """
        Lot,Crop,Pot size,Location,Planted
        A-11,Petunia,6 in,GH3 bench 4,2026-04-13
        A-12,Petunia,6 in,GH3 bench 5,2026-04-14
    """
    (note,) = propose(table(lots), "lots.csv", SITE).notes
    assert 'names benches too, like "GH3 bench 4"' in note
    apart = lots.replace("Location", "House,Bench").replace("GH3 bench ", "GH3,")
    assert not propose(table(apart), "lots.csv", SITE).notes
