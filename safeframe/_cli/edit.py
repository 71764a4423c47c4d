"""``safeframe edit``: the same edit at both ends of a connection."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from .. import _checks as checks
from .._bits import Place
from .._document.pending import refuse_pending
from .._document.recover import How, Recovery, recover
from .._errors import UsageError, each
from .._findings import at_or_above
from .._mapfile import read_text
from .._model import EDGES, ORDERS, TYPES
from ..edit import (
    Bind,
    Declare,
    Edit,
    Insert,
    MapText,
    Move,
    Operation,
    Remove,
    Rename,
    Resize,
    edit,
    save,
)
from . import idle, options, values

_EPILOG = """\
The new bits come out of the reserve at both ends; every other byte of both files
stays. Without --write nothing is written: both patches, the class of the change and
what mixed versions read are shown. safeframe edit OPERATION --help explains one.

examples:
  safeframe edit insert sc1-lx.toml lx-sc1.toml --name brake2_release \\
      --after speed_level --bind SC1=Lift.Brake2Release --bind LX=Drive.Brake2Release
  safeframe edit rename sc1-lx.toml lx-sc1.toml --name fault_ack --to fault_reset
  safeframe edit recover sc1-lx.toml lx-sc1.toml

exit codes: 0 the edit can be written, or was; 1 it causes findings, so nothing was
written (recover: both files are of two versions, and you have to say what to do);
2 it is not possible (the numbers say why); 3 internal error, or the disk failed
"""

_OPERATIONS = {
    "insert": "add a signal out of the reserve",
    "remove": "remove a signal; its bits join the reserve",
    "rename": "rename a signal and all that refers to it",
    "resize": "make a signal wider or narrower at its place",
    "move": "move a signal to reserved bits",
    "bind": "bind a signal to program variables",
    "declare": "declare undeclared bits as reserved",
    "recover": "show an edit that was broken off while it was written; finish or undo it",
}

_FIELDS: dict[str, dict[str, Any]] = {
    "type": {"choices": TYPES, "help": "bool at 1 bit, otherwise uint, if not stated"},
    "order": {"choices": ORDERS, "help": "octet order of a value of several octets"},
    "safe": {"metavar": "NUMBER", "help": "raw value on loss of communication (default: 0)"},
    "one-means": {"metavar": "TEXT", "help": "what a 1 stands for"},
    "edge": {"choices": EDGES[1:], "help": "acting edge of an acknowledge bit"},
    "unit": {"metavar": "TEXT", "help": "unit of the scaled value"},
    "scale": {"metavar": "FACTOR", "help": "factor from the raw value to the unit"},
    "valid-by": {"metavar": "SIGNAL", "help": "signal that says whether the value holds"},
    "note": {"metavar": "TEXT", "help": "a remark"},
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the operations and their arguments."""
    parser.epilog = _EPILOG
    operations = parser.add_subparsers(dest="operation", metavar="OPERATION", required=True)
    for name, text in _OPERATIONS.items():
        about = f"{text[0].upper()}{text[1:]}."
        one = operations.add_parser(name, help=text, description=about)
        one.add_argument("maps", metavar="MAP", nargs=2, help="the map files of both ends")
        if name == "recover":
            way = one.add_mutually_exclusive_group()
            for word, what in (("finish", "the edit"), ("undo", "what was there before")):
                way.add_argument(
                    f"--{word}",
                    dest="how",
                    action="store_const",
                    const=word,
                    default="",
                    help=f"put {what} into both files",
                )
        else:
            _own_arguments(one, name)
            _common_arguments(one)


def _own_arguments(parser: argparse.ArgumentParser, name: str) -> None:
    if name != "declare":
        parser.add_argument("--name", required=True, metavar="SIGNAL", help="the signal")
    else:
        parser.add_argument("--at", required=True, metavar="PLACE", help="first bit, as octet.bit")
    if name in ("insert", "move"):
        place = parser.add_mutually_exclusive_group(required=True)
        place.add_argument("--at", metavar="PLACE", help="first bit, as octet.bit")
        place.add_argument("--after", default="", metavar="SIGNAL", help="next to this one")
        place.add_argument("--before", default="", metavar="SIGNAL", help="next to this one")
    if name in ("insert", "resize", "declare"):
        parser.add_argument(
            "--width",
            type=values.integer,
            default=1,
            required=name != "insert",
            metavar="BITS",
            help="number of bits",
        )
    if name == "rename":
        parser.add_argument("--to", required=True, metavar="SIGNAL", help="the new name")
    if name in ("insert", "bind"):
        parser.add_argument(
            "--bind",
            action="append",
            default=[],
            required=name == "bind",
            metavar="END=VARIABLE",
            help="program variable at an end; may be repeated",
        )
    if name == "resize":
        parser.add_argument("--type", choices=TYPES, default="", help="the new type")
    if name == "insert":
        for field, settings in _FIELDS.items():
            parser.add_argument(f"--{field}", **settings)
        parser.add_argument(
            "--code",
            action="append",
            default=[],
            metavar="NUMBER=NAME",
            help="name of a value of type code; may be repeated",
        )


def _common_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--from",
        dest="sender",
        default="",
        metavar="END",
        help="the end that sends it, where the signals named do not tell",
    )
    parser.add_argument(
        "--write", action="store_true", help="write both files, or none if anything fails"
    )
    parser.add_argument(
        "--despite",
        metavar="RULE",
        action="append",
        default=[],
        help="write although the edit causes findings of this rule; may be repeated",
    )
    options.add_profiles(parser)
    parser.add_argument(
        "--all", action="store_true", help="list the signals that arrive unchanged too"
    )
    parser.add_argument(
        "--format", choices=("text", "patch"), default="text", help="everything, or the patch"
    )
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Show the edit, write it if asked to; return 1 when findings keep it from being written."""
    if args.operation == "recover":
        return _recover(args.maps, args.how)
    if args.format == "patch":
        idle.refuse(args, ("all",), "--format patch")
    for name in args.despite:
        checks.find_rule(name)
    operation = _BUILD[args.operation](args)
    refuse_pending(args.maps)
    first, second = each(lambda path: MapText(path=path, text=read_text(path)), args.maps)
    done = edit(first, second, operation, own_profiles=options.own_profiles(args))
    if args.format == "patch":
        sys.stdout.write(done.patch)
    else:
        from .._report import edits  # deferred: a patch alone needs none of it.

        options.tell(args, edits.document(done, all_rows=args.all))
    return _finish(args, done)


_BECAME = {
    "not begun": "the edit had not begun: both files are as they were",
    "finished": "finished: both files hold the edit",
    "undone": "undone: both files are as they were before the edit",
}


def _recover(paths: Sequence[str], how: How) -> int:
    """End a broken-off edit, or show it where somebody has to decide; then return 1."""
    try:
        done = recover(paths, how=how)
        sys.stdout.write(f"{_BECAME[done.verdict]}\n" if done.verdict in _BECAME else _shown(done))
    except KeyboardInterrupt:
        again = f"safeframe edit recover {shlex.join(paths)}"
        raise KeyboardInterrupt(f"{again} says what is left to do") from None
    return int(done.verdict not in _BECAME)


def _shown(done: Recovery) -> str:
    """Return the state of both files, and what either way would change."""
    import difflib  # deferred: hardly any edit is broken off.

    from .._report.text import clean

    ages = {"old": "before", "new": "after"}
    lines = ["The edit was broken off between the two files; nothing is decided.", ""]
    lines += (f"{side.path}: as {ages[side.state]} the edit" for side in done.sides)
    for how in ("finish", "undo"):
        lines += ["", f"--{how} would change"]
        for side in done.sides:
            text = side.new if how == "finish" else side.old
            if text is None:
                lines.append(f"  nothing in {side.path}: what the edit left there was altered")
                continue
            lines += difflib.unified_diff(
                side.holds.splitlines(), text.splitlines(), side.path, side.path, lineterm=""
            )
    names = shlex.join(side.path for side in done.sides)
    lines += ["", f"safeframe edit recover {names} --finish (or --undo) does it"]
    return "\n".join(map(clean, lines)) + "\n"


def _finish(args: argparse.Namespace, done: Edit) -> int:
    """Write the edit if asked to; say what became of it."""
    from .._report.text import clean  # Before it is written: nothing takes time until it is said.

    stopping = {
        finding.rule
        for finding in done.caused
        if at_or_above(finding.severity, "warning") and finding.rule not in args.despite
    }
    if stopping:
        said = f"nothing written, the edit causes {', '.join(sorted(stopping))}"
    elif not done.changed:
        said = "nothing written, there is nothing to change"
    elif args.write:
        said = f"written: {' and '.join(args.maps)}"
    else:
        said = "nothing written, this was a dry run; --write writes both files"
    # Not among the output where that is a patch for another program.
    stream = sys.stderr if args.format == "patch" else sys.stdout
    try:
        if args.write and done.changed and not stopping:
            save(done)
        stream.write(f"{clean(said)}\n")
    except KeyboardInterrupt as stop:
        if stop.args or any(read_text(one.path) != one.text for one in done.new):
            raise
        raise KeyboardInterrupt(said) from None  # The disk says so: it is done.
    return int(bool(stopping))


def _placed(args: argparse.Namespace) -> dict[str, Any]:
    at = None if args.at is None else Place.parse(args.at)
    return {"at": at, "after": args.after, "before": args.before}


def _pairs(texts: Iterable[str], what: str) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for text in texts:
        key, equals, value = text.partition("=")
        if not key or not equals or not value:
            raise UsageError(f"{what}, not {text!r}")
        if key in pairs:
            raise UsageError(f"{what} once for each, not again for {key}")
        pairs[key] = value
    return pairs


def _binds(args: argparse.Namespace) -> dict[str, str]:
    return _pairs(args.bind, "a binding must be stated as END=VARIABLE")


def _integer(text: str, what: str) -> int:
    try:
        return int(text, 0)
    except ValueError:
        raise UsageError(f"{what} must be an integer, not {text!r}") from None


def _safe(text: str, kind: str | None) -> int | float:
    if kind != "float":
        return _integer(text, "safe")
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"safe must be a number, not {text!r}") from None


def _insert(args: argparse.Namespace) -> Operation:
    names = [field.replace("-", "_") for field in _FIELDS]
    fields = {name: value for name in names if (value := getattr(args, name)) is not None}
    if args.code:
        points = _pairs(args.code, "a code point must be stated as NUMBER=NAME")
        fields["codes"] = tuple(
            sorted((_integer(number, "a code"), name) for number, name in points.items())
        )
        fields.setdefault("type", "code")
    if "safe" in fields:
        fields["safe"] = _safe(fields["safe"], args.type)
    return Insert(
        name=args.name,
        width=args.width,
        sender=args.sender,
        fields=fields,
        binds=_binds(args),
        **_placed(args),
    )


_BUILD: dict[str, Callable[[argparse.Namespace], Operation]] = {
    "insert": _insert,
    "remove": lambda args: Remove(name=args.name, sender=args.sender),
    "rename": lambda args: Rename(name=args.name, to=args.to, sender=args.sender),
    "resize": lambda args: Resize(
        name=args.name, width=args.width, type=args.type, sender=args.sender
    ),
    "move": lambda args: Move(name=args.name, sender=args.sender, **_placed(args)),
    "bind": lambda args: Bind(name=args.name, binds=_binds(args), sender=args.sender),
    "declare": lambda args: Declare(at=Place.parse(args.at), width=args.width, sender=args.sender),
}


def command(paths: Sequence[str], operation: Operation) -> str:
    """Return the command line of an operation; of the fields of a signal only its bindings."""
    words = ["safeframe", "edit", type(operation).__name__.lower(), *paths]
    for field in ("name", "to", "width", "type", "at", "after", "before"):
        value = getattr(operation, field, "")
        if value not in ("", None):
            words += [f"--{field}", str(value)]
    if operation.sender:
        words += ["--from", operation.sender]
    for end, variable in getattr(operation, "binds", {}).items():
        words += ["--bind", f"{end}={variable}"]
    return shlex.join(words)
