"""The widths of objects and types by the dictionary of a device in an ESI file."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ._numbers import number
from ._refusals import Refusals
from ._xml import Element

__all__ = ["KNOWN_WIDTHS", "DictionaryWidths", "Whole"]

KNOWN_WIDTHS: Mapping[str, int] = {
    "BOOL": 1,
    "BIT": 1,
    **{f"BIT{width}": width for width in range(2, 9)},
    **dict.fromkeys(("SINT", "USINT", "BYTE", "BITARR8"), 8),
    **dict.fromkeys(("INT", "UINT", "WORD", "BITARR16"), 16),
    **dict.fromkeys(("DINT", "UDINT", "DWORD", "BITARR32", "REAL"), 32),
    **dict.fromkeys(("LINT", "ULINT", "LWORD", "LREAL"), 64),
}
"""The widths of types that need no dictionary."""
Whole = Callable[[Element, Refusals], Element]
"""What reads a PDO or a profile with all that is in it."""


class DictionaryWidths:
    """The widths that objects have in the dictionary, read when the first one is asked for."""

    def __init__(self, owner: Element, whole: Whole, refusals: Refusals) -> None:
        self.owner, self.whole, self.refusals = owner, whole, refusals
        self.read = False
        self.types: dict[str, int] = {}
        self.objects: dict[tuple[int, int], int] = {}

    def of_object(self, index: int, subindex: int) -> int | None:
        """Return the width of an object, None where the dictionary does not tell."""
        self._read()
        return self.objects.get((index, subindex))

    def of_type(self, name: str) -> int | None:
        """Return the width of a type, None for one that nobody describes."""
        self._read()
        return KNOWN_WIDTHS.get(name) or self.types.get(name)

    def _read(self) -> None:
        if self.read:
            return
        self.read = True
        items: dict[str, dict[int, int]] = {}
        profiles = [self.whole(profile, self.refusals) for profile in self.owner.all("Profile")]
        dictionaries = [found for profile in profiles for found in profile.all("Dictionary")]
        for kind in (kind for found in dictionaries for kind in found.all("DataTypes")):
            for entry in kind.all("DataType"):
                name, size = entry.text_of("Name") or "", number(entry.text_of("BitSize"))
                if size is not None:
                    self.types[name] = size
                for item in entry.all("SubItem"):
                    place, size = number(item.text_of("SubIdx")), number(item.text_of("BitSize"))
                    if place is not None and size is not None:
                        items.setdefault(name, {})[place] = size
        for objects in (objects for found in dictionaries for objects in found.all("Objects")):
            for entry in objects.all("Object"):
                index, size = number(entry.text_of("Index")), number(entry.text_of("BitSize"))
                if index is None:
                    continue
                inner = items.get(entry.text_of("Type") or "", {})
                for place, width in inner.items():
                    self.objects[index, place] = width
                if not inner and size is not None:
                    self.objects[index, 0] = size
