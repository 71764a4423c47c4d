"""What the entries of a history amount to: the latest of each, and who said it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from .._canonical import checksum, person
from ._entries import (
    Act,
    ApprovalAct,
    CarriedOver,
    EvidenceAct,
    HistoryEntry,
    ReadBackAct,
    RequestAct,
    TrialAct,
    WithdrawalAct,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Who asked for the change, why, and which hazards it may touch."""

    reason: str
    asked_by: str
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBack:
    """What a device says after the download.

    ``checksum`` is what the device itself shows, ``expected`` what the engineering tool shows for
    the project that was loaded: both are the maker's own figures, none of them is ours. ``who``
    and ``when`` are of the entries that the values are from; both are empty while any of them has
    no reader.
    """

    end: str
    who: str
    when: str
    serial: str
    checksum: str
    expected: str

    @property
    def matches(self) -> bool:
        """Whether both checksums are there and equal, grouping, prefix and letter case aside."""
        return self.both_stated and checksum(self.checksum) == checksum(self.expected)

    @property
    def both_stated(self) -> bool:
        """Whether both checksums say anything."""
        return says(self.checksum) and says(self.expected)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What came out of one step of the checklist; ``result`` is one of RESULTS."""

    id: str
    result: str
    who: str
    when: str
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """One approval; ``signs`` is the seal over its own fields and everything before it."""

    who: str
    role: str
    when: str
    signs: str


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """What people entered, as it stands: of everything the latest entry, no withdrawn approval."""

    request: Request
    read_backs: tuple[ReadBack, ...]
    trials: tuple[Trial, ...]
    approvals: tuple[Approval, ...]


VALUES = ("serial", "checksum", "expected")
"""What is read from a device or from its engineering tool."""


def people(history: Sequence[HistoryEntry], ends: Sequence[str], steps: Sequence[str]) -> People:
    """Return what a history amounts to for the ends and the steps of a record."""
    request = Request(reason="", asked_by="", hazards=())
    readings: dict[str, list[ReadBackAct]] = {end: [] for end in ends}
    trials = {step: Trial(id=step, result="", who="", when="", remark="") for step in steps}
    for entry in history:
        match entry.act:
            case RequestAct() as act:
                request = Request(
                    reason=request.reason if act.reason is None else act.reason,
                    asked_by=request.asked_by if act.asked_by is None else act.asked_by,
                    hazards=request.hazards if act.hazards is None else act.hazards,
                )
            case ReadBackAct() as act if act.end in readings:
                readings[act.end].append(act)
            case TrialAct() as act if act.step in trials:
                trials[act.step] = Trial(
                    id=act.step,
                    result=act.result,
                    who=act.who,
                    when=act.when,
                    remark=act.remark,
                )
            case _:
                pass
    return People(
        request=request,
        read_backs=tuple(_read_back(end, rows) for end, rows in readings.items()),
        trials=tuple(trials.values()),
        approvals=tuple(
            Approval(who=act.who, role=act.role, when=act.when, signs=history[number - 1].seal)
            for number, act in approvals(history).items()
        ),
    )


def _read_back(end: str, readings: Sequence[ReadBackAct]) -> ReadBack:
    latest: dict[str, ReadBackAct] = {}
    device = ""
    for row in readings:
        serial = person(row.serial or "")
        if device and serial not in ("", device):
            latest.pop("checksum", None)  # It is of the device before.
        device = serial or device
        latest |= {name: row for name in VALUES if getattr(row, name) is not None}
    # The reader of a value is the person of its own entry, never an older one.
    rows = list(dict.fromkeys(latest[name] for name in VALUES if name in latest))
    signed = all(says(row.who) and says(row.when) for row in rows)
    return ReadBack(
        end=end,
        who=", ".join(dict.fromkeys(row.who for row in rows)) if signed else "",
        when=", ".join(dict.fromkeys(row.when for row in rows)) if signed else "",
        **{name: getattr(latest[name], name) if name in latest else "" for name in VALUES},
    )


def approvals(history: Sequence[HistoryEntry]) -> dict[int, ApprovalAct]:
    """Return the approvals that nobody has withdrawn, by the number of their entry."""
    found: dict[int, ApprovalAct] = {}
    for number, act in acts_of(history):
        if isinstance(act, ApprovalAct):
            found[number] = act
        elif isinstance(act, WithdrawalAct):
            found.pop(act.entry, None)
    return found


def acts_of(history: Sequence[HistoryEntry]) -> Iterator[tuple[int, Act]]:
    """Yield number, from 1, and act of every entry."""
    for number, entry in enumerate(history, start=1):
        yield number, entry.act


def state_number(history: Sequence[HistoryEntry]) -> int:
    """Return the number of the last entry that an approval after it is about, 0 for none."""
    return max(
        (
            number
            for number, act in acts_of(history)
            if isinstance(act, RequestAct | ReadBackAct | TrialAct | CarriedOver | EvidenceAct)
        ),
        default=0,
    )


def history_faults(
    history: Sequence[HistoryEntry], ends: Sequence[str], steps: Sequence[str]
) -> Iterator[str]:
    """Say which entries are about nothing that there is."""
    standing: set[int] = set()
    digests: dict[str, int] = {}
    for number, act in acts_of(history):
        if isinstance(act, ReadBackAct) and act.end not in ends:
            yield f"entry {number} is a read-back of {act.end}, which the computed part has not"
        elif isinstance(act, TrialAct) and act.step not in steps:
            yield f"entry {number} is a result of {act.step}, which the computed part has not"
        elif isinstance(act, EvidenceAct):
            strange = next((row.step for row in act.findings if row.step not in steps), None)
            if strange is not None:
                yield f"entry {number} is evidence for {strange}, which the computed part has not"
            if act.sha256 in digests:
                first = digests[act.sha256]
                yield f"entry {number} is evidence from the recording of entry {first} once more"
            digests.setdefault(act.sha256, number)
        elif isinstance(act, ApprovalAct):
            standing.add(number)
        elif isinstance(act, WithdrawalAct):
            if act.entry not in standing:
                yield f"entry {number} withdraws entry {act.entry}, which is no approval then"
            standing.discard(act.entry)


def says(text: str) -> bool:
    """Return whether a text states anything: a dash, or what cannot be seen, states nothing."""
    return bool(person(text))
