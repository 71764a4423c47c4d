"""``safeframe frame``: build frames from names and values, explain received ones."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from typing import Any

from .. import _codec as codec
from .. import frame
from .._errors import UsageError
from .._model import End, Map, Signal
from .._report import frames
from ..protocols import room
from . import derive, inputs, octets, options

__all__ = ["configure", "run"]

_EPILOG = """\
examples:
  safeframe frame values fscp-12-1
  safeframe frame build --profile fscp-12-1 --data 0100 --set connection_id=7 --set sequence=4
  safeframe frame build --map sc1-lx.toml permit_torque=1 speed_level=creep --set sequence=4
  safeframe frame explain --profile fscp-12-1 --set connection_id=7 36010089a50700
  safeframe frame explain --map lx-sc1.toml - < octets.txt
  safeframe frame derive structure-signature identifier=LiftAxis members="Int16, Boolean"

exit codes of explain: 0 accepted, 1 rejected or it cannot be judged; 2 wrong use
Generated frames are for benches and simulators only, never for a running machine.
"""
_WORDS = {"true": 1, "false": 0}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the actions and their arguments."""
    parser.epilog = _EPILOG
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    build = actions.add_parser("build", help="names and values in, octets out")
    _add_common(build, "sends")
    options.add_format(build, pages=False)
    build.add_argument(
        "signals",
        metavar="SIGNAL=VALUE",
        nargs="*",
        help="with --map; others keep their safe value",
    )
    build.add_argument("--data", metavar="HEX", help="the safety data as octets, without a map")
    build.add_argument("--explain", action="store_true", help="explain the frame as well")
    explain = actions.add_parser("explain", help="octets in, every part named with verdicts")
    _add_common(explain, "receives")
    options.add_format(explain)
    octets.add_octets(explain)
    explain.add_argument("--brief", action="store_true", help="leave out what each CRC covers")
    options.add_color(explain)
    values = actions.add_parser("values", help="what frames of a profile are built from")
    values.add_argument("profile", metavar="PROFILE")
    derive.configure(
        actions.add_parser("derive", help="numbers that both ends must hold in common")
    )


def _add_common(parser: argparse.ArgumentParser, direction: str) -> None:
    parser.add_argument("--profile", metavar="NAME", help="the safety profile; default: the map's")
    parser.add_argument("--map", metavar="FILE", help="a map file: names the signals")
    parser.add_argument(
        "--direction",
        choices=("sends", "receives"),
        default=direction,
        help=f"which map of the end; default {direction}",
    )
    parser.add_argument(
        "--set",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="a value of the frame, or one that both sides know (see: frame values)",
    )


def run(args: argparse.Namespace) -> int:
    """Build, explain, list or derive."""
    return _ACTIONS[args.action](args)


def _values(args: argparse.Namespace) -> int:
    options.tell(args, frames.values(args.profile, frame.values(args.profile)))
    return 0


def _end(args: argparse.Namespace) -> tuple[str, End | None]:
    """Return the profile and the end whose map was named."""
    end = None if args.map is None else inputs.read_end(args.map)
    profile = args.profile or (end.connection_table.profile if end else None)
    if profile is None:
        raise UsageError("name the profile with --profile, or a map that does with --map")
    return profile, end


def _settings(profile: str, end: End | None, args: argparse.Namespace) -> dict[str, Any]:
    """Return the values given with --set over what the map says about the connection."""
    frame.recipe(profile)
    traits = room(profile).link
    stated = {} if end is None or traits is None else traits.stated(end)
    return frame.from_text(profile, stated | octets.pairs("--set", args.set))


def _chosen(end: End, args: argparse.Namespace) -> Map:
    return end.sends if args.direction == "sends" else end.receives


def _number(signal: Signal, text: str) -> int | float:
    """Return the number before scaling that a text stands for: a number, a word, a code name."""
    for value, name in signal.codes:
        if name == text:
            return value
    if signal.type == "bool" and text in _WORDS:
        return _WORDS[text]
    try:
        return float(text) if signal.type == "float" else int(text, 0)
    except ValueError:
        names = ", ".join(name for _, name in signal.codes)
        hint = f" or one of {names}" if names else ""
        kind = "a number" if signal.type == "float" else "an integer, raw before scaling"
        raise UsageError(f"{signal.name} must be {kind}{hint}, not {text!r}") from None


def _data(end: End | None, args: argparse.Namespace) -> dict[str, bytes]:
    """Return the safety data by name, or nothing where neither map nor data are given."""
    if args.data is not None:
        if args.signals:
            raise UsageError("give signals or --data, not both")
        return {"data": octets.parse_hex(args.data)}
    if end is None:
        if args.signals:
            raise UsageError("signals need the map that names them: --map FILE")
        return {}
    chosen = _chosen(end, args)
    signals = {signal.name: signal for signal in chosen.signals}
    numbers: dict[str, int | float] = {}
    for name, text in octets.pairs("SIGNAL", args.signals).items():
        if name not in signals:
            raise UsageError(f"{args.map} {args.direction} no signal {name!r}")
        numbers[name] = _number(signals[name], text)
    return {"data": codec.encode(chosen, numbers)}


def _build(args: argparse.Namespace) -> int:
    profile, end = _end(args)
    given = _settings(profile, end, args) | _data(end, args)
    made = frame.build(profile, **given)
    if args.format == "json":
        sys.stdout.write(frames.built_json(profile, made, given))
        return 0
    sys.stdout.write(f"{made.hex(' ')}\n")
    if args.explain:
        known = _with_defaults(profile, given)
        sys.stdout.write("\n")
        options.tell(args, frames.inspection(frame.inspect(profile, made, **known)))
    return 0


def _with_defaults(profile: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the receiver of a frame built from these values knows."""
    hidden = {
        rule.name: rule.default
        for rule in frame.values(profile)
        if not rule.carried and rule.default is not None
    }
    return {name: value for name, value in (hidden | dict(given)).items() if name != "data"}


def _explain(args: argparse.Namespace) -> int:
    profile, end = _end(args)
    known = _settings(profile, end, args)
    seen = frame.inspect(profile, octets.read_octets(args), **known)
    readings = None
    if end is not None and "data" in seen.values:
        readings = codec.decode(_chosen(end, args), seen.values["data"])
    if args.format == "json":
        sys.stdout.write(frames.inspection_json(seen, readings))
    else:
        options.tell(args, frames.inspection(seen, readings=readings, covers=not args.brief))
    return 0 if seen.accepted else 1


_ACTIONS = {"build": _build, "explain": _explain, "values": _values, "derive": derive.run}
