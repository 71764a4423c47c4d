"""How a recording shows the frames of OPC UA Safety."""

from __future__ import annotations

from .._aspects import Link, RecordingTraits, passes, places_of
from ._frame import RECIPE

__all__ = ["RECORDING"]


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the ids of the provider, or of the consumer in a request."""
    size, before = link.sizes[side], 0
    consumer, ids = link.settings["consumer_id"], link.settings["spdu_ids"]
    known = {"consumer_id": consumer}
    identity, provider = (word.to_bytes(4, "little") for word in (consumer, ids[0]))
    if link.carries[side]:
        known |= {f"spdu_id_{place}": word for place, word in enumerate(ids, 1)}
        identity, before = provider, link.sent(side).size_octets + 1
    elif provider in octets:
        return []  # A response holds everything that a request consists of.
    return [
        place - before
        for place in places_of(octets, identity)
        if place >= before
        and place - before + size <= len(octets)
        and passes(RECIPE, octets[place - before : place - before + size], known)
    ]


RECORDING = RecordingTraits(search=_search)
