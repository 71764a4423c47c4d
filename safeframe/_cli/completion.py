"""``safeframe completion``: scripts that complete commands, options and their values."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from typing import NamedTuple

from . import COMMANDS, parser_of

__all__ = ["SHELLS", "configure", "levels", "run", "script"]

_EPILOG = """\
examples:
  source <(safeframe completion bash)          in ~/.bashrc
  source <(safeframe completion zsh)           in ~/.zshrc, after compinit
  safeframe completion fish | source           in config.fish
"""
_TOP = "safeframe"


class Level(NamedTuple):
    """What may follow some command words: further words, options, and the values of options.

    ``path`` are the words so far, such as ``safeframe edit insert``; ``values`` are (option,
    values) pairs, with None for a value that may be a file.
    """

    path: str
    words: tuple[str, ...]
    options: tuple[str, ...]
    values: tuple[tuple[str, tuple[str, ...] | None], ...]


def levels() -> list[Level]:
    """Return every level of the command line, from the parsers themselves."""
    found = [Level(_TOP, (*COMMANDS, "help"), ("--help", "--version"), ())]
    found.append(Level(f"{_TOP} help", tuple(COMMANDS), (), ()))
    for name in COMMANDS:
        found += _levels(f"{_TOP} {name}", parser_of(name)[0])
    return found


def _levels(path: str, parser: argparse.ArgumentParser) -> Iterator[Level]:
    words: list[str] = []
    options: list[str] = []
    values: list[tuple[str, tuple[str, ...] | None]] = []
    below: list[Level] = []
    for action in parser._actions:
        choices = tuple(map(str, action.choices or ()))
        if isinstance(action, argparse._SubParsersAction):
            for word, inner in action.choices.items():
                below += _levels(f"{path} {word}", inner)
        if not action.option_strings:
            words += choices
            continue
        options += action.option_strings
        if action.nargs != 0:
            values += [(option, choices or None) for option in action.option_strings]
    yield Level(path, tuple(words), tuple(options), tuple(values))
    yield from below


def script(shell: str) -> str:
    """Return the completion script of a shell."""
    return SHELLS[shell](levels())


def _cases(given: list[Level]) -> tuple[str, str, str]:
    """Return the parts that bash and zsh share: known paths, values, words."""
    paths = "|".join(f'"{level.path}"' for level in given)
    values = "\n".join(
        f'        "{level.path} {option}") offer="{" ".join(choices or ())}"; found=1 ;;'
        for level in given
        for option, choices in level.values
    )
    words = "\n".join(
        f'            "{level.path}") offer="{" ".join(level.words)}"; '
        f'options="{" ".join(level.options)}" ;;'
        for level in given
    )
    return paths, values, words


def _shared(given: list[Level], before: str) -> str:
    paths, values, words = _cases(given)
    return f"""\
    local at={_TOP} word offer= options= found=
    for word in {before}; do
        case "$at $word" in {paths}) at="$at $word" ;; esac
    done
    case "$at $previous" in
{values}
    esac
    if [[ -z $found ]]; then
        case "$at" in
{words}
        esac
        [[ $current == -* ]] && offer=$options
    fi
"""


def _bash(given: list[Level]) -> str:
    body = _shared(given, '"${COMP_WORDS[@]:1:COMP_CWORD-1}"')
    return f"""\
# Completion of safeframe for bash.
_safeframe() {{
    local current=${{COMP_WORDS[COMP_CWORD]}} previous=${{COMP_WORDS[COMP_CWORD-1]}}
{body}\
    # Nothing to offer means a file: readline completes it by default.
    COMPREPLY=($(compgen -W "$offer" -- "$current"))
}}
complete -o default -F _safeframe safeframe
"""


def _zsh(given: list[Level]) -> str:
    inner = '"${(@)ORIGINAL[2,CURRENT-1]}"'
    body = _shared(given, inner)
    return f"""\
#compdef safeframe
# Completion of safeframe for zsh.
_safeframe() {{
    local -a ORIGINAL=("${{(@)words}}")
    local current=$ORIGINAL[CURRENT] previous=$ORIGINAL[CURRENT-1]
{body}\
    [[ -n $offer ]] && compadd -- ${{=offer}}
    [[ $current == -* ]] || _files
}}
compdef _safeframe safeframe
"""


def _fish(given: list[Level]) -> str:
    lines = ["# Completion of safeframe for fish."]
    for level in given:
        parts = level.path.split()[1:]
        seen = [f"__fish_seen_subcommand_from {part}" for part in parts]
        rule = "; and ".join(seen) or "__fish_use_subcommand"
        if level.words:
            lines.append(f"complete -c {_TOP} -n '{rule}' -a '{' '.join(level.words)}'")
        values = dict(level.values)
        for option in level.options:
            kind = "-l" if option.startswith("--") else "-s"
            line = f"complete -c {_TOP} -n '{rule}' {kind} {option.lstrip('-')}"
            if option in values:
                choices = values[option]
                line += f" -x -a '{' '.join(choices)}'" if choices else " -r"
            lines.append(line)
    return "\n".join(lines) + "\n"


SHELLS = {"bash": _bash, "zsh": _zsh, "fish": _fish}
"""What writes the script of each shell."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("shell", metavar="SHELL", choices=tuple(SHELLS), help="bash, zsh or fish")


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    sys.stdout.write(script(args.shell))
    return 0
