"""What a record is worth: is it whole, complete and signed, and does it still fit the maps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .._errors import InputError
from .._fingerprint import canonical, digest, end_fingerprint, plain, wire_fingerprint
from .._mapfile import dumps, loads
from .._model import Connection, End
from ..protocols import Profile
from ._compute import compute
from ._editions import fingerprints, is_old, written
from ._parts import Computed, Record, State

__all__ = ["APPROVALS", "Assessment", "baseline", "digest_of", "seal", "assess", "verify"]

APPROVALS = 2
"""Signatures of different people that a release needs: two pairs of eyes, common practice."""

_SHOWN = 6
"""Places of a difference that are named one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """``faults`` void the record or the change, ``missing`` is still to be done.

    ``notes`` say how far the judgement goes, for instance that the record is of an older edition.
    """

    faults: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def complete_and_signed(self) -> bool:
        """Whether nothing is wrong and nothing is missing."""
        return not self.faults and not self.missing


def digest_of(value: Any) -> str:
    """Return the SHA-256 over the canonical JSON of a part of a record."""
    data = written(value) if isinstance(value, Computed) else plain(value)
    return digest(canonical(data).encode("ascii"))


def seal(record: Record) -> str:
    """Return what an approval signs: the computed part and all that people entered before."""
    people = plain(record.people)
    del people["approvals"]
    return digest_of({"computed_sha256": record.computed_sha256, "people": people})


def assess(record: Record) -> Assessment:
    """Judge a record by itself, without the maps."""
    return Assessment(
        faults=tuple(_faults(record)),
        missing=tuple(_missing(record)),
        notes=(_OLD.format(record.computed.canonical),) if is_old(record.computed) else (),
    )


_OLD = (
    "the record was made by an older release: its fingerprints are over {}, which this release "
    "does not compute; compared were the maps inside the record"
)


def verify(
    record: Record,
    after: Connection,
    *,
    before: Connection | None = None,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Assessment:
    """Judge a record together with the maps it is about: compute everything anew and compare.

    Without ``before`` the maps before the change are those inside the record. Raises InputError
    when these are no maps any more.
    """
    own = assess(record)
    earlier = _in_order(before or baseline(record), record.computed.before)
    now = _in_order(after, record.computed.after)
    faults = list(_other_maps(record.computed, earlier, now, own_profiles))
    if not faults:
        # A map that says the same in another spelling is the recorded one.
        earlier = _as_recorded(earlier, record.computed.before, own_profiles)
        now = _as_recorded(now, record.computed.after, own_profiles)
    computed = compute(earlier, now, own_profiles=own_profiles)
    if is_old(record.computed):
        known = set(_wrong(record.computed))
        faults += (f"by this release, {text}" for text in _wrong(computed) if text not in known)
    else:
        faults += _drift(record.computed, computed)
    return Assessment(faults=(*faults, *own.faults), missing=own.missing, notes=own.notes)


def _as_recorded(
    connection: Connection, states: Sequence[State], own_profiles: Mapping[str, Profile] | None
) -> Connection:
    """Return a connection with its maps as the record spells them, where they say the same."""

    def said(end: End, text: str) -> End:
        if dumps(end) == text:
            return end
        try:
            inside = loads(text, path=f"<{end.name}, in the record>")
        except InputError:
            return end  # What is computed anew then shows the difference.
        prints = [
            (
                wire_fingerprint(one, own_profiles=own_profiles),
                end_fingerprint(one, own_profiles=own_profiles),
            )
            for one in (end, inside)
        ]
        return inside if prints[0] == prints[1] else end

    first, second = (
        said(end, state.map) for end, state in zip(connection.ends, states, strict=True)
    )
    return Connection(first=first, second=second)


def _in_order(connection: Connection, states: Sequence[State]) -> Connection:
    """Return a connection with its ends in the order of the record."""
    if [connection.second.name, connection.first.name] == [state.end for state in states]:
        return Connection(first=connection.second, second=connection.first)
    return connection


def baseline(record: Record) -> Connection:
    """Return the connection before the change, from the maps inside the record."""
    first, second = (
        loads(state.map, path=f"<{state.end} before, in the record>")
        for state in record.computed.before
    )
    return Connection(first=first, second=second)


def _other_maps(
    recorded: Computed,
    earlier: Connection,
    now: Connection,
    own_profiles: Mapping[str, Profile] | None,
) -> Iterator[str]:
    """Say which maps are not those of the record."""
    for name, states, connection in (
        ("before", recorded.before, earlier),
        ("after", recorded.after, now),
    ):
        for state, end in zip(states, connection.ends, strict=True):
            olds = fingerprints(recorded, state, own_profiles=own_profiles)
            news = (
                wire_fingerprint(end, own_profiles=own_profiles),
                end_fingerprint(end, own_profiles=own_profiles),
            )
            for old, new, what in zip(
                olds, news, ("what both ends share", "what it alone says"), strict=True
            ):
                if old != new:
                    yield (
                        f"{end.name}: the map {name} the change is another one: {what} has the "
                        f"fingerprint {new[:16]}, not {old[:16]}"
                    )


def _drift(recorded: Computed, now: Computed) -> Iterator[str]:
    """Say what differs between the record and what the maps give now."""
    if recorded == now:
        return
    places = list(_places(plain(recorded), plain(now), "computed"))
    more = f" and {len(places) - _SHOWN} more" if len(places) > _SHOWN else ""
    yield f"computed anew, these differ: {', '.join(places[:_SHOWN])}{more}"


def _places(old: Any, new: Any, key: str) -> Iterator[str]:
    if isinstance(old, dict):
        for name in old:
            yield from _places(old[name], new[name], f"{key}.{name}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (one, two) in enumerate(zip(old, new, strict=True)):
            yield from _places(one, two, f"{key}[{number}]")
    elif old != new:
        yield key


def _faults(record: Record) -> Iterator[str]:
    computed, people = record.computed, record.people
    found = digest_of(computed)
    if found != record.computed_sha256:
        yield (
            f"the computed part was edited: its fingerprint is {found[:16]}, the record says "
            f"{record.computed_sha256[:16]}"
        )
    yield from _wrong(computed)
    yield from _strangers("read-back", [r.end for r in people.read_backs], _end_names(computed))
    yield from _strangers("step", [t.id for t in people.trials], [s.id for s in computed.checklist])
    for read_back in people.read_backs:
        if read_back.checksum and read_back.expected and not read_back.matches:
            yield (
                f"read-back of {read_back.end}: the device shows {read_back.checksum}, expected "
                f"is {read_back.expected}"
            )
    for trial in people.trials:
        if trial.result == "failed":
            yield f"step {trial.id} failed{f': {trial.remark}' if trial.remark else ''}"
    signed = seal(record)
    for approval in people.approvals:
        if approval.signs != signed:
            yield (
                f"the approval of {approval.who} is for another state of the record: it signs "
                f"{approval.signs[:16]}, this is {signed[:16]}"
            )
    names = Counter(_person(approval.who) for approval in people.approvals)
    for name, count in names.items():
        if name and count > 1:
            yield f"{count} approvals are by one person, {name}: each must be by another"


def _wrong(computed: Computed) -> Iterator[str]:
    """Say what speaks against the change itself."""
    if computed.verdict == "different":
        yield f"the ends were not edited identically: {'; '.join(computed.differences)}"
    for entry in computed.findings:
        if not entry.allowed and entry.severity != "note":
            yield f"open {entry.severity} {entry.rule}: {entry.message}"


def _strangers(what: str, names: Sequence[str], known: Sequence[str]) -> Iterator[str]:
    for name, count in Counter(names).items():
        if name not in known:
            yield f"there is a {what} for {name}, which the computed part does not name"
        elif count > 1:
            yield f"there are {count} {what}s for {name}: there must be one"


def _missing(record: Record) -> Iterator[str]:
    people = record.people
    for key, what in (("reason", "a reason"), ("asked_by", "who asked for the change")):
        if not getattr(people.request, key).strip():
            yield f"request: {what}"
    if not people.request.hazards:
        yield 'request: hazards possibly affected, or the words "none" and why'
    read_backs = {read_back.end: read_back for read_back in people.read_backs}
    for end in _end_names(record.computed):
        entry = read_backs.get(end)
        names = ("who", "when", "serial", "checksum", "expected")
        empty = [name for name in names if entry is None or not getattr(entry, name).strip()]
        if empty:
            yield f"read-back of {end}: {', '.join(empty)}"
    trials = {trial.id: trial for trial in people.trials}
    for step in record.computed.checklist:
        trial = trials.get(step.id)
        if trial is None or not trial.result:
            yield f"step {step.id}: not done"
        elif step.required and trial.result == "not applicable":
            yield f"step {step.id}: must pass, a bit never driven proves nothing"
        elif not trial.who.strip() or not trial.when.strip():
            yield f"step {step.id}: who and when"
        elif trial.result == "not applicable" and not trial.remark.strip():
            yield f"step {step.id}: why it is not applicable"
    for approval in people.approvals:
        if not all(text.strip() for text in (approval.who, approval.role, approval.when)):
            yield f"approval of {approval.who or 'nobody'}: who, role and when"
    if len(people.approvals) < APPROVALS:
        yield f"approvals: {len(people.approvals)} of {APPROVALS}"


def _end_names(computed: Computed) -> list[str]:
    return [state.end for state in computed.after]


def _person(name: str) -> str:
    return " ".join(name.casefold().split())
