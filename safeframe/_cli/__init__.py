"""The command line: choose a command, import only that one, turn exceptions into exit codes."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from keyword import iskeyword

from .. import __version__
from .._errors import InputError, SafeframeError, UsageError, WriteError
from . import streams, telling

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, NoReturn

COMMANDS = {
    "check": "say whether both ends of a connection agree bit for bit",
    "verify": "say whether a whole plant is in order: maps, records, tests, signatures",
    "diff": "say what differs between map files, or between the edits of two ends",
    "relations": "list the states that the rules between signals allow",
    "edit": "make one change at both ends, out of the reserve",
    "import": "make a map from a device file, or hold a map against one",
    "show": "print what one map file says, as tables",
    "fingerprint": "print what tells equal maps from different ones",
    "record": "make, complete, sign and verify the sign-off record of a change",
    "trace": "follow a signal through the site, over every connection",
    "timing": "work out watchdog and reaction time, with every input shown",
    "crc": "compute a CRC, step by step on demand",
    "frame": "build safety frames, or explain received ones",
    "fixtures": "make frames for the tester, and mistaken maps for the review",
    "capture": "judge a recording and read it with both maps",
    "watch": "look on while frames arrive, from a pipe or a growing file",
    "schema": "print the JSON Schema of a file or an output",
    "rules": "list the rules, or explain one",
    "residual": "compute what a checksum misses: exact weights and probabilities",
    "demo": "run the whole job on an invented storage lift",
    "completion": "print the completion script of a shell",
    "selftest": "check this installation",
}
"""Every command with the line that ``safeframe --help`` prints; the module has the same name,
with an underscore behind it where that is a word of Python."""

OK, USAGE, INTERNAL = 0, 2, 3
INTERRUPTED = 130  # 128 + SIGINT, as shells report it.
PIPE_CLOSED = 141  # 128 + SIGPIPE.


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; never raises."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    with streams.guarded():
        try:
            code = _exit_code(arguments)
            sys.stdout.flush()
        except BrokenPipeError:
            # Whoever read our output has left; the interpreter must not complain at exit either.
            code = PIPE_CLOSED
        except KeyboardInterrupt:
            code = INTERRUPTED
        except streams.StreamError as error:
            # Neither 0 nor 1: nobody has been told what was found.
            _complain(f"standard output cannot be written: {error}")
            code = INTERNAL
        except SafeframeError as error:  # An output that must not be printed as it is.
            code = _complain(str(error))
        if code in (PIPE_CLOSED, INTERNAL):
            streams.discard()
    return code


def _exit_code(arguments: list[str]) -> int:
    """Run one command; turn what it raises into messages and an exit code."""
    try:
        return _dispatch(arguments)
    except SystemExit as stop:  # argparse ends this way after --help and after a wrong option.
        return stop.code if isinstance(stop.code, int) else USAGE
    except (BrokenPipeError, streams.StreamError):
        raise
    except KeyboardInterrupt as stop:
        # What is known so far is printed; an edit says in which state its files are.
        if stop.args:
            _complain(f"interrupted: {stop}")
        return INTERRUPTED
    except InputError as error:
        return _complain(*map(str, error.problems))
    except WriteError as error:
        _complain(str(error))
        return INTERNAL
    except SafeframeError as error:
        return _complain(str(error))
    except OSError as error:
        return _complain(f"{error.filename or _unnamed()}: {error.strerror or error}")
    except Exception as error:  # A traceback would exit 1, the code of findings.
        return _apologise(error)


def _unnamed() -> str:
    """Return what failed where the system names no file: the folder we are in may be gone."""
    try:
        os.getcwd()  # noqa: PTH109
    except OSError:
        return "the current folder"
    return "input or output"


_HELP_COLUMNS = 78


class _Help(argparse.RawDescriptionHelpFormatter):
    """Help of a fixed width: asking the terminal imports a module that costs 2 ms."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=_HELP_COLUMNS)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        """Keep the lines of a text that fit; set prose anew, and let what is indented go on below.

        A command goes on behind a backslash between its words, so that it can still be pasted.
        """
        import re  # deferred: help alone needs them.
        import textwrap
        from itertools import groupby

        from .._words import command_lines

        def broken(line: str, room: int, lead: str) -> list[str]:
            return textwrap.wrap(
                line, room, subsequent_indent=lead, break_on_hyphens=False, break_long_words=False
            )

        lines: list[str] = []
        whole = re.sub(r" \\\n +", " ", text)
        for prose, run in groupby(whole.splitlines(), key=lambda line: line[:1] not in ("", " ")):
            given = list(run)
            if prose and any(len(line) > width for line in given):
                lines += broken(" ".join(given), width, "")
                continue
            for line in given:
                inside = line.strip()
                lead = line[: len(line) - len(line.lstrip())]
                if len(line) <= width:
                    lines.append(line)
                elif inside.startswith("safeframe ") and "  " not in inside:
                    parts = command_lines(inside, width - len(lead))
                    lines += [f"{lead}{part}" for part in parts]
                else:
                    lines += broken(line, width, f"{lead}    ")
        return "".join(f"{indent}{line}\n" for line in lines)

    def _format_usage(self, *args: Any, **settings: Any) -> str:
        """Break what argparse keeps together, a choice of options, where it is too wide."""
        lines = []
        for line in super()._format_usage(*args, **settings).split("\n"):
            lead = " " * (len(line) - len(line.lstrip()))
            while len(line) > _HELP_COLUMNS + 2 and " | " in line[: _HELP_COLUMNS + 2]:
                at = line.rindex(" | ", 0, _HELP_COLUMNS + 2) + 2
                lines.append(line[:at])
                line = f"{lead} {line[at + 1 :]}"
            lines.append(line)
        return "\n".join(lines)


_TEXTS = (
    "--asked-by",
    "--data",
    "--hazard",
    "--note",
    "--one-means",
    "--reason",
    "--remark",
    "--unit",
)
"""Options of which an empty text is a text."""


class _Parser(argparse.ArgumentParser):
    """A parser that complains in two lines: what is wrong, and where the help is.

    Those of the operations of a command are of this class as well.
    """

    def __init__(self, **settings: Any) -> None:
        super().__init__(**{"formatter_class": _Help, "allow_abbrev": False, **settings})

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse words; an empty or blank value, as of a variable that nobody set, is none.

        It would pass for an option that was not given: a baseline, a file of signers.
        """
        found = super().parse_known_args(args, namespace)
        for before, word in zip(["", *args], args, strict=False):
            flag, is_joined, value = word.partition("=")
            if not is_joined:
                flag, value = before, word
            is_option = flag.startswith("-") and " " not in flag and flag not in _TEXTS
            if is_option and not value.strip():
                self.error(f"{flag} must have a value, not an empty one")
        return found

    def error(self, message: str) -> NoReturn:
        """Complain and leave."""
        words = " ".join(self.prog.split()[1:])
        # What a value must be is said of the option, as everywhere else.
        named, _, required = message.partition(": must be ")
        if required and named.startswith("argument "):
            message = f"{named.removeprefix('argument ')} must be {required}"
        _complain(f"{words}: {message}", f"see: safeframe help {words}")
        raise SystemExit(USAGE)


def _dispatch(arguments: list[str]) -> int:
    if not arguments:
        sys.stderr.write(_overview())
        return USAGE
    name, *rest = arguments
    if name == "help" and rest:
        name, rest = rest[0], [*rest[1:], "--help"]
    if name in ("-h", "--help", "help"):
        sys.stdout.write(_overview())
        return OK
    if name in ("-V", "--version", "version"):
        sys.stdout.write(f"safeframe {__version__}\n")
        return OK
    if name not in COMMANDS:
        return _complain(_unknown(name), "see: safeframe --help")
    parser, module = parser_of(name)
    args = parser.parse_args(rest)
    form = "canonical" if getattr(args, "canonical", None) else _format_of(args)
    streams.set_format(form)
    if getattr(args, "color", "auto") == "always" and form != "text":
        mode = "--canonical" if form == "canonical" else f"--format {form}"
        raise UsageError(f"--color always must stand without {mode}, which has no colours")
    if hasattr(args, "output_kinds"):
        from . import outputs  # deferred: most commands write no file.

        outputs.claim(args)
    code: int = module.run(args)
    return code


def _format_of(args: argparse.Namespace) -> str:
    return str(getattr(args, "format", "text"))


def command_module(name: str) -> Any:
    """Return the module of a command: ``configure(parser)`` and ``run(args)``."""
    return importlib.import_module(f".{name}{'_' * iskeyword(name)}", __name__)


def parser_of(name: str) -> tuple[argparse.ArgumentParser, Any]:
    """Return the parser of a command, and its module."""
    module = command_module(name)
    parser = _Parser(
        prog=f"safeframe {name}",
        description=f"{COMMANDS[name][0].upper()}{COMMANDS[name][1:]}.",
    )
    module.configure(parser)
    return parser, module


def _overview() -> str:
    from .._report.document import CAUTION  # deferred: few runs print it.

    width = max(map(len, COMMANDS))
    lines = "\n".join(f"  {name:{width}}  {text}" for name, text in COMMANDS.items())
    return (
        "usage: safeframe COMMAND [options]\n\n"
        "Checks the matched bit maps and frames of functional-safety connections.\n\n"
        f"{lines}\n\n"
        "safeframe help COMMAND explains one command with an example.\n"
        "example: safeframe check sc1-lx.toml lx-sc1.toml\n\n"
        f"{CAUTION}\n"
    )


def _unknown(name: str) -> str:
    from .._words import guess  # deferred: only a wrong command needs it.

    near = guess(name, COMMANDS)
    hint = f" (did you mean {near}?)" if near else ""
    return f"the command must be one of {', '.join(COMMANDS)}, not {name!r}{hint}"


def _complain(*lines: str) -> int:
    for line in lines:
        telling.say(line)
    return USAGE


def _apologise(error: Exception) -> int:
    if os.environ.get("SAFEFRAME_TRACEBACK"):
        import traceback

        sys.stderr.write("".join(traceback.format_exception(error)))
    _complain(
        f"internal error: {type(error).__name__}: {error}",
        "this is a fault of safeframe, not of your input, and nothing was decided about it",
        "please report it with the command, its input and what SAFEFRAME_TRACEBACK=1 prints",
    )
    return INTERNAL
