"""Findings that an end allows, and allowances that allow nothing."""

from __future__ import annotations

from collections.abc import Callable

from .._findings import Finding, Rule, Spot, Waived
from .._model import Allowance, Connection, End
from .registry import Finder

__all__ = ["UNUSED", "waive"]

UNUSED = Rule(
    name="unused-allowance",
    severity="warning",
    scope="end",
    title="An allowance allows nothing",
    why="An allowance left over from an earlier release hides the next real finding.",
    remedy="remove the allowance",
)


def waive(
    found: list[Finding], connections: tuple[Connection, ...], is_rule: Callable[[str], bool]
) -> tuple[list[Finding], list[Waived]]:
    """Split findings into kept and allowed ones; add a finding for each unused allowance.

    ``is_rule`` tells whether a rule has a name.
    """
    allowances = [
        (connection.name, end, allowance)
        for connection in connections
        for end in connection.ends
        for allowance in end.allowances
    ]
    by_name: dict[str, list[tuple[End, Allowance]]] = {}
    for name, end, allowance in allowances:
        by_name.setdefault(name, []).append((end, allowance))
    everywhere = [(end, allowance) for _, end, allowance in allowances]
    kept: list[Finding] = []
    waived: list[Waived] = []
    used: set[int] = set()
    for finding in found:
        near = by_name.get(finding.connection, []) if finding.connection else everywhere
        allowed = [allowance for end, allowance in near if _covers(end, allowance, finding)]
        if allowed:
            used |= {id(allowance) for allowance in allowed}
            reason, where = allowed[0].reason, allowed[0].where
            waived.append(Waived(finding=finding, reason=reason, where=where))
        else:
            kept.append(finding)
    for name, end, allowance in allowances:
        if id(allowance) not in used:
            kept.append(_unused(name, end, allowance, known=is_rule(allowance.rule)))
    return kept, waived


def _covers(end: End, allowance: Allowance, finding: Finding) -> bool:
    """Tell whether an allowance covers a finding: all signals of it, not only some."""
    if allowance.rule != finding.rule:
        return False
    named = {spot.signal for spot in finding.spots if spot.end == end.name}
    named |= {name for of, name in finding.culprits if of == end.name}
    if not allowance.signal:
        return bool(named)
    return named == {allowance.signal} and not finding.details


def _unused(name: str, end: End, allowance: Allowance, *, known: bool) -> Finding:
    what = f"{allowance.rule} of {allowance.signal}" if allowance.signal else allowance.rule
    message = (
        f"{end.name} allows {what}, but there is no such finding"
        if known
        else f"{end.name} allows {what}, but no rule has that name"
    )
    culprits = [("", f"allow {allowance.rule}"), (end.name, allowance.signal)]
    spots = [Spot(end=end.name, where=allowance.where)]
    return Finder(UNUSED, name, [])(message, spots, culprits=culprits)
