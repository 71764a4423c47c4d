"""IEC 61131-3 structured text: the structures that TYPE ... END_TYPE declares.

Everything else in the file is passed over. Comments nest (from edition 3 on); a list of names in
one declaration is an extension that is unambiguous, so it is read.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NoReturn

from ._candidates import Candidate
from ._decisions import Decisions
from ._encoding import text_of
from ._numbers import number
from ._placing import PlacedTypes
from ._refusals import Refusals, shown
from ._source import DeviceFile
from ._sttokens import Token, tokens
from ._types import ArrayOf, Elementary, Member, Named, Ranged, Spec, Struct, laid_out

_MOST_DEPTH = 16
_FEW = 8
"""Lines that are shown of many; by choice."""
_OPERANDS = ("word", "number", "literal", "text", "address")
_OPERATORS = ("AND", "AND_THEN", "MOD", "NOT", "OR", "OR_ELSE", "XOR")
"""Words that are no operands of an expression."""


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every structure that the text declares."""
    text = text_of(source.octets, decisions.encoding, refusals)
    passed: list[int] = []
    types = _StructureParser(tokens(text, refusals, passed), refusals).types()
    lines = ", ".join(map(str, passed[:_FEW])) + " ..." * (len(passed) > _FEW)
    note = f"pragmas are passed over, also those that change the layout: line {lines}"
    return found_structs(types, (note,) if passed else ())


def found_structs(
    types: dict[str, tuple[str, Spec, int]], notes: tuple[str, ...] = ()
) -> list[Candidate]:
    """Return the candidates of all structures among named types."""
    specs = {key: spec for key, (_, spec, _) in types.items()}

    def candidate(name: str, struct: Struct) -> Candidate:
        def place(decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
            layout = laid_out(name, struct, specs, decisions, refusals)
            return [] if layout is None else [("", replace(layout, notes=notes))]

        count = len(struct.members)
        note = f"{count} member{'s'[: count != 1]}; the layout is to be stated"
        return Candidate(path=name, line=struct.line, look=lambda: ("", None, note), place=place)

    return [candidate(name, spec) for name, spec, _ in types.values() if isinstance(spec, Struct)]


class _StructureParser:
    """Reads the declarations of types out of the tokens of a text."""

    def __init__(self, tokens: list[Token], refusals: Refusals) -> None:
        self.tokens, self.refusals = tokens, refusals
        self.at = 0

    def types(self) -> dict[str, tuple[str, Spec, int]]:
        """Return every declared type by its name in small letters: name, type, line."""
        found: dict[str, tuple[str, Spec, int]] = {}
        while self.at < len(self.tokens):
            if self.take("TYPE"):
                while not self.take("END_TYPE"):
                    self.declaration(found)
            else:
                self.at += 1
        return found

    def declaration(self, found: dict[str, tuple[str, Spec, int]]) -> None:
        """Read one type and keep it."""
        name = self.word("the name of a type")
        if _known(name.text):
            self.refusals.add(
                "duplicate-name",
                name.line,
                f"a type must not have the name of one that the standard or the safety library "
                f"has: {name.text}",
                "where it means another type, its members cannot be told apart from these",
            )
        self.expect(":")
        spec = self.spec(name.line, 1)
        self.end_declaration()
        key = name.text.lower()
        if key in found:
            self.refusals.add(
                "duplicate-name",
                name.line,
                f"a type must be declared once, not again after line {found[key][2]}: {name.text}",
                "remove one of them from the file",
            )
        found[key] = (name.text, spec, name.line)

    def spec(self, line: int, depth: int) -> Spec:
        """Read what stands behind the colon of a declaration."""
        if depth > _MOST_DEPTH:
            message = f"types must be nested at most {_MOST_DEPTH} deep, not deeper"
            self.refusals.stop("too-deep", self.line(), message)
        if self.take("STRUCT"):
            return Struct(tuple(self.members(depth)), line)
        if self.take("UNION"):
            list(self.members(depth, "END_UNION"))
            return Elementary("a union")
        if self.take("ARRAY"):
            return self.array(line, depth)
        if self.peek() == "(":
            self.skip_brackets()
            if _known(self.peek()):  # Its base type, which some dialects write behind the names.
                self.at += 1
            return Elementary("an enumeration without a stated type")
        kind = self.word("a type").text
        while self.take("."):  # A type of another name space.
            kind += f".{self.word('a type').text}"
        text = kind.upper() in ("STRING", "WSTRING")
        if self.peek() == "[" and text:  # Its length; behind another type it may mean an array.
            self.skip_brackets()
        elif self.peek() == "(":  # A range, or named values; of a text its length.
            start = self.at
            self.skip_brackets()
            inside = [token.text for token in self.tokens[start : self.at]]
            if not text and ".." in inside:
                return Ranged(Elementary(kind) if _known(kind) else Named(kind))
            if not text:
                return Elementary(f"an enumeration of {kind}")
        elif kind.upper() in ("REF_TO", "POINTER", "REFERENCE"):
            self.take("TO")
            self.spec(line, depth + 1)
            return Elementary("a reference")
        return Named(kind) if not _known(kind) else Elementary(kind)

    def members(self, depth: int, end: str = "END_STRUCT") -> Iterator[Member]:
        """Yield the members of a structure up to its end."""
        while not self.take(end):
            names = [self.word("the name of a member")]
            while self.take(","):
                names.append(self.word("the name of a member"))
            located = self.take("AT")
            if located:
                self.at += 1
            self.expect(":")
            spec = self.spec(names[0].line, depth + 1)
            self.end_declaration()
            for name in names:
                yield Member(name.text, spec, name.line, located)

    def array(self, line: int, depth: int) -> Spec:
        """Read bounds and element of an array."""
        self.expect("[")
        low = self.bound()
        self.expect("..")
        high = self.bound()
        if self.peek() == ",":
            self.refusals.stop(
                "array",
                self.line(),
                "an array must have one dimension, not several",
                "the order of their elements in memory is the implementer's: not offered",
            )
        self.expect("]")
        self.expect("OF")
        return ArrayOf(low, high, self.spec(line, depth + 1))

    def bound(self) -> int:
        """Read an integer with its sign."""
        sign = -1 if self.take("-") else 1
        self.take("+")
        token = self.next("a number")
        value = number(token.text)
        if value is None:
            text = f"a bound of an array must be a number, not {shown(token.text)}"
            self.refusals.stop("bad-number", token.line, text)
        return sign * value

    def end_declaration(self) -> None:
        """Pass over an initial value, if there is one, and the semicolon that ends a declaration.

        What follows instead belongs to the next declaration, which would be lost.
        """
        if self.take(":="):
            self.skip_value()
        if not self.take(";"):
            self.unended()

    def skip_value(self) -> None:
        """Pass over operands with operators between them up to a semicolon."""
        depth, operand = 0, False
        while self.at < len(self.tokens):
            kind, text = self.tokens[self.at].kind, self.peek().upper()
            if text in (";", ":", "END_STRUCT", "END_TYPE") or (text == ":=" and not depth):
                break
            if kind in _OPERANDS and text not in _OPERATORS:
                if operand:
                    break
                operand = True
            else:
                depth += (text in "([") - (text in ")]")
                operand = text in ")]"
            self.at += 1
        if depth:
            self.refusals.stop(
                "bad-line", self.tokens[self.at - 1].line, "a bracket must be closed"
            )

    def unended(self) -> NoReturn:
        """Refuse a declaration whose semicolon is missing."""
        follows = f"go on with {shown(self.peek())}" if self.peek() else "with the file"
        self.refusals.stop(
            "bad-line",
            self.tokens[self.at - 1].line,
            f"a declaration must end with a semicolon, not {follows}",
        )

    def skip_brackets(self) -> None:
        """Pass over what stands in brackets."""
        start, depth = self.line(), 0
        while self.at < len(self.tokens) and self.peek() not in (";", ":"):
            depth += (self.peek() in "([") - (self.peek() in ")]")
            self.at += 1
            if not depth:
                return
        self.refusals.stop("bad-line", start, "a bracket must be closed")

    def peek(self) -> str:
        """Return the text of the next token, empty at the end."""
        return self.tokens[self.at].text if self.at < len(self.tokens) else ""

    def line(self) -> int:
        """Return the line of the next token, at the end that of the last."""
        return self.tokens[min(self.at, len(self.tokens) - 1)].line

    def take(self, text: str) -> bool:
        """Pass over the next token where it is this one, in any case."""
        if self.peek().upper() != text:
            return False
        self.at += 1
        return True

    def next(self, what: str) -> Token:
        """Return the next token and pass over it."""
        if self.at >= len(self.tokens):
            self.refusals.stop(
                "bad-line", self.line(), f"{what} must follow, not the end of the file"
            )
        self.at += 1
        return self.tokens[self.at - 1]

    def word(self, what: str) -> Token:
        """Return the next token, which must be a word."""
        token = self.next(what)
        if token.kind != "word":
            text = f"{what} must stand here, not {shown(token.text)}"
            self.refusals.stop("bad-line", token.line, text)
        return token

    def expect(self, text: str) -> None:
        """Pass over a token that must be there."""
        token = self.next(text)
        if token.text.upper() != text:
            self.refusals.stop(
                "bad-line", token.line, f"{text} must stand here, not {shown(token.text)}"
            )


_ELEMENTARY = frozenset(
    (
        *("BOOL", "BIT", "SINT", "INT", "DINT", "LINT", "USINT", "UINT", "UDINT", "ULINT", "BYTE"),
        *("WORD", "DWORD", "LWORD", "REAL", "LREAL", "TIME", "LTIME", "DATE", "LDATE", "TOD"),
        *("TIME_OF_DAY", "LTOD", "DT", "DATE_AND_TIME", "LDT", "STRING", "WSTRING", "CHAR"),
        *("WCHAR",),
    )
)


def _known(kind: str) -> bool:
    return kind.upper().removeprefix("SAFE") in _ELEMENTARY
