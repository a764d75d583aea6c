"""The commands `weekly` and `outbox` as somebody uses them, against a real server and into the folder."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime
from email import message_from_bytes, policy
from pathlib import Path
from zoneinfo import ZoneInfo

import pdfplumber
import pytest

from pipeline.delivery.outbox import open_outbox
from pipeline.delivery.week_names import begin_week
from pipeline.schedule.due import DueRun
from pipeline.schedule.state import (
    ScheduleState,
    after_failure,
    read_schedule,
    what_is_done,
    write_schedule,
)
from pipeline.settings import load_settings
from pipeline.weekly import plan_mail
from tests.delivery.letters import states
from tests.delivery.mail_homes import PASSWORD_NAME, add_mail
from tests.delivery.smtp_server import PASSWORD, Certificates, Server, make_certificates, run_server
from tests.home import (
    DAY,
    DROP,
    NOW,
    READINGS_HEADER,
    Ran,
    drop,
    make_home,
    night,
    pots,
    read_summary,
    run_cli,
)


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture(scope="module")
def one_server(certificates: Certificates) -> Iterator[Server]:
    with run_server(certificates) as running:
        yield running


@pytest.fixture
def server(one_server: Server, monkeypatch: pytest.MonkeyPatch) -> Server:
    one_server.received.clear()
    one_server.faults.clear()
    monkeypatch.setenv(PASSWORD_NAME, PASSWORD)
    return one_server


def week(home: Path, *options: str) -> Ran:
    return run_cli("weekly", home, "--as-of", DAY, *options)


def told(ran: Ran) -> list[str]:
    """What a week says of its mail, behind what the night says."""
    lines = ran.out.splitlines()
    return lines[next(n for n, line in enumerate(lines) if line.startswith("Messages to head growers")) :]


def test_a_week_goes_to_every_grower_once(home: Path, server: Server) -> None:
    addresses = add_mail(home, server)
    ran = week(home)
    assert ran.code == 0, ran.err
    assert told(ran) == ["Messages to head growers: 3 new.", "Mail: 3 sent."]
    assert sorted(to for to, _ in server.received.messages) == addresses
    again = week(home)
    assert told(again) == ["Messages to head growers: 3 said already.", "Mail: nothing was due."]
    assert len(server.received.messages) == 3
    assert PASSWORD not in ran.out + ran.err + again.out


def test_the_log_tells_what_was_written_and_sent_and_names_nobody(home: Path, server: Server) -> None:
    add_mail(home, server)
    server.faults.by_recipient["grower2@hill.example"] = "refused"
    assert week(home).code == 1
    text = (home / "log" / "runs.jsonl").read_text(encoding="utf-8")
    write, send = [json.loads(line) for line in text.splitlines()][-2:]
    assert (write["stage"], write["new"]) == ("write messages", 3)
    assert (send["stage"], send["sent"], send["failed"], send["put_off"]) == ("send", 2, 1, 0)
    assert write["run"] == send["run"]
    assert send["seconds"] > 0
    assert PASSWORD not in text
    assert "@hill.example" not in text


def test_the_night_is_run_only_if_it_has_not_run(home: Path, server: Server) -> None:
    add_mail(home, server)
    pages = (home / "out" / DAY.isoformat() / "overview.html").stat().st_ino
    ran = week(home)
    assert ran.out.splitlines()[0] == (
        f"Night of {DAY}: it has run before, so the drop folders were not looked into again; "
        f"leachbook nightly {home} takes in what arrived since."
    )
    assert week(home, "--json").json["night_was_run"] is False
    assert (home / "out" / DAY.isoformat() / "overview.html").stat().st_ino == pages


def test_a_home_whose_night_has_not_run_gets_it_and_its_mail(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    add_mail(home, None, growers=1)
    told_json = week(home, "--json").json
    assert told_json["night_was_run"] is True
    night_told = told_json["night"]
    # Every line of a file is a record of it, its header too.
    lines = sum(len(file.read_text("utf-8").splitlines()) for file in (home / DROP).iterdir())
    assert (night_told["unchanged"], night_told["new_files"], night_told["new_records"]) == (False, 3, lines)
    assert (told_json["sent"]["by_state"], told_json["open"]) == ({"sent": 1}, [])
    (file,) = (home / "out" / "mail").iterdir()
    assert re.fullmatch(r"weekly\.hill\.2026-W15\.grower1\.[0-9a-f]{20}\.eml", file.name)
    message = message_from_bytes(file.read_bytes(), policy=policy.default)
    (pdf, *_) = message.iter_attachments()
    assert pdf.get_content() == (home / "out" / str(DAY) / "sites" / "hill.pdf").read_bytes()


def test_one_bad_address_stops_nobody_and_is_told_until_somebody_acts(home: Path, server: Server) -> None:
    first, second, third = add_mail(home, server)
    server.faults.by_recipient[second] = "refused"
    ran = week(home)
    assert ran.code == 1
    assert sorted(to for to, _ in server.received.messages) == [first, third]
    assert told(ran)[1:] == [
        "Mail: 1 failed, 2 sent.",
        "1 not done with:",
        f"    2  failed     {second}  Hill, week 15: 2 OK",
        told(ran)[4],
        f"  leachbook outbox {home} lists, resends, cancels; with --send it sends what is due.",
    ]
    assert "the server answered 550 5.1.1 No such mailbox here; tried once" in told(ran)[4]
    listed = run_cli("outbox", home)
    assert (listed.code, listed.out.splitlines()[0]) == (
        1,
        f"    2  failed     {second}  Hill, week 15: 2 OK",
    )
    # the address works again: the letter goes out as it was
    server.faults.clear()
    resent = run_cli("outbox", home, "--resend", "2", "--send", "--json")
    assert (resent.code, resent.json["sent"]["by_state"]) == (0, {"sent": 1})
    assert server.received.to(second)[0]["Message-ID"] == resent.json["letters"][1]["message_id"]
    assert [one["outcome"] for one in resent.json["letters"][1]["history"]] == ["permanent", "sent"]
    assert week(home).code == 0


def test_a_greylisted_letter_says_when_it_is_tried_again(home: Path, server: Server) -> None:
    first, *_ = add_mail(home, server, growers=2)
    server.faults.by_recipient[first] = "greylisted"
    ran = week(home)
    assert ran.code == 1
    assert "1 retry, 1 sent" in ran.out
    assert re.search(
        r"451 4\.7\.1 Greylisted, come back later; tried once, again at 20\d\d-\d\d-\d\d \d\d:\d\d UTC",
        ran.out,
    )
    waiting = run_cli("outbox", home)
    assert waiting.code == 0
    assert "pending and retry go out when they are due" in waiting.out


def test_a_cancelled_letter_is_not_told_again(home: Path, server: Server) -> None:
    _, second, _ = add_mail(home, server)
    server.faults.by_recipient[second] = "refused"
    week(home)
    assert run_cli("outbox", home, "--cancel", "2").code == 0
    ran = week(home)
    assert (ran.code, server.received.to(second)) == (0, [])
    assert "cancelled" in run_cli("outbox", home, "--all").out


def test_a_wrong_password_is_one_sentence_and_nothing_is_lost(
    home: Path, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_mail(home, server, growers=2)
    monkeypatch.setenv(PASSWORD_NAME, "wrong horse")
    ran = week(home)
    assert ran.code == 1
    assert "No mail can be sent: localhost:" in ran.out
    assert "Mail: none was sent." in ran.out
    assert "user or password is refused" in ran.out
    assert "horse" not in ran.out + ran.err
    with open_outbox(home) as outbox:
        assert set(states(outbox).values()) == {"retry"}


def test_a_missing_password_is_told_before_the_night_is_run(
    tmp_path: Path, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = make_home(tmp_path / "home")
    add_mail(home, server)
    monkeypatch.delenv(PASSWORD_NAME)
    ran = week(home)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == (
        f"leachbook.toml: mail.password_env: the variable {PASSWORD_NAME} is empty or not there; "
        "put the password of leachbook into it.\n"
    )
    assert not (home / "out").exists()


def test_without_sending_the_messages_are_files_to_look_at_and_nothing_is_stored(
    home: Path, server: Server
) -> None:
    add_mail(home, server)
    ran = week(home, "--no-send")
    folder = home / "out" / "mail-preview" / DAY.isoformat()
    assert ran.code == 0
    assert told(ran)[-1] == f"Nothing was sent or stored. Look at the .eml files in {folder}"
    assert len(list(folder.iterdir())) == 3
    assert server.received.messages == []
    assert not (home / "outbox.sqlite").exists()


def test_a_site_without_a_grower_is_told(home: Path) -> None:
    ran = week(home)
    assert ran.code == 1
    assert told(ran)[:2] == [
        "Messages to head growers: none.",
        "  Hill: site.toml names no head grower, so nobody was told; add a [[grower]].",
    ]


@pytest.mark.parametrize("then", ["waits", "cancelled"])
def test_what_went_out_once_is_corrected_also_while_it_is_to_be_resent(
    home: Path, server: Server, then: str
) -> None:
    first, *_ = add_mail(home, server, growers=1)
    week(home)
    run_cli("outbox", home, "--resend", "1")
    if then == "cancelled":
        run_cli("outbox", home, "--cancel", "1")
        assert "1  sent " in run_cli("outbox", home, "--all").out
    bad = pots("H-1", "2026-04-02", ("6.9", "7.0", "7.1", "7.0", "7.0"))
    good = pots("H-2", "2026-04-02", ("6.0",) * 5, ec="3.00")
    drop(home, "readings_2026-04-02.csv", READINGS_HEADER + bad + good)
    night(home, pages=True)
    assert told(week(home))[0] == "Messages to head growers: 1 correction."
    one, other = server.received.to(first)
    assert other["In-Reply-To"] == one["Message-ID"]


def test_a_mended_reading_goes_out_as_a_correction_that_names_it(home: Path, server: Server) -> None:
    first, *_ = add_mail(home, server, growers=1)
    week(home)
    bad = pots("H-1", "2026-04-02", ("6.9", "7.0", "7.1", "7.0", "7.0"))
    drop(
        home,
        "readings_2026-04-02.csv",
        READINGS_HEADER + bad + pots("H-2", "2026-04-02", ("6.0",) * 5, ec="3.00"),
    )
    night(home, pages=True)
    ran = week(home)
    assert told(ran)[0] == "Messages to head growers: 1 correction."
    one, other = server.received.to(first)
    assert other["Subject"].startswith("Correction: Hill, week 15: 1 act")
    assert other["In-Reply-To"] == one["Message-ID"]
    body = other.get_body(("plain",))
    assert body is not None
    text = " ".join(body.get_content().split())
    assert "CORRECTION: This takes the place of the report of 2026-04-06. What changed:" in text
    assert "H-1 petunia: OK before, ACT now; pH of 2026-04-02 is 7.00 (clearly out), not 5.80 (OK)." in text
    assert week(home).out.count("1 said already") == 1


def test_an_outbox_that_is_not_there_or_damaged_is_one_sentence(home: Path, server: Server) -> None:
    assert run_cli("outbox", home).out == f"The outbox of {home} is empty.\n"
    assert run_cli("outbox", home, "--resend", "1").err == (
        f"{home}/outbox.sqlite: there is no outbox yet; leachbook weekly makes it.\n"
    )
    (home / "outbox.sqlite").write_bytes(b"no database " * 400)
    add_mail(home, server)
    for command in (("outbox", home), ("weekly", home, "--as-of", DAY)):
        ran = run_cli(*command)
        assert ran.code == 2
        assert ran.err.splitlines()[-1].startswith(f"{home}/outbox.sqlite: the outbox cannot be used (")


def test_the_weeks_of_mail_begin_on_its_weekday(home: Path) -> None:
    add_mail(home, None, more='[schedule]\nweek_day = "sunday"')
    settings = load_settings(home)
    summary = read_summary(home)
    late = summary.model_copy(
        update={"night": summary.night.model_copy(update={"as_of": date(2026, 4, 7)})}
    )  # a Tuesday, two days after mail was due
    next_one = summary.model_copy(
        update={"night": summary.night.model_copy(update={"as_of": date(2026, 4, 12)})}
    )
    periods = [
        job.period
        for told in (late, next_one)
        for job in plan_mail(
            settings,
            told,
            home / "out",
            (),
            NOW,
            begin_week(told.night.as_of, settings.group.schedule.mail_day),
        )
    ]
    assert periods == ["2026-W14", "2026-W15"]


def test_a_week_that_judges_from_the_night_before_it_is_named_by_its_own_day(home: Path) -> None:
    """Mail before the night: after an outage Monday's was judged from Monday, the next one's from the Sunday before."""
    add_mail(home, None, growers=1, more='[schedule]\nnight = "06:00"\nweek_time = "02:00"')
    run_cli("weekly", home, "--as-of", DAY, "--week", DAY)
    sunday, monday = date(2026, 4, 12), date(2026, 4, 13)
    night(home, sunday, pages=True)
    ran = run_cli("weekly", home, "--as-of", sunday, "--week", monday)
    assert told(ran)[0] == "Messages to head growers: 1 new.", "it corrects no other week"
    with open_outbox(home) as outbox:
        one, other = outbox.letters()
    assert (one.key.period, other.key.period) == ("2026-W15", "2026-W16")
    assert (one.subject.split(":")[0], other.subject.split(":")[0]) == ("Hill, week 15", "Hill, week 16")
    again = run_cli("weekly", home, "--as-of", sunday, "--week", monday)
    assert told(again)[0] == "Messages to head growers: 1 said already."


def weeks_told(file: Path) -> dict[str, set[str]]:
    """By place, the numbers of all weeks that a message and its report name."""
    message = message_from_bytes(file.read_bytes(), policy=policy.default)
    report, *_ = attached = list(message.iter_attachments())
    with pdfplumber.open(io.BytesIO(report.get_content())) as pdf:
        pages = " ".join(page.extract_text() for page in pdf.pages)
        title = str(pdf.metadata["Title"])
    texts = {kind: message.get_body((kind,)) for kind in ("plain", "html")}
    places = {
        "subject": message["Subject"],
        **{kind: str(body.get_content()) for kind, body in texts.items() if body is not None},
        "pages": pages,
        "title": title,
        "files": " ".join(str(one.get_filename()) for one in attached),
    }
    return {
        place: set(re.findall(r"(?:[Ww]eek |2026-[wW])(\d+)", str(words))) for place, words in places.items()
    }


@pytest.mark.parametrize(
    ("week_day", "as_of", "week", "number"),
    [
        ("monday", DAY, None, "15"),
        # by hand on the Tuesday before the next mail: still the report of the week that began on Wednesday
        ("wednesday", date(2026, 4, 7), None, "14"),
        # mail before the night: judged from Sunday, about the week that begins
        ("monday", date(2026, 4, 12), date(2026, 4, 13), "16"),
    ],
)
def test_one_report_bears_the_name_of_one_week_wherever_it_is_named(
    tmp_path: Path, week_day: str, as_of: date, week: date | None, number: str
) -> None:
    home = make_home(tmp_path / "home")
    add_mail(home, None, growers=1, more=f'[schedule]\nweek_day = "{week_day}"')
    run_cli("weekly", home, "--as-of", as_of, *([] if week is None else ["--week", week]))
    (file,) = (home / "out" / "mail").iterdir()
    places = weeks_told(file)
    assert len(places) == 6
    assert all(numbers == {number} for numbers in places.values()), places
    (letter,) = run_cli("outbox", home, "--all", "--json").json["letters"]
    assert letter["period"] == f"2026-W{number}"
    assert letter["subject"].startswith(f"Hill, week {number}: ")


def test_a_week_far_from_its_night_is_refused(home: Path) -> None:
    add_mail(home, None, growers=1)
    ran = run_cli("weekly", home, "--as-of", DAY, "--week", "2026-04-17")
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == (
        "--week 2026-04-17: is more than 10 days from 2026-04-06, from which it is judged; give the day of the mail, "
        "or leave --week out.\n"
    )
    assert not (home / "outbox.sqlite").exists()


def test_status_names_mail_that_failed_and_the_command_that_mends_it(home: Path, server: Server) -> None:
    _, second, third = add_mail(home, server)
    assert "MAIL" not in run_cli("status", home).out, "nothing is wrong, so nothing is told"
    assert not (home / "outbox.sqlite").exists(), "who asks how things stand makes no outbox"
    server.faults.by_recipient |= {second: "refused", third: "dropped after DATA"}
    week(home)
    lines = run_cli("status", home).out.splitlines()
    told_mail = [line for line in lines if "MAIL" in line or line.startswith(("  failed:", "  unknown:"))]
    assert told_mail == [
        f"MAIL: 1 letter failed: letter 2 to {second}.",
        f"MAIL: 1 letter may have arrived or not: letter 3 to {third}.",
        (
            f"  failed: once the address or the server is mended, leachbook outbox {home} --resend 2 --send; "
            "or let it be with --cancel 2."
        ),
        (
            f"  unknown: ask whether it arrived; if so, leachbook outbox {home} --cancel 3; "
            "if not, --resend 3 --send."
        ),
    ]
    as_json = run_cli("status", home, "--json").json["mail"]
    assert ([one["letter"] for one in as_json["failed"]], as_json["unknown"][0]["recipient"]) == ([2], third)
    assert (as_json["waiting"], as_json["error"], as_json["failed"][0]["code"]) == (0, None, 550)
    listed = run_cli("outbox", home).out.splitlines()
    assert [f"  {line}" for line in listed[-2:]] == told_mail[2:], "the outbox names the same commands"
    # The command that is named does mend it.
    server.faults.clear()
    assert run_cli("outbox", home, "--resend", "2", "--send").code == 1
    assert run_cli("outbox", home, "--cancel", "3").code == 0
    assert "MAIL" not in run_cli("status", home).out


def test_status_tells_of_an_outbox_that_cannot_be_read(home: Path) -> None:
    (home / "outbox.sqlite").write_bytes(b"no database " * 400)
    ran = run_cli("status", home)
    assert ran.code == 0
    assert f"MAIL: {home}/outbox.sqlite: the outbox cannot be used (" in ran.out


def test_sending_and_changing_by_hand_is_in_the_log(home: Path, server: Server) -> None:
    _, second, _ = add_mail(home, server)
    server.faults.by_recipient[second] = "refused"
    week(home)
    server.faults.clear()
    run_cli("outbox", home, "--resend", "2", "--send")
    run_cli("outbox", home, "--send")
    text = (home / "log" / "runs.jsonl").read_text(encoding="utf-8")
    changed, sent, nothing = [json.loads(line) for line in text.splitlines()][-3:]
    assert (changed["event"], changed["by"], changed["resend"], changed["cancel"]) == (
        "letters changed",
        "hand",
        [2],
        [],
    )
    assert (sent["event"], sent["by"], sent["sent"], sent["down"]) == ("mail", "hand", 1, "")
    assert (nothing["event"], "sent" in nothing) == ("mail", False)
    assert "@hill.example" not in text


def test_a_week_by_hand_makes_up_the_one_that_the_schedule_saw_fail(home: Path) -> None:
    add_mail(home, None, growers=1)
    run_of = DueRun("week", DAY, DAY)
    now = datetime.now(UTC)
    write_schedule(home, after_failure(ScheduleState(since=now), run_of, now, "no password."))
    assert "THE GROWERS' MAIL OF 2026-04-06 FAILED once" in run_cli("status", home).out
    week(home, "--no-send")
    assert "FAILED" in run_cli("status", home).out, "a look at the messages sends nothing"
    week(home)
    assert "FAILED" not in run_cli("status", home).out
    state = read_schedule(home)
    assert state is not None
    assert what_is_done(home, state).week == DAY, "and the schedule does not try it again"
    later = after_failure(state, DueRun("week", date(2026, 4, 13), DAY), datetime.now(UTC), "no password.")
    write_schedule(home, later)
    assert "THE GROWERS' MAIL OF 2026-04-13 FAILED once" in run_cli("status", home).out, "another week is not"


def test_instants_are_told_by_the_clocks_of_the_group(home: Path, server: Server) -> None:
    first, second, _ = add_mail(home, server)
    text = (home / "leachbook.toml").read_text(encoding="utf-8")
    server.faults.by_recipient |= {first: "greylisted", second: "refused"}
    assert '"UTC"' in text
    week(home)
    (home / "leachbook.toml").write_text(text.replace('"UTC"', '"Asia/Tokyo"'), encoding="utf-8")
    ran = run_cli("outbox", home, "--all").out
    with open_outbox(home) as outbox:
        letters = outbox.letters()
    tokyo = ZoneInfo("Asia/Tokyo")
    waits, failed, sent = (
        f"{at.astimezone(tokyo):%Y-%m-%d %H:%M} JST"
        for at in (letters[0].due_at, letters[1].changed_at, letters[2].changed_at)
    )
    assert f"again at {waits}" in ran
    assert f"tried once, last {failed}" in ran
    assert f"\n         {sent}" in ran
    assert "UTC" not in ran
    assert f"was sent on {sent}; it cannot be taken back" in run_cli("outbox", home, "--cancel", "3").err
