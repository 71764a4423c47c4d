"""Remedies carried out word by word on the tiny model, as a person would do it."""

from __future__ import annotations

import ast
import copy
import re

from .oracle import MOVE, Said
from .tiny import Pair, Row, Rows, place, signals, size

_P = r"\d+\.\d+"
_NAME = rf"\w+(?: \({_P}\))?"
"""A signal, with its place where its name stands twice."""
_END = r"SC1|LX2?"


class NoEditError(Exception):
    """A remedy that is an advice and no edit."""


def alternatives(said: Said) -> list[str]:
    """Return the alternatives of a remedy."""
    return said.remedy.split(", or ")


def carry_out(pair: Pair, said: Said, text: str) -> Pair:
    """Return a pair with one alternative of a remedy done; NoEditError for an advice."""
    done = pair.copy()
    if said.direction is None:
        _state_table(done, text)
        return done
    ends = _ends(done, said.direction)
    # An advice in front of the edit that follows from it.
    text = re.sub(r"^.*at both ends(?:: octet 0 is sent first)?: (?=place )", "", text)
    text = text.replace("remove it at", f"remove {_subject(said)} at")
    stated = _STATED.fullmatch(text)
    if stated is not None:
        _state(ends, stated)
        return done
    changes: list[tuple[str, str]] = []
    m = re.fullmatch(r"(move .*|remove .*|start it .*) \(((?:reserve|drop) [^()]*)\)", text)
    if m is not None and not re.search(r" at (SC1|LX)| there$", m[2]):
        text = m[1]
        changes += ((end, m[2]) for end in dict.fromkeys(end for end, _ in said.spots))

    def take(m: re.Match[str]) -> str:
        changes.append((m[2], m[1]))
        return ""

    text = re.sub(rf" \(((?:reserve|drop) [^()]*?) at ({_END})\)", take, text)
    m = re.fullmatch(rf"(.*) at ({_END}) \(((?:reserve|drop) [^()]*) there\)", text)
    if m is not None:
        changes.append((m[2], m[3]))
        text = f"{m[1]} at {m[2]}"
    _do(ends, said, text)
    for end, change in changes:
        _reserve(ends[end], change)
    for rows in ends.values():
        rows.sort(key=lambda row: row.start)
    return done


_WHAT = {
    "type": "type",
    "octet order": "order",
    "unit": "unit",
    "scale": "scale",
    "acting edge": "edge",
    "safe value": "safe",
    "validity bit": "valid_by",
    "meaning of 1": "one_means",
}
_STATED = re.compile(
    rf"state the ({'|'.join(_WHAT)}|code table)(?: (.+?))?"
    rf"(?: \((?:with the|without a) code table\))? of ({_NAME}) at ({_END}), as at ({_END})"
    rf"(?: \(({_P})\))?"
)


def _state(ends: dict[str, Rows], m: re.Match[str]) -> None:
    """Have one end say of a signal what is said in a remedy."""
    row = _find(ends[m[4]], m[3])
    if m[1] == "type" and "code table" in m[0]:
        row.type = m[2]
    if m[1] == "code table" or "code table)" in m[0]:
        other = [
            one
            for one in signals(ends[m[5]])
            if (one.start == _bit(m[6]) if m[6] else one.name == row.name)
        ]
        row.codes = (other or [one for one in ends[m[5]] if one.start == row.start])[0].codes
        return
    value: object = m[2]
    if m[1] == "octet order":
        value = m[2].removesuffix("-endian")
    elif m[1] == "acting edge":
        value = m[2] if m[2] in ("rising", "falling", "both") else ""
    elif m[1] == "safe value":
        value = int(m[2])
    elif m[1] == "meaning of 1":
        value = ast.literal_eval(m[2])
    setattr(row, _WHAT[m[1]], value)


_KEYS = {
    "connection id": "id",
    "connection name": "name",
    "watchdog time in ms": "watchdog_ms",
    "exchange time in ms": "exchange_ms",
    "permitted reaction time in ms": "permitted_reaction_ms",
    "network": "network",
    "list of legal sizes": "legal_octets",
}


def _state_table(pair: Pair, text: str) -> None:
    """Have one end state a key of the connection, a parameter or a role, as a remedy says."""
    m = re.fullmatch(rf"give ({_END}) the role (\w+)", text)
    if m is not None:
        next(end for end in pair.ends if end.name == m[1]).end["role"] = m[2]
        return
    m = re.fullmatch(
        rf"state the ({'|'.join(_KEYS)}|parameter (\w+)) (.+) at ({_END}), as at (?:{_END})", text
    )
    if m is None:
        raise NoEditError(text)
    end = next(end for end in pair.ends if end.name == m[4])
    if m[2]:
        end.parameters[m[2]] = int(m[3])
    elif m[1] == "list of legal sizes":
        end.table["legal_octets"] = [int(size) for size in m[3].split(", ")]
    else:
        plain = m[1] in ("connection name", "network")
        end.table[_KEYS[m[1]]] = m[3] if plain else int(m[3].split(" ")[0])


def _ends(pair: Pair, direction: int) -> dict[str, Rows]:
    return {
        pair.ends[direction].name: pair.rows(direction, 0),
        pair.ends[1 - direction].name: pair.rows(direction, 1),
    }


def _subject(said: Said) -> str:
    return said.spots[0][1]


def _bit(text: str) -> int:
    octet, bit = text.split(".")
    return 8 * int(octet) + int(bit)


def _find(rows: Rows, name: str) -> Row:
    bare, _, at = name.partition(" (")
    return next(row for row in rows if row.name == bare and at in ("", f"{place(row.start)})"))


def _do(ends: dict[str, Rows], said: Said, text: str) -> None:
    spots = list(dict.fromkeys(end for end, _ in said.spots))
    m = re.fullmatch(
        rf"insert (\w+) at ({_P}) at ({_END}) as well"
        r"(?: and take \d+ bits? from the reserve there \((.+)\))?",
        text,
    )
    if m is not None:
        _insert(ends, m[1], m[3], _bit(m[2]))
        if m[4] and m[4].startswith("reserve ") and " instead of " in m[4] and " at " not in m[4]:
            _shrink(ends[m[3]], m[1], _bit(m[2]))
        elif m[4] and "used up" in m[4]:
            row = Row(_bit(m[2]), 1)
            ends[m[3]][:] = [one for one in ends[m[3]] if one.name or one.start != row.start]
        elif m[4]:
            _reserve(ends[m[3]], m[4])
        return None
    m = re.fullmatch(rf"insert (.+?) at ({_END}) as well and (place .+)", text)
    if m is not None:
        for one in re.finditer(rf"(\w+) at ({_P})", m[1]):
            _insert(ends, one[1], m[2], _bit(one[2]))
        return _do(ends, said, m[3])
    m = re.fullmatch(rf"remove ([\w .()]+?) at ({_END})(?: and (place .+))?", text)
    if m is not None:
        gone = m[1].split(" and ")
        for name, place in re.findall(rf"(\w+) \(({_P})\)", m[1]):
            ends[m[2]][:] = [
                row for row in ends[m[2]] if row.name != name or row.start != _bit(place)
            ]
        at = re.search(rf"\w+ \(\d+ bits? at ({_P})", said.message)
        start = _bit(at[1]) if at and said.rule == "one-sided-signal" else None
        ends[m[2]][:] = [
            row for row in ends[m[2]] if row.name not in gone or start not in (None, row.start)
        ]
        return _do(ends, said, m[3]) if m[3] else None
    m = re.fullmatch(rf"place (.+) at ({_END}) as at ({_END})", text)
    if m is not None:
        return _place(ends, said, m[1], m[2], m[3])
    m = re.fullmatch(rf"move ({_NAME}) to ({_P}) at ({_END})", text)
    if m is not None:
        _find(ends[m[3]], m[1]).start = _bit(m[2])
        return None
    m = re.fullmatch(
        rf"make ({_NAME}) (\d+) bits? wide at ({_END}), as at ({_END})"
        r"(?:, and place (.+) there as at (?:SC1|LX2?))?",
        text,
    )
    if m is not None:
        row = _find(ends[m[3]], m[1])
        other = _find(ends[m[4]], row.name)
        row.width, row.type, row.start = int(m[2]), other.type, other.start
        return _place(ends, said, m[5], m[3], m[4]) if m[5] else None
    m = re.fullmatch(
        rf"(?:have the reserve|end the data) at (?:{_END}) as at (?:{_END})|sort the rows by place",
        text,
    )
    if m is not None:
        return None
    m = re.fullmatch(rf'declare {{ at = "({_P})", reserved = (\d+) }}', text)
    if m is not None:
        for end in spots:
            start, width = _bit(m[1]), int(m[2])
            rows = ends[end]
            rows[:] = [row for row in rows if not (row.name and row.start == start)]
            rows.append(Row(start, width))
        return None
    m = re.fullmatch(rf"spell it (\w+) at ({_END}), as at (?:{_END})", text)
    if m is not None:
        old = next(name for end, name in said.spots if end == m[2])
        for row in ends[m[2]]:
            row.name = m[1] if row.name == old else row.name
            row.valid_by = m[1] if row.valid_by == old else row.valid_by
        return None
    m = re.fullmatch(rf"call the signal at ({_P}) (\w+), as the other end does", text)
    if m is not None:
        for end in spots:
            for row in signals(ends[end]):
                row.name = m[2] if row.start == _bit(m[1]) else row.name
        return None
    m = re.fullmatch(rf"remove the one at ({_P})|remove (\w+)(?: \(({_P})\))?", text)
    if m is not None:
        for end in spots:
            name = m[2] or _subject(said)
            start = _bit(m[1] or m[3]) if m[1] or m[3] else None
            ends[end][:] = [
                row for row in ends[end] if row.name != name or start not in (None, row.start)
            ]
        return None
    m = re.fullmatch(rf"move ({_NAME}) to ({_P})|start it at ({_P})", text)
    if m is not None:
        for end in spots:
            row = _find(ends[end], m[1] or _subject(said))
            row.start = _bit(m[2] or m[3])
        return None
    m = re.fullmatch(rf"reserve (\d+) bits? instead of \d+ at ({_P}) \(\d+ octets?\)", text)
    if m is not None:
        for end in spots:
            run = next(row for row in ends[end] if row.start == _bit(m[2]) and not row.name)
            run.width = int(m[1])
        return None
    m = re.fullmatch(r"reserve (\d+) bits? more \(\d+ octets?\)", text)
    if m is not None:
        for end in spots:
            ends[end].append(Row(size(ends[end]), int(m[1])))
            _join(ends[end])
        return None
    if re.match(r"(reserve|drop) ", text):
        for end in spots:
            _reserve(ends[end], text)
        return None
    raise NoEditError(text)


def _join(rows: Rows) -> None:
    """Make the last two rows one where both are reserved."""
    if len(rows) > 1 and not rows[-1].name and not rows[-2].name:
        rows[-2].width += rows.pop().width


def _insert(ends: dict[str, Rows], name: str, end: str, start: int) -> None:
    other = next(rows for key, rows in ends.items() if key != end)
    row = copy.copy(next(one for one in other if one.name == name and one.start == start))
    row.bind = f"bound.by.hand.{name}.{end}"
    ends[end].append(row)


def _shrink(rows: Rows, name: str, start: int) -> None:
    """Take the bits of a new signal from the one reserved run that holds them."""
    new = next(row for row in rows if row.name == name and row.start == start)
    run = next(row for row in rows if not row.name and row.start <= new.start < row.end)
    if run.start == new.start:
        run.start += new.width
    run.width -= new.width


def _place(ends: dict[str, Rows], said: Said, what: str, end: str, other: str) -> None:
    """Give signals the places that they have at the other end, by what the details say."""
    count = re.fullmatch(r"the (\d+) displaced signals", what)
    where: dict[str, tuple[str, str, str, str]] = {}
    for line in said.details:
        m = MOVE.fullmatch(line)
        assert m is not None, line
        called = m[2] if m[2] and end == m[6] else m[1]
        where[called] = (m[3], m[4], m[5], m[6])
    names = list(where) if count else what.split(" and ")
    assert count is None or int(count[1]) == len(names), (what, names)
    starts = []
    for name in names:
        bare = name.partition(" (")[0]
        if bare in where:
            a, left, b, _ = where[bare]
            here, there = (a, b) if left == end else (b, a)
            fit = [one for one in signals(ends[end]) if place(one.start) == here.split("-")[0]]
            row = next((one for one in fit if one.name == bare), fit[0] if fit else None)
            assert row is not None, name
            starts.append((row, _bit(there.split("-")[0])))
        else:
            starts.append((_find(ends[end], name), _find(ends[other], bare).start))
    for row, start in starts:
        row.start = start


def _reserve(rows: Rows, text: str) -> None:
    """Do what is said about the reserved rows of one end."""
    for part in re.split(r", (?=drop )|, (?=\d)", text):
        m = re.fullmatch(rf"drop the second reserve at ({_P})", part)
        if m is not None:
            twins = [row for row in rows if not row.name and row.start == _bit(m[1])]
            rows[:] = [row for row in rows if row is not twins[-1]]
            continue
        m = re.fullmatch(r"drop the reserve at (.+)", part)
        if m is not None:
            gone = set(map(_bit, m[1].split(" and ")))
            rows[:] = [row for row in rows if row.name or row.start not in gone]
            continue
        m = re.fullmatch(
            rf"(?:reserve )?(\d+) bits? at ({_P})(?: instead of (\d+)(?: at ({_P}))?)?", part
        )
        if m is None:
            raise AssertionError(f"not understood: {part} of {text}")
        width, start = int(m[1]), _bit(m[2])
        if m[3]:
            old = _bit(m[4] or m[2])
            run = next(
                row for row in rows if not row.name and row.start == old and row.width == int(m[3])
            )
            rows[:] = [row for row in rows if row is not run]
        rows.append(Row(start, width))
