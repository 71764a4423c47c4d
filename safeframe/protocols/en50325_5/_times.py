"""Times of EN 50325-5: the refresh time (SCT) of both ends and the validation time (SRVT)."""

from __future__ import annotations

from typing import Any

from ..._model import Connection, End
from ..times import ReactionTimes, TimeTerm


def _longest(*times: Any) -> int | None:
    known = [time for time in times if type(time) is int]
    return max(known) if known else None


def _times(connection: Connection) -> ReactionTimes:
    """Return the receiver's SCT as the watchdog, the sender's as its cycle, and their sum."""
    sender = next((end for end in connection.ends if end.sends.entries), connection.first)
    receiver = connection.second if sender is connection.first else connection.first

    def stated(end: End, name: str) -> Any:
        return dict(end.parameters).get(name)

    tables = sender.connection_table, receiver.connection_table
    waits = _longest(stated(receiver, "sct_ms"), receiver.connection_table.watchdog_ms)
    cycle = _longest(*(table.exchange_ms for table in tables))
    validation = _longest(*(stated(end, "srvt_ms") for end in connection.ends))
    return ReactionTimes(
        watchdog_ms=waits,
        exchange_ms=_longest(stated(sender, "sct_ms")) if cycle is None else cycle,
        terms=(
            TimeTerm(f"refresh time (SCT) of {receiver.name}", waits),
            TimeTerm("validation time (SRVT)", validation),
        ),
        why="the last pair without an event may take the SRVT to be complete; from then on the "
        "receiver waits for its SCT; time on the bus is not in it",
        source="computed from the two times (S M1)",
    )


TIMES = _times
