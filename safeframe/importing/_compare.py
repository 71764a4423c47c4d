"""A map that somebody wrote, held against a device file, by the rules of ``check``."""

from __future__ import annotations

from dataclasses import dataclass, replace

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

_HELD_BY_NOBODY = (
    *("safe", "one_means", "edge", "unit", "scale", "valid_by", "mirrors", "bind", "note"),
)
NOT_COMPARED = (
    "value on loss, meaning of 1, edge, unit and scale, validity, mirrors, binding, relations, "
    "ids, times and addresses: no device file holds them"
)


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
        sends=_like(found.end.receives, map_.receives, decisions),
        receives=_like(found.end.sends, map_.sends, decisions),
    )
    report = checks.check(Connection(first=here, second=there))
    kept = tuple(finding for finding in report.findings if finding.rule in COMPARED)
    open_ = [NOT_COMPARED]
    open_ += [
        f"what {map_.name} {side}: nothing was selected for it"
        for side in ("sends", "receives")
        if side not in found.directions and getattr(map_, side).entries
    ]
    return Comparison(
        report=replace(report, findings=kept, not_judged=(), waived=()),
        not_compared=tuple(open_),
    )


def _like(told: Map, written: Map, decisions: Decisions) -> Map:
    """Return the file's map with what no file holds taken from the written one."""
    by_name = {signal.name: signal for signal in written.signals}
    by_place = {(signal.start, signal.width): signal for signal in written.signals}
    entries: list[Signal | Reserved] = []
    for entry in told.entries:
        if isinstance(entry, Signal):
            twin = by_name.get(entry.name) or by_place.get((entry.start, entry.width))
            if twin is not None:
                entry = _with(entry, twin, decisions)
        entries.append(entry)
    return replace(told, entries=tuple(entries))


def _with(entry: Signal, twin: Signal, decisions: Decisions) -> Signal:
    same = {name: getattr(twin, name) for name in _HELD_BY_NOBODY}
    if (twin.type == "code" and entry.type == "uint" and not decisions.codes) or (
        twin.type == "code" and entry.type == "bool" and twin.width == 1
    ):
        same |= {"type": "code", "codes": twin.codes}
    if twin.type == "float" and entry.type != "float":
        same.pop("safe")
    return replace(entry, **same)
