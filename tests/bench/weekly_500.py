"""One week of 500 head growers against a real SMTP server: python -m tests.bench.weekly_500 [GROWERS] [A_SITE].

Prints how long the night, its pages, the messages and the sending took; what share of all cores the workers kept busy
while they laid out the pages (their processor time over wall-clock time and cores), the same of what others left
them, and what share lay idle; and how much memory the run and its workers took. A site has four lots and, unless said
otherwise, five growers.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

from pipeline.delivery.outbox import open_outbox
from pipeline.stopping import begin_worker
from pipeline.weekly import run_week
from tests.delivery.mail_homes import PASSWORD_NAME
from tests.delivery.smtp_server import PASSWORD, USER, Server, make_certificates, run_server
from tests.home import DAY, GOOD_PH, GOOD_PH_2, GROUP, LOTS_HEADER, METERS, NOW, READINGS_HEADER, SITE, pots

LOW_PH = ("4.8", "4.9", "4.9", "5.0", "4.8")
DAYS = ("2026-03-12", "2026-03-19", "2026-03-26", "2026-04-02")
STEPS = ("Looking", "Loading", "Judging", "Rendering", "Publishing", "Writing", "Sending")


def make_group(home: Path, server: Server, growers: int, a_site: int) -> int:
    """A home with so many growers; returns the number of its sites."""
    home.mkdir()
    sites = -(-growers // a_site)
    mail = (
        f'[mail]\ntransport = "smtp"\nhost = "localhost"\nport = {server.port}\nca_file = "{server.ca_file}"\n'
        f'user = "{USER}"\npassword_env = "{PASSWORD_NAME}"\n'
        'sender = {name = "Leachbook", email = "reports@quillmere.example"}\n'
    )
    (home / "leachbook.toml").write_text(f"{GROUP}\n{mail}", encoding="utf-8")
    for number in range(sites):
        name = f"s{number:03}"
        folder = home / "sites" / name
        (folder / "drop").mkdir(parents=True)
        people = "".join(
            f'\n[[grower]]\nid = "g{one}"\nname = "Grower {one}"\nemail = "g{one}.{name}@hill.example"\n'
            for one in range(min(a_site, growers - number * a_site))
        )
        text = SITE.replace('id = "hill"', f'id = "{name}"').replace('"Hill"', f'"Site {name}"') + people
        (folder / "site.toml").write_text(text, encoding="utf-8")
        lots = [f"{name.upper()}-{lot}" for lot in range(4)]
        table = "".join(
            f"{lot},{place % 2 + 1},petunia,pot_5_6in,2026-03-02,2026-05-20,800\n"
            for place, lot in enumerate(lots)
        )
        readings = "".join(
            pots(lot, day, (GOOD_PH, GOOD_PH_2, LOW_PH, GOOD_PH)[place])
            for day in DAYS
            for place, lot in enumerate(lots)
        )
        for file, content in (
            ("lots", LOTS_HEADER + table),
            ("meters", METERS),
            ("readings", READINGS_HEADER + readings),
        ):
            (folder / "drop" / f"{file}.csv").write_text(content, encoding="utf-8")
    return sites


def use_of_worker(_: int) -> tuple[int, float, int]:
    """Number, seconds of processor time and peak memory (kB) of the process that does this."""
    time.sleep(0.02)
    return os.getpid(), time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def use_of_workers(pool: Executor) -> dict[int, tuple[float, int]]:
    """Seconds of processor time and peak memory (kB) of each worker by its number. For an idle pool."""
    return {number: (seconds, peak) for number, seconds, peak in pool.map(use_of_worker, range(40))}


@dataclass(frozen=True)
class Cores:
    """Seconds, summed over all cores: since the machine came up at work or idle, since this process began its own."""

    at_work: float
    idle: float
    own: float


def look_at_cores() -> Cores:
    """What the cores of this machine did until now (proc(5), /proc/stat: user, nice, system, idle, iowait, irqs)."""
    fields = Path("/proc/stat").read_text(encoding="ascii").split("\n", 1)[0].split()
    user, nice, system, idle, waiting, irq, soft = (
        int(one) / os.sysconf("SC_CLK_TCK") for one in fields[1:8]
    )
    return Cores(user + nice + system + irq + soft, idle + waiting, time.process_time())


@dataclass
class Watch:
    """Notes when each step begins, and what the cores did while the pages were laid out."""

    pool: Executor
    times: dict[str, float] = field(default_factory=lambda: {"begin": time.monotonic()})
    cores: dict[str, Cores] = field(default_factory=dict)
    busy: float = 0.0
    """Seconds of processor time of all workers, from their start to the last page."""

    def say(self, text: str) -> None:
        """Hear what the run says."""
        step = text.split()[0]
        if step not in STEPS or step in self.times:
            return
        self.times[step] = time.monotonic()
        self.cores[step] = look_at_cores()
        if step == "Publishing":
            self.busy = sum(seconds for seconds, _ in use_of_workers(self.pool).values())

    def tell_cores(self) -> str:
        """What the workers used of all cores while pages were laid out, and what other work left them."""
        seconds = self.times["Publishing"] - self.times["Rendering"]
        cores = os.cpu_count() or 1
        before, after = self.cores["Rendering"], self.cores["Publishing"]
        own = self.busy + after.own - before.own
        others = max(0.0, after.at_work - before.at_work - own)
        room = seconds * cores
        return (
            f"pages took {seconds:.1f} s on {cores} cores: {self.busy:.1f} s of the workers' processor time, "
            f"{self.busy / room:.0%} of all cores, {self.busy / (room - others):.0%} of what other programs left; "
            f"{(after.idle - before.idle) / room:.0%} lay idle"
        )


def main() -> None:
    """Run it and print the figures."""
    growers = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    a_site = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    with (
        tempfile.TemporaryDirectory() as folder,
        run_server(make_certificates(Path(folder) / "certificates")) as server,
    ):
        server.received.is_keeping = False
        home = Path(folder) / "home"
        sites = make_group(home, server, growers, a_site)
        with ProcessPoolExecutor(mp_context=get_context("forkserver"), initializer=begin_worker) as pool:
            watch = Watch(pool)
            result = run_week(
                home,
                DAY,
                now=NOW,
                clock=lambda: datetime.now(UTC),
                environment={PASSWORD_NAME: PASSWORD},
                say=watch.say,
                executor=pool,
            )
            times = watch.times
            times["end"] = time.monotonic()
            workers = use_of_workers(pool)
        assert result.delivered is not None
        assert result.delivered.by_state == {"sent": growers}, result.delivered
        assert len({to for to, _ in server.received.messages}) == len(server.received.messages) == growers
        with open_outbox(home) as outbox:
            sizes = [letter.size_bytes for letter in outbox.letters()]
        told = [*times.items()]
        for (step, at), (_, until) in pairwise(told):
            sys.stdout.write(f"{step:12}{until - at:8.1f} s\n")
        own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
        sys.stdout.write(
            f"{growers} growers at {sites} sites, messages of {sum(sizes) / len(sizes) / 1000:.0f} kB; "
            f"{growers / (times['end'] - times['Sending']):.0f} sent a second\n"
            f"{watch.tell_cores()} (load of the machine {os.getloadavg()[0]:.1f})\n"
            f"peak memory: this process (with the server) {own:.0f} MB, "
            f"workers {', '.join(f'{peak / 1000:.0f}' for _, peak in workers.values())} MB\n"
        )


if __name__ == "__main__":
    main()
