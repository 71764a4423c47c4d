"""What an end of OPC UA Safety states in two places: its timeout, the signature of its structure.

The signature covers the identifier and the types of the members in their order: source P15.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..._model import End
from ..._words import count


def _consistency(end: End) -> Iterator[tuple[str, str, str]]:
    """Yield key, sentence and remedy of each value that contradicts another one of an end."""
    stated = dict(end.parameters)
    timeout, watchdog = stated.get("consumer_timeout_us"), end.connection_table.watchdog_ms
    if type(timeout) is int and watchdog not in (None, -(-timeout // 1000)):
        yield (
            "parameters.consumer_timeout_us",
            f"the timeout of {end.name} is {timeout} us, its watchdog {watchdog} ms",
            "state the timeout of the consumer as the watchdog, in whole ms and never less",
        )
    signature, identifier = stated.get("structure_signature"), stated.get("structure_identifier")
    members = (end.receives if end.role == "consumer" else end.sends).signals
    # A code may be an enumeration of another width in the structure: then nobody can compute.
    if type(signature) is not int or not isinstance(identifier, str) or not members:
        return
    if any(signal.type == "code" for signal in members):
        return
    from ._ids import structure_signature  # deferred: few maps state both.
    from ._link import TYPE_IDS

    types = [TYPE_IDS.get((signal.type, signal.width)) for signal in members]
    known = [number for number in types if number is not None]
    if len(known) == len(types) and structure_signature(identifier, known) != signature:
        computed = structure_signature(identifier, known)
        yield (
            "parameters.structure_signature",
            f"the structure_signature of {end.name} is 0x{signature:08X}, but from its "
            f"structure_identifier and the types of its {count(len(known), 'signal')} follows "
            f"0x{computed:08X}",
            "state the identifier and the signature of one structure, and the types of its members",
        )


CONSISTENCY = _consistency
