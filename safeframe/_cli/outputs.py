"""Options that write files: one set of rules for all of them, decided before the work begins."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Iterator, Mapping

from .._errors import UsageError
from . import telling

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from .._document.output import Claim, OutputKind

_KINDS = "output_kinds"
_CLAIMS = "output_claims"
_FRESH = ("map", "sheet")
"""Kinds that are never written over a file that exists, since people work in them."""
_NEVER = ("record", *_FRESH)
"""These, and those that people enter into."""
_FRAMES = {
    "jsonl": (b"{",),
    "hex": (b"# ",),
    "bin": (b"CAUTION",),
    "c": (b"/* ",),
    "pcapng": (b"\x0a\x0d\x0d\x0a",),
}
"""How a file of frames begins in each format; the banner follows soon after."""


def add(parser: argparse.ArgumentParser, *flags: str, kind: str, **settings: Any) -> None:
    """Add an option that writes a file.

    ``kind`` is ``FORM COMMAND`` with the form page, picture or text, such as ``page check``, or
    ``baseline``, ``coverage``, ``record``, ``map`` or ``sheet``; ``frames`` and ``picture or page
    COMMAND`` go by the format and the name of the file. Nothing is decided about ``frames`` where
    mistaken maps go into a folder.
    """
    settings.setdefault("metavar", "FILE")
    action = parser.add_argument(*flags, **settings)
    kinds = parser.get_default(_KINDS) or {}
    parser.set_defaults(**{_KINDS: {**kinds, action.dest: (flags[-1], kind)}})
    if kind not in _NEVER and parser.get_default("force") is None:
        parser.add_argument(
            "--force",
            action="store_true",
            default=False,
            help="overwrite files that the same kind of output did not write; never an input",
        )


def claim(args: argparse.Namespace, *, also: Iterable[str] = ()) -> None:
    """Decide for every file that a run is to write whether it may; raises UsageError if not.

    Everything in ``args`` that leads to a file counts as read, and so do the paths of ``also``.
    """
    kinds: dict[str, tuple[str, str]] = getattr(args, _KINDS, {})
    wanted = {
        dest: path
        for dest, (_, kind) in kinds.items()
        if (path := getattr(args, dest)) is not None
        and not (kind == "frames" and "mistakes" in args.kinds)
    }
    setattr(args, _CLAIMS, {})
    _refuse_force(args, kinds, wanted)
    if not wanted:
        return
    from .._document import output  # deferred: most runs write no file.

    rows = [
        (kinds[dest][0], path, _kind(kinds[dest][1], args, path)) for dest, path in wanted.items()
    ]
    inputs = output.identities([*_words(args, set(wanted)), *also])
    found = output.claim(rows, inputs, force=getattr(args, "force", False))
    setattr(args, _CLAIMS, {dest: found[kinds[dest][0]] for dest in wanted})


def _refuse_force(
    args: argparse.Namespace, kinds: Mapping[str, tuple[str, str]], wanted: Iterable[str]
) -> None:
    """Refuse ``--force`` where no file is written that it would overwrite."""
    may = {dest: flag for dest, (flag, kind) in kinds.items() if kind not in _NEVER}
    if not getattr(args, "force", False) or getattr(args, "pages", None):
        return
    if "mistakes" in getattr(args, "kinds", ()):
        raise UsageError("--force must stand without --set mistakes, which overwrites no file")
    if may.keys().isdisjoint(wanted):
        flags = " or ".join(may.values())
        raise UsageError(f"--force must stand with {flags}: without it no file is overwritten")


def write(args: argparse.Namespace, dest: str, text: str | bytes) -> None:
    """Write the file of an option, and say so on standard error."""
    from .._document import output
    from .._report import marks

    made: Claim = getattr(args, _CLAIMS)[dest]
    if isinstance(text, str):
        form = made.kind.name.partition(" ")[0]
        text = marks.marked(made.kind, text) if form in ("page", "picture", "Markdown") else text
        text = text.encode("utf-8", "backslashreplace")
    try:
        output.write(made, text)
        telling.say(f"{made.path} written ({made.kind.name})")
    except KeyboardInterrupt:
        raise KeyboardInterrupt(made.told(text)) from None


def into(folder: str, texts: Mapping[str, str]) -> None:
    """Write new files into a folder; makes the folder."""
    from pathlib import Path

    from .._document import output

    Path(folder).mkdir(parents=True, exist_ok=True)
    kind = output.OutputKind("new file", (b"",), b"", fresh=True)
    try:
        for name, text in texts.items():
            path = str(Path(folder, name))
            (made,) = output.claim([("the folder", path, kind)], {}, force=False).values()
            output.write(made, text.encode())
    except KeyboardInterrupt:
        there = sum(Path(folder, name).exists() for name in texts)
        raise KeyboardInterrupt(f"{folder} holds {there} of {len(texts)} files") from None


class PageFolder:
    """A folder of pages, one for each of many things; those of an earlier run are replaced.

    Makes the folder. Raises UsageError where it holds pages of another kind, or an input, unless
    ``--force`` was given; an input is never overwritten.
    """

    def __init__(self, args: argparse.Namespace, folder: str) -> None:
        from pathlib import Path

        from .._document import output
        from .._report import marks

        self._kind = marks.page(args.output_kinds["html"][1].partition(" ")[2])
        self._folder, self._force = Path(folder), bool(args.force)
        self._inputs = output.identities(_words(args, {"html", "pages"}))
        self._written: set[str] = set()
        if os.path.lexists(folder) and not self._folder.is_dir():
            raise UsageError(f"--pages must name a folder, not {folder}, which is none")
        self._folder.mkdir(parents=True, exist_ok=True)
        self._there = {path.name for path in self._folder.iterdir() if path.suffix == ".html"}
        for name in sorted(self._there):  # Before the work begins, not in the middle of it.
            self._claim(name)

    def _claim(self, name: str) -> Claim:
        from .._document import output

        path = str(self._folder / name)
        rows = [("--pages", path, self._kind)]
        return output.claim(rows, self._inputs, force=self._force)["--pages"]

    def write(self, name: str, text: str) -> None:
        """Write one page."""
        from .._document import output
        from .._report import marks

        page = marks.marked(self._kind, text).encode("utf-8", "backslashreplace")
        made = self._claim(name)
        try:
            output.write(made, page)
            self._written.add(name)
        except KeyboardInterrupt:
            self._written |= {name} if made.holds(page) else set()
            raise

    def done(self) -> None:
        """Say what was written, and which pages of an earlier run are still there."""
        from .._words import count, listed

        where = str(self._folder)
        pages = count(len(self._written), "page")
        telling.say(f"{where}: {pages} written ({self._kind.name})")
        if left := sorted(self._there - self._written):
            telling.say(f"{where} also holds {listed(left)}, which this run did not write")


def refuse_full(path: str, what: str) -> None:
    """Raise UsageError unless a folder is new or empty."""
    from pathlib import Path

    folder = Path(path)
    if os.path.lexists(folder) and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(
            f"the folder of {what} must be new or empty, not {path} as it is "
            "(name another one, or remove it)"
        )


def _words(args: argparse.Namespace, without: set[str]) -> Iterator[str]:
    """Yield every text of the command line that may lead to a file."""
    for dest, value in vars(args).items():
        if dest in without or dest in (_KINDS, _CLAIMS):
            continue
        for one in value if isinstance(value, list | tuple) else [value]:
            if isinstance(one, str) and one not in ("", "-"):
                yield one
                _, equals, path = one.partition("=")
                if equals and path:
                    yield path


def _kind(word: str, args: argparse.Namespace, path: str) -> OutputKind:
    from .._document.output import OutputKind
    from .._report import marks

    form, _, command = word.rpartition(" ")
    if form == "picture or page":
        form = "page" if path.lower().endswith((".html", ".htm")) else "picture"
    if form:
        kind: OutputKind = {"page": marks.page, "picture": marks.picture, "text": marks.text}[form](
            command
        )
        return kind
    if word == "record":
        from ..record import FORMAT

        # Never overwritten by an output, not even of its own kind: people enter into it.
        return OutputKind("record", (b"{",), f'"format": "{FORMAT}"'.encode(), fresh=True)
    if word in _FRESH:
        return OutputKind(word, (b"",), b"", fresh=True)
    if word == "coverage":
        from .._coverage.results import FORMAT as COVERAGE

        return OutputKind("results of recordings", (b"{",), f'"format": "{COVERAGE}"'.encode())
    if word == "baseline":
        from .. import _baseline as baseline

        return OutputKind("baseline", (b"{",), f'"format": "{baseline.FORMAT}"'.encode())
    from ..fixtures import BANNER

    return OutputKind(f"file of frames as {args.format}", _FRAMES[args.format], BANNER.encode())
