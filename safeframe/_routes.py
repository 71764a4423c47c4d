"""What a plant file says of signals that cross several connections, as values."""

from __future__ import annotations

from ._errors import UsageError
from ._source import NOWHERE, Location
from ._value import dataclass, field

CONVERTED = ("type", "width", "unit", "scale", "one_means", "edge")
"""Keys of a signal that an end may change on purpose while it hands the signal on."""

_MOST_STEPS = 64
"""Ends that hand one signal on; by choice: a route is told by its name, which names all of them."""

Conversion = tuple[str, int | str, int | str]
"""A key of CONVERTED, its value as the signal arrives and as it leaves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteStep:
    """One end that takes a signal from a connection and hands it on in another.

    ``bind`` is the variable in which the signal arrives and, unless the program writes another
    one named ``out``, from which it leaves. ``signal`` is its name in the connection behind this
    end, where neither the target nor the variable tells. ``inverts`` says that an arriving 1
    leaves as a 0, ``on_loss`` which raw value leaves while the connection before is lost. ``codes``
    are the code points that the program translates, as it arrives and as it leaves.
    """

    end: str
    bind: str = ""
    out: str = ""
    signal: str = ""
    inverts: bool = False
    on_loss: int | float | None = None
    converts: tuple[Conversion, ...] = ()
    codes: tuple[tuple[int, int], ...] = ()
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        if self.out and not self.bind:
            raise UsageError("out must stand with bind, not alone")
        if self.codes and self.inverts:
            raise UsageError("codes must stand without inverts: they say what leaves")

    @property
    def taken_from(self) -> str:
        """The variable from which the signal leaves; empty where none is stated."""
        return self.out or self.bind


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """The way of one signal over two connections or more.

    ``source`` and ``target`` are either one text ``END.SIGNAL`` or end and signal apart;
    ``connections`` names the connection of each stretch where two ends share several.
    ``permitted_reaction_ms`` is what the safety function leaves to the whole way.
    """

    source: tuple[str, ...]
    steps: tuple[RouteStep, ...]
    target: tuple[str, ...]
    connections: tuple[str, ...] = ()
    permitted_reaction_ms: int | None = None
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        if not 1 <= len(self.steps) <= _MOST_STEPS:
            raise UsageError(f"through must name 1..{_MOST_STEPS} ends, not {len(self.steps)}")
        if self.connections and len(self.connections) != len(self.steps) + 1:
            raise UsageError(
                f"connections must name {len(self.steps) + 1} connections, one for each stretch, "
                f"not {len(self.connections)}"
            )

    @property
    def name(self) -> str:
        """The route as people write it, ``LC1.field_clear -> SC1 -> LX.permit_up``."""
        stops = (".".join(self.source), *(step.end for step in self.steps), ".".join(self.target))
        return " -> ".join(f'"{stop}"' if "->" in stop else stop for stop in stops)

    @property
    def near(self) -> frozenset[str]:
        """Every end that it passes, begins or ends at; of a text, all that its dots allow."""
        found = {step.end for step in self.steps}
        for stop in (self.source, self.target):
            parts = stop[0].split(".") if len(stop) == 1 else []
            found.update(".".join(parts[:at]) for at in range(1, len(parts)))
            found.update(stop[:1] if len(stop) > 1 else ())
        return frozenset(found)
