"""The formats that can be read: one row each, its reader imported when it is used."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import NamedTuple

from .._errors import UsageError
from ._candidates import Candidate
from ._decisions import Decisions
from ._refusals import Refusals
from ._source import DeviceFile

Reader = Callable[[DeviceFile, Decisions, Refusals], list[Candidate]]


class Format(NamedTuple):
    """One format: its name, the document that describes it, whether it tells the direction.

    ``directed`` says that the file knows what the device sends and receives.

    >>> from safeframe import importing
    >>> importing.FORMATS["esi"].directed
    True
    """

    name: str
    module: str
    title: str
    document: str
    directed: bool

    def reader(self) -> Reader:
        """Return the function that lists what a file of this format holds."""
        module = importlib.import_module(self.module, __package__)
        return module.candidates  # type: ignore[no-any-return]


FORMATS: dict[str, Format] = {
    row.name: row
    for row in (
        Format("esi", "._esi", "device description of a servo or safety slave", "ETG.2000", True),
        Format("eds", "._eds", "electronic data sheet or device configuration", "CiA 306", True),
        Format(
            "xdd",
            "._xdd",
            "device description of FSCP 13/1",
            "ISO 15745-4, EPSG DS 311",
            True,
        ),
        Format("gsdml", "._gsdml", "device description of FSCP 3/1", "ISO 15745-4, GSDML", True),
        Format("iodd", "._iodd", "IO device description", "IEC 61131-9, IODD 1.1", True),
        Format("st", "._st", "structure of a program, as text", "IEC 61131-3", False),
        Format("tc6", "._tc6", "structure of a program, as XML", "TC6 XML 2.01", False),
        Format("nodeset", "._nodeset", "structure of OPC UA", "OPC 10000-6 annex F", False),
        Format("cip-eds", "._cip", "electronic data sheet of CIP type", "CIP volume 1", False),
    )
}
"""Every format by the name that the command line knows."""


def find_format(name: str) -> Format:
    """Return a format by its name; UsageError for an unknown one."""
    if name not in FORMATS:
        raise UsageError(f"a format must be one of {', '.join(FORMATS)}, not {name!r}")
    return FORMATS[name]
