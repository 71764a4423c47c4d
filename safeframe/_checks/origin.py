"""Rules about where maps came from: the device files they were imported from."""

from __future__ import annotations

from collections.abc import Iterator

from .._findings import Finding, Rule, Spot
from .registry import Context, Finder, rule

__all__: list[str] = []


@rule(
    Rule(
        name="ends-of-one-file",
        severity="warning",
        scope="connection",
        title="Both maps were imported from one device file",
        why="Two maps made of one file agree by construction: nothing was compared, and whatever "
        "the file says wrong stands at both ends.",
        remedy="take the map of one end from what its own device or program really has",
    )
)
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
