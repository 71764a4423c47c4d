"""A report of findings: each cause with its places, a counterexample and a remedy; the verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .._errors import InputError
from .._findings import SEVERITIES, Counterexample, Finding, Report, Spot, Waived
from .._source import Location
from .._words import count
from .document import (
    Block,
    Document,
    Facts,
    Fold,
    Grids,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
    Words,
    strong,
)

FEW = 12
"""Up to so many connections are listed one by one in the verdict."""

Where = Callable[[Location], str]


def document(
    given: Report, *, everything: bool = False, pictures: Sequence[Grids] = (), where: Where = str
) -> Document:
    """Return the whole report: findings worst first, what was allowed, the verdict, a caution.

    ``everything`` tells what was compared even where findings or many connections hide it;
    ``pictures`` are the directions to draw; ``where`` writes a location.
    """
    found = [
        _finding(finding, where)
        for severity in SEVERITIES
        for finding in given.findings
        if finding.severity == severity
    ]
    drawn = [Section(f"{one.name}, bit by bit", (one,), kind="long") for one in pictures]
    below: list[Block] = []
    if given.facts and (everything or (not given.findings and len(given.connections) <= FEW)):
        below.append(Facts(given.facts))
    below += map(Paragraph, not_judged(given))
    below += (Paragraph(f"not looked at: {text}") for text in given.not_looked_at)
    if given.known:
        below.append(Paragraph(known(given)))
    return Document(
        f"Check of {names(given)}",
        (*found, *(_waived(waived, where) for waived in given.waived), *drawn),
        verdict=_verdict(given),
        below=tuple(below),
    )


def problems(error: InputError) -> Document:
    """Return the problems of an input that could not be read."""
    found = tuple(str(problem) for problem in error.problems)
    return Document("The input cannot be read", (Items(found),), footer=())


def names(given: Report) -> str:
    """Return the names of a few connections, or how many there are."""
    number = len(given.connections)
    return ", ".join(given.connections) if number <= FEW else f"{number} connections"


def counts(given: Sequence[Finding], severities: Sequence[str] = SEVERITIES) -> str:
    """Return how many findings there are of each severity that occurs, worst first."""
    found = [finding.severity for finding in given]
    return ", ".join(count(found.count(one), one) for one in severities if one in found)


def known(given: Report) -> str:
    """Return how many findings do not count, since a baseline knows them."""
    return f"not counted, known from the baseline: {len(given.known)}"


def not_judged(given: Report) -> list[str]:
    """Return what the verdict does not speak for, one line for what lacks the same."""
    open_at: dict[tuple[str, str], list[str]] = {}
    for entry in given.not_judged:
        if entry.subject:
            owner = ("route", entry.route) if entry.route else ("connection", entry.connection)
            open_at.setdefault(owner, []).append(f"{entry.subject} ({entry.reason})")
    alike: dict[tuple[str, str], list[str]] = {}
    for (kind, name), subjects in open_at.items():
        alike.setdefault((kind, ", ".join(subjects)), []).append(name)
    lines = []
    for (kind, text), names_ in alike.items():
        of = ", ".join(names_) if len(names_) <= FEW else f"{len(names_)} {kind}s"
        if kind == "route" and len(names_) <= FEW:
            of = f"the {kind}{'s'[: len(names_) != 1]} {of}"
        told = of and (kind == "route" or len(given.connections) > 1)
        lines.append(f"not judged{f' of {of}' if told else ''}: {text}")
    return lines


def _finding(given: Finding, where: Where) -> Section:
    blocks: list[Block] = [Paragraph(given.message)]
    if given.spots:
        rows = tuple(_spot(spot, where) for spot in given.spots)
        blocks.append(Table(rows, ("file", "end", "place", "signal"), bare=True))
    if given.counterexample is not None:
        blocks += _counterexample(given.counterexample, given)
    if given.details:
        told = f"explains {count(len(given.details), 'symptom')} (shown with --details)"
        blocks.append(Fold("Symptoms that this explains", (Items(given.details),), told))
    blocks.append(Paragraph(given.remedy, label="remedy", kind="remedy"))
    return Section(_title(given), tuple(blocks))


def _title(given: Finding) -> Words:
    scope = given.direction or given.connection
    tail = f"  [{scope}]" if scope else ""
    return StyledText(given.severity, given.severity), ": ", strong(given.rule), tail


def _spot(spot: Spot, where: Where) -> tuple[str, str, str, str]:
    place = "" if spot.place is None else str(spot.place)
    return where(spot.where), spot.end, place, spot.signal


def _counterexample(given: Counterexample, finding: Finding) -> tuple[Block, Block]:
    sent = given.octets.hex(" ").upper()
    if given.before is not None:
        sent = f"{given.before.hex(' ').upper()}, then {sent}"
    head = ("signal", f"{finding.producer} sends", f"{finding.consumer} reads")
    return Paragraph(f"for instance the safety data {sent}:"), Table(given.rows, head)


def _waived(given: Waived, where: Where) -> Section:
    title = strong("allowed"), f": {given.finding.rule}  [{where(given.where)}]"
    reason = Paragraph(given.reason, label="reason")
    return Section(title, (Paragraph(given.finding.message), reason))


def _verdict(given: Report) -> StyledText:
    if given.findings:
        return StyledText(f"{names(given)}: {counts(given.findings)}", given.worst())
    agree = "both ends agree bit for bit"
    if given.known:
        agree = "no new finding"
    elif given.waived:
        agree = f"no open finding, {len(given.waived)} allowed"
    return StyledText(f"{names(given)}: {agree}", "good")
