"""IEC 61131-3 structured text: the structures that TYPE ... END_TYPE declares.

Everything else in the file is passed over. Comments nest (from edition 3 on); a list of names in
one declaration is an extension that is unambiguous, so it is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from ._candidates import Candidate
from ._decisions import Decisions
from ._encoding import text_of
from ._numbers import number
from ._placing import PlacedTypes
from ._refusals import Refusals, shown
from ._source import DeviceFile
from ._types import ArrayOf, Elementary, Member, Named, Spec, Struct, laid_out

__all__ = ["candidates"]

_MOST_NESTED = 64
_MOST_TOKENS = 200_000
_MOST_DEPTH = 16
_TOKEN = re.compile(
    r"(?P<space>\s+|//[^\n]*)"
    r"|(?P<open>\(\*|/\*)"
    r"|(?P<pragma>\{[^}]*+(?:\}|\Z))"
    r"|(?P<text>'(?:[^'$]|\$.?)*+(?:'|\Z)|\"(?:[^\"$]|\$.?)*+(?:\"|\Z))"
    r"|(?P<word>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<address>%[A-Za-z]*[0-9.*]*)"
    r"|(?P<number>[0-9][0-9A-Za-z_#]*(?:\.[0-9]+(?:[eE][+-]?[0-9]+)?)?)"
    r"|(?P<sign>:=|\.\.|.)",
    re.ASCII | re.DOTALL,
)
_COMMENT = {
    "(*": re.compile(r"\(\*|\*\)"),
    "/*": re.compile(r"/\*|\*/"),
}
_REAL_DOT = re.compile(r"[0-9]+(?=\.\.)")


class _Token(NamedTuple):
    kind: str
    text: str
    line: int


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every structure that the text declares."""
    text = text_of(source.octets, decisions.encoding, refusals)
    types = _StructureParser(list(_tokens(text, refusals)), refusals).types()
    return found_structs(types)


def found_structs(types: dict[str, tuple[str, Spec, int]]) -> list[Candidate]:
    """Return the candidates of all structures among named types."""
    specs = {key: spec for key, (_, spec, _) in types.items()}

    def candidate(name: str, struct: Struct) -> Candidate:
        def place(decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
            layout = laid_out(name, struct, specs, decisions, refusals)
            return [] if layout is None else [("", layout)]

        count = len(struct.members)
        note = f"{count} member{'s'[: count != 1]}; the layout is to be stated"
        return Candidate(path=name, line=struct.line, look=lambda: ("", None, note), place=place)

    return [candidate(name, spec) for name, spec, _ in types.values() if isinstance(spec, Struct)]


def _tokens(text: str, refusals: Refusals) -> Iterator[_Token]:
    """Yield words, numbers and signs with their lines; comments and pragmas are left out."""
    position, line, count = 0, 1, 0
    while position < len(text):
        found = _REAL_DOT.match(text, position) or _TOKEN.match(text, position)
        assert found is not None  # The last alternative takes any character.
        kind = found.lastgroup or "number"
        end = found.end()
        if kind == "open":
            end = _comment_end(text, position, line, refusals)
        elif (kind == "pragma" and found[0][-1] != "}") or (
            kind == "text" and (len(found[0]) < 2 or found[0][-1] != found[0][0])
        ):
            refusals.stop("bad-line", line, f"a text or pragma must end: {shown(found[0])}")
        elif kind not in ("space", "pragma"):
            count += 1
            if count > _MOST_TOKENS:
                message = f"the text must have at most {_MOST_TOKENS} words, not more"
                refusals.stop("too-big", line, message)
            yield _Token(kind, found[0], line)
        line += text.count("\n", position, end)
        position = end


def _comment_end(text: str, start: int, line: int, refusals: Refusals) -> int:
    """Return where a comment ends, with the comments of its kind inside it."""
    opening = text[start : start + 2]
    depth, position = 0, start
    while True:
        found = _COMMENT[opening].search(text, position)
        if found is None:
            refusals.stop("bad-line", line, f"a comment must end, not only begin: {opening}")
        depth += 1 if found[0] == opening else -1
        position = found.end()
        if depth > _MOST_NESTED:
            message = f"comments must be nested at most {_MOST_NESTED} deep, not deeper"
            refusals.stop("too-deep", line, message)
        if not depth:
            return position


class _StructureParser:
    """Reads the declarations of types out of the tokens of a text."""

    def __init__(self, tokens: list[_Token], refusals: Refusals) -> None:
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
        self.expect(":")
        spec = self.spec(name.line, 1)
        self.skip_value()
        key = name.text.casefold()
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
        if self.take("ARRAY"):
            return self.array(line, depth)
        if self.peek() == "(":
            self.skip_brackets()
            return Elementary("an enumeration without a stated type")
        word = self.word("a type")
        kind = word.text
        if self.peek() == "[":  # The length of a string.
            self.skip_brackets()
        elif self.peek() == "(":  # A range, which changes no width; or named values.
            start = self.at
            self.skip_brackets()
            inside = [token.text for token in self.tokens[start : self.at]]
            if ".." not in inside and kind.upper() not in ("STRING", "WSTRING"):
                return Elementary(f"an enumeration of {kind}")
        elif kind.upper() in ("REF_TO", "POINTER"):
            self.skip_value(semicolon=False)
            return Elementary("a reference")
        return Named(kind) if not _known(kind) else Elementary(kind)

    def members(self, depth: int) -> Iterator[Member]:
        """Yield the members of a structure up to its end."""
        while not self.take("END_STRUCT"):
            names = [self.word("the name of a member")]
            while self.take(","):
                names.append(self.word("the name of a member"))
            located = self.take("AT")
            if located:
                self.at += 1
            self.expect(":")
            spec = self.spec(names[0].line, depth + 1)
            self.skip_value()
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

    def skip_value(self, *, semicolon: bool = True) -> None:
        """Pass over an initial value up to the semicolon, which ends every declaration."""
        start = self.line()
        depth = 0
        while self.at < len(self.tokens):
            text = self.peek()
            if text == ";" and not depth:
                self.at += semicolon
                return
            if text.upper() in ("END_STRUCT", "END_TYPE"):
                break
            depth += (text in "([") - (text in ")]")
            self.at += 1
        self.refusals.stop("bad-line", start, "a declaration must end with a semicolon")

    def skip_brackets(self) -> None:
        """Pass over what stands in brackets."""
        start, depth = self.line(), 0
        while self.at < len(self.tokens):
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

    def next(self, what: str) -> _Token:
        """Return the next token and pass over it."""
        if self.at >= len(self.tokens):
            self.refusals.stop(
                "bad-line", self.line(), f"{what} must follow, not the end of the file"
            )
        self.at += 1
        return self.tokens[self.at - 1]

    def word(self, what: str) -> _Token:
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
    [
        "BOOL",
        "BIT",
        "SINT",
        "INT",
        "DINT",
        "LINT",
        "USINT",
        "UINT",
        "UDINT",
        "ULINT",
        "BYTE",
        "WORD",
        "DWORD",
        "LWORD",
        "REAL",
        "LREAL",
        "TIME",
        "LTIME",
        "DATE",
        "LDATE",
        "TOD",
        "TIME_OF_DAY",
        "LTOD",
        "DT",
        "DATE_AND_TIME",
        "LDT",
        "STRING",
        "WSTRING",
        "CHAR",
        "WCHAR",
    ]
)


def _known(kind: str) -> bool:
    return kind.upper().removeprefix("SAFE") in _ELEMENTARY
