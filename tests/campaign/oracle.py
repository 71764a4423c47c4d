"""What is true of two maps, and which sentences of a finding are not.

A sentence that no pattern here knows is reported as unknown, so that none passes unread.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from .tiny import Pair, Row, Rows, place, signals, size

DISPLACES = {
    "shifted-signals",
    "swapped-signals",
    "rotated-signals",
    "moved-signal",
    "octet-order",
    "bit-numbering",
    "nibble-order",
    "bit-per-octet",
    "rearranged-signals",
    "reserve-differs",
    "width-differs",
}


class Said(NamedTuple):
    """A finding as a reader sees it; ``direction`` is 0, 1 or None.

    ``details`` are where displaced signals stand, ``below`` what hangs below as a consequence.
    """

    rule: str
    message: str
    remedy: str
    details: tuple[str, ...]
    direction: int | None
    spots: tuple[tuple[str, str], ...]
    below: tuple[Said, ...] = ()


def _bit(text: str) -> int:
    octet, bit = text.split(".")
    return 8 * int(octet) + int(bit)


def _run(text: str) -> tuple[int, int]:
    first, _, last = text.partition("-")
    return _bit(first), _bit(last or first) + 1


def _alone(rows: Rows) -> dict[str, Row]:
    """Return the signals whose name stands once."""
    number = Counter(row.name for row in signals(rows))
    return {row.name: row for row in signals(rows) if number[row.name] == 1}


@dataclass
class Truth:
    """One direction as it is: who sends, who receives, which signals stand right."""

    ends: tuple[str, str]
    maps: tuple[Rows, Rows]

    def __post_init__(self) -> None:
        left, right = map(_alone, self.maps)
        both = left.keys() & right.keys()
        self.right = {
            name
            for name in both
            if (left[name].start, left[name].width) == (right[name].start, right[name].width)
        }
        self.displaced = {name for name in both if left[name].start != right[name].start}

    def at(self, end: str) -> Rows:
        return self.maps[self.ends.index(end)]

    def find(self, end: str, name: str) -> list[Row]:
        return [row for row in self.at(end) if row.name == name]


def truths(pair: Pair) -> tuple[Truth, Truth]:
    ends = pair.ends[0].name, pair.ends[1].name
    return (
        Truth(ends, (pair.rows(0, 0), pair.rows(0, 1))),
        Truth((ends[1], ends[0]), (pair.rows(1, 0), pair.rows(1, 1))),
    )


def _meaning(rows: Rows) -> tuple[object, ...]:
    """Return what a map says of every bit, in one form."""
    found = [
        (
            row.name,
            row.start,
            row.width,
            row.type,
            row.order if row.width > 8 else "",
            row.safe,
            " ".join(row.one_means.casefold().split()),
            row.edge,
            row.unit,
            float(row.scale),
            tuple(sorted((value, name.casefold()) for value, name in row.codes.items())),
            row.valid_by,
        )
        for row in signals(rows)
    ]
    free = {
        (bit, row.safe >> (bit - row.start) & 1)
        for row in rows
        if not row.name
        for bit in range(row.start, row.end)
    }
    return tuple(sorted(found)), tuple(sorted(free)), size(rows), _shared_bits(rows)


def _shared_bits(rows: Rows) -> int:
    number = Counter(bit for row in rows for bit in range(row.start, row.end))
    return sum(1 for count in number.values() if count > 1)


def agree(pair: Pair) -> bool:
    """Tell whether the two ends agree in everything, and each map is whole."""
    for way in (0, 1):
        left, right = _meaning(pair.rows(way, 0)), _meaning(pair.rows(way, 1))
        if left != right or left[3]:
            return False
        rows = pair.rows(way, 0)
        if sum(row.width for row in rows) != size(rows):
            return False
        if len({row.name for row in signals(rows)}) < len(signals(rows)):
            return False
    own = {"consumer_id"}
    first, second = (
        {key: value for key, value in end.parameters.items() if key not in own} for end in pair.ends
    )
    table, other = (_plain(end.table) for end in pair.ends)
    names = all(a.peer == b.name for a, b in (pair.ends, pair.ends[::-1]))
    return table == other and first == second and names


def _plain(table: dict[str, object]) -> dict[str, object]:
    sizes = table.get("legal_octets")
    made = {key: value.strip() if isinstance(value, str) else value for key, value in table.items()}
    return made | {"legal_octets": sorted(sizes) if isinstance(sizes, list) else sizes}


# Sentences: a pattern and whether what it says is true.

Judge = Callable[[Truth, Said, "re.Match[str]"], bool]
_SENTENCES: list[tuple[re.Pattern[str], Judge]] = []
_NAME = r"[\w()]+?"
_P = r"\d+\.\d+(?:-\d+\.\d+)?"
_END = r"SC1|LX2?"


def _says(pattern: str) -> Callable[[Judge], Judge]:
    made = re.compile(
        pattern.replace("<P>", f"({_P})").replace("<E>", f"({_END})").replace("<N>", r"(\w+)")
    )

    def register(judge: Judge) -> Judge:
        _SENTENCES.append((made, judge))
        return judge

    return register


def _content(truth: Truth, end: str, start: int, stop: int, text: str, own: str) -> bool:
    """Tell whether ``text`` is what an end has at some bits."""
    rows = truth.at(end)
    inside = [row for row in rows if row.start < stop and start < row.end]
    names = {row.name for row in inside if row.name}
    if text == "ends its data before that":
        return start >= size(rows)
    if text == "declares nothing there":
        return not inside and start < size(rows)
    if text == "has a part of it already":
        return names == {own}
    free = {bit for row in inside if not row.name for bit in range(row.start, row.end)}
    whole = set(range(start, stop)) <= free
    if text == "has these bits reserved":
        return whole and not names
    if text == "has them only partly reserved":
        return not whole and bool(inside) and not names
    told = re.fullmatch(r"has (.+?)(?: and (\d+) more)? there", text)
    if told is None:
        return False
    listed = set(told[1].split(" and "))
    return listed <= names and (own not in listed or len(truth.find(end, own)) > 1)


@_says(r"<N> \((\d+) bits? at <P>\) exists at <E> only; <E> (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    name, width, where, here, there, text = m.groups()
    start, stop = _run(where)
    rows = [row for row in truth.find(here, name) if (row.start, row.end) == (start, stop)]
    elsewhere = truth.find(there, name)
    alone = len(elsewhere) < len(truth.find(here, name))
    return (
        bool(rows)
        and alone
        and stop - start == int(width)
        and _content(truth, there, start, stop, text, name)
    )


@_says(r"<E> has the similar name <N> at <P>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return any((row.start, row.end) == _run(m[3]) for row in truth.find(m[1], m[2]))


@_says(r"the data are (\d+) bits at <E> and (\d+) at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return size(truth.at(m[2])) == int(m[1]) != int(m[3]) == size(truth.at(m[4]))


@_says(r"(\d+) bits are no legal size at <E>(?: \(next legal sizes?: [\d, ]+ octets?\))?")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return size(truth.at(m[2])) == int(m[1])


@_says(r"the safety data are (\d+) bits(?: = \d+ octets?)? long.*")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return all(size(truth.at(end)) == int(m[1]) for end, _ in said.spots)


@_says(r"legal are .*|next legal sizes?: .*")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return True  # Read in the message as a whole; legal sizes are the profile page's.


MOVE = re.compile(rf"(\w+)(?: / (\w+))?: ({_P}) at ({_END}), ({_P}) at ({_END})")
"""A line of details: what both ends call a signal, and where it stands."""
BELOW = re.compile(rf"([a-z-]+)(?: at ((?:{_END})(?: and (?:{_END}))?))?: (.+)")


def _moves(said: Said) -> dict[str, tuple[int, int, str, str]]:
    """Return what the details say: where each signal stands at both ends."""
    found = {}
    for line in said.details:
        m = MOVE.fullmatch(line)
        assert m is not None, line
        found[m[1]] = (_run(m[3])[0], _run(m[5])[0], m[4], m[6])
    return found


@_says(
    r"(all|\d+ of the) (\d+) signals from <N> \(<P> at <E>\)(?: to <N> \(<P>\)| on) are "
    r"(\d+) bits? (later|earlier) at <E>"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    number, here, first, where, end, last, _, bits, way, _other = m.groups()
    delta = int(bits) if way == "later" else -int(bits)
    moved = _moves(said)
    told = len(moved)
    left = truth.at(end)
    start = _bit(where)
    stop = max(row.start for row in left if row.name == last) if last else size(left)
    # Only signals that both ends have count, whatever the second one calls them.
    others = {row.name for row in truth.maps[1]}
    inside = [row for row in signals(left) if start <= row.start <= stop and row.name in others]
    counted = told if number == "all" else int(number.split()[0])
    return (
        all(b - a == delta for a, b, *_ in moved.values())
        and counted == told
        and (number != "all" or int(here) == told)
        and int(here) >= told
        and (abs(len(inside) - int(here)) <= _uncertain(truth))
        and first in moved
    )


def _uncertain(truth: Truth) -> int:
    """Return how many signals of the left map have no namesake, and may be paired by place."""
    names = {row.name for row in truth.maps[1]}
    doubles = len(signals(truth.maps[0])) - len({row.name for row in signals(truth.maps[0])})
    return sum(row.name not in names for row in signals(truth.maps[0])) + doubles


@_says(
    r"(all|\d+ of the) (\d+) signals from <N> \(<P> at <E>\)(?: to <N> \(<P>\)| on) are (\d+) to "
    r"(\d+) bits? (later|earlier), more from octet to octet, at <E>"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    shifts = [b - a for a, b, *_ in _moves(said).values()]
    if m[10] == "earlier":
        shifts = [-shift for shift in shifts]
    return min(shifts) == int(m[8]) and max(shifts) == int(m[9])


@_says(r"<N> \(<P> at <E>\) is (\d+) bits? (later|earlier) at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    delta = int(m[4]) if m[5] == "later" else -int(m[4])
    (move,) = _moves(said).values()
    return move[1] - move[0] == delta and move[0] == _bit(m[2])


@_says(r"((?:\w+ \(\d+ bits? at [\d.-]+\)(?:, )?)+) stands? at <E> only")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    other = truth.ends[1 - truth.ends.index(m[2])]
    for name, where in re.findall(r"(\w+) \(\d+ bits? at ([\d.-]+)\)", m[1]):
        here = truth.find(m[2], name)
        if len(truth.find(other, name)) >= len(here) or _run(where)[0] not in {
            row.start for row in here
        }:
            return False
    return True


@_says(r"a gap takes the shift up again, so the size stays the same")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return size(truth.maps[0]) == size(truth.maps[1])


@_says(r"<N> and <N> stand in each other's place: <P> and <P> at <E>, <P> and <P> at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    one, two, a, b, left, c, d, right = m.groups()
    return (
        (a, b) == (d, c)
        and a != b
        and _stands(truth, left, one, a)
        and _stands(truth, left, two, b)
        and _stands(truth, right, one, c)
        and _stands(truth, right, two, d)
    )


@_says(
    r"<N> and <N> stand in the opposite order: <P> and <P> at <E>, <P> and <P> at <E>"
    r"(?: \(what is around them is (\d+) bits? (later|earlier) there\))?"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    one, two, a, b, left, c, d, right, _, _way = m.groups()
    return (
        (_bit(a.split("-")[0]) < _bit(b.split("-")[0]))
        != (_bit(c.split("-")[0]) < _bit(d.split("-")[0]))
        and _stands(truth, left, one, a)
        and _stands(truth, left, two, b)
        and _stands(truth, right, one, c)
        and _stands(truth, right, two, d)
    )


def _stands(truth: Truth, end: str, name: str, where: str) -> bool:
    """Tell whether a signal stands there; misspelt at the other end, it has another name there."""
    rows = [row for row in signals(truth.at(end)) if (row.start, row.end) == _run(where)]
    other = truth.at(truth.ends[1 - truth.ends.index(end)])
    known = {row.name for row in other}
    return any(row.name == name or row.name not in known for row in rows)


@_says(r"(\d+) signals changed places among themselves: (.+) at <E>, (.+) at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    moved = _moves(said)
    shown = [_listed(m[2]), _listed(m[4])]
    for name, where in shown[0].items():
        if moved[name][0] != where:
            return False
    for name, where in shown[1].items():
        if moved[name][1] != where:
            return False
    bits = [
        {
            bit
            for row in truth.at(end)
            if row.start in starts and (row.name in moved or not row.name)
            for bit in range(row.start, row.end)
        }
        for end, starts in (
            (m[3], {a for a, *_ in moved.values()}),
            (m[5], {b for _, b, *_ in moved.values()}),
        )
    ]
    return int(m[1]) == len(moved) >= 3 and len(bits[0]) == len(bits[1])


def _listed(text: str) -> dict[str, int]:
    return {name: _bit(where) for name, where in re.findall(r"(\w+) (\d+\.\d+)", text)}


@_says(r"what is around them is (\d+) bits? (later|earlier) there")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    delta = int(m[1]) if m[2] == "later" else -int(m[1])
    left, right = map(_alone, truth.maps)
    told = set(_moves(said))
    return any(
        right[name].start - left[name].start == delta
        for name in left.keys() & right.keys()
        if name not in told
    )


@_says(r"<N> is at <P> at <E> but at <P> at <E>, where <E> (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    name, a, left, b, right, end, text = m.groups()
    start, stop = _run(b)
    return (
        a != b
        and _stands(truth, left, name, a)
        and _stands(truth, right, name, b)
        and _content(truth, end, start, stop, text, name)
    )


@_says(r"<N> at <P> is (\d+) bits? wide at <E> and (\d+) bits? at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    _name, where, a, left, b, right = m.groups()
    return _wide(truth, left, _bit(where), int(a)) and _wide(truth, right, _bit(where), int(b))


@_says(r"<N> is (\d+) bits? wide at <P> at <E> and (\d+) bits? wide at <P> at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    _, a, here, left, b, there, right = m.groups()
    return _wide(truth, left, _bit(here), int(a)) and _wide(truth, right, _bit(there), int(b))


def _wide(truth: Truth, end: str, start: int, width: int) -> bool:
    return any(row.start == start and row.width == width for row in signals(truth.at(end)))


@_says(r"(\d+) signals? (?:behind it|from (\w+) on) (?:is|are) (\d+) bits? (later|earlier) at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    delta = int(m[3]) if m[4] == "later" else -int(m[3])
    moved = _moves(said)
    return len(moved) == int(m[1]) and all(b - a == delta for a, b, *_ in moved.values())


@_says(
    r"reserve (\d+) bits? at <E> instead of (\d+) as at <E> "
    r"\(([\d. and-]+) against ([\d. and-]+)\)"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    for width, end, runs in ((m[1], m[2], m[5]), (m[3], m[4], m[6])):
        free = {(row.start, row.end) for row in truth.at(end) if not row.name}
        told = {_run(run) for run in runs.split(" and ")}
        if not told <= free or sum(stop - start for start, stop in told) != int(width):
            return False
    return m[1] != m[3]


@_says(
    r"the (?:octets|bits|halves) of (every octet|every word of \d+ octets|octets? [\d and to]+|"
    r"the words of .+?) are (?:exchanged|numbered from the other side) at <E>"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    words = re.fullmatch(r"octets? (.+)", m[1])
    if words is None:
        return True  # The places are judged one by one in the details.
    octets = set()
    for part in words[1].split(" and "):
        first, _, last = part.partition(" to ")
        octets |= set(range(int(first), int(last or first) + 1))
    return {a // 8 for a, *_ in _moves(said).values()} <= octets


@_says(r"octets [\d and to]+ stand in another order at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    went: dict[int, set[int]] = {}
    for a, b, *_ in _moves(said).values():
        if (b - a) % 8:
            return False
        went.setdefault(a // 8, set()).add(b // 8)
    return all(len(places) == 1 for places in went.values())


@_says(
    r"none of the (\d+) signals of <E> exists at <E>, which declares no signal in this direction"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return len(signals(truth.at(m[2]))) == int(m[1]) > 1 and not signals(truth.at(m[3]))


@_says(r"that explains (all )?(\d+)(?: of (\d+))? displaced signals?")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return int(m[2]) == len(_moves(said)) and (
        abs(len(truth.displaced) - int(m[3] or m[2])) <= 2 * _uncertain(truth)
    )


@_says(r"<E> has each bit( that <E> has too)? in an octet of its own, <E> packs them")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    here = signals(truth.at(m[1]))
    known = [row for row in here if truth.find(m[4], row.name)] if m[2] else here
    return bool(known) and all(row.start % 8 == 0 for row in known)


@_says(r"(\d+) of (\d+) signals stand elsewhere at <E>, and no single mistake explains it")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return len(_moves(said)) == int(m[1])


@_says(r"at one end only: (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    for name in re.findall(r"(\w+) \(\d+ bits?", m[1]):
        counts = {len(truth.find(end, name)) for end in truth.ends}
        if len(counts) != 2:
            return False
    return True


@_says(r"the bits at <P> are called <N> at <E> and <N> at <E>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    where, one, left, two, right = m.groups()
    return one != two and all(
        any(row.name == name and (row.start, row.end) == _run(where) for row in truth.at(end))
        for name, end in ((one, left), (two, right))
    )


@_says(r"<N> at <E> is <N> at <E>(?: \(as code points: .+\))?")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return m[1] != m[3] and all(truth.find(end, name) for name, end in ((m[1], m[2]), (m[3], m[4])))


@_says(r"<N> is declared (\d+) times, at (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    places = {_run(where) for where in m[3].split(" and ")}
    return all(
        {(row.start, row.end) for row in truth.find(end, m[1])} == places
        and len(truth.find(end, m[1])) == int(m[2])
        for end, _ in said.spots
    )


@_says(r"the other end has <N> at <P>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    other = next(end for end in truth.ends if end not in {end for end, _ in said.spots})
    return any(row.start == _run(m[2])[0] for row in truth.find(other, m[1]))


@_says(r"(the reserve at [\d.]+|\w+) and (the reserve at [\d.]+|\w+) share (\d+) bits? at <P>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    start, stop = _run(m[4])
    for end, _ in said.spots:
        over = [row for row in truth.at(end) if row.start <= start and stop <= row.end]
        if len(over) < 2 or stop - start != int(m[3]):
            return False
    return True


@_says(r"(\d+) bits? at <P> (?:is|are) not declared")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    start, stop = _run(m[2])
    return stop - start == int(m[1]) and all(
        not any(row.start < stop and start < row.end for row in truth.at(end))
        for end, _ in said.spots
    )


@_says(
    r"the (?:type|octet order|unit|scale|acting edge|safe value|validity bit|meaning of 1) of "
    r"<N> \(<P>\) is (.+) at <E> and (.+) at <E>"
)
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return m[3] != m[5] and _stands(truth, m[4], m[1], m[2])


@_says(r"the code points of <N> \(<P>\) (?:differ between <E> and <E>: .+|agree once .+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    tables = [_alone(rows).get(m[1]) for rows in truth.maps]
    return (
        all(row is None for row in tables) or len({str(row and row.codes) for row in tables}) == 2
    )


@_says(r"a second <N> \((\d+) bits? at <P>\) stands at <E>; <E> (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    name, _, where, here, there, text = m.groups()
    more = len(truth.find(here, name)) > len(truth.find(there, name)) > 0
    return more and _content(truth, there, *_run(where), text, "")


@_says(r"<N> \(<P>\) is a value of (\d+) bits without a validity bit")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    start, stop = _run(m[2])
    return stop - start == int(m[3]) and all(
        any(row.start == start and not row.valid_by for row in truth.find(end, m[1]))
        for end, _ in said.spots
    )


@_says(r"the validity bit <N> of <N> \(<P>\) is not in this direction")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return all(not truth.find(end, m[1]) for end, _ in said.spots)


@_says(r"the reserve at <P> carries the value (\d+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    start, stop = _run(m[1])
    return all(
        any((row.start, row.end, row.safe) == (start, stop, int(m[2])) for row in truth.at(end))
        for end, _ in said.spots
    )


@_says(r"(\d+) signals? of (\d+) (?:is|are) bound to no variable at <E>: (.+)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    open_ = [row for row in signals(truth.at(m[3])) if not row.bind.strip()]
    named = re.findall(r"(\w+) \([\d.-]+\)", m[4])
    return int(m[1]) == len(open_) and set(named) <= {row.name for row in open_}


@_says(r"the safe value of <N> \(<P>\) is (\d+), but .+ substitutes 0 on loss of communication")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return all(
        any(row.safe == int(m[3]) and row.start == _run(m[2])[0] for row in truth.find(end, m[1]))
        for end, _ in said.spots
    )


@_says(r"<N> \(<P>\) can carry (\d+) values, (\d+) of them without a name: .+")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return all(
        any(2**row.width - len(row.codes) == int(m[4]) for row in truth.find(end, m[1]))
        for end, _ in said.spots
    )


@_says(r"(the reserve at [\d.]+|\w+) \(<P>\) stands behind (the reserve at [\d.]+|\w+) \(<P>\)")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return _bit(m[2]) < _bit(m[4])


@_says(r"<N> \(<P>(?:, \d+ bits)?\) crosses the block border at <P>")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    start, stop = _run(m[2])
    return start < _bit(m[3]) < stop and _bit(m[3]) % 16 == 0


@_says(r"a block is 2 octets")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return True


@_says(r"<N> \(<P>\) is named as its own validity bit: nothing says whether it holds")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    return all(any(row.valid_by == m[1] for row in truth.find(end, m[1])) for end, _ in said.spots)


@_says(r"<N>(?: = '\S+')? and <N>(?: = '\S+')? look alike")
def _(truth: Truth, said: Said, m: re.Match[str]) -> bool:
    latin = str.maketrans("аеор", "aeop", "_")
    one, two = (name.translate(latin).casefold() for name in (m[1], m[2]))
    return m[1] != m[2] and one == two


def sentences(message: str) -> Iterator[str]:
    """Yield the parts of a message; a content that belongs to its sentence stays with it."""
    parts = message.split("; ")
    while parts:
        part = parts.pop(0)
        begins = " exists at " in part or part.startswith("a second ")
        if begins and part.endswith(("only", "SC1", "LX", "LX2")) and parts:
            part = f"{part}; {parts.pop(0)}"
        yield part


def judge(truth: Truth, said: Said) -> list[str]:
    """Return the sentences of a finding about one direction that are false, or not known."""
    wrong = []
    for sentence in sentences(said.message):
        known = False
        for pattern, holds in _SENTENCES:
            m = pattern.fullmatch(sentence)
            if m is not None:
                known = True
                if not holds(truth, said, m):
                    wrong.append(f"false: {sentence}")
                break
        if not known:
            wrong.append(f"unknown: {sentence}")
    for line in said.details:
        m = MOVE.fullmatch(line)
        assert m is not None, line
        if m[3] == m[5] or not (
            _stands(truth, m[4], m[1], m[3]) and _stands(truth, m[6], m[2] or m[1], m[5])
        ):
            wrong.append(f"false detail: {line}")
    for one in said.below:
        wrong += judge(truth, one)
    if said.rule in DISPLACES:
        wrong += (
            f"names {name}, which stands right at both ends"
            for name in sorted(_named(said) & truth.right)
        )
    return wrong


def _named(said: Said) -> set[str]:
    """Return the signals that a finding calls displaced."""
    names = {m[1] for line in said.details if (m := MOVE.fullmatch(line))}
    if said.rule in ("swapped-signals", "moved-signal", "rotated-signals"):
        names |= {name for _, name in said.spots if name}
    return names


def told_once(truth: Truth, found: list[Said]) -> list[str]:
    """Return complaints about displaced signals that no finding tells, or that two do."""
    number: Counter[str] = Counter()
    for said in found:
        if said.rule in DISPLACES:
            number.update(_named(said))
    resized = {name for said in found if said.rule == "width-differs" for _, name in said.spots}
    return [
        f"{name} is displaced and told {number[name]} times"
        for name in sorted(truth.displaced)
        if number[name] != 1 and not (number[name] == 0 and name in resized)
    ]


__all__ = ["DISPLACES", "Said", "Truth", "agree", "judge", "place", "told_once", "truths"]
