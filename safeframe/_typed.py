"""Values hold what their fields are declared with, whoever makes them.

A number of numpy, a truth value, a list: each equals what it stands for, and is another text in a
fingerprint or in a file. An iterator is empty for whoever reads it second.
"""

from __future__ import annotations

from operator import attrgetter
from sys import modules

from ._errors import UsageError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any


class _Declared:
    """What the fields of a class are declared with; which types of all of them were right."""

    __slots__ = ("kinds", "read", "right", "rows")

    def __init__(self, cls: Any) -> None:
        known = vars(modules[cls.__module__])
        self.read: Callable[[object], tuple[object, ...]] = attrgetter(*cls.__slots__)
        self.kinds = [eval(cls.__annotations__[name], known) for name in cls.__slots__]
        self.right: set[tuple[type, ...]] = set()
        self.rows = [(at, kind) for at, kind in enumerate(self.kinds) if _may_be_row(kind)]


_declared: dict[type, _Declared] = {}


def typed(value: object) -> None:
    """Raise UsageError where a field is not exactly of the type that it is declared with."""
    cls = value.__class__
    declared = _declared.get(cls)
    if declared is None:
        declared = _declared[cls] = _Declared(cls)
    fields = declared.read(value)
    types = tuple(map(type, fields))
    if types in declared.right:  # Most values are like an earlier one, but for what is in rows.
        for at, kind in declared.rows:
            if fields[at] and not _are((fields[at],), kind):
                _refuse(cls, at, fields[at])
        return
    for at, kind in enumerate(declared.kinds):
        if not _are((fields[at],), kind):
            _refuse(cls, at, fields[at])
    declared.right.add(types)


def _refuse(cls: Any, at: int, held: object) -> None:
    name = cls.__slots__[at]
    wanted, found = cls.__annotations__[name], type(held).__name__
    raise UsageError(f"{name} must be of type {wanted}, not {found}: {repr(held)[:60]}")


def _are(values: Any, kind: Any) -> bool:
    """Tell whether all values are exactly of a type, of one of several, or tuples of such."""
    inner = getattr(kind, "__args__", None)
    if inner is None:
        return {kind}.issuperset(map(type, values))
    if not _is_row(kind):
        others = [one for one in values if type(one) not in inner]
        return not others or any(_are(others, one) for one in inner if _is_row(one))
    if not {tuple}.issuperset(map(type, values)):
        return False
    if inner[-1] is ...:
        return all(_are(one, inner[0]) for one in values)
    return {len(inner)}.issuperset(map(len, values)) and all(
        map(_are, zip(*values, strict=True), inner)
    )


def _is_row(kind: Any) -> bool:
    return getattr(kind, "__origin__", None) is tuple


def _may_be_row(kind: Any) -> bool:
    return _is_row(kind) or any(map(_is_row, getattr(kind, "__args__", ())))
