"""The record of one change as values: what is computed, and the entries of people.

Nothing here depends on a clock, a path or a machine: dates are texts that people enter.
"""

from __future__ import annotations

from dataclasses import dataclass

from .._checklist import ChecklistStep
from .._diff import ClassReason
from ._entries import HistoryEntry
from ._people import People, people


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
class Record:
    """The sign-off document of one change: what is computed, and every entry that people made."""

    format: str
    computed: Computed
    computed_sha256: str
    history: tuple[HistoryEntry, ...]

    @property
    def ends(self) -> tuple[str, ...]:
        """The names of both ends."""
        return tuple(state.end for state in self.computed.after)

    @property
    def steps(self) -> tuple[str, ...]:
        """The names of the steps of the checklist."""
        return tuple(step.id for step in self.computed.checklist)

    @property
    def people(self) -> People:
        """What the entries amount to: of everything the latest one."""
        return people(self.history, self.ends, self.steps)
