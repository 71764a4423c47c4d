"""Rules that only the view over many connections can judge: ids and addresses used twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from ..findings import Finding, Rule, Spot
from ..model import Connection, End
from .registry import Finder, plant_rule

__all__: list[str] = []


@plant_rule(
    Rule(
        name="connection-id-reused",
        severity="error",
        scope="plant",
        title="Two connections of one network have the same id",
        why="A frame that strays from one connection into the other is accepted there.",
        remedy="give each connection of the network its own id",
        source="uniqueness of the connection id: the sources on the page of FSCP 12/1",
    )
)
def connection_id_reused(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find connection ids that several connections of one network and profile use."""
    used: dict[tuple[str, str, int], list[Connection]] = defaultdict(list)
    for connection in connections:
        terms = connection.first.terms
        if terms.id:
            used[terms.network, terms.profile, terms.id].append(connection)
    for (network, _, number), users in used.items():
        if len(users) > 1:
            where = f" in network {network}" if network else ""
            names = " and ".join(f"{user.name} ({_ends(user)})" for user in users)
            yield find(
                f"the connection id {number} is used by {names}{where}",
                [
                    Spot(end=end.name, where=end.locate("connection.id"))
                    for user in users
                    for end in user.ends
                ],
            )


def _ends(connection: Connection) -> str:
    return f"{connection.first.name} and {connection.second.name}"


@plant_rule(
    Rule(
        name="address-reused",
        severity="error",
        scope="plant",
        title="Two devices of one network have the same safety address",
        why="A cloned device answers in the place of the other one.",
        remedy="give each device its own address",
        source="uniqueness of the address: the sources on the page of FSCP 12/1",
    )
)
def address_reused(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find safety addresses that several ends of one network and profile have."""
    used: dict[tuple[str, str, int], dict[str, End]] = defaultdict(dict)
    for connection in connections:
        for end in connection.ends:
            if end.address is not None:
                key = (end.terms.network, end.terms.profile, end.address)
                used[key].setdefault(end.name, end)
    for (network, _, address), ends in used.items():
        if len(ends) > 1:
            where = f" in network {network}" if network else ""
            yield find(
                f"the safety address {address} is used by {' and '.join(ends)}{where}",
                [Spot(end=end.name, where=end.locate("end.address")) for end in ends.values()],
            )
