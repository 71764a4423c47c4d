"""What a recording shows of the steps of a checklist, found in one pass over what changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from .._bits import run_text
from .._checklist import ChecklistStep
from .._codec import encode, extract, meaning
from .._link import Link
from .._model import Signal
from .._words import milliseconds, way
from ..capture import Both, Event, Interval, Note, Observer, Packet
from ..frame import recipe
from ._entries import EvidenceAnswer, EvidenceFinding, EvidenceSight

SHOWABLE = (
    "non-safe value",
    "safe value",
    "loss of communication",
    "watchdog",
    "power cycle",
    "restart",
    "other signal",
    "wrong device",
)
"""Kinds of steps that a recording can show; that nothing reacts is only seen at the machine."""

_DRIVEN = ("non-safe value", "other signal")
_LOOKED_FOR = (*_DRIVEN, "safe value")
"""Kinds of steps of which data show something; the others wait for an interruption."""
_SILENT = ("loss of communication", "watchdog")
_ANEW = ("restart", "reset", "number reset")
"""Kinds of events with which a connection begins anew."""


def _raw(data: bytes, signal: Signal) -> int:
    raw = extract(signal, data)
    assert raw is not None, "data of another size than the map are never in use"
    return raw


def _mask(signal: Signal) -> int:
    return (1 << signal.width) - 1 << signal.start


@dataclass(slots=True)
class _LiveSight:
    """A sight that may still go on: it is told to when it ends and what answers."""

    sight: EvidenceSight
    start_us: int | None
    runs: bool = True
    waits: bool = False
    answers: dict[str, EvidenceAnswer] = field(default_factory=dict)

    def close(self, time_us: int | None, until: str) -> None:
        self.runs = False
        held = None if time_us is None or self.start_us is None else time_us - self.start_us
        if held is not None and held < 0:
            held = None  # The time of the recording ran backwards: nobody knows.
        self.sight = replace(self.sight, held_us=held, until=until)


class _Tracker:
    """One step that names a signal: what is found of it."""

    __slots__ = (
        "found",
        "is_done",
        "mask",
        "safe",
        "side",
        "signal",
        "step",
        "wanted",
        "was_driven",
    )

    def __init__(
        self, step: ChecklistStep, side: int, signal: Signal, wanted: int | None, safe: int
    ) -> None:
        self.step, self.side, self.signal, self.wanted = step, side, signal, wanted
        self.mask, self.safe = _mask(signal), safe
        self.found: list[_LiveSight] = []
        self.was_driven = False
        # Whether new data can show nothing, and nothing that was seen goes on.
        self.is_done = step.group not in _LOOKED_FOR


class Sights(Observer):
    """Finds what a recording shows of steps; only data in use count.

    ``window_us`` is how long after a sight signals of the other direction count as its answer.
    """

    def __init__(self, link: Link, steps: Sequence[ChecklistStep], window_us: int) -> None:
        self._link, self._steps, self._window_us = link, steps, window_us
        self._signals = [link.sent(side).signals for side in (0, 1)]
        self._masks = [list(map(_mask, signals)) for signals in self._signals]
        self._safe = [encode(link.sent(side), {}) for side in (0, 1)]
        self._data: list[bytes | None] = [None, None]
        self._used = [False, False]
        self._start_us: int | None = None
        # Until when a change of the other side may answer what was seen of a side.
        self._until_us: list[int | None] = [None, None]
        self._late: Note | None = None
        self._last: Packet | None = None
        self._foreign: list[_LiveSight] = []
        self._foreign_shown = False
        self._ids = recipe(link.profile).identity
        self._trackers = [made for step in steps if (made := self._tracker(step)) is not None]

    def _tracker(self, step: ChecklistStep) -> _Tracker | None:
        for side in (0, 1):
            if step.direction != way(*self._names(side)) or step.group == "removed":
                continue
            called = [each for each in self._signals[side] if each.name == step.signal]
            for signal in called:
                # A map may use one name twice: by its place, then.
                if len(called) == 1 or run_text(signal.start, signal.end) == step.at:
                    wanted = None
                    if step.group == "non-safe value" and step.data:
                        wanted = _raw(bytes.fromhex(step.data), signal)
                    safe = _raw(self._safe[side], signal)
                    return _Tracker(step, side, signal, wanted, safe)
        return None

    def _names(self, side: int) -> tuple[str, str]:
        return self._link.names[side], self._link.names[1 - side]

    def begins(self, time_us: int) -> None:
        """Count times from here on."""
        self._start_us = time_us

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Follow data in use."""
        was = self._data[side]
        self._late, self._last = None, packet
        word, safe = int.from_bytes(data, "little"), int.from_bytes(self._safe[side], "little")
        unlike = word ^ safe
        changed: list[tuple[Signal, int, int]] = []
        if was is not None and was != data and self._answers(side, packet.time_us):
            changed = self._changed(side, was, data)
        for tracker in self._trackers:
            if tracker.side == side:
                if tracker.is_done:
                    tracker.was_driven = bool(unlike & tracker.mask)
                else:
                    self._drive(tracker, packet, data)
            elif changed:
                self._answer(tracker, packet.time_us, changed)
        self._data[side], self._used[side] = data, True

    def _drive(self, tracker: _Tracker, packet: Packet, data: bytes) -> None:
        signal = tracker.signal
        raw = _raw(data, signal)
        is_safe = raw == tracker.safe
        for each in tracker.found:
            if each.waits:
                each.waits = False
                then = f"data in use again, {signal.name} = {meaning(signal, raw)}"
                if each.start_us is not None and packet.time_us is not None:
                    then += f", after {milliseconds(packet.time_us - each.start_us)}"
                each.sight = replace(each.sight, then=then)
        group = tracker.step.group
        matches = not is_safe and tracker.wanted in (None, raw)
        if group == "safe value":
            matches = is_safe and tracker.was_driven and self._used[tracker.side]
        tracker.was_driven = not is_safe
        for each in tracker.found:
            if each.runs and not (matches or (group == "safe value" and is_safe)):
                each.close(packet.time_us, f"{signal.name} = {meaning(signal, raw)}")
        looks = group in _LOOKED_FOR
        tracker.is_done = not any(each.runs or each.waits for each in tracker.found) and (
            not looks or (bool(tracker.found) and tracker.found[-1].sight.what == "alone")
        )
        if not matches or not looks:
            return
        alone = not self._rest(tracker, data)
        # The first, and the first alone; what comes after them shows nothing more.
        if not tracker.found or (alone and tracker.found[-1].sight.what != "alone"):
            what = "alone" if alone else "not alone"
            others = () if alone else self._others(tracker, data)
            self._see(tracker.found, what, packet, packet.time_us, data.hex(" ").upper(), others)
            if packet.time_us is not None:
                until_us = packet.time_us + self._window_us
                self._until_us[tracker.side] = max(self._until_us[tracker.side] or 0, until_us)

    def _rest(self, tracker: _Tracker, data: bytes) -> int:
        """Return the bits besides the signal of a step that are not as in the safe state."""
        unlike = int.from_bytes(data, "little") ^ int.from_bytes(self._safe[tracker.side], "little")
        return unlike & ~tracker.mask

    def _others(self, tracker: _Tracker, data: bytes) -> tuple[str, ...]:
        """Return what else is not at its safe value, the bits of no signal last."""
        rest, found = self._rest(tracker, data), []
        for signal in self._signals[tracker.side]:
            if rest & _mask(signal) and signal is not tracker.signal:
                found.append(f"{signal.name} = {meaning(signal, _raw(data, signal))}")
            rest &= ~_mask(signal)
        return (*found, *("bits of no signal",) * bool(rest))

    def _see(
        self,
        found: list[_LiveSight],
        what: str,
        at: Packet | Note | Event,
        start_us: int | None,
        data: str = "",
        others: tuple[str, ...] = (),
    ) -> _LiveSight:
        time_us = None
        if start_us is not None and self._start_us is not None:
            time_us = start_us - self._start_us
        sight = EvidenceSight(
            what=what,
            number=at.number,
            offset=at.offset,
            time_us=time_us,
            data=data,
            others=others,
            held_us=None,
            until="",
            answers=(),
            then="",
        )
        found.append(_LiveSight(sight, start_us))
        return found[-1]

    def _answers(self, side: int, time_us: int | None) -> bool:
        """Tell whether a change of this side may still answer something."""
        until_us = self._until_us[1 - side]
        return time_us is not None and until_us is not None and time_us <= until_us

    def _changed(self, side: int, was: bytes, data: bytes) -> list[tuple[Signal, int, int]]:
        """Return the signals of a side that have changed, with both values."""
        unlike = int.from_bytes(was, "little") ^ int.from_bytes(data, "little")
        return [
            (signal, _raw(was, signal), _raw(data, signal))
            for signal, mask in zip(self._signals[side], self._masks[side], strict=True)
            if unlike & mask
        ]

    def _answer(
        self, tracker: _Tracker, time_us: int | None, changed: list[tuple[Signal, int, int]]
    ) -> None:
        for each in tracker.found:
            if time_us is None or each.start_us is None or each.sight.then:
                continue
            after_us = time_us - each.start_us
            if not 0 <= after_us <= self._window_us:
                continue
            for signal, before, after in changed:
                if signal.name not in each.answers:
                    each.answers[signal.name] = EvidenceAnswer(
                        signal=signal.name,
                        before=meaning(signal, before),
                        after=meaning(signal, after),
                        after_us=after_us,
                    )

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Take note of what was at work when the data went out of use."""
        self._used[side] = False
        for tracker in self._trackers:
            if tracker.side != side:
                continue
            for each in tracker.found:
                if each.runs:
                    each.close(time_us, "data no longer in use")

    def silence(self, silence: Interval) -> None:
        """Take note of silence, at the late frame that ends it if there is one."""
        at: Packet | Note | None = self._last
        what, since_us = "silence to the end of the recording, after the last change", 0
        late = self._late
        if late is not None and (late.side, late.time_us) == (silence.side, silence.end_us):
            at, what, since_us = late, "silence", self._link.watchdog_us or 0
        for tracker in self._trackers:
            if tracker.side == silence.side and tracker.step.group in _SILENT:
                self._interrupt(tracker, what, at, silence.start_us + since_us)

    def _interrupt(
        self, tracker: _Tracker, what: str, at: Packet | Note | Event | None, time_us: int | None
    ) -> None:
        """See the first interruption while the signal was not at its safe value."""
        if not tracker.was_driven or tracker.found:
            return
        assert at is not None, "what was driven has come in a packet"
        octets = self._data[tracker.side] or self._safe[tracker.side]
        each = self._see(tracker.found, what, at, time_us, octets.hex(" ").upper())
        each.runs, each.waits = False, True
        tracker.is_done = False
        each.sight = replace(each.sight, then="no data in use after it")

    def event(self, event: Event) -> None:
        """Take note of what was at work when the connection began anew."""
        self._late = None
        if event.kind in _ANEW:
            for tracker in self._trackers:
                if tracker.step.group in ("power cycle", "restart"):
                    self._interrupt(tracker, f"new start ({event.text})", event, event.time_us)

    def note(self, kind: str, note: Note) -> None:
        """Take note of foreign frames, broken relations and frames that come too late."""
        self._late = note if note.check == "watchdog" else None
        if kind.startswith("foreign"):
            if not self._foreign_shown:
                self._foreign_shown = True
                self._alien("foreign frame", note)
        elif not self._foreign and note.check in self._ids:
            # A spoilt id looks like this, too: only the first, and what is foreign besides.
            self._alien("frame with another id, of another device or spoilt", note)

    def _alien(self, what: str, note: Note) -> None:
        each = self._see(self._foreign, f"{what} ({note.text})", note, note.time_us)
        each.sight = replace(each.sight, then="not accepted by the rules of the protocol")

    def findings(self, end_us: int | None) -> tuple[EvidenceFinding, ...]:
        """Return what was seen of every step; call it once, after the last packet."""
        by_step = {tracker.step.id: tracker.found for tracker in self._trackers}
        rows = []
        for step in self._steps:
            seen = by_step.get(step.id, self._foreign if step.group == "wrong device" else [])
            for each in seen:
                if each.runs and step.group != "wrong device":
                    each.close(end_us, "the recording ends")
            sights = tuple(
                replace(each.sight, answers=tuple(each.answers.values())) for each in seen
            )
            rows.append(EvidenceFinding(step=step.id, sights=sights))
        return tuple(rows)
