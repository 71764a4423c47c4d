"""One form of everything that can be spelled in several ways: what is equal, and what is not.

Check, diff, fingerprint and record ask this module, so that they never give two answers to one
question. A form is for comparing and hashing; what people are shown stays as they wrote it.

Equal are: letters of either case, and blanks, in what a 1 means and in the names of code points,
unless the case tells two units after a number; canonically equivalent characters (NFC), and the
units that ``_SAME`` lists; ``0.1`` and ``0.10``; both octet orders of a value within one octet;
legal sizes in any order; a reserve in one run or in several; a program variable in letters of
either case; a GUID and octets in hexadecimal in letters of either case; a text of blanks and none.
A name is never respelled: whoever pairs by name would miss it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache, lru_cache
from operator import attrgetter

from . import protocols
from ._model import ConnectionTable, End, Map, Reserved, Scalar, Signal
from ._value import NamedTuple
from .protocols import ParameterRule, Profile

TYPE_CHECKING = False
if TYPE_CHECKING:
    import re
    from typing import Any

CANONICAL = "safeframe-canonical/3"
"""The name and edition of these forms; fingerprints of another edition cannot be compared.

Edition 1 took every text, order and list as it was written and left parameters to each end.
"""

SECOND = "safeframe-canonical/2"
"""The edition before. It took compatibility forms (NFKC) and every pair of letters that Unicode
folds for one: ``10² N`` and ``102 N``, ``Maße`` and ``Masse``, ``5 mW`` and ``5 MW``.

A document in which it took nothing for one that is two has the same forms in both editions, and
keeps the name of this one: a fingerprint that somebody wrote down must be found again.
"""

Profiles = Mapping[str, Profile]
"""The user's own profiles by name; they come before the listed ones."""


def meaning(text: str) -> str:
    """Return a text that people read: letter case and blanks aside.

    The case stays where it alone tells two units after a number: ``5 mW`` and ``5 MW``.
    """
    plain = _blanks(text)
    if _FIGURES.isdisjoint(plain):
        return _lower(plain)
    parts = _quantities().split(plain)
    parts[::2] = map(_lower, parts[::2])
    return "".join(parts)


_FIGURES = frozenset("0123456789")


@cache
def _quantities() -> re.Pattern[str]:
    """Return what finds units after a number that another case makes other units.

    Those are milli and mega, and newton metres and nanometres. Whole texts in capitals are usual:
    of symbols that are none in capitals, such as MM and MS, nothing is told apart.
    """
    import re  # deferred: most texts hold no number.

    units = "m|g|s|t|J|Hz|Pa|bar|eV|Ω|Wh?|VA?|Ah?|Nm?"
    return re.compile(rf"(?<=[0-9])( ?(?:[mM](?:{units})|[nN]m))(?![A-Za-z])")


def variable(text: str) -> str:
    """Return a program variable, letter case aside.

    Identifiers of IEC 61131-3 do not tell capitals from small letters: from memory.
    """
    return _lower(_blanks(text))


def edition(typed: Iterable[str], read: Iterable[str]) -> str:
    """Return the edition whose forms these are: the second where it has the same ones.

    ``typed`` are forms in which letter case counts, ``read`` the others.
    """
    if all(text.isascii() or unicodedata.is_normalized("NFKC", text) for text in typed) and all(
        text == unicodedata.normalize("NFKC", text).casefold() for text in read
    ):
        return SECOND
    return CANONICAL


def checksum(text: str) -> str:
    """Return a checksum as it is typed from a screen: without grouping, prefix and letter case.

    ``4F2A-0011``, ``4f2a 0011`` and ``0x4F2A0011`` are one checksum, ``4f2a011`` is another. A sign
    groups only where all groups are hexadecimal, equally long and longer than a figure: ``1.10``
    and ``11.0`` are two versions, ``-123`` is a number. Of other texts the letter case counts.
    """
    plain = "".join(text.split())
    bare = plain.lower().removeprefix("0x")
    groups = bare.translate(_GROUPING).split(" ")
    bare = "".join(groups)
    sizes = set(map(len, groups))
    if not bare or bare.strip("0123456789abcdef") or len(sizes) > 1:
        return plain
    return plain if len(groups) > 1 and sizes == {1} else bare


_GROUPING = str.maketrans(dict.fromkeys("-:._'", " "))

_SAME = {0xB5: "\u03bc", 0x2103: "\u00b0C", 0x2109: "\u00b0F"}
"""Units of one look and one meaning that have two spellings: micro, degree Celsius, Fahrenheit.

The Unicode Standard, chapter 22, has them for other character sets only and prefers the letter mu,
and the degree sign with the letter (from memory). The signs for ohm, kelvin and angstrom are
canonically equivalent to their letters (Unicode Standard Annex 15), so that NFC makes them one.
"""


def person(name: str) -> str:
    """Return a name or serial number as it is compared: ``C. Dahl`` and ``c.dahl`` are one person.

    Compatibility forms (NFKC, Unicode Standard Annex 15), letter case, invisible characters,
    blanks, punctuation and accents beside letters aside; empty where nothing is left, which names
    nobody.
    """
    # An accent that stands by itself is one upon the letter before it in NFKC.
    heard = "".join(char for char in name if not _silent(char))
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", heard).casefold())
    return "".join(char for char in folded if not _silent(char))


@lru_cache(maxsize=4096)
def _silent(char: str) -> bool:
    """Return whether a character says nothing in a name."""
    kind = unicodedata.category(char)
    # Controls, formats, surrogates, unassigned; blanks; punctuation; accents and the minus sign.
    aside = kind[0] in "CZP" or kind == "Sk" or char == "\u2212"
    return aside or any(ord(char) in run for run in _INVISIBLE)


_INVISIBLE = (
    range(0x034F, 0x0350),
    range(0x115F, 0x1161),
    range(0x17B4, 0x17B6),
    range(0x180B, 0x1810),
    range(0x2800, 0x2801),
    range(0x3164, 0x3165),
    range(0xFE00, 0xFE10),
    range(0xFFA0, 0xFFA1),
    range(0xE0100, 0xE01F0),
)
"""Characters that are drawn as nothing although their category is that of marks, letters or signs.

Those of Default_Ignorable_Code_Point (DerivedCoreProperties of the Unicode Character Database,
from memory), and the blank pattern of Braille.
"""


def _blanks(text: str) -> str:
    if not text.isascii():
        text = unicodedata.normalize("NFC", text.translate(_SAME))
    return " ".join(text.split())


def _lower(text: str) -> str:
    """Return a text in small letters; not case-folded, for ß is not ss: Maße, Masse."""
    small = text.lower()
    # A small letter may be composed where the capital is not: J and a caron.
    return small if small.isascii() else unicodedata.normalize("NFC", small)


def _order(signal: Signal) -> str:
    return signal.order if signal.width > 8 else "little"


def _safe(signal: Signal) -> int | float | str:
    safe = signal.safe
    if safe - safe != 0:
        return str(safe)  # Not a number equals nothing, itself included; a form must.
    if signal.type != "float":
        return int(safe) if safe % 1 == 0 else safe
    try:
        number = float(safe)
    except OverflowError:
        return safe
    return _carried(number, signal.width) + 0.0  # 0, 0.0 and -0.0 are one safe value.


def _carried(value: float, width: int) -> float:
    """Return the number that a float of this width carries where another one was stated."""
    import struct  # deferred: few maps hold a float.

    letter = {16: "<e", 32: "<f", 64: "<d"}[width]
    try:
        return float(struct.unpack(letter, struct.pack(letter, value))[0])
    except OverflowError:
        return value  # Out of range, which a check says; here it only has to be itself.


def _scale(signal: Signal) -> str:
    text = signal.scale
    if text == "1":
        return text
    from decimal import Context, Decimal, InvalidOperation  # deferred: most signals have none.

    try:
        return str(Decimal(text).normalize(Context(prec=len(text))))
    except InvalidOperation:
        return text


_SIGNAL: dict[str, Callable[[Signal], Any]] = {
    "order": _order,
    "safe": _safe,
    "one_means": lambda signal: meaning(signal.one_means),
    "codes": lambda signal: tuple((number, meaning(name)) for number, name in signal.codes),
    "scale": _scale,
    "unit": lambda signal: _blanks(signal.unit),
    "valid_by": lambda signal: signal.valid_by if signal.valid_by.strip() else "",
    "mirrors": lambda signal: signal.mirrors if signal.mirrors.strip() else "",
    "bind": lambda signal: variable(signal.bind),
}
_TABLE: dict[str, Callable[[ConnectionTable], Any]] = {
    "edition": lambda table: _blanks(table.edition),
    "network": lambda table: _blanks(table.network),
    "legal_octets": lambda table: tuple(sorted(set(table.legal_octets))),
}
_END: dict[str, Callable[[End], Any]] = {"role": lambda end: _blanks(end.role)}
_FORMS: dict[type, dict[str, Callable[[Any], Any]]] = {
    Signal: _SIGNAL,
    ConnectionTable: _TABLE,
    End: _END,
}


def form(value: Signal | ConnectionTable | End | Reserved, field: str) -> Any:
    """Return the form of one field of a value of the model; most fields are their own form."""
    make = _FORMS.get(type(value), _NONE).get(field)
    return getattr(value, field) if make is None else make(value)


_NONE: dict[str, Callable[[Any], Any]] = {}


def former(kind: type, field: str) -> Callable[[Any], Any]:
    """Return what gives the form of one field of every value of a class of the model."""
    return _FORMS.get(kind, _NONE).get(field) or attrgetter(field)


def alike(
    one: Signal | ConnectionTable | End, two: Signal | ConnectionTable | End, field: str
) -> bool:
    """Return whether a field says the same in both values."""
    left, right = getattr(one, field), getattr(two, field)
    if field == "order":
        return bool(form(one, field) == form(two, field))  # The width speaks too.
    return bool(left == right or form(one, field) == form(two, field))


def forms(signal: Signal) -> tuple[Any, ...]:
    """Return the forms of all that a signal says, its own remark aside."""
    return tuple([form(signal, name) for name in _SIGNAL_FIELDS])


_SIGNAL_FIELDS = (
    *("name", "at", "width", "type", "order", "safe", "one_means", "edge", "unit", "scale"),
    *("codes", "valid_by", "mirrors", "bind"),
)


def reserve(map_: Map) -> tuple[tuple[int, int], ...]:
    """Return (index, value) of every reserved bit, once: where runs end or meet means nothing."""
    words = enumerate(reserve_words(map_))
    return tuple(sorted((index, value) for value, word in words for index in _ones(word)))


def reserve_words(map_: Map) -> tuple[int, int]:
    """Return the bits that some reserved run states as 0, and those that one states as 1."""
    zeros = ones = 0
    for run in map_.reserved:
        zeros |= (run.value ^ (1 << run.width) - 1) << run.start
        ones |= run.value << run.start
    return zeros, ones


def _ones(word: int) -> Iterator[int]:
    """Yield the index of each set bit; thousands of zeros before one cost next to nothing."""
    text = f"{word:b}"[::-1]
    index = text.find("1")
    while index >= 0:
        yield index
        index = text.find("1", index + 1)


def remarks(map_: Map) -> tuple[tuple[int, int, str], ...]:
    """Return (first index, index after the last, remark) of reserved bits that have one remark."""
    found: list[tuple[int, int, str]] = []
    for start, end, note in sorted((run.start, run.end, run.note) for run in map_.reserved):
        if not note:
            continue
        if found and found[-1][1:] == (start, note):
            start = found.pop()[0]
        found.append((start, end, note))
    return tuple(found)


class Parameter(NamedTuple):
    """A parameter of an end: its form, and whether both ends must hold the same.

    ``listed`` tells that the profile lists it. Of one that no profile lists, the worst is assumed:
    it may seed a CRC, so both ends must hold the same. ``sealed`` tells that frames of an end
    that holds another value are refused: of what the profile marks "same at both ends".
    """

    name: str
    value: Scalar
    form: Any
    shared: bool
    sealed: bool


def find_profile(name: str, own_profiles: Profiles | None = None) -> Profile | None:
    """Return a profile by name, the user's own before a listed one, None for an unknown name."""
    own = (own_profiles or {}).get(name)
    if own is not None:
        return own
    return protocols.load(name) if name in protocols.names() else None


def parameters(end: End, own_profiles: Profiles | None = None) -> Iterator[Parameter]:
    """Yield the parameters that an end states, in name order."""
    if not end.parameters:
        return
    profile = find_profile(end.connection_table.profile, own_profiles)
    rules = {} if profile is None else {rule.name: rule for rule in profile.parameters}
    for name, value in sorted(end.parameters, key=lambda stated: stated[0]):
        rule = rules.get(name)
        yield Parameter(
            name=name,
            value=value,
            form=_parameter(rule, value),
            shared=rule is None or _shared(rule),
            sealed=rule is not None and _shared(rule),
        )


def shared_parameters(end: End, own_profiles: Profiles | None = None) -> dict[str, Parameter]:
    """Return what an end states of the parameters that both ends must hold alike, by name."""
    return {found.name: found for found in parameters(end, own_profiles) if found.shared}


def _shared(rule: ParameterRule) -> bool:
    # What only one role has cannot stand at both ends.
    return rule.shared and len(set(rule.roles)) != 1


def _parameter(rule: ParameterRule | None, value: Scalar) -> Any:
    """Return the form of a parameter; Python takes True, 1 and 1.0 for one, a map file does not."""
    if isinstance(value, str) and rule is not None and rule.type in ("guid", "hex"):
        return "text", "".join(value.casefold().split())
    kind = {bool: "bool", int: "int", float: "float", str: "text"}[type(value)]
    return kind, value + 0.0 if isinstance(value, float) else value  # -0.0 and 0.0 are one number.
