"""The week's messages of one site, one for each head grower, as drafts for the outbox.

A job is a value and so is what it gives back, so that any executor can do the sites side by side.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from pipeline.delivery.facts import Told, gather_told, pack_facts
from pipeline.delivery.message import Mailbox, Parts, write_message
from pipeline.delivery.outbox import Draft, Key, Letter, make_message_id
from pipeline.delivery.plan import Before, Decision, Kind, decide
from pipeline.delivery.scope import take_lots
from pipeline.delivery.week_names import read_week
from pipeline.delivery.week_parts import Enclosed, Load, is_named_alike, read_enclosed, share_out
from pipeline.delivery.week_text import render_html, render_text
from pipeline.delivery.week_view import Week, write_week
from pipeline.errors import MailError
from pipeline.reports.formats import Phrases, Voice, load_phrases
from pipeline.reports.summary import Grower, Site, Summary
from pipeline.settings import Person
from pipeline.settings.addresses import to_wire
from pipeline.settings.mail import Mail
from pipeline.settings.models import Grower as GrowerSettings

WEEKLY: Final = "weekly"
FURTHER: Final = "weekly-part"
COPY: Final = "weekly-copy"
_NOBODY: Final = Mailbox("Leachbook", "leachbook@localhost.invalid")
"""Who a message in a folder is from where the settings name nobody (RFC 2606: reaches nobody)."""


@dataclass(frozen=True, slots=True)
class SiteMail:
    """What one process needs to write the messages of one site; `summary` holds that site alone."""

    summary: Summary
    out: Path
    mail: Mail
    manager: Person | None
    growers: tuple[GrowerSettings, ...]
    known: tuple[Letter, ...]
    now: datetime
    period: str


@dataclass(frozen=True, slots=True)
class Written:
    """What is to be done for one recipient: the drafts (none where all was said), and why.

    `letter`: where all was said, the one that said it; `withdrawn`: a correction that must not go out any more.
    """

    site: str
    recipient: str
    name: str
    kind: Kind
    subject: str
    message_id: str
    drafts: tuple[Draft, ...] = ()
    letter: Letter | None = None
    withdrawn: Letter | None = None

    def without_messages(self) -> Written:
        """The same without what takes room."""
        return replace(self, drafts=())


def write_site_letters(job: SiteMail) -> list[Written]:
    """Write the messages of one site. Raises MailError when a file of the night cannot be read."""
    return list(_write_all(job))


def _write_all(job: SiteMail) -> Iterator[Written]:
    (site,) = job.summary.sites
    voice = Voice(load_phrases(site.language), site.date_format)
    words = load_phrases(site.language, "mail")
    enclosed: tuple[Enclosed, list[Enclosed]] | None = None
    for address, people in group_by_address(job.growers).items():
        ids = {person.id for person in people}
        growers = [one for one in site.growers if one.grower_id in ids] or [_as_told(one) for one in people]
        told = gather_told(site, take_lots(site, growers))
        about = [letter for letter in job.known if letter.key.recipient == address]
        decision = decide(about, told, job.mail.most_bytes)
        name = ", ".join(person.name for person in people)
        said = decision.letter
        if said is not None:
            yield Written(
                site.site_id,
                address,
                name,
                "unchanged",
                said.subject,
                said.message_id,
                letter=said,
                withdrawn=decision.withdrawn,
            )
            continue
        if enclosed is None:
            try:
                enclosed = read_enclosed(job.summary, site, job.out, words, job.period)
            except OSError as error:
                raise MailError(
                    f"{error.filename}: cannot be read ({error.strerror}); run leachbook weekly again, which makes the "
                    "night's pages anew."
                ) from error
        load = share_out(*enclosed, job.mail.most_bytes, _link(job, site), words)
        writer = _Writer(job, site, voice, words, Mailbox(name, address), growers, told)
        drafts = tuple(writer.write(decision, load))
        main = drafts[0]
        yield Written(site.site_id, address, name, decision.kind, main.subject, main.message_id, drafts)


def group_by_address(growers: Iterable[GrowerSettings]) -> dict[str, list[GrowerSettings]]:
    """Growers by the address that reaches them: who stands there twice gets one message."""
    groups: dict[str, list[GrowerSettings]] = {}
    for grower in growers:
        groups.setdefault(to_wire(grower.email).lower(), []).append(grower)
    return groups


def _as_told(grower: GrowerSettings) -> Grower:
    return Grower(grower_id=grower.id, name=grower.name, houses=list(grower.houses))


def _link(job: SiteMail, site: Site) -> str | None:
    """Where the night's PDF can be read; None where none is to be linked, or it bears another week than the mail."""
    if job.mail.over_limit != "link" or job.mail.link is None:
        return None
    if not is_named_alike(job.summary.night.as_of, job.period):
        return None
    return f"{job.mail.link}/{job.summary.night.as_of.isoformat()}/sites/{site.site_id}.pdf"


@dataclass(frozen=True, slots=True)
class _Writer:
    """Writes all messages to one recipient."""

    job: SiteMail
    site: Site
    voice: Voice
    words: Phrases
    to: Mailbox
    growers: list[Grower]
    told: Told

    def write(self, decision: Decision, load: Load) -> Iterator[Draft]:
        """The message first, then what is sent along with it: further parts of the report, a copy."""
        week = write_week(
            self.job.summary,
            self.site,
            self.growers,
            self.told,
            decision.before,
            self.voice,
            week=read_week(self.job.period),
        )
        facts = pack_facts(self.told, self.job.summary.night.as_of)
        content = _digest(self.to.email, self.told, decision.before, load)
        closing = tuple(self._close(load))
        main = self._parts(week, load.first, closing, load, decision.before)
        yield self._draft(WEEKLY, content, main, facts)
        manager = self._copied()
        if manager is not None:
            yield self._draft(COPY, f"{content} {self.to.email}", main, "", to_wire(manager.email).lower())
        for number, enclosed in enumerate(load.further, start=2):
            part = self._further(week, enclosed, number, len(load.further) + 1)
            yield self._draft(FURTHER, f"{content} {number}", part, "")

    def _draft(
        self, report: str, content: str, parts: Parts, facts: str, recipient: str | None = None
    ) -> Draft:
        key = Key(report, self.site.site_id, self.job.period, recipient or self.to.email, content)
        message_id = make_message_id(key, to_wire(parts.sender.email).rpartition("@")[2])
        written_at = self.job.now.astimezone(ZoneInfo(self.site.time_zone))
        message = write_message(parts, message_id, written_at)
        return Draft(key, message, message_id, parts.subject, facts)

    def _parts(
        self,
        week: Week,
        enclosed: Sequence[Enclosed],
        closing: Sequence[str],
        load: Load,
        before: Before | None,
    ) -> Parts:
        files = [(one.attachment.name, one.what) for one in enclosed]
        manager = self._copied()
        return Parts(
            sender=self._sender(),
            to=self.to,
            subject=week.subject,
            text=render_text(week, files, closing, self.words, load.link),
            html=render_html(week, files, closing, self.voice, self.words, load.link),
            attachments=[one.attachment for one in enclosed],
            copy_to=None if manager is None else Mailbox(manager.name, manager.email),
            reply_to=self._reply_to(),
            answers=None if before is None else before.message_id,
            language=self.voice.language,
        )

    def _further(self, week: Week, enclosed: Enclosed, part: int, parts: int) -> Parts:
        number = read_week(self.job.period)
        lead = self.words("part.lead", part=part, parts=parts, site=self.site.name, week=number)
        return Parts(
            sender=self._sender(),
            to=self.to,
            subject=self.words("subject.part", subject=week.subject, part=part, parts=parts),
            text=f"{lead}\n\n- {enclosed.attachment.name}: {enclosed.what}\n",
            attachments=[enclosed.attachment],
            reply_to=self._reply_to(),
            language=self.voice.language,
        )

    def _close(self, load: Load) -> Iterator[str]:
        words = self.words
        if load.further:
            yield words("parts", n=len(load.further))
        if load.left_out:
            day = self.voice.day(self.job.summary.night.as_of)
            yield words("left_out", file=f"{self.site.site_id}.pdf", day=day)
        yield words("caution")
        answers_to = self.job.manager if self.job.mail.reply_to is None else None
        if answers_to is not None:
            yield words("reply", name=answers_to.name)
        manager = self._copied()
        if manager is not None:
            yield words("copied", name=manager.name)
        yield words("made", group=self.job.summary.group_name)

    def _sender(self) -> Mailbox:
        sender = self.job.mail.sender
        return _NOBODY if sender is None else Mailbox(sender.name, sender.email)

    def _reply_to(self) -> Mailbox | None:
        if self.job.mail.reply_to is not None:
            return Mailbox("", self.job.mail.reply_to)
        return None if self.job.manager is None else Mailbox(self.job.manager.name, self.job.manager.email)

    def _copied(self) -> Person | None:
        """The manager, where a copy is wanted and the message is not to the manager anyhow."""
        manager = self.job.manager if self.job.mail.copy_to_manager else None
        if manager is None or to_wire(manager.email).lower() == self.to.email:
            return None
        return manager


def _digest(recipient: str, told: Told, before: Before | None, load: Load) -> str:
    """What a message says, as a key: the same facts in answer to the same message are the same.

    Where the report did not fit, how it goes instead is part of it: with another limit it is another message.
    """
    parts = [recipient, told.model_dump_json(), "" if before is None else before.message_id]
    if load.further or load.link or load.left_out:
        files = [one.attachment.name for one in (*load.first, *load.further)]
        parts += [*files, load.link, load.left_out]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()
