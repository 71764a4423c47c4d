"""The routes of a plant file: how they are written, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from .._bits import MAX_OCTETS
from .._document.kinds import FLAG, LINE, NAME, Kind, RefusalError, array, choice, integer
from .._document.paths import Path
from .._document.tables import Key, Tables
from .._errors import UsageError
from .._mapfile.kinds import CODE_TABLE, DECIMAL, NUMBER
from .._model import EDGES, TYPES
from .._routes import CONVERTED, Conversion, Route, RouteStep

_MILLISECONDS = integer(0, (1 << 32) - 1)
_CYCLE = integer(1, (1 << 32) - 1)  # In 0 ms no program runs: nothing would be bounded by that.


def _read_stop(value: Any) -> tuple[str, ...]:
    if type(value) is list and len(value) == 2:
        end, signal = map(NAME.read, value)
        return end, signal
    if type(value) is str and "." in value.strip("."):
        return (str(NAME.read(value)),)
    raise RefusalError('an end and its signal such as "LC1.field_clear"', value)


_STOP = Kind(
    text="end and signal",
    read=_read_stop,
    schema={
        "oneOf": [
            {"type": "string", "pattern": r"[^.].*\..*[^.]"},
            {"type": "array", "items": NAME.schema, "minItems": 2, "maxItems": 2},
        ]
    },
)

_CONVERTED: dict[str, Kind] = {
    "type": choice(*TYPES),
    "width": integer(1, 8 * MAX_OCTETS),
    "unit": LINE,
    "scale": DECIMAL,
    "one_means": LINE,
    "edge": choice(*EDGES),
}


def _read_conversions(tables: Tables, value: Any, path: Path) -> tuple[Conversion, ...]:
    if type(value) is not dict:
        tables.refuse(path, RefusalError("a table such as { width = [16, 8] }", value))
        return ()
    found: list[Conversion] = []
    for name, pair in value.items():
        here = (*path, name)
        if name not in _CONVERTED:
            tables.unknown(here, "a conversion", CONVERTED)
        elif type(pair) is not list or len(pair) != 2:
            tables.refuse(here, RefusalError("an array of two values, before and after", pair))
        else:
            before, after = (
                tables.value(_CONVERTED[name], one, (*here, number))
                for number, one in enumerate(pair)
            )
            found.append((name, before, after))
    return tuple(sorted(found, key=lambda row: CONVERTED.index(row[0])))


_CONVERSIONS = Kind(
    text="table of key = [before, after]",
    read=tuple,
    schema={
        "type": "object",
        "properties": {
            name: {"type": "array", "items": kind.schema, "minItems": 2, "maxItems": 2}
            for name, kind in _CONVERTED.items()
        },
        "additionalProperties": False,
    },
    inside=_read_conversions,
)

STEP: dict[str, Key] = {
    "end": Key(kind=NAME, required=True, meaning="end that hands the signal on"),
    "bind": Key(kind=LINE, meaning="variable in which the signal arrives, and leaves"),
    "out": Key(kind=LINE, meaning="variable from which it leaves, where the program writes it"),
    "signal": Key(kind=LINE, meaning="name behind this end, where nothing else tells"),
    "inverts": Key(kind=FLAG, default=False, meaning="an arriving 1 leaves as a 0"),
    "on_loss": Key(
        kind=NUMBER, default=None, meaning="raw value that leaves while the connection is lost"
    ),
    "converts": Key(
        kind=_CONVERSIONS, default=(), meaning="what changes on purpose, [before, after]"
    ),
    "codes": Key(
        kind=CODE_TABLE, default=(), meaning="code point that leaves for each one that arrives"
    ),
}
"""The keys of one end of a route."""


def _made(tables: Tables, make: Callable[..., Any], path: Path, values: dict[str, Any]) -> Any:
    """Return what is made of the keys of a table, or None after a problem."""
    try:
        return make(**values, where=tables.where(path))
    except UsageError as error:
        tables.add(path, str(error))
        return None


def _read_steps(tables: Tables, value: Any, path: Path) -> tuple[RouteStep, ...]:
    if type(value) is not list:
        tables.refuse(path, RefusalError('an array such as [{ end = "SC1" }]', value))
        return ()
    steps = []
    for number, row in enumerate(value):
        here = (*path, number)
        values = tables.take(row, STEP, here, "an end of a route")
        if values is not None:
            steps.append(_made(tables, RouteStep, here, values))
    return tuple(steps)


_TEXTS = array(NAME)

ROUTE: dict[str, Key] = {
    "from": Key(kind=_STOP, required=True, meaning="end and signal where the way begins"),
    "through": Key(
        kind=Kind(
            text="array of tables",
            read=tuple,
            schema={
                "type": "array",
                "minItems": 1,
                "items": {
                    "type": "object",
                    "properties": {
                        name: {**key.kind.schema, "description": key.meaning}
                        for name, key in STEP.items()
                    },
                    "required": ["end"],
                    "dependentRequired": {"out": ["bind"]},
                    "additionalProperties": False,
                },
            },
            inside=_read_steps,
        ),
        required=True,
        meaning="the gateways and controllers on the way, in order",
    ),
    "to": Key(kind=_STOP, required=True, meaning="end and signal where the way ends"),
    "connections": Key(
        kind=_TEXTS, default=(), meaning="name of each connection, where two ends share several"
    ),
    "permitted_reaction_ms": Key(
        kind=_MILLISECONDS, default=None, meaning="longest reaction time of the whole way, ms"
    ),
}
"""The keys of one route."""


def read_routes(tables: Tables, data: Any) -> tuple[Route, ...]:
    """Return the routes of a plant file; problems are kept in ``tables``."""
    found: dict[Route, Path] = {}
    for path, row in tables.rows(data, "routes"):
        values = tables.take(row, ROUTE, path, "a route")
        if values is None:
            continue
        make = partial(
            Route,
            source=values.pop("from"),
            steps=values.pop("through"),
            target=values.pop("to"),
        )
        route = _made(tables, make, path, values)
        if route in found:
            tables.add(path, f"a route must be listed once, not again: {route.name}")
        elif route is not None:
            found[route] = path
    return tuple(found)


def read_cycles(tables: Tables, data: Any) -> tuple[tuple[str, int], ...]:
    """Return the cycle time of the program of each end, in ms; problems are kept."""
    if data is None:
        return ()
    if type(data) is not dict:
        tables.refuse(("cycle_ms",), RefusalError("a table such as { SC1 = 10 }", data))
        return ()
    return tuple(
        (name, tables.value(_CYCLE, value, ("cycle_ms", name)))
        for name, value in sorted(data.items())
    )


def routes_schema() -> dict[str, Any]:
    """Return the part of the JSON Schema of a plant file that describes routes."""
    row = {name: {**key.kind.schema, "description": key.meaning} for name, key in ROUTE.items()}
    return {
        "cycle_ms": {
            "type": "object",
            "additionalProperties": _CYCLE.schema,
            "description": "cycle time of the program of each end, in ms",
        },
        "routes": {
            "type": "array",
            "description": "signals that cross several connections",
            "items": {
                "type": "object",
                "properties": row,
                "required": ["from", "through", "to"],
                "additionalProperties": False,
            },
        },
    }
