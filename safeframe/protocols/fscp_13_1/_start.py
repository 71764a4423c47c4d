"""FSCP 13/1 start-up: how a manager brings up one node, before both exchange data.

Order as recorded from a public open stack: address, manager id, identity, operational (asked again
while the node is busy), then guarding. An end whose map says ``role = "manager"`` is the manager;
where no end says so, a third station manages both, and no start-up is made.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import Any

from ..._errors import UsageError
from ..aspects import OpeningFrame
from ..link import Link
from . import _access as access
from . import _management as management

_IDENTITY = 0x1018, 1
"""The object that the manager of the recorded run reads first."""


def _unique_id(link: Link, node: int, random: Random) -> bytes:
    end = link.connection.ends[node]
    stated = dict(end.parameters).get("unique_id")
    if stated is None:
        return random.randbytes(6)
    octets = bytes.fromhex(str(stated))
    if len(octets) != 6:
        raise UsageError(f"the unique_id of {end.name} must be 6 octets, not {len(octets)}")
    return octets


def _opening(link: Link, random: Random) -> Iterator[OpeningFrame]:
    """Yield the start-up of the node; none where no end is the manager."""
    named = [side for side in (0, 1) if link.connection.ends[side].role == "manager"]
    if not named:
        return
    manager, node = named[0], 1 - named[0]
    manager_id = link.settings.get("manager_id")
    if manager_id is None or not any(manager_id):
        raise UsageError(f"{link.names[manager]} must state manager_id for a start-up")
    unique_id = _unique_id(link, node, random)
    address = {side: int(link.senders[1 - side]) for side in (0, 1)}

    def sent(side: int, identity: int, data: bytes) -> OpeningFrame:
        values: dict[str, Any] = {"id": identity, "address": address[side], "data": data}
        return OpeningFrame(side, values)

    def asked(request: bytes, response: bytes) -> Iterator[OpeningFrame]:
        yield sent(manager, management.REQUEST, request)
        yield sent(node, management.RESPONSE, response)

    command = management.command
    yield sent(manager, 42, unique_id)
    yield sent(node, 43, unique_id)
    yield from asked(
        command(14, manager_id=manager_id),
        command(15, manager_id=manager_id),
    )
    for turn in access.upload(*_IDENTITY, random.randbytes(4)):
        yield sent(manager, 56, turn.request)
        yield sent(node, 57, turn.response)
    operational = command(2, time_stamp=random.getrandbits(32))
    yield from asked(operational, command(9))
    yield from asked(operational, command(3))
    yield from asked(command(8), command(3))


START_UP = _opening
