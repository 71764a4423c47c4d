"""The entries of a PDO in an ESI file: each with its bits, its object, and its name."""

from __future__ import annotations

from ._decisions import Decisions
from ._fscp_12_1 import ContainerEntry
from ._numbers import integer, number, width_of
from ._refusals import Refusals, twice
from ._texts import in_language
from ._xml import Element

_ENGLISH = "1033"
_NUMBERS = ("Index", "SubIndex", "BitLen")


def title_of(pdo: Element) -> str:
    """Return the name of a PDO, in English where there are several."""
    return _name(pdo, Decisions(), Refusals(""))


def label_of(pdo: Element, refusals: Refusals) -> str:
    """Return the name of the element of a PDO with its index."""
    return f"{pdo.tag} {pdo.text_of('Index', refusals) or '-'}"


def entries_of(pdo: Element, decisions: Decisions, refusals: Refusals) -> list[ContainerEntry]:
    """Return the entries of a PDO at their bits, keeping the problems of each."""
    label = label_of(pdo, refusals)
    entries = []
    position = 0
    for count, element in enumerate(pdo.all("Entry"), 1):
        where = f"{label} entry {count}"
        text = {tag: element.text_of(tag, refusals, where) for tag in _NUMBERS}
        at = element.line, refusals, where
        width = width_of(text["BitLen"], "BitLen", *at)
        index = integer(text["Index"], "Index", *at, most=0xFFFF)
        if text["SubIndex"]:
            integer(text["SubIndex"], "SubIndex", *at, most=0xFF)
        kind = element.only(refusals, "DataType", where=where)
        if width is None or index is None:
            continue
        if kind is not None and kind.true("SwapData", refusals):
            refusals.add(
                "swapped",
                element.line,
                "an entry must keep its octet order, not have SwapData",
                "its order on the wire is not told by the file: not offered",
                where,
            )
        entries.append(
            ContainerEntry(
                start=position,
                width=width,
                object=index,
                subindex=number(text["SubIndex"]) or 0,
                name=_name(element, decisions, refusals),
                type=kind.text if kind is not None else "",
                line=element.line,
            )
        )
        position += width
    return entries


def _name(element: Element, decisions: Decisions, refusals: Refusals) -> str:
    """Return the name in the language asked for, else English, else the only one there is."""
    names: dict[str, str] = {}
    for name in element.all("Name"):
        if names.setdefault(name.get("LcId") or "", name.text) != name.text:
            twice(refusals, "a name of one language", name.text, (element.line, name.line))
    return in_language(names, decisions.language, _ENGLISH, element.line, refusals)
