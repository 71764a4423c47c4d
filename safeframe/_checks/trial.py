"""Remedies tried: only what makes a finding go away, and nothing worse, is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from .._errors import UsageError
from .._findings import Finding
from .._model import Connection, Signal
from .consequences import Tried, hung_below
from .remedies import Remedy

Judge = Callable[[Connection], Sequence[Finding]]

_MOST_ENTRIES = 50_000
"""Entries of maps that are judged anew while the remedies of one connection are tried. Beyond
that, findings ask instead of telling what to do; the limit is work, not time, so that the same
files always give the same text."""
_FEW_FINDINGS = 16
"""Findings up to which the work is that for the entries; that many more double it, and so on."""
_FEWEST = 4
"""Remedies that are tried whatever the size of the maps."""


def tried(
    connection: Connection,
    found: Sequence[Finding],
    offers: Iterable[tuple[Finding, tuple[Remedy, ...]]],
    judge: Judge,
) -> list[Finding]:
    """Return findings with those of the offered remedies that prove good on the values.

    What a remedy takes away besides its own finding is a consequence and hangs below it.
    """
    entries = sum(
        len(map_.entries) for end in connection.ends for map_ in (end.sends, end.receives)
    )
    entries *= max(1, len(found) // _FEW_FINDINGS)
    left = max(_FEWEST, _MOST_ENTRIES // max(entries, 1))
    offered = {id(finding): remedies for finding, remedies in offers}
    good: dict[int, list[Tried]] = {}
    for finding in found:
        for remedy in offered.get(id(finding), ()):
            after = _after(connection, remedy, judge) if left else None
            left -= bool(left)
            if after is not None and improves(finding, found, after):
                good.setdefault(id(finding), []).append(Tried(remedy.text, after))
    allowed = {allowance.rule for end in connection.ends for allowance in end.allowances}
    return hung_below(found, good, allowed)


def _after(connection: Connection, remedy: Remedy, judge: Judge) -> Sequence[Finding] | None:
    """Return what is found once a remedy is done, None where it cannot be done."""
    try:
        after = remedy.change(connection)
        return judge(after) if _writable(after) else None
    except UsageError:
        return None  # A signal cannot stand there, by its width or order.


def _writable(connection: Connection) -> bool:
    """Tell whether a map file can say this: codes and safe values fit the width and type."""
    return all(
        _fits(signal)
        for end in connection.ends
        for map_ in (end.sends, end.receives)
        for signal in map_.signals
        if signal.codes or signal.safe
    )


def _fits(signal: Signal) -> bool:
    most = 1 << signal.width
    if any(value >= most for value, _ in signal.codes):
        return False
    if signal.type == "float":
        return True
    low, high = (-most >> 1, most >> 1) if signal.type == "int" else (0, most)
    return low <= signal.safe < high


def improves(finding: Finding, before: Sequence[Finding], after: Sequence[Finding]) -> bool:
    """Tell whether a finding is gone, fewer are left, and no rule finds more, or at another end."""
    if len(after) >= len(before) or any(one.unlisted is None for one in after):
        return False  # Among those that were not looked for may be more than before.
    old, new = (Counter(map(_kind, found)) for found in (before, after))
    if any(new[kind] > old[kind] for kind in new) or _places(after) - _places(before):
        return False
    mine = _key(finding)
    return sum(_key(one) == mine for one in after) < sum(_key(one) == mine for one in before)


def _kind(finding: Finding) -> tuple[object, ...]:
    return finding.rule, finding.connection, finding.direction


def _places(found: Sequence[Finding]) -> set[tuple[object, ...]]:
    """Return at which ends each rule finds something: one mistake made twice is no remedy."""
    return {(*_kind(finding), spot.end) for finding in found for spot in finding.spots}


def _key(finding: Finding) -> tuple[object, ...]:
    """Return what makes a finding the same one before and after: not its lines or numbers."""
    spots = frozenset((spot.end, spot.signal) for spot in finding.spots)
    return *_kind(finding), spots
