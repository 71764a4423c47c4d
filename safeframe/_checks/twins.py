"""What tells connections of one name from each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from .._model import Connection, End


def told_apart(connections: Sequence[Connection]) -> list[str]:
    """Return for each connection what no other one of its name has, empty where none has it.

    Networks and ids say it where they can, else the ends and their files, else the order.
    """
    names = Counter(connection.name for connection in connections)
    found = [""] * len(connections)
    for name in (name for name, number in names.items() if number > 1):
        group = [at for at, one in enumerate(connections) if one.name == name]
        texts = [""] * len(group)
        for say in (_numbers, _ends, _files):
            more = (say(connections[at]) for at in group)
            texts = [
                f"{text}, {one}" if text else one for text, one in zip(texts, more, strict=True)
            ]
            if len(set(texts)) == len(group):
                break
        else:
            texts = [f"{text}, #{number}" for number, text in enumerate(texts, 1)]
        for at, text in zip(group, texts, strict=True):
            found[at] = text
    return found


def _numbers(connection: Connection) -> str:
    networks = _of(connection, lambda end: end.connection_table.network or "none")
    ids = _of(connection, lambda end: end.connection_table.id)
    return f"network {networks}, id {ids}"


def _ends(connection: Connection) -> str:
    return _of(connection, lambda end: end.name)


def _files(connection: Connection) -> str:
    return _of(connection, lambda end: end.where.path)


def _of(connection: Connection, say: Callable[[End], object]) -> str:
    """Return what both ends say, once where they say the same, whichever of them is first."""
    said: Iterable[str] = {str(say(end)) for end in connection.ends}
    return " and ".join(sorted(said))
