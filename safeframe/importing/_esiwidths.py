"""The widths of objects and types by the dictionary of a device in an ESI file."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ._numbers import number
from ._refusals import Refusals
from ._xml import Element

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


Stated = dict[int, int]
"""The widths that a dictionary states for one thing, each with the first line that does."""
Items = dict[str, dict[int, Stated]]
"""The widths of the subindices of types, by the names of the types."""


class DictionaryWidths:
    """The widths that objects have in the dictionary, read when the first one is asked for.

    A device may have several dictionaries, which may repeat each other; two that differ are a
    problem of what is asked for.
    """

    def __init__(self, owner: Element, whole: Whole, refusals: Refusals) -> None:
        self.owner, self.whole, self.refusals = owner, whole, refusals
        self.read = False
        self.types: dict[str, Stated] = {}
        self.objects: dict[tuple[int, int], Stated] = {}

    def of_object(self, index: int, subindex: int) -> int | None:
        """Return the width of an object, None where the dictionary does not tell."""
        self._read()
        where = f"object 0x{index:04x}:{subindex}"
        return self._only(self.objects.get((index, subindex), {}), where)

    def of_type(self, name: str) -> int | None:
        """Return the width of a type, None for one that nobody describes."""
        self._read()
        stated, known, where = self.types.get(name, {}), KNOWN_WIDTHS.get(name), f"type {name}"
        found = self._only(stated, where)
        if known is None or found in (None, known):
            return known or found
        text = f"the dictionary must give {name} its {known} bits, not {found}"
        self.refusals.add("type-length", stated[found], text, element=where)
        return known

    def _text(self, element: Element, tag: str) -> str | None:
        return element.text_of(tag, self.refusals, "Dictionary")

    def _only(self, stated: Stated, where: str) -> int | None:
        """Return the one width that is stated, None without any; keeps the problem of several."""
        if len(stated) > 1:
            (first, line), (second, again) = list(stated.items())[:2]
            self.refusals.add(
                "duplicate-name",
                again,
                f"the dictionary must state one width, not {second} bits after {first} bits in "
                f"line {line}",
                "remove one of them from the file",
                where,
            )
        return next(iter(stated), None)

    def _read(self) -> None:
        if self.read:
            return
        self.read = True
        profiles = [self.whole(profile, self.refusals) for profile in self.owner.all("Profile")]
        dictionaries = [found for profile in profiles for found in profile.all("Dictionary")]
        own = [self._items(dictionary) for dictionary in dictionaries]
        others: Items = {}
        for items in own:
            for name, places in items.items():
                others.setdefault(name, places)
        for dictionary, items in zip(dictionaries, own, strict=True):
            self._objects(dictionary, {**others, **items})

    def _items(self, dictionary: Element) -> Items:
        """Take the types of one dictionary; return the widths of their subindices."""
        items: Items = {}
        for entry in dictionary.along("DataTypes", "DataType"):
            name, size = self._text(entry, "Name") or "", number(self._text(entry, "BitSize"))
            if size is not None:
                self.types.setdefault(name, {}).setdefault(size, entry.line)
            for item in entry.all("SubItem"):
                place, size = (number(self._text(item, tag)) for tag in ("SubIdx", "BitSize"))
                if place is not None and size is not None:
                    widths = items.setdefault(name, {}).setdefault(place, {})
                    widths.setdefault(size, item.line)
        return items

    def _objects(self, dictionary: Element, items: Items) -> None:
        """Take the objects of one dictionary by the subindices of their types."""
        for entry in dictionary.along("Objects", "Object"):
            index, size = (number(self._text(entry, tag)) for tag in ("Index", "BitSize"))
            if index is None:
                continue
            kind = self._text(entry, "Type") or ""
            inner = items.get(kind, {})
            if not inner:
                known = [KNOWN_WIDTHS[kind]] if kind in KNOWN_WIDTHS else self.types.get(kind, ())
                stated = (*known, *(() if size is None else (size,)))
                inner = {0: dict.fromkeys(stated, entry.line)}
            for place, widths in inner.items():
                for width, line in widths.items():
                    self.objects.setdefault((index, place), {}).setdefault(width, line)
