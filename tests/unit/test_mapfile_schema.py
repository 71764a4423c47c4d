"""The JSON Schema for editors says what the reader says."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given

import safeframe
from safeframe._document.tables import Key
from safeframe._errors import InputError
from safeframe._mapfile import dumps, loads
from safeframe._mapfile.keys import (
    ALLOW,
    CONNECTION,
    END,
    IMPORTED,
    RELATION,
    RESERVED,
    SIGNAL,
    TABLES,
)
from safeframe._mapfile.schema import schema, schema_text
from safeframe._model import Allowance, ConnectionTable, End, Provenance, Relation, Signal
from safeframe._model import Reserved as Run
from tests.strategies import ends

from .test_mapfile_errors import HEAD, ROWS

VALIDATOR = jsonschema.Draft202012Validator(schema())
UNSEEN = (
    "must end within",
    "65536.0",
    "not 1.0",
    "must fit",
    "must be within",
    "finite",
    "1024 bits",
    "each code once",
    "printable",
    "0.00",
    "16 bits at",
)
"""What no such schema can see: sums, widths, sizes of numbers, 1.0, Unicode classes."""


def test_the_shipped_schema_is_made_from_the_table_of_keys() -> None:
    shipped = Path(safeframe.__file__).parent / "schemas" / "map.schema.json"
    assert shipped.read_text(encoding="utf-8") == schema_text(), "write schema_text() to the file"


def test_the_schema_is_valid() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_the_schema_knows_exactly_the_keys_of_the_reader() -> None:
    made = schema()
    tables: list[tuple[Mapping[str, Any], Mapping[str, Key]]] = [
        (made["properties"]["connection"], CONNECTION),
        (made["properties"]["end"], END),
        (made["properties"]["imported"], IMPORTED),
        (made["properties"]["allow"]["items"], ALLOW),
        (made["properties"]["relations"]["items"], RELATION),
        (made["$defs"]["signal"], SIGNAL),
        (made["$defs"]["reserved"], RESERVED),
    ]
    assert set(made["properties"]) == {"format", *TABLES}
    for described, keys in tables:
        assert set(described["properties"]) == set(keys)
        assert set(described["required"]) == {name for name, key in keys.items() if key.required}
        assert described["additionalProperties"] is False


@pytest.mark.parametrize(
    ("record", "keys", "other"),
    [
        (ConnectionTable, CONNECTION, set()),
        (
            End,
            END,
            {
                "connection_table",
                "imported",
                "sends",
                "receives",
                "relations",
                "parameters",
                "allowances",
                "lines",
            },
        ),
        (Provenance, IMPORTED, set()),
        (Signal, SIGNAL, set()),
        (Run, RESERVED, set()),
        (Allowance, ALLOW, set()),
        (Relation, RELATION, set()),
    ],
)
def test_the_keys_are_the_fields_of_the_model(
    record: Any, keys: Mapping[str, Key], other: set[str]
) -> None:
    fields = {field.name: field for field in record.__dataclass_fields__.values()}
    names = {name.replace("reserved", "width") for name in keys}
    assert names == set(fields) - other - {"where"}
    for name, key in keys.items():
        if not key.required:
            assert key.default == fields[name].default


@given(ends())
def test_whatever_is_written_satisfies_the_schema(end: End) -> None:
    """MUST: the schema accepts every map that the reader accepts."""
    VALIDATOR.validate(tomllib.loads(dumps(end)))


@pytest.mark.parametrize(("row", "problem"), ROWS.items(), ids=range(len(ROWS)))
def test_the_schema_refuses_the_rows_that_the_reader_refuses(row: str, problem: str) -> None:
    data = tomllib.loads(f"{HEAD}sends = [ {row} ]")
    if any(unseen in problem for unseen in UNSEEN):
        with pytest.raises(InputError):
            loads(f"{HEAD}sends = [ {row} ]")
    else:
        assert not VALIDATOR.is_valid(data), problem
