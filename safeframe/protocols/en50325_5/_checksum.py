"""The configuration checksum of one safety data object of EN 50325-5, step by step.

Rule and one literal value: a device manual with a worked example (M1); the order again in a second
manual and in an open stack. The checksum covers the direction: those of the two ends differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ..._errors import UsageError
from ...crc import CATALOGUE, compute

DIRECTIONS = {"send": 1, "receive": 2}
"""Sub-index 1 of the communication object; 0 is off."""
MOST_ENTRIES, MOST_BITS = 16, 64
_LENGTHS = tuple(range(8, MOST_BITS + 1, 8))


class Entry(NamedTuple):
    """One mapping entry: an object and its length in bits. Odd entries are plain, even inverted."""

    object: int
    sub_index: int
    bits: int

    @property
    def value(self) -> int:
        """The 32 bits of the entry."""
        return self.object << 16 | self.sub_index << 8 | self.bits


def default_identifiers(node: int) -> tuple[int, int]:
    """Return the default identifiers of a node 1..64: 0xFF and 0x100 plus twice the node."""
    if not 1 <= node <= 64:
        raise UsageError(f"node must be 1..64, not {node}")
    return 0xFF + 2 * node, 0x100 + 2 * node


def entries_of(text: str) -> tuple[Entry, ...]:
    """Read mapping entries of eight hexadecimal digits each, such as ``60100108 60110108``.

    Digits 1 to 4 are the index, 5 and 6 the sub-index, 7 and 8 the length in bits.
    """
    found = []
    for word in text.replace(",", " ").split():
        digits = word.lower().removeprefix("0x")
        if len(digits) != 8 or not set(digits) <= set("0123456789abcdef"):
            raise UsageError(f"a mapping entry must be 8 hexadecimal digits, not {word!r}")
        value = int(digits, 16)
        found.append(Entry(value >> 16, value >> 8 & 255, value & 255))
    return tuple(found)


def mapping_problem(entries: Sequence[Entry]) -> str:
    """Return what is wrong with a mapping, empty where nothing is."""
    if len(entries) % 2 or not len(entries) <= MOST_ENTRIES:
        return f"the number of entries must be even and at most {MOST_ENTRIES}, not {len(entries)}"
    for place, (plain, inverted) in enumerate(zip(entries[::2], entries[1::2], strict=True)):
        if plain.bits != inverted.bits:
            return (
                f"entries {2 * place + 1} and {2 * place + 2} must have one length, not "
                f"{plain.bits} and {inverted.bits} bits"
            )
        if plain.bits not in _LENGTHS:
            return f"entry {2 * place + 1} must have whole octets, not {plain.bits} bits"
    total = sum(entry.bits for entry in entries[::2])
    if total > MOST_BITS:
        return f"the plain entries must have at most {MOST_BITS} bits together, not {total}"
    return ""


def steps(
    *,
    direction: str,
    sct_ms: int,
    srvt_ms: int,
    identifier_1: int,
    identifier_2: int,
    entries: Sequence[Entry],
) -> tuple[tuple[str, bytes], ...]:
    """Return what the checksum covers, in order: (what it is, octets low octet first).

    Raises UsageError for a value that does not fit its field. Identifiers are those in use: a node
    that keeps the default adds twice its number first.
    """
    if direction not in DIRECTIONS:
        raise UsageError(f"direction must be {' or '.join(DIRECTIONS)}, not {direction!r}")
    fields = (
        ("direction", DIRECTIONS[direction], 1),
        ("sct_ms", sct_ms, 2),
        ("srvt_ms", srvt_ms, 1),
        ("identifier_1", identifier_1, 4),
        ("identifier_2", identifier_2, 4),
        ("number of entries", len(entries), 1),
    )
    for name, value, size in fields:
        if not 0 <= value < 1 << 8 * size:
            raise UsageError(f"{name} must be 0..{(1 << 8 * size) - 1}, not {value}")
    found = [(name, value.to_bytes(size, "little")) for name, value, size in fields]
    for number, entry in enumerate(entries, 1):
        found.append((f"sub-index of entry {number}", bytes((number,))))
        found.append((f"entry {number}", entry.value.to_bytes(4, "little")))
    return tuple(found)


def checksum(covered: Sequence[tuple[str, bytes]]) -> int:
    """Return the 16-bit checksum of what ``steps`` returned."""
    return compute(CATALOGUE["crc-16/v41"], b"".join(part for _, part in covered))
