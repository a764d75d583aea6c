"""Kills weeks with SIGKILL at random moments and looks at what arrived: python -m tests.faults.kill_weekly [HOW_MANY].

Each week starts from the same home, whose night has run (every fifth one's has not), against a real SMTP server in this
process. After the kill the week is run again, to its end. Then each recipient has exactly one message, or a letter
that is `unknown` and told, and with it one message or none; and nobody has two different ones.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pipeline.delivery.outbox import open_outbox
from tests.conftest import ROOT, copy_home
from tests.delivery.mail_homes import PASSWORD_NAME, add_mail
from tests.delivery.smtp_server import PASSWORD, Server, make_certificates, run_server
from tests.home import DAY, Ran, make_home, night

Event = Literal["recipient named", "message over", "taken"]
EVENTS: tuple[Event, ...] = ("recipient named", "message over", "taken")
GROWERS = 12
LONGEST = {"Looking": 1.0, "Rendering": 2.0, "Writing messages": 0.6, "Sending": 0.6}


@dataclass(frozen=True)
class Moment:
    """When a week is killed: some seconds after it said a word, or when the server sees an event for the n-th time."""

    word: str = ""
    seconds: float = 0.0
    event: Event | None = None
    times: int = 1


def start_week(home: Path) -> subprocess.Popen[str]:
    """A week in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "weekly", str(home), "--as-of", str(DAY), "--json"],
        cwd=ROOT,
        env={**os.environ, PASSWORD_NAME: PASSWORD},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def kill_at(home: Path, server: Server, moment: Moment) -> bool:
    """Run a week and kill it at a moment; whether it was still running then."""
    process = start_week(home)
    if moment.event is not None:
        # In the server's thread, before its next answer goes out: no luck decides where the week stands.
        server.faults.call_at(moment.event, moment.times, process.kill)
    with process:
        assert process.stderr is not None
        if moment.event is None:
            for line in process.stderr:
                if line.startswith(moment.word):
                    time.sleep(moment.seconds)
                    break
            was_running = process.poll() is None
            process.kill()
        process.communicate(timeout=120)
    server.faults.call_at(None, 0, None)
    return process.returncode == -9 if moment.event is not None else was_running


def run_again(home: Path) -> Ran:
    """The week after the killed one, to its end."""
    process = start_week(home)
    out, err = process.communicate(timeout=300)
    return Ran(process.returncode, out, err)


def check(home: Path, server: Server, again: Ran, recipients: list[str]) -> Counter[str]:
    """See that nothing was lost in silence and nobody got two messages; how many letters ended how."""
    assert again.code in (0, 1), again.err
    with open_outbox(home) as outbox:
        letters = outbox.letters()
    assert sorted(letter.key.recipient for letter in letters) == sorted(recipients)
    told = {one["letter"]: one["state"] for one in again.json["open"]}
    for letter in letters:
        arrived = server.received.to(letter.key.recipient)
        assert {str(one["Message-ID"]) for one in arrived} <= {letter.message_id}
        if letter.state == "unknown":
            assert len(arrived) <= 1, letter
            assert told[letter.letter_id] == "unknown"
        else:
            assert (letter.state, len(arrived)) == ("sent", 1), letter
    assert (again.code == 1) == bool(told)
    return Counter(letter.state for letter in letters)


def draw_moment(draw: random.Random, *, has_night: bool) -> Moment:
    """Half at what the server sees, half by the clock."""
    if draw.random() < 0.5:
        return Moment(event=draw.choice(EVENTS), times=draw.randint(1, GROWERS))
    words = ["Writing messages", "Sending"] if has_night else list(LONGEST)
    word = draw.choice(words)
    return Moment(word, draw.uniform(0, LONGEST[word]))


def main() -> None:
    """Kill weeks at moments drawn by a fixed seed and print what became of each."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    draw = random.Random(20260406)  # noqa: S311  moments, not secrets
    totals: Counter[str] = Counter()
    with (
        tempfile.TemporaryDirectory() as folder,
        run_server(make_certificates(Path(folder) / "certificates")) as server,
    ):
        bare = make_home(Path(folder) / "bare")
        judged = copy_home(bare, Path(folder) / "judged")
        night(judged, pages=True)
        for number in range(how_many):
            server.received.clear()
            has_night = number % 5 != 4
            home = copy_home(judged if has_night else bare, Path(folder) / f"home-{number}")
            recipients = add_mail(home, server, growers=GROWERS)
            moment = draw_moment(draw, has_night=has_night)
            was_running = kill_at(home, server, moment)
            before = len(server.received.messages)
            ended = check(home, server, run_again(home), recipients)
            totals += ended
            when = (
                f"{moment.event} {moment.times}" if moment.event else f"{moment.word} +{moment.seconds:.2f} s"
            )
            sys.stdout.write(
                f"{number + 1:3} {when:26} {'killed' if was_running else 'had ended'} after {before:2} messages; "
                f"in the end {dict(ended)}\n"
            )
            sys.stdout.flush()
    sys.stdout.write(f"{how_many} weeks: {dict(totals)}; nothing lost in silence, nobody got two messages.\n")


if __name__ == "__main__":
    main()
