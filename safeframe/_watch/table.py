"""All signals of a connection as a table that fits a terminal: lines of plain text."""

from __future__ import annotations

from typing import NamedTuple

from .._codec import safe_number
from .._report.text import clean, columns
from .._words import milliseconds, way
from ..capture import Note, SideReport
from .board import Board, SignalRow, value_text

_PLACE, _AGE, _CHANGES, _SEEN = 6, 9, 7, 4
_MARK = 2
_NARROWEST_NAME = 10
_ELLIPSIS = "~"
_MICRO, _MINUTE, _HOUR = 1_000_000, 60, 3600


class Line(NamedTuple):
    """One line and what it is: ``head``, ``title``, ``differs``, ``driven`` or nothing special."""

    text: str
    kind: str = ""


class Screen(NamedTuple):
    """What is shown besides the board: ``quiet_s`` without a packet, by the clock of the desk."""

    width: int
    filter: str = ""
    is_frozen: bool = False
    quiet_s: float = 0.0


def head_lines(
    board: Board, reports: tuple[SideReport, SideReport] | None, screen: Screen
) -> list[Line]:
    """Return the lines above the tables: counts, gaps, what failed last."""
    link = board.link
    state = "  [frozen]" if screen.is_frozen else ""
    passed = ""
    if board.start_us is not None and board.now_us is not None:
        passed = f"  {_seconds(board.now_us - board.start_us)} s"
    lines = [Line(f"{link.connection.name} ({link.profile}){passed}{state}", "head")]
    watchdog = link.watchdog_us
    against = f" of {milliseconds(watchdog)} watchdog" if watchdog else ", no watchdog stated"
    for report in reports or ():
        results = report.results
        gap = "no gap yet"
        if report.longest_gap_us is not None:
            gap = f"longest gap {milliseconds(report.longest_gap_us)}{against}"
        rejected = results.get("rejected", 0) + results.get("foreign", 0)
        counts = f"{results.get('accepted', 0)} accepted, {rejected} rejected"
        if unknown := results.get("unknown", 0):
            counts += f", {unknown} not judged"
        lines.append(Line(f"{report.name}: {counts}, {gap}"))
    failed = "nothing so far" if board.failed is None else _failed(board, board.failed)
    lines.append(Line(f"failed last: {failed}", "differs" if board.failed else ""))
    if screen.quiet_s >= 1:
        lines.append(Line(f"nothing has come for {screen.quiet_s:.0f} s", "differs"))
    return [Line(_fit(clean(each.text), screen.width).rstrip(), each.kind) for each in lines]


def table_lines(board: Board, screen: Screen) -> list[Line]:
    """Return the tables of both directions, one line a row; ``filter`` keeps names that hold it."""
    wanted = screen.filter.casefold()
    lines: list[Line] = []
    for side in (0, 1):
        names = board.link.names[side], board.link.names[1 - side]
        rows = [row for row in board.rows[side] if wanted in row.name.casefold()]
        use = board.use[side]
        state = "no data in use yet" if use is None else use
        title = f"{way(*names)}{f'  ({state})' if state else ''}"
        lines.append(Line(_fit(clean(title), screen.width).rstrip(), "title"))
        widths = _widths(screen.width)
        lines.append(Line(_line(_head(names), widths), "title"))
        lines += [Line(_line(_cells(board, row), widths), _kind(row)) for row in rows]
        if not rows:
            hidden = len(board.rows[side])
            text = f"none of {hidden} signals holds {screen.filter!r}" if hidden else "no signals"
            lines.append(Line(f"  {_fit(clean(text), screen.width - 2).rstrip()}"))
    return lines


def _widths(width: int) -> tuple[int, ...]:
    """Return the widths of the columns: what is left goes to the name and both meanings."""
    rest = width - _MARK - _PLACE - _AGE - _CHANGES - _SEEN - 6
    name = max(_NARROWEST_NAME, min(rest * 2 // 5, 32))
    sent = (rest - name) * 3 // 5
    return _MARK, _PLACE, name, max(sent, 4), max(rest - name - sent, 4), _AGE, _CHANGES, _SEEN


def _head(names: tuple[str, str]) -> tuple[str, ...]:
    sends, reads = f"{names[0]} sends", f"{names[1]} reads"
    return "", "place", "signal", sends, reads, "age", "changes", "seen"


def _cells(board: Board, row: SignalRow) -> tuple[str, ...]:
    sent = "-" if row.sent is None else value_text(row.sent, row.produced)
    read = "-" if row.received is None else value_text(row.received, row.consumed)
    if row.sent is not None and row.received is not None and sent == read:
        # In full once: the eye looks for what differs.
        read = str(row.consumed) if row.consumed is not None else "?"
    age = "-"
    if row.changed_us is not None and board.now_us is not None:
        age = _age(board.now_us - row.changed_us)
    mark = "!" if row.differs else "*" if _kind(row) == "driven" else ""
    seen = "yes" if row.is_seen else "no"
    return mark, row.place, row.name, sent, read, age, str(row.changes), seen


def _kind(row: SignalRow) -> str:
    if row.differs:
        return "differs"
    shown = row.sent or row.received
    number = row.produced if row.sent is not None else row.consumed
    return "driven" if shown is not None and number not in (None, safe_number(shown)) else ""


def _line(cells: tuple[str, ...], widths: tuple[int, ...]) -> str:
    mark, *others = (_fit(clean(cell), width) for cell, width in zip(cells, widths, strict=True))
    return (mark + " ".join(others)).rstrip()


def _fit(text: str, width: int) -> str:
    """Return a text that takes exactly ``width`` columns; what was cut shows a mark."""
    taken = columns(text)
    if taken <= width:
        return text + " " * (width - taken)
    kept = text
    while kept and columns(kept) > width - len(_ELLIPSIS):
        kept = kept[:-1]
    cut = (kept + _ELLIPSIS)[: max(width, 0)]
    return cut + " " * (width - columns(cut))


def _age(age_us: int) -> str:
    seconds = max(age_us, 0) / _MICRO
    if seconds < _MINUTE:
        return f"{seconds:.3f} s"
    if seconds < _HOUR:
        return f"{seconds / _MINUTE:.1f} min"
    return f"{seconds / _HOUR:.1f} h"


def _failed(board: Board, note: Note) -> str:
    when = ""
    if note.time_us is not None and board.start_us is not None:
        when = f"{_seconds(note.time_us - board.start_us)} s "
    name = "" if note.side is None else f"{board.link.names[note.side]} "
    return f"{when}{name}{note.text}"


def _seconds(time_us: int) -> str:
    return f"{time_us / _MICRO:.3f}"
