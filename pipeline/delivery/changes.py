"""What changed between two messages of one week, in the reader's words. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.delivery.facts import Told, ToldFigure, ToldLot
from pipeline.reports.formats import Phrases, Voice

MOST_CHANGES = 12
"""House default: what a message can list; the report has all."""


def tell_changes(before: Told, now: Told, voice: Voice, words: Phrases) -> tuple[str, ...]:
    """A sentence for each lot, meter and cause that changed; `words` are the phrases of mail."""
    told = [*_tell_lots(before, now, voice, words), *_tell_site(before, now, words)]
    more = len(told) - MOST_CHANGES
    return tuple(told) if more <= 0 else (*told[:MOST_CHANGES], words("correction.more", n=more))


def _tell_lots(before: Told, now: Told, voice: Voice, words: Phrases) -> Iterator[str]:
    for lot_id, lot in now.lots.items():
        old = before.lots.get(lot_id)
        if old is None:
            level = voice.say.name("level", lot.level)
            changes = [words("correction.new", level=level)]
        else:
            changes = list(_tell_lot(old, lot, voice, words))
        if changes:
            yield words("correction.lot", lot=lot_id, crop=lot.crop, changes="; ".join(changes))
    for lot_id, lot in before.lots.items():
        if lot_id not in now.lots:
            gone = words("correction.gone")
            yield words("correction.lot", lot=lot_id, crop=lot.crop, changes=gone)


def _tell_lot(old: ToldLot, lot: ToldLot, voice: Voice, words: Phrases) -> Iterator[str]:
    if lot.level != old.level:
        was, now = (voice.say.name("level", one.level) for one in (old, lot))
        yield words("correction.level", before=was, now=now)
    if lot.read_on != old.read_on:
        if lot.read_on is not None and (old.read_on is None or lot.read_on > old.read_on):
            figures = ", ".join(
                f"{voice.say.name('short', name)} {_write(figure, name, voice, words)}"
                for name, figure in (("ph", lot.ph), ("ec", lot.ec))
                if figure is not None
            )
            yield words("correction.read", day=voice.day(lot.read_on), figures=figures)
        else:
            yield words("correction.unread", day=voice.day(old.read_on))
    else:
        yield from _tell_figures(old, lot, voice, words)
    if lot.retest_on != old.retest_on:
        yield (
            words("correction.no_retest")
            if lot.retest_on is None
            else words("correction.retest", day=voice.day(lot.retest_on))
        )
    if lot.excused_until != old.excused_until:
        yield (
            words("correction.not_excused")
            if lot.excused_until is None
            else words("correction.excused", day=voice.day(lot.excused_until))
        )


def _tell_figures(old: ToldLot, lot: ToldLot, voice: Voice, words: Phrases) -> Iterator[str]:
    """Figures of one sampling that are others now than they were told."""
    for name, was, now in (("ph", old.ph, lot.ph), ("ec", old.ec, lot.ec)):
        before, after = (_write(one, name, voice, words) for one in (was, now))
        if before != after:
            quantity = voice.say.name("short", name)
            yield words(
                "correction.figure", quantity=quantity, day=voice.day(lot.read_on), now=after, before=before
            )


def _write(figure: ToldFigure | None, name: str, voice: Voice, words: Phrases) -> str:
    if figure is None:
        return words("correction.no_figure")
    unit = " mS/cm" if name == "ec" else ""
    value = f"{figure.mean.replace('.', voice.say.decimal_mark)}{unit}"
    if figure.verdict is None:
        return value
    return words("correction.verdict", value=value, verdict=voice.say.name("verdict", figure.verdict))


def _tell_site(before: Told, now: Told, words: Phrases) -> Iterator[str]:
    for meter in now.meters_in_doubt:
        if meter not in before.meters_in_doubt:
            yield words("correction.meter", meter=meter)
    for meter in before.meters_in_doubt:
        if meter not in now.meters_in_doubt:
            yield words("correction.meter_good", meter=meter)
    if before.held_lines != now.held_lines:
        yield words("correction.held", before=before.held_lines, now=now.held_lines)
