"""The record of one change as values: what is computed, what people enter.

Nothing here depends on a clock, a path or a machine: dates are texts that people enter.
"""

from __future__ import annotations

from dataclasses import dataclass

from .._canonical import checksum
from .._checklist import ChecklistStep
from .._diff import ClassReason

__all__ = [
    "RESULTS",
    "Approval",
    "BitRow",
    "BitOwner",
    "Computed",
    "EditLine",
    "RecordedFinding",
    "MixLine",
    "MixTable",
    "Mixed",
    "People",
    "ReadBack",
    "Record",
    "Request",
    "State",
    "Times",
    "Trial",
]

RESULTS = ("", "passed", "failed", "not applicable")
"""Results of a step; empty while it is still to be done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One end before or after the change: its fingerprints and its whole map as TOML."""

    end: str
    wire: str
    own: str
    map: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BitOwner:
    """What one end has on some bits; ``what`` is a name, ``reserved`` or ``not declared``."""

    what: str
    bind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BitRow:
    """A run of bits that belong together, at the producer and at the consumer."""

    direction: str
    place: str
    before: tuple[BitOwner, ...]
    after: tuple[BitOwner, ...]
    changed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EditLine:
    """One difference between before and after at one end."""

    end: str
    level: str
    section: str
    subject: str
    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MixLine:
    """What one signal becomes while one end is updated and the other is not."""

    place: str
    signal: str
    gets: str
    verdict: str
    consequence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MixTable:
    """One direction of such a mix."""

    direction: str
    sent_octets: int
    expected_octets: int
    rows: tuple[MixLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixed:
    """One mix of versions; ``terms`` are the times and ids that the two ends then hold apart."""

    updated: str
    outdated: str
    disagreeing: tuple[str, ...]
    tables: tuple[MixTable, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedFinding:
    """One finding about the maps after the change; ``allowed`` is the reason of an allowance."""

    rule: str
    severity: str
    scope: str
    message: str
    remedy: str
    culprits: tuple[str, ...]
    allowed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """The reaction time after the change, with its inputs and who says so."""

    reaction: str
    permitted: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """The part that nobody types: all of it follows from the four map files.

    ``canonical`` names the canonical text that the fingerprints are computed over.
    """

    canonical: str
    connection: str
    profile: str
    edition: str
    before: tuple[State, ...]
    after: tuple[State, ...]
    bits: tuple[BitRow, ...]
    edits: tuple[EditLine, ...]
    verdict: str
    differences: tuple[str, ...]
    classes: tuple[ClassReason, ...]
    mixed: tuple[Mixed, ...]
    times: Times
    findings: tuple[RecordedFinding, ...]
    checklist: tuple[ChecklistStep, ...]


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
    the project that was loaded: both are the maker's own figures, none of them is ours.
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
        return bool(self.checksum.strip()) and checksum(self.checksum) == checksum(self.expected)


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
    """One signature; ``signs`` is the fingerprint of everything above it at that moment."""

    who: str
    role: str
    when: str
    signs: str


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """The part that people enter."""

    request: Request
    read_backs: tuple[ReadBack, ...]
    trials: tuple[Trial, ...]
    approvals: tuple[Approval, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """The sign-off document of one change."""

    format: str
    computed: Computed
    computed_sha256: str
    people: People
