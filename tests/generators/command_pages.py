"""Pages of the commands, written from the parsers: ``python -m tests.generators.command_pages``."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from safeframe._cli import COMMANDS, parser_of

FOLDER = Path(__file__).resolve().parent.parent.parent / "docs" / "commands"
_NOTE = "Written by `python -m tests.generators.command_pages` from the parsers; do not edit."


def pages() -> dict[str, str]:
    """Return file name -> text of every page."""
    rows = "".join(f"| [`{name}`]({name}.md) | {text} |\n" for name, text in COMMANDS.items())
    index = f"# Commands\n\n{_NOTE}\n\n| command | what it does |\n|---|---|\n{rows}"
    found = {"README.md": index}
    for name, text in COMMANDS.items():
        parts = [f"# safeframe {name}\n\n{text[0].upper()}{text[1:]}.\n"]
        for parser in parsers(parser_of(name)[0]):
            if parser.prog != f"safeframe {name}":
                parts.append(f"## {parser.prog.removeprefix('safeframe ')}\n")
            parts.append(f"```text\n{parser.format_help().rstrip()}\n```\n")
        parts.append("[All commands](README.md)\n")
        found[f"{name}.md"] = "\n".join(parts)
    return found


def parsers(parser: argparse.ArgumentParser) -> Iterator[argparse.ArgumentParser]:
    """Yield a parser and those of its actions, in order."""
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from parsers(inner)


def main() -> None:
    """Write the pages."""
    FOLDER.mkdir(exist_ok=True)
    for name, text in pages().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
