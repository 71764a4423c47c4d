"""Share of the reaction time that OPC UA Safety states, by release."""

from __future__ import annotations

from .._aspects import ReactionShare

__all__ = ["reaction_share"]

# Releases 1.05.04 and 1.04 (2019); the text of the clause was seen, see the facts' sources.
_TIMEOUTS = {"1.05": 2, "1.04": 1}
"""Factor of the timeout in the share of the safety function response time, OPC 10000-15."""


def reaction_share(edition: str) -> ReactionShare | None:
    """Return the share by an edition, or None for one whose text was not seen."""
    if edition not in _TIMEOUTS:
        return None
    return ReactionShare(
        watchdogs=_TIMEOUTS[edition],
        consumer_cycles=1,
        why="the watchdog is the timeout of the consumer",
        source=f"OPC 10000-15, release {edition}: share of the safety function response time",
    )
