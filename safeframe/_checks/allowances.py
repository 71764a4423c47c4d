"""Findings that an end allows, and allowances that allow nothing."""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence

from .._findings import Finding, Rule, Spot, Waived, each_one
from .._model import Allowance, Connection, End, Signal
from .._value import NamedTuple, replace
from .registry import Finder

UNUSED = Rule(
    name="unused-allowance",
    severity="warning",
    scope="end",
    title="An allowance allows nothing",
    why="An allowance left over from an earlier release hides the next real finding.",
    remedy="remove the allowance",
)


class _Stated(NamedTuple):
    """An allowance, and the end and connection that state it."""

    connection: Connection
    label: str
    end: End
    allowance: Allowance

    def is_at(self, spot: Spot) -> bool:
        """Tell whether a spot of an end of this name is of this very end."""
        entries = self.end.sends.signals + self.end.receives.signals
        paths = {self.end.where.path, *(entry.where.path for entry in entries)}
        return spot.where == self.connection.entry or spot.where.path in paths

    def spots_of(self, finding: Finding) -> list[Spot]:
        """Return the spots of a finding that are of this end."""
        spots = [spot for spot in (*finding.spots, *finding.beyond) if spot.end == self.end.name]
        if not finding.connection:  # An end of that name may be one of another connection.
            spots = list(filter(self.is_at, spots))
        return spots


def meant_by(end: End, allowance: Allowance) -> tuple[tuple[str, Signal], ...]:
    """Return (direction, signal) of what an allowance names; of several it covers none."""
    from ..relations import find_signals  # deferred: most ends allow nothing.

    return find_signals(end, allowance.signal)


def waive(
    found: list[Finding],
    connections: Sequence[tuple[Connection, str]],
    is_rule: Callable[[str], bool],
    unseen: Callable[[Connection], Container[str]],
) -> tuple[list[Finding], list[Waived]]:
    """Split findings into kept and allowed ones; add a finding for each unused allowance.

    Each connection comes with what tells it from others of its name. ``is_rule`` tells whether a
    rule has a name, ``unseen`` which rules had nothing to look at: what is allowed of these may be
    of use elsewhere.
    """
    allowances = [
        _Stated(connection, label, end, allowance)
        for connection, label in connections
        for end in connection.ends
        for allowance in end.allowances
    ]
    by_name: dict[tuple[str, str], list[_Stated]] = {}
    for one in allowances:
        by_name.setdefault((one.connection.name, one.label), []).append(one)
    kept: list[Finding] = []
    waived: list[Waived] = []
    used: set[int] = set()

    def is_allowed(finding: Finding) -> bool:
        near = allowances
        if finding.connection:
            near = by_name.get((finding.connection, finding.which), [])
        # Among findings that were not looked for may be one that an allowance is for.
        unknown = finding.unlisted is None
        used.update(id(one.allowance) for one in near if unknown and _is_of(one, finding))
        allowed = [one.allowance for one in near if not unknown and _covers(one, finding)]
        if allowed:
            used.update(map(id, allowed))
            # What allows all of a rule knows of no signal, whichever comes.
            one = next((each for each in allowed if not each.signal), allowed[0])
            waived.append(Waived(finding, one.reason, one.where, one.signal))
        return bool(allowed)

    for finding in found:
        if finding.unlisted:
            rest = tuple(one for one in each_one([finding]) if not is_allowed(one))
            kept += [replace(finding, unlisted=rest)] if rest else []
        elif not is_allowed(finding):
            kept.append(finding)
    unused = {
        (id(one.allowance), one.label): one
        for one in allowances
        if id(one.allowance) not in used and one.allowance.rule not in unseen(one.connection)
    }
    by_rule: dict[str, list[Finding]] = {}
    for each in each_one(found) if unused else ():
        by_rule.setdefault(each.rule, []).append(each)
    kept += (
        _unused(one, known=is_rule(one.allowance.rule), of_rule=by_rule.get(one.allowance.rule, ()))
        for one in unused.values()
    )
    return kept, waived


def _is_of(stated: _Stated, finding: Finding) -> bool:
    return stated.allowance.rule == finding.rule


def _covers(stated: _Stated, finding: Finding) -> bool:
    """Tell whether an allowance covers a finding: all signals of it, not only some."""
    end, allowance = stated.end, stated.allowance
    if not _is_of(stated, finding):
        return False
    spots = stated.spots_of(finding)
    named = {spot.signal for spot in spots}
    if not allowance.signal:
        return bool(named)
    named |= {name for of, name in finding.culprits if of == end.name}
    meant = meant_by(end, allowance)
    # What is no signal, such as a parameter, has one name only.
    name = meant[0][1].name if meant else allowance.signal
    if len(meant) > 1 or named != {name} or finding.details:
        return False
    return not meant or all(_is_in(meant[0][0], end, spot, finding) for spot in spots)


def _is_in(direction: str, end: End, spot: Spot, finding: Finding) -> bool:
    """Tell whether a spot of an end is in what it sends, or receives, as ``direction`` says."""
    if end.name in (finding.producer, finding.consumer):
        return (end.name == finding.producer) == (direction == "sends")
    other = end.receives if direction == "sends" else end.sends
    return all((one.name, one.where) != (spot.signal, spot.where) for one in other.signals)


def _why_none(stated: _Stated, found: Sequence[Finding]) -> str:
    """Return why none of the findings of its rule is one that an allowance covers."""
    end, signal = stated.end, stated.allowance.signal
    meant = meant_by(end, stated.allowance)
    name = meant[0][1].name if meant else signal
    near = [
        one
        for one in found
        if one.connection in ("", stated.connection.name)
        and one.which in ("", stated.label)
        and (not signal or name in _named(one))
    ]
    if not near:
        return "there is no such finding"
    if any(map(stated.spots_of, near)):
        return f"no such finding is about {signal} alone"
    return f"no such finding is about {f'{signal} at ' if signal else ''}{end.name}"


def _named(finding: Finding) -> set[str]:
    spots = (*finding.spots, *finding.beyond)
    return {spot.signal for spot in spots} | {name for _, name in finding.culprits}


def _unused(stated: _Stated, *, known: bool, of_rule: Sequence[Finding]) -> Finding:
    end, allowance = stated.end, stated.allowance
    what = f"{allowance.rule} of {allowance.signal}" if allowance.signal else allowance.rule
    why, remedy = _why_none(stated, of_rule), ""
    if not known:
        why = "no rule has that name"
    elif len(meant := meant_by(end, allowance)) > 1:
        why = f"{allowance.signal} is more than one signal of {end.name}"
        remedy = f"write {' or '.join(f'{side}.{signal.name}' for side, signal in meant)}"
    message = f"{end.name} allows {what}, but {why}"
    culprits = [("", f"allow {allowance.rule}"), (end.name, allowance.signal)]
    spots = [Spot(end=end.name, where=allowance.where)]
    found = Finder(UNUSED, stated.connection.name, [])(
        message, spots, remedy=remedy, culprits=culprits
    )
    return replace(found, which=stated.label)
