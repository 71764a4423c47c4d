"""Which protocol lives where: each name has a room, and a room is opened only when asked.

A room is a package with ``facts.toml`` and one module for each aspect it has. To read the facts
nothing of the room is imported; an aspect that no module of the room offers is None or empty.
"""

from __future__ import annotations

import os
from functools import cached_property
from types import MappingProxyType

from .._errors import UsageError
from .._words import guess
from ._facts_file import loads

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from .._engine.recipe import Recipe
    from .._engine.stream import Session
    from .._model import Connection
    from ._facts import Profile
    from .aspects import (
        Agreement,
        Consistency,
        Derivation,
        FaultTraits,
        FrameScope,
        Packet,
        Recompute,
        StartUp,
    )
    from .link import LinkTraits
    from .recording import RecordingTraits
    from .times import ReactionTimes

_PACKAGES = {
    "plain": f"{__package__}.plain",
    "fscp-12-1": f"{__package__}.fscp_12_1",
    "fscp-13-1": f"{__package__}.fscp_13_1",
    "fscp-2-1": f"{__package__}.fscp_2_1",
    "fscp-3-1": f"{__package__}.fscp_3_1",
    "en50325-5": f"{__package__}.en50325_5",
    "opcua-safety": f"{__package__}.opcua_safety",
}
"""The package of each protocol's room."""
_OWN = frozenset(_PACKAGES)
_ROOMS: dict[str, Room] = {}


_ASPECTS: dict[str, tuple[str, str, object]] = {
    "recipe": ("_frame", "RECIPE", None),
    "session": ("_session", "SESSION", None),
    "start_up": ("_start", "START_UP", None),
    "link": ("_link", "LINK", None),
    "packet": ("_packet", "PACKET", None),
    "faults": ("_faults", "FAULTS", None),
    "recording": ("_recording", "RECORDING", None),
    "scopes": ("_residual", "SCOPES", ()),
    "consistency": ("_consistency", "CONSISTENCY", None),
    "agreement": ("_agreement", "AGREEMENT", None),
    "times": ("_times", "TIMES", None),
    "derivations": ("_derived", "DERIVATIONS", ()),
    "recomputed": ("_recomputed", "RECOMPUTED", MappingProxyType({})),
}
"""Each aspect with its module in a room, its name there, and what a room without it offers."""


class Room:
    """The room of one protocol: its facts, and the other aspects, each read when first used."""

    name: str
    package: str
    recipe: Recipe | None
    """How its frames are built, cut and judged."""
    session: type[Session] | None
    """The class that follows both sides of a stream."""
    start_up: StartUp | None
    """What both ends send before data."""
    link: LinkTraits | None
    """What two maps say about its frames."""
    packet: Packet | None
    """How a frame travels in a packet."""
    faults: FaultTraits | None
    """What catches each communication error."""
    recording: RecordingTraits | None
    """How a recording shows its frames."""
    scopes: tuple[FrameScope, ...]
    """Which errors residual figures can be had for; the first is asked for by default."""
    consistency: Consistency | None
    """What contradicts itself in the statements of one end."""
    agreement: Agreement | None
    """What must fit between both ends without being equal."""
    times: Callable[[Connection], ReactionTimes] | None
    """What both maps say about times, where the protocol has words of its own for them."""
    derivations: tuple[Derivation, ...]
    """Numbers both ends must hold, from what they stand for."""
    recomputed: Mapping[str, Recompute]
    """What published numbers besides frames are recomputed by, by the subject of their vectors."""

    def __init__(self, name: str, package: str) -> None:
        self.name = name
        self.package = package

    def __repr__(self) -> str:
        return f"Room({self.name!r}, {self.package!r})"

    @cached_property
    def facts(self) -> Profile:
        """What the protocol says about maps and frames; raises InputError for a wrong file."""
        # Not pathlib, whose import costs every command 4 ms.
        if self.name in _OWN:
            own = self.package.rpartition(".")[2]
            folder = os.path.join(os.path.dirname(__file__), own)  # noqa: PTH118, PTH120
        else:
            from importlib import import_module  # deferred: only a foreign room needs it.

            folder = next(iter(import_module(self.package).__path__))
        path = os.path.join(folder, "facts.toml")  # noqa: PTH118
        try:
            with open(path, encoding="utf-8") as file:
                text = file.read()
        except NotADirectoryError:
            from importlib.resources import files  # deferred: only inside an archive.

            text = files(self.package).joinpath("facts.toml").read_text(encoding="utf-8")
        found = loads(text, path=f"{self.name}/facts.toml")
        if found.name != self.name:
            raise UsageError(f"the facts of {self.name} must carry its name, not {found.name!r}")
        return found

    def __getattr__(self, aspect: str) -> Any:
        """Import the module of an aspect when it is first used, and keep what it offers."""
        if aspect not in _ASPECTS:
            raise AttributeError(f"a room has no {aspect}")
        from importlib import import_module  # deferred: facts alone need no module of a room.

        module, name, nothing = _ASPECTS[aspect]
        full = f"{self.package}.{module}"
        try:
            found = getattr(import_module(full), name)
        except ModuleNotFoundError as error:
            if error.name != full:
                raise
            found = nothing
        setattr(self, aspect, found)
        return found


def names() -> tuple[str, ...]:
    """Return the names of all protocols, those of the package first."""
    return tuple(_PACKAGES)


def room(name: str) -> Room:
    """Return the room of a protocol; raises UsageError for an unknown name."""
    found = _ROOMS.get(name)
    if found is None:
        if name not in _PACKAGES:
            near = guess(name, _PACKAGES)
            hint = f"; did you mean {near}?" if near else ""
            raise UsageError(f"a profile must be one of {', '.join(_PACKAGES)}, not {name!r}{hint}")
        found = _ROOMS[name] = Room(name, _PACKAGES[name])
    return found


def load(name: str) -> Profile:
    """Return the facts of a protocol by name; raises UsageError for an unknown name."""
    return room(name).facts


def register(name: str, package: str) -> Room:
    """Add a protocol whose room is an importable package outside this one; return its room.

    The package holds ``facts.toml`` and a module for each aspect it offers, as the rooms in
    ``safeframe/protocols`` do. It is not imported before it is used. Raises UsageError for a name
    that is taken.
    """
    if name in _PACKAGES:
        raise UsageError(f"the name of a protocol must be new, not {name!r} ({_PACKAGES[name]})")
    _PACKAGES[name] = package
    return room(name)


def unregister(name: str) -> None:
    """Take a registered protocol away again; raises UsageError for one of the package itself."""
    if name in _OWN or name not in _PACKAGES:
        raise UsageError(f"a protocol to be taken away must be a registered one, not {name!r}")
    del _PACKAGES[name]
    _ROOMS.pop(name, None)
