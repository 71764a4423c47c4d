"""Times in the words of a protocol: ``check`` of a connection with such words asks for these."""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["ReactionTimes", "TimeTerm"]


class TimeTerm(NamedTuple):
    """One time of a sum: its name, how long it is (None: not stated), how often it counts."""

    name: str
    time_ms: int | None
    factor: int = 1


class ReactionTimes(NamedTuple):
    """What two maps say about times, in the words of the protocol.

    The reaction time is the sum of ``terms``, ``why`` and ``source`` say where that comes from.
    """

    watchdog_ms: int | None
    exchange_ms: int | None
    terms: tuple[TimeTerm, ...]
    why: str
    source: str
