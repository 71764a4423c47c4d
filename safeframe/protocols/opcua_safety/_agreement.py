"""What must fit between provider and consumer of OPC UA Safety without being equal."""

from __future__ import annotations

from collections.abc import Iterator

from ..._model import Connection


def _agreement(connection: Connection) -> Iterator[tuple[str, str, str]]:
    """Yield key, sentence and remedy: the timeout is more than the delay (P15 8)."""
    for provider, consumer in (connection.ends, connection.ends[::-1]):
        delay = dict(provider.parameters).get("provider_delay_us")
        waits = dict(consumer.parameters).get("consumer_timeout_us")
        if type(delay) is int and type(waits) is int and delay >= waits:
            yield (
                "parameters.consumer_timeout_us",
                f"{provider.name} may take {delay} us to answer, {consumer.name} waits {waits} us "
                "for the answer and its way",
                "make the timeout longer than the delay of the provider",
            )


AGREEMENT = _agreement
