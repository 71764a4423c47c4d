"""Rules about one thing that an end states in two places."""

from __future__ import annotations

from collections.abc import Iterator

from .. import protocols
from .._findings import Finding, Spot
from .registry import Context, Finder, rule


@rule(
    name="parameter-contradicts",
    severity="error",
    scope="end",
    title="Two statements of one end contradict each other",
    why="One of the two is left over from another device or release; which one the device got "
    "nobody can read from the map.",
    remedy="state what the device really has, in both places",
    source="the sources on the profile's page",
)
def parameter_contradicts(context: Context, find: Finder) -> Iterator[Finding]:
    """Find addresses and computed numbers that other values of the same end contradict."""
    profile = context.profile
    if profile is None or profile.name not in protocols.names():
        return
    for end in context.connection.ends:
        if not end.parameters:
            continue  # The room stays closed for most maps.
        consistency = protocols.room(profile.name).consistency
        for key, message, remedy in consistency(end) if consistency else ():
            spots = [Spot(end=end.name, where=end.locate(key))]
            if key.endswith("_address"):
                spots.append(Spot(end=end.name, where=end.locate("end.address")))
            yield find(message, spots, remedy=remedy, culprits=[("", key)])


@rule(
    name="parameters-do-not-fit",
    severity="error",
    scope="connection",
    title="Two parameters of the ends do not fit together, though they need not be equal",
    why="One end sends later, or in another form, than the other waits for: the connection "
    "breaks in operation, or is never established.",
    remedy="change one of the two so that they fit",
    source="the sources on the profile's page",
)
def parameters_do_not_fit(context: Context, find: Finder) -> Iterator[Finding]:
    """Find what the profile wants to fit between both ends."""
    profile = context.profile
    if profile is None or profile.name not in protocols.names():
        return
    if not all(end.parameters for end in context.connection.ends):
        return  # The room stays closed for most maps.
    agreement = protocols.room(profile.name).agreement
    for key, message, remedy in agreement(context.connection) if agreement else ():
        spots = [Spot(end=end.name, where=end.locate(key)) for end in context.connection.ends]
        yield find(message, spots, remedy=remedy, culprits=[("", key)])
