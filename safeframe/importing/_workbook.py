"""Workbooks (.xlsx): looked at as a ZIP file first, then read by a well-kept reader.

Macros, links to other workbooks, encryption, entities and ZIP bombs are refused before the reader
sees anything. Of a formula the stored value is used, and the report says so; so it does of cells
that are hidden or struck out.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from contextlib import redirect_stdout
from typing import Any, NamedTuple
from xml.parsers import expat

from .._errors import InputError, UsageError
from ._columns import Columns
from ._grid import MOST_COLUMNS, MOST_ROWS, Cell, Row, column_of, letters, plain_text
from ._refusals import Refusals, shown
from ._source import DeviceFile

_MOST_PARTS = 1000
_MOST_OCTETS = 64 << 20
_MOST_RATIO = 200
_PLAIN = (
    *(str, int, float, bool, type(None), datetime.date, datetime.time, datetime.timedelta),
    list,
)
"""What a cell without a formula holds; a list is a text with several fonts."""
_REFUSED = (
    ("vbaproject", "macros"),
    ("xl/externallinks/", "links to other workbooks"),
    ("xl/embeddings/", "embedded documents"),
    ("xl/activex/", "controls"),
)
_OF_CELLS = re.compile(
    r"\[content_types\]\.xml|(?:.*/)?_rels/.*|(?:docprops|docmetadata|customxml)/.*|.*/|"
    r"xl/(?:workbook|styles|sharedstrings|calcchain|metadata)\.xml|"
    r"xl/(?:theme|worksheets|chartsheets|dialogsheets|printersettings|persons)/.*",
    re.IGNORECASE,
)
"""Parts that hold sheets, how cells look, or what is of the file as a whole (from memory)."""
_CELLS = "worksheet"
"""The kind of a sheet of cells; all others are looked at by nobody unless they are asked for."""
_OTHER = {"chartsheet": "a chart", "dialogsheet": "a dialog"}
_MACROS = ("xlMacrosheet", "xlIntlMacrosheet")
"""Kinds of sheets whose cells are programs."""
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
"""How a workbook writes a character by its number, such as a carriage return."""
_DIGITS = re.compile(r"0(?:\.(0+))?")
"""Number formats that show a number by its digits, with so many behind the point."""


class _PrologOverError(Exception):
    """The first element has begun."""


def is_workbook(source: DeviceFile) -> bool:
    """Tell whether a file is a workbook, by its name or its first octets."""
    return source.octets.startswith(b"PK") or source.name.lower().endswith((".xlsx", ".xlsm"))


def sheet_rows(source: DeviceFile, sheet: str, refusals: Refusals) -> list[Row]:
    """Return the rows of one sheet; the only one where ``sheet`` is empty."""
    _guard(source, refusals)
    _library()
    try:
        return _read(source, sheet, refusals)
    except InputError:
        raise
    except Exception as error:  # Whatever the reader stumbles over is a fault of the file.
        refusals.stop(
            "bad-workbook",
            0,
            f"the file must be a whole workbook: {type(error).__name__}: {shown(error)}",
            "open it in a spreadsheet program and save it anew, or save the sheet as CSV",
        )


def parts_beside(source: DeviceFile) -> list[str]:
    """Return the parts that hold no cells: remarks at cells, pictures, whatever comes with them."""
    with zipfile.ZipFile(io.BytesIO(source.octets)) as archive:
        return [name for name in archive.namelist() if not _OF_CELLS.fullmatch(name)]


def _read(source: DeviceFile, sheet: str, refusals: Refusals) -> list[Row]:
    # Neither warnings of styles that the reader passes over nor what it prints is an answer.
    with warnings.catch_warnings(), redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        kinds, books = _opened(source)
        name = _sheet_name(kinds, sheet, refusals)
        for book in books:
            book[name].reset_dimensions()  # What the file says of its size is not believed.
        # The reader keeps no rows and columns to ask while it streams, only where the part is.
        hidden = _hidden(source, books[0][name]._worksheet_path, refusals)
        hidden = hidden._replace(whole=books[0][name].sheet_state != "visible")
        pairs = zip(*(book[name].iter_rows() for book in books), strict=True)
        return [
            _row(number, stored, formulas, hidden, refusals)
            for number, (stored, formulas) in enumerate(_limited(pairs, refusals), 1)
        ]


def _opened(source: DeviceFile) -> tuple[list[tuple[str, str]], list[Any]]:
    """Return the sheets, each with its kind, and the workbook with stored values, and without.

    The second tells formulas, and texts with several fonts. A chart, which has no cells, is not
    read: what is wrong with it is wrong with no cell.
    """
    from openpyxl.reader.excel import ExcelReader  # deferred as openpyxl itself.

    class Reader(ExcelReader):  # type: ignore[misc]  # What openpyxl has no types for.
        def read_chartsheet(self, sheet: Any, rel: Any) -> None:
            """Pass over a chart."""

    readers = [
        Reader(
            io.BytesIO(source.octets),
            read_only=True,
            data_only=stored,
            keep_links=False,
            rich_text=not stored,
        )
        for stored in (True, False)
    ]
    for reader in readers:
        reader.read()
    sheets = readers[0].parser.find_sheets()
    kinds = [(sheet.name, rel.Type.rpartition("/")[2]) for sheet, rel in sheets]
    return kinds, [reader.wb for reader in readers]


class _Hidden(NamedTuple):
    """Numbers of hidden rows, of hidden columns from 0 on, and cells with struck-out text inside.

    Only texts that stand in the sheet itself are seen here, not those that cells share.
    """

    rows: set[int]
    columns: set[int]
    struck: set[str]
    whole: bool = False


def _hidden(source: DeviceFile, part: str, refusals: Refusals) -> _Hidden:
    """Return what the sheet of a workbook hides; keeps the problem of a cell that stands twice.

    The reader would take the last of two, or move it to another row.
    """
    found = _Hidden(set(), set(), set())
    before = column = 0
    cell = ""

    def element(name: str, attributes: dict[str, str]) -> None:
        nonlocal before, column, cell
        word = name.rpartition(":")[2]
        size = attributes.get("ht" if word == "row" else "width", "1")
        hides = attributes.get("hidden") in ("1", "true") or not float(size)
        if word == "row":
            number = int(attributes.get("r", before + 1))
            if number <= before:
                text = f"a row must stand once, behind those above it, not after row {before}"
                refusals.add("bad-workbook", number, text)
            before, column = number, 0
            if hides:
                found.rows.add(before)
        elif word == "col" and hides:
            last = min(int(attributes["max"]), MOST_COLUMNS)
            found.columns.update(range(int(attributes["min"]) - 1, last))
        elif word == "c":
            cell = attributes.get("r", f"{letters(column)}{before}")
            place = column_of(cell.rstrip("0123456789"))
            if place < column or cell != f"{letters(place)}{before}":
                text = (
                    f"a cell must stand once, in its row and behind those before it: {shown(cell)}"
                )
                refusals.add("bad-workbook", before, text)
            column = place + 1
        elif word == "strike" and attributes.get("val") not in ("0", "false"):
            found.struck.add(cell)

    parser = expat.ParserCreate()
    parser.StartElementHandler = element
    with zipfile.ZipFile(io.BytesIO(source.octets)) as archive, archive.open(part) as octets:
        parser.ParseFile(octets)
    return found


def _limited(pairs: Any, refusals: Refusals) -> Any:
    for count, pair in enumerate(pairs):
        if count >= MOST_ROWS or len(pair[0]) > MOST_COLUMNS:
            refusals.stop(
                "too-big",
                count + 1,
                f"a sheet must have at most {MOST_ROWS} rows of {MOST_COLUMNS} cells, not more",
            )
        yield pair


def _library() -> Any:
    try:
        import openpyxl  # deferred: an optional extra that only workbooks need.
    except ImportError:
        raise UsageError(
            "a workbook must be read by openpyxl, which is not installed: pip install "
            "'safeframe[sheets]', or save the sheet as CSV"
        ) from None
    return openpyxl


def _guard(source: DeviceFile, refusals: Refusals) -> None:
    """Refuse what a workbook of cells never is, before anything of it is expanded at length."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(source.octets))
        infos = archive.infolist()
        if len(infos) > _MOST_PARTS:
            text = f"a workbook must have at most {_MOST_PARTS} parts, not {len(infos)}"
            refusals.stop("too-big", 0, text)
        total = 0
        for info in infos:
            name = info.filename.lower()
            for word, what in _REFUSED:
                if word in name:
                    text = f"a workbook must hold cells only, not {what} ({shown(info.filename)})"
                    refusals.stop("active-content", 0, text, "save the sheet as CSV or plain .xlsx")
            if info.flag_bits & 1:
                refusals.stop("bad-workbook", 0, "a workbook must not be encrypted")
            total += info.file_size
            if total > _MOST_OCTETS or info.file_size > _MOST_RATIO * max(info.compress_size, 512):
                refusals.stop(
                    "too-big",
                    0,
                    f"a workbook must unpack to at most {_MOST_OCTETS} octets, and no part to more "
                    f"than {_MOST_RATIO} times its size: {shown(info.filename)}",
                )
            if name.endswith((".xml", ".rels")):
                _refuse_doctype(archive, info, refusals)
        if "[content_types].xml" not in {info.filename.lower() for info in infos}:
            refusals.stop("bad-workbook", 0, "the file must be a workbook, not another ZIP file")
    except InputError:
        raise
    except Exception as error:  # A directory of parts may say anything, negative places included.
        refusals.stop(
            "bad-workbook",
            0,
            f"the file must be a workbook (.xlsx): {shown(error)}",
            "an old .xls file is not read: save it as .xlsx or CSV",
        )


def _refuse_doctype(archive: zipfile.ZipFile, info: zipfile.ZipInfo, refusals: Refusals) -> None:
    """Refuse a part with a DOCTYPE; look no further than its first element."""
    parser = expat.ParserCreate()

    def doctype(*_: object) -> None:
        text = f"a part of a workbook must hold no DOCTYPE: {shown(info.filename)}"
        refusals.stop("doctype", parser.CurrentLineNumber, text)

    def element(*_: object) -> None:
        raise _PrologOverError  # No DOCTYPE can follow.

    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler = element
    with archive.open(info) as part:
        try:
            while octets := part.read(1 << 14):
                parser.Parse(octets, False)
            parser.Parse(b"", True)
        except _PrologOverError:
            return
        except expat.ExpatError as error:
            text = f"a part of a workbook must be XML: {shown(info.filename)}: {shown(error)}"
            refusals.stop("bad-workbook", 0, text)


def _sheet_name(kinds: Sequence[tuple[str, str]], sheet: str, refusals: Refusals) -> str:
    """Return the name of the sheet that is read; ``kinds`` are those of all sheets by name."""
    for name, kind in kinds:
        if kind in _MACROS:
            text = f"a workbook must hold cells only, not macros (the sheet {shown(name)})"
            refusals.stop("active-content", 0, text, "save the sheet as CSV or plain .xlsx")
    names = [name for name, kind in kinds if kind == _CELLS]
    listed = ", ".join(map(shown, names)) or "no sheet of cells"
    asked = [kind for name, kind in kinds if name == sheet]
    if sheet and not asked:
        refusals.stop(
            "not-found",
            0,
            f"a sheet must be in the workbook, not {shown(sheet)}",
            f"it has: {listed}",
        )
    if asked not in ([], [_CELLS]):
        what = "one of two with one name" if len(asked) > 1 else _OTHER.get(asked[0], asked[0])
        refusals.stop(
            "ambiguous-selection" if len(asked) > 1 else "not-offered",
            0,
            f"a sheet must hold cells, and have a name of its own; {shown(sheet)} is {what}",
            f"it has: {listed}",
        )
    if not asked and len(names) != 1:
        refusals.stop(
            "ambiguous-selection",
            0,
            f"one sheet of the workbook must be chosen, it has: {listed}",
            f"--sheet {shown(names[0]) if names else 'NAME'}",
        )
    return sheet or names[0]


def _row(number: int, values: Any, formulas: Any, hidden: _Hidden, refusals: Refusals) -> Row:
    cells = []
    for column, (value, plain) in enumerate(zip(values, formulas, strict=True)):
        address = f"{letters(column)}{number}"
        cell = _cell(value.value, plain.value, address, number, refusals)
        if hidden.whole or number in hidden.rows or column in hidden.columns:
            cell = cell._replace(unseen="hidden")
        elif cell.text and not _as_it_is(value.value, value.number_format):
            cell = cell._replace(unseen="shown in another form")
        elif cell.text and value.font.strike:
            cell = cell._replace(unseen="struck out")
        elif address in hidden.struck or _struck_inside(plain.value):
            cell = cell._replace(unseen="struck out at least in part")
        cells.append(cell)
    return Row(number, tuple(cells))


def _as_it_is(value: Any, form: str) -> bool:
    """Tell whether a cell shows its value: all digits of a number, and the whole of a text."""
    if not isinstance(value, int | float):
        return ";;;" not in form
    found = _DIGITS.fullmatch(form)
    return form in ("General", "@") or bool(found and round(value, len(found[1] or "")) == value)


def _struck_inside(value: Any) -> bool:
    """Tell whether a text has a part of its own font that is struck out."""
    fonts = (getattr(one, "font", None) for one in value) if isinstance(value, list) else ()
    return any(font.strike for font in fonts if font is not None)


def _cell(value: Any, plain: Any, address: str, row: int, refusals: Refusals) -> Cell:
    formula = isinstance(plain, str) and plain.startswith("=") and plain != value
    formula = formula or not isinstance(plain, _PLAIN)
    where = f"cell {address}"
    if formula and value is None:
        text = "a formula must have a stored value, not none"
        remedy = "open the workbook in a spreadsheet program and save it"
        refusals.add("bad-cell", row, text, remedy, where)
    match value:
        case None:
            return Cell("", address, formula)
        case bool():
            return Cell("TRUE" if value else "FALSE", address, formula)
        case int():
            return Cell(str(value), address, formula, number=True)
        case float():
            text = str(int(value)) if value.is_integer() else repr(value)
            return Cell(text, address, formula, number=True)
        case str():
            if value.startswith("#") and value.rstrip("!?").isupper():
                refusals.add(
                    "bad-cell", row, f"a cell must hold no error, not {shown(value)}", "", where
                )
            text = _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value)
            return Cell(plain_text(text), address, formula)
        case _:
            refusals.add(
                "bad-cell",
                row,
                f"a cell must hold a text or a number, not a date or time ({shown(value)})",
                "the spreadsheet program made a date of it: format the column as text",
                where,
            )
            return Cell("", address, formula)


def workbook_octets(rows: Sequence[Sequence[str]], columns: Columns) -> bytes:
    """Return a workbook with one sheet of text cells; the same rows give the same cells."""
    openpyxl = _library()
    from openpyxl.writer import excel  # deferred as openpyxl itself.

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = columns.sheet or "map"
    for number, row in enumerate(rows, 1):
        for column, text in enumerate(row, 1):
            if text:
                cell = sheet.cell(row=number, column=column)
                cell.value = _ESCAPED.sub(r"_x005F_x\1_", text)
                cell.data_type = "s"  # A text that begins with = is no formula.
    fixed = datetime.datetime(1980, 1, 1)
    book.properties.created = book.properties.modified = fixed
    made, out = io.BytesIO(), io.BytesIO()
    # book.save would put the clock into the properties; this writes them as they were set.
    excel.ExcelWriter(book, zipfile.ZipFile(made, "w")).save()
    with zipfile.ZipFile(made) as archive, zipfile.ZipFile(out, "w") as copy:
        for info in archive.infolist():
            entry = zipfile.ZipInfo(info.filename, fixed.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            copy.writestr(entry, archive.read(info))
    return out.getvalue()
