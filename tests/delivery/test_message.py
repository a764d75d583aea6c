"""One message as bytes: what is in its head, whatever names and subjects hold."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.delivery.message import Attachment, Mailbox, Parts, name_file, one_line, write_message
from pipeline.settings.addresses import to_wire
from tests.examples import examples

AT = datetime(2026, 4, 6, 6, 30, tzinfo=timezone(timedelta(hours=2)))
ID = "<weekly.hill.2026-W15.ana.0123@quillmere.example>"
PARTS = Parts(
    sender=Mailbox("Leachbook", "reports@quillmere.example"),
    to=Mailbox("Zoë “Zo” Ünal", "zoe@bücher.example"),
    subject="Hill, week 15: 1 act",
    text="Buenos días: pH 5,8\n.\n..\n" + "x" * 1200 + "\n",
    html="<p>Buenos días</p>",
    attachments=[
        Attachment("week.pdf", "application/pdf", bytes(range(256)) * 40),
        Attachment("week.ics", "text/calendar", "BEGIN:VCALENDAR\r\nSUMMARY:ñ\r\nEND:VCALENDAR\r\n".encode()),
    ],
    reply_to=Mailbox("", "adela@quillmere.example"),
    language="es",
)


def read(data: bytes) -> EmailMessage:
    return message_from_bytes(data, policy=policy.default)


def test_all_parts_come_back_as_they_went_in() -> None:
    message = read(write_message(PARTS, ID, AT))
    assert message["From"].addresses[0].addr_spec == "reports@quillmere.example"
    (to,) = message["To"].addresses
    assert (to.display_name, to.addr_spec) == ("Zoë “Zo” Ünal", "zoe@xn--bcher-kva.example")
    assert message["Subject"] == PARTS.subject
    assert message["Date"].datetime == AT
    assert (message["Message-ID"], message["Auto-Submitted"]) == (ID, "auto-generated")
    assert message["Reply-To"] == "adela@quillmere.example"
    plain, html = message.get_body(("plain",)), message.get_body(("html",))
    assert plain is not None
    assert html is not None
    assert plain.get_content().splitlines() == PARTS.text.splitlines()
    assert "Buenos días" in html.get_content()
    pdf, calendar = message.iter_attachments()
    assert (pdf.get_filename(), pdf.get_content()) == ("week.pdf", bytes(range(256)) * 40)
    assert (calendar.get_content_type(), calendar.get_payload(decode=True)) == (
        "text/calendar",
        PARTS.attachments[1].data,
    )


def test_the_wire_carries_it_whatever_the_server_can() -> None:
    data = write_message(PARTS, ID, AT)
    assert data.isascii()
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(map(len, data.split(b"\r\n"))) <= 998  # RFC 5322, 2.1.1


def test_the_same_parts_are_the_same_bytes() -> None:
    assert write_message(PARTS, ID, AT) == write_message(PARTS, ID, AT)
    assert write_message(PARTS, ID, AT) != write_message(PARTS, ID.replace("0123", "0124"), AT)


def test_a_correction_answers_what_it_corrects() -> None:
    message = read(write_message(replace(PARTS, answers="<old@x.example>"), ID, AT))
    assert (message["In-Reply-To"], message["References"]) == ("<old@x.example>",) * 2


@pytest.mark.parametrize("length", [1, 30, 50, 58, 66, 90, 400])
def test_ids_of_any_length_stand_on_one_line_as_they_are(length: int) -> None:
    long = f"<weekly.{'a' * length}@quillmere.example>"
    data = write_message(replace(PARTS, answers=long), long, AT)
    for name in ("Message-ID", "In-Reply-To", "References"):
        assert f"{name}: {long}\r\n".encode() in data


def test_what_is_no_id_is_refused() -> None:
    for bad in (
        "<a b@x.example>",
        "<a@x.example>\r\nBcc: y@z.example",
        "a@x.example",
        f"<{'a' * 999}@x.example>",
    ):
        with pytest.raises(ValueError, match=r".*"):
            write_message(PARTS, bad, AT)


ANY_TEXT = st.text(st.characters(codec="utf-8"), max_size=80)
EVIL = st.sampled_from(
    ["\r\nBcc: all@evil.example", "\nX: y", "\r\n\r\n<html>", "\x00", "\u2028To: x", "a@b.c>, <d@e.f"]
)
HOSTILE = st.builds("".join, st.lists(st.one_of(ANY_TEXT, EVIL), max_size=4))


@settings(max_examples=examples(60), deadline=None)
@given(HOSTILE, HOSTILE, HOSTILE)
def test_no_name_and_no_subject_can_add_a_line_to_the_head(name: str, subject: str, file: str) -> None:
    parts = replace(
        PARTS,
        sender=Mailbox(name, "reports@quillmere.example"),
        to=Mailbox(name, "ana@hill.example"),
        subject=subject,
        attachments=[Attachment(file, "application/pdf", b"%PDF")],
    )
    message = read(write_message(parts, ID, AT))
    assert sorted(message.keys()) == sorted(read(write_message(PARTS, ID, AT)).keys())
    for field, address in (("From", "reports@quillmere.example"), ("To", "ana@hill.example")):
        assert [one.addr_spec for one in message[field].addresses] == [address]
    assert message["Subject"].splitlines() in ([message["Subject"]], [])
    (attached,) = message.iter_attachments()
    assert "/" not in str(attached.get_filename())
    assert not str(attached.get_filename()).startswith(".")


@pytest.mark.parametrize(
    ("address", "wire"),
    [
        ("ana@hill.example", "ana@hill.example"),
        ("Ana.B+c@Hill.Example", "Ana.B+c@hill.example"),
        ("ana@müller.example", "ana@xn--mller-kva.example"),
    ],
)
def test_an_address_as_it_goes_over_the_wire(address: str, wire: str) -> None:
    assert to_wire(address) == wire


@pytest.mark.parametrize(
    "address",
    [
        "",
        "ana",
        "ana@",
        "@hill.example",
        "ana@hill",
        "ana@hill..example",
        "ana@-hill.example",
        "ana@1.2.3.4",
        ".ana@hill.example",
        "ana.@hill.example",
        "a..b@hill.example",
        "jörg@hill.example",
        "ana@hill.example\nBcc: x@y.example",
        "ana@hill.example, bo@hill.example",
        "Ana <ana@hill.example>",
        "ana b@hill.example",
        "ana\x00@hill.example",
        "a" * 65 + "@hill.example",
        "ana@" + "a" * 64 + ".example",
        "ana@" + ".".join(["a" * 60] * 5) + ".example",
    ],
)
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        to_wire(address)


@settings(deadline=None)
@given(st.text())
def test_one_line_is_one_line(text: str) -> None:
    line = one_line(text, 40)
    assert len(line) <= 40
    assert all(letter.isprintable() for letter in line)


@settings(deadline=None)
@given(st.text())
def test_a_files_name_is_a_name(text: str) -> None:
    assert name_file(text)
    assert not set(name_file(text)) & set('/\\:\r\n"\0 ')


def test_the_date_is_of_the_zone_that_was_given() -> None:
    data = write_message(PARTS, ID, AT)
    assert b"Date: Mon, 06 Apr 2026 06:30:00 +0200" in data
    assert b"+0000" in write_message(PARTS, ID, AT.astimezone(UTC)).split(b"\r\n\r\n")[0]
