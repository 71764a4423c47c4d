"""What the gate of a plant says: a row for each connection, what is wrong, the open steps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from .._findings import Finding, NotJudged, Report
from .._plant.gaterow import COLUMNS, GatePoint, GateRow
from .._plant.verify import GateReport
from .._words import command_lines, count
from . import findings, siteplan
from .document import (
    CAUTION,
    Block,
    CodeBlock,
    Document,
    Fold,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
    Words,
    picked,
    strong,
)
from .paths import relative, shown

FORMAT = "safeframe-verify/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""

_COMMAND_COLUMNS = 74

_ALONE = "; what only several connections show stands in the report on all of them"


def document(
    given: GateReport, *, pages: Mapping[int, str] | None = None, page: bool = False
) -> Document:
    """Return the whole gate; ``pages`` are where the page of each connection is, by its number.

    A ``page`` gets the picture of the site and an index by end too.
    """
    blocks: list[Block] = [_table(given.rows, pages or {})]
    if page:
        blocks += siteplan.blocks(given)
    blocks += _wrong(given)
    blocks += _steps(given)
    below = [Paragraph(f"route {text}") for text in given.routes]
    below += [Paragraph(f"not looked at: {text}") for text in given.not_looked_at]
    unjudged = Report(
        connections=tuple(row.name for row in given.rows),
        not_judged=(
            *given.not_judged,
            *(
                entry._replace(connection=row.name)
                for row in given.rows
                for entry in row.not_judged
            ),
        ),
    )
    below += map(Paragraph, findings.not_judged(unjudged))
    if given.unsigned:
        below.append(Paragraph(f"not cryptographically signed: {count(given.unsigned, 'record')}"))
    if given.allowed:
        below.append(Paragraph(f"allowed by the maps: {count(given.allowed, 'finding')}"))
    return Document(
        f"{given.plant}: {count(len(given.rows), 'connection')}",
        tuple(blocks),
        verdict=_verdict(given),
        below=tuple(below),
    )


def _verdict(given: GateReport) -> StyledText:
    total = count(len(given.rows), "connection")
    if given.in_order:
        return StyledText(f"{given.plant}: {total}, all in order", "good")
    good = sum(row.in_order for row in given.rows)
    found = [finding for row in given.rows for finding in row.failing] + list(given.failing)
    points = [point for row in given.rows for point in row.points]
    faults = sum(point.fault for point in points)
    told = [count(len(found), "finding")] * bool(found)
    told += [count(faults, "fault")] * bool(faults)
    told += [count(len(points), "open step")] * bool(points)
    words = f"{given.plant}: {good} of {total} in order; {', '.join(told)}"
    return StyledText(words, "error" if found or faults else "warning")


def _table(rows: Sequence[GateRow], pages: Mapping[int, str]) -> Table:
    return Table(
        tuple((row.name, *(cell.text for cell in row.cells)) for row in rows),
        ("connection", *COLUMNS),
        looks=tuple(_look(row) for row in rows),
        anchors=tuple(siteplan.anchor(row) for row in rows),
        links=tuple(pages.get(row.number, "") for row in rows),
    )


def _look(row: GateRow) -> str:
    if row.in_order:
        return ""
    return "error" if row.failing or any(point.fault for point in row.points) else "warning"


def _wrong(given: GateReport) -> Iterator[Block]:
    """Yield what is wrong; what is merely still to be done stands in the steps."""
    told: list[Block] = []
    if given.findings:
        told.append(Section(strong("several connections"), (Items(_texts(given.findings)),)))
    for row in given.rows:
        lines = [*_texts(row.findings), *(point.text for point in row.points if point.fault)]
        if lines:
            title = strong(row.name), f"  [{shown(row.where)}]"
            told.append(Section(title, (Items(tuple(lines)),)))
    if told:
        yield Section("What is wrong", tuple(told), kind="long")


def _texts(given: Iterable[Finding]) -> tuple[str, ...]:
    return tuple(f"{one.severity} {one.rule}: {one.message}" for one in given)


def _steps(given: GateReport) -> Iterator[Block]:
    """Yield the open steps, by machine and by person."""
    for groups, title in (
        (given.by_machine(), "Open steps by machine"),
        (given.by_person(), "Open steps by person"),
    ):
        if groups:
            told = tuple(_group(name, steps) for name, steps in groups.items())
            yield Section(title, told, kind="long")


def _group(name: str, steps: Sequence[tuple[GateRow, GatePoint]]) -> Section:
    lines = tuple(f"[ ] {row.name}: {point.step}" for row, point in steps)
    commands = _commands(point for _, point in steps)
    blocks: tuple[Block, ...] = (Items(lines),)
    if commands:
        fold = Fold("Commands", (CodeBlock(commands),), "the commands: --details")
        blocks = (*blocks, fold)
    return Section(strong(name), blocks)


def _commands(points: Iterable[GatePoint]) -> tuple[str, ...]:
    """Return the lines of the commands that steps need, each command once."""
    needed = dict.fromkeys(point.command for point in points if point.command)
    return tuple(line for one in needed for line in command_lines(one, _COMMAND_COLUMNS))


def connection_page(
    row: GateRow, report: Document | None, *, home: tuple[str, str] | None = None
) -> Document:
    """Return the page of one connection: its row, what lacks, its maps bit by bit.

    ``report`` is that of the check of its maps; ``home`` are title and address of the page of the
    site.
    """
    faults = (point.text for point in row.points if point.fault)
    wrong = (*_texts(row.of_devices), *faults)
    steps = tuple(f"[ ] {point.machine or point.person}: {point.step}" for point in row.points)
    head = Table(
        tuple((name, cell.text) for name, cell in zip(COLUMNS, row.cells, strict=True)),
        bare=True,
    )
    blocks: list[Block] = [head]
    files: list[Words] = [*map(relative, row.maps)]
    if row.record:
        files.append(relative(row.record))
    blocks.append(Items(tuple(files), label="files"))
    if home:
        blocks.append(Paragraph(StyledText(home[0], "", home[1])))
    for title, lines in (("What is wrong", wrong), ("Open steps", steps), ("Notes", row.notes)):
        if lines:
            blocks.append(Section(title, (Items(lines),), kind="long"))
    commands = _commands(row.points)
    if commands:
        blocks.append(Fold("Commands", (CodeBlock(commands),)))
    if report is not None:
        inside = (Paragraph(report.verdict), *report.below, *report.blocks)
        blocks.append(Section("Maps", inside, kind="long"))
    good = row.in_order
    words = f"in order by itself{_ALONE}" if good else f"not in order: {_lacks(row)}"
    return Document(
        row.name, tuple(blocks), verdict=StyledText(words, "good" if good else _look(row))
    )


def _lacks(row: GateRow) -> str:
    found = [count(len(row.failing), "finding")] * bool(row.failing)
    found += [count(len(row.points), "open step")] * bool(row.points)
    return ", ".join(found)


def json_text(given: GateReport) -> str:
    """Return the gate as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    from .jsonout import finding_data

    document = {
        "format": FORMAT,
        "plant": given.plant,
        "in_order": given.in_order,
        "connections": [
            {
                **picked(row, "number name ends maps record"),
                "line": row.where.line,
                "in_order": row.in_order,
                **{
                    name.replace(" ", "_"): {"state": cell.state, "text": cell.text}
                    for name, cell in zip(COLUMNS, row.cells, strict=True)
                },
                "findings": [finding_data(finding) for finding in row.findings],
                "points": [
                    picked(point, "aspect fault text step machine serial person command")
                    for point in row.points
                ],
                "notes": list(row.notes),
                "not_judged": [_open(entry) for entry in row.not_judged],
            }
            for row in given.rows
        ],
        "findings": [finding_data(finding) for finding in given.findings],
        "routes": list(given.routes),
        "not_judged": [_open(entry) for entry in given.not_judged],
        "allowed": given.allowed,
        "not_looked_at": list(given.not_looked_at),
        "caution": CAUTION,
    }
    return json.dumps(document, indent=2) + "\n"


def _open(entry: NotJudged) -> dict[str, str]:
    return picked(entry, "rule reason subject route")
