"""Maps from what is on disk: device files, program types, spreadsheets; read, never written.

``list_file`` says what can be selected, ``read_file`` makes an end of it, ``compare`` holds a map
that somebody wrote against it. Nothing is guessed: what a file leaves open is a decision, and an
OpenDecisionError names the option that makes it. docs/import.md describes every format.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from .._errors import UsageError
from .._model import DeviceMap, End
from ._candidates import Candidate
from ._columns import Columns
from ._columns import load as load_columns
from ._compare import Comparison, compare, device_map
from ._decisions import CHOICES, Decisions, Identity
from ._encoding import ENCODINGS
from ._formats import FORMATS, Format, find_format
from ._grid import SEPARATORS
from ._imported import Imported, Selected, candidates_of, imported
from ._placing import Dropped, Part, PlacedTypes
from ._refusals import OPEN_RULES, ImportProblem, OpenDecisionError, Refusals
from ._sheets import (
    read_sheet,
    sheet_losses,
    sheet_proposal,
    sheet_rows_of,
    write_csv_sheet,
    write_workbook,
)
from ._source import MAX_SOURCE_OCTETS, DeviceFile, read_source

__all__ = [
    "CHOICES",
    "ENCODINGS",
    "FORMATS",
    "MAX_SOURCE_OCTETS",
    "OPEN_RULES",
    "SEPARATORS",
    "Candidate",
    "Columns",
    "Comparison",
    "Decisions",
    "Dropped",
    "Format",
    "Identity",
    "ImportProblem",
    "Imported",
    "PlacedTypes",
    "OpenDecisionError",
    "Part",
    "Refusals",
    "Selected",
    "DeviceFile",
    "candidates_of",
    "compare",
    "device_map",
    "find_format",
    "imported",
    "list_file",
    "load_columns",
    "read_file",
    "read_sheet",
    "read_source",
    "sheet_losses",
    "sheet_proposal",
    "sheet_rows_of",
    "told_by",
    "write_csv_sheet",
    "write_workbook",
]


def list_file(
    format: str,  # noqa: A002
    path: str | os.PathLike[str],
    decisions: Decisions = Decisions(),  # noqa: B008  (frozen)
) -> list[Candidate]:
    """Return what can be selected in a device file, in file order.

    Raises InputError for a file that cannot be read or that is hostile.
    """
    found = find_format(format)
    source = read_source(os.fspath(path))
    return candidates_of(found, source, decisions)


def told_by(
    format: str,  # noqa: A002
    source: DeviceFile,
    select: Sequence[str],
    options: Sequence[str],
    map_: End,
) -> DeviceMap:
    """Return what a device file says of the end that a map is of.

    ``options`` are decisions as the map's ``imported`` table states them. Raises as ``read_file``.
    """
    table = map_.connection_table
    identity = Identity(
        connection=table.name,
        end=map_.name,
        peer=map_.peer,
        profile=table.profile,
        role=map_.role,
    )
    stated = [option for option in options if not option.startswith("--columns ")]
    decisions = Decisions.read(stated)
    if format == "table":
        mapping = [option for option in options if option not in stated]
        if len(mapping) != 1:
            raise UsageError("a table must have one option --columns, which says what is where")
        columns = load_columns(mapping[0].removeprefix("--columns "))
        found = read_sheet(source, columns, identity, decisions)
    else:
        found = imported(find_format(format), source, select, identity, decisions)
    return device_map(found)


def read_file(
    format: str,  # noqa: A002
    path: str | os.PathLike[str],
    select: Sequence[str],
    identity: Identity,
    decisions: Decisions = Decisions(),  # noqa: B008  (frozen)
) -> Imported:
    """Return the end that the selections of a device file make.

    Raises OpenDecisionError where something is for the user to decide, InputError where the file
    is hostile, broken or not offered, UsageError where viewpoint or profile are not stated.
    """
    found = find_format(format)
    source = read_source(os.fspath(path))
    return imported(found, source, select, identity, decisions)
