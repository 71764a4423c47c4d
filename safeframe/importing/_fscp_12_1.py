"""The container of FSCP 12/1 in a list of entries: recognised by position, never by name alone.

A command of 8 bits; blocks of 16 data bits (8 where there is one data octet) with 16 CRC bits each;
a connection id of 16 bits. Source: development-kit page on ETG.5120 5.3.3, a public device manual,
a page quoting ETG.5100, counted in public device descriptions.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

_WORDS = {
    "command": re.compile(r"command|cmd", re.IGNORECASE),
    "CRC": re.compile(r"crc", re.IGNORECASE),
    "connection id": re.compile(r"conn", re.IGNORECASE),
}
_LIKE_CRC = re.compile(r"crc[ _]*[0-9]+$", re.IGNORECASE)


class ContainerEntry(NamedTuple):
    """One entry of a PDO at its bit; ``object`` 0 is padding or the rest of a value."""

    start: int
    width: int
    object: int
    subindex: int
    name: str
    type: str
    line: int

    @property
    def end(self) -> int:
        """Bit after the last one."""
        return self.start + self.width


class ContainerFault(NamedTuple):
    """An entry whose name says otherwise than its place."""

    entry: ContainerEntry
    text: str


def check_fields(total_bits: int) -> dict[int, tuple[int, str]]:
    """Return start bit to (width, what) of the fields of the protocol; empty for another size."""
    if total_bits == 48:
        return {0: (8, "command"), 16: (16, "CRC"), 32: (16, "connection id")}
    octets, rest = divmod(total_bits, 8)
    data, odd = divmod(octets - 3, 2)
    if rest or odd or data < 2 or data % 2:
        return {}
    fields = {0: (8, "command"), total_bits - 16: (16, "connection id")}
    fields |= {8 + 32 * block + 16: (16, "CRC") for block in range(data // 2)}
    return dict(sorted(fields.items()))


def mismatch(entries: Sequence[ContainerEntry]) -> str:
    """Return why the entries are no container of this kind; empty where they are one."""
    total = entries[-1].end if entries else 0
    fields = check_fields(total)
    if not fields:
        return f"{total} bits are no size of one (48, or 8 (2 n + 3) for n = 2, 4, 6 ...)"
    at = {entry.start: entry for entry in entries}
    for start, (width, what) in fields.items():
        entry = at.get(start)
        if entry is None or entry.width != width or not entry.object:
            return f"no object of {width} bits begins at bit {start}, where the {what} belongs"
    return ""


def contradictions(entries: Sequence[ContainerEntry]) -> list[ContainerFault]:
    """Return entries of a recognised container whose names contradict their places."""
    fields = check_fields(entries[-1].end)
    found = []
    for entry in entries:
        _, what = fields.get(entry.start, (0, ""))
        if what and entry.name and not _WORDS[what].search(entry.name):
            found.append(ContainerFault(entry, f"the {what} belongs at bit {entry.start}"))
        elif not what and entry.object and _LIKE_CRC.search(entry.name):
            found.append(ContainerFault(entry, f"data belong at bit {entry.start}"))
    return found
