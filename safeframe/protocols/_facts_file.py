"""Reading profile files strictly: every problem of a file at once, with its line and key path."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

from .._document.kinds import FLAG, NAME, TEXT, Kind, RefusalError, array, choice, integer, show
from .._document.paths import Path
from .._document.problems import Problems
from .._document.reader import read_text
from .._document.tables import Key, Tables, nested
from .._document.toml import located
from .._errors import UsageError
from .._words import guess
from ..crc import CATALOGUE, Algorithm, compute, residue
from ._facts import (
    CONFIDENCES,
    PROOFS,
    CrcUse,
    FrameKind,
    ParameterRule,
    PartRow,
    Profile,
    Proof,
    ReactionShare,
    SizeRange,
    Sizes,
    Source,
    TestedUpTo,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

FORMAT = "safeframe-profile/1"

_PARAMETER_TYPES = ("int", "text", "guid", "hex", "bool")
_MEMBER_TYPES = ("bool", "uint", "int", "float", "code")
_WHAT = "a profile"


def _must(kind: Kind) -> Key:
    return Key(kind=kind, required=True)


def _may(kind: Kind) -> Key:
    return Key(kind=kind)


def _read_unset(value: Any) -> int | str:
    if type(value) not in (int, str):
        raise RefusalError("an integer or a text", value)
    found: int | str = value
    return found


def _read_range(value: Any) -> tuple[int, int]:
    pair = value if type(value) is list else []
    if len(pair) != 2 or any(type(end) is not int for end in pair) or not 0 <= pair[0] <= pair[1]:
        raise RefusalError("[first, last] in rising order, both integers from 0", value)
    return pair[0], pair[1]


def _member(type: str, width: int) -> tuple[str, int]:  # noqa: A002 - the key of the file.
    fits = {"bool": width == 1, "float": width in (16, 32, 64)}
    if not fits.get(type, True):
        raise UsageError(f"width must be one that a signal of type {type} can have, not {width}")
    return type, width


def _size_range(first: int, step: int = 1, last: int | None = None, label: str = "") -> SizeRange:
    if last is not None and (last < first or (last - first) % step):
        raise UsageError(f"last must be first plus a multiple of step, not {last}")
    return SizeRange(first=first, last=last, step=step, label=label)


_INLINE_ALGORITHM = nested(
    Algorithm,
    {
        "name": _must(TEXT),
        "width": _must(integer(8)),
        "poly": _must(integer(1)),
        "init": _may(integer(0)),
        "refin": _may(FLAG),
        "refout": _may(FLAG),
        "xorout": _may(integer(0)),
        "check": _may(integer(0)),
        "residue": _may(integer(0)),
        "source": _may(TEXT),
    },
    "an algorithm",
)


def _algorithm(tables: Tables, value: Any, path: Path) -> Any:
    assert _INLINE_ALGORITHM.inside is not None
    if type(value) is dict:
        found = _INLINE_ALGORITHM.inside(tables, value, path)
        if isinstance(found, Algorithm):
            _recompute(tables, found, path)
        return found
    if type(value) is str and value in CATALOGUE:
        return CATALOGUE[value]
    near = guess(str(value), CATALOGUE)
    remedy = f"did you mean {near}?" if near else "`safeframe crc --list` shows the names"
    tables.refuse(path, RefusalError("a catalogue name or a table", value), remedy)
    return None


def _recompute(tables: Tables, algorithm: Algorithm, path: Path) -> None:
    """Add a problem for each figure of an algorithm that does not follow from the others."""
    given = {"check": algorithm.check, "residue": algorithm.residue}
    for key in [key for key, stated in given.items() if stated is not None]:
        follows = residue(algorithm) if key == "residue" else compute(algorithm, b"123456789")
        if given[key] != follows:
            message = f"{key} must be {follows:#x}, as this algorithm has it, not {given[key]:#x}"
            tables.add((*path, key), message)


_UNSET = Kind(text="integer or text", read=_read_unset, schema={"type": ["integer", "string"]})
_RANGE = Kind(text="[first, last]", read=_read_range, schema=array(integer(0)).schema)
_ALGORITHM = Kind(text="catalogue name or table", read=CATALOGUE.get, schema={}, inside=_algorithm)
_TEXTS, _NAMES = array(TEXT), array(NAME)
_SIZE = nested(
    _size_range,
    {
        "first": _must(integer(0)),
        "last": _may(integer(0)),
        "step": _may(integer(1)),
        "label": _may(TEXT),
    },
    "a range of sizes",
)
_MEMBER = nested(
    _member, {"type": _must(choice(*_MEMBER_TYPES)), "width": _must(integer(1))}, "a member type"
)
_PARAMETER = nested(
    ParameterRule,
    {
        "name": _must(NAME),
        "type": _must(choice(*_PARAMETER_TYPES)),
        "minimum": _may(integer(None)),
        "maximum": _may(integer(None)),
        "choices": _may(array(integer(None))),
        "unset": _may(_UNSET),
        "unit": _may(TEXT),
        "roles": _may(_TEXTS),
        "shared": _may(FLAG),
        "required": _may(FLAG),
        "unique": _may(FLAG),
        "note": _may(TEXT),
        "source": _may(TEXT),
    },
    "a parameter",
)
_PART = nested(
    PartRow,
    {
        "name": _must(TEXT),
        "octets": _must(TEXT),
        "meaning": _must(TEXT),
        "source": _may(TEXT),
    },
    "a part of a frame",
)
_FRAME = nested(
    FrameKind,
    {
        "name": _must(TEXT),
        "title": _must(TEXT),
        "size": _must(TEXT),
        "when": _may(TEXT),
        "repeat": _may(_TEXTS),
        "parts": _must(array(_PART)),
    },
    "a frame",
)
_CRC = nested(
    CrcUse,
    {
        "name": _must(TEXT),
        "algorithm": _must(_ALGORITHM),
        "covers": _must(_TEXTS),
        "carried": _must(TEXT),
        "note": _may(TEXT),
        "source": _may(TEXT),
    },
    "a CRC",
)
_REACTION = nested(
    ReactionShare,
    {
        "edition": _must(TEXT),
        "watchdogs": _must(integer(0)),
        "consumer_cycles": _must(integer(0)),
        "why": _must(TEXT),
        "stated_in": _must(TEXT),
    },
    "a share of the reaction time",
)
_PROOF = nested(
    Proof,
    {"what": _must(TEXT), "how": _must(choice(*PROOFS)), "by": _must(TEXT)},
    "a proof",
)
_TESTED = nested(
    TestedUpTo,
    {"what": _must(TEXT), "octets": _must(integer(1)), "stated_in": _must(TEXT)},
    "a tested size",
)
_SOURCE = nested(
    Source,
    {"tag": _must(TEXT), "text": _must(TEXT), "confidence": _must(choice(*CONFIDENCES))},
    "a source",
)

FIELDS: dict[str, Key] = {
    "format": _may(choice(FORMAT)),
    "name": _must(NAME),
    "title": _must(NAME),
    "summary": _may(TEXT),
    "editions": _may(_NAMES),
    "roles": _may(_NAMES),
    "block_octets": _may(integer(1)),
    "id_range": _may(_RANGE),
    "address_range": _may(_RANGE),
    "watchdog_range_ms": _may(_RANGE),
    "watchdog_sealed": _may(FLAG),
    "fail_safe": _may(choice("zero")),
    "one_way": _may(FLAG),
    "data_role": _may(TEXT),
    "answering_role": _may(TEXT),
    "notes": _may(_TEXTS),
    "not_offered": _may(_TEXTS),
    "recipe": _may(FLAG),
    "sizes": _may(array(_SIZE)),
    "member_types": _may(array(_MEMBER)),
    "parameters": _may(array(_PARAMETER)),
    "frames": _may(array(_FRAME)),
    "crcs": _may(array(_CRC)),
    "reactions": _may(array(_REACTION)),
    "tested": _may(array(_TESTED)),
    "proofs": _may(array(_PROOF)),
    "sources": _may(array(_SOURCE)),
}
"""Every key of a profile file."""


def _cross_check(tables: Tables, found: dict[str, Any], sizes: Sizes) -> None:
    """Add problems about values that contradict each other."""
    if pair := sizes.overlapping():
        tables.add(
            ("sizes",), f"the ranges must rise and not overlap, not {pair[0]} before {pair[1]}"
        )
    tags = {source.tag for source in found.get("sources", ())}
    for table in ("parameters", "crcs"):
        for number, entry in enumerate(found.get(table, ())):
            for tag in entry.source.split():
                if tag not in tags:
                    tables.add(
                        (table, number, "source"), f"the tag {tag} must be one of [[sources]]"
                    )
    _check_roles(tables, found)
    parameters = found.get("parameters", ())
    _check_once(tables, "parameters", "name", [rule.name for rule in parameters])
    for number, rule in enumerate(parameters):
        for key, message in _contradictions(rule):
            tables.add(("parameters", number, key), message)
    editions = [share.edition for share in found.get("reactions", ())]
    _check_once(tables, "reactions", "edition", editions)
    _check_once(tables, "tested", "what", [most.what for most in found.get("tested", ())])
    _check_once(tables, "sources", "tag", [source.tag for source in found.get("sources", ())])
    octets = {rule.name for rule in parameters if rule.type == "hex"}
    for number, most in enumerate(found.get("tested", ())):
        if most.what != "data" and most.what not in octets:
            message = f"what must be data or a parameter of the type hex, not {show(most.what)}"
            tables.add(("tested", number, "what"), message)


def _check_roles(tables: Tables, found: dict[str, Any]) -> None:
    """Add problems about roles that no end can have: what is asked of them is asked of nobody."""
    roles = found.get("roles", ())
    for key in ("data_role", "answering_role"):
        if found.get(key) and found[key] not in roles:
            tables.add((key,), f"{key} must be one of roles, not {show(found[key])}")
    if found.get("data_role") and not found.get("one_way"):
        tables.add(("data_role",), "data_role must go with one_way = true")
    for number, rule in enumerate(found.get("parameters", ())):
        for role in rule.roles if roles else ():
            if role not in roles:
                message = f"an entry of roles must be one of the profile's, not {show(role)}"
                tables.add(("parameters", number, "roles"), message)


def _check_once(tables: Tables, table: str, key: str, names: list[str]) -> None:
    """Add a problem for each name that stands a second time: only one of the two would count."""
    seen: set[str] = set()
    for number, name in enumerate(names):
        if name in seen:
            tables.add((table, number, key), f"{key} must stand once, not {show(name)} again")
        seen.add(name)


def _contradictions(rule: ParameterRule) -> Iterator[tuple[str, str]]:
    """Yield the keys of a parameter that no value, or none of its type, can fit."""
    least, most = rule.minimum, rule.maximum
    bounds = {"minimum": least is not None, "maximum": most is not None, "choices": rule.choices}
    for key, stated in bounds.items():
        types = ("int",) if key == "choices" else ("int", "hex")
        if stated and rule.type not in types:
            yield key, f"{key} must go with the type {' or '.join(types)}, not {rule.type}"
    if least is not None and most is not None and least > most:
        yield "maximum", f"maximum must be at least {least}, not {most}"
    for one in rule.choices:
        if (least is not None and one < least) or (most is not None and one > most):
            yield "choices", f"choices must lie within minimum and maximum, not {one}"
    usual = {"int": int, "bool": bool}.get(rule.type, str)
    if rule.unset is not None and type(rule.unset) is not usual:
        yield "unset", f"unset must be of the type {rule.type}, not {show(rule.unset)}"


def loads(text: str, *, path: str = "<text>") -> Profile:
    """Read a profile from TOML text; raises InputError with every problem in it."""
    data, line_of = located(text, path=path)
    tables = Tables(Problems(path), line_of)
    tables.head(data, FORMAT, _WHAT, FIELDS)
    known = {name: data[name] for name in FIELDS if name in data}
    found = tables.take(known, FIELDS, (), _WHAT)
    tables.problems.refuse()
    assert found is not None
    sizes = Sizes(ranges=found.pop("sizes", ()))
    _cross_check(tables, found, sizes)
    tables.problems.refuse()
    del found["format"]
    left_out = [name for name in FIELDS if name not in data]
    left_out += _left_out_of_parameters(data.get("parameters", ()))
    return Profile(sizes=sizes, left_out=tuple(left_out), **found)


def _left_out_of_parameters(rows: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Yield what each parameter does not state, though a rule would judge by it."""
    for row in rows:
        bounded = row["type"] != "int" or "choices" in row
        asked = ("shared",) if bounded else ("minimum", "maximum", "shared")
        yield from (f"parameters.{row['name']}.{key}" for key in asked if key not in row)


def load_file(path: str | os.PathLike[str]) -> Profile:
    """Read a user's own profile file; raises InputError when it cannot be read."""
    name = os.fspath(path)
    return loads(read_text(name, what="profile"), path=name)
