"""Rules that only the view over many connections can judge: ids and addresses used twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

from .._findings import Finding, Spot
from .._model import Connection, End, Scalar
from .._words import MOST_LISTED, listed
from ..protocols import load, names
from .connection_table import shown_id
from .registry import Finder, plant_rule

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TypeVar

    _User = TypeVar("_User", int, End)


@plant_rule(
    name="connection-id-reused",
    severity="error",
    title="Two connections of one network have the same id",
    why="A frame that strays from one connection into the other is accepted there.",
    remedy="give each connection its own id, or state the network of each",
    source="uniqueness of the connection id: the sources on the page of FSCP 12/1; of CAN "
    "identifiers: common practice, two senders of one identifier disturb each other",
)
def connection_id_reused(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find ids that several connections of one network and profile use."""
    used: dict[tuple[str, int], list[tuple[str, int]]] = defaultdict(list)
    yield from _parameters_reused(connections, find)
    for at, connection in enumerate(connections):
        # What the ends state differently counts twice: nobody knows which one is on the wire.
        tables = [end.connection_table for end in connection.ends]
        for profile, number, network in sorted(
            {(table.profile, table.id, table.network) for table in tables if table.id}
        ):
            used[profile, number].append((network, at))
    for key, users in used.items():
        for clash in _clashing(users, connections):
            found = f"the connection id {shown_id(key[1])}"
            yield _reused(find, found, clash, "connection.id", partial(_has_id, key=key))


def _parameters_reused(connections: Sequence[Connection], find: Finder) -> Iterator[Finding]:
    """Find parameters that stand for an id, such as the identifiers of CAN messages."""
    used: dict[tuple[str, str, Scalar], list[tuple[str, int]]] = defaultdict(list)
    for at, connection in enumerate(connections):
        uses: dict[tuple[str, str, Scalar], set[str]] = {}
        for end in connection.ends:
            table, stated = end.connection_table, dict(end.parameters)
            rules = load(table.profile).parameters if table.profile in names() else ()
            for rule in rules:
                if rule.unique and rule.name in stated:
                    key = table.profile, rule.name, stated[rule.name]
                    uses.setdefault(key, set()).add(table.network)
        for using, networks in uses.items():
            used[using] += [(network, at) for network in sorted(networks)]
    for (_, name, value), users in used.items():
        for clash in _clashing(users, connections):
            found = f"the parameter {name} {shown_id(value) if isinstance(value, int) else value}"
            where, has = f"parameters.{name}", partial(_states, name=name, value=value)
            yield _reused(find, found, clash, where, has, [("", where)])


def _has_id(end: End, *, key: tuple[str, int]) -> bool:
    return (end.connection_table.profile, end.connection_table.id) == key


def _states(end: End, *, name: str, value: Scalar) -> bool:
    return dict(end.parameters).get(name) == value


def _reused(
    find: Finder,
    what: str,
    clash: Sequence[tuple[str, Connection]],
    key: str,
    has: Callable[[End], bool],
    culprits: Sequence[tuple[str, str]] = (),
) -> Finding:
    """Return the finding about what several connections use, at the ends that have it."""
    names = listed([f"{user.name} ({_ends(user)})" for _, user in clash])
    open_ = [user.name for network, user in clash if not network]
    spots = [
        Spot(end=end.name, where=end.locate(key))
        for _, user in clash
        for end in user.ends
        if has(end)
    ]
    return find(
        f"{what} is used by {names}{_where(clash, open_)}",
        spots[: 2 * MOST_LISTED],
        culprits=[*culprits, *_culprits(clash)],
        beyond=spots[2 * MOST_LISTED :],
    )


def _clashes(users: Iterable[tuple[str, _User]]) -> list[list[tuple[str, _User]]]:
    """Return those that share a network, and all together where one does not state its own."""
    networks: dict[str, list[tuple[str, _User]]] = defaultdict(list)
    for network, user in users:
        networks[network].append((network, user))
    groups = list(networks.values())
    if "" in networks:  # It may be any of the networks: nothing keeps them apart.
        groups = [[one for group in groups for one in group]]
    return [group for group in groups if len(group) > 1]


def _clashing(
    users: Iterable[tuple[str, int]], connections: Sequence[Connection]
) -> Iterator[list[tuple[str, Connection]]]:
    """Yield the connections of each clash once each, one that leaves its network open as such."""
    for group in _clashes(users):
        found: dict[int, str] = {}
        for network, number in group:
            found[number] = found.get(number, network) and network
        if len(found) > 1:
            yield [(network, connections[number]) for number, network in found.items()]


def _where(clash: Sequence[tuple[str, object]], open_: Sequence[str]) -> str:
    """Return the network as the end of a sentence, or who leaves it open."""
    named = next((network for network, _ in clash if network), "")
    if not named:
        return ""
    if not open_:
        return f" in network {named}"
    return f"; {listed(open_)} state{'s'[: len(open_) == 1]} no network"


def _culprits(clash: Iterable[tuple[str, Connection]]) -> list[tuple[str, str]]:
    """Return the connections of a clash: two of the same ends are told apart by their names."""
    return [("", f"{user.name} ({_ends(user)})") for _, user in clash]


def _ends(connection: Connection) -> str:
    return f"{connection.first.name} and {connection.second.name}"


@plant_rule(
    name="address-reused",
    severity="error",
    title="Two devices of one network have the same safety address",
    why="A cloned device answers in the place of the other one.",
    remedy="give each device its own address, or state the network of each",
    source="uniqueness of the address: the sources on the page of FSCP 12/1",
)
def address_reused(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find safety addresses that several ends of one network and profile have."""
    used: dict[tuple[str, int], list[tuple[str, End]]] = defaultdict(list)
    for connection in connections:
        for end in connection.ends:
            if end.address is not None:
                users = used[end.connection_table.profile, end.address]
                users.append((end.connection_table.network, end))
    for (_, address), users in used.items():
        for clash in _clashes(users):
            # One device may be an end of several connections: its first map is shown.
            first: dict[tuple[str, str], End] = {}
            for network, end in clash:
                first.setdefault((network, end.name), end)
            names = list(dict.fromkeys(name for _, name in first))
            if len(names) > 1:
                open_ = [name for network, name in first if not network]
                shown = list(first.values())[:MOST_LISTED]
                known = set(map(id, shown))
                yield find(
                    f"the safety address {address} is used by {listed(names)}"
                    f"{_where(clash, open_)}",
                    map(_address, shown),
                    beyond=[_address(end) for _, end in clash if id(end) not in known],
                )


def _address(end: End) -> Spot:
    return Spot(end=end.name, where=end.locate("end.address"))
