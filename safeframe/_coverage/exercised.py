"""Finding in one pass over what changes which points of a plan a recording exercises."""

from __future__ import annotations

from collections.abc import Iterable

from ..capture import Both, Event, Interval, Note, Observer, Packet
from ..relations._rules import Number
from .fields import PlacedField
from .plan import CoveragePlan, OrderPlan, SignalPlan, SpacePlan


def _holds(conditions: tuple[tuple[PlacedField, frozenset[int]], ...], words: list[int]) -> bool:
    return all(
        words[place.side] >> place.start & place.mask in numbers for place, numbers in conditions
    )


def _bits(places: Iterable[PlacedField]) -> list[int]:
    """Return all bits of each side that fields hang on."""
    found = [0, 0]
    for place in places:
        found[place.side] |= place.bits
    return found


class _OpenSignal:
    """A signal of which something has not been seen, with the bits never seen as 1 and as 0."""

    __slots__ = ("ones", "plan", "zeros")

    def __init__(self, plan: SignalPlan) -> None:
        self.plan = plan
        self.ones = self.zeros = 0 if plan.bits is None else plan.place.mask


class _LiveOrder:
    """One relation about order as it goes on."""

    __slots__ = ("bits", "is_lost", "places", "plan", "since_us", "was_false", "when")

    def __init__(self, plan: OrderPlan) -> None:
        self.plan = plan
        self.places = [place for place, _ in (*plan.when, *plan.then)]
        self.bits = _bits(self.places)
        self.forget()

    def forget(self) -> None:
        """Begin anew after data were out of use."""
        self.when: bool | None = None
        self.since_us: int | None = None
        self.was_false = False
        self.is_lost = False

    def look(self, words: list[int], time_us: int | None) -> bool:
        """Tell whether the first of both states begins now, as the relation says it must."""
        plan = self.plan
        when, then = _holds(plan.when, words), _holds(plan.then, words)
        before, self.when = self.when, when
        if not then:
            self.was_false, self.since_us, self.is_lost = True, None, False
        elif self.was_false:
            self.was_false, self.since_us, self.is_lost = False, time_us, time_us is None
        if not (then and when and before is False):
            return False
        if time_us is None or self.is_lost:
            return not plan.after_us and plan.within_us is None
        if self.since_us is None:
            return plan.within_us is None  # It held from the first data on: for long, or not.
        passed_us = time_us - self.since_us
        return plan.after_us <= passed_us and (
            plan.within_us is None or passed_us <= plan.within_us
        )


class _LiveSpace:
    """A space of states, with the bits of each side that it hangs on."""

    __slots__ = ("bits", "columns", "places", "points")

    def __init__(self, plan: SpacePlan) -> None:
        self.columns, self.points = plan.columns, plan.points
        self.places = [column.place for column in plan.columns]
        self.bits = _bits(self.places)

    def state(self, words: list[int]) -> tuple[Number | None, ...]:
        """Return the numbers that the signals have, None for one that is no number of theirs."""
        return tuple(
            numbers.get(words[place.side] >> place.start & place.mask, other)
            for place, numbers, other in self.columns
        )


class Exercised(Observer):
    """Marks points that were seen; only data in use count, and no change across a gap.

    ``seen`` holds for each point the number of the packet (0: the end of the recording) and its
    time since the first packet.
    """

    def __init__(self, plan: CoveragePlan) -> None:
        self._plan = plan
        self.seen: dict[int, tuple[int, int | None]] = {}
        self._start_us = 0
        self._words = [0, 0]
        self._looked = [False, False]
        self._used = [False, False]
        self._stopped = [False, False]
        self._late: Note | None = None
        # Those that have points left, by the octets that they hang on; and those never seen alone
        # by the bits that they may have.
        self._open: tuple[dict[int, list[_OpenSignal]], ...] = ({}, {})
        self._lonely: tuple[dict[int, list[SignalPlan]], ...] = ({}, {})
        self._rests: tuple[dict[int, None], ...] = ({}, {})
        for signal in plan.signals:
            side, bits, opened = signal.place.side, signal.place.bits, _OpenSignal(signal)
            for octet in range(bits.bit_length() + 7 >> 3):
                if bits >> 8 * octet & 255:
                    self._open[side].setdefault(octet, []).append(opened)
            if signal.alone is not None and signal.rest is not None:
                self._rests[side][signal.rest] = None
                for bit in range(bits.bit_length()):
                    if bits >> bit & 1:
                        self._lonely[side].setdefault(bit, []).append(signal)
        self._spaces = list(map(_LiveSpace, plan.spaces))
        self._orders = list(map(_LiveOrder, plan.orders))

    def _mark(self, point: int | None, number: int, time_us: int | None) -> None:
        if point is not None and point not in self.seen:
            self.seen[point] = number, None if time_us is None else time_us - self._start_us

    def begins(self, time_us: int) -> None:
        """Count times from here on."""
        self._start_us = time_us

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Take data in use that differ from those before."""
        word = int.from_bytes(data, "little")
        was = self._words[side] if self._used[side] else None
        changed = word ^ self._words[side] if self._looked[side] else -1
        self._words[side], self._used[side], self._looked[side] = word, True, True
        if self._stopped[side]:
            self._stopped[side] = False
            self._fault(side, "again", packet.number, packet.time_us)
        number, time_us = packet.number, packet.time_us
        opened = self._open[side]
        if changed < 0:
            touched = list(opened)
        else:
            touched, left = [], changed
            while left:
                octet = (left & -left).bit_length() - 1 >> 3
                left = left >> 8 * octet + 8 << 8 * octet + 8
                if octet in opened:
                    touched.append(octet)
        for octet in touched:
            rows, before = opened[octet], len(self.seen)
            for each in rows:
                self._look(each, word, was, number, time_us)
            if len(self.seen) > before:
                opened[octet] = [each for each in rows if not self._is_done(each)]
        lonely = self._lonely[side]
        for rest in self._rests[side]:
            unlike = word ^ rest
            if unlike:
                self._look_alone(lonely, rest, unlike, word, number, time_us)
        if self._spaces or self._orders:
            self._look_together(side, changed if was is not None else -1, number, time_us)

    def _look(
        self, opened: _OpenSignal, word: int, was: int | None, number: int, time_us: int | None
    ) -> None:
        """Mark what a signal shows."""
        signal = opened.plan
        place = signal.place
        if place.valid and not word & place.valid:
            return
        value = word >> place.start & place.mask
        codes = signal.codes
        if codes is not None:
            if value not in codes:
                return
            self._mark(codes[value], number, time_us)
        is_safe = value in signal.safe
        if not is_safe:
            self._mark(signal.non_safe, number, time_us)
        if signal.bits is not None:
            for new, one in ((opened.ones & value, 1), (opened.zeros & ~value, 0)):
                while new:
                    bit = new.bit_length() - 1
                    new ^= 1 << bit
                    self._mark(signal.bits + 2 * bit + one, number, time_us)
            opened.ones &= ~value
            opened.zeros &= value
        if was is not None and signal.leaves is not None:
            old = was >> place.start & place.mask
            if (not place.valid or was & place.valid) and (codes is None or old in codes):
                was_safe = old in signal.safe
                if was_safe != is_safe:
                    self._mark(signal.leaves if was_safe else signal.returns, number, time_us)

    def _is_done(self, opened: _OpenSignal) -> bool:
        """Tell whether nothing but being alone is left of a signal."""
        signal, codes = opened.plan, opened.plan.codes or {}
        wanted = {signal.non_safe, signal.leaves, signal.returns, *codes.values()} - {None}
        return not opened.ones and not opened.zeros and wanted <= self.seen.keys()

    def _look_alone(
        self,
        lonely: dict[int, list[SignalPlan]],
        rest: int,
        unlike: int,
        word: int,
        number: int,
        time_us: int | None,
    ) -> None:
        """Mark the signal that alone is not at its safe value, if there is one."""
        lowest = (unlike & -unlike).bit_length() - 1
        rows = lonely.get(lowest)
        if not rows:
            return
        for signal in rows:
            place = signal.place
            if signal.rest != rest or unlike & ~place.bits or place.valid & ~word:
                continue
            value = word >> place.start & place.mask
            if value in signal.safe or (signal.codes is not None and value not in signal.codes):
                continue
            self._mark(signal.alone, number, time_us)
        lonely[lowest] = [signal for signal in rows if signal.alone not in self.seen]

    def _look_together(self, side: int, changed: int, number: int, time_us: int | None) -> None:
        """Look at the states and orders that hang on what has changed."""
        words = self._words
        for space in self._spaces:
            if space.bits[side] & changed and self._are_known(space.places):
                point = space.points.get(space.state(words))  # type: ignore[arg-type]
                self._mark(point, number, time_us)
        for order in self._orders:
            if not order.bits[side] & changed:
                continue
            if not self._are_known(order.places):
                order.forget()
            elif order.look(words, time_us):
                self._mark(order.plan.point, number, time_us)

    def _are_known(self, places: Iterable[PlacedField]) -> bool:
        """Tell whether all fields are in use and valid."""
        words, used = self._words, self._used
        return all(
            used[place.side] and (not place.valid or words[place.side] & place.valid)
            for place in places
        )

    def _fault(self, side: int, key: str, number: int, time_us: int | None) -> None:
        self._mark(self._plan.faults.get((side, key)), number, time_us)

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Forget the data: what comes next did not change from them."""
        self._stopped[side] |= self._used[side]
        self._forget(side)

    def _forget(self, side: int) -> None:
        self._used[side] = False
        for order in self._orders:
            if order.bits[side]:
                order.forget()

    def silence(self, silence: Interval) -> None:
        """Take a silence longer than the watchdog, at the packet that ends it if there is one."""
        late = self._late
        number = 0
        if late is not None and late.side == silence.side and late.time_us == silence.end_us:
            number = late.number
        self._fault(silence.side, "silence", number, silence.end_us)

    def event(self, event: Event) -> None:
        """Take what the protocol does besides data."""
        if event.is_wrong and event.kind == "fail-safe":
            self._fault(event.side, "fail-safe", event.number, event.time_us)
        if event.is_wrong and event.kind in self._plan.restarts:
            self._mark(self._plan.restart, event.number, event.time_us)

    def note(self, kind: str, note: Note) -> None:
        """Take frames that were rejected or foreign, and a history that was lost."""
        if kind == "history lost":
            for side in (0, 1):
                self._forget(side)
        if note.side is None:
            return
        if kind == "rejected":
            check = note.check
            self._late = note if check == "watchdog" else None
            key = "id" if check in self._plan.checks[note.side] else f"rejected {check}"
            self._fault(note.side, key, note.number, note.time_us)
        elif kind in ("foreign", "foreign elsewhere"):
            self._fault(note.side, "id", note.number, note.time_us)
