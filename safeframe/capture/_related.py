"""The relations of both ends, held against the data that are in use."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .._link import Link
from ..relations import Watch
from ._decode import Both, Decoder


class Related:
    """Feeds the relations of each end with what it sends and with what it receives.

    With ``always`` a relation has a time, and may break while nothing changes.
    """

    def __init__(self, link: Link, decoders: Sequence[Decoder]) -> None:
        ends = link.connection.ends
        self._names = link.names
        self._decoders = decoders
        self.watches = [(number, Watch(end)) for number, end in enumerate(ends) if end.relations]
        self.always = any(
            relation.within_ms is not None for end in ends for relation in end.relations
        )
        self._latest_us = float("-inf")

    def feed(self, side: int, time_us: int | None, both: Both) -> Iterator[str]:
        """Yield what is broken once the receiver of a side uses these data."""
        time_ms = None
        if time_us is not None and time_us >= self._latest_us:
            # A time that goes back is told elsewhere; nothing is measured from or to it.
            self._latest_us = time_us
            time_ms = time_us / 1000
        decoder = self._decoders[side]
        for reader, watch in self.watches:
            own = reader == side
            signals, numbers = (
                (decoder.sent, both.sent) if own else (decoder.received, both.received)
            )
            values = {
                signal.name: value
                for signal, value in zip(signals, numbers, strict=True)
                if value is not None
            }
            for violation in watch.feed(time_ms, **{"sends" if own else "receives": values}):
                yield f"{self._names[reader]}: {violation.message}"

    def untimed(self) -> Iterator[str]:
        """Yield the relations whose times nobody could judge, for want of a time in a frame."""
        for reader, watch in self.watches:
            for relation in watch.untimed:
                yield (
                    f"times of the relation {relation.name} of {self._names[reader]}: "
                    "it begins or ends with a frame whose time is not known"
                )
