"""A head grower's message: whose lots, which lines, what goes along, what a correction says."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pikepdf
import pytest
from icalendar import Calendar

from pipeline.delivery.facts import gather_told
from pipeline.delivery.outbox import Draft, Key, Letter, State
from pipeline.delivery.plan import decide
from pipeline.delivery.week_letters import COPY, FURTHER, WEEKLY, Written
from pipeline.delivery.week_names import name_period
from pipeline.reports.summary import Meter, Summary
from pipeline.settings import Mail
from tests.delivery.weeks import (
    MANAGER,
    NOW,
    SENDER,
    grower,
    plan_day,
    reason,
    with_growers,
    write_mail,
)
from tests.home import DAY, only_site, read_summary

ANA, BO = grower("ana"), grower("bo", "2")


@pytest.fixture(scope="module")
def out(one_night: Path) -> Path:
    """The pages of a small night, its PDF among them."""
    return one_night / "out" / DAY.isoformat()


@pytest.fixture(scope="module")
def summary(one_night: Path) -> Summary:
    night = read_summary(one_night)
    site = only_site(night)
    assert site.sheet is not None
    return with_growers(night, ANA, plan=[plan_day(site)], sheet=site.sheet.model_copy(update={"pots": 10}))


def read(draft: Draft) -> EmailMessage:
    return message_from_bytes(draft.message, policy=policy.default)


def text_of(message: EmailMessage, kind: str = "plain") -> str:
    body = message.get_body((kind,))
    assert body is not None
    content = body.get_content()
    assert isinstance(content, str)
    return content.replace("\r\n", "\n")


def only(written: list[Written]) -> EmailMessage:
    ((draft,),) = [one.drafts for one in written]
    return read(draft)


def as_letter(draft: Draft, state: State = "sent") -> Letter:
    return Letter(
        1,
        draft.key,
        draft.message_id,
        draft.subject,
        state,
        NOW,
        NOW,
        NOW,
        1,
        None,
        "",
        1,
        draft.facts,
    )


def change_lot(summary: Summary, lot_id: str, **changed: object) -> Summary:
    site = only_site(summary)
    lots = [lot.model_copy(update=changed) if lot.lot_id == lot_id else lot for lot in site.lots]
    return summary.model_copy(update={"sites": [site.model_copy(update={"lots": lots})]})


def test_the_whole_message(summary: Summary, out: Path) -> None:
    message = only(write_mail(summary, out, ANA))
    assert message["Subject"] == "Hill, week 15: 2 OK"
    assert [str(one) for one in message["To"].addresses] == ["Ana <ana@hill.example>"]
    assert message["Reply-To"].addresses[0].addr_spec == MANAGER.email
    assert text_of(message) == (
        "Hill, week 15\n"
        "=============\n"
        "\n"
        "As of Mon 2026-04-06. Readings to Thu 2026-04-02.\n"
        "2 lots: 2 OK.\n"
        "For Ana: all lots of the site.\n"
        "\n"
        "ACT\n"
        "- No lot to act on this week.\n"
        "\n"
        "SAMPLE\n"
        "- Thu 2026-04-09: H-1 petunia; H-2 poinsettia. 10 pots, about 40 min.\n"
        "\n"
        "Attached\n"
        "- hill-2026-w15.pdf\n"
        "  the report: charts, reasons, options, four weeks of plan\n"
        "- hill-2026-w15-sheet.pdf\n"
        "  the site's sampling sheet to carry, 10 pots\n"
        "- hill-2026-w15.ics\n"
        "  what is due, for your calendar: import it or open it\n"
        "\n"
        "Options in the report are published ones, not orders: try a few plants\n"
        "first, follow the label, ask your extension service or a licensed\n"
        "adviser.\n"
        "Answers to this message go to Adela Quillmere.\n"
        "Made by Leachbook for Small group.\n"
    )


def test_what_goes_along_is_what_the_night_made(summary: Summary, out: Path) -> None:
    report, sheet, calendar = only(write_mail(summary, out, ANA)).iter_attachments()
    assert report.get_content() == (out / "sites" / "hill.pdf").read_bytes()
    assert sheet.get_content() == (out / "sites" / "hill-sheet.pdf").read_bytes()
    assert calendar.get_payload(decode=True) == (out / "sites" / "hill.ics").read_bytes()
    assert Calendar.from_ical(calendar.get_content()).name == "VCALENDAR"


def test_html_says_the_same_and_asks_nothing_of_a_network(summary: Summary, out: Path) -> None:
    html = text_of(only(write_mail(summary, out, ANA)), "html")
    assert html.startswith('<!DOCTYPE html>\n<html lang="en">')
    for said in ("Hill, week 15", "No lot to act on", "Thu 2026-04-09", "hill-2026-w15.pdf"):
        assert said in html
    assert not any(word in html for word in ("http", "<img", "<script", "<link", "url(", "@import"))


def test_text_of_an_export_is_escaped_and_adds_no_line_to_the_head(summary: Summary, out: Path) -> None:
    evil = change_lot(summary, "H-1", crop="<script>alert(1)</script>\r\nBcc: all@evil.example\x07")
    site = only_site(evil).model_copy(update={"name": "Hill\r\nBcc: all@evil.example"})
    message = only(write_mail(evil.model_copy(update={"sites": [site]}), out, ANA))
    assert message["Bcc"] is None
    assert message["Subject"].startswith("Hill Bcc: all@evil.example, week 15")
    html = text_of(message, "html")
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
    assert "\x07" not in text_of(message)


def test_the_language_is_that_of_the_site(summary: Summary, out: Path) -> None:
    site = only_site(summary).model_copy(update={"language": "es", "date_format": "%d/%m/%Y"})
    message = only(write_mail(summary.model_copy(update={"sites": [site]}), out, ANA))
    assert message["Subject"] == "Hill, semana 15: 2 bien"
    assert "Ningún lote exige actuar esta semana." in text_of(message)
    assert "jue 09/04/2026" in text_of(message)
    assert '<html lang="es">' in text_of(message, "html")
    body = message.get_body(("plain",))
    assert body is not None
    assert body["Content-Language"] == "es"


def test_at_most_five_kinds_of_lines_and_the_most_urgent_first(summary: Summary, out: Path) -> None:
    site = only_site(summary)
    meter = Meter(
        meter_id="M1", last_calibrated_on=None, last_accepted=None, slope_pct=None, offset_mv=None,
        in_doubt=True, readings_in_doubt=3, days_used_without_calibration=[], sentence="M1 failed its check.",
    )  # fmt: skip
    many = [
        lot.model_copy(update={"lot_id": f"{lot.lot_id}-{number}", "level": level, "reasons": []})
        for number in range(5)
        for level, lot in zip(("act", "no_reading", "watch"), [*site.lots, site.lots[0]], strict=True)
    ]
    many = [lot.model_copy(update={"reasons": [reason(lot.level)]}) for lot in many]
    full = summary.model_copy(
        update={"sites": [site.model_copy(update={"lots": many, "meters": [meter], "plan": site.plan})]}
    )
    text = text_of(only(write_mail(full, out, ANA)))
    labels = [line for line in text.splitlines() if line.isupper()]
    assert labels == ["ACT", "NO CURRENT READING", "SAMPLE", "METER", "WATCH"]
    assert "- 2 more lots: see the report." in text
    assert len(text.splitlines()) < 60
    assert max(map(len, text.splitlines())) <= 72


def test_each_grower_hears_of_her_houses_and_nobodys_lot_reaches_all(summary: Summary, out: Path) -> None:
    site = only_site(summary)
    first, second = site.lots
    lots = [
        first.model_copy(update={"house": "1", "grower_id": None}),
        second.model_copy(update={"house": "2", "grower_id": None}),
        second.model_copy(update={"lot_id": "H-3", "house": "3", "grower_id": None}),
        second.model_copy(update={"lot_id": "H-4", "house": "1", "grower_id": "bo"}),
    ]
    ana = grower("ana", "1")
    told = with_growers(summary, ana, BO, lots=lots)
    to_ana, to_bo = write_mail(told, out, ana, BO)
    assert "For Ana: 2 of the 4 lots of the site (House 1, House 3)." in text_of(read(to_ana.drafts[0]))
    assert "For Bo: 3 of the 4 lots of the site (House 1, House 2, House 3)." in text_of(
        read(to_bo.drafts[0])
    )


def test_who_stands_there_twice_gets_one_message(summary: Summary, out: Path) -> None:
    again = grower("ana-2", "2", name="Ana too", email="ANA@Hill.example".replace("ANA", "ana"))
    (written,) = write_mail(with_growers(summary, ANA, again), out, ANA, again)
    assert (written.recipient, written.name) == ("ana@hill.example", "Ana, Ana too")


def test_a_copy_for_the_manager_is_a_letter_of_its_own_and_said(summary: Summary, out: Path) -> None:
    mail = Mail.model_validate({"sender": SENDER, "copy_to_manager": True})
    (written,) = write_mail(summary, out, ANA, mail=mail)
    main, copy = written.drafts
    assert (main.key.report, copy.key.report) == (WEEKLY, COPY)
    assert (main.key.recipient, copy.key.recipient) == ("ana@hill.example", MANAGER.email)
    assert read(main)["Cc"].addresses[0].addr_spec == MANAGER.email
    assert "A copy went to Adela Quillmere." in text_of(read(main))
    assert text_of(read(main)) == text_of(read(copy))
    assert copy.key.content.startswith(f"{main.key.content} ")


def test_a_report_that_is_too_large_comes_in_parts_that_are_not(summary: Summary, out: Path) -> None:
    pdf = (out / "sites" / "hill.pdf").read_bytes()
    with pikepdf.open(io.BytesIO(pdf)) as whole:
        pages = len(whole.pages)
    assert pages > 2
    most = 60_000 + int(len(pdf) * 0.65)
    mail = Mail.model_validate({"sender": SENDER, "size_limit_mb": most / 1_000_000})
    (written,) = write_mail(summary, out, ANA, mail=mail)
    main, *further = written.drafts
    assert further
    assert {draft.key.report for draft in further} == {FURTHER}
    assert all(len(draft.message) <= most for draft in written.drafts)
    assert f"the rest comes in {len(further)} more" in " ".join(text_of(read(main)).split())
    parts = len(further) + 1
    assert [read(draft)["Subject"] for draft in further] == [
        f"Hill, week 15: 2 OK (part {number} of {parts})" for number in range(2, parts + 1)
    ]
    found = [
        attachment
        for draft in written.drafts
        for attachment in read(draft).iter_attachments()
        if "-p" in str(attachment.get_filename())
    ]
    counted = []
    for one in found:
        with pikepdf.open(io.BytesIO(one.get_content())) as part:
            counted.append(len(part.pages))
    assert sum(counted) == pages
    # the same again is the same to the byte: an attempt that is repeated sends what was stored
    assert write_mail(summary, out, ANA, mail=mail)[0].drafts == written.drafts


def test_a_report_that_is_too_large_can_be_linked(summary: Summary, out: Path) -> None:
    mail = Mail.model_validate(
        {
            "sender": SENDER,
            "size_limit_mb": 0.09,
            "over_limit": "link",
            "link": "https://files.example.com/leachbook/",
        }
    )
    message = only(write_mail(summary, out, ANA, mail=mail))
    link = "https://files.example.com/leachbook/2026-04-06/sites/hill.pdf"
    assert f"It is here:\n{link}\n" in text_of(message)
    assert f'<a href="{link}"' in text_of(message, "html")
    assert "hill-2026-w15.pdf" not in [one.get_filename() for one in message.iter_attachments()]


def test_pages_of_another_week_are_not_linked(summary: Summary, out: Path) -> None:
    """The night's page names the week of its day; where the mail is about the next one it goes in parts instead."""
    most = 60_000 + int((out / "sites" / "hill.pdf").stat().st_size * 0.65)
    linked = {"over_limit": "link", "link": "https://files.example.com/x"}
    mail = Mail.model_validate({"sender": SENDER, "size_limit_mb": most / 1_000_000, **linked})
    (night_s_own,) = write_mail(summary, out, ANA, mail=mail, period="2026-W15")
    assert "https://files.example.com/x" in text_of(read(night_s_own.drafts[0]))
    (written,) = write_mail(summary, out, ANA, mail=mail, period="2026-W16")
    assert len(written.drafts) > 1
    assert all("files.example.com" not in text_of(read(draft)) for draft in written.drafts)


def test_a_page_that_is_too_large_is_left_out_and_said(summary: Summary, out: Path) -> None:
    mail = Mail.model_validate({"sender": SENDER, "size_limit_mb": 0.065})
    message = only(write_mail(summary, out, ANA, mail=mail))
    assert "Ask for the file hill.pdf of 2026-04-06." in " ".join(text_of(message).split())
    assert "hill-2026-w15.pdf" not in [one.get_filename() for one in message.iter_attachments()]


def test_a_message_that_a_server_found_too_large_is_written_anew_once_the_limit_is_lower(
    summary: Summary, out: Path
) -> None:
    ((draft,),) = [one.drafts for one in write_mail(summary, out, ANA)]
    refused = replace(as_letter(draft), state="failed", code=552, size_bytes=len(draft.message))
    (still,) = write_mail(summary, out, ANA, known=(refused,))
    assert (still.kind, still.drafts) == ("unchanged", ())
    mail = Mail.model_validate({"sender": SENDER, "size_limit_mb": len(draft.message) * 0.9 / 1_000_000})
    (anew,) = write_mail(summary, out, ANA, mail=mail, known=(refused,))
    assert anew.kind == "new"
    assert all(len(one.message) <= mail.most_bytes for one in anew.drafts)
    # a key and a Message-ID of its own, since it is another message
    assert anew.drafts[0].key != draft.key
    (taken,) = write_mail(summary, out, ANA, mail=mail, known=(replace(refused, state="sent", code=None),))
    assert taken.kind == "unchanged"


def test_what_was_said_is_not_said_again_on_another_day_of_the_week(summary: Summary, out: Path) -> None:
    ((draft,),) = [one.drafts for one in write_mail(summary, out, ANA)]
    later = summary.model_copy(update={"night": summary.night.model_copy(update={"as_of": date(2026, 4, 8)})})
    (written,) = write_mail(later, out, ANA, known=(as_letter(draft),))
    assert (written.kind, written.drafts, written.message_id) == ("unchanged", (), draft.message_id)


def test_a_correction_says_what_changed_and_answers_the_one_before(summary: Summary, out: Path) -> None:
    ((draft,),) = [one.drafts for one in write_mail(summary, out, ANA)]
    lot = only_site(summary).lots[0]
    changed = change_lot(summary, lot.lot_id, level="act", reasons=[])
    changed = change_lot(changed, lot.lot_id, reasons=[reason("act")])
    (written,) = write_mail(changed, out, ANA, known=(as_letter(draft),))
    message = read(written.drafts[0])
    assert written.kind == "correction"
    assert message["Subject"] == "Correction: Hill, week 15: 1 act, 1 OK"
    assert message["In-Reply-To"] == draft.message_id
    assert text_of(message).startswith(
        "Hill, week 15\n=============\n\n"
        "CORRECTION: This takes the place of the report of 2026-04-06. What\nchanged:\n"
        f"- {lot.lot_id} {lot.crop}: OK before, ACT now.\n"
    )
    assert "OK before, ACT now" in text_of(message, "html")
    # back to what was said first: that is a correction of the correction, not the first message again
    known = (as_letter(draft), as_letter(written.drafts[0]))
    (back,) = write_mail(summary, out, ANA, known=known)
    assert back.kind == "correction"
    assert back.drafts[0].key not in {draft.key, written.drafts[0].key}


def test_a_correction_that_is_no_longer_true_does_not_go_out(summary: Summary, out: Path) -> None:
    ((draft,),) = [one.drafts for one in write_mail(summary, out, ANA)]
    wrong = change_lot(change_lot(summary, "H-1", level="act"), "H-1", reasons=[reason("act")])
    (written,) = write_mail(wrong, out, ANA, known=(as_letter(draft),))
    waiting = as_letter(written.drafts[0], "retry")
    (back,) = write_mail(summary, out, ANA, known=(as_letter(draft), waiting))
    assert (back.kind, back.drafts, back.withdrawn) == ("unchanged", (), waiting)
    assert back.letter == as_letter(draft)


@pytest.mark.parametrize(
    ("state", "kind"),
    [
        ("pending", "new"),
        ("retry", "new"),
        ("failed", "new"),
        ("cancelled", "new"),
        ("sent", "correction"),
        ("unknown", "correction"),
        ("sending", "correction"),
    ],
)
def test_only_what_may_have_arrived_is_corrected(
    summary: Summary, out: Path, state: State, kind: str
) -> None:
    ((draft,),) = [one.drafts for one in write_mail(summary, out, ANA)]
    letter = as_letter(draft, state)
    (same,) = write_mail(summary, out, ANA, known=(letter,))
    assert (same.kind, same.letter) == ("unchanged", letter)
    changed = change_lot(summary, "H-1", level="watch")
    changed = change_lot(changed, "H-1", reasons=[reason("watch")])
    (other,) = write_mail(changed, out, ANA, known=(letter,))
    assert other.kind == kind


def test_letters_of_another_kind_are_no_base_for_a_correction(summary: Summary) -> None:
    site = only_site(summary)
    strange = Letter(
        1, Key(WEEKLY, "hill", "2026-W15", "a@b.example", "c"), "<x@y>", "", "sent", NOW, NOW, NOW, 1, None, "", 1, "?"
    )  # fmt: skip
    assert decide([strange], gather_told(site, site.lots), 10_000_000).kind == "new"


@pytest.mark.parametrize(
    ("day", "period"),
    [(date(2026, 4, 6), "2026-W15"), (date(2027, 1, 1), "2026-W53"), (date(2024, 12, 30), "2025-W01")],
)
def test_a_week_is_named_by_its_own_year(day: date, period: str) -> None:
    assert name_period(day) == period


def test_the_same_night_gives_the_same_bytes(summary: Summary, out: Path) -> None:
    assert write_mail(summary, out, ANA) == write_mail(summary, out, ANA)
    other = write_mail(summary, out, ANA, now=datetime(2026, 4, 7, tzinfo=UTC))
    assert other[0].drafts[0].key == write_mail(summary, out, ANA)[0].drafts[0].key


@pytest.mark.parametrize("mail_day", range(7))
def test_mail_that_an_outage_put_off_takes_no_later_week_away(mail_day: int) -> None:
    monday = date(2026, 4, 6)
    due = [monday + timedelta(days=mail_day + 7 * number) for number in range(60)]
    late = [[name_period(day + timedelta(days=days), mail_day) for days in range(7)] for day in due]
    assert [set(names) for names in late] == [{names[0]} for names in late]
    assert len({names[0] for names in late}) == len(due)
