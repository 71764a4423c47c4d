"""Values made by hand: of the types that they are declared with, or refused by name."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

import safeframe
from safeframe import _demo as demo

FIRST, SECOND = (
    safeframe.loads(demo.after()[name], path=name) for name in ("sc1-lx.toml", "lx-sc1.toml")
)
SIGNAL = FIRST.sends.signals[0]
LEVEL = next(each for each in FIRST.sends.signals if each.codes)


made_of: Any = replace
"""As a program without type checks makes a value."""


class Text(str):
    """A text of another class, as other libraries have them."""

    __slots__ = ()


class Number(int):
    """A number of another class."""


def relation(**values: Any) -> safeframe.Relation:
    given: dict[str, Any] = {"when": (("a", (1,)),), "requires": (("b", (1,)),)}
    return safeframe.Relation(name="r", reason="x", **(given | values))


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: made_of(SIGNAL, width=True), "width must be of type int, not bool: True"),
        (lambda: made_of(SIGNAL, width=Number(1)), "width must be of type int, not Number: 1"),
        (lambda: made_of(SIGNAL, name=b"x"), "name must be of type str, not bytes: b'x'"),
        (lambda: made_of(SIGNAL, name=Text("x")), "name must be of type str, not Text: 'x'"),
        (lambda: made_of(SIGNAL, bind=None), "bind must be of type str, not NoneType: None"),
        (
            lambda: made_of(SIGNAL, safe=False),
            "safe must be of type int | float, not bool: False",
        ),
        (lambda: made_of(SIGNAL, at="0.0"), "at must be of type Place, not str: '0.0'"),
        (
            lambda: made_of(LEVEL, codes=[(0, "a")]),
            "codes must be of type tuple[tuple[int, str], ...], not list: [(0, 'a')]",
        ),
        (
            lambda: made_of(LEVEL, codes=((0, "a"), (Number(1), "b"))),
            "codes must be of type tuple[tuple[int, str], ...], not tuple: ((0, 'a'), (1, 'b'))",
        ),
        (
            lambda: made_of(LEVEL, codes=((0, "a"), (1, "b", "c"))),
            "codes must be of type tuple[tuple[int, str], ...], "
            "not tuple: ((0, 'a'), (1, 'b', 'c'))",
        ),
        (
            lambda: made_of(LEVEL, codes=((0, "a"), [1, "b"])),
            "codes must be of type tuple[tuple[int, str], ...], not tuple: ((0, 'a'), [1, 'b'])",
        ),
        (
            lambda: safeframe.Reserved(at=SIGNAL.at, width=2.0),  # type: ignore[arg-type]
            "width must be of type int, not float: 2.0",
        ),
        (
            lambda: safeframe.Map(entries=[]),  # type: ignore[arg-type]
            "entries must be of type tuple[Signal | Reserved, ...], not list: []",
        ),
        (
            lambda: safeframe.Map(entries=(SIGNAL, SIGNAL.at)),  # type: ignore[arg-type]
            "entries must be of type tuple[Signal | Reserved, ...], not tuple: (Signal(name=",
        ),
        (
            lambda: made_of(FIRST, relations=iter(())),
            "relations must be of type tuple[Relation, ...], not tuple_iterator: <tuple_iterator",
        ),
        (
            lambda: made_of(FIRST, parameters=(("x", None),)),
            "parameters must be of type tuple[tuple[str, Scalar], ...], not tuple: (('x', None),)",
        ),
        (
            lambda: made_of(FIRST.connection_table, id="263"),
            "id must be of type int | None, not str: '263'",
        ),
        (
            lambda: made_of(FIRST.connection_table, legal_octets=[2, 4]),
            "legal_octets must be of type tuple[int, ...], not list: [2, 4]",
        ),
        (
            lambda: relation(when=(("a", 1),)),
            "when must be of type Conditions, not tuple: (('a', 1),)",
        ),
        (
            lambda: safeframe.Allowance(rule=None, reason="x"),  # type: ignore[arg-type]
            "rule must be of type str, not NoneType: None",
        ),
        (
            lambda: safeframe.Provenance(format="x", file="x", sha256="0", select=["a"]),  # type: ignore[arg-type]
            "select must be of type tuple[str, ...], not list: ['a']",
        ),
        (
            lambda: safeframe.Connection(first=FIRST, second="lx.toml"),  # type: ignore[arg-type]
            "second must be of type End, not str: 'lx.toml'",
        ),
        (
            lambda: safeframe.Installed(end="LX", serial=1001),  # type: ignore[arg-type]
            "serial must be of type str, not int: 1001",
        ),
        (
            lambda: safeframe.DeviceMap(end=FIRST, file="x", held="name"),  # type: ignore[arg-type]
            "held must be of type tuple[str, ...], not str: 'name'",
        ),
        (lambda: safeframe.Place(True, 0), "an octet number must be 0..65535, not True"),
        (lambda: safeframe.Place(0, 1.0), "a bit number must be 0..7, not 1.0"),  # type: ignore[arg-type]
        (
            lambda: made_of(LEVEL, codes=((1, "a"), (0, "b"))),
            "codes must be in rising order, not 1, 0",
        ),
    ],
)
def test_what_is_refused(make: Callable[[], object], told: str) -> None:
    for _ in range(2):  # What was refused once is refused again.
        with pytest.raises(safeframe.UsageError, match=f"^{re.escape(told)}"):
            make()


def test_what_is_right_stays_right() -> None:
    """The types of a value were right before; what is in its rows is looked at each time."""
    assert replace(LEVEL, codes=((0, "a"), (1, "b"))).codes == ((0, "a"), (1, "b"))
    assert replace(LEVEL, codes=()).codes == ()
    assert replace(FIRST, parameters=(("x", 1), ("y", True), ("z", 0.5))).parameters[2] == (
        "z",
        0.5,
    )
    with pytest.raises(safeframe.UsageError):
        replace(LEVEL, codes=((0, "a"), (True, "b")))


def test_equal_ends_have_equal_fingerprints() -> None:
    """A whole number is one number, however it is written, and what is none is told apart."""
    whole = replace(SIGNAL, safe=0.0)
    entries = (whole, *FIRST.sends.entries[1:])
    other = replace(FIRST, sends=safeframe.Map(entries=entries))
    assert other == FIRST
    assert safeframe.wire_fingerprint(other) == safeframe.wire_fingerprint(FIRST)
    for safe in (0.5, float("nan"), float("inf")):
        entries = (replace(SIGNAL, safe=safe), *FIRST.sends.entries[1:])
        other = replace(FIRST, sends=safeframe.Map(entries=entries))
        assert safeframe.wire_fingerprint(other) != safeframe.wire_fingerprint(FIRST)


@pytest.mark.parametrize("agree", [True, False])
def test_a_threshold_that_is_none_is_refused(agree: bool) -> None:
    """A misspelt one MUST NOT pass for a clean verdict."""
    second = SECOND if agree else replace(SECOND, sends=FIRST.sends)
    connection = safeframe.Connection(first=FIRST, second=second)
    with pytest.raises(safeframe.UsageError, match=r"one of error, warning, note, not 'warnings'$"):
        safeframe.check(connection).fails("warnings")
    edits = safeframe.compare_edits(connection, connection)
    with pytest.raises(safeframe.UsageError, match=r"of wire, value, name, text, not 'error'$"):
        edits.fails("error")
