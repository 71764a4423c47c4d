"""Finding the frames of a connection in packets, and which end sent each.

Where a recording names the sender, or where the place of a side's frames is given, nothing is
searched. Otherwise ids that the frame itself carries are looked for; a place that has shown three
frames is then taken for the place of that side, so that a spoilt frame there is seen too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from .._errors import UsageError
from .._link import Link
from ..protocols import room
from ._packets import Packet

__all__ = ["LocatedFrame", "Locator", "Miss"]

_SURE = 3
"""Frames at one place before everything there is taken for a frame; by choice."""


class LocatedFrame(NamedTuple):
    """A frame: which side sent it, its octets, where it begins in the payload."""

    side: int
    octets: bytes
    place: int = 0


class Miss(NamedTuple):
    """Why a packet that should hold a frame gives none."""

    kind: str
    text: str


class Locator:
    """Finds frames of one exchange.

    ``at`` gives by side where its frames begin in the payload, ``sources`` by side the address
    of the station that sends them. Raises UsageError where the profile's frames cannot be
    searched for and no place is given.
    """

    def __init__(self, link: Link, *, at: Mapping[int, int], sources: Mapping[int, str]) -> None:
        self._exchange = link
        self._at = at
        self._sources = sources
        self._names = {name: side for side, name in enumerate(link.names)}
        traits = room(link.profile).recording
        self._search = None if traits is None else traits.search
        self._places: dict[tuple[str, int], dict[int, int]] = {}
        self._alike = (
            link.sizes[0] == link.sizes[1] and traits is not None and not traits.names_sender
        )

    def find(self, packet: Packet) -> Iterator[LocatedFrame | Miss]:
        """Yield the frames of a packet in the order in which they stand there."""
        if packet.sender:
            side = self._names.get(packet.sender)
            if side is None:
                yield Miss("other sender", f"{packet.sender} is no end of this connection")
            else:
                yield LocatedFrame(side, packet.octets)
        elif packet.octets:
            if self._at:
                yield from self._placed(packet)
            elif packet.source:
                yield from self._searched(packet)
            else:
                yield self._whole(packet)

    def _sides(self, source: str) -> list[int]:
        """Return the sides that a station may send for."""
        named = [side for side, address in self._sources.items() if address == source]
        if named:
            return named
        return [side for side in (0, 1) if side not in self._sources]

    def _placed(self, packet: Packet) -> Iterator[LocatedFrame | Miss]:
        sides = self._sides(packet.source)
        for side, place in sorted(self._at.items(), key=lambda item: item[1]):
            if side in sides:
                yield self._cut(packet, side, place)

    def _cut(self, packet: Packet, side: int, place: int) -> LocatedFrame | Miss:
        size = self._exchange.sizes[side]
        octets = packet.octets[place : place + size]
        if len(octets) < size:
            text = f"the packet holds {len(octets)} of {size} octets of a frame at {place}"
            return Miss("cut frame", text)
        return LocatedFrame(side, octets, place)

    def _whole(self, packet: Packet) -> LocatedFrame | Miss:
        """Return a line without a sender as a frame of the only side that it can be of."""
        size = len(packet.octets)
        fits = [side for side in self._sides("") if self._exchange.sizes[side] == size]
        if len(fits) > 1 and self._search is not None and not self._alike:
            fits = [side for side in fits if 0 in self._search(self._exchange, side, packet.octets)]
        if len(fits) == 1:
            return LocatedFrame(fits[0], packet.octets)
        if fits:
            return Miss("unknown sender", "both ends send frames of this length: name the sender")
        return Miss("length", f"no end sends frames of {size} octets")

    def _searched(self, packet: Packet) -> Iterator[LocatedFrame | Miss]:
        if self._search is None:
            raise UsageError(
                f"frames of {self._exchange.profile} carry no id to search for: "
                "say where they begin"
            )
        sides = self._sides(packet.source)
        found = []
        for side in sides:
            places = self._places.setdefault((packet.source, side), {})
            shared = self._places.get((packet.source, 1 - side), {})
            sure = [
                place for place, count in places.items() if count >= _SURE and place not in shared
            ]
            if sure:
                found += [self._cut(packet, side, place) for place in sure]
                continue
            for place in self._search(self._exchange, side, packet.octets):
                places[place] = places.get(place, 0) + 1
                found.append(self._cut(packet, side, place))
        if self._alike and len(sides) > 1:
            if found:
                yield Miss("unknown sender", "both ends send frames of this length: name a source")
            return
        yield from sorted(
            found, key=lambda each: each.place if isinstance(each, LocatedFrame) else 0
        )
