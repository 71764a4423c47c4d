"""Sites of a few connections with routes over them, as plain rows that become a plant file.

Nothing here asks the package: a site is a chain of ends, each pair joined by one connection, and
what a map says is a row that both ends share apart from the variable.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from safeframe import _checks as checks
from safeframe._errors import InputError, Problem
from safeframe._findings import Report
from safeframe._model import Plant
from safeframe._plant import file as plantfile


@dataclass(frozen=True)
class Row:
    """One signal of one direction; ``sent`` and ``received`` are the variables at both ends."""

    name: str
    sent: str = ""
    received: str = ""
    type: str = "bool"
    width: int = 1
    safe: int = 0
    one_means: str = ""
    unit: str = ""
    scale: str = "1"
    edge: str = ""
    valid_by: str = ""
    codes: tuple[tuple[int, str], ...] = ()

    def text(self, at: int, bind: str) -> str:
        """Return the row as a map file has it."""
        parts = [f'at = "{at // 8}.{at % 8}", name = "{self.name}"']
        if self.width > 1:
            parts.append(f"width = {self.width}")
        if self.type != "bool":
            parts.append(f'type = "{self.type}"')
        if self.safe:
            parts.append(f"safe = {self.safe}")
        texts = ("one_means", "unit", "edge", "valid_by")
        parts += [f'{key} = "{getattr(self, key)}"' for key in texts if getattr(self, key)]
        if self.scale != "1":
            parts.append(f'scale = "{self.scale}"')
        if self.codes:
            named = ", ".join(f'{number} = "{name}"' for number, name in self.codes)
            parts.append(f"codes = {{ {named} }}")
        if bind:
            parts.append(f'bind = "{bind}"')
        return "{ " + ", ".join(parts) + " }"


@dataclass(frozen=True)
class Link:
    """One connection: what ``first`` sends to ``second``, and what comes back."""

    name: str
    first: str
    second: str
    there: tuple[Row, ...] = ()
    back: tuple[Row, ...] = ()
    watchdog_ms: int | None = 100
    exchange_ms: int | None = 10
    profile: str = "plain"

    def maps(self) -> tuple[str, str]:
        """Return the map file of the first and of the second end."""
        return self._map(True), self._map(False)

    def _map(self, first: bool) -> str:
        table = [f'name = "{self.name}", profile = "{self.profile}"']
        times = {"watchdog_ms": self.watchdog_ms, "exchange_ms": self.exchange_ms}
        table += [f"{key} = {time}" for key, time in times.items() if time is not None]
        end, peer = (self.first, self.second) if first else (self.second, self.first)
        sends, receives = (self.there, self.back) if first else (self.back, self.there)
        return (
            'format = "safeframe-map/1"\n'
            f"connection = {{ {', '.join(table)} }}\n"
            f'end = {{ name = "{end}", peer = "{peer}" }}\n'
            f"sends = [{_rows(sends, sent=True)}]\n"
            f"receives = [{_rows(receives, sent=False)}]\n"
        )


def _rows(rows: Sequence[Row], *, sent: bool) -> str:
    at, lines = 0, []
    for row in rows:
        lines.append(f"\n  {row.text(at, row.sent if sent else row.received)},")
        at += row.width
    if at % 16:  # Whole octets, an even number of them.
        lines.append(f'\n  {{ at = "{at // 8}.{at % 8}", reserved = {-at % 16} }},')
    return "".join([*lines, "\n"])


@dataclass(frozen=True)
class Place:
    """A whole site: connections, the text of each route, cycle times by end."""

    links: tuple[Link, ...]
    routes: tuple[str, ...] = ()
    cycles: tuple[tuple[str, int], ...] = ()
    more: dict[str, str] = field(default_factory=dict)

    def files(self) -> dict[str, str]:
        """Return file name -> text: the maps and the plant file."""
        found: dict[str, str] = {}
        rows = []
        for number, link in enumerate(self.links):
            names = f"{number}-a.toml", f"{number}-b.toml"
            found |= dict(zip(names, link.maps(), strict=True))
            rows.append(f'  {{ ends = ["{names[0]}", "{names[1]}"] }},\n')
        cycles = ", ".join(f"{end} = {time}" for end, time in self.cycles)
        found["plant.toml"] = (
            'format = "safeframe-plant/1"\nname = "hall 3"\n'
            + (f"cycle_ms = {{ {cycles} }}\n" if cycles else "")
            + f"connections = [\n{''.join(rows)}]\n"
            + "routes = [\n"
            + "".join(f"  {{ {route} }},\n" for route in self.routes)
            + "]\n"
        )
        return found | self.more

    def plant(self) -> Plant:
        """Read the site."""
        known = self.files()

        def read(path: str) -> str:
            if path not in known:
                raise InputError(Problem(path=path, message="no such file"))
            return known[path]

        return plantfile.loads(known["plant.toml"], path="plant.toml", read=read)

    def report(self) -> Report:
        """Check the site as the command does."""
        plant = self.plant()
        return checks.check_site(plant.connections, (plant,))

    def told(self) -> list[tuple[str, str]]:
        """Return rule and message of every finding about routes."""
        return [
            (one.rule, one.message)
            for one in self.report().findings
            if one.rule.startswith("route-")
        ]

    def open(self) -> list[tuple[str, str, str]]:
        """Return rule, subject and reason of what is not judged about routes."""
        return [
            (one.rule, one.subject, one.reason)
            for one in self.report().not_judged
            if one.rule.startswith("route-")
        ]


CLEAR = Row("field_clear", "Port.Clear", "Cell.Clear", one_means="field is clear")
PERMIT = Row("permit_up", "Cell.Clear", "Drive.PermitUp", one_means="field is clear")
ROUTE = 'from = "LC1.field_clear", through = [{ end = "SC1" }], to = "LX.permit_up"'
NAME = "LC1.field_clear -> SC1 -> LX.permit_up"


def two(arriving: Row = CLEAR, leaving: Row = PERMIT, route: str = ROUTE, **more: object) -> Place:
    """Return two connections with a controller between, and one route over both."""
    made = Place(
        (
            Link("CURTAIN", "LC1", "SC1", (arriving,)),
            Link("LIFT", "SC1", "LX", (leaving,)),
        ),
        (route,) if route else (),
    )
    return replace(made, **more)  # type: ignore[arg-type]


def step(words: str, permitted_ms: int | None = None) -> str:
    """Return the route of ``two`` with words in its one step."""
    text = ROUTE.replace('end = "SC1"', f'end = "SC1", {words}' if words else 'end = "SC1"')
    return text if permitted_ms is None else f"{text}, permitted_reaction_ms = {permitted_ms}"
