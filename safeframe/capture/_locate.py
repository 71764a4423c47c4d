"""Finding the frames of a connection in packets, and which end sent each.

Where a recording names the sender, or where the place of a side's frames is given, nothing is
searched. Otherwise ids that the frame itself carries are looked for; a place that has shown three
frames is then taken for the place of that side, so that a spoilt frame there is seen too. Until
both sides have a place the last packets are held back: frames of the start-up that carry no id are
found when the place is known. Where a recording ends before, fewer frames must do: a side with two
frames, one of them spoilt, would look like a side with a single good one.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from .._errors import UsageError
from .._link import Link
from .._words import guess
from ..protocols import room
from ._packets import Packet
from ._sizes import SURE, FrameSizes

_HELD_PACKETS, _HELD_OCTETS = 4096, 1 << 22
"""How far is looked back for frames without an id; by choice."""
_MAX_STATIONS = 4096
"""Stations whose place is remembered; a file with more of them is a scan, not a machine."""
_OTHER_SIZES = 256
"""Packets in which frames of other sizes are looked for where none has the expected one."""


class LocatedFrame(NamedTuple):
    """A frame: which side sent it, its octets, where it begins in the payload.

    ``known`` says that the sender was named or the place is known, so that any frame there must be
    one of this connection.
    """

    side: int
    octets: bytes
    place: int = 0
    known: bool = True


class Miss(NamedTuple):
    """Why a packet that should hold a frame gives none."""

    kind: str
    text: str


Found = tuple[Packet, LocatedFrame | Miss | None]
"""A packet with something found in it; None once for each packet, before anything else of it."""
_Way = tuple[str, int | tuple[int, int], int]
"""Where frames of a side come from: station, channel, side."""
_TWO_SENDERS = "both ends send frames of this length: name the station with --from"


class Locator:
    """Finds frames of one connection.

    ``at`` gives by side where its frames begin in the payload, ``sources`` by side the address
    of the station that sends them. Raises UsageError where the protocol's frames cannot be
    searched for and no place is given.
    """

    def __init__(self, link: Link, *, at: Mapping[int, int], sources: Mapping[int, str]) -> None:
        self._link = link
        self._at = sorted(at.items(), key=lambda item: item[1])
        self._sources = sources
        self.unheard: set[str] = set(sources.values())
        """Addresses that were named and from which no packet has come yet."""
        self._names = {name: side for side, name in enumerate(link.names)}
        traits = room(link.profile).recording
        self._search = None if traits is None else traits.search
        self._lengths = None if traits is None else traits.lengths
        self._are_whole = traits is not None and traits.whole
        if self._are_whole and at:
            raise UsageError(
                f"messages of {link.profile} are told by their identifiers: leave --at out"
            )
        self._sizes = FrameSizes(link)
        self._places: dict[_Way, dict[int, int]] = {}
        self._sure: dict[_Way, list[int]] = {}
        self._stations: dict[str, set[int]] = {}
        self._held: deque[Packet] | None = deque()
        self._held_octets = 0
        self._alike = (
            link.sizes[0] == link.sizes[1] and traits is not None and not traits.names_sender
        )
        self._tell_senders = self._search is not None and not self._alike
        self._shared = self._overlap()
        self._heard: dict[int, str] = {}
        self._known: dict[tuple[str, str], tuple[int, int, int | None]] = {}

    def _overlap(self) -> bool:
        """Tell whether both ends send at places that overlap and no station tells them apart."""
        if len(self._at) < 2 or self._sources:
            return False
        (first, place), (_, behind) = self._at
        return behind < place + self._sizes[first]

    def quick(self, packet: Packet) -> LocatedFrame | None:
        """Return the only frame that a packet holds, where nothing has to be looked for.

        None says nothing: ``find`` must be asked.
        """
        known = self._known.get((packet.sender, packet.source))
        if known is None:
            return None
        side, place, end = known
        octets = packet.octets[place:end]
        if end is not None and len(octets) < end - place:
            return None
        return LocatedFrame(side, octets, place)

    def find(self, packet: Packet) -> Iterator[Found]:
        """Yield the frames of a packet in the order in which they stand there.

        What is found may belong to an earlier packet that was held back.
        """
        self.unheard.discard(packet.source)
        if packet.sender:
            yield packet, None
            side = self._names.get(packet.sender)
            if side is None:
                yield packet, Miss("other sender", self._stranger(packet.sender))
            else:
                self._known[packet.sender, packet.source] = side, 0, None
                yield packet, LocatedFrame(side, packet.octets)
        elif not packet.octets:
            if self._held:
                self._held.append(packet)
            else:
                yield packet, None
        elif self._are_whole:
            yield packet, None
            yield from self._by_id(packet)
        elif self._at:
            yield packet, None
            yield from self._placed(packet)
        elif packet.source:
            yield from self._searched(packet)
        else:
            yield packet, None
            yield packet, self._whole(packet)

    def finish(self) -> Iterator[Found]:
        """Yield what was held back."""
        if self._held:
            self._settle()
            self._look_for_other_sizes(self._held)
        yield from self._release()

    def _stranger(self, name: str) -> str:
        near = guess(name, self._names)
        hint = f"; did you mean {near}?" if near else ""
        return f"{name} is no end of this connection{hint}"

    def _sides(self, source: str) -> list[int]:
        """Return the sides that a station may send for."""
        named = [side for side, address in self._sources.items() if address == source]
        if named:
            return named
        return [side for side in (0, 1) if side not in self._sources]

    def _placed(self, packet: Packet) -> Iterator[Found]:
        sides = self._sides(packet.source)
        if self._shared and len(sides) > 1:
            side = self._teller(packet)
            if side is None:
                place = self._at[0][1]
                text = f"both ends send frames at {place}: name the station of one with --from"
                yield packet, Miss("unknown sender", text)
                return
            sides = [side]
        if not sides:
            yield from self._elsewhere(packet)
        here = [(side, place) for side, place in self._at if side in sides]
        for side, place in here:
            self._sizes.look(side, packet.octets[place:])
            yield packet, self._cut(packet, side, place)
        fixed = self._sizes.are_fixed and len(here) == 1 and not self._shared
        if fixed and self._sizes.is_settled(here[0][0]):
            side, place = here[0]
            if len(self._known) >= _MAX_STATIONS:
                self._known.clear()
            self._known["", packet.source] = side, place, place + self._sizes[side]

    def _teller(self, packet: Packet) -> int | None:
        """Return the side whose ids stand at its place, or the only one its station has shown."""
        fits = [side for side, place in self._at if self._has_ids(side, packet.octets[place:])]
        shown = self._stations.setdefault(packet.source, set())
        if len(fits) == 1:
            shown.update(fits)
            return fits[0]
        return next(iter(shown)) if len(shown) == 1 else None

    def _has_ids(self, side: int, octets: bytes) -> bool:
        """Tell whether the frame at the beginning of octets carries the ids of a side."""
        size = self._sizes.of(side, octets)
        return self._search is not None and 0 in self._search(self._link, side, octets[:size])

    def _cut(
        self, packet: Packet, side: int, place: int, *, known: bool = True
    ) -> LocatedFrame | Miss:
        size = self._sizes.of(side, packet.octets[place:])
        octets = packet.octets[place : place + size]
        if len(octets) < size:
            text = f"the packet holds {len(octets)} of {size} octets of a frame at {place}"
            return Miss("cut frame", text)
        return LocatedFrame(side, octets, place, known)

    def _by_id(self, packet: Packet) -> Iterator[Found]:
        """Yield a packet that is a frame as a whole, by the id it carries."""
        search = self._needed_search()
        own = self._sides(packet.source)
        for side in self._link.order:
            if not search(self._link, side, packet.octets):
                continue
            name, source = self._link.names[side], packet.source
            if side not in own:
                yield packet, Miss("other station", f"a frame of {name}, by its ids, from {source}")
                continue
            # Two buses may use one identifier; a receiver hears one of them.
            first = self._heard.setdefault(side, source)
            if source == first:
                yield packet, LocatedFrame(side, packet.octets, 0, False)
                continue
            text = f"frames of {name} come from {first} and from {source}: name one with --from"
            yield packet, Miss("unknown sender", text)

    def _whole(self, packet: Packet) -> LocatedFrame | Miss:
        """Return a line without a sender as a frame of the only side that it can be of."""
        size = len(packet.octets)
        fits = [side for side in self._sides("") if self._sizes[side] == size]
        if self._tell_senders:
            told = [side for side in self._sides("") if self._has_ids(side, packet.octets)]
            if not told and len(fits) > 1:
                return Miss("unknown sender", "the ids of neither end stand in it")
            fits = told or fits
        if len(fits) == 1:
            return LocatedFrame(fits[0], packet.octets, 0, False)
        if fits:
            text = "both ends send frames of this length: name the sender"
            return Miss("unknown sender", text)
        text = self._sizes.contradiction(packet.octets)
        if text:
            return Miss("size", text)
        return Miss("length", f"no end sends frames of {size} octets")

    def _searched(self, packet: Packet) -> Iterator[Found]:
        held = self._held
        if held is None:
            yield packet, None
            yield from self._frames(packet, scan=True)
            return
        self._scan(packet)
        held.append(packet)
        self._held_octets += len(packet.octets)
        if self._is_settled():
            yield from self._release()
            return
        while len(held) > _HELD_PACKETS or self._held_octets > _HELD_OCTETS:
            oldest = held.popleft()
            self._held_octets -= len(oldest.octets)
            yield oldest, None
            yield from self._frames(oldest, scan=False)

    def _release(self) -> Iterator[Found]:
        held, self._held = self._held or (), None
        for packet in held:
            yield packet, None
            yield from self._frames(packet, scan=False)

    def _is_settled(self) -> bool:
        return len({way[2] for way, places in self._sure.items() if places}) == 2

    def _settle(self) -> None:
        """Take the likeliest places of a side that has none yet, however few frames they hold."""
        settled = {way[2] for way, places in self._sure.items() if places}
        for way, places in self._places.items():
            alone = set(places) - self._of_both(way)
            if way[2] not in settled and alone:
                most = max(places[place] for place in alone)
                self._sure[way] = [place for place in alone if places[place] == most]

    def _of_both(self, way: _Way) -> set[int]:
        """Return the places at which a station has shown frames of both ends."""
        first, second = (self._places.get((way[0], way[1], side), {}) for side in (0, 1))
        return first.keys() & second.keys()

    def _elsewhere(self, packet: Packet) -> Iterator[Found]:
        """Tell of frames of this connection that come from a station which nobody has named."""
        if self._search is None or self._alike:
            return
        for side, name in enumerate(self._link.names):
            if self._search(self._link, side, packet.octets):
                text = f"a frame of {name}, by its ids, from {packet.source}"
                yield packet, Miss("other station", text)

    def _needed_search(self) -> Callable[[Link, int, bytes], Sequence[int]]:
        if self._search is None:
            raise UsageError(
                f"frames of {self._link.profile} carry no id to search for: "
                "say where they begin with --at"
            )
        return self._search

    def _scan(self, packet: Packet) -> None:
        """Search a packet for the ids of each side, and count where they are."""
        search = self._needed_search()
        for side in self._sides(packet.source):
            way = packet.source, packet.channel, side
            places = self._places.setdefault(way, {})
            for place in search(self._link, side, packet.octets):
                places[place] = places.get(place, 0) + 1
            self._decide(way)

    def _decide(self, way: _Way) -> None:
        """Take the places with enough frames for sure, where the other side has none."""
        both = self._of_both(way)
        self._sure[way] = [
            place
            for place, count in self._places[way].items()
            if count >= SURE and place not in both
        ]

    def _frames(self, packet: Packet, *, scan: bool) -> Iterator[Found]:
        """Yield the frames of a packet: at the sure places of a side, or where its ids are."""
        sides = self._sides(packet.source)
        if not sides:
            yield from self._elsewhere(packet)
        found: list[LocatedFrame | Miss] = []
        for side in sides:
            way = packet.source, packet.channel, side
            sure = self._sure.get(way)
            if not sure and scan:
                self._scan(packet)
                scan = False
                sure = self._sure.get(way)
            if sure:
                found += [self._cut(packet, side, place) for place in sure]
            else:
                places = self._needed_search()(self._link, side, packet.octets)
                found += [self._cut(packet, side, place, known=False) for place in places]
        if self._alike and len(sides) > 1:
            if found:
                yield packet, Miss("unknown sender", _TWO_SENDERS)
            return
        elsewhere = self._of_both((packet.source, packet.channel, 0)) if len(sides) > 1 else set()
        elsewhere -= {each.place for each in found if isinstance(each, LocatedFrame)}
        found += [
            Miss("unknown sender", f"at {place}, where both ends send frames, is one of neither")
            for place in sorted(elsewhere)
        ]
        if len(found) > 1:
            found.sort(key=lambda each: each.place if isinstance(each, LocatedFrame) else 0)
        for each in found:
            yield packet, each

    def _look_for_other_sizes(self, held: deque[Packet]) -> None:
        """Look for frames of other sizes of a side that has shown none of the expected one."""
        if self._lengths is None or self._alike:
            return
        seen = {way[2] for way, places in self._places.items() if places}
        for side in {0, 1} - seen:
            counts: dict[tuple[_Way, int, int], int] = {}
            for number, packet in enumerate(held):
                if number >= _OTHER_SIZES or side not in self._sides(packet.source):
                    continue
                way = packet.source, packet.channel, side
                taken = self._places.get((packet.source, packet.channel, 1 - side), {})
                for place in set(range(len(packet.octets))) - set(taken):
                    for size in self._lengths(self._link, side, packet.octets[place:]):
                        key = way, place, size
                        counts[key] = counts.get(key, 0) + 1
            likely = max(counts.items(), key=lambda item: item[1], default=None)
            if likely is not None and likely[1] >= SURE:
                way, place, size = likely[0]
                self._sizes[side] = size
                self._sure[way] = [place]
