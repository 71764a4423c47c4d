"""CRC algorithms as data (the Williams model), a catalogue, and one engine that computes them.

The model: R. N. Williams, "A painless guide to CRC error detection algorithms", 1993:
width, polynomial without its top bit, initial register, reflection of input and output, final
XOR, check value over the nine octets "123456789".
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import lru_cache

from .._errors import UsageError
from .._value import dataclass

__all__ = ["CATALOGUE", "Algorithm", "compute", "engine", "function", "residue"]

_ENGINE_WIDTHS = (8, 16, 24, 32, 64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Algorithm:
    """A CRC in the Williams model; ``poly`` is written without its top bit.

    ``init`` and ``xorout`` are register values as the model defines them: ``init`` is written
    for the unreflected register also where ``refin`` is set. ``check`` is the CRC of the ASCII
    octets 123456789 and ``residue`` the register after a codeword (before the final XOR); both
    are None where nobody published or computed them. ``source`` says who says so.

    >>> from safeframe import crc
    >>> names = dict(name="mine", source="own choice")
    >>> mine = safeframe.Algorithm(width=16, poly=0x1021, init=0xFFFF, check=0x29B1, **names)
    >>> hex(crc.compute(mine, b"123456789"))
    '0x29b1'
    """

    name: str
    width: int
    poly: int
    init: int = 0
    refin: bool = False
    refout: bool = False
    xorout: int = 0
    check: int | None = None
    residue: int | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.width not in _ENGINE_WIDTHS:
            raise UsageError(f"a CRC width must be 8, 16, 24, 32 or 64 bits, not {self.width}")
        for key in ("poly", "init", "xorout"):
            value: int = getattr(self, key)
            if not 0 <= value < 1 << self.width:
                raise UsageError(f"CRC {key} must fit {self.width} bits, not {value:#x}")
        if not self.poly & 1:
            raise UsageError(f"a CRC polynomial must end in 1, not {self.poly:#x}")
        if self.refin != self.refout:
            raise UsageError("refin and refout must be equal: the engine has one flag for both")

    def __hash__(self) -> int:
        # The engine cache is asked once for each CRC: hashing all ten fields costs three CRCs.
        return hash(self.name)

    @property
    def octets(self) -> int:
        """Octets that hold the CRC."""
        return self.width >> 3


@lru_cache(maxsize=256)
def function(algorithm: Algorithm) -> Callable[..., int]:
    """Return a function ``crc(data, earlier=...) -> int`` computed by crcmod.

    ``earlier`` is the CRC of the octets before ``data``, to continue it. crcmod wants the
    polynomial with its top bit and, as its start, the CRC of no octets at all: the start
    register, reflected where the algorithm reflects, XORed with the final XOR. This is the only
    place that translates.
    """
    import crcmod  # deferred: commands that compute no CRC do not pay for it.

    made: Callable[..., int] = crcmod.mkCrcFun(
        1 << algorithm.width | algorithm.poly,
        initCrc=_of_nothing(algorithm, algorithm.init),
        rev=algorithm.refin,
        xorOut=algorithm.xorout,
    )
    return made


def _of_nothing(algorithm: Algorithm, register: int) -> int:
    if algorithm.refin:
        register = int(f"{register:0{algorithm.width}b}"[::-1], 2)
    return register ^ algorithm.xorout


def compute(algorithm: Algorithm, data: bytes, *, init: int | None = None) -> int:
    """Return the CRC of ``data``; ``init`` replaces the algorithm's start register.

    Raises UsageError for a start that does not fit the register.
    """
    if init is None:
        return function(algorithm)(data)
    if not 0 <= init < 1 << algorithm.width:
        raise UsageError(f"CRC init must fit {algorithm.width} bits, not {init:#x}")
    return function(algorithm)(data, _of_nothing(algorithm, init))


def residue(algorithm: Algorithm) -> int:
    """Return the register after any codeword, before the final XOR.

    A codeword is data followed by their CRC, high octet first, or low octet first where the
    algorithm reflects. The answer does not depend on the data.
    """
    crc = function(algorithm)
    tail = crc(b"").to_bytes(algorithm.octets, "little" if algorithm.refout else "big")
    return crc(tail) ^ algorithm.xorout


def engine() -> str:
    """Return which engine computes CRCs: ``crcmod (compiled)`` or ``crcmod (pure Python)``."""
    import crcmod  # noqa: F401

    compiled = bool(sys.modules["crcmod.crcmod"]._usingExtension)
    return "crcmod (compiled)" if compiled else "crcmod (pure Python)"


def _plain(name: str, width: int, poly: int, check: int, source: str, init: int = 0) -> Algorithm:
    """Return an algorithm without reflection and without final XOR; its residue is 0."""
    return Algorithm(
        name=name, width=width, poly=poly, init=init, check=check, residue=0, source=source
    )


def _reflected(
    name: str, width: int, poly: int, xorout: int, check: int, rest: int, source: str
) -> Algorithm:
    """Return a reflected algorithm whose start register is all ones."""
    return Algorithm(
        name=name,
        width=width,
        poly=poly,
        init=(1 << width) - 1,
        refin=True,
        refout=True,
        xorout=xorout,
        check=check,
        residue=rest,
        source=source,
    )


_COMPUTED = "check value computed, two independent libraries agree"
_CATALOGUED = "public catalogue of parametrised CRCs"

CATALOGUE: dict[str, Algorithm] = {
    entry.name: entry
    for entry in (
        _plain("fscp-12-1/crc16", 16, 0x39B7, 0xDDE2, f"ETG.5100 8.1.3.2, quoted; {_COMPUTED}"),
        _plain("fscp-13-1/crc8", 8, 0x2F, 0x3E, f"a public open stack; {_CATALOGUED}"),
        _plain("fscp-13-1/crc16", 16, 0x755B, 0x20FE, f"a public open stack; {_CATALOGUED}"),
        _plain("fscp-13-1/crc16-slim", 16, 0x5935, 0x5D38, f"a public open stack; {_CATALOGUED}"),
        _plain(
            "fscp-13-1/crc32-parameters", 32, 0x1EDC6F41, 0xC052A8C8, f"public code; {_COMPUTED}"
        ),
        _plain("fscp-2-1/s1", 8, 0x37, 0x2F, f"two public implementations; {_COMPUTED}"),
        _plain("fscp-2-1/s2", 8, 0x3B, 0xFD, f"two public implementations; {_COMPUTED}"),
        _plain("fscp-2-1/s3", 16, 0x080F, 0xC952, f"two public implementations; {_COMPUTED}"),
        _reflected("fscp-2-1/s4", 32, 0x04C11DB7, 0, 0x340BC6D9, 0, f"{_CATALOGUED}; one source"),
        _plain("fscp-2-1/s5", 24, 0x5D6DCB, 0xB0C390, f"two public implementations; {_COMPUTED}"),
        _plain("fscp-3-1/crc1", 16, 0x4EAB, 0xCEA5, f"fitted to published values; {_COMPUTED}"),
        _plain("fscp-3-1/crc2-24", 24, 0x5D6DCB, 0xB0C390, f"a public capture; {_COMPUTED}"),
        _plain(
            "opcua-safety/crc32",
            32,
            0xF4ACFB13,
            0x87D688F7,
            f"OPC 10000-15 release 1.05 7.2.3.6 and Annex B.1; {_COMPUTED}",
            init=1,
        ),
        _plain("crc-16/v41", 16, 0x1021, 0x31C3, f"ITU-T V.41; {_CATALOGUED}"),
        _plain("crc-16/v41-ones", 16, 0x1021, 0x29B1, _CATALOGUED, init=0xFFFF),
        _reflected("crc-16/x25", 16, 0x1021, 0xFFFF, 0x906E, 0xF0B8, f"ITU-T X.25; {_CATALOGUED}"),
        _plain("crc-24/openpgp", 24, 0x864CFB, 0x21CF02, "RFC 9580 6.1", init=0xB704CE),
        _reflected(
            "crc-32",
            32,
            0x04C11DB7,
            0xFFFFFFFF,
            0xCBF43926,
            0xDEBB20E3,
            f"ISO/IEC 13239; {_CATALOGUED}",
        ),
        _reflected(
            "crc-32c",
            32,
            0x1EDC6F41,
            0xFFFFFFFF,
            0xE3069283,
            0xB798B438,
            f"RFC 3720 12.1; {_CATALOGUED}",
        ),
        _plain(
            "crc-32/mpeg-2",
            32,
            0x04C11DB7,
            0x0376E6E7,
            f"ISO/IEC 13818-1; {_CATALOGUED}",
            init=0xFFFFFFFF,
        ),
        _plain(
            "crc-64/ecma-182",
            64,
            0x42F0E1EBA9EA3693,
            0x6C40DF5F0B497347,
            f"ECMA-182; {_CATALOGUED}",
        ),
    )
}
"""Algorithms by name: those of the profiles first, then common ones."""
