"""From selections to an end: viewpoint, profile, safe values, provenance, what is lost."""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from .. import _mapfile as mapfile
from .. import protocols
from .._errors import InputError, UsageError
from .._model import ConnectionTable, End, Map, Provenance, Signal
from .._source import Location
from ._candidates import Candidate, select
from ._decisions import CHOICES, Decisions, Identity
from ._formats import Format
from ._placing import PlacedTypes, placed, sum_text
from ._refusals import Refusals
from ._source import DeviceFile

_ENTRY = re.compile(r"(sends|receives)\[([0-9]+)\]")
_OTHER_SIDE = {"sends": "receives", "receives": "sends"}
_NEVER_HELD = ("edge", "valid_by", "mirrors")
NEVER_HELD = ("connection id, watchdog, addresses and identities",)
"""What none of the formats holds, besides what is counted per signal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Selected:
    """One selection as it went into the map: direction, layout, and the sum of its bits."""

    direction: str
    layout: PlacedTypes
    sum: str

    @property
    def path(self) -> str:
        """The path of the selection."""
        return self.layout.path


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """An end made of a device file: the map, what was taken, what the file cannot say.

    ``end.imported`` is the provenance; every entry is located in the device file. ``lost`` are
    texts with numbers, ``notes`` what a reader should look at, ``held`` the keys of signals that
    the file can say besides place, width, type, order and name.
    """

    end: End
    selected: tuple[Selected, ...]
    lost: tuple[str, ...]
    notes: tuple[str, ...] = ()
    held: tuple[str, ...] = ()

    @property
    def directions(self) -> tuple[str, ...]:
        """The directions that were selected, sends or receives."""
        return tuple(one.direction for one in self.selected)


def candidates_of(
    format: Format,  # noqa: A002
    source: DeviceFile,
    decisions: Decisions,
) -> list[Candidate]:
    """Return what can be selected; InputError for a file that is hostile or broken."""
    with _no_collection():
        return _found(format, source, decisions, Refusals(source.path))


@contextmanager
def _no_collection() -> Iterator[None]:
    """Keep the garbage collector from looking at the growing tree again and again.

    It costs as much as the parser, and a tree of this kind has no cycles.
    """
    switch = gc.enable if gc.isenabled() else gc.disable
    gc.disable()
    try:
        yield
    finally:
        switch()


def _found(
    format: Format,  # noqa: A002
    source: DeviceFile,
    decisions: Decisions,
    refusals: Refusals,
) -> list[Candidate]:
    _refuse_words(decisions)
    found = format.reader()(source, decisions, refusals)
    refusals.refuse()
    return found


def imported(
    format: Format,  # noqa: A002
    source: DeviceFile,
    wanted: Sequence[str],
    identity: Identity,
    decisions: Decisions,
) -> Imported:
    """Return the end that the selections make; raises InputError where they do not."""
    # One list for both: readers keep what they will say of a text that a selection misses.
    refusals = Refusals(source.path)
    rows = []
    with _no_collection():
        found = _found(format, source, decisions, refusals)
        for candidate in select(found, wanted, refusals):
            _refuse_viewpoint(candidate, decisions)
            for side, layout in candidate.place(decisions, refusals):
                map_ = placed(layout, decisions, refusals)
                rows.append((_direction(side, decisions), layout, map_))
        del found
    refusals.refuse()
    selects = tuple(dict.fromkeys(layout.path for _, layout, _ in rows))
    held = ("codes",) if decisions.codes else ()
    return make_end(format.name, source, rows, selects, identity, decisions, held)


def make_end(
    name: str,
    source: DeviceFile,
    rows: Sequence[tuple[str, PlacedTypes, Map]],
    selects: tuple[str, ...],
    identity: Identity,
    decisions: Decisions,
    held: tuple[str, ...] = (),
) -> Imported:
    """Return the end of the placed selections, with provenance, after all its bits were proved."""
    refusals = Refusals(source.path)
    directions = [direction for direction, _, _ in rows]
    for direction in _OTHER_SIDE:
        if directions.count(direction) > 1:
            lines = " and ".join(
                str(layout.line) for found, layout, _ in rows if found == direction
            )
            refusals.stop(
                "ambiguous-selection",
                next(layout.line for found, layout, _ in rows if found == direction),
                f"one selection must be what this end {direction}, not those of lines {lines}",
                "select one for each direction",
            )
    maps = {direction: map_ for direction, _, map_ in rows}
    profile = _profile(rows, identity)
    signals = [signal for map_ in maps.values() for signal in map_.signals]
    # What a file leaves out of one signal it does not say by what it states of another.
    data = [part for _, layout, _ in rows for part in layout.parts if part.name is not None]
    unsaid = sum("safe" not in dict(part.extra) for part in data)
    if unsaid and not decisions.safe and not _zero_on_loss(profile):
        refusals.stop(
            "safe-not-stated",
            0,
            f"the values on loss of communication must be confirmed: {profile} gives none, and "
            f"the map would state 0 for {_count(unsaid, 'signal')}",
            "--safe zero confirms 0 for each of them",
        )
    end = End(
        name=identity.end,
        peer=identity.peer,
        role=identity.role,
        parameters=_parameters(rows, profile, decisions),
        connection_table=ConnectionTable(name=identity.connection, profile=profile, id=identity.id),
        sends=maps.get("sends", Map()),
        receives=maps.get("receives", Map()),
        where=Location(path=source.path),
        imported=Provenance(
            format=name,
            file=source.name,
            sha256=source.sha256,
            select=selects,
            options=decisions.stated(),
            version=decisions.version,
        ),
    )
    _refuse_unwritable(end, refusals)
    selected = tuple(
        Selected(direction=direction, layout=layout, sum=sum_text(layout, map_.entries))
        for direction, layout, map_ in rows
    )
    told = (f"{one.path}: {note}" for one in selected for note in one.layout.notes)
    notes = tuple(dict.fromkeys(told))  # What holds of both directions is said once.
    owners = dict.fromkeys(one.path.rpartition("/")[0] for one in selected)
    if len(owners) > 1:
        notes += (f"the map is of one end, but the selections are of {' and '.join(owners)}",)
    return Imported(
        end=end,
        selected=selected,
        lost=tuple(_lost(signals, selected, profile, held, unsaid)),
        notes=notes,
        held=held,
    )


def _refuse_unwritable(end: End, refusals: Refusals) -> None:
    """Refuse what no map file can say, such as a value that its width does not hold."""
    try:
        again = mapfile.loads(mapfile.dumps(end))
    except InputError as error:
        for problem in error.problems:
            found = _ENTRY.match(problem.key)
            where = getattr(end, found[1]).entries[int(found[2])].where if found else end.where
            refusals.add("bad-value", where.line, problem.message, problem.remedy, where.key)
        refusals.refuse()
    assert again == end, f"{refusals.path}: the map reads back as another one"


def _refuse_words(decisions: Decisions) -> None:
    for name, words in CHOICES.items():
        value = getattr(decisions, name)
        if value and value not in words:
            raise UsageError(f"{name} must be one of {', '.join(words)}, not {value!r}")


def _refuse_viewpoint(candidate: Candidate, decisions: Decisions) -> None:
    """Raise where the viewpoint is not stated, or not in the way that the file asks for."""
    if not candidate.side:
        if decisions.viewpoint:
            raise UsageError("--direction must be stated instead of --as: the file tells none")
        if not decisions.direction:
            raise UsageError("--direction sends or receives must be stated: the file tells none")
    elif decisions.direction:
        raise UsageError("--as must be stated instead of --direction: the file tells directions")
    elif not decisions.viewpoint:
        raise UsageError("--as device or --as controller must be stated: the file has both sides")


def _direction(side: str, decisions: Decisions) -> str:
    """Return what the device's side is to the end whose map is made."""
    if not side:
        return decisions.direction
    return side if decisions.viewpoint == "device" else _OTHER_SIDE[side]


def _profile(rows: Sequence[tuple[str, PlacedTypes, Map]], identity: Identity) -> str:
    shown = {layout.profile for _, layout, _ in rows} - {""}
    usual = {layout.usual_profile for _, layout, _ in rows} - {""}
    if not shown and not identity.profile and usual:
        return min(usual)
    if not shown and not identity.profile:
        raise UsageError("--profile must be stated: the file does not tell a safety profile")
    if not shown:
        return identity.profile
    profile = min(shown)
    if identity.profile and identity.profile != profile:
        raise UsageError(
            f"--profile must be {profile}, whose container the file has, not {identity.profile}"
        )
    return profile


def _parameters(
    rows: Sequence[tuple[str, PlacedTypes, Map]], profile: str, decisions: Decisions
) -> tuple[tuple[str, int | str], ...]:
    """Return what the one selection says of the connection, in the words of its usual profile."""
    if len(rows) != 1 or rows[0][1].usual_profile != profile:
        return ()
    layout = rows[0][1]
    own = layout.own if decisions.viewpoint == "device" else ()
    return tuple(sorted((*layout.shared, *own)))


def _zero_on_loss(profile: str) -> bool:
    """Tell whether the protocol itself replaces data by zeros."""
    return profile in protocols.names() and protocols.load(profile).fail_safe == "zero"


def _lost(
    signals: Sequence[Signal],
    selected: Sequence[Selected],
    profile: str,
    held: tuple[str, ...],
    unsaid: int,
) -> list[str]:
    """Return what the map does not hold, with the number of each.

    Of ``unsaid`` signals the file does not say the value on loss.
    """
    bits = sum(signal.type == "bool" and not signal.one_means for signal in signals)
    unbound = sum(not signal.bind for signal in signals)
    why = f"as {profile} has it" if _zero_on_loss(profile) else "as you confirmed"
    open_ = (
        (
            unsaid,
            f"value on loss of communication: {_count(unsaid, 'signal')}, stated as 0, {why}",
        ),
        (bits or "one_means" not in held, f"meaning of 1: {_count(bits, 'bit')}"),
        (unbound, f"binding: {_count(unbound, 'signal')}"),
    )
    lost = [text for is_open, text in open_ if is_open]
    rest = [word for word in _NEVER_HELD if word not in held]
    lost += [", ".join((*rest, "relations")), *NEVER_HELD]
    for one in selected:
        lost += one.layout.lost
    return lost


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'s'[: number != 1]}"
