"""What frames are made of, as values: layouts, parts, CRC coverage, verdicts, recipes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ..crc import Algorithm

if TYPE_CHECKING:
    from construct import Struct

Scalar = int | bytes | str
Values = dict[str, Any]
"""Values of one frame by name: integers, octets and words, as ``Recipe.values`` describes them."""


class Unknown(str):
    """Why a check cannot be judged: a part of the history or of the settings is not known."""

    __slots__ = ()


Outcome = str | None
"""What a check returns: None passed, Unknown cannot be judged, any other text failed."""


class FrameLayout:
    """Named octet ranges of one kind of frame, in wire order without gaps.

    ``kind`` is the kind of frame, ``data_octets`` the size of its safety data.
    """

    def __init__(self, kind: str, data_octets: int, sizes: tuple[tuple[str, int], ...]) -> None:
        self.kind = kind
        self.data_octets = data_octets
        self.sizes = sizes
        self.slices: dict[str, slice] = {}
        offset = 0
        for name, size in sizes:
            self.slices[name] = slice(offset, offset + size)
            offset += size
        self.size_octets = offset

    def cut(self, octets: bytes) -> dict[str, bytes]:
        """Return the octets of every part by name."""
        return {name: octets[where] for name, where in self.slices.items()}

    @cached_property
    def struct(self) -> Struct:
        """The same layout as a construct.Struct of octet ranges; it refuses other lengths."""
        import construct  # deferred: it costs 48 ms and judging frames does not need it.

        fields = (name / construct.Bytes(size) for name, size in self.sizes)
        return construct.Struct(*fields, construct.Terminated)


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value of a frame: its name, meaning and range.

    ``carried`` says that the frame itself holds it; the others are history or settings that both
    sides know. ``default`` serves building only: judging never assumes a value. ``octets`` is
    the fixed length of a value of octets (-1: any), ``words`` the choices of a word, ``under`` the
    setting that must be known to read the value.
    """

    name: str
    meaning: str
    carried: bool = True
    default: Scalar | None = None
    least: int = 0
    most: int = 0
    octets: int | None = None
    words: tuple[str, ...] = ()
    under: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FramePart:
    """One part of a frame as carried, with what it means."""

    name: str
    offset: int
    octets: bytes
    meaning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """One CRC of a frame: which octets entered it in which order, and what it should be.

    ``feeds`` are (what it is, octets) in the order in which the engine takes them, ``init`` the
    start register. ``computed`` is None where ``unknown`` says which value is missing.
    """

    name: str
    algorithm: Algorithm
    init: int
    feeds: tuple[tuple[str, bytes], ...]
    carried: int
    computed: int | None
    unknown: str = ""


Explained = tuple[tuple[FramePart, ...], tuple[Cover, ...]]
"""Every part of a frame with what it means, and every CRC."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What became of one check: ``passed``, ``failed``, ``unknown`` or ``not reached``."""

    check: str
    title: str
    result: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed:
    """A frame taken apart without judging it: ``values`` holds what it carries."""

    profile: str
    kind: str
    octets: bytes
    values: Mapping[str, Any]

    @property
    def data(self) -> bytes:
        """The safety data, or no octets where this kind of frame has none."""
        found: bytes = self.values.get("data", b"")
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Inspection:
    """Everything that can be said about a frame; ``kind`` is empty when it fits no layout.

    ``parts`` and ``covers`` are made when they are asked for: of most frames nobody asks.
    """

    profile: str
    kind: str
    octets: bytes
    verdicts: tuple[Verdict, ...]
    values: Mapping[str, Any]
    _explain: Callable[[], Explained] = field(repr=False)

    @cached_property
    def _explained(self) -> Explained:
        return self._explain()

    @property
    def parts(self) -> tuple[FramePart, ...]:
        """Every part as carried, with what it means."""
        return self._explained[0]

    @property
    def covers(self) -> tuple[Cover, ...]:
        """Every CRC, with the octets that entered it."""
        return self._explained[1]

    def __getstate__(self) -> dict[str, Any]:
        shown = dict(self.__dict__, _explained=self._explained)
        shown.pop("_explain", None)  # The rules of a recipe cannot go to another process.
        return shown

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Inspection):
            return NotImplemented
        return self.__getstate__() == other.__getstate__()

    @property
    def accepted(self) -> bool:
        """Whether every check passed."""
        return all(verdict.result == "passed" for verdict in self.verdicts)

    @property
    def first(self) -> Verdict | None:
        """The first check that did not pass, in the documented order."""
        return next((found for found in self.verdicts if found.result != "passed"), None)

    @property
    def summary(self) -> str:
        """``accepted``, ``rejected`` or ``cannot be judged``, with the reason."""
        failed = next((found for found in self.verdicts if found.result == "failed"), None)
        if failed:
            return f"rejected: {failed.check}: {failed.text}"
        if self.first:
            return self.first.text
        return "accepted"


class Seen:
    """A received frame cut by its layout: raw parts, carried values, and what is known besides.

    ``scratch`` is where a recipe keeps what several of its checks need.
    """

    __slots__ = ("known", "layout", "octets", "scratch", "values")

    octets: bytes
    layout: FrameLayout
    values: Values
    known: Values
    scratch: Any

    def __init__(self, octets: bytes, where: FrameLayout, values: Values, known: Values) -> None:
        self.octets = octets
        self.layout = where
        self.values = values
        self.known = known
        self.scratch = None

    @property
    def parts(self) -> dict[str, bytes]:
        """The octets of every part by name."""
        return self.layout.cut(self.octets)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of a received frame; ``compares`` names the value it holds against a known one.

    ``passed`` is the verdict on most frames.
    """

    name: str
    title: str
    run: Callable[[Seen], Outcome]
    compares: str = ""
    passed: Verdict = field(init=False, repr=False)

    def __post_init__(self) -> None:
        verdict = Verdict(check=self.name, title=self.title, result="passed")
        object.__setattr__(self, "passed", verdict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How frames of one profile are built, cut and judged.

    ``find`` returns the layout of received octets and raises FrameError where none fits;
    ``read`` the values that octets of a layout carry; ``write`` the octets for complete values;
    ``checks`` the checks per kind of frame in their fixed order, after the length; ``covers``
    the CRCs of a frame; ``mean`` what one part means, ``explain`` what it means in this frame
    (None: nothing more); ``shape`` the layout for a size of data and a kind. ``order`` says where
    the order of the checks comes from, ``identity`` names the checks that fail for a frame of
    another connection. ``rules`` are the values by name, ``defaults`` what building assumes,
    ``ranges`` those of whole numbers,
    ``besides`` the carried values that no check of a kind compares; all follow from the others.
    """

    name: str
    kinds: tuple[str, ...]
    values: tuple[Value, ...]
    find: Callable[[bytes, Values], FrameLayout]
    read: Callable[[bytes, FrameLayout, Values], Values]
    write: Callable[[Values], bytes]
    checks: Mapping[str, tuple[Check, ...]]
    covers: Callable[[Seen], tuple[Cover, ...]]
    mean: Callable[[str, bytes], str]
    shape: Callable[[int, str], FrameLayout]
    order: str
    explain: Callable[[str, Seen], str | None] = lambda name, seen: None
    identity: frozenset[str] = frozenset()
    rules: Mapping[str, Value] = field(init=False)
    defaults: Values = field(init=False)
    ranges: Mapping[str, range] = field(init=False)
    besides: Mapping[str, frozenset[str]] = field(init=False)

    def __post_init__(self) -> None:
        rules = {rule.name: rule for rule in self.values}
        defaults = {name: rule.default for name, rule in rules.items() if rule.default is not None}
        object.__setattr__(self, "rules", rules)
        object.__setattr__(self, "defaults", defaults)
        whole = (rule for rule in self.values if rule.octets is None and not rule.words)
        ranges = {rule.name: range(rule.least, rule.most + 1) for rule in whole}
        object.__setattr__(self, "ranges", ranges)
        carried = frozenset(rule.name for rule in self.values if rule.carried)
        besides = {
            kind: carried - {check.compares for check in checks}
            for kind, checks in self.checks.items()
        }
        object.__setattr__(self, "besides", besides)
