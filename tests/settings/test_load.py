"""Settings that pass, and every kind of mistake with its file, key, finding and mend."""

from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.errors import HomeError, SettingsError
from pipeline.settings import load_settings
from tests.settings.homes import GROUP, GROWER, LOTS, READINGS, SITE, find_problems, lines, write_home

IN_SITE = "sites/north/site.toml: "


def test_a_site_takes_from_the_group_what_it_does_not_say(tmp_path: Path) -> None:
    home = write_home(tmp_path, site='paper = "a4"\n' + SITE + GROWER + READINGS + LOTS)
    (site,) = load_settings(home).sites
    assert (site.time_zone, site.language, site.paper, site.date_format) == (
        "Europe/Madrid", "es", "a4", "%d.%m.%Y",
    )  # fmt: skip
    assert site.folder == home / "sites" / "north"
    assert [grower.id for grower in site.growers] == ["ana"]


def test_an_export_has_the_defaults_of_a_plain_csv(tmp_path: Path) -> None:
    (site,) = load_settings(write_home(tmp_path)).sites
    readings = site.exports[0]
    assert (readings.mode, readings.encoding, readings.delimiter, readings.decimal) == (
        "increment", "utf-8", ",", ".",
    )  # fmt: skip
    assert (readings.columns["ph"].column, readings.columns["ph"].unit) == ("pH", None)
    assert (readings.columns["ec"].column, readings.columns["ec"].unit) == ("EC", "mS/cm")
    assert readings.ec_compensated


def test_the_files_are_kept_as_they_are_for_the_archive(tmp_path: Path) -> None:
    home = write_home(tmp_path, policy="")
    files = load_settings(home).files
    assert sorted(files) == ["leachbook.toml", "policy.toml", "sites/north/site.toml"]
    assert files["leachbook.toml"] == (home / "leachbook.toml").read_bytes()


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    home = write_home(tmp_path)
    (home / "leachbook.toml").write_bytes(b"\xef\xbb\xbf" + GROUP.replace("\n", "\r\n").encode())
    assert load_settings(home).group.name == "Two sites"


def test_policy_figures_stay_exact(tmp_path: Path) -> None:
    home = write_home(tmp_path, policy="[[policy]]\nvalid_from = 2026-01-01\nstep_ph = 0.1\n")
    assert load_settings(home).policy[0].step_ph == Decimal("0.1")


def test_all_mistakes_of_all_files_come_at_once(tmp_path: Path) -> None:
    home = write_home(
        tmp_path,
        group=GROUP + 'langauge = "es"\n',
        policy="[[policy]]\nvalid_from = 2026-01-01\nmin_usable_pot = 4\n",
        site=SITE.replace("pour-through", "pourthrough") + GROWER.replace("ana@", "ana at ") + READINGS,
        south="name = [\n",
    )
    with pytest.raises(SettingsError) as raised:
        load_settings(home)
    assert [(problem.file, problem.key) for problem in raised.value.problems] == [
        ("leachbook.toml", "langauge"),
        ("policy.toml", "policy 1: min_usable_pot"),
        ("sites/north/site.toml", "extraction_method"),
        ("sites/north/site.toml", "grower 1: email"),
        ("sites/south/site.toml", "end of document"),
    ]
    assert str(raised.value).startswith("There are 5 mistakes in the settings:\n  leachbook.toml: langauge: ")


@pytest.mark.parametrize(
    ("group", "said"),
    [
        pytest.param(
            GROUP + 'papre = "a4"',
            'leachbook.toml: papre: this key is unknown; did you mean "paper"? '
            "known are name, time_zone, language, paper, date_format, manager, schedule, mail",
            id="unknown key",
        ),
        pytest.param(
            GROUP.replace('"es"', '"fr"'),
            'leachbook.toml: language: it is "fr"; known are en, es',
            id="unknown word",
        ),
        pytest.param(
            GROUP.replace("Madrid", "Madird"),
            'leachbook.toml: time_zone: it is "Europe/Madird"; a time zone of the IANA list, like '
            '"Europe/Madrid" or "America/Chicago" is needed',
            id="time zone",
        ),
        pytest.param(
            GROUP.replace("Europe/Madrid", "../../etc/passwd"),
            'leachbook.toml: time_zone: it is "../../etc/passwd"; a time zone of the IANA list, like '
            '"Europe/Madrid" or "America/Chicago" is needed',
            id="time zone that is a path",
        ),
        pytest.param(
            GROUP.replace('name = "Two sites"', "name = 2"),
            "leachbook.toml: name: it is 2; text in quotes is needed",
            id="number for text",
        ),
        pytest.param(
            GROUP.replace('name = "Two sites"', ""),
            "leachbook.toml: name: it is missing; write it",
            id="missing",
        ),
        pytest.param(
            GROUP.replace("%d.%m.%Y", "%Q"),
            'leachbook.toml: date_format: it is "%Q"; a format that shows day and month, like "%Y-%m-%d", '
            '"%d.%m.%Y" or "%a %d %b" is needed',
            id="date format",
        ),
        pytest.param(
            GROUP + 'manager = {name = "Jo", email = "jo@example.com, al@example.com"}',
            'leachbook.toml: manager.email: it is "jo@example.com, al@example.com"; '
            "one address like name@example.com is needed",
            id="two addresses",
        ),
        pytest.param(
            GROUP + 'manager = "Jo"',
            'leachbook.toml: manager: it is "Jo"; a table is needed',
            id="text for a table",
        ),
        pytest.param(
            "name = Two sites",
            "leachbook.toml: line 1, column 8: this is not TOML: Invalid value; "
            "write key = value, text in quotes, lists in brackets, each key once",
            id="syntax",
        ),
    ],
)
def test_a_mistake_in_the_group_file(tmp_path: Path, group: str, said: str) -> None:
    assert lines(write_home(tmp_path, group=group)) == [said]


def test_a_file_that_is_not_utf_8_names_the_line(tmp_path: Path) -> None:
    home = write_home(tmp_path)
    (home / "leachbook.toml").write_bytes('name = "x"\n# año\n'.encode("cp1252"))
    assert lines(home) == ["leachbook.toml: line 2: it is not UTF-8 text; save the file as UTF-8"]


def change(old: str, new: str) -> str:
    """The site's file with one thing changed."""
    text = SITE + GROWER + READINGS + LOTS
    if text.count(old) < 1:
        raise ValueError(old)
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("site", "said"),
    [
        pytest.param(
            change('unit = "mS/cm"', 'unit = "mS"'),
            'export 1: columns.ec.unit: "mS" is not a known unit; did you mean "mS/cm"? '
            "known are mS/cm, dS/m, mmho/cm, µS/cm, S/m, mS/m, µS/m, ppm 500, ppm 640, ppm 700",
            id="unknown unit",
        ),
        pytest.param(
            change('{column = "EC", unit = "mS/cm"}', '"EC"'),
            'export 1: columns.ec: its unit is missing; write {column = "EC", unit = "mS/cm"}; '
            "known are mS/cm, dS/m, mmho/cm, µS/cm, S/m, mS/m, µS/m, ppm 500, ppm 640, ppm 700",
            id="missing unit",
        ),
        pytest.param(
            change('ph = "pH"', 'ph = {column = "pH", unit = "pH"}'),
            'export 1: columns.ph.unit: it is "pH"; this field has no unit, take it away',
            id="unit where there is none",
        ),
        pytest.param(
            change('ph = "pH"', 'ph = "pH"\nleachat = "mL"'),
            'export 1: columns.leachat: readings have no such field; did you mean "leachate"? known are lot, '
            "house, bench, position, crop, date, datetime, time, year, week, purpose, pot, n_pots, ph, "
            "ph_sd, ec, ec_sd, poured, poured_with, poured_ec, leachate, temperature, drain, drain_start, drain_end, "
            "condition, sampler, "
            "meter, method, note",
            id="unknown field",
        ),
        pytest.param(
            change('date = "Date"\n', ""),
            'export 1: columns: date or datetime or week is missing; add date = "the header of that column"',
            id="missing field",
        ),
        pytest.param(
            change('started = "Potted"\n', ""),
            'export 2: columns: started is missing; add started = "the header of that column"',
            id="missing field of lots",
        ),
        pytest.param(
            change('ph = "pH"', 'ph = "EC"').replace('unit = "mS/cm"', 'unit = "mS/cm"', 1),
            'export 1: columns.ec: "EC" is named for two figures; each figure has a column of its own',
            id="one column for two figures",
        ),
        pytest.param(
            change('date = "Date"', 'datetime = "When"'),
            "export 1: datetime_format: it is missing, and columns has datetime; "
            'write it, like "%Y-%m-%d %H:%M"',
            id="datetime without its format",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ndate_format = "%m/%Y"'),
            'export 1: date_format: it is "%m/%Y"; a format from which year, month, day can be read, '
            'like "%d.%m.%Y" is needed',
            id="date format that loses the day",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ntime_format = "%I:%M"'),
            'export 1: time_format: it is "%I:%M"; a format from which hour, minute can be read, '
            'like "%H:%M" is needed',
            id="time format that loses the half of the day",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "reading"'),
            'export 1: kind: it is "reading"; did you mean "readings"? '
            "known are readings, lots, calibrations, treatments, feed_checks, exemptions, plantings, people",
            id="unknown kind",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nencoding = "utf8"'),
            'export 1: encoding: it is "utf8"; did you mean "utf-8"? '
            "known are utf-8, utf-8-sig, utf-16, cp1252, latin-1",
            id="unknown encoding",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ntitle_lines = "2"'),
            'export 1: title_lines: it is "2"; a whole number without quotes is needed',
            id="quoted number",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nec_compensated = "no"'),
            'export 1: ec_compensated: it is "no"; true or false, without quotes, is needed',
            id="quoted truth",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ntotal_words = "total"'),
            'export 1: total_words: it is "total"; a list in brackets is needed',
            id="text for a list",
        ),
        pytest.param(
            change("[[export]]", "[export]").replace(LOTS, ""),
            "export: [export] is one table; write [[export]] with two brackets, as often as needed",
            id="single brackets",
        ),
        pytest.param(
            change('started = "Potted"', 'started = "Potted"\n[export.values.container]\n"4 in" = "pot_4"'),
            'export 2: values.container."4 in": it is "pot_4"; did you mean "pot_4in"? '
            "known are plug, cell_pack, pot_4in, pot_5_6in, pot_6_5in_plus, nursery",
            id="unknown word of ours",
        ),
        pytest.param(
            change('started = "Potted"', 'started = "Potted"\n[export.values.feed_mode]\n"CRF" = "constant"'),
            "export 2: values.feed_mode: columns has no such field; known are lot, crop, container, started",
            id="words for a column that is not there",
        ),
        pytest.param(
            change(
                'started = "Potted"',
                'started = "Potted"\n[export.values.container]\n"P" = "plug"\n"p " = "plug"',
            ),
            'export 2: values.container: "p" stands there twice; cells compare without case and blanks',
            id="words that look alike",
        ),
        pytest.param(
            change('id = "north"', 'id = "North Range"'),
            'id: it is "North Range"; small letters, digits and hyphens are needed, like "north-range"',
            id="id",
        ),
        pytest.param(
            change('name = "North"', 'name = "North"\nfirst_night = "2026-01-31"'),
            'first_night: it is "2026-01-31"; a date like 2026-01-31, without quotes, is needed',
            id="quoted date",
        ),
        pytest.param(
            change('name = "North"', 'name = "North"\nfolder = "/tmp"'),
            "folder: this key is unknown; known are id, name, time_zone, language, paper, date_format, "
            "length_unit, volume_unit, temperature_unit, extraction_method, first_night, settle_minutes, "
            "holidays, no_sampling, calendar, calendar_time, grower, export, policy, bench, feeding",
            id="a name that the program uses itself",
        ),
        pytest.param(
            SITE + GROWER + GROWER,
            'grower 2: id: "ana" is there twice; give each grower its own id',
            id="doubled grower",
        ),
        pytest.param(
            SITE + LOTS + LOTS,
            'export 2: files: "drop/lots.csv" is there twice; a file belongs to one export only',
            id="doubled pattern",
        ),
        pytest.param(
            SITE + "[[policy]]\nvalid_from = 2026-01-01\n[[policy]]\nvalid_from = 2026-01-01\n",
            "policy 2: valid_from: 2026-01-01 is there twice; put the two tables together",
            id="doubled day",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nthousands = "."'),
            'export 1: thousands: it is ".", which is the mark for decimals; the two must differ, like '
            'decimal = "," with thousands = "."',
            id="thousands like decimals",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ndecimal = ","\nthousands = ","'),
            'export 1: thousands: it is ",", which is the mark for decimals; the two must differ, like '
            'decimal = "," with thousands = "."',
            id="thousands like decimals, both set",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nthousands = "_"'),
            'export 1: thousands: it is "_"; known are "", ".", ",", "\'", " "',
            id="unknown thousands",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ndelimiter = ":"'),
            r'export 1: delimiter: it is ":"; known are ",", ";", "\t", "|"',
            id="unknown delimiter",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nnumber_marks = ["*", "mS"]'),
            'export 1: number_marks: "mS" is part of a number or a unit; signs like * only: a digit, a letter, '
            "+ or - says something about the number",
            id="letters as a mark",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nnumber_marks = ["*5"]'),
            'export 1: number_marks: "*5" is part of a number or a unit; signs like * only: a digit, a letter, '
            "+ or - says something about the number",
            id="digit as a mark",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nnumber_marks = ["."]'),
            'export 1: number_marks: "." holds a mark that numbers are written with; take it away, or correct '
            "decimal and thousands",
            id="decimal as a mark",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nthousands = "\'"\nnumber_marks = ["\'\'"]'),
            "export 1: number_marks: \"''\" holds a mark that numbers are written with; take it away, or "
            "correct decimal and thousands",
            id="thousands as a mark",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nweek_starts = "sunday"'),
            'export 1: week_starts: it is "sunday", and week_rule is "iso"; ISO weeks begin on monday; take it '
            'away, or set week_rule to "january_1" or "first_full_week"',
            id="ISO weeks from Sunday",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nweek_rule = "us"'),
            'export 1: week_rule: it is "us"; known are iso, january_1, first_full_week',
            id="unknown week rule",
        ),
        pytest.param(
            change('date = "Date"', 'datetime = "When"').replace(
                'kind = "readings"', 'kind = "readings"\ndatetime_format = "%Y-%m-%d %H:%M %Z"'
            ),
            'export 1: datetime_format: it is "%Y-%m-%d %H:%M %Z"; the name of a zone is not understood; write '
            'an offset as "%z", or name time_zone',
            id="zone by its name",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ntime_format = "%H:%M%z"'),
            'export 1: time_format: it is "%H:%M%z"; an offset needs date and time together; map a column '
            "datetime with its datetime_format",
            id="offset of a time alone",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nunits_row = 1'),
            "export 1: units_row: it is 1; true or false, without quotes, is needed",
            id="number for a truth",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\ncolumn_order = "free"'),
            'export 1: column_order: it is "free"; known are fixed, any',
            id="unknown column order",
        ),
        pytest.param(
            change('kind = "readings"', 'kind = "readings"\nextra_columns = "notes"'),
            'export 1: extra_columns: it is "notes"; did you mean "note"? known are ignore, note',
            id="unknown extra columns",
        ),
        pytest.param(
            change('name = "North"', 'name = "North"\nsettle_minutes = -1'),
            "settle_minutes: it is -1; 0 or more is needed",
            id="settle time below zero",
        ),
    ],
)
def test_a_mistake_in_a_site_file(tmp_path: Path, site: str, said: str) -> None:
    assert IN_SITE + said in lines(write_home(tmp_path, site=site))


@pytest.mark.parametrize(
    "keys",
    [
        'decimal = ","\nthousands = "."',
        'decimal = ","\nthousands = " "\nnumber_marks = ["*", "(!)"]',
        'thousands = "\'"',
        'week_rule = "january_1"\nweek_starts = "sunday"',
        'week_rule = "iso"\nweek_starts = "monday"',
        'units_row = true\ncolumn_order = "any"\nextra_columns = "note"',
        'datetime_format = "%Y-%m-%dT%H:%M:%S%z"',
    ],
)
def test_dialects_that_hold_no_contradiction_pass(tmp_path: Path, keys: str) -> None:
    site = change('kind = "readings"', f'kind = "readings"\n{keys}')
    assert lines(write_home(tmp_path, site=site)) == []


def test_a_name_with_a_line_break_is_refused_wherever_it_stands(tmp_path: Path) -> None:
    name = '"Hill\\n[Service]\\nExecStart=/bin/true"'
    home = write_home(tmp_path, group=GROUP.replace('"Two sites"', name), site=change('"North"', name))
    assert [(one.file, one.key) for one in find_problems(home)] == [
        ("leachbook.toml", "name"),
        ("sites/north/site.toml", "name"),
    ]
    assert "a name on one line, without control characters, is needed" in str(find_problems(home)[0])


@pytest.mark.parametrize("unit", ["µS/cm", "uS/cm", "\u03bcS/cm", "ppm 700", "dS/m"])
def test_known_units_pass_however_micro_is_written(tmp_path: Path, unit: str) -> None:
    assert lines(write_home(tmp_path, site=change("mS/cm", unit))) == []


@pytest.mark.parametrize(
    "pattern",
    ["/etc/*.csv", "../south/drop/*.csv", "drop/../../*.csv", "~/x.csv", "C:/x.csv", "drop\\\\x.csv", ""],
)
def test_a_pattern_that_leaves_the_site_folder_is_refused(tmp_path: Path, pattern: str) -> None:
    home = write_home(tmp_path, site=change("drop/lots.csv", pattern))
    assert [problem.key for problem in find_problems(home)] == ["export 2: files"]


def test_a_drop_folder_that_is_a_link_out_of_the_site_is_refused(tmp_path: Path) -> None:
    home = write_home(tmp_path / "home")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    drop = home / "sites" / "north" / "drop"
    drop.rmdir()
    drop.symlink_to(elsewhere)
    assert lines(home) == [
        f'{IN_SITE}export {number}: files: "{files}" leads out of the site\'s folder by a link; '
        "the files must lie inside the site's folder"
        for number, files in ((1, "drop/readings*.csv"), (2, "drop/lots.csv"))
    ]


def test_a_link_that_stays_inside_passes(tmp_path: Path) -> None:
    home = write_home(tmp_path)
    (home / "sites" / "north" / "inbox").symlink_to("drop")
    (home / "sites" / "north" / "site.toml").write_text(
        change("drop/lots.csv", "inbox/lots.csv"), encoding="utf-8"
    )
    assert lines(home) == []


def test_two_sites_with_one_id_are_named_even_if_the_first_has_other_mistakes(tmp_path: Path) -> None:
    home = write_home(tmp_path, site=SITE + "colour = 1\n", south=SITE)
    assert [(problem.file, problem.key, problem.found) for problem in find_problems(home)] == [
        ("sites/north/site.toml", "colour", "this key is unknown"),
        ("sites/south/site.toml", "id", '"north" is also the id in sites/north/site.toml'),
    ]


def test_a_mistake_in_the_group_is_not_told_again_by_each_site(tmp_path: Path) -> None:
    home = write_home(tmp_path, group=GROUP.replace("Europe/Madrid", "Nowhere"))
    assert [problem.file for problem in find_problems(home)] == ["leachbook.toml"]


def test_a_site_folder_without_settings_is_named_and_a_hidden_one_is_not(tmp_path: Path) -> None:
    home = write_home(tmp_path)
    (home / "sites" / "south").mkdir()
    (home / "sites" / ".trash").mkdir()
    assert lines(home) == ["sites/south/site.toml: it is missing; write it, or move the folder out of sites/"]


def test_a_home_without_sites_is_a_mistake(tmp_path: Path) -> None:
    (tmp_path / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    (tmp_path / "sites").mkdir()
    assert lines(tmp_path) == ["sites: there is no site; make a folder with a site.toml for each site"]


def test_a_folder_that_is_no_home_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(
        HomeError, match=r"has no leachbook.toml: it is no home; make one with `leachbook new"
    ):
        load_settings(tmp_path)
    with pytest.raises(HomeError, match="is not a folder"):
        load_settings(tmp_path / "nothing")


def test_long_text_is_cut_in_a_message(tmp_path: Path) -> None:
    (problem,) = find_problems(write_home(tmp_path, group=GROUP.replace('"es"', '"' + "x" * 500 + '"')))
    assert len(problem.found) < 80
