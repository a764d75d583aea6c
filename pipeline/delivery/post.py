"""Carrying what is due from the outbox to a transport: one letter after the other, each outcome written down."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from pipeline.delivery.outbox import Claimed, Outbox, Outcome, State
from pipeline.delivery.transports import (
    PermanentFailure,
    SendFailure,
    Session,
    TemporaryFailure,
    Transport,
    TransportDown,
    UncertainFailure,
)

Clock = Callable[[], datetime]
MOST_LOST: Final = 3
"""House default: so many letters in a row without any answer, and the server counts as down."""


@dataclass(slots=True)
class Delivered:
    """What one round came to: letters by the state in which it left them, and what keeps all mail from going."""

    by_state: Counter[State] = field(default_factory=Counter)
    down: str = ""
    postponed: int = 0

    @property
    def tried(self) -> int:
        """Letters that were taken up."""
        return self.by_state.total()


def deliver_due(
    outbox: Outbox, transport: Transport, clock: Clock, *, say: Callable[[str], None] = lambda _: None
) -> Delivered:
    """Send every letter that is due, once each; one that is refused stops no other.

    Where nothing can be sent at all (no connection, bad certificate, wrong password), what is due is put off together
    and `down` says why. `clock` gives aware instants. Raises OutboxError.
    """
    outbox.settle_dead(clock(), transport.has_arrived)
    done = Delivered()
    after = 0
    try:
        if not outbox.is_any_due(clock()):
            return done
        with transport.open() as session:
            lost = 0
            while lost < MOST_LOST and (claimed := outbox.claim(clock(), after=after)) is not None:
                after = claimed.letter_id
                is_answered = _send(outbox, session, claimed, clock, done)
                lost = 0 if is_answered else lost + 1
                if done.tried % 50 == 0:
                    say(f"Sending: {done.tried} messages so far")
            if lost == MOST_LOST:
                gone = TransportDown(f"the server left {MOST_LOST} messages in a row without an answer")
                _put_off(outbox, gone, clock, done, after)
    except TransportDown as failure:
        _put_off(outbox, failure, clock, done, after)
    finally:
        # Whatever stopped this round (a signal, a full disk): what it still holds is not being sent any more.
        outbox.settle_dead(clock(), transport.has_arrived, is_own_over=True)
    return done


def _send(outbox: Outbox, session: Session, claimed: Claimed, clock: Clock, done: Delivered) -> bool:
    """Send one letter and write down what it came to; whether the server answered. Raises TransportDown."""

    def finish(outcome: Outcome, failure: SendFailure | None = None) -> None:
        code, remark = (None, "") if failure is None else (failure.code, failure.remark)
        done.by_state[outbox.finish(claimed, outcome, clock(), code=code, remark=remark)] += 1

    try:
        session.send(
            claimed.recipient,
            claimed.message_id,
            claimed.message,
            lambda: outbox.mark_handing_over(claimed, clock()),
        )
    except TransportDown as failure:
        finish("down", failure)
        raise
    except PermanentFailure as failure:
        finish("permanent", failure)
    except UncertainFailure as failure:
        finish("unknown", failure)
        return False
    except TemporaryFailure as failure:
        finish("temporary", failure)
        return failure.code is not None
    else:
        finish("sent")
    return True


def _put_off(outbox: Outbox, failure: TransportDown, clock: Clock, done: Delivered, after: int) -> None:
    """Put off what was not tried."""
    done.down = failure.remark
    done.postponed = outbox.postpone_due(clock(), code=failure.code, remark=failure.remark, after=after)


__all__ = ["Clock", "Delivered", "deliver_due"]
