"""What a result says, told once: blocks that become text, Markdown or a page.

A block holds plain text and values; what could mean something to a terminal, in Markdown or in
HTML is escaped by the three renderers ``text``, ``markdown`` and ``html``, nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterator

from .._value import NamedTuple

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, TypeAlias

    from .._grids import BitGrid

CAUTION = (
    "Off-line aid, not certified: replaces neither review nor validation; "
    "local codes and licensed practice come first."
)

SEEN = (
    "Seen on the wire is not seen at the machine. Passive reading only, with permission of whoever "
    "runs the network."
)
"""What stands on every page about a recording."""

SIGNS = {"error": "■", "warning": "▲", "note": "●"}
"""A sign before each severity on a page, so that no colour has to tell them apart."""


class StyledText(NamedTuple):
    """A run of words that looks different.

    ``look`` is ``strong``, ``good``, ``code``, a severity, or ``entry`` for what a person has to
    fill in. ``href`` is where the words lead to on a page.
    """

    text: str
    look: str
    href: str = ""


Words: TypeAlias = str | StyledText | tuple[str | StyledText, ...]


class Paragraph(NamedTuple):
    """A paragraph; ``label`` stands before it, ``kind`` is ``remedy`` or empty."""

    words: Words
    label: str = ""
    kind: str = ""


class Items(NamedTuple):
    """A list of points; ``label`` stands before each one in text, before the list elsewhere."""

    items: tuple[Words, ...]
    label: str = ""


class Table(NamedTuple):
    """Rows of equal length; ``bare`` leaves the columns unnamed in a text.

    ``looks`` colours whole rows. ``notes`` say more about a row, below it in text and in a last
    column named ``note_head`` elsewhere. A kind of column is ``text``, ``code`` (fingerprints,
    octets, places), ``entry`` (filled in by people) or ``pen`` (room on paper); ``widths`` are per
    cent of a page. On a page ``links`` are where the first cell of each row leads to, ``anchors``
    the names by which others lead to the rows, and ``pictures`` stand below the rows, with the
    notes that there must be.
    """

    rows: tuple[tuple[str, ...], ...]
    head: tuple[str, ...] = ()
    caption: str = ""
    looks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    note_head: str = ""
    kinds: tuple[str, ...] = ()
    widths: tuple[int, ...] = ()
    bare: bool = False
    links: tuple[str, ...] = ()
    anchors: tuple[str, ...] = ()
    pictures: tuple[Drawing | None, ...] = ()


class Point(NamedTuple):
    """One difference: its level, what differs, where it stands, what there is to say about it."""

    level: StyledText
    subject: str
    scope: str
    lines: tuple[str, ...]
    source: str = ""


class Points(NamedTuple):
    """Differences: a paragraph each in a text, a row each elsewhere, columns as ``head`` names."""

    points: tuple[Point, ...]
    head: tuple[str, ...]


class Facts(NamedTuple):
    """A definition list: what is told, and what there is to say about it."""

    rows: tuple[tuple[str, Words], ...]


class CodeBlock(NamedTuple):
    """Lines that are kept as they are: a patch, a command to copy."""

    lines: tuple[Words, ...]


class Grids(NamedTuple):
    """Bit grids side by side; ``name`` is what they show, for instance ``SC1 -> LX``."""

    grids: tuple[BitGrid, ...]
    name: str = ""


class Drawing(NamedTuple):
    """A picture: ``svg`` for a page, ``lines`` for a text, ``style`` for the sheet of the page.

    ``kind`` is the class that the style is for.
    """

    svg: str
    lines: tuple[str, ...]
    style: str = ""
    kind: str = "drawing"


class Fold(NamedTuple):
    """Blocks that a reader of a page may open; a text shows ``instead`` unless asked for all."""

    title: str
    blocks: tuple[Block, ...]
    instead: str = ""


class Section(NamedTuple):
    """Blocks under a title. ``kind`` is ``long`` where a printed page may break inside."""

    title: Words
    blocks: tuple[Block, ...] = ()
    kind: str = ""


Block: TypeAlias = (
    Paragraph | Items | Table | Points | Facts | CodeBlock | Grids | Drawing | Fold | Section
)


class Document(NamedTuple):
    """A whole result.

    A ``verdict`` is told last in a text, where eyes rest, and first on a page; then the text does
    not repeat the ``title``. ``below`` are blocks that belong to the verdict.
    """

    title: Words
    blocks: tuple[Block, ...] = ()
    verdict: Words = ""
    below: tuple[Block, ...] = ()
    footer: tuple[str, ...] = (CAUTION,)


def picked(value: object, names: str) -> dict[str, Any]:
    """Return attributes that documents for programs hold by the same names."""
    return {name: getattr(value, name) for name in names.split()}


def body(given: Document) -> tuple[Block, ...]:
    """Return the blocks below a title: the first one goes where it only repeats it."""
    first = given.blocks[:1]
    return given.blocks[1:] if first == (Paragraph(given.title),) else given.blocks


def strong(text: str) -> StyledText:
    """Return text that stands out."""
    return StyledText(text, "strong")


def spans(words: Words) -> Iterator[StyledText]:
    """Yield words as spans; those without a look have an empty one."""
    for part in (words,) if isinstance(words, (str, StyledText)) else words:
        yield part if isinstance(part, StyledText) else StyledText(part, "")


def plain(words: Words) -> str:
    """Return words without their looks."""
    return words if isinstance(words, str) else "".join(span.text for span in spans(words))


def point_row(point: Point, width: int) -> tuple[str, ...]:
    """Return a point as a row of so many cells."""
    cells = point.level.text, point.subject, point.scope, "; ".join(point.lines), point.source
    return cells[:width]
