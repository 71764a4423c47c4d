"""A tree of the elements that a format knows, with lines; hostile XML is refused while reading.

One handler refuses every DOCTYPE, so that no entity is ever declared, expanded or fetched (none of
the formats needs one). Depth, number of elements and number of children are counted while reading.
A large file is read at once but for the inside of some elements, and of these what is asked for.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any
from xml.parsers import expat

from ._encoding import xml_octets
from ._refusals import Refusals, shown, twice
from ._source import DeviceFile

_MOST_DEPTH = 64
_MOST_ELEMENTS = 1_000_000
_MOST_CHILDREN = 100_000
_MOST_TEXT = 1 << 16
_CHUNK_OCTETS = 1 << 22  # A token over many pieces is looked at again with each of them.
_SPACE = re.compile(r"\s+")
_EMPTY = re.compile(r"""<(?:[^<>"']|"[^"<]*"|'[^'<]*')*/>""")
_NONE: Mapping[str, Sequence[int]] = {}
_SPAN = 6
"""Where an element that is a part keeps the octets at which its first and its last tag begin."""
_BOOLEANS = {"true": True, "1": True, "false": False, "0": False}
_WIDE = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}


class Element(list[Any]):
    """One element of those that are kept, with what else stands directly inside.

    It holds local name, attributes, line, elements in it, text before the first of them, others.
    A list, because 85,000 of them are made for one file.
    """

    __slots__ = ()

    @property
    def tag(self) -> str:
        """The name without a namespace prefix."""
        return str(self[0])

    @property
    def attributes(self) -> dict[str, str]:
        """The attributes as written."""
        return self[1]  # type: ignore[no-any-return]

    @property
    def line(self) -> int:
        """The line on which the element begins."""
        return int(self[2])

    @property
    def children(self) -> list[Element]:
        """The elements directly inside, in document order."""
        return self[3]  # type: ignore[no-any-return]

    @property
    def text(self) -> str:
        """All text directly inside, blanks and line breaks folded."""
        return _SPACE.sub(" ", str(self[4])).strip()

    @property
    def passed(self) -> Mapping[str, Sequence[int]]:
        """The elements directly inside that are not kept: first line and number by their names."""
        return self[5]  # type: ignore[no-any-return]

    def get(self, name: str) -> str | None:
        """Return an attribute by its name without prefix, None where it is not there."""
        value = self.attributes.get(name)
        if value is None:
            for key, other in self.attributes.items():
                if key.rpartition(":")[2] == name and not key.startswith("xmlns"):
                    return other
        return value

    def true(self, name: str, refusals: Refusals) -> bool:
        """Return whether a Boolean attribute is there and says true; keeps another word."""
        word = (self.get(name) or "false").strip()
        if word not in _BOOLEANS:
            text = f"{name} must be true, 1, false or 0, not {shown(word)}"
            refusals.add("bad-value", self.line, text, element=self.tag)
        return _BOOLEANS.get(word, False)

    def all(self, *tags: str) -> Iterator[Element]:
        """Yield the elements directly inside that have one of these names."""
        for child in self.children:
            if child[0] in tags:
                yield child

    def first(self, *tags: str) -> Element | None:
        """Return the first element directly inside that has one of these names."""
        return next(self.all(*tags), None)

    def only(self, refusals: Refusals, *tags: str, where: str = "") -> Element | None:
        """Return the one element of these names (none: of any) inside; a second is a problem."""
        found = list(self.all(*tags)) if tags else self.children
        if len(found) > 1:
            refusals.add(
                "duplicate-element",
                found[1].line,
                f"an element {self.tag} must hold one {found[0].tag}, not also {found[1].tag} "
                f"after line {found[0].line}",
                "remove one of them from the file",
                where,
            )
        return found[0] if found else None

    def text_of(self, tag: str, refusals: Refusals, where: str = "") -> str | None:
        """Return the text of the one element of this name, None without one."""
        found = self.only(refusals, tag, where=where)
        return None if found is None else found.text

    def along(self, *tags: str) -> Iterator[Element]:
        """Yield the elements at the end of a path of names, in file order."""
        found = [self]
        for tag in tags:
            found = [child for element in found for child in element.all(tag)]
        yield from found

    def walk(self, *tags: str) -> Iterator[Element]:
        """Yield every element inside, at any depth, of these names (none: all), in file order."""
        stack = [self.children[::-1]]
        while stack:
            if not stack[-1]:
                stack.pop()
                continue
            child = stack[-1].pop()
            if not tags or child[0] in tags:
                yield child
            stack.append(child.children[::-1])


def by_id(
    elements: Iterable[Element], key: str, what: str, refusals: Refusals
) -> dict[str, Element]:
    """Return elements by an attribute of which no two may have one value; keeps the problem."""
    found: dict[str, Element] = {}
    for element in elements:
        name = element.get(key) or ""
        if found.setdefault(name, element) is not element:
            twice(refusals, what, name, (found[name].line, element.line))
    return found


def unread(elements: Iterable[Element], known: Mapping[str, Collection[str]]) -> tuple[str, ...]:
    """Return a note on what elements hold and nobody reads: attributes, and elements inside.

    ``known`` names both, by element. What others mean is not known here: places and widths may
    hang on them.
    """
    found: dict[str, tuple[str, int]] = {}

    def add(what: str, where: str, count: int = 1) -> None:
        first, more = found.get(what, (where, 0))
        found[what] = first, more + count

    for element in elements:
        here = known.get(element.tag, ())
        for key, value in element.attributes.items():
            name = key.rpartition(":")[2]
            if name not in here and not key.startswith("xmlns"):
                add(f"{name} of {element.tag}", f" = {shown(value)} (line {element.line})")
        inside = ((child.tag, (child.line, 1)) for child in element.children)
        for tag, (line, count) in (*element.passed.items(), *inside):
            if tag.rpartition(":")[2] not in here:
                add(f"element {tag} in {element.tag}", f" (line {line})", count)
    texts = (
        f"{shown(name)}{first}{f' and {count - 1} more' if count > 1 else ''}"
        for name, (first, count) in found.items()
    )
    return (f"not read: {', '.join(texts)}",) if found else ()


def parse(
    source: DeviceFile,
    roots: Collection[str],
    refusals: Refusals,
    *,
    keep: Collection[str] = (),
    skip: Collection[str] = (),
    most: Mapping[str, int] | None = None,
    encoding: str = "",
    known: Collection[str] = (),
    optional: Collection[str] = (),
) -> Element:
    """Return the root element; ``keep`` are the names to keep (empty: all), ``skip`` those to drop.

    ``most`` bounds the children of elements by name; ``known`` are the names that are read where
    all are kept, ``optional`` attributes that are read and may be left out.
    """
    octets, override = xml_octets(source.octets, encoding, refusals)
    build = _Builder(override, refusals, roots=roots, keep=keep, skip=skip, most=most, known=known)
    build.optional = {name.casefold(): name for name in optional}
    return build.parsed(octets)


def parse_in_parts(
    source: DeviceFile,
    roots: Collection[str],
    refusals: Refusals,
    *,
    keep: Collection[str],
    parts: Collection[str],
    later: Collection[str],
    most: Mapping[str, int],
    encoding: str = "",
    optional: Collection[str] = (),
) -> tuple[Element, Callable[[Element, Refusals], Element]]:
    """Return the root without the elements named in ``later``, and what reads a part again, whole.

    A part is an element of a name in ``parts``, which the second takes; ``most`` bounds the
    children of elements by name, those that are read later included; ``optional`` as in ``parse``.
    """
    octets, override = xml_octets(source.octets, encoding, refusals)
    build = _Builder(override, refusals, roots=roots, keep=keep, skip=later, parts=parts, most=most)
    build.optional = {name.casefold(): name for name in optional}
    root = build.parsed(octets)
    mark = octets[:2] if octets[:2] in _WIDE else b""
    named = None if mark else override or build.declared
    codec = _WIDE.get(mark, "latin-1")
    behind = ">".encode(codec)

    def whole(element: Element, refusals: Refusals) -> Element:
        first, last = element[_SPAN]
        if not _EMPTY.fullmatch(octets[first:last].decode(codec)):
            last = octets.index(behind, last) + len(behind)
        inner = _Builder(named, refusals, roots=[element.tag], keep=keep, most=most)
        inner.before, inner.space = element.line - 1, build.space
        inner.optional = build.optional
        return inner.parsed(mark + octets[first:last])

    return root, whole


class _Builder:
    """The handlers of one parser."""

    def __init__(
        self,
        encoding: str | None,
        refusals: Refusals,
        *,
        roots: Collection[str],
        keep: Collection[str] = (),
        skip: Collection[str] = (),
        parts: Collection[str] = (),
        most: Mapping[str, int] | None = None,
        known: Collection[str] = (),
    ) -> None:
        self.parser = parser = expat.ParserCreate(encoding)
        self.roots, self.refusals = frozenset(roots), refusals
        self.keep, self.skip, self.parts = frozenset(keep), frozenset(skip), frozenset(parts)
        self.most = dict(most or {})
        self.before = 0  # Lines of the file before the first one of this text.
        self.declared: str | None = None
        self.optional: dict[str, str] = {}
        self.folded = {name.casefold(): name for name in keep or known}
        self.prefix = ""
        self.space: str | None = None
        self.root = Element()
        parser.buffer_text = True
        parser.XmlDeclHandler = self._declaration
        parser.StartDoctypeDeclHandler = self._doctype
        parser.StartElementHandler = self._root

    def parsed(self, octets: bytes) -> Element:
        """Return the root element of a text."""
        parser, refusals = self.parser, self.refusals
        try:
            for start in range(0, len(octets), _CHUNK_OCTETS):
                parser.Parse(octets[start : start + _CHUNK_OCTETS], False)
            parser.Parse(b"", True)
        except expat.ExpatError as error:
            reason = expat.errors.messages.get(error.code, str(error))
            rule = "bad-encoding" if "encoding" in reason else "not-xml"
            refusals.stop(
                rule,
                error.lineno,
                f"the text must be well-formed XML: {reason} at column {error.offset}",
            )
        except (ValueError, LookupError) as error:  # A declared encoding of several octets.
            refusals.stop(
                "bad-encoding",
                1,
                f"the declared encoding must be one that can be read: {shown(error)}",
                "save it as UTF-8",
            )
        return self.root

    def _declaration(self, _: str, encoding: str | None, __: int) -> None:
        self.declared = encoding

    def _doctype(self, *_: object) -> None:
        self.refusals.stop(
            "doctype",
            self.parser.CurrentLineNumber,
            "the file must hold no DOCTYPE",
            "none of these formats has one; nothing it declares was expanded or fetched",
        )

    def _name(self, tag: str) -> str:
        """Return the local name, or an empty text for an element that is not kept.

        Refuses a name that only looks like one that is kept: it would be passed over or taken.
        """
        prefix, _, local = tag.rpartition(":")
        known = local not in self.skip if not self.keep else local in self.keep - self.skip
        usual = self.folded.get(local.casefold(), local)
        if usual != local or (known and prefix != self.prefix):
            self.refusals.add(
                "wrong-name",
                self.parser.CurrentLineNumber + self.before,
                f"an element must be written {self.prefix}{':' * bool(self.prefix)}{usual} here, "
                f"not {shown(tag)}",
                "case and prefix tell elements of other formats from those that are read",
            )
        return local if known else ""

    def _root(self, tag: str, attributes: dict[str, str]) -> None:
        """Judge the root element, then hand over to the fast handlers."""
        self.prefix, _, local = tag.rpartition(":")
        line = self.parser.CurrentLineNumber + self.before
        self.space = attributes.get(f"xmlns:{self.prefix}".rstrip(":"), self.space)
        if local not in self.roots:
            wanted = " or ".join(sorted(self.roots))
            self.refusals.stop(
                "wrong-root",
                line,
                f"the root element must be {wanted}, not {shown(local)}",
                "name the format that the file really has",
            )
        self.root = Element((local, attributes, line, [], "", _NONE))
        self._run()

    def _attributes(self, attributes: dict[str, str]) -> None:
        """Refuse an attribute twice but for a prefix, in another case, and another namespace."""
        line = self.parser.CurrentLineNumber + self.before
        seen: set[str] = set()
        for key, value in attributes.items():
            if key == f"xmlns:{self.prefix}".rstrip(":") and value != self.space:
                text = f"an element must have the namespace of the root, not {shown(value)}"
                self.refusals.add("wrong-name", line, text)
            local = key if key.startswith("xmlns") else key.rpartition(":")[2]
            usual = self.optional.get(local.casefold(), local)
            if usual != local:
                text = f"an attribute must be written {usual}, not {shown(local)}"
                self.refusals.add("wrong-name", line, text)
            if local in seen:
                text = f"an attribute must stand once, not with two prefixes: {shown(local)}"
                self.refusals.add("duplicate-name", line, text)
            seen.add(local)

    def _mixed(self, element: Element) -> None:
        self.refusals.add(
            "mixed-content",
            self.parser.CurrentLineNumber + self.before,
            f"an element {element.tag} must hold text or elements, not both",
        )

    def _run(self) -> None:
        """Set handlers that share their variables: attribute access would double the time."""
        parser, refusals, names = self.parser, self.refusals, dict[str, str]()
        most, parts, before = self.most, self.parts, self.before
        current: Element = self.root
        limit = most.get(current.tag, _MOST_CHILDREN)
        stack: list[tuple[Element, int]] = []
        count = skipped = 0
        plain: set[str] = set()
        held: Element | None = None  # The last element that had one inside which is not kept.

        def too_deep() -> None:
            refusals.stop(
                "too-deep",
                parser.CurrentLineNumber + before,
                f"elements must be nested at most {_MOST_DEPTH} deep, not deeper",
            )

        def too_many() -> None:
            most_here = most.get(current.tag, _MOST_CHILDREN)
            refusals.stop(
                "too-big",
                current.line,
                f"an element {current.tag} must hold at most {most_here} elements, not more",
            )

        def start(tag: str, attributes: dict[str, str]) -> None:
            nonlocal current, limit, count, held
            name = names.get(tag)
            if name is None:
                name = names[tag] = self._name(tag)
            if current[4] and not current[4].isspace():
                self._mixed(current)
            if not name:
                held = current
                if not current[5]:
                    current[5] = {}
                current[5].setdefault(tag, [parser.CurrentLineNumber + before, 0])[1] += 1
                if current[0] in most:
                    limit -= 1
                    if len(current[3]) > limit:
                        too_many()
                parser.StartElementHandler, parser.EndElementHandler = skip, unskip
                parser.CharacterDataHandler = None
                return
            if attributes and not plain.issuperset(attributes):
                self._attributes(attributes)
                plain.update(key for key in attributes if ":" not in key and key != "xmlns")
            stack.append((current, limit))
            if len(stack) >= _MOST_DEPTH:
                too_deep()
            inner = current[3]
            if len(inner) >= limit:
                too_many()
            count += 1
            if count > _MOST_ELEMENTS:
                line = parser.CurrentLineNumber + before
                text = f"the file must hold at most {_MOST_ELEMENTS} elements, not more"
                refusals.stop("too-big", line, text)
            current = Element((name, attributes, parser.CurrentLineNumber + before, [], "", _NONE))
            inner.append(current)
            if name in parts:
                current.append(parser.CurrentByteIndex)
            limit = most.get(name, _MOST_CHILDREN)

        def end(_: str) -> None:
            nonlocal current, limit
            if len(current) > _SPAN:
                current[_SPAN] = (current[_SPAN], parser.CurrentByteIndex)
            if stack:
                current, limit = stack.pop()

        def data(text: str) -> None:
            # Blanks between children would grow the text of their parent with every child.
            if (current[3] or current is held) and not text.isspace():
                self._mixed(current)
            if not current[3]:
                current[4] += text
                if len(current[4]) > _MOST_TEXT:
                    refusals.stop(
                        "too-big",
                        current.line,
                        f"the text of an element must have at most {_MOST_TEXT} characters, "
                        f"not more",
                    )

        def skip(*_: object) -> None:
            nonlocal skipped
            skipped += 1
            if skipped + len(stack) >= _MOST_DEPTH:
                too_deep()

        def unskip(_: str) -> None:
            nonlocal skipped
            if skipped:
                skipped -= 1
            else:
                parser.StartElementHandler, parser.EndElementHandler = start, end
                parser.CharacterDataHandler = data

        parser.StartElementHandler, parser.EndElementHandler = start, end
        parser.CharacterDataHandler = data
