"""Kinds of plain values: how each is read, shown and described to an editor.

A kind reads one plain value (as tomllib or json returns it) and raises RefusalError for anything
else. It is strict: a boolean is no integer and 1.0 is no integer. A kind of values with an inside
(arrays, tables) is read by ``inside``, which keeps every problem with its own key path.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from .._value import NamedTuple
from .characters import is_visible

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from .paths import Path
    from .tables import Tables

_SHOWN_CHARACTERS = 40
_SHOWN_BITS = 128
_MOST_BITS = 1024


class RefusalError(Exception):
    """A value that a kind does not accept; the text is ``<requirement>, not <value>``."""

    def __init__(self, requirement: str, value: object) -> None:
        super().__init__(f"{requirement}, not {show(value)}")
        self.requirement = requirement
        self.value = value


def show(value: object, table: str = "a table") -> str:
    """Return one short printable line that shows a value as its file would.

    ``table`` is what the format of the file calls a table.
    """
    match value:
        case bool():
            return "true" if value else "false"
        case str() if len(value) > _SHOWN_CHARACTERS:
            return f"{value[:_SHOWN_CHARACTERS]!r}... ({len(value)} characters)"
        case int() if value.bit_length() > _SHOWN_BITS:
            return f"an integer of {value.bit_length()} bits"
        case str() | int() | float():
            return repr(value)
        case dict():
            return table
        case list() if len(value) == 2 and all(type(one) is int for one in value):
            return f"[{show(value[0])}, {show(value[1])}]"
        case list():
            return "an array"
        case None:
            return "null"
        case _:
            return "a date or time"


class Kind(NamedTuple):
    """How one sort of value is read (``read``), described (``text``) and put in the schema.

    Values of just the type ``exact``, where it is stated, are taken as they stand.
    """

    text: str
    read: Callable[[Any], Any]
    schema: Mapping[str, Any]
    inside: Callable[[Tables, Any, Path], Any] | None = None
    exact: type | None = None


def integer(low: int | None, high: int | None = None) -> Kind:
    """Return the kind of integers ``low`` to ``high``, both included; None: no bound.

    What has no bound has at most 1024 bits, so that it can be printed.
    """
    bounds = f"{low}..{high}" if high is not None else f"at least {low}"

    def read(value: Any) -> int:
        if type(value) is not int:
            raise RefusalError("an integer", value)
        if high is None and value.bit_length() > _MOST_BITS:
            raise RefusalError(f"an integer of at most {_MOST_BITS} bits", value)
        if (low is not None and value < low) or (high is not None and value > high):
            raise RefusalError(bounds, value)
        return value

    schema = {"type": "integer"} | {
        name: bound for name, bound in (("minimum", low), ("maximum", high)) if bound is not None
    }
    text = "integer" if low is None else f"integer {bounds}"
    return Kind(text=text, read=read, schema=schema)


def choice(*words: str) -> Kind:
    """Return the kind of texts that are one of ``words``."""

    def read(value: Any) -> str:
        if type(value) is not str or value not in words:
            raise RefusalError(f"one of {', '.join(filter(None, words))}", value)
        return value

    return Kind(text="one of " + ", ".join(words), read=read, schema={"enum": list(words)})


def array(kind: Kind) -> Kind:
    """Return the kind of arrays whose elements are all of one kind; a tuple is read."""

    def inside(tables: Tables, value: Any, path: Path) -> tuple[Any, ...]:
        if type(value) is not list:
            tables.refuse(path, RefusalError("an array", value))
            return ()
        if kind.exact is not None and {*map(type, value)} <= {kind.exact}:
            return tuple(value)
        return tuple(tables.value(kind, item, (*path, number)) for number, item in enumerate(value))

    schema = {"type": "array", "items": kind.schema}
    return Kind(text=f"array of {kind.text}", read=tuple, schema=schema, inside=inside)


def _read_text(value: Any) -> str:
    if type(value) is not str:
        raise RefusalError("a text", value)
    return value


def _read_flag(value: Any) -> bool:
    if type(value) is not bool:
        raise RefusalError("true or false", value)
    return value


def _read_line(value: Any) -> str:
    if not is_visible(_read_text(value)):
        raise RefusalError("one line of printable text", value)
    return "" if value.isspace() else str(value)  # Blanks alone state nothing.


def _read_name(value: Any) -> str:
    if not _read_line(value):
        least = "a text of at least 1 character"
        raise RefusalError(f"{least} that is no blank" if value else least, value)
    return str(value)


def _read_note(value: Any) -> str:
    if not _read_text(value).replace("\n", "").replace("\t", "").isprintable():
        raise RefusalError("printable text", value)
    return str(value)


_PRINTABLE = r"^[^\u0000-\u001f\u007f-\u009f]*$"

TEXT = Kind(text="text", read=_read_text, schema={"type": "string"}, exact=str)
FLAG = Kind(text="true or false", read=_read_flag, schema={"type": "boolean"}, exact=bool)
LINE = Kind(
    text="text, one line",
    read=_read_line,
    schema={"type": "string", "pattern": _PRINTABLE},
)
NAME = Kind(
    text="text, one line, not empty",
    read=_read_name,
    schema={"type": "string", "minLength": 1, "pattern": _PRINTABLE},
)
NOTE = Kind(text="text", read=_read_note, schema={"type": "string"})
