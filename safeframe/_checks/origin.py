"""Rules about where maps came from: the device files that they were made of or are held against."""

from __future__ import annotations

from collections.abc import Iterator

from .._findings import Finding, Rule, Spot
from .._model import Connection, Provenance
from .registry import Context, Finder, rule

_ONE_FILE = Rule(
    name="ends-of-one-file",
    severity="warning",
    scope="connection",
    title="Both ends come from one device file, or are held against it",
    why="Two maps made of one file agree by construction: nothing was compared, and whatever "
    "the file says wrong stands at both ends. So it is where both are held against one file.",
    remedy="take the map of one end from what its own device or program really has",
)


@rule(**_ONE_FILE._asdict())
def ends_of_one_file(context: Context, find: Finder) -> Iterator[Finding]:
    """Find connections whose ends name the same digest."""
    first, second = context.connection.ends
    if first.imported is None or second.imported is None:
        return
    if first.imported.sha256 == second.imported.sha256:
        names = " and ".join(dict.fromkeys((first.imported.file, second.imported.file)))
        yield find(
            f"both ends were imported from one file, {names} (SHA-256 "
            f"{first.imported.sha256[:16]}...): that they agree proves nothing",
            [Spot(end=end.name, where=end.locate("imported.sha256")) for end in (first, second)],
        )


def of_one_device(connection: Connection) -> Iterator[Finding]:
    """Find ends that are held against the file that tells the other end: it is of one device."""
    find = Finder(_ONE_FILE, connection.name, [])
    made = {end.name: end.imported.sha256 for end in connection.ends if end.imported is not None}
    held: dict[str, Provenance] = {
        device.end.name: device.end.imported
        for device in connection.devices
        if device.end.imported is not None
    }
    first, second = (end.name for end in connection.ends)
    remedy = "name the device file of each end's own device or program"
    told = set(made.values()) if len(made) == 2 and len(set(made.values())) == 1 else set[str]()
    for name, other in ((first, second), (second, first)):
        against = held.get(name)
        if against is None or against.sha256 in told:
            continue
        by = f"one device file, {against.file} (SHA-256 {against.sha256[:16]}...)"
        if other in held and held[other].sha256 == against.sha256:
            message = f"both ends are held against {by}: it is of one device, and tells one end"
        elif made.get(other) == against.sha256:
            message = f"{name} is held against what {other} was imported from, {by}: it is of "
            message += "one device, and tells one end"
        else:
            continue
        told.add(against.sha256)
        spots = [Spot(end=each, where=connection.entry) for each in (first, second)]
        yield find(message, spots, remedy=remedy)
