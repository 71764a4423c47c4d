"""The words and signs of structured text, without comments and pragmas.

A pragma that makes what follows depend on a condition is refused where types are declared.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from ._refusals import Refusals, shown

_MOST_NESTED = 64
_MOST_TOKENS = 200_000
_TOKEN = re.compile(
    r"(?P<space>\s+|//[^\n]*)"
    r"|(?P<open>\(\*|/\*)"
    r"|(?P<pragma>\{[^}]*+(?:\}|\Z))"
    r"|(?P<text>'(?:[^'$]|\$.?)*+(?:'|\Z)|\"(?:[^\"$]|\$.?)*+(?:\"|\Z))"
    r"|(?P<literal>[A-Za-z_][A-Za-z0-9_]*#[+-]?[0-9](?:[0-9A-Za-z_#]|\.(?!\.)|[:-](?=[0-9]))*)"
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
_CONDITION = re.compile(
    r"\{\s*[#$%]?\s*(IF|IFDEF|IFNDEF|ELSE|ELSIF|ELSEIF|ELIF|ENDIF|END_IF)\b", re.IGNORECASE
)


class Token(NamedTuple):
    """One word or sign with its line; ``kind`` is the name of its pattern."""

    kind: str
    text: str
    line: int


def tokens(text: str, refusals: Refusals, passed: list[int]) -> list[Token]:
    """Return the tokens of a text; refuses pragmas that make the types depend on a condition.

    ``passed`` takes the lines of other pragmas before and among types.
    """
    return list(_unconditional(_tokens(text, refusals), refusals, passed))


def _unconditional(
    found: Iterable[Token], refusals: Refusals, passed: list[int]
) -> Iterator[Token]:
    """Yield all but pragmas; conditions may only stand around what declares no types."""
    inside = False
    open_: list[Token] = []
    before: list[int] = []
    for token in found:
        if token.kind == "pragma":
            (passed if inside else before).append(token.line)
            continue
        if token.kind == "condition":
            word = token.text.upper()
            if word.startswith("IF"):
                open_.append(token)
            if inside:
                _refuse_condition(token, refusals)
            if word.startswith("END"):
                del open_[-1:]
            continue
        if token.kind == "word":
            inside = (inside or token.text.upper() == "TYPE") and token.text.upper() != "END_TYPE"
            passed += before if inside else ()
        before = []
        if inside and open_:
            _refuse_condition(open_[-1], refusals)
        yield token


def _refuse_condition(token: Token, refusals: Refusals) -> None:
    refusals.stop(
        "not-offered",
        token.line,
        f"types must be declared without conditions, not with the pragma {{{token.text} ...}}",
        "which branch is compiled is not told by the file: remove the others from a copy",
    )


def _tokens(text: str, refusals: Refusals) -> Iterator[Token]:
    """Yield words, numbers, signs and the pragmas of conditions, each with its line."""
    position, line, count = 0, 1, 0
    while position < len(text):
        found = _REAL_DOT.match(text, position) or _TOKEN.match(text, position)
        assert found is not None  # The last alternative takes any character.
        kind = found.lastgroup or "number"
        end = found.end()
        if kind == "open":
            end = _comment_end(text, position, line, refusals)
        elif _unended(kind, found[0]):
            refusals.stop("bad-line", line, f"a text or pragma must end: {shown(found[0])}")
        elif kind == "pragma":
            condition = _CONDITION.match(found[0])
            name = ("pragma", found[0]) if condition is None else ("condition", condition[1])
            yield Token(*name, line)
        elif kind != "space":
            count += 1
            if count > _MOST_TOKENS:
                message = f"the text must have at most {_MOST_TOKENS} words, not more"
                refusals.stop("too-big", line, message)
            yield Token(kind, found[0], line)
        line += text.count("\n", position, end)
        position = end


def _unended(kind: str, text: str) -> bool:
    """Tell whether a text or pragma ends at a later one, and would take the members between."""
    if kind == "pragma":
        return not text.endswith("}") or "{" in text[1:]
    return kind == "text" and (len(text) < 2 or text[-1] != text[0] or "\n" in text)


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
