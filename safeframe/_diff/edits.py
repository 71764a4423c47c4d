"""Whether both ends were edited identically, and every difference between the two edits."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .._bits import run_text
from .._canonical import form, shared_parameters
from .._model import Connection, End, Map, Signal
from .._pairing import match
from .._source import Location
from ..protocols import Profile
from .changes import Change, outline, show
from .ends import compare_ends, compare_versions
from .levels import FIELDS, LEVELS, any_at_or_above
from .order import in_order_of
from .overlay import Overlay, state_text


@dataclass(frozen=True, slots=True, kw_only=True)
class EditStep:
    """What one end did, in words: ``added brake2_release at 1.2``."""

    end: str
    did: str
    where: Location


@dataclass(frozen=True, slots=True, kw_only=True)
class EditDifference:
    """One thing that the two ends did not do alike.

    ``section`` is a direction such as ``SC1 -> LX``, ``connection`` or ``end``; ``field`` is
    empty where a signal came or went at one end only.
    """

    level: str
    section: str
    subject: str
    field: str
    steps: tuple[EditStep, EditStep]

    @property
    def message(self) -> str:
        """Both steps as one sentence."""
        return "; ".join(f"{step.end} {step.did}" for step in self.steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class EditComparison:
    """The edits of both ends side by side.

    ``edits`` are all changes of the first and of the second end, own ones such as bindings
    included. ``disagreed`` and ``disagree`` are what the ends did not share before, and do not
    share after the edits: two identical edits keep an old disagreement, and the edit that heals
    one is different at both ends by nature.
    """

    ends: tuple[str, str]
    edits: tuple[tuple[Change, ...], tuple[Change, ...]]
    differences: tuple[EditDifference, ...]
    shared_changed: bool
    disagreed: tuple[Change, ...]
    disagree: tuple[Change, ...]

    @property
    def verdict(self) -> str:
        """One of ``identical``, ``different`` and ``nothing changed`` (nothing both ends share)."""
        if self.differences:
            return "different"
        return "identical" if self.shared_changed else "nothing changed"

    @property
    def outcome(self) -> str:
        """The verdict, but ``ends differ`` where no different edits leave ends that disagree."""
        return "ends differ" if self.disagree and not self.differences else self.verdict

    def fails(self, threshold: str) -> bool:
        """Return whether the edits, or the ends after them, differ at or above ``threshold``."""
        levels = [found.level for found in self.differences]
        levels += [found.level for found in self.disagree]
        return any_at_or_above(levels, threshold)


def compare_edits(
    before: Connection, after: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> EditComparison:
    """Compare what was done at the first end with what was done at the second end.

    The ends of ``after`` are paired with those of ``before`` by their names, in either order; ends
    that both got new names must stand in the old order. Compared is what both ends must share:
    places, widths, reserve, meanings, names, the connection terms, and the parameters that the
    profile marks so (``own_profiles`` are the user's, by name).

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> safeframe.compare_edits(connection, connection).verdict
    'nothing changed'
    """
    after = in_order_of(before, after)
    recorder = _Recorder(before, after)
    recorder.connection_table()
    recorder.parameters(own_profiles)
    recorder.names()
    for old, new in zip(before.directions(), after.directions(), strict=True):
        recorder.direction(
            old.name,
            _Edit(new.producer, old.sent, new.sent),
            _Edit(new.consumer, old.received, new.received),
        )
    recorder.found.sort(key=lambda difference: LEVELS.index(difference.level))
    return EditComparison(
        ends=(after.first.name, after.second.name),
        edits=(
            compare_versions(before.first, after.first, own_profiles=own_profiles),
            compare_versions(before.second, after.second, own_profiles=own_profiles),
        ),
        differences=tuple(recorder.found),
        shared_changed=recorder.shared_changed,
        disagreed=compare_ends(before, own_profiles=own_profiles),
        disagree=compare_ends(after, own_profiles=own_profiles),
    )


@dataclass(frozen=True, slots=True)
class _Thread:
    """One signal of one end through the edit; None where it was not there yet, or is gone."""

    old: Signal | None
    new: Signal | None

    @property
    def signal(self) -> Signal:
        signal = self.new or self.old
        assert signal is not None, "a thread has a signal on one side at least"
        return signal

    @property
    def kind(self) -> str:
        if self.old is None:
            return "added"
        return "removed" if self.new is None else "kept"

    def delta(self, field: str) -> tuple[Any, Any] | None:
        """Return the forms of a field before and after, None where the edit left it alone."""
        old, new = (signal and form(signal, field) for signal in (self.old, self.new))
        return None if old == new else (old, new)

    def shown(self, field: str) -> tuple[Any, Any]:
        """Return a field before and after as the map has it, not as it is compared."""
        return getattr(self.old, field, None), getattr(self.new, field, None)

    @property
    def touched(self) -> list[str]:
        return [name for name, rule in FIELDS["Signal"].items() if rule.shared and self.delta(name)]


class _Edit:
    """One map of one end before and after, cut into threads."""

    def __init__(self, end: End, before: Map, after: Map) -> None:
        self.end, self.before, self.after = end, before, after
        matching = match(before, after)
        self.threads = [
            *(_Thread(pair.left, pair.right) for pair in matching.pairs),
            *(_Thread(signal, None) for signal in matching.left_only),
            *(_Thread(None, signal) for signal in matching.right_only),
        ]


class _Recorder:
    def __init__(self, before: Connection, after: Connection) -> None:
        self.before, self.after = before, after
        self.found: list[EditDifference] = []
        self.shared_changed = False

    def connection_table(self) -> None:
        """Compare the edits of the ``[connection]`` tables."""
        for field, rule in FIELDS["ConnectionTable"].items():
            tables = [
                (old.connection_table, new.connection_table)
                for old, new in zip(self.before.ends, self.after.ends, strict=True)
            ]
            values = [tuple(getattr(one, field) for one in both) for both in tables]
            forms = [tuple(form(one, field) for one in both) for both in tables]
            self._plain("connection", field, rule.level, values, (field, field), forms)

    def names(self) -> None:
        """Compare a new name of an end with what the other end now calls its peer."""
        level = FIELDS["End"]["name"].level
        for labels in (("name", "peer"), ("peer", "name")):
            values = [
                (getattr(old, label), getattr(new, label))
                for label, old, new in zip(labels, self.before.ends, self.after.ends, strict=True)
            ]
            self._plain("end", "name", level, values, labels, values)

    def parameters(self, own_profiles: Mapping[str, Profile] | None) -> None:
        """Compare the edits of the parameters that both ends must hold alike."""
        stated = [
            (shared_parameters(old, own_profiles), shared_parameters(new, own_profiles))
            for old, new in zip(self.before.ends, self.after.ends, strict=True)
        ]
        level = FIELDS["End"]["parameters"].level
        for name in sorted({name for both in stated for one in both for name in one}):
            found = [tuple(one.get(name) for one in both) for both in stated]
            values = [tuple(one.value if one else None for one in both) for both in found]
            forms = [tuple(one.form if one else None for one in both) for both in found]
            self._plain("parameters", name, level, values, (name, name), forms)

    def _plain(
        self,
        section: str,
        field: str,
        level: str,
        values: Sequence[tuple[Any, ...]],
        labels: tuple[str, str],
        forms: Sequence[tuple[Any, ...]],
    ) -> None:
        """Compare what each end did to a plain field; ``values`` are before and after per end."""
        changed = [both if both[0] != both[1] else None for both in forms]
        self.shared_changed |= changed != [None, None]
        if changed[0] == changed[1]:
            return
        what = "parameter" if section == "parameters" else section
        steps = [
            EditStep(
                end=end.name,
                did=(
                    f"left {what} {label} at {show(label, old)}"
                    if done is None
                    else f"changed {what} {label} from {show(label, old)} to {show(label, new)}"
                ),
                where=end.locate(f"{section}.{label}"),
            )
            for end, label, (old, new), done in zip(
                self.after.ends, labels, values, changed, strict=True
            )
        ]
        subject = field if section == "parameters" else section
        self._record(level, section, subject, field, steps[0], steps[1])

    def direction(self, section: str, producer: _Edit, consumer: _Edit) -> None:
        """Compare the edits of the two maps of one direction."""
        if producer.before == producer.after and consumer.before == consumer.after:
            return
        for left, right in _paired(producer, consumer):
            if left and right and left.kind == right.kind:
                self._fields(section, (producer, left), (consumer, right))
            else:
                self._presence(section, (producer, left), (consumer, right))
        self._reserve(section, producer, consumer)

    def _fields(
        self, section: str, left: tuple[_Edit, _Thread], right: tuple[_Edit, _Thread]
    ) -> None:
        if all(thread.old == thread.new for _, thread in (left, right)):
            return  # Most signals of an edited map.
        for field, rule in FIELDS["Signal"].items():
            if not rule.shared:
                continue
            deltas = [thread.delta(field) for _, thread in (left, right)]
            self.shared_changed |= deltas != [None, None]
            if deltas[0] != deltas[1]:
                steps = [_step(edit, thread, field) for edit, thread in (left, right)]
                subject = left[1].signal.name
                self._record(rule.level, section, subject, field, steps[0], steps[1])

    def _presence(
        self,
        section: str,
        left: tuple[_Edit, _Thread | None],
        right: tuple[_Edit, _Thread | None],
    ) -> None:
        threads = [thread for _, thread in (left, right) if thread]
        if not any(thread.touched for thread in threads):
            return  # An old disagreement that neither end touched is none of the edits.
        self.shared_changed = True
        subject = threads[0].signal.name
        steps = [
            _step(edit, thread, "") if thread else _absent(edit, threads[0])
            for edit, thread in (left, right)
        ]
        self._record(FIELDS["Signal"]["at"].level, section, subject, "", steps[0], steps[1])

    def _reserve(self, section: str, producer: _Edit, consumer: _Edit) -> None:
        overlay = Overlay(producer.before, producer.after, consumer.before, consumer.after)
        runs: list[tuple[int, int, tuple[tuple[int, int] | None, ...]]] = []
        for segment in overlay.segments:
            states = segment.reserves
            changed = [_delta(states, which) for which in (0, 2)]
            self.shared_changed |= changed != [None, None]
            covered = tuple(segment.signal(which) is not None for which in range(4))
            if changed[0] == changed[1] or _delta(covered, 0) != _delta(covered, 2):
                continue  # Alike, or told by the signal that came or went at one end only.
            start = segment.start
            joins = runs and runs[-1][1] == start and runs[-1][2] == states
            if joins and not any(map(any, filter(None, states))):
                start = runs.pop()[0]
            runs.append((start, segment.end, states))
        for start, end, states in runs:
            steps = [
                EditStep(
                    end=edit.end.name,
                    did=_reserve_text(run_text(start, end), states[which], states[which + 1]),
                    where=_reserve_where(edit, overlay, which, start, end),
                )
                for which, edit in ((0, producer), (2, consumer))
            ]
            subject = f"reserved {run_text(start, end)}"
            level = FIELDS["Reserved"]["width"].level
            self._record(level, section, subject, "reserved", steps[0], steps[1])

    def _record(
        self, level: str, section: str, subject: str, field: str, one: EditStep, two: EditStep
    ) -> None:
        self.found.append(
            EditDifference(
                level=level, section=section, subject=subject, field=field, steps=(one, two)
            )
        )


def _paired(producer: _Edit, consumer: _Edit) -> Iterator[tuple[_Thread | None, _Thread | None]]:
    """Yield the threads of both ends side by side: who was one before, then who is one after."""
    stages: tuple[tuple[Map, Map, Callable[[_Thread], Signal | None]], ...] = (
        (producer.before, consumer.before, lambda thread: thread.old),
        (producer.after, consumer.after, lambda thread: thread.new),
    )
    lefts, rights = producer.threads, consumer.threads
    for left_map, right_map, pick in stages:
        partner = {id(pair.left): id(pair.right) for pair in match(left_map, right_map).pairs}
        waiting = {id(pick(thread)): thread for thread in rights if pick(thread)}
        alone: list[_Thread] = []
        found: set[int] = set()
        for left in lefts:
            right = waiting.pop(partner.get(id(pick(left)), 0), None)
            if right is None:
                alone.append(left)
            else:
                found.add(id(right))
                yield left, right
        lefts, rights = alone, [thread for thread in rights if id(thread) not in found]
    yield from ((left, None) for left in lefts)
    yield from ((None, right) for right in rights)


def _delta(states: tuple[Any, ...], which: int) -> tuple[Any, Any] | None:
    old, new = states[which], states[which + 1]
    return None if old == new else (old, new)


_VERBS = {
    "at": "moved {name} from {old} to {new}",
    "width": "resized {name} from {old} to {new}",
    "name": "renamed {old} to {new}",
}


def _step(edit: _Edit, thread: _Thread, field: str) -> EditStep:
    return EditStep(end=edit.end.name, did=_did(thread, field), where=thread.signal.where)


def _did(thread: _Thread, field: str) -> str:
    name = thread.signal.name
    if thread.kind == "added":
        if field in ("", "at"):
            return f"added {name} at {thread.signal.at}"
        if field == "name":
            return f"added {name}"
        return f"added {name} with {field} {show(field, getattr(thread.signal, field))}"
    if thread.kind == "removed":
        return f"removed {name} ({outline(thread.signal)})"
    delta = thread.delta(field) if field else None
    if delta is not None:
        old, new = delta if field == "order" else thread.shown(field)
        verb = _VERBS.get(field, "changed {field} of {name} from {old} to {new}")
        return verb.format(
            field=field, name=name, old=show(field, old, new), new=show(field, new, old)
        )
    if field:
        what = name if field == "at" else f"{field} of {name}"
        return f"left {what} at {show(field, getattr(thread.signal, field))}"
    touched = thread.touched
    return f"changed {', '.join(touched)} of {name}" if touched else f"left {name} as it is"


_ABSENT = {
    "added": "did not add {name}",
    "removed": "had no {name} to remove",
    "kept": "has no {name}",
}


def _absent(edit: _Edit, other: _Thread) -> EditStep:
    did = _ABSENT[other.kind].format(name=other.signal.name)
    return EditStep(end=edit.end.name, did=did, where=edit.after.where)


def _reserve_text(run: str, old: tuple[int, int] | None, new: tuple[int, int] | None) -> str:
    texts = [
        "not reserved" if state is None else f"reserved{state_text(*state)}" for state in (old, new)
    ]
    if old == new:
        return f"left {run} {texts[0]}"
    return f"changed {run} from {texts[0]} to {texts[1]}"


def _reserve_where(edit: _Edit, overlay: Overlay, which: int, start: int, end: int) -> Location:
    """Return where a run of an end stands, now or before, or its map where it never had one."""
    segments = overlay.within(start, end)
    for version in (which + 1, which):
        for segment in segments:
            run = segment.reserved(version)
            if run is not None:
                return run.where
    return edit.after.where
