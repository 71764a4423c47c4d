"""The tables of ``watch`` on a terminal, kept up to date, with keys.

The terminal library (extra ``watch``) draws and reads keys; what is drawn comes as plain lines.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from .._errors import UsageError
from .._words import count
from ..capture import Examination, SideReport
from .board import Board
from .stream import Gate
from .table import Line, Screen, head_lines, table_lines

if TYPE_CHECKING:
    from prompt_toolkit.application import Application
    from prompt_toolkit.formatted_text import StyleAndTextTuples
    from prompt_toolkit.input import Input
    from prompt_toolkit.key_binding import KeyBindings
    from prompt_toolkit.key_binding.key_processor import KeyPressEvent
    from prompt_toolkit.output import Output

Reports = tuple[SideReport, SideReport]
_REFRESH_S = 0.1
HELP = 'f freeze  / filter  r forget "seen"  arrows, page keys: scroll  q end'
SHORT_HELP = "f / r q"
_SCROLLS = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -10_000, "end": 10_000}
_STYLES = {
    "head": "bold",
    "title": "underline",
    "differs": "bold ansired",
    "driven": "bold",
    "": "",
}


def show(
    board: Board,
    gate: Gate,
    examine: Callable[[], Examination],
    stop: Callable[[], None],
    *,
    given: Input | None = None,
    output: Output | None = None,
) -> Examination:
    """Show the board while a second thread examines, until that ends or a key ends it.

    ``stop`` lets the stream that is read end. Raises UsageError where the terminal library is not
    installed, and whatever ``examine`` raises. Ended by Ctrl-C, the result says it was stopped.
    """
    try:
        import prompt_toolkit  # noqa: F401  (deferred: an extra, and slow to import)
    except ImportError:
        raise UsageError(
            "the table needs a terminal library: pip install 'safeframe[watch]' "
            "(or --lines, which needs none)"
        ) from None
    viewer = Viewer(board, gate, given=given, output=output)
    found: list[Examination] = []
    failed: list[BaseException] = []

    def work() -> None:
        try:
            found.append(examine())
        except BaseException as error:
            failed.append(error)
        viewer.end()

    worker = threading.Thread(target=work, daemon=True)
    interrupted = viewer.run(worker.start)
    gate.stop()
    stop()
    worker.join()
    if failed:
        raise failed[0]
    return replace(found[0], stopped=True) if interrupted else found[0]


class Viewer:
    """The application on the terminal: what it shows, and what the keys do to it."""

    def __init__(
        self,
        board: Board,
        gate: Gate,
        *,
        given: Input | None = None,
        output: Output | None = None,
    ) -> None:
        self._board, self._gate = board, gate
        self._filter = ""
        self._is_typing = False
        self._frozen: tuple[Board, Reports | None] | None = None
        self._top = 0
        self._app = self._application(given, output)

    def run(self, begin: Callable[[], None]) -> bool:
        """Show until a key or the end of the recording ends it; True where Ctrl-C did."""
        return bool(self._app.run(pre_run=begin))

    def end(self) -> None:
        """Take the end of the recording, from another thread."""
        loop = self._app.loop
        if loop is not None:  # None: a key was quicker.
            loop.call_soon_threadsafe(self._leave)

    def lines(self, width: int, height: int) -> list[Line]:
        """Return what fits the terminal: the head, the part of the tables scrolled to, the keys."""
        with self._gate:
            self._board.now_us = self._gate.latest_us
            board, reports = self._now()
            quiet_s = 0.0 if self._frozen else self._gate.quiet_s
            screen = Screen(width, self._filter, self._frozen is not None, quiet_s)
            head, body = head_lines(board, reports, screen), table_lines(board, screen)
        foot = f"filter: {self._filter}_  (Enter keeps it, Esc drops it)"
        if not self._is_typing:
            foot = HELP if len(HELP) <= width else SHORT_HELP
        room = max(height - len(head) - 2, 1)
        self._top = max(min(self._top, len(body) - room), 0)
        shown = body[self._top : self._top + room]
        above, below = self._top, len(body) - self._top - len(shown)
        more = f"{count(above, 'line')} above, {below} below" if above or below else ""
        shown += [Line("")] * (room - len(shown))
        return [*head, *shown, Line(more), Line(foot[:width], "title")]

    def _now(self) -> tuple[Board, Reports | None]:
        if self._frozen is not None:
            return self._frozen
        progress = self._board.progress
        return self._board, None if progress is None else progress()

    def _text(self) -> StyleAndTextTuples:
        size = self._app.output.get_size()
        lines = self.lines(size.columns, size.rows)
        shown: StyleAndTextTuples = []
        for each in lines:
            shown += [(_STYLES[each.kind], each.text), ("", "\n")]
        return shown[:-1]

    def _application(self, given: Input | None, output: Output | None) -> Application[bool]:
        from prompt_toolkit.application import Application
        from prompt_toolkit.input import create_input
        from prompt_toolkit.layout import FormattedTextControl, Layout, Window
        from prompt_toolkit.output import create_output

        return Application(
            layout=Layout(Window(FormattedTextControl(self._text, show_cursor=False))),
            key_bindings=self._keys(),
            full_screen=True,
            refresh_interval=_REFRESH_S,
            # Octets may come through standard input: keys are those of the terminal.
            input=given or create_input(always_prefer_tty=True),
            output=output or create_output(sys.__stdout__, always_prefer_tty=True),
        )

    def _keys(self) -> KeyBindings:
        from prompt_toolkit.filters import Condition
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys

        keys = KeyBindings()
        typing = Condition(lambda: self._is_typing)

        def scroll(lines: int) -> Callable[[KeyPressEvent], None]:
            def act(_: KeyPressEvent) -> None:
                self._top += lines

            return act

        for key, lines in _SCROLLS.items():
            keys.add(key)(scroll(lines))
        for key, act in (
            ("f", self._freeze),
            ("/", self._type),
            ("r", self._forget),
            ("q", self._quit),
        ):
            keys.add(key, filter=~typing)(act)
        keys.add("c-c")(self._interrupt)
        keys.add(Keys.Any, filter=typing)(self._letter)
        keys.add("backspace", filter=typing)(self._shorten)
        keys.add("enter", filter=typing)(self._keep)
        keys.add("escape", filter=typing, eager=True)(self._drop)
        return keys

    def _freeze(self, _: KeyPressEvent) -> None:
        with self._gate:
            board, reports = self._now()
            self._frozen = None if self._frozen else (board.snapshot(), reports)

    def _type(self, _: KeyPressEvent) -> None:
        self._is_typing = True

    def _forget(self, _: KeyPressEvent) -> None:
        with self._gate:
            self._board.forget()

    def _quit(self, _: KeyPressEvent) -> None:
        self._leave()

    def _interrupt(self, _: KeyPressEvent) -> None:
        self._leave(interrupted=True)

    def _leave(self, *, interrupted: bool = False) -> None:
        if not self._app.is_done:
            self._app.exit(result=interrupted)

    def _letter(self, event: KeyPressEvent) -> None:
        if event.data.isprintable():
            self._filter += event.data

    def _shorten(self, _: KeyPressEvent) -> None:
        self._filter = self._filter[:-1]

    def _keep(self, _: KeyPressEvent) -> None:
        self._is_typing = False

    def _drop(self, _: KeyPressEvent) -> None:
        self._filter, self._is_typing = "", False
