"""Points of standards: each answered or said not to be, and the page for contributors is the table."""

from pipeline.audit.standards import PAGE, load_points, standards_section, write_page


def test_the_page_is_made_from_the_table() -> None:
    assert PAGE.read_text(encoding="utf-8") == write_page()


def test_every_point_has_an_answer_and_says_where_or_what_is_lacking() -> None:
    points = load_points()
    assert {one.standard for one in points} >= {
        "ISO/IEC 17025:2017, 7.5.1",
        "ISO/IEC 17025:2017, 7.5.2",
        "ISO/IEC 17025:2017, 8.4",
        "ISO 9001:2015, 7.1.5.2",
    }
    for one in points:
        assert one.answer in ("yes", "partly", "no")
        assert one.known in ("read", "memory")
        assert len(one.where) > 20
    assert any(one.answer == "no" for one in points)


def test_the_dossier_prints_every_point() -> None:
    (table,) = standards_section().tables
    assert len(table.rows) == len(load_points())
    assert table.more == ""
