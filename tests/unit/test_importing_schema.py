"""The node set of the examples is one by the schema of OPC 10000-6 annex F.

The schema lies beside the captures of the tests with its licence. Of the other formats that have a
schema none may be passed on, so their examples are not held against one.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import xmlschema

from tests.unit.importing_files import CASES

SCHEMA = xmlschema.XMLSchema(Path(__file__).parents[1] / "data" / "UANodeSet.xsd")
EXAMPLE = CASES["nodeset"].text


def test_the_example_is_a_node_set() -> None:
    SCHEMA.validate(EXAMPLE)


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        ("</UADataType>", "</UADataType><Field/>"),
        ("<Definition Name=", "<Definition Nam="),
        ('Value="2"', 'Value="two"'),
    ],
)
def test_the_schema_refuses(good: str, bad: str) -> None:
    assert good in EXAMPLE
    assert not SCHEMA.is_valid(EXAMPLE.replace(good, bad))
