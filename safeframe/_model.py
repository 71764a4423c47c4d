"""What each end believes about a safety connection, as values.

The model can hold a wrong map: overlaps, holes, illegal sizes, two ends that disagree. Checks
judge it. Constructors refuse only what has no meaning at all, such as a width of 0 bits.
"""

from __future__ import annotations

from collections.abc import Iterator

from ._bits import MAX_OCTETS, Place, octets_of_bits
from ._errors import UsageError
from ._routes import Route
from ._source import NOWHERE, Location
from ._typed import typed
from ._value import NamedTuple, dataclass, field
from ._words import way

_FLOAT_WIDTHS = (16, 32, 64)
TYPES = ("bool", "uint", "int", "float", "code")
"""Value types of a signal; ``code`` is an unsigned number whose values are named one by one."""
RELATION_KINDS = ("requires", "excludes", "follows")
"""What a relation says of its ``when`` and its other conditions."""
EDGES = ("", "rising", "falling", "both")
ORDERS = ("little", "big")

Conditions = tuple[tuple[str, tuple[int, ...]], ...]
"""Signals with the numbers (before scaling) of which each must have one, in name order."""

Scalar = str | int | float | bool
"""A value of the free ``[parameters]`` table of an end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One signal at one place of one direction, as one end sees it.

    ``width`` is in bits, ``safe`` the value on loss of communication (a raw value as carried,
    before ``scale``), ``one_means`` what a 1 stands for, ``edge`` the acting edge of an
    acknowledge bit, ``scale`` the factor from raw value to ``unit`` as a decimal text, ``codes``
    the named values in rising order, ``valid_by`` the name of the bit that says whether this
    value holds, ``mirrors`` the name of a signal of the opposite direction that this end
    believes to be repeated here, ``bind`` the program variable of this end.

    >>> safeframe.Signal(name="level", at=safeframe.Place(1, 0), width=2, type="uint").start
    8
    """

    name: str
    at: Place
    width: int = 1
    type: str = "bool"
    order: str = "little"
    safe: int | float = 0
    one_means: str = ""
    edge: str = ""
    unit: str = ""
    scale: str = "1"
    codes: tuple[tuple[int, str], ...] = ()
    valid_by: str = ""
    mirrors: str = ""
    bind: str = ""
    note: str = ""
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)
        if not 1 <= self.width <= 8 * MAX_OCTETS:
            raise UsageError(f"width must be 1..{8 * MAX_OCTETS} bits, not {self.width}")
        if self.type not in TYPES:
            raise UsageError(f"type must be one of {', '.join(TYPES)}, not {self.type!r}")
        if self.type == "bool" and self.width != 1:
            raise UsageError(f"a bool must be 1 bit wide, not {self.width}")
        if self.type == "float" and self.width not in _FLOAT_WIDTHS:
            raise UsageError(f"a float must be 16, 32 or 64 bits wide, not {self.width}")
        if self.edge not in EDGES:
            raise UsageError(f"edge must be rising, falling or both, not {self.edge!r}")
        if self.order not in ORDERS:
            raise UsageError(f"order must be little or big, not {self.order!r}")
        if self.order == "big" and (self.width & 7 or self.at.bit):
            raise UsageError(
                f"a big-endian value must fill whole octets, not {self.width} bits at {self.at}"
            )
        names = dict(self.codes)
        if len(names) < len(self.codes):
            # A table that is written has room for one name of a code: the others would be lost.
            codes = [code for code, _ in self.codes]
            twice = next(code for code in names if codes.count(code) > 1)
            raise UsageError(f"a code must be stated once, not {codes.count(twice)} times: {twice}")
        if list(names) != sorted(names):
            raise UsageError(f"codes must be in rising order, not {', '.join(map(str, names))}")

    @property
    def start(self) -> int:
        """Absolute index of the first bit."""
        return self.at.octet << 3 | self.at.bit

    @property
    def end(self) -> int:
        """Absolute index after the last bit."""
        return (self.at.octet << 3 | self.at.bit) + self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Reserved:
    """A declared run of ``width`` unused bits; ``value`` is what the producer puts there.

    >>> safeframe.Reserved(at=safeframe.Place(0, 3), width=5).end
    8
    """

    at: Place
    width: int
    value: int = 0
    note: str = ""
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)
        if not 1 <= self.width <= 8 * MAX_OCTETS:
            raise UsageError(f"reserved must be 1..{8 * MAX_OCTETS} bits, not {self.width}")
        if not 0 <= self.value < 1 << self.width:
            raise UsageError(f"value must fit {self.width} reserved bits, not {self.value}")

    @property
    def start(self) -> int:
        """Absolute index of the first bit."""
        return self.at.octet << 3 | self.at.bit

    @property
    def end(self) -> int:
        """Absolute index after the last bit."""
        return (self.at.octet << 3 | self.at.bit) + self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Map:
    """What one end believes about one direction: signals and reserved runs in file order.

    >>> sends = safeframe.load("sc1.toml").sends
    >>> [signal.name for signal in sends.signals], sends.size_bits
    (['permit_torque', 'brake1_release', 'brake2_release'], 8)
    """

    entries: tuple[Signal | Reserved, ...] = ()
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)

    @property
    def signals(self) -> tuple[Signal, ...]:
        """The signals in file order."""
        return tuple([entry for entry in self.entries if isinstance(entry, Signal)])

    @property
    def reserved(self) -> tuple[Reserved, ...]:
        """The reserved runs in file order."""
        return tuple([entry for entry in self.entries if isinstance(entry, Reserved)])

    @property
    def size_bits(self) -> int:
        """Bits up to the end of the last entry."""
        return max([entry.end for entry in self.entries], default=0)

    @property
    def size_octets(self) -> int:
        """Octets that hold all entries."""
        return octets_of_bits(self.size_bits)


def owner(map_: Map, index: int) -> Signal | Reserved | None:
    """Return the entry that owns the bit at an absolute index, None for a hole or beyond."""
    for entry in map_.entries:
        if entry.start <= index < entry.end:
            return entry
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectionTable:
    """The ``[connection]`` table: what both ends must hold in common about the connection.

    ``id`` is the connection id, ``watchdog_ms`` the time after which silence is an error,
    ``exchange_ms`` the longest time for one frame each way, ``permitted_reaction_ms`` the share
    of the reaction time that the safety function leaves to the connection, ``legal_octets`` the
    legal data sizes where the profile leaves them to the map, ``network`` the domain in which ids
    and addresses are unique. None means not stated.

    >>> safeframe.ConnectionTable(name="SC1-LX", profile="fscp-12-1", id=0x0107).id
    263
    """

    name: str
    profile: str
    edition: str = ""
    id: int | None = None
    watchdog_ms: int | None = None
    exchange_ms: int | None = None
    permitted_reaction_ms: int | None = None
    legal_octets: tuple[int, ...] = ()
    network: str = ""

    def __post_init__(self) -> None:
        typed(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """A rule between signals of one end: exactly one of requires, excludes and follows is stated.

    While all of ``when`` hold, all of ``requires`` must hold, or not all of ``excludes`` may. Or
    ``when`` may begin to hold only while ``follows`` holds and has held for ``after_ms``, and must
    hold at the latest ``within_ms`` after ``follows`` began (None: at any time later).
    Conditions name a signal of this end, as ``sends.x`` or ``receives.x`` where both have it.
    """

    name: str
    when: Conditions
    requires: Conditions = ()
    excludes: Conditions = ()
    follows: Conditions = ()
    after_ms: int = 0
    within_ms: int | None = None
    reason: str
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)
        kinds = [kind for kind in RELATION_KINDS if getattr(self, kind)]
        if len(kinds) != 1 or not self.when:
            stated = " and ".join(kinds) or "none"
            raise UsageError(
                "a relation must state when and one of requires, excludes, follows, "
                f"not {stated if self.when else f'{stated} without when'}"
            )
        if not self.follows and (self.after_ms or self.within_ms is not None):
            raise UsageError(f"after_ms and within_ms must stand with follows, not {kinds[0]}")
        if self.within_ms is not None and self.within_ms < self.after_ms:
            raise UsageError(f"within_ms must be at least {self.after_ms}, not {self.within_ms}")

    @property
    def kind(self) -> str:
        """One of RELATION_KINDS."""
        return next(kind for kind in RELATION_KINDS if getattr(self, kind))

    @property
    def then(self) -> Conditions:
        """The conditions that ``kind`` names."""
        return self.requires or self.excludes or self.follows

    def __str__(self) -> str:
        """Return the relation as one line, without its name and reason."""
        text = f"{_conditions(self.when)} {self.kind} {_conditions(self.then)}"
        if self.after_ms:
            text += f" after {self.after_ms} ms"
        return text if self.within_ms is None else f"{text} within {self.within_ms} ms"


def _conditions(conditions: Conditions) -> str:
    return " and ".join(
        f"{name} = {' or '.join(map(str, numbers))}" for name, numbers in conditions
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """A finding that this end accepts, with the reason; ``signal`` empty means the whole map."""

    rule: str
    reason: str
    signal: str = ""
    where: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Which file a map was imported from, and how: enough to read it again and compare.

    ``format`` is the name of the importer, ``file`` the name of the file without its folder,
    ``sha256`` the digest of its octets, ``select`` the paths taken, ``options`` the decisions as
    options of the command line, ``version`` that of this package.

    >>> origin = safeframe.Provenance(format="esi", file="lx.xml", sha256="0" * 64)
    >>> safeframe.End(
    ...     name="LX",
    ...     peer="SC1",
    ...     connection_table=safeframe.ConnectionTable(name="SC1-LX", profile="fscp-12-1"),
    ...     imported=origin,
    ... ).imported.file
    'lx.xml'
    """

    format: str
    file: str
    sha256: str
    select: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    version: str = ""

    def __post_init__(self) -> None:
        typed(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One map file: one end of a connection with what it sends and what it receives.

    ``role`` is a word of the profile (for instance master or slave), ``address`` the safety
    address of this end, ``parameters`` further values of the profile in name order,
    ``imported`` where the map came from. Two ends that say the same are equal wherever they
    came from.

    >>> end = safeframe.load("sc1.toml")
    >>> end.name, end.peer, end.role
    ('SC1', 'LX', 'master')
    """

    name: str
    peer: str
    connection_table: ConnectionTable
    role: str = ""
    address: int | None = None
    sends: Map = Map()
    receives: Map = Map()
    relations: tuple[Relation, ...] = ()
    parameters: tuple[tuple[str, Scalar], ...] = ()
    allowances: tuple[Allowance, ...] = ()
    note: str = ""
    imported: Provenance | None = field(default=None, compare=False)
    where: Location = field(default=NOWHERE, compare=False)
    lines: tuple[tuple[str, int], ...] = field(default=(), compare=False, repr=False)

    def __post_init__(self) -> None:
        typed(self)

    def locate(self, key: str) -> Location:
        """Return where ``key`` (such as ``connection.id``) stands.

        A key that is missing is located at its table, a missing table at the file as a whole.
        """
        lines = dict(self.lines)
        for name in (key, key.partition(".")[0]):
            if name in lines:
                return Location(path=self.where.path, line=lines[name], key=name)
        return self.where


class Direction(NamedTuple):
    """One direction of a connection: what its producer sends, what its consumer expects."""

    producer: End
    consumer: End

    @property
    def sent(self) -> Map:
        """The producer's map."""
        return self.producer.sends

    @property
    def received(self) -> Map:
        """The consumer's map."""
        return self.consumer.receives

    @property
    def name(self) -> str:
        """The direction as people write it, ``SC1 -> LX``."""
        return way(self.producer.name, self.consumer.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """The device of one end, as the plant file and the sign-off record of the connection know it.

    ``serial`` is what the plant file says. The rest is from the record: ``wire`` and ``own`` are
    the fingerprints of the map it is about, ``imported`` is where that came from,
    ``recorded_serial`` and ``read_back`` what was entered after the download: ``missing``,
    ``matches`` or ``differs``.
    """

    end: str
    serial: str = ""
    wire: str = ""
    own: str = ""
    imported: Provenance | None = None
    recorded_serial: str = ""
    read_back: str = "missing"

    def __post_init__(self) -> None:
        typed(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceMap:
    """What a device file says of one end: ``end`` as far as the file tells it.

    ``file`` is the name to show for it, ``directions`` are those that were selected, ``held`` the
    keys of signals that the file can say besides place, width, type, order and name, ``notes``
    what a reader should look at in the file itself.
    """

    end: End
    file: str
    directions: tuple[str, ...] = ("sends", "receives")
    held: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        typed(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """Two ends that belong together; nothing says yet that they agree.

    ``installed`` and ``entry`` are from a plant file: the devices, and where it lists the
    connection; ``record`` is the path of the sign-off record, empty where it names none;
    ``devices`` what the device files say that it names.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> [direction.name for direction in connection.directions()]
    ['SC1 -> LX', 'LX -> SC1']
    """

    first: End
    second: End
    installed: tuple[Installed, ...] = ()
    record: str = ""
    devices: tuple[DeviceMap, ...] = ()
    entry: Location = field(default=NOWHERE, compare=False)

    def __post_init__(self) -> None:
        typed(self)

    @property
    def name(self) -> str:
        """The name that both ends give to the connection; of two names the first by letters."""
        return min(end.connection_table.name for end in self.ends)

    @property
    def ends(self) -> tuple[End, End]:
        """Both ends, the first one first."""
        return self.first, self.second

    def directions(self) -> Iterator[Direction]:
        """Yield both directions, the one sent by the first end first."""
        yield Direction(producer=self.first, consumer=self.second)
        yield Direction(producer=self.second, consumer=self.first)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """The connections of one site, and the routes over several of them.

    ``cycles`` are (end, cycle time of its program in ms).
    """

    name: str
    connections: tuple[Connection, ...] = ()
    routes: tuple[Route, ...] = ()
    cycles: tuple[tuple[str, int], ...] = ()
    where: Location = field(default=NOWHERE, compare=False)
