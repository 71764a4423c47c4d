"""One difference as a value, and the words for its two sides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from .. import _words as words
from .._bits import Place
from .._model import Signal
from .._source import Location
from .levels import LEVELS, any_at_or_above

NOT_STATED = "not stated"
BEFORE_AFTER = ("before", "after")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What the other map has on ``bits`` bits that a signal or a reserved run covers.

    ``kind`` is ``gap`` (reserved there; ``value`` is what it carries on these bits, ``reserve``
    how many bits of that run are reserved before and after), ``signal`` (``name``),
    ``undeclared`` or ``beyond`` (past the data of the other map).
    """

    kind: str
    at: Place
    bits: int
    name: str = ""
    value: int = 0
    reserve: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One difference; before and after are the two sides named by ``sides``.

    ``kind`` is added, removed, moved, resized, renamed, attribute, reserve, size, parameter,
    relation or allowance. ``section`` is ``sends``, ``receives``, ``connection``, ``end``,
    ``parameters``, ``relations``, ``allow`` or, end against end, a direction such as
    ``SC1 -> LX``. ``before`` and ``after`` are the two sides in words, ``values`` the same as the
    maps hold them (None where a side has nothing, or words alone), in ``unit``. ``subject`` is the
    name after the change, or the only one there is. ``taken``
    is what the side before has on the bits that the subject occupies after the change, ``left``
    what the side after has on the bits it occupied before: reserve that shrinks or grows with a
    signal is told here and is no change of its own.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> change, *others = safeframe.compare_ends(connection)
    >>> change.level, change.kind, change.subject, change.before, change.after
    ('wire', 'moved', 'brake1_release', '0.1', '0.2')
    """

    level: str
    kind: str
    section: str
    subject: str
    field: str = ""
    before: str = ""
    after: str = ""
    values: tuple[Any, Any] = (None, None)
    unit: str = ""
    places: tuple[Place | None, Place | None] = (None, None)
    sides: tuple[str, str] = BEFORE_AFTER
    before_where: Location | None = None
    after_where: Location | None = None
    taken: tuple[Ground, ...] = ()
    left: tuple[Ground, ...] = ()


def fails(changes: Iterable[Change], threshold: str) -> bool:
    """Return whether any change is at or above the level ``threshold``."""
    return any_at_or_above((change.level for change in changes), threshold)


def worst_first(changes: Iterable[Change]) -> tuple[Change, ...]:
    """Return changes with the worst level first, otherwise in the order given."""
    return tuple(sorted(changes, key=lambda change: LEVELS.index(change.level)))


def show(field: str, value: Any, other: Any = ()) -> str:
    """Return a field value as text; of code points only those that ``other`` does not share."""
    if field == "codes":
        points = [f"{number} = {name}" for number, name in value if (number, name) not in other]
        return ", ".join(points) or NOT_STATED
    if value is None or value in ("", ()):
        return NOT_STATED
    if field == "id":
        return f"0x{value:04X}"
    if field in ("watchdog_ms", "exchange_ms", "permitted_reaction_ms"):
        return f"{value} ms"
    if field == "width":
        return bits_text(value)
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def unit_of(field: str) -> str:
    """Return the unit of the numbers of a field, empty where they have none."""
    return (
        "ms"
        if field.endswith("_ms")
        else {"width": "bits", "legal_octets": "octets"}.get(field, "")
    )


def outline(signal: Signal) -> str:
    """Return place, type and width of a signal, and its safe value unless that is 0.

    For instance ``1.2, bool, 1 bit`` or ``1.2, bool, 1 bit, safe 1``.
    """
    text = f"{signal.at}, {signal.type}, {bits_text(signal.width)}"
    return f"{text}, safe {signal.safe}" if signal.safe else text


def bits_text(count: int) -> str:
    """Return a number of bits as text."""
    return words.count(count, "bit")


def octets_text(count: int) -> str:
    """Return a number of octets as text."""
    return words.count(count, "octet")
