"""CRC algorithms as data (the Williams model) and one engine that computes them.

The model: R. N. Williams, "A painless guide to CRC error detection algorithms", 1993:
width, polynomial without its top bit, initial register, reflection of input and output, final
XOR, check value over the nine octets "123456789".
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from .errors import UsageError

__all__ = ["Algorithm", "compute", "engine", "function"]

_ENGINE_WIDTHS = (8, 16, 24, 32, 64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Algorithm:
    """A CRC in the Williams model; ``poly`` is written without its top bit.

    ``init`` and ``xorout`` are register values as the model defines them. ``check`` is the CRC
    of the ASCII octets 123456789 and ``residue`` the register after a codeword (before the final
    XOR); both are None where nobody published or computed them. ``source`` says who says so.
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


@lru_cache(maxsize=256)
def function(algorithm: Algorithm) -> Callable[..., int]:
    """Return a function ``crc(data, register=start) -> int`` computed by crcmod.

    crcmod wants the polynomial with its top bit and a start value already XORed with the final
    XOR; this is the only place that translates.
    """
    import crcmod  # deferred: commands that compute no CRC do not pay for it.

    made: Callable[..., int] = crcmod.mkCrcFun(
        1 << algorithm.width | algorithm.poly,
        initCrc=algorithm.init ^ algorithm.xorout,
        rev=algorithm.refin,
        xorOut=algorithm.xorout,
    )
    return made


def compute(algorithm: Algorithm, data: bytes, *, init: int | None = None) -> int:
    """Return the CRC of ``data``; ``init`` replaces the algorithm's start register."""
    if init is None:
        return function(algorithm)(data)
    return function(algorithm)(data, init ^ algorithm.xorout)


def engine() -> str:
    """Return which engine computes CRCs: ``crcmod (compiled)`` or ``crcmod (pure Python)``."""
    import crcmod  # noqa: F401

    compiled = bool(sys.modules["crcmod.crcmod"]._usingExtension)
    return "crcmod (compiled)" if compiled else "crcmod (pure Python)"
