"""A report of findings as one HTML page with pictures of what disagrees."""

from __future__ import annotations

from collections.abc import Sequence

from .._findings import SEVERITIES, Counterexample, Finding, Report, Spot
from .._grids import BitGrid
from . import shell as page
from . import svg
from .paths import relative
from .text import not_judged

__all__ = ["Picture", "html", "picture"]

Picture = tuple[str, tuple[BitGrid, BitGrid]]
"""The name of a direction, for instance ``SC1 -> LX``, and its two grids."""

_SIGNS = {"error": "■", "warning": "▲", "note": "●"}


def html(given: Report, pictures: Sequence[Picture]) -> str:
    """Return a report as a page; ``pictures`` are the directions to draw."""
    counts = [
        f"{count} {severity}{'s'[: count != 1]}"
        for severity in SEVERITIES
        if (count := sum(finding.severity == severity for finding in given.findings))
    ]
    verdict = ", ".join(counts) or "No open finding"
    if given.known:
        verdict += f"; not counted, known from the baseline: {len(given.known)}"
    verdict = "; ".join([verdict, *not_judged(given)])
    contents: list[tuple[str, str]] = []
    parts: list[str] = []

    def add(name: str, title: str, inside: list[str], kind: str = "") -> None:
        contents.append((name, title))
        parts.append(page.section(name, title, inside, kind=kind))

    for number, finding in enumerate(given.findings, start=1):
        scope = finding.direction or finding.connection
        sign = _SIGNS[finding.severity]
        title = f"{sign} {finding.severity}: {finding.rule}{f', {scope}' if scope else ''}"
        add(f"finding-{number}", title, _finding(finding))
    for number, (name, grids) in enumerate(pictures, start=1):
        inside = picture(name, grids, f"p{number}")
        add(f"picture-{number}", f"{name}, bit by bit", [inside], "long")
    if given.waived:
        rows = [
            (
                w.finding.rule,
                w.finding.message,
                w.reason,
                f"{relative(w.where.path)}:{w.where.line}",
            )
            for w in given.waived
        ]
        add("allowed", "Allowed", [page.table("Allowed", _ALLOWED, rows, quiet=True)], "long")
    if given.facts:
        add(
            "seen",
            "What was compared",
            [page.table("Compared", ("what", "seen"), given.facts, quiet=True)],
        )
    title = f"Check of {', '.join(given.connections)}"
    return page.document(title, verdict, contents, "\n".join(parts))


_ALLOWED = ("rule", "finding", "reason", "file")


def picture(name: str, grids: tuple[BitGrid, BitGrid], key: str) -> str:
    """Return both ends of a direction as a figure, and the same differences as a table."""
    drawn = "".join(svg.picture(one, f"{key}-{side}") for side, one in enumerate(grids))
    rows = [
        (cell.label, one.title, str(cell.first), str(cell.width), cell.mark, cell.elsewhere)
        for one in grids
        for cell in one.marked
        # The consumer's half of a pair says the same the other way round.
        if one is grids[0] or not cell.elsewhere
    ]
    if not rows:
        caption = f"{name}: every signal stands at the same place at both ends."
        return _figure(drawn, caption)
    found = {cell.mark for one in grids for cell in one.marked}
    shapes = ", ".join(f"{svg.KEY[mark]}: {mark}" for mark in svg.KEY if mark in found)
    caption = f"{name}: what differs has a thick outline, a shape and words. Shapes: {shapes}."
    head = ("signal", "map", "from place", "bits here", "difference", "the other end has")
    return _figure(drawn, caption) + page.table(f"{name}: differences", head, rows)


def _figure(drawn: str, caption: str) -> str:
    text = page.text(caption)
    return f'<figure><div class="pair">{drawn}</div><figcaption>{text}</figcaption></figure>'


def _finding(finding: Finding) -> list[str]:
    parts = [page.paragraph(f"{finding.message}.")]
    if finding.spots:
        head = ("file", "end", "place", "signal")
        parts.append(page.table("Where", head, map(_spot, finding.spots)))
    if finding.counterexample is not None:
        parts.append(_witness(finding.counterexample, finding))
    if finding.details:
        rows = "".join(f"<li>{page.text(detail)}</li>" for detail in finding.details)
        parts.append(page.fold("Symptoms that this explains", f"<ul>{rows}</ul>"))
    return [*parts, page.paragraph(f"{finding.remedy}.", kind="remedy", label="Remedy:")]


def _spot(spot: Spot) -> tuple[str, str, str, str]:
    path = relative(spot.where.path)
    where = f"{path}:{spot.where.line}" if spot.where.line else path
    return where, spot.end, "" if spot.place is None else str(spot.place), spot.signal


def _witness(counterexample: Counterexample, finding: Finding) -> str:
    sent = counterexample.octets.hex(" ").upper()
    if counterexample.before is not None:
        sent = f"{counterexample.before.hex(' ').upper()}, then {sent}"
    head = ("signal", f"{finding.producer} sends", f"{finding.consumer} reads")
    return page.table(f"For instance the safety data {sent}", head, counterexample.rows)
