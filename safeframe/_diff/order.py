"""Which end of a connection after an edit is which end before it."""

from __future__ import annotations

from dataclasses import replace

from .._model import Connection


def in_order_of(before: Connection, after: Connection) -> Connection:
    """Return ``after`` with its ends in the order of ``before``, as their names tell.

    Where more names match crosswise than straight, the ends are turned; where names tell nothing,
    as both ends got new ones, the order stays as it is given.
    """
    straight = sum(old.name == new.name for old, new in zip(before.ends, after.ends, strict=True))
    turned = replace(after, first=after.second, second=after.first)
    across = sum(old.name == new.name for old, new in zip(before.ends, turned.ends, strict=True))
    return turned if across > straight else after
