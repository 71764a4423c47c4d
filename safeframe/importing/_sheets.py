"""Sheets into maps and maps into sheets, both by the user's mapping of columns."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from .._errors import InputError, UsageError
from .._mapfile.csvmap import cell_text
from .._mapfile.write import plain_entry
from .._model import End, Reserved, Signal
from ._columns import ATTRIBUTES, Columns, proposal
from ._decisions import Decisions, Identity
from ._grid import SEPARATORS, Row, column_of, csv_rows, letters, plain_text
from ._imported import Imported, make_end
from ._placing import placed
from ._refusals import Refusals, shown
from ._rowtypes import NEEDS_WIDTH
from ._source import DeviceFile
from ._table import few, layouts
from ._workbook import is_workbook, parts_beside, sheet_rows, workbook_octets

_RANGE = re.compile(r"([A-Z]{1,2})([1-9][0-9]{0,5}):([A-Z]{1,2})([1-9][0-9]{0,5})")
_COMMON = ("name", "type", "order", "bind", "note")
_HELD = (*(name for name in ATTRIBUTES if name not in _COMMON), "value")
"""What a column tells besides that, of a signal or of reserve."""


def read_sheet(
    source: DeviceFile, columns: Columns, identity: Identity, decisions: Decisions
) -> Imported:
    """Return the end that a sheet says; OpenDecisionError or InputError where it does not."""
    if "direction" not in columns.names and not decisions.direction:
        raise UsageError("--direction must be stated, or the mapping must name a column for it")
    if "direction" in columns.names and decisions.direction:
        raise UsageError("--direction must be left out: the mapping names a column for it")
    if decisions.viewpoint:
        raise UsageError("--as must be left out: a sheet is of the end that --end names")
    if columns.octet_order and decisions.order not in ("", columns.octet_order):
        raise UsageError(
            f"--order must be that of the mapping, {columns.octet_order}, not {decisions.order}"
        )
    refusals = Refusals(source.path)
    rows, outside = _rows(source, columns, decisions, refusals)
    found = [
        (direction, layout, placed(layout, decisions, refusals))
        for direction, layout in layouts(rows, columns, decisions, refusals)
    ]
    refusals.refuse()
    made = make_end(
        "table",
        source,
        found,
        tuple(filter(None, (columns.sheet, columns.range))),
        identity,
        decisions,
        tuple(name for name in columns.names if name in _HELD),
    )
    if outside:
        note = f"not read, outside the range: {'; '.join(outside)}"
        made = replace(made, notes=(*made.notes, note))
    beside = parts_beside(source) if is_workbook(source) else []
    if beside:
        note = f"not read, parts of the workbook beside its cells: {few([*map(shown, beside)])}"
        made = replace(made, notes=(*made.notes, note))
    assert made.end.imported is not None
    options = (f"--columns {columns.text}", *made.end.imported.options)
    return replace(
        made, end=replace(made.end, imported=replace(made.end.imported, options=options))
    )


def sheet_proposal(source: DeviceFile, sheet: str, decisions: Decisions) -> str:
    """Return a mapping as text to confirm, from the words of the sheet's header."""
    refusals = Refusals(source.path)
    if is_workbook(source):
        return proposal(sheet_rows(source, sheet, refusals))
    _refuse_sheet(sheet)
    tried = []
    for separator in SEPARATORS.values():
        rows = csv_rows(source, separator, decisions.encoding, Refusals(source.path))
        tried.append((max((len(row.cells) for row in rows), default=0), rows))
    return proposal(max(tried, key=lambda pair: pair[0])[1])


def _refuse_sheet(sheet: str) -> None:
    if sheet:
        raise UsageError("--sheet must stand with a workbook, not with a CSV file")


def _rows(
    source: DeviceFile, columns: Columns, decisions: Decisions, refusals: Refusals
) -> tuple[list[Row], list[str]]:
    """Return the rows of the range, and which rows and columns outside hold anything.

    The separator of a CSV file is the one that fits.
    """
    if is_workbook(source):
        if decisions.encoding:
            raise UsageError("--encoding must stand with a CSV file, not with a workbook")
        rows = sheet_rows(source, columns.sheet, refusals)
        refusals.refuse()
        return _cut(rows, columns.range, refusals)
    _refuse_sheet(columns.sheet)
    stated = [columns.separator] if columns.separator else list(SEPARATORS)
    separators = [SEPARATORS[word] for word in stated]
    wanted = {" ".join(text.split()) for _, text in columns.columns if not text.startswith("=")}
    found: list[list[Row]] = []
    failed: InputError | None = None
    for separator in separators:
        try:
            rows = csv_rows(source, separator, decisions.encoding, Refusals(source.path))
        except InputError as error:  # Quotes may only make sense with another separator.
            failed = error
            continue
        if columns.separator or any(wanted <= _words(row) for row in rows):
            found.append(rows)
    if not found and failed is not None:
        raise failed
    if len(found) != 1 or not (wanted or columns.separator):
        refusals.stop(
            "ambiguous-selection" if found else "columns-not-found",
            1,
            "the header must have all mapped columns with one separator, not with "
            f"{len(found)}: {', '.join(sorted(map(shown, wanted))) or 'letters only'}",
            f"--separator {'|'.join(SEPARATORS)}; --list proposes a mapping",
        )
    kept, outside = _cut(found[0], columns.range, refusals)
    _even(kept, wanted, refusals)
    return kept, outside


def _even(rows: Sequence[Row], wanted: set[str], refusals: Refusals) -> None:
    """Keep a problem of each row with more cells than the header, or than the shortest row.

    A separator inside a cell without quotes would cut the cell, and move what follows it.
    """
    headers = [place for place, row in enumerate(rows) if wanted <= _words(row)] if wanted else []
    below = rows[headers[0] + 1 :] if headers else rows
    counted = (
        rows[headers[0] : headers[0] + 1] if headers else [row for row in rows if not row.empty]
    )
    most = min((len(row.cells) for row in counted), default=0)
    for row in below:
        cell = next((cell for cell in row.cells[most:] if cell.text), None)
        if cell is not None:
            refusals.add(
                "bad-line",
                row.number,
                f"a row must have at most the {most} cells of "
                f"{'the header' if headers else 'the shortest row'}, not also {shown(cell.text)}",
                "put a cell that holds the separator in quotes, or leave the rest out with --range",
                f"cell {cell.address}",
            )


def _words(row: Row) -> set[str]:
    return {" ".join(cell.text.split()) for cell in row.cells}


def _cut(rows: list[Row], area: str, refusals: Refusals) -> tuple[list[Row], list[str]]:
    """Return what lies in a range such as A3:H40, with cells outside empty, and what else is."""
    if not area:
        return rows, []
    found = _RANGE.fullmatch(area.upper())
    if found is None:
        raise UsageError(f"a range must be such as A3:H40, not {area!r}")
    first, last = int(found[2]), int(found[4])
    left, right = (column_of(found[place]) for place in (1, 3))
    kept, outside, beside = [], [], set()
    for row in rows:
        if not first <= row.number <= last:
            outside += [] if row.empty else [str(row.number)]
        else:
            beside |= {place for place, cell in enumerate(row.cells) if cell.text}
            cells = tuple(
                cell if left <= place <= right else cell._replace(text="", formula=False)
                for place, cell in enumerate(row.cells)
            )
            kept.append(row._replace(cells=cells))
    if not kept:
        refusals.stop("not-found", 0, f"a range must hold rows of the sheet, not {area}")
    columns = [letters(place) for place in sorted(beside) if not left <= place <= right]
    told = (("rows", outside), ("columns", columns))
    return kept, [f"{what} {few(names)}" for what, names in told if names]


def sheet_rows_of(end: End, columns: Columns) -> list[list[str]]:
    """Return header and rows of a sheet in the layout of a mapping."""
    names = [name for name, text in columns.columns if not text.startswith("=")]
    if len(names) != len(columns.columns):
        raise UsageError("a sheet must be written by a mapping with headers, not with letters")
    header = [text for _, text in columns.columns]
    taken = [
        s.name for m in (end.sends, end.receives) for s in m.signals if s.name in columns.reserve
    ]
    if taken:
        raise UsageError(f"a signal must not have a name that means reserve: {taken[0]}")
    rows = [header]
    for direction in ("sends", "receives"):
        for entry in getattr(end, direction).entries:
            cells = _cells(entry, direction, columns)
            rows.append([cells.get(name, "") for name in names])
    return rows


def _cells(entry: Signal | Reserved, direction: str, columns: Columns) -> dict[str, str]:
    """Return the cells of one entry by their meanings."""
    row: Mapping[str, Any] = plain_entry(entry)
    cells = {name: cell_text(value) for name, value in row.items() if name != "at"}
    cells |= _places(entry, columns)
    cells["width"] = str(entry.width)
    cells["direction"] = getattr(columns, direction)[0]
    if isinstance(entry, Reserved):
        if not columns.reserve:
            raise UsageError("the mapping must state reserve, the name of unused bits")
        cells["name"] = columns.reserve[0]
        return cells
    cells["safe"] = cell_text(entry.safe)  # A cell that is left empty would not say 0.
    cells["type"], cells["order"] = entry.type, entry.order if entry.width > 8 else ""
    if entry.order == "big":
        cells["order"] = "big"
    if columns.decimal == ",":
        for name in ("safe", "scale"):
            if name in cells:
                cells[name] = cells[name].replace(".", ",")
    return cells


def _places(entry: Signal | Reserved, columns: Columns) -> dict[str, str]:
    """Return the cells that say where an entry is, counted as the mapping says."""
    ends = [entry.start, entry.end - 1]
    if columns.bit_zero == "most":
        if ends[0] >> 3 != ends[1] >> 3 and (ends[0] % 8 or entry.end % 8):
            raise UsageError(
                f"{entry.width} bits at {entry.at} must be counted from the least significant bit: "
                'bit_zero = "most" cannot say them'
            )
        if ends[0] >> 3 == ends[1] >> 3:
            ends.reverse()
        else:
            ends = [ends[0] | 7, ends[1] & ~7]
    octets = [index // 8 + columns.first_octet for index in ends]
    bits = [
        (index % 8 if columns.bit_zero == "least" else 7 - index % 8) + columns.first_bit
        for index in ends
    ]
    numbers = [
        (index if columns.bit_zero == "least" else index ^ 7) + columns.first_bit for index in ends
    ]
    first = f"{octets[0]}.{bits[0]}"
    one_octet = octets[0] == octets[1]
    single = ends[0] == ends[1]
    if isinstance(entry, Signal) and entry.type in NEEDS_WIDTH and "width" not in columns.names:
        single = False  # One bit of a value tells its width only as a range.
    last = f"{octets[1]}.{bits[1]}"
    if "last" in columns.names:
        place, number = first, str(numbers[0])
        end = last if "place" in columns.names else str(numbers[1])
    else:
        place = first if single else f"{first} - {last}"
        number = str(numbers[0]) if single else f"{numbers[0]}-{numbers[1]}"
        end = ""
    bit = str(bits[0]) if single or not one_octet else f"{bits[0]}-{bits[1]}"
    return {
        "octet": str(octets[0]),
        "bit": bit,
        "place": place,
        "number": number,
        "last": "" if single else end,
    }


def sheet_losses(end: End, columns: Columns) -> list[str]:
    """Return what the sheet does not hold, so that reading it back gives another map."""
    lost = []
    for name in ATTRIBUTES:
        if name in columns.names:
            continue
        count = 0
        for map_ in (end.sends, end.receives):
            for entry in map_.entries:
                row = plain_entry(entry)
                count += name in row or (name == "type" and "type" in row)
        if count:
            lost.append(f"{name} of {count} row{'s'[: count != 1]}")
    wide = [e for m in (end.sends, end.receives) for e in m.entries if e.width > 1]
    if wide and columns.notation[0] == "octet" and "width" not in columns.names:
        lost.append(f"width of {len(wide)} rows")
    if "direction" not in columns.names and end.sends.entries and end.receives.entries:
        lost.append("the direction of every row")
    if "value" not in columns.names and any(
        run.value for map_ in (end.sends, end.receives) for run in map_.reserved
    ):
        lost.append("values of reserved runs")
    texts = [
        value
        for map_ in (end.sends, end.receives)
        for entry in map_.entries
        for value in plain_entry(entry).values()
        if isinstance(value, str) and value != plain_text(value)
    ]
    if texts:
        lost.append(f"blanks at the ends and line breaks of {len(texts)} texts")
    return lost


def write_csv_sheet(rows: Sequence[Sequence[str]], columns: Columns) -> str:
    """Return rows as the text of a CSV file."""
    out = io.StringIO(newline="")
    separator = SEPARATORS[columns.separator or "comma"]
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue()


def write_workbook(rows: Sequence[Sequence[str]], columns: Columns) -> bytes:
    """Return rows as the octets of a workbook; UsageError without the library for it."""
    return workbook_octets(rows, columns)
