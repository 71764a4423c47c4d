"""What must fit between the two ends of EN 50325-5 without being equal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..._errors import UsageError
from ..._model import Connection


def _agreement(connection: Connection) -> Iterator[tuple[str, str, str]]:
    """Yield key, sentence and remedy: the sender's cycle, number and lengths of the entries."""
    from ._checksum import entries_of  # deferred: few maps are of this protocol.

    sender = next((end for end in connection.ends if end.sends.entries), connection.first)
    receiver = connection.second if sender is connection.first else connection.first
    said: list[dict[str, Any]] = [dict(end.parameters) for end in (sender, receiver)]
    cycles = [stated.get("sct_ms") for stated in said]
    if type(cycles[0]) is int and type(cycles[1]) is int and cycles[0] > cycles[1]:
        yield (
            "parameters.sct_ms",
            f"{sender.name} repeats its data every {cycles[0]} ms at the latest, {receiver.name} "
            f"waits {cycles[1]} ms only",
            "make the SCT of the sender at most that of the receiver",
        )
    texts = [stated.get("mapping") for stated in said]
    try:
        maps = [entries_of(text) for text in texts if isinstance(text, str)]
    except UsageError:
        return  # An entry that cannot be read is a finding of its end.
    lengths = [" ".join(str(entry.bits) for entry in entries) for entries in maps]
    if len(set(lengths)) > 1:
        yield (
            "parameters.mapping",
            f"{sender.name} maps entries of {lengths[0] or 'no'} bits, {receiver.name} of "
            f"{lengths[1] or 'no'} bits",
            "map entries of the same lengths in the same order at both ends",
        )


AGREEMENT = _agreement
