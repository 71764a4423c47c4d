"""What all sessions have in common: judgements, repeats, and learning a hidden number."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar

from .._errors import UsageError
from . import frames
from .recipe import Inspection, Recipe

if TYPE_CHECKING:
    from inspect import Signature


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What a receiver says about one frame of a stream.

    ``result`` is ``accepted``, ``rejected``, ``repeat`` (not a new frame), ``unknown``, or
    ``ignored`` (a frame that a receiver passes over); ``text`` gives the reason, or what is worth
    knowing about an accepted frame, ``inspection`` everything else.
    """

    result: str
    text: str
    inspection: Inspection


def newer(time: int, last: int) -> bool:
    """Return whether a 16-bit time is later than the last one, over the wrap at 65536."""
    return 0 < (time - last) % 65536 < 32768


def solve(crc: Callable[[int], int], width: int, wanted: int) -> int | None:
    """Return the value of ``width`` bits for which ``crc(value)`` is ``wanted``, or None.

    A CRC with everything else fixed is an affine function of one field, so the field follows
    from width + 1 evaluations by elimination over GF(2).
    """
    base = crc(0)
    pivots: dict[int, tuple[int, int]] = {}
    for bit in range(width):
        column, label = crc(1 << bit) ^ base, 1 << bit
        while (top := column.bit_length()) in pivots:  # Zero is none.
            column, label = column ^ pivots[top][0], label ^ pivots[top][1]
        if column:
            pivots[column.bit_length()] = column, label
    rest, value = wanted ^ base, 0
    while rest:
        if (top := rest.bit_length()) not in pivots:
            return None
        rest, value = rest ^ pivots[top][0], value ^ pivots[top][1]
    return value


def simple(inspection: Inspection) -> Judgement:
    """Return the judgement that an inspection alone gives."""
    failed = any(verdict.result == "failed" for verdict in inspection.verdicts)
    result = "rejected" if failed else "accepted" if inspection.accepted else "unknown"
    return Judgement(result=result, text=inspection.summary, inspection=inspection)


class Session(ABC):
    """Common part of all sessions: who may send, and what was sent last.

    For each sender a session either produces or judges, so one object can play one end and
    listen to the other. Identical octets are a repeat in every profile: something of the chained
    state differs in every new frame.
    """

    recipe: ClassVar[Recipe]
    senders: tuple[str, ...] = ()

    def __init__(self) -> None:
        self._last: dict[str, bytes] = {}
        self._now_us: int | None = None

    def produce(self, sender: str, **values: Any) -> bytes:
        """Return the next frame of a sender and advance; raises UsageError as ``build`` does."""
        self._check(sender)
        octets = self._produce(sender, values)
        self._last[sender] = octets
        return octets

    def at(self, time_us: int | None) -> None:
        """Say when the next frame comes, None where nobody knows.

        Most protocols leave times to a watchdog; those that have times besides judge them where
        they are known.
        """
        self._now_us = time_us

    def judge(self, sender: str, octets: bytes) -> Judgement:
        """Judge the next frame of a sender; only an accepted frame advances the session."""
        self._check(sender)
        if octets == self._last.get(sender):
            text = "the same octets as in the frame before: not a new frame"
            inspection = frames.inspect(self.recipe, octets, **self.known_of(sender, octets))
            return Judgement(result="repeat", text=text, inspection=inspection)
        found = self._judge(sender, octets)
        if found.result not in ("rejected", "repeat"):
            self._last[sender] = octets
        return found

    def accepts(self, sender: str, octets: bytes) -> bool:
        """Tell whether ``judge`` accepts a new frame with data, and if so advance as it does.

        False says nothing: ``judge`` must be asked. A protocol may offer a quick way here that
        spares the explanation of every frame of a long recording.
        """
        return False

    def brief(self, sender: str, octets: bytes) -> tuple[str, str] | None:
        """Return result and text that ``judge`` would give, and advance as it does, unexplained.

        None says nothing: ``judge`` must be asked. Where ``accepts`` cannot tell everything, this
        spares the explanation of every frame of a long recording.
        """
        return None

    def awaits(self) -> str:
        """Return what would have to follow for the last frame to be complete, usually nothing."""
        return ""

    @abstractmethod
    def known(self, sender: str) -> dict[str, Any]:
        """Return the settings that hold for every frame of a sender."""

    def known_of(self, sender: str, octets: bytes) -> dict[str, Any]:
        """Return the settings that hold for one frame of a sender; usually those of all."""
        return self.known(sender)

    def _check(self, sender: str) -> None:
        if sender not in self.senders:
            raise UsageError(f"a sender must be {' or '.join(self.senders)}, not {sender!r}")

    @abstractmethod
    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        """Build the next frame of a sender and advance."""

    @abstractmethod
    def _judge(self, sender: str, octets: bytes) -> Judgement:
        """Judge octets that are no repeat; advance when they are accepted."""


@cache
def _signature(make: type[Session]) -> Signature:
    from inspect import signature  # deferred: it costs milliseconds and only sessions need it.

    return signature(make)


def start(make: type[Session], /, **settings: Any) -> Session:
    """Return a session of a class; UsageError for settings that it does not take or lacks."""
    try:
        _signature(make).bind(**settings)
    except TypeError as error:
        raise UsageError(f"a session of {make.recipe.name}: {error}") from None
    return make(**settings)
