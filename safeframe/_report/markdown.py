"""Reports as a Markdown summary: for the page of a build, a review or a ticket."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from .._errors import InputError
from .._findings import SEVERITIES, Counterexample, Finding, Report, Spot
from .paths import relative
from .text import CAUTION, clean, not_judged

__all__ = ["escape", "problems", "report", "table"]

_RULES = (
    (re.compile(r"[\\`*\[\]<>|~#&!$]"), r"\\\g<0>"),
    # An underscore between letters marks nothing, and names are full of them.
    (re.compile(r"(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])"), r"\\_"),
    (re.compile(r"^(\s*)([-+=])"), r"\1\\\2"),
    (re.compile(r"^(\s*\d+)([.)])(?=\s|$)"), r"\1\\\2"),
    # Mentions and bare addresses are links in common dialects and know no backslash.
    (re.compile(r"@"), "&#64;"),
    (re.compile(r":(?=//)"), "&#58;"),
    (re.compile(r"(?i)(www)\."), r"\1&#46;"),
)
"""What could mean something in Markdown or HTML, and how it is written instead."""


def escape(text: str) -> str:
    """Return clean text in which no character has a meaning in Markdown or HTML."""
    text = clean(text).strip()
    for pattern, written in _RULES:
        text = pattern.sub(written, text)
    return text


def table(rows: Iterable[Sequence[str]]) -> list[str]:
    """Return rows of plain text as a table; the first one is the head."""
    head, *body = [[escape(cell) for cell in row] for row in rows]
    lines = [head, ["---"] * len(head), *body]
    return [f"| {' | '.join(line)} |" for line in lines]


def report(given: Report) -> str:
    """Return a report: verdict, one section for each finding, what was allowed, the caution."""
    counts = [
        f"{count} {severity}{'s'[: count != 1]}"
        for severity in SEVERITIES
        if (count := sum(finding.severity == severity for finding in given.findings))
    ]
    verdict = ", ".join(counts) or "no open finding"
    lines = [f"## safeframe check: {verdict}", ""]
    lines.append(escape(f"Connections: {', '.join(given.connections)}"))
    for open_ in not_judged(given):
        lines += ["", escape(open_)]
    for finding in given.findings:
        lines += ["", *_finding(finding)]
    if given.known:
        lines += ["", f"Known from the baseline and not counted: {len(given.known)}"]
    if given.waived:
        rows = [(w.finding.rule, w.finding.message, w.reason) for w in given.waived]
        lines += ["", "### Allowed", "", *table([("rule", "finding", "reason"), *rows])]
    if given.facts and not given.findings:
        lines += ["", *table([("what", "seen"), *given.facts])]
    return "\n".join([*lines, "", f"_{CAUTION}_"]) + "\n"


def problems(error: InputError) -> str:
    """Return the problems of an input that could not be read."""
    lines = ["## safeframe check: the input cannot be read", ""]
    lines += [f"- {escape(str(problem))}" for problem in error.problems]
    return "\n".join(lines) + "\n"


def _finding(finding: Finding) -> list[str]:
    scope = finding.direction or finding.connection
    title = f"### {finding.severity}: {escape(finding.rule)}"
    lines = [f"{title} ({escape(scope)})" if scope else title, "", escape(f"{finding.message}.")]
    if finding.spots:
        head = ("file", "end", "place", "signal")
        lines += ["", *table([head, *map(_spot, finding.spots)])]
    if finding.counterexample is not None:
        lines += ["", *_witness(finding.counterexample, finding)]
    if finding.details:
        lines += ["", *(f"- {escape(detail)}" for detail in finding.details)]
    return [*lines, "", f"**Remedy:** {escape(finding.remedy)}."]


def _spot(spot: Spot) -> tuple[str, str, str, str]:
    path = relative(spot.where.path)
    where = f"{path}:{spot.where.line}" if spot.where.line else path
    return where, spot.end, "" if spot.place is None else str(spot.place), spot.signal


def _witness(counterexample: Counterexample, finding: Finding) -> list[str]:
    sent = counterexample.octets.hex(" ").upper()
    if counterexample.before is not None:
        sent = f"{counterexample.before.hex(' ').upper()}, then {sent}"
    head = ("signal", f"{finding.producer} sends", f"{finding.consumer} reads")
    return [f"For instance the safety data {sent}:", "", *table([head, *counterexample.rows])]
