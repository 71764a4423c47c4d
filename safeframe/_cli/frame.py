"""``safeframe frame``: build frames from names and values, explain received ones."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from decimal import Context, Decimal, Inexact, InvalidOperation
from typing import Any

from .. import _codec as codec
from .. import frame
from .._document.characters import escaped
from .._errors import UsageError
from .._link import link_of
from .._model import Connection, End, Map, Signal
from .._report import frames
from .._words import guess
from ..protocols import room
from . import derive, inputs, octets, options

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
_DIRECTIONS = {"build": "sends", "explain": "receives"}
"""Which map of an end an action takes where nothing else is said."""
_LEAST_DIGITS = 1100
"""Digits of an exact quotient at least: no double lies between two numbers that these tell apart,
and a value that fits no signal is still told with the range."""
_TRAPS = [InvalidOperation, Inexact]


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the actions and their arguments."""
    parser.epilog = _EPILOG
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    build = actions.add_parser("build", help="names and values in, octets out")
    _add_common(build, _DIRECTIONS["build"])
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
    _add_common(explain, _DIRECTIONS["explain"])
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
    parser.add_argument(
        "--map",
        metavar="FILE",
        action="append",
        default=[],
        help="a map file: names the signals; a second one is that of the other end",
    )
    parser.add_argument(
        "--direction",
        choices=("sends", "receives"),
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
    for option in ("explain", "brief"):
        # JSON has every part of a frame that is explained, and of one that is built none.
        if getattr(args, option, False) and args.format == "json":
            raise UsageError(f"--{option} must go without --format json")
    if args.action in _DIRECTIONS:
        if args.direction is not None and not args.map:
            raise UsageError("--direction must go with --map")
        args.direction = args.direction or _DIRECTIONS[args.action]
    return _ACTIONS[args.action](args)


def _values(args: argparse.Namespace) -> int:
    options.tell(args, frames.values(args.profile, frame.values(args.profile)))
    return 0


def _ends(args: argparse.Namespace) -> tuple[str, list[End]]:
    """Return the profile and the ends whose maps were named, the explaining one first."""
    if len(args.map) > 2:
        raise UsageError("--map must name one or two map files")
    ends = inputs.read_ends(args.map) if len(args.map) == 2 else []
    if ends and ends[0].name == ends[1].name:
        raise UsageError(f"two maps must be those of two ends, not twice that of {ends[0].name}")
    if len(args.map) == 1:
        ends = [inputs.read_end(args.map[0])]
    profile = args.profile or (ends[0].connection_table.profile if ends else None)
    if profile is None:
        raise UsageError("name the profile with --profile, or a map that does with --map")
    return profile, ends


def _settings(
    profile: str, ends: list[End], args: argparse.Namespace, sent: bytes = b""
) -> dict[str, Any]:
    """Return the values given with --set over what the maps say about the connection."""
    frame.recipe(profile)
    texts = octets.pairs("--set", args.set)
    if len(ends) == 2 and profile == ends[0].connection_table.profile:
        known = {rule.name for rule in frame.values(profile)}
        return _linked(ends, args, known, sent) | frame.from_text(profile, texts)
    traits = room(profile).link
    stated = traits.stated(ends[0]) if ends and traits is not None else {}
    return frame.from_text(profile, stated | texts)


def _linked(
    ends: list[End], args: argparse.Namespace, known: set[str], sent: bytes
) -> dict[str, Any]:
    """Return what a receiver of this connection knows about a frame of the sender."""
    words = dict(octets.pairs("--set", args.set))
    format_ = {"format": words["format"]} if "format" in words else {}
    link = link_of(Connection(first=ends[0], second=ends[1]), **format_)
    sender = 0 if args.direction == "sends" else 1
    found = link.session(fresh=False).known_of(link.senders[sender], sent)
    return {name: value for name, value in found.items() if name in known}


def _chosen(end: End, args: argparse.Namespace, *, peer: bool = False) -> Map:
    """Return the map of an end for the direction asked for; the peer has the opposite one."""
    return end.sends if (args.direction == "sends") != peer else end.receives


def _number(signal: Signal, text: str) -> int | float:
    """Return the number before scaling that a text stands for.

    That is a code name, a word, a value in the unit of the map, or with ``raw:`` the number itself.
    """
    for value, name in signal.codes:
        if name == text:
            return value
    if signal.type == "bool" and text in _WORDS:
        return _WORDS[text]
    raw = text.removeprefix("raw:")
    try:
        if signal.scale != "1" and raw == text:
            return _unscaled(signal, Decimal(text))
        return float(raw) if signal.type == "float" else int(raw, 0)
    except (ValueError, ArithmeticError):
        names = ", ".join(name for _, name in signal.codes)
        hint = f" or one of {names}" if names else ""
        kind = "a number" if signal.type == "float" else "an integer, raw before scaling"
        if signal.scale != "1":
            unit = f" in {signal.unit}" if signal.unit else ""
            kind = f"a value{unit}, or raw: and the number before scaling"
        raise UsageError(f"{signal.name} must be {kind}{hint}, not {text!r}") from None


def _unscaled(signal: Signal, value: Decimal) -> int | float:
    """Return the number before scaling of a value in the unit of the map; no integer is rounded.

    Raises ArithmeticError for what is no number of any map: infinite, or of very many digits.
    """
    scale = Decimal(signal.scale)
    given = [len(one.as_tuple().digits) for one in (value, scale)]
    # A quotient of more digits is an InvalidOperation; a remainder has no more than its operands.
    exact = Context(prec=sum(given) + max(signal.width, _LEAST_DIGITS), traps=_TRAPS)
    if signal.type == "float":
        return float(Context(prec=exact.prec).divide(value, scale))
    quotient, rest = exact.divmod(value, scale)
    whole = int(quotient)
    if rest:
        if exact.multiply(2, rest.copy_abs()) > scale.copy_abs():
            whole += 1 if (rest > 0) == (scale > 0) else -1
        near = f"{exact.multiply(whole, scale):f}"
        unit = f" {signal.unit}" if signal.unit else ""
        raise UsageError(
            f"{signal.name} must be a multiple of {signal.scale}{unit}, such as {near}, not {value}"
        )
    return whole


def _unknown(name: str, signals: Mapping[str, Signal], args: argparse.Namespace) -> UsageError:
    near = guess(name, signals)
    hint = f"; did you mean {near}?" if near else ""
    return UsageError(f"{args.map[0]} {args.direction} no signal {name!r}{hint}")


def _data(ends: list[End], args: argparse.Namespace) -> dict[str, bytes]:
    """Return the safety data by name, or nothing where neither map nor data are given."""
    if "data" in octets.pairs("--set", args.set) and (args.data is not None or ends):
        raise UsageError("give the data by signals or with --data, not with --set as well")
    if args.data is not None:
        if args.signals:
            raise UsageError("give signals or --data, not both")
        return {"data": octets.parse_hex(args.data)}
    if not ends:
        if args.signals:
            raise UsageError("signals need the map that names them: --map FILE")
        return {}
    chosen = _chosen(ends[0], args)
    signals = {signal.name: signal for signal in chosen.signals}
    numbers: dict[str, int | float] = {}
    for name, text in octets.pairs("SIGNAL", args.signals).items():
        if name not in signals:
            raise _unknown(name, signals, args)
        signal = signals[name]
        numbers[name] = _number(signal, text)
        if signal.scale != "1":
            raw = codec.to_raw(signal, numbers[name])
            carried = codec.value_of(signal, raw)
            said = f"{name}: {codec.meaning(signal, raw)}, raw value {carried}"
            sys.stderr.write(f"{escaped(said)}\n")
    return {"data": codec.encode(chosen, numbers)}


def _build(args: argparse.Namespace) -> int:
    profile, ends = _ends(args)
    given = _settings(profile, ends, args) | _data(ends, args)
    made = frame.build(profile, **given)
    if len(ends) == 2 and profile == ends[0].connection_table.profile:
        given = _as_this_frame_says(profile, ends, args, given, made)
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


def _as_this_frame_says(
    profile: str, ends: list[End], args: argparse.Namespace, given: dict[str, Any], made: bytes
) -> dict[str, Any]:
    """Return the values anew: what the maps give may stand elsewhere in this kind of frame.

    What is stated goes over what the maps say. Raises UsageError where the sender's value has
    another place in this kind of frame and something else is stated there.
    """
    known = {rule.name for rule in frame.values(profile)}
    assumed, right = _linked(ends, args, known, b""), _linked(ends, args, known, made)
    stated = dict(octets.pairs("--set", args.set))
    for name, value in right.items():
        if name in stated and name not in assumed and given[name] != value:
            raise UsageError(
                f"{name} must be {value} in this kind of frame, as the maps say of its sender, "
                f"not {given[name]}"
            )
    kept = {
        name: value
        for name, value in given.items()
        if name in stated or name in right or name not in assumed
    }
    return right | kept


def _with_defaults(profile: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the receiver of a frame built from these values knows."""
    hidden = {
        rule.name: rule.default
        for rule in frame.values(profile)
        if not rule.carried and rule.default is not None
    }
    return {name: value for name, value in (hidden | dict(given)).items() if name != "data"}


def _explain(args: argparse.Namespace) -> int:
    profile, ends = _ends(args)
    sent = octets.read_octets(args)
    known = _settings(profile, ends, args, sent)
    seen = frame.inspect(profile, sent, **known)
    data = seen.values.get("data")
    maps = [_chosen(end, args, peer=number == 1) for number, end in enumerate(ends)]
    read = [codec.decode(map_, data) for map_ in maps] if data is not None else []
    readings = dict(zip([end.name for end in ends], read, strict=False))
    wrong = _wrong_sizes(ends, maps, None if data is None else _carried(profile, sent, known))
    if args.format == "json":
        sys.stdout.write(frames.inspection_json(seen, readings, notes=wrong))
    else:
        told = frames.inspection(seen, readings=readings, covers=not args.brief, notes=wrong)
        options.tell(args, told)
    differs = len(read) == 2 and frames.differing(read[0], read[1])
    return 0 if seen.accepted and not wrong and not differs else 1


def _carried(profile: str, sent: bytes, known: Mapping[str, Any]) -> bytes:
    """Return all data of a frame: what a receiver knows may cut them to those it maps."""
    rules = frame.values(profile)
    needed = {rule.under for rule in rules} | {rule.name for rule in rules if rule.words}
    shape = {name: value for name, value in known.items() if name in needed}
    found: bytes = frame.inspect(profile, sent, **shape).values["data"]
    return found


def _wrong_sizes(ends: list[End], maps: list[Map], data: bytes | None) -> list[str]:
    """Return what is to be said where the data have not the size of a map."""
    if data is None:
        return []
    found = []
    for end, map_ in zip(ends, maps, strict=True):
        size = map_.size_octets
        if size > len(data):
            text = f"signals behind octet {len(data) - 1} are not there"
        else:
            text = f"nobody reads the octets from {size} on"
        if size != len(data):
            found.append(
                f"the frame has {len(data)} data octets, the map of {end.name} {size}: {text}"
            )
    return found


_ACTIONS = {"build": _build, "explain": _explain, "values": _values, "derive": derive.run}
