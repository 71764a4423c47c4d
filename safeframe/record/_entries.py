"""Entries of people in a record: each stays, and each carries the seal of the one before.

A seal is the SHA-256 over the canonical JSON of the entry without the seal itself; the first
entry follows the fingerprint of the computed part. No key is in it: it shows what was altered by
somebody who did not compute the seals anew, and no more than that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from .._fingerprint import canonical, digest, plain
from .._typed import typed

RESULTS = ("", "passed", "failed", "not applicable")
"""Results of a step; empty while it is still to be done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestAct:
    """Why a change was asked for; None leaves what an earlier entry says."""

    reason: str | None
    asked_by: str | None
    hazards: tuple[str, ...] | None
    who: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBackAct:
    """What was read from the device of an end; None was not read, an empty text is taken back."""

    end: str
    serial: str | None
    checksum: str | None
    expected: str | None
    who: str
    when: str
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialAct:
    """What came out of one step of the checklist; ``result`` is one of RESULTS."""

    step: str
    result: str
    who: str
    when: str
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ApprovalAct:
    """The approval of everything before it by one person."""

    who: str
    role: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawalAct:
    """The end of an approval, which stays readable; ``entry`` is its number."""

    entry: int
    reason: str
    who: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedOver:
    """The word that what follows was entered in a file of an older edition.

    ``sha256`` is over the canonical JSON of what people had entered there.
    """

    edition: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceAnswer:
    """A signal of the other direction that changed after a sight, and after how long."""

    signal: str
    before: str
    after: str
    after_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceSight:
    """One frame that shows a step: ``what`` it shows, and the safety data then in use.

    ``number`` and ``offset`` are those of the packet (lines: the line), ``time_us`` counts from the
    first packet. ``others`` are the signals that were not at their safe value either. ``held_us``
    is for how long, up to ``until``. Times are None where the recording has none.
    """

    what: str
    number: int
    offset: int
    time_us: int | None
    data: str
    others: tuple[str, ...]
    held_us: int | None
    until: str
    answers: tuple[EvidenceAnswer, ...]
    then: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceFinding:
    """What a recording shows of a step, in the order of the packets; nothing, where empty."""

    step: str
    sights: tuple[EvidenceSight, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceAct:
    """A recording, how it was read, and what it shows of every step; never a result.

    ``unclean`` says what is wrong in the recording, ``not_judged`` what nobody looked at.
    ``at``, ``sources``, ``values``, ``ethertype``, ``udp_port`` and ``fresh`` are as they were
    given on the command line, so that the same can be computed anew.
    """

    recording: str
    sha256: str
    size_octets: int
    packets: int
    window_ms: int
    fresh: bool
    at: tuple[str, ...]
    sources: tuple[str, ...]
    values: tuple[str, ...]
    ethertype: int | None
    udp_port: int | None
    unclean: tuple[str, ...]
    not_judged: tuple[str, ...]
    findings: tuple[EvidenceFinding, ...]
    who: str
    when: str


Act = RequestAct | ReadBackAct | TrialAct | ApprovalAct | WithdrawalAct | CarriedOver | EvidenceAct

KINDS: dict[str, type[Act]] = {
    "request": RequestAct,
    "read-back": ReadBackAct,
    "result": TrialAct,
    "approval": ApprovalAct,
    "withdrawal": WithdrawalAct,
    "carried over": CarriedOver,
    "evidence": EvidenceAct,
}
"""The kinds of entries by the word that stands in the file."""

_NAMES = {made: name for name, made in KINDS.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryEntry:
    """One entry: what was done, the seal of the entry before, and its own."""

    act: Act
    previous: str
    seal: str


def kind_name(act: Act) -> str:
    """Return the word for the kind of an act."""
    return _NAMES[type(act)]


def data_of(entry: HistoryEntry) -> dict[str, Any]:
    """Return an entry as it stands in the file."""
    return {**_sealed(entry.act, entry.previous), "seal": entry.seal}


def seal_of(act: Act, previous: str) -> str:
    """Return the seal of an act that follows the entry with the seal ``previous``."""
    return digest(canonical(_sealed(act, previous)).encode("ascii"))


def _sealed(act: Act, previous: str) -> dict[str, Any]:
    return {"kind": kind_name(act), **plain(act), "previous": previous}


def appended(
    history: Sequence[HistoryEntry], origin: str, acts: Iterable[Act]
) -> tuple[HistoryEntry, ...]:
    """Return a history with acts at its end; ``origin`` is what its first entry follows."""
    entries = list(history)
    for act in acts:
        typed(act)  # A seal is over what is written: an iterator would be empty by then.
        previous = entries[-1].seal if entries else origin
        entries.append(HistoryEntry(act=act, previous=previous, seal=seal_of(act, previous)))
    return tuple(entries)


def link_faults(history: Sequence[HistoryEntry], origin: str) -> Iterator[str]:
    """Say which entries were altered, and where the history does not hold together."""
    for number, entry in enumerate(history, start=1):
        if seal_of(entry.act, entry.previous) != entry.seal:
            yield f"entry {number} ({title(entry.act)}) was altered: its seal does not fit it"
    if history and history[0].previous != origin:
        yield (
            f"entry 1 ({title(history[0].act)}) does not follow the computed part: an entry before "
            "it was removed, or the entry is from another record"
        )
    for number, (one, two) in enumerate(pairwise(history), start=2):
        if two.previous != one.seal:
            yield (
                f"entry {number} ({title(two.act)}) does not follow entry {number - 1}: an entry "
                "was removed, put in, moved or altered here"
            )


def title(act: Act) -> str:
    """Return an act in a few words: ``read-back of LX by A. Berg, 2026-03-02``."""
    name = kind_name(act)
    match act:
        case ReadBackAct():
            name = f"{name} of {act.end}"
        case TrialAct():
            name = f"{act.result or 'no result'}: {act.step}"
        case WithdrawalAct():
            name = f"{name} of entry {act.entry}"
        case EvidenceAct():
            name = f"{name} from {act.recording}"
        case CarriedOver():
            return f"{name} from {act.edition}"
        case _:
            pass
    by = f" by {act.who}" if act.who else ""
    return f"{name}{by}{f', {act.when}' if act.when else ''}"
