"""Both ends of a connection as senders of frames, by the names of their protocol.

The map files give everything a session of the protocol needs; what they leave out can be passed
by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from . import frame
from ._errors import UsageError
from ._model import Connection, End
from ._words import guess
from .protocols import room
from .protocols.link import DEFAULT_TICK_US, Link

__all__ = [
    "DEFAULT_TICK_US",
    "Link",
    "Places",
    "link_of",
    "link_stated",
    "places_stated",
    "refuse_strangers",
]


def link_of(connection: Connection, **settings: Any) -> Link:
    """Return the link of a connection; ``settings`` add to those its maps give.

    Raises UsageError where the protocol has no frames, or where the maps lack what frames need.
    """
    profile = connection.first.connection_table.profile
    other = connection.second.connection_table.profile
    if other != profile:
        raise UsageError(f"both ends must have one profile, not {profile} and {other}")
    refuse_strangers(connection)
    recipe = frame.recipe(profile)
    traits, make_session = room(profile).link, room(profile).session
    if traits is None or make_session is None:
        raise UsageError(f"the profile {profile} has no streams of frames")
    for end in connection.ends:
        _refuse_types(end, profile)
    senders = traits.senders(connection)
    sizes = []
    for word, end in zip(senders, connection.ends, strict=True):
        size, octets = end.sends.size_octets, 0 if word in traits.mute else traits.silent.get(word)
        if octets is None:
            try:
                kind = traits.kind(size, settings)
                octets = frame.layout(recipe.name, size, kind).size_octets
            except UsageError as error:
                raise UsageError(f"{end.name} sends {size} octets, but {error}") from None
        sizes.append(octets)
    # Where no word says who begins, the words do: the order of the ends must not.
    first = senders.index(traits.first or min(senders, key=_by_number))
    without = traits.mute.union(traits.silent)
    made = Link(
        connection=connection,
        profile=profile,
        settings=traits.settings(connection, settings) | settings,
        senders=senders,
        order=tuple(at for at in (first, 1 - first) if senders[at] not in traits.mute),
        sizes=(sizes[0], sizes[1]),
        carries=(senders[0] not in without, senders[1] not in without),
    )
    made.session()
    return made


def refuse_strangers(connection: Connection) -> None:
    """Raise UsageError where the maps are of one end, or of ends that name other peers.

    Whatever is made or read by both, or worked out of them, no connection has it.
    """
    first, second = connection.ends
    if first.name == second.name:
        raise UsageError(
            f"the maps must be of two ends, not both of {first.name} ({first.where} and "
            f"{second.where})"
        )
    for end, other in ((first, second), (second, first)):
        if end.peer not in ("", other.name):
            raise UsageError(
                f"the peer of {end.name} ({end.where}) must be {other.name}, not {end.peer}"
            )


def _by_number(word: str) -> tuple[int, str]:
    """Return by what words are sorted that may be addresses: a shorter one is a lower number."""
    return len(word), word


_KINDS: dict[str, tuple[type, str]] = {"int": (int, "an integer"), "bool": (bool, "true or false")}
"""What a parameter of these types is; those of all others are texts."""


def _refuse_types(end: End, profile: str) -> None:
    """Raise UsageError for a parameter that is of another type than its protocol says.

    A map can hold it, and ``check`` finds it; no frame can be made from it.
    """
    rules = {rule.name: rule for rule in room(profile).facts.parameters}
    for name, value in end.parameters:
        rule = rules.get(name)
        if rule is None:
            continue
        kind, word = _KINDS.get(rule.type, (str, "a text"))
        if type(value) is kind and (rule.type != "hex" or _is_hex(value)):
            continue
        if rule.type == "hex":
            word = "hexadecimal octets"
        raise UsageError(
            f"{end.name} ({end.where}) must state the parameter {name} as {word}, not {value!r}"
        )


def _is_hex(text: Any) -> bool:
    try:
        bytes.fromhex(text)
    except ValueError:
        return False
    return True


def link_stated(connection: Connection, values: Iterable[str]) -> Link:
    """Return the link of a connection; ``values`` are settings as people write them, NAME=VALUE.

    Raises UsageError as ``link_of`` does, and for what has another form.
    """
    return link_of(connection, **{name: _value(text) for name, text in _named(values, "--value")})


class Places(NamedTuple):
    """Where frames begin in the payload and which station sends them, by side."""

    at: dict[int, int]
    sources: dict[int, str]


def places_stated(link: Link, at: Iterable[str], sources: Iterable[str]) -> Places:
    """Return where frames are, from END=OFFSET and END=ADDRESS as people write them.

    Raises UsageError for what has another form or names no end.
    """
    return Places(
        {side: _offset(text) for side, text in _by_side(at, "--at", link)},
        {side: _address(text) for side, text in _by_side(sources, "--from", link)},
    )


def _named(texts: Iterable[str], option: str) -> Iterator[tuple[str, str]]:
    """Yield the two sides of each ``NAME=VALUE``; raises UsageError for anything else."""
    for text in texts:
        name, equals, value = text.partition("=")
        if not name or not equals:
            raise UsageError(f"{option} must be NAME=VALUE, not {text!r}")
        yield name, value


def _by_side(texts: Iterable[str], option: str, link: Link) -> Iterator[tuple[int, str]]:
    seen: set[str] = set()
    for name, value in _named(texts, option):
        if name in seen:
            raise UsageError(f"{option} must name {name} once only")
        seen.add(name)
        if name not in link.names:
            near = guess(name, link.names)
            hint = f"; did you mean {near}?" if near else ""
            raise UsageError(f"{option} must name {' or '.join(link.names)}, not {name!r}{hint}")
        yield link.names.index(name), value


def _value(text: str) -> Any:
    """Return a number where the text is one, otherwise the text."""
    try:
        return int(text, 0)
    except ValueError:
        return text


def _address(text: str) -> str:
    """Return the address of a station as recordings spell it: 02:00:00:00:00:01."""
    digits = text.lower().replace("-", "").replace(".", "")
    octets = [digits[at : at + 2] for at in range(0, 12, 2)]
    spelled = {"-".join(octets), ".".join(digits[at : at + 4] for at in (0, 4, 8))}
    return ":".join(octets) if text.lower() in spelled else text.lower()


def _offset(text: str) -> int:
    offset = _value(text)
    if not isinstance(offset, int) or offset < 0:
        raise UsageError(f"--at must give an offset in octets, not {text!r}")
    return offset
