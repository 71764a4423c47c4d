"""What has to be tried on the machine after a change: one step for each way it can be wrong.

The steps are common practice (docs/testing-a-change.md says why each is there); which signals
they name, with which values and safety data, is computed from the maps before and after.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ._bits import Place, run_text
from ._canonical import find_profile
from ._codec import encode, number_text, value_of
from ._diff import Change, compare_versions
from ._diff.order import in_order_of
from ._model import Connection, Direction, Map, Signal
from ._timing import timing
from .protocols import Profile

GROUPS = {
    "non-safe value": "The new or changed signal is driven to its non-safe value",
    "safe value": "It is driven back to its safe value",
    "loss of communication": "Communication ends while it is at its non-safe value",
    "watchdog": "Frames come too late while it is at its non-safe value",
    "power cycle": "Power fails and returns while it is at its non-safe value",
    "restart": "The program restarts while it is at its non-safe value",
    "removed": "What the removed signal used to be is driven once more",
    "other signal": "Every other signal is driven to a non-safe value once",
    "relation": "A rule between signals is put to the test",
    "wrong device": "A device that does not belong to this connection answers",
}
"""Every kind of step with its heading, in the order of the list."""

_NAMED = 6
"""Changed signals that a step about another signal names one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChecklistStep:
    """One thing to try: ``action`` at one end, ``expect`` what must then be seen.

    ``id`` names the step within its list. With ``required`` the step must pass before anything
    is released: it is the only one that shows where this bit arrives. ``data`` are the safety
    data of the action, all other signals at their safe value, in hexadecimal; empty where one
    line of data cannot say it.
    """

    id: str
    group: str
    direction: str
    signal: str
    at: str
    action: str
    expect: str
    required: bool = False
    data: str = ""


def checklist(
    before: Connection, after: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[ChecklistStep, ...]:
    """Return the steps that show what a change did, none where nothing to be tried changed.

    The ends are paired as by ``compare_edits``. Raises UsageError for a safe value that does not
    fit its signal. ``own_profiles`` are the user's, by name.
    """
    after = in_order_of(before, after)
    edits = [
        compare_versions(old, new, own_profiles=own_profiles)
        for old, new in zip(before.ends, after.ends, strict=True)
    ]
    return steps_of(before, after, edits, own_profiles)


def steps_of(
    before: Connection,
    after: Connection,
    edits: Sequence[Sequence[Change]],
    own_profiles: Mapping[str, Profile] | None,
) -> tuple[ChecklistStep, ...]:
    """Return the same as ``checklist`` where the changes of both ends are known already."""
    maker = _Maker(before, after, edits, own_profiles)
    return tuple(sorted(maker.steps(), key=lambda step: list(GROUPS).index(step.group)))


class _Effect(NamedTuple):
    """In which words the steps tell what a signal does where it arrives."""

    drive: str
    back: str
    acts: str
    follows: str
    ends: str
    stays: str
    before: str


_COMMAND = _Effect(
    drive="set {source} to {shown}, all others to their safe value",
    back="set {source} back to {shown}",
    acts="exactly the intended function acts, nothing else does",
    follows="nothing else does",
    ends="the function takes its safe state",
    stays="; it stays there until it is asked for anew",
    before="acts as before",
)
_FEEDBACK = _Effect(
    drive="bring about what makes {source} report {shown}, with all others at their safe value",
    back="bring about what makes {source} report {shown} again",
    acts="what waits for this report may go on, nothing moves by the report alone",
    follows="nothing moves by the report alone",
    ends="what needs this report stops or does not start",
    stays="; it stays so until it is asked for anew, even if the report comes back",
    before="is taken as before",
)


class _Maker:
    def __init__(
        self,
        before: Connection,
        after: Connection,
        edits: Sequence[Sequence[Change]],
        own_profiles: Mapping[str, Profile] | None,
    ) -> None:
        self.before, self.after, self.own_profiles = before, after, own_profiles
        self.ids: set[str] = set()
        self.changes = {end.name: changes for end, changes in zip(after.ends, edits, strict=True)}
        self.lanes = [_Lane(direction, own_profiles) for direction in after.directions()]
        self.changed = [self._changed(lane.direction) for lane in self.lanes]

    def steps(self) -> Iterator[ChecklistStep]:
        """Yield every step."""
        names = _some([signal.name for changed in self.changed for signal in changed])
        for lane, changed in zip(self.lanes, self.changed, strict=True):
            for signal in changed:
                yield from self._driven(lane, signal)
            yield from self._removed(lane.direction)
        if not names and not any(map(self._matters, self.changes)):
            return
        timed = self._is_timed()
        for lane, changed in zip(self.lanes, self.changed, strict=True):
            if timed and not changed and lane.direction.sent.signals:
                yield from self._late(lane)
            driven = set(map(id, changed))
            for signal in lane.direction.sent.signals:
                if id(signal) not in driven:
                    yield self._other(lane, signal, names)
        yield from self._relations()
        yield self._wrong_device()

    def _matters(self, end: str) -> bool:
        """Tell whether anything but remarks and allowances changed at an end."""
        return any(
            change.field not in ("note", "mirrors") and change.kind != "allowance"
            for change in self.changes[end]
        )

    def _is_timed(self) -> bool:
        """Tell whether a time changed that a watchdog is about, be it as a parameter."""
        found = {change.field for changes in self.changes.values() for change in changes}
        old, new = map(self._times, (self.before, self.after))
        return not found.isdisjoint(_TIMES) or old != new

    def _times(self, connection: Connection) -> list[int | None]:
        """Return the times of a connection, in the words of whatever protocol."""
        name, other = (end.connection_table.profile for end in connection.ends)
        profile = find_profile(name, self.own_profiles) if name == other else None
        times = timing(connection, profile)
        terms = [term.time_ms for term in times.reaction.inputs]
        return [times.watchdog_ms, times.exchange_ms, *terms]

    def _changed(self, direction: Direction) -> list[Signal]:
        """Return the producer's signals whose change at either end has to be tried."""
        found = [
            change
            for change, section in self._of(direction)
            if change.section == section and _has_effect(change)
        ]
        # By place too: what the consumer calls differently is driven by the producer all the same.
        names = {change.subject for change in found}
        places = {change.places[1] for change in found}
        return [
            signal
            for signal in direction.sent.signals
            if signal.name in names or signal.at in places
        ]

    def _of(self, direction: Direction) -> Iterator[tuple[Change, str]]:
        for change in self.changes[direction.producer.name]:
            yield change, "sends"
        for change in self.changes[direction.consumer.name]:
            yield change, "receives"

    def _driven(self, lane: _Lane, signal: Signal) -> Iterator[ChecklistStep]:
        direction = lane.direction
        producer, consumer = direction.producer, direction.consumer
        values = _other_values(signal)
        source, target = _bound(signal), lane.reader(signal)
        effect = lane.effect(signal)
        for value in values:
            shown = number_text(signal, value)
            yield self._step(
                direction,
                signal,
                "non-safe value",
                f"{producer.name}: {effect.drive.format(source=source, shown=shown)}",
                f"{consumer.name}: {target} reads {shown}, {effect.acts}"
                f"{_EDGES.get(signal.edge, '')}",
                suffix=f"-{value}" if len(values) > 1 else "",
                required=True,
                data=lane.data(signal, value),
            )
        if not values:
            yield self._step(
                direction,
                signal,
                "non-safe value",
                f"{producer.name}: change each of the {signal.width} bits of {source} once, "
                "one at a time, all other signals at their safe value",
                f"{consumer.name}: {target} follows with the same number each time, "
                f"{effect.follows}",
                required=True,
            )
        yield from self._let_go(lane, signal)

    def _late(self, lane: _Lane) -> Iterator[ChecklistStep]:
        """Yield the step of a new time, with one signal: a watchdog looks after all of them."""
        signals = lane.direction.sent.signals
        signal = next((each for each in signals if _other_values(each)), signals[0])
        yield from (step for step in self._let_go(lane, signal) if step.group == "watchdog")

    def _let_go(self, lane: _Lane, signal: Signal) -> Iterator[ChecklistStep]:
        """Yield the steps that end at the safe value."""
        direction = lane.direction
        producer, consumer = direction.producer, direction.consumer
        safe, values = number_text(signal, signal.safe), _other_values(signal)
        source, target = _bound(signal), lane.reader(signal)
        effect = lane.effect(signal)
        at_work = f"with {signal.name} at {number_text(signal, values[0]) if values else 'work'}"
        back = f"{consumer.name}: {target} reads {safe} and {effect.ends}"
        stays = effect.stays
        watchdog = producer.connection_table.watchdog_ms
        times = "" if watchdog is None else f" ({watchdog} ms)"
        work = lane.data(signal, values[0]) if values else ""
        for group, action, expect, data in (
            (
                "safe value",
                f"{producer.name}: {effect.back.format(source=source, shown=safe)}",
                back,
                lane.data(signal, signal.safe),
            ),
            (
                "loss of communication",
                f"{at_work}, interrupt the communication of {producer.name} and {consumer.name}, "
                "then restore it",
                back + stays,
                work,
            ),
            (
                "watchdog",
                f"{at_work}, delay the frames beyond the watchdog time{times}",
                f"{back} within the time that the safety function permits; write the time down",
                work,
            ),
            (
                "power cycle",
                f"{at_work}, switch {producer.name} off and on, then {consumer.name}",
                back + stays,
                work,
            ),
            ("restart", f"{at_work}, restart the program of {producer.name}", back + stays, work),
        ):
            yield self._step(direction, signal, group, action, expect, data=data)

    def _removed(self, direction: Direction) -> Iterator[ChecklistStep]:
        gone: dict[str, Change] = {}
        for change, section in self._of(direction):
            if change.section == section and change.kind == "removed":
                gone.setdefault(change.subject, change)
        for name, change in gone.items():
            yield ChecklistStep(
                id=self._id(f"{direction.producer.name}.{name}.removed"),
                group="removed",
                direction=direction.name,
                signal=name,
                at=str(change.places[0]),
                action=f"{direction.producer.name}: do what used to set {name} ({change.before})",
                expect=f"{direction.consumer.name}: nothing reacts",
            )

    def _other(self, lane: _Lane, signal: Signal, names: str) -> ChecklistStep:
        direction = lane.direction
        bits = "" if signal.width == 1 else f", each of its {signal.width} bits"
        values = _other_values(signal)
        still = f"; no reaction of {names}" if names else ""
        return self._step(
            direction,
            signal,
            "other signal",
            f"{direction.producer.name}: toggle {_bound(signal)} once{bits}",
            f"{direction.consumer.name}: {lane.reader(signal)} {lane.effect(signal).before}{still}",
            required=True,
            data=lane.data(signal, values[0]) if values else "",
        )

    def _relations(self) -> Iterator[ChecklistStep]:
        for end in self.after.ends:
            for relation in end.relations:
                yield ChecklistStep(
                    id=self._id(f"{end.name}.{relation.name}.relation"),
                    group="relation",
                    direction="",
                    signal=relation.name,
                    at="",
                    action=f"{end.name}: try to break the rule {relation}",
                    expect=f"it cannot be broken ({relation.reason})",
                )

    def _wrong_device(self) -> ChecklistStep:
        first, second = self.after.ends
        number = first.connection_table.id
        own = "" if number is None else f" than {number}"
        return ChecklistStep(
            id=self._id("wrong-device"),
            group="wrong device",
            direction="",
            signal="",
            at="",
            action=f"connect in the place of {second.name} a device of the same kind with another "
            f"connection id{own} or address",
            expect=f"{first.name} accepts none of its frames, every output stays at its safe value",
        )

    def _step(
        self,
        direction: Direction,
        signal: Signal,
        group: str,
        action: str,
        expect: str,
        *,
        suffix: str = "",
        required: bool = False,
        data: str = "",
    ) -> ChecklistStep:
        word = group.partition(" ")[0]
        return ChecklistStep(
            id=self._id(f"{direction.producer.name}.{signal.name}.{word}{suffix}"),
            group=group,
            direction=direction.name,
            signal=signal.name,
            at=run_text(signal.start, signal.end),
            action=action,
            expect=expect,
            required=required,
            data=data,
        )

    def _id(self, wanted: str) -> str:
        """Return ``wanted``, numbered where a map uses one name twice."""
        found, number = wanted, 2
        while found in self.ids:
            found, number = f"{wanted}-{number}", number + 1
        self.ids.add(found)
        return found


_TIMES = frozenset({"watchdog_ms", "exchange_ms", "permitted_reaction_ms"})

_EDGES = {
    "rising": "; holding it, or finding it set at start, acts no second time",
    "falling": "; only releasing it acts, and once",
    "both": "; each change acts once",
}


def _has_effect(change: Change) -> bool:
    return change.kind in ("added", "moved", "resized", "renamed", "attribute") and (
        change.field not in ("note", "mirrors")
    )


def _other_values(signal: Signal) -> list[int | float]:
    """Return the values other than the safe one that are tried one by one: bits and codes."""
    if signal.type == "code":
        return [value for value, _ in signal.codes if value != signal.safe]
    if signal.width > 1:
        return []
    return [value for value in (value_of(signal, 0), value_of(signal, 1)) if value != signal.safe]


def _some(names: list[str]) -> str:
    """Return the first of many names as text."""
    unique = list(dict.fromkeys(names))
    more = f" and {len(unique) - _NAMED} more" if len(unique) > _NAMED else ""
    return ", ".join(unique[:_NAMED]) + more


def _bound(signal: Signal) -> str:
    return f"{signal.name} ({signal.bind})" if signal.bind else f"{signal.name} (not bound)"


class _Lane:
    """One direction after the change, with what every step of it needs again."""

    def __init__(self, direction: Direction, own_profiles: Mapping[str, Profile] | None) -> None:
        self.direction = direction
        profile = find_profile(direction.producer.connection_table.profile, own_profiles)
        role = profile.answering_role if profile else ""
        self.answers = bool(role) and direction.producer.role == role
        self.readers: dict[Place, Signal] = {}
        for entry in direction.received.signals:
            self.readers.setdefault(entry.at, entry)
        self.safe = encode(direction.sent, {})

    def effect(self, signal: Signal) -> _Effect:
        """Return what a signal does where it arrives: a feedback reports, all else acts."""
        entry = self.readers.get(signal.at)
        mirrors = signal.mirrors or (entry.mirrors if entry else "")
        return _FEEDBACK if self.answers or mirrors.strip() else _COMMAND

    def reader(self, signal: Signal) -> str:
        """Return name and binding at the consumer of what arrives at the place of a signal."""
        entry = self.readers.get(signal.at)
        return _bound(entry) if entry else f"{signal.name} (not read)"

    def data(self, signal: Signal, value: int | float) -> str:
        """Return the safety data in which one signal has a value and all others are safe."""
        alone = encode(Map(entries=(signal,)), {signal.name: value})
        mask = (1 << signal.width) - 1 << signal.start
        word = int.from_bytes(self.safe, "little") & ~mask | int.from_bytes(alone, "little")
        return word.to_bytes(len(self.safe), "little").hex(" ").upper()
