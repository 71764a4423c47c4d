"""A document for a human at a terminal, at the width there is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import gt

from .._document.characters import escaped
from .._value import NamedTuple
from .document import (
    Block,
    CodeBlock,
    Document,
    Facts,
    Fold,
    Grids,
    Items,
    Paragraph,
    Point,
    Points,
    Section,
    Table,
    Words,
    plain,
    spans,
    strong,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .._grids import BitGrid

_COLORS = {"error": "1;31", "warning": "1;33", "note": "1;36", "good": "1;32", "strong": "1"}
_RESET = "\x1b[0m"
_NARROWEST = 40
_BREAKS = "_./-,:;=>"
"""A word that is too long for its column breaks behind one of these."""
_SIGNS = {
    "reserved": ("-", "reserved"),
    "undeclared": ("?", "declared by nobody"),
    "twice": ("!", "declared twice"),
}
_CELL = 7
"""Columns of a cell of a bit grid: eight of them and the octet number fit 80 columns."""


def clean(text: str) -> str:
    r"""Return ``text`` with everything unprintable escaped, for instance ESC as ``\x1b``.

    Covers control characters, terminal escapes, line ends, bidirectional and invisible marks:
    whatever a file holds, a terminal or a log shows it as it is and obeys none of it.
    """
    return escaped(text)


def columns(text: str) -> int:
    """Return how many terminal columns a clean text takes."""
    if text.isascii():
        return len(text)
    import unicodedata  # deferred: most maps are ASCII.

    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def cut(text: str, room: int) -> str:
    """Return a clean text with an ellipsis behind what fits, at least that where nothing does."""
    if columns(text) <= room:
        return text
    while columns(text) >= max(room, 1):
        text = text[:-1]
    return f"{text}…"


def wants_color(choice: str, *, terminal: bool, environ: Mapping[str, str]) -> bool:
    """Return whether to colour: ``choice`` first, then NO_COLOR, FORCE_COLOR, then the terminal.

    Both variables count when they are set and not empty, as their conventions ask.
    """
    if choice != "auto":
        return choice == "always"
    if environ.get("NO_COLOR"):
        return False
    return bool(environ.get("FORCE_COLOR")) or terminal


class Look(NamedTuple):
    """How the output may look: ``width`` in terminal columns, ``color`` on or off."""

    color: bool = False
    width: int = 80

    def paint(self, kind: str, text: str) -> str:
        """Return ``text`` in the colour of a severity, of ``good`` or ``strong``."""
        return f"\x1b[{_COLORS[kind]}m{text}{_RESET}" if self.color and kind in _COLORS else text


PLAIN = Look()
"""No colour, 80 columns: what a pipe or a file gets, the same everywhere."""


def _cuts(text: str, first: int, rest: int, *, hard: bool) -> Iterator[tuple[int, int]]:
    """Yield the lines of a text as slices; the first and the others have so many columns.

    A word that is longer than its line is broken only if ``hard``.
    """
    start, room = 0, max(first, 1)
    while columns(text[start:]) > room:
        stop = start
        while columns(text[start : stop + 1]) <= room:
            stop += 1
        # The blank behind the last word that fits; else the end of the first word, or a break.
        blank = text.rfind(" ", start, stop + 1)
        if blank > start and text[start:blank].strip():
            cut = blank
        elif hard:
            inside = max(text.rfind(sign, start, stop) for sign in _BREAKS) + 1
            cut = inside if inside > start + room // 3 else max(stop, start + 1)
        else:
            cut = text.find(" ", stop)
            if cut < 0:
                break
        yield start, cut
        start, room = cut, max(rest, 1)
        while text[start : start + 1] == " ":
            start += 1
    if start < len(text) or not start:
        yield start, len(text)


def wrap(
    words: Words,
    look: Look = PLAIN,
    *,
    first: str = "",
    rest: str | None = None,
    hard: bool = False,
) -> list[str]:
    """Return words broken into lines behind an indent, ``rest`` that of all lines but the first."""
    rest = first if rest is None else rest
    runs = [(clean(span.text), span.look) for span in spans(words)]
    text = "".join(run for run, _ in runs).rstrip()
    width = max(look.width, _NARROWEST)
    lines: list[str] = []
    for start, stop in _cuts(text, width - columns(first), width - columns(rest), hard=hard):
        shown, at = "", 0
        for run, kind in runs:
            part = run[max(start - at, 0) : max(stop - at, 0)]
            shown += look.paint(kind, part) if part else ""
            at += len(run)
        lines.append(f"{rest if lines else first}{shown}".rstrip())
    return lines


def _fitted(cells: Sequence[Sequence[str]], room: int) -> list[int]:
    """Return the widths of columns; where they need more than ``room``, the widest ones shrink.

    Words are broken only where breaking between words is not enough.
    """
    turned = list(zip(*cells, strict=True))
    widths = [max(map(columns, column)) for column in turned]
    if sum(widths) <= room:
        return widths
    words = [
        max(columns(word) for cell in column for word in [*cell.split(), ""]) for column in turned
    ]
    for least in (words, [1] * len(words)):
        while sum(widths) > room and any(map(gt, widths, least)):
            _, at = max((size, at) for at, size in enumerate(widths) if size > least[at])
            widths[at] -= 1
    return widths


def table(
    rows: Iterable[Sequence[str]], *, indent: str = "", gap: str = "  ", width: int = 0
) -> list[list[str]]:
    """Return rows of equal length as aligned lines, one list for each row.

    Cells are cleaned, trailing blanks dropped; a ``width`` breaks cells that do not fit.
    """
    cells = [[clean(cell) for cell in row] for row in rows]
    if not cells:
        return []
    room = width - len(indent) - len(gap) * (len(cells[0]) - 1) if width else 1 << 30
    widths = _fitted(cells, room)
    shown = []
    for row in cells:
        broken = [
            [cell[start:stop].rstrip() for start, stop in _cuts(cell, size, size, hard=True)]
            for cell, size in zip(row, widths, strict=True)
        ]
        lines = []
        for number in range(max(map(len, broken), default=1)):
            line = indent
            for part, size in zip(broken, widths, strict=True):
                cell = part[number] if number < len(part) else ""
                line += f"{cell}{' ' * (size - columns(cell))}{gap}"
            lines.append(line.rstrip())
        shown.append(lines)
    return shown


def render(given: Document, look: Look = PLAIN, *, details: bool = False) -> str:
    """Return a document as text; ``details`` opens what is folded."""
    writer = _Writer(look, details)
    if plain(given.verdict):
        writer.blocks(given.blocks, "")
        if writer.lines:
            writer.lines.append("")
        writer.lines += wrap(given.verdict, look)
        writer.blocks(given.below, "  ", apart=False)
    else:
        writer.lines += wrap(_title(given.title), look)
        writer.blocks(given.blocks, "  ", titled=True)
        if given.footer and given.blocks and isinstance(given.blocks[-1], Section):
            writer.lines.append("")
    for line in given.footer:
        writer.lines += wrap(line, look)
    return "\n".join(writer.lines) + "\n"


def _title(words: Words) -> Words:
    return strong(words) if isinstance(words, str) else words


class _Writer:
    """Collects the lines of a document."""

    def __init__(self, look: Look, details: bool) -> None:
        self.look = look
        self.details = details
        self.lines: list[str] = []

    def blocks(
        self, given: Iterable[Block], indent: str, *, apart: bool = True, titled: bool = False
    ) -> None:
        """Write blocks; ``apart`` puts an empty line before each section."""
        last: Block | None = None
        for block in given:
            if isinstance(block, Section):
                if apart and self.lines:
                    self.lines.append("")
                # Sections under the title of a document stand at the left edge again.
                self._section(block, "" if titled else indent)
            elif isinstance(block, Fold):
                self._fold(block, indent)
            elif isinstance(block, Paragraph):
                self._paragraph(block, indent)
            elif isinstance(block, Items):
                mark = f"{block.label}: " if block.label else "- "
                for item in block.items:
                    rest = f"{indent}{' ' * min(len(mark), 4)}"
                    self.lines += wrap(item, self.look, first=indent + mark, rest=rest)
            elif isinstance(block, Table):
                if block.caption:
                    self.lines += wrap(block.caption, self.look, first=indent)
                # A table that a paragraph or its caption introduces stands deeper.
                deeper = "  " if isinstance(last, Paragraph) or block.caption else ""
                self._table(block, indent + deeper)
            elif isinstance(block, Points):
                for number, point in enumerate(block.points):
                    if number and not indent:
                        self.lines.append("")
                    self._point(point, indent)
            elif isinstance(block, Facts):
                self._facts(block, indent)
            elif isinstance(block, CodeBlock):
                for line in block.lines:
                    runs = [self.look.paint(one.look, clean(one.text)) for one in spans(line)]
                    self.lines.append(f"{indent}{''.join(runs)}")
            elif isinstance(block, Grids):
                for one in block.grids:
                    self.lines.append("")
                    self._grid(one, indent)
            else:
                self.lines += [f"{indent}{line}".rstrip() for line in block.lines]
            last = block

    def _section(self, block: Section, indent: str) -> None:
        if plain(block.title):
            self.lines += wrap(_title(block.title), self.look, first=indent, rest=f"{indent}  ")
        self.blocks(block.blocks, f"{indent}  ", apart=False)

    def _fold(self, block: Fold, indent: str) -> None:
        if self.details or not block.instead:
            self.blocks(block.blocks, indent)
        else:
            self.lines += wrap(block.instead, self.look, first=indent)

    def _paragraph(self, block: Paragraph, indent: str) -> None:
        first = f"{indent}{block.label}: " if block.label else indent
        rest = " " * min(columns(first), 16) if block.label else indent
        self.lines += wrap(block.words, self.look, first=first, rest=rest)

    def _table(self, block: Table, indent: str) -> None:
        width = max(self.look.width, _NARROWEST)
        head = () if block.bare else (block.head,)
        rows = table((*head, *block.rows), indent=indent, width=width)
        for line in rows[: len(head)]:
            self.lines += line
        for number, lines in enumerate(rows[len(head) :]):
            kind = block.looks[number] if block.looks else ""
            self.lines += [self.look.paint(kind, line) for line in lines]
            if block.notes and block.notes[number]:
                inside = f"{indent}       "
                self.lines += wrap(block.notes[number], self.look, first=inside, rest=f"{inside}  ")

    def _point(self, point: Point, indent: str) -> None:
        inside = f"{indent}    "
        title = (point.level, ": ", strong(point.subject), f"  [{point.scope}]")
        self.lines += wrap(title, self.look, first=indent, rest=inside)
        for line in point.lines:
            self.lines += wrap(line, self.look, first=inside, rest=f"{inside}  ")
        if point.source:
            self.lines += wrap(point.source, self.look, first=inside)

    def _facts(self, block: Facts, indent: str) -> None:
        room = max((columns(clean(label)) for label, _ in block.rows), default=0)
        for label, words in block.rows:
            name = clean(label)
            first = f"{indent}{name}{' ' * (room - columns(name))}  "
            rest = f"{indent}{' ' * room}  "
            self.lines += wrap(words, self.look, first=first, rest=rest)

    def _grid(self, given: BitGrid, indent: str) -> None:
        """Write octets as rows, bit 7 on the left as in most data sheets, and a legend."""
        names = dict.fromkeys(cell.label for cell in given.cells if cell.kind == "signal")
        short = _abbreviations(list(names))
        cells = [""] * (8 * given.octets)
        for cell in given.cells:
            start = 8 * cell.first.octet + cell.first.bit
            label = _SIGNS[cell.kind][0] if cell.kind in _SIGNS else short[cell.label]
            cells[start : start + cell.width] = [label] * cell.width
        head = ["octet", *(f"bit {bit}" for bit in range(7, -1, -1))]
        rows = [
            [str(octet), *reversed(cells[8 * octet : 8 * octet + 8])]
            for octet in range(given.octets)
        ]
        self.lines += [line for row in table([head, *rows], indent=indent) for line in row]
        legend = [f"{label} is {name}" for name, label in short.items() if label != name]
        legend += [f"{sign} is {told}" for sign, told in _SIGNS.values() if sign in cells]
        legend += [
            f"octet {cell.first.octet} has the {cell.part} of {cell.label}"
            for cell in given.cells
            if cell.part.startswith(("high", "low"))
        ]
        if legend:
            rest = f"{indent}      "
            self.lines += wrap(", ".join(legend), self.look, first=f"{indent}where ", rest=rest)


def _abbreviations(names: Sequence[str]) -> dict[str, str]:
    """Return a label that fits a cell for every name, different for different names."""
    labels = {f"\0{sign}": sign for sign, _ in _SIGNS.values()}
    numbers = iter(range(1, 2 * len(names) + 1))
    for name in dict.fromkeys(names):
        label = _abbreviate(clean(name))
        while label in labels.values():
            label = f"#{next(numbers)}"
        labels[name] = label
    return {name: labels[name] for name in names}


def _abbreviate(name: str) -> str:
    """Leave out vowels inside words, then separators, from the right until the name fits."""
    for droppable in ("aeiouAEIOU", "_-. "):
        for index in range(len(name) - 1, 0, -1):
            if columns(name) <= _CELL:
                return name
            if name[index] in droppable and name[index - 1] not in "_-. ":
                name = name[:index] + name[index + 1 :]
    while columns(name) > _CELL:
        name = name[:-1]
    return name
