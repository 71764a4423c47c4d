"""A map that somebody wrote, held against a device file, by the rules of ``check``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from .. import _checks as checks
from .._findings import Finding, Report
from .._model import Connection, End, Map, Reserved, Signal
from ._decisions import Decisions
from ._imported import Imported

__all__ = ["COMPARED", "Comparison", "compare"]

COMPARED = frozenset(
    (
        *("one-sided-signal", "shifted-signals", "swapped-signals", "moved-signal"),
        *("width-differs", "reserve-differs", "size-differs", "type-differs", "order-differs"),
        *("octet-order", "bit-numbering", "rearranged-signals", "field-bit-order"),
        *("renamed-signal", "near-miss-name", "codes-differ", "directions-exchanged"),
        *("profile-differs", "overlap", "hole", "duplicate-name", "wrong-file"),
    )
)
"""The rules whose findings count: what a device file can say."""

_RULES_OF = {
    "safe": "safe-value-differs",
    "one_means": "meaning-differs",
    "edge": "edge-differs",
    "unit": "unit-differs",
    "scale": "scale-differs",
    "valid_by": "validity-differs",
}
"""Keys that a sheet may have columns for, and the rule that compares each."""
_OF_SIGNALS = (*_RULES_OF, "mirrors", "bind", "note")
_WORDS = {
    "safe": "value on loss",
    "one_means": "meaning of 1",
    "valid_by": "validity",
    "bind": "binding",
    "note": "remarks",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The findings between a map and a device file; ``not_compared`` is what neither can say."""

    report: Report
    not_compared: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The differences; none where the map agrees."""
        return self.report.findings

    @property
    def agrees(self) -> bool:
        """Whether there is no difference."""
        return not self.report.findings


def compare(map_: End, found: Imported, decisions: Decisions = Decisions()) -> Comparison:  # noqa: B008
    """Hold a map against what a device file says of the same end.

    The findings are those of ``check`` between the map and the other end as the file describes
    it; keys that no device file holds are not compared. Allowances of the map do not count.
    """
    # A program variable and a mirror belong to one end; the other has its own.
    held = (
        *(key for key in found.held if key in _RULES_OF),
        *(("codes",) if decisions.codes else ()),
    )
    name = f"{found.end.imported.file if found.end.imported else 'the file'}"
    if name == map_.name:
        name = f"file {name}"
    here = replace(
        map_,
        peer=name,
        allowances=(),
        relations=(),
        sends=map_.sends if "sends" in found.directions else Map(),
        receives=map_.receives if "receives" in found.directions else Map(),
    )
    there = replace(
        found.end,
        name=name,
        peer=map_.name,
        role="",
        connection_table=replace(map_.connection_table, profile=found.end.connection_table.profile),
        sends=_like(found.end.receives, map_.receives, held),
        receives=_like(found.end.sends, map_.sends, held),
    )
    report = checks.check(Connection(first=here, second=there))
    rules = COMPARED | {rule for key, rule in _RULES_OF.items() if key in held}
    kept = tuple(finding for finding in report.findings if finding.rule in rules)
    words = [_WORDS.get(key, key) for key in _OF_SIGNALS if key not in held]
    open_ = [
        f"{', '.join(words)}, relations, ids, times and addresses: the file does not hold them"
    ]
    open_ += [
        f"what {map_.name} {side}: nothing was selected for it"
        for side in ("sends", "receives")
        if side not in found.directions and getattr(map_, side).entries
    ]
    return Comparison(
        report=replace(report, findings=kept, not_judged=(), waived=()),
        not_compared=tuple(open_),
    )


def _like(told: Map, written: Map, held: tuple[str, ...]) -> Map:
    """Return the file's map with what the file cannot say taken from the written one."""
    by_name = {signal.name: signal for signal in written.signals}
    by_place = {(signal.start, signal.width): signal for signal in written.signals}
    entries: list[Signal | Reserved] = []
    for entry in told.entries:
        if isinstance(entry, Signal):
            twin = by_name.get(entry.name) or by_place.get((entry.start, entry.width))
            if twin is not None:
                entry = _with(entry, twin, held)
        entries.append(entry)
    return replace(told, entries=tuple(entries))


def _with(entry: Signal, twin: Signal, held: tuple[str, ...]) -> Signal:
    same: dict[str, Any] = {key: getattr(twin, key) for key in _OF_SIGNALS if key not in held}
    if twin.type == "code" and entry.type in ("uint", "bool") and "codes" not in held:
        same |= {"type": "code", "codes": twin.codes}
    return replace(entry, **same)
