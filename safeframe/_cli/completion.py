"""``safeframe completion``: scripts that complete commands, options and their values."""

from __future__ import annotations

import argparse
import importlib
import sys
from typing import Any

from .._errors import UsageError
from . import COMMANDS, command_module

_EPILOG = """\
examples:
  source <(safeframe completion bash)          in ~/.bashrc
  source <(safeframe completion zsh)           in ~/.zshrc, after compinit
  safeframe completion fish | source           in config.fish
  safeframe completion powershell | Out-String | Invoke-Expression    in $PROFILE

needs the extra "completion": pip install 'safeframe[completion]'
"""
SHELLS = ("bash", "zsh", "fish", "tcsh", "powershell")
"""The shells that the library writes scripts for."""


class _FileParser(argparse.ArgumentParser):
    """A parser whose values may be files where nothing else is known of them."""

    def add_argument(self, *names: Any, **given: Any) -> argparse.Action:
        """Declare one argument; what takes a value without choices completes file names."""
        import shtab

        action = super().add_argument(*names, **given)
        if action.nargs != 0 and not action.choices:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
        return action


def script(shell: str) -> str:
    """Return the completion script of a shell; raises UsageError where the library is missing."""
    try:
        shtab = importlib.import_module("shtab")
    except ImportError:
        raise UsageError(
            "completion needs the library shtab: pip install 'safeframe[completion]'"
        ) from None
    whole = argparse.ArgumentParser(prog="safeframe", allow_abbrev=False)
    whole.add_argument("--version", action="store_true", help="print the version")
    below = whole.add_subparsers(dest="command", parser_class=_FileParser)
    for name, text in COMMANDS.items():
        command_module(name).configure(below.add_parser(name, help=text))
    below.add_parser("help", help="explain one command").add_argument("name", choices=[*COMMANDS])
    written: str = shtab.complete(whole, shell=shell)
    return written if written.endswith("\n") else f"{written}\n"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("shell", metavar="SHELL", choices=SHELLS, help=", ".join(SHELLS))


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    sys.stdout.write(script(args.shell))
    return 0
