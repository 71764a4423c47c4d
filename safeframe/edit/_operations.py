"""What can be done to a signal of a connection, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from dataclasses import fields as dataclass_fields
from typing import Any

from .._bits import Place
from .._errors import UsageError
from .._model import Signal


@dataclass(frozen=True, slots=True, kw_only=True)
class _Operation:
    """``sender`` is the name of the end that sends; empty where the signal tells it."""

    sender: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed(_Operation):
    """A place, stated by itself or by the signal that stands before or after it."""

    at: Place | None = None
    after: str = ""
    before: str = ""

    def __post_init__(self) -> None:
        stated = [way for way in ("at", "after", "before") if getattr(self, way)]
        if len(stated) != 1:
            ways = " and ".join(stated) or "none of them"
            raise UsageError(f"a place must be stated by one of at, after, before, not by {ways}")


_FURTHER = tuple(
    one.name
    for one in dataclass_fields(Signal)
    if one.name not in ("name", "at", "width", "bind", "where")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Insert(_Placed):
    """Add a signal at both ends, its ``width`` bits taken from the reserve.

    An end that has the signal there already stays as it is, and what is not stated is taken from
    it. ``fields`` are further fields of the signal (``type``, ``safe``, ``one_means`` ...),
    ``binds`` the variable at each end by the name of the end.
    """

    name: str
    width: int = 1
    fields: Mapping[str, Any] = field(default_factory=dict)
    binds: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _Placed.__post_init__(self)
        for name in self.fields:
            if name not in _FURTHER:
                raise UsageError(
                    f"a further field must be one of {', '.join(_FURTHER)}, not {name}"
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Remove(_Operation):
    """Remove a signal where it exists; its bits join the reserve beside it or become one."""

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rename(_Operation):
    """Give a signal another name wherever it is named: row, validity, relations, allowances."""

    name: str
    to: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Resize(_Operation):
    """Give a signal another width; its first bit stays where it is."""

    name: str
    width: int
    type: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move(_Placed):
    """Move a signal to bits that are reserved, or its own."""

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bind(_Operation):
    """Bind a signal to a program variable at one end or at both."""

    name: str
    binds: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Declare(_Operation):
    """Declare bits as reserved that an end does not declare."""

    at: Place
    width: int


Operation = Insert | Remove | Rename | Resize | Move | Bind | Declare
