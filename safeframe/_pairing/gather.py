"""Which ends belong together: connections out of a heap of map files."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable

from .._errors import InputError, Problem
from .._model import Connection, End


def gather(ends: Iterable[End]) -> tuple[Connection, ...]:
    """Match ends that name each other, in the order of their first end.

    Ends match by connection name and by each other's names; where exactly two are left that agree
    in only one of both, they are matched too, so that a check can say what is wrong with them.
    Raises InputError for every end that is left over.
    """
    found, left = sort_out(ends)
    if left:
        raise InputError(*(_alone(end, left) for end in left))
    return found


def sort_out(ends: Iterable[End]) -> tuple[tuple[Connection, ...], list[End]]:
    """Return the connections as ``gather`` matches them, and the ends that are left over."""
    left = list(ends)
    order = {id(end): number for number, end in enumerate(left)}
    found: list[Connection] = []
    for key in (_by_both, _by_names, _by_connection):
        left, pairs = _take(left, key)
        found += pairs
    found.sort(key=lambda connection: order[id(connection.first)])
    return tuple(found), left


def _by_both(end: End) -> Hashable:
    return end.connection_table.name, _by_names(end)


def _by_names(end: End) -> Hashable:
    return frozenset((end.name, end.peer))


def _by_connection(end: End) -> Hashable:
    return end.connection_table.name


def _take(ends: list[End], key: Callable[[End], Hashable]) -> tuple[list[End], list[Connection]]:
    """Return the ends left over and the connections whose two ends alone share a key."""
    groups: dict[Hashable, list[End]] = {}
    for end in ends:
        groups.setdefault(key(end), []).append(end)
    pairs = [
        Connection(first=group[0], second=group[1]) for group in groups.values() if _couple(group)
    ]
    return [end for end in ends if not _couple(groups[key(end)])], pairs


def _couple(group: list[End]) -> bool:
    """Tell whether these are two different ends; two copies of one end are not."""
    return len(group) == 2 and group[0].name != group[1].name


def _alone(end: End, others: Iterable[End]) -> Problem:
    rivals = [
        other.where.path
        for other in others
        if other is not end and other.connection_table.name == end.connection_table.name
    ]
    found = f"not {len(rivals)} ({', '.join(rivals)})" if rivals else "not none"
    return Problem(
        path=end.where.path,
        message=(
            f"end {end.name} of connection {end.connection_table.name} must have exactly one "
            f"partner among the map files, {found}"
        ),
        remedy=f"put the map file of {end.peer} beside it, or name the two files of one pair",
    )
