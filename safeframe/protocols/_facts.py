"""What a safety profile says about maps and frames, as values."""

from __future__ import annotations

from itertools import islice, pairwise

from .._value import NamedTuple, dataclass, field
from ..crc import Algorithm

CONFIDENCES = ("verified", "two sources", "one source", "memory", "common practice")
"""How sure a fact is: computed and compared by us; two independent sources agree; one says so;
from memory, nothing read confirms it; no source, but usual."""


class Source(NamedTuple):
    """Who says so: a short tag to refer to, a description, and how sure the facts are."""

    tag: str
    text: str
    confidence: str


class SizeRange(NamedTuple):
    """Legal sizes ``first``, ``first + step`` ... ``last`` in octets; no end when last is None.

    ``label`` says what these sizes have in common on the wire, for instance the CRC width.
    """

    first: int
    last: int | None
    step: int = 1
    label: str = ""

    def holds(self, octets: int) -> bool:
        """Return whether ``octets`` is one of these sizes."""
        if octets < self.first or (self.last is not None and octets > self.last):
            return False
        return (octets - self.first) % self.step == 0

    def __str__(self) -> str:
        if self.first == self.last:
            text = str(self.first)
        elif self.step == 1:
            text = f"{self.first} or more" if self.last is None else f"{self.first}..{self.last}"
        else:
            some = ", ".join(str(self.first + self.step * count) for count in range(3))
            text = f"{some} ..." if self.last is None else f"{some} ... {self.last}"
        unit = "octet" if self.first == self.last == 1 else "octets"
        return f"{text} {unit} ({self.label})" if self.label else f"{text} {unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """The legal sizes of the safety data of one direction, in octets.

    ``ranges`` do not overlap and stand in rising order; none at all means that the protocol
    leaves the sizes to the map. A map may always narrow them with its own list.
    """

    ranges: tuple[SizeRange, ...] = ()

    @property
    def from_map(self) -> bool:
        """Whether only the map knows the legal sizes."""
        return not self.ranges

    def range_of(self, octets: int) -> SizeRange | None:
        """Return the range that holds ``octets``, or None."""
        return next((sizes for sizes in self.ranges if sizes.holds(octets)), None)

    def is_legal(self, octets: int, legal_from_map: tuple[int, ...] = ()) -> bool:
        """Return whether safety data of ``octets`` octets are legal.

        ``legal_from_map`` is the list the map gives; empty means that the map gives none.
        """
        if legal_from_map and octets not in legal_from_map:
            return False
        return self.from_map or self.range_of(octets) is not None

    def next_legal(
        self, octets: int, count: int = 3, legal_from_map: tuple[int, ...] = ()
    ) -> tuple[int, ...]:
        """Return up to ``count`` legal sizes from ``octets`` on, smallest first."""
        if legal_from_map:
            rising = sorted(set(legal_from_map))
            return tuple(
                islice((n for n in rising if n >= octets and self.is_legal(n)), max(count, 0))
            )
        found: list[int] = []
        for sizes in self.ranges:
            steps = max(0, -((sizes.first - octets) // sizes.step))
            size = sizes.first + steps * sizes.step
            while len(found) < count and sizes.holds(size):
                found.append(size)
                size += sizes.step
        return tuple(found)

    def describe(self, legal_from_map: tuple[int, ...] = ()) -> str:
        """Return the legal sizes as text, for instance ``1 octet or 2, 4, 6 ... octets``."""
        if legal_from_map:
            stated = sorted(set(legal_from_map))
            text = f"{', '.join(map(str, stated))} octets (from the map)"
            if all(map(self.is_legal, stated)):
                return text
            return f"{text} as far as the profile has them: {' or '.join(map(str, self.ranges))}"
        if self.from_map:
            return "any size (the map states none)"
        return " or ".join(map(str, self.ranges))

    def overlapping(self) -> tuple[SizeRange, SizeRange] | None:
        """Return two neighbours that are not in rising order, or None when all is well."""
        for low, high in pairwise(self.ranges):
            if low.last is None or high.first <= low.last:
                return low, high
        return None


class ParameterRule(NamedTuple):
    """One free parameter of an end: its type, range, unit, and whether both ends must agree.

    ``type`` is ``int``, ``text``, ``guid``, ``hex`` (octets in hexadecimal) or ``bool``.
    ``minimum`` and ``maximum`` include the ends of the range, in octets where the type is ``hex``;
    ``choices`` are the only legal values where there are few, and ``unset`` is the value that means
    "not configured". ``roles`` are the roles that have the parameter (empty: all); ``shared`` says
    that both ends must carry the same value, ``unique`` that no two connections of one network may.
    """

    name: str
    type: str
    minimum: int | None = None
    maximum: int | None = None
    choices: tuple[int, ...] = ()
    unset: int | str | None = None
    unit: str = ""
    roles: tuple[str, ...] = ()
    shared: bool = False
    required: bool = False
    note: str = ""
    source: str = ""
    unique: bool = False


class PartRow(NamedTuple):
    """One part of a frame on the generated page: ``octets`` is a size such as ``2`` or ``n``."""

    name: str
    octets: str
    meaning: str
    source: str = ""


class FrameKind(NamedTuple):
    """One kind of frame: ``size`` is its length in octets as a formula of n, parts in order.

    n is the size of the safety data; ``repeat`` names the parts that repeat per block.
    """

    name: str
    title: str
    size: str
    parts: tuple[PartRow, ...]
    repeat: tuple[str, ...] = ()
    when: str = ""


class CrcUse(NamedTuple):
    """One CRC of a frame: which algorithm, what it covers in which order, how it is carried."""

    name: str
    algorithm: Algorithm
    covers: tuple[str, ...]
    carried: str
    note: str = ""
    source: str = ""


class ReactionShare(NamedTuple):
    """What an edition states about the reaction time: so many watchdogs and consumer cycles.

    ``stated_in`` is the document with the place, as it is shown beside the figure.
    """

    edition: str
    watchdogs: int
    consumer_cycles: int
    why: str
    stated_in: str


PROOFS = ("published", "recorded", "two implementations", "computed")
"""How a fact is proven: somebody printed the answer; it was seen from somebody else's program; two
programs of others agree; computed here, and again by a second implementation in the tests."""


class Proof(NamedTuple):
    """What of a protocol is proven, how (one of ``PROOFS``), and by whom."""

    what: str
    how: str
    by: str


class TestedUpTo(NamedTuple):
    """The largest size that a published test uses: no limit, but what lies above it is new ground.

    ``what`` is ``data`` or the name of a parameter of octets, ``stated_in`` the document with the
    place.
    """

    what: str
    octets: int
    stated_in: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One safety profile.

    ``editions`` are the editions these facts hold for (empty: not judged), ``roles`` the words
    an end may use for itself (empty: free), ``block_octets`` the octets between two CRCs that a
    value must not straddle, ``member_types`` the only (type, width_bits) a signal may have
    (empty: free), ``fail_safe`` is ``zero`` where the protocol replaces data by zeros. With
    ``one_way`` only one direction of a connection carries safety data, from the end with
    ``data_role`` (empty: either); the end with ``answering_role`` reports what it measured and did
    (common practice; empty: not known). ``watchdog_sealed`` says that the watchdog enters the CRC
    of every frame, so that ends with two of them take no frame of each other. ``reactions`` are
    what editions state about the reaction time (none: common practice counts), ``tested`` the
    largest sizes of published tests, ``proofs`` what is proven by whom; each text of
    ``not_offered`` is what, a colon, and why. ``recipe`` says whether frames can be built and
    judged. ``left_out`` are the keys that its file does not state: nobody knows what is so.

    >>> from safeframe import protocols
    >>> protocols.load("fscp-12-1").sizes.is_legal(2)
    True
    """

    name: str
    title: str
    sizes: Sizes
    summary: str = ""
    editions: tuple[str, ...] = ()
    roles: tuple[str, ...] = ()
    block_octets: int | None = None
    id_range: tuple[int, int] | None = None
    address_range: tuple[int, int] | None = None
    watchdog_range_ms: tuple[int, int] | None = None
    watchdog_sealed: bool = False
    fail_safe: str = ""
    one_way: bool = False
    data_role: str = ""
    answering_role: str = ""
    member_types: tuple[tuple[str, int], ...] = ()
    parameters: tuple[ParameterRule, ...] = ()
    frames: tuple[FrameKind, ...] = ()
    crcs: tuple[CrcUse, ...] = ()
    reactions: tuple[ReactionShare, ...] = ()
    tested: tuple[TestedUpTo, ...] = ()
    proofs: tuple[Proof, ...] = ()
    notes: tuple[str, ...] = ()
    not_offered: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    recipe: bool = False
    left_out: tuple[str, ...] = field(default=(), compare=False)
